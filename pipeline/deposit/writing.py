"""How a version comes into a store: content first, the root's inventory last.

A folder gets it by renames: everything is made on the same file system beside the store, flushed, proved, and
then named. Object storage has no renames: files are put one by one under names that no inventory tells yet.

Source: OCFL 1.1, implementation notes; our own order of writing in `docs/decisions/0007-deposits.md`.
"""

from __future__ import annotations

import contextlib
import io
import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import BinaryIO, Protocol

from pipeline import files
from pipeline.deposit.bags import Bag
from pipeline.deposit.planning import Plan, object_files
from pipeline.digests import CHUNK_BYTES
from pipeline.errors import InputError, NotInStore
from pipeline.ocfl.locking import STAGING
from pipeline.progress import SILENT, Progress
from pipeline.specs import ocfl
from pipeline.stores import FolderStore, ObjectStore

COPIERS = min(4, os.cpu_count() or 1)
SENDERS = 8
"""Files that go to object storage at once: most of the time is spent waiting for answers."""


class Writing(Protocol):
    """One version on its way into a store."""

    def write(self, plan: Plan, bag: Bag, progress: Progress = SILENT) -> None:
        """Write what is new; no reader sees it yet. Raises InputError, StoreError."""
        ...

    def open(self, path: str) -> BinaryIO:
        """Open a content file of this version or an earlier one, as it is stored. Raises StoreError."""
        ...

    def commit(self, plan: Plan) -> None:
        """Make the version the object's last. Raises StoreError."""
        ...

    def undo(self, plan: Plan) -> None:
        """Take away what was written, before `commit` was begun. Raises StoreError."""
        ...


# --------------------------------------------------------------------------------------------- folders


class FolderWriting:
    """Writes to a folder."""

    def __init__(self, store: FolderStore, place: str, work: Path) -> None:
        self._store = store
        self._place = place
        self._made = work / "object"
        self._area = store.beside(STAGING)

    def write(self, plan: Plan, bag: Bag, progress: Progress = SILENT) -> None:
        """Do as `Writing.write` does."""
        small = {**plan.documents, **object_files(plan)}
        with self._area.telling("write", str(self._made.relative_to(self._area.folder))):
            self._make_folders((*plan.copied, *small))
            self._copy(plan, bag, progress)
            for path, data in small.items():
                (self._made / path).write_bytes(data)
            written = [self._made / path for path in (*plan.copied, *small)]
            files.flush(self._made, written)
            for each in written:
                files.forget_cached(each)

    def _make_folders(self, paths: Iterable[str]) -> None:
        self._made.mkdir(parents=True)
        above = {folder for path in paths for folder in files.folders_above(path)}
        for folder in sorted(above):
            (self._made / folder).mkdir()

    def _copy(self, plan: Plan, bag: Bag, progress: Progress) -> None:
        def copy(content: str) -> int:
            path = plan.copied[content]
            with _reading(bag, path) as source, (self._made / content).open("xb", buffering=0) as file:
                for data in source:
                    files.write_all(file, data)
            return bag.sizes[path]

        progress.start("files copied", total=len(plan.copied))
        try:
            for size_bytes in _each(copy, plan.copied, COPIERS):
                progress.advance(size_bytes=size_bytes)
        finally:
            progress.finish()

    def open(self, path: str) -> BinaryIO:
        """Do as `Writing.open` does."""
        try:
            return (self._made / path).open("rb", buffering=0)
        except FileNotFoundError:
            return self._store.open(f"{self._place}/{path}")

    def commit(self, plan: Plan) -> None:
        """Do as `Writing.commit` does."""
        if plan.is_first:
            self._store.take_folder(self._made, self._place)
            return
        self._store.take_folder(self._made / plan.version, f"{self._place}/{plan.version}")
        for name in (ocfl.sidecar_name(plan.inventory.digest_algorithm), ocfl.INVENTORY):
            self._store.take_file(self._made / name, f"{self._place}/{name}")

    def undo(self, plan: Plan) -> None:
        """Do as `Writing.undo` does."""
        files.remove_tree(self._made)


# -------------------------------------------------------------------------------------- object storage


