"""Clipping of known size and place, speculars told from lost tones, the tone of a sheet."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import icc
from pipeline.measure.exposure import (
    Clipping,
    PageTone,
    clipping,
    joined,
    page_tone,
    tone_standings,
)
from pipeline.measure.outline import find_outline
from pipeline.measure.pixels import ArrayPixels, Box, NotMeasured
from pipeline.measure.profile import luminance_of_lightness, profile_of_space, xyz_of_lab
from pipeline.measure.siblings import Standing
from tests.measure.blurs import codes_of
from tests.measure.scenes import encoded, linear_of_lab
from tests.measure.sheets import Sheet

Numbers = npt.NDArray[np.float64]

NO_OUTLINE = NotMeasured(reason="not looked for")


def clipped(tone: Numbers, bits: int = 8) -> Clipping:
    return clipping(ArrayPixels(codes_of(tone, bits)), NO_OUTLINE)


def plain(height: int = 600, width: int = 500, tone: tuple[float, ...] = (0.8, 0.75, 0.6)) -> Numbers:
    rng = np.random.default_rng(3)
    noisy: Numbers = np.array(tone) + 0.01 * rng.standard_normal((height, width, len(tone)))
    return noisy


# ------------------------------------------------------------------------------------------ counting


@pytest.mark.parametrize("bits", [8, 16])
def test_a_frame_within_the_scale_has_nothing_clipped(bits: int) -> None:
    found = clipped(plain(), bits)
    assert (found.dark_any, found.light_any, found.dark_all, found.light_all) == (0, 0, 0, 0)
    assert found.dark_by_band == found.light_by_band == (0, 0, 0)
    assert found.places == ()


@settings(max_examples=25, deadline=None)
@given(
    st.integers(0, 400), st.integers(0, 500), st.integers(1, 90), st.integers(1, 90), st.sampled_from([8, 16])
)
def test_clipped_rectangles_are_counted_exactly(
    left: int, top: int, width: int, height: int, bits: int
) -> None:
    tone = plain()
    tone[top : top + height, left : left + width, 0] = 1.2
    tone[top : top + height, left : left + width // 2, 1:] = 1.2
    tone[580:, 490:] = -0.5
    found = clipped(tone, bits)
    total = 600 * 500
    area = tone[top : top + height, left : left + width].shape
    dark = int((tone[580:, 490:, 0] < 0).sum())
    assert found.light_by_band[0] * total == pytest.approx(int((tone[..., 0] > 1).sum()))
    assert found.light_by_band[2] * total == pytest.approx(int((tone[..., 2] > 1).sum()))
    assert found.light_any * total == pytest.approx(int((tone > 1).any(axis=2).sum()))
    assert found.light_all * total == pytest.approx(int((tone > 1).all(axis=2).sum()))
    assert found.dark_any * total == found.dark_all * total == pytest.approx(dark)
    assert found.light_any == pytest.approx(found.light_lost + found.light_specular)
    assert area[2] == 3


def test_uniform_codes_with_gain_clip_the_share_of_the_closed_form() -> None:
    """Uniform codes times g > 1: a share of 1 − 1/g is clipped, 9.09 % for g = 1.1."""
    rng = np.random.default_rng(1)
    tone = 1.1 * rng.uniform(0.001, 1, (800, 700, 1))
    assert clipped(tone, 16).light_any == pytest.approx(1 - 1 / 1.1, abs=0.002)


def test_a_frame_wholly_clipped_is_all_lost() -> None:
    for bits in (8, 16):
        found = clipped(np.full((300, 200, 3), 1.5), bits)
        assert found.light_all == found.light_any == found.light_lost == 1
        assert found.places[0].place.width == 200


def test_dense_and_sparse_strips_count_alike() -> None:
    rng = np.random.default_rng(1)
    for share in (0.001, 0.05, 0.5):
        tone = np.where(rng.random((250, 330, 3)) < share, 1.0, 0.5)
        found = clipped(tone)
        assert found.light_any == pytest.approx(float((tone == 1).any(axis=2).mean()))
        assert found.light_all == pytest.approx(float((tone == 1).all(axis=2).mean()))
        assert found.light_by_band == pytest.approx((tone == 1).mean(axis=(0, 1)))


def test_grey_frames_are_counted_too() -> None:
    tone = plain(tone=(0.5,))
    tone[:30, :40] = 1
    assert clipped(tone).light_any == pytest.approx(1200 / 300000)


def test_the_sheet_and_what_is_around_it_are_told_apart() -> None:
    sheet = Sheet(lines=0, noise=0.004, ground=0.1)
    codes = sheet.codes()
    codes[300:340, 300:340] = 255  # on the sheet
    codes[20:40, 20:60] = 0  # beside it
    pixels = ArrayPixels(codes)
    found = clipping(pixels, find_outline(pixels))
    assert found.sheet_light == pytest.approx(1600 / (480 * 640), rel=0.05)
    assert found.around_light == 0
    assert found.sheet_dark == 0
    assert found.around_dark == pytest.approx(800 / (700 * 900 - 480 * 640), rel=0.05)


def test_clipping_beside_the_sheet_is_no_loss_of_its_tones() -> None:
    sheet = Sheet(lines=0, ground=0.1)
    codes = sheet.codes()
    codes[10:70, 10:70] = 255
    pixels = ArrayPixels(codes)
    found = clipping(pixels, find_outline(pixels))
    assert found.light_any > 0
    assert found.light_lost == found.light_specular == 0


# ----------------------------------------------------------------------------------------- speculars


def gilded(rng: np.random.Generator, *, sparks: int) -> Numbers:
    """Parchment with a field of gold leaf that sparkles."""
    tone = plain(tone=(0.9, 0.86, 0.75))
    gold: Numbers = np.array([0.75, 0.55, 0.2]) + 0.08 * rng.standard_normal((160, 200, 1))
    tone[200:360, 150:350] = gold
    for x, y in rng.integers([152, 202], [344, 354], (sparks, 2)):
        size = int(rng.integers(1, 6))
        tone[y : y + size, x : x + size] = 1.1
    return tone


@pytest.mark.parametrize("sparks", [5, 60, 400])
def test_sparks_of_gold_are_specular(sparks: int) -> None:
    found = clipped(gilded(np.random.default_rng(sparks), sparks=sparks))
    assert found.light_specular == pytest.approx(found.light_any, rel=0.05)
    assert found.light_lost <= 0.05 * found.light_any
    assert found.places[0].is_specular


@pytest.mark.parametrize("tone", [(0.93, 0.9, 0.8), (0.97, 0.97, 0.96)], ids=["parchment", "paper"])
def test_a_sheet_that_reaches_the_end_of_the_scale_has_lost_tones(tone: tuple[float, ...]) -> None:
    rng = np.random.default_rng(2)
    light: Numbers = plain(tone=tone) + 0.04 * rng.standard_normal((600, 500, 1))
    found = clipped(light)
    assert found.light_any > 0.01
    assert found.light_lost > 0.95 * found.light_any


def test_a_blown_patch_is_lost_and_placed_first() -> None:
    tone = gilded(np.random.default_rng(5), sparks=60)
    tone[480:560, 96:256] = 1.2
    found = clipped(tone)
    assert not found.places[0].is_specular
    assert found.places[0].pixels == 80 * 160
    assert (found.places[0].place.left, found.places[0].place.top) == (96, 480)
    assert found.light_lost * 300000 == pytest.approx(80 * 160, rel=0.02)
    assert found.light_specular > 0


def test_a_lamp_mirrored_over_a_field_counts_as_lost() -> None:
    tone = gilded(np.random.default_rng(5), sparks=0)
    tone[208:304, 160:320] = 1.2
    found = clipped(tone)
    assert found.light_lost == pytest.approx(96 * 160 / 300000, rel=0.01)
    assert found.light_lost == pytest.approx(found.light_any, rel=0.01)


def test_long_listings_of_places_are_capped() -> None:
    tone = plain(tone=(0.6, 0.6, 0.6))
    tone[::40, ::40] = 1.2
    found = clipped(tone)
    assert len(found.places) == 40
    assert found.places_left_out == 15 * 13 - 40


def test_regions_that_touch_by_their_sides_are_one() -> None:
    mask = np.array([[1, 1, 0, 0, 1], [0, 1, 0, 1, 0], [0, 1, 1, 1, 0], [1, 0, 0, 0, 0]], bool)
    labels = joined(mask)
    assert len(np.unique(labels[mask])) == 3
    assert len({labels[0, 0], labels[0, 1], labels[2, 3], labels[1, 3]}) == 1
    assert not labels[~mask].any()
    assert joined(np.zeros((3, 4), bool)).max() == 0


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.floats(0.2, 0.8))
def test_regions_are_those_of_a_flood(seed: int, share: float) -> None:
    mask = np.random.default_rng(seed).random((9, 11)) < share
    labels = joined(mask)
    for y, x in zip(*np.nonzero(mask), strict=True):
        for dy, dx in ((0, 1), (1, 0)):
            if y + dy < 9 and x + dx < 11 and mask[y + dy, x + dx]:
                assert labels[y, x] == labels[y + dy, x + dx]
    reached = 0
    for label in range(1, labels.max() + 1):
        todo = [tuple(np.argwhere(labels == label)[0])]
        seen = set(todo)
        while todo:
            y, x = todo.pop()
            for near in ((y, x + 1), (y, x - 1), (y + 1, x), (y - 1, x)):
                if 0 <= near[0] < 9 and 0 <= near[1] < 11 and mask[near] and near not in seen:
                    seen.add(near)
                    todo.append(near)
        assert len(seen) == (labels == label).sum()
        reached += len(seen)
    assert reached == mask.sum()


# ---------------------------------------------------------------------------------------------- tone


def sheet_of(
    lab: tuple[float, float, float], space: icc.RgbSpace, *, noise: float, ink: float
) -> ArrayPixels:
    rng = np.random.default_rng(9)
    tone = np.empty((900, 700, 3))
    tone[:] = encoded(linear_of_lab((15.0, 0.0, 0.0), space), space)
    tone[60:840, 60:640] = encoded(linear_of_lab(lab, space), space)
    written = rng.random((78, 58)) < ink
    tone[60:840, 60:640][np.kron(written, np.ones((10, 10))) > 0] = encoded(
        linear_of_lab((30.0, 5.0, 5.0), space), space
    )
    return ArrayPixels(codes_of(tone + noise * rng.standard_normal(tone.shape), 16))


@pytest.mark.parametrize("space", [icc.SRGB, icc.WIDE_RGB], ids=["narrow", "wide"])
@pytest.mark.parametrize("lab", [(92.0, 0.0, 4.0), (80.0, 3.0, 18.0), (45.0, 8.0, 12.0)])
@pytest.mark.parametrize(("noise", "ink"), [(0.002, 0.0), (0.02, 0.2), (0.005, 0.4)])
def test_the_tone_is_that_of_the_sheet(
    space: icc.RgbSpace, lab: tuple[float, float, float], noise: float, ink: float
) -> None:
    pixels = sheet_of(lab, space, noise=noise, ink=ink)
    found = page_tone(pixels, find_outline(pixels), profile_of_space(space))
    assert isinstance(found, PageTone)
    assert found.lightness == pytest.approx(lab[0], abs=0.5)
    assert (found.a, found.b) == pytest.approx(lab[1:], abs=0.7)
    assert found.share == pytest.approx(1 - ink, abs=0.1)


def test_the_highest_lightness_is_that_of_the_lightest_part() -> None:
    space = icc.SRGB
    pixels = sheet_of((80.0, 0.0, 5.0), space, noise=0, ink=0)
    codes = pixels.crop(Box(left=0, top=0, width=pixels.width_px, height=pixels.height_px)).copy()
    codes[300:360, 300:360] = np.rint(65535 * encoded(linear_of_lab((97.0, 0.0, 2.0), space), space))
    bright = ArrayPixels(codes)
    found = page_tone(bright, find_outline(bright), profile_of_space(space))
    assert isinstance(found, PageTone)
    assert found.highest_lightness == pytest.approx(97, abs=0.3)
    assert found.lightness == pytest.approx(80, abs=0.3)


def test_a_sheet_without_a_prevailing_tone_is_not_measured() -> None:
    rng = np.random.default_rng(2)
    squares = np.asarray(np.kron(rng.uniform(0, 1, (90, 70)), np.ones((10, 10))), np.float64)
    tone = squares[:, :, None].repeat(3, axis=2)
    found = page_tone(ArrayPixels(codes_of(tone)), NO_OUTLINE, profile_of_space(icc.SRGB))
    assert isinstance(found, NotMeasured)
    assert "prevails" in found.reason


def test_a_missing_or_wrong_profile_is_the_reason() -> None:
    reason = NotMeasured(reason="the frame carries no profile")
    assert page_tone(Sheet().pixels(), NO_OUTLINE, reason) is reason
    found = page_tone(Sheet(bands=1).pixels(), NO_OUTLINE, profile_of_space(icc.SRGB))
    assert isinstance(found, NotMeasured)
    assert "3 bands" in found.reason


def test_a_dark_frame_of_a_session_stands_out() -> None:
    values: list[float | NotMeasured] = [84.2, 84.0, 83.7, 84.5, 79.0, 84.1]
    found = tone_standings(values)
    assert [each.stands_out for each in found if isinstance(each, Standing)] == [False] * 4 + [True, False]


def test_tones_agree_with_the_formula_of_lightness() -> None:
    """CIE 15:2004, 8.2.1: the luminance of L* 80 is 0.5668 of white."""
    assert xyz_of_lab((80.0, 0.0, 0.0))[1] == pytest.approx(float(luminance_of_lightness(80.0)))
    assert float(luminance_of_lightness(80.0)) == pytest.approx(0.5668, abs=0.0001)


# ------------------------------------------------------------------------------- clipped before a curve


def over(share: float = 0.1, bands: int = 3) -> Numbers:
    """A sheet whose light goes beyond the scale at about that share of its pixels."""
    rng = np.random.default_rng(6)
    light = np.linspace(0.4, 1 + 0.6 * share / (1 - share), 500)[None, :, None]
    return np.asarray(light + 0.02 * rng.standard_normal((600, 500, bands)))


CURVES = {
    "a scale": lambda tone: 65300 / 65535 * tone,
    "a tone curve": lambda tone: 0.02 + 0.95 * tone**1.15,
    "dither after it": lambda tone: 247 / 255 * tone + np.random.default_rng(2).normal(0, 0.0004, tone.shape),
}


@pytest.mark.parametrize("curve", CURVES)
@pytest.mark.parametrize("bits", [8, 16])
def test_codes_that_pile_up_below_full_scale_are_clipped_light(curve: str, bits: int) -> None:
    tone = over()
    found = clipped(CURVES[curve](np.clip(tone, 0, 1)), bits)
    top = float(CURVES[curve](np.ones((2, 2)))[0, 0])
    assert found.ceilings == pytest.approx((top,) * 3, abs=0.008)
    assert found.light_any == pytest.approx(float((tone >= 1).any(axis=2).mean()), abs=0.02)
    assert found.light_lost > 0.9 * found.light_any


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize(("level", "noise"), [(0.8, 0.002), (0.9, 0.004), (0.97, 0.004), (0.88, 0.02)])
def test_bright_paper_within_the_scale_is_no_pile(bits: int, level: float, noise: float) -> None:
    rng = np.random.default_rng(8)
    tone = level - 0.3 * (rng.random((500, 400, 1)) < 0.2) + noise * rng.standard_normal((500, 400, 3))
    assert clipped(tone, bits).ceilings == (1, 1, 1)


def test_a_ruler_of_one_white_is_no_pile() -> None:
    tone = plain()
    tone[20:60] = 0.95
    assert clipped(tone, 16).light_any == 0
