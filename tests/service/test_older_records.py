"""Records that were put back from a backup, over finished pictures that were made since."""

import json
import shutil

import pytest

from autoprep.cli.main import main
from autoprep.ledger import Ledger
from autoprep.logs import open_log
from autoprep.service.engine import Engine
from autoprep.service.rebuild import rebuild
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo

DESTINATIONS = (
    '[site]\nlong_side_px = 500\n[press]\nlong_side_px = 700\nname = "{nn} {photo}"\n'
    '[all]\nlong_side_px = 900\nname = "{destination}"\n'
)


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    studio.config_file.with_name("destinations.toml").write_text(DESTINATIONS, encoding="utf-8")
    wren = Studio(studio, monkeypatch)
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    records = wren.settings.folders.records
    shutil.copytree(records, records.with_name("backup"))
    wren.put("IMG_2.jpg", photo(2))
    wren.run()
    wren.put("IMG_3.jpg", photo(3))
    wren.run()
    return wren


def put_back(wren: Studio) -> None:
    records = wren.settings.folders.records
    shutil.rmtree(records)
    records.with_name("backup").rename(records)


def test_pictures_that_were_made_since_are_known_again(wren: Studio) -> None:
    before = wren.files()
    assert sorted(before) == [
        "all/all-2.jpg", "all/all-3.jpg", "all/all.jpg",
        "press/01 IMG_1.jpg", "press/02 IMG_2.jpg", "press/03 IMG_3.jpg",
        "site/IMG_1.jpg", "site/IMG_2.jpg", "site/IMG_3.jpg",
    ]  # fmt: skip
    put_back(wren)
    records = wren.run()
    assert wren.files() == before
    assert [output.notes for output in records["IMG_2.jpg"].outputs] == [(), (), ()]
    wren.put("IMG_2.txt", "hold: yes")
    wren.run()
    assert wren.files() == {name: data for name, data in before.items() if "2" not in name}
    wren.put("IMG_2.txt", "")
    wren.run()
    assert wren.files() == before


def test_a_picture_that_is_another_one_stays_the_artists(wren: Studio) -> None:
    site = wren.settings.folders.ready / "site"
    theirs = (site / "IMG_2.jpg").read_bytes().swapcase()  # of just as many bytes
    (site / "IMG_2.jpg").write_bytes(theirs)
    put_back(wren)
    wren.put("IMG_3.txt", "title: Ferry")
    wren.run()
    files = wren.files()
    assert files["site/IMG_2.jpg"] == theirs
    assert {"site/IMG_2-2.jpg", "site/IMG_3.jpg"} <= files.keys()


def test_a_picture_whose_name_is_kept_for_another_photo_is_that_ones(wren: Studio) -> None:
    put_back(wren)
    ledger = Ledger(ledger_path(wren.settings))
    (other,) = (job.job for job in ledger.jobs())
    ledger.reserve(other, {"site": wren.settings.folders.ready / "site" / "IMG_2.jpg"})
    ledger.close()
    wren.run()
    assert "site/IMG_2-2.jpg" in wren.files()


@pytest.mark.parametrize("word", ["hold: yes", "not for: site"])
def test_a_picture_that_no_record_knows_is_told_where_its_work_is_not_given_out(wren: Studio, word: str) -> None:
    put_back(wren)
    wren.put("IMG_2.txt", word)
    wren.put("IMG_1.txt", word)
    (wren.settings.folders.ready / "site" / "IMG_3.jpg").write_bytes(b"the artist's")
    wren.run()
    wren.put("IMG_3.txt", word)
    records = wren.run()
    told = {shown: record.held.get("site", "") for shown, record in records.items()}
    assert {shown for shown, words in told.items() if "which is not as this studio made it" in words} == (
        {"IMG_2.jpg", "IMG_3.jpg"} if "hold" in word else {"IMG_3.jpg"}
    )
    assert "; IMG_3.jpg lies there, which" in told["IMG_3.jpg"]
    assert {"site/IMG_2.jpg", "site/IMG_3.jpg"} <= wren.files().keys()
    wren.put("IMG_3.txt", "")
    assert wren.run()["IMG_3.jpg"].held == {}


@pytest.mark.parametrize("lost", ["index.html", ""])
def test_pages_that_are_deleted_are_written_again(wren: Studio, lost: str) -> None:
    proof = wren.settings.folders.records / "proof"
    wren.put("letter.jpg", b"no photo")
    wren.put("copy.jpg", photo(1))
    wren.put("Samphire.jpg", photo(4, answer="ask"))
    wren.run()

    def lying() -> dict[str, bytes]:
        return {str(path.relative_to(proof)): path.read_bytes() for path in sorted(proof.rglob("*")) if path.is_file()}

    before = lying()
    assert sum(name.endswith(".html") for name in before) >= 6
    for page in proof.glob("*.html") if lost else ():
        page.unlink()
    if not lost:
        shutil.rmtree(proof)
    wren.made()
    wren.run()
    assert lying().keys() == before.keys()
    for name, data in lying().items() if not lost else ():
        if name.endswith(".json"):
            now, was = (json.loads(text) for text in (data, before[name]))
            assert [now[key] for key in ("outcome", "outputs", "dates")] == [
                was[key] for key in ("outcome", "outputs", "dates")
            ]
    assert wren.made() == []
    for page in (proof / "index.html", proof / "works.html"):
        page.unlink()
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    for _ in range(20):
        Studio.at_once(engine)
        engine.step(0.0)
    assert lying().keys() == before.keys()
    shutil.rmtree(proof)  # while it runs
    for _ in range(20):
        Studio.at_once(engine)
        engine.step(0.0)
    engine.stop()
    assert lying().keys() == before.keys()
    assert wren.made() == []


