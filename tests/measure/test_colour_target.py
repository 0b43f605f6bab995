"""Targets are found where they are, at any turn, tilt and shade; where none is, none is found."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import demo_data
from demo_data import colour, plan, truth
from demo_data.plate import Plate
from demo_data.targets import target as drawn_target
from pipeline import icc
from pipeline.measure import references
from pipeline.measure.colour_target import FoundTarget, find_target, find_targets
from pipeline.measure.pixels import ArrayPixels, NotMeasured, Pixels, shares_of
from pipeline.measure.profile import Profile, profile_of_space, read_profile
from tests.measure.scenes import TargetScene, random_page, random_scene

SRGB = profile_of_space(icc.SRGB)


def found(pixels: Pixels, profile: Profile = SRGB) -> FoundTarget:
    target = find_target(pixels, profile)
    assert isinstance(target, FoundTarget), target
    return target


def in_scene(scene: TargetScene) -> FoundTarget:
    return found(scene.pixels(), profile_of_space(scene.space))


def off_px(target: FoundTarget, scene: TargetScene) -> float:
    """Largest distance of a patch's centre from the truth."""
    places = np.array([target.centre_px(number) for number in range(24)])
    return float(np.linalg.norm(places - scene.places(), axis=1).max())


SMALL = TargetScene(width=640, height=480, centre=(320, 240), pitch=48)


@pytest.mark.parametrize("turn", [-180.0, -135.0, -90.0, -33.0, 0.0, 4.0, 45.0, 90.0, 171.0])
def test_the_turn_is_told_by_the_colours(turn: float) -> None:
    target = in_scene(replace(SMALL, turn_deg=turn))
    difference = (target.turn_deg - turn + 180) % 360 - 180
    assert difference == pytest.approx(0, abs=0.02)
    assert off_px(target, replace(SMALL, turn_deg=turn)) < 0.1
    assert not target.is_mirrored


@pytest.mark.parametrize("turn", [0.0, 120.0])
def test_a_mirrored_target_is_said_to_be_mirrored(turn: float) -> None:
    scene = replace(SMALL, turn_deg=turn, is_mirrored=True)
    target = in_scene(scene)
    assert target.is_mirrored
    assert off_px(target, scene) < 0.1


@pytest.mark.parametrize("pitch", [10.0, 14.0, 25.0, 70.0])
def test_targets_are_found_from_ten_pixels_a_patch(pitch: float) -> None:
    scene = replace(SMALL, pitch=pitch, turn_deg=11, noise=0.003)
    target = in_scene(scene)
    assert target.columns_px == pytest.approx(pitch, rel=0.002)
    assert off_px(target, scene) < 0.1


@pytest.mark.parametrize("axis", [0.0, 60.0, 100.0])
@pytest.mark.parametrize("tilt", [10.0, 25.0])
def test_a_target_aslant_is_placed_within_a_tenth_of_a_pixel(tilt: float, axis: float) -> None:
    scene = replace(SMALL, tilt_deg=tilt, tilt_axis_deg=axis, turn_deg=8)
    assert off_px(in_scene(scene), scene) < 0.1


@pytest.mark.parametrize("soft", [1.0, 60.0])
@pytest.mark.parametrize("angle", [0.0, 50.0, 90.0])
def test_a_target_half_in_shade_is_found(angle: float, soft: float) -> None:
    """One stop darker beyond a line through the target."""
    scene = replace(SMALL, shade=0.5, shade_at=0.4, shade_angle_deg=angle, shade_soft=soft, turn_deg=5)
    target = in_scene(scene)
    assert target.recognised >= 12
    assert off_px(target, scene) < 0.015 * scene.pitch


@pytest.mark.parametrize("cast", [(1.0, 0.8, 0.55), (0.6, 0.9, 1.0)])
def test_a_cast_and_a_wrong_exposure_do_not_hide_it(cast: tuple[float, float, float]) -> None:
    dark = (0.3 * cast[0], 0.3 * cast[1], 0.3 * cast[2])
    assert in_scene(replace(SMALL, cast=cast)).recognised >= 18
    assert in_scene(replace(SMALL, cast=dark)).recognised >= 12


@pytest.mark.parametrize(("card", "ground"), [(12, 90), (52, 52), (88, 30)])
def test_patches_that_merge_with_the_card_are_placed_by_the_others(card: float, ground: float) -> None:
    scene = replace(SMALL, card=card, ground=ground)
    assert off_px(in_scene(scene), scene) < 0.15


def test_both_pitches_are_told() -> None:
    target = in_scene(replace(SMALL, rows_to_columns=1.06, turn_deg=30))
    assert target.columns_px == pytest.approx(48, rel=0.001)
    assert target.rows_px == pytest.approx(48 * 1.06, rel=0.001)


def test_the_full_picture_may_be_larger_than_the_one_searched() -> None:
    scene = replace(SMALL, width=1600, height=1100, centre=(700, 600), pitch=110, turn_deg=93, noise=0.01)
    pixels = scene.pixels()
    target = found(pixels, profile_of_space(scene.space))
    assert pixels.reduced(1000).factor == 2
    assert off_px(target, scene) < 0.1


