"""Frames against those of their session."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.measure.pixels import NotMeasured
from pipeline.measure.siblings import LEAST_SIBLINGS, SD_PER_MAD, Standing, standings


def deviations(values: list[float | NotMeasured], *, floor: float, is_ratio: bool) -> list[float]:
    return [
        each.deviation_sd
        for each in standings(values, floor=floor, is_ratio=is_ratio)
        if isinstance(each, Standing)
    ]


def test_a_deviation_is_from_the_median_in_robust_standard_deviations() -> None:
    found = deviations([1, 2, 3, 4, 100], floor=0.01, is_ratio=False)
    assert found == pytest.approx([(value - 3) / SD_PER_MAD for value in (1, 2, 3, 4, 100)])


def test_ratios_are_compared_by_their_logarithms() -> None:
    values: list[float | NotMeasured] = [1, 2, 4, 8, 16]
    found = deviations(values, floor=0.01, is_ratio=True)
    assert found == pytest.approx([-2 / SD_PER_MAD, -1 / SD_PER_MAD, 0, 1 / SD_PER_MAD, 2 / SD_PER_MAD])


def test_tiny_differences_in_an_even_session_do_not_stand_out() -> None:
    values: list[float | NotMeasured] = [0.600, 0.601, 0.6, 0.599, 0.6, 0.63]
    last = standings(values, floor=0.03, is_ratio=True)[-1]
    assert isinstance(last, Standing)
    assert last.deviation_sd == pytest.approx(math.log(0.63 / 0.6) / 0.03)
    assert not last.stands_out


def test_a_value_that_is_uncertain_stands_out_less() -> None:
    """Blur of five good pages, of which the first has gold and pictures among its lines."""
    values: list[float | NotMeasured] = [2.369, 2.145, 2.111, 2.094, 2.121]
    plain = standings(values, floor=0.03, is_ratio=True)[0]
    first, *_ = standings(values, floor=0.03, is_ratio=True, sds=[0.070, 0.123, 0.056, 0.046, 0.091])
    assert isinstance(plain, Standing)
    assert isinstance(first, Standing)
    assert plain.stands_out
    spread = math.hypot(0.03, 0.070 / 2.369)
    assert first.deviation_sd == pytest.approx(math.log(2.369 / 2.121) / spread)
    assert not first.stands_out


def test_several_that_are_off_do_not_hide_each_other() -> None:
    values: list[float | NotMeasured] = [0.6, 0.61, 0.59, 0.6, 0.62, 0.58, 0.61, 1.2, 1.3, 1.4]
    found = [
        each.stands_out for each in standings(values, floor=0.03, is_ratio=True) if isinstance(each, Standing)
    ]
    assert found == [False] * 7 + [True] * 3


def test_what_was_not_measured_stays_so_and_counts_for_nothing() -> None:
    blank = NotMeasured(reason="blank")
    found = standings([1.0, blank, 1.1, 0.9, 1.0, 1.0], floor=0.01, is_ratio=True)
    assert found[1] is blank
    assert sum(isinstance(each, Standing) for each in found) == 5


def test_too_few_siblings_say_how_many() -> None:
    found = standings([1.0] * (LEAST_SIBLINGS - 1), floor=0.01, is_ratio=True)
    assert all(isinstance(each, NotMeasured) and "4 could be measured" in each.reason for each in found)
    assert standings([], floor=0.01, is_ratio=True) == ()


@given(st.lists(st.floats(0.1, 10), min_size=5, max_size=30), st.floats(0.5, 4))
def test_ratios_do_not_depend_on_the_unit(values: list[float], factor: float) -> None:
    one = deviations([*values], floor=0.03, is_ratio=True)
    two = deviations([value * factor for value in values], floor=0.03, is_ratio=True)
    assert one == pytest.approx(two, abs=1e-6)
