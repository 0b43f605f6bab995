"""The page of one item."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from pipeline.pages import asset_files, rendering, rows
from pipeline.pages.links import Links
from pipeline.pages.reading import Reading, read
from pipeline.specs import http, iiif, rights

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
    path = f"items/{item}/"
    return rendering.render(
        "item.html.j2",
        links,
        page.site_title,
        path=path,
        reading=reading,
        first_view=reading.views[reading.start] if reading.views else None,
        numbered=list(enumerate(reading.views)),
        records=[record for record in reading.records if record.href != links.to(path)],
        manifest=links.of(manifest),
        manifest_type=http.linked_data(iiif.PRESENTATION_CONTEXT),
        pdf=page.pdf,
        rights=rights.statement_of(reading.rights),
        hosts=_hosts(reading),
        library=asset_files.ZOOM in asset_files.by_name(),
        rows=rows.data(
            reading,
            page=links.whole(path),
            folder=links.to(f"iiif/{item}/"),
            canvases=f"{page.base_url}/iiif/{item}/canvas/",
            files=links.to(f"access/{item}/"),
        ),
    )


def _hosts(reading: Reading) -> list[str]:
    """Return the other hosts that a page's images come from, as its security policy names them."""
    pictures = [picture for view in reading.views for picture in view.pictures]
    links_ = (each for picture in pictures for each in (picture.service, picture.whole.href))
    thumbnails = (view.thumbnail.href for view in reading.views if view.thumbnail)
    return sorted({f"{p.scheme}://{p.netloc}" for p in map(urlsplit, (*links_, *thumbnails)) if p.netloc})
