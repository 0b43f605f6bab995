"""Blur of pages without a target: known blur is read, ranked, located; blank pages are undecidable."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.measure.pixels import ArrayPixels, Box, NotMeasured
from pipeline.measure.profile import PowerCurve
from pipeline.measure.sharpness import (
    BlurField,
    Sharpness,
    TileBlur,
    focus_standings,
    sharpness,
)
from pipeline.measure.siblings import Standing
from tests.measure.blurs import blurred, codes_of, shapes_page
from tests.measure.sheets import Sheet

NO_OUTLINE = NotMeasured(reason="not looked for")
PIXEL_VARIANCE = 1 / 12


def blur_of(pixels: ArrayPixels) -> Sharpness:
    found = sharpness(pixels, NO_OUTLINE)
    assert isinstance(found, Sharpness)
    return found


def sigma_of(pixels: ArrayPixels) -> float:
    sigma = blur_of(pixels).sigma_px
    assert isinstance(sigma, float)
    return sigma


def with_pixel(sigma: float) -> float:
    return math.sqrt(sigma**2 + PIXEL_VARIANCE)


# --------------------------------------------------------------------------------------- known blur


@pytest.mark.parametrize("sigma", [0.5, 0.7, 1.0, 1.5, 2.5])
@pytest.mark.parametrize(
    ("noise", "bits", "ink"),
    [(0.0, 16, 0.2), (0.003, 8, 0.2), (0.012, 8, 0.2), (0.003, 8, 0.7), (0.003, 16, 0.05)],
    ids=["no noise", "usual", "noise", "faint", "strong"],
)
def test_blur_of_edges_is_read_whatever_ink_and_noise(
    sigma: float, noise: float, bits: int, ink: float
) -> None:
    """Two-scale edge blur of an isolated Gaussian step: σ² = (s2² − R²·s1²)/(R² − 1)."""
    found = blur_of(shapes_page(sigma, noise=noise, bits=bits, ink=ink))
    assert found.sigma_px == pytest.approx(with_pixel(sigma), rel=0.06, abs=0.05)
    assert found.rise_px == pytest.approx(2.5631 * with_pixel(sigma), rel=0.05)


@pytest.mark.parametrize("sigma", [0.5, 0.7, 1.0, 1.5, 2.5])
@pytest.mark.parametrize("noise", [0.003, 0.012])
@pytest.mark.parametrize("bits", [8, 16])
def test_a_rise_on_faint_ink_is_as_uncertain_as_it_says(sigma: float, noise: float, bits: int) -> None:
    """Contrast of 0.15; what it is not known by weighs five times in the rise of the sharpest edges."""
    found = blur_of(shapes_page(sigma, noise=noise, bits=bits, ink=0.7))
    true = 2.5631 * with_pixel(sigma)
    assert abs(found.rise_px - true) < 2 * found.rise_sd_px
    assert found.rise_px == pytest.approx(true, rel=0.05 if noise < 0.01 else 0.17)
    assert found.rise_sd_px < (0.07 if noise < 0.01 else 0.16) * true


def test_a_page_of_which_crops_differ_is_more_uncertain() -> None:
    sigma = np.full((1200, 900), 0.7)
    sigma[:, 300:600] = 1.0
    sigma[:, 600:] = 1.4
    even, uneven = blur_of(shapes_page(0.7)), blur_of(shapes_page(sigma))
    assert uneven.rise_sd_px / uneven.rise_px > 3 * even.rise_sd_px / even.rise_px


@pytest.mark.parametrize(("pitch", "lines"), [(20, 40), (28, 36), (56, 18)])
def test_the_same_page_ranks_by_its_blur_however_thin_its_strokes(pitch: float, lines: int) -> None:
    page = Sheet(
        width=900,
        height=1200,
        sheet_width=860,
        sheet_height=1160,
        centre=(450, 600),
        noise=0,
        pitch=pitch,
        lines=lines,
        bands=1,
    )
    tone = page.codes() / 255
    rng = np.random.default_rng(1)
    figures = [
        blur_of(ArrayPixels(codes_of(blurred(tone, sigma) + 0.004 * rng.standard_normal(tone.shape)))).rise_px
        for sigma in (0, 0.4, 0.6, 0.8, 1.1, 1.5, 2)
    ]
    assert figures == sorted(figures)
    assert figures[-1] > 2 * figures[0]


def test_ink_contrast_exposure_and_noise_hardly_matter() -> None:
    """What the variance of the Laplacian fails at: ten times as much by ink alone."""
    figures = [
        sigma_of(shapes_page(0.8, ink=ink, paper=paper, noise=noise, side=side))
        for ink, paper, noise, side in (
            (0.2, 0.85, 0.003, 36),
            (0.6, 0.85, 0.003, 36),
            (0.1, 0.4, 0.003, 36),
            (0.2, 0.85, 0.01, 36),
            (0.2, 0.85, 0.003, 80),
            (0.2, 0.85, 0.003, 20),
            (0.9, 0.3, 0.003, 36),
        )
    ]
    assert max(figures) / min(figures) < 1.12


def test_linear_light_is_measured_through_the_tone_curve() -> None:
    page = shapes_page(1.0, bits=16, noise=0, paper=0.8, ink=0.1)
    light = page.crop(Box(left=0, top=0, width=900, height=1200)) / 65535
    encoded = ArrayPixels(codes_of(light ** (1 / 2.2), 16))
    through = sharpness(encoded, NO_OUTLINE, tone=PowerCurve(gamma=2.2))
    assert isinstance(through, Sharpness)
    assert through.sigma_px == pytest.approx(with_pixel(1.0), rel=0.03)


# -------------------------------------------------------------------------------------- undecidable


@pytest.mark.parametrize("noise", [0, 0.003, 0.02])
@pytest.mark.parametrize("bits", [8, 16])
def test_a_blank_page_is_undecidable(noise: float, bits: int) -> None:
    rng = np.random.default_rng(2)
    tone = 0.8 + noise * rng.standard_normal((1200, 900, 1)) + np.linspace(-0.05, 0.05, 900)[:, None]
    found = sharpness(ArrayPixels(codes_of(tone, bits)), NO_OUTLINE)
    assert isinstance(found, NotMeasured)
    assert "blank" in found.reason


def test_a_page_number_alone_is_undecidable() -> None:
    tone = np.full((1200, 900), 0.8)
    tone[60:80, 800:803] = tone[60:80, 810:813] = 0.2
    rng = np.random.default_rng(2)
    noisy = codes_of(tone + 0.003 * rng.standard_normal(tone.shape))
    assert isinstance(sharpness(ArrayPixels(noisy), NO_OUTLINE), NotMeasured)


def test_a_page_of_thin_sharp_strokes_has_a_rise_but_no_sigma() -> None:
    tone = np.full((1200, 900), 0.8)
    tone[:, ::12] = tone[:, 1::12] = 0.2
    found = blur_of(ArrayPixels(codes_of(tone)))
    assert isinstance(found.sigma_px, NotMeasured)
    assert isinstance(found.softest, NotMeasured)
    assert found.rise_px < 2.2


def test_a_small_area_is_not_measured() -> None:
    assert isinstance(sharpness(ArrayPixels(np.zeros((200, 1000), np.uint8)), NO_OUTLINE), NotMeasured)


def test_tiles_without_edges_are_no_evidence() -> None:
    tone = shapes_page(0.8, noise=0).crop(Box(left=0, top=0, width=900, height=1200)) / 255
    tone[600:] = 0.85
    rng = np.random.default_rng(2)
    found = blur_of(ArrayPixels(codes_of(tone + 0.003 * rng.standard_normal(tone.shape))))
    assert found.empty_tiles >= 24
    assert all(tile.place.top < 620 for tile in found.tiles)
    assert found.sigma_px == pytest.approx(with_pixel(0.8), rel=0.06)


# -------------------------------------------------------------------------------------------- place


def test_the_softest_place_is_found() -> None:
    sigma = np.full((1200, 900), 0.7)
    sigma[900:, 600:] = 1.6
    found = blur_of(shapes_page(sigma))
    assert isinstance(found.softest, TileBlur)
    assert found.softest.place.left >= 590
    assert found.softest.place.top >= 890
    assert found.sigma_px == pytest.approx(with_pixel(0.7), rel=0.06)


@pytest.mark.parametrize("axis", [0, 1])
def test_a_tilt_is_read_from_side_to_side(axis: int) -> None:
    ramp = np.linspace(0.6, 1.4, (1200, 900)[axis])
    plane = np.broadcast_to(ramp[:, None] if axis == 0 else ramp, (1200, 900))
    field = blur_of(shapes_page(plane)).field
    assert isinstance(field, BlurField)
    along, other = (field.down_px, field.across_px) if axis == 0 else (field.across_px, field.down_px)
    assert along == pytest.approx(0.8, abs=0.15)
    assert abs(other) < 0.1
    assert field.is_tilted
    assert field.tilt_share == pytest.approx(along / field.middle_px)


def test_an_even_page_is_not_tilted() -> None:
    field = blur_of(shapes_page(0.8)).field
    assert isinstance(field, BlurField)
    assert not field.is_tilted
    assert field.outwards_px == pytest.approx(0, abs=0.1)


def test_movement_along_one_axis_shows_in_that_direction() -> None:
    tone = shapes_page(0.6, noise=0).crop(Box(left=0, top=0, width=900, height=1200)) / 255
    moved = np.mean([np.roll(tone, shift, axis=1) for shift in range(5)], axis=0)
    rng = np.random.default_rng(2)
    found = blur_of(ArrayPixels(codes_of(moved + 0.003 * rng.standard_normal(moved.shape))))
    assert isinstance(found.across_px, float)
    assert isinstance(found.down_px, float)
    assert found.across_px > 1.3 * found.down_px


# ----------------------------------------------------------------------------------------- pitfalls


def test_edges_beside_clipped_light_do_not_count() -> None:
    tone = shapes_page(1.5, noise=0).crop(Box(left=0, top=0, width=900, height=1200)) / 255
    rng = np.random.default_rng(4)
    clean = sigma_of(ArrayPixels(codes_of(tone + 0.003 * rng.standard_normal(tone.shape))))
    sparkling = tone + 0.003 * rng.standard_normal(tone.shape)
    for x, y in rng.integers(5, [890, 1190], (3000, 2)):
        sparkling[y : y + 3, x : x + 3] = 1
    found = blur_of(ArrayPixels(codes_of(sparkling)))
    assert found.sigma_px == pytest.approx(clean, rel=0.05)


def test_what_shines_through_softly_is_left_out() -> None:
    page = shapes_page(0.7, noise=0)
    through = shapes_page(4.0, noise=0, seed=8)
    whole = Box(left=0, top=0, width=900, height=1200)
    tone = page.crop(whole) / 255 - 0.12 * (0.85 - through.crop(whole) / 255)
    rng = np.random.default_rng(2)
    found = blur_of(ArrayPixels(codes_of(tone + 0.003 * rng.standard_normal(tone.shape))))
    assert found.sigma_px == pytest.approx(with_pixel(0.7), rel=0.12)


def test_blocks_of_lossy_compression_are_noticed() -> None:
    tone = shapes_page(0.8).crop(Box(left=0, top=0, width=900, height=1200))[..., 0] / 255
    assert blur_of(ArrayPixels(codes_of(tone))).blockiness < 1.12
    assert not blur_of(ArrayPixels(codes_of(tone))).is_blocky
    rng = np.random.default_rng(1)
    steps = np.kron(rng.normal(0, 0.008, (151, 114)), np.ones((8, 8)))[3:1203, 5:905]
    found = blur_of(ArrayPixels(codes_of(tone + steps)))
    assert found.is_blocky


def test_noise_is_read_beside_writing() -> None:
    found = blur_of(shapes_page(0.8, noise=0.012))
    assert found.noise == pytest.approx(0.012, rel=0.1)


def test_the_same_frame_gives_the_same_figures() -> None:
    assert sharpness(shapes_page(0.8), NO_OUTLINE) == sharpness(shapes_page(0.8), NO_OUTLINE)


# ---------------------------------------------------------------------------------------- sessions


def test_the_soft_frame_of_a_session_stands_out() -> None:
    sigmas = [0.62, 0.6, 0.64, 0.61, 0.63, 0.95, 0.6]
    frames = [
        blur_of(shapes_page(sigma, seed=seed, side=24 + 4 * (seed % 4), ink=0.2 + 0.05 * (seed % 3))).rise_px
        for seed, sigma in enumerate(sigmas)
    ]
    found = focus_standings([*frames, NotMeasured(reason="blank")])
    assert [each.stands_out for each in found if isinstance(each, Standing)] == [
        sigma > 0.9 for sigma in sigmas
    ]
    soft = found[5]
    assert isinstance(soft, Standing)
    assert soft.deviation_sd > 0
    assert isinstance(found[-1], NotMeasured)


def test_a_tile_says_where_it_is() -> None:
    found = blur_of(shapes_page(0.8))
    assert all(tile.place.width == tile.place.height == 128 for tile in found.tiles)
    assert all(tile.place.right <= 900 + 8 and tile.place.bottom <= 1200 + 8 for tile in found.tiles)
    assert found.softest in found.tiles