NAMES = ("{photo}", "{nn} {photo}", "{title} {nn}", "{nn} {last} {title}")


@pytest.mark.parametrize("word", ["hold: yes", "not for: site"])
@pytest.mark.parametrize("name", NAMES)
def test_a_picture_that_was_retouched_is_told_on_hold_though_another_was_made_beside_it(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], name: str, word: str
) -> None:
    table = f'[site]\nlong_side_px = 500\nname = "{name}"\n'
    studio.config_file.with_name("destinations.toml").write_text(table, encoding="utf-8")
    wren = Studio(studio, monkeypatch)
    status = ["status", "--config", str(wren.config)]
    wren.put("Tern.jpg", photo(2))
    wren.put("Gull.jpg", photo(1))
    wren.run()
    first = next(place for place in (wren.settings.folders.ready / "site").iterdir() if "Gull" in place.name)
    first.write_bytes(b"retouched")
    wren.put("Gull.txt", "year: 2025")
    wren.run()
    again = first.with_stem(f"{first.stem}-2")
    assert again.exists()
    again.write_bytes(b"retouched as well")
    wren.put("Gull.txt", "year: 2026")
    wren.run()
    assert first.with_stem(f"{first.stem}-2-2").exists()
    assert main(status) == 0
    wren.put("Gull.txt", f"year: 2026\n{word}")
    record = wren.run()["Gull.jpg"]
    left = [again.name, first.name]
    assert sorted(place.name for place in first.parent.iterdir() if "Gull" in place.name) == left
    assert [name for name in left if f"; {name} lies there, which" in record.held["site"]] == left
    capsys.readouterr()
    assert main(status) == 1
    assert f"held, or not sent there: 2 (site/{left[0]}, site/{left[1]}); take them out" in capsys.readouterr().out
    first.unlink()
    again.unlink()
    assert main(status) == 0


def test_of_names_that_are_cut_and_of_other_works_each_is_told_apart(
    studio: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    tables = (
        '[site]\nlong_side_px = 500\nname = "{nn} {title}"\nname_max = 12\n'
        '[all]\nlong_side_px = 400\nname = "{nn} {last}"\n'
    )
    studio.config_file.with_name("destinations.toml").write_text(tables, encoding="utf-8")
    wren = Studio(studio, monkeypatch)
    wren.put("Sea holly, north shore.jpg", photo(1))
    wren.run()
    site = wren.settings.folders.ready / "site"
    (lies,) = (place.stem for place in site.iterdir())
    assert lies == "01 Sea holly"
    theirs = ["07 Sea holly", "123 Sea holl", "05 Sea hol-2"]
    for stem in (*theirs, "02 Sea", "Sea holly", "03 Sea hollyhock", "x7 Sea holly", "05 Sea ho-2"):
        (site / f"{stem}.jpg").write_bytes(b"the artist's")
    (site.parent / "all" / "07 Halloway.jpg").write_bytes(b"the artist's")
    wren.put("Sea holly, north shore.txt", "hold: yes")
    (record,) = wren.run().values()
    told = [stem for stem in theirs if f"; {stem}.jpg lies there, which" in record.held["site"]]
    assert told == theirs
    assert record.held["site"].count("lies there") == len(theirs)
    assert "lies there" not in record.held["all"]


def retouched(studio: Settings, monkeypatch: pytest.MonkeyPatch, name: str) -> Studio:
    """A studio with one destination and one photo, whose picture the artist has changed."""
    studio.config_file.with_name("destinations.toml").write_text("[site]\nlong_side_px = 500\n", encoding="utf-8")
    wren = Studio(studio, monkeypatch)
    wren.put(name, photo(1))
    wren.run()
    (wren.settings.folders.ready / "site" / name).write_bytes(b"retouched")
    return wren


@pytest.mark.parametrize("since", ["", "the studio was moved", "the ledger was lost"])
def test_a_picture_that_was_retouched_is_told_on_hold_after_its_work_got_another_name(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], since: str
) -> None:
    wren = retouched(studio, monkeypatch, "Gull.jpg")
    (wren.inbox / "Gull.jpg").rename(wren.inbox / "Tern.jpg")
    wren.run()
    assert {*wren.files()} == {"site/Gull.jpg", "site/Tern.jpg"}
    if since == "the ledger was lost":
        ledger_path(wren.settings).unlink()
        rebuild(wren.settings)
    if since == "the studio was moved":
        there = studio.studio.with_name("Moved")
        shutil.move(studio.studio, there)
        wren = Studio(load(there / "config" / "autoprep.toml"), monkeypatch)
    wren.put("Tern.txt", "hold: yes")
    record = wren.run()["Tern.jpg"]
    assert {*wren.files()} == {"site/Gull.jpg"}
    assert "; Gull.jpg lies there, which" in record.held["site"]
    status = ["status", "--config", str(wren.config)]
    assert main(status) == 1
    assert "held, or not sent there: 1 (site/Gull.jpg); take them out" in capsys.readouterr().out
    (wren.settings.folders.ready / "site" / "Gull.jpg").unlink()
    assert main(status) == 0


def test_a_retouched_picture_of_a_worse_take_is_told_when_the_work_is_held(
    studio: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    wren = retouched(studio, monkeypatch, "IMG_1.jpg")
    wren.put("IMG_2.jpg", photo(1, sharp=9))
    wren.run()
    assert len(wren.files()) == 2
    wren.put("IMG_2.txt", "hold: yes")
    records = wren.run()
    assert {*wren.files()} == {"site/IMG_1.jpg"}
    assert "; IMG_1.jpg lies there, which" in records["IMG_2.jpg"].held["site"]
