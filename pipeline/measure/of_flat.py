"""What is measured on a flat frame: evenness of light, colour drift, dust; as numbers for a report."""

from __future__ import annotations

from pipeline.measure.evenness import ColourDrift, Dust, Evenness, Rows, Spot, measure_evenness
from pipeline.measure.pixels import NotMeasured, Pixels
from pipeline.measure.profile import Profile
from pipeline.measurements import (
    RANGE_OF_LUMINANCE,
    SPREAD_OF_LIGHTNESS,
    FrameMeasures,
    Grid,
    Mark,
    Measurement,
    Quantity,
)

BLOCKS_METHOD = "means of blocks, a twentieth of the short side, dust left out"
QUANTITIES = (Quantity.EVENNESS, Quantity.LIGHTNESS_RANGE, Quantity.CAST, Quantity.DUST)


NOT_FOR_COLOUR = NotMeasured(reason="in ultraviolet and infrared light colours of a frame say nothing")


def measure_flat(
    pixels: Pixels, profile: Profile | NotMeasured, *, is_visible_light: bool = True
) -> FrameMeasures:
    """Return what a flat frame says, or for each quantity why it says nothing."""
    found = profile if isinstance(profile, NotMeasured) else measure_evenness(pixels, profile)
    if isinstance(found, NotMeasured):
        return FrameMeasures(measurements=tuple(_missing(each, found) for each in QUANTITIES))
    colour, dust = found.colour if is_visible_light else NOT_FOR_COLOUR, found.dust
    return FrameMeasures(
        measurements=(
            _number(Quantity.EVENNESS, 100 * found.luminance_range_over_mean, RANGE_OF_LUMINANCE),
            _number(Quantity.EVENNESS, 100 * found.lightness_spread_over_mean, SPREAD_OF_LIGHTNESS),
            _number(Quantity.LIGHTNESS_RANGE, found.lightness_range, ""),
            _missing(Quantity.CAST, colour)
            if isinstance(colour, NotMeasured)
            else _number(Quantity.CAST, colour.farthest_apart, ""),
            _missing(Quantity.DUST, dust)
            if isinstance(dust, NotMeasured)
            else _number(Quantity.DUST, float(dust.count), ""),
        ),
        grids=tuple(_grids(found, colour)),
        marks=tuple(_marks(dust, pixels)),
        remarks=found.cautions,
    )


def _number(quantity: Quantity, value: float, formula: str) -> Measurement:
    return Measurement(quantity=quantity, value=value, formula=formula, method=BLOCKS_METHOD)


def _missing(quantity: Quantity, why: NotMeasured) -> Measurement:
    return Measurement(quantity=quantity, value=None, reason=why.reason)


def _grids(found: Evenness, colour: ColourDrift | NotMeasured) -> list[Grid]:
    mean = found.mean_lightness
    lightness = tuple(tuple(round(value - mean, 3) for value in row) for row in found.lightness)
    grids = [Grid(name="lightness minus its mean", unit="ΔL*", rows=lightness)]
    if not isinstance(colour, NotMeasured):
        grids.append(Grid(name="a* minus its mean", unit="Δa*", rows=_rounded(colour.a)))
        grids.append(Grid(name="b* minus its mean", unit="Δb*", rows=_rounded(colour.b)))
    return grids


def _rounded(rows: Rows) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(round(value, 3) for value in row) for row in rows)


_SHOWN = 20


def _marks(dust: Dust | NotMeasured, pixels: Pixels) -> list[Mark]:
    spots: tuple[Spot, ...] = () if isinstance(dust, NotMeasured) else dust.spots[:_SHOWN]
    return [
        Mark(kind="dust", points=((each.x_px / pixels.width_px, each.y_px / pixels.height_px),))
        for each in spots
    ]
