"""A store in a folder of this machine, or of what is mounted on it."""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import IO, BinaryIO

from pipeline.errors import AlreadyThere, InputError, NotInStore, StoreError
from pipeline.files import sync_folder
from pipeline.stores.store import Entry, Kind, Unlisted, checked_path

STAGING = ".staging"
"""At the end of a store's name: the folder beside it where things are made."""
COPY_BYTES = 1 << 20
_ATTEMPTS = 5


class FolderStore:
    """A folder; a link that leads to it is followed. Links below it are told and never followed.

    Files are written in a staging folder beside it, flushed, and renamed into place: whoever looks at the
    store sees whole files only. So both must lie on one file system.
    """

    has_renames = True

    def __init__(self, folder: Path) -> None:
        # one lock for one folder, whatever names lead to it; Path.resolve raises on loops of links
        self.folder = Path(os.path.realpath(folder))
        self.url = str(self.folder)

    # ------------------------------------------------------------------------------------- looking

    def entries(self, folder: str = "") -> Iterator[Entry]:
        """Do as `Store.entries` does."""
        place = self._place(folder) if folder else self.folder
        with self.telling("list", folder):
            found = self._scan(str(place), f"{folder}/" if folder else "")
        yield from found

    def walk(self, folder: str = "", *, unlisted: Unlisted | None = None) -> Iterator[Entry]:
        """Do as `Store.walk` does."""
        place = self._place(folder) if folder else self.folder
        with self.telling("list", folder):
            waiting = [folder] if place.is_dir() else []
        while waiting:
            below = waiting.pop()
            try:
                with self.telling("list", below):
                    found = self._scan(f"{self.folder}/{below}", f"{below}/" if below else "")
            except StoreError as error:
                if unlisted is None or below == folder:
                    raise
                if not self._was_taken_away(below, error):
                    unlisted(below, error)
                continue
            if not found and below != folder:
                yield Entry(below, Kind.FOLDER)
            yield from (each for each in found if not each.is_folder)
            waiting += [each.path for each in reversed(found) if each.is_folder]

    def _was_taken_away(self, folder: str, error: StoreError) -> bool:
        """True for a folder that somebody removed since it was listed, as deposits sweep empty ones away."""
        return isinstance(error, NotInStore) and not os.path.lexists(f"{self.folder}/{folder}")

    def _scan(self, place: str, before: str) -> list[Entry]:
        with os.scandir(place) as found:
            return sorted(self._entry(each, before) for each in found)

    def _entry(self, found: os.DirEntry[str], before: str) -> Entry:
        path = f"{before}{found.name}"
        if found.is_symlink():
            return Entry(path, Kind.LINK)
        if found.is_dir(follow_symlinks=False):
            return Entry(path, Kind.FOLDER)
        if not found.is_file(follow_symlinks=False):
            return Entry(path, Kind.OTHER)
        facts = found.stat(follow_symlinks=False)
        return Entry(path, Kind.FILE, facts.st_size, facts.st_nlink)

    def open(self, path: str) -> BinaryIO:
        """Do as `Store.open` does."""
        with self.telling("read", path):
            return self._file(path).open("rb", buffering=0)

    def read(self, path: str, *, limit_bytes: int) -> bytes:
        """Do as `Store.read` does."""
        with self.telling("read", path), self._file(path).open("rb") as file:
            data = file.read(limit_bytes + 1)
        if len(data) > limit_bytes:
            raise StoreError(f"{self.url}/{path}: has more than {limit_bytes:,} bytes, which is too much")
        return data

    def size(self, path: str) -> int:
        """Do as `Store.size` does."""
        with self.telling("look at", path):
            return self._file(path).stat().st_size

    def exists(self, path: str) -> bool:
        """Do as `Store.exists` does."""
        place = self._place(path)
        with self.telling("look at", path):
            if place.is_dir():
                return any(True for _ in self.walk(path))
            return os.path.lexists(place)

    def _place(self, path: str) -> Path:
        """Return where a path lies. Raises StoreError for one that leads out, or over a link."""
        checked_path(path, self.url)
        place = str(self.folder)
        for name in path.split("/")[:-1]:
            place = f"{place}/{name}"
            if os.path.islink(place):  # noqa: PTH114, once for every file and folder above it
                raise StoreError(
                    f"{self.url}/{path}: lies behind the symbolic link {place}, and no link is followed in a "
                    "store; put the folder itself there"
                )
        return self.folder / path

    def _file(self, path: str) -> Path:
        """Return where a regular file lies. Raises OSError, StoreError for what is something else."""
        place = self._place(path)
        if not stat.S_ISREG(place.lstat().st_mode):
            raise StoreError(f"{self.url}/{path}: is no regular file, and nothing else is read from a store")
        return place

    # ------------------------------------------------------------------------------------- writing

    def refuse_unwritable(self) -> None:
        """Raise StoreError if nothing can be written to the store, or made beside it; nothing is tried."""
        for wanted in (self.folder, self.folder.parent):
            there = next(each for each in (wanted, *wanted.parents) if each.exists())
            if not os.access(there, os.W_OK | os.X_OK):
                is_sealed = os.statvfs(there).f_flag & os.ST_RDONLY
                why = "is mounted read-only" if is_sealed else "cannot be written to"
                raise StoreError(
                    f"{there}: {why}, and a store is written in its folder and in the one that this lies in; "
                    "ask for the permission, or give another place"
                )

    def put(self, path: str, data: bytes, *, if_absent: bool = False) -> None:
        """Do as `Store.put` does."""
        with self._written(path, if_absent) as file:
            file.write(data)

    def put_file(
        self, path: str, source: Path | BinaryIO, *, if_absent: bool = False, size_bytes: int = 0
    ) -> None:
        """Do as `Store.put_file` does."""
        with contextlib.ExitStack() as stack:
            with _reading(source):
                stream = stack.enter_context(source.open("rb")) if isinstance(source, Path) else source
            file = stack.enter_context(self._written(path, if_absent))
            while True:
                with _reading(source):
                    data = stream.read(COPY_BYTES)
                if not data:
                    break
                file.write(data)

    @contextlib.contextmanager
    def _written(self, path: str, if_absent: bool) -> Iterator[BinaryIO]:
        place = self._place(path)
        beside = self._staging() / f"{os.getpid()}-{threading.get_ident()}.part"
        with self.telling("write", path):
            try:
                with _opened(beside) as file:
                    is_locked(file)  # so that `tidy` knows that somebody lives who writes it
                    yield file
                    file.flush()
                    os.fsync(file.fileno())
                    self.make_folders(place.parent)
                    _give_name(beside, place, if_absent)
                sync_folder(place.parent)
            finally:
                with contextlib.suppress(OSError):
                    beside.unlink()
                with contextlib.suppress(OSError):
                    beside.parent.rmdir()

    def half_written(self) -> Iterator[Path]:
        """Yield the files beside the store that were begun, and that nobody writes any more."""
        with contextlib.suppress(OSError):
            for part in sorted(self._staging().glob("*.part")):
                with contextlib.suppress(FileNotFoundError), part.open("rb") as file:
                    if is_locked(file):
                        yield part

    def tidy(self) -> None:
        """Remove half-written files beside the store that nobody writes any more."""
        with contextlib.suppress(OSError):
            for part in self.half_written():
                part.unlink(missing_ok=True)
            self._staging().rmdir()

    def _staging(self) -> Path:
        return self.folder.with_name(f"{self.folder.name}{STAGING}")

    def make_folders(self, folder: Path) -> None:
        """Make a folder of the store and those above it, and flush the names. Raises OSError."""
        missing = []
        while not folder.exists():
            missing.append(folder)
            folder = folder.parent
        for each in reversed(missing):
            each.mkdir(exist_ok=True)
            sync_folder(each.parent)

    def rename(self, source: str, to: str) -> None:
        """Do as `Store.rename` does."""
        self.take_folder(self._place(source), to)

    def take_folder(self, source: Path, to: str) -> None:
        """Give a folder of the same file system a name in the store, or another one, by one rename.

        Raises AlreadyThere if there is something of that name.
        """
        place = self._place(to)
        with self.telling("rename", to):
            if not stat.S_ISDIR(source.lstat().st_mode):
                raise StoreError(f"{source}: is no folder, and only folders are renamed")
            if os.path.lexists(place):
                raise AlreadyThere(f"{self.url}/{to}: is there already, and nothing in a store is replaced")
            self._rename(source, place)
            sync_folder(place.parent)
            sync_folder(source.parent)

    def _rename(self, source: Path, place: Path) -> None:
        for attempt in range(_ATTEMPTS):
            self.make_folders(place.parent)
            try:
                source.rename(place)
                return
            except FileNotFoundError:  # the folder above was empty, and somebody swept it away
                if attempt == _ATTEMPTS - 1 or not source.exists():
                    raise

    def take_file(self, source: Path, to: str) -> None:
        """Put a flushed file of the same file system in the place of one in the store, by one rename."""
        place = self._place(to)
        with self.telling("write", to):
            source.replace(place)
            sync_folder(place.parent)

    def sweep(self, path: str) -> None:
        """Remove a folder and those above it, up to the store, as long as they are empty."""
        place = self._place(path)
        with contextlib.suppress(OSError):
            while place != self.folder:
                with contextlib.suppress(FileNotFoundError):
                    place.rmdir()
                place = place.parent

    def delete(self, path: str) -> None:
        """Do as `Store.delete` does."""
        place = self._place(path)
        with self.telling("remove", path):
            if stat.S_ISDIR(place.lstat().st_mode):
                place.rmdir()
            else:
                place.unlink()
            sync_folder(place.parent)

    def beside(self, suffix: str) -> FolderStore:
        """Do as `Store.beside` does."""
        return FolderStore(self.folder.with_name(f"{self.folder.name}{suffix}"))

    @contextlib.contextmanager
    def telling(self, act: str, path: str) -> Iterator[None]:
        """Turn what the disk refuses into an error that a person can act on."""
        try:
            yield
        except OSError as error:
            raise self._error(act, path, error) from error

    def _error(self, act: str, path: str, error: OSError) -> StoreError:
        where = f"{self.url}/{path}" if path else self.url
        said = error.strerror or str(error)
        if error.errno in (errno.ENOENT, errno.ENOTDIR) and act != "write":
            return NotInStore(f"{where}: is not there; give a path that the store has")
        if error.errno == errno.EEXIST:
            return AlreadyThere(f"{where}: is there already, and must not be replaced")
        return StoreError(f"{where}: cannot {act} it ({said}); {_ADVICE.get(error.errno or 0, _LOOK)}")


