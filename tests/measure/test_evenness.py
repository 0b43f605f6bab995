"""Flat frames whose light, cast and dust are known in closed form.

The closed forms are those of blocks: a block sees the mean of the light over itself, so that the sums
below are integrals over blocks, not values at pixels.
"""

from __future__ import annotations

import math
from time import process_time

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demo_data import targets
from demo_data.colour import rgb_profile
from demo_data.plate import Plate
from demo_data.truth import FlatTruth
from pipeline import icc
from pipeline.measure.evenness import BLOCKS, ColourDrift, Dust, Evenness, measure_evenness
from pipeline.measure.pixels import ArrayPixels, NotMeasured
from pipeline.measure.profile import (
    PowerCurve,
    Profile,
    lightness,
    luminance_of_lightness,
    profile_of_space,
    read_profile,
)
from pipeline.specs.icc import D50

Numbers = npt.NDArray[np.float64]

WIDTH, HEIGHT = 1200, 800
CARD = 90.0
"""L* of the card."""
GREY = Profile(description="grey", curves=(PowerCurve(gamma=2.2),), colourants=None)
COLOUR = profile_of_space(icc.WIDE_RGB)


def grid(width: int = WIDTH, height: int = HEIGHT) -> tuple[Numbers, Numbers]:
    """x and y of pixel centres, −½ to ½ over the frame."""
    return (np.arange(width) + 0.5)[None, :] / width - 0.5, (np.arange(height) + 0.5)[:, None] / height - 0.5


def radius(width: int = WIDTH, height: int = HEIGHT) -> Numbers:
    """Distance from the middle, 1 at the corners."""
    x, y = grid(width, height)
    return np.asarray(np.hypot(x * width, y * height) / (math.hypot(width, height) / 2))


def of_light(light: Numbers, *, bits: int = 16, noise: float = 0.0, seed: int = 1) -> ArrayPixels:
    """A grey frame of linear light."""
    return coded((light ** (1 / 2.2))[..., None], bits=bits, noise=noise, seed=seed)


def of_lab(
    light: Numbers, a: Numbers, b: Numbers, *, noise: float = 0.0, bits: int = 16, seed: int = 1
) -> ArrayPixels:
    """A colour frame of L*, a*, b*."""
    f = (light + 16) / 116
    values = np.stack(np.broadcast_arrays(f + a / 500, f, f - b / 200), axis=-1) ** 3 * np.array(D50)
    assert COLOUR.colourants is not None
    linear = values @ np.linalg.inv(np.array(COLOUR.colourants))
    return coded(linear ** (1 / icc.WIDE_RGB.curve.gamma), bits=bits, noise=noise, seed=seed)


def coded(values: Numbers, *, bits: int, noise: float, seed: int) -> ArrayPixels:
    grain = np.random.default_rng(seed).normal(0, noise, values.shape) if noise else 0.0
    codes = np.clip(values + grain, 0, 1) * (2**bits - 1) + 0.5
    return ArrayPixels(codes.astype(np.uint8) if bits == 8 else codes.astype(np.uint16))


def measured(pixels: ArrayPixels, profile: Profile = GREY) -> Evenness:
    found = measure_evenness(pixels, profile)
    assert isinstance(found, Evenness), found
    return found


def dust_of(found: Evenness) -> Dust:
    assert isinstance(found.dust, Dust), found.dust
    return found.dust


def drift_of(found: Evenness) -> ColourDrift:
    assert isinstance(found.colour, ColourDrift), found.colour
    return found.colour


LEVEL = float(luminance_of_lightness(CARD))


# -------------------------------------------------------------------------------------------- light


@pytest.mark.parametrize(("bits", "noise"), [(16, 0.0), (16, 0.004), (8, 0.004)])
def test_a_ramp_has_its_range_and_spread(bits: int, noise: float) -> None:
    # from a to b over the frame: range over mean 2(b - a)/(a + b), spread that over √12 (uniform values);
    # n blocks see (n - 1)/n of the range and √(1 - 1/n²) of the spread
    low, high, n = 0.7, 0.8, 30
    x, _ = grid()
    found = measured(
        of_light(np.broadcast_to(low + (high - low) * (x + 0.5), (HEIGHT, WIDTH)), bits=bits, noise=noise)
    )
    whole = 2 * (high - low) / (high + low)
    assert found.luminance_range_over_mean == pytest.approx(whole * (n - 1) / n, abs=0.0015)
    assert found.luminance_spread_over_mean == pytest.approx(
        whole / math.sqrt(12) * math.sqrt(1 - 1 / n**2), abs=0.0005
    )
    assert np.shape(found.luminance) == (BLOCKS, n)


