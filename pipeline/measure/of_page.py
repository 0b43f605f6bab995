"""What is measured on a frame that shows the object: how the sheet lies, its lines; as numbers for a report.

Colour, tone, light and resolution of such a frame are those of its session's targets.
"""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.measure.geometry import (
    Keystone,
    SheetSkew,
    TextLines,
    sheet_keystone,
    sheet_skew,
    text_lines,
)
from pipeline.measure.of_target import missing, number
from pipeline.measure.outline import Outline, Point, find_outline
from pipeline.measure.pixels import NotMeasured, Pixels
from pipeline.measurements import FrameMeasures, Mark, Measurement, Quantity
from pipeline.model import FrameKind

OUTLINE_METHOD = "edges of the sheet against its ground"
LINES_METHOD = "lines of text or drawing"
SIDES, LEVELS = "left and right edge", "top and bottom edge"
AS_SEEN = "as seen"
"""Statistic of numbers that no limit is for."""
_NO_SHEET = (FrameKind.SPINE, FrameKind.EDGE, FrameKind.DETAIL)
"""Kinds of frames that show no sheet whose edges and lines could be judged."""
_NO_STRAIGHT_EDGES = (FrameKind.FACE,)
"""Kinds of frames that show lines, but an outline that is nobody's to lay straight: a tablet's, a seal's."""


def measure_page(pixels: Pixels, kind: FrameKind) -> FrameMeasures:
    """Return what a frame of the object says, or for each quantity why it says nothing."""
    return FrameMeasures() if kind in _NO_SHEET else _sheet(pixels, kind)


def _sheet(pixels: Pixels, kind: FrameKind) -> FrameMeasures:
    outline = find_outline(pixels)
    lines = tuple(_lines(text_lines(pixels, outline)))
    if kind in _NO_STRAIGHT_EDGES:
        return FrameMeasures(measurements=lines)
    edges = tuple(_edges(sheet_skew(outline), sheet_keystone(outline)))
    return FrameMeasures(
        measurements=(*edges, *lines),
        marks=() if isinstance(outline, NotMeasured) else tuple(_outline_mark(outline, pixels)),
        remarks=() if isinstance(outline, NotMeasured) else tuple(_leaning(sheet_keystone(outline))),
    )


def _edges(skew: SheetSkew | NotMeasured, keystone: Keystone | NotMeasured) -> Iterator[Measurement]:
    if isinstance(skew, NotMeasured):
        yield missing(Quantity.SKEW, skew)
    else:
        yield number(Quantity.SKEW, skew.angle_deg, "", OUTLINE_METHOD, skew.angle_sd_deg)
    if isinstance(keystone, NotMeasured):
        yield missing(Quantity.KEYSTONE, keystone)
    else:
        yield _as_seen(keystone.sides_deg, SIDES)
        yield _as_seen(keystone.levels_deg, LEVELS)


def _lines(lines: TextLines | NotMeasured) -> Iterator[Measurement]:
    if isinstance(lines, NotMeasured):
        yield missing(Quantity.TEXT_SKEW, lines)
        yield missing(Quantity.CURVATURE, lines)
    else:
        yield number(Quantity.TEXT_SKEW, lines.angle_deg, "", LINES_METHOD, lines.angle_sd_deg)
        yield number(Quantity.CURVATURE, 100 * lines.bow_share, "", LINES_METHOD)


def _as_seen(value: float, place: str) -> Measurement:
    """A sheet is no rectangle by itself: only against its siblings is this judged."""
    return Measurement(
        quantity=Quantity.KEYSTONE, value=value, statistic=AS_SEEN, place=place, method=OUTLINE_METHOD
    )


def _outline_mark(outline: Outline, pixels: Pixels) -> Iterator[Mark]:
    corners = [corner for corner in outline.corners if isinstance(corner, Point)]
    if len(corners) == 4:
        points = tuple((each.x_px / pixels.width_px, each.y_px / pixels.height_px) for each in corners)
        yield Mark(kind="page outline", points=points)


LEANING_DEG = 1.0
"""From there on a sheet is no rectangle by itself: common practice, no source."""


def _leaning(keystone: Keystone | NotMeasured) -> Iterator[str]:
    if not isinstance(keystone, NotMeasured) and abs(keystone.lean_deg) > LEANING_DEG:
        yield f"the sheet itself is {abs(keystone.lean_deg):.1f}° off a rectangle"
