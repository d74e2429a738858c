"""The structure tree of lists and sheets, walked by another reader (pikepdf): all that is shown hangs in it."""

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from pypdf import PdfReader

from autoprep.told.paper import image_list, sheet
from tests.told.test_paper import MADE, cells, rows

_SHOWS = {"Tj", "TJ", "'", '"', "Do", "EI"}


def shown(page: Any) -> Iterator[tuple[str, int | None, str]]:
    """(role, number of the marked content or None, operator) of everything that a page draws."""
    inside: list[tuple[str, int | None]] = []
    for instruction in pikepdf.parse_content_stream(page):
        operands: Any = instruction.operands
        name = str(instruction.operator)
        if name == "BDC":
            number = operands[1].get("/MCID")
            inside.append((str(operands[0]), None if number is None else int(number)))
        elif name == "BMC":
            inside.append((str(operands[0]), None))
        elif name == "EMC":
            inside.pop()
        elif name in _SHOWS:
            role, number = inside[-1] if inside else ("nothing", None)
            yield role, number, name
    assert not inside


def walked(element: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """(roles from the root, element) of all elements that hold marked content, in reading order."""
    path = (*path, str(element.S))
    for kid in element.K:
        if isinstance(kid, int):
            yield path, element
        else:
            assert kid.P.objgen == element.objgen
            yield from walked(kid, path)


def checked(pdf: pikepdf.Pdf) -> list[tuple[tuple[str, ...], Any]]:
    """All elements with content, after both ways between tree and pages have been gone."""
    assert pdf.check_pdf_syntax() == []
    root = pdf.Root.StructTreeRoot
    (document,) = root.K
    found = list(walked(document))
    pages = {page.objgen: page for page in pdf.pages}
    reached = {(element.Pg.objgen, int(element.K[0])): element for _, element in found}
    parents = {
        int(root.ParentTree.Nums[k]): root.ParentTree.Nums[k + 1] for k in range(0, len(root.ParentTree.Nums), 2)
    }
    for place, page in pages.items():
        for role, number, _ in shown(page):
            if role == "/Artifact":
                continue
            assert number is not None, f"{role} hangs nowhere"
            assert str(reached[place, number].S) == role
            assert parents[int(page.StructParents)][number].objgen == reached[place, number].objgen
    assert len(reached) == len(found) == sum(len(row) for row in parents.values())
    return found


@pytest.mark.parametrize("count", [0, 1, 6, 14])
def test_all_that_is_shown_hangs_in_the_tree(tmp_path: Path, count: int) -> None:
    for data in (
        image_list("Image list", rows(tmp_path, count), author="", made=MADE),
        sheet("Works", cells(tmp_path, count), made=MADE),
    ):
        with pikepdf.open(io.BytesIO(data)) as pdf:
            (heading, _), *entries = checked(pdf)
            assert heading == ("/Document", "/H1")
            assert all(path[:-1] == ("/Document", "/L", "/LI", "/LBody") for path, _ in entries)
            figures = [element for path, element in entries if path[-1] == "/Figure"]
            assert len(figures) == count
            assert all("gull" in str(figure.Alt) for figure in figures)
            # In each entry the picture comes first, and then what is said of it.
            by_entry: dict[Any, list[str]] = {}
            for path, element in entries:
                by_entry.setdefault(element.P.objgen, []).append(path[-1])
            assert len(by_entry) == count
            assert all(kinds[0] == "/Figure" and set(kinds[1:]) == {"/P"} and kinds[2:] for kinds in by_entry.values())


def test_title_language_and_marks_are_told(tmp_path: Path) -> None:
    with pikepdf.open(io.BytesIO(image_list("Image list", rows(tmp_path, 2), author="", made=MADE))) as pdf:
        assert pdf.Root.ViewerPreferences.DisplayDocTitle
        assert pdf.Root.MarkInfo.Marked
        assert str(pdf.Root.Lang) == "en"
        assert str(pdf.docinfo.Title) == "Image list"


def test_only_what_comes_again_is_left_out_of_the_tree(tmp_path: Path) -> None:
    """The words outside the tree: the page's number, and the heading from the second page on."""
    data = image_list("Image list", rows(tmp_path, 8), author="", made=MADE)
    with pikepdf.open(io.BytesIO(data)) as pdf:
        counts = [sum(role == "/Artifact" for role, _, _ in shown(page)) for page in pdf.pages]
    assert counts == [1, 2]
    assert "2 / 2" in PdfReader(io.BytesIO(data)).pages[1].extract_text()


def test_a_blind_list_holds_nothing_of_the_artist_in_its_tree(tmp_path: Path) -> None:
    data = sheet("Works", cells(tmp_path, 3), made=MADE)
    with pikepdf.open(io.BytesIO(data)) as pdf:
        objects = " ".join(repr(one) for one in pdf.objects)
        assert "/Author" not in pdf.docinfo
    assert "Halloway" not in objects
    assert "gull" in objects
