"""Patches of known colour, noise, shade, clipping and edition are measured as what they are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from demo_data import colour, truth
from demo_data.plate import Plate
from demo_data.targets import target as drawn_target
from pipeline import icc
from pipeline.measure.colour import Statistics
from pipeline.measure.colour_target import FoundTarget, find_target
from pipeline.measure.patches import Light, Patch, TargetMeasures, likely_profile, measure_target
from pipeline.measure.pixels import ArrayPixels, Codes, NotMeasured
from pipeline.measure.profile import Profile, lightness, profile_of_space, read_profile
from pipeline.measure.references import NEUTRALS, Lab, Reference, load
from pipeline.measurements import Formula
from tests.measure.scenes import TargetScene

SCENE = TargetScene(width=640, height=480, centre=(320, 240), pitch=48, turn_deg=12, noise=0)
BEFORE = load("24-patch-before-2014-11")


def measured(
    scene: TargetScene, *, codes: Codes | None = None, reference: Reference | None = None
) -> TargetMeasures:
    answer = answered(scene, codes=codes, reference=reference)
    assert isinstance(answer, TargetMeasures), answer
    return answer


def answered(
    scene: TargetScene, *, codes: Codes | None = None, reference: Reference | None = None
) -> TargetMeasures | NotMeasured:
    pixels = ArrayPixels(scene.codes() if codes is None else codes)
    profile = profile_of_space(scene.space)
    target = find_target(pixels, profile)
    assert isinstance(target, FoundTarget), target
    return measure_target(pixels, profile, target, reference or load())


def known(statistics: Statistics | NotMeasured) -> Statistics:
    assert isinstance(statistics, Statistics), statistics
    return statistics


def shifted(by: tuple[float, float, float]) -> tuple[Lab, ...]:
    """The nominal colours, all moved; patches at the border of the space moved less would be clipped."""
    return tuple((lightness + by[0], a + by[1], b + by[2]) for lightness, a, b in load().labs)


def labs(measures: TargetMeasures) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    found: np.ndarray[tuple[int, int], np.dtype[np.float64]] = np.array([p.lab for p in measures.patches])
    return found


# -------------------------------------------------------------------------------------------- colour


@pytest.mark.parametrize(("bits", "bound"), [(16, 0.02), (8, 0.6)])
@pytest.mark.parametrize("pitch", [20.0, 48.0])
def test_a_perfect_frame_shows_the_reference(bits: int, bound: float, pitch: float) -> None:
    measures = measured(replace(SCENE, bits=bits, pitch=pitch))
    assert np.abs(labs(measures) - load().array).max() < bound
    assert known(measures.accuracy()).maximum < 1.5 * bound
    assert (measures.missing, measures.outside_gamut) == ((), ())


@pytest.mark.parametrize("noise", [0.003, 0.01])
@pytest.mark.parametrize("turn", [0.0, 37.0, -150.0])
def test_noise_does_not_move_colours(noise: float, turn: float) -> None:
    """Beyond the standard error of means of 441 pixels: the bound is four times that, in a*."""
    measures = measured(replace(SCENE, noise=noise, turn_deg=turn))
    bound = 0.03 + 40 * noise
    assert np.abs(labs(measures) - load().array).max() < bound


@pytest.mark.parametrize("by", [(-2.0, 0.0, 0.0), (0.0, 1.5, -2.0), (1.0, -3.0, 1.0)])
def test_a_known_shift_of_all_colours_is_found(by: tuple[float, float, float]) -> None:
    measures = measured(replace(SCENE, labs=shifted(by)))
    found = labs(measures) - load().array
    assert np.abs(found - np.array(by)).max() < 0.03
    wanted = np.sqrt(sum(value**2 for value in by))
    assert known(measures.accuracy(Formula.CIE76)).mean == pytest.approx(wanted, abs=0.02)


def test_one_wrong_patch_is_named_and_alone_is_wrong() -> None:
    wrong = list(load().labs)
    wrong[8] = (50.57, 40.0, 16.67)
    accuracy = known(measured(replace(SCENE, labs=tuple(wrong))).accuracy())
    assert accuracy.worst == 8
    assert accuracy.maximum > 3
    assert accuracy.percentile_90 < 0.05


def test_cyan_is_outside_a_small_space_and_can_be_left_out() -> None:
    """A perfect sRGB master shows ΔE00 3.46 on cyan and 0.15 in the mean: closed form."""
    measures = measured(replace(SCENE, space=icc.SRGB))
    assert measures.outside_gamut == (17,)
    accuracy = known(measures.accuracy())
    assert (accuracy.worst, round(accuracy.maximum, 1)) == (17, 3.5)
    assert accuracy.mean == pytest.approx(0.15, abs=0.02)
    rest = known(measures.accuracy(leave_out=frozenset(measures.outside_gamut)))
    assert rest.maximum < 0.05


@pytest.mark.parametrize(
    ("formula", "expected"),
    [(Formula.CIE76_CHROMA, 2.0), (Formula.CIEDE2000_CHROMA, 1.914), (Formula.CHROMA, 2.0)],
)
def test_white_balance_is_held_against_each_neutral_s_own_reference(
    formula: Formula, expected: float
) -> None:
    """Neutrals without any chroma of their own, moved by 2 in b*: closed forms of the three formulas."""
    grey = [lab if n not in NEUTRALS else (lab[0], 0.0, 0.0) for n, lab in enumerate(load().labs)]
    reference = replace(load(), labs=tuple(grey))
    moved = tuple((v, a, b + 2) if n in NEUTRALS else (v, a, b) for n, (v, a, b) in enumerate(grey))
    balance = known(measured(replace(SCENE, labs=moved), reference=reference).white_balance(formula))
    assert balance.mean == pytest.approx(expected, abs=0.02)
    assert balance.worst in NEUTRALS


# ---------------------------------------------------------------------------------------------- tone


def test_tone_that_is_stretched_has_its_gain_everywhere() -> None:
    stretched = tuple((0.9 * v + 4, a, b) for v, a, b in load().labs)
    measures = measured(replace(SCENE, labs=stretched))
    assert [each.gain for each in measures.gain_modulation] == pytest.approx([0.9] * 5, abs=0.002)
    assert [each.is_highlight for each in measures.gain_modulation] == [True] + [False] * 4
    for number, difference in measures.tone_response:
        assert difference == pytest.approx(4 - 0.1 * load().labs[number][0], abs=0.02)
    worst = max(abs(4 - 0.1 * load().labs[number][0]) for number in NEUTRALS)
    assert known(measures.tone()).maximum == pytest.approx(worst, abs=0.02)


# --------------------------------------------------------------------------------------------- noise


def noise_in_lightness(patch: Patch, profile: Profile, sigma: float) -> float:
    """SD of L* that independent noise in the codes of a patch makes: by drawing 40,000 pixels."""
    draws = np.array(patch.codes) + sigma * np.random.default_rng(8).standard_normal((40_000, 3))
    return float(lightness(profile.luminance(profile.linear(np.clip(draws, 0, 1)))).std())


@pytest.mark.parametrize("sigma", [0.003, 0.006, 0.012])
def test_noise_is_what_was_put_in(sigma: float) -> None:
    scene = replace(SCENE, width=800, height=620, centre=(400, 310), pitch=96, noise=sigma, falloff=0.2)
    measures = measured(scene)
    profile = profile_of_space(scene.space)
    for patch in measures.patches:
        if patch.is_clipped:
            continue
        assert patch.noise == pytest.approx(noise_in_lightness(patch, profile, sigma), rel=0.08)
        assert patch.dust < 0.002
    assert known(measures.noise()).mean == pytest.approx(sigma * 72, rel=0.1)


def test_a_slope_of_light_is_not_noise() -> None:
    """Light that falls by half over the frame loses 2 % across the middle of the white patch: 0.7 L*."""
    measures = measured(replace(SCENE, falloff=0.5, turn_deg=0))
    assert known(measures.noise()).maximum < 0.05
    white = next(patch for patch in measures.patches if patch.number == 18)
    assert white.slope == pytest.approx(0.7, rel=0.1)


def test_dust_is_left_out_of_colour_and_noise() -> None:
    scene = replace(SCENE, noise=0.003, turn_deg=0)
    codes = scene.codes().copy()
    x, y = (round(each) for each in scene.places()[21])
    codes[y - 3 : y + 1, x - 3 : x + 2] = 0
    clean, dusty = measured(scene).patches[21], measured(scene, codes=codes).patches[21]
    assert dusty.dust == pytest.approx(20 / 441, abs=0.02)
    assert dusty.lab == pytest.approx(clean.lab, abs=0.05)
    assert dusty.noise == pytest.approx(clean.noise, rel=0.1)


def test_a_patch_that_something_lies_on_is_said_to_be_covered() -> None:
    scene = replace(SCENE, noise=0.003, turn_deg=0)
    codes = scene.codes().copy()
    x, y = (round(each) for each in scene.places()[21])
    codes[y - 15 : y + 15, x - 3 : x + 2] = 60000
    measures = measured(scene, codes=codes)
    ((number, why),) = measures.missing
    assert number == 21
    assert "neutral 5 is covered" in why.reason
    assert isinstance(measures.accuracy(), Statistics)
    assert {each.lighter for each in measures.gain_modulation} == {18, 19, 22}


# ------------------------------------------------------------------------------------------- clipping


def test_a_blown_white_is_clipped_and_no_ground_for_noise() -> None:
    measures = measured(replace(SCENE, cast=(1.4, 1.4, 1.4), noise=0.003))
    clipped = [patch.name for patch in measures.patches if patch.is_clipped]
    assert "white 9.5" in clipped
    white = next(patch for patch in measures.patches if patch.name == "white 9.5")
    assert white.at_full_scale == pytest.approx(1 - 0.5**3, abs=0.06)  # noise lowers half of each channel
    assert white.at_zero == 0
    assert known(measures.noise()).worst != white.number


def test_black_at_code_zero_is_clipped() -> None:
    dark = tuple((0.0, 0.0, 0.0) if n == 23 else lab for n, lab in enumerate(load().labs))
    assert measured(replace(SCENE, labs=dark)).patches[23].at_zero == 1


# ---------------------------------------------------------------------------------------------- light


def test_even_light_is_even() -> None:
    light = measured(replace(SCENE, noise=0.003)).light
    assert isinstance(light, Light)
    assert light.fall_percent < 0.3
    assert light.unevenness_percent < 0.3


@pytest.mark.parametrize("falloff", [0.1, 0.3])
def test_light_that_falls_off_is_told_from_tone(falloff: float) -> None:
    """The field of patches is 240 of 640 px from centre to centre; light in its middle is 1 - falloff / 2."""
    light = measured(replace(SCENE, falloff=falloff, turn_deg=0)).light
    assert isinstance(light, Light)
    assert light.fall_percent == pytest.approx(100 * falloff * 240 / 640 / (1 - falloff / 2), rel=0.06)
    assert light.unevenness_percent < 1


def test_a_shadow_with_a_border_is_uneven_light() -> None:
    light = measured(replace(SCENE, shade=0.7, shade_at=0.3, shade_angle_deg=50)).light
    assert isinstance(light, Light)
    assert light.unevenness_percent > 5


# -------------------------------------------------------------------------------------------- editions


@pytest.mark.parametrize("cast", [(1.0, 1.0, 1.0), (1.0, 0.95, 0.88)])
def test_a_wrong_edition_is_named_and_the_right_one_is_not_doubted(cast: tuple[float, float, float]) -> None:
    scene = replace(SCENE, labs=BEFORE.labs, cast=cast, noise=0.003)
    wrong, right = measured(scene), measured(scene, reference=BEFORE)
    assert wrong.likely_edition == BEFORE
    assert right.likely_edition is None


def test_a_perfect_frame_reads_what_the_editions_differ_by() -> None:
    accuracy = known(measured(replace(SCENE, labs=BEFORE.labs)).accuracy())
    assert accuracy.mean == pytest.approx(0.85, abs=0.01)
    assert accuracy.maximum == pytest.approx(1.95, abs=0.02)


def test_a_target_s_own_measurement_is_not_doubted() -> None:
    own = replace(BEFORE, is_measured=True)
    assert measured(replace(SCENE, labs=load().labs), reference=own).likely_edition is None


# -------------------------------------------------------------------------------------------- profiles

SPACES = [profile_of_space(space, name) for name, space in (("sRGB", icc.SRGB), ("wide", icc.WIDE_RGB))]


@pytest.mark.parametrize(("made_in", "read_by"), [(0, 1), (1, 0)], ids=["sRGB as wide", "wide as sRGB"])
def test_a_wrong_profile_is_named_by_the_codes(made_in: int, read_by: int) -> None:
    pixels = replace(SCENE, space=(icc.SRGB, icc.WIDE_RGB)[made_in], noise=0.003).pixels()
    target = find_target(pixels, SPACES[read_by])
    assert isinstance(target, FoundTarget)
    measures = measure_target(pixels, SPACES[read_by], target, load())
    assert isinstance(measures, TargetMeasures)
    assert known(measures.accuracy()).mean > 2.2
    assert likely_profile(measures, SPACES) is SPACES[made_in]


@pytest.mark.parametrize("cast", [(1.0, 1.0, 1.0), (1.0, 0.9, 0.75), (0.6, 0.6, 0.6)])
def test_a_cast_or_wrong_exposure_is_not_taken_for_a_wrong_profile(cast: tuple[float, float, float]) -> None:
    assert likely_profile(measured(replace(SCENE, cast=cast)), SPACES) is None


# --------------------------------------------------------------------------------- what is not measured


def test_patches_of_a_few_pixels_are_too_small() -> None:
    answer = answered(replace(SCENE, pitch=12, noise=0.002))
    assert isinstance(answer, NotMeasured)
    assert "too small: 12 px" in answer.reason


def test_small_patches_have_a_colour_but_no_noise() -> None:
    measures = measured(replace(SCENE, pitch=20, noise=0.002))
    assert isinstance(measures.accuracy(), Statistics)
    answer = measures.noise()
    assert isinstance(answer, NotMeasured)
    assert "only 64 pixels" in answer.reason


def test_without_a_profile_that_can_be_used_nothing_is_measured() -> None:
    pixels, profile = SCENE.pixels(), profile_of_space(SCENE.space)
    target = find_target(pixels, profile)
    assert isinstance(target, FoundTarget)
    why = NotMeasured(reason="the frame has no colour profile")
    assert measure_target(pixels, why, target, load()) == why
    grey = read_profile(icc.grey_profile())
    assert isinstance(measure_target(pixels, grey, target, load()), NotMeasured)


# ---------------------------------------------------------------------------------------------- demo


@pytest.mark.parametrize("facts", [truth.SMALL, truth.LARGE], ids=["8 mm pitch", "12 mm pitch"])
def test_targets_of_the_demo_are_measured_as_they_are(facts: truth.TargetTruth) -> None:
    plate = Plate(width_mm=facts.size_mm[0], height_mm=facts.size_mm[1], ppi=200)
    pixels = ArrayPixels(drawn_target(plate, facts, seed=4).codes())
    profile = read_profile(colour.rgb_profile())
    assert isinstance(profile, Profile)
    target = find_target(pixels, profile)
    assert isinstance(target, FoundTarget)
    measures = measure_target(pixels, profile, target, load())
    assert isinstance(measures, TargetMeasures)
    assert np.abs(labs(measures) - load().array).max() < 0.1
    assert known(measures.accuracy()).maximum < 0.1
    assert known(measures.white_balance()).maximum < 0.1
    assert known(measures.tone()).maximum < 0.03
    assert all(each.gain == pytest.approx(1, abs=0.005) for each in measures.gain_modulation)
    for patch in measures.patches:
        assert patch.noise == pytest.approx(noise_in_lightness(patch, profile, facts.noise), rel=0.08)
