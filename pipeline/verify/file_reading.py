"""Reads every file of a bundle once: its digests, and, if it is an image, its picture to the end.

Files are read by several threads: digests and decoders let go of the interpreter. A file that fits is read
into memory, digested and decoded from there; a larger one is digested as the decoder reads it.
"""

from __future__ import annotations

import io
import itertools
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, replace
from pathlib import PurePosixPath
from typing import BinaryIO

from pipeline import images
from pipeline.containers import Container, Limits
from pipeline.digests import CHUNK_BYTES, Digester
from pipeline.errors import MasterError
from pipeline.headers import Header, is_image, read_header_of
from pipeline.headers.structure import read_structure
from pipeline.verify.evidence import SIGNATURE_SIDE, FileReading, ImageReading
from pipeline.verify.roles import IMAGE_SUFFIXES, is_tile

IN_MEMORY_BYTES = 64 << 20
"""Files up to this size are decoded from memory; each thread holds one at most."""

MAX_SIDE_PX = 500_000
"""Rows are decoded some at a time: what is wider takes gigabytes, whatever its height."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """One file that is to be read, and for what."""

    path: str
    size_bytes: int
    algorithms: frozenset[str]
    decodes: bool = True
    """Whether an image is to be decoded."""


def read_files(
    container: Container,
    wanted: Sequence[Wanted],
    limits: Limits,
    *,
    threads: int,
    done: Callable[[FileReading], None] = lambda reading: None,
) -> dict[str, FileReading]:
    """Read all `wanted` files; `done` is told of each, in the caller's thread, as it is finished."""
    reader = _Reader(container, limits)
    readings: dict[str, FileReading] = {}
    with ThreadPoolExecutor(threads, thread_name_prefix="reading") as executor:
        waiting: set[Future[list[FileReading]]] = set()
        batches = _batches(wanted)
        try:
            while True:
                waiting |= {
                    executor.submit(reader.read_batch, batch)
                    for batch in itertools.islice(batches, 4 * threads - len(waiting))
                }
                if not waiting:
                    break
                finished, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                for reading in itertools.chain.from_iterable(each.result() for each in finished):
                    readings[reading.path] = reading
                    done(reading)
        except BaseException:
            executor.shutdown(wait=False, cancel_futures=True)
            reader.is_stopped = True
            raise
    return {each.path: readings[each.path] for each in wanted}


_BATCH_FILES = 64
_BATCH_BYTES = 4 << 20


def _batches(wanted: Sequence[Wanted]) -> Iterator[list[Wanted]]:
    """Yield files to be read by one thread one after another: large files first, many small ones together."""
    batch: list[Wanted] = []
    size_bytes = 0
    for each in sorted(wanted, key=lambda each: each.size_bytes >= _BATCH_BYTES, reverse=True):
        batch.append(each)
        size_bytes += each.size_bytes
        if size_bytes >= _BATCH_BYTES or len(batch) >= _BATCH_FILES:
            yield batch
            batch, size_bytes = [], 0
    if batch:
        yield batch


