"""What an ICC profile of colourants and tone curves makes of codes: linear light, XYZ, L*a*b* for D50.

This is the measuring path: floating point, media-relative colorimetric, no black point compensation. A
profile that converts by tables is refused with a reason; it needs a colour engine.

Source: ICC.1:2022, 8.3 (three-component matrix-based profiles), 10.6 and 10.18 (curves), annex F.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from pipeline import icc
from pipeline.measure.pixels import NotMeasured
from pipeline.specs import icc as spec
from pipeline.specs.icc import Matrix, Vector

Numbers = npt.NDArray[np.float64]

_PARAMETERS = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}
"""How many parameters each function of a parametricCurveType has (10.18, table 68)."""


class Curve(Protocol):
    """A tone curve."""

    def linear(self, shares: npt.ArrayLike) -> Numbers:
        """Return the linear light of codes given as shares of full scale, both 0 to 1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerCurve:
    """(a·x + b) ** gamma + e from `d` on, c·x + f below it: all functions of a parametricCurveType."""

    gamma: float
    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 0.0
    e: float = 0.0
    f: float = 0.0

    def linear(self, shares: npt.ArrayLike) -> Numbers:
        """Return the linear light of codes, both 0 to 1."""
        x = np.asarray(shares, np.float64)
        if self.a == 1 and self.b == self.e == 0 and self.d <= 0:
            power: Numbers = x**self.gamma
            return power
        power = np.maximum(self.a * x + self.b, 0) ** self.gamma + self.e
        return np.where(x >= self.d, power, self.c * x + self.f)


