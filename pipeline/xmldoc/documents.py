"""Documents: built, written the same way every time, read without entities, DTDs or the network."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from lxml import etree

from pipeline.errors import InputError

Element = etree._Element

_TYPE_DECLARED = "has a document type declaration (DOCTYPE), which can define entities; remove it"
_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def element(
    name: str,
    *children: Element | str | None,
    namespace: str,
    prefixes: Mapping[str | None, str] | Mapping[str, str] | None = None,
    **attributes: str | None,
) -> Element:
    """Return an element of `namespace`; `prefixes` has None for the namespace that needs none.

    Children that are None are left out, text becomes the element's text, attributes that are None are
    left out. An attribute of another namespace is written ``{uri}name`` in a mapping: see `with_attributes`.
    """
    nsmap: Any = dict(prefixes) if prefixes else None  # the stubs of lxml know no default namespace
    made = etree.Element(f"{{{namespace}}}{name}", nsmap=nsmap)
    for key, value in attributes.items():
        if value is not None:
            made.set(key, clean_text(value))
    for child in children:
        if child is None:
            continue
        if isinstance(child, str):
            made.text = (made.text or "") + clean_text(child)
        else:
            made.append(child)
    return made


def group(name: str, *children: Element | None, namespace: str, **attributes: str | None) -> Element | None:
    """Return an element that holds others, or None if there are none."""
    if all(child is None for child in children):
        return None
    return element(name, *children, namespace=namespace, prefixes=None, **attributes)


def leaf(name: str, value: str | int | None, *, namespace: str, **attributes: str | None) -> Element | None:
    """Return an element with a text, blanks around it removed, or None if there is nothing to say."""
    text = clean_text(str(value)).strip() if value is not None else ""
    return element(name, text, namespace=namespace, prefixes=None, **attributes) if text else None


def with_attributes(made: Element, attributes: Mapping[str, str]) -> Element:
    """Set further attributes, such as ``{http://www.w3.org/1999/xlink}href``, and return the element."""
    for key, value in attributes.items():
        made.set(key, clean_text(value))
    return made


def clean_text(text: str) -> str:
    """Return `text` without the control characters that XML 1.0 cannot hold (section 2.2)."""
    return _FORBIDDEN.sub("", text)


def to_bytes(root: Element) -> bytes:
    """Return a document as UTF-8, indented by two, namespaces declared at the root where they can be."""
    etree.cleanup_namespaces(root, keep_ns_prefixes=[prefix for prefix in root.nsmap if prefix])
    etree.indent(root, space="  ")
    data: bytes = etree.tostring(root, xml_declaration=True, encoding="UTF-8") + b"\n"
    return data


def parse(data: bytes, *, name: str = "document", max_bytes: int | None = None) -> Element:
    """Return the root of a document: no entities, no DTD, no XInclude, no network.

    Raises InputError if it is larger than `max_bytes`, not well-formed, declares a document type, or is
    beyond what the parser takes: 256 elements in each other, ten million characters in one text.
    """
    _check_size(len(data), name, max_bytes)
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False)
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        raise _syntax_error(error, name) from error
    if root.getroottree().docinfo.internalDTD is not None:
        raise InputError(f"{name}: {_TYPE_DECLARED}")
    return root


def read(path: Path, *, max_bytes: int | None = None) -> Element:
    """Return the root of the document in a file. Raises InputError, as `parse` does."""
    try:
        _check_size(path.stat().st_size, str(path), max_bytes)
        return parse(path.read_bytes(), name=str(path), max_bytes=max_bytes)
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})") from error


def _syntax_error(error: etree.XMLSyntaxError, name: str) -> InputError:
    """Return what a person is told of a document that the parser does not take."""
    said = str(error)
    if "Excessive depth" in said:
        return InputError(f"{name}: holds elements nested too deep; expected at most 256 in each other")
    if "XML_PARSE_HUGE" in said:
        return InputError(
            f"{name}: holds a text of more than ten million characters, or is otherwise too large"
        )
    return InputError(f"{name}: is not well-formed XML ({said})")


def _check_size(size_bytes: int, name: str, max_bytes: int | None) -> None:
    if max_bytes is not None and size_bytes > max_bytes:
        raise InputError(f"{name}: has {size_bytes:,} bytes; at most {max_bytes:,} are taken")
