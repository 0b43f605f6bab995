"""XML documents: built, written the same way every time, read without touching the network, held against schemas.

The only importer of lxml.
"""

from pipeline.xmldoc.documents import (
    Element,
    Schema,
    SchemaFault,
    clean_text,
    element,
    group,
    leaf,
    official_schema,
    our_schema,
    parse,
    read,
    schema_faults,
    to_bytes,
    with_attributes,
)

__all__ = [
    "Element",
    "Schema",
    "SchemaFault",
    "clean_text",
    "element",
    "group",
    "leaf",
    "official_schema",
    "our_schema",
    "parse",
    "read",
    "schema_faults",
    "to_bytes",
    "with_attributes",
]
