"""Proof that a store holds what it should: every byte is read, digested and compared."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import BinaryIO

from pipeline.digests import CHUNK_BYTES
from pipeline.errors import FixityError, NotInStore, Problem
from pipeline.progress import SILENT, Progress

Opener = Callable[[str], BinaryIO]
"""Opens a file by its path. Raises OSError or StoreError."""

READERS = min(4, os.cpu_count() or 1)


def prove(
    expected: Mapping[str, str],
    open_file: Opener,
    algorithm: str,
    *,
    what: str,
    advice: str,
    progress: Progress = SILENT,
) -> None:
    """Read every file of `expected`, path → digest; say which are not as they should be by a FixityError.

    A store that does not answer raises StoreError: nothing is then known of its files.
    """
    progress.start("files read back", total=len(expected))
    try:
        problems = [
            Problem(where=path, found=found, expected=f"{algorithm} {expected[path][:16]}…", advice=advice)
            for path, found in _differing(expected, open_file, algorithm, progress)
        ]
    finally:
        progress.finish()
    if problems:
        raise FixityError(f"{what}: is not what it should be", problems=problems)


def _differing(
    expected: Mapping[str, str], open_file: Opener, algorithm: str, progress: Progress
) -> Iterator[tuple[str, str]]:
    """Yield path and what was found of every file that differs."""

    def read(path: str) -> tuple[int, str]:
        try:
            with open_file(path) as file:
                size_bytes, digest = digest_of(file, algorithm)
        except (FileNotFoundError, NotInStore):
            return 0, "no file"
        except OSError as error:
            return 0, f"what cannot be read ({error.strerror or error})"
        is_right = digest == expected[path].lower()
        return size_bytes, "" if is_right else f"{algorithm} {digest[:16]}…"

    pool = ThreadPoolExecutor(READERS, thread_name_prefix="proving")
    try:
        for path, (size_bytes, found) in zip(expected, pool.map(read, expected), strict=True):
            progress.advance(size_bytes=size_bytes)
            if found:
                yield path, found
    finally:
        pool.shutdown(cancel_futures=True)


def digest_of(file: BinaryIO, algorithm: str) -> tuple[int, str]:
    """Return size and digest of a stream, read to its end. Raises OSError."""
    digest, size_bytes = hashlib.new(algorithm), 0
    while data := file.read(CHUNK_BYTES):
        digest.update(data)
        size_bytes += len(data)
    return size_bytes, digest.hexdigest()
