"""What is measured on a frame that shows the object: sheet, lines, focus, light; as numbers for a report.

Colour, tone, light and resolution of such a frame are those of its session's targets.
"""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.measure.exposure import Clipping, PageTone, clipping, page_tone
from pipeline.measure.geometry import (
    Keystone,
    SheetSkew,
    TextLines,
    sheet_keystone,
    sheet_skew,
    text_lines,
)
from pipeline.measure.likeness import picture_hash, signature
from pipeline.measure.of_target import missing, number
from pipeline.measure.outline import Outline, Point, find_outline
from pipeline.measure.pixels import Box, NotMeasured, Pixels
from pipeline.measure.profile import Profile
from pipeline.measure.sharpness import BlurField, Sharpness, sharpness
from pipeline.measurements import FrameMeasures, Grid, Mark, Measurement, Quantity
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
_COMPARED = (FrameKind.PAGE, FrameKind.OPENING)
"""Kinds of frames of which each shows something else: covers of one design are meant to be alike."""


def measure_page(pixels: Pixels, profile: Profile | NotMeasured, kind: FrameKind) -> FrameMeasures:
    """Return what a frame of the object says, or for each quantity why it says nothing."""
    outline = find_outline(pixels)
    light = clipping(pixels, outline)
    clipped = FrameMeasures(
        measurements=tuple(_clipped(light)),
        marks=tuple(_clipped_marks(light, pixels)),
        remarks=tuple(_light_remarks(light)),
    )
    if kind in _NO_SHEET:
        return clipped
    lines = tuple(_lines(text_lines(pixels, outline)))
    focus = sharpness(pixels, outline, tone=None if isinstance(profile, NotMeasured) else profile)
    tone = tuple(_tone(page_tone(pixels, outline, profile)))
    measurements = (*lines, *_focus(focus), *clipped.measurements, *tone)
    marks = (*_soft_mark(focus, pixels), *clipped.marks)
    grids, doubts = tuple(_blur_map(focus)), (*_doubts(focus), *clipped.remarks)
    bits = picture_hash(pixels)
    whole = "" if isinstance(bits, NotMeasured) else bits
    if kind in _NO_STRAIGHT_EDGES:
        return FrameMeasures(
            measurements=measurements, marks=marks, grids=grids, remarks=doubts, picture_hash=whole
        )
    edges = tuple(_edges(sheet_skew(outline), sheet_keystone(outline)))
    return FrameMeasures(
        picture_hash=whole,
        signature=_signature(pixels, outline) if kind in _COMPARED else "",
        measurements=(*edges, *measurements),
        grids=grids,
        marks=(
            *(() if isinstance(outline, NotMeasured) else _outline_mark(outline, pixels)),
            *marks,
        ),
        remarks=(
            *(() if isinstance(outline, NotMeasured) else _leaning(sheet_keystone(outline))),
            *doubts,
        ),
    )


def _signature(pixels: Pixels, outline: Outline | NotMeasured) -> str:
    found = signature(pixels, outline)
    return "" if isinstance(found, NotMeasured) else found.written()


# ------------------------------------------------------------------------------------ focus and light

TO_RIGHT, TO_BOTTOM = "from left to right", "from top to bottom"
TILT_METHOD = "plane through the blur of the sharpest edges of up to 48 tiles, what is radial taken off"
BLUR_MAP = "blur of the sharpest edges, σ"
RISE_METHOD = "rise of the page's own edges from 10 to 90 % of their contrast"
CLIPPING_METHOD = "codes at the ends of the scale, on the sheet where it is seen"
TONE_METHOD = "commonest tone of the sheet"


def _focus(focus: Sharpness | NotMeasured) -> Iterator[Measurement]:
    if isinstance(focus, NotMeasured):
        yield missing(Quantity.BLUR, focus)
        yield missing(Quantity.TILT, focus)
        return
    yield number(Quantity.BLUR, focus.rise_px, "", RISE_METHOD, focus.rise_sd_px)
    if isinstance(focus.field, NotMeasured):
        yield missing(Quantity.TILT, focus.field)
    else:
        field = focus.field
        yield number(Quantity.TILT, field.across_px, TO_RIGHT, TILT_METHOD, field.across_sd_px)
        yield number(Quantity.TILT, field.down_px, TO_BOTTOM, TILT_METHOD, field.down_sd_px)


