"""How far two colours are apart, by each formula that specifications use, and statistics over patches.

Colours are L*a*b* (D50, 2° observer) along the last axis, in arrays of any shape.

Source of CIEDE2000: Sharma, Wu, Dalal, Color Research and Application 30(1), 2005; ISO/CIE 11664-6.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.measurements import Formula

Numbers = npt.NDArray[np.float64]


def difference(formula: Formula, sample: npt.ArrayLike, reference: npt.ArrayLike) -> Numbers:
    """Return the differences of colours, none negative."""
    one, two = np.asarray(sample, np.float64), np.asarray(reference, np.float64)
    match formula:
        case Formula.CIE76:
            return np.asarray(np.sqrt(((one - two) ** 2).sum(axis=-1)))
        case Formula.CIE76_CHROMA:
            return chroma(one - two)
        case Formula.CHROMA:
            return np.abs(chroma(one) - chroma(two))
        case Formula.LIGHTNESS:
            return np.abs(one[..., 0] - two[..., 0])
        case _:
            return _ciede2000(formula, one, two)


def ciede2000(sample: npt.ArrayLike, reference: npt.ArrayLike) -> Numbers:
    """Return ΔE00 with all weights 1."""
    return difference(Formula.CIEDE2000, sample, reference)


def chroma(lab: npt.ArrayLike) -> Numbers:
    """Return C*ab."""
    colours = np.asarray(lab, np.float64)
    return np.hypot(colours[..., 1], colours[..., 2])


def _ciede2000(formula: Formula, sample: Numbers, reference: Numbers) -> Numbers:
    light, colour, hue, product = _terms(sample, reference, is_flat=formula is Formula.CIEDE2000_FLAT)
    if formula is Formula.CIEDE2000_LIGHTNESS:
        return np.abs(light)
    square = colour**2 + hue**2 + product
    if formula is not Formula.CIEDE2000_CHROMA:
        square = square + light**2
    return np.sqrt(np.maximum(square, 0))


def _terms(one: Numbers, two: Numbers, *, is_flat: bool) -> tuple[Numbers, Numbers, Numbers, Numbers]:
    """Return ΔL′/S_L, ΔC′/S_C, ΔH′/S_H and the rotation term R_T·(ΔC′/S_C)·(ΔH′/S_H)."""
    mean_chroma = (chroma(one) + chroma(two)) / 2
    stretch = 1 + (1 - _seventh(mean_chroma)) / 2  # 1 + G
    (c1, h1), (c2, h2) = (_polar(each, stretch) for each in (one, two))
    dh, hue = _hues(h1, h2, is_grey=c1 * c2 == 0)
    c, lightness = (c1 + c2) / 2, (one[..., 0] + two[..., 0]) / 2
    t = (
        1
        - 0.17 * np.cos(hue - np.radians(30))
        + 0.24 * np.cos(2 * hue)
        + 0.32 * np.cos(3 * hue + np.radians(6))
        - 0.20 * np.cos(4 * hue - np.radians(63))
    )
    middle = (lightness - 50) ** 2
    s_l = 1.0 if is_flat else 1 + 0.015 * middle / np.sqrt(20 + middle)
    light = (two[..., 0] - one[..., 0]) / s_l
    colour = (c2 - c1) / (1 + 0.045 * c)
    turned = 2 * np.sqrt(c1 * c2) * np.sin(dh / 2) / (1 + 0.015 * c * t)
    bend = np.radians(30) * np.exp(-(((np.degrees(hue) - 275) / 25) ** 2))
    rotation = -2 * _seventh(c) * np.sin(2 * bend)
    return light, colour, turned, rotation * colour * turned


def _seventh(value: Numbers) -> Numbers:
    """√(C⁷ / (C⁷ + 25⁷))"""
    power = value**7
    root: Numbers = np.sqrt(power / (power + 25.0**7))
    return root


def _polar(lab: Numbers, stretch: Numbers) -> tuple[Numbers, Numbers]:
    """Return C′ and h′ in radians, 0 to 2π."""
    a, b = lab[..., 1] * stretch, lab[..., 2]
    return np.hypot(a, b), np.arctan2(b, a) % (2 * np.pi)


def _hues(h1: Numbers, h2: Numbers, *, is_grey: npt.NDArray[np.bool_]) -> tuple[Numbers, Numbers]:
    """Return Δh′ and the mean hue, in radians; a grey has no hue of its own."""
    apart, total = h2 - h1, h1 + h2
    is_far = np.abs(apart) > np.pi
    change = np.where(is_far, apart - 2 * np.pi * np.sign(apart), apart)
    across = np.where(total < 2 * np.pi, total + 2 * np.pi, total - 2 * np.pi)
    mean = np.where(is_far, across, total) / 2
    return np.where(is_grey, 0.0, change), np.where(is_grey, total, mean)


# ----------------------------------------------------------------------------------------- statistics


@dataclass(frozen=True, slots=True, kw_only=True)
class Statistics:
    """What is said of the values of several patches; the unit is that of the values."""

    mean: float
    percentile_90: float
    """By linear interpolation between the values in order."""
    maximum: float
    worst: int
    """Which value is the largest, from 0; the first of several."""


def statistics(values: Sequence[float] | Numbers) -> Statistics:
    """Return mean, 90th percentile and maximum. Raises ValueError if there are no values."""
    listed = np.asarray(values, np.float64)
    if not listed.size:
        raise ValueError("there are no values to take statistics of")
    return Statistics(
        mean=float(listed.mean()),
        percentile_90=float(np.percentile(listed, 90)),
        maximum=float(listed.max()),
        worst=int(listed.argmax()),
    )
