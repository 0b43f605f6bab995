"""Rules over how frames of a session lie against each other: turned, of another size, on the other side."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from pipeline import foliation
from pipeline.check import places, sources
from pipeline.check.sessions import SESSION, SessionFacts
from pipeline.findings import Level, Remark
from pipeline.foliation import Side
from pipeline.measure.siblings import SD_PER_MAD
from pipeline.model import Frame, FrameKind, FrameRecord, ItemKind

FEWEST = 4
"""Frames of which most say how the others should be."""
SQUARE = 1.05
"""Up to this ratio of its sides a frame is neither upright nor level."""
JUMP = 0.1
"""Share of the usual width or height by which the frame of a page may differ."""
OF_ONE_SIZE = (ItemKind.CODEX, ItemKind.ALBUM)
"""Kinds of items whose pages are alike; sheets and letters differ by nature."""


def _usual_shapes(facts: SessionFacts) -> Iterator[tuple[list[tuple[Frame, int, int]], bool]]:
    """Yield the pages, and the openings, with their sizes as displayed; and whether most are upright."""
    groups: dict[FrameKind, list[tuple[Frame, int, int]]] = defaultdict(list)
    for frame in facts.frames:
        record = facts.records.get(frame.identifier)
        if record and frame.kind in (FrameKind.PAGE, FrameKind.OPENING):
            groups[frame.kind].append((frame, *record.facts.displayed_size_px))
    for group in groups.values():
        upright = sum(_is_upright(width, height) for _, width, height in group)
        level = sum(_is_level(width, height) for _, width, height in group)
        if len(group) >= FEWEST and 2 * max(upright, level) > len(group):
            yield group, upright > level


def _is_upright(width: int, height: int) -> bool:
    return height > SQUARE * width


def _is_level(width: int, height: int) -> bool:
    return width > SQUARE * height


def _level(facts: SessionFacts) -> Level:
    return Level.WARNING if facts.item_kind in OF_ONE_SIZE else Level.NOTE


@SESSION.rule(
    "S016",
    Level.WARNING,
    "Frame is turned against its siblings",
    source=sources.COMMON_PRACTICE,
    advice="If the page is written the other way, nothing need be done. If the frame lies on its side, "
    "export it again upright; the orientation tag alone may be wrong.",
)
def frames_stand_like_their_siblings(facts: SessionFacts) -> Iterator[Remark]:
    """Pages, and openings, of a session are all upright or all level, as displayed.

    Of sheets and letters it is a note: they differ by nature.
    """
    for group, is_upright in _usual_shapes(facts):
        for frame, width, height in group:
            if _is_level(width, height) if is_upright else _is_upright(width, height):
                limit = f"{'upright' if is_upright else 'level'}, as most of {len(group)} {frame.kind}s"
                value = f"{width} × {height} px"
                yield Remark(place=places.of_frame(frame), value=value, limit=limit, level=_level(facts))


@SESSION.rule(
    "S017",
    Level.WARNING,
    "Frame is of another size than its siblings",
    source=sources.COMMON_PRACTICE,
    advice="Look whether the frame was cropped, photographed at another magnification, or shows something "
    "else than its label says, such as an opening for a page.",
)
def frames_are_as_large_as_their_siblings(facts: SessionFacts) -> Iterator[Remark]:
    """Width and height of pages, and of openings, are within a tenth of the session's usual ones.

    Of sheets and letters it is a note: they differ by nature.
    """
    for group, is_upright in _usual_shapes(facts):
        alike = [each for each in group if not (_is_level if is_upright else _is_upright)(*each[1:])]
        usual = np.median([[width, height] for _, width, height in alike], axis=0)
        for frame, width, height in alike:
            if np.any(np.abs(np.array([width, height]) / usual - 1) > JUMP):
                limit = f"{usual[0]:.0f} × {usual[1]:.0f} px ± {100 * JUMP:.0f} %"
                value = f"{width} × {height} px"
                yield Remark(place=places.of_frame(frame), value=value, limit=limit, level=_level(facts))


# --------------------------------------------------------------------------------------- recto and verso

FEWEST_OF_SIDE = 4
CLEARLY_APART = 8.0
"""Robust standard deviations between where rectos and versos lie: otherwise the picture does not tell."""
LEAST_SPREAD = 0.004
"""Share of the frame's width; where sheets lie is not taken to be steadier."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sides:
    """Where sheets of either side usually lie: the middle, as a share of the frame's width."""

    usual: Mapping[Side, float]

    def is_other(self, side: Side, middle: float) -> bool:
        """Whether a sheet of `side` lies where those of the other side do."""
        other = Side.VERSO if side is Side.RECTO else Side.RECTO
        return abs(middle - self.usual[other]) < abs(middle - self.usual[side]) / 3


@SESSION.rule(
    "S031",
    Level.WARNING,
    "Recto and verso seem to be swapped",
    source=sources.COMMON_PRACTICE,
    advice="Look at both pages beside their neighbours. If they were listed the wrong way round, swap their "
    "labels in pages.csv.",
)
def sides_lie_where_their_siblings_do(facts: SessionFacts) -> Iterator[Remark]:
    """Of no leaf does the recto lie in its frame where versos lie, and the verso where rectos do.

    Told only where rectos and versos lie clearly apart, as they do under a camera that stays.
    """
    for group in facts.by_light():
        seen = {frame: middle for frame, record in group if (middle := _middle(frame, record)) is not None}
        if sides := _usual_sides(seen):
            yield from _swapped(seen, sides)


def _swapped(seen: Mapping[Frame, float], sides: _Sides) -> Iterator[Remark]:
    leaves: dict[object, dict[Side, Frame]] = defaultdict(dict)
    for frame in seen:
        place = foliation.parse(frame.label)
        if place and place.side and place.number:
            leaf = (place.zone, (place.number + 1) // 2) if place.is_page else place.leaf
            leaves[leaf][place.side] = frame
    for pair in leaves.values():
        if len(pair) == 2 and all(sides.is_other(side, seen[frame]) for side, frame in pair.items()):
            recto, verso = pair[Side.RECTO], pair[Side.VERSO]
            value = f"{recto.label} lies where versos do, {verso.label} where rectos do"
            limit = f"rectos about {100 * sides.usual[Side.RECTO]:.0f} % from the left, versos "
            limit += f"{100 * sides.usual[Side.VERSO]:.0f} %"
            yield Remark(place=places.of_frame(recto), value=value, limit=limit)


def _usual_sides(seen: Mapping[Frame, float]) -> _Sides | None:
    """Where either side lies; None if there are too few, or they lie in the same place."""
    usual: dict[Side, float] = {}
    spread = LEAST_SPREAD
    for side in Side:
        middles = [middle for frame, middle in seen.items() if foliation.side(frame.label) is side]
        if len(middles) < FEWEST_OF_SIDE:
            return None
        usual[side] = float(np.median(middles))
        spread = max(spread, SD_PER_MAD * float(np.median(np.abs(np.array(middles) - usual[side]))))
    is_clear = abs(usual[Side.RECTO] - usual[Side.VERSO]) > CLEARLY_APART * spread
    return _Sides(usual=usual) if is_clear else None


def _middle(frame: Frame, record: FrameRecord) -> float | None:
    """Where the middle of the sheet lies, as a share of the frame's width, if its outline was seen."""
    if frame.kind is not FrameKind.PAGE or record.measures is None:
        return None
    outlines = [mark for mark in record.measures.marks if mark.kind == "page outline"]
    return float(np.mean([x for x, _ in outlines[0].points])) if outlines else None