class _Reader:
    """Reads files of one container, in any thread."""

    def __init__(self, container: Container, limits: Limits) -> None:
        self._container = container
        self._limits = limits
        self.is_stopped = False

    def read_batch(self, batch: Iterable[Wanted]) -> list[FileReading]:
        return [self.read(each) for each in batch if not self.is_stopped]

    def read(self, wanted: Wanted) -> FileReading:
        digester = Digester(sorted(wanted.algorithms))
        image: ImageReading | None = None
        failure = ""
        try:
            with self._container.open(wanted.path) as file:
                before = _stamp(file)
                image = self._read(file, wanted, digester)
                if digester.size_bytes != wanted.size_bytes or _stamp(file) != before:
                    failure = _changed(wanted, digester)
        except FileNotFoundError:
            failure = "vanished while the bundle was read"
        except OSError as error:
            failure = error.strerror or str(error)
        return FileReading(
            path=wanted.path,
            size_bytes=digester.size_bytes,
            digests=digester.digests(),
            failure=failure,
            image=image,
        )

    def _read(self, file: BinaryIO, wanted: Wanted, digester: Digester) -> ImageReading | None:
        if wanted.size_bytes > IN_MEMORY_BYTES:
            return self._read_large(file, wanted, digester)
        if wanted.size_bytes > CHUNK_BYTES:
            head = file.read(16)
            file.seek(0)
            if not (wanted.decodes and _seems_image(wanted.path, head)):
                self._digest_rest(file, wanted, digester)  # without the memory, which takes time to get
                return None
        data = _read_whole(file, wanted.size_bytes)
        digester.update(data)
        if not (wanted.decodes and _seems_image(wanted.path, data[:16])):
            return None

        def examine(header: Header, side: int) -> bytes:
            return images.examine_bytes(data, header, name=wanted.path, side=side)

        return self._image(io.BytesIO(data), wanted, examine)

    def _read_large(self, file: BinaryIO, wanted: Wanted, digester: Digester) -> ImageReading | None:
        head = file.read(16)

        def examine(header: Header, side: int) -> bytes:
            return images.examine(file, header, name=wanted.path, digester=digester, side=side)

        decodes = wanted.decodes and _seems_image(wanted.path, head)
        reading = self._image(file, wanted, examine) if decodes else None
        file.seek(digester.size_bytes)
        self._digest_rest(file, wanted, digester)
        return reading

    def _digest_rest(self, file: BinaryIO, wanted: Wanted, digester: Digester) -> None:
        """Digest to the end, or a little more than was listed: there is no end to a file that grows."""
        buffer = memoryview(bytearray(CHUNK_BYTES))
        while digester.size_bytes <= wanted.size_bytes and not self.is_stopped:
            count = file.readinto(buffer)  # type: ignore[attr-defined]
            if not count:
                break
            digester.update(buffer[:count])

    def _image(self, file: BinaryIO, wanted: Wanted, examine: Callable[[Header, int], bytes]) -> ImageReading:
        """Read the header and structure, then decode; what is wrong becomes part of the reading."""
        name = PurePosixPath(wanted.path).name
        try:
            header = read_header_of(file, name)
            structure = read_structure(file, header)
        except MasterError as error:
            return ImageReading(facts=None, problem=_reason(error, name))
        facts = header.facts
        reading = ImageReading(
            facts=facts, structure=structure.faults, trailing_bytes=structure.trailing_bytes
        )
        if (
            facts.width_px * facts.height_px > self._limits.max_pixels
            or max(facts.width_px, facts.height_px) > MAX_SIDE_PX
        ):
            problem = f"claims {facts.width_px:,} × {facts.height_px:,} pixels, more than are decoded"
            return replace(reading, problem=problem)
        file.seek(0)
        try:
            signature = examine(header, 0 if is_tile(wanted.path) else SIGNATURE_SIDE)
        except MasterError as error:
            return replace(reading, problem=_reason(error, wanted.path))
        return replace(reading, signature=signature)


def _stamp(file: BinaryIO) -> tuple[int, int]:
    """What is different when a file was written to meanwhile; members of archives do not change."""
    try:
        status = os.fstat(file.fileno())
    except io.UnsupportedOperation:
        return (0, 0)
    return (status.st_size, status.st_mtime_ns)


def _changed(wanted: Wanted, digester: Digester) -> str:
    if digester.size_bytes == wanted.size_bytes:
        return "changed while it was read"
    return f"had {wanted.size_bytes:,} bytes when listed, {digester.size_bytes:,} when it was read"


def _seems_image(path: str, head: bytes) -> bool:
    """By its name or its first bytes; what a file manager writes beside an image has the name alone."""
    return (path.lower().endswith(IMAGE_SUFFIXES) and "/._" not in path) or is_image(head)


def _read_whole(file: BinaryIO, size_bytes: int) -> bytes:
    """Return all bytes up to one more than were listed: more would be a file that grows."""
    parts = []
    left = size_bytes + 1
    while left and (part := file.read(left)):
        parts.append(part)
        left -= len(part)
    return parts[0] if len(parts) == 1 else b"".join(parts)


def _reason(error: MasterError, name: str) -> str:
    """What an error says beside the name of the file, which findings give anyway."""
    return error.message.removeprefix(f"{name}: ").removeprefix("image: ")
