"""Options that several commands share, declared once."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from pipeline.errors import SettingsError

if TYPE_CHECKING:
    from concurrent.futures import Executor

Command = TypeVar("Command", bound=Callable[..., Any])

FOLDER = click.Path(file_okay=False, path_type=Path)

json_option = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
work_option = click.option(
    "--work",
    type=FOLDER,
    default=Path(".solander"),
    show_default=True,
    help="Where receipts and half-done things live.",
)
out_option = click.option(
    "--out",
    "bundles",
    type=FOLDER,
    default=Path("bundles"),
    show_default=True,
    help="Where finished bundles go.",
)
specification_option = click.option(
    "--specification",
    metavar="NAME|FILE",
    default=None,
    help="The imaging specification to judge by: a name of 'solander spec list', or a file.",
)


def worker_options(command: Command) -> Command:
    """Add --jobs and --scheduler."""
    command = click.option(
        "--scheduler",
        metavar="URL",
        default="",
        help="Let the workers of a Dask scheduler do the frames, for example tcp://host:8786.",
    )(command)
    return click.option(
        "--jobs",
        type=click.IntRange(1, 1024),
        default=None,
        help="Frames done at once on this machine.  [default: one for each core]",
    )(command)


@contextmanager
def executor(jobs: int | None, scheduler: str) -> Iterator[Executor]:
    """Give the executor that the options ask for."""
    from pipeline.workers import local_workers, scheduled_workers

    workers = scheduled_workers(scheduler) if scheduler else local_workers(jobs or _cores())
    with workers as chosen:
        yield chosen


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def now() -> dt.datetime:
    """Return the time to date things with: that of SOURCE_DATE_EPOCH, if it is set, else the clock's.

    Source: the reproducible-builds specification of SOURCE_DATE_EPOCH, 1.1. Raises SettingsError.
    """
    fixed = os.environ.get("SOURCE_DATE_EPOCH")
    if fixed is None:
        return dt.datetime.now(dt.UTC).replace(microsecond=0)
    try:
        return dt.datetime.fromtimestamp(int(fixed), dt.UTC)
    except (ValueError, OverflowError, OSError) as error:
        raise SettingsError(
            f"SOURCE_DATE_EPOCH: found {fixed!r}, expected seconds since 1970 as a whole number"
        ) from error
