"""Options that several commands share, declared once."""

from __future__ import annotations

import datetime as dt
import os
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from pipeline.cli import _render
from pipeline.errors import ExitStatus, Interrupted, PipelineError, Problem, SettingsError, ToolError

if TYPE_CHECKING:
    from concurrent.futures import Executor

Document = dict[str, Any]
"""What came of one item, as JSON values, with its folder and status."""

Command = TypeVar("Command", bound=Callable[..., Any])

FOLDER = click.Path(path_type=Path)
FOLDER.name = "directory"


def writable(context: click.Context, parameter: click.Parameter, folder: Path) -> Path:
    """Refuse a folder that could not be written, before any work is done for it. Raises ToolError."""
    there = next(path for path in (folder, *folder.resolve().parents) if path.exists())
    if not there.is_dir():
        raise click.BadParameter(f'found "{there}", which is a file, expected a folder')
    if not os.access(there, os.W_OK | os.X_OK):
        raise ToolError(
            f"{folder}: cannot be written, for {there} is read-only to you; give another folder "
            f"as {parameter.get_error_hint(context)}"
        )
    return folder


reading_option = click.option(
    "--jobs",
    type=click.IntRange(1, 1024),
    default=None,
    help="Files read at once.  [default: one for each core]",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
work_option = click.option(
    "--work",
    type=FOLDER,
    callback=writable,
    default=Path(".solander"),
    show_default=True,
    help="Where receipts and half-done things live.",
)
out_option = click.option(
    "--out",
    "bundles",
    type=FOLDER,
    callback=writable,
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


def _scheduler_address(context: click.Context, parameter: click.Parameter, address: str) -> str:
    """Refuse what is no address before anything tries to reach it."""
    if address and not re.fullmatch(r"(tcp|tls|ws|wss|ucx)://[^/\s]+:[0-9]{1,5}/?", address):
        raise click.BadParameter(
            f'found "{address}", expected the address that the scheduler shows when it starts, '
            "such as tcp://host:8786"
        )
    return address


def worker_options(command: Command) -> Command:
    """Add --jobs and --scheduler."""
    command = click.option(
        "--scheduler",
        metavar="URL",
        default="",
        callback=_scheduler_address,
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

    ours = cores()
    workers = scheduled_workers(scheduler) if scheduler else local_workers(jobs or ours, cores=ours)
    with workers as chosen:
        yield chosen


def cores() -> int:
    """How many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def now() -> dt.datetime:
    """Return the time to date things with, in whole seconds, as `instant`. Raises SettingsError."""
    return instant().replace(microsecond=0)


def instant() -> dt.datetime:
    """Return the time that others compare with theirs: of SOURCE_DATE_EPOCH, if it is set, else the clock's.

    Source: the reproducible-builds specification of SOURCE_DATE_EPOCH, 1.1. Raises SettingsError.
    """
    fixed = os.environ.get("SOURCE_DATE_EPOCH")
    if fixed is None:
        return dt.datetime.now(dt.UTC)
    # eleven digits reach into the year 5138; more are milliseconds, or a mistake
    if not re.fullmatch(r"[0-9]{1,11}", fixed):
        problem = Problem(
            where="SOURCE_DATE_EPOCH",
            found=f'"{fixed}"',
            expected="seconds since 1970 as a whole number, such as 1773133200",
            advice="correct it, or unset it to use the clock",
        )
        raise SettingsError("the environment is wrong", problems=[problem])
    return dt.datetime.fromtimestamp(int(fixed), dt.UTC)


Item = TypeVar("Item", Path, str)


_INTERRUPTED = "interrupted; what was finished is kept, run again to go on"


def each_item(
    items: Iterable[Item], one: Callable[[Item], Document], *, interrupted: str = _INTERRUPTED
) -> list[Document]:
    """Do `one` for each item, by its folder or name; an error stops one item, an interruption the batch.

    Says what went wrong with each; `interrupted` is said of the last one if the batch was interrupted.
    """
    documents: list[Document] = []
    for item in items:
        documents.append(_told(item, one, interrupted))
        if documents[-1]["status"] == ExitStatus.INTERRUPTED:
            break
    return documents


def highest_status(documents: Sequence[Document]) -> ExitStatus:
    """Return the status that a batch ends with."""
    return ExitStatus(max(document["status"] for document in documents))


def _told(item: Item, one: Callable[[Item], Document], interrupted: str) -> Document:
    try:
        return one(item)
    except PipelineError as raised:
        error = raised
    except KeyboardInterrupt:
        error = Interrupted(interrupted)
    _render.say_error(error)
    return {"folder": str(item), **_render.error_document(error)}
