"""A small store, its record and a clock that tests set; stores that fail when asked to."""

from __future__ import annotations

import datetime as dt
import errno
import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO, cast

from pipeline.audit.auditing import audit
from pipeline.audit.record import Known, Record, opened
from pipeline.audit.values import Audit, Clock, Condition, Options, Outcome
from pipeline.errors import StoreError
from pipeline.ocfl.locking import Note, key_of
from pipeline.stores import Entry, FolderStore, Store
from tests import make_ocfl
from tests.make_ocfl import two_versions

START = dt.datetime(2031, 6, 1, 2, 0, tzinfo=dt.UTC)
IDS = tuple(f"urn:example:ms-{number}" for number in range(1, 5))
F1R = "v1/content/data/f1r.tif"


@dataclass
class Time:
    """A clock that goes on only when told, and by a little with each question."""

    now: dt.datetime = START
    elapsed_s: float = 0.0
    step_s: float = 0.0
    slept_s: float = 0.0

    def clock(self) -> Clock:
        return Clock(now=lambda: self.now, seconds=self._seconds, sleep=self._sleep)

    def _seconds(self) -> float:
        self.elapsed_s += self.step_s
        return self.elapsed_s

    def _sleep(self, seconds: float) -> None:
        self.slept_s += seconds


@dataclass
class World:
    """A storage root of four objects of two versions, a copy of it, and a record."""

    folder: Path
    ids: tuple[str, ...] = IDS
    time: Time = field(default_factory=Time)
    store: Any = None
    outcomes: list[Outcome] = field(default_factory=list)

    def __post_init__(self) -> None:
        objects = [two_versions(object_id=each) for each in self.ids]
        make_ocfl.a_root(self.root, *objects)
        make_ocfl.a_root(self.copy_root, *objects)
        self.store = FolderStore(self.root)

    @property
    def root(self) -> Path:
        return self.folder / "store"

    @property
    def copy_root(self) -> Path:
        return self.folder / "copy"

    @property
    def record_file(self) -> Path:
        return self.folder / "record.sqlite"

    def at(self, number: int, path: str = "") -> Path:
        """A path in an object, counted from 0 in the order of identifiers."""
        return self.root / make_ocfl.place_of(self.ids[number]) / path

    def begin(self, number: int, **note: Any) -> Path:
        """Leave the lock of a deposit of an object that was killed, and return it."""
        written = self.note(self.ids[number], **note)
        lock = self.folder / "store.staging" / key_of(written.place) / "lock"
        lock.parent.mkdir(parents=True)
        lock.write_bytes(written.to_bytes())
        return lock

    @staticmethod
    def note(object_id: str, **further: Any) -> Note:
        """The note of a process that lives no more."""
        told = {"host": "here", "pid": 1 << 30, "started": "2031-06-01T01:00:00Z", **further}
        return Note(object_id=object_id, place=make_ocfl.place_of(object_id), **told)

    def run(self, *, replica: Store | None = None, **options: Any) -> Audit:
        """Audit once."""
        self.outcomes = []
        with opened(self.record_file) as record:
            return audit(
                self.store,
                record,
                Options(**options),
                clock=self.time.clock(),
                replica=replica,
                on_outcome=self.outcomes.append,
            )

    def conditions(self) -> dict[str, Condition]:
        """What came of each object in the last run, by identifier or place."""
        return {each.object_id or each.place: each.condition for each in self.outcomes}

    def known(self) -> dict[str, Known]:
        """The record's objects, by identifier."""
        with opened(self.record_file) as record:
            return {each.object_id: each for each in record.known().values()}

    def ask(self, question: Callable[[Record], Any]) -> Any:
        with opened(self.record_file) as record:
            return question(record)


class Failing(FolderStore):
    """A folder that answers some paths as they are told to."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.errors: dict[str, int] = {}
        """End of a path → how often it still answers with an error."""
        self.lies: dict[str, list[bytes]] = {}
        """End of a path → what is read in its place, once each."""

    def open(self, path: str) -> BinaryIO:
        for end in self.errors:
            if path.endswith(end) and self.errors[end] > 0:
                self.errors[end] -= 1
                raise StoreError(f"{self.url}/{path}: cannot be read (503 Slow Down); try again later")
        for end, answers in self.lies.items():
            if path.endswith(end) and answers:
                return io.BytesIO(answers.pop(0))
        return super().open(path)


class Unlistable(FolderStore):
    """A folder in which some folders may not be listed, as of another owner."""

    def __init__(self, folder: Path, *closed: str) -> None:
        super().__init__(folder)
        self.closed = closed

    def _scan(self, place: str, before: str) -> list[Entry]:
        if before.rstrip("/") in self.closed:
            raise PermissionError(errno.EACCES, "Permission denied")
        return super()._scan(place, before)


class Broken(FolderStore):
    """A folder whose reading breaks off in the middle, as of a disk with a bad sector."""

    end = ".tif"

    def open(self, path: str) -> BinaryIO:
        stream = super().open(path)
        return cast(BinaryIO, _BrokenStream(stream)) if path.endswith(self.end) else stream


class _BrokenStream(io.RawIOBase):
    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream

    def readinto(self, buffer: object) -> int:
        raise OSError(5, "Input/output error")

    def close(self) -> None:
        self._stream.close()
        super().close()


def every_file(folder: Path) -> Iterator[tuple[str, bytes]]:
    """Every file below a folder with its bytes."""
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            yield str(path.relative_to(folder)), path.read_bytes()
