"""What is measured on a target frame: colour, tone, noise, resolution, scale; as numbers for a report."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from pipeline.measure.colour import Statistics
from pipeline.measure.colour_target import FoundTarget, find_target
from pipeline.measure.edge import FREQUENCIES_CY_PX, HALF_SAMPLING_CY_PX, EdgeMeasure
from pipeline.measure.edges_found import PlacedEdge, Resolution, measure_edges
from pipeline.measure.geometry import keystone_of_points
from pipeline.measure.grey_scale import GreyScale, measure_grey_scale
from pipeline.measure.outline import Point
from pipeline.measure.patches import TargetMeasures, measure_target
from pipeline.measure.pixels import NotMeasured, Pixels
from pipeline.measure.profile import Profile
from pipeline.measure.references import NEUTRALS, Reference
from pipeline.measure.scale import Scale, scale_of_target, scales_of_rulers
from pipeline.measurements import (
    FORMULAS,
    GREY_SCALE,
    SPREAD_IN_PATCH,
    Curve,
    Formula,
    FrameMeasures,
    Mark,
    Measurement,
    PatchValues,
    Quantity,
)

EDGE_METHOD = "slanted edge, ISO 12233:2023"


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetContext:
    """What is known of a target that the frame itself does not say."""

    references: tuple[Reference, ...]
    """Values that the patches are held against: the target's own measurement, or editions of averages."""
    pitch_mm: tuple[float, float] | None = None
    """From patch to patch, across and down, as the owner measured it."""
    stated_ppi: float | None = None
    """What the file says."""
    is_visible_light: bool = True
    """False for ultraviolet and infrared: references are for visible light."""


def measure_target_frame(
    pixels: Pixels, profile: Profile | NotMeasured, context: TargetContext
) -> FrameMeasures:
    """Return what a target frame says, or for each quantity why it says nothing."""
    target: FoundTarget | NotMeasured = NO_REFERENCE
    if context.is_visible_light:
        target = find_target(pixels, None if isinstance(profile, NotMeasured) else profile)
        found = target if isinstance(target, NotMeasured) else _measured(pixels, profile, target, context)
        colour = _no_colour(found) if isinstance(found, NotMeasured) else _colour(found)
    else:
        colour = greys(pixels, profile)
    edges = resolution(pixels, profile)
    scale = (*_scale(pixels, target, context), *_keystone(target))
    marks = () if isinstance(target, NotMeasured) else (_target_mark(target, pixels),)
    return FrameMeasures(
        measurements=(*colour.measurements, *edges.measurements, *scale),
        patches=colour.patches,
        reference=colour.reference,
        curves=(*colour.curves, *edges.curves),
        marks=(*colour.marks, *marks, *edges.marks),
        remarks=(*colour.remarks, *edges.remarks),
    )


# --------------------------------------------------------------------------------------------- colour

OF_PATCHES = (Quantity.COLOUR, Quantity.WHITE_BALANCE, Quantity.TONE, Quantity.GAIN, Quantity.NOISE)
PATCH_METHOD = "24-patch target, L*a*b* D50 through the frame's own profile"


def _measured(
    pixels: Pixels, profile: Profile | NotMeasured, target: FoundTarget, context: TargetContext
) -> TargetMeasures | NotMeasured:
    """Measure against the target's own values, or against the edition that it is of."""
    found = measure_target(pixels, profile, target, context.references[0])
    if isinstance(found, NotMeasured) or found.likely_edition is None:
        return found
    return measure_target(pixels, profile, target, found.likely_edition)


def _no_colour(why: NotMeasured) -> FrameMeasures:
    return FrameMeasures(measurements=tuple(missing(each, why) for each in OF_PATCHES))


def _colour(found: TargetMeasures) -> FrameMeasures:
    return FrameMeasures(
        measurements=(*_statistics(found), *_gains(found)),
        patches=tuple(_patches(found)),
        reference=f"{found.reference.title} ({found.reference.source})",
        curves=(_tone_curve(found),),
        remarks=tuple(_remarks(found)),
    )


def _statistics(found: TargetMeasures) -> Iterator[Measurement]:
    for formula in FORMULAS[Quantity.COLOUR]:
        yield from _of_statistics(Quantity.COLOUR, found.accuracy(Formula(formula)), formula, found)
    for formula in FORMULAS[Quantity.WHITE_BALANCE]:
        yield from _of_statistics(
            Quantity.WHITE_BALANCE, found.white_balance(Formula(formula)), formula, found
        )
    for formula in FORMULAS[Quantity.TONE]:
        yield from _of_statistics(Quantity.TONE, found.tone(Formula(formula)), formula, found)
    yield from _of_statistics(Quantity.NOISE, found.noise(), SPREAD_IN_PATCH, found)


