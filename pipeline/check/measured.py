"""Rules over what was measured on a frame: every number against every limit of the specification in use.

A quantity that has a limit and could not be measured is a finding of its own, never a silent pass.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.check import places, sources
from pipeline.findings import Level, Register, Remark
from pipeline.measure.colour import difference
from pipeline.measurements import Formula, FrameMeasures, PatchValues, Quantity
from pipeline.model import Frame, FrameKind, FrameRecord, LightKind
from pipeline.numerals import told
from pipeline.specification import Limit, Specification, Statistic


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredFacts:
    """One frame with its measures, and the specification whose limits it has to keep."""

    frame: Frame
    record: FrameRecord
    measures: FrameMeasures
    specification: Specification

    @property
    def place(self) -> str:
        """Where the frame stands."""
        return places.of_frame(self.frame)

    def limits(self, quantity: Quantity) -> tuple[Limit, ...]:
        """The limits of a quantity that are for this frame."""
        limits = self.specification.limits_of(quantity)
        return tuple(each for each in limits if each.is_for_frame(self.record.facts.long_edge_mm))


MEASURED = Register[MeasuredFacts]("what was measured on a frame")


@MEASURED.rule(
    "Q001",
    Level.WARNING,
    "What the specification limits could not be measured",
    source=sources.COMMON_PRACTICE,
    advice="The reason says what is missing. On a target or flat frame, photograph it again with the next "
    "session; on a page, look at it yourself: it is neither passed nor failed.",
)
def limited_quantities_were_measured(facts: MeasuredFacts) -> Iterator[Remark]:
    """Every quantity with a limit was measured, or it is said why not. On pages it is a note."""
    reasons: dict[str, list[str]] = {}
    for each in facts.measures.measurements:
        if each.value is None and each.reason and facts.limits(each.quantity):
            labels = reasons.setdefault(each.reason, [])
            if each.quantity.label not in labels:
                labels.append(each.quantity.label)
    said = [f"{', '.join(labels)}: not measured, {reason}" for reason, labels in reasons.items()]
    is_of_target = facts.frame.kind in (FrameKind.TARGET, FrameKind.FLAT)
    is_visible = facts.frame.light.kind not in (LightKind.ULTRAVIOLET, LightKind.INFRARED)
    if is_of_target and is_visible:
        yield from (Remark(place=facts.place, value=each, limit="measured") for each in said)
    elif said:
        yield Remark(place=facts.place, value="; ".join(said), limit="measured", level=Level.NOTE)


# ---------------------------------------------------------------------------------- values and limits


def _against_limits(quantity: Quantity) -> Callable[[MeasuredFacts], Iterator[Remark]]:
    def run(facts: MeasuredFacts) -> Iterator[Remark]:
        for limit in facts.limits(quantity):
            yield from _judge(facts, limit)

    return run


def _judge(facts: MeasuredFacts, limit: Limit) -> Iterator[Remark]:
    values = values_for(limit, facts.measures)
    broken = [(value, place) for value, place in values if not limit.allows(value)]
    if broken:
        value, place = max(broken, key=lambda each: _excess(limit, each[0]))
        yield Remark(
            place=facts.place,
            value=_said(limit, value, place, len(broken), len(values)),
            limit=", ".join(filter(None, [f"{_statistic(limit)} {limit.text}".strip(), limit.conditions])),
            level=limit.level,
            source=limit.citation,
        )


def _said(limit: Limit, value: float, place: str, broken: int, count: int) -> str:
    at = f" at {place}" if place else ""
    others = f", {broken} of {count} values" if broken > 1 else ""
    formula = f" ({limit.formula})" if limit.formula else ""
    return f"{_statistic(limit)} {told(value, limit.values, limit.unit)}{at}{others}{formula}".strip()


def _statistic(limit: Limit) -> str:
    return "" if limit.statistic == Statistic.EACH else str(limit.statistic)


def _excess(limit: Limit, value: float) -> float:
    """How far a value is from what is allowed."""
    return min(abs(value - float(each)) for each in limit.values)


def values_for(limit: Limit, measures: FrameMeasures) -> list[tuple[float, str]]:
    """Return the values that a limit is held against, each with its place; none if nothing was measured."""
    assert isinstance(limit.measure, Quantity)
    if limit.measure in _OF_PATCHES and measures.patches:
        return _of_patches(limit, measures)
    wanted = "" if limit.statistic == Statistic.EACH else limit.statistic
    return [
        (each.value, each.place)
        for each in measures.measurements
        if each.quantity is limit.measure
        and each.value is not None
        and each.statistic in ("", wanted)
        and (not limit.formula or each.formula == limit.formula)
    ]


_OF_PATCHES = frozenset({Quantity.COLOUR, Quantity.WHITE_BALANCE, Quantity.TONE, Quantity.NOISE})
_NEUTRALS_ALONE = frozenset({Quantity.WHITE_BALANCE, Quantity.TONE})
_PLAIN_FORMULAS = {
    Quantity.COLOUR: Formula.CIEDE2000,
    Quantity.WHITE_BALANCE: Formula.CIE76_CHROMA,
    Quantity.TONE: Formula.LIGHTNESS,
}


def _of_patches(limit: Limit, measures: FrameMeasures) -> list[tuple[float, str]]:
    patches = [
        each
        for each in measures.patches
        if limit.is_for_patch(lightness=each.reference[0], is_neutral=each.is_neutral)
        and (each.is_neutral or limit.measure not in _NEUTRALS_ALONE)
    ]
    if limit.measure is Quantity.NOISE:
        found = [
            (each.noise, each.name) for each in patches if each.noise is not None and not each.is_clipped
        ]
    else:
        found = _differences(limit, patches)
    return _reduced(limit, found)


def _differences(limit: Limit, patches: Sequence[PatchValues]) -> list[tuple[float, str]]:
    if not patches:
        return []
    assert isinstance(limit.measure, Quantity)
    formula = Formula(limit.formula) if limit.formula else _PLAIN_FORMULAS[limit.measure]
    values = difference(formula, [each.lab for each in patches], [each.reference for each in patches])
    return [(float(value), each.name) for value, each in zip(values, patches, strict=True)]


def _reduced(limit: Limit, found: list[tuple[float, str]]) -> list[tuple[float, str]]:
    """The statistic that the limit is for; a single value of it, or all."""
    if not found:
        return []
    values = [value for value, _ in found]
    match limit.statistic:
        case Statistic.MEAN:
            return [(float(np.mean(values)), "")]
        case Statistic.PERCENTILE_90:
            return [(float(np.percentile(values, 90)), "")]
        case Statistic.MAXIMUM:
            return [max(found)]
        case Statistic.MINIMUM:
            return [min(found)]
    return found


# ---------------------------------------------------------------------------------- a rule for each

_AGAIN = (
    "If it must be photographed again: how often an object is handled and lit is for the conservator and "
    "local policy to say."
)
_RULES: tuple[tuple[str, Quantity, str, str], ...] = (
    (
        "Q010",
        Quantity.COLOUR,
        "Colours of the target are not true",
        "Look at the profile and the white balance of the export, then at the lights. Frames of the session "
        "have the same fault: export them again with the right profile.",
    ),
    (
        "Q011",
        Quantity.WHITE_BALANCE,
        "Greys of the target are not neutral",
        "Set the white balance on a grey of the target, and export the session's frames again.",
    ),
    (
        "Q012",
        Quantity.TONE,
        "Tones of the target are too light or too dark",
        "Correct exposure or tone curve of the export by the greys of the target, for the whole session.",
    ),
    (
        "Q013",
        Quantity.GAIN_HIGHLIGHTS,
        "Steps between light greys are stretched or pressed together",
        "Use a linear export; a curve for contrast has no place in a master.",
    ),
    (
        "Q014",
        Quantity.GAIN,
        "Steps between greys are stretched or pressed together",
        "Use a linear export; a curve for contrast has no place in a master.",
    ),
    (
        "Q015",
        Quantity.NOISE,
        "Noise is out of bounds",
        "Too much: use a lower sensitivity or more light within what the object allows. Too little: switch "
        "noise reduction off.",
    ),
    (
        "Q020",
        Quantity.EVENNESS,
        "The light is uneven",
        "Move the lights further away or turn them, until the flat frame is even; then photograph the next "
        f"session. {_AGAIN}",
    ),
    (
        "Q021",
        Quantity.LIGHTNESS_RANGE,
        "The light is uneven",
        f"Move the lights further away or turn them, until the flat frame is even. {_AGAIN}",
    ),
    (
        "Q022",
        Quantity.CAST,
        "Colour changes over the frame",
        "Correct the lens cast with a frame of an even sheet, and look whether all lights have one colour.",
    ),
    (
        "Q023",
        Quantity.DUST,
        "There is dust on sensor or lens",
        "Clean them before the next session; dust on the card shows in one frame alone.",
    ),
    (
        "Q030",
        Quantity.EFFICIENCY,
        "Fine detail is lost",
        "Focus, stop down or up, steady the stand, and photograph the target again before going on.",
    ),
    (
        "Q031",
        Quantity.RESPONSE_HALF,
        "Detail finer than the sampling can hold is let through",
        "Patterns of the sensor may show on fine screens and hatching: look at them at full size.",
    ),
    (
        "Q032",
        Quantity.SFR50,
        "Contrast of detail is out of bounds",
        "Too low: focus again. Too high: switch sharpening off in the export.",
    ),
    (
        "Q033",
        Quantity.SHARPENING,
        "The image was sharpened",
        "Switch sharpening off in the export, and export the session's frames again.",
    ),
    (
        "Q034",
        Quantity.MISREGISTRATION,
        "Colour channels do not lie on each other",
        "In the corners alone it is the lens: correct its lateral colour or use another. Everywhere: look at "
        "the sensor or at how exposures were put together.",
    ),
    (
        "Q035",
        Quantity.SCALE,
        "The true resolution is not what the file says",
        "Measure with a ruler in the plane of the page, and export with that number in the file.",
    ),
    (
        "Q036",
        Quantity.TRUE_PPI,
        "The true resolution is out of bounds",
        f"Move the camera or use another lens before the next session. {_AGAIN}",
    ),
    (
        "Q037",
        Quantity.SFR10,
        "The finest detail that is resolved is out of bounds",
        "Focus, stop down or up, steady the stand, and photograph the target again before going on.",
    ),
    (
        "Q040",
        Quantity.SKEW,
        "The page is skewed",
        f"Lay the next pages straight; masters are not turned afterwards. {_AGAIN}",
    ),
    (
        "Q041",
        Quantity.TEXT_SKEW,
        "Lines of text are skewed",
        f"If the scribe wrote straight, lay the page straight. {_AGAIN}",
    ),
    (
        "Q042",
        Quantity.KEYSTONE,
        "Opposite edges run together",
        f"Make camera and page parallel; a sheet may be no rectangle by itself. {_AGAIN}",
    ),
    (
        "Q043",
        Quantity.CURVATURE,
        "Lines of text are bent",
        "A page that is not flat by nature is shown as it is; support it only as the conservator allows.",
    ),
    (
        "Q044",
        Quantity.DISTORTION,
        "Straight lines are bent",
        "Use a lens for reproduction, or correct its distortion in the export of the whole session.",
    ),
    (
        "Q050",
        Quantity.FOCUS,
        "The frame is softer than its siblings",
        f"Look at it at full size where it is marked. {_AGAIN}",
    ),
    (
        "Q051",
        Quantity.TILT,
        "One side of the frame is softer than the other",
        f"Make camera and page parallel, or stop down. {_AGAIN}",
    ),
    (
        "Q052",
        Quantity.BLUR,
        "Edges are blurred",
        f"Look at the frame at full size; focus again for the next. {_AGAIN}",
    ),
    (
        "Q060",
        Quantity.CLIPPED_LIGHT,
        "Light tones are clipped",
        "Export with less exposure from the raw capture. Gold and glass clip by nature: look where it is.",
    ),
    (
        "Q061",
        Quantity.CLIPPED_DARK,
        "Dark tones are clipped",
        "Export with a linear curve from the raw capture.",
    ),
    (
        "Q062",
        Quantity.HIGHEST_LIGHTNESS,
        "The lightest tones are too light",
        "Export with less exposure from the raw capture.",
    ),
    (
        "Q063",
        Quantity.PAGE_TONE_DEVIATION,
        "The page is lighter or darker than its siblings",
        "Look whether the page is so by nature; if not, look at the lights and at this frame's exposure.",
    ),
    (
        "Q064",
        Quantity.PAGE_TONE,
        "The page is too light or too dark",
        "Look whether the page is so by nature; if not, look at the lights and at this frame's exposure.",
    ),
)
for _code, _quantity, _title, _advice in _RULES:
    _run = _against_limits(_quantity)
    _run.__doc__ = f"The {_quantity.label} keeps every limit of the specification in use."
    MEASURED.rule(_code, Level.ERROR, _title, source=sources.SPECIFICATION, advice=_advice)(_run)
