"""The file system: safe names, atomic writes, linking instead of copying."""

from __future__ import annotations

import contextlib
import errno
import io
import os
import re
import shutil
import sys
import unicodedata
from collections.abc import Iterable, Iterator
from pathlib import Path, PurePosixPath

from pipeline.errors import InputError, ToolError

_UNSAFE = re.compile(r"[^A-Za-z0-9_-]+")
_DEVICE_NAMES = {"con", "prn", "aux", "nul", *(f"{name}{n}" for name in ("com", "lpt") for n in range(1, 10))}

# --------------------------------------------------------------------------------------------- names


def is_safe_name(name: str) -> bool:
    """True for a name that serves as a folder and as one segment of a URL everywhere.

    ASCII letters, digits, full stop, hyphen and underscore, beginning with a letter or digit, at most
    100 characters, no full stop at the end, no device name of Windows.
    """
    return (
        re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}", name) is not None
        and not name.endswith(".")
        and name.split(".")[0].lower() not in _DEVICE_NAMES
    )


def slug(text: str) -> str:
    """Return `text` as letters, digits, hyphens and underscores: safe in a URL and as a file name.

    Accents are dropped, everything else unsafe becomes one hyphen. Texts without a safe letter give
    their code points in hexadecimal, so that nothing becomes empty.
    """
    plain = text
    if not text.isascii():
        letters = unicodedata.normalize("NFKD", text)
        plain = "".join(letter for letter in letters if not unicodedata.combining(letter))
    safe = _UNSAFE.sub("-", plain).strip("-")
    if not safe:
        safe = "u" + "-".join(f"{ord(letter):x}" for letter in text) if text else "unnamed"
    return f"{safe}_" if safe.lower() in _DEVICE_NAMES else safe


def unsafe_path(path: str) -> str:
    """Return why a path that a stranger wrote must not be followed; empty if it stays in its folder.

    Refused are NUL, backslashes, absolute paths, drive letters, ``~``, ``..``, ``.`` and empty segments,
    and environment variables at the beginning (RFC 8493, section 5.2).
    """
    if not path:
        return "is empty"
    if "\0" in path:
        return "holds a NUL"
    if path.startswith("/"):
        return "is absolute"
    if "\\" in path:
        return "holds a backslash, which leads elsewhere on Windows"
    if re.match(r"[A-Za-z]:", path):
        return "begins with a drive letter"
    if path.startswith("~"):
        return "begins with a home folder"
    if re.match(r"%[A-Za-z_]+%/|\$\{?[A-Za-z_]+\}?/", path):
        return "begins with an environment variable"
    if _ODD_SEGMENT.search(path):
        return "leads upwards" if ".." in path.split("/") else "has an empty or a dot segment"
    return ""


_ODD_SEGMENT = re.compile(r"(?:^|/)\.{0,2}(?:/|\Z)")


def resolve_inside(base: Path, relative: str | PurePosixPath) -> Path | None:
    """Return `base/relative`, or None if that would leave `base`.

    Refused are unsafe paths and symbolic links that lead out (RFC 8493, section 5.2).
    """
    if unsafe_path(str(relative)):
        return None
    candidate = base.joinpath(*str(relative).split("/"))
    try:
        real = Path(os.path.realpath(candidate))  # unlike Path.resolve it does not raise for links in a ring
    except UnicodeError:  # half a character, which no file can be named
        return None
    return candidate if real.is_relative_to(os.path.realpath(base)) else None


_RESERVED_CHARACTERS = frozenset('<>:"|?*\\')
_UNWRITABLE = {"Cc": "a control character", "Cs": "bytes that are not UTF-8"} | dict.fromkeys(
    ("Zl", "Zp"), "a line separator"
)
NAME_BYTES = 255
"""The longest file name of every common file system."""


