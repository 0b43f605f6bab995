"""The file system: safe names, atomic writes, linking instead of copying."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import sys
import unicodedata
from collections.abc import Iterator
from pathlib import Path, PurePosixPath

from pipeline.errors import ToolError

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
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    safe = _UNSAFE.sub("-", plain).strip("-")
    if not safe:
        safe = "u" + "-".join(f"{ord(letter):x}" for letter in text) if text else "unnamed"
    return f"{safe}_" if safe.lower() in _DEVICE_NAMES else safe


def resolve_inside(base: Path, relative: str | PurePosixPath) -> Path | None:
    """Return `base/relative`, or None if that would leave `base`.

    Absolute paths, ``..``, ``~``, drive letters, backslashes, NUL, and symbolic links that lead out are
    refused (RFC 8493, section 5.2).
    """
    text = str(relative)
    parts = text.split("/")
    if (
        not text
        or text.startswith(("/", "~"))
        or any(char in text for char in "\\\0")
        or re.match(r"[A-Za-z]:", text)
        or any(part in ("", ".", "..") for part in parts)
    ):
        return None
    candidate = base.joinpath(*parts)
    return candidate if candidate.resolve().is_relative_to(base.resolve()) else None


def natural_key(name: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts B14_9 before B14_10 and does not care for case; ties are broken by the name."""
    parts = re.findall(r"(\d+)|(\D+)", name)
    key = tuple((0, int(number), "") if number else (1, 0, text.casefold()) for number, text in parts)
    return (*key, (2, 0, name))


# -------------------------------------------------------------------------------------------- writing


def write_atomically(path: Path, data: bytes) -> None:
    """Write `data` beside `path`, flush it to the disk, then rename it into place.

    Raises ToolError when the disk fails us; then `path` is as it was.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with beside.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise ToolError(f"{path}: cannot be written ({error.strerror or error})") from error
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Flush a folder's entries to the disk, where the system can."""
    if sys.platform == "win32":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def place(source: Path, destination: Path, *, link: bool = True) -> str:
    """Put the bytes of `source` at `destination` by the cheapest way that the file system allows.

    Returns how: ``reflink``, ``hard link`` or ``copy``. With `link` false a hard link is not tried.
    The source is only read; a copy keeps its time stamps. Raises ToolError.
    """
    destination.parent.mkdir(parents=True, exist_ok=True)
    try:
        if _reflink(source, destination):
            shutil.copystat(source, destination)
            return "reflink"
        if link:
            with contextlib.suppress(OSError):
                os.link(source, destination)
                return "hard link"
        shutil.copyfile(source, destination)
        shutil.copystat(source, destination)
    except OSError as error:
        raise ToolError(f"{destination}: cannot be written ({error.strerror or error})") from error
    return "copy"


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
def locked(folder: Path) -> Iterator[None]:
    """Keep a folder of ours to one process at a time. Raises ToolError if another is at work in it.

    Where the system has no such locks (Windows), two runs on one item are the person's to avoid.
    """
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / ".lock").open("a") as file:
        if sys.platform != "win32":
            import fcntl

            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError as error:
                raise ToolError(
                    f"{folder}: another run is at work on this item; wait for it to end"
                ) from error
        yield


def remove_tree(folder: Path) -> None:
    """Remove a folder of ours and all in it; a folder that is not there is fine."""
    shutil.rmtree(folder, ignore_errors=False) if folder.exists() else None


# -------------------------------------------------------------------------------------------- walking


def walk_files(folder: Path) -> Iterator[PurePosixPath]:
    """Yield every regular file below `folder`, relative to it, sorted by its path's bytes."""
    found: list[str] = []
    waiting = [""]
    while waiting:
        below = waiting.pop()
        with os.scandir(folder / below) as entries:
            for entry in entries:
                name = f"{below}/{entry.name}" if below else entry.name
                if entry.is_dir(follow_symlinks=False):
                    waiting.append(name)
                elif entry.is_file(follow_symlinks=False):
                    found.append(name)
    yield from map(PurePosixPath, sorted(found, key=os.fsencode))
