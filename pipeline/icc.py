"""ICC profiles: small ones of our own, and the facts of any other.

A matrix/TRC profile is three colourants, adapted to D50 by the Bradford transform, and a tone curve; a
grey profile is the curve alone. Both are a few hundred bytes, so that they may go into every tile.
Nothing here converts a picture: that is littleCMS's work, behind `pipeline.images`.

Source: ICC.1:2022, sections 7 to 10 and annex E (`pipeline.specs.icc`).
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Iterable
from dataclasses import dataclass

from pipeline.errors import InputError
from pipeline.model import IccFacts
from pipeline.specs import icc as spec
from pipeline.specs.icc import Matrix, Vector

Chromaticity = tuple[float, float]
"""CIE 1931 x and y."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToneCurve:
    """From a code value to linear light, both 0 to 1: ((x + offset) / (1 + offset)) ** gamma above
    `linear_below`, x * `linear_slope` under it.
    """

    gamma: float
    offset: float = 0.0
    linear_below: float = 0.0
    linear_slope: float = 0.0

    def linear(self, code: float) -> float:
        """Return the linear light of a code value."""
        if code < self.linear_below:
            return code * self.linear_slope
        return float(((code + self.offset) / (1 + self.offset)) ** self.gamma)

    def code(self, linear: float) -> float:
        """Return the code value of linear light: the inverse of `linear`."""
        if linear < self.linear_below * self.linear_slope:
            return linear / self.linear_slope
        return float(linear ** (1 / self.gamma) * (1 + self.offset) - self.offset)


@dataclass(frozen=True, slots=True, kw_only=True)
class RgbSpace:
    """An RGB space that three primaries, a white and one tone curve define."""

    red: Chromaticity
    green: Chromaticity
    blue: Chromaticity
    white: Chromaticity
    curve: ToneCurve

    def colourants(self) -> Matrix:
        """Return XYZ of the red, green and blue primary, adapted to D50; together they make its white."""
        red, green, blue = (_xyz(each) for each in (self.red, self.green, self.blue))
        amounts = _times(_inverse(_transposed((red, green, blue))), _xyz(self.white))
        to_d50 = adaptation(self.white)
        r, g, b = (
            _times(to_d50, _vector(amount * value for value in primary))
            for amount, primary in zip(amounts, (red, green, blue), strict=True)
        )
        return (r, g, b)


SRGB_CURVE = ToneCurve(gamma=2.4, offset=0.055, linear_below=0.04045, linear_slope=1 / 12.92)
"""IEC 61966-2-1:1999, 5.2."""

SRGB = RgbSpace(red=(0.64, 0.33), green=(0.30, 0.60), blue=(0.15, 0.06), white=spec.D65_XY, curve=SRGB_CURVE)
"""IEC 61966-2-1:1999, 5.1."""

WIDE_RGB = RgbSpace(
    red=(0.64, 0.33),
    green=(0.21, 0.71),
    blue=(0.15, 0.06),
    white=spec.D65_XY,
    curve=ToneCurve(gamma=563 / 256),
)
"""A space that holds all 24 patches of the colour target; gamma 2.2 as the nearest 256th."""


def adaptation(white: Chromaticity) -> Matrix:
    """Return the matrix that takes XYZ seen under `white` to D50 (Bradford; ICC.1:2022, annex E)."""
    cones_then, cones_now = _times(spec.BRADFORD, _xyz(white)), _times(spec.BRADFORD, spec.D50)
    long, medium, short = (
        _vector(value * now / then for value in row)
        for row, now, then in zip(spec.BRADFORD, cones_now, cones_then, strict=True)
    )
    back = _inverse(spec.BRADFORD)
    columns = [_times(back, column) for column in _transposed((long, medium, short))]
    return _transposed((columns[0], columns[1], columns[2]))


# --------------------------------------------------------------------------------------- writing


def matrix_profile(description: str, space: RgbSpace) -> bytes:
    """Return a display profile of version 4.4 for `space`; the same bytes whenever it is asked for."""
    curve = _parametric_type(space.curve)
    tags = [
        *zip(spec.COLORANTS, map(_xyz_type, _rounded_to_white(space.colourants())), strict=True),
        *((name, curve) for name in spec.CURVES),
        (spec.ADAPTATION, _array_type(adaptation(space.white))),
    ]
    return _profile(description, spec.RGB, tags)


def srgb_profile() -> bytes:
    """Return a profile for sRGB (IEC 61966-2-1:1999)."""
    return matrix_profile("sRGB", SRGB)


