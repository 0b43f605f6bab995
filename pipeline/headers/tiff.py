"""Reads the directories of a TIFF or BigTIFF file, or of an EXIF block, which has the same structure.

Values are read when they are asked for. Counts and offsets that the file claims are never trusted with
more memory than `MAX_VALUE_BYTES`; a chain of directories that runs in a circle ends.

Source: TIFF 6.0, section 2; BigTIFF as libtiff documents it.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import BinaryIO

from pipeline.errors import MasterError
from pipeline.model import Rational
from pipeline.specs.tiff import BIG_MAGIC, CLASSIC_MAGIC, TYPE_FORMATS, Tag

MAX_VALUE_BYTES = 32 << 20
MAX_NUMBERS = 4096
"""More than any field has that is read here; lists of strips and tiles are not."""
MAX_DIRECTORIES = 1000
_MAX_FIELDS = 50_000
"""Of all directories together: they may lie over one another, so that a small file has millions."""
_RATIONALS = {5, 10}
_TEXTS = {2, 7, 129}


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One field of a directory, its value not read yet."""

    tag: int
    field_type: int
    count: int
    offset: int
    """Where the value begins in the file."""


@dataclass(slots=True)
class Directory:
    """One image file directory."""

    reader: TiffReader
    end: int = 0
    """The first byte behind the directory."""
    entries: dict[int, Entry] = field(default_factory=dict)

    def __contains__(self, tag: Tag) -> bool:
        """True if the directory has the field."""
        return int(tag) in self.entries

    def numbers(self, tag: Tag) -> tuple[int, ...]:
        """The integers of a field; empty if it is absent or holds something else."""
        entry = self.entries.get(tag)
        if entry is None or entry.field_type in _RATIONALS | _TEXTS | {11, 12}:
            return ()
        return tuple(int(value) for value in self.reader.values(entry))

    def number(self, tag: Tag, default: int | None = None) -> int | None:
        """The first integer of a field."""
        return next(iter(self.numbers(tag)), default)

    def rational(self, tag: Tag) -> Rational | None:
        """The first rational of a field, as it stands in the file."""
        entry = self.entries.get(tag)
        if entry is None or entry.field_type not in _RATIONALS or not entry.count:
            return None
        numerator, denominator = self.reader.values(entry)[:2]
        return Rational(numerator=int(numerator), denominator=int(denominator))

    def fraction(self, tag: Tag) -> Fraction | None:
        """The value of the first rational of a field, None for a denominator of 0."""
        rational = self.rational(tag)
        return rational.value if rational else None

    def data(self, tag: Tag) -> bytes:
        """The bytes of a field; empty if it is absent."""
        entry = self.entries.get(tag)
        return self.reader.bytes_of(entry) if entry else b""

    def text(self, tag: Tag) -> str:
        """The text of a field up to its first NUL, trimmed. Not UTF-8: read as Latin-1."""
        raw = self.data(tag).split(b"\0")[0]
        try:
            return raw.decode("utf-8").strip()
        except UnicodeDecodeError:
            return raw.decode("latin-1").strip()

    def below(self, tag: Tag) -> Directory | None:
        """The directory that a field points at, such as the EXIF directory; None if there is none."""
        offset = self.number(tag)
        return self.reader.directory(offset)[0] if offset else None


