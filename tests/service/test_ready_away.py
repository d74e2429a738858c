"""The folder of finished pictures as a whole is away: a share that is not connected, a folder that was renamed."""

import re
import shutil
from collections.abc import Callable, Iterator
from html import unescape
from pathlib import Path
from typing import Any, cast

import pytest

from autoprep.cli.main import main
from autoprep.errors import ReadyAway
from autoprep.job import away
from autoprep.job.orders import JobOrder, JobResult
from autoprep.ledger import Ledger
from autoprep.logs import open_log
from autoprep.service.engine import Engine
from autoprep.service.space import Space
from autoprep.service.steps import GiveUp, Tell, Withdraw
from autoprep.told.explanations import HOLD, NOT_SENT
from autoprep.wishes.names import part_name
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.conftest import within
from tests.service import pretend
from tests.service.pretend import InlinePool, Studio, photo
from tests.service.test_week import each

Said = Callable[..., tuple[int, str]]


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


@pytest.fixture
def said(wren: Studio, capsys: pytest.CaptureFixture[str]) -> Said:
    def call(*command: str) -> tuple[int, str]:
        capsys.readouterr()
        with within(20, "it waits for a disk that is away"):
            code = main([*command, "--config", str(wren.config)])
        told = capsys.readouterr()
        return code, told.out + told.err

    return call


@pytest.fixture
def service(wren: Studio) -> Iterator[Callable[[], None]]:
    """Let a service that goes on all the time look once more."""
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None))

    def look() -> None:
        for _ in range(6):
            engine._next_scan = 0.0
            engine._desk._stumbling = dict.fromkeys(engine._desk._stumbling, 0.0)  # no wait is long
            wren.at_once(engine)
            engine.step(0.0)

    yield look
    engine.stop()


