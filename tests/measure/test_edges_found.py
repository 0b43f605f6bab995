"""Slanted edges found in frames: squares where they are known to be, the demo's targets, none elsewhere."""

from __future__ import annotations

import math
from time import process_time

import numpy as np
import numpy.typing as npt
import pytest

from demo_data import targets, truth
from demo_data.colour import grey_profile, rgb_profile
from demo_data.plate import Plate
from demo_data.truth import TargetTruth
from pipeline.measure.edge import Axis
from pipeline.measure.edges_found import EdgeRegion, Resolution, Zone, find_edges, measure_edges
from pipeline.measure.pixels import ArrayPixels, Box, NotMeasured
from pipeline.measure.profile import PowerCurve, Profile, read_profile

Numbers = npt.NDArray[np.float64]

GAMMA = PowerCurve(gamma=2.2)
SFR50 = 0.187391
"""Of a Gaussian of 1 px: √(ln 2 / 2) / π."""
SIGMA = 0.7


def step(distance: Numbers) -> Numbers:
    """A step blurred by a Gaussian of `SIGMA`; an error function is not in numpy, a table of it is enough."""
    at = np.linspace(-6, 6, 1201)
    table = np.array([0.5 + 0.5 * math.erf(each / math.sqrt(2)) for each in at])
    return np.asarray(np.interp(distance / SIGMA, at, table))


def squares(
    places: list[tuple[float, float]],
    *,
    side: float = 200.0,
    angle_deg: float = 5.0,
    width: int = 1500,
    height: int = 1000,
    noise: float = 0.0,
    bands: int = 3,
    light: float = 0.6,
    dark: float = 0.08,
) -> ArrayPixels:
    """A light board with dark squares about `places`, turned clockwise."""
    linear = np.full((height, width), light)
    turn, reach = math.radians(angle_deg), math.ceil(side)
    for x, y in places:
        left, top = max(0, int(x) - reach), max(0, int(y) - reach)
        part = linear[top : int(y) + reach, left : int(x) + reach]
        rows, columns = np.indices(part.shape)
        dx, dy = columns + left + 0.5 - x, rows + top + 0.5 - y
        u, v = dx * math.cos(turn) + dy * math.sin(turn), dy * math.cos(turn) - dx * math.sin(turn)
        part += (dark - light) * step(side / 2 - np.abs(u)) * step(side / 2 - np.abs(v))
    return coded(linear, bands=bands, noise=noise)


def coded(linear: Numbers, *, bands: int = 3, noise: float = 0.0) -> ArrayPixels:
    codes = np.repeat((linear.astype(np.float32) ** np.float32(1 / 2.2))[..., None], bands, axis=2)
    if noise:
        rng = np.random.default_rng(4)
        codes += np.float32(noise) * rng.standard_normal(codes.shape, dtype=np.float32)
    return ArrayPixels(np.asarray(np.clip(codes, 0, 1, out=codes) * 65535 + 0.5, np.uint16))


def codes_of(pixels: ArrayPixels) -> npt.NDArray[np.uint16]:
    """A copy of all codes, to be changed."""
    return np.array(pixels.crop(Box(left=0, top=0, width=1500, height=1000)), np.uint16)


def found(pixels: ArrayPixels) -> tuple[EdgeRegion, ...]:
    regions = find_edges(pixels)
    assert not isinstance(regions, NotMeasured), regions
    return regions


def measured(pixels: ArrayPixels) -> Resolution:
    resolution = measure_edges(pixels, GAMMA)
    assert isinstance(resolution, Resolution), resolution
    return resolution


def sfr50s(resolution: Resolution) -> Numbers:
    values = [each.measure.luminance.sfr50_cy_px for each in resolution.edges]
    return np.array([value for value in values if isinstance(value, float)])


NINE = [(x, y) for y in (166.0, 500.0, 833.0) for x in (250.0, 750.0, 1250.0)]


# ----------------------------------------------------------------------------------------- finding


@pytest.mark.parametrize("angle_deg", [2.5, -4.0, 5.0, -7.0, 9.5])
@pytest.mark.parametrize("noise", [0.0, 0.005, 0.01])
def test_a_slanted_square_gives_an_edge_of_either_axis(angle_deg: float, noise: float) -> None:
    regions = found(squares([(750, 500)], angle_deg=angle_deg, noise=noise))
    assert {each.axis for each in regions} == set(Axis)
    for region in regions:
        # turned clockwise, the left side leans left going down, the top sinks going right
        sign = -1 if region.axis is Axis.HORIZONTAL else 1
        assert region.angle_deg == pytest.approx(sign * angle_deg, abs=0.15)


