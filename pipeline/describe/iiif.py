"""The IIIF documents of an item: its manifest, and the collection of the volumes that it is one of.

Keys and lists have a fixed order, so that the same item gives the same bytes. What would be empty is left
out, except that a canvas without an image says so with an empty `items`.

Source: IIIF Presentation API 3.0, sections 3 and 5.
"""

from __future__ import annotations

import posixpath
from collections.abc import Mapping, Sequence
from urllib.parse import urlsplit

from pipeline import layout
from pipeline.describe import wording
from pipeline.describe.addresses import Addresses
from pipeline.describe.arrangement import arrange
from pipeline.describe.canvases import Canvas, canvases
from pipeline.describe.iiif_canvas import canvas_document
from pipeline.describe.iiif_images import FrameImages, images_by_frame
from pipeline.describe.iiif_ranges import structures
from pipeline.describe.iiif_text import is_web_url, language_map, metadata, pair, plain
from pipeline.jsondoc import JsonValue
from pipeline.model import Derivatives, FrameRecord, Holder, Item, LanguageMap, Settings, VolumeSet
from pipeline.specs import iiif, mets, mods


def manifest(
    item: Item,
    settings: Settings,
    derivatives: Mapping[str, Derivatives],
    records: Mapping[str, FrameRecord],
) -> dict[str, JsonValue]:
    """Return the manifest of an item; `derivatives` and `records` are by identifier of the frame.

    Raises KeyError if a captured frame of a view has no derivatives. A frame without a record is shown
    without a physical scale, unless its session has one.
    """
    addresses = Addresses(item=item.identifier, settings=settings)
    arrangement = arrange(item)
    shown = canvases(item, arrangement, derivatives, records)
    images = images_by_frame(addresses, derivatives)
    head: dict[str, JsonValue] = {
        "@context": iiif.PRESENTATION_CONTEXT,
        "id": addresses.manifest,
        "type": "Manifest",
        "label": language_map(_title(item)),
        "summary": language_map(plain(item.summary)),
        "metadata": metadata(item, settings),
        "requiredStatement": _credit(item.credit, settings),
        "rights": iiif.rights_uri(item.rights or settings.rights),
        "provider": _provider(settings),
        "thumbnail": _thumbnail(item, shown, images),
        "homepage": _homepage(item),
        "seeAlso": _see_also(item, addresses),
        "partOf": _part_of(item, addresses),
        "viewingDirection": item.reading.value,
        "behavior": [arrangement.behavior.value],
        "start": _start(item, shown, addresses),
    }
    body: dict[str, JsonValue] = {
        "items": [canvas_document(canvas, addresses, images) for canvas in shown],
        "structures": structures(item, arrangement, shown, addresses),
    }
    return {key: value for key, value in (head | body).items() if value}


def collection(item: Item, settings: Settings) -> dict[str, JsonValue] | None:
    """Return the collection of the volumes that the item is one of, or None if it stands alone.

    It holds nothing of this volume alone, so every volume's bundle has the same bytes.
    """
    volume_set = item.volume_set
    if volume_set is None:
        return None
    addresses = Addresses(item=item.identifier, settings=settings)
    document: dict[str, JsonValue] = {
        "@context": iiif.PRESENTATION_CONTEXT,
        **_collection_reference(volume_set, addresses),
        "requiredStatement": _credit(LanguageMap(), settings),
        "provider": _provider(settings),
        "behavior": [iiif.Behavior.MULTI_PART.value],
        "items": [
            {
                "id": addresses.of(layout.manifest_path(volume.item)),
                "type": "Manifest",
                "label": language_map(volume.label),
            }
            for volume in volume_set.volumes
        ],
    }
    return {key: value for key, value in document.items() if value}


# --------------------------------------------------------------------------------------- what it is called


def _title(item: Item) -> LanguageMap:
    """Shelfmark and title, in every language that the title has."""
    if not item.title:
        return LanguageMap.of(item.shelfmark)
    return LanguageMap(tuple((tag, tuple(map(item.called, texts))) for tag, texts in item.title.entries))


