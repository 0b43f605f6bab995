"""The resources of a Presentation 3.0 document: what it is made of, with the place of each.

What is not of the right type is passed over here; the schema tells of it.

Source: IIIF Presentation API 3.0, sections 3 to 5.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from pipeline.verify.json_documents import pointer

Path = tuple[str | int, ...]

HOLDING = frozenset(
    {
        "items",
        "structures",
        "annotations",
        "body",
        "target",
        "source",
        "start",
        "supplementary",
        "placeholderCanvas",
        "accompanyingCanvas",
        "thumbnail",
        "provider",
        "logo",
        "homepage",
        "rendering",
        "seeAlso",
        "partOf",
        "service",
        "services",
    }
)
"""Properties whose values are resources."""


class Resource(NamedTuple):
    """One object of a document. A plain tuple, for a manifest has tens of thousands."""

    path: Path
    value: dict[str, Any]
    role: str
    """The property that holds it; empty for the document itself."""
    parent: Resource | None
    type: str
    """Its `type`, or the `@type` of an older service."""
    identifier: str
    """Its `id`, or the `@id` of an older service; empty if it has none."""

    @property
    def is_own(self) -> bool:
        """False for a mere reference to what stands elsewhere."""
        match self.type:
            case "Canvas":
                holder = self.parent.type if self.parent else ""
                return self.role.endswith("Canvas") or (self.role == "items" and holder == "Manifest")
            case "Range" | "AnnotationPage":
                return "items" in self.value
            case "Annotation":
                return self.role == "items"
            case "Manifest" | "Collection":
                return self.parent is None or (self.type == "Collection" and "items" in self.value)
        return False

    def children(self, role: str) -> Iterator[Resource]:
        """Yield the objects that a property holds, one or an array."""
        value = self.value.get(role)
        if isinstance(value, dict):
            yield resource((*self.path, role), value, role, self)
        elif isinstance(value, list):
            for number, each in enumerate(value):
                if isinstance(each, dict):
                    yield resource((*self.path, role, number), each, role, self)


def resource(path: Path, value: dict[str, Any], role: str = "", parent: Resource | None = None) -> Resource:
    """Return an object of a document as a resource."""
    named_type, identifier = value.get("type"), value.get("id")
    if named_type is None:
        named_type = value.get("@type")
    if identifier is None:
        identifier = value.get("@id")
    return Resource(path, value, role, parent, text_of(named_type), text_of(identifier))


def walk(document: dict[str, Any]) -> Iterator[Resource]:
    """Yield the document and every resource in it, in document order."""
    waiting = [resource((), document)]
    while waiting:
        here = waiting.pop()
        yield here
        inside = [key for key in here.value if key in HOLDING]
        if inside:
            waiting += reversed([child for key in inside for child in here.children(key)])


# ------------------------------------------------------------------------------------------------ values


def text_of(value: Any) -> str:
    """Return a string, or nothing for what is none."""
    return value if isinstance(value, str) else ""


def list_of(value: Any) -> list[Any]:
    """Return an array, or an empty one for what is none."""
    return value if isinstance(value, list) else []


def number_of(value: Any) -> float | None:
    """Return a number above 0, or None for what is none."""
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return value if is_number and 0 < value < _MOST else None


_MOST = 10**12
"""No canvas unit and no second counts so far; beyond it are numbers that cannot be reckoned with."""


def extent(value: dict[str, Any]) -> tuple[float, float] | None:
    """Return the width and height of an object, or None if it has not both."""
    width, height = number_of(value.get("width")), number_of(value.get("height"))
    return (width, height) if width and height else None


def first_text(label: Any) -> str:
    """Return the text of a language map that is shown first: of no language, English, or the first."""
    return next(iter(texts(label)), "")


def texts(label: Any) -> tuple[str, ...]:
    """Return every text of a language map, each once, that which is shown first before others."""
    if not isinstance(label, dict):
        return ()
    found = (text for key in ("none", "en", *label) for text in list_of(label.get(key)))
    return tuple(dict.fromkeys(text.strip() for text in found if isinstance(text, str) and text.strip()))


def whole(address: str) -> str:
    """Return an address without its fragment."""
    return address.partition("#")[0]


def named(document: Any, path: Path) -> str:
    """Return a place in a document, with the label or id of what it is about: ``items[3] (f. 2r)``."""
    name, value = "", document
    for step in path:
        value = value[step] if _leads_on(value, step) else None
        if isinstance(value, dict):
            name = first_text(value.get("label")) or text_of(value.get("id")) or name
    where = pointer(path)
    return f"{where} ({name[:80]})" if name and where else where


def _leads_on(value: Any, step: str | int) -> bool:
    if isinstance(step, int):
        return isinstance(value, list) and step < len(value)
    return isinstance(value, dict) and step in value
