"""What a bundle comes in: a folder, a .tar, .tar.gz or .zip archive, or one document. Read, never unpacked.

A container lists its entries and opens its files; nothing that it holds is ever written to a path of its
choosing. Archives are read where they lie; a compressed tar is inflated into a nameless temporary file,
for it cannot be read at random. What is wrong with the container itself is kept as `Fault` values: an
archive that explodes, a path that would leave its folder, a link, a device.
"""

from __future__ import annotations

import contextlib
import errno
import gzip
import io
import itertools
import lzma
import os
import re
import stat
import struct
import tempfile
import threading
import zipfile
import zlib
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import BinaryIO, NamedTuple, Protocol

from pipeline.errors import InputError, ToolError
from pipeline.files import folded, folders_above, unsafe_path
from pipeline.tarheaders import TarError, TarKind, is_header, read_members

GIB = 1 << 30


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How much of a foreign bundle is looked at before it is refused."""

    max_files: int = 5_000_000
    max_bytes: int = 4096 * GIB
    """All files together, uncompressed."""
    max_ratio: float = 200.0
    """Bytes that come out of an archive for each byte of it; small archives may have more."""
    max_pixels: int = 1_000_000_000
    """Width × height that an image may claim."""
    max_document_bytes: int = 512 << 20
    """An XML or JSON document."""


_SMALL_BYTES = 64 << 20
"""What any archive may inflate to, whatever the ratio."""


class Kind(StrEnum):
    """What something in a container is."""

    FILE = "file"
    FOLDER = "folder"
    LINK = "link"
    SPECIAL = "special file"
    """A FIFO, a socket, a device."""


class Other(NamedTuple):
    """Something in a container that is no regular file."""

    path: str
    """Relative to the bundle, with ``/``."""
    kind: Kind
    target: str = ""
    """Where a link leads, as it is written; what a special file is, if that is known."""


class FaultKind(StrEnum):
    """What can be wrong with a container."""

    UNREADABLE = "unreadable"
    """The archive, or a folder of it, cannot be read to its end."""
    TOO_MUCH = "too much"
    """More files or bytes, or a higher ratio, than `Limits` allow."""
    UNSAFE_PATH = "unsafe path"
    DUPLICATE = "duplicate"
    ENCRYPTED = "encrypted"
    TOP_LEVEL = "top level"
    """Not one folder that holds all."""
    SEVERAL_BAGS = "several bags"
    """More than one folder at the top is a bag: all but the first stay unread."""
    NAME = "name"
    """The folder inside is not named as the archive."""


class Fault(NamedTuple):
    """One thing that is wrong with a container."""

    kind: FaultKind
    place: str
    detail: str


class Container(Protocol):
    """A bundle's files. Safe to read from several threads."""

    name: str
    """The base directory's name, or the document's."""
    media_type: str
    """Of the archive; empty for a folder."""
    files: Mapping[str, int]
    """Sizes of regular files in bytes by path, relative to the bundle with ``/``, in the order in which they
    are stored. There may be millions."""
    others: Mapping[str, Other]
    """Folders, links and special files, by path."""
    faults: Sequence[Fault]
    is_document: bool
    """True for one document without the files around it."""

    def open(self, path: str) -> BinaryIO:
        """Open a regular file, seekable. Raises OSError (also for damaged archive members)."""
        ...


def paths_in(container: Container) -> Iterator[str]:
    """Yield the path of everything in a container."""
    return itertools.chain(container.files, container.others)


def irregular(container: Container) -> list[Other]:
    """The links and special files of a container."""
    return [each for each in container.others.values() if each.kind is not Kind.FOLDER]


def files_by_suffix(container: Container) -> Mapping[str, Sequence[str]]:
    """Paths of regular files by what follows the last full stop, in small letters, with it: ``.json``.

    A file without one stands under what nobody looks for. There may be a hundred thousand files, and each
    family of rules looks for a few.
    """
    spelt: dict[str, list[str]] = defaultdict(list)
    for path in container.files:
        spelt[path[path.rfind(".") :]].append(path)
    found: dict[str, list[str]] = {}
    for suffix, spelt_so in spelt.items():
        found.setdefault(suffix.lower(), []).extend(spelt_so)
    return found


