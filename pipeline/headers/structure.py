"""How an image file is laid out: what a decoder may overlook and an archive should not.

Source: TIFF 6.0, sections 2 to 6 (required fields of baseline images), 15 (tiles); JPEG: ITU-T T.81, annex B;
PNG: third edition, section 5; JPEG 2000: ITU-T T.800, annex I.4.
"""

from __future__ import annotations

import array
import os
import struct
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from pipeline.errors import MasterError
from pipeline.headers.master import Header
from pipeline.headers.tiff import MAX_VALUE_BYTES, Directory, TiffReader, size_of
from pipeline.model import MasterFormat
from pipeline.specs.tiff import TYPE_FORMATS, Tag


@dataclass(frozen=True, slots=True, kw_only=True)
class Structure:
    """What was found of a file's layout."""

    faults: tuple[str, ...] = ()
    """Each as one phrase: ``the field StripByteCounts is missing``."""
    trailing_bytes: int = 0
    """Bytes behind everything that the file's structure points to."""


def read_structure(file: BinaryIO, header: Header) -> Structure:
    """Return the layout of an image whose header was read. Raises MasterError, OSError."""
    match header.facts.format:
        case MasterFormat.TIFF | MasterFormat.BIGTIFF:
            return _tiff(file, header)
        case MasterFormat.JPEG:
            return _jpeg(file)
        case MasterFormat.PNG:
            return _png(file)
        case _:
            return _jpeg2000(file)


# ------------------------------------------------------------------------------------------------ TIFF

_REQUIRED = {
    Tag.IMAGE_WIDTH: "ImageWidth",
    Tag.IMAGE_LENGTH: "ImageLength",
    Tag.BITS_PER_SAMPLE: "BitsPerSample",
    Tag.COMPRESSION: "Compression",
    Tag.PHOTOMETRIC_INTERPRETATION: "PhotometricInterpretation",
    Tag.X_RESOLUTION: "XResolution",
    Tag.Y_RESOLUTION: "YResolution",
}
_STRIPS = {Tag.STRIP_OFFSETS: "StripOffsets", Tag.STRIP_BYTE_COUNTS: "StripByteCounts"}
_TILES = {
    Tag.TILE_OFFSETS: "TileOffsets",
    Tag.TILE_BYTE_COUNTS: "TileByteCounts",
    Tag.TILE_LENGTH: "TileLength",
}
_POINTERS = (Tag.SUB_IFDS, Tag.EXIF_IFD, Tag.GPS_IFD)


def _tiff(file: BinaryIO, header: Header) -> Structure:
    reader = TiffReader(file, name="image")
    directories = list(reader.directories())
    main = directories[header.page]
    size_bytes = file.seek(0, os.SEEK_END)
    end = max(_end_of(each, set()) for each in directories)
    faults = [*_missing(main, header), *_blocks_outside(main, size_bytes)]
    return Structure(faults=tuple(faults), trailing_bytes=max(0, size_bytes - end))


def _missing(main: Directory, header: Header) -> Iterator[str]:
    needed = dict(_REQUIRED)
    if header.facts.samples_per_pixel > 1:
        needed[Tag.SAMPLES_PER_PIXEL] = "SamplesPerPixel"
    needed |= _TILES if header.facts.is_tiled else _STRIPS
    yield from (f"the field {name} is missing" for tag, name in needed.items() if tag not in main)


def _blocks_outside(main: Directory, size_bytes: int) -> Iterator[str]:
    offsets, counts = _blocks(main)
    noun = "tiles" if Tag.TILE_OFFSETS in main else "strips"
    if len(offsets) != len(counts):
        yield f"it has {len(offsets)} offsets of {noun}, but {len(counts)} sizes"
    outside = sum(at + count > size_bytes for at, count in zip(offsets, counts, strict=False))
    if outside:
        yield f"{outside} of {len(offsets)} {noun} lie outside the file"
    if empty := sum(not count for count in counts):
        yield f"{empty} of {len(counts)} {noun} are empty"


def _blocks(directory: Directory) -> tuple[array.array[int], array.array[int]]:
    if Tag.TILE_OFFSETS in directory:
        return _whole(directory, Tag.TILE_OFFSETS), _whole(directory, Tag.TILE_BYTE_COUNTS)
    return _whole(directory, Tag.STRIP_OFFSETS), _whole(directory, Tag.STRIP_BYTE_COUNTS)


def _whole(directory: Directory, tag: Tag) -> array.array[int]:
    """All numbers of a field that may have millions."""
    entry = directory.entries.get(tag)
    code = TYPE_FORMATS.get(entry.field_type, "") if entry else ""
    if entry is None or code not in ("H", "I", "Q"):
        return array.array("Q")
    if size_of(entry) > MAX_VALUE_BYTES:
        raise MasterError(f"image: a header field claims {entry.count:,} numbers; the file is damaged")
    numbers = array.array({"H": "H", "I": "I", "Q": "Q"}[code], directory.reader.bytes_of(entry))
    if (directory.reader.order == ">") != (sys.byteorder == "big"):
        numbers.byteswap()
    return numbers


def _end_of(directory: Directory, seen: set[int]) -> int:
    """The last byte that a directory, or what it points to, uses."""
    end = directory.end
    for entry in directory.entries.values():
        end = max(end, entry.offset + size_of(entry))
    offsets, counts = _blocks(directory)
    end = max([end, *(at + count for at, count in zip(offsets, counts, strict=False))])
    for tag in _POINTERS:
        for offset in directory.numbers(tag):
            if offset and offset not in seen:
                seen.add(offset)
                end = max(end, _end_of(directory.reader.directory(offset)[0], seen))
    return end


# ------------------------------------------------------------------------------------ other formats

_TAIL_BYTES = 1 << 16


def _jpeg(file: BinaryIO) -> Structure:
    """A decoder stops at the marker EOI; what lies behind the last one near the end is no picture."""
    size_bytes = file.seek(0, os.SEEK_END)
    file.seek(max(0, size_bytes - _TAIL_BYTES))
    tail = file.read(_TAIL_BYTES)
    at = tail.rfind(b"\xff\xd9")
    if at < 0:
        return Structure(faults=("it has no marker EOI at its end",))
    return Structure(trailing_bytes=len(tail) - at - 2)


def _png(file: BinaryIO) -> Structure:
    size_bytes = file.seek(0, os.SEEK_END)
    at = 8
    while at + 12 <= size_bytes:
        file.seek(at)
        length, kind = struct.unpack(">I4s", file.read(8))
        at += 12 + length
        if kind == b"IEND":
            return Structure(trailing_bytes=max(0, size_bytes - at))
    return Structure(faults=("it has no chunk IEND at its end",))


def _jpeg2000(file: BinaryIO) -> Structure:
    size_bytes = file.seek(0, os.SEEK_END)
    at = 0
    while at + 8 <= size_bytes:
        file.seek(at)
        length, kind = struct.unpack(">I4s", file.read(8))
        if length == 1:
            (length,) = struct.unpack(">Q", file.read(8).rjust(8, b"\0"))
        if length == 0:  # reaches to the end of the file
            return Structure()
        if length < 8 or not kind.strip(b"\0"):
            return Structure(trailing_bytes=size_bytes - at)
        at += length
    if at > size_bytes:
        return Structure(faults=("its last box reaches beyond the end of the file",))
    return Structure(trailing_bytes=size_bytes - at)
