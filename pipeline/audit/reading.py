"""Content read and digested: several files at once, no faster than allowed, nothing held in memory.

A stream that ends early, a store that answers with an error, and bytes that differ are three things: only the
last is damage, and only after the file was read a second time and differed again.
"""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Iterable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any, BinaryIO

from pipeline.audit.values import Clock
from pipeline.ocfl.digesting import Hashers
from pipeline.stores import NotInStore, Store, StoreError

CHUNK_BYTES = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What came of reading one file."""

    path: str
    digests: Mapping[str, str] = field(default_factory=dict)
    size_bytes: int = 0
    trouble: str = ""
    """Why the store did not give it; empty if it did."""
    is_gone: bool = False
    """It was listed, and is not there."""
    was_begun: bool = True
    """False if the audit stopped before."""


class Throttle:
    """Lets so many bytes pass in a second, all threads together."""

    def __init__(self, bytes_per_s: float | None, clock: Clock) -> None:
        self._bytes_per_s = bytes_per_s
        self._clock = clock
        self._lock = threading.Lock()
        self._free_at = clock.seconds()

    def spend(self, size_bytes: int) -> None:
        """Wait until so many bytes more are allowed."""
        if self._bytes_per_s is None:
            return
        with self._lock:
            now = self._clock.seconds()
            self._free_at = max(self._free_at, now) + size_bytes / self._bytes_per_s
            wait_s = self._free_at - now
        if wait_s > 0:
            self._clock.sleep(wait_s)


class Reader:
    """Threads that read a store's files."""

    def __init__(self, store: Store, *, threads: int, throttle: Throttle) -> None:
        self._store = store
        self._throttle = throttle
        self._pool = ThreadPoolExecutor(threads, thread_name_prefix="audit")
        self._buffers = threading.local()
        self._stop = threading.Event()
        self.threads = threads

    def __enter__(self) -> Reader:
        """Return the reader."""
        return self

    def __exit__(self, *_: object) -> None:
        """Give up what was not begun, and what is in hand; return when no thread reads any more."""
        self._stop.set()
        self._pool.shutdown(wait=True, cancel_futures=True)

    def submit(self, folder: str, path: str, expected: Mapping[str, frozenset[str]]) -> Future[Reading]:
        """Read `folder/path` for the digests that are `expected`: algorithm → those that are said of it."""
        return self._pool.submit(self._read, folder, path, expected)

    def _read(self, folder: str, path: str, expected: Mapping[str, frozenset[str]]) -> Reading:
        if self._stop.is_set():
            return Reading(path=path, was_begun=False)
        first = self.read(folder, path, expected)
        if first.trouble or first.is_gone or not first.was_begun or _fits(first, expected):
            return first
        again = self.read(folder, path, expected)
        if again.digests == first.digests or again.is_gone:
            return again
        if again.trouble or not again.was_begun:
            return again
        return Reading(
            path=path,
            size_bytes=first.size_bytes + again.size_bytes,
            trouble=f"{self._store.url}/{folder}/{path}: was read twice and differed; look at memory, "
            "cables and controllers before the disk",
        )

    def read(self, folder: str, path: str, algorithms: Iterable[str]) -> Reading:
        """Read one file once, in this thread."""
        hashers = Hashers(algorithms)
        try:
            with self._store.open(f"{folder}/{path}" if folder else path) as stream:
                _read_anew(stream)
                while data := self._next(stream):
                    if self._stop.is_set():
                        return Reading(path=path, was_begun=False)
                    hashers.update(data)
                    self._throttle.spend(len(data))
        except NotInStore:
            return Reading(path=path, is_gone=True)
        except StoreError as error:
            return Reading(path=path, size_bytes=hashers.size_bytes, trouble=error.message)
        except OSError as error:
            where = f"{self._store.url}/{folder}/{path}"
            said = f"{where}: cannot be read to its end ({error.strerror or error})"
            return Reading(path=path, size_bytes=hashers.size_bytes, trouble=said)
        return Reading(path=path, digests=hashers.digests(), size_bytes=hashers.size_bytes)

    def _next(self, stream: BinaryIO) -> bytes | memoryview:
        into: Any = getattr(stream, "readinto", None)
        if into is None:
            return stream.read(CHUNK_BYTES)
        if not hasattr(self._buffers, "view"):
            self._buffers.view = memoryview(bytearray(CHUNK_BYTES))
        view: memoryview = self._buffers.view
        return view[: into(view) or 0]


def _fits(reading: Reading, expected: Mapping[str, frozenset[str]]) -> bool:
    return all(said <= {reading.digests[algorithm]} for algorithm, said in expected.items())


def _read_anew(stream: BinaryIO) -> None:
    """Let the bytes come from the disk, not from what memory still has of them, where the system can."""
    if hasattr(os, "posix_fadvise"):
        with contextlib.suppress(OSError, ValueError, AttributeError):
            descriptor = stream.fileno()
            os.posix_fadvise(descriptor, 0, 0, os.POSIX_FADV_DONTNEED)
            os.posix_fadvise(descriptor, 0, 0, os.POSIX_FADV_SEQUENTIAL)