def read_bytes(container: Container, path: str, *, limit: int) -> bytes:
    """Return a whole file. Raises InputError if it has more than `limit` bytes or cannot be read."""
    size_bytes = container.files[path]
    if size_bytes > limit:
        raise InputError(f"{path}: has {size_bytes:,} bytes, expected {limit:,} at most")
    try:
        with container.open(path) as file:
            data = file.read(size_bytes + 1)
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror or error})") from error
    if len(data) != size_bytes:
        raise InputError(f"{path}: had {size_bytes:,} bytes when listed, another number when it was read")
    return data


@contextlib.contextmanager
def opened(path: Path, *, limits: Limits | None = None) -> Iterator[Container]:
    """Open what a bundle comes in, by what it is and not by its name's ending.

    Raises InputError if there is nothing, or something that is none of the kinds; ToolError if there is
    no room for a temporary file.
    """
    limits = limits or Limits()
    try:
        if path.is_dir():
            yield Folder(path, limits)
            return
        if not path.is_file():
            what = "is not there" if not os.path.lexists(path) else "is no regular file or folder"
            raise InputError(f"{path}: {what}; expected a folder, .tar, .tar.gz, .zip, or a document")
        file = path.open("rb")
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror or error})") from error
    except ValueError as error:  # a NUL in the name
        raise InputError(f"{str(path)!r}: is no path ({error})") from error
    with file:
        try:
            open_container = _recognised(file)
        except OSError as error:
            raise InputError(f"{path}: cannot be read ({error.strerror or error})") from error
        with contextlib.ExitStack() as stack:
            yield open_container(path, file, limits, stack)


def _recognised(file: BinaryIO) -> Callable[[Path, BinaryIO, Limits, contextlib.ExitStack], Container]:
    head = file.read(512)
    file.seek(0)
    if head[:4] in (b"PK\x03\x04", b"PK\x05\x06"):
        return _open_zip
    if head[:2] == b"\x1f\x8b":
        return _open_tar_gz
    if head[257:262] == b"ustar" or is_header(head):  # before POSIX there was no magic
        return _open_tar
    return _open_document


# --------------------------------------------------------------------------------------------- folders


class Folder:
    """A bundle in a folder. Links are listed, never followed."""

    media_type = ""
    is_document = False

    def __init__(self, path: Path, limits: Limits) -> None:
        self._base = os.path.abspath(path)  # noqa: PTH100, Path.resolve would follow links
        self.name = os.path.basename(self._base)  # noqa: PTH119
        self._faults: list[Fault] = []
        self.faults: Sequence[Fault] = self._faults
        self._files: dict[str, int] = {}
        self._others: dict[str, Other] = {}
        self.files: Mapping[str, int] = self._files
        self.others: Mapping[str, Other] = self._others
        self._walk(limits)

    def _walk(self, limits: Limits) -> None:
        waiting = [""]
        while waiting:
            below = waiting.pop()
            try:
                waiting += self._list(below)
            except OSError as error:
                self._faults.append(Fault(FaultKind.UNREADABLE, below or ".", error.strerror or str(error)))
                continue
            if len(self._files) + len(self._others) > limits.max_files:
                detail = f"more than {limits.max_files:,} files and folders"
                self._faults.append(Fault(FaultKind.TOO_MUCH, ".", detail))
                return

    def _list(self, below: str) -> list[str]:
        """Take what lies in one folder; returns the folders in it, with ``/``."""
        files, others = self._files, {}
        descriptor = os.open(f"{self._base}/{below}", _AS_FOLDER)
        try:
            with os.scandir(descriptor) as found:  # so the system need not look up the path for each file
                for each in found:
                    path = below + each.name
                    try:
                        if each.is_file(follow_symlinks=False):
                            files[path] = each.stat(follow_symlinks=False).st_size
                        else:
                            others[path] = _other(each, path, descriptor)
                    except OSError:  # it vanished: reading it will say so
                        files[path] = 0
        finally:
            os.close(descriptor)
        self._others |= others
        return [f"{path}/" for path, each in others.items() if each.kind is Kind.FOLDER]

    def open(self, path: str) -> BinaryIO:
        """Open a regular file; a link or special file that took its place since is refused."""
        descriptor = os.open(f"{self._base}/{path}", _AS_FILE)
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            os.close(descriptor)
            raise OSError(errno.EINVAL, "is no regular file any more")
        return io.FileIO(descriptor, "rb")


