"""The import rules, the shipped settings and the README's lines hold."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from autoprep.wishes import settings
from autoprep.wishes.tables import Main

ROOT = Path(__file__).parent.parent


def test_import_rules() -> None:
    tool = Path(sys.executable).with_name("lint-imports")
    done = subprocess.run([str(tool), "--no-cache"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-3000:]


def test_no_module_is_too_long_to_be_read_at_once() -> None:
    """At most 400 lines each; what is more belongs elsewhere."""
    modules = [*(ROOT / "autoprep").rglob("*.py")]
    assert len(modules) > 100
    lengths = {path.name: len(path.read_text(encoding="utf-8").splitlines()) for path in modules}
    assert {name: length for name, length in lengths.items() if length > 400} == {}


def test_a_command_builds_only_the_models_that_it_uses() -> None:
    """A quarter of what `status` takes went to models of plans and destinations that it never sees."""
    large = ("CorrectionPlan", "LightField", "JobRecord", "OutputRecord", "Preset", "Settings")
    built = (
        "import pydantic, autoprep.cli.found as _\n"
        "kinds = [pydantic.BaseModel]\n"
        "for kind in kinds: kinds += [k for k in kind.__subclasses__() if k not in kinds]\n"
        f"found = [k for k in kinds if k.__name__ in {large!r}]\n"
        "print(len(found), [k.__name__ for k in found if k.__pydantic_complete__])"
    )
    done = subprocess.run([sys.executable, "-c", built], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == f"{len(large)} []"


def test_the_shipped_settings_are_valid_and_are_the_defaults(tmp_path: Path) -> None:
    shipped = settings.load(ROOT / "config" / "autoprep.toml")
    assert settings.default_files()["autoprep.toml"] == (ROOT / "config" / "autoprep.toml").read_text(encoding="utf-8")
    for name in ("artist", "rights", "mark", "correction", "service"):
        assert getattr(shipped, name) == getattr(Main(), name), name
    text = (ROOT / "config" / "autoprep.toml").read_text(encoding="utf-8")
    for table, model in Main.model_fields.items():
        assert f"[{table}]" in text
        fields = model.annotation.model_fields  # type: ignore[union-attr]
        for key in fields:
            assert re.search(rf"^{key} = ", text, re.M), f"{table}.{key} is not in the shipped file"
    always = {name for name, preset in shipped.destinations.items() if preset.when == "always"}
    assert always == {"square", "banner", "site", "print-a4", "master"}
    assert set(shipped.destinations) - always == {
        "vertical", "full-screen", "link-card", "submission", "submission-blind", "print-a3", "print-own-size",
        "print-8x10", "press",
    }  # fmt: skip


def test_ci_runs_the_command_that_the_readme_gives() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    commands = re.findall(r"```sh\n(python3 -m venv .*?)\n```", readme)
    assert len(commands) == 2
    assert commands[1] in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_the_readme_tells_of_each_command_and_its_tables_are_whole() -> None:
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    told = {word for line in lines if line.startswith("| `") for word in re.findall(r"`([a-z-]+)", line.split("|")[1])}
    listed = subprocess.run([sys.executable, "-m", "autoprep", "--help"], capture_output=True, text=True, check=True)
    assert {*re.findall(r"^    ([a-z][a-z-]+)\b", listed.stdout, re.MULTILINE)} <= told
    heads = [k for k, line in enumerate(lines) if line.startswith("|") and not lines[k - 1].startswith("|")]
    assert all(lines[k + 1].startswith("|--") for k in heads)


@pytest.mark.parametrize("word", ["/" + "work/", "/" + "root/", "shared" + "/"])
def test_nothing_of_one_machine_is_in_the_project(word: str) -> None:
    for folder in ("autoprep", "config", "deploy", "tests", ".ci"):
        for path in (ROOT / folder).rglob("*"):
            if path.suffix in (".py", ".toml", ".md", ".service", "") and path.is_file() and path != Path(__file__):
                assert word not in path.read_text(encoding="utf-8", errors="ignore"), path
