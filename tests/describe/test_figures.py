"""Key figures of the imaging, as the event of the judgement has them."""

from __future__ import annotations

import dataclasses

from pipeline import premisdoc, xmldoc
from pipeline.describe.figures import key_figures
from pipeline.measurements import METHOD_VERSION, Formula, FrameMeasures, Measurement, Quantity
from pipeline.model import FrameKind
from pipeline.specs.premis import NAMESPACE
from tests.check.world import good_frames, record
from tests.describe import make_items
from tests.describe.test_mets import log_of

FRAMES = tuple(frame for frame in good_frames() if frame.file)


def number(quantity: Quantity, value: float | None, **changes: str) -> Measurement:
    return Measurement(quantity=quantity, value=value, **changes)  # type: ignore[arg-type]


MEASURES = {
    FrameKind.TARGET: FrameMeasures(
        measurements=(
            number(Quantity.COLOUR, 0.3117, statistic="mean", formula=Formula.CIEDE2000),
            number(Quantity.COLOUR, 0.29, statistic="mean", formula=Formula.CIE76),
            number(Quantity.SFR50, 53.46, place="centre"),
            number(Quantity.SFR50, 51.02, place="upper left"),
            number(Quantity.SFR50, 40.0, place="centre, red", statistic="one channel"),
            number(Quantity.MISREGISTRATION, None),
        )
    ),
    FrameKind.PAGE: FrameMeasures(measurements=(number(Quantity.SKEW, -0.4),)),
}


def figures() -> tuple[str, ...]:
    records = {each.identifier: record(each, measures=MEASURES.get(each.kind)) for each in FRAMES}
    first = next(each for each in FRAMES if each.kind is FrameKind.PAGE)
    turned = FrameMeasures(measurements=(number(Quantity.SKEW, 2.4),))
    records[first.identifier] = record(first, measures=turned)
    return key_figures(FRAMES, records)


def test_targets_have_a_sentence_each_and_the_frames_of_the_object_one() -> None:
    opening, closing, pages = figures()
    assert opening == (
        f"target b14_0001.tif, method version {METHOD_VERSION}: mean colour difference 0.312 ΔE (CIEDE2000); "
        "SFR50 51.0 to 53.5 % of half sampling"
    )
    assert closing.startswith("target b14_0011.tif")
    assert pages.endswith(
        f"frames of the object, method version {METHOD_VERSION}: skew of the page −0.400 to 2.40°"
    )


def test_where_nothing_was_measured_nothing_is_said() -> None:
    assert key_figures(FRAMES, {each.identifier: record(each) for each in FRAMES}) == ()
    assert key_figures(FRAMES, {}) == ()


def test_the_event_of_the_judgement_carries_them_as_details_of_its_outcome() -> None:
    world = make_items.tablet()
    name = world.item.frames_of()[0].identifier
    measures = FrameMeasures(measurements=(number(Quantity.CLIPPED_LIGHT, 0.02),))
    measured = dataclasses.replace(world.records[name], measures=measures)
    log = log_of(dataclasses.replace(world, records={**world.records, name: measured}))
    (event,) = [each for each in log.events if each.kind == "validation"]
    notes = list(premisdoc.event_record(event).iter(f"{{{NAMESPACE}}}eventOutcomeDetailNote"))
    assert [each.text for each in notes] == [event.outcome_note, *event.outcome_details]
    assert len(notes) == 2
    assert "clipped light pixels 0.0200 %" in str(notes[1].text)
    one, two = (xmldoc.to_bytes(premisdoc.event_record(event)) for _ in range(2))
    assert one == two
