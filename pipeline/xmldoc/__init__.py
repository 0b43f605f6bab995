"""XML documents: built, written the same way every time, read without touching the network, held against schemas.

The only importer of lxml.
"""

from pipeline.xmldoc.documents import (
    Element,
    clean_text,
    element,
    group,
    leaf,
    parse,
    read,
    to_bytes,
    with_attributes,
)

__all__ = [
    "Element",
    "clean_text",
    "element",
    "group",
    "leaf",
    "parse",
    "read",
    "to_bytes",
    "with_attributes",
]
