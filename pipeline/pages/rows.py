"""What an item's page carries for its script: rows of the views, as small as can be.

`web/data.js` reads them and knows the same keys. What most views have in common is said once, what the
gallery says already is not said again, and the row of a usual view is empty: a volume of 900 views has to
stay small.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Hashable, Iterable, Mapping
from typing import Any, TypeVar

from pipeline.pages.reading import Picture, Reading, View
from pipeline.pages.text import Texts, plain


def data(reading: Reading, *, page: str, folder: str, canvases: str, files: str) -> str:
    """Return the rows as JSON that can stand in a page's script element: without ``<``, ``>`` and ``&``.

    `page` is the page's own whole URL, `folder` the item's IIIF folder as seen from it, `canvases` what the
    ids of its canvases begin with, `files` the folder of its access images as seen from it.
    """
    common = {
        "canvases": canvases,
        "folder": folder,
        "files": files,
        "size": _usual([(view.width, view.height) for view in reading.views], (0, 0)),
        "mm": _usual([view.mm_per_unit for view in reading.views], 0),
        "file": json.loads(_usual([_dump(said(f.label)) for v in reading.views for f in v.files], '""')),
    }
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
    return _dump(rows).replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def said(found: Texts) -> str | dict[str, str]:
    """Return a text as it is if there is but one, else by language."""
    if len(found) < 2:
        return plain(found[0].value) if found else ""
    return {text.language: plain(text.value) for text in found}


def _dump(value: object) -> str:
    return json.dumps(value, separators=(",", ":"))


_Value = TypeVar("_Value", bound=Hashable)


def _usual(values: Iterable[_Value], nothing: _Value) -> _Value:
    return next((value for value, _ in Counter(values).most_common(1)), nothing)


def _view(view: View, common: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is not as usual: `c` canvas, `l` label, `s` size, `m` scale, `b` behavior, `p`, `f`."""
    name = view.identifier
    row = {
        "c": view.canvas,
        "l": said(view.label),
        "s": (view.width, view.height),
        "m": view.mm_per_unit,
        "b": view.behavior,
        "p": [_picture(picture, common["folder"]) for picture in view.pictures],
        "f": [[file.href, said(file.label)] for file in view.files],
    }
    usual = {
        "c": f"{common['canvases']}{name}",
        "l": plain(view.label[0].value) if view.label else "",
        "s": common["size"],
        "m": common["mm"],
        "b": "",
        "p": [{"s": name}],
        "f": [[f"{common['files']}{name}.jpg", common["file"]]],
    }
    return {key: value for key, value in row.items() if value != usual[key]}


def _picture(picture: Picture, folder: str) -> dict[str, Any]:
    """A service in the item's own folder as `s`, any other as `S`, an image without one as `w`."""
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
