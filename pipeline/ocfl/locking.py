"""One writer for each object: a lock beside the store, which outlives a writer that was killed.

In a folder the system itself keeps the lock, and lets it go with the process. Object storage has a file that
one writer alone can create. Either holds a note of who writes what: it tells the other, and whoever comes
after a writer that was killed.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import IO

from pipeline.errors import AlreadyThere, LostLock, NotInStore, StoreError
from pipeline.files import remove_tree
from pipeline.stores import Entry, FolderStore, ObjectStore, Store

STAGING = ".staging"
"""At the end of a store's name: the place beside it for locks and half-done versions."""
_LOCK, _WORK = "lock", "work"
_MOST_BYTES = 1 << 16
_ATTEMPTS = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """Who writes what."""

    object_id: str
    place: str
    """Of the object in the store."""
    host: str
    pid: int
    started: str
    writer: int = 0
    """Tells writers of one process apart."""
    version: str = ""
    """What is being written, as soon as that is known."""
    is_left: bool = False
    """The writer has ended, and could not take away all that it had begun."""
    is_mending: bool = False
    """An audit mends the object: each file is put in its place whole, so nothing is half-done in it."""

    def __str__(self) -> str:
        """Return it as messages tell it."""
        act = "mended" if self.is_mending else "deposited"
        return f"{act} by process {self.pid} on {self.host}, since {self.started}"

    def to_bytes(self) -> bytes:
        """Return it as it lies in the lock."""
        return (json.dumps(asdict(self), indent=2, sort_keys=True) + "\n").encode()


def read_note(data: bytes) -> Note | None:
    """Return the note in a lock; None for one that was not written to its end."""
    try:
        document = json.loads(data)
        return Note(**document) if isinstance(document, dict) else None
    except (ValueError, TypeError):
        return None


@dataclass(slots=True, kw_only=True)
class Held:
    """What the holder of a lock needs to know, and one thing that it may say."""

    work: Path | None
    """A folder for half-done things, on the store's file system; None for object storage."""
    leftover: Note | None = None
    """The note of a writer before, who was killed."""
    is_guarded: bool = True
    """False if the store cannot keep two writers apart by itself."""
    announce: Callable[[str], None]
    """To be told the version before anything of it is written. Raises LostLock, StoreError."""
    check: Callable[[], None]
    """To be asked before the version becomes visible. Raises LostLock, StoreError."""
    is_left: bool = False
    """To be set if what was begun could not be taken away: then the lock stays for the next one to find."""


def key_of(place: str) -> str:
    """The folder of an object beside the store, from its place in it."""
    return hashlib.sha256(place.encode()).hexdigest()[:32]


@contextlib.contextmanager
def held(store: Store, note: Note, *, take_over: bool = False) -> Iterator[Held]:
    """Hold the lock of an object; what its holder makes in `Held.work` is removed at the end.

    With `take_over` a lock of another machine, of which nobody here can know whether its holder lives, is
    taken. Raises StoreError if somebody else holds it.
    """
    note = replace(note, writer=threading.get_ident())
    if isinstance(store, FolderStore):
        with _held_in_folder(store, note, take_over) as holding:
            yield holding
    elif isinstance(store, ObjectStore):
        with _held_in_objects(store, note, take_over) as holding:
            yield holding
    else:
        raise StoreError(f"{store.url}: nothing can be locked in a store of this kind")


def _refusal(note: Note | None, lock: str, *, is_elsewhere: bool) -> StoreError:
    who = str(note) if note else "written by another process"
    what = f'"{note.object_id}"' if note else "this object"
    advice = (
        f"if that one has ended, take its place with --take-over; the lock is {lock}"
        if is_elsewhere
        else "wait until it has ended, then try again"
    )
    return StoreError(f"{what} is being {who}; nothing was done here: {advice}")


# --------------------------------------------------------------------------------------------- folders


