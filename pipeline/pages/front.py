"""Pages that list items, each with a picture: the front of a site, a set of volumes."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.pages import rendering
from pipeline.pages.links import Links
from pipeline.pages.text import Texts, texts
from pipeline.specs import http, iiif

COLLECTION_TYPE = http.linked_data(iiif.PRESENTATION_CONTEXT)


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemCard:
    """An item as the front page shows it."""

    item: str
    label: dict[str, list[str]]
    summary: dict[str, list[str]] | None
    thumbnail: str | None
    """The path of a picture below the base URL."""
    width_px: int | None
    height_px: int | None
    views: int
    date: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontPage:
    """What one page of the front is made from."""

    site_title: dict[str, list[str]]
    base_url: str
    cards: tuple[ItemCard, ...]
    """The newest first."""
    name: str
    """``index.html`` has the newest items; ``page-1.html`` the oldest, and it never moves on."""
    newer: str | None
    older: str | None
    """The names of the pages before and after it, if there are any."""
    items: int | None
    """How many items all pages have together; only the first says so, for the others are not made anew."""
    collection: str | None = None
    """The path of the site's IIIF Collection, if there is one."""


def front_page(page: FrontPage) -> bytes:
    """Return one page of the front as UTF-8, for ``index.html`` or whatever its name is."""
    return rendering.render(
        "front.html.j2",
        Links(base_url=page.base_url, depth=0),
        page.site_title,
        path="" if page.name == "index.html" else page.name,
        page=page,
        cards=_read(page.cards),
        collection_type=COLLECTION_TYPE,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class VolumesPage:
    """What the page of a set of volumes is made from."""

    path: str
    """Of the page below the base URL, with a slash at its end: it lies two folders below."""
    collection: str
    """The path of the IIIF Collection of the set."""
    label: dict[str, list[str]]
    cards: tuple[ItemCard, ...]
    """In the order of the set."""
    base_url: str
    site_title: dict[str, list[str]]


def volumes_page(page: VolumesPage) -> bytes:
    """Return the page of a set of volumes as UTF-8."""
    return rendering.render(
        "volumes.html.j2",
        Links(base_url=page.base_url, depth=2),
        page.site_title,
        path=page.path,
        label=texts(page.label),
        cards=_read(page.cards),
        collection=page.collection,
        collection_type=COLLECTION_TYPE,
    )


def _read(cards: tuple[ItemCard, ...]) -> list[tuple[ItemCard, Texts, Texts]]:
    return [(card, texts(card.label), texts(card.summary)) for card in cards]
