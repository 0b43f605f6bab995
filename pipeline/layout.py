"""Where things lie in the bundles, and under which URL they are public.

Every path in a publication bundle's payload carries the item's id, and equals the path of its URL below
the base URL. So the payload folders of any number of bundles can be laid over one another in one web
root without a clash, and what is served straight from a bundle has the addresses that its manifest says
(`docs/decisions/0002-publication-paths.md`).
"""

from __future__ import annotations

from pathlib import PurePosixPath
from urllib.parse import quote

from pipeline.model import Frame, ImageDelivery

# --------------------------------------------------------------- publication: relative to the payload


def item_folder(item: str) -> PurePosixPath:
    """The folder of everything that IIIF clients ask for."""
    return PurePosixPath("iiif", item)


def manifest_path(item: str) -> PurePosixPath:
    """The IIIF Presentation manifest."""
    return item_folder(item) / "manifest.json"


def collection_path(volume_set: str) -> PurePosixPath:
    """The IIIF Collection of a set of volumes."""
    return item_folder(volume_set) / "collection.json"


def volumes_page(volume_set: str) -> PurePosixPath:
    """The page of a set of volumes on a site."""
    return PurePosixPath("volumes", volume_set, "index.html")


REMOVED = "removed.txt"
"""Lies beside the page of an item that was removed, so that web servers can answer that it is gone."""


def image_folder(item: str, frame: str) -> PurePosixPath:
    """The static image service of one frame; its URL is the service's id."""
    return item_folder(item) / frame


PYRAMID_SUFFIXES = {ImageDelivery.PYRAMID_TIFF: ".tif", ImageDelivery.JP2: ".jp2"}


def pyramid_path(item: str, frame: str, suffix: str) -> PurePosixPath:
    """The one file of a frame for a site with an image server; `suffix` is ``.tif`` or ``.jp2``."""
    return PurePosixPath("images", item, f"{frame}{suffix}")


def access_path(item: str, frame: str) -> PurePosixPath:
    """The access image of one frame."""
    return PurePosixPath("access", item, f"{frame}.jpg")


def public_metadata_path(item: str, name: str) -> PurePosixPath:
    """A public metadata document: ``mods.xml``, ``mets.xml``."""
    return PurePosixPath("metadata", item, name)


def url(base_url: str, path: PurePosixPath | str) -> str:
    """The public URL of a path in the publication payload, percent-encoded (RFC 3986)."""
    return f"{base_url}/{quote(str(path), safe='/,')}"


# --------------------------------------------------------------- preservation: relative to the payload

METADATA = PurePosixPath("metadata")
QUALITY = METADATA / "quality.json"
"""What was measured and judged, in the preservation bundle."""


def master_path(frame: Frame) -> PurePosixPath:
    """Where a master lies: target and flat frames apart from what shows the object."""
    if frame.file is None:
        raise ValueError(f"{frame.label!r} was not captured")
    return PurePosixPath("masters" if frame.kind.is_reading_matter else "targets") / frame.file


# ----------------------------------------------------------------------------------------- bundle names


def publication_name(item: str) -> str:
    """The name of the publication bundle's folder."""
    return f"{item}-publication"


def preservation_name(item: str) -> str:
    """The name of the preservation bundle's folder."""
    return f"{item}-preservation"
