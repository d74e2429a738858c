"""Every shipped destination against every rule that it states, on photos of the demo inbox: the table of checks."""

import io
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyexiv2
import pytest
import tifffile
from PIL import Image, ImageCms

from autoprep.domain import JobRecord, OutputRecord, WorkFacts
from autoprep.files.spaces import SPACES
from autoprep.wishes.destinations import Preset
from autoprep.wishes.tables import Settings
from tests.lab.contact import all_outputs, studio_of_wren

INBOX = Path(__file__).parent.parent / "demo_inbox"
FACTS = WorkFacts(title="Sea Thrift", year="2026", medium="watercolour", inventory="WH-017", alt_text="Pink thrift")
SECRET = (b"GPS", b"Wren", b"Halloway", b"Sea Thrift", b"2026-", b"2026:", b"WH-017", b"watercolour")


@pytest.fixture(scope="module")
def delivered(tmp_path_factory: pytest.TempPathFactory) -> tuple[Settings, JobRecord]:
    settings = studio_of_wren(tmp_path_factory.mktemp("table") / "studio")
    photo = INBOX / "IMG_2052.jpg"
    record = all_outputs(settings, photo, FACTS)
    assert record.outcome == "ready"
    assert {output.destination for output in record.outputs} | record.held.keys() == set(settings.destinations)
    return settings, record


class Case:
    """One file of the table with what was asked of it."""

    def __init__(self, settings: Settings, output: OutputRecord) -> None:
        self.preset, self.output = settings.destinations[output.destination], output
        self.path = settings.studio / output.path
        self.data = self.path.read_bytes()

    def image(self) -> Image.Image:
        return Image.open(io.BytesIO(self.data))


def pixels(case: Case) -> bool:
    preset, size = case.preset, (case.output.width_px, case.output.height_px)
    if preset.bits == 16:
        return tuple(tifffile.imread(case.path).shape[1::-1]) == size
    with case.image() as image:
        if image.size != size:
            return False
    if preset.width_px:
        return size == (preset.width_px, preset.height_px)
    # Nothing is enlarged beyond the photo's own pixels; then the record says so.
    said = any("not enlarged" in note for note in case.output.notes)
    return preset.long_side_px is None or max(size) == preset.long_side_px or (said and max(size) < preset.long_side_px)


def millimetres(case: Case) -> bool:
    """px = mm / 25.4 * ppi, rounded: A4 and A3 with 3 mm bleed at 300 ppi are 2551 x 3579 and 3579 x 5031 (ISO 216)."""
    size_mm, preset = case.preset.size_mm(), case.preset
    if size_mm is None or preset.ppi is None:
        return True
    wanted = sorted(round((side + 2 * preset.bleed_mm) / 25.4 * preset.ppi) for side in size_mm)
    known = {"print-a4": [2551, 3579], "print-a3": [3579, 5031], "print-8x10": [2471, 3071]}
    found = sorted((case.output.width_px, case.output.height_px))
    return found == wanted == known[case.output.destination]


def density(case: Case) -> bool:
    ppi = case.preset.ppi
    if ppi is None:
        return True
    if case.preset.format == "tiff":
        with tifffile.TiffFile(case.path) as file:
            upper, lower = file.pages[0].tags["XResolution"].value  # type: ignore[union-attr]
            return bool(upper / lower == ppi)
    with case.image() as image:
        return bool(image.info["dpi"] == (ppi, ppi))


def profile(case: Case) -> bool:
    """The profile is the space's own, and a second reader (lcms) opens it."""
    icc = SPACES[case.preset.colour].profile()
    if case.preset.format == "tiff":
        with tifffile.TiffFile(case.path) as file:
            return bool(file.pages[0].tags[34675].value == icc)  # type: ignore[union-attr]
    with case.image() as image:
        ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
        return bool(image.info["icc_profile"] == icc)


def size_in_bytes(case: Case) -> bool:
    most = case.preset.max_kb
    return len(case.data) == case.output.bytes and (most is None or len(case.data) <= most * 1000)


def name(case: Case) -> bool:
    expected = {"submission": "01_Halloway_Wren_Sea_Thrift", "submission-blind": "01"}
    return case.path.stem == expected.get(case.output.destination, "IMG_2052")