def wide_gamut_profile(description: str = "Wide RGB, gamma 2.2") -> bytes:
    """Return a profile for `WIDE_RGB`."""
    return matrix_profile(description, WIDE_RGB)


def grey_profile(description: str = "Grey, sRGB curve", curve: ToneCurve = SRGB_CURVE) -> bytes:
    """Return a profile for grey images with the tone curve `curve`."""
    return _profile(description, spec.GREY, [(spec.GREY_CURVE, _parametric_type(curve))])


def _profile(description: str, colour_space: bytes, tags: list[tuple[bytes, bytes]]) -> bytes:
    own = [
        (spec.DESCRIPTION, _text_type(description)),
        (spec.COPYRIGHT, _text_type("No copyright: use freely")),
        (spec.MEDIA_WHITE, _xyz_type(spec.D50)),
    ]
    table, body = _tag_table([*own, *tags])
    size = spec.HEADER_BYTES + len(table) + len(body)
    header = _header(size, colour_space)
    digest = hashlib.md5(header + table + body, usedforsecurity=False).digest()
    identified = header[:84] + digest + header[100:]  # 7.2.18: the digest of all with its own field zero
    return identified + table + body


def _header(size: int, colour_space: bytes) -> bytes:
    """Return the header with its identifier still zero (7.2); flags and intent stay zero for good."""
    kind = struct.pack(">III4s4s4s", size, 0, spec.VERSION, spec.DISPLAY, colour_space, spec.XYZ)
    created = struct.pack(">6H", 2026, 1, 1, 0, 0, 0)
    unused = bytes(28)  # platform, flags, maker, model, attributes, intent
    white = struct.pack(">3i", *map(_fixed, spec.D50))
    return (kind + created + spec.FILE_SIGNATURE + unused + white).ljust(spec.HEADER_BYTES, b"\0")


def _tag_table(tags: list[tuple[bytes, bytes]]) -> tuple[bytes, bytes]:
    """Return the tag table and the tags' data; equal data is stored once (7.3)."""
    start = spec.HEADER_BYTES + 4 + spec.TAG_ENTRY_BYTES * len(tags)
    places: dict[bytes, int] = {}
    body = b""
    for _, data in tags:
        if data not in places:
            places[data] = start + len(body)
            body += data + bytes(-len(data) % 4)
    entries = [name + struct.pack(">II", places[data], len(data)) for name, data in tags]
    return struct.pack(">I", len(tags)) + b"".join(entries), body


def _fixed(value: float) -> int:
    """A number as s15Fixed16Number (4.6)."""
    return round(value * 65536)


def _array_type(matrix: Matrix) -> bytes:
    return spec.ARRAY + bytes(4) + struct.pack(">9i", *(_fixed(value) for row in matrix for value in row))


def _xyz_type(xyz: Vector) -> bytes:
    return spec.XYZ + bytes(4) + struct.pack(">3i", *map(_fixed, xyz))


def _text_type(text: str) -> bytes:
    encoded = text.encode("utf-16-be")
    record = struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(encoded), 28)
    return spec.MULTI_LOCALIZED + bytes(4) + record + encoded


def _parametric_type(curve: ToneCurve) -> bytes:
    """The curve as parametricCurveType, function 0 for a pure power, else 3 (10.18)."""
    if curve.offset == 0 and curve.linear_below == 0:
        return spec.PARAMETRIC_CURVE + bytes(4) + struct.pack(">HHi", 0, 0, _fixed(curve.gamma))
    a, b = 1 / (1 + curve.offset), curve.offset / (1 + curve.offset)
    numbers = (curve.gamma, a, b, curve.linear_slope, curve.linear_below)
    return spec.PARAMETRIC_CURVE + bytes(4) + struct.pack(">HH5i", 3, 0, *map(_fixed, numbers))


def _rounded_to_white(colourants: Matrix) -> Matrix:
    """Round as s15Fixed16 does, and let green take the rest, so that the three make white exactly."""
    red, _, blue = (tuple(_fixed(value) for value in each) for each in colourants)
    white = tuple(map(_fixed, spec.D50))
    green = tuple(w - r - b for w, r, b in zip(white, red, blue, strict=True))
    scaled = [_vector(value / 65536 for value in each) for each in (red, green, blue)]
    return (scaled[0], scaled[1], scaled[2])


# --------------------------------------------------------------------------------------- reading


