"""The front pages: the newest items first, pages of older ones that never move on.

``page-1.html`` has the first items that were ever published, and so on; what fills no page yet, and the
page before it, is on ``index.html``.
"""

from __future__ import annotations

from collections.abc import Iterator

from pipeline import pages
from pipeline.publish import collections
from pipeline.publish.collections import language_map
from pipeline.publish.record import SLOTS_PER_FILE, Entries, Entry, Site

CARDS = SLOTS_PER_FILE // 4
INDEX = "index.html"


def page_name(number: int) -> str:
    """The name of a page of older items, from 1."""
    return f"page-{number}.html"


def documents(site: Site, slot: int, entries: Entries) -> Iterator[tuple[str, bytes]]:
    """Yield the pages that change with the item in a slot, by path, the first page last."""
    fixed = _fixed(site)
    for number in sorted(_touched(site, slot, fixed)):
        newer = INDEX if number == fixed else page_name(number + 1)
        first = (number - 1) * CARDS
        yield (
            page_name(number),
            _page(site, page_name(number), newer, number - 1, entries, first, first + CARDS),
        )
    yield INDEX, _page(site, INDEX, None, fixed, entries, fixed * CARDS, site.slots)


def _fixed(site: Site) -> int:
    """How many pages of older items there are."""
    return max(site.slots // CARDS - 1, 0)


def _touched(site: Site, slot: int, fixed: int) -> set[int]:
    """Its own page; and when the newest item filled one, the page that left the first, and its neighbour."""
    touched = {slot // CARDS + 1}
    if slot == site.slots - 1 and site.slots % CARDS == 0:
        touched |= {fixed, fixed - 1}
    return {number for number in touched if 1 <= number <= fixed}


def _page(
    site: Site, name: str, newer: str | None, older: int, entries: Entries, first: int, past: int
) -> bytes:
    cards = [card(each) for each in entries(first, past) if not each.is_removed]
    return pages.front_page(
        pages.FrontPage(
            site_title=language_map(site.title),
            base_url=site.base_url,
            cards=tuple(reversed(cards)),
            name=name,
            newer=newer,
            older=page_name(older) if older else None,
            items=site.items if name == INDEX else None,
            collection=collections.ROOT,
        )
    )


def card(entry: Entry) -> pages.ItemCard:
    """Return an item as pages list it."""
    return pages.ItemCard(
        item=entry.item,
        label=language_map(entry.label),
        summary=language_map(entry.summary) or None,
        thumbnail=entry.thumbnail or None,
        width_px=entry.width_px or None,
        height_px=entry.height_px or None,
        views=entry.views,
        date=entry.date or None,
    )
