"""Profiles of our own, judged by littleCMS (through Pillow) and by closed-form maths."""

from __future__ import annotations

import hashlib
import io
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageCms

from pipeline import icc
from pipeline.errors import InputError
from pipeline.model import IccFacts
from pipeline.specs import icc as spec

CODES = [
    (255, 255, 255),
    (128, 128, 128),
    (255, 0, 0),
    (0, 255, 0),
    (0, 0, 255),
    (200, 150, 90),
    (20, 40, 30),
]

PROFILES = {
    "sRGB": icc.srgb_profile(),
    "Wide RGB, gamma 2.2": icc.wide_gamut_profile(),
    "Grey, sRGB curve": icc.grey_profile(),
}


def opened(profile: bytes) -> ImageCms.ImageCmsProfile:
    return ImageCms.ImageCmsProfile(io.BytesIO(profile))


def lab(space: icc.RgbSpace, codes: tuple[int, ...]) -> tuple[float, float, float]:
    """L*a*b* (D50) of 8-bit codes: the tone curve, the colourants, CIE 15:2004 section 8.2.1."""
    linear = [space.curve.linear(code / 255) for code in codes]
    xyz = [sum(c[i] * part for c, part in zip(space.colourants(), linear, strict=True)) for i in range(3)]
    f = [t ** (1 / 3) if t > 216 / 24389 else (24389 / 27 * t + 16) / 116 for t in map(_ratio, xyz, spec.D50)]
    return 116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])


def _ratio(value: float, white: float) -> float:
    return value / white


def converted(profile: bytes, codes: tuple[int, ...]) -> tuple[float, float, float]:
    """L*a*b* as littleCMS has it, 8 bit."""
    transform = ImageCms.buildTransform(
        opened(profile), ImageCms.createProfile("LAB"), "RGB", "LAB", ImageCms.Intent.RELATIVE_COLORIMETRIC
    )
    image = ImageCms.applyTransform(Image.new("RGB", (1, 1), codes), transform)
    assert image is not None
    lightness, a, b = image.tobytes()
    signed = [value - 256 if value > 127 else value for value in (a, b)]
    return lightness / 255 * 100, signed[0], signed[1]


@pytest.mark.parametrize("description", PROFILES)
def test_littlecms_opens_each_profile_and_reads_its_name(description: str) -> None:
    profile = opened(PROFILES[description]).profile
    assert profile.profile_description == description
    assert profile.version == pytest.approx(4.4)
    assert profile.device_class == "mntr"


@pytest.mark.parametrize("codes", CODES)
@pytest.mark.parametrize(
    ("profile", "space"),
    [(icc.srgb_profile(), icc.SRGB), (icc.wide_gamut_profile(), icc.WIDE_RGB)],
    ids=["sRGB", "wide"],
)
def test_littlecms_converts_as_the_formulas_do(
    profile: bytes, space: icc.RgbSpace, codes: tuple[int, ...]
) -> None:
    held = [max(-128.0, min(127.0, value)) for value in lab(space, codes)]
    assert converted(profile, codes) == pytest.approx(held, abs=0.75)


def test_our_srgb_agrees_with_the_one_littlecms_makes() -> None:
    ours, theirs = opened(icc.srgb_profile()).profile, ImageCms.createProfile("sRGB")
    for name in ("red_colorant", "green_colorant", "blue_colorant"):
        assert getattr(ours, name)[0] == pytest.approx(getattr(theirs, name)[0], abs=2e-4)


def test_wide_gamut_colourants_are_those_of_the_published_space() -> None:
    """B. Lindbloom, "RGB/XYZ matrices", the D50 table for primaries 0.64 0.33, 0.21 0.71, 0.15 0.06."""
    published = [
        (0.6097559, 0.3111242, 0.0194811),
        (0.2052401, 0.6256560, 0.0608902),
        (0.1492240, 0.0632197, 0.7448387),
    ]
    for ours, theirs in zip(icc.WIDE_RGB.colourants(), published, strict=True):
        assert ours == pytest.approx(theirs, abs=3e-4)


def test_white_of_an_rgb_profile_is_exactly_white() -> None:
    for profile in (icc.srgb_profile(), icc.wide_gamut_profile()):
        assert _sum_of_colourants(profile) == tuple(round(value * 65536) for value in spec.D50)