def read_profile(data: bytes) -> IccFacts:
    """Return the facts of an embedded profile: its header and description (7.2, 9.2.41).

    The description is the English one where there are several, else the first; empty if there is none.
    Raises InputError for bytes that are no ICC profile or end before the header says.
    """
    signature = data[spec.SIGNATURE_AT : spec.SIGNATURE_AT + 4]
    if len(data) < spec.HEADER_BYTES + 4 or signature != spec.FILE_SIGNATURE:
        raise InputError("the embedded colour profile is not an ICC profile; embed it again and export anew")
    if (stated := _uint(data, 0)) > len(data):
        raise InputError(
            f"the embedded colour profile is cut off: found {len(data)} bytes, expected {stated}; "
            "embed it again and export anew"
        )
    return IccFacts(
        description=_description(data),
        version=f"{data[8]}.{data[9] >> 4}.{data[9] & 15}",
        device_class=_signature(data, 12),
        colour_space=_signature(data, 16),
        connection_space=_signature(data, 20),
        size_bytes=len(data),
        sha256=hashlib.sha256(data).hexdigest(),
    )


def _description(data: bytes) -> str:
    found = tag(data, spec.DESCRIPTION)
    if found[:4] == spec.MULTI_LOCALIZED:
        return _localized(found)
    if found[:4] == spec.TEXT_DESCRIPTION:
        return _plain(found[12 : 12 + _uint(found, 8)].decode("latin-1"))
    return _plain(found[8:].decode("latin-1")) if found[:4] == spec.TEXT else ""


def _localized(names: bytes) -> str:
    """The English text of a multiLocalizedUnicodeType, else its first (10.15)."""
    count, record_bytes = min(_uint(names, 8), len(names) // 12), max(_uint(names, 12), 12)
    found: dict[bytes, str] = {}
    for at in range(16, 16 + count * record_bytes, record_bytes):
        start, length = _uint(names, at + 8), _uint(names, at + 4)
        text = names[start : start + length].decode("utf-16-be", errors="replace")
        found.setdefault(names[at : at + 2], _plain(text))
    return found.get(b"en") or next(filter(None, found.values()), "")


def tag(data: bytes, name: bytes) -> bytes:
    """Return the data of a tag of a profile, its type first; nothing if it has no such tag (7.3)."""
    first = spec.HEADER_BYTES + 4
    count = min(_uint(data, spec.HEADER_BYTES), (len(data) - first) // spec.TAG_ENTRY_BYTES)
    for at in range(first, first + count * spec.TAG_ENTRY_BYTES, spec.TAG_ENTRY_BYTES):
        if data[at : at + 4] == name:
            start, length = _uint(data, at + 4), _uint(data, at + 8)
            return data[start : start + length]
    return b""


def _uint(data: bytes, at: int) -> int:
    """The big-endian 32-bit number at a place; bytes that are not there count as zero."""
    return int.from_bytes(data[at : at + 4].ljust(4, b"\0"), "big")


def _signature(data: bytes, at: int) -> str:
    return _plain(data[at : at + 4].decode("latin-1"))


def _plain(text: str) -> str:
    """The text up to its first NUL, without blanks around it or control characters in it."""
    return "".join(char for char in text.split("\0", 1)[0] if char.isprintable()).strip()


# ------------------------------------------------------------------------------------ small algebra


def _vector(values: Iterable[float]) -> Vector:
    x, y, z = values
    return (x, y, z)


def _xyz(xy: Chromaticity) -> Vector:
    """XYZ of a chromaticity, with Y = 1."""
    x, y = xy
    return (x / y, 1.0, (1 - x - y) / y)


def _times(matrix: Matrix, vector: Vector) -> Vector:
    return _vector(sum(m * v for m, v in zip(row, vector, strict=True)) for row in matrix)


def _transposed(matrix: Matrix) -> Matrix:
    columns = [_vector(column) for column in zip(*matrix, strict=True)]
    return (columns[0], columns[1], columns[2])


def _inverse(matrix: Matrix) -> Matrix:
    (a, b, c), (d, e, f), (g, h, i) = matrix
    determinant = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g)
    cofactors = (
        (e * i - f * h, c * h - b * i, b * f - c * e),
        (f * g - d * i, a * i - c * g, c * d - a * f),
        (d * h - e * g, b * g - a * h, a * e - b * d),
    )
    rows = [_vector(value / determinant for value in row) for row in cofactors]
    return (rows[0], rows[1], rows[2])
