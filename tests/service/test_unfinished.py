"""A file that is not whole yet: who asks is told that it is waited for, and until when."""

import json
import time

import pytest

from autoprep.cli import main
from autoprep.ledger import Ledger
from autoprep.logs import open_log
from autoprep.service.engine import Engine
from autoprep.service.inbox import GIVE_UP_WAITING_S
from autoprep.service.outlook import outlook
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


def watching(wren: Studio) -> Engine:
    return Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=True)


def stepped(wren: Studio, engine: Engine, times: int = 8) -> None:
    for _ in range(times):
        wren.at_once(engine)
        engine._stirred = True
        engine.step(0.0)


def test_status_show_and_the_outlook_tell_of_a_file_whose_end_is_missing(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    place = wren.put("boats/Broken.jpg", photo(1)[:-40])
    engine = watching(wren)
    began = time.time()
    stepped(wren, engine)
    until = time.strftime("%H:%M", time.localtime(began + GIVE_UP_WAITING_S))
    later = time.strftime("%H:%M", time.localtime(time.time() + GIVE_UP_WAITING_S))
    said = [f"its end is missing; looked at again until {when}" for when in (until, later)]
    assert next(iter(outlook(wren.settings))) in [f"boats/Broken.jpg: {one}" for one in said]
    for command in (["status"], ["show", "Broken"], ["show", "boats/Broken.jpg"]):
        main([*command, "--config", str(wren.config)])
        told = capsys.readouterr()
        assert any(f"Broken.jpg: {one}" in told.out or f": {one}" in told.err for one in said)
    main(["status", "--json", "--config", str(wren.config)])
    assert abs(json.loads(capsys.readouterr().out)["unfinished"]["boats/Broken.jpg"] - began - 600) < 30
    place.write_bytes(photo(1))
    stepped(wren, engine)
    main(["status", "--config", str(wren.config)])
    assert "Not whole" not in capsys.readouterr().out
    engine.stop()


@pytest.mark.parametrize("end", ["gone", "stopped", "cut off"])
def test_nothing_is_told_of_it_when_nobody_waits_for_it_any_more(wren: Studio, end: str) -> None:
    place = wren.put("Broken.jpg", photo(1)[:-40])
    engine = watching(wren)
    stepped(wren, engine)
    ledger = Ledger(ledger_path(wren.settings))
    assert list(ledger.unfinished(time.time())) == ["Broken.jpg"]
    if end == "gone":
        place.unlink()
        stepped(wren, engine)
    if end == "cut off":
        wren.cut_off(engine)
        assert ledger.unfinished(time.time() + 2 * GIVE_UP_WAITING_S) == {}
        engine = watching(wren)
    else:
        assert end == "stopped" or ledger.unfinished(time.time()) == {}
    if end == "stopped":
        engine.stop()
    assert ledger.unfinished(time.time()) == {}
    if end != "stopped":
        engine.stop()
    ledger.close()