@dataclass(frozen=True, slots=True, kw_only=True)
class SampledCurve:
    """Values at even steps from code 0 to full scale, joined by straight lines (curveType, 10.6)."""

    values: tuple[float, ...]

    def linear(self, shares: npt.ArrayLike) -> Numbers:
        """Return the linear light of codes, both 0 to 1."""
        at = np.asarray(shares, np.float64) * (len(self.values) - 1)
        return np.asarray(np.interp(at, np.arange(len(self.values)), np.array(self.values)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """How a frame's codes are to be understood: three colourants with a curve each, or one curve of grey."""

    description: str
    curves: tuple[Curve, ...]
    """For red, green and blue; or one, for grey."""
    colourants: Matrix | None
    """XYZ of the three primaries, adapted to D50 (rows); None for grey."""

    @property
    def bands(self) -> int:
        """Bands of the frames that it is meant for."""
        return len(self.curves)

    def linear(self, shares: npt.ArrayLike) -> Numbers:
        """Return the linear light, 0 to 1, of codes as shares of full scale; bands are the last axis."""
        codes = np.asarray(shares)
        if len(set(self.curves)) == 1:
            return self.curves[0].linear(codes)
        bands = [curve.linear(codes[..., band]) for band, curve in enumerate(self.curves)]
        return np.stack(bands, axis=-1)

    def xyz(self, linear: npt.ArrayLike) -> Numbers:
        """Return XYZ (D50, white has Y = 1) of linear light; the last axis is X, Y, Z."""
        light = np.asarray(linear, np.float64)
        product: Numbers = light @ np.array((spec.D50,) if self.colourants is None else self.colourants)
        return product

    def luminance(self, linear: npt.ArrayLike) -> Numbers:
        """Return Y alone, 0 to 1, of linear light."""
        rows = (spec.D50,) if self.colourants is None else self.colourants
        product: Numbers = np.asarray(linear, np.float64) @ np.array([row[1] for row in rows])
        return product

    def lab(self, linear: npt.ArrayLike) -> Numbers:
        """Return L*a*b* (D50, 2° observer) of linear light; the last axis is L*, a*, b*."""
        return lab_from_xyz(self.xyz(linear))


def lab_from_xyz(xyz: npt.ArrayLike) -> Numbers:
    """Return L*a*b* for D50 along the last axis. Source: CIE 15:2004, 8.2.1; white of ICC.1:2022, 7.2.16."""
    x, y, z = np.moveaxis(_f(np.asarray(xyz, np.float64) / np.array(spec.D50)), -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def xyz_of_lab(lab: npt.ArrayLike) -> Numbers:
    """Return XYZ (D50, white has Y = 1) of L*a*b*: the inverse of `lab_from_xyz`."""
    lightness, a, b = np.moveaxis(np.asarray(lab, np.float64), -1, 0)
    y = (lightness + 16) / 116
    f = np.stack([y + a / 500, y, y - b / 200], axis=-1)
    ratio = np.where(f > 6 / 29, f**3, (116 * f - 16) * 27 / 24389)
    return np.asarray(ratio * np.array(spec.D50))


def lightness(luminance: npt.ArrayLike) -> Numbers:
    """Return L* of luminance, 0 to 1."""
    return 116 * _f(np.asarray(luminance, np.float64)) - 16


def luminance_of_lightness(values: npt.ArrayLike) -> Numbers:
    """Return the luminance, 0 to 1, of L*: the inverse of `lightness`."""
    f = (np.asarray(values, np.float64) + 16) / 116
    return np.where(f > 6 / 29, f**3, (116 * f - 16) * 27 / 24389)


def _f(ratio: Numbers) -> Numbers:
    return np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)


# ------------------------------------------------------------------------------------------- reading


def profile_of_space(space: icc.RgbSpace, description: str = "") -> Profile:
    """Return the profile of an RGB space that primaries, white and curve define."""
    tone = space.curve
    scale = 1 / (1 + tone.offset)
    curve = PowerCurve(
        gamma=tone.gamma, a=scale, b=tone.offset * scale, c=tone.linear_slope, d=tone.linear_below
    )
    return Profile(description=description, curves=(curve,) * 3, colourants=space.colourants())


def read_profile(data: bytes) -> Profile | NotMeasured:
    """Return what an embedded profile says of codes, or why it cannot be used for measuring.

    Raises InputError for bytes that are no ICC profile, as `pipeline.icc.read_profile` does.
    """
    facts = icc.read_profile(data)
    named = f'the colour profile "{facts.description}"'
    if any(icc.tag(data, name) for name in spec.TABLES):
        return NotMeasured(
            reason=f"{named} converts by tables; only profiles of colourants and curves are read"
        )
    if facts.connection_space != "XYZ" or facts.colour_space not in ("RGB", "GRAY"):
        spaces = f"{facts.colour_space} to {facts.connection_space}"
        return NotMeasured(reason=f"{named} is for {spaces}; expected RGB or GRAY to XYZ")
    names = spec.CURVES if facts.colour_space == "RGB" else (spec.GREY_CURVE,)
    curves = [_curve(icc.tag(data, name)) for name in names]
    usable = tuple(curve for curve in curves if curve is not None)
    if len(usable) < len(names):
        return NotMeasured(reason=f"{named} lacks a tone curve, or has one of an unknown kind")
    if facts.colour_space == "GRAY":
        return Profile(description=facts.description, curves=usable, colourants=None)
    colourants = _colourants(data)
    if colourants is None:
        return NotMeasured(reason=f"{named} lacks a colourant")
    return Profile(description=facts.description, curves=usable, colourants=colourants)


def _colourants(data: bytes) -> Matrix | None:
    red, green, blue = (_xyz(icc.tag(data, name)) for name in spec.COLORANTS)
    return None if red is None or green is None or blue is None else (red, green, blue)


def _xyz(data: bytes) -> Vector | None:
    if data[:4] != spec.XYZ or len(data) < 20:
        return None
    x, y, z = struct.unpack(">3i", data[8:20])
    return (x / 65536, y / 65536, z / 65536)


def _curve(data: bytes) -> Curve | None:
    if len(data) < 12:
        return None
    if data[:4] == spec.PARAMETRIC_CURVE:
        return _parametric(data)
    return _sampled(data) if data[:4] == spec.SAMPLED_CURVE else None


def _parametric(data: bytes) -> Curve | None:
    function = int.from_bytes(data[8:10], "big")
    count = _PARAMETERS.get(function, 0)
    if not count or len(data) < 12 + 4 * count:
        return None
    values = [value / 65536 for value in struct.unpack(f">{count}i", data[12 : 12 + 4 * count])]
    gamma, a, b, c, d, e, f = values + [0.0] * (7 - count)
    if function == 0:
        return PowerCurve(gamma=gamma)
    if function in (1, 2):  # the power above -b/a, plus c everywhere
        return PowerCurve(gamma=gamma, a=a, b=b, d=-b / a if a else 0.0, e=c, f=c)
    return PowerCurve(gamma=gamma, a=a, b=b, c=c, d=d, e=e, f=f)


def _sampled(data: bytes) -> Curve | None:
    count = int.from_bytes(data[8:12], "big")
    if len(data) < 12 + 2 * count:
        return None
    values = struct.unpack(f">{count}H", data[12 : 12 + 2 * count])
    if count == 0:
        return PowerCurve(gamma=1.0)
    if count == 1:
        return PowerCurve(gamma=values[0] / 256)
    return SampledCurve(values=tuple(value / 65535 for value in values))
