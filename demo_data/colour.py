"""Colours as code values of the masters' own profile, written as sRGB hexadecimal or as L*a*b*.

Source: ICC.1:2022, annex E for the adaptation to D50; CIE 15:2004, section 8.2.1 for L*a*b*.
"""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt

from pipeline import icc
from pipeline.specs.icc import D50

PROFILE_NAME = "Wide RGB, gamma 2.2"
GREY_PROFILE_NAME = "Aldermoor grey, gamma 2.2"

Colour = tuple[float, float, float]
"""Code values of the wide space, each 0 to 1."""
Numbers = npt.NDArray[np.float64]


def rgb_profile() -> bytes:
    """The profile that the colour masters carry."""
    return icc.wide_gamut_profile(PROFILE_NAME)


def wrong_profile() -> bytes:
    """A profile that the codes of no master are of."""
    return icc.matrix_profile("sRGB", icc.SRGB)


def grey_profile() -> bytes:
    """The profile that the infrared masters carry."""
    return icc.grey_profile(GREY_PROFILE_NAME, icc.WIDE_RGB.curve)


@functools.cache
def colour(hexadecimal: str) -> Colour:
    """The colour that sRGB calls ``#rrggbb``."""
    codes = [int(hexadecimal[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [icc.SRGB.curve.linear(code) for code in codes]
    red, green, blue = _encoded(np.array(linear) @ np.array(icc.SRGB.colourants()))
    return (float(red), float(green), float(blue))


def from_lab(lab: npt.ArrayLike) -> Numbers:
    """Codes of L*a*b* (D50), along the last axis; what the space cannot hold is clipped."""
    lightness, a, b = np.moveaxis(np.asarray(lab, dtype=np.float64), -1, 0)
    fy = (lightness + 16) / 116
    f = np.stack([fy + a / 500, fy, fy - b / 200], axis=-1)
    ratio = np.where(f > 6 / 29, f**3, (116 * f - 16) * 27 / 24389)
    return _encoded(ratio * np.array(D50))


def grey_from_lightness(lightness: npt.ArrayLike) -> Numbers:
    """Codes of the grey profile for L*."""
    fy = (np.asarray(lightness, dtype=np.float64) + 16) / 116
    luminance = np.where(fy > 6 / 29, fy**3, (116 * fy - 16) * 27 / 24389)
    return encoded(luminance)


def encoded(linear: npt.ArrayLike, *, most: float = 1.0) -> Numbers:
    """Codes of linear light by the tone curve that all masters share; a factor on light may be above 1."""
    light = np.clip(np.asarray(linear, dtype=np.float64), 0, most)
    codes: Numbers = light ** (1 / icc.WIDE_RGB.curve.gamma)
    return codes


def decoded(codes: npt.ArrayLike) -> Numbers:
    """Linear light of codes: the inverse of `encoded`."""
    linear: Numbers = np.asarray(codes, dtype=np.float64) ** icc.WIDE_RGB.curve.gamma
    return linear


def _encoded(xyz: Numbers) -> Numbers:
    return encoded(xyz @ np.linalg.inv(np.array(icc.WIDE_RGB.colourants())))


def svg_colour(hexadecimal: str) -> str:
    """The same colour, written for an SVG that is drawn in code values of the wide space."""
    return "#" + "".join(f"{round(code * 255):02x}" for code in colour(hexadecimal))
