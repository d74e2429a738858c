"""A PDF whose text and pictures hang in a structure tree (ISO 32000-1, 14.7 and 14.8), for who has pages read aloud.

The library puts pictures alone into such a tree, all in one row. What is done here beside its public calls is this
module's business only: its tests fail where a new release does it in another way.
"""

import logging
from collections.abc import Iterator
from contextlib import contextmanager

from fpdf import FPDF
from fpdf.prefs import ViewerPreferences
from fpdf.structure_tree import StructElem, StructureTreeBuilder
from fpdf.syntax import PDFObject

logging.getLogger("fpdf").setLevel(logging.ERROR)  # of letters that no font holds, who calls says more than it does


class _Tree(StructureTreeBuilder):
    """The library's builder with elements inside each other.

    The library goes through the kids of `doc_struct_elem` to tell each its page; here that is a list of all elements
    and is not written itself: `document` is what readers see.
    """

    def __init__(self) -> None:
        super().__init__()
        self.document = StructElem("/Document", self.struct_tree_root, [])
        self.struct_tree_root.k[:] = [self.document]
        self._open = [self.document]

    def add(self, role: str, page: int, mcid: int | None = None, alt: str = "") -> StructElem:
        """A new element inside that which is open; mcid: the number of its marked content on the page."""
        kids = [] if mcid is None else [mcid]
        found = StructElem(role, self._open[-1], kids, page_number=page, alt=alt or None)
        self._open[-1].k.append(found)
        self.doc_struct_elem.k.append(found)
        return found

    @contextmanager
    def inside(self, element: StructElem) -> Iterator[None]:
        """What is added meanwhile stands inside this element."""
        self._open.append(element)
        yield
        self._open.pop()

    def mark(self, role: str, page: int, alt: str) -> tuple[int, int]:
        """An element that has content of its own: the number of that content, and of the page among tagged ones."""
        parents = self.spid_per_page_number.setdefault(page, len(self.spid_per_page_number))
        marked = self.struct_tree_root.parent_tree.nums[parents]  # in the order of their numbers (14.7.4.4)
        number = len(marked)
        marked.append(self.add(role, page, number, alt))
        return number, parents

    def __iter__(self) -> Iterator[PDFObject]:
        yield self.struct_tree_root
        yield self.document
        yield self.struct_tree_root.parent_tree
        yield from self.doc_struct_elem.k


class TaggedPdf(FPDF):
    """The library's document; all that is drawn stands in `tag` or `artifact`. Its title is shown in the window."""

    def __init__(self, title: str, language: str) -> None:
        super().__init__("portrait", "mm", "A4")
        self._tree = _Tree()
        self.struct_builder = self._tree
        self.viewer_preferences = ViewerPreferences(display_doc_title=True)
        self.set_title(title)
        self.set_lang(language)

    @contextmanager
    def tag(self, role: str, alt: str = "") -> Iterator[None]:
        """What is drawn meanwhile is the content of a new element: "H1", "P", "Figure" with what it shows."""
        number, parents = self._tree.mark(f"/{role}", self.page, alt)
        self.pages[self.page].struct_parents = parents
        self._out(f"/{role} <</MCID {number}>> BDC")
        yield
        self._out("EMC")

    @contextmanager
    def group(self, *roles: str) -> Iterator[None]:
        """What is tagged meanwhile stands inside a new element, of several the innermost: "L", "LI", "LBody"."""
        if not roles:
            yield
            return
        with self._tree.inside(self._tree.add(f"/{roles[0]}", self.page)), self.group(*roles[1:]):
            yield

    @contextmanager
    def artifact(self) -> Iterator[None]:
        """What is drawn meanwhile is the page's own, no content: its number, a heading that comes again (14.8.2.2)."""
        self._out("/Artifact <</Type /Pagination>> BDC")
        yield
        self._out("EMC")
