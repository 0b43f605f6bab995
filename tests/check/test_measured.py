"""Rules over what was measured: each limit is kept or broken, and what is not measured is said."""

from __future__ import annotations

import dataclasses

import pytest

from pipeline import specification
from pipeline.check.measured import MEASURED, MeasuredFacts, values_for
from pipeline.check.siblings import with_siblings
from pipeline.findings import Level, Report
from pipeline.measurements import FrameMeasures, Measurement, PatchValues, Quantity
from pipeline.model import FrameKind
from pipeline.specification import Comparator, Limit, Source, Specification, Statistic
from tests.check.world import World

SOURCE = Source(tag="t", title="Terms of a test", read="read in full")
JUDGED = {code: rule for code, rule in MEASURED.rules.items() if code != "Q001"}
QUANTITIES = (
    Quantity.COLOUR, Quantity.WHITE_BALANCE, Quantity.TONE, Quantity.GAIN_HIGHLIGHTS, Quantity.GAIN,
    Quantity.NOISE, Quantity.EVENNESS, Quantity.LIGHTNESS_RANGE, Quantity.CAST, Quantity.DUST,
    Quantity.EFFICIENCY, Quantity.RESPONSE_HALF, Quantity.SFR50, Quantity.SHARPENING,
    Quantity.MISREGISTRATION, Quantity.SCALE, Quantity.TRUE_PPI, Quantity.SFR10, Quantity.SKEW,
    Quantity.TEXT_SKEW, Quantity.KEYSTONE, Quantity.CURVATURE, Quantity.DISTORTION, Quantity.FOCUS,
    Quantity.TILT, Quantity.BLUR, Quantity.CLIPPED_LIGHT, Quantity.CLIPPED_DARK,
    Quantity.HIGHEST_LIGHTNESS, Quantity.PAGE_TONE_DEVIATION, Quantity.PAGE_TONE,
)  # fmt: skip
"""In the order of the codes Q010 to Q064."""


def limit(quantity: Quantity, most: float, statistic: Statistic = Statistic.EACH) -> Limit:
    return Limit(
        measure=quantity,
        comparator=Comparator.AT_MOST,
        values=(most,),
        unit=quantity.unit,
        statistic=statistic,
        formula="",
        source=SOURCE,
        where="table 1",
        level=Level.ERROR,
    )


def patches(difference: float) -> tuple[PatchValues, ...]:
    """Greys that are off by that much in L*, in a* and in noise."""
    return tuple(
        PatchValues(
            name=f"neutral {number}",
            lab=(50.0 + number + difference, difference, 0.0),
            reference=(50.0 + number, 0.0, 0.0),
            difference=difference,
            noise=difference,
            is_neutral=True,
        )
        for number in range(6)
    )


def measures(quantity: Quantity, value: float) -> FrameMeasures:
    return FrameMeasures(
        measurements=(Measurement(quantity=quantity, value=value, place="middle"),), patches=patches(value)
    )


def judge(made: FrameMeasures, *limits: Limit, kind: FrameKind = FrameKind.TARGET) -> Report:
    world = World()
    assert world.item
    frame = next(each for each in world.item.frames if each.identifier in world.records)
    terms = dataclasses.replace(specification.load(), limits=limits)
    assert isinstance(terms, Specification)
    facts = MeasuredFacts(
        frame=dataclasses.replace(frame, kind=kind),
        record=dataclasses.replace(world.records[frame.identifier], measures=made),
        measures=made,
        specification=terms,
    )
    return MEASURED.judge(facts, place=facts.place)


def test_every_quantity_with_a_rule_is_tried_here() -> None:
    assert len(QUANTITIES) == len(JUDGED)


@pytest.mark.parametrize(("code", "quantity"), list(zip(JUDGED, QUANTITIES, strict=True)), ids=JUDGED)
def test_a_value_beyond_its_limit_is_found_and_one_within_is_not(code: str, quantity: Quantity) -> None:
    (finding,) = judge(measures(quantity, 3.0), limit(quantity, 2.0)).findings
    assert (finding.code, finding.level) == (code, Level.ERROR)
    assert finding.source == "Terms of a test, table 1"
    assert finding.value.startswith("5.06" if quantity is Quantity.COLOUR else "3")
    assert not judge(measures(quantity, 0.5), limit(quantity, 2.0)).findings


def test_what_has_a_limit_and_was_not_measured_is_said_with_its_reason() -> None:
    made = FrameMeasures(
        measurements=(Measurement(quantity=Quantity.SKEW, value=None, reason="no edge is seen"),)
    )
    (finding,) = judge(made, limit(Quantity.SKEW, 1.0)).findings
    assert (finding.code, finding.level) == ("Q001", Level.WARNING)
    assert "no edge is seen" in finding.value
    (note,) = judge(made, limit(Quantity.SKEW, 1.0), kind=FrameKind.PAGE).findings
    assert note.level is Level.NOTE
    assert not judge(made).findings


def test_statistics_of_patches_are_those_of_their_differences() -> None:
    made = FrameMeasures(
        patches=tuple(
            dataclasses.replace(each, lab=(each.reference[0] + step, 0.0, 0.0))
            for step, each in enumerate(patches(0.0))
        )
    )

    def value(statistic: Statistic) -> float:
        ((found, _),) = values_for(limit(Quantity.TONE, 1.0, statistic), made)
        return found

    assert value(Statistic.MEAN) == pytest.approx(2.5)
    assert value(Statistic.PERCENTILE_90) == pytest.approx(4.5)
    assert value(Statistic.MAXIMUM) == pytest.approx(5.0)
    assert len(values_for(limit(Quantity.TONE, 1.0), made)) == 6


def test_a_frame_is_held_against_the_median_of_its_siblings_and_few_tell_nothing() -> None:
    world = World()
    assert world.item
    pages = [
        each for each in world.item.frames if each.kind is FrameKind.PAGE and each.identifier in world.records
    ]
    template = world.records[pages[0].identifier]
    frames = [
        dataclasses.replace(pages[0], identifier=f"p{number}", label=f"f. {number + 1}r")
        for number in range(7)
    ]

    def records(count: int) -> dict[str, FrameMeasures]:
        given = {
            frame.identifier: dataclasses.replace(
                template,
                frame=frame.identifier,
                measures=measures(Quantity.PAGE_TONE, 80.0 + 5 * (number == 3)),
            )
            for number, frame in enumerate(frames[:count])
        }
        for name, record in given.items():
            assert record.measures
            plain = dataclasses.replace(record.measures.measurements[0], place="")
            given[name] = dataclasses.replace(
                record, measures=dataclasses.replace(record.measures, measurements=(plain,))
            )
        told = with_siblings(frames[:count], given)
        return {name: each.measures for name, each in told.items() if each.measures}

    found = records(7)
    assert found["p3"].value(Quantity.PAGE_TONE_DEVIATION) == pytest.approx(5.0)
    assert found["p0"].value(Quantity.PAGE_TONE_DEVIATION) == pytest.approx(0.0)
    assert records(4)["p3"].value(Quantity.PAGE_TONE_DEVIATION) is None
    frames = [dataclasses.replace(each, kind=FrameKind.FACE) for each in frames]
    face = records(7)["p3"]
    assert face.value(Quantity.PAGE_TONE_DEVIATION) is None
    assert "each show something else" in face.measurements[-1].reason