def _credit(credit: LanguageMap, settings: Settings) -> dict[str, JsonValue]:
    text = credit or settings.credit or settings.holder.name or LanguageMap.of(settings.unit_name)
    statement = pair(wording.CREDIT, plain(text))
    return statement if statement["value"] else {}


# ------------------------------------------------------------------------------------------------ by whom


def _provider(settings: Settings) -> list[JsonValue]:
    """The holder, if the settings name one; its id is a URI, its homepage or the base URL if need be."""
    holder = settings.holder
    if not holder.name:
        return []
    known = filter(is_web_url, (holder.identifier, holder.homepage, f"{settings.base_url}/"))
    agent: dict[str, JsonValue] = {"id": next(known), "type": "Agent", "label": language_map(holder.name)}
    if is_web_url(holder.homepage):
        agent["homepage"] = [_web_page(holder.homepage, holder.name)]
    if is_web_url(holder.logo):
        agent["logo"] = [_logo(holder)]
    return [agent]


_LOGO_FORMATS = {
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".gif": "image/gif",
    ".webp": "image/webp",
}


def _logo(holder: Holder) -> dict[str, JsonValue]:
    logo: dict[str, JsonValue] = {"id": holder.logo, "type": "Image"}
    suffix = posixpath.splitext(urlsplit(holder.logo).path)[1].lower()
    if media_type := _LOGO_FORMATS.get(suffix):
        logo["format"] = media_type
    return logo


def _web_page(url: str, label: LanguageMap) -> dict[str, JsonValue]:
    return {"id": url, "type": "Text", "label": language_map(label), "format": "text/html"}


# ------------------------------------------------------------------------------------ where else to look


def _homepage(item: Item) -> list[JsonValue]:
    return [_web_page(item.catalogue_url, wording.CATALOGUE_RECORD)] if is_web_url(item.catalogue_url) else []


def _see_also(item: Item, addresses: Addresses) -> list[JsonValue]:
    """Both records, their namespaces as profiles: of MODS that is the one in the registry of profiles."""
    documents = (
        ("mods.xml", wording.MODS_RECORD, mods.NAMESPACE),
        ("mets.xml", wording.METS_RECORD, mets.NAMESPACE),
    )
    return [
        {
            "id": addresses.of(layout.public_metadata_path(item.identifier, name)),
            "type": "Dataset",
            "label": language_map(label),
            "format": "application/xml",
            "profile": profile,
        }
        for name, label, profile in documents
    ]


def _part_of(item: Item, addresses: Addresses) -> list[JsonValue]:
    return [_collection_reference(item.volume_set, addresses)] if item.volume_set else []


def _collection_reference(volume_set: VolumeSet, addresses: Addresses) -> dict[str, JsonValue]:
    return {
        "id": addresses.of(layout.collection_path(volume_set.identifier)),
        "type": "Collection",
        "label": language_map(volume_set.label or LanguageMap.of(volume_set.identifier)),
    }


# ---------------------------------------------------------------------------------------- where to begin


def _first(item: Item, shown: Sequence[Canvas]) -> Canvas | None:
    """The canvas that a reader meets first: the one asked for, else the first that shows something."""
    asked = (canvas for canvas in shown if item.start and canvas.view == item.start)
    return next(asked, None) or next((canvas for canvas in shown if canvas.frames), None)


def _start(item: Item, shown: Sequence[Canvas], addresses: Addresses) -> dict[str, JsonValue]:
    """Where to begin, if the record says so or the first canvas shows nothing."""
    first = _first(item, shown)
    if first is None or (first is shown[0] and not item.start):
        return {}
    return {"id": addresses.canvas(first.identifier), "type": "Canvas"}


def _thumbnail(item: Item, shown: Sequence[Canvas], images: Mapping[str, FrameImages]) -> list[JsonValue]:
    first = _first(item, shown)
    if first is None or not first.frames:
        return []
    return [images[first.frames[0].identifier].thumbnail_with_sizes()]
