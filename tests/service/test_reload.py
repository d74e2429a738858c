"""The running service takes changed settings over, and goes on with the old ones when the new ones are wrong."""

import json
import shutil
import time
from collections.abc import Callable

import pytest

from autoprep.logs import open_log
from autoprep.service.engine import Engine
from autoprep.service.reload import Reload
from autoprep.wishes.places import font_path
from autoprep.wishes.tables import Settings
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


def test_what_is_not_taken_over_stands_on_the_first_page_until_it_is(studio: Settings) -> None:
    """She who changes them on the phone reads no log; and is told soon, not when the inbox is next looked at."""
    service = studio.service.model_copy(update={"settle_s": 0.3, "rescan_s": 600.0})
    studio = studio.model_copy(update={"service": service})
    destinations, page = studio.config_file.with_name("destinations.toml"), studio.folders.records / "proof/index.html"
    right = destinations.read_text(encoding="utf-8")
    engine = Engine(studio, open_log(studio.folders.records, None))

    def write(text: str, wanted: Callable[[str], bool]) -> str:
        destinations.write_text(text, encoding="utf-8")
        engine.hints.wake()
        limit = time.monotonic() + 20
        while not wanted(page.read_text(encoding="utf-8")) and time.monotonic() < limit:
            engine.step(0.1)
        return page.read_text(encoding="utf-8")

    try:
        work_off(engine)
        told = write('[tiny]\nlong_side = 200\n"<i>" = 1\n', lambda said: "not taken over" in said)
        assert "destinations.toml, line 2: unknown key `tiny.long_side`" in told
        assert "line 3" in told
        assert "mistakes in the settings" not in told  # the lines themselves say how many they are
        assert "<i>" not in told
        assert "not taken over" not in write(right, lambda said: "not taken over" not in said)
    finally:
        engine.stop()


def test_why_settings_are_not_taken_over_is_known_until_they_are(studio: Settings) -> None:
    now, right = [0.0], studio.config_file.read_text(encoding="utf-8")
    watched = Reload(studio, Log(), lambda: now[0])
    assert not watched.changing
    for seconds, text, refused in (
        (10.0, "[artist]\nnaem = 'Wren'\n", "line 2"),
        (20.0, right + "\n[folders]\ninbox = 'other'\n", "after the next start"),
        (30.0, right + "\n# at home\n", ""),
    ):
        now[0] = seconds
        studio.config_file.write_text(text, encoding="utf-8")
        assert watched.fresh() is None
        assert watched.changing
        now[0] = seconds + 5.0
        watched.fresh()
        assert not watched.changing
        assert refused in watched.refused
        assert bool(refused) == bool(watched.refused)


