"""The sitemap: an index, and parts that list the pages of the items in a range of slots.

Source: Sitemap protocol 0.9.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from urllib.parse import urlsplit

from pipeline import layout, xmldoc
from pipeline.publish.record import SLOTS_PER_FILE, Entries, Entry, Site, slots_of
from pipeline.specs import sitemap
from pipeline.xmldoc import Element, element

URLS = 10 * SLOTS_PER_FILE
"""In one part: far below what is allowed, so that one more item costs little to write."""
INDEX = "sitemap.xml"


def part_path(number: int) -> str:
    """The path of a part, from 1."""
    return f"sitemap-{number}.xml"


def item_page(item: str) -> str:
    """The path of an item's page, as readers have it: the folder of its ``index.html``."""
    return f"items/{item}/"


def dated(site: Site, slot: int, when: dt.datetime) -> tuple[dt.datetime, ...]:
    """Return when each part changed last, after the item in a slot changed."""
    part = slot // URLS
    return (*site.sitemaps[:part], when, *site.sitemaps[part + 1 :])


def documents(site: Site, slot: int, entries: Entries) -> Iterator[tuple[str, bytes]]:
    """Yield the sitemaps that change with the item in a slot, by path: its part, then the index."""
    part = slot // URLS
    online = (each for each in entries(*slots_of(part, URLS)) if not each.is_removed)
    urls = [_url("url", f"{site.base_url}/", None)] if part == 0 else []
    urls += [_entry(site, each) for each in online]
    yield part_path(part + 1), _document("urlset", urls)
    parts = [
        _url("sitemap", f"{site.base_url}/{part_path(number)}", when)
        for number, when in enumerate(site.sitemaps, start=1)
    ]
    yield INDEX, _document("sitemapindex", parts)


def robots(base_url: str) -> bytes | None:
    """Return what tells crawlers of the sitemap; None below the root of a host, where nobody reads it."""
    if urlsplit(base_url).path.strip("/"):
        return None
    return f"User-agent: *\nAllow: /\n\nSitemap: {base_url}/{INDEX}\n".encode()


def _entry(site: Site, entry: Entry) -> Element:
    return _url("url", layout.url(site.base_url, item_page(entry.item)), entry.modified)


def _url(name: str, location: str, when: dt.datetime | None) -> Element:
    changed = element("lastmod", sitemap.last_change(when), namespace=sitemap.NAMESPACE) if when else None
    place = element("loc", location, namespace=sitemap.NAMESPACE)
    return element(name, place, changed, namespace=sitemap.NAMESPACE)


def _document(name: str, children: list[Element]) -> bytes:
    root = element(name, *children, namespace=sitemap.NAMESPACE, prefixes=sitemap.PREFIXES)
    return xmldoc.to_bytes(root)