@pytest.mark.parametrize("side", [80.0, 120.0, 400.0])
def test_small_and_large_squares_give_edges_that_read_alike(side: float) -> None:
    resolution = measured(squares([(750, 500)], side=side))
    assert {each.region.axis for each in resolution.edges} == set(Axis)
    assert sfr50s(resolution) == pytest.approx(SFR50 / SIGMA, rel=0.015)


def test_each_ninth_of_a_frame_gives_its_own_edges() -> None:
    resolution = measured(squares(NINE))
    assert [(each.region.zone, each.region.axis) for each in resolution.edges] == [
        (zone, axis) for zone in Zone for axis in Axis
    ]
    assert not resolution.refused
    assert sfr50s(resolution) == pytest.approx(SFR50 / SIGMA, rel=0.015)


def test_regions_hold_their_edge_and_even_light_beside_it() -> None:
    for placed in measured(squares(NINE, noise=0.003)).edges:
        assert placed.measure.axis is placed.region.axis
        assert placed.measure.angle_deg == pytest.approx(placed.region.angle_deg, abs=0.15)
        assert placed.measure.flat_px >= 20
        assert placed.measure.rows >= 100
        assert placed.measure.cautions == ()


def test_large_frames_are_searched_reduced_and_measured_in_full() -> None:
    pixels = squares([(1500, 1000)], side=400, width=4000, height=3000)
    assert pixels.reduced(1500).factor == 3
    assert sfr50s(measured(pixels)) == pytest.approx(SFR50 / SIGMA, rel=0.015)


def test_grey_frames_give_edges_too() -> None:
    assert {each.axis for each in found(squares([(750, 500)], bands=1))} == set(Axis)


def test_patch_borders_of_a_target_that_lies_askew_are_edges() -> None:
    places = [(300.0 + 220 * column, 250.0 + 220 * row) for row in range(3) for column in range(5)]
    resolution = measured(squares(places, side=130, angle_deg=4.0))
    assert len(resolution.edges) >= 10
    assert sfr50s(resolution) == pytest.approx(SFR50 / SIGMA, rel=0.02)


def test_a_long_border_is_measured_in_parts() -> None:
    x, y = np.arange(1500)[None, :] + 0.5, np.arange(1000)[:, None] + 0.5
    turn = math.radians(3)
    linear = 0.1 + 0.5 * step((x - 700) * math.cos(turn) - (y - 500) * math.sin(turn))
    resolution = measured(coded(linear))
    assert [each.region.zone for each in resolution.edges] == [Zone.UPPER, Zone.CENTRE, Zone.LOWER]
    assert all(each.measure.rows <= 300 for each in resolution.edges)


def test_a_soft_corner_is_the_softest_edge() -> None:
    codes = codes_of(squares(NINE))
    corner = codes[:320, :480].astype(np.float64)
    for _ in range(3):
        corner[1:-1] = (corner[:-2] + corner[1:-1] + corner[2:]) / 3
        corner[:, 1:-1] = (corner[:, :-2] + corner[:, 1:-1] + corner[:, 2:]) / 3
    codes[:320, :480] = corner
    resolution = measured(ArrayPixels(codes))
    assert resolution.softest.region.zone is Zone.UPPER_LEFT
    assert resolution.most_sharpened.region.zone is not Zone.UPPER_LEFT
    assert resolution.softest.measure.luminance.sampling_efficiency < 0.7


def test_the_worst_registration_of_all_edges_is_reported() -> None:
    codes = codes_of(squares(NINE))
    codes[:, 1:, 0] = codes[:, :-1, 0].copy()
    worst = measured(ArrayPixels(codes)).worst_misregistration_px
    assert worst == pytest.approx(math.cos(math.radians(5)), abs=0.01)


# ----------------------------------------------------------------------------------- nothing to find


@pytest.mark.parametrize("angle_deg", [0.0, 0.8, 20.0, 45.0])
def test_straight_and_steep_squares_give_no_edges(angle_deg: float) -> None:
    assert isinstance(find_edges(squares([(750, 500)], angle_deg=angle_deg)), NotMeasured)


