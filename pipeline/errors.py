"""What can go wrong with a run, each class with the exit status that it ends in.

::

    PipelineError
    ├── SettingsError      4   a settings, item or specification file is wrong
    ├── InputError         5   input is missing or is not what it claims to be
    │   └── MasterError        one master cannot be read, or not as what it says it is
    ├── FixityError        6   a checksum does not match
    ├── ToolError          7   a tool, disk or store failed us
    │   └── StoreError             a store refused, or did not answer
    │       ├── NotInStore         what was asked for is not there
    │       ├── AlreadyThere       what must not be there yet is there
    │       ├── NotSupported       the store does not know what was asked of it
    │       └── LostLock           somebody else writes where we thought to be alone
    └── Interrupted      130   the person, or the system, asked us to stop

What is wrong with the *material* is a finding (`pipeline.findings`), never an exception: it is
collected to the end. An exception stops one item, not the batch; a batch ends with the highest
status among its items (`ExitStatus`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntEnum


class ExitStatus(IntEnum):
    """The exit statuses of every command. The docs print this table from here."""

    DONE = 0
    CRASH = 1
    USAGE = 2
    WANTING = 3
    SETTINGS = 4
    INPUT = 5
    FIXITY = 6
    TOOL = 7
    INTERRUPTED = 130

    @property
    def meaning(self) -> str:
        """What the status tells the caller, as one phrase."""
        return _MEANINGS[self]


_MEANINGS = {
    ExitStatus.DONE: "accepted, or done",
    ExitStatus.CRASH: "a crash of ours",
    ExitStatus.USAGE: "the command line was wrong",
    ExitStatus.WANTING: "something was judged and found wanting",
    ExitStatus.SETTINGS: "a settings, item or specification file is wrong",
    ExitStatus.INPUT: "input is missing or is not what it claims to be",
    ExitStatus.FIXITY: "a checksum does not match",
    ExitStatus.TOOL: "a tool, disk or store failed us",
    ExitStatus.INTERRUPTED: "interrupted",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing that is wrong in a file a person wrote: where, what was found, what was expected."""

    where: str
    """File, then line or row and key: ``pages.csv, row 7, column "kind"``."""
    found: str
    expected: str
    advice: str = ""
    """What to do, or the near miss: ``did you mean "right-to-left"?``."""

    def __str__(self) -> str:
        """Return the problem as one line."""
        line = f"{self.where}: found {self.found}, expected {self.expected}"
        return f"{line}; {self.advice}" if self.advice else line


class PipelineError(Exception):
    """The run cannot go on for this item. `problems` holds the details, if there are several."""

    exit_status = ExitStatus.CRASH

    def __init__(self, message: str, *, problems: Iterable[Problem] = ()) -> None:
        super().__init__(message)
        self.message = message
        self.problems = tuple(problems)

    def __reduce__(self) -> tuple[object, ...]:
        """Let the error cross from a worker process with its problems."""
        return (_rebuild, (type(self), self.message, self.problems))

    def __str__(self) -> str:
        """Return the message, and each problem on a line of its own."""
        return "\n".join([self.message, *(f"  - {problem}" for problem in self.problems)])


def _rebuild(kind: type[PipelineError], message: str, problems: tuple[Problem, ...]) -> PipelineError:
    return kind(message, problems=problems)


class SettingsError(PipelineError):
    """A settings, item or specification file is wrong."""

    exit_status = ExitStatus.SETTINGS


class InputError(PipelineError):
    """Input is missing or is not what it claims to be."""

    exit_status = ExitStatus.INPUT


class MasterError(InputError):
    """One master cannot be read to its end, or is of a kind that is refused by name."""


class FixityError(PipelineError):
    """A checksum does not match."""

    exit_status = ExitStatus.FIXITY


class ToolError(PipelineError):
    """A tool, disk or store failed us."""

    exit_status = ExitStatus.TOOL


class StoreError(ToolError):
    """A store refused, or did not answer. Messages never show credentials."""


class NotInStore(StoreError):  # noqa: N818, it may be the expected answer
    """What was asked for is not in the store."""


class AlreadyThere(StoreError):  # noqa: N818, it may be the expected answer
    """What must not be in the store yet is there, or is not what it was: somebody else wrote it."""


class NotSupported(StoreError):  # noqa: N818, it may be the expected answer
    """The store does not know what was asked of it, such as conditional writes."""


class LostLock(StoreError):  # noqa: N818, it says what is so
    """Somebody else has the lock by now: nothing may be written any more, nor taken away."""


class Interrupted(PipelineError):  # noqa: N818, it is a request rather than an error
    """The person, or the system, asked us to stop; what was finished is kept."""

    exit_status = ExitStatus.INTERRUPTED