class TiffReader:
    """The structure of one TIFF file or EXIF block. Raises MasterError where it is broken.

    With `is_block`, fields whose values lie outside are passed over: the picture is not in the block.
    """

    def __init__(self, file: BinaryIO, *, name: str, is_block: bool = False) -> None:
        self._file = file
        self._name = name
        self._is_block = is_block
        self._size = file.seek(0, 2)
        self._fields = 0
        head = self._read(0, 16, at_least=8)
        orders = {b"II": "<", b"MM": ">"}
        if head[:2] not in orders:
            raise MasterError(f"{name}: is not a TIFF file (its first bytes are {head[:4]!r})")
        self.order = orders[head[:2]]
        (magic,) = struct.unpack(self.order + "H", head[2:4])
        if magic not in (CLASSIC_MAGIC, BIG_MAGIC):
            raise MasterError(f"{name}: is not a TIFF file (its version number is {magic}, not 42 or 43)")
        self.is_big = magic == BIG_MAGIC
        if self.is_big and len(head) < 16:
            raise MasterError(f"{name}: is cut off in its header")
        self._first = struct.unpack(
            self.order + ("Q" if self.is_big else "I"), head[8:16] if self.is_big else head[4:8]
        )[0]

    @property
    def byte_order(self) -> str:
        """By its MIX name: ``little endian`` or ``big endian``."""
        return "little endian" if self.order == "<" else "big endian"

    def directories(self) -> Iterator[Directory]:
        """Yield the main directories in file order."""
        offset, seen = self._first, set[int]()
        while offset:
            if offset in seen or len(seen) >= MAX_DIRECTORIES:
                raise MasterError(f"{self._name}: its image directories run in a circle or are too many")
            seen.add(offset)
            directory, offset = self.directory(offset)
            yield directory

    def directory(self, offset: int) -> tuple[Directory, int]:
        """Return the directory at `offset`, and the offset of the next one."""
        count_format, entry_size, next_format = ("Q", 20, "Q") if self.is_big else ("H", 12, "I")
        count_size, next_size = struct.calcsize(count_format), struct.calcsize(next_format)
        (count,) = struct.unpack(self.order + count_format, self._read(offset, count_size))
        self._fields += count
        if count > 4096 or self._fields > _MAX_FIELDS:
            raise MasterError(
                f"{self._name}: its image directories claim {self._fields} fields; the file is damaged"
            )
        block = self._read(offset + count_size, count * entry_size + next_size, at_least=count * entry_size)
        directory = Directory(self, offset + count_size + count * entry_size + next_size)
        for index in range(count):
            entry = self._entry(
                block[index * entry_size : (index + 1) * entry_size], offset + count_size + index * entry_size
            )
            if not self._is_block or entry.offset + size_of(entry) <= self._size:
                directory.entries.setdefault(entry.tag, entry)
        tail = block[count * entry_size :]
        following = struct.unpack(self.order + next_format, tail)[0] if len(tail) == next_size else 0
        return directory, following

    def _entry(self, raw: bytes, position: int) -> Entry:
        layout, inline = ("HHQ", 8) if self.is_big else ("HHI", 4)
        tag, field_type, count = struct.unpack(self.order + layout, raw[: struct.calcsize("=" + layout)])
        at = position + struct.calcsize("=" + layout)
        entry = Entry(tag=tag, field_type=field_type, count=count, offset=at)
        if size_of(entry) <= inline:
            return entry
        pointer = raw[at - position : at - position + inline]
        (offset,) = struct.unpack(self.order + ("Q" if self.is_big else "I"), pointer)
        return Entry(tag=tag, field_type=field_type, count=count, offset=offset)

    def bytes_of(self, entry: Entry) -> bytes:
        """Return the raw bytes of a field."""
        return self._read(entry.offset, size_of(entry))

    def values(self, entry: Entry) -> tuple[float, ...]:
        """Return the numbers of a field; a rational gives two."""
        code = TYPE_FORMATS.get(entry.field_type)
        if code is None or code == "s":
            return ()
        if entry.count > MAX_NUMBERS:
            raise MasterError(
                f"{self._name}: a header field claims {entry.count} numbers; the file is damaged"
            )
        return struct.unpack(f"{self.order}{len(code) * entry.count}{code[0]}", self.bytes_of(entry))

    def _read(self, offset: int, size: int, *, at_least: int | None = None) -> bytes:
        needed = size if at_least is None else at_least
        if size > MAX_VALUE_BYTES:
            raise MasterError(f"{self._name}: a header field claims {size} bytes; the file is damaged")
        if offset + needed > self._size:
            raise MasterError(
                f"{self._name}: is cut off or damaged: its header points to byte {offset + needed}, "
                f"the file has {self._size}"
            )
        self._file.seek(offset)
        data = self._file.read(size)
        if len(data) < needed:
            raise MasterError(f"{self._name}: changed while it was being read")
        return data


def size_of(entry: Entry) -> int:
    """The bytes that the values of a field take."""
    return struct.calcsize("=" + TYPE_FORMATS.get(entry.field_type, "B")) * entry.count