def test_discs_give_no_edges() -> None:
    y, x = np.indices((1000, 1500))
    linear = 0.6 - 0.5 * step(150 - np.hypot(x - 700, y - 500))
    resolution = measure_edges(coded(linear), GAMMA)
    assert isinstance(resolution, NotMeasured)


def test_slanted_strokes_of_writing_give_no_edges() -> None:
    y, x = np.indices((1000, 1500))
    strokes = ((x + y * 0.1) % 24 < 5) & (y % 60 < 30)
    assert isinstance(measure_edges(coded(np.where(strokes, 0.1, 0.6)), GAMMA), NotMeasured)


@pytest.mark.parametrize("noise", [0.0, 0.01, 0.05])
def test_plain_boards_give_no_edges(noise: float) -> None:
    refused = measure_edges(coded(np.full((600, 800), 0.4), noise=noise), GAMMA)
    assert isinstance(refused, NotMeasured)
    assert "no straight edge" in refused.reason


def test_frames_too_small_to_search_say_so() -> None:
    assert isinstance(find_edges(ArrayPixels(np.zeros((20, 30), np.uint8))), NotMeasured)
    assert isinstance(find_edges(ArrayPixels(np.zeros((1, 1, 3), np.uint16))), NotMeasured)


def test_edges_that_are_clipped_are_listed_with_the_reason() -> None:
    clipped = codes_of(squares([(250, 250), (1250, 750)]))
    clipped[:, :750] = np.minimum(clipped[:, :750] * 1.4, 65535)
    resolution = measured(ArrayPixels(clipped))
    assert {each.region.zone for each in resolution.edges} == {Zone.RIGHT, Zone.LOWER_RIGHT}
    assert {each.region.zone for each in resolution.refused} == {Zone.UPPER_LEFT, Zone.LEFT}
    assert all("end of the scale" in each.reason for each in resolution.refused)
    nothing = measure_edges(ArrayPixels(clipped[:500, :700]), GAMMA)
    assert isinstance(nothing, NotMeasured)
    assert "end of the scale" in nothing.reason


# ------------------------------------------------------------------------------------ the demo's truth


@pytest.mark.parametrize(
    ("facts", "ppi"),
    [(truth.SMALL, 600.0), (truth.LARGE, 400.0), (truth.GREY, 600.0)],
)
def test_the_demo_s_targets_read_as_their_truth_says(facts: TargetTruth, ppi: float) -> None:
    is_grey = facts.kind != "24-patch"
    profile = read_profile(grey_profile() if is_grey else rgb_profile())
    assert isinstance(profile, Profile)
    plate = Plate(width_mm=facts.size_mm[0], height_mm=facts.size_mm[1], ppi=ppi)
    pixels = ArrayPixels(targets.target(plate, facts, seed=5).codes())
    resolution = measure_edges(pixels, profile)
    assert isinstance(resolution, Resolution)
    zones = (Zone.UPPER_LEFT, Zone.UPPER_RIGHT, Zone.CENTRE, Zone.LOWER_LEFT, Zone.LOWER_RIGHT)
    places = {(each.region.zone, each.region.axis) for each in resolution.edges}
    assert places >= {(zone, axis) for zone in zones for axis in Axis}
    assert not resolution.refused
    expected = SFR50 / facts.edge_sigma_px
    for each in resolution.edges:
        found = each.measure.luminance
        assert isinstance(found.sfr50_cy_px, float)
        assert abs(found.sfr50_cy_px - expected) < 0.012 * expected + 3 * found.sfr50_scatter_cy_px
        assert abs(each.measure.angle_deg) == pytest.approx(facts.edge_angle_deg, abs=0.03)
        assert found.maximum < 1.005
    if not is_grey:
        assert isinstance(resolution.worst_misregistration_px, float)
        assert resolution.worst_misregistration_px < 0.02


def test_eighteen_edges_of_a_frame_take_a_fraction_of_a_second() -> None:
    pixels = squares(NINE, noise=0.003)
    measured(pixels)
    taken = []
    for _ in range(3):
        start = process_time()
        measured(pixels)
        taken.append(process_time() - start)
    assert min(taken) < 1.0  # 0.3 s on a quiet machine for eighteen edges, the reduced picture at hand
