"""The verdict on one bundle, and on a delivery of many."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

from pipeline.errors import ExitStatus
from pipeline.findings import Level, Report


class Outcome(StrEnum):
    """What is said of a bundle in one phrase."""

    ACCEPTED = "accepted"
    REMARKS = "accepted with remarks"
    """There are warnings; notes alone do not count."""
    REJECTED = "rejected"


FIXITY_CODES = frozenset({"B070", "B071"})
"""Rules of verification that find a checksum which does not match."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """Frames that were drawn for inspection by eye (ISO 2859-1)."""

    lot_size: int
    accept: int
    """The lot is accepted with this many nonconforming frames at most."""
    reject: int
    """And rejected from this many on."""
    basis: str
    """How the plan was found: ``ISO 2859-1, level II, AQL 1.5, normal inspection, code letter K``."""
    seed: str
    frames: tuple[str, ...]
    """Paths in the bundle, in the order of the bundle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Everything that is said of one bundle."""

    name: str
    """The bundle's own name: its base directory's, or the document's."""
    path: str
    """Where it was found, as the person gave it."""
    kind: str
    """``folder``, ``tar archive``, ``compressed tar archive``, ``zip archive`` or ``document``."""
    report: Report
    files: int = 0
    size_bytes: int = 0
    """Of all files together."""
    facts: tuple[tuple[str, str], ...] = ()
    """What a reader of the report wants to know first, label and value: BagIt version, profiles, digests …"""
    is_quick: bool = False
    """Only structure was judged: no payload file was read."""
    sample: Sample | None = None
    terms: str = ""
    """The delivery specification that it was held against: its title and version."""

    @property
    def outcome(self) -> Outcome:
        """The verdict in one phrase."""
        if self.report.at(Level.ERROR):
            return Outcome.REJECTED
        return Outcome.REMARKS if self.report.at(Level.WARNING) else Outcome.ACCEPTED

    @property
    def exit_status(self) -> ExitStatus:
        """6 if bytes are not those that were promised, 3 if it is rejected for anything else."""
        if any(each.code in FIXITY_CODES for each in self.report.at(Level.ERROR)):
            return ExitStatus.FIXITY
        return ExitStatus.WANTING if self.outcome is Outcome.REJECTED else ExitStatus.DONE

    def count(self, level: Level) -> int:
        """How many findings of a level there are."""
        return len(self.report.at(level))


class NotJudged(NamedTuple):
    """What was given as a bundle, and could not be opened."""

    path: str
    """As the person gave it."""
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """The verdicts on bundles that were given together, in the order given."""

    verdicts: Sequence[Verdict]
    between: Report = field(default_factory=Report)
    """What was found between bundles."""
    not_judged: Sequence[NotJudged] = ()
    """Neither accepted nor rejected; in the order given."""

    @property
    def outcomes(self) -> Counter[Outcome]:
        """How many bundles came out how."""
        return Counter(each.outcome for each in self.verdicts)