def _other(found: os.DirEntry[str], path: str, descriptor: int) -> Other:
    if found.is_dir(follow_symlinks=False):
        return Other(path, Kind.FOLDER)
    if found.is_symlink():
        return Other(path, Kind.LINK, os.readlink(found.name, dir_fd=descriptor))
    return Other(path, Kind.SPECIAL)


_AS_FILE = (
    os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
)
_AS_FOLDER = os.O_RDONLY | getattr(os, "O_DIRECTORY", 0) | getattr(os, "O_NOFOLLOW", 0)


# ------------------------------------------------------------------------------------------- documents


class Document:
    """One document without the files around it."""

    media_type = ""
    is_document = True
    faults: Sequence[Fault] = ()

    def __init__(self, path: Path, file: BinaryIO) -> None:
        status = os.fstat(file.fileno())
        self._path = path
        self.name = path.name
        self.files: Mapping[str, int] = {path.name: status.st_size}
        self.others: Mapping[str, Other] = {}

    def open(self, path: str) -> BinaryIO:
        """Open the document."""
        return self._path.open("rb", buffering=0)


def _open_document(path: Path, file: BinaryIO, limits: Limits, stack: contextlib.ExitStack) -> Container:
    begins = file.read(1024).strip(b"\xef\xbb\xbf\xff\xfe\0 \t\r\n")[:1]
    if begins not in (b"<", b"{") and path.suffix.lower() not in (".json", ".xml"):
        raise InputError(
            f"{path}: is neither an archive nor an XML or JSON document; expected a folder, .tar, .tar.gz, "
            ".zip, manifest.json, info.json or mets.xml"
        )
    return Document(path, file)


# -------------------------------------------------------------------------------------------- archives


@dataclass(slots=True)
class _Member:
    """A member of an archive, before its name is trusted."""

    name: str
    size_bytes: int
    kind: Kind
    target: str = ""
    handle: object = None
    """What the archive opens it by."""


@dataclass(slots=True)
class Archive:
    """A bundle in an archive, read where it lies."""

    name: str
    media_type: str
    files: Mapping[str, int]
    others: Mapping[str, Other]
    faults: Sequence[Fault]
    _handles: Mapping[str, object]
    _open: Callable[[object], BinaryIO]
    is_document: bool = False

    def open(self, path: str) -> BinaryIO:
        """Open a member. Raises OSError, for a damaged one as well."""
        try:
            return self._open(self._handles[path])
        except _ZIP_ERRORS as error:
            raise OSError(errno.EIO, f"is damaged in the archive: {error}") from error


@dataclass(slots=True)
class _Collected:
    """Members whose paths are safe, and what is wrong with the rest."""

    members: dict[str, _Member] = field(default_factory=dict)
    """By the path that is taken from its name."""
    faults: list[Fault] = field(default_factory=list)


def _archive(
    path: Path,
    media_type: str,
    members: Iterable[_Member],
    faults: list[Fault],
    open_member: Callable[[object], BinaryIO],
) -> Archive:
    collected = _collect(members, faults)
    base = _base(collected, path)
    inside = {
        each[len(base) :]: member
        for each, member in collected.members.items()
        if each.startswith(base) and each != base
    }
    files = {each: member for each, member in inside.items() if member.kind is Kind.FILE}
    return Archive(
        name=base.rstrip("/") or _stem(path),
        media_type=media_type,
        files={each: member.size_bytes for each, member in files.items()},
        others={
            each: Other(each, member.kind, member.target)
            for each, member in inside.items()
            if each not in files
        },
        faults=tuple(collected.faults),
        _handles={each: member.handle for each, member in files.items()},
        _open=open_member,
    )


