"""What an item's page carries for its script: rows of the views, as small as can be.

`web/data.js` reads them: it knows the same keys. What is the same for most views is said once.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from typing import Any

from pipeline.pages.reading import Picture, Reading, View
from pipeline.pages.text import Texts, plain


def data(reading: Reading, *, page: str, folder: str, canvases: str) -> str:
    """Return the rows as JSON that can stand in a page's script element: without ``<``, ``>`` and ``&``.

    `page` is the page's own whole URL, `folder` the item's IIIF folder as seen from it, `canvases` what the
    ids of its canvases begin with.
    """
    mm = Counter(view.mm_per_unit for view in reading.views).most_common(1)
    common = {"folder": folder, "canvases": canvases, "mm": mm[0][0] if mm else 0}
    rows = {
        "page": page,
        "label": said(reading.label),
        "holder": said(reading.holder),
        "direction": reading.direction,
        "behavior": reading.behavior,
        "start": reading.start,
        **common,
        "views": [_view(view, common) for view in reading.views],
    }
    text = json.dumps(rows, ensure_ascii=True, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def said(found: Texts) -> str | dict[str, str]:
    """Return a text as it is if there is but one, else by language."""
    if len(found) < 2:
        return plain(found[0].value) if found else ""
    return {text.language: plain(text.value) for text in found}


def _view(view: View, common: Mapping[str, Any]) -> dict[str, Any]:
    canvas = f"{common['canvases']}{view.identifier}"
    row = {
        "i": view.identifier,
        "c": view.canvas if view.canvas != canvas else None,
        "l": said(view.label),
        "s": [view.width, view.height],
        "m": view.mm_per_unit if view.mm_per_unit != common["mm"] else None,
        "b": view.behavior or None,
        "p": [_picture(picture, common["folder"]) for picture in view.pictures] or None,
        "f": [[file.href, said(file.label)] for file in view.files] or None,
    }
    return {key: value for key, value in row.items() if value is not None}


def _picture(picture: Picture, folder: str) -> dict[str, Any]:
    """A service in the item's own folder as ``s``, any other as ``S``, an image without one as ``w``."""
    row: dict[str, Any] = {}
    service = picture.service
    if service.startswith(folder):
        row["s"] = service.removeprefix(folder)
    elif service:
        row["S"] = service
    if picture.whole.href != f"{service}/full/max/0/default.jpg":
        row["w"] = picture.whole.href
    if picture.label:
        row["l"] = said(picture.label)
    return row
