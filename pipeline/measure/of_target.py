"""What is measured on a target frame: colour, tone, noise, resolution, scale; as numbers for a report."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.measure.edge import FREQUENCIES_CY_PX, HALF_SAMPLING_CY_PX
from pipeline.measure.edges_found import PlacedEdge, Resolution, measure_edges
from pipeline.measure.pixels import NotMeasured, Pixels
from pipeline.measure.profile import Profile
from pipeline.measure.references import Reference
from pipeline.measurements import Curve, FrameMeasures, Mark, Measurement, Quantity

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


# ---------------------------------------------------------------------------------------------- words


def number(
    quantity: Quantity, value: float, place: str = "", method: str = "", uncertainty: float = 0.0
) -> Measurement:
    """Return a number that was measured."""
    return Measurement(quantity=quantity, value=value, place=place, method=method, uncertainty=uncertainty)


def missing(quantity: Quantity, why: NotMeasured, place: str = "") -> Measurement:
    """Return that a quantity was not measured, and why."""
    return Measurement(quantity=quantity, value=None, place=place, reason=why.reason)