@pytest.mark.parametrize("q", [0.02, 0.1, 0.3])
def test_light_that_falls_with_the_square_of_the_distance_has_its_closed_form(q: float) -> None:
    # 1 - q r², mean 1 - q/3; a block sees r² of its centre and a twelfth of its side squared
    found = measured(of_light(LEVEL * (1 - q * radius() ** 2)))
    side = 1 / math.hypot(BLOCKS, 30)  # of a block, in half diagonals: times 2
    twelfth = (2 * side) ** 2 / 6
    corner = (1 - 1 / 30) ** 2 * (9 / 13) + (1 - 1 / BLOCKS) ** 2 * (4 / 13) + twelfth
    middle = 2 * side**2 + twelfth  # the four blocks about the middle, whose centres lie off it
    expected = q * (corner - middle) / (1 - q / 3)
    assert found.luminance_range_over_mean == pytest.approx(expected, abs=0.0005)
    darkest, lightest = (float(lightness(LEVEL * (1 - q * each))) for each in (corner, middle))
    assert found.lightness_range == pytest.approx(lightest - darkest, abs=0.02)
    assert found.lightness[0][0] == pytest.approx(darkest, abs=0.02)


def test_fall_off_of_ten_per_cent_reads_as_published_formulas_have_it() -> None:
    # 4:3 and q = 0.1 at paper white: spread of L* over its mean 0.009, of luminance 0.023
    found = measured(of_light(0.88 * (1 - 0.1 * radius(1600, 1200) ** 2)))
    assert found.lightness_spread_over_mean == pytest.approx(0.009, abs=0.0005)
    assert found.luminance_spread_over_mean == pytest.approx(0.023, abs=0.001)


def test_natural_vignetting_is_the_fourth_power_of_the_cosine() -> None:
    # cos⁴ is 0.9 at 13.1°; the corner block's centre lies at 0.957 of the half diagonal
    angle = math.radians(13.1)
    field = np.arctan(radius() * math.tan(angle))
    found = measured(of_light(LEVEL * np.cos(field) ** 4))
    assert found.luminance[0][0] / found.luminance[BLOCKS // 2][15] == pytest.approx(
        math.cos(math.atan(0.957 * math.tan(angle))) ** 4, abs=0.001
    )


def test_one_per_cent_of_luminance_is_a_third_of_a_lightness_at_paper_white() -> None:
    x, _ = grid()
    light = float(luminance_of_lightness(95.0)) * np.where(x < 0, 1.0, 0.99)
    found = measured(of_light(np.broadcast_to(light, (HEIGHT, WIDTH))))
    assert found.lightness_range == pytest.approx(0.37, abs=0.01)


def test_five_points_see_the_corners_and_the_middle_alone() -> None:
    x, y = grid()
    band = np.where(np.abs(x - 0.25) < 0.05, 0.9, 1.0) + 0 * y
    found = measured(of_light(LEVEL * band))
    assert found.luminance_range_over_mean == pytest.approx(0.1, abs=0.003)
    assert found.five_points.luminance_range_over_mean < 0.001
    assert found.five_points.lightness_range < 0.05


def test_darkest_and_lightest_places_are_named_in_the_full_picture() -> None:
    x, y = grid()
    found = measured(of_light(LEVEL * (0.95 + 0.05 * (x - y))))
    assert found.lightest_px == (WIDTH - 20.0, 20.0)
    assert found.darkest_px == (20.0, HEIGHT - 20.0)


@pytest.mark.parametrize("noise", [0.0, 0.002, 0.004])
def test_noise_alone_is_hardly_uneven(noise: float) -> None:
    found = measured(of_light(np.full((HEIGHT, WIDTH), LEVEL), noise=noise))
    assert found.luminance_range_over_mean < 0.002
    assert found.lightness_range < 0.07
    assert found.mean_lightness == pytest.approx(CARD, abs=0.01)
    assert dust_of(found).count == 0


def test_the_same_fall_off_is_read_from_a_reduced_picture() -> None:
    small = measured(of_light(LEVEL * (1 - 0.1 * radius() ** 2)))
    large = measured(of_light(LEVEL * (1 - 0.1 * radius(2400, 1600) ** 2)))
    assert large.luminance_range_over_mean == pytest.approx(small.luminance_range_over_mean, abs=0.001)