def _collect(members: Iterable[_Member], faults: list[Fault]) -> _Collected:
    collected = _Collected(faults=faults)
    folds: dict[str, str] = {}
    for member in members:
        name = member.name.rstrip("/") if member.kind is Kind.FOLDER else member.name
        name = name.removeprefix("./")
        if name in ("", "."):
            continue
        if why := unsafe_path(name):
            faults.append(Fault(FaultKind.UNSAFE_PATH, member.name, why))
            continue
        fold = folded(name)
        if fold in folds and not (member.kind is Kind.FOLDER and folds[fold] == name):
            faults.append(Fault(FaultKind.DUPLICATE, member.name, f'stored already as "{folds[fold]}"'))
            continue
        folds[fold] = name
        collected.members[name] = member
    _find_files_as_folders(collected)
    return collected


def _find_files_as_folders(collected: _Collected) -> None:
    """Keep as faults what lies in a folder named as a file: only one of the two can be unpacked."""
    members = collected.members
    known: dict[str, bool] = {}
    for path in members:
        above = path.rpartition("/")[0]
        if above not in known:
            known[above] = any(
                each in members and members[each].kind is not Kind.FOLDER
                for each in (above, *folders_above(above))
            )
            if known[above]:
                collected.faults.append(
                    Fault(FaultKind.DUPLICATE, path, "a folder above it is stored as a file or link")
                )


def _base(collected: _Collected, path: Path) -> str:
    """Return the base directory inside an archive with a ``/``, or nothing; keep what is wrong with it."""
    tops = sorted({each.partition("/")[0] for each in collected.members})
    if not tops:
        return ""
    if "bagit.txt" in collected.members:
        detail = "the bag's files lie at the top of the archive"
        collected.faults.append(Fault(FaultKind.TOP_LEVEL, path.name, detail))
        return ""
    bags = [each for each in tops if f"{each}/bagit.txt" in collected.members]
    if len(bags) > 1:
        detail = f"{len(bags)} bags: {_listed(bags)}"
        collected.faults.append(Fault(FaultKind.SEVERAL_BAGS, path.name, detail))
    elif len(tops) > 1:
        detail = f"{len(tops)} entries: {_listed(tops)}"
        collected.faults.append(Fault(FaultKind.TOP_LEVEL, path.name, detail))
    top = (bags or tops)[0]
    is_folder = top not in collected.members or collected.members[top].kind is Kind.FOLDER
    if top != _stem(path) and is_folder:
        collected.faults.append(Fault(FaultKind.NAME, path.name, f'the folder inside is "{top}"'))
    return f"{top}/"


def _listed(names: list[str]) -> str:
    return ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")


def _stem(path: Path) -> str:
    return re.sub(r"(?i)\.(tar\.gz|tgz|tar|zip)$", "", path.name)


# ------------------------------------------------------------------------------------------------- zip


def _open_zip(path: Path, file: BinaryIO, limits: Limits, stack: contextlib.ExitStack) -> Container:
    faults: list[Fault] = []
    members: list[_Member] = []
    archive: zipfile.ZipFile | None = None
    wary = _WaryZip(file, limits)
    try:
        archive = stack.enter_context(zipfile.ZipFile(wary))
        wary.is_opening = False
        members = list(_zip_members(archive, path.name, limits, faults))
    except _TooMuchError as error:
        faults.append(Fault(FaultKind.TOO_MUCH, path.name, str(error)))
    except _ZIP_ERRORS as error:
        faults.append(Fault(FaultKind.UNREADABLE, path.name, str(error)))

    def open_member(info: object) -> BinaryIO:
        assert archive is not None
        assert isinstance(info, zipfile.ZipInfo)
        member = _ZipMember(archive.open(info))
        return _spooled(member) if info.file_size > SPOOLED_BYTES else member  # type: ignore[return-value]

    return _archive(path, "application/zip", members, faults, open_member)


SPOOLED_BYTES = 64 << 20
"""A member with more is inflated into a nameless temporary file first: who seeks in it, as decoders do, would
inflate it from its beginning each time."""


