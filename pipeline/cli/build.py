"""`solander build`: the whole job, from an item folder to two sealed bundles."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli import _options, _render
from pipeline.errors import ExitStatus, Interrupted, PipelineError

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from pipeline.run import Built, Options


@click.command(short_help="The whole job: check, derive, describe, bag; goes on where it stopped.")
@click.argument("items", metavar="ITEM…", nargs=-1, required=True, type=click.Path(path_type=Path))
@_options.out_option
@_options.work_option
@_options.specification_option
@click.option("--strict", is_flag=True, help="Stop for any error finding, not only for those that must.")
@click.option(
    "--without-clearance",
    "waiver",
    metavar="REASON",
    default="",
    help="Go on although no conservator has cleared the item; the reason is recorded in the bundle.",
)
@_options.worker_options
@_options.json_option
def build(
    items: tuple[Path, ...],
    bundles: Path,
    work: Path,
    specification: str | None,
    strict: bool,
    waiver: str,
    jobs: int | None,
    scheduler: str,
    as_json: bool,
) -> int:
    """Check, derive, describe and bag each ITEM, a folder with item.toml and pages.csv.

    Makes a publication bundle and a preservation bundle. What is done already is not done again; an
    interrupted build goes on where it stopped.
    """
    from pipeline.run import Options
    from pipeline.specification import load

    options = Options(
        work=work,
        bundles=bundles,
        specification=load(specification),
        now=_options.now(),
        strict=strict,
        waiver=waiver.strip(),
    )
    with _options.executor(jobs, scheduler) as executor:
        status, documents = build_folders(items, options, executor, as_json=as_json)
    if as_json:
        _render.show_json(documents)
    return status


def build_folders(
    folders: Iterable[Path], options: Options, executor: Executor, *, as_json: bool
) -> tuple[ExitStatus, list[dict[str, object]]]:
    """Build item folders one after the other; return the highest status and what came of each."""
    results = [_one(folder, options, executor, as_json=as_json) for folder in folders]
    return max(status for status, _ in results), [document for _, document in results]


def _one(
    folder: Path, options: Options, executor: Executor, *, as_json: bool
) -> tuple[ExitStatus, dict[str, object]]:
    from pipeline.run import build_item, open_item

    try:
        opened, settings = open_item(folder)
        if settings.base_url_is_default and not as_json:
            _render.note(f"no base_url in the settings: links in the manifest begin with {settings.base_url}")
        with _render.progress(name=opened.item.identifier) as progress:
            built = build_item(opened, settings, options, executor, progress)
    except Interrupted:
        raise
    except PipelineError as error:
        _render.say_error(_render.printable(str(error)))
        return error.exit_status, {
            "folder": str(folder),
            "status": int(error.exit_status),
            "error": str(error),
        }
    if not as_json:
        _show(built)
    return built.status, _document(built, folder)


def _show(built: Built) -> None:
    if built.was_up_to_date:
        _render.show(f"{built.item}: up to date, nothing to do")
    elif built.stopped_by:
        _render.show(f"{built.item}: stopped ({_render.counts(built.report)})")
    else:
        kept = f", {built.frames_kept} kept from before" if built.frames_kept else ""
        _render.show(f"{built.item}: {built.frames_done} frames done{kept}; {_render.counts(built.report)}")
    if not built.was_up_to_date:
        _render.show_findings(built.report)
    for remark in built.remarks:
        _render.note(remark)
    for bundle in (built.publication, built.preservation):
        if bundle:
            _render.show(f"  {bundle}")


def _document(built: Built, folder: Path) -> dict[str, object]:
    return {
        "item": built.item,
        "folder": str(folder),
        "status": int(built.status),
        "up_to_date": built.was_up_to_date,
        "stopped_by": list(built.stopped_by),
        "publication": str(built.publication) if built.publication else None,
        "preservation": str(built.preservation) if built.preservation else None,
        "frames_done": built.frames_done,
        "frames_kept": built.frames_kept,
        "remarks": list(built.remarks),
        "findings": _render.finding_rows(built.report.findings),
    }