def test_a_fault_in_reading_the_settings_is_told_and_stops_nothing(
    studio: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = Log()
    watched = Reload(at_once(studio), log)
    assert watched.fresh() is None
    studio.config_file.write_text("[artist]\nname = 'Wren Halloway of Saltmere'\n", encoding="utf-8")
    with monkeypatch.context() as patched:
        patched.setattr("autoprep.service.reload.load", raiser(AttributeError("no such thing")))
        assert watched.fresh() is None
    assert log.said == [("settings not taken over", "no such thing")]
    assert watched.fresh() is None  # once, not at every look
    studio.config_file.write_text("[artist]\nname = 'Wren Halloway'\nwebsite = ''\n", encoding="utf-8")
    fresh = watched.fresh()
    assert fresh is not None
    assert fresh.artist.name == "Wren Halloway"


def at_once(settings: Settings, settle_s: float = 0.0) -> Settings:
    return settings.model_copy(update={"service": settings.service.model_copy(update={"settle_s": settle_s})})


def test_settings_count_when_their_files_have_been_still(studio: Settings) -> None:
    """Editors and sync tools empty a file and write it in parts: nothing is made without name and rights meanwhile."""
    now, whole = [0.0], studio.config_file.read_text(encoding="utf-8")
    watched = Reload(at_once(studio, 4.0), Log(), lambda: now[0])
    for seconds, text in ((10.0, ""), (13.0, "[artist]\n"), (16.0, whole.replace("Wren Halloway", "W. Halloway"))):
        now[0] = seconds
        studio.config_file.write_text(text, encoding="utf-8")
        assert watched.fresh() is None
    now[0] = 19.9
    assert watched.fresh() is None
    now[0] = 20.0
    fresh = watched.fresh()
    assert fresh is not None
    assert fresh.artist.name == "W. Halloway"
    assert watched.fresh() is None


def test_settings_that_were_emptied_are_not_taken_over(studio: Settings) -> None:
    log = Log()
    watched = Reload(at_once(studio), log)
    studio.config_file.write_text("# gone\n\n", encoding="utf-8")
    assert watched.fresh() is None
    assert watched.fresh() is None
    assert len(log.warned) == 1
    assert "says nothing any more" in log.warned[0]
    studio.config_file.write_text("[artist]\nname = ''\n", encoding="utf-8")  # said in so many words
    fresh = watched.fresh()
    assert fresh is not None
    assert not fresh.artist.name


def test_settings_hold_when_what_they_name_has_come(studio: Settings) -> None:
    """A font or a profile may be put there after the line that names it: nobody writes that line again."""
    now, log = [0.0], Log()
    watched = Reload(studio, log, lambda: now[0])
    text = studio.config_file.read_text(encoding="utf-8") + '\n[mark]\nfont = "Saltmere.ttf"\n'
    studio.config_file.write_text(text, encoding="utf-8")
    for _ in range(5):
        assert watched.fresh() is None
        now[0] += studio.service.rescan_s + 1.0
    assert len(log.warned) == 1
    assert "there is no font file" in watched.refused
    shutil.copy(font_path(studio), studio.studio / "Saltmere.ttf")
    fresh = watched.fresh()
    assert fresh is not None
    assert fresh.mark.font == "Saltmere.ttf"
    assert not watched.refused
    now[0] += studio.service.rescan_s + 1.0
    assert watched.fresh() is None


class Log:
    """What was said, and why."""

    def __init__(self) -> None:
        self.said: list[tuple[str, str]] = []
        self.warned: list[str] = []

    def error(self, event: str, *, reason: str, **_: object) -> None:
        self.said.append((event, reason))

    def info(self, event: str, **_: object) -> None:
        """Of no interest."""

    def warning(self, _event: str, *, reason: str) -> None:
        self.warned.append(reason)


def raiser(problem: Exception) -> Callable[..., None]:
    def act(*_: object) -> None:
        raise problem

    return act


def test_numbers_go_on_whatever_the_titles_are(studio: Settings) -> None:
    """Two works sent to a numbering destination one after the other are 01 and 02, not twice 01."""
    from autoprep.ledger import Ledger
    from autoprep.service.places import Others, reserve
    from autoprep.service.said import facts_for, sent_to
    from autoprep.wishes.places import ledger_path
    from autoprep.wishes.settings import load

    text = '[jury]\nlong_side_px = 300\nname = "{nn} {title}"\n\n[blind]\nlong_side_px = 300\nrights = "none"\n'
    studio.config_file.with_name("destinations.toml").write_text(text, encoding="utf-8")
    settings = load(studio.config_file)
    ledger = Ledger(ledger_path(settings))
    given = []
    for number, name in enumerate(("Sea Thrift.jpg", "Boats.jpg", "Sea Thrift, 2021.jpg")):
        facts, _ = facts_for(settings, name)

        def choose(_: str, name: str = name, facts=facts) -> dict[str, object]:  # type: ignore[no-untyped-def]
            return reserve(settings, name, facts, sent_to(settings, facts), Others(ledger.is_taken, ledger.stems))  # type: ignore[return-value]

        job = ledger.claim(f"{number}" * 64, name.encode(), name, choose)  # type: ignore[arg-type]
        given.append(sorted(place.stem for key, place in ledger.places(job.job).items() if key in ("jury", "blind")))
    ledger.close()
    assert given == [["01", "01 Sea Thrift"], ["02", "02 Boats"], ["03", "03 Sea Thrift"]]


def test_a_photo_sent_to_nowhere_is_held(studio: Settings) -> None:
    from autoprep.service.said import facts_for

    facts, warnings = facts_for(studio, "for subission/IMG_1.jpg")
    assert facts.hold
    assert "subission" in warnings[0]
