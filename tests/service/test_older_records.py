"""Records that were put back from a backup, over finished pictures that were made since."""

import json
import shutil

import pytest

from autoprep.ledger import Ledger
from autoprep.logs import open_log
from autoprep.service.engine import Engine
from autoprep.wishes.places import ledger_path
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
    assert {shown for shown, words in told.items() if "which this studio's records do not know" in words} == (
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
