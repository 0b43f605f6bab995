"""How the views of an item are laid out: the behaviour of the whole, and the place of each view.

========================================  =====================================================
item                                      behaviour
========================================  =====================================================
codex, album with views of pages          paged (`pipeline.describe.paging`); individuals where
                                          rectos cannot be kept on the side where they belong
codex, album of openings alone            individuals
scroll                                    continuous; written on both sides: individuals, and a
                                          continuous range for each side
sheet, letter, fragment, tablet,          individuals
photograph, map
========================================  =====================================================

The order is that of pages.csv, whatever the direction of reading.

Source: IIIF Presentation API 3.0, sections 3.1 (viewingDirection) and 3.4 (behavior).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline import foliation
from pipeline.describe.paging import Placement, placement_of, turn_pages
from pipeline.foliation import Side
from pipeline.model import FrameKind, Item, ItemKind, View
from pipeline.specs.iiif import Behavior

_BOUND = frozenset((ItemKind.CODEX, ItemKind.ALBUM))
_WRITTEN_ON = frozenset((FrameKind.PAGE, FrameKind.FACE, FrameKind.OPENING))


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """Where every view stands."""

    behavior: Behavior
    places: tuple[Placement, ...]
    recto: tuple[str, ...] = ()
    """Views of the inner side of a scroll that is written on both; else none."""
    dorse: tuple[str, ...] = ()
    """Views of its outer side."""
    doubt: str = ""
    """Why a bound volume is not shown as openings, and what to do; empty if there is no doubt."""


def arrange(item: Item) -> Arrangement:
    """Return how the views of an item are laid out."""
    if item.kind in _BOUND and any(view.kind is FrameKind.PAGE for view in item.views):
        return _bound(item)
    if item.kind is ItemKind.SCROLL:
        return _scroll(item.views)
    return _individuals(item.views)


def _bound(item: Item) -> Arrangement:
    paging = turn_pages(item.views, supplies=item.follows_foliation)
    if paging.doubt:
        return _individuals(item.views, doubt=paging.doubt)
    return Arrangement(behavior=Behavior.PAGED, places=paging.places)


def _individuals(views: Sequence[View], *, doubt: str = "") -> Arrangement:
    return Arrangement(behavior=Behavior.INDIVIDUALS, places=tuple(map(placement_of, views)), doubt=doubt)


def _scroll(views: Sequence[View]) -> Arrangement:
    written = [view for view in views if view.kind in _WRITTEN_ON]
    recto = tuple(view.identifier for view in written if not _is_dorse(view))
    dorse = tuple(view.identifier for view in written if _is_dorse(view))
    places = tuple(map(placement_of, views))
    if not recto or not dorse:
        return Arrangement(behavior=Behavior.CONTINUOUS, places=places)
    return Arrangement(behavior=Behavior.INDIVIDUALS, places=places, recto=recto, dorse=dorse)


def _is_dorse(view: View) -> bool:
    return foliation.side(view.label) is Side.VERSO or "dorse" in view.label.casefold()