@contextlib.contextmanager
def _held_in_folder(store: FolderStore, note: Note, take_over: bool) -> Iterator[Held]:
    area = store.beside(STAGING)
    folder = area.folder / key_of(note.place)
    with area.telling("write", folder.name):
        file = _locked(folder)
    with file:
        leftover = read_note(file.read(_MOST_BYTES))
        if leftover and leftover.host != note.host and not take_over:
            raise _refusal(leftover, str(folder / _LOCK), is_elsewhere=True)
        with area.telling("write", folder.name):
            _refuse_other_file_system(store, folder)
            _write_note(file, note)
        work = folder / _WORK
        remove_tree(work)
        try:
            yield Held(work=work, leftover=leftover, announce=lambda version: None, check=lambda: None)
        finally:
            _let_go(folder)


def _locked(folder: Path) -> IO[bytes]:
    """Return the lock file, opened and locked. Raises OSError, StoreError if somebody holds it."""
    for _ in range(_ATTEMPTS):
        folder.mkdir(parents=True, exist_ok=True)
        with contextlib.suppress(FileNotFoundError):  # its last holder took the folder away
            file = (folder / _LOCK).open("a+b")
            try:
                _lock(file, folder / _LOCK)
                if os.path.samestat(os.fstat(file.fileno()), (folder / _LOCK).stat()):
                    file.seek(0)
                    return file
            except BaseException:
                file.close()
                raise
            file.close()
    raise StoreError(f"{folder}: cannot be locked; look at who else writes there")


def _lock(file: IO[bytes], path: Path) -> None:
    if sys.platform == "win32":
        raise StoreError(f"{path}: folders can be deposited to from Linux and macOS alone")
    import fcntl

    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        file.seek(0)
        raise _refusal(read_note(file.read(_MOST_BYTES)), str(path), is_elsewhere=False) from None


def _refuse_other_file_system(store: FolderStore, beside: Path) -> None:
    if store.folder.exists() and store.folder.stat().st_dev != beside.stat().st_dev:
        raise OSError(errno.EXDEV, "the store is on another file system than what lies beside it")


def _write_note(file: IO[bytes], note: Note) -> None:
    file.truncate(0)
    file.write(note.to_bytes())
    file.flush()
    os.fsync(file.fileno())


def _let_go(folder: Path) -> None:
    """Take away what is half-done, then the lock, then the folders if they are empty."""
    with contextlib.suppress(OSError, StoreError):
        remove_tree(folder / _WORK)
        (folder / _LOCK).unlink()
        folder.rmdir()
        folder.parent.rmdir()


def unfinished(store: Store) -> Iterator[Note]:
    """Yield the notes of writers that have not ended, at work or killed; no lock is asked for."""
    with contextlib.suppress(StoreError):  # nothing can lie beside a whole bucket
        area = store.beside(STAGING)
        for each in area.walk():
            if each.name == _LOCK and (note := read_note(area.read(each.path, limit_bytes=_MOST_BYTES))):
                yield note


def let_go_of_mended(store: Store, *, host: str, pid: int) -> None:
    """Take away what audits left that were killed while they mended: locks, and files that came half-way.

    What such an audit had put in its place is whole. Somebody who lives keeps his lock.
    """
    for note in tuple(unfinished(store)):
        if note.is_mending:
            with contextlib.suppress(StoreError), held(store, replace(note, host=host, pid=pid)):
                if isinstance(store, ObjectStore):
                    store.drop_unfinished(note.place)
    if isinstance(store, FolderStore):
        store.tidy()


def half_done(store: Store, note: Note) -> Iterator[Entry]:
    """Yield what a writer has made beside the store, if it is a folder. Raises StoreError."""
    if isinstance(store, FolderStore):
        yield from store.beside(STAGING).walk(f"{key_of(note.place)}/{_WORK}")


def note_of(store: Store, place: str) -> Note | None:
    """Return the note of whoever writes an object, or began to; None if nobody did."""
    with contextlib.suppress(StoreError):
        return read_note(store.beside(STAGING).read(f"{key_of(place)}/{_LOCK}", limit_bytes=_MOST_BYTES))
    return None


