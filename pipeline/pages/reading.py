"""What the pages show of an item, read from its manifest.

A manifest may be a stranger's: what is not of the shape that IIIF gives it is passed over, never an error,
because one odd canvas must not keep a book from its readers.

Source: IIIF Presentation API 3.0, sections 3 and 5; annex on physical dimensions.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline.pages.links import Links
from pipeline.pages.text import Texts, texts
from pipeline.specs import iiif

Part = Mapping[str, Any]
"""A part of a manifest."""

SECTIONS_DEEP = 8
"""How deep sections lie in each other at most; what lies deeper is left out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Image:
    """An image file, with its size if it is known, or 0."""

    href: str
    width_px: int
    height_px: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """What is painted on a view: one of several if it was taken in different light."""

    label: Texts
    service: str
    """The IIIF image service, without a slash at its end; empty if there is none."""
    whole: Image
    thumbnail: Image | None


@dataclass(frozen=True, slots=True, kw_only=True)
class File:
    """A file to take along."""

    label: Texts
    href: str
    media_type: str


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """What a reader turns to; without a picture if it was not captured."""

    identifier: str
    """Stable, unique in the item, without blanks: the part of the page's address that names the view."""
    canvas: str
    label: Texts
    width: int
    height: int
    mm_per_unit: float
    """Millimetres for each unit of `width` and `height`, 0 if not known."""
    behavior: str
    """``non-paged``, ``facing-pages`` or nothing."""
    pictures: tuple[Picture, ...]
    thumbnail: Image | None
    files: tuple[File, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A named run of views."""

    label: Texts
    view: int
    """Number of the first view, from 0."""
    sections: tuple[Section, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """A label and what it says."""

    label: Texts
    value: Texts


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """An item as its page shows it."""

    label: Texts
    summary: Texts
    facts: tuple[Pair, ...]
    credit: Pair | None
    rights: str
    holder: Texts
    holder_href: str
    records: tuple[File, ...]
    """Where else it is described: pages for people, then data for machines."""
    renderings: tuple[File, ...]
    direction: str
    behavior: str
    start: int
    views: tuple[View, ...]
    sections: tuple[Section, ...]
    thumbnail: Image | None


def read(manifest: Part, links: Links) -> Reading:
    """Return what the page of an item shows."""
    views = tuple(_views(manifest, links))
    numbers = {view.canvas: number for number, view in enumerate(views)}
    provider = next(_parts(manifest, "provider"), {})
    start = next(_canvases({"items": [manifest.get("start")]}), "")
    return Reading(
        label=texts(manifest.get("label")),
        summary=texts(manifest.get("summary")),
        facts=tuple(filter(None, map(_pair, _parts(manifest, "metadata")))),
        credit=_pair(_part(manifest, "requiredStatement")),
        rights=_string(manifest, "rights"),
        holder=texts(provider.get("label")),
        holder_href=next((file.href for file in _files(provider, "homepage", links)), ""),
        records=(*_files(manifest, "homepage", links), *_files(manifest, "seeAlso", links)),
        renderings=tuple(_files(manifest, "rendering", links)),
        direction=_one_of(manifest.get("viewingDirection"), DIRECTIONS),
        behavior=next((each for each in BEHAVIORS if each in _strings(manifest, "behavior")), BEHAVIORS[-1]),
        start=numbers.get(start, _first_shown(views)),
        views=views,
        sections=tuple(_sections(_parts(manifest, "structures"), numbers, SECTIONS_DEEP)),
        thumbnail=_image(next(_parts(manifest, "thumbnail"), {}), links),
    )


DIRECTIONS = ("left-to-right", "right-to-left", "top-to-bottom", "bottom-to-top")
BEHAVIORS = (iiif.Behavior.PAGED.value, iiif.Behavior.CONTINUOUS.value, iiif.Behavior.INDIVIDUALS.value)


# ---------------------------------------------------------------------------------------------- views


def _views(manifest: Part, links: Links) -> Iterator[View]:
    canvases = [canvas for canvas in _parts(manifest, "items") if canvas.get("type") == "Canvas"]
    tails = [_tail(_string(canvas, "id")) for canvas in canvases]
    how_many = Counter(tails)
    for number, (canvas, tail) in enumerate(zip(canvases, tails, strict=True), start=1):
        is_unique = tail and how_many[tail] == 1
        yield _view(canvas, tail if is_unique else f"~{number}", links)  # a sign that no tail has


def _tail(canvas: str) -> str:
    """The last part of a canvas's address, if it can stand in the page's address."""
    tail = canvas.partition("/canvas/")[2]
    return tail if re.fullmatch(r"[A-Za-z0-9._%/-]+", tail) else ""


def _view(canvas: Part, identifier: str, links: Links) -> View:
    files = tuple(_files(canvas, "rendering", links))
    pictures = tuple(_pictures(canvas, links))
    thumbnail = _image(next(_parts(canvas, "thumbnail"), {}), links)
    return View(
        identifier=identifier,
        canvas=_string(canvas, "id"),
        label=texts(canvas.get("label")),
        width=_size(canvas, "width"),
        height=_size(canvas, "height"),
        mm_per_unit=_mm_per_unit(canvas),
        behavior=_one_of(next(iter(_strings(canvas, "behavior")), ""), ("", "non-paged", "facing-pages")),
        pictures=pictures,
        thumbnail=thumbnail or next((each.thumbnail for each in pictures), None),
        files=files,
    )


def _pictures(canvas: Part, links: Links) -> Iterator[Picture]:
    """Yield what the first painting annotation offers: one image, or a choice of several."""
    annotations = (each for page in _parts(canvas, "items") for each in _parts(page, "items"))
    body = _part(next(annotations, {}), "body")
    for each in _parts(body, "items") if body.get("type") == "Choice" else iter([body]):
        whole = _image(each, links)
        if whole is not None and each.get("type") == "Image":
            service = next(_image_services(each, links), "")
            thumbnail = _image(next(_parts(each, "thumbnail"), {}), links)
            yield Picture(label=texts(each.get("label")), service=service, whole=whole, thumbnail=thumbnail)


def _image_services(image: Part, links: Links) -> Iterator[str]:
    for service in _parts(image, "service"):
        href = links.of(service.get("id") or service.get("@id"))
        if href and str(service.get("type") or service.get("@type")).startswith("ImageService"):
            yield href.removesuffix("/")


_MM = {"mm": 1.0, "cm": 10.0, "in": 25.4}


def _mm_per_unit(canvas: Part) -> float:
    for service in _parts(canvas, "service"):
        scale: Any = service.get("physicalScale")
        if service.get("profile") == iiif.PHYSICAL_DIMENSIONS_PROFILE and _is_finite(scale):
            return max(0.0, float(scale) * _MM.get(str(service.get("physicalUnits")), 0.0))
    return 0.0


def _first_shown(views: Sequence[View]) -> int:
    return next((number for number, view in enumerate(views) if view.pictures), 0)


# -------------------------------------------------------------------------------------------- sections


def _sections(ranges: Iterator[Part], numbers: Mapping[str, int], deep: int) -> Iterator[Section]:
    """Yield the sections of some ranges; a table of contents that holds all the others is not one."""
    found = [_section(each, numbers, deep) for each in ranges] if deep else []
    known = [section for section in found if section is not None]
    yield from known[0].sections if deep == SECTIONS_DEEP and len(known) == 1 and known[0].sections else known


def _section(part: Part, numbers: Mapping[str, int], deep: int) -> Section | None:
    inner = tuple(_sections(_parts(part, "items", "Range"), numbers, deep - 1))
    own = [numbers[canvas] for canvas in _canvases(part) if canvas in numbers]
    views = [*own, *(section.view for section in inner)]
    label = texts(part.get("label"))
    return Section(label=label, view=min(views), sections=inner) if views and label else None


def _canvases(part: Part) -> Iterator[str]:
    for each in _parts(part, "items"):
        source = _part(each, "source") or {"id": each.get("source")}
        found = source.get("id") if each.get("type") == "SpecificResource" else each.get("id")
        if isinstance(found, str):
            yield found.partition("#")[0]


# ---------------------------------------------------------------------------------------- small shapes


def _part(part: Part, key: str) -> Part:
    value = part.get(key)
    return value if isinstance(value, dict) else {}


def _parts(part: Part, key: str, kind: str = "") -> Iterator[Part]:
    value = part.get(key)
    for each in value if isinstance(value, list) else []:
        if isinstance(each, dict) and (not kind or each.get("type") == kind):
            yield each


def _string(part: Part, key: str) -> str:
    value = part.get(key)
    return value if isinstance(value, str) else ""


def _strings(part: Part, key: str) -> list[str]:
    value = part.get(key)
    return [each for each in value if isinstance(each, str)] if isinstance(value, list) else []


def _one_of(value: object, known: Sequence[str]) -> str:
    return value if isinstance(value, str) and value in known else known[0]


def _is_finite(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _size(part: Part, key: str) -> int:
    value = part.get(key)
    return value if isinstance(value, int) and 0 < value < 10_000_000 else 0


def _image(part: Part, links: Links) -> Image | None:
    href = links.of(part.get("id"))
    return Image(href=href, width_px=_size(part, "width"), height_px=_size(part, "height")) if href else None


def _files(part: Part, key: str, links: Links) -> Iterator[File]:
    for each in _parts(part, key):
        href = links.of(each.get("id"))
        if href:
            yield File(label=texts(each.get("label")), href=href, media_type=_string(each, "format"))


def _pair(part: Part) -> Pair | None:
    label, value = texts(part.get("label")), texts(part.get("value"))
    return Pair(label=label, value=value) if label and value else None
