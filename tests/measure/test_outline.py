"""The outline of a sheet of known place."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.measure.outline import Edge, Outline, Point, Side, block_means, find_outline
from pipeline.measure.pixels import ArrayPixels, Box, NotMeasured
from tests.measure.sheets import Sheet


def outline_of(sheet: Sheet) -> Outline:
    found = find_outline(sheet.pixels())
    assert isinstance(found, Outline)
    return found


def furthest_corner_px(outline: Outline, sheet: Sheet) -> float:
    found = [corner for corner in outline.corners if isinstance(corner, Point)]
    assert len(found) == 4
    return max(
        math.hypot(one.x_px - two.x_px, one.y_px - two.y_px)
        for one, two in zip(found, sheet.corners(), strict=True)
    )


@pytest.mark.parametrize("turn_deg", [-10, -2.4, -0.1, 0, 0.1, 1, 5, 10])
def test_corners_and_angles_are_those_of_the_sheet(turn_deg: float) -> None:
    sheet = Sheet(turn_deg=turn_deg)
    outline = outline_of(sheet)
    assert furthest_corner_px(outline, sheet) < 0.1
    assert all(abs(edge.angle_deg - turn_deg) < 0.01 for edge in outline.edges)
    assert outline.confidence > 0.8


@pytest.mark.parametrize(
    "sheet",
    [
        Sheet(noise=0.02),
        Sheet(bits=16, bands=1, paper=0.3, ground=0.2, ink=0.1),
        Sheet(paper=0.2, ground=0.8, ink=0.9),
        Sheet(lines=0),
        Sheet(tilt_deg=4),
        Sheet(lines=14, is_upright=True),
    ],
    ids=["noise", "faint", "dark sheet", "blank", "tilted", "upright lines"],
)
@pytest.mark.parametrize("turn_deg", [-3.0, 0.3])
def test_neither_noise_nor_tone_nor_writing_moves_it(sheet: Sheet, turn_deg: float) -> None:
    turned = replace(sheet, turn_deg=turn_deg)
    assert furthest_corner_px(outline_of(turned), turned) < 0.15


def test_angles_stay_within_the_bound_in_frames_of_many_sizes() -> None:
    for scale in (0.6, 2.0):
        sheet = Sheet(
            width=round(700 * scale),
            height=round(900 * scale),
            sheet_width=480 * scale,
            sheet_height=640 * scale,
            centre=(350 * scale, 450 * scale),
            pitch=28 * scale,
            turn_deg=0.7,
            noise=0.02,
        )
        outline = outline_of(sheet)
        assert all(abs(edge.angle_deg - 0.7) < 0.03 for edge in outline.edges)
        assert furthest_corner_px(outline, sheet) < 0.5


@settings(max_examples=8, deadline=None)
@given(st.floats(-10, 10), st.floats(0, 4), st.integers(0, 999))
def test_any_turn_and_tilt_is_found(turn_deg: float, tilt_deg: float, seed: int) -> None:
    sheet = Sheet(turn_deg=turn_deg, tilt_deg=tilt_deg, noise=0.01, seed=seed)
    assert furthest_corner_px(outline_of(sheet), sheet) < 0.3


def test_an_edge_that_the_frame_cuts_off_is_not_measured() -> None:
    outline = outline_of(Sheet(centre=(150, 450), turn_deg=1))
    assert isinstance(outline.left, NotMeasured)
    assert [edge.side for edge in outline.edges] == [Side.TOP, Side.RIGHT, Side.BOTTOM]
    assert all(abs(edge.angle_deg - 1) < 0.03 for edge in outline.edges)
    upper_left, upper_right, lower_right, lower_left = outline.corners
    assert isinstance(upper_left, NotMeasured)
    assert isinstance(lower_left, NotMeasured)
    assert isinstance(upper_right, Point)
    assert isinstance(lower_right, Point)


@pytest.mark.parametrize(
    "sheet",
    [Sheet(sheet_width=900, sheet_height=1200), Sheet(ground=0.85, lines=0), Sheet(ground=0.85)],
    ids=["fills the frame", "blank on its own tone", "written on its own tone"],
)
def test_a_sheet_that_does_not_stand_out_is_not_measured(sheet: Sheet) -> None:
    found = find_outline(sheet.pixels())
    assert isinstance(found, NotMeasured)
    assert "stands out" in found.reason


def test_a_frame_too_small_is_not_measured() -> None:
    assert isinstance(find_outline(ArrayPixels(np.zeros((90, 110), np.uint8))), NotMeasured)


def test_the_leaf_counts_not_the_board_beneath_it() -> None:
    sheet = Sheet(turn_deg=0.5)
    codes = sheet.codes()
    board = Sheet(turn_deg=-2, sheet_width=540, sheet_height=700, lines=0, paper=0.22).codes()
    under = np.where(codes < 0.22 * 255, np.maximum(board, codes), codes)
    found = find_outline(ArrayPixels(under))
    assert isinstance(found, Outline)
    assert furthest_corner_px(found, sheet) < 2


def test_a_straight_strip_over_an_edge_lowers_its_coverage_alone() -> None:
    sheet = Sheet()
    codes = sheet.codes().copy()
    codes[300:460, 80:200] = codes[450, 350]
    found = find_outline(ArrayPixels(codes))
    assert isinstance(found, Outline)
    assert isinstance(found.left, Edge)
    assert found.left.coverage == pytest.approx(1 - 160 / 640, abs=0.05)
    assert found.left.angle_deg == pytest.approx(0, abs=0.01)


def test_scatter_bow_and_spread_are_those_of_the_edge() -> None:
    codes = np.full((900, 700), 30, np.uint8)
    rows = np.arange(100, 800)
    # the left edge bulges outwards by 4 px in its middle; a wave of 1 px runs along it
    place = 110 - 4 * (1 - ((rows - 450) / 350) ** 2) + np.sin(rows / 4)
    for row, left in zip(rows, place, strict=True):
        codes[row, round(left) : 590] = 220
    found = find_outline(ArrayPixels(codes))
    assert isinstance(found, Outline)
    assert isinstance(found.left, Edge)
    assert isinstance(found.right, Edge)
    assert found.left.bow_px == pytest.approx(4, abs=0.3)
    assert 0.5 < found.left.scatter_px < 2
    assert abs(found.left.angle_deg) < 3 * found.left.angle_sd_deg
    assert found.left.step == pytest.approx(190 / 255, abs=0.02)
    assert found.right.scatter_px < 0.05


def test_columns_are_those_of_the_sheet() -> None:
    sheet = Sheet(turn_deg=8, lines=0, noise=0)
    outline, codes = outline_of(sheet), sheet.codes()
    begins, ends = outline.columns(np.arange(sheet.height, dtype=np.float64) + 0.5)
    lengths = np.maximum(ends - begins, 0)
    assert lengths == pytest.approx((codes[..., 0] > 128).sum(axis=1), abs=2)


def test_the_inner_box_lies_in_the_sheet() -> None:
    sheet = Sheet(turn_deg=3, lines=0, noise=0)
    outline = outline_of(sheet)
    box = outline.inner_box()
    crop = sheet.pixels().crop(box)
    assert crop.min() > 200
    assert box.width > 400
    smaller = outline.inner_box(margin_share=0.05)
    assert smaller == Box(left=box.left + 45, top=box.top + 45, width=box.width - 90, height=box.height - 90)


def test_means_of_squares_leave_out_what_does_not_fill_one() -> None:
    plane = np.arange(35, dtype=np.float32).reshape(5, 7)
    assert block_means(plane, 2) == pytest.approx(np.array([[4, 6, 8], [18, 20, 22]]))
