"""A row of greys is found at any turn, and its tones and noise are what they were made of."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pytest

from demo_data import plan, truth
from pipeline import icc
from pipeline.measure.grey_scale import GreyScale, measure_grey_scale
from pipeline.measure.pixels import ArrayPixels, NotMeasured
from pipeline.measure.profile import luminance_of_lightness, profile_of_space, read_profile
from tests.measure.blurs import codes_of
from tests.measure.scenes import encoded

Numbers = npt.NDArray[np.float64]

TONES = (95.0, 80.0, 65.0, 50.0, 35.0, 20.0)
RGB = profile_of_space(icc.WIDE_RGB)


def code(lightness: float) -> float:
    return float(encoded(np.array([luminance_of_lightness(lightness)]), icc.WIDE_RGB)[0])


def scale(
    *tones: float, turn_deg: float = 0.0, noise: float = 0.0, bits: int = 16, pitch: float = 90.0
) -> ArrayPixels:
    """Squares of those tones in a row on a dark card, in the middle of a frame of 900 × 700."""
    y, x = np.mgrid[0:700, 0:900] + 0.5
    turn = math.radians(turn_deg)
    u = ((x - 450) * math.cos(turn) + (y - 350) * math.sin(turn)) / pitch + len(tones) / 2
    v = ((y - 350) * math.cos(turn) - (x - 450) * math.sin(turn)) / pitch
    at = np.clip(np.floor(u).astype(int), 0, len(tones) - 1)
    inside = (np.abs(v) < 0.44) & (np.abs(u - at - 0.5) < 0.44)
    plane = np.where(inside, np.array([code(tone) for tone in tones])[at], code(12.0))
    rng = np.random.default_rng(4)
    return ArrayPixels(codes_of(plane[..., None] + noise * rng.standard_normal((700, 900, 3)), bits))


def found_in(pixels: ArrayPixels) -> GreyScale:
    found = measure_grey_scale(pixels, RGB)
    assert isinstance(found, GreyScale)
    return found


@pytest.mark.parametrize("turn_deg", [0.0, 3.0, -37.0, 90.0, 180.0])
@pytest.mark.parametrize("bits", [8, 16])
def test_tones_of_the_steps_are_read_from_light_to_dark_at_any_turn(turn_deg: float, bits: int) -> None:
    found = found_in(scale(*TONES, turn_deg=turn_deg, bits=bits))
    assert [each.lightness for each in found.steps] == pytest.approx(TONES, abs=0.3 if bits == 8 else 0.01)
    assert found.pitch_px == pytest.approx(90, abs=0.5)


@pytest.mark.parametrize("noise", [0.003, 0.01])
def test_noise_of_the_steps_is_what_was_put_in(noise: float) -> None:
    """In L*, by the slope of the tone curve; three bands are weighed by their luminance."""
    steps = found_in(scale(*TONES, noise=noise)).steps
    weights = RGB.luminance(np.eye(3))
    for tone, step in zip(TONES, steps, strict=True):
        slope = (tone_of(code(tone) + 1e-4) - tone_of(code(tone) - 1e-4)) / 2e-4
        true = noise * slope * float(np.linalg.norm(weights))
        assert step.noise == pytest.approx(true, rel=0.1)
        assert step.lightness == pytest.approx(tone, abs=0.1)


def tone_of(share: float) -> float:
    return float(RGB.lab(RGB.linear([share, share, share]))[0])


@pytest.mark.parametrize(
    "tones",
    [(95.0, 80.0, 65.0, 50.0), (60.0, 59.0, 58.0, 57.0, 56.0, 55.0), (50.0, 50.0, 50.0, 50.0, 50.0)],
    ids=["too few", "hardly any change", "all alike"],
)
def test_what_is_no_grey_scale_is_not_taken_for_one(tones: tuple[float, ...]) -> None:
    assert isinstance(measure_grey_scale(scale(*tones), RGB), NotMeasured)


def test_steps_too_small_to_be_read_are_said_to_be() -> None:
    found = measure_grey_scale(scale(*TONES, pitch=11), RGB)
    assert isinstance(found, NotMeasured)


def test_a_profile_for_other_bands_and_none_at_all_are_reasons() -> None:
    grey = ArrayPixels(np.full((300, 300), 90, np.uint8))
    found = measure_grey_scale(grey, RGB)
    assert isinstance(found, NotMeasured)
    assert "3 bands" in found.reason
    why = NotMeasured(reason="no profile")
    assert measure_grey_scale(grey, why) is why


def test_the_demo_s_infrared_scale_has_the_tones_it_was_drawn_with() -> None:
    task = next(each for each in plan.tasks_of("adl-pap-3", plan.HERE) if "target-ir" in each.file)
    profile = read_profile(plan.profile_of(task))
    found = measure_grey_scale(ArrayPixels(plan.picture_of(task, scale=0.5).codes()), profile)
    assert isinstance(found, GreyScale)
    assert [each.lightness for each in found.steps] == pytest.approx(truth.GREY_STEPS, abs=0.1)
