"""A document of an item under another base URL: every own address is moved, all others stay.

A IIIF id is the whole URL that the document is served from, so a bundle's documents name the base URL
they were described for. The part of an id below the base URL never changes; annotations made elsewhere
point at it (Presentation API 3.0, section 3.1).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, TypeVar
from xml.sax.saxutils import escape

from pipeline import layout
from pipeline.errors import InputError

Document = TypeVar("Document", bound="dict[str, Any]")


def base_url_of(manifest: dict[str, Any], item: str) -> str:
    """Return the base URL that a manifest was described for, without a slash at its end.

    Raises InputError if the manifest's id is not the address of that item's manifest.
    """
    identifier, path = manifest.get("id"), layout.url("", layout.manifest_path(item))
    if isinstance(identifier, str) and identifier.endswith(path):
        return identifier.removesuffix(path)
    raise InputError(f"the manifest's id is {identifier!r}, expected an address that ends with {path}")


def rewritten(document: Document, *, base_url: str, to: str) -> Document:
    """Return a manifest, collection or info.json with each own URL under `base_url` moved under `to`.

    Both are without a slash at their ends. Links in HTML values are moved too. Key order stays.
    """
    return _mapped(document, mover(base_url, to)) if base_url != to else document


def rewritten_xml(data: bytes, *, base_url: str, to: str) -> bytes:
    """Return an XML document in UTF-8 or ASCII with each own URL moved that is a whole text or attribute.

    All other bytes stay: the white space of a document that is not ours is not ours to change.
    """
    old, new = (escape(url, {'"': "&quot;"}).encode() for url in (base_url, to))
    own = re.compile(rb"""(?<=[>"'\s])""" + re.escape(old) + rb"""(?=[/?#"'<\s])""")
    return own.sub(lambda _: new, data) if old in data else data


def mover(base_url: str, to: str) -> Callable[[str], str]:
    """Return what moves the own URLs of one text: where it begins with one, and behind quotation marks.

    ``http://host:80`` is no beginning of ``http://host:8000``: an own URL goes on with ``/``, ``?`` or
    ``#``, or ends.
    """
    own = re.compile(rf"""(?<![^"']){re.escape(base_url)}(?=[/?#"']|\Z)""")
    return lambda text: own.sub(lambda _: to, text) if base_url in text else text


def _mapped(value: Any, move: Callable[[str], str]) -> Any:
    match value:
        case str():
            return move(value)
        case dict():
            return {key: _mapped(each, move) for key, each in value.items()}
        case list():
            return [_mapped(each, move) for each in value]
    return value
