"""The IIIF Collection of a site, nested when there are many items.

Items are members of the node of their slot, nodes of the node above, so that one more item changes one
node of each level. A site of few items has one collection that lists them all.

Source: IIIF Presentation API 3.0, section 5.1.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pipeline import layout
from pipeline.jsondoc import JsonValue
from pipeline.model import LanguageMap
from pipeline.publish.record import SLOTS_PER_FILE, Entries, Entry, Site, slots_of
from pipeline.specs import iiif

MEMBERS = SLOTS_PER_FILE
"""Of one node at most."""
ROOT = "collections/all.json"


def node_path(level: int, number: int) -> str:
    """The path of a node: level 1 lists items, level 2 nodes of level 1; numbers from 1."""
    return f"collections/{level}-{number}.json"


def documents(site: Site, slot: int, entries: Entries) -> Iterator[tuple[str, dict[str, JsonValue]]]:
    """Yield the collections that change with the item in a slot, by path, members before what lists them."""
    level = 1
    while _nodes(site, level) > 1:
        for number in _touched(slot // MEMBERS**level):
            yield node_path(level, number + 1), _node(site, level, number, entries)
        level += 1
    root: dict[str, JsonValue] = {
        "@context": iiif.PRESENTATION_CONTEXT,
        "id": f"{site.base_url}/{ROOT}",
        "type": "Collection",
        "label": language_map(site.title),
        "homepage": [web_page(f"{site.base_url}/", site.title)],
        "items": _members(site, level, 0, entries),
    }
    yield ROOT, root


def reference(site: Site) -> dict[str, JsonValue]:
    """Return the site's collection as a manifest refers to it in `partOf`."""
    return {"id": f"{site.base_url}/{ROOT}", "type": "Collection", "label": language_map(site.title)}


def _nodes(site: Site, level: int) -> int:
    """How many nodes of a level the slots take; where it is one, it is the root."""
    members: int = MEMBERS**level
    return -(-site.slots // members)


def _touched(number: int) -> tuple[int, ...]:
    """A second node is the first sign of its level: then the first node was not written before."""
    return (0, 1) if number == 1 else (number,)


def _node(site: Site, level: int, number: int, entries: Entries) -> dict[str, JsonValue]:
    return {
        "@context": iiif.PRESENTATION_CONTEXT,
        **_node_reference(site, level, number),
        "partOf": [reference(site)],
        "items": _members(site, level, number, entries),
    }


def _members(site: Site, level: int, number: int, entries: Entries) -> list[JsonValue]:
    if level == 1:
        return [manifest_reference(site.base_url, each) for each in online(entries, number)]
    below = range(number * MEMBERS, min((number + 1) * MEMBERS, _nodes(site, level - 1)))
    return [_node_reference(site, level - 1, each) for each in below]


def online(entries: Entries, number: int) -> Iterator[Entry]:
    """Yield the items of a node that are online."""
    return (each for each in entries(*slots_of(number, MEMBERS)) if not each.is_removed)


def _node_reference(site: Site, level: int, number: int) -> dict[str, JsonValue]:
    """Its label tells which slots it has; a slot that is not taken yet will be, and the label then holds."""
    first, past = slots_of(number, MEMBERS**level)
    label = {tag: [f"{text}, {first + 1:,}–{past:,}" for text in texts] for tag, texts in site.title.entries}
    return {"id": f"{site.base_url}/{node_path(level, number + 1)}", "type": "Collection", "label": label}


def manifest_reference(base_url: str, entry: Entry) -> dict[str, JsonValue]:
    """Return an item as a collection lists it."""
    found: dict[str, Any] = {
        "id": layout.url(base_url, layout.manifest_path(entry.item)),
        "type": "Manifest",
        "label": language_map(entry.label),
    }
    if entry.thumbnail:
        thumbnail: dict[str, Any] = {"id": f"{base_url}/{entry.thumbnail}", "type": "Image"}
        size = {"width": entry.width_px, "height": entry.height_px}
        found["thumbnail"] = [thumbnail | {key: value for key, value in size.items() if value}]
    return found


def language_map(text: LanguageMap) -> dict[str, list[str]]:
    """Return a text as IIIF has it."""
    return {tag: list(texts) for tag, texts in text.entries}


def web_page(url: str, label: LanguageMap) -> dict[str, JsonValue]:
    """Return a page as `homepage` has it."""
    return {"id": url, "type": "Text", "label": language_map(label), "format": "text/html"}