def _spooled(member: _ZipMember) -> BinaryIO:
    """Return a copy of a member on the disk. Raises ToolError if there is no room."""
    file = tempfile.TemporaryFile(prefix="solander-")  # noqa: SIM115
    try:
        with member:
            while data := member.read(1 << 20):
                _write(file, data)
        file.seek(0)
    except BaseException:
        file.close()
        raise
    return file


def _write(file: BinaryIO, data: bytes) -> None:
    try:
        file.write(data)
    except OSError as error:
        raise ToolError(
            f"no room to inflate an archive in {tempfile.gettempdir()} ({error.strerror or error}); "
            "set TMPDIR to a folder with more room"
        ) from error


_ZIP_ERRORS = (
    *(zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, OSError, struct.error),
    *(ValueError, OverflowError, NotImplementedError, RuntimeError, MemoryError),
)
"""What the library raises for damaged archives, and for kinds that it does not know."""


class _WaryZip:
    """A file that does not hand out a longer list of members than is allowed: the library reads all of it."""

    def __init__(self, file: BinaryIO, limits: Limits) -> None:
        self._file = file
        self._max_files = limits.max_files
        self._size_bytes = file.seek(0, os.SEEK_END)
        self.is_opening = True

    def read(self, size: int = -1) -> bytes:
        if not 0 <= size <= self._size_bytes:
            size = self._size_bytes
        if not self.is_opening or size <= _MIN_RECORD_BYTES * self._max_files:
            return self._file.read(size)
        if size <= _MAX_RECORD_BYTES * self._max_files:
            data = self._file.read(size)
            if data.count(b"PK\x01\x02") <= self._max_files:
                return data
        raise _TooMuchError(f"more than {self._max_files:,} members")

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()

    def seekable(self) -> bool:
        return True


_MIN_RECORD_BYTES, _MAX_RECORD_BYTES = 46, 4096
"""What the list takes for one member: without a name, and with the longest (APPNOTE 4.3.12)."""


def _zip_members(
    archive: zipfile.ZipFile, name: str, limits: Limits, faults: list[Fault]
) -> Iterator[_Member]:
    size_bytes = 0
    packed_bytes = 0
    for number, info in enumerate(archive.infolist(), start=1):
        size_bytes += info.file_size
        packed_bytes += info.compress_size
        if excess := _excess(number, size_bytes, packed_bytes, limits):
            faults.append(Fault(FaultKind.TOO_MUCH, name, excess))
            return
        if info.flag_bits & 0x1:
            faults.append(Fault(FaultKind.ENCRYPTED, info.filename, "is encrypted"))
            continue
        mode = info.external_attr >> 16
        kind = Kind.FOLDER if info.is_dir() else _kind(mode)
        target = "unknown" if kind is Kind.LINK else ""
        yield _Member(info.orig_filename, info.file_size, kind, target, info)


def _kind(mode: int) -> Kind:
    if stat.S_ISLNK(mode):
        return Kind.LINK
    return Kind.FILE if stat.S_IFMT(mode) in (0, stat.S_IFREG) else Kind.SPECIAL


def _excess(files: int, size_bytes: int, packed_bytes: int, limits: Limits) -> str:
    if files > limits.max_files:
        return f"more than {limits.max_files:,} members"
    if size_bytes > limits.max_bytes:
        return f"more than {limits.max_bytes:,} bytes when unpacked"
    if size_bytes > max(_SMALL_BYTES, packed_bytes * limits.max_ratio):
        return f"{size_bytes:,} bytes from {packed_bytes:,}, allowed {limits.max_ratio:g} for each"
    return ""


class _ZipMember(io.RawIOBase):
    """A member of a zip archive; what is damaged is an OSError, as it is everywhere else."""

    def __init__(self, member: zipfile.ZipExtFile | object) -> None:
        self._member: zipfile.ZipExtFile = member  # type: ignore[assignment]

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        try:
            data = self._member.read(len(buffer))
        except _ZIP_ERRORS as error:
            raise OSError(errno.EIO, f"is damaged in the archive: {error}") from error
        buffer[: len(data)] = data
        return len(data)

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._member.seek(offset, whence)

    def tell(self) -> int:
        return self._member.tell()

    def close(self) -> None:
        self._member.close()
        super().close()