def name_faults(name: str) -> tuple[str, ...]:
    """Return what keeps a file or folder name from being written, or read back, on other systems.

    Legal in a bag, but refused when one is made: characters and device names that Windows reserves,
    a full stop or blank at the end, control characters, names that are too long (RFC 8493, section 6.1).
    """
    kinds = {_UNWRITABLE.get(unicodedata.category(char), "") for char in name}
    reserved = sorted(_RESERVED_CHARACTERS.intersection(name))
    return (
        *sorted(kinds - {""}),
        *(f"the reserved character {char}" for char in reserved),
        *(["a full stop or blank at its end"] if name != name.rstrip().rstrip(".") else ()),
        *(["a device name of Windows"] if name.split(".")[0].rstrip().lower() in _DEVICE_NAMES else ()),
        *([f"more than {NAME_BYTES} bytes"] if len(os.fsencode(name)) > NAME_BYTES else ()),
    )


PATH_CHARACTERS = 255
"""The longest path that every common system can unpack."""


def path_faults(paths: Iterable[str], *, above: str = "") -> Iterator[tuple[str, str]]:
    """Yield paths that could not be written, or read back alike, on another system, each with the reason.

    `above` is the folder that all of them will lie in; it counts for their length. What is wrong with the
    name of a folder is told at the first path in it. Source: RFC 8493, section 6.1.
    """
    known: set[str] = set()
    listed = tuple(paths)
    for path in listed:
        for name in dict.fromkeys(path.split("/")):
            if name not in known:
                known.add(name)
                yield from ((path, fault) for fault in name_faults(name))
        if len(f"{above}/{path}") > PATH_CHARACTERS:
            yield path, f"a path of more than {PATH_CHARACTERS} characters"
    yield from _clashes(listed)


def _clashes(paths: Iterable[str]) -> Iterator[tuple[str, str]]:
    seen: dict[str, str] = {}
    for path in paths:
        if (one := folded(path)) in seen:
            yield path, f'the same name as "{seen[one]}", but for case or Unicode form'
        seen.setdefault(one, path)
    for one, path in seen.items():
        if other := next((seen[above] for above in folders_above(one) if above in seen), ""):
            yield path, f'a folder of the same name as the file "{other}"'


def folders_above(path: str) -> Iterator[str]:
    """Yield the folders that a relative path lies in, the nearest first."""
    while path := path.rpartition("/")[0]:
        yield path


def folded(path: str) -> str:
    """Return what is equal for two paths that some file systems take for one: case, Unicode form."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())


def visible(text: str) -> str:
    r"""Return `text` on one line with nothing in it that acts or hides: such characters become ``\u202e``.

    Escaped are control and direction-changing characters, line and paragraph separators, what has no
    width or no form of its own, every blank but the space itself, and the bytes of a file name that are
    not UTF-8 (``\udcff``). Joiners stay where they are spelling (RFC 5892, appendices A.1 and A.2).
    What was escaped once stays as it is.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        _escaped(char) if _is_unseen(char) and not _is_spelling(text, at) else char
        for at, char in enumerate(text)
    )


def _escaped(char: str) -> str:
    return f"\\u{ord(char):04x}" if ord(char) <= 0xFFFF else f"\\U{ord(char):08x}"


_UNSEEN = frozenset({"Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp", "Zs"})
_FORMLESS = re.compile(
    "[\u034f\u115f\u1160\u17b4\u17b5\u180b-\u180f\u2800\u3164\ufe00-\ufe0f\uffa0\U000e0100-\U000e01ef]"
)
"""Marks and letters that show nothing: Unicode, Default_Ignorable_Code_Point; and the empty Braille cell."""


def _is_unseen(char: str) -> bool:
    if char == " ":
        return False
    return unicodedata.category(char) in _UNSEEN or _FORMLESS.match(char) is not None