def rights(case: Case) -> bool:
    found = pyexiv2.Image(str(case.path))
    said = found.read_xmp()
    if case.preset.rights == "none":
        return not said and not found.read_iptc() and not any(word in case.data for word in SECRET)
    return bool(
        said["Xmp.dc.creator"] == ["Wren Halloway"]
        and said["Xmp.dc.rights"]['lang="x-default"'] == "© 2026 Wren Halloway"
        and said["Xmp.dc.title"]['lang="x-default"'] == "Sea Thrift"
        and said["Xmp.iptc.AltTextAccessibility"]['lang="x-default"'] == "Pink thrift"
        and said["Xmp.iptcExt.ArtworkOrObject[1]/Iptc4xmpExt:AOSourceInvNo"] == "WH-017"
        and found.read_exif()["Exif.Image.Artist"] == "Wren Halloway"
    )


def no_position(case: Case) -> bool:
    """The demo photos carry an invented position, a serial number and maker notes; nothing of it may get out."""
    found = pyexiv2.Image(str(case.path))
    tags = [*found.read_exif(), *found.read_xmp(), *found.read_iptc()]
    banned = ("GPS", "Serial", "MakerNote", "CameraOwner", "Thumbnail", "LocationCreated", "LocationShown", "City")
    return not any(word in tag for tag in tags for word in banned)


def coding(case: Case) -> bool:
    preset = case.preset
    if preset.format != "jpeg":
        return case.path.suffix == ".tif"
    with case.image() as image:
        whole_chroma = [layer[1:3] for layer in image.layer] == [(1, 1)] * 3  # type: ignore[attr-defined]
        return whole_chroma and bool(image.info.get("progressive", 0)) == preset.progressive


CHECKS: dict[str, Callable[[Case], bool]] = {
    "pixels": pixels,
    "mm": millimetres,
    "ppi": density,
    "profile": profile,
    "bytes": size_in_bytes,
    "name": name,
    "rights": rights,
    "no position": no_position,
    "coding": coding,
}


@pytest.mark.slow
def test_the_table_of_destinations_and_checks(delivered: tuple[Settings, JobRecord]) -> None:
    settings, record = delivered
    cases = [Case(settings, output) for output in record.outputs]
    table = {case.output.destination: {check: holds(case) for check, holds in CHECKS.items()} for case in cases}
    lines = [f"{'':<18}" + " ".join(f"{check:>11}" for check in CHECKS)]
    for destination, row in table.items():
        lines.append(f"{destination:<18}" + " ".join(f"{'yes' if held else 'NO':>11}" for held in row.values()))
    sys.stdout.write("\n" + "\n".join(lines) + "\n")
    assert set(table) == set(settings.destinations) - {"print-own-size"}
    assert "size is not known" in record.held["print-own-size"]  # nothing is said of it here
    assert {(d, check) for d, row in table.items() for check, held in row.items() if not held} == set()


@pytest.mark.slow
def test_marks_stand_where_they_are_asked_for_and_nowhere_else(
    delivered: tuple[Settings, JobRecord], tmp_path: Path
) -> None:
    """Made again without any mark, only the destinations with a mark differ, and only in a small place."""
    settings, record = delivered
    bare = studio_of_wren(tmp_path / "studio")
    unmarked = {name: Preset(**{**preset.model_dump(), "mark": False}) for name, preset in bare.destinations.items()}
    chosen = {key: unmarked[key] for key in ("square", "site", "banner", "submission", "print-a4")}
    again = all_outputs(bare.model_copy(update={"destinations": chosen}), INBOX / "IMG_2052.jpg", FACTS)
    was = {output.destination: settings.studio / output.path for output in record.outputs}
    for output in again.outputs:
        with Image.open(was[output.destination]) as one, Image.open(bare.studio / output.path) as two:
            differing = (np.abs(np.asarray(one, int) - np.asarray(two, int)).max(-1) > 24).mean()
        marked = settings.destinations[output.destination].mark
        assert (differing > 0) == marked, output.destination
        assert differing < 0.01


def test_mark_and_rights_rules_of_the_shipped_table(tmp_path: Path) -> None:
    """Never a mark on print, press, blind and master copies; blind copies alone are without rights."""
    settings = studio_of_wren(tmp_path / "studio")
    for key, preset in settings.destinations.items():
        if key.startswith(("print", "press", "submission", "master")):
            assert not preset.mark, key
        assert (preset.rights == "none") == (key == "submission-blind")


def test_a_print_of_more_pixels_than_can_be_is_refused_with_a_way_out() -> None:
    with pytest.raises(ValueError, match="100 to 150 ppi"):
        Preset(width_mm=3000, height_mm=3000, ppi=2400)
    assert Preset(width_mm=3000, height_mm=2000, ppi=150, bleed_mm=3).size_mm() == (3000, 2000)