def _sum_of_colourants(profile: bytes) -> tuple[int, ...]:
    found = [struct.unpack(">3i", icc.tag(profile, name)[8:]) for name in spec.COLORANTS]
    return tuple(map(sum, zip(*found, strict=True)))


def test_grey_profile_has_the_curve_of_srgb() -> None:
    transform = ImageCms.buildTransform(
        opened(icc.grey_profile()),
        opened(icc.srgb_profile()),
        "L",
        "RGB",
        ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    for code in (0, 1, 40, 128, 254, 255):
        image = ImageCms.applyTransform(Image.new("L", (1, 1), code), transform)
        assert image is not None
        assert set(image.tobytes()) <= {code - 1, code, code + 1}


@pytest.mark.parametrize("curve", [icc.SRGB_CURVE, icc.WIDE_RGB.curve])
@given(code=st.floats(0, 1))
def test_a_curve_goes_there_and_back(curve: icc.ToneCurve, code: float) -> None:
    assert curve.code(curve.linear(code)) == pytest.approx(code, abs=1e-6)


def test_identifier_is_the_digest_of_the_profile_without_it() -> None:
    """ICC.1:2022, 7.2.18: MD5 with flags, intent and the identifier itself zero."""
    profile = icc.srgb_profile()
    blank = profile[:84] + bytes(16) + profile[100:]
    assert profile[84:100] == hashlib.md5(blank, usedforsecurity=False).digest()


def test_facts_of_our_own_profile() -> None:
    data = icc.wide_gamut_profile("Aldermoor wide RGB")
    assert icc.read_profile(data) == IccFacts(
        description="Aldermoor wide RGB",
        version="4.4.0",
        device_class="mntr",
        colour_space="RGB",
        connection_space="XYZ",
        size_bytes=len(data),
        sha256=hashlib.sha256(data).hexdigest(),
    )


def test_facts_of_a_foreign_profile_are_those_littlecms_reports() -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
    facts = icc.read_profile(profile.tobytes())
    assert facts.description == profile.profile.profile_description
    assert facts.colour_space == profile.profile.xcolor_space.strip()
    assert float(facts.version[:3]) == pytest.approx(profile.profile.version)


def test_description_of_a_version_2_profile_is_read() -> None:
    """ICC.1:2001-04, 6.5.17: textDescriptionType, a count and that many ASCII bytes."""
    text = b"Old camera RGB\0"
    tag = b"desc" + bytes(4) + struct.pack(">I", len(text)) + text + bytes(78)
    table = struct.pack(">I4sII", 1, b"desc", 144, len(tag))
    header = bytearray(icc.srgb_profile()[:128])
    header[0:4] = struct.pack(">I", 144 + len(tag))
    header[8:12] = b"\x02\x40\0\0"
    facts = icc.read_profile(bytes(header) + table + tag)
    assert (facts.description, facts.version) == ("Old camera RGB", "2.4.0")


def test_english_description_is_taken_where_there_are_several() -> None:
    texts = {b"de": "Grau", b"en": "Grey"}
    at, records, body = 16 + 12 * len(texts), b"", b""
    for language, text in texts.items():
        encoded = text.encode("utf-16-be")
        records += struct.pack(">2s2sII", language, b"\0\0", len(encoded), at + len(body))
        body += encoded
    tag = b"mluc" + bytes(4) + struct.pack(">II", len(texts), 12) + records + body
    table = struct.pack(">I4sII", 1, b"desc", 144, len(tag))
    header = struct.pack(">I", 144 + len(tag)) + icc.grey_profile()[4:128]
    assert icc.read_profile(header + table + tag).description == "Grey"


def test_a_cut_profile_is_refused_with_both_sizes() -> None:
    data = icc.srgb_profile()
    with pytest.raises(InputError, match=f"found {len(data) - 1} bytes, expected {len(data)}"):
        icc.read_profile(data[:-1])


def test_bytes_that_are_no_profile_are_refused() -> None:
    with pytest.raises(InputError, match="not an ICC profile"):
        icc.read_profile(b"\xff\xd8" * 200)


@given(st.integers(0, len(icc.srgb_profile()) - 1), st.integers(0, 255))
def test_no_damaged_byte_makes_the_reader_stumble(at: int, value: int) -> None:
    data = bytearray(icc.srgb_profile())
    data[at] = value
    try:
        facts = icc.read_profile(bytes(data))
    except InputError:
        return
    assert facts.size_bytes == len(data)
