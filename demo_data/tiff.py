"""Writes masters: uncompressed 16-bit TIFF with an ICC profile and EXIF, the same bytes each time.

Source: TIFF 6.0 (1992), sections 2, 7, 8 and 20; EXIF 3.0, section 4.6. Little endian, one directory, its
values and the EXIF directory in front of the strips, so that a reader that goes forwards meets the facts
first.
"""

from __future__ import annotations

import datetime as dt
import enum
import os
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from demo_data.picture import Picture

ASCII, SHORT, LONG, RATIONAL, UNDEFINED, SRATIONAL = 2, 3, 4, 5, 7, 10
STRIP_ROWS = 64
ALIGNMENT = 16
EXIF_VERSION = b"0230"


class Tag(enum.IntEnum):
    """Fields that are written: of the image first, then of the EXIF directory."""

    NEW_SUBFILE_TYPE = 254
    IMAGE_WIDTH = 256
    IMAGE_LENGTH = 257
    BITS_PER_SAMPLE = 258
    COMPRESSION = 259
    PHOTOMETRIC = 262
    IMAGE_DESCRIPTION = 270
    MAKE = 271
    MODEL = 272
    STRIP_OFFSETS = 273
    ORIENTATION = 274
    SAMPLES_PER_PIXEL = 277
    ROWS_PER_STRIP = 278
    STRIP_BYTE_COUNTS = 279
    X_RESOLUTION = 282
    Y_RESOLUTION = 283
    PLANAR_CONFIGURATION = 284
    RESOLUTION_UNIT = 296
    SOFTWARE = 305
    DATE_TIME = 306
    ARTIST = 315
    COPYRIGHT = 33432
    EXIF = 34665
    ICC_PROFILE = 34675
    EXPOSURE_TIME = 33434
    F_NUMBER = 33437
    EXPOSURE_PROGRAM = 34850
    PHOTOGRAPHIC_SENSITIVITY = 34855
    EXIF_VERSION = 36864
    DATE_TIME_ORIGINAL = 36867
    DATE_TIME_DIGITIZED = 36868
    OFFSET_TIME = 36880
    OFFSET_TIME_ORIGINAL = 36881
    OFFSET_TIME_DIGITIZED = 36882
    EXPOSURE_BIAS_VALUE = 37380
    METERING_MODE = 37383
    LIGHT_SOURCE = 37384
    FLASH = 37385
    FOCAL_LENGTH = 37386
    COLOR_SPACE = 40961
    SENSING_METHOD = 41495
    BODY_SERIAL_NUMBER = 42033
    LENS_MAKE = 42035
    LENS_MODEL = 42036
    LENS_SERIAL_NUMBER = 42037


@dataclass(frozen=True, slots=True, kw_only=True)
class Capture:
    """What the camera and its software write into a file."""

    description: str
    make: str
    model: str
    body_serial: str
    lens_make: str
    lens_model: str
    lens_serial: str
    focal_length_mm: int
    exposure_time_s: Fraction
    f_number: Fraction
    iso_speed: int
    light_source: int
    """EXIF LightSource: 4 flash, 23 D50, 255 other."""
    is_flash: bool
    sensing_method: int
    """EXIF SensingMethod: 2 for one chip behind a colour mosaic, 1 for what has no name."""
    captured_at: dt.datetime
    """With its time zone."""
    software: str
    artist: str
    copyright: str
    ppi: float


@dataclass(frozen=True, slots=True)
class Entry:
    """One field of a directory."""

    tag: int
    kind: int
    count: int
    data: bytes


def write(path: Path, picture: Picture, profile: bytes, capture: Capture) -> None:
    """Draw a picture into a file beside `path`, then move it there."""
    path.parent.mkdir(parents=True, exist_ok=True)
    head = _head(picture, profile, capture)
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    with beside.open("wb") as file:
        file.write(head)
        for strip in picture.strips():
            strip.astype("<u2", copy=False).tofile(file)
    beside.replace(path)


def _head(picture: Picture, profile: bytes, capture: Capture) -> bytes:
    """All that stands in front of the pixels; its length does not depend on the offsets in it."""
    length = len(_laid_out(picture, profile, capture, pixels_at=0))
    return _laid_out(picture, profile, capture, pixels_at=length)


def _laid_out(picture: Picture, profile: bytes, capture: Capture, *, pixels_at: int) -> bytes:
    entries = _main(picture, profile, capture, pixels_at)
    exif_at = 8 + _size([*entries, _longs(Tag.EXIF, [0])])
    entries = sorted([*entries, _longs(Tag.EXIF, [exif_at])], key=lambda entry: entry.tag)
    head = struct.pack("<2sHI", b"II", 42, 8)
    data = head + _directory(entries, 8) + _directory(_exif(capture), exif_at)
    return data + bytes(-len(data) % ALIGNMENT)


