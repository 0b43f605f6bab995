"""The manifest of an item as its site serves it, and what the front page and collections tell of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline import layout
from pipeline.jsondoc import JsonValue
from pipeline.model import LanguageMap
from pipeline.pages.text import plain
from pipeline.publish import collections
from pipeline.publish.contents import Contents
from pipeline.publish.record import Site
from pipeline.publish.rewriting import rewritten
from pipeline.publish.sitemaps import item_page

_PAGE = LanguageMap((("en", ("View online",)), ("de", ("Online ansehen",))))
_PDF = LanguageMap((("en", ("PDF of all views",)), ("de", ("PDF aller Ansichten",))))


def pdf_path(item: str) -> str:
    """The path of an item's PDF, beside its page."""
    return f"items/{item}/{item}.pdf"


def site_manifest(contents: Contents, site: Site, *, has_pdf: bool) -> dict[str, Any]:
    """Return the manifest with its addresses under the site's base URL.

    It is part of the site's collection, its page is a homepage of the item, and a PDF one more rendering.
    """
    manifest = rewritten(contents.manifest, base_url=contents.base_url, to=site.base_url)
    page = collections.web_page(layout.url(site.base_url, item_page(contents.item)), _PAGE)
    added: dict[str, JsonValue] = {"homepage": page, "partOf": collections.reference(site)}
    if has_pdf:
        added["rendering"] = {
            "id": layout.url(site.base_url, pdf_path(contents.item)),
            "type": "Text",
            "label": collections.language_map(_PDF),
            "format": "application/pdf",
        }
    return _before_items({key: _with(manifest.get(key, []), value) for key, value in added.items()}, manifest)


def _with(values: list[Any], added: Any) -> list[Any]:
    """Return a list with one more value at its end; one of the same id gives way to it."""
    return [*(each for each in values if each.get("id") != added["id"]), added]


def _before_items(added: dict[str, Any], manifest: dict[str, Any]) -> dict[str, Any]:
    """Return a manifest with properties replaced where they stand, or put before the canvases."""
    new = {key: value for key, value in added.items() if key not in manifest}
    document: dict[str, Any] = {}
    for key, value in manifest.items():
        if key == "items":
            document |= new
        document[key] = added.get(key, value)
    return document


# ------------------------------------------------------------------------------- what is told of an item


def language_map(value: object) -> LanguageMap:
    """Return a language map of a manifest as a value, without the tags of HTML; what is none is empty."""
    if not isinstance(value, Mapping):
        return LanguageMap()
    return LanguageMap(
        tuple(
            (str(tag), tuple(plain(text) for text in texts if isinstance(text, str)))
            for tag, texts in value.items()
            if isinstance(texts, list) and texts
        )
    )


def thumbnail(manifest: Mapping[str, Any], base_url: str) -> tuple[str, int, int]:
    """Return a manifest's thumbnail, as a path below the base URL, its width and height in pixels.

    Empty and 0 if it has none on this site.
    """
    for each in manifest.get("thumbnail", []):
        if isinstance(each, Mapping) and str(each.get("id")).startswith(f"{base_url}/"):
            return str(each["id"])[len(base_url) + 1 :], _pixels(each, "width"), _pixels(each, "height")
    return "", 0, 0


def _pixels(value: Mapping[str, Any], key: str) -> int:
    found = value.get(key)
    return found if isinstance(found, int) and found > 0 else 0


def date(manifest: Mapping[str, Any]) -> str:
    """Return when the item was made, as its metadata has it in words; empty if it does not."""
    for pair in manifest.get("metadata", []):
        label, value = (language_map(pair.get(key)) for key in ("label", "value"))
        if label.best("en") == "Date":
            return value.first
    return ""
