"""Measured values beside the limits of a specification: what a table of both says.

A comparison is arithmetic: which of the values a limit is for, the worst of them, and whether the limit
allows it. What weighs how much, and what to do, is said by the rules of `pipeline.check`.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pipeline.measurements import (
    FORMULAS,
    Formula,
    FrameMeasures,
    Measurement,
    PatchValues,
    Quantity,
)
from pipeline.specification import Comparator, Limit, Patches, Specification, Statistic


class Standing(enum.StrEnum):
    """How a value stands to a limit."""

    WITHIN = "within"
    CLOSE = "within, but closer to the limit than the measurement can tell"
    BEYOND = "beyond"
    UNKNOWN = "not measured"


CLOSE_SD = 2.0
"""A limit that is nearer than so many standard deviations of the measurement is close."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """The worst of a frame's values that a limit is for, or why there is none."""

    limit: int
    """Its place among the limits of the specification, from 0."""
    standing: Standing
    value: float | None = None
    """In the limit's unit."""
    uncertainty: float = 0.0
    """Standard deviation in the same unit; 0 if it was not estimated."""
    place: str = ""
    reason: str = ""
    """Why there is no value."""


def compared(
    specification: Specification, measures: FrameMeasures, long_edge_mm: float | None
) -> Iterator[Comparison]:
    """Yield a comparison for each limit that something of the frame is measured for.

    `long_edge_mm` is what the frame covers at the object; None if nobody knows.
    """
    for number, limit in enumerate(specification.limits):
        found = [each for each in measures.measurements if each.quantity is limit.measure]
        if not found or not limit.is_for_frame(long_edge_mm):
            continue
        values = [each for each in _values(limit, found, measures.patches) if each.value is not None]
        if values:
            yield _comparison(number, limit, min(values, key=lambda each: _room(limit, each)))
        else:
            yield Comparison(limit=number, standing=Standing.UNKNOWN, reason=_reason(limit, found))


def _comparison(number: int, limit: Limit, worst: Measurement) -> Comparison:
    assert worst.value is not None
    return Comparison(
        limit=number,
        standing=_standing(limit, worst),
        value=worst.value,
        uncertainty=worst.uncertainty,
        place=worst.place,
    )


def _standing(limit: Limit, worst: Measurement) -> Standing:
    assert worst.value is not None
    if not limit.allows(worst.value):
        return Standing.BEYOND
    return Standing.CLOSE if _room(limit, worst) < CLOSE_SD * worst.uncertainty else Standing.WITHIN


def _room(limit: Limit, measured: Measurement) -> float:
    """How far a value is from the limit, in its unit; below zero it is beyond."""
    value, bounds = float(measured.value or 0.0), [float(each) for each in limit.values]
    match limit.comparator:
        case Comparator.BELOW | Comparator.AT_MOST:
            has_sign = limit.allows(-math.inf)
            return bounds[0] - (value if has_sign else abs(value))
        case Comparator.ABOVE | Comparator.AT_LEAST:
            return value - bounds[0]
        case Comparator.BETWEEN:
            return min(value - bounds[0], bounds[1] - value)
        case _:
            return min(-abs(value - each) for each in bounds)


# -------------------------------------------------------------------------- which values a limit is for


def _values(limit: Limit, found: Sequence[Measurement], patches: Sequence[PatchValues]) -> list[Measurement]:
    if _is_for_some_patches(limit):
        return list(_of_patches(limit, patches))
    same = [each for each in found if _is_of_formula(limit, each)]
    if limit.statistic != Statistic.EACH:
        return [each for each in same if each.statistic == limit.statistic]
    single = [each for each in same if not each.statistic]
    return single or [each for each in same if each.statistic in (Statistic.MAXIMUM, Statistic.MINIMUM)]


def _is_of_formula(limit: Limit, measured: Measurement) -> bool:
    assert isinstance(limit.measure, Quantity)
    return limit.formula not in FORMULAS.get(limit.measure, ()) or measured.formula == limit.formula


OF_NEUTRALS = frozenset({Quantity.WHITE_BALANCE, Quantity.TONE, Quantity.GAIN, Quantity.GAIN_HIGHLIGHTS})
"""Quantities whose statistics are of neutral patches alone."""


def _is_for_some_patches(limit: Limit) -> bool:
    """True if statistics over a frame's patches are of more patches than the limit is for."""
    return limit.lightness is not None or (
        limit.patches is Patches.NEUTRAL and limit.measure not in OF_NEUTRALS
    )


def _of_patches(limit: Limit, patches: Sequence[PatchValues]) -> Iterator[Measurement]:
    values = [
        (_of_patch(limit, patch), patch.name)
        for patch in patches
        if limit.is_for_patch(lightness=patch.reference[0], is_neutral=patch.is_neutral)
    ]
    known = [(value, name) for value, name in values if value is not None]
    assert isinstance(limit.measure, Quantity)
    if known and limit.statistic == Statistic.MEAN:
        mean = sum(value for value, _ in known) / len(known)
        yield Measurement(quantity=limit.measure, value=mean)
    elif limit.statistic in (Statistic.EACH, Statistic.MAXIMUM):
        for value, name in known:
            yield Measurement(quantity=limit.measure, value=value, place=name)


def _of_patch(limit: Limit, patch: PatchValues) -> float | None:
    """Return what a patch's own values say; None where that takes more than them."""
    light, *colour = (one - other for one, other in zip(patch.lab, patch.reference, strict=True))
    match limit.measure, limit.formula:
        case Quantity.COLOUR, Formula.CIEDE2000:
            return patch.difference
        case Quantity.TONE, Formula.LIGHTNESS if patch.is_neutral:
            return light
        case Quantity.NOISE, _ if not patch.is_clipped:
            return patch.noise
        case Quantity.WHITE_BALANCE, Formula.CIE76_CHROMA if patch.is_neutral:
            return math.hypot(*colour)
        case Quantity.WHITE_BALANCE, Formula.CHROMA if patch.is_neutral:
            return math.hypot(*patch.lab[1:]) - math.hypot(*patch.reference[1:])
        case _:
            return None


def _reason(limit: Limit, found: Sequence[Measurement]) -> str:
    reasons = [each.reason for each in found if each.reason]
    if reasons:
        return reasons[0]
    wanted = ", ".join(filter(None, [limit.conditions, limit.formula, limit.statistic]))
    return f"there is no value of the kind that the limit is for ({wanted})"