def _of_statistics(
    quantity: Quantity, values: Statistics | NotMeasured, formula: str, found: TargetMeasures
) -> Iterator[Measurement]:
    if isinstance(values, NotMeasured):
        yield Measurement(quantity=quantity, value=None, formula=formula, reason=values.reason)
        return
    worst = found.reference.names[values.worst]
    for statistic, value, place in (
        ("mean", values.mean, ""),
        ("90th percentile", values.percentile_90, ""),
        ("maximum", values.maximum, worst),
    ):
        yield Measurement(
            quantity=quantity,
            value=value,
            statistic=statistic,
            formula=formula,
            place=place,
            method=PATCH_METHOD,
        )


def _gains(found: TargetMeasures) -> Iterator[Measurement]:
    for each in found.gain_modulation:
        quantity = Quantity.GAIN_HIGHLIGHTS if each.is_highlight else Quantity.GAIN
        lighter, darker = (found.reference.names[number] for number in (each.lighter, each.lighter + 1))
        yield number(quantity, each.gain, f"{lighter} to {darker}", PATCH_METHOD)


def _patches(found: TargetMeasures) -> Iterator[PatchValues]:
    for patch, difference in zip(found.patches, found.differences(), strict=True):
        yield PatchValues(
            name=patch.name,
            lab=patch.lab,
            reference=found.reference.labs[patch.number],
            difference=difference,
            noise=None if isinstance(patch.noise, NotMeasured) else patch.noise,
            is_clipped=patch.is_clipped,
            is_neutral=patch.number in NEUTRALS,
        )


def _tone_curve(found: TargetMeasures) -> Curve:
    points = sorted((found.reference.labs[number][0], step) for number, step in found.tone_response)
    return Curve(
        name="tone response",
        x_label="L* of the reference",
        y_label="measured minus reference, ΔL*",
        points=tuple((round(x, 3), round(y, 3)) for x, y in points),
    )


def _remarks(found: TargetMeasures) -> Iterator[str]:
    if not found.reference.is_measured:
        yield (
            "judged against averages, not against a measurement of this target: that alone can cost a ΔE of 1"
        )
    yield from found.reference.remarks
    if found.target.is_mirrored:
        yield "the target is seen as in a mirror: the master is flipped"
    if found.outside_gamut:
        names = ", ".join(found.reference.names[number] for number in found.outside_gamut)
        yield f"the frame's colour space cannot hold {names}: these differ by need"
    if clipped := [patch.name for patch in found.patches if patch.is_clipped]:
        yield f"clipped: {', '.join(clipped)}"
    for number_, why in found.missing:
        yield f"{found.reference.names[number_]} was not measured: {why.reason}"
    if not isinstance(found.light, NotMeasured) and found.light.fall_percent > MUCH_FALL_PERCENT:
        yield f"the light falls off by {found.light.fall_percent:.0f} % over the target"


MUCH_FALL_PERCENT = 5.0


def _target_mark(target: FoundTarget, pixels: Pixels) -> Mark:
    points = tuple((x / pixels.width_px, y / pixels.height_px) for x, y in target.corners_px)
    return Mark(kind="target", points=points)


# --------------------------------------------------------------------------------- in invisible light

NO_REFERENCE = NotMeasured(
    reason="in ultraviolet and infrared light the reference values of targets do not hold: they are for "
    "visible light"
)
GREYS_METHOD = "steps of a grey scale, L* through the frame's own profile"


def greys(pixels: Pixels, profile: Profile | NotMeasured) -> FrameMeasures:
    """Return tones and noise of a grey scale; they are held against no reference."""
    unknown = [missing(each, NO_REFERENCE) for each in OF_PATCHES if each is not Quantity.NOISE]
    found = measure_grey_scale(pixels, profile)
    if isinstance(found, NotMeasured):
        return FrameMeasures(measurements=(*unknown, missing(Quantity.NOISE, found)))
    steps = list(enumerate(found.steps, start=1))
    noise = [
        replace(number(Quantity.NOISE, each.noise, f"step {at}", GREYS_METHOD), formula=SPREAD_IN_PATCH)
        for at, each in steps
    ]
    tones = Curve(
        name=GREY_SCALE,
        x_label="step, from light to dark",
        y_label="measured L*",
        points=tuple((float(at), round(each.lightness, 3)) for at, each in steps),
    )
    seen = f"{len(steps)} greys, L* {found.steps[0].lightness:.1f} to {found.steps[-1].lightness:.1f}"
    return FrameMeasures(
        measurements=(*unknown, *noise),
        curves=(tones,),
        marks=(_row_mark(found, pixels),),
        remarks=(f"{seen}: in this light they are held against no reference",),
    )


