"""Names of which capitals alone change, or how their letters are put together: a work meets its own file there."""

from pathlib import Path

import pytest

from autoprep.files.storage import publish
from autoprep.ledger import Rendition, key_of
from autoprep.service import hands
from autoprep.service.keeping import left_behind
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo

TABLES = '[site]\nlong_side_px = 900\nname = "{title}"\n[square]\nlong_side_px = 900\n'


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    """A studio on a disk that may take two such names for one: no file is published beside one that is called alike."""

    def alone(part: Path, final: Path) -> None:
        others = [place for place in final.parent.iterdir() if place != final and key_of(place) == key_of(final)]
        assert others == []
        publish(part, final)

    studio.config_file.with_name("destinations.toml").write_text(TABLES, encoding="utf-8")
    monkeypatch.setattr(hands, "publish", alone)
    made = Studio(studio, monkeypatch)
    made.put("img_7.jpg", photo(1))
    made.put("img_7.txt", "title: blue m\u00f6we")
    made.run()
    return made


def test_a_work_keeps_its_name_in_other_capitals(wren: Studio) -> None:
    assert list(wren.files()) == ["site/blue m\u00f6we.jpg", "square/img_7.jpg"]
    for title in ("Blue M\u00f6we", "Blue Mo\u0308we"):
        wren.put("img_7.txt", f"title: {title}")
        wren.run()
        assert [name.removesuffix(".jpg") for name in wren.files() if "site" in name] in (
            ["site/Blue M\u00f6we"], [f"site/{title}"],
        )  # fmt: skip
    (wren.inbox / "img_7.jpg").rename(wren.inbox / "IMG_7.jpg")
    wren.run()
    assert "square/IMG_7.jpg" in wren.files()
    assert len(wren.files()) == 2


@pytest.mark.parametrize("retouched", [False, True])
def test_another_file_of_that_name_is_met(wren: Studio, retouched: bool) -> None:
    if retouched:
        (wren.settings.folders.ready / "site" / "blue m\u00f6we.jpg").write_bytes(b"retouched")
        wren.put("img_7.txt", "title: Blue m\u00f6we")
    else:
        wren.put("b.jpg", photo(2))
        wren.put("b.txt", "title: Blue m\u00f6we")
    wren.run()
    assert [name for name in wren.files() if "site" in name] == ["site/Blue m\u00f6we-2.jpg", "site/blue m\u00f6we.jpg"]


def test_what_is_called_alike_goes_first() -> None:
    def lies(name: str, state: str = "in place") -> Rendition:
        return Rendition("site", state, Path(name), {}, "")  # type: ignore[arg-type]

    old = lies("a.jpg")
    for new, first in ((lies("A.jpg"), True), (lies("b.jpg"), False), (lies("A.jpg", "held"), False)):
        assert left_behind({"site": new}, {"site": old}) == {first: [old], not first: []}
    assert left_behind({"site": old}, {"site": old}) == {True: [], False: []}
