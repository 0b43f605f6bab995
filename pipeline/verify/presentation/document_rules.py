"""Rules over a Presentation document of any version: that it can be read."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.findings import Level, Register, Remark
from pipeline.verify.iiif_documents import IiifDocument
from pipeline.verify.remarks import short
from pipeline.verify.sources import RFC_8259

DOCUMENT = Register[IiifDocument]("IIIF manifests and collections as documents")


@DOCUMENT.rule(
    "P001",
    Level.ERROR,
    "A manifest or collection cannot be read",
    source=RFC_8259 + "2 and 8.1",
    advice="Write it again as JSON in UTF-8. Without it no client shows the item.",
)
def document_is_readable(document: IiifDocument) -> Iterator[Remark]:
    """The document is JSON, in UTF-8, of sensible size and depth."""
    if document.reading.failure:
        value = short(document.reading.failure)
        yield Remark(place=document.path, value=value, limit="a JSON document in UTF-8")


@DOCUMENT.rule(
    "P002",
    Level.ERROR,
    "A manifest or collection is not plain JSON",
    source=RFC_8259 + "4 and 8.1",
    advice="Write it again: without a byte order mark, and each key of an object once.",
    requires={"P001"},
)
def document_is_plain(document: IiifDocument) -> Iterator[Remark]:
    """There is no byte order mark, and no object has a key twice: readers differ on what they make of it."""
    for flaw in document.reading.flaws:
        yield Remark(place=document.path, value=flaw, limit="JSON that all readers read alike")