@given(st.floats(0.0, 0.3), st.floats(0.2, 0.9))
@settings(max_examples=10, deadline=None)
def test_unevenness_is_of_the_light_not_of_the_level(q: float, level: float) -> None:
    one, other = (measured(of_light(each * (1 - q * radius(300, 240) ** 2))) for each in (level, 0.5))
    assert one.luminance_range_over_mean == pytest.approx(other.luminance_range_over_mean, abs=0.001)


# -------------------------------------------------------------------------------------------- colour


@pytest.mark.parametrize(("g", "noise"), [(1.0, 0.0), (3.0, 0.0), (3.0, 0.004)])
def test_a_cast_that_grows_across_the_frame_is_found_as_a_slope(g: float, noise: float) -> None:
    # a* = g·x: the farthest blocks are g (n - 1)/n apart, the spread is g/√12
    x, y = grid()
    found = drift_of(measured(of_lab(CARD + 0 * y, g * x, 0.5 * g * y, noise=noise), COLOUR))
    assert found.a_across == pytest.approx(g, abs=0.03)
    assert found.b_down == pytest.approx(g / 2, abs=0.03)
    assert (found.a_down, found.b_across) == pytest.approx((0, 0), abs=0.03)
    assert (found.a_radial, found.b_radial) == pytest.approx((0, 0), abs=0.03)
    expected = math.hypot(g * 29 / 30, g / 2 * 19 / 20)
    assert found.farthest_apart == pytest.approx(expected, abs=0.02 if not noise else 0.25)
    assert found.spread == pytest.approx(math.hypot(g, g / 2) / math.sqrt(12), abs=0.02)


def test_a_cast_of_the_lens_is_found_as_radial() -> None:
    found = drift_of(
        measured(of_lab(np.full((HEIGHT, WIDTH), CARD), 2.0 * radius() ** 2, -(radius() ** 2)), COLOUR)
    )
    assert (found.a_radial, found.b_radial) == pytest.approx((2.0, -1.0), abs=0.03)
    assert (found.a_across, found.b_down) == pytest.approx((0, 0), abs=0.02)
    assert found.at_px in {(x, y) for x in (20.0, WIDTH - 20.0) for y in (20.0, HEIGHT - 20.0)}


def test_a_tinted_card_has_no_drift() -> None:
    flat = np.full((HEIGHT, WIDTH), 92.0)
    found = drift_of(measured(of_lab(flat, flat * 0 - 1.0, flat * 0 + 4.0), COLOUR))
    assert found.farthest_apart < 0.02
    assert np.abs(found.a).max() < 0.02


def test_the_map_of_drift_is_around_its_mean() -> None:
    x, y = grid()
    found = drift_of(measured(of_lab(CARD + 0 * y, 2 * x, 0 * x * y), COLOUR))
    assert np.shape(found.a) == (BLOCKS, 30)
    assert np.mean(found.a) == pytest.approx(0, abs=1e-9)
    assert found.a[3][0] == pytest.approx(-29 / 30, abs=0.02)


def test_grey_frames_have_no_colour_to_drift() -> None:
    found = measured(of_light(np.full((HEIGHT, WIDTH), LEVEL)))
    assert found.colour == NotMeasured(reason="the frame is grey")


# ---------------------------------------------------------------------------------------------- dust


def spotted(
    spots: list[tuple[float, float, float, float]],
    *,
    width: int = WIDTH,
    height: int = HEIGHT,
    falloff: float = 0.06,
    noise: float = 0.003,
) -> ArrayPixels:
    """A frame with discs (x, y, diameter, depth in codes)."""
    codes = (LEVEL * (1 - falloff * radius(width, height) ** 2)) ** (1 / 2.2)
    for x, y, diameter, depth in spots:
        reach = int(diameter / 2 + 2)
        left, top = max(int(x) - reach, 0), max(int(y) - reach, 0)
        part = codes[top : int(y) + reach + 1, left : int(x) + reach + 1]
        rows, columns = np.indices(part.shape)
        part[np.hypot(columns + left + 0.5 - x, rows + top + 0.5 - y) < diameter / 2] *= 1 - depth
    return coded(codes[..., None], bits=16, noise=noise, seed=5)


SPOTS = [
    (300.5, 250.5, 40.0, 0.1),
    (900.0, 600.0, 20.0, 0.06),
    (1100.0, 700.0, 9.0, 0.2),
    (14.0, 785.0, 24.0, 0.08),
]


