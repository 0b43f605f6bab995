"""How an image file is laid out: what a decoder may overlook and an archive should not.

Source: TIFF 6.0, sections 2 to 6 (required fields of baseline images), 15 (tiles); JPEG: ITU-T T.81, annex B;
PNG: third edition, section 5; JPEG 2000: ITU-T T.800, annex I.4.
"""

from __future__ import annotations

import array
import itertools
import os
import re
import struct
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from pipeline.errors import MasterError
from pipeline.headers.master import Header
from pipeline.headers.tiff import MAX_DIRECTORIES, MAX_VALUE_BYTES, Directory, TiffReader, size_of
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
    try:
        return _read(file, header)
    except struct.error as error:
        raise MasterError("image: is cut off or damaged in its structure") from error


def _read(file: BinaryIO, header: Header) -> Structure:
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
    end = _end_of(directories)
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
    elif len(offsets) != (needed := _blocks_needed(main)):
        yield f"it has {len(offsets)} {noun}, but its size asks for {needed}"
    outside = sum(at + count > size_bytes for at, count in zip(offsets, counts, strict=False))
    if outside:
        yield f"{outside} of {len(offsets)} {noun} lie outside the file"
    if empty := sum(not count for count in counts):
        yield f"{empty} of {len(counts)} {noun} are empty"


_SEPARATE_PLANES = 2


def _blocks_needed(main: Directory) -> int:
    """Strips or tiles by the picture's size (TIFF 6.0, sections 3 and 15: StripsPerImage, TilesPerImage)."""
    width, height = (main.number(tag) or 0 for tag in (Tag.IMAGE_WIDTH, Tag.IMAGE_LENGTH))
    if Tag.TILE_OFFSETS in main:
        across, down = (main.number(tag) or 1 for tag in (Tag.TILE_WIDTH, Tag.TILE_LENGTH))
    else:
        across, down = width or 1, main.number(Tag.ROWS_PER_STRIP) or height or 1
    is_separate = main.number(Tag.PLANAR_CONFIGURATION) == _SEPARATE_PLANES
    planes = (main.number(Tag.SAMPLES_PER_PIXEL) or 1) if is_separate else 1
    return -(-width // across) * -(-height // down) * planes


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


def _end_of(directories: list[Directory]) -> int:
    """The last byte that the directories, or what they point to, use. Raises MasterError for too many."""
    end, blocks = 0, 0
    seen: set[int] = set()
    waiting = list(directories)
    while waiting:
        directory = waiting.pop()
        fields = (entry.offset + size_of(entry) for entry in directory.entries.values())
        offsets, counts = _blocks(directory)
        blocks += len(offsets) + len(counts)
        if blocks > _MAX_BLOCKS or len(seen) > MAX_DIRECTORIES:
            raise MasterError("image: its directories are too many, or have too many strips; it is damaged")
        end = max([end, directory.end, *fields, *map(sum, zip(offsets, counts, strict=False))])
        for offset in itertools.chain.from_iterable(map(directory.numbers, _POINTERS)):
            if offset and offset not in seen:
                seen.add(offset)
                waiting.append(directory.reader.directory(offset)[0])
    return end


_MAX_BLOCKS = MAX_VALUE_BYTES // 4
"""Strips or tiles of all directories together."""


# ------------------------------------------------------------------------------------ other formats

_MAX_PARTS = 1_000_000
"""Chunks, boxes or segments: a gigabyte of PNG has a hundred thousand."""
_MARKER = re.compile(rb"\xff+([^\0\xff\xd0-\xd7])", re.DOTALL)
"""What ends the coded data of a scan: neither a stuffed byte nor a restart."""
_EOI, _SOS = 0xD9, 0xDA
_PART_BYTES = 1 << 20


def _jpeg(file: BinaryIO) -> Structure:
    """Go from segment to segment, and through the coded data behind each scan's header, to the marker EOI."""
    size_bytes = file.seek(0, os.SEEK_END)
    at = 2
    for _ in range(_MAX_PARTS):
        file.seek(at)
        head = file.read(4)
        if len(head) < 2 or head[0] != 0xFF:
            break
        if head[1] == 0xFF:  # fill bytes before a marker
            at += 1
        elif head[1] == _EOI:
            return Structure(trailing_bytes=size_bytes - at - 2)
        elif len(head) < 4:
            break
        else:
            at += 2 + max(2, int.from_bytes(head[2:4]))
            if head[1] == _SOS:
                at = _next_marker(file, at)
    return Structure(faults=("it has no marker EOI at its end",))


def _next_marker(file: BinaryIO, at: int) -> int:
    file.seek(at)
    while part := file.read(_PART_BYTES):
        if found := _MARKER.search(part):
            return at + found.end() - 2
        if len(part) < _PART_BYTES:
            break
        at += len(part) - 1  # a marker may be cut in two
        file.seek(at)
    return file.seek(0, os.SEEK_END)


def _png(file: BinaryIO) -> Structure:
    size_bytes = file.seek(0, os.SEEK_END)
    at = 8
    for _ in range(_MAX_PARTS):
        if at + 12 > size_bytes:
            break
        file.seek(at)
        length, kind = struct.unpack(">I4s", file.read(8))
        at += 12 + length
        if kind == b"IEND":
            return Structure(trailing_bytes=max(0, size_bytes - at))
    return Structure(faults=("it has no chunk IEND at its end",))


def _jpeg2000(file: BinaryIO) -> Structure:
    size_bytes = file.seek(0, os.SEEK_END)
    at = 0
    for _ in range(_MAX_PARTS):
        if at + 8 > size_bytes:
            break
        file.seek(at)
        length, kind = struct.unpack(">I4s", file.read(8))
        if length == 1:
            (length,) = struct.unpack(">Q", file.read(8).rjust(8, b"\0"))
        if length == 0 and kind.strip(b"\0"):  # reaches to the end of the file
            return Structure()
        if length < 8 or not kind.strip(b"\0"):
            return Structure(trailing_bytes=size_bytes - at)
        at += length
    if at > size_bytes:
        return Structure(faults=("its last box reaches beyond the end of the file",))
    return Structure(trailing_bytes=size_bytes - at)
