"""Collections of volumes: each lists the volumes that are on the site, in the order of the set."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable
from typing import Any

from pipeline import files, jsondoc, layout
from pipeline.publish import collections
from pipeline.publish.record import Entry, Site, SiteFolder

COLLECTION = "collection.json"
"""The whole set as its volume's bundle has it, kept in the version's folder."""


def refresh(folder: SiteFolder, site: Site, entry: Entry, *, left: str) -> None:
    """Bring the collections of an item's set, and of the set that it `left`, up to date. Raises ToolError."""
    if left:
        served = folder.path / layout.collection_path(left)
        if served.is_file():
            _write(folder, site, left, jsondoc.read(served), lambda item: item != entry.item)
        with contextlib.suppress(OSError):  # it has other files, or is gone
            served.parent.rmdir()
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
    kept = [each for each in document["items"] if keeps(_item(each))]
    if kept:
        found = {**document, "partOf": [collections.reference(site)], "items": kept}
        folder.write(path, jsondoc.to_bytes(found))
        return
    with files.writing(folder.path / path):
        (folder.path / path).unlink(missing_ok=True)


def _item(reference: dict[str, Any]) -> str:
    match = re.search(r"/iiif/([^/]+)/manifest\.json$", str(reference.get("id")))
    return match[1] if match else ""
