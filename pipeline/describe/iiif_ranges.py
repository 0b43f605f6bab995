"""Sections as ranges: what a reader sees as a table of contents.

A canvas is listed in the innermost section that it belongs to, once; a page that only the foliation tells
of belongs to a section if both its neighbours do.

Source: IIIF Presentation API 3.0, section 5.4.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from pipeline.describe import wording
from pipeline.describe.addresses import Addresses
from pipeline.describe.arrangement import Arrangement
from pipeline.describe.canvases import Canvas
from pipeline.describe.iiif_text import language_map
from pipeline.jsondoc import JsonValue
from pipeline.model import Item, LanguageMap, Section
from pipeline.specs.iiif import Behavior

CONTENTS = "contents"


def structures(
    item: Item, arrangement: Arrangement, canvases: Iterable[Canvas], addresses: Addresses
) -> list[JsonValue]:
    """Return the top-level ranges: the contents, and the two sides of a scroll written on both."""
    by_view = _by_view(canvases)
    contents = [_section(section, by_view, addresses) for section in item.sections if section.views]
    tops = [_range(addresses.range(CONTENTS), wording.CONTENTS, contents)] if contents else []
    return [*tops, *_sides(arrangement, by_view, addresses)]


# ---------------------------------------------------------------------------------------------- sections


def _section(
    section: Section, by_view: Mapping[str, _OfView], addresses: Addresses
) -> Mapping[str, JsonValue]:
    items = list(_section_items(section, by_view, addresses))
    return _range(addresses.range(f"{CONTENTS}/{section.identifier}"), section.label, items)


def _section_items(
    section: Section, by_view: Mapping[str, _OfView], addresses: Addresses
) -> Iterator[JsonValue]:
    """Yield canvases and subsections in the order of reading."""
    beginning: dict[str, list[Section]] = {}
    for subsection in section.subsections:
        if subsection.views:
            beginning.setdefault(subsection.views[0], []).append(subsection)
    listed_below = {view for subsection in section.subsections for view in subsection.views}
    followed_below = {view for subsection in section.subsections for view in subsection.views[:-1]}
    for place, view in enumerate(section.views, start=1):
        for subsection in beginning.get(view, ()):
            yield _section(subsection, by_view, addresses)
        own, following = by_view[view]
        if view not in listed_below:
            yield from _references(own, addresses)
        if view not in followed_below and place < len(section.views):
            yield from _references(following, addresses)


# --------------------------------------------------------------------------------- the sides of a scroll


def _sides(
    arrangement: Arrangement, by_view: Mapping[str, _OfView], addresses: Addresses
) -> Iterator[Mapping[str, JsonValue]]:
    """Yield one continuous range for each side of a scroll that is written on both."""
    sides = (("recto", wording.RECTO, arrangement.recto), ("dorse", wording.DORSE, arrangement.dorse))
    for identifier, label, views in sides:
        if views:
            shown = [canvas for view in views for canvas in by_view[view][0]]
            yield _range(
                addresses.range(identifier),
                label,
                list(_references(shown, addresses)),
                behavior=Behavior.CONTINUOUS,
            )


# ---------------------------------------------------------------------------------------------- the parts

_OfView = tuple[list[Canvas], list[Canvas]]
"""The canvases of a view, and those that the foliation puts between it and the next."""


def _by_view(canvases: Iterable[Canvas]) -> dict[str, _OfView]:
    grouped: dict[str, _OfView] = {}
    latest: _OfView = ([], [])
    for canvas in canvases:
        if canvas.view:
            latest = grouped.setdefault(canvas.view, ([], []))
        latest[0 if canvas.view else 1].append(canvas)
    return grouped


def _references(canvases: Iterable[Canvas], addresses: Addresses) -> Iterator[JsonValue]:
    for canvas in canvases:
        yield {"id": addresses.canvas(canvas.identifier), "type": "Canvas"}


def _range(
    identifier: str, label: LanguageMap, items: Sequence[JsonValue], *, behavior: Behavior | None = None
) -> Mapping[str, JsonValue]:
    document: dict[str, JsonValue] = {"id": identifier, "type": "Range", "label": language_map(label)}
    if behavior:
        document["behavior"] = [behavior.value]
    return document | {"items": items}
