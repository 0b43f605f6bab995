"""`solander demo`: makes the demo masters and runs the whole job on them.

One item, a contractor's trial, is wrong on purpose: it is judged and not built, and what was found of it does
not change the exit status.
"""

from __future__ import annotations

import functools
import shlex
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli import _options, _render
from pipeline.cli.build import build_folders
from pipeline.errors import ExitStatus, ToolError

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from pipeline.run import Options


SMALL_SCALE = 0.2
_SMALL = """

They were drawn small, so each has too low a resolution (F012). At full size it is as it must be."""


@click.command(short_help="Draw an invented library's masters and do the whole job on them.")
@click.argument("folder", type=_options.FOLDER, default=Path("demo"), callback=_options.writable)
@click.option(
    "--small", is_flag=True, help="Draw the masters at a fifth of their size: quick, for a first look."
)
@_options.worker_options
@_options.json_option
def demo(folder: Path, small: bool, jobs: int | None, scheduler: str, as_json: bool) -> int:
    """Invent a library, draw its masters into FOLDER (default: demo), and build bundles from them.

    One more item is wrong on purpose: it is checked, and its quality report shows what was found.
    """
    import demo_data
    from pipeline.run import Options
    from pipeline.specification import load

    with _options.executor(jobs, scheduler) as executor:
        drawn = _draw(folder, executor, scale=SMALL_SCALE if small else 1.0)
        items = tuple(each for each in drawn if each.name != demo_data.TRIAL)
        options = Options(
            work=folder / ".solander",
            bundles=folder / "bundles",
            specification=load(None),
            now=_options.now(),
        )
        documents = build_folders(items, options, executor, as_json=as_json)
        trials = [_judged(each, folder, options, executor) for each in drawn if each not in items]
    status = _options.highest_status(documents)
    if as_json:
        _render.show_json([*documents, *trials])
    if not as_json and status in (ExitStatus.DONE, ExitStatus.WANTING):
        _say_what_next(folder, items, trials, is_small=small)
    return ExitStatus.DONE if status in (ExitStatus.DONE, ExitStatus.WANTING) else status


def _draw(folder: Path, executor: Executor, *, scale: float) -> tuple[Path, ...]:
    import demo_data

    items = demo_data.write_texts(folder, scale=scale)
    tasks = [task for task in demo_data.tasks(folder) if not task.path.exists()]
    with _render.progress(name="demo") as progress:
        if tasks:
            progress.start("masters drawn", total=len(tasks))
        try:
            for path in executor.map(functools.partial(demo_data.draw, scale=scale), tasks):
                progress.advance(size_bytes=path.stat().st_size)
        except OSError as error:
            raise ToolError(f"{folder}: cannot be written ({error.strerror or error})") from error
        finally:
            progress.finish()
    return items


def _judged(item: Path, folder: Path, options: Options, executor: Executor) -> _options.Document:
    """Check the item that is wrong on purpose; say what was found."""
    from pipeline.run import check_item, keep_report, open_item

    opened, settings = open_item(item)
    with _render.progress(name=item.name) as progress:
        judgement = check_item(opened, settings, options, executor, progress)
    reports = folder / "reports" / item.name
    keep_report(judgement, reports)
    return {
        "item": item.name,
        "folder": str(item),
        "status": int(judgement.status),
        "is_wrong_on_purpose": True,
        "counts": _render.counts(judgement.report),
        "report": str(reports / "quality.json"),
        "findings": _render.finding_rows(judgement.report.findings),
    }


def _say_what_next(
    folder: Path, items: tuple[Path, ...], trials: list[_options.Document], *, is_small: bool
) -> None:
    from pipeline import layout

    first = items[0].name
    bundles = folder / "bundles"
    publication = bundles / layout.publication_name(first)
    preservation = bundles / layout.preservation_name(first)
    _render.show_text(f"""
Made in {folder}:
  {len(items)} items of an invented library, with their masters
  {bundles}: for each a publication and a preservation bundle{_SMALL * is_small}
{_of_trials(trials)}
Look at:
  {publication / "data" / "access" / first}   what readers see
  {preservation / "data" / "metadata" / "quality.html"}   how the masters were judged
  {preservation / "data" / "metadata" / "mets.xml"}   how they are described

See them as readers will, in a browser on this machine alone:
  solander preview {shlex.quote(str(bundles))}

Next, with images of your own:
  solander new my-item --masters FOLDER-OF-MASTERS""")


def _of_trials(trials: list[_options.Document]) -> str:
    return "".join(
        f"""  {trial["folder"]}: one more item, a contractor's trial that is wrong on purpose

Found in the trial, which was checked and not built: {trial["counts"]}
  {Path(str(trial["report"])).with_suffix(".html")}   which pages, how far off, what to do
"""
        for trial in trials
    )
