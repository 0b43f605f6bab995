"""Reads the headers of a tar archive that a stranger made: each once, none trusted, no recursion.

The standard library's reader takes time that grows as the square of a header's length, goes in circles on
negative sizes, recurs on chained headers, and takes a damaged header for the archive's end.

Source: POSIX.1-2017, pax, "ustar Interchange Format" and "pax Extended Header"; the GNU tar manual, "Basic
Tar Format" and "Storing Sparse Files".
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import BinaryIO

BLOCK_BYTES = 512
MAX_EXTENSION_BYTES = 4 << 20
"""What a header before a header may have: names and attributes."""


class TarError(Exception):
    """The archive is damaged, or ends too early. The message is a phrase."""


class TarKind(StrEnum):
    """What a member is."""

    FILE = "file"
    FOLDER = "folder"
    LINK = "link"
    SPECIAL = "special file"
    """A device, a pipe, a file stored with holes, or something that no standard knows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TarMember:
    """One member, by what its headers say."""

    name: str
    kind: TarKind
    size_bytes: int
    """As it is stored."""
    data_at: int
    """Where its bytes begin in the archive."""
    target: str = ""
    """Where a link leads."""


def is_header(block: bytes) -> bool:
    """True if a block has the checksum of a tar header."""
    if len(block) < BLOCK_BYTES:
        return False
    match = _CHECKSUM.match(block, 148)
    if match is None:
        return False
    rest = block[:148] + block[156:BLOCK_BYTES]
    unsigned = 8 * ord(" ") + sum(rest)
    said = int(match[1], 8)
    # some old programs summed signed bytes
    return said in (unsigned, unsigned - 256 * sum(byte > 127 for byte in rest))


_CHECKSUM = re.compile(rb"[ \0]*([0-7]{1,7})")


def read_members(file: BinaryIO, end_bytes: int) -> Iterator[TarMember]:
    """Yield the members of an archive of `end_bytes` bytes. Raises TarError, OSError."""
    return _Reader(file, end_bytes).members()


