"""Numbers for people: on their own side of a limit, as exact as it, with a minus for a minus."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import numerals


def read(written: str) -> float:
    return float(written.replace(numerals.MINUS, "-"))


@given(st.floats(-50, 50), st.floats(0.01, 40))
def test_a_number_is_written_on_its_own_side_of_the_limit(value: float, bound: float) -> None:
    shown = read(numerals.told(value, [bound]))
    assert shown == pytest.approx(value, abs=max(bound / 10, abs(value) / 1000, 1e-6))
    if abs(value - bound) > 1e-5:
        assert (shown > bound) == (value > bound)


@given(st.floats(allow_nan=False, allow_infinity=False, width=32))
def test_no_number_is_written_with_an_exponent_or_a_nought_below_nought(value: float) -> None:
    assert re.fullmatch(r"−?\d+(\.\d+)?", numerals.told(value))
    assert not re.fullmatch(r"−[0.]+", numerals.told(value))


@pytest.mark.parametrize(
    ("value", "bounds", "unit", "shown"),
    [
        (2.4, [-2, 2], "°", "2.40°"),
        (-0.0041, [-0.3, 0.3], "°", "−0.004°"),
        (-1.2441, [-0.3, 0.3], "°", "−1.244°"),
        (5.3627, [5], "ΔE", "5.36 ΔE"),
        (5.0004, [5], "ΔE", "5.0004 ΔE"),
        (300.0, [300], "ppi", "300 ppi"),
        (56.9517, [0.1], "%", "56.95 %"),
        (-0.0001, [5], "", "0.00"),
        (3.0, [5], "spots", "3 spots"),
        (16.0, [16], "bit", "16 bit"),
        (118.034, [], "%", "118 %"),
        (1200.4, [], "ppi", "1200 ppi"),
        (0.0000861, [], "°", "0.000086°"),
        (math.nan, [5], "ΔE", "no number"),
        (2.0, ["none", "lossless"], "", "2.00"),
    ],
)
def test_numbers_are_as_exact_as_their_limits(
    value: float, bounds: list[float], unit: str, shown: str
) -> None:
    assert numerals.told(value, bounds, unit) == shown


@pytest.mark.parametrize(
    ("deviation", "value", "bounds", "shown"),
    [(0.0191, 2.39, [-2, 2], "± 0.02"), (0.0000863, 2.39, [-1, 1], ""), (0.7, 118.0, [], "± 1")],
)
def test_a_spread_has_the_decimals_of_its_value(
    deviation: float, value: float, bounds: list[float], shown: str
) -> None:
    assert numerals.spread(deviation, value, bounds) == shown