def _blur_map(focus: Sharpness | NotMeasured) -> Iterator[Grid]:
    if not isinstance(focus, NotMeasured):
        rows = tuple(tuple(None if each is None else round(each, 3) for each in row) for row in focus.grid)
        yield Grid(name=BLUR_MAP, unit="px", rows=rows)


def _doubts(focus: Sharpness | NotMeasured) -> Iterator[str]:
    """What makes figures of focus doubtful, or says what they mean."""
    if isinstance(focus, NotMeasured):
        return
    if focus.is_blocky:
        yield "the picture seems to have been compressed with loss: what is said of its focus is doubtful"
    if not isinstance(focus.field, NotMeasured) and focus.field.is_tilted:
        yield f"one side is softer than the other: {_softer(focus.field)}"


def _softer(field: BlurField) -> str:
    """The side to which blur grows most, and by how much."""
    if abs(field.across_px) > abs(field.down_px):
        change, side = field.across_px, "right" if field.across_px > 0 else "left"
    else:
        change, side = field.down_px, "bottom" if field.down_px > 0 else "top"
    return f"blur grows by {abs(change):.2f} px towards the {side}"


def _soft_mark(focus: Sharpness | NotMeasured, pixels: Pixels) -> Iterator[Mark]:
    if not isinstance(focus, NotMeasured) and not isinstance(focus.softest, NotMeasured):
        yield _box_mark("soft region", focus.softest.place, pixels)


def _clipped(light: Clipping) -> Iterator[Measurement]:
    dark = light.dark_any if isinstance(light.sheet_dark, NotMeasured) else light.sheet_dark
    yield number(Quantity.CLIPPED_DARK, 100 * dark, "", CLIPPING_METHOD)
    yield number(
        Quantity.CLIPPED_LIGHT, 100 * light.light_lost, "", f"{CLIPPING_METHOD}, specular light left out"
    )


def _light_remarks(light: Clipping) -> Iterator[str]:
    if min(light.ceilings) < 1:
        ends = ", ".join(f"{100 * each:.1f} %" for each in light.ceilings)
        yield f"codes pile up below full scale (at {ends}): light was clipped before a curve was applied"
    if 100 * light.light_specular >= LEAST_SPECULAR_PERCENT:
        yield (
            f"{100 * light.light_specular:.2g} % of the frame is clipped light among darker or warm tones: "
            "gold, seals and glass do so by nature"
        )


LEAST_SPECULAR_PERCENT = 0.01
_PLACES_SHOWN = 8


def _clipped_marks(light: Clipping, pixels: Pixels) -> Iterator[Mark]:
    for each in light.places[:_PLACES_SHOWN]:
        if not each.is_specular:
            yield _box_mark("clipped", each.place, pixels)


def _tone(tone: PageTone | NotMeasured) -> Iterator[Measurement]:
    if isinstance(tone, NotMeasured):
        yield missing(Quantity.PAGE_TONE, tone)
        yield missing(Quantity.HIGHEST_LIGHTNESS, tone)
    else:
        yield number(Quantity.PAGE_TONE, tone.lightness, "", TONE_METHOD)
        yield number(Quantity.HIGHEST_LIGHTNESS, tone.highest_lightness, "", "99.9th percentile of the sheet")


def _box_mark(kind: str, box: Box, pixels: Pixels) -> Mark:
    left, right = box.left / pixels.width_px, box.right / pixels.width_px
    top, bottom = box.top / pixels.height_px, box.bottom / pixels.height_px
    return Mark(kind=kind, points=((left, top), (right, top), (right, bottom), (left, bottom)))


# ---------------------------------------------------------------------------------- the sheet's geometry


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
