"""Photos that are called otherwise than before: works follow their bytes, and words stay with their works."""

import pytest

from autoprep.wishes.settings import Settings
from tests.service.pretend import Studio, photo
from tests.service.test_week import swap


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


def titles(wren: Studio) -> dict[str, tuple[str, str]]:
    """Bytes -> outcome and title, with the name of the photo that the record tells."""
    return {record.sha256: (record.outcome, record.work.title) for record in wren.records().values()}


def named(wren: Studio) -> dict[str, str]:
    return {record.sha256: shown for shown, record in wren.records().items() if record.outcome != "duplicate"}


def log(wren: Studio) -> str:
    return "".join(place.read_text(encoding="utf-8") for place in wren.settings.folders.records.glob("log*.jsonl*"))


def digests(wren: Studio, *names: str) -> list[str]:
    records = wren.records()
    return [records[name].sha256 for name in names]


def test_two_photos_change_names(wren: Studio) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.put("Heron.jpg", photo(2))
    wren.run()
    gull, heron = digests(wren, "Gull.jpg", "Heron.jpg")
    swap("Gull.jpg", "Heron.jpg")(wren)
    wren.run()
    assert named(wren) == {gull: "Heron.jpg", heron: "Gull.jpg"}
    assert titles(wren) == {gull: ("ready", "Heron"), heron: ("ready", "Gull")}


@pytest.mark.parametrize("free", ["Avocet", "Heron"])  # looked at before, and after, the name that it leaves
def test_one_photo_takes_the_name_that_another_leaves(wren: Studio, free: str) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.put("Tern.jpg", photo(2))
    wren.run()
    gull, tern = digests(wren, "Gull.jpg", "Tern.jpg")
    (wren.inbox / "Gull.jpg").rename(wren.inbox / f"{free}.jpg")
    (wren.inbox / "Tern.jpg").rename(wren.inbox / "Gull.jpg")
    wren.run()
    assert named(wren) == {gull: f"{free}.jpg", tern: "Gull.jpg"}
    assert titles(wren) == {gull: ("ready", free), tern: ("ready", "Gull")}
    assert "duplicate" not in log(wren)  # not even for a moment


def test_a_copy_is_the_photo_where_another_has_taken_its_name(wren: Studio) -> None:
    """The copy was known for long, and nothing is new of its file."""
    wren.put("Gull.jpg", photo(1))
    wren.put("Tern.jpg", photo(2))
    wren.put("Kept/Gull.jpg", photo(1))
    wren.run()
    gull, tern = digests(wren, "Gull.jpg", "Tern.jpg")
    (wren.inbox / "Tern.jpg").replace(wren.inbox / "Gull.jpg")
    wren.run()
    assert named(wren) == {gull: "Kept/Gull.jpg", tern: "Gull.jpg"}


def test_a_photo_that_was_only_touched_keeps_its_name_beside_a_copy(wren: Studio) -> None:
    """Its file is another one to the ledger, and holds the same bytes: these are read."""
    first = wren.put("Gull.jpg", photo(1))
    wren.run()
    wren.put("A copy.jpg", first.read_bytes())
    wren.put("Gull.jpg", photo(1))
    wren.run()
    records = wren.records()
    assert (records["Gull.jpg"].outcome, records["A copy.jpg"].outcome) == ("ready", "duplicate")


def test_a_swap_in_pieces(wren: Studio) -> None:
    """A photo is written over by another, and comes back later under the other's name."""
    wren.put("Gull.jpg", photo(1))
    wren.put("Heron.jpg", photo(2))
    wren.run()
    gull, heron = digests(wren, "Gull.jpg", "Heron.jpg")
    (wren.inbox / "Heron.jpg").replace(wren.inbox / "Gull.jpg")
    wren.run()
    assert named(wren)[heron] == "Gull.jpg"
    wren.put("Heron.jpg", photo(1))
    wren.run()
    assert titles(wren) == {gull: ("ready", "Heron"), heron: ("ready", "Gull")}