def test_the_corners_run_round_the_field_from_the_first_patch() -> None:
    target = in_scene(SMALL)
    left, top = 320 - 3 * 48, 240 - 2 * 48
    expected = [(left, top), (left + 288, top), (left + 288, top + 192), (left, top + 192)]
    assert np.array(target.corners_px) == pytest.approx(np.array(expected), abs=0.1)


def test_two_targets_are_both_found_the_larger_first() -> None:
    codes = np.concatenate([SMALL.codes(), replace(SMALL, pitch=30, turn_deg=90).codes()])
    targets = find_targets(ArrayPixels(codes), profile_of_space(SMALL.space))
    assert isinstance(targets, tuple)
    assert [round(each.columns_px) for each in targets] == [48, 30]


def test_without_a_profile_the_search_goes_on() -> None:
    assert isinstance(find_target(SMALL.pixels(), None), FoundTarget)


@pytest.mark.parametrize("seed", range(8))
def test_targets_are_found_in_scenes_of_every_kind(seed: int) -> None:
    """The first of many: none of 360 scenes was missed, each centre lay within 0.009 of the pitch."""
    scene = random_scene(seed)
    target = in_scene(scene)
    assert off_px(target, scene) < 0.02 * scene.pitch
    assert target.is_mirrored == scene.is_mirrored


# --------------------------------------------------------------------------------------------- no target


@pytest.mark.parametrize("seed", range(8))
def test_no_target_is_found_where_there_is_none(seed: int) -> None:
    """The first of many: none of 360 with swatches, chessboards, albums and writing was taken for one."""
    assert isinstance(find_target(random_page(seed), SRGB), NotMeasured)


def test_swatches_in_the_target_s_layout_but_other_colours_are_no_target() -> None:
    shuffled = tuple(np.random.default_rng(2).permutation(np.array(SMALL.labs)).tolist())
    labs = tuple((float(a), float(b), float(c)) for a, b, c in shuffled)
    assert isinstance(find_target(replace(SMALL, labs=labs).pixels(), SRGB), NotMeasured)


def test_a_target_in_grey_is_said_to_have_no_colour() -> None:
    answer = find_target(ArrayPixels(SMALL.codes()[..., 1]), SRGB)
    assert answer == NotMeasured(reason="the frame has no colour")


def test_a_target_that_was_turned_to_grey_is_none() -> None:
    grey = np.repeat(shares_of(SMALL.codes())[..., 1:2], 3, axis=2)
    pixels = ArrayPixels((grey * 255).astype(np.uint8))
    assert isinstance(find_target(pixels, SRGB), NotMeasured)


def test_a_target_cut_by_the_frame_is_not_measured() -> None:
    answer = find_target(replace(SMALL, centre=(80, 240)).pixels(), SRGB)
    assert isinstance(answer, NotMeasured)


@pytest.mark.parametrize("shape", [(1, 1, 3), (3, 700, 3), (90, 5, 3)])
def test_frames_of_a_few_pixels_are_answered_too(shape: tuple[int, int, int]) -> None:
    assert isinstance(find_target(ArrayPixels(np.zeros(shape, np.uint8)), SRGB), NotMeasured)


# -------------------------------------------------------------------------------------------- the demo

TASKS = demo_data.tasks(Path("library"))
WIDE = read_profile(colour.rgb_profile())


@pytest.mark.parametrize("facts", [truth.SMALL, truth.LARGE], ids=["8 mm pitch", "12 mm pitch"])
def test_targets_of_the_demo_are_found_to_a_twentieth_of_a_pixel(facts: truth.TargetTruth) -> None:
    plate = Plate(width_mm=facts.size_mm[0], height_mm=facts.size_mm[1], ppi=300)
    assert isinstance(WIDE, Profile)
    target = found(ArrayPixels(drawn_target(plate, facts, seed=9).codes()), WIDE)
    true = np.array([facts.centre_mm(number) for number in range(24)]) * plate.px_per_mm
    places = np.array([target.centre_px(number) for number in range(24)])
    assert np.abs(places - true).max() < 0.05
    assert target.columns_px == pytest.approx(facts.pitch_mm * plate.px_per_mm, rel=1e-4)


@pytest.mark.parametrize("item", sorted({each.item for each in TASKS}))
def test_no_page_of_the_demo_is_taken_for_a_target(item: str) -> None:
    pages = [each for each in TASKS if each.item == item and each.kind not in ("target", "flat")][::4]
    assert pages
    assert isinstance(WIDE, Profile)
    for page in pages:
        pixels = ArrayPixels(plan.picture_of(page, scale=0.2).codes())
        assert isinstance(find_target(pixels, WIDE), NotMeasured), page.file


REAL_PAGES = os.environ.get("REAL_PAGES", "")


@pytest.mark.skipif(not REAL_PAGES, reason="REAL_PAGES names no folder of photographs of pages")
def test_no_real_page_is_taken_for_a_target() -> None:
    pages = sorted(Path(REAL_PAGES).glob("*.jpg"))
    assert pages
    for page in pages:
        pixels = ArrayPixels(np.asarray(Image.open(page).convert("RGB")))
        assert isinstance(find_target(pixels, SRGB), NotMeasured), page.name


def test_reference_of_the_demo_is_the_edition_that_is_the_default() -> None:
    assert references.load().labs == tuple((a, b, c) for _, a, b, c in truth.PATCHES)
    assert references.load().names == tuple(name for name, *_ in truth.PATCHES)
