"""What measures see of a frame: crops, reduced pictures, and how places in them agree."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.measure.pixels import ArrayPixels, Box, box_means, shares_of

sides = st.integers(1, 90)


def ramp(width: int, height: int, *, dtype: type[np.uint8] | type[np.uint16] = np.uint16) -> ArrayPixels:
    x, y = np.arange(width), np.arange(height)
    return ArrayPixels((200 * y[:, None, None] + x[None, :, None] + np.array([0, 5, 9])).astype(dtype))


def test_facts_of_an_array_are_those_of_its_frame() -> None:
    pixels = ramp(70, 40)
    assert (pixels.width_px, pixels.height_px, pixels.bits, pixels.bands) == (70, 40, 16, 3)


def test_grey_has_one_band_in_its_crops_too() -> None:
    pixels = ArrayPixels(np.zeros((20, 30), np.uint8))
    assert (pixels.bands, pixels.bits) == (1, 8)
    assert pixels.crop(Box(left=3, top=2, width=5, height=4)).shape == (4, 5, 1)
    assert pixels.reduced(10).shares.shape == (6, 10, 1)


@given(st.integers(-50, 90), st.integers(-50, 90), sides, sides)
def test_a_crop_is_what_lies_in_the_picture(left: int, top: int, width: int, height: int) -> None:
    inside = [(x, y) for x in range(left, left + width) for y in range(top, top + height)]
    expected = sum(0 <= x < 70 and 0 <= y < 40 for x, y in inside)
    crop = ramp(70, 40).crop(Box(left=left, top=top, width=width, height=height))
    assert crop.shape[0] * crop.shape[1] == expected
    if expected:
        assert crop[0, 0, 0] == 200 * max(top, 0) + max(left, 0)


@given(st.integers(30, 90), st.integers(30, 90), st.integers(8, 60))
def test_the_reduced_picture_is_about_as_long_as_was_asked(width: int, height: int, long: int) -> None:
    reduced = ramp(width, height).reduced(long)
    side = max(reduced.shares.shape[:2])
    assert side <= 1.5 * long
    assert side >= min(2 / 3 * long, max(width, height)) - 1


def test_places_in_the_reduced_picture_agree_with_the_full_one() -> None:
    reduced = ramp(80, 60).reduced(20)
    assert reduced.factor == 4
    rows, columns = np.indices(reduced.shares.shape[:2]) + 0.5
    expected = 200 * (rows * 4 - 0.5) + columns * 4 - 0.5
    assert reduced.shares[..., 0] * 65535 == pytest.approx(expected, abs=0.05)


def test_means_of_squares_are_shares_of_full_scale() -> None:
    codes = np.full((7, 9, 3), 255, np.uint8)
    assert np.all(box_means(codes, 2, full_scale=255) == 1)
    assert box_means(codes, 2, full_scale=255).shape == (3, 4, 3)
    assert np.all(shares_of(codes) == 1)


def test_the_reduced_picture_is_made_once() -> None:
    pixels = ramp(80, 60)
    assert pixels.reduced(20) is pixels.reduced(20)
