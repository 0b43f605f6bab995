"""The page of one item."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pipeline.pages import asset_files, rendering
from pipeline.pages.links import Links
from pipeline.pages.reading import read
from pipeline.specs import rights

DEPTH = 2
"""How many folders below the base URL the page of an item lies: ``items/<item>/``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemPage:
    """What the page of an item is made from."""

    manifest: dict[str, Any]
    """As it stands on the site."""
    base_url: str
    """Without a slash at its end."""
    site_title: dict[str, list[str]]
    pdf: str | None = None
    """The name of the PDF file beside the page."""


def item_page(page: ItemPage) -> bytes:
    """Return the page of an item as UTF-8, for ``items/<item>/index.html``."""
    links = Links(base_url=page.base_url, depth=DEPTH)
    manifest = str(page.manifest.get("id"))
    item = manifest.removeprefix(f"{page.base_url}/iiif/").partition("/")[0]
    reading = read(page.manifest, links)
    return rendering.render(
        "item.html.j2",
        links,
        page.site_title,
        path=f"items/{item}/",
        item=item,
        reading=reading,
        manifest=links.of(manifest),
        manifest_url=manifest,
        pdf=page.pdf,
        rights=rights.statement_of(reading.rights),
        lacks=asset_files.lacks(),
    )
