"""The front page of a site: every item with a picture, a page of them at a time."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.pages import rendering
from pipeline.pages.links import Links
from pipeline.pages.text import texts


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


def front_page(page: FrontPage) -> bytes:
    """Return one page of the front as UTF-8, for ``index.html`` or whatever its name is."""
    return rendering.render(
        "front.html.j2",
        Links(base_url=page.base_url, depth=0),
        page.site_title,
        path="" if page.name == "index.html" else page.name,
        page=page,
        cards=[(card, texts(card.label), texts(card.summary)) for card in page.cards],
    )