_LOOK = "look at the disk, then try again"
_ADVICE = {
    errno.ENOSPC: "make room on the disk, then try again",
    errno.EDQUOT: "raise the quota, then try again",
    errno.EROFS: "the store is mounted read-only",
    errno.EACCES: "ask for the permission",
    errno.EPERM: "ask for the permission",
    errno.EXDEV: "a store and its staging folder beside it must lie on one file system: "
    "give a folder inside the mounted one",
    errno.EIO: "the disk or the network under it fails: look at it before anything else is written",
}


def _give_name(beside: Path, place: Path, if_absent: bool) -> None:
    if not if_absent:
        beside.replace(place)
    elif sys.platform == "win32":
        beside.rename(place)  # refuses there to replace a file
    else:
        place.hardlink_to(beside)  # the other name is removed at once


@contextlib.contextmanager
def _reading(source: Path | BinaryIO) -> Iterator[None]:
    """Tell a source that cannot be read from a store that cannot be written. Raises InputError."""
    try:
        yield
    except OSError as error:
        raise InputError(
            f"{getattr(source, 'name', source)}: cannot be read ({error.strerror or error})"
        ) from error


def is_locked(file: IO[bytes]) -> bool:
    """Lock an open file until it is closed; return whether that could be done.

    False if another process has it, or if the system keeps no such locks.
    """
    if sys.platform == "win32":
        return False
    import fcntl

    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _opened(path: Path) -> BinaryIO:
    """Open a file for writing in a folder that others may take away while it is empty. Raises OSError."""
    for attempt in range(_ATTEMPTS):
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            return path.open("wb")
        except FileNotFoundError:
            if attempt == _ATTEMPTS - 1:
                raise
    raise AssertionError("there is at least one attempt")
