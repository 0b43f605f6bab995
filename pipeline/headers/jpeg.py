"""Reads the segments of a JPEG file up to its first scan.

Source: ITU-T T.81, annex B; JFIF 1.02 (ECMA TR/98); EXIF 3.0, section 4.5; ICC.1:2022, annex B.4.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from pipeline.errors import MasterError
from pipeline.headers.exif import capture_facts, directory_of_block, orientation
from pipeline.headers.tiff import Directory
from pipeline.model import MasterFacts, MasterFormat, Rational, ResolutionUnit
from pipeline.specs import xmp
from pipeline.specs.tiff import RESOLUTION_CENTIMETRE, RESOLUTION_INCH, Tag

_START_OF_FRAME = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_START_OF_SCAN, _END_OF_IMAGE = 0xDA, 0xD9
_APP0, _APP1, _APP2 = 0xE0, 0xE1, 0xE2
_STANDALONE = {0x01, *range(0xD0, 0xD8)}
_EXIF, _ICC, _JFIF = b"Exif\0\0", b"ICC_PROFILE\0", b"JFIF\0"
_UNITS = {RESOLUTION_INCH: ResolutionUnit.INCH, RESOLUTION_CENTIMETRE: ResolutionUnit.CENTIMETRE}


@dataclass(slots=True)
class _Found:
    frame: bytes = b""
    exif: bytes = b""
    xmp: bytes = b""
    density: tuple[int, int, int] | None = None
    icc: tuple[bytes, ...] = ()


def read(file: BinaryIO, *, name: str, size_bytes: int) -> tuple[MasterFacts, bytes]:
    """Return the facts and the ICC profile (empty if there is none). Raises MasterError."""
    found = _collect(file, name)
    if len(found.frame) < 6:
        raise MasterError(f"{name}: is cut off before its picture begins")
    bits, height_px, width_px, components = struct.unpack(">BHHB", found.frame[:6])
    if components not in (1, 3):
        raise MasterError(
            f"{name}: has {components} channels, expected grey or RGB; export it as RGB with its profile"
        )
    directory = directory_of_block(found.exif, name=name) if found.exif else None
    unit, x, y = _resolution(found, directory)
    facts = MasterFacts(
        format=MasterFormat.JPEG,
        media_type="image/jpeg",
        size_bytes=size_bytes,
        width_px=width_px,
        height_px=height_px,
        bits_per_sample=(bits,) * components,
        photometric="YCbCr" if components == 3 else "BlackIsZero",
        compression="JPEG",
        orientation=orientation(directory),
        resolution_unit=unit,
        x_resolution=x,
        y_resolution=y,
        ycbcr_subsampling=_subsampling(found.frame) if components == 3 else None,
        capture=capture_facts(directory, found.xmp),
    )
    return facts, b"".join(part[14:] for part in sorted(found.icc, key=lambda part: part[12]))


def _collect(file: BinaryIO, name: str) -> _Found:
    found = _Found()
    for marker, body in _segments(file, name):
        if marker in _START_OF_FRAME:
            found.frame = body
        elif marker == _APP0 and body.startswith(_JFIF) and len(body) >= 12:
            found.density = struct.unpack(">BHH", body[7:12])
        elif marker == _APP1 and body.startswith(_EXIF):
            found.exif = found.exif or body[len(_EXIF) :]
        elif marker == _APP1 and body.startswith(xmp.JPEG_MARKER):
            found.xmp = found.xmp or body[len(xmp.JPEG_MARKER) :]
        elif marker == _APP2 and body.startswith(_ICC) and len(body) > 14:
            found.icc += (body,)
    return found


def _segments(file: BinaryIO, name: str) -> Iterator[tuple[int, bytes]]:
    file.seek(2)
    while True:
        byte = file.read(1)
        while byte == b"\xff":
            byte = file.read(1)
        if not byte:
            raise MasterError(f"{name}: is cut off in its header")
        marker = byte[0]
        if marker in (_START_OF_SCAN, _END_OF_IMAGE):
            return
        if marker in _STANDALONE:
            continue
        length = file.read(2)
        if len(length) < 2 or (size := struct.unpack(">H", length)[0]) < 2:
            raise MasterError(f"{name}: is cut off or damaged in its header")
        yield marker, file.read(size - 2)


def _resolution(
    found: _Found, directory: Directory | None
) -> tuple[ResolutionUnit, Rational | None, Rational | None]:
    if directory is not None and Tag.X_RESOLUTION in directory:
        unit = _UNITS.get(directory.number(Tag.RESOLUTION_UNIT, RESOLUTION_INCH) or 0, ResolutionUnit.NONE)
        return unit, directory.rational(Tag.X_RESOLUTION), directory.rational(Tag.Y_RESOLUTION)
    if found.density is None:
        return ResolutionUnit.NONE, None, None
    unit_code, x, y = found.density
    # JFIF counts 0 none, 1 inch, 2 centimetre: one less than TIFF
    return _UNITS.get(unit_code + 1, ResolutionUnit.NONE), Rational(numerator=x), Rational(numerator=y)


def _subsampling(frame: bytes) -> tuple[int, int] | None:
    if len(frame) < 15:
        return None
    (luma_h, luma_v), (chroma_h, chroma_v) = ((frame[7 + 3 * i] >> 4, frame[7 + 3 * i] & 15) for i in (0, 1))
    if not chroma_h or not chroma_v:
        return None
    return luma_h // chroma_h, luma_v // chroma_v
