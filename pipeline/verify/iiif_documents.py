"""IIIF documents of a bundle, found by what they hold and not by where they lie.

Source: IIIF Presentation API 3.0, sections 2 and 4.6; Presentation API 2.1, section 4; Image API 3.0,
section 5.2; Image API 2.1, section 5.2.
"""

from __future__ import annotations

import posixpath
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from pipeline.specs import iiif, presentation
from pipeline.verify.evidence import Bundle
from pipeline.verify.json_documents import JsonReading, read


class DocumentKind(StrEnum):
    """What a JSON document is."""

    PRESENTATION_3 = "Presentation API 3.0"
    PRESENTATION_2 = "Presentation API 2"
    IMAGE_3 = "Image API 3.0"
    IMAGE_2 = "Image API 2"
    OTHER = "other"


PRESENTATION = (DocumentKind.PRESENTATION_3, DocumentKind.PRESENTATION_2)
IMAGE = (DocumentKind.IMAGE_3, DocumentKind.IMAGE_2)


@dataclass(frozen=True, slots=True, kw_only=True)
class IiifDocument:
    """A document of IIIF, or one that should be and cannot be read."""

    reading: JsonReading
    kind: DocumentKind
    """OTHER if it cannot be read."""
    is_meant_as: DocumentKind
    """What it should be, if it cannot be read; else OTHER."""

    @property
    def path(self) -> str:
        """Where it lies in the bundle."""
        return self.reading.path

    @property
    def value(self) -> dict[str, Any]:
        """The document; empty if it could not be read."""
        return self.reading.value if isinstance(self.reading.value, dict) else {}


def presentation_documents(documents: Iterable[IiifDocument]) -> list[IiifDocument]:
    """Those that are, or should be, manifests and collections."""
    return [each for each in documents if each.kind in PRESENTATION or each.is_meant_as in PRESENTATION]


def image_documents(documents: Iterable[IiifDocument]) -> list[IiifDocument]:
    """Those that are, or should be, the info.json of an image service."""
    return [each for each in documents if each.kind in IMAGE or each.is_meant_as in IMAGE]


_PRESENTATION_NAMES = ("manifest.json", "collection.json")
_PRESENTATION_MARKS = (b"iiif.io/api/presentation/", b'"Manifest"', b'"sc:Manifest"', b'"sc:Collection"')
_IMAGE_MARKS = (b"iiif.io/api/image", b"iiif/image-api", b'"ImageService3"')
"""One of these stands in every document that is looked at closer."""


def documents(bundle: Bundle) -> list[IiifDocument]:
    """The documents of IIIF in a bundle, in the order of their paths."""
    found = []
    for path in _json_paths(bundle):
        name = posixpath.basename(path).lower()
        reading, data = read(
            bundle.container, path, limit=bundle.limits.max_document_bytes, is_wanted=_is_wanted
        )
        kind = kind_of(reading.value)
        meant = _meant(name, data, bundle.container.is_document) if reading.failure else DocumentKind.OTHER
        if kind is not DocumentKind.OTHER or meant is not DocumentKind.OTHER:
            found.append(IiifDocument(reading=reading, kind=kind, is_meant_as=meant))
    return found


def _is_wanted(path: str, data: bytes) -> bool:
    """True for what may be a document of IIIF: by its name, or by a mark that each of them has."""
    name = posixpath.basename(path).lower()
    if name == iiif.INFO or name in _PRESENTATION_NAMES:
        return True
    return any(mark in data for mark in (*_PRESENTATION_MARKS, *_IMAGE_MARKS))


def _meant(name: str, data: bytes, is_alone: bool) -> DocumentKind:
    """What a document that cannot be read should be, by its name or its first bytes."""
    head = data[:_HEAD_BYTES].replace(b"\0", b"")
    if name == iiif.INFO:
        return DocumentKind.IMAGE_3
    if name in _PRESENTATION_NAMES or any(mark in head for mark in _PRESENTATION_MARKS):
        return DocumentKind.PRESENTATION_3
    if any(mark in head for mark in _IMAGE_MARKS):
        return DocumentKind.IMAGE_3
    return DocumentKind.PRESENTATION_3 if is_alone else DocumentKind.OTHER


_HEAD_BYTES = 1 << 16


def _json_paths(bundle: Bundle) -> list[str]:
    """Where the payload's JSON documents lie; of what is no bag, all of them."""
    if bundle.container.is_document:
        return [path for path in bundle.container.files if not path.lower().endswith(".xml")]
    paths = bundle.with_suffix(".json")
    return paths if bundle.bag is None else [path for path in paths if path in bundle.bag.payload]


def kind_of(value: Any) -> DocumentKind:
    """Return which document of IIIF a JSON value is."""
    if not isinstance(value, dict):
        return DocumentKind.OTHER
    named = value.get("type", value.get("@type"))
    versions = {match[1][0] for each in _contexts(value) if (match := _presentation(each))}
    if named in ("sc:Manifest", "sc:Collection") or ("2" in versions and named is None):
        return DocumentKind.PRESENTATION_2
    if named in ("Manifest", "Collection") and ("3" in versions or named == "Manifest"):
        return DocumentKind.PRESENTATION_3
    if "3" in versions and str(named) not in _OTHER_TYPES:
        return DocumentKind.PRESENTATION_3
    if _is_image_service(value):
        is_older = "@id" in value and "id" not in value and value.get("type") != iiif.IMAGE_SERVICE_TYPE
        return DocumentKind.IMAGE_2 if is_older else DocumentKind.IMAGE_3
    return DocumentKind.OTHER


_OTHER_TYPES = ("Annotation", "AnnotationPage", "AnnotationCollection", "Canvas", "Range")
"""Documents of the Presentation API that are no manifest and no collection."""


def _contexts(value: dict[str, Any]) -> list[str]:
    context = value.get("@context")
    found = context if isinstance(context, list) else [context]
    return [each for each in found if isinstance(each, str)]


def _presentation(context: str) -> Any:
    return presentation.ANY_PRESENTATION.fullmatch(context)


def _is_image_service(value: dict[str, Any]) -> bool:
    if value.get("protocol") == iiif.IMAGE_PROTOCOL or value.get("type") == iiif.IMAGE_SERVICE_TYPE:
        return True
    return any(presentation.ANY_IMAGE.match(each) for each in _contexts(value))
