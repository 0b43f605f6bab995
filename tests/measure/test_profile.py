"""Codes through profiles to L*a*b*: published check values, littleCMS, and closed forms."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import icc
from pipeline.errors import InputError
from pipeline.measure.pixels import NotMeasured
from pipeline.measure.profile import (
    PowerCurve,
    Profile,
    SampledCurve,
    lab_from_xyz,
    lightness,
    luminance_of_lightness,
    profile_of_space,
    read_profile,
)
from pipeline.specs import icc as spec

LIGHTNESS_RGB = icc.RgbSpace(
    red=(0.67, 0.33),
    green=(0.21, 0.71),
    blue=(0.14, 0.08),
    white=spec.D50_XY,
    curve=icc.ToneCurve(gamma=3, offset=0.16, linear_below=0.08, linear_slope=2700 / 24389),
)
"""eciRGB v2: its codes are L* (ISO 22028-4)."""

CODES = [(255, 255, 255), (128, 128, 128), (255, 0, 0), (0, 255, 0), (0, 0, 255)]

CHECKS: list[tuple[icc.RgbSpace, str]] = [
    (icc.SRGB, "100 0 0, 53.59 0 0, 54.29 80.81 69.89, 87.82 -79.27 80.99, 29.57 68.29 -112.03"),
    (icc.WIDE_RGB, "100 0 0, 53.99 0 0, 62.60 90.37 78.15, 83.21 -129.09 87.17, 30.21 69.25 -113.61"),
    (LIGHTNESS_RGB, "100 0 0, 50.20 0 0, 63.36 96.38 109.25, 81.95 -137.46 81.91, 33.49 46.88 -109.03"),
]
"""L*a*b* of `CODES`, computed from the definitions of sRGB, of the wide space and of eciRGB v2."""


def known(data: bytes) -> Profile:
    found = read_profile(data)
    assert isinstance(found, Profile)
    return found


def lab(profile: Profile, codes: tuple[int, ...]) -> list[float]:
    found: list[float] = profile.lab(profile.linear(np.array(codes) / 255)).tolist()
    return found


@pytest.mark.parametrize(("space", "expected"), CHECKS, ids=["sRGB", "wide", "L* codes"])
def test_check_values_of_common_spaces(space: icc.RgbSpace, expected: str) -> None:
    for codes, text in zip(CODES, expected.split(", "), strict=True):
        values = [float(number) for number in text.split()]
        assert lab(profile_of_space(space), codes) == pytest.approx(values, abs=0.04)
        embedded = known(icc.matrix_profile("a space", space))
        assert lab(embedded, codes) == pytest.approx(values, abs=0.04)


def test_codes_of_the_lightness_space_are_lightness() -> None:
    profile = profile_of_space(LIGHTNESS_RGB)
    codes = np.linspace(0, 1, 256)
    found = profile.lab(profile.linear(np.repeat(codes[:, None], 3, axis=1)))
    assert found[:, 0] == pytest.approx(100 * codes, abs=0.001)
    assert np.abs(found[:, 1:]).max() < 0.03


def test_grey_has_no_colour_and_the_lightness_of_its_curve() -> None:
    profile = known(icc.grey_profile())
    assert (profile.bands, profile.colourants) == (1, None)
    assert lab(profile, (128,)) == pytest.approx((53.59, 0, 0), abs=0.01)


def test_luminance_is_the_y_of_xyz() -> None:
    profile, light = known(icc.srgb_profile()), np.array([[0.2, 0.5, 0.7], [1, 1, 1]])
    assert profile.luminance(light) == pytest.approx(profile.xyz(light)[:, 1])
    assert profile.luminance(light)[1] == pytest.approx(1, abs=1e-6)


@given(st.floats(0, 100))
def test_lightness_and_luminance_are_inverse(value: float) -> None:
    assert float(lightness(luminance_of_lightness(value))) == pytest.approx(value, abs=1e-9)


def test_white_of_the_connection_space_is_white() -> None:
    assert lab_from_xyz(spec.D50).tolist() == pytest.approx([100, 0, 0])


# -------------------------------------------------------------------------------------------- curves


def with_tag(data: bytes, name: bytes, content: bytes) -> bytes:
    """The profile with the data of one tag replaced; the new data stands at the end."""
    data += bytes(-len(data) % 4)
    at = data.index(name, spec.HEADER_BYTES)
    entry = name + struct.pack(">II", len(data), len(content))
    changed = data[:at] + entry + data[at + spec.TAG_ENTRY_BYTES :] + content
    return struct.pack(">I", len(changed)) + changed[4:]


def curve(content: bytes) -> PowerCurve | SampledCurve:
    found = known(with_tag(icc.grey_profile(), spec.GREY_CURVE, content)).curves[0]
    assert isinstance(found, PowerCurve | SampledCurve)
    return found


def parametric(function: int, *values: float) -> bytes:
    numbers = struct.pack(f">{len(values)}i", *(round(value * 65536) for value in values))
    return spec.PARAMETRIC_CURVE + bytes(4) + struct.pack(">HH", function, 0) + numbers


def sampled(*values: int) -> bytes:
    return spec.SAMPLED_CURVE + bytes(4) + struct.pack(f">I{len(values)}H", len(values), *values)


X = np.array([0.0, 0.02, 0.2, 0.6, 1.0])


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (parametric(0, 1.8), X**1.8),
        (parametric(1, 2.0, 1.25, -0.25), np.maximum(1.25 * X - 0.25, 0) ** 2),
        (parametric(2, 2.0, 1.25, -0.25, 0.125), np.maximum(1.25 * X - 0.25, 0) ** 2 + 0.125),
        (parametric(3, 2.0, 0.5, 0.5, 0.25, 0.125), [0, 0.005, 0.36, 0.64, 1]),
        (
            parametric(4, 2.0, 0.5, 0.25, 0.25, 0.125, 0.0625, 0.03125),
            [0.03125, 0.03625, 0.185, 0.365, 0.625],
        ),
        (sampled(), X),
        (sampled(0x0200), X**2),
        (sampled(0, 6554, 65535), [0, 0.004, 0.04, 0.28, 1]),
    ],
    ids=["power", "function 1", "function 2", "function 3", "function 4", "identity", "gamma", "table"],
)  # fmt: skip
def test_every_kind_of_curve_is_read(content: bytes, expected: list[float]) -> None:
    assert curve(content).linear(X) == pytest.approx(np.asarray(expected), abs=3e-5)


# ------------------------------------------------------------------------------------------ refusals


def refused(data: bytes) -> str:
    found = read_profile(data)
    assert isinstance(found, NotMeasured)
    return found.reason


def test_a_profile_of_tables_is_refused_by_name() -> None:
    data = icc.srgb_profile().replace(spec.ADAPTATION, spec.TABLES[0], 1)
    assert "sRGB" in refused(data)
    assert "tables" in refused(data)


def test_a_profile_for_printing_is_refused() -> None:
    data = icc.srgb_profile()
    assert "CMYK" in refused(data[:16] + b"CMYK" + data[20:])
    assert "Lab" in refused(data[:20] + b"Lab " + data[24:])


@pytest.mark.parametrize("name", [spec.CURVES[1], spec.COLORANTS[2]])
def test_a_profile_that_lacks_a_tag_is_refused(name: bytes) -> None:
    assert "lacks" in refused(icc.srgb_profile().replace(name, b"none", 1))


@pytest.mark.parametrize(
    "content", [b"", b"curv", b"????" + bytes(20), parametric(7, 1.0), parametric(3, 2.0), sampled(1, 2)[:-2]]
)
def test_a_broken_curve_is_refused(content: bytes) -> None:
    assert "tone curve" in refused(with_tag(icc.grey_profile(), spec.GREY_CURVE, content))


def test_bytes_that_are_no_profile_raise_what_reading_raises() -> None:
    with pytest.raises(InputError, match="not an ICC profile"):
        read_profile(b"not a profile" * 20)


def test_a_curve_for_each_band_is_used_for_its_band() -> None:
    curves = (PowerCurve(gamma=1.0), PowerCurve(gamma=2.0), PowerCurve(gamma=3.0))
    profile = Profile(description="", curves=curves, colourants=icc.SRGB.colourants())
    assert profile.linear([[0.5, 0.5, 0.5]]).tolist() == [[0.5, 0.25, 0.125]]
