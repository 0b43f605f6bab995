"""What stands where an item was: that it was here, since when it no longer is, and where to go on."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from pipeline.pages import rendering
from pipeline.pages.item import DEPTH
from pipeline.pages.links import Links
from pipeline.pages.text import texts


@dataclass(frozen=True, slots=True, kw_only=True)
class TombstonePage:
    """What the page of an item that was removed is made from."""

    item: str
    label: dict[str, list[str]]
    removed_on: dt.date
    base_url: str
    site_title: dict[str, list[str]]


def tombstone_page(page: TombstonePage) -> bytes:
    """Return the page as UTF-8, for ``items/<item>/index.html``."""
    return rendering.render(
        "tombstone.html.j2",
        Links(base_url=page.base_url, depth=DEPTH),
        page.site_title,
        path=f"items/{page.item}/",
        page=page,
        label=texts(page.label),
    )
