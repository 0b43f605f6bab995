"""What people see in a terminal: results on standard output, progress and messages on standard error.

Names come from strangers' files: what could steer the terminal is shown escaped.
"""

from __future__ import annotations

import json
import sys
import time
import unicodedata
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from itertools import groupby
from typing import Any

import click

from pipeline.findings import Finding, Level, Report
from pipeline.progress import Progress

_PLACES_SHOWN = 4
_COLOURS = {Level.ERROR: "red", Level.WARNING: "yellow", Level.NOTE: "cyan"}


def printable(text: str) -> str:
    """Return `text` with control and direction-changing characters as escapes; line ends stay."""
    return "".join(
        c
        if c == "\n" or unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Zl", "Zp")
        else f"\\u{ord(c):04x}"
        for c in text
    )


def show(text: str) -> None:
    """Print a line of a result."""
    click.echo(text)


def say_error(text: str) -> None:
    """Print an error message."""
    click.echo(click.style("solander: ", fg="red", bold=True) + text, err=True)


def note(text: str) -> None:
    """Print a remark that is not part of the result."""
    click.echo(click.style("note: ", fg="cyan") + printable(text), err=True)


def show_json(document: Any) -> None:
    """Print a result for machines."""
    click.echo(json.dumps(document, ensure_ascii=False, indent=2))


def counts(report: Report) -> str:
    """Return how many findings of each level there are, in words."""
    numbers = [(len(report.at(level)), level.value) for level in Level]
    said = [f"{count} {word}{'' if count == 1 else 's'}" for count, word in numbers if count]
    return ", ".join(said) or "nothing to remark"


def show_findings(report: Report) -> None:
    """Print findings, the gravest first, those of one code together."""
    order = list(Level)
    ranked = sorted(report.findings, key=lambda finding: (order.index(finding.level), finding.code))
    for _, group in groupby(ranked, key=lambda finding: finding.code):
        _show_group(list(group))


def _show_group(group: list[Finding]) -> None:
    first = group[0]
    head = click.style(f"{first.level.value} {first.code}", fg=_COLOURS[first.level], bold=True)
    show(f"  {head}  {first.title}")
    for finding in group[:_PLACES_SHOWN]:
        show(printable(f"      {finding.place}: {finding.value}; expected {finding.limit}"))
    if len(group) > _PLACES_SHOWN:
        show(f"      … and {len(group) - _PLACES_SHOWN} more, all in the report")
    show(printable(f"      {first.advice}"))


# ------------------------------------------------------------------------------------------- progress


@contextmanager
def progress(*, name: str = "") -> Iterator[Progress]:
    """Show progress: a bar in a terminal, plain lines elsewhere."""
    if sys.stderr.isatty():
        bar = _Bar(name)
        try:
            yield bar
        finally:
            bar.finish()
    else:
        yield _Lines(name)


class _Lines:
    """A line when a task starts, every ten seconds, and when it ends."""

    EVERY_S = 10.0

    def __init__(self, name: str) -> None:
        self._name = f"{name}: " if name else ""
        self._total = self._done = self._bytes = 0
        self._started = self._said = 0.0
        self._task = ""

    def start(self, task: str, *, total: int) -> None:
        self._task, self._total, self._done, self._bytes = task, total, 0, 0
        self._started = self._said = time.monotonic()
        click.echo(f"{self._name}{task}: {total} to do", err=True)

    def advance(self, amount: int = 1, *, size_bytes: int = 0) -> None:
        self._done += amount
        self._bytes += size_bytes
        if time.monotonic() - self._said >= self.EVERY_S:
            self._said = time.monotonic()
            left_s = (self._said - self._started) / max(self._done, 1) * (self._total - self._done)
            click.echo(
                f"{self._name}{self._task}: {self._done} of {self._total}, {left_s:.0f} s left", err=True
            )

    def say(self, message: str) -> None:
        click.echo(f"{self._name}{printable(message)}", err=True)

    def finish(self) -> None:
        if self._task:
            took_s = max(time.monotonic() - self._started, 0.001)
            rate = f", {self._bytes / took_s / 1e6:.0f} MB/s" if self._bytes else ""
            click.echo(f"{self._name}{self._task}: {self._done} done in {took_s:.1f} s{rate}", err=True)
        self._task = ""


class _Bar:
    """A bar with the count, the rate and the time left."""

    def __init__(self, name: str) -> None:
        from rich.console import Console
        from rich.progress import (
            BarColumn,
            MofNCompleteColumn,
            Progress,
            TextColumn,
            TimeRemainingColumn,
        )

        self._name = name
        self._bytes = 0
        self._started = 0.0
        self._display = Progress(
            TextColumn("{task.description}"),
            BarColumn(),
            MofNCompleteColumn(),
            TextColumn("{task.fields[rate]}"),
            TimeRemainingColumn(),
            console=Console(stderr=True),
            transient=True,
        )
        self._task: Any = None

    def start(self, task: str, *, total: int) -> None:
        self.finish()
        self._bytes, self._started = 0, time.monotonic()
        self._display.start()
        self._task = self._display.add_task(f"{self._name} {task}".strip(), total=total, rate="")

    def advance(self, amount: int = 1, *, size_bytes: int = 0) -> None:
        self._bytes += size_bytes
        took_s = max(time.monotonic() - self._started, 0.001)
        rate = f"{self._bytes / took_s / 1e6:.0f} MB/s" if self._bytes else ""
        self._display.update(self._task, advance=amount, rate=rate)

    def say(self, message: str) -> None:
        self._display.console.print(printable(message), style="dim", markup=False, highlight=False)

    def finish(self) -> None:
        if self._task is not None:
            self._display.remove_task(self._task)
            self._display.stop()
            self._task = None


def finding_rows(findings: Iterable[Finding]) -> list[dict[str, str]]:
    """Return findings as JSON values."""
    names = ("code", "level", "title", "place", "value", "limit", "source", "advice")
    return [{name: str(getattr(finding, name)) for name in names} for finding in findings]