def _main(picture: Picture, profile: bytes, capture: Capture, pixels_at: int) -> list[Entry]:
    rows, columns, bands = picture.plate.height_px, picture.plate.width_px, picture.bands
    row_bytes = 2 * columns * bands
    heights = [min(STRIP_ROWS, rows - first) for first in range(0, rows, STRIP_ROWS)]
    offsets = [pixels_at + row_bytes * STRIP_ROWS * number for number in range(len(heights))]
    return [
        _longs(Tag.NEW_SUBFILE_TYPE, [0]),
        _longs(Tag.IMAGE_WIDTH, [columns]),
        _longs(Tag.IMAGE_LENGTH, [rows]),
        _shorts(Tag.BITS_PER_SAMPLE, [16] * bands),
        _shorts(Tag.COMPRESSION, [1]),
        _shorts(Tag.PHOTOMETRIC, [2 if bands == 3 else 1]),
        _text(Tag.IMAGE_DESCRIPTION, capture.description),
        _text(Tag.MAKE, capture.make),
        _text(Tag.MODEL, capture.model),
        _longs(Tag.STRIP_OFFSETS, offsets),
        _shorts(Tag.ORIENTATION, [1]),
        _shorts(Tag.SAMPLES_PER_PIXEL, [bands]),
        _longs(Tag.ROWS_PER_STRIP, [STRIP_ROWS]),
        _longs(Tag.STRIP_BYTE_COUNTS, [row_bytes * height for height in heights]),
        _rational(Tag.X_RESOLUTION, Fraction(capture.ppi).limit_denominator(1000)),
        _rational(Tag.Y_RESOLUTION, Fraction(capture.ppi).limit_denominator(1000)),
        _shorts(Tag.PLANAR_CONFIGURATION, [1]),
        _shorts(Tag.RESOLUTION_UNIT, [2]),
        _text(Tag.SOFTWARE, capture.software),
        _text(Tag.DATE_TIME, _stamp(capture.captured_at)),
        _text(Tag.ARTIST, capture.artist),
        _text(Tag.COPYRIGHT, capture.copyright),
        Entry(Tag.ICC_PROFILE, UNDEFINED, len(profile), profile),
    ]


def _exif(capture: Capture) -> list[Entry]:
    zone = capture.captured_at.strftime("%z")
    offset = f"{zone[:3]}:{zone[3:]}"
    return [
        _rational(Tag.EXPOSURE_TIME, capture.exposure_time_s),
        _rational(Tag.F_NUMBER, capture.f_number),
        _shorts(Tag.EXPOSURE_PROGRAM, [1]),
        _shorts(Tag.PHOTOGRAPHIC_SENSITIVITY, [capture.iso_speed]),
        Entry(Tag.EXIF_VERSION, UNDEFINED, 4, EXIF_VERSION),
        _text(Tag.DATE_TIME_ORIGINAL, _stamp(capture.captured_at)),
        _text(Tag.DATE_TIME_DIGITIZED, _stamp(capture.captured_at)),
        _text(Tag.OFFSET_TIME, offset),
        _text(Tag.OFFSET_TIME_ORIGINAL, offset),
        _text(Tag.OFFSET_TIME_DIGITIZED, offset),
        Entry(Tag.EXPOSURE_BIAS_VALUE, SRATIONAL, 1, struct.pack("<ii", 0, 1)),
        _shorts(Tag.METERING_MODE, [3]),
        _shorts(Tag.LIGHT_SOURCE, [capture.light_source]),
        _shorts(Tag.FLASH, [1 if capture.is_flash else 0]),
        _rational(Tag.FOCAL_LENGTH, Fraction(capture.focal_length_mm)),
        _shorts(Tag.COLOR_SPACE, [0xFFFF]),
        _shorts(Tag.SENSING_METHOD, [capture.sensing_method]),
        _text(Tag.BODY_SERIAL_NUMBER, capture.body_serial),
        _text(Tag.LENS_MAKE, capture.lens_make),
        _text(Tag.LENS_MODEL, capture.lens_model),
        _text(Tag.LENS_SERIAL_NUMBER, capture.lens_serial),
    ]


# ------------------------------------------------------------------------------------------ encoding


def _stamp(moment: dt.datetime) -> str:
    return moment.strftime("%Y:%m:%d %H:%M:%S")


def _text(tag: int, text: str) -> Entry:
    data = text.encode("ascii", "replace") + b"\0"
    return Entry(tag, ASCII, len(data), data)


def _shorts(tag: int, values: Sequence[int]) -> Entry:
    return Entry(tag, SHORT, len(values), struct.pack(f"<{len(values)}H", *values))


def _longs(tag: int, values: Sequence[int]) -> Entry:
    return Entry(tag, LONG, len(values), struct.pack(f"<{len(values)}I", *values))


def _rational(tag: int, value: Fraction) -> Entry:
    return Entry(tag, RATIONAL, 1, struct.pack("<II", value.numerator, value.denominator))


def _size(entries: Sequence[Entry]) -> int:
    """Length of a directory with the values that do not fit into its fields."""
    outside = sum(len(entry.data) + len(entry.data) % 2 for entry in entries if len(entry.data) > 4)
    return 2 + 12 * len(entries) + 4 + outside


def _directory(entries: Sequence[Entry], at: int) -> bytes:
    """A directory that begins at offset `at`, followed by its values; there is no next one."""
    fields, values = b"", b""
    values_at = at + 2 + 12 * len(entries) + 4
    for entry in entries:
        field = entry.data.ljust(4, b"\0")
        if len(entry.data) > 4:
            field = struct.pack("<I", values_at + len(values))
            values += entry.data + bytes(len(entry.data) % 2)
        fields += struct.pack("<HHI", entry.tag, entry.kind, entry.count) + field
    return struct.pack("<H", len(entries)) + fields + bytes(4) + values
