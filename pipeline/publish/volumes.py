"""Sets of volumes: collection and page of each list the volumes that are on the site, in the set's order."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable
from typing import Any

from pipeline import files, jsondoc, layout, pages
from pipeline.model import LanguageMap
from pipeline.publish import collections, front, manifest
from pipeline.publish.record import Entry, Site, SiteFolder

COLLECTION = "collection.json"
"""The whole set as its volume's bundle has it, kept in the version's folder."""


def refresh(folder: SiteFolder, site: Site, entry: Entry, *, left: str) -> None:
    """Bring the collections of an item's set, and of the set that it `left`, up to date. Raises ToolError."""
    if left:
        served = folder.path / layout.collection_path(left)
        if served.is_file():
            _write(folder, site, left, jsondoc.read(served), lambda item: item != entry.item)
        for each in (served, folder.path / layout.volumes_page(left)):
            with contextlib.suppress(OSError):  # it has other files, or is gone
                each.parent.rmdir()
    if entry.volume_set and not entry.is_removed:
        whole = jsondoc.read(folder.home(entry.item) / entry.version / COLLECTION)

        def is_online(item: str) -> bool:
            other = folder.entry(item)
            return other is not None and not other.is_removed and other.volume_set == entry.volume_set

        _write(folder, site, entry.volume_set, whole, is_online)


def _write(
    folder: SiteFolder, site: Site, volume_set: str, document: dict[str, Any], keeps: Callable[[str], bool]
) -> None:
    path = layout.collection_path(volume_set)
    page = layout.volumes_page(volume_set)
    kept = [each for each in document["items"] if keeps(item_of(each))]
    if kept:
        label = manifest.language_map(document.get("label"))
        about = {
            "homepage": [collections.web_page(layout.url(site.base_url, f"{page.parent}/"), label)],
            "partOf": [collections.reference(site)],
        }
        folder.write(path, jsondoc.to_bytes({**document, **about, "items": kept}))
        folder.write(page, _page(folder, site, volume_set, label, kept))
        return
    for each in (page, path):
        with files.writing(folder.path / each):
            (folder.path / each).unlink(missing_ok=True)


def _page(
    folder: SiteFolder, site: Site, volume_set: str, label: LanguageMap, kept: list[dict[str, Any]]
) -> bytes:
    entries = filter(None, (folder.entry(item_of(each)) for each in kept))
    return pages.volumes_page(
        pages.VolumesPage(
            path=f"{layout.volumes_page(volume_set).parent}/",
            collection=str(layout.collection_path(volume_set)),
            label=collections.language_map(label),
            cards=tuple(front.card(each) for each in entries),
            base_url=site.base_url,
            site_title=collections.language_map(site.title),
        )
    )


def item_of(reference: dict[str, Any]) -> str:
    """Return the item of a manifest that a collection lists; nothing if it is none of a site."""
    match = re.search(r"/iiif/([^/]+)/manifest\.json$", str(reference.get("id")))
    return match[1] if match else ""
