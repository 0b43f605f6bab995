"""Reads the boxes of a JPEG 2000 file and the main header of its codestream.

Source: ISO/IEC 15444-1:2019, annexes A and I.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from pipeline.errors import MasterError
from pipeline.headers.exif import capture_facts, directory_of_block
from pipeline.model import Jpeg2000Facts, MasterFacts, MasterFormat, Rational, ResolutionUnit
from pipeline.specs import xmp

_SUPERBOXES = {b"jp2h", b"res "}
_LEVELS = 2
"""The resolution stands in the header, which stands in the file (annex I.2.2)."""
_ENUMERATED = {16: "sRGB", 17: "grey with the sRGB tone curve", 18: "sYCC"}
_EXIF_UUID = b"JpgTiffExif->JP2"
_MAX_BOX_BYTES = 32 << 20
_SIZ, _COD, _SOT = 0xFF51, 0xFF52, 0xFF90


@dataclass(slots=True)
class _Found:
    header: bytes = b""
    icc: bytes = b""
    enumerated: int = 0
    capture_resolution: bytes = b""
    display_resolution: bytes = b""
    exif: bytes = b""
    xmp: bytes = b""
    has_palette: bool = False
    has_alpha: bool = False
    codestream_at: int = 0


def read(file: BinaryIO, *, name: str, size_bytes: int) -> tuple[MasterFacts, bytes]:
    """Return the facts and the ICC profile (empty if there is none). Raises MasterError."""
    found = _collect(file, size_bytes, name)
    if len(found.header) < 14 or not found.codestream_at:
        raise MasterError(f"{name}: has no picture; it is cut off or not a JPEG 2000 file of part 1")
    height_px, width_px, components = struct.unpack(">IIH", found.header[:10])
    if found.has_palette or found.has_alpha or components not in (1, 3):
        kind = "an alpha channel" if found.has_alpha else f"{components} channels"
        kind = "a colour palette" if found.has_palette else kind
        raise MasterError(f"{name}: has {kind}, expected RGB or grey; export it so")
    bits, coding = _codestream(file, found.codestream_at, components, name)
    resolution = found.capture_resolution or found.display_resolution
    unit, x, y = _resolution(resolution)
    directory = directory_of_block(found.exif, name=name) if found.exif else None
    facts = MasterFacts(
        format=MasterFormat.JP2,
        media_type="image/jp2",
        size_bytes=size_bytes,
        width_px=width_px,
        height_px=height_px,
        bits_per_sample=bits,
        photometric="YCbCr" if found.enumerated == 18 else "RGB" if components == 3 else "BlackIsZero",
        compression="JPEG 2000 lossless" if coding.is_reversible else "JPEG 2000 lossy",
        resolution_unit=unit,
        x_resolution=x,
        y_resolution=y,
        declared_space=_ENUMERATED.get(found.enumerated, ""),
        jpeg2000=coding,
        capture=capture_facts(directory, found.xmp),
    )
    return facts, found.icc


def _collect(file: BinaryIO, end: int, name: str) -> _Found:
    found = _Found()
    for kind, at, size in _boxes(file, 0, end, name, below=_LEVELS):
        if kind == b"jp2c":
            found.codestream_at = found.codestream_at or at
            continue
        if size > _MAX_BOX_BYTES:
            continue
        file.seek(at)
        _take(found, kind, file.read(size))
    return found


def _take(found: _Found, kind: bytes, body: bytes) -> None:
    match kind:
        case b"ihdr":
            found.header = body
        case b"colr" if body[:1] in (b"\2", b"\3"):
            found.icc = found.icc or body[3:]
        case b"colr" if body[:1] == b"\1" and len(body) >= 7:
            found.enumerated = found.enumerated or struct.unpack(">I", body[3:7])[0]
        case b"resc":
            found.capture_resolution = body
        case b"resd":
            found.display_resolution = body
        case b"pclr":
            found.has_palette = True
        case b"cdef":
            kinds = [struct.unpack(">H", body[i + 2 : i + 4])[0] for i in range(2, len(body) - 5, 6)]
            found.has_alpha = any(kind in (1, 2) for kind in kinds)
        case b"uuid" if body.startswith(_EXIF_UUID):
            found.exif = body[len(_EXIF_UUID) :].removeprefix(b"Exif\0\0")
        case b"uuid" if body.startswith(xmp.JP2_UUID):
            found.xmp = body[len(xmp.JP2_UUID) :]


def _boxes(
    file: BinaryIO, start: int, end: int, name: str, *, below: int
) -> Iterator[tuple[bytes, int, int]]:
    """Yield kind, begin and size of boxes, and of those inside them, so many levels `below`."""
    at = start
    while at + 8 <= end:
        file.seek(at)
        size, kind = struct.unpack(">I4s", file.read(8))
        head = 8
        if size == 1:
            extended = file.read(8)
            if len(extended) < 8:
                raise MasterError(f"{name}: is cut off in its header")
            size, head = struct.unpack(">Q", extended)[0], 16
        size = end - at if size == 0 else size
        if size < head or (at + size > end and kind != b"jp2c"):
            raise MasterError(f"{name}: is cut off or damaged: a block at byte {at} claims {size} bytes")
        yield kind, at + head, size - head
        if below and kind in _SUPERBOXES:
            yield from _boxes(file, at + head, at + size, name, below=below - 1)
        at += size


def _codestream(file: BinaryIO, at: int, components: int, name: str) -> tuple[tuple[int, ...], Jpeg2000Facts]:
    file.seek(at + 2)
    size, coding = b"", b""
    while len(head := file.read(4)) == 4:
        marker, length = struct.unpack(">HH", head)
        if marker == _SOT or length < 2:
            break
        body = file.read(length - 2)
        size, coding = (body if marker == _SIZ else size), (body if marker == _COD else coding)
    if len(size) < 36 + 3 * components or len(coding) < 10:
        raise MasterError(f"{name}: is cut off in the header of its picture")
    tile_width_px, tile_height_px = struct.unpack(">II", size[18:26])
    depths = tuple((size[36 + 3 * index] & 0x7F) + 1 for index in range(components))
    (layers,) = struct.unpack(">H", coding[2:4])
    return depths, Jpeg2000Facts(
        is_reversible=coding[9] == 1,
        tile_width_px=tile_width_px,
        tile_height_px=tile_height_px,
        quality_layers=layers,
        decomposition_levels=coding[5],
    )


def _resolution(box: bytes) -> tuple[ResolutionUnit, Rational | None, Rational | None]:
    if len(box) < 10:
        return ResolutionUnit.NONE, None, None
    y_num, y_den, x_num, x_den, y_exp, x_exp = struct.unpack(">HHHHbb", box[:10])
    # samples per metre; 1 inch is 127/5000 m
    return ResolutionUnit.INCH, _per_inch(x_num, x_den, x_exp), _per_inch(y_num, y_den, y_exp)


def _per_inch(numerator: int, denominator: int, exponent: int) -> Rational:
    up, down = (10**exponent, 1) if exponent >= 0 else (1, 10**-exponent)
    return Rational(numerator=numerator * up * 127, denominator=denominator * down * 5000)
