"""Sitemaps, and where a crawler is told of them.

Source: Sitemap protocol 0.9 (sitemaps.org), sections on the XML format, on sitemap index files and on
telling search engines through robots.txt; RFC 9309 for robots.txt.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

NAMESPACE = "http://www.sitemaps.org/schemas/sitemap/0.9"
PREFIXES: Mapping[str | None, str] = {None: NAMESPACE}
MOST_URLS = 50_000
"""In one sitemap, and sitemaps in one index."""
ROBOTS = "robots.txt"
"""It counts at the root of a host alone (RFC 9309, section 2.3)."""


def last_change(when: dt.datetime) -> str:
    """Return a moment as `lastmod` has it: a W3C date and time, in UTC."""
    return when.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