def abandoned(store: Store, *, host: str) -> Iterator[Note]:
    """Yield the notes of writers that were killed.

    In a folder, of those whose locks nobody holds; in object storage, of those that left word, and of
    processes of this `host` that live no more: of other machines nobody here can know.
    """
    if isinstance(store, FolderStore):
        yield from _abandoned_in_folder(store)
    else:
        yield from (note for note in tuple(unfinished(store)) if _is_over(note, host))


def _abandoned_in_folder(store: FolderStore) -> Iterator[Note]:
    area = store.beside(STAGING).folder
    for lock in sorted(area.glob(f"*/{_LOCK}")) if area.is_dir() else ():
        with contextlib.suppress(OSError, StoreError), lock.open("r+b") as file:
            _lock(file, lock)
            if note := read_note(file.read(_MOST_BYTES)):
                yield note
            else:  # killed before it could say what it would write, so nothing is begun
                _let_go(lock.parent)


# -------------------------------------------------------------------------------------- object storage


@contextlib.contextmanager
def _held_in_objects(store: ObjectStore, note: Note, take_over: bool) -> Iterator[Held]:
    area = store.beside(STAGING)
    path = f"{key_of(note.place)}/{_LOCK}"

    def announce(version: str) -> None:
        nonlocal note
        told = replace(note, version=version)
        if not area.replace(path, note.to_bytes(), told.to_bytes()):
            raise _lost(note)
        note = told

    def check() -> None:
        if not _is_ours(area, path, note):
            raise _lost(note)

    leftover = _taken(area, path, note, take_over)
    holding = Held(work=None, leftover=leftover, announce=announce, check=check)
    try:
        holding.is_guarded = area.refuses_second(path)
        yield holding
    finally:
        with contextlib.suppress(StoreError):  # what was raised first matters more; the lock tells of us then
            if not _is_ours(area, path, note):
                pass
            elif holding.is_left:
                area.put(path, replace(note, is_left=True).to_bytes())
            else:
                area.delete(path)


def _is_ours(area: ObjectStore, path: str, note: Note) -> bool:
    with contextlib.suppress(NotInStore):
        return area.read(path, limit_bytes=_MOST_BYTES) == note.to_bytes()
    return False


def _lost(note: Note) -> LostLock:
    return LostLock(
        f'"{note.object_id}" is being deposited by somebody else too, and this store does not keep two '
        "writers apart; nothing was committed here: let one of them end, then audit the store and try again"
    )


def _taken(area: ObjectStore, path: str, note: Note, take_over: bool) -> Note | None:
    """Take the lock; return the note of the holder before, if one was killed. Raises StoreError."""
    for _ in range(_ATTEMPTS):
        try:
            area.put(path, note.to_bytes(), if_absent=True)
            return None
        except AlreadyThere:
            with contextlib.suppress(NotInStore):  # let go just now
                return _taken_over(area, path, note, take_over)
    raise StoreError(f"{area.url}/{path}: cannot be locked; look at who else writes there")


def _taken_over(area: ObjectStore, path: str, note: Note, take_over: bool) -> Note | None:
    data = area.read(path, limit_bytes=_MOST_BYTES)
    holder = read_note(data)
    is_over = holder is not None and _is_over(holder, note.host)
    if not (is_over or take_over):
        raise _refusal(holder, f"{area.url}/{path}", is_elsewhere=True)
    if not area.replace(path, data, note.to_bytes()):
        raise _refusal(None, f"{area.url}/{path}", is_elsewhere=False)
    return holder or note


def _is_over(holder: Note, host: str) -> bool:
    """True for a writer of whom is known that he has ended."""
    return holder.is_left or (holder.host == host and not _lives(holder.pid))


def _lives(pid: int) -> bool:
    """True for a process of this machine, or if that cannot be known."""
    if sys.platform == "win32":
        return True
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True
