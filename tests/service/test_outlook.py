"""What `check --ahead` foresees, by the settings that a studio has: the service waits until notes have settled."""

import pytest

from autoprep.cli import main
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo


def test_a_note_is_foreseen_though_the_service_has_yet_to_wait_for_it(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wren = Studio(studio, monkeypatch)
    for number, name in enumerate(("Gull.jpg", "Tern.jpg", "Boat.jpg"), 1):
        wren.put(name, photo(number))
    wren.put("Samphire.jpg", photo(7, answer="ask"))
    wren.run()
    text = wren.config.read_text(encoding="utf-8").replace("settle_s = 0.0", "settle_s = 4.0")
    wren.config.write_text(text, encoding="utf-8")
    assert load(wren.config).service.settle_s == 4.0
    wren.put("Gull.txt", "hold")
    wren.put("works.csv", "photo,title\nTern,Arctic tern\n")
    (folder,) = wren.settings.folders.needs_a_look.iterdir()
    (folder / "choice-2.jpg").unlink()
    capsys.readouterr()
    main(["check", "--ahead", "--config", str(wren.config)])
    told = [line.partition(", because")[0] for line in capsys.readouterr().out.splitlines()]
    assert "Gull.jpg: square, master withdrawn" in told
    assert "Tern.jpg: square, master made" in told
    assert "Samphire.jpg: looked at" in told
    assert not [line for line in told if line.startswith("Boat")]
