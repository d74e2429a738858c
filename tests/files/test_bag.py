"""Bags for archives, checked by the reference implementation (the package bagit), and against RFC 8493."""

from pathlib import Path

import bagit
import pytest

from autoprep.errors import DeliveryError
from autoprep.files.bag import Item, held_in, sha256_of, write_bag

INFO = (("Contact-Name", "Wren\nHalloway"), ("Contact-Email", ""), ("Bag-Group-Identifier", "master"))


def picture(folder: Path, name: str, data: bytes) -> Item:
    place = folder / name
    place.write_bytes(data)
    return Item(name, place, sha256_of(place))


def test_a_bag_is_valid_and_says_what_it_holds(tmp_path: Path) -> None:
    items = [
        picture(tmp_path, "Möwe.tif", b"gull" * 700_000), picture(tmp_path, "50% grey.tif", b"grey"),
        Item("lists/works.csv", b"number,file\n"),
    ]  # fmt: skip
    place = write_bag(tmp_path / "bags", "master-2026-11", items, INFO, "2026-11-26")
    bag = bagit.Bag(str(place))
    # RFC 8493, 2.1.3: a percent sign in a path is encoded; the package reads line ends only, so that file by hand.
    assert "data/50%25 grey.tif" in (place / "manifest-sha256.txt").read_text(encoding="utf-8")
    (place / "data" / "50% grey.tif").rename(place / "data" / "50%25 grey.tif")
    bag.validate()
    # Payload-Oxum: octets, a point, and streams (RFC 8493, 2.2.2).
    assert bag.info == {
        "Contact-Name": "Wren Halloway", "Bag-Group-Identifier": "master", "Bagging-Date": "2026-11-26",
        "Payload-Oxum": f"{2_800_000 + 4 + 12}.3",
    }  # fmt: skip
    assert (place / "bagit.txt").read_bytes() == b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
    assert {line.split("  ")[1] for line in (place / "tagmanifest-sha256.txt").read_text().splitlines()} == {
        "bagit.txt", "bag-info.txt", "manifest-sha256.txt",
    }  # fmt: skip
    (place / "data" / "Möwe.tif").write_bytes(b"gulf" * 700_000)
    with pytest.raises(bagit.BagValidationError):
        bag.validate()


def test_nothing_is_overwritten_and_nothing_half_written_has_the_name(tmp_path: Path) -> None:
    bags, item = tmp_path / "bags", picture(tmp_path, "a.tif", b"one")
    first = write_bag(bags, "master", [item], (), "2026-11-26")
    (tmp_path / "a.tif").write_bytes(b"two")
    with pytest.raises(DeliveryError, match="changed"):
        write_bag(bags, "master", [item], (), "2026-11-26")
    assert [place.name for place in bags.iterdir()] == ["master"]
    (bags / ".autoprep-master.part" / "data").mkdir(parents=True)  # a run that was stopped has left it
    second = write_bag(bags, "master", [picture(tmp_path, "b.tif", b"two")], (), "2026-11-26")
    assert (first.name, second.name) == ("master", "master-2")
    assert (first / "data" / "a.tif").read_bytes() == b"one"
    bagit.Bag(str(second)).validate()
    assert {place.name for place in bags.iterdir()} == {"master", "master-2"}
    assert {item.sha256, sha256_of(tmp_path / "b.tif")} <= held_in(bags)


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "bags").write_text("a file stands here")
    with pytest.raises(DeliveryError, match="bag"):
        write_bag(tmp_path / "bags", "master", [Item("a", b"a")], (), "2026-11-26")
