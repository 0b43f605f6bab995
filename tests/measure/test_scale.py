"""Sampling rates that are known: marks, drawn targets and drawn rulers, turned, aslant and noisy."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demo_data import targets, truth
from demo_data.colour import rgb_profile
from demo_data.plate import Plate
from demo_data.truth import TargetTruth
from pipeline.measure.colour_target import FoundTarget, find_target
from pipeline.measure.edge import Axis
from pipeline.measure.lattice import Homography
from pipeline.measure.pixels import ArrayPixels, NotMeasured
from pipeline.measure.profile import Profile, read_profile
from pipeline.measure.scale import (
    RulerScale,
    Scale,
    scale_of_marks,
    scale_of_target,
    scales_of_rulers,
)

Numbers = npt.NDArray[np.float64]

MM_PER_INCH = 25.4
PLACES = np.array([(column, row) for row in range(4) for column in range(6)], np.float64)
MIDDLE = (2.5, 1.5)


def plane(
    *,
    ppi: float,
    pitch_mm: tuple[float, float],
    turn_deg: float = 0.0,
    tilt_deg: float = 0.0,
    centre_px: tuple[float, float] = (350.0, 250.0),
    distance_mm: float = 800.0,
) -> Homography:
    """A grid at `distance_mm` from a pinhole camera, turned in its plane, then tilted about its own y axis.

    In its middle, along the axis of the tilt, it has `ppi`; across it, that times the cosine of the tilt.
    """
    px, turn, tilt = ppi / MM_PER_INCH, math.radians(turn_deg), math.radians(tilt_deg)
    to_mm = np.array(
        [[pitch_mm[0], 0, -MIDDLE[0] * pitch_mm[0]], [0, pitch_mm[1], -MIDDLE[1] * pitch_mm[1]], [0, 0, 1]]
    )
    turned = np.array([[math.cos(turn), -math.sin(turn), 0], [math.sin(turn), math.cos(turn), 0], [0, 0, 1]])
    seen = np.array([[math.cos(tilt), 0, 0], [0, 1, 0], [math.sin(tilt) / distance_mm, 0, 1]])
    to_px = np.array([[px, 0, centre_px[0]], [0, px, centre_px[1]], [0, 0, 1]])
    return Homography(to_px @ seen @ turned @ to_mm)


def measured(found: Scale | NotMeasured) -> Scale:
    assert isinstance(found, Scale), found
    return found


# ---------------------------------------------------------------------------------------------- marks


@given(st.floats(100, 1200), st.floats(-180, 180), st.floats(5, 60), st.floats(0.9, 1.1))
@settings(max_examples=60, deadline=None)
def test_marks_of_a_grid_give_its_scale_at_any_turn(
    ppi: float, turn: float, pitch: float, ratio: float
) -> None:
    # two published layouts of the target have pitches in the ratio 1 and 0.946: both are to be given
    pitches = (pitch, pitch * ratio)
    found = measured(scale_of_marks(PLACES, plane(ppi=ppi, pitch_mm=pitches, turn_deg=turn)(PLACES), pitches))
    assert found.ppi == pytest.approx(ppi, rel=1e-9)
    assert found.horizontal_ppi == pytest.approx(ppi, rel=1e-9)
    assert found.vertical_ppi == pytest.approx(ppi, rel=1e-9)
    assert found.largest_ppi == pytest.approx(found.smallest_ppi, rel=1e-9)
    assert found.marks == 24


@pytest.mark.parametrize("tilt_deg", [2.0, 10.0, 20.0])
@pytest.mark.parametrize("turn_deg", [0.0, 90.0])
def test_a_grid_that_is_seen_aslant_gives_the_scale_of_its_middle(tilt_deg: float, turn_deg: float) -> None:
    seen = plane(ppi=400, pitch_mm=(10, 10), tilt_deg=tilt_deg, turn_deg=turn_deg)
    found = measured(scale_of_marks(PLACES, seen(PLACES), (10, 10)))
    assert found.vertical_ppi == pytest.approx(400, rel=1e-6)
    assert found.horizontal_ppi == pytest.approx(400 * math.cos(math.radians(tilt_deg)), rel=1e-6)
    assert found.smallest_ppi < found.ppi < found.largest_ppi


def test_a_scanner_with_unequal_steps_shows_as_anisotropy() -> None:
    seen = plane(ppi=400, pitch_mm=(10, 10), turn_deg=30)(PLACES) * np.array([1.01, 1.0])
    found = measured(scale_of_marks(PLACES, seen, (10, 10)))
    assert found.anisotropy == pytest.approx(0.01, abs=1e-6)
    assert found.horizontal_ppi == pytest.approx(404, rel=1e-6)


def test_the_header_s_resolution_is_compared_as_a_share() -> None:
    # 157 px/cm, which a header in whole numbers makes of 400 ppi, is 398.78
    found = measured(scale_of_marks(PLACES, plane(ppi=400, pitch_mm=(10, 10))(PLACES), (10, 10)))
    assert found.error(400) == pytest.approx(0, abs=1e-9)
    assert found.error(398.78) == pytest.approx(0.00306, abs=1e-5)


def test_scatter_is_what_jitter_of_the_marks_makes_of_the_scale() -> None:
    # the slope of marks at u with jitter s has the deviation s / √Σ(u - mean)²
    rng = np.random.default_rng(1)
    true = plane(ppi=400, pitch_mm=(10, 10), turn_deg=3)(PLACES)
    found = [
        measured(scale_of_marks(PLACES, true + rng.normal(0, 0.5, true.shape), (10, 10))) for _ in range(200)
    ]
    spread = float(np.std([each.ppi for each in found]))
    assert spread == pytest.approx(float(np.mean([each.scatter_ppi for each in found])), rel=0.25)
    assert np.mean([each.ppi for each in found]) == pytest.approx(400, abs=4 * spread / math.sqrt(200))


def test_a_mark_far_off_is_left_out() -> None:
    seen = plane(ppi=400, pitch_mm=(10, 10), turn_deg=3)(PLACES) + np.random.default_rng(2).normal(
        0, 0.1, (24, 2)
    )
    seen[7] += 12
    found = measured(scale_of_marks(PLACES, seen, (10, 10)))
    assert found.marks == 23
    assert found.ppi == pytest.approx(400, rel=0.0005)


def test_too_few_marks_and_marks_in_a_row_are_refused() -> None:
    seen = plane(ppi=400, pitch_mm=(10, 10))(PLACES)
    few, row = (
        scale_of_marks(PLACES[:7], seen[:7], (10, 10)),
        scale_of_marks([(x, 0) for x in range(9)], [(x, 5) for x in range(9)], (1, 1)),
    )
    assert isinstance(few, NotMeasured)
    assert isinstance(row, NotMeasured)


# ------------------------------------------------------------------------------------------- a target


WIDTH, HEIGHT = 700, 500


def drawn_target(seen: Homography, *, noise: float = 0.0, bits: int = 16) -> ArrayPixels:
    """Patches of many greys on a dark card: means of 4 × 4 points in each pixel, a little soft."""
    points = [(each + 0.5) / 4 for each in range(4)]
    codes = np.mean([_patches(seen, dx, dy) for dx in points for dy in points], axis=0)
    for axis in (0, 1):
        codes = codes / 2 + (np.roll(codes, 1, axis) + np.roll(codes, -1, axis)) / 4
    if noise:
        codes = codes + np.random.default_rng(4).normal(0, noise, codes.shape)
    scaled = np.clip(codes, 0, 1) * (2**bits - 1) + 0.5
    return ArrayPixels(scaled.astype(np.uint8) if bits == 8 else scaled.astype(np.uint16))


def _patches(seen: Homography, dx: float, dy: float, *, patch: float = 0.876) -> Numbers:
    """What is at a point of each pixel. A patch has 0.876 of the pitch, as published for a large target."""
    greys = np.linspace(0.25, 0.9, 24)[np.random.default_rng(3).permutation(24)]
    x, y = np.arange(WIDTH)[None, :] + dx, np.arange(HEIGHT)[:, None] + dy
    inverse = np.linalg.inv(seen.matrix)
    column, row, w = (each[0] * x + each[1] * y + each[2] for each in inverse)
    column, row = column / w, row / w
    near_column, near_row = np.rint(column), np.rint(row)
    is_in = (near_column == near_column.clip(0, 5)) & (near_row == near_row.clip(0, 3))
    is_in &= (np.abs(column - near_column) < patch / 2) & (np.abs(row - near_row) < patch / 2)
    number = (near_row.clip(0, 3) * 6 + near_column.clip(0, 5)).astype(int)
    return np.where(is_in, greys[number], 0.12)


@pytest.mark.parametrize(("turn_deg", "tilt_deg"), [(0.5, 0), (3, 0), (-40, 0), (88, 5), (178, 15)])
@pytest.mark.parametrize(("bits", "noise"), [(16, 0.0), (8, 0.01)])
def test_patches_give_the_scale_from_a_grid_that_is_roughly_known(
    turn_deg: float, tilt_deg: float, bits: int, noise: float
) -> None:
    seen = plane(ppi=150, pitch_mm=(11.0, 11.0), turn_deg=turn_deg, tilt_deg=tilt_deg, distance_mm=400)
    rough = Homography(
        np.array([[1, 0, 1.0], [0, 1, -0.8], [0, 0, 1]]) @ seen.matrix @ np.diag([1.003, 0.997, 1])
    )
    found = measured(scale_of_target(drawn_target(seen, noise=noise, bits=bits), rough, (11.0, 11.0)))
    assert found.marks >= 20
    assert found.vertical_ppi == pytest.approx(150, rel=0.0003)
    assert found.horizontal_ppi == pytest.approx(150 * math.cos(math.radians(tilt_deg)), rel=0.0003)


def test_a_target_without_borders_is_refused() -> None:
    seen = plane(ppi=150, pitch_mm=(11.0, 11.0))
    plain = ArrayPixels(np.full((HEIGHT, WIDTH, 3), 30000, np.uint16))
    found = scale_of_target(plain, seen, (11.0, 11.0))
    assert isinstance(found, NotMeasured)
    assert "borders" in found.reason


def test_a_target_that_is_cut_off_is_measured_by_what_is_left() -> None:
    seen = plane(ppi=150, pitch_mm=(11.0, 11.0), centre_px=(575.0, 250.0))
    found = measured(scale_of_target(drawn_target(seen), seen, (11.0, 11.0)))
    assert 12 <= found.marks < 24
    assert found.ppi == pytest.approx(150, rel=0.0005)


@pytest.mark.parametrize(
    ("facts", "ppi"),
    [(truth.SMALL, 600.0), (truth.LARGE, 400.0)],
)
def test_the_demo_s_targets_have_the_resolution_that_they_were_drawn_in(
    facts: TargetTruth, ppi: float
) -> None:
    profile = read_profile(rgb_profile())
    assert isinstance(profile, Profile)
    plate = Plate(width_mm=facts.size_mm[0], height_mm=facts.size_mm[1], ppi=ppi)
    pixels = ArrayPixels(targets.target(plate, facts, seed=5).codes())
    target = find_target(pixels, profile)
    assert isinstance(target, FoundTarget)
    patches = measured(scale_of_target(pixels, target.plane, (facts.pitch_mm, facts.pitch_mm)))
    assert patches.error(ppi) == pytest.approx(0, abs=0.0003)
    (ruler,) = rulers(pixels, ppi)
    assert ruler.error(ppi) == pytest.approx(0, abs=0.0002)
    assert ruler.axis is Axis.HORIZONTAL
    assert ruler.ticks == pytest.approx(facts.ruler_length_mm, abs=4)


# ------------------------------------------------------------------------------------------- a ruler


def rulers(pixels: ArrayPixels, expected_ppi: float, tick_mm: float = 1.0) -> tuple[RulerScale, ...]:
    found = scales_of_rulers(pixels, expected_ppi, tick_mm=tick_mm)
    assert not isinstance(found, NotMeasured), found
    return found


def drawn_ruler(
    *,
    ppi: float,
    turn_deg: float = 0.0,
    length_mm: float = 70.0,
    tick_mm: float = 1.0,
    stretch: float = 0.0,
    noise: float = 0.0,
    is_upright: bool = False,
    width: int = 1400,
    height: int = 360,
) -> ArrayPixels:
    """Dark ticks on a light rule on a dark board, every fifth longer; `stretch` of its scale along it."""
    px, turn = ppi / MM_PER_INCH, math.radians(turn_deg)
    total, fine = np.zeros((height, width)), (2, 3)
    for part in range(fine[0] * fine[1]):
        down, right = divmod(part, fine[1])
        y = np.arange(height)[:, None] + (down + 0.5) / fine[0] - height / 2
        x = np.arange(width)[None, :] + (right + 0.5) / fine[1] - width / 2
        along, across = (
            (x * math.cos(turn) + y * math.sin(turn)) / px,
            (y * math.cos(turn) - x * math.sin(turn)) / px,
        )
        along = along * (1 - stretch * along / length_mm)  # to second order, how a tilted ruler is seen
        number = np.rint(along / tick_mm)
        is_rule = (np.abs(along) < length_mm / 2 + 2) & (across > -2) & (across < 8)
        is_tick = (np.abs(along - number * tick_mm) < 0.1 * tick_mm) & (np.abs(along) < length_mm / 2 + 0.2)
        is_tick &= (across > -1) & (across < np.where(number % 5 == 0, 4, 2.5))
        total += np.where(is_rule & ~is_tick, 0.85, 0.2)
    codes = total / (fine[0] * fine[1])
    codes = codes + np.random.default_rng(6).normal(0, noise, codes.shape) if noise else codes
    pixels = np.asarray(np.clip(codes, 0, 1) * 65535 + 0.5, np.uint16)
    return ArrayPixels(np.asarray(pixels.T if is_upright else pixels, np.uint16))


@pytest.mark.parametrize(
    ("turn_deg", "ppi", "noise", "is_upright"),
    [
        (0.0, 300.0, 0.0, False),
        (0.0, 400.0, 0.01, True),
        (0.7, 300.0, 0.01, True),
        (-2.0, 400.0, 0.0, False),
        (-2.0, 400.0, 0.01, True),
        (5.0, 300.0, 0.01, False),
        (-8.0, 400.0, 0.01, False),
        (8.0, 300.0, 0.0, True),
    ],
)
def test_ticks_give_the_scale_along_a_ruler(
    turn_deg: float, ppi: float, noise: float, is_upright: bool
) -> None:
    pixels = drawn_ruler(ppi=ppi, turn_deg=turn_deg, noise=noise, is_upright=is_upright)
    (found,) = rulers(pixels, ppi * 1.06)
    assert found.axis is (Axis.VERTICAL if is_upright else Axis.HORIZONTAL)
    assert found.ppi == pytest.approx(ppi, rel=0.0005)
    assert found.turn_deg == pytest.approx(-turn_deg if is_upright else turn_deg, abs=0.3)
    assert found.ticks > 40


def test_a_ruler_seen_aslant_gives_the_scale_of_its_middle_and_its_change() -> None:
    # along - stretch·along²/length: the scale changes by twice the stretch from end to end
    (found,) = rulers(drawn_ruler(ppi=400, stretch=0.01), 400)
    assert found.ppi == pytest.approx(400, rel=0.001)
    assert abs(found.change_ppi) == pytest.approx(2 * 0.01 * 400, rel=0.15)


def test_ticks_of_other_distances_can_be_asked_for() -> None:
    # sixteenths of an inch
    tick = MM_PER_INCH / 16
    (found,) = rulers(drawn_ruler(ppi=300, tick_mm=tick), 300, tick_mm=tick)
    assert found.ppi == pytest.approx(300, rel=0.0005)


def test_a_wrong_header_is_found_out() -> None:
    (found,) = rulers(drawn_ruler(ppi=412), 400)
    assert found.error(400) == pytest.approx(0.03, abs=0.0005)


def test_a_ruler_lies_in_its_box() -> None:
    (found,) = rulers(drawn_ruler(ppi=400), 400)
    assert found.box.left == pytest.approx(700 - 35 * 400 / MM_PER_INCH, abs=40)
    assert found.box.right == pytest.approx(700 + 35 * 400 / MM_PER_INCH, abs=40)
    assert found.box.top < 200 < found.box.bottom + 20


@pytest.mark.parametrize("kind", ["plain", "noise", "writing", "one edge"])
def test_frames_without_a_ruler_say_so(kind: str) -> None:
    rng = np.random.default_rng(5)
    codes = {
        "plain": np.full((500, 900), 0.5),
        "noise": rng.uniform(0, 1, (500, 900)),
        "writing": np.where(np.repeat(rng.uniform(0, 1, (20, 225)), 4, axis=1) > 0.7, 0.2, 0.8).repeat(
            25, axis=0
        ),
        "one edge": np.broadcast_to(np.where(np.arange(900) < 450, 0.2, 0.8), (500, 900)),
    }[kind]
    found = scales_of_rulers(ArrayPixels(np.asarray(codes * 60000, np.uint16)), 400)
    assert isinstance(found, NotMeasured)
    assert "no ruler" in found.reason


def test_ticks_too_fine_for_the_pixels_are_refused() -> None:
    found = scales_of_rulers(drawn_ruler(ppi=400), 72)
    assert isinstance(found, NotMeasured)
    assert "px apart" in found.reason


def test_small_frames_get_an_answer() -> None:
    assert isinstance(scales_of_rulers(ArrayPixels(np.zeros((5, 7), np.uint8)), 400), NotMeasured)
