"""What only a frame's siblings can tell: frames of one session, one kind, one side, in one light.

How a number stands among those of siblings: `pipeline.measure.siblings`. Of few siblings nothing is said,
and that is said.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from pipeline import foliation
from pipeline.foliation import Side
from pipeline.measure.exposure import tone_standings
from pipeline.measure.of_page import AS_SEEN
from pipeline.measure.of_target import missing, number
from pipeline.measure.pixels import NotMeasured
from pipeline.measure.sharpness import focus_standings
from pipeline.measure.siblings import Standing, standings
from pipeline.measurements import FrameMeasures, Measurement, Quantity
from pipeline.model import Frame, FrameKind, FrameRecord, Light
from pipeline.numerals import fixed, with_unit

LEAST_KEYSTONE_DEG = 0.1
"""Spread of the angles of sheets cut by hand: common practice, no source."""
ALIKE = (FrameKind.PAGE, FrameKind.OPENING)
"""Kinds of frames that are of like content: faces, covers, edges and details each show something else."""


_Group = tuple[FrameKind, str, Light, Side | None]
"""Kind, session, light and side: what siblings have in common."""


def with_siblings(frames: Iterable[Frame], records: Mapping[str, FrameRecord]) -> dict[str, FrameRecord]:
    """Return the records of all frames, with what their siblings tell among their measures."""
    groups: dict[_Group, dict[str, FrameMeasures]] = defaultdict(dict)
    for frame in frames:
        record = records.get(frame.identifier)
        if record is not None and record.measures is not None and frame.kind.is_reading_matter:
            key = (frame.kind, frame.session, frame.light, foliation.side(frame.label))
            groups[key][frame.identifier] = record.measures
    told = dict(records)
    for (kind, *_), group in groups.items():
        for name, more in _of_group(kind, group):
            measures = group[name]
            together = replace(measures, measurements=(*measures.measurements, *more))
            told[name] = replace(records[name], measures=together)
    return told


COMPARED = (Quantity.KEYSTONE, Quantity.PAGE_TONE_DEVIATION, Quantity.FOCUS)


def _of_group(kind: FrameKind, group: Mapping[str, FrameMeasures]) -> Iterator[tuple[str, list[Measurement]]]:
    """Yield for each frame of a group what the others tell of it."""
    found: dict[str, list[Measurement]] = {name: [] for name in group}
    if kind not in ALIKE:
        unlike = NotMeasured(reason=f"frames of the kind {kind} each show something else")
        yield from ((name, [missing(each, unlike) for each in COMPARED]) for name in group)
        return
    for place in sorted(_places(group.values())):
        edges = {name: _value(each, Quantity.KEYSTONE, AS_SEEN, place) for name, each in group.items()}
        seen = {name: angle for name, angle in edges.items() if not isinstance(angle, NotMeasured)}
        among = standings(list(seen.values()), floor=LEAST_KEYSTONE_DEG, is_ratio=False)
        _tell(
            {name: found[name] for name in seen}, Quantity.KEYSTONE, among, f"{place}, against its siblings"
        )
    tones = [_value(each, Quantity.PAGE_TONE) for each in group.values()]
    _tell(found, Quantity.PAGE_TONE_DEVIATION, tone_standings(tones))
    blurs = [_value(each, Quantity.BLUR) for each in group.values()]
    sds = [_uncertainty(each, Quantity.BLUR) for each in group.values()]
    _tell(found, Quantity.FOCUS, focus_standings(blurs, sds))
    yield from found.items()


def _tell(
    found: Mapping[str, list[Measurement]],
    quantity: Quantity,
    among: Sequence[Standing | NotMeasured],
    place: str = "",
) -> None:
    for more, standing in zip(found.values(), among, strict=True):
        if isinstance(standing, NotMeasured):
            more.append(missing(quantity, standing, place))
        else:
            is_spread = quantity is Quantity.FOCUS
            value = standing.deviation_sd if is_spread else standing.value - standing.median
            more.append(number(quantity, value, place or _beside(quantity, standing), METHOD))


def _beside(quantity: Quantity, standing: Standing) -> str:
    """What was compared: ``an edge blur of 4.82 px, its siblings' 2.29 px``."""
    name, unit = _COMPARED_BY[quantity]
    own, usual = (with_unit(fixed(each, 2), unit) for each in (standing.value, standing.median))
    return f"{name} of {own}, its siblings' {usual}"


_COMPARED_BY = {
    Quantity.FOCUS: ("an edge blur", Quantity.BLUR.unit),
    Quantity.PAGE_TONE_DEVIATION: ("a tone", Quantity.PAGE_TONE.unit),
}


METHOD = "against the median of frames of the same session, kind, side and light"


def _places(measures: Iterable[FrameMeasures]) -> set[str]:
    return {
        each.place
        for frame in measures
        for each in frame.measurements
        if each.quantity is Quantity.KEYSTONE and each.statistic == AS_SEEN
    }


def _value(
    measures: FrameMeasures, quantity: Quantity, statistic: str = "", place: str = ""
) -> float | NotMeasured:
    for each in measures.measurements:
        if each.quantity is quantity and (each.statistic, each.place) == (statistic, place):
            return NotMeasured(reason=each.reason) if each.value is None else each.value
    return NotMeasured(reason=f"the {quantity.label} of the frame is not known")


def _uncertainty(measures: FrameMeasures, quantity: Quantity) -> float:
    return next((each.uncertainty for each in measures.measurements if each.quantity is quantity), 0.0)
