"""The files that start the service are what their systems can read, and hold what the service relies on."""

import configparser
import os
import plistlib
import shutil
import subprocess
import xml.dom.minidom
from pathlib import Path

import pytest

from autoprep.cli import main

DEPLOY = Path(__file__).parent.parent / "deploy"
UNITS = ("autoprep.service", "autoprep-system.service")
_analyze = shutil.which("systemd-analyze")


def _unit(name: str) -> configparser.ConfigParser:
    parsed = configparser.ConfigParser(strict=False, interpolation=None)
    parsed.optionxform = str  # type: ignore[assignment, method-assign]
    parsed.read(DEPLOY / "linux" / name, encoding="utf-8")
    return parsed


@pytest.mark.parametrize("name", UNITS)
def test_a_unit_waits_for_the_services_own_words(name: str) -> None:
    service = _unit(name)["Service"]
    assert service["Type"] == "notify"
    assert float(service["WatchdogSec"]) >= 30
    assert float(service["RestartSec"]) >= 5
    assert " watch --quiet --config " in service["ExecStart"]


@pytest.mark.parametrize(("name", "mask"), [(UNITS[0], "0077"), (UNITS[1], "0027")])
def test_a_unit_is_started_anew_and_lets_no_stranger_read(name: str, mask: str) -> None:
    service = _unit(name)["Service"]
    assert service["Restart"] == "on-failure"
    assert service["UMask"] == mask


def test_the_systems_unit_can_not_write_into_the_inbox() -> None:
    service = _unit("autoprep-system.service")["Service"]
    assert service["ProtectSystem"] == "strict"
    studio = service["ReadWritePaths"]
    assert service["ExecStart"].endswith(f" {studio}")
    assert service["ReadOnlyPaths"] == f"{studio}/inbox"


def test_the_users_unit_sees_the_home_folder_and_the_systems_does_not() -> None:
    user, system = (_unit(name)["Service"] for name in UNITS)
    assert not any(key.startswith(("ProtectHome", "ProtectSystem", "User")) for key in user)
    assert "%h/Studio" in user["ExecStart"]
    assert system["ProtectHome"] == "yes"
    assert "/home" not in system["ExecStart"]


@pytest.mark.skipif(_analyze is None, reason="systemd-analyze is not here")
@pytest.mark.parametrize("name", UNITS)
def test_systemd_finds_nothing_wrong(name: str, tmp_path: Path) -> None:
    lines = (DEPLOY / "linux" / name).read_text(encoding="utf-8").splitlines()
    # Only what can't be here is replaced: the command, and the user.
    lines = ["ExecStart=/bin/true" if line.startswith("ExecStart=") else line for line in lines]
    unit = tmp_path / "autoprep.service"
    unit.write_text("\n".join(line for line in lines if not line.startswith("User=")) + "\n", encoding="utf-8")
    whose = ["--user"] if name == "autoprep.service" else []
    environment = {**os.environ, "XDG_RUNTIME_DIR": str(tmp_path)}
    done = subprocess.run(
        [str(_analyze), *whose, "verify", str(unit)], capture_output=True, text=True, env=environment, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.skipif(_analyze is None, reason="systemd-analyze is not here")
def test_the_systems_unit_is_closed() -> None:
    unit = DEPLOY / "linux" / "autoprep-system.service"
    command = [str(_analyze), "security", "--offline=true", "--threshold=15", str(unit)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-400:]


def test_the_others_are_well_formed() -> None:
    agent = plistlib.loads((DEPLOY / "macos" / "studio.autoprep.plist").read_bytes())
    assert agent["ProgramArguments"][1:4] == ["watch", "--quiet", "--config"]
    assert agent["KeepAlive"] == {"SuccessfulExit": False}
    task = xml.dom.minidom.parse(str(DEPLOY / "windows" / "autoprep.xml"))
    assert task.getElementsByTagName("ExecutionTimeLimit")[0].firstChild.data == "PT0S"  # type: ignore[union-attr]


def test_the_notes_name_every_file_and_say_what_was_not_run() -> None:
    notes = (DEPLOY / "README.md").read_text(encoding="utf-8")
    for place in DEPLOY.rglob("*"):
        if place.is_file() and place.name != "README.md":
            assert place.relative_to(DEPLOY).as_posix() in notes, place
    assert notes.count("**untested**") == 2
    assert notes.count("**not run under systemd**") == 2
    with pytest.raises(SystemExit):
        main(["service-check", "--help"])
