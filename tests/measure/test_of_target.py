"""What a target frame is said to show: channels apart, rulers where patches do not tell, invisible light."""

from __future__ import annotations

import functools
from pathlib import Path

import pytest

import demo_data
from demo_data import plan, truth
from pipeline.measure.of_flat import measure_flat
from pipeline.measure.of_target import (
    NO_REFERENCE,
    OF_CHANNEL,
    RULER_METHOD,
    TargetContext,
    measure_target_frame,
)
from pipeline.measure.pixels import ArrayPixels
from pipeline.measure.profile import read_profile
from pipeline.measure.references import editions
from pipeline.measurements import FrameMeasures, Measurement, Quantity

TASKS = demo_data.tasks(Path("library"), only=("adl-pap-3",))
VISIBLE, INFRARED = (
    next(each for each in TASKS if (each.session, each.kind) == (session, "target"))
    for session in ("s1", "s2")
)
OF_COLOUR = (Quantity.COLOUR, Quantity.WHITE_BALANCE, Quantity.TONE, Quantity.GAIN)


@functools.cache
def measured(file: str, *, pitch_mm: float | None = 8.0, is_visible_light: bool = True) -> FrameMeasures:
    task = next(each for each in TASKS if each.file == file)
    pixels = ArrayPixels(plan.picture_of(task, scale=0.5).codes())
    context = TargetContext(
        references=editions(),
        pitch_mm=(pitch_mm, pitch_mm) if pitch_mm else None,
        stated_ppi=300,
        is_visible_light=is_visible_light,
    )
    return measure_target_frame(pixels, read_profile(plan.profile_of(task)), context)


def of(found: FrameMeasures, quantity: Quantity) -> list[Measurement]:
    return [each for each in found.measurements if each.quantity is quantity]


def test_every_channel_of_every_edge_is_as_sharp_as_it_was_drawn() -> None:
    """Edges are alike in red, green and blue: SFR50 within 4 %, on edges of 90 px with noise."""
    found = of(measured(VISIBLE.file), Quantity.SFR50)
    channels = [each for each in found if each.statistic == OF_CHANNEL]
    assert len(channels) == 3 * (len(found) - len(channels)) >= 30
    assert {each.place.rpartition(", ")[2] for each in channels} == {"red", "green", "blue"}
    for each in channels:
        assert each.value == pytest.approx(200 * truth.SMALL.frequency(0.5), rel=0.04), each.place


def test_a_grey_frame_has_no_channels_apart() -> None:
    found = measured(INFRARED.file, is_visible_light=False)
    assert of(found, Quantity.SFR50)
    assert not [each for each in found.measurements if each.statistic == OF_CHANNEL]


def test_the_ratio_of_both_directions_is_the_target_s_distortion() -> None:
    (found,) = of(measured(VISIBLE.file), Quantity.DISTORTION)
    assert found.value == pytest.approx(0, abs=0.05)


@pytest.mark.parametrize("file", [VISIBLE.file, INFRARED.file])
def test_a_ruler_tells_the_scale_where_the_pitch_of_patches_is_not_known(file: str) -> None:
    found = measured(file, pitch_mm=None, is_visible_light=file == VISIBLE.file)
    (ppi,), (scale,) = of(found, Quantity.TRUE_PPI), of(found, Quantity.SCALE)
    assert ppi.value == pytest.approx(300, abs=0.05)
    assert scale.value == pytest.approx(0, abs=0.02)
    assert ppi.method == scale.method == RULER_METHOD


def test_in_infrared_tones_and_noise_of_greys_are_read_and_held_against_nothing() -> None:
    found = measured(INFRARED.file, is_visible_light=False)
    for quantity in OF_COLOUR:
        assert [each.reason for each in of(found, quantity)] == [NO_REFERENCE.reason]
    assert len(of(found, Quantity.NOISE)) == len(truth.GREY_STEPS)
    assert all(0.2 < (each.value or 0) < 0.6 for each in of(found, Quantity.NOISE))
    (tones,) = [each for each in found.curves if "grey scale" in each.name]
    assert [y for _, y in tones.points] == pytest.approx(truth.GREY_STEPS, abs=0.1)
    assert found.patches == ()


def test_a_colour_target_in_infrared_is_not_held_against_its_colours() -> None:
    """Its greys are still a row from light to dark."""
    found = measured(VISIBLE.file, is_visible_light=False)
    assert not found.patches
    assert [each.reason for each in of(found, Quantity.COLOUR)] == [NO_REFERENCE.reason]
    assert len(of(found, Quantity.NOISE)) == 6


def test_colours_of_a_flat_frame_say_nothing_in_infrared() -> None:
    task = next(each for each in TASKS if (each.session, each.kind) == ("s1", "flat"))
    pixels, profile = (
        ArrayPixels(plan.picture_of(task, scale=0.3).codes()),
        read_profile(plan.profile_of(task)),
    )
    seen, unseen = (measure_flat(pixels, profile, is_visible_light=each) for each in (True, False))
    assert seen.value(Quantity.CAST) is not None
    (cast,) = of(unseen, Quantity.CAST)
    assert "infrared" in cast.reason
    assert unseen.value(Quantity.EVENNESS) == seen.value(Quantity.EVENNESS)
    assert [grid.unit for grid in unseen.grids] == ["ΔL*"]
