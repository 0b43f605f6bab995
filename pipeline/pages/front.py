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
    page: int
    """Its number, from 1."""
    pages: int
    items: int
    """How many items all pages have together."""


def front_page(page: FrontPage) -> bytes:
    """Return one page of the front as UTF-8, for `front_path`."""
    return rendering.render(
        "front.html.j2",
        Links(base_url=page.base_url, depth=0),
        page.site_title,
        path="" if page.page == 1 else front_path(page.page),
        page=page,
        cards=[(card, texts(card.label), texts(card.summary)) for card in page.cards],
        front_path=front_path,
    )


def front_path(number: int) -> str:
    """Return the path of a page of the front: ``index.html``, ``page-2.html``."""
    return "index.html" if number == 1 else f"page-{number}.html"
