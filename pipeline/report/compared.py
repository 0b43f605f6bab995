"""Measured values beside the limits of a specification: what a table of both says."""

from __future__ import annotations

import enum
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from pipeline.measurements import FrameMeasures, Measurement, Quantity
from pipeline.specification import Comparator, Limit, Specification

ValuesFor = Callable[[Limit, FrameMeasures], Sequence[tuple[float, str]]]
"""Which of a frame's values a limit is held against, each with its place: the same that the rules judge."""


class Standing(enum.StrEnum):
    """How a value stands to a limit."""

    WITHIN = "within"
    CLOSE = "close"
    """Within, but closer to the limit than the measurement can tell."""
    BEYOND = "beyond"
    UNKNOWN = "unknown"


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
    values: int = 0
    """How many there are."""
    beyond: int = 0
    """How many of them the limit does not allow."""
    reason: str = ""
    """Why there is no value."""


def compared(
    specification: Specification,
    measures: FrameMeasures,
    values_for: ValuesFor,
    *,
    long_edge_mm: float | None,
) -> Iterator[Comparison]:
    """Yield a comparison for each limit that something of the frame is measured for.

    `long_edge_mm` is what the frame covers at the object; None if nobody knows.
    """
    for number, limit in enumerate(specification.limits):
        found = [each for each in measures.measurements if each.quantity is limit.measure]
        if not found or not isinstance(limit.measure, Quantity) or not limit.is_for_frame(long_edge_mm):
            continue
        if values := values_for(limit, measures):
            yield _comparison(number, limit, values, found)
        else:
            yield Comparison(limit=number, standing=Standing.UNKNOWN, reason=_reason(found))


def _comparison(
    number: int, limit: Limit, values: Sequence[tuple[float, str]], found: Sequence[Measurement]
) -> Comparison:
    value, place = min(values, key=lambda each: _room(limit, each[0]))
    uncertainty = next(
        (each.uncertainty for each in found if (each.value, each.place) == (value, place)), 0.0
    )
    return Comparison(
        limit=number,
        standing=_standing(limit, value, uncertainty),
        value=value,
        uncertainty=uncertainty,
        place=place,
        values=len(values),
        beyond=sum(not limit.allows(each) for each, _ in values),
    )


def _standing(limit: Limit, value: float, uncertainty: float) -> Standing:
    if not limit.allows(value):
        return Standing.BEYOND
    return Standing.CLOSE if _room(limit, value) < CLOSE_SD * uncertainty else Standing.WITHIN


def _room(limit: Limit, value: float) -> float:
    """How far a value is from the limit, in its unit; below zero it is beyond."""
    bounds = [float(each) for each in limit.values]
    match limit.comparator:
        case Comparator.BELOW | Comparator.AT_MOST:
            has_sign = limit.allows(-math.inf)
            return bounds[0] - (value if has_sign else abs(value))
        case Comparator.ABOVE | Comparator.AT_LEAST:
            return value - bounds[0]
        case Comparator.BETWEEN:
            return min(value - bounds[0], bounds[1] - value)
        case _:
            return -min(abs(value - each) for each in bounds)


def _reason(found: Sequence[Measurement]) -> str:
    if reasons := [each.reason for each in found if each.reason]:
        return reasons[0]
    known = sorted({each.statistic or each.formula or "a single value" for each in found})
    return f"what is known of it ({', '.join(known)}) is not what the limit is for"
