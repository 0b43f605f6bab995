"""Skew, keystone and bow of sheets and lines that were drawn with known ones."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pipeline.measure.geometry import (
    Direction,
    Keystone,
    SheetSkew,
    TextLines,
    keystone_of_points,
    sheet_keystone,
    sheet_skew,
    text_lines,
)
from pipeline.measure.outline import Outline, Point, find_outline
from pipeline.measure.pixels import ArrayPixels, NotMeasured
from tests.measure.sheets import Sheet


def skew_of(sheet: Sheet) -> SheetSkew:
    found = sheet_skew(find_outline(sheet.pixels()))
    assert isinstance(found, SheetSkew)
    return found


def lines_of(sheet: Sheet, *, with_outline: bool = True) -> TextLines:
    pixels = sheet.pixels()
    outline = find_outline(pixels) if with_outline else NotMeasured(reason="not looked for")
    found = text_lines(pixels, outline)
    assert isinstance(found, TextLines)
    return found


# ----------------------------------------------------------------------------------------- the sheet


@pytest.mark.parametrize("turn_deg", [-10, -5, -0.5, -0.1, 0, 0.1, 0.3, 1, 2.4, 10])
@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_skew_of_a_sheet_is_its_turn(turn_deg: float, noise: float) -> None:
    skew = skew_of(Sheet(turn_deg=turn_deg, noise=noise))
    assert skew.angle_deg == pytest.approx(turn_deg, abs=0.03)
    assert skew.level_deg == pytest.approx(turn_deg, abs=0.03)
    assert skew.upright_deg == pytest.approx(turn_deg, abs=0.03)
    assert skew.bottom_deg == pytest.approx(turn_deg, abs=0.03)
    assert skew.is_of_pairs


@pytest.mark.parametrize("tilt_deg", [1, 3])
def test_keystone_cancels_in_the_skew(tilt_deg: float) -> None:
    assert skew_of(Sheet(turn_deg=1, tilt_deg=tilt_deg)).angle_deg == pytest.approx(1, abs=0.03)


def test_without_a_pair_single_edges_give_the_skew() -> None:
    sheet = Sheet(centre=(150, 150), sheet_width=700, sheet_height=1000, turn_deg=1)
    skew = skew_of(sheet)
    assert not skew.is_of_pairs
    assert skew.angle_deg == pytest.approx(1, abs=0.03)


def test_skew_of_no_outline_is_not_measured_and_says_why() -> None:
    reason = NotMeasured(reason="it fills the frame")
    assert sheet_skew(reason) is reason
    assert sheet_keystone(reason) is reason


def test_what_is_missing_of_an_outline_is_named() -> None:
    outline = find_outline(Sheet(centre=(150, 450), turn_deg=1).pixels())
    assert isinstance(outline, Outline)
    keystone = sheet_keystone(outline)
    assert isinstance(keystone, NotMeasured)
    assert "four edges" in keystone.reason
    skew = sheet_skew(replace(outline, right=outline.left))
    assert isinstance(skew, SheetSkew)
    assert isinstance(skew.upright_deg, NotMeasured)


# ------------------------------------------------------------------------------------------ keystone


def projected(width: float, height: float, distance: float, tilt_deg: float) -> Keystone:
    """A rectangle of these millimetres, tilted about a level axis so that its upper edge is further."""
    tilt = math.radians(tilt_deg)

    def point(x: float, y: float) -> Point:
        scale = 4000 / (distance - y * math.sin(tilt))
        return Point(x_px=x * scale, y_px=y * math.cos(tilt) * scale)

    w, h = width / 2, height / 2
    found = keystone_of_points((point(-w, -h), point(w, -h), point(w, h), point(-w, h)))
    assert isinstance(found, Keystone)
    return found


def test_a_tilted_plane_converges_as_the_closed_form_says() -> None:
    """Projection of a plane at distance d tilted by φ: sides converge by 2·atan(W·tan φ / (2d)), lengths
    stand as (d + ½H·sin φ)/(d − ½H·sin φ): 0.300° and 0.70 % for 300 × 400 mm at 1 m and 1°."""
    keystone = projected(300, 400, 1000, 1)
    assert keystone.sides_deg == pytest.approx(0.300, abs=0.0005)
    assert keystone.widths_share == pytest.approx(0.0070, abs=0.00005)
    assert keystone.levels_deg == pytest.approx(0, abs=1e-9)
    assert keystone.heights_share == pytest.approx(0, abs=1e-9)
    for tilt_deg in (-5.0, 0.2, 2.0, 8.0):
        tilt = math.radians(tilt_deg)
        expected = 2 * math.atan(300 * math.tan(tilt) / 2000)
        assert projected(300, 400, 1000, tilt_deg).sides_deg == pytest.approx(math.degrees(expected))
        ratio = (1000 + 200 * math.sin(tilt)) / (1000 - 200 * math.sin(tilt))
        share = projected(300, 400, 1000, tilt_deg).widths_share
        assert (2 + share) / (2 - share) == pytest.approx(ratio)


@pytest.mark.parametrize("tilt_deg", [-3, 1, 3])
@pytest.mark.parametrize("turn_deg", [-4, 0, 0.5])
def test_keystone_of_a_sheet_is_that_of_its_tilt(tilt_deg: float, turn_deg: float) -> None:
    sheet = Sheet(tilt_deg=tilt_deg, turn_deg=turn_deg)
    found, true = sheet_keystone(find_outline(sheet.pixels())), keystone_of_points(sheet.corners())
    assert isinstance(found, Keystone)
    assert isinstance(true, Keystone)
    assert true.sides_deg == pytest.approx(
        math.degrees(2 * math.atan(480 * math.tan(math.radians(tilt_deg)) / 4000))
    )
    assert found.sides_deg == pytest.approx(true.sides_deg, abs=0.03)
    assert found.levels_deg == pytest.approx(0, abs=0.03)
    assert found.widths_share == pytest.approx(true.widths_share, abs=0.0005)
    assert found.lean_deg == pytest.approx(0, abs=0.03)


def test_a_parallelogram_leans_and_has_no_keystone() -> None:
    found = keystone_of_points(
        (
            Point(x_px=0, y_px=0),
            Point(x_px=100, y_px=0),
            Point(x_px=90, y_px=200),
            Point(x_px=-10, y_px=200),
        )
    )
    assert isinstance(found, Keystone)
    assert (found.sides_deg, found.levels_deg, found.widths_share) == (0, 0, 0)
    assert found.lean_deg == pytest.approx(math.degrees(math.atan(0.05)))


def test_points_out_of_order_are_no_rectangle() -> None:
    points = (
        Point(x_px=100, y_px=0),
        Point(x_px=0, y_px=0),
        Point(x_px=0, y_px=100),
        Point(x_px=100, y_px=100),
    )
    assert isinstance(keystone_of_points(points), NotMeasured)


# ------------------------------------------------------------------------------------- lines of text


@pytest.mark.parametrize("turn_deg", [-10, -5, -0.5, -0.1, 0, 0.1, 0.3, 1, 2.4, 10])
def test_skew_of_text_is_its_turn(turn_deg: float) -> None:
    found = lines_of(Sheet(turn_deg=turn_deg))
    assert found.direction is Direction.LEVEL
    assert found.angle_deg == pytest.approx(turn_deg, abs=0.05)
    assert abs(found.bow_px) < 0.3


@pytest.mark.parametrize(
    "sheet",
    [
        Sheet(noise=0.02),
        Sheet(bits=16, bands=1, paper=0.35, ground=0.2, ink=0.1),
        Sheet(paper=0.2, ground=0.8, ink=0.9),
        Sheet(lines=8),
        Sheet(lines=30, pitch=18),
    ],
    ids=["noise", "faint", "light on dark", "few lines", "close lines"],
)
@pytest.mark.parametrize("turn_deg", [-2.4, 0.3])
def test_neither_noise_nor_tone_nor_number_of_lines_moves_it(sheet: Sheet, turn_deg: float) -> None:
    assert lines_of(replace(sheet, turn_deg=turn_deg)).angle_deg == pytest.approx(turn_deg, abs=0.06)


@pytest.mark.parametrize("turn_deg", [-5, 0.3, 2.4])
def test_upright_lines_are_told_and_measured(turn_deg: float) -> None:
    found = lines_of(Sheet(lines=14, is_upright=True, turn_deg=turn_deg))
    assert found.direction is Direction.UPRIGHT
    assert found.angle_deg == pytest.approx(turn_deg, abs=0.05)


@pytest.mark.parametrize("bow", [-6, -3, 3, 6])
@pytest.mark.parametrize("turn_deg", [0, 2.4])
def test_bow_is_that_of_the_lines(bow: float, turn_deg: float) -> None:
    found = lines_of(Sheet(bow=bow, turn_deg=turn_deg))
    assert found.bow_px == pytest.approx(bow * (found.length_px / 384) ** 2, abs=0.6)
    assert found.angle_deg == pytest.approx(turn_deg, abs=0.15)
    assert found.bow_share == pytest.approx(found.bow_px / found.length_px)


def test_text_is_measured_without_an_outline_too() -> None:
    sheet = Sheet(sheet_width=900, sheet_height=1200, turn_deg=1.3)
    assert lines_of(sheet, with_outline=False).angle_deg == pytest.approx(1.3, abs=0.05)


@pytest.mark.parametrize("turn_deg", [0, 3])
def test_a_blank_sheet_has_no_lines(turn_deg: float) -> None:
    pixels = Sheet(lines=0, turn_deg=turn_deg, noise=0.01).pixels()
    assert isinstance(text_lines(pixels, find_outline(pixels)), NotMeasured)


def test_scattered_marks_are_no_lines() -> None:
    rng = np.random.default_rng(5)
    codes = np.full((900, 700), 220, np.uint8)
    for x, y in rng.integers([20, 20], [670, 870], (300, 2)):
        codes[y : y + 8, x : x + 8] = 40
    assert isinstance(text_lines(ArrayPixels(codes), NotMeasured(reason="")), NotMeasured)


def test_a_tiny_area_is_not_measured() -> None:
    assert isinstance(
        text_lines(ArrayPixels(np.zeros((60, 60), np.uint8)), NotMeasured(reason="")), NotMeasured
    )
