"""How measured numbers are written for people: as exact as their limits, the same in findings and reports."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

MINUS = "−"
FIGURES = 3
"""Significant figures of a number without a limit."""
MOST_FIGURES = 4
"""Of a number that is far beyond its limit."""
MOST_DECIMALS = 6
COUNTED = ("spots", "bit")
"""Units of what has no decimals."""


def told(value: float, bounds: Sequence[Any] = (), unit: str = "") -> str:
    """Return a number with its unit: to a hundredth of its limits, finer if that would take it over one."""
    if not math.isfinite(value):
        return "no number"
    if unit in COUNTED and value == round(value):
        return with_unit(fixed(value, 0), unit)
    limits = [float(each) for each in bounds if isinstance(each, int | float)]
    return with_unit(fixed(value, _decimals(value, limits)), unit)


def spread(deviation: float, value: float, bounds: Sequence[Any] = ()) -> str:
    """Return ``± 0.02`` with the decimals that the value is written with; nothing if that leaves nothing."""
    limits = [float(each) for each in bounds if isinstance(each, int | float)]
    written = f"{deviation:.{_decimals(value, limits)}f}"
    return f"± {written}" if float(written) else ""


def fixed(value: float, decimals: int) -> str:
    """Return a number with so many decimals: a minus for a minus, and none before nought."""
    written = f"{value:.{decimals}f}"
    return written.removeprefix("-") if not float(written) else written.replace("-", MINUS)


def with_unit(number: str, unit: str) -> str:
    """``2.4°``, ``11.8 %``, ``0.9``."""
    return f"{number}{unit}" if unit == "°" else f"{number} {unit}".strip()


def _decimals(value: float, limits: Sequence[float]) -> int:
    least = min((abs(each) for each in limits if each), default=0.0)
    if not least:
        return _to_figures(value, FIGURES)
    decimals = max(0, min(2 - math.floor(math.log10(least)), _to_figures(value, MOST_FIGURES)))
    while decimals < MOST_DECIMALS and any(
        _side(round(value, decimals), each) != _side(value, each) for each in limits
    ):
        decimals += 1
    return decimals


def _to_figures(value: float, figures: int) -> int:
    """Decimals that a number of so many significant figures has."""
    if not value:
        return figures - 1
    return max(0, min(MOST_DECIMALS, figures - 1 - math.floor(math.log10(abs(value)))))


def _side(value: float, bound: float) -> int:
    return (value > bound) - (value < bound)
