"""The tags of a PDF: what is a heading, a paragraph, a picture, a link, in the order of reading.

Source: ISO 32000-1:2008, sections 14.7 (logical structure) and 14.8 (tagged PDF).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pipeline.pdf.book import Wording

if TYPE_CHECKING:
    import pikepdf


class Structure:
    """Collects the elements while pages are written."""

    def __init__(self, pdf: pikepdf.Pdf) -> None:
        from pikepdf import Array, Dictionary, Name

        self._pdf = pdf
        self._root = pdf.make_indirect(Dictionary(Type=Name.StructTreeRoot))
        self._document = self._element("Document", self._root, Wording(text=""))
        self._root.K = Array([self._document])
        self._children: list[Any] = []
        self._parents: list[Any] = []
        """What contains the marked content of each page, or each annotation, by its key."""

    def begin_page(self, page: Any) -> None:
        """Let the elements that are added from now on be of a page."""
        self._page = page
        page.StructParents = len(self._parents)
        self._on_page: list[Any] = []
        self._parents.append(self._on_page)

    def add(self, kind: str, wording: Wording, **attributes: Any) -> str:
        """Add an element to the page; return the operator that opens its content, to be closed by EMC."""
        element = self._element(kind, self._document, wording, Pg=self._page, **attributes)
        element.K = len(self._on_page)
        self._on_page.append(element)
        self._children.append(element)
        return f"/{kind} <</MCID {element.K}>> BDC"

    def add_link(self, annotation: Any, wording: Wording) -> None:
        """Add a link, which is told apart by its annotation (section 14.8.4.4.2)."""
        from pikepdf import Dictionary, Name

        element = self._element("Link", self._document, wording, Pg=self._page)
        element.K = Dictionary(Type=Name.OBJR, Obj=annotation, Pg=self._page)
        annotation.StructParent = len(self._parents)
        self._parents.append(element)
        self._children.append(element)

    def finish(self) -> None:
        """Put the tree into the document."""
        from pikepdf import Array, Dictionary

        self._document.K = Array(self._children)
        keys: list[Any] = []
        for key, parent in enumerate(self._parents):
            keys += [key, self._pdf.make_indirect(Array(parent)) if isinstance(parent, list) else parent]
        self._root.ParentTree = self._pdf.make_indirect(Dictionary(Nums=Array(keys)))
        self._root.ParentTreeNextKey = len(self._parents)
        self._pdf.Root.StructTreeRoot = self._root
        self._pdf.Root.MarkInfo = Dictionary(Marked=True)

    def _element(self, kind: str, parent: Any, wording: Wording, **attributes: Any) -> Any:
        from pikepdf import Dictionary, Name, String

        element = self._pdf.make_indirect(
            Dictionary(Type=Name.StructElem, S=Name(f"/{kind}"), P=parent, **attributes)
        )
        if wording.language:
            element.Lang = String(wording.language)
        if kind in ("Figure", "Link"):
            element.Alt = String(wording.text)
        return element
