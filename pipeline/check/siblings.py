"""What only a frame's siblings can tell: frames of one session, one kind, one side, in one light.

A frame is held against their median; deviations are counted in robust standard deviations, 1.4826 times the
median absolute deviation. Of few siblings nothing is said.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

import numpy as np

from pipeline import foliation
from pipeline.measurements import FrameMeasures, Measurement, Quantity
from pipeline.model import Frame, FrameRecord

FEWEST = 5
"""Siblings, the frame itself counted: common practice, no source."""
LEAST_SPREAD = 0.03
"""Of the logarithm of blur: an excellent session is not punished for tiny differences."""
AS_SEEN = "as seen"


def with_siblings(frames: Iterable[Frame], records: Mapping[str, FrameRecord]) -> dict[str, FrameRecord]:
    """Return the records of all frames, with what their siblings tell among their measures."""
    groups: dict[tuple[object, ...], dict[str, FrameMeasures]] = defaultdict(dict)
    for frame in frames:
        record = records.get(frame.identifier)
        if record is not None and record.measures is not None and frame.kind.is_reading_matter:
            key = (frame.session, frame.kind, frame.light, foliation.side(frame.label))
            groups[key][frame.identifier] = record.measures
    told = dict(records)
    for group in groups.values():
        for name, more in _of_group(group):
            measures = group[name]
            together = replace(measures, measurements=(*measures.measurements, *more))
            told[name] = replace(records[name], measures=together)
    return told


def _of_group(group: Mapping[str, FrameMeasures]) -> Iterator[tuple[str, list[Measurement]]]:
    found: dict[str, list[Measurement]] = {name: [] for name in group}
    for place in sorted(_places(group.values())):
        raw = {name: _value(each, Quantity.KEYSTONE, AS_SEEN, place) for name, each in group.items()}
        for name, value in _off_median(raw).items():
            found[name].append(_number(Quantity.KEYSTONE, value, f"{place}, against its siblings"))
    tones = {name: _value(each, Quantity.PAGE_TONE) for name, each in group.items()}
    for name, value in _off_median(tones).items():
        found[name].append(_number(Quantity.PAGE_TONE_DEVIATION, value, ""))
    blurs = {name: _value(each, Quantity.BLUR) for name, each in group.items()}
    for name, value in _in_deviations(blurs).items():
        found[name].append(_number(Quantity.FOCUS, value, ""))
    yield from found.items()


def _places(measures: Iterable[FrameMeasures]) -> set[str]:
    return {
        each.place
        for frame in measures
        for each in frame.measurements
        if each.quantity is Quantity.KEYSTONE and each.statistic == AS_SEEN
    }


def _value(measures: FrameMeasures, quantity: Quantity, statistic: str = "", place: str = "") -> float | None:
    for each in measures.measurements:
        if each.quantity is quantity and (each.statistic, each.place) == (statistic, place):
            return each.value
    return None


def _number(quantity: Quantity, value: float, place: str) -> Measurement:
    method = "against the median of frames of the same session, kind, side and light"
    return Measurement(quantity=quantity, value=value, place=place, method=method)


def _off_median(values: Mapping[str, float | None]) -> dict[str, float]:
    known = {name: value for name, value in values.items() if value is not None}
    if len(known) < FEWEST:
        return {}
    middle = float(np.median(list(known.values())))
    return {name: value - middle for name, value in known.items()}


def _in_deviations(blurs: Mapping[str, float | None]) -> dict[str, float]:
    """How much softer than its siblings a frame is, in robust standard deviations; negative if sharper."""
    logs = {name: math.log(value) for name, value in blurs.items() if value is not None and value > 0}
    if len(logs) < FEWEST:
        return {}
    middle = float(np.median(list(logs.values())))
    spread = 1.4826 * float(np.median([abs(value - middle) for value in logs.values()]))
    return {name: (value - middle) / max(spread, LEAST_SPREAD) for name, value in logs.items()}
