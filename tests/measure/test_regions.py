"""Even regions: what is joined, what is told from its moments, what is left out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.measure.pixels import Shares
from pipeline.measure.regions import NOISY, Regions, even_regions, local_range, noise_of


def blank(width: int = 200, height: int = 150, level: float = 0.2) -> Shares:
    """A ground that is uneven everywhere: a fine chessboard."""
    chess = np.indices((height, width)).sum(axis=0) % 2 * 0.2
    return np.repeat((level + chess)[..., None], 3, axis=2).astype(np.float32)


def found(shares: Shares) -> Regions:
    return next(even_regions(shares))


@given(st.integers(20, 120), st.integers(20, 100), st.integers(9, 40))
@settings(max_examples=30, deadline=None)
def test_a_square_is_found_where_it_is_and_as_large_as_it_is(left: int, top: int, side: int) -> None:
    shares = blank()
    shares[top : top + side, left : left + side] = 0.7
    regions = found(shares)
    assert regions.count == 1
    assert regions.centres[0].tolist() == [left + side / 2, top + side / 2]
    assert regions.sides[0] == pytest.approx(side)


def test_squares_that_do_not_touch_are_two_regions() -> None:
    shares = blank()
    shares[40:70, 30:60] = 0.7
    shares[40:70, 63:93] = 0.5
    assert found(shares).count == 2


def test_what_is_no_filled_parallelogram_is_left_out() -> None:
    shares = blank(300, 300)
    shares[20:90, 20:90] = 0.7
    shares[35:75, 35:75] = blank(40, 40)  # a frame
    shares[120:140, 20:100] = 0.7  # a strip
    shares[200:280, 200:216] = 0.7  # an L
    shares[264:280, 200:280] = 0.7
    assert found(shares).count == 0


def test_a_long_way_round_is_one_region() -> None:
    """A comb joins at its back alone, after all its teeth have been met."""
    shares = blank()
    for left in range(20, 120, 10):
        shares[20:80, left : left + 6] = 0.7
    shares[74:90, 20:126] = 0.7
    areas = np.array([side**2 for side in found(shares).sides])
    assert not len(areas) or areas.max() < 20 * 20


def test_the_range_is_that_of_the_band_where_it_is_widest() -> None:
    shares = np.zeros((5, 5, 3), np.float32)
    shares[2, 2] = (0.1, 0.3, 0.2)
    ranges = local_range(shares)
    assert ranges[1:4, 1:4] == pytest.approx(np.full((3, 3), 0.3))
    assert ranges[0].max() == ranges[:, 4].max() == 0


@pytest.mark.parametrize("sigma", [0.002, 0.008, 0.02])
def test_noise_is_told_from_what_it_lies_on(sigma: float) -> None:
    rng = np.random.default_rng(5)
    ramp = np.linspace(0.2, 0.8, 400, dtype=np.float32)[None, :, None] * np.ones((300, 1, 3), np.float32)
    ramp[:, 100:180] += 0.1
    noisy = ramp + sigma * rng.standard_normal(ramp.shape).astype(np.float32)
    assert noise_of(noisy) == pytest.approx(sigma, rel=0.06)
    assert len(list(even_regions(noisy))) == (2 if sigma > NOISY else 1)


def test_a_picture_of_a_few_pixels_has_no_regions() -> None:
    assert found(np.zeros((3, 3, 3), np.float32)).count == 0
    assert found(np.zeros((1, 50, 3), np.float32)).count == 0
