"""What an audit is asked for, and what came of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

from pipeline.errors import ExitStatus
from pipeline.findings import Report


class Condition(StrEnum):
    """What is known of an object after an audit."""

    INTACT = "intact"
    """Structure and every byte proved; warnings do not matter here."""
    MENDED = "mended"
    """It was damaged when the run came to it; all that was wrong is put right, and proved."""
    DAMAGED = "damaged"
    """Bytes are not what they were, or not there; or the object's history was changed."""
    FAULTY = "faulty"
    """Every byte that is listed is proved, but the object is not built as it must be."""
    UNREAD = "could not be read"
    """The store did not give all of it: neither proved nor damaged."""
    UNFINISHED = "not finished"
    """The budget ran out in the middle; what was read is kept for the next run."""
    LOST = "lost"
    """It was there before, and is there no more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """Where an audit takes time from."""

    now: Callable[[], dt.datetime]
    """Date and time in UTC, for records. It may jump."""
    seconds: Callable[[], float]
    """Never goes back, for budgets and speeds."""
    sleep: Callable[[float], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """How an audit is to be done."""

    threads: int = 2
    """Files read at once."""
    budget_s: float | None = None
    """No file is begun after so many seconds."""
    bytes_per_s: float | None = None
    """No more than so many bytes are read in a second, all threads together."""
    is_oldest_first: bool = False
    sample: int | None = None
    """So many objects, drawn at random."""
    within: dt.timedelta | None = None
    """Every object is to be proved once in this time."""
    repairs: bool = False
    """Mend from the replica what it can mend."""
    host: str = ""
    pid: int = 0
    """Host and process that are told to others who would write what is being mended."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mend:
    """One file that is damaged or lost, or a whole object that is, and where an intact one is."""

    path: str
    """In the object; empty for the object as a whole, whose digest is that of its inventory."""
    algorithm: str
    digest: str
    """What the file must have."""
    source: str = ""
    """Where an intact copy was found: a store's address and the path in it; empty if nowhere."""
    is_mended: bool = False
    """It was put in its place, read back, and proved."""
    kept_aside: str = ""
    """Where the damaged file was put before."""
    hindrance: str = ""
    """Why it could not be mended, or no copy of it looked at."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of one object."""

    place: str
    object_id: str
    head: str
    condition: Condition
    report: Report = field(default_factory=Report)
    """Places are relative to the object."""
    when: dt.datetime
    files: int = 0
    size_bytes: int = 0
    """Of the whole object."""
    read_bytes: int = 0
    """Of content, in this run."""
    trouble: Mapping[str, str] = field(default_factory=dict)
    """Path → why the store did not give it."""
    mends: tuple[Mend, ...] = ()
    before: Report | None = None
    """What was found before files were mended; None if none was."""
    version_inventories: Mapping[str, str] = field(default_factory=dict)
    """Version → sha512 of its inventory."""

    @property
    def earlier(self) -> Outcome | None:
        """What was found before anything was mended; None if nothing was."""
        if self.before is None:
            return None
        was_lost = any(not mend.path for mend in self.mends)
        condition = Condition.LOST if was_lost else Condition.DAMAGED
        return replace(self, condition=condition, report=self.before, before=None, mends=())


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How a store stands against the period in which everything is to be proved."""

    objects: int
    size_bytes: int
    never: int
    """Objects that were never proved."""
    oldest: str
    """When the object was proved whose proof is the oldest; empty if there is none."""
    within_days: float | None = None
    overdue: int = 0
    """Objects that were not proved within the period."""
    overdue_bytes: int = 0
    bytes_per_s: float = 0.0
    """How fast this run read; 0 if it read too little to say."""
    every_days: float = 1.0
    """How long after the run before this one came."""
    needed_s: float | None = None
    """How long a run must be to hold the period; None if that cannot be said."""
    catch_up_s: float | None = None
    """How long it takes to prove what is overdue."""
    allowed_s: float | None = None
    """How long a run may be: the budget."""
    ahead: int = 0
    """Objects whose last proof is dated later than now."""

    @property
    def is_behind(self) -> bool:
        """True if the period is not held, or will not be with this budget."""
        if self.within_days is None:
            return False
        is_short = self.allowed_s is not None and self.needed_s is not None and self.needed_s > self.allowed_s
        return bool(self.overdue) or is_short


@dataclass(frozen=True, slots=True, kw_only=True)
class Audit:
    """What came of a run."""

    store: str
    replica: str
    started: dt.datetime
    ended: dt.datetime
    took_s: float
    planned: int
    """Objects that were to be proved in this run."""
    order: str
    """How they were chosen, in words."""
    outcomes: tuple[Outcome, ...]
    """Of objects that are not intact, or of which there is something to say."""
    counts: Mapping[Condition, int]
    """Of all objects that were looked at."""
    read_bytes: int
    files: int
    root: Report
    """What was found of the storage root itself."""
    standing: Standing
    not_told: int = 0
    """Intact objects with warnings that are not among the outcomes, for they are too many."""
    is_complete: bool = True
    """False if the budget ran out before all that was planned."""
    is_listed: bool = True
    """False if a folder of the store, or the other copy, could not be listed."""

    @property
    def exit_status(self) -> ExitStatus:
        """The highest that anything found asks for. Damage that was mended is still damage that was found."""
        if self.counts.get(Condition.UNREAD) or not self.is_listed:
            return ExitStatus.TOOL
        was_mended = any(mend.is_mended for each in self.outcomes for mend in each.mends)
        if was_mended or self.counts.get(Condition.DAMAGED) or self.counts.get(Condition.LOST):
            return ExitStatus.FIXITY
        if self.counts.get(Condition.FAULTY) or self.root.outcome == "fail":
            return ExitStatus.WANTING
        return ExitStatus.DONE