def test_dust_is_found_where_it_lies_with_its_size_and_depth() -> None:
    found = dust_of(measured(spotted(SPOTS)))
    assert found.count == len(SPOTS)
    for spot, (x, y, diameter, depth) in zip(
        found.spots, sorted(SPOTS, key=lambda each: -each[2]), strict=True
    ):
        assert math.hypot(spot.x_px - x, spot.y_px - y) < 0.7
        assert spot.diameter_px == pytest.approx(diameter, rel=0.06, abs=0.5)
        assert spot.depth == pytest.approx(depth, rel=0.1)
    area = sum(math.pi / 4 * diameter**2 for _, _, diameter, _ in SPOTS)
    assert found.share == pytest.approx(area / (WIDTH * HEIGHT), rel=0.1)


def test_dust_is_found_in_the_reduced_picture_of_a_large_frame() -> None:
    large = [(2 * x, 2 * y, 2 * diameter, depth) for x, y, diameter, depth in SPOTS]
    found = dust_of(measured(spotted(large, width=2 * WIDTH, height=2 * HEIGHT)))
    assert found.count == len(SPOTS)
    assert found.spots[0].x_px == pytest.approx(601, abs=1.0)
    assert found.spots[0].diameter_px == pytest.approx(80, rel=0.04)
    assert found.smallest_px == 4.0


def test_dust_does_not_count_as_uneven_light() -> None:
    clean, dusty = measured(spotted([])), measured(spotted(SPOTS))
    assert dusty.luminance_range_over_mean == pytest.approx(clean.luminance_range_over_mean, abs=0.0005)
    assert dusty.lightness_range == pytest.approx(clean.lightness_range, abs=0.02)


def test_light_specks_have_a_negative_depth() -> None:
    (spot,) = dust_of(measured(spotted([(700.0, 400.0, 12.0, -0.05)]))).spots
    assert spot.depth == pytest.approx(-0.05, rel=0.1)


def test_many_spots_are_counted_and_the_largest_listed() -> None:
    spots = [(40.0 + 60 * (number % 19), 40.0 + 90 * (number // 19), 8.0, 0.1) for number in range(140)]
    found = dust_of(measured(spotted([*spots, (900.0, 770.0, 30.0, 0.1)])))
    assert found.count == 141
    assert len(found.spots) == 100
    assert found.spots[0].diameter_px == pytest.approx(30, rel=0.05)


def test_a_card_with_a_pattern_is_not_taken_for_dusty() -> None:
    x, y = grid()
    stripes = LEVEL * (1 - 0.1 * (np.sin(x * 400) > 0.8) - 0 * y)
    found = measured(of_light(stripes))
    assert isinstance(found.dust, NotMeasured)
    assert "a card that is not plain" in found.cautions


# ----------------------------------------------------------------------------------- refusals and truth


def test_a_clipped_card_is_refused() -> None:
    found = measure_evenness(of_light(1.1 - 0.2 * radius() ** 2), GREY)
    assert isinstance(found, NotMeasured)
    assert "clipped" in found.reason


def test_a_small_frame_is_refused() -> None:
    assert isinstance(measure_evenness(of_light(np.full((90, 300), 0.5)), GREY), NotMeasured)


def test_a_profile_for_other_channels_is_refused() -> None:
    found = measure_evenness(of_light(np.full((300, 300), 0.5)), COLOUR)
    assert isinstance(found, NotMeasured)
    assert "channels" in found.reason


def test_a_dark_card_is_a_caution() -> None:
    assert any("dark" in each for each in measured(of_light(np.full((300, 300), 0.05))).cautions)


@pytest.mark.parametrize("falloff", [0.018, 0.060])
def test_the_demo_s_flats_read_as_their_truth_says(falloff: float) -> None:
    plate = Plate(width_mm=120.0, height_mm=90.0, ppi=300.0)
    truth = FlatTruth(falloff=falloff)
    profile = read_profile(rgb_profile())
    assert isinstance(profile, Profile)
    found = measured(ArrayPixels(targets.flat(plate, truth, bands=3, seed=11).codes()), profile)
    # blocks see 0.91 of what pixels see, see the module
    assert found.luminance_range_over_mean == pytest.approx(0.915 * truth.range_over_mean, abs=0.002)
    assert found.lightness[BLOCKS // 2][13] == pytest.approx(truth.lightness, abs=0.05)
    assert drift_of(found).farthest_apart < 0.3
    assert dust_of(found).count == 0


def test_a_frame_takes_a_tenth_of_a_second_of_one_core() -> None:
    pixels = of_lab(CARD - 2 * radius(1500, 1000) ** 2, np.zeros(1500), np.zeros(1500))
    measured(pixels, COLOUR)
    taken = []
    for _ in range(3):
        start = process_time()
        measured(pixels, COLOUR)
        taken.append(process_time() - start)
    assert min(taken) < 0.2  # 0.06 s on a quiet machine, the reduced picture at hand
