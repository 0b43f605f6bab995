"""One frame's figure against those of its siblings: frames of the same session, kind and side.

Median and MAD do not follow a few frames that are off, so that the bad ones do not hide each other. The
limit of 3.5 robust standard deviations is common practice (Iglewicz and Hoaglin 1993, "How to detect and
handle outliers"); the floor keeps an even session from being punished for tiny differences, and a value's own
uncertainty from standing out for what a few siblings happen to agree on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.measure.pixels import NotMeasured

SD_PER_MAD = 1.4826
"""Of normally distributed values."""
WARN_BEYOND = 3.5
LEAST_SIBLINGS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Where a value stands among those of its session."""

    deviation_sd: float
    """From the session's median, in robust standard deviations of the session and of the value itself."""
    median: float
    """Of the session, in the unit of the values."""
    value: float

    @property
    def stands_out(self) -> bool:
        """Whether it lies beyond the usual limit, to either side."""
        return abs(self.deviation_sd) > WARN_BEYOND


def standings(
    values: Sequence[float | NotMeasured], *, floor: float, is_ratio: bool, sds: Sequence[float] = ()
) -> tuple[Standing | NotMeasured, ...]:
    """Return how each value stands among all that were measured, in their order.

    With `is_ratio`, ratios are compared (values above 0, as those of blur), and `floor` is a share: 0.03
    takes no spread to be under 3 %. Otherwise differences are, and `floor` has the unit of the values. `sds`
    are the values' own standard deviations, in their unit; without them they are taken as exact.
    """
    measured = [each for each in values if not isinstance(each, NotMeasured)]
    if len(measured) < LEAST_SIBLINGS:
        few = NotMeasured(
            reason=f"of the frames of this kind in the session {len(measured)} could be measured; "
            f"a comparison needs {LEAST_SIBLINGS}"
        )
        return tuple(each if isinstance(each, NotMeasured) else few for each in values)
    scaled = [math.log(each) if is_ratio else each for each in measured]
    middle = float(np.median(scaled))
    spread = max(SD_PER_MAD * float(np.median(np.abs(np.array(scaled) - middle))), floor)
    median = math.exp(middle) if is_ratio else middle
    found: list[Standing | NotMeasured] = []
    for each, sd in zip(values, sds or [0.0] * len(values), strict=True):
        if isinstance(each, NotMeasured):
            found.append(each)
            continue
        off = (math.log(each) if is_ratio else each) - middle
        own = sd / each if is_ratio else sd
        found.append(Standing(deviation_sd=off / math.hypot(spread, own), median=median, value=each))
    return tuple(found)
