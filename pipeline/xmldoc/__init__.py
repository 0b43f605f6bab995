"""XML documents: built, written alike every time, read without touching the network, held against schemas.

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
from pipeline.xmldoc.validating import (
    Lines,
    Schema,
    SchemaFault,
    official_schema,
    our_schema,
    schema_faults,
)

__all__ = [
    "Element",
    "Lines",
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