def _is_spelling(text: str, at: int) -> bool:
    """True for a joiner between Arabic letters, or between a virama and a letter."""
    if text[at] not in "\u200c\u200d" or not 0 < at < len(text) - 1:
        return False
    before, after = text[at - 1], text[at + 1]
    if unicodedata.combining(before) == _VIRAMA:
        return unicodedata.category(after).startswith("L") and not _is_unseen(after)
    return unicodedata.bidirectional(before) == unicodedata.bidirectional(after) == "AL"


_VIRAMA = 9
"""Its canonical combining class."""


def natural_key(name: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts B14_9 before B14_10 and does not care for case; ties are broken by the name."""
    parts = re.findall(r"(\d+)|(\D+)", name)
    key = tuple((0, int(number), "") if number else (1, 0, text.casefold()) for number, text in parts)
    return (*key, (2, 0, name))


# -------------------------------------------------------------------------------------------- writing


_ROOM = {errno.ENOSPC: "make room on the disk", errno.EDQUOT: "raise the quota, or make room"}


def not_written(path: Path, error: OSError) -> ToolError:
    """Return the error that tells a person why `path` could not be written, and what to do if it is known."""
    advice = f"; {room}, then run it again" if (room := _ROOM.get(error.errno or 0)) else ""
    return ToolError(f"{path}: cannot be written ({error.strerror or error}){advice}")


@contextlib.contextmanager
def writing(path: Path) -> Iterator[None]:
    """Raise ToolError, which a person can read, for what the disk refuses while `path` is written."""
    try:
        yield
    except OSError as error:
        raise not_written(path, error) from error


def write_atomically(path: Path, data: bytes, *, by: Path | None = None) -> None:
    """Write `data` beside `path`, flush it to the disk, then rename it into place.

    `by` is a folder of the same file system that it is written in instead: what a kill leaves there is
    easily found. Raises ToolError when the disk fails us; then `path` is as it was.
    """
    beside = (by or path.parent) / f".{path.name}.{os.getpid()}.part"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with beside.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
        sync_folder(path.parent)
    except OSError as error:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise not_written(path, error) from error


def write_all(file: io.FileIO, data: memoryview) -> None:
    """Write all of `data` to a file without a buffer, which may take less at once. Raises OSError."""
    while data:
        data = data[file.write(data) :]


def sync_folder(folder: Path) -> None:
    """Flush a folder's entries to the disk, where the system can. Raises OSError."""
    if sys.platform == "win32":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):  # some network file systems flush files only
            raise
    finally:
        os.close(descriptor)


def flush(folder: Path, written: Iterable[Path]) -> None:
    """Flush `folder`, all below it and the files `written` in it to the disk. Raises OSError.

    Linux flushes a whole file system in one call: a bag may have more than a hundred thousand folders.
    """
    if sys.platform == "linux":
        _flush_file_system(folder)
    else:
        for path in written:
            with path.open("r+b") as file:
                os.fsync(file.fileno())
        if sys.platform != "win32":
            os.sync()


def _flush_file_system(folder: Path) -> None:
    import ctypes

    try:
        flush_one = ctypes.CDLL(None, use_errno=True).syncfs
    except (OSError, AttributeError):  # a C library that cannot be called, or has no such function
        os.sync()
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        if flush_one(descriptor):
            raise OSError(ctypes.get_errno(), os.strerror(ctypes.get_errno()), str(folder))
    finally:
        os.close(descriptor)


def forget_cached(path: Path) -> None:
    """Let the next read of a flushed file come from the disk, not from memory, where the system can."""
    if sys.platform == "linux":
        with path.open("rb", buffering=0) as file:
            os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)


REFLINK, HARD_LINK, COPY = "reflink", "hard link", "copy"


def place(source: Path, destination: Path, *, link: bool = True) -> str:
    """Put the bytes of `source` at `destination` by the cheapest way that the file system allows.

    Returns how: ``reflink``, ``hard link`` or ``copy``. With `link` false a hard link is not tried.
    The source is only read; a copy keeps its time stamps. Raises InputError, ToolError.
    """
    with writing(destination):
        destination.parent.mkdir(parents=True, exist_ok=True)
    return Placer().place(source, destination, link=link)