@dataclass(slots=True)
class _Reader:
    file: BinaryIO
    end_bytes: int
    at: int = 0
    common: dict[str, str] = field(default_factory=dict)
    """What global headers say of all members after them."""
    own: dict[str, str] = field(default_factory=dict)
    """What headers before a header say of the next member."""

    def members(self) -> Iterator[TarMember]:
        while True:
            block = self._block()
            if block.count(0) == BLOCK_BYTES:
                return
            if not is_header(block):
                raise TarError(f"the header at byte {self.at - BLOCK_BYTES:,} is damaged")
            if (kind := block[156:157]) in _EXTENSIONS:
                self._extend(kind, self._extension(block))
            elif kind == _VOLUME_LABEL:
                self.own = {}
            else:
                yield self._member(block)
                self.own = {}

    def _block(self) -> bytes:
        self.file.seek(self.at)
        block = self.file.read(BLOCK_BYTES)
        if len(block) < BLOCK_BYTES:
            raise TarError("it ends without the mark of its end")
        self.at += BLOCK_BYTES
        return block

    def _extension(self, block: bytes) -> bytes:
        size_bytes = _number(block[124:136])
        if size_bytes > MAX_EXTENSION_BYTES:
            raise TarError(f"a header claims {size_bytes:,} bytes")
        data = self.file.read(size_bytes)
        if len(data) < size_bytes:
            raise TarError("it ends in a header")
        self._skip(size_bytes)
        return data

    def _skip(self, size_bytes: int) -> None:
        self.at += -(-size_bytes // BLOCK_BYTES) * BLOCK_BYTES

    def _extend(self, kind: bytes, data: bytes) -> None:
        if kind in _LONG:
            self.own[_LONG[kind]] = _text(data.partition(b"\0")[0])
        elif kind == b"g":
            self.common |= _records(data)
        else:
            self.own |= _records(data)

    def _member(self, block: bytes) -> TarMember:
        said = {**self.common, **self.own}
        kind = _KINDS.get(block[156:157], TarKind.SPECIAL)
        name = said.get("path") or _name(block)
        target = (said.get("linkpath") or _text(block[157:257])) if kind is TarKind.LINK else ""
        is_sparse = block[156:157] == _SPARSE or any(key.startswith("GNU.sparse.") for key in said)
        if is_sparse:
            kind, name = TarKind.SPECIAL, said.get("GNU.sparse.name") or name
            target = "a file whose empty parts were left out (sparse)"
        elif kind is TarKind.FILE and name.endswith("/"):
            kind = TarKind.FOLDER  # as archives before POSIX say it
        if block[156:157] == _SPARSE:
            self._pass_sparse_maps(block)
        size_bytes = self._size(block, said)
        member = TarMember(
            name=name,
            kind=kind,
            size_bytes=size_bytes,
            data_at=self.at,
            target=target,
        )
        self._skip(size_bytes)
        if member.data_at + size_bytes > self.end_bytes:
            raise TarError(f"it ends inside of {name}")
        return member

    def _pass_sparse_maps(self, block: bytes) -> None:
        is_continued = block[482:483] not in (b"\0", b"")
        while is_continued:
            is_continued = self._block()[504:505] != b"\0"

    def _size(self, block: bytes, said: Mapping[str, str]) -> int:
        if block[156:157] in _WITHOUT_DATA:
            return 0
        if "size" not in said:
            return _number(block[124:136])
        if not re.fullmatch("[0-9]{1,19}", said["size"]):
            raise TarError("a header gives a size that is no number")
        return int(said["size"])


_KINDS = {
    **dict.fromkeys((b"0", b"\0", b"7"), TarKind.FILE),
    **dict.fromkeys((b"1", b"2"), TarKind.LINK),
    b"5": TarKind.FOLDER,
    b"D": TarKind.FOLDER,
}
_WITHOUT_DATA = {b"1", b"2", b"3", b"4", b"5", b"6"}
_SPARSE, _VOLUME_LABEL = b"S", b"V"
_LONG = {b"L": "path", b"K": "linkpath"}
_EXTENSIONS = {b"x", b"X", b"g", *_LONG}
_KEPT = re.compile(r"path|linkpath|size|GNU\.sparse\.(name|major|map|size|numblocks)")


def _name(block: bytes) -> str:
    name = _text(block[:100])
    if block[257:263] == b"ustar\0" and (prefix := _text(block[345:500])):
        return f"{prefix}/{name}"
    return name


def _text(data: bytes) -> str:
    return data.partition(b"\0")[0].decode("utf-8", errors="surrogateescape")


def _number(data: bytes) -> int:
    """A number in octal digits, or in base 256 if its first bit is set."""
    if data[0] & 0x80:
        if data[0] != 0x80:
            raise TarError("a header gives a negative size")
        return int.from_bytes(data[1:])
    digits = data.partition(b"\0")[0].strip(b" ")
    if not re.fullmatch(b"[0-7]*", digits):
        raise TarError("a header gives a size that is no number")
    return int(digits or b"0", 8)


def _records(data: bytes) -> dict[str, str]:
    """Return what is of use here among the records of an extended header: ``length key=value`` each."""
    found = {}
    at = 0
    while at < len(data) and data[at]:
        length = _LENGTH.match(data, at)
        end = at + int(length[1]) if length else 0
        if length is None or not length.end() < end <= len(data) or data[end - 1] != ord("\n"):
            raise TarError("an extended header is damaged")
        key, _, value = data[length.end() : end - 1].partition(b"=")
        if _KEPT.fullmatch(name := _text(key[:100])):
            found[name] = value.decode("utf-8", errors="surrogateescape")
        at = end
    return found


_LENGTH = re.compile(rb"([0-9]{1,8}) ")
