"""What a manifest tells of the pages: labels and images in order, to be held against other documents."""

from __future__ import annotations

import posixpath
from collections.abc import Iterable, Iterator
from urllib.parse import unquote

from pipeline.specs import presentation
from pipeline.verify.evidence import Page, Pages, PagesKind
from pipeline.verify.iiif_documents import DocumentKind
from pipeline.verify.presentation import older_rules
from pipeline.verify.presentation.addresses import image_request
from pipeline.verify.presentation.facts import PresentationFacts
from pipeline.verify.presentation.resources import Resource, text_of, texts


def pages_of(facts: PresentationFacts) -> Pages:
    """Return the pages of a manifest, one for each canvas."""
    is_older = facts.document.kind is DocumentKind.PRESENTATION_2
    pages = _pages_2(facts) if is_older else _pages_3(facts)
    return Pages(document=facts.document.path, kind=PagesKind.MANIFEST, pages=tuple(pages))


def _pages_3(facts: PresentationFacts) -> Iterator[Page]:
    painted: dict[tuple[str | int, ...], list[str]] = {canvas.path: [] for canvas in facts.canvases}
    for canvas, _, image in facts.images:
        if canvas.path in painted:
            painted[canvas.path].append(_stem(_address(image)))
    seen: set[str] = set()
    for canvas in facts.canvases:
        if canvas.identifier and canvas.identifier in seen:
            continue  # P007 tells of a canvas that is there twice
        seen.add(canvas.identifier)
        label, *translations = texts(canvas.value.get("label")) or ("",)
        yield Page(label=label, files=tuple(_once(painted[canvas.path])), translations=tuple(translations))


def _address(image: Resource) -> str:
    """An image's own address, if it is asked from a service; else that of the service which goes with it."""
    services = (each.identifier for each in image.children("service"))
    own = image.identifier
    return own if image_request(own) else next((each for each in services if each), own)


def _pages_2(facts: PresentationFacts) -> Iterator[Page]:
    for canvas in older_rules.canvases(facts):
        addresses = [
            next((each.identifier for each in image.parts("service")), image.identifier)
            for _, image in older_rules.images(canvas)
        ]
        label = canvas.value.get("label")
        said = map(_said_2, label if isinstance(label, list) else [label])
        first, *others = dict.fromkeys(each for each in said if each) or ("",)
        files = tuple(_once(_stem(each) for each in addresses))
        yield Page(label=first, files=files, translations=tuple(others))


def _said_2(label: object) -> str:
    """One value of a label of Presentation 2.1: a text, or a text with its language."""
    return text_of(label.get("@value") if isinstance(label, dict) else label).strip()


def _stem(address: str) -> str:
    """The last part of a service's address, or the file's name without its ending; in lower case."""
    request = image_request(address)
    name = unquote((request.service if request else address).rstrip("/")).rpartition("/")[2].lower()
    stem, suffix = posixpath.splitext(name)
    return stem if suffix in presentation.MEDIA_TYPES else name


def _once(names: Iterable[str]) -> Iterator[str]:
    return iter(dict.fromkeys(name for name in names if name))