class Placer:
    """`place` for many files: remembers between which devices no blocks can be shared.

    The folders must be there; nothing may be at the destination.
    """

    def __init__(self) -> None:
        self._apart: set[tuple[int, int]] = set()

    def place(self, source: Path, destination: Path, *, link: bool = True) -> str:
        """Do as `pipeline.files.place` does."""
        real = Path(os.path.realpath(source)) if source.is_symlink() else source  # os.link does not follow
        try:
            return self._place(real, destination, link=link)
        except OSError as error:
            # a copy that finds no room names the file that it read
            if str(error.filename) != str(real) or error.errno in (errno.ENOSPC, errno.EDQUOT):
                raise not_written(destination, error) from error
            raise InputError(f"{source}: cannot be read ({error.strerror}); was it moved?") from error

    def _place(self, source: Path, destination: Path, *, link: bool) -> str:
        devices = (source.stat().st_dev, destination.parent.stat().st_dev)
        if devices not in self._apart:
            if _reflink(source, destination):
                shutil.copystat(source, destination)
                return REFLINK
            self._apart.add(devices)
        if link:
            with contextlib.suppress(OSError):
                destination.hardlink_to(source)
                return HARD_LINK
        shutil.copyfile(source, destination)
        shutil.copystat(source, destination)
        return COPY


_FICLONE = 0x40049409  # linux/fs.h: share the blocks of one file with another, copy on write


def _reflink(source: Path, destination: Path) -> bool:
    if sys.platform != "linux":
        return False
    import fcntl

    with source.open("rb") as read, destination.open("xb") as write:
        try:
            fcntl.ioctl(write.fileno(), _FICLONE, read.fileno())
        except OSError:
            shared = False
        else:
            shared = True
    if not shared:
        destination.unlink()
    return shared


@contextlib.contextmanager
def locked(folder: Path, *, what: str = "item") -> Iterator[None]:
    """Keep a folder of ours to one process at a time. Raises ToolError if another is at work in it.

    Where the system has no such locks (Windows), two runs on one item are the person's to avoid.
    """
    with writing(folder):
        folder.mkdir(parents=True, exist_ok=True)
        file = (folder / ".lock").open("a")
    with file:
        if sys.platform != "win32":
            import fcntl

            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError as error:
                raise ToolError(
                    f"{folder}: another run is at work on this {what}; wait for it to end"
                ) from error
            except OSError as error:
                raise ToolError(f"{folder}: cannot be locked ({error.strerror or error})") from error
        yield


def remove_tree(folder: Path) -> None:
    """Remove a folder of ours and all in it; a folder that is not there is fine. Raises ToolError.

    A symbolic link in its place is removed, what it leads to is not.
    """
    try:
        if folder.is_symlink():
            folder.unlink()
        elif folder.exists():
            shutil.rmtree(folder)
    except OSError as error:
        raise ToolError(f"{folder}: cannot be removed ({error.strerror or error})") from error


# -------------------------------------------------------------------------------------------- walking


def walk_files(folder: Path) -> Iterator[PurePosixPath]:
    """Yield every regular file below `folder`, relative to it, sorted by its path's bytes.

    Symbolic links are not followed and not told of. Raises OSError.
    """
    found: list[str] = []
    waiting = [""]
    base = str(folder)
    while waiting:
        below = waiting.pop()
        with os.scandir(f"{base}/{below}") as entries:
            for entry in entries:
                name = f"{below}/{entry.name}" if below else entry.name
                if entry.is_dir(follow_symlinks=False):
                    waiting.append(name)
                elif entry.is_file(follow_symlinks=False):
                    found.append(name)
    yield from map(PurePosixPath, sorted(found, key=os.fsencode))
