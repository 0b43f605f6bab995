"""The page of one item."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from pipeline import layout
from pipeline.pages import asset_files, rendering, rows
from pipeline.pages.links import Links, web_url
from pipeline.pages.reading import Reading, read
from pipeline.pages.text import Texts, texts
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
        rights=_rights_name(reading.rights),
        sets=list(_sets(page)),
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


def _rights_name(uri: str) -> str:
    """Return what a page calls a statement of rights: its name, or its address if it has none."""
    statement = rights.statement_of(uri)
    return statement.label if statement else web_url(uri)


def _sets(page: ItemPage) -> Iterator[tuple[Texts, str]]:
    """Yield label and page of the sets of volumes on this site that the item is part of."""
    for each in page.manifest.get("partOf", []):
        address = str(each.get("id")) if isinstance(each, dict) else ""
        volume_set = address.removeprefix(f"{page.base_url}/iiif/").partition("/")[0]
        if address == layout.url(page.base_url, layout.collection_path(volume_set)):
            yield texts(each.get("label")), f"{layout.volumes_page(volume_set).parent}/"


def _hosts(reading: Reading) -> list[str]:
    """Return the other hosts that a page's images come from, as its security policy names them."""
    pictures = [picture for view in reading.views for picture in view.pictures]
    links_ = (each for picture in pictures for each in (picture.service, picture.whole.href))
    thumbnails = (view.thumbnail.href for view in reading.views if view.thumbnail)
    return sorted({f"{p.scheme}://{p.netloc}" for p in map(urlsplit, (*links_, *thumbnails)) if p.netloc})