def _row_mark(found: GreyScale, pixels: Pixels) -> Mark:
    boxes = [each.place for each in found.steps]
    points = tuple(
        ((box.left + box.width / 2) / pixels.width_px, (box.top + box.height / 2) / pixels.height_px)
        for box in boxes
    )
    return Mark(kind="target", points=points, is_closed=False)


# ----------------------------------------------------------------------------------------- resolution

RESOLUTION = (
    Quantity.EFFICIENCY,
    Quantity.RESPONSE_HALF,
    Quantity.SFR50,
    Quantity.SFR10,
    Quantity.SHARPENING,
    Quantity.MISREGISTRATION,
)


def resolution(pixels: Pixels, profile: Profile | NotMeasured) -> FrameMeasures:
    """Return what the slanted edges of a target frame say, or for each quantity why they say nothing."""
    found = profile if isinstance(profile, NotMeasured) else measure_edges(pixels, profile)
    if isinstance(found, NotMeasured):
        return FrameMeasures(measurements=tuple(missing(each, found) for each in RESOLUTION))
    return FrameMeasures(
        measurements=tuple(_of_edges(found)),
        curves=tuple(_response_curve(each) for each in found.edges),
        marks=tuple(_edge_mark(each, pixels) for each in found.edges),
        remarks=tuple(
            f"edge {_place(each)}: {caution}" for each in found.edges for caution in each.measure.cautions
        ),
    )


def _of_edges(found: Resolution) -> Iterator[Measurement]:
    for each in found.edges:
        response, place = each.measure.luminance, _place(each)
        yield number(Quantity.EFFICIENCY, 100 * response.sampling_efficiency, place, EDGE_METHOD)
        yield number(Quantity.RESPONSE_HALF, response.half_sampling_response, place, EDGE_METHOD)
        yield _frequency(Quantity.SFR50, response.sfr50_cy_px, response.sfr50_scatter_cy_px, place)
        yield _frequency(Quantity.SFR10, response.sfr10_cy_px, response.sfr10_scatter_cy_px, place)
        yield number(Quantity.SHARPENING, response.maximum, place, EDGE_METHOD, response.maximum_scatter)
        shift = each.measure.misregistration
        if isinstance(shift, NotMeasured):
            yield missing(Quantity.MISREGISTRATION, shift, place)
        else:
            yield number(Quantity.MISREGISTRATION, shift.worst_px, place, EDGE_METHOD, shift.scatter_px)
        yield from _of_channels(each.measure, place)


OF_CHANNEL = "one channel"
"""Statistic of numbers that no limit is for: limits are for luminance."""


def _of_channels(edge: EdgeMeasure, place: str) -> Iterator[Measurement]:
    """SFR50, SFR10 and the maximum of each channel of a colour frame."""
    for name, response in (("red", edge.red), ("green", edge.green), ("blue", edge.blue)):
        if isinstance(response, NotMeasured):
            continue  # a grey frame, or no contrast in it: misregistration has said so
        for made in (
            _frequency(Quantity.SFR50, response.sfr50_cy_px, response.sfr50_scatter_cy_px, ""),
            _frequency(Quantity.SFR10, response.sfr10_cy_px, response.sfr10_scatter_cy_px, ""),
            number(Quantity.SHARPENING, response.maximum, "", EDGE_METHOD, response.maximum_scatter),
        ):
            yield replace(made, statistic=OF_CHANNEL, place=f"{place}, {name}")


def _frequency(quantity: Quantity, value: float | NotMeasured, scatter: float, place: str) -> Measurement:
    if isinstance(value, NotMeasured):
        return missing(quantity, value, place)
    share = 100 / HALF_SAMPLING_CY_PX
    return number(quantity, share * value, place, EDGE_METHOD, share * scatter)


def _place(edge: PlacedEdge) -> str:
    return f"{edge.region.zone}, {edge.region.axis}"


def _response_curve(edge: PlacedEdge) -> Curve:
    values = edge.measure.luminance.values
    points = zip(FREQUENCIES_CY_PX, values, strict=True)
    return Curve(
        name=f"SFR, {_place(edge)}",
        x_label="cycles per pixel",
        y_label="response",
        points=tuple((round(float(x), 4), round(float(y), 4)) for x, y in points),
    )


