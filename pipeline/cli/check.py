"""`solander check`: measures and judges masters, and writes the quality report."""

from __future__ import annotations

from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

import click

from pipeline.cli import _options, _render
from pipeline.errors import ExitStatus, InputError, Interrupted, PipelineError

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from pipeline.run import Judgement, Options


@click.command(short_help="Measure and judge masters; write the quality report.")
@click.argument("items", metavar="ITEM…", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--report",
    "reports",
    type=_options.FOLDER,
    default=Path("reports"),
    show_default=True,
    help="Where the quality reports go, a folder for each item.",
)
@_options.work_option
@_options.specification_option
@_options.worker_options
@_options.json_option
def check(
    items: tuple[Path, ...],
    reports: Path,
    work: Path,
    specification: str | None,
    jobs: int | None,
    scheduler: str,
    as_json: bool,
) -> int:
    """Measure and judge the frames of each ITEM: an item folder, or a bare folder of images.

    Nothing is changed. Writes quality.html and quality.json.
    """
    from pipeline.run import Options
    from pipeline.specification import load

    options = Options(work=work, bundles=Path(), specification=load(specification), now=_options.now())
    with _options.executor(jobs, scheduler) as executor:
        results = [_one(folder, reports, options, executor, as_json=as_json) for folder in items]
    if as_json:
        _render.show_json([document for _, document in results])
    return max(status for status, _ in results)


def _one(
    folder: Path, reports: Path, options: Options, executor: Executor, *, as_json: bool
) -> tuple[ExitStatus, dict[str, object]]:
    from pipeline.run import keep_report

    try:
        name, judgement = _judge(folder, options, executor)
        keep_report(judgement, reports / name)
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
        _render.show(f"{name}: {len(judgement.frames)} frames, {_render.counts(judgement.report)}")
        _render.show_findings(judgement.report)
        _render.show(f"  {reports / name / 'quality.html'}")
    return judgement.status, {
        "item": name,
        "folder": str(folder),
        "status": int(judgement.status),
        "report": str(reports / name / "quality.json"),
        "findings": _render.finding_rows(judgement.report.findings),
    }


def _judge(folder: Path, options: Options, executor: Executor) -> tuple[str, Judgement]:
    from pipeline.record import image_files
    from pipeline.run import check_images, check_item, open_item

    if (folder / "item.toml").exists() or (folder / "pages.csv").exists():
        opened, settings = open_item(folder)
        name = opened.item.identifier
        with _render.progress(name=name) as progress:
            return name, check_item(opened, settings, options, executor, progress)
    if not folder.is_dir():
        raise InputError(f"{folder}: is not a folder; give an item folder or a folder of images")
    names: tuple[PurePosixPath, ...] = image_files(folder)
    if not names:
        raise InputError(f"{folder}: holds neither item.toml nor any image")
    name = folder.resolve().name
    with _render.progress(name=name) as progress:
        return name, check_images(folder, names, options, executor, progress)