class ObjectWriting:
    """Writes to object storage."""

    def __init__(self, store: ObjectStore, place: str) -> None:
        self._store = store
        self._place = place

    def write(self, plan: Plan, bag: Bag, progress: Progress = SILENT) -> None:
        """Do as `Writing.write` does."""

        def send(content: str) -> int:
            path = plan.copied[content]
            with _reading(bag, path) as source:
                self._store.put_file(
                    f"{self._place}/{content}",
                    io.BufferedReader(_Stream(source), CHUNK_BYTES),
                    if_absent=True,
                    size_bytes=bag.sizes[path],
                )
            return bag.sizes[path]

        progress.start("files sent", total=len(plan.copied))
        try:
            for size_bytes in _each(send, plan.copied, SENDERS):
                progress.advance(size_bytes=size_bytes)
        finally:
            progress.finish()
        for path, data in plan.documents.items():
            self._store.put(f"{self._place}/{path}", data, if_absent=True)

    def open(self, path: str) -> BinaryIO:
        """Do as `Writing.open` does."""
        return self._store.open(f"{self._place}/{path}")

    def commit(self, plan: Plan) -> None:
        """Do as `Writing.commit` does."""
        for path, data in object_files(plan).items():
            is_new = plan.is_first or "/" in path
            self._store.put(f"{self._place}/{path}", data, if_absent=is_new)

    def undo(self, plan: Plan) -> None:
        """Do as `Writing.undo` does."""
        self._store.drop_unfinished(self._place)
        for path in (*plan.copied, *plan.documents):
            with contextlib.suppress(NotInStore):
                self._store.delete(f"{self._place}/{path}")


class _Stream(io.RawIOBase):
    """Pieces of a file, one after another, as a stream."""

    def __init__(self, pieces: Iterator[memoryview]) -> None:
        self._pieces = pieces
        self._left = memoryview(b"")

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        if not self._left:
            self._left = next(self._pieces, memoryview(b""))
        count = min(len(buffer), len(self._left))
        buffer[:count] = self._left[:count]
        self._left = self._left[count:]
        return count


# ---------------------------------------------------------------------------------------------- reading


@contextlib.contextmanager
def _reading(bag: Bag, path: str) -> Iterator[Iterator[memoryview]]:
    """Open a file of the bag, and give its bytes piece by piece; each must be used before the next.

    Raises InputError for one that cannot be read, or that changes meanwhile.
    """
    with contextlib.ExitStack() as stack:
        try:
            file = stack.enter_context(bag.open(path))
            before = _stamp(file)
        except OSError as error:
            raise _unreadable(bag, path, error) from error
        yield _pieces(bag, path, file)
        if _stamp(file) != before:
            raise _changed(bag, path)


def _pieces(bag: Bag, path: str, file: BinaryIO) -> Iterator[memoryview]:
    buffer = memoryview(bytearray(min(CHUNK_BYTES, bag.sizes[path] + 1)))
    size_bytes = 0
    while True:
        try:
            count = file.readinto(buffer)  # type: ignore[attr-defined]
        except OSError as error:
            raise _unreadable(bag, path, error) from error
        size_bytes += count
        if size_bytes > bag.sizes[path] or (not count and size_bytes < bag.sizes[path]):
            raise _changed(bag, path)
        if not count:
            return
        yield buffer[:count]


def _unreadable(bag: Bag, path: str, error: OSError) -> InputError:
    return InputError(f"{bag.name}/{path}: cannot be read ({error.strerror or error}); nothing was deposited")


def _changed(bag: Bag, path: str) -> InputError:
    return InputError(
        f"{bag.name}/{path}: changed since it was verified; nothing was deposited: see who writes there"
    )


def _stamp(file: BinaryIO) -> tuple[int, int]:
    """What is different when a file was written to; members of archives do not change."""
    try:
        status = os.fstat(file.fileno())
    except io.UnsupportedOperation:
        return (0, 0)
    return (status.st_size, status.st_mtime_ns)


def _each(work: Callable[[str], int], names: Iterable[str], threads: int) -> Iterator[int]:
    """Do the work for each name, some at once; what goes wrong stops the rest."""
    pool = ThreadPoolExecutor(threads, thread_name_prefix="depositing")
    try:
        yield from pool.map(work, names)
    finally:
        pool.shutdown(cancel_futures=True)
