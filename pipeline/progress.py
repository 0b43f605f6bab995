"""What a caller may be told while work goes on. The library itself never prints."""

from __future__ import annotations

from typing import Protocol


class Progress(Protocol):
    """Told of the frames of one item as they are finished."""

    def start(self, task: str, *, total: int) -> None:
        """`total` units of `task` lie ahead."""

    def advance(self, amount: int = 1, *, size_bytes: int = 0) -> None:
        """`amount` units are done; a negative amount takes back what has to be done again."""

    def say(self, message: str) -> None:
        """Something worth a line, such as a stage that was skipped."""

    def finish(self) -> None:
        """The task is over, well or badly."""


class _Silent:
    def start(self, task: str, *, total: int) -> None: ...

    def advance(self, amount: int = 1, *, size_bytes: int = 0) -> None: ...

    def say(self, message: str) -> None: ...

    def finish(self) -> None: ...


SILENT: Progress = _Silent()
"""The default: nobody listens."""
