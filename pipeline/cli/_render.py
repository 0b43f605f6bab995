"""What people see in a terminal: results on standard output, progress and messages on standard error.

Names come from strangers' files: what could steer the terminal is shown escaped.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import sys
import textwrap
import time
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import groupby
from typing import Any, TextIO

import click

from pipeline.errors import ExitStatus, PipelineError, Problem
from pipeline.files import visible
from pipeline.findings import Finding, Level, Report
from pipeline.progress import Progress

_PLACES_SHOWN = 4
_PROBLEMS_SHOWN = 30
_DIGEST = re.compile(r"\b([0-9a-f]{12})[0-9a-f]{20,}\b")
"""Digests: their beginnings tell them apart, the report has them whole."""
_COLOURS = {Level.ERROR: "red", Level.WARNING: "yellow", Level.NOTE: "cyan"}


def counted(count: int, noun: str) -> str:
    """Return a number with its noun: ``1 frame``, ``2 frames``."""
    return f"{count:,} {noun}{'' if count == 1 else 's'}"


def show(text: str, *, head: str = "", indent: int = 0) -> None:
    """Print a line of a result, after a styled `head`; in a terminal, broken between words."""
    _print(text, head=head, indent=indent, stream=sys.stdout)


def show_text(text: str) -> None:
    """Print a text of ours as it is."""
    click.echo(text.rstrip("\n"))


def say_error(error: PipelineError | str) -> None:
    """Print an error message, and the problems that it is made of."""
    head = click.style("solander: ", fg="red", bold=True)
    message = error if isinstance(error, str) else error.message
    _print(message, head=head, stream=sys.stderr)
    if isinstance(error, PipelineError):
        _say_problems(error.problems)


def note(text: str) -> None:
    """Print a remark that is not part of the result."""
    _print(text, head=click.style("note: ", fg="cyan"), stream=sys.stderr)


def show_json(document: Any) -> None:
    """Print a result for machines: as it is where standard output takes it, else in ASCII."""
    text = json.dumps(document, ensure_ascii=False, indent=2)
    try:
        text.encode(sys.stdout.encoding or "ascii")
    except UnicodeError:
        text = json.dumps(document, indent=2)
    click.echo(text)


def error_document(error: PipelineError) -> dict[str, object]:
    """Return an error as JSON values."""
    names = ("where", "found", "expected", "advice")
    return {
        "status": int(error.exit_status),
        "error": error.message,
        "problems": [{name: getattr(problem, name) for name in names} for problem in error.problems],
    }


def _print(text: str, *, stream: TextIO, head: str = "", indent: int = 0) -> None:
    """Print one line for programs; for a terminal break it at its width, indented as it began."""
    line = visible(text)
    if stream.isatty():
        width = max(shutil.get_terminal_size().columns - 1, 40)
        line = _broken(line, width, indent + len(click.unstyle(head)), bool(head), indent)
    is_plain = bool(os.environ.get("NO_COLOR")) or os.environ.get("TERM") == "dumb"
    click.echo(" " * indent + head + line, file=stream, color=False if is_plain else None)


def _broken(line: str, width: int, begun: int, has_head: bool, indent: int) -> str:
    further = " " * min(begun if has_head else indent + 2, width // 3)
    broken = textwrap.fill(
        line,
        width,
        initial_indent=" " * begun,  # holds the place of what is printed before the line
        subsequent_indent=further,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return broken[begun:]


# ------------------------------------------------------------------------------------------- problems


def _say_problems(problems: Sequence[Problem]) -> None:
    """Print problems, those of one kind once with their places, and no more than one can take in."""
    kinds: dict[tuple[str, str, str], list[Problem]] = {}
    for problem in problems:
        kinds.setdefault((problem.found, problem.expected, problem.advice), []).append(problem)
    for alike in list(kinds.values())[:_PROBLEMS_SHOWN]:
        _print(str(alike[0]), head="- ", indent=2, stream=sys.stderr)
        if len(alike) > 1:
            _print(f"the same at {_places([each.where for each in alike[1:]])}", indent=4, stream=sys.stderr)
    if len(kinds) > _PROBLEMS_SHOWN:
        more = counted(len(kinds) - _PROBLEMS_SHOWN, "more problem")
        _print(f"… and {more}; --json gives all of them", indent=2, stream=sys.stderr)


def _places(places: Sequence[str]) -> str:
    if len(places) <= _PLACES_SHOWN:
        return "; ".join(places)
    shown = "; ".join(places[: _PLACES_SHOWN - 1])
    return f"{shown}; … {places[-1]} ({len(places)} places)"


# ------------------------------------------------------------------------------------------- findings


def counts(report: Report) -> str:
    """Return how many findings of each level there are, in words."""
    said = [counted(len(report.at(level)), level.value) for level in Level if report.at(level)]
    return ", ".join(said) or "nothing to remark"


def show_findings(
    report: Report, *, first: Collection[str] = (), everything: str = "in the quality report"
) -> None:
    """Print findings, the codes `first` before others, then the gravest, those of one code together.

    `everything` says where all places of a code are told.
    """
    order = list(Level)

    def weight(finding: Finding) -> tuple[bool, int, str]:
        return finding.code not in first, order.index(finding.level), finding.code

    for _, group in groupby(sorted(report.findings, key=weight), key=weight):
        _show_group(list(group), everything)


def _show_group(group: list[Finding], everything: str) -> None:
    """Print one code: a note on one line, for it asks for nothing; else each place, and what to do."""
    code, level = group[0].code, group[0].level
    head = click.style(f"{level.value} {code}", fg=_COLOURS[level], bold=True) + "  "
    if level is Level.NOTE:
        more = f" and {len(group) - 1} more" if len(group) > 1 else ""
        show(f"{group[0].title} ({group[0].place}: {group[0].value}{more})", head=head, indent=2)
        return
    show(group[0].title, head=head, indent=2)
    for finding in group[:_PLACES_SHOWN]:
        said = f"{finding.place}: {finding.value}; expected {finding.limit}"
        show(_DIGEST.sub(r"\1…", said), indent=6)
    if len(group) > _PLACES_SHOWN:
        show(f"… and {len(group) - _PLACES_SHOWN} more, all {everything}", indent=6)
    show(group[0].advice, head="→ ", indent=6)


def finding_rows(findings: Iterable[Finding]) -> list[dict[str, str]]:
    """Return findings as JSON values."""
    names = ("code", "level", "title", "place", "value", "limit", "source", "advice")
    return [{name: str(getattr(finding, name)) for name in names} for finding in findings]


# ------------------------------------------------------------------------------------------- batches


def say_failures(documents: Sequence[dict[str, Any]]) -> None:
    """Print which items of a batch did not end with status 0, and with which; nothing for a single item."""
    failed = [document for document in documents if document["status"]]
    if len(documents) > 1 and failed:
        head = click.style("solander: ", fg="red", bold=True)
        _print(
            f"{len(failed)} of {len(documents)} items did not end with status 0:",
            head=head,
            stream=sys.stderr,
        )
        for document in failed:
            status = ExitStatus(document["status"])
            _print(f"{document['folder']}: {status.value}, {status.meaning}", indent=2, stream=sys.stderr)


# ------------------------------------------------------------------------------------------- progress


def duration(seconds: float) -> str:
    """Return a duration as people say it: ``0.4 s``, ``48 s``, ``2 min 5 s``, ``3 h 20 min``."""
    if seconds < 10:
        return f"{seconds:.1f} s"
    minutes, rest = divmod(round(seconds), 60)
    if not minutes:
        return f"{rest} s"
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min" if hours else f"{minutes} min {rest} s"


def rate(size_bytes: int, seconds: float) -> str:
    """Return how fast bytes are read: ``7.3 MB/s``; nothing if none were."""
    megabytes = size_bytes / max(seconds, 0.001) / 1e6
    return "" if not size_bytes else f"{megabytes:.{0 if megabytes >= 10 else 1}f} MB/s"


@contextmanager
def progress(*, name: str = "", is_brief: bool = False) -> Iterator[Progress]:
    """Show progress: a bar in a terminal, plain lines elsewhere; if brief, of those only what is remarked."""
    if sys.stderr.isatty():
        bar = _Bar(visible(name))
        try:
            yield bar
        finally:
            bar.finish()
    else:
        yield _Remarks(visible(name)) if is_brief else _Lines(visible(name))


class _Lines:
    """A line when a task starts, every ten seconds if something was done, and when it ends."""

    EVERY_S = 10.0

    def __init__(self, name: str) -> None:
        self._name = f"{name}: " if name else ""
        self._total = self._done = self._bytes = 0
        self._started = self._said = 0.0
        self._task = ""

    def start(self, task: str, *, total: int) -> None:
        self._task, self._total, self._done, self._bytes = task, total, 0, 0
        self._started = self._said = time.monotonic()
        self._say(f"{task}, {total:,} to do")

    def advance(self, amount: int = 1, *, size_bytes: int = 0) -> None:
        self._done += amount
        self._bytes += size_bytes
        now = time.monotonic()
        if now - self._said >= self.EVERY_S and 0 < self._done < self._total:
            self._said = now
            left_s = (now - self._started) / self._done * (self._total - self._done)
            self._say(
                f"{self._task}, {self._done:,} of {self._total:,}{self._rate()}, {duration(left_s)} left"
            )

    def say(self, message: str) -> None:
        self._say(message)

    def finish(self) -> None:
        if self._task:
            took = duration(time.monotonic() - self._started)
            done = f"{self._done:,}" if self._done == self._total else f"{self._done:,} of {self._total:,}"
            self._say(f"{self._task}, {done} done in {took}{self._rate()}")
        self._task = ""

    def _rate(self) -> str:
        said = rate(self._bytes, time.monotonic() - self._started)
        return f", {said}" if said else ""

    def _say(self, message: str) -> None:
        click.echo(visible(f"{self._name}{message}"), err=True)


class _Remarks(_Lines):
    """What is worth a line, and no progress: for logs of many items."""

    def start(self, task: str, *, total: int) -> None: ...

    def advance(self, amount: int = 1, *, size_bytes: int = 0) -> None: ...


class _Bar:
    """A bar with the count, the rate and the time left."""

    def __init__(self, name: str) -> None:
        from rich.console import Console
        from rich.progress import (
            BarColumn,
            MofNCompleteColumn,
            Progress,
            TextColumn,
            TimeElapsedColumn,
        )

        self._name = name
        self._bytes = self._done = self._total = 0
        self._started = 0.0
        self._display = Progress(
            TextColumn("{task.description}", markup=False),
            BarColumn(bar_width=20),
            MofNCompleteColumn(),
            TextColumn("{task.fields[rate]}", markup=False),
            TimeElapsedColumn(),
            TextColumn("{task.fields[left]}", markup=False),
            console=Console(stderr=True),
            transient=True,
        )
        self._task: Any = None

    def start(self, task: str, *, total: int) -> None:
        self.finish()
        self._bytes, self._done, self._total, self._started = 0, 0, total, time.monotonic()
        self._display.start()
        title = f"{self._name} {task}".strip()
        self._task = self._display.add_task(title, total=total, rate="", left="")

    def advance(self, amount: int = 1, *, size_bytes: int = 0) -> None:
        self._bytes += size_bytes
        self._done += amount
        took_s = time.monotonic() - self._started
        left_s = took_s / max(self._done, 1) * (self._total - self._done)
        self._display.update(
            self._task,
            advance=amount,
            rate=rate(self._bytes, took_s),
            left=f"{duration(left_s)} left" if left_s >= 1 else "",
        )

    def say(self, message: str) -> None:
        self._display.console.print(visible(message), style="dim", markup=False, highlight=False)

    def finish(self) -> None:
        if self._task is not None:
            self._display.remove_task(self._task)
            self._display.stop()
            self._task = None