# ------------------------------------------------------------------------------------------------- tar


def _open_tar(path: Path, file: BinaryIO, limits: Limits, stack: contextlib.ExitStack) -> Container:
    return _tar(path, "application/x-tar", file, [], limits)


def _open_tar_gz(path: Path, file: BinaryIO, limits: Limits, stack: contextlib.ExitStack) -> Container:
    faults: list[Fault] = []
    inflated = stack.enter_context(tempfile.TemporaryFile(prefix="solander-"))  # noqa: SIM115
    try:
        _inflate(file, inflated, limits)
    except _TooMuchError as error:
        faults.append(Fault(FaultKind.TOO_MUCH, path.name, str(error)))
        inflated.truncate(0)
    except (gzip.BadGzipFile, zlib.error, EOFError) as error:
        faults.append(Fault(FaultKind.UNREADABLE, path.name, str(error)))
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror or error})") from error
    return _tar(path, "application/gzip", inflated, faults, limits)


class _TooMuchError(Exception):
    pass


def _inflate(packed: BinaryIO, inflated: BinaryIO, limits: Limits) -> None:
    size_bytes = 0
    with gzip.GzipFile(fileobj=packed) as stream:
        while data := stream.read1(1 << 20):  # what comes before damage is kept
            size_bytes += len(data)
            if excess := _excess(0, size_bytes, packed.tell(), limits):
                raise _TooMuchError(excess)
            _write(inflated, data)


def _tar(path: Path, media_type: str, file: BinaryIO, faults: list[Fault], limits: Limits) -> Archive:
    members: list[_Member] = []
    try:
        for member in _tar_members(file, path.name, limits, faults):
            members.append(member)  # those before the damage are kept
    except (TarError, OSError) as error:
        if not faults:  # what could not be inflated ends too early as well
            faults.append(Fault(FaultKind.UNREADABLE, path.name, str(error)))
    lock = threading.Lock()

    def open_member(handle: object) -> BinaryIO:
        assert isinstance(handle, tuple)
        return io.BufferedReader(_Slice(file, lock, *handle))

    return _archive(path, media_type, members, faults, open_member)


def _tar_members(file: BinaryIO, name: str, limits: Limits, faults: list[Fault]) -> Iterator[_Member]:
    size_bytes = 0
    end_bytes = file.seek(0, os.SEEK_END)
    for number, member in enumerate(read_members(file, end_bytes), start=1):
        size_bytes += member.size_bytes
        if excess := _excess(number, size_bytes, max(end_bytes, 1), limits):
            faults.append(Fault(FaultKind.TOO_MUCH, name, excess))
            return
        handle = (member.data_at, member.size_bytes)
        is_file = member.kind is TarKind.FILE
        yield _Member(
            member.name, member.size_bytes if is_file else 0, _TAR_KINDS[member.kind], member.target, handle
        )


_TAR_KINDS = {
    TarKind.FILE: Kind.FILE,
    TarKind.FOLDER: Kind.FOLDER,
    TarKind.LINK: Kind.LINK,
    TarKind.SPECIAL: Kind.SPECIAL,
}


class _Slice(io.RawIOBase):
    """A part of a file that others read at the same time."""

    def __init__(self, file: BinaryIO, lock: threading.Lock, offset: int, size_bytes: int) -> None:
        self._file, self._lock = file, lock
        self._offset, self._size_bytes = offset, size_bytes
        self._at = 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        wanted = max(0, min(len(buffer), self._size_bytes - self._at))
        with self._lock:
            self._file.seek(self._offset + self._at)
            data = self._file.read(wanted)
        buffer[: len(data)] = data
        self._at += len(data)
        return len(data)

    def seek(self, offset: int, whence: int = 0) -> int:
        self._at = max(0, offset + {0: 0, 1: self._at, 2: self._size_bytes}[whence])
        return self._at

    def tell(self) -> int:
        return self._at