def lying(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("linked", [False, True], ids=["folder", "link"])
def test_ready_that_is_away_is_told_waited_for_and_not_made_anew(wren: Studio, said: Said, linked: bool) -> None:
    ready = wren.settings.folders.ready
    if linked:
        shutil.rmtree(ready, ignore_errors=True)
        ready.with_name("share").mkdir()
        ready.symlink_to(ready.with_name("share"))
    wren.put("Gull.jpg", photo(1))
    assert said("once")[0] == 0
    place = ready.with_name("share") if linked else ready
    before = lying(place)
    assert before
    off = place.rename(place.with_name("off"))
    assert said("once")[0] == 1  # a script that runs it every night must not go on as if all were well
    wren.put("Tern.jpg", photo(2))
    code, told = said("once")
    why = f"the folder of finished pictures {ready} is not there (a disk that is away?); once it is back, all goes on"
    assert (code, why in told, "`autoprep init`" in told) == (1, True, True)
    assert not place.exists()
    for command in (("status",), ("check", "--ahead")):
        code, told = said(*command)
        assert (code, f"Nothing can be made: {why}" in told) == (1, True)
    assert "waiting for ready/" in (wren.settings.folders.records / "log.jsonl").read_text(encoding="utf-8")
    off.rename(place)
    assert said("once")[0] == 0
    assert {name: data for name, data in lying(place).items() if "Gull" in name} == before
    assert len(lying(place)) == 2 * len(before)
    assert said("status")[0] == 0


def test_a_share_that_leaves_an_empty_folder_in_its_place_is_away(
    wren: Studio, said: Said, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only the disk tells: what `init` made before the share was connected lies below it."""
    ready = wren.settings.folders.ready
    on_share = [True]
    monkeypatch.setattr(away, "is_apart", lambda _ready: on_share[0])
    wren.put("Gull.jpg", photo(1))
    assert said("once")[0] == 0
    before = lying(ready)
    off = ready.rename(ready.with_name("off"))
    ready.mkdir()
    (ready / "social-square").mkdir()
    on_share[0] = False
    wren.put("Tern.jpg", photo(2))
    code, told = said("once")
    assert (code, f"{ready} is no longer on the disk that it was on" in told) == (1, True)
    assert not lying(ready)
    shutil.rmtree(ready)
    off.rename(ready)
    on_share[0] = True
    assert said("once")[0] == 0
    assert {name: data for name, data in lying(ready).items() if "Gull" in name} == before
    assert len(lying(ready)) == 2 * len(before)


def test_an_inbox_that_a_share_has_left_empty_is_away(
    wren: Studio, said: Said, monkeypatch: pytest.MonkeyPatch
) -> None:
    inbox, on_share = wren.inbox, [True]
    monkeypatch.setattr(away, "is_apart", lambda folder: folder == inbox and on_share[0])
    wren.put("Gull.jpg", photo(1))
    assert said("once")[0] == 0
    (inbox / "Gull.jpg").unlink()
    assert said("status")[0] == 0  # tidied up by the artist
    on_share[0] = False
    (inbox / ".hidden").touch()
    why = f"the inbox {inbox} is empty, and no longer on the disk that it was on"
    for command, code in ((("status",), 1), (("once",), 1), (("check", "--ahead"), 1), (("check",), 0)):
        ended, told = said(*command)
        assert (command, ended, why in told) == (command, code, True)
    page = wren.settings.folders.records / "proof" / "index.html"
    assert f"Nothing comes in: {why}" in page.read_text(encoding="utf-8")
    on_share[0] = True
    assert said("once")[0] == 0
    assert "Nothing comes in" not in page.read_text(encoding="utf-8")


@pytest.mark.parametrize("by", ["init", "a photo"])
def test_an_inbox_on_another_disk_than_before_is_taken_as_it_lies(
    wren: Studio, said: Said, monkeypatch: pytest.MonkeyPatch, by: str
) -> None:
    on_share = [True]
    monkeypatch.setattr(away, "is_apart", lambda folder: folder == wren.inbox and on_share[0])
    assert said("once")[0] == 0
    on_share[0] = False
    assert said("status")[0] == 1
    if by == "init":
        assert main(["init", str(wren.settings.studio)]) == 0
    else:
        wren.put("Gull.jpg", photo(1))
        assert said("once")[0] == 0
        (wren.inbox / "Gull.jpg").unlink()
    assert said("status")[0] == 0


def test_folders_that_are_away_are_told_by_check_and_on_the_first_page(
    wren: Studio, said: Said, service: Callable[[], None]
) -> None:
    folders, page = wren.settings.folders, wren.settings.folders.records / "proof" / "index.html"
    wren.put("Gull.jpg", photo(1))
    service()
    assert "away" not in page.read_text(encoding="utf-8")
    off = [(place, place.rename(place.with_name(f"{place.name} off"))) for place in (folders.ready, folders.inbox)]
    service()
    first = page.read_text(encoding="utf-8")
    assert "(away)" in first
    assert "picked up" not in first
    code, told = said("check")
    for line in (f"Nothing comes in: the inbox {folders.inbox} is not there", "Nothing can be made: the folder of"):
        assert f"Note: {line}" in told
        assert f"<li>{line}" in first
    assert (code, "does not exist yet" in told) == (0, False)
    for place, elsewhere in off:
        elsewhere.rename(place)
    service()
    assert "away" not in page.read_text(encoding="utf-8")


def test_folders_that_are_away_are_told_alike_everywhere(wren: Studio, said: Said, service: Callable[[], None]) -> None:
    """What is ahead told them the other way round."""
    folders = wren.settings.folders
    wren.put("Gull.jpg", photo(1))
    service()
    for place in (folders.ready, folders.inbox):
        place.rename(place.with_name(f"{place.name} off"))
    service()
    page = unescape((folders.records / "proof" / "index.html").read_text(encoding="utf-8"))
    lists = [[line for line in re.findall("<li>(.*?)</li>", page) if line.startswith("Nothing")]]
    for command in (("status",), ("check",), ("check", "--ahead")):
        lines = [line.removeprefix("Note: ") for line in said(*command)[1].splitlines()]
        lists.append([line for line in lines if line.startswith("Nothing")])
    assert [line.split(": ")[0] for line in lists[0]] == ["Nothing comes in", "Nothing can be made"]
    assert all(lines == lists[0] for lines in lists)


def test_nothing_is_called_picked_up_while_ready_is_away(wren: Studio, said: Said, service: Callable[[], None]) -> None:
    ready, proof = wren.settings.folders.ready, wren.settings.folders.records / "proof"
    wren.put("Gull.jpg", photo(1))
    service()
    off = ready.rename(ready.with_name("off"))
    for page in proof.glob("*.html"):  # so that all pages are due
        page.unlink()
    service()
    told = said("show", "Gull.jpg")[1]
    assert "where its files are is not known: the folder of finished pictures" in told
    for text in (told, *(page.read_text(encoding="utf-8") for page in proof.glob("*.html"))):
        assert "picked up" not in text
    off.rename(ready)
    service()
    assert "is not known" not in said("show", "Gull.jpg")[1]
    pages = "".join(page.read_text(encoding="utf-8") for page in proof.glob("*.html"))
    assert (proof / "works.html").exists()
    assert "picked up" not in pages
    assert "(away)" not in pages


def test_the_pages_go_on_while_ready_is_away(wren: Studio, service: Callable[[], None]) -> None:
    """What was said, and what is asked about it, stood on no page, for as long as the share was away."""
    ready, proof = wren.settings.folders.ready, wren.settings.folders.records / "proof"

    def pages(called: str) -> str:
        return "".join(unescape(page.read_text(encoding="utf-8")) for page in proof.glob(called))

    wren.put("Gull.jpg", photo(1))
    service()
    square = next(path for path in lying(ready) if path.startswith("square/"))
    (ready / square).write_bytes(b"retouched")
    service()
    off = ready.rename(ready.with_name("off"))
    wren.put("Gull.txt", "kelp: blue")
    service()
    month = "[0-9]*.html"
    for called in ("work-*.html", month):
        assert "“kelp”, which is not understood" in pages(called), called
        assert "(away)" in pages(called), called
    away_still = "not known while the folder of finished pictures is away"
    assert [away_still in pages(called) for called in ("works.html", "work-*.html")] == [True, True]
    assert "as of" not in pages("works.html") + pages("work-*.html")
    off.rename(ready)
    service()
    for called in ("works.html", "work-*.html", month):
        assert "away" not in pages(called), called
    assert "Changed by you, as of" in pages("work-*.html")


def test_what_goes_to_a_call_is_not_known_while_ready_is_away(wren: Studio, said: Said) -> None:
    """It was told that nothing would go there, a day before the deadline."""
    ready, sheet = wren.settings.folders.ready, wren.settings.studio / "call.pdf"
    wren.put("Gull.jpg", photo(1))
    assert said("once")[0] == 0
    off = ready.rename(ready.with_name("off"))
    code, told = said("works", "--for", "square")
    assert (code, "is not known now: the folder of finished pictures" in told, "0 pictures" in told) == (1, True, False)
    code, told = said("sheet", str(sheet), "--for", "square")
    assert (code, "No sheet was made: the folder of" in told, sheet.exists()) == (1, True, False)
    assert said("works")[0] == 0  # which looks into records alone
    off.rename(ready)
    assert "1 picture would go" in said("works", "--for", "square")[1]


def test_folders_that_were_never_there_do_not_exist_yet(wren: Studio, said: Said) -> None:
    shutil.rmtree(wren.settings.folders.ready, ignore_errors=True)
    shutil.rmtree(wren.settings.folders.inbox)
    told = said("check")[1]
    assert "Note: the inbox folder does not exist yet" in told
    assert "Note: the ready folder does not exist yet" in told
    assert "Nothing" not in told


def test_another_folder_need_not_be_on_a_share_as_the_one_before_was(
    wren: Studio, said: Said, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who gives up a share and lets `ready` lead to a folder of the computer has said all that there is to say."""
    monkeypatch.setattr(away, "is_apart", lambda ready: ready.name == "ready")
    wren.put("Gull.jpg", photo(1))
    assert said("once")[0] == 0
    with wren.config.open("a", encoding="utf-8") as file:
        file.write('\n[folders]\nready = "made"\n')
    wren.put("Tern.jpg", photo(2))
    assert said("once")[0] == 0
    assert [name for name in lying(wren.settings.studio / "made") if "Tern" in name]


@pytest.mark.parametrize("shared", [False, True], ids=["removed", "taken from its disk"])
def test_who_took_ready_away_makes_it_anew_with_init(
    wren: Studio, said: Said, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, shared: bool
) -> None:
    ready, apart = wren.settings.folders.ready, [shared]
    monkeypatch.setattr(away, "is_apart", lambda _ready: apart[0])
    wren.put("Gull.jpg", photo(1))
    assert said("once")[0] == 0
    shutil.rmtree(ready)
    if shared:
        ready.mkdir()
    apart[0] = False
    assert said("status")[0] == 1
    assert main(["init", str(wren.settings.studio)]) == 0
    assert "finished pictures" not in capsys.readouterr().err
    assert (ready / next(iter(wren.settings.destinations))).is_dir()
    assert said("status")[0] == 0
    wren.put("Tern.jpg", photo(2))
    assert said("once")[0] == 0
    assert lying(ready)
    assert all("Tern" in name for name in lying(ready))  # what lay there before was picked up


def test_a_work_of_several_is_given_up_when_ready_is_back(wren: Studio, said: Said) -> None:
    ready = wren.settings.folders.ready
    wren.put("Cards.jpg", photo(7, answer="several"))
    wren.run()
    each("Cards")(wren)
    wren.run()
    part = part_name("Cards.jpg", 2)
    assert any("Cards-2" in name for name in lying(ready))
    off = ready.rename(ready.with_name("off"))
    wren.put("Cards.txt", "outline: whole photo")
    assert said("once")[0] == 1
    assert wren.records()[part].outcome == "ready"  # else its pictures would stay there for ever
    off.rename(ready)
    assert said("once")[0] == 0
    assert wren.records()[part].outcome == "no work seen"
    assert all("Cards-" not in name for name in lying(ready))


def test_no_step_that_moves_pictures_is_taken_while_they_are_away() -> None:
    space = Space(cast(Any, None), None)
    steps = (GiveUp("job", "its photo shows one work"), Withdraw("job", "a word", ("site",)), Tell("job", "a word"))
    held = [Withdraw("job", why, ("site",)) for why in (HOLD, NOT_SENT)]
    for step in (*steps, *held):
        space.refuse(step)
    space.away = "it is away"
    for step in steps[:2]:
        with pytest.raises(ReadyAway):
            space.refuse(step)
    for step in (steps[2], *held):
        space.refuse(step)


def test_ready_is_back_once_and_only_where_it_was_away(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    ledger, seen = Ledger(ledger_path(studio)), []
    space = Space(ledger, open_log(studio.folders.records, None))
    for why in ("", "", "it is away", "it is away", "", ""):
        monkeypatch.setattr("autoprep.service.space.no_ready", lambda *_folders, why=why: why)
        space.look(studio, lambda *_words, **_more: None)
        seen.append(space.back)
    ledger.close()
    assert seen == [False, False, False, False, True, False]


def test_ready_emptied_on_one_s_own_disk_was_picked_up(wren: Studio, said: Said) -> None:
    ready = wren.settings.folders.ready
    wren.put("Gull.jpg", photo(1))
    assert said("once")[0] == 0
    for folder in ready.iterdir():
        shutil.rmtree(folder)
    assert said("status")[0] == 0
    wren.put("Tern.jpg", photo(2))
    assert said("once")[0] == 0
    assert all("Tern" in name for name in lying(ready))


def test_the_service_goes_on_by_itself_when_ready_is_back(
    wren: Studio, said: Said, service: Callable[[], None]
) -> None:
    """Meanwhile one is held, and one that was held is let go: nothing of that is lost."""
    ready = wren.settings.folders.ready
    wren.put("Gull.jpg", photo(1))
    wren.put("Tern.jpg", photo(2))
    service()
    wren.put("Tern.txt", "hold: yes")
    service()
    assert all("Gull" in name for name in lying(ready))
    off = ready.rename(ready.with_name("off"))
    service()
    wren.put("Gull.txt", "hold: yes")
    wren.put("Tern.txt", "hold: no")
    wren.put("Skua.jpg", photo(3))
    service()
    assert not ready.exists()
    told = said("status")[1]
    assert "Tried again later: Tern.jpg: the folder of finished pictures" in told
    assert "Gull.jpg: the folder" not in told  # a hold counts at once: it is taken out when it lies there again
    off.rename(ready)
    service()
    there = lying(ready)
    assert {name.rpartition("/")[2][:4] for name in there if name.endswith((".jpg", ".tif"))} == {"Skua", "Tern"}
    assert said("status")[0] == 0


def test_what_was_held_meanwhile_is_taken_out_at_once_when_ready_is_back(wren: Studio) -> None:
    ready = wren.settings.folders.ready
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None))

    def stepped(*, look: bool) -> None:
        for _ in range(6):
            engine._next_scan = 0.0 if look else engine._next_scan
            engine.step(0.0)

    wren.put("Gull.jpg", photo(1))
    stepped(look=True)
    off = ready.rename(ready.with_name("off"))
    wren.put("Gull.txt", "hold: yes")
    stepped(look=True)
    engine._stirred, engine._next_scan = False, 1e12
    off.rename(ready)
    assert lying(ready)
    stepped(look=False)  # no event of the inbox tells of it
    assert not lying(ready)
    engine.stop()


@pytest.mark.parametrize("left", ["nothing", "an empty folder", "its folders"])
def test_ready_that_goes_away_while_a_worker_has_a_photo_is_not_made_anew(
    wren: Studio, said: Said, monkeypatch: pytest.MonkeyPatch, left: str
) -> None:
    mounted = left != "nothing"
    ready, real, apart = wren.settings.folders.ready, pretend.pretend, [mounted]
    monkeypatch.setattr(away, "is_apart", lambda _ready: apart[0])
    wren.put("Gull.jpg", photo(1))
    assert said("once")[0] == 0
    off = ready.with_name("off")

    def unplugged(order: JobOrder) -> JobResult:
        if not off.exists():
            ready.rename(off)
            if mounted:
                ready.mkdir()
            for name in wren.settings.destinations if left == "its folders" else ():
                (ready / name).mkdir()  # which `init` made before the share was there
            apart[0] = False
        return real(order)

    monkeypatch.setattr(pretend, "pretend", unplugged)
    wren.put("Tern.jpg", photo(2))
    assert said("once")[0] == 1
    assert not lying(ready) if mounted else not ready.exists()
    assert "Tern.jpg: the folder of finished pictures" in said("status")[1]
    assert InlinePool.made


def test_a_redo_while_ready_is_away_is_noted_and_done_when_it_is_back(wren: Studio, said: Said) -> None:
    ready = wren.settings.folders.ready
    wren.put("Gull.jpg", photo(1))
    assert said("once")[0] == 0
    off = ready.rename(ready.with_name("off"))
    code, told = said("redo", "Gull.jpg")
    why = "that is noted, and done as soon as the folder of finished pictures is back"
    assert (code, f"Gull.jpg: {why}" in told) == (1, True)
    assert not ready.exists()
    off.rename(ready)
    wren.rendered()
    assert said("once")[0] == 0
    assert [photo for _, photo, _ in wren.rendered()] == ["Gull.jpg"]


def test_a_question_leaves_the_first_page_with_its_photo(wren: Studio, service: Callable[[], None]) -> None:
    page = wren.settings.folders.records / "proof" / "index.html"
    wren.put("Gull.jpg", photo(1))
    asked = wren.put("Tern.jpg", photo(2, answer="ask"))
    service()
    assert "Waits for your answer" in page.read_text(encoding="utf-8")
    data = asked.read_bytes()
    asked.unlink()
    service()
    assert "Waits for your answer" not in page.read_text(encoding="utf-8")
    asked.write_bytes(data)
    service()
    assert "Waits for your answer" in page.read_text(encoding="utf-8")
