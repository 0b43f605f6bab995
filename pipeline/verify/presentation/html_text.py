"""HTML in the texts of a manifest: whether it is there, well-formed, and of the few elements that are shown.

Source: IIIF Presentation API 3.0, section 4.5.
"""

from __future__ import annotations

import re
import xml.parsers.expat
from collections.abc import Mapping

from pipeline.specs.presentation import DANGEROUS_HTML, MINIMAL_HTML

_KNOWN = "|".join(
    sorted(
        {
            *MINIMAL_HTML,
            *DANGEROUS_HTML,
            "div",
            "em",
            "strong",
            "ul",
            "ol",
            "li",
            "h1",
            "h2",
            "h3",
            "table",
            "u",
        }
    )
)
_ELEMENT = re.compile(rf"</?(?:{_KNOWN})(?:\s[^<>]*)?/?>", re.IGNORECASE)


def has_elements(text: str) -> bool:
    """True if elements of HTML stand in a text."""
    return "<" in text and _ELEMENT.search(text) is not None


def is_html(text: str) -> bool:
    """True if clients will take a text for HTML: it begins with < and ends with >."""
    return text.startswith("<") and text.endswith(">")


class _UnfitError(Exception):
    """What stands in a text is not to be shown."""


def fault(text: str) -> str:
    """Return what is wrong with HTML so that it is not shown, or is a danger; empty if there is nothing."""
    try:
        _read(text, _Elements())
    except _UnfitError as error:
        return str(error)
    except xml.parsers.expat.ExpatError as error:
        return f"is not well-formed ({xml.parsers.expat.errors.messages[error.code]})"
    return ""


def dropped(text: str) -> tuple[str, ...]:
    """Return the elements and attributes that clients leave out, sorted; of well-formed HTML alone."""
    elements = _Elements()
    try:
        _read(text, elements)
    except (_UnfitError, xml.parsers.expat.ExpatError):
        return ()
    return tuple(sorted(elements.dropped))


def _read(text: str, elements: _Elements) -> None:
    if "<!" in text or "<?" in text:
        raise _UnfitError("has comments, declarations or instructions in it")
    parser = xml.parsers.expat.ParserCreate()
    parser.StartElementHandler = elements.start
    parser.Parse(text.encode(errors="replace"), True)


class _Elements:
    """Looks at each element as it begins."""

    def __init__(self) -> None:
        self.dropped: set[str] = set()

    def start(self, name: str, attributes: Mapping[str, str]) -> None:
        plain = name.lower()
        if plain in DANGEROUS_HTML:
            raise _UnfitError(f"has the element {plain}")
        for key, value in attributes.items():
            if key.lower().startswith("on") or _leads_astray(key, value):
                raise _UnfitError(f"has {key} on the element {plain}")
            if key not in MINIMAL_HTML.get(plain, frozenset({key})):
                self.dropped.add(f"{key} of {plain}")
        if plain not in MINIMAL_HTML:
            self.dropped.add(plain)


def _leads_astray(key: str, value: str) -> bool:
    """True for a link that is none: clients keep http, https and mailto."""
    if key.lower() not in ("href", "src"):
        return False
    scheme = re.match(r"\s*([A-Za-z][A-Za-z0-9+.\s-]*):", value)
    return scheme is not None and scheme[1].lower() not in ("http", "https", "mailto")
