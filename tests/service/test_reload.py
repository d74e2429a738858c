"""The running service takes changed settings over, and goes on with the old ones when the new ones are wrong."""

import json
import time

from autoprep.logs import open_log
from autoprep.service.engine import Engine
from autoprep.settings import Settings
from tests import photos


def work_off(engine: Engine) -> None:
    limit = time.monotonic() + 40
    engine.step(0.1)
    while time.monotonic() < limit and not engine.idle:
        engine.step(0.1)


def test_changes_hold_for_the_next_photo(studio: Settings) -> None:
    destinations = studio.config_file.with_name("destinations.toml")
    log = studio.folders.records / "log.jsonl"
    engine = Engine(studio, open_log(studio.folders.records, None))

    def drop(name: str, seed: int) -> None:
        (studio.folders.inbox / name).write_bytes(photos.jpeg(seed=seed))
        engine.hints.wake()
        limit = time.monotonic() + 20
        while not list(studio.folders.ready.rglob(f"{name[:-4]}.*")) and time.monotonic() < limit:
            engine.step(0.1)
        work_off(engine)

    try:
        work_off(engine)
        destinations.write_text("[tiny]\nlong_side_px = 200\n", encoding="utf-8")
        time.sleep(1.1)  # the next look is due
        drop("one.jpg", 1)
        assert sorted(path.parent.name for path in studio.folders.ready.rglob("one.*")) == ["tiny"]
        destinations.write_text("[tiny]\nlong_side_px = 'large'\n", encoding="utf-8")
        time.sleep(1.1)
        drop("two.jpg", 2)
        assert sorted(path.parent.name for path in studio.folders.ready.rglob("two.*")) == ["tiny"]
    finally:
        engine.stop()
    events = [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]
    assert any(event["event"] == "settings taken over" for event in events)
    refused = [event for event in events if event["event"] == "settings not taken over"]
    assert len(refused) == 1  # told once, not at every look
    assert "destinations.toml, line 2" in refused[0]["reason"]