def _edge_mark(edge: PlacedEdge, pixels: Pixels) -> Mark:
    box = edge.region.box
    left, right = box.left / pixels.width_px, box.right / pixels.width_px
    top, bottom = box.top / pixels.height_px, box.bottom / pixels.height_px
    return Mark(kind="edge", points=((left, top), (right, top), (right, bottom), (left, bottom)))


# ---------------------------------------------------------------------------------------------- scale

SCALE_METHOD = "centres of the target's patches, pitch as the owner measured it"
RATIO_METHOD = "ratio of horizontal to vertical pitch of the target's patches, Metamorfoze 1.0"
RULER_METHOD = "ticks of a ruler, a millimetre apart"


def _scale(
    pixels: Pixels, target: FoundTarget | NotMeasured, context: TargetContext
) -> Iterator[Measurement]:
    """By the patches; by the ticks of a ruler, if the patches do not tell."""
    found = _true_scale(pixels, target, context)
    if not isinstance(found, NotMeasured):
        yield number(Quantity.TRUE_PPI, found.ppi, "", SCALE_METHOD, found.scatter_ppi)
        yield number(Quantity.DISTORTION, 100 * found.anisotropy, "", RATIO_METHOD)
        if context.stated_ppi is None:
            yield missing(Quantity.SCALE, NO_TAG)
        else:
            yield number(Quantity.SCALE, 100 * found.error(context.stated_ppi), "", SCALE_METHOD)
    else:
        yield from _of_rulers(pixels, context.stated_ppi, found)


def _of_rulers(pixels: Pixels, stated_ppi: float | None, otherwise: NotMeasured) -> Iterator[Measurement]:
    yield missing(Quantity.DISTORTION, otherwise)
    rulers = NO_TAG if stated_ppi is None else scales_of_rulers(pixels, stated_ppi)
    if stated_ppi is None or isinstance(rulers, NotMeasured):
        yield from (missing(each, otherwise) for each in (Quantity.TRUE_PPI, Quantity.SCALE))
        return
    for ruler in rulers:
        place = f"{ruler.axis} ruler"
        yield number(Quantity.TRUE_PPI, ruler.ppi, place, RULER_METHOD, ruler.scatter_ppi)
        yield number(Quantity.SCALE, 100 * ruler.error(stated_ppi), place, RULER_METHOD)


NO_TAG = NotMeasured(reason="the file states no resolution to compare with")


def _keystone(target: FoundTarget | NotMeasured) -> Iterator[Measurement]:
    found = target if isinstance(target, NotMeasured) else keystone_of_points(_upright_corners(target))
    if isinstance(found, NotMeasured):
        yield missing(Quantity.KEYSTONE, found)
    else:
        yield number(Quantity.KEYSTONE, found.sides_deg, "sides of the target", GRID_METHOD)
        yield number(Quantity.KEYSTONE, found.levels_deg, "top and bottom of the target", GRID_METHOD)


GRID_METHOD = "corners of the target's grid of patches"


def _upright_corners(target: FoundTarget) -> tuple[Point, Point, Point, Point]:
    """The corners by where they lie in the frame: upper left, upper right, lower right, lower left."""
    corners = sorted(target.corners_px, key=lambda each: each[1])
    upper, lower = sorted(corners[:2]), sorted(corners[2:])
    one, two, three, four = (Point(x_px=x, y_px=y) for x, y in (upper[0], upper[1], lower[1], lower[0]))
    return one, two, three, four


def _true_scale(
    pixels: Pixels, target: FoundTarget | NotMeasured, context: TargetContext
) -> Scale | NotMeasured:
    if isinstance(target, NotMeasured):
        return target
    if context.pitch_mm is None:
        return NotMeasured(
            reason="the pitch of the target's patches is not known; give pitch_mm in the equipment register"
        )
    return scale_of_target(pixels, target.plane, context.pitch_mm)


# ---------------------------------------------------------------------------------------------- words


def number(
    quantity: Quantity, value: float, place: str = "", method: str = "", uncertainty: float = 0.0
) -> Measurement:
    """Return a number that was measured."""
    return Measurement(quantity=quantity, value=value, place=place, method=method, uncertainty=uncertainty)


def missing(quantity: Quantity, why: NotMeasured, place: str = "") -> Measurement:
    """Return that a quantity was not measured, and why."""
    return Measurement(quantity=quantity, value=None, place=place, reason=why.reason)
