"""What the PDF says of itself as a whole: metadata, outline, page labels, how it likes to be shown.

Source: ISO 32000-1:2008, sections 7.7.2 (catalog), 12.2 (viewer preferences), 12.3.3 (outline), 12.4.2
(page labels), 14.3 (metadata); ISO 16684-1 for the XMP properties.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import TYPE_CHECKING

from pipeline.pdf.book import Book, Section

if TYPE_CHECKING:
    import pikepdf

_TITLE_PAGES = 1
_PRODUCER = "solander"


def describe(pdf: pikepdf.Pdf, book: Book, *, now: dt.datetime) -> None:
    """Write all of it into a document that has its pages."""
    from pikepdf import Dictionary, Name

    pdf.Root.Lang = book.language
    pdf.Root.ViewerPreferences = Dictionary(
        DisplayDocTitle=True, Direction=Name.R2L if book.right_to_left else Name.L2R
    )
    _label_pages(pdf, book)
    if book.sections:
        _outline(pdf, book)
    _metadata(pdf, book, now)


def _label_pages(pdf: pikepdf.Pdf, book: Book) -> None:
    """Give every page a range of its own, whose label is only a prefix."""
    from pikepdf import Array, Dictionary

    labels = (book.title_page_label, *(page.label for page in book.pages))
    entries = [entry for number, label in enumerate(labels) for entry in (number, Dictionary(P=label))]
    pdf.Root.PageLabels = pdf.make_indirect(Dictionary(Nums=Array(entries)))


def _outline(pdf: pikepdf.Pdf, book: Book) -> None:
    from pikepdf import Name, OutlineItem

    def items(sections: Iterable[Section]) -> Iterable[OutlineItem]:
        for section in sections:
            item = OutlineItem(section.label, section.first + _TITLE_PAGES, "Fit")
            item.children.extend(items(section.sections))
            yield item

    with pdf.open_outline() as outline:
        outline.root.extend(items(book.sections))
    pdf.Root.PageMode = Name.UseOutlines


def _metadata(pdf: pikepdf.Pdf, book: Book, now: dt.datetime) -> None:
    from pikepdf import String

    time = now.astimezone(dt.UTC)
    pdf.docinfo.Title = String(book.title.text)
    pdf.docinfo.Author = String(book.holder)
    pdf.docinfo.Producer = String(_PRODUCER)
    pdf.docinfo.CreationDate = pdf.docinfo.ModDate = String(f"D:{time:%Y%m%d%H%M%S}Z")
    stamp = f"{time:%Y-%m-%dT%H:%M:%SZ}"
    properties: dict[str, str | list[str] | set[str]] = {
        "dc:format": "application/pdf",
        "dc:title": book.title.text,
        "dc:creator": [book.holder],
        "dc:language": {book.language},
        "dc:identifier": book.address,
        "dc:rights": book.rights,
        "xmpRights:WebStatement": book.rights_url,
        "pdf:Producer": _PRODUCER,
        "xmp:CreateDate": stamp,
        "xmp:ModifyDate": stamp,
        "xmp:MetadataDate": stamp,
    }
    with pdf.open_metadata(set_pikepdf_as_editor=False, update_docinfo=False) as xmp:
        for name, value in properties.items():
            if value:
                xmp[name] = value
