"""Reads the chunks of a PNG file up to its picture.

Source: PNG (Third Edition), W3C 2025, sections 11.2 and 11.3.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from typing import BinaryIO

from pipeline.errors import MasterError
from pipeline.headers.exif import capture_facts, directory_of_block, orientation
from pipeline.model import MasterFacts, MasterFormat, Rational, ResolutionUnit

_GREY, _RGB = 0, 2
_REFUSED = {3: "a colour palette", 4: "an alpha channel", 6: "an alpha channel"}
_MAX_CHUNK_BYTES = 32 << 20
_METRES_PER_INCH = (127, 5000)  # 0.0254, as a fraction


def read(file: BinaryIO, *, name: str, size_bytes: int) -> tuple[MasterFacts, bytes]:
    """Return the facts and the ICC profile (empty if there is none). Raises MasterError."""
    chunks = dict(_chunks(file, name))
    if len(chunks.get(b"IHDR", b"")) < 13:
        raise MasterError(f"{name}: is cut off or damaged in its header")
    width_px, height_px, bits, colour = struct.unpack(">IIBB", chunks[b"IHDR"][:10])
    if colour in _REFUSED or b"tRNS" in chunks:
        raise MasterError(
            f"{name}: has {_REFUSED.get(colour, 'transparency')}, expected RGB or grey; export it without"
        )
    unit, x, y = _resolution(chunks.get(b"pHYs", b""))
    directory = directory_of_block(chunks[b"eXIf"], name=name) if b"eXIf" in chunks else None
    facts = MasterFacts(
        format=MasterFormat.PNG,
        media_type="image/png",
        size_bytes=size_bytes,
        width_px=width_px,
        height_px=height_px,
        bits_per_sample=(bits,) * (3 if colour == _RGB else 1),
        photometric="RGB" if colour == _RGB else "BlackIsZero",
        compression="Deflate",
        orientation=orientation(directory),
        resolution_unit=unit,
        x_resolution=x,
        y_resolution=y,
        declared_space="sRGB" if b"sRGB" in chunks else "",
        capture=capture_facts(directory),
    )
    return facts, _icc(chunks.get(b"iCCP", b""))


def _chunks(file: BinaryIO, name: str) -> Iterator[tuple[bytes, bytes]]:
    file.seek(8)
    while True:
        head = file.read(8)
        if len(head) < 8:
            raise MasterError(f"{name}: is cut off before its picture begins")
        size, kind = struct.unpack(">I4s", head)
        if kind in (b"IDAT", b"IEND"):
            return
        if size > _MAX_CHUNK_BYTES:
            raise MasterError(f"{name}: a header block claims {size} bytes; the file is damaged")
        yield kind, file.read(size)
        file.seek(4, 1)


def _resolution(physical: bytes) -> tuple[ResolutionUnit, Rational | None, Rational | None]:
    if len(physical) < 9:
        return ResolutionUnit.NONE, None, None
    x, y, per_metre = struct.unpack(">IIB", physical[:9])
    if not per_metre:
        return ResolutionUnit.NONE, Rational(numerator=x), Rational(numerator=y)
    numerator, denominator = _METRES_PER_INCH
    return (
        ResolutionUnit.INCH,
        Rational(numerator=x * numerator, denominator=denominator),
        Rational(numerator=y * numerator, denominator=denominator),
    )


def _icc(chunk: bytes) -> bytes:
    _, _, rest = chunk.partition(b"\0")
    if not rest:
        return b""
    try:
        return zlib.decompressobj().decompress(rest[1:], _MAX_CHUNK_BYTES)
    except zlib.error:
        return b""
