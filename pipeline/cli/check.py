"""`solander check`: measures and judges masters, and writes the quality report."""

from __future__ import annotations

import itertools
import unicodedata
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

import click

from pipeline.cli import _options, _render
from pipeline.errors import InputError, Problem

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from pipeline.run import Judgement, Options


@click.command(short_help="Measure and judge masters; write the quality report.")
@click.argument("items", metavar="ITEM…", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--report",
    "reports",
    type=_options.FOLDER,
    callback=_options.writable,
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
    """Measure and judge the frames of each ITEM: an item folder, a bare folder of images, or one image.

    Without a record only what can be judged without one is judged; which frames are targets and flats is
    told by their names. Nothing is changed. Writes quality.html and quality.json.
    """
    from pipeline.run import Options
    from pipeline.specification import load

    options = Options(work=work, bundles=Path(), specification=load(specification), now=_options.now())
    with _options.executor(jobs, scheduler) as executor:
        taken: dict[Path, Path] = {}
        documents = _options.each_item(
            items, lambda folder: _one(folder, reports, taken, options, executor, as_json=as_json)
        )
    _render.say_failures(documents)
    if as_json:
        _render.show_json(documents)
    return _options.highest_status(documents)


def _one(
    folder: Path,
    reports: Path,
    taken: dict[Path, Path],
    options: Options,
    executor: Executor,
    *,
    as_json: bool,
) -> _options.Document:
    from pipeline.run import keep_report

    name, judgement = _judge(folder, options, executor)
    report = _own_folder(reports / name, folder, taken)
    keep_report(judgement, report)
    if not as_json:
        frames = _render.counted(sum(frame.file is not None for frame in judgement.frames), "frame")
        _render.show(f"{name}: {frames}; {_render.counts(judgement.report)}")
        _render.show_findings(judgement.report)
        _render.show(str(report / "quality.html"), head="quality  ", indent=2)
    return {
        "item": name,
        "folder": str(folder),
        "status": int(judgement.status),
        "report": str(report / "quality.json"),
        "findings": _render.finding_rows(judgement.report.findings),
    }


def _refuse_names_without_letters(folder: Path, names: tuple[PurePosixPath, ...]) -> None:
    """Raise InputError for names whose bytes are no text: no report could hold them."""
    problems = [
        Problem(
            where=str(name),
            found="a name whose bytes are not text in UTF-8",
            expected="names in UTF-8",
            advice="rename the file; if many names are like this, set the locale to one with UTF-8",
        )
        for name in names
        if any(unicodedata.category(letter) == "Cs" for letter in str(name))
    ]
    if problems:
        raise InputError(f"{folder}: some names cannot be read as text", problems=problems)


def _own_folder(wanted: Path, item: Path, taken: dict[Path, Path]) -> Path:
    """Return a folder for the report of an item that no other item of this batch has."""
    numbered = (wanted.with_name(f"{wanted.name}-{number}") for number in itertools.count(2))
    for folder in itertools.chain([wanted], numbered):
        if taken.setdefault(folder, item.resolve()) == item.resolve():
            return folder
    raise AssertionError("numbers do not end")


def _judge(folder: Path, options: Options, executor: Executor) -> tuple[str, Judgement]:
    from pipeline.run import check_images, check_item, open_item

    if (folder / "item.toml").exists() or (folder / "pages.csv").exists():
        opened, settings = open_item(folder)
        name = opened.item.identifier
        with _render.progress(name=name) as progress:
            return name, check_item(opened, settings, options, executor, progress)
    masters, names = _images(folder)
    _refuse_names_without_letters(folder, names)
    name = folder.resolve().name if folder.is_dir() else folder.stem
    with _render.progress(name=name) as progress:
        return name, check_images(masters, names, options, executor, progress)


def _images(place: Path) -> tuple[Path, tuple[PurePosixPath, ...]]:
    """Return a folder and the images in it: those of a bare folder, or the one that `place` is."""
    from pipeline.record import ITEM_TOML, PAGES_CSV, image_files
    from pipeline.record.masters import IMAGE_SUFFIXES

    if place.is_file():
        if place.name in (ITEM_TOML, PAGES_CSV):
            raise InputError(f"{place}: is a file of an item; give the item's folder, {place.parent}")
        if place.suffix.lower() not in IMAGE_SUFFIXES:
            raise InputError(f"{place}: is no image by its name; give an item folder, a folder, or an image")
        return place.parent, (PurePosixPath(place.name),)
    if not place.exists():
        raise InputError(f"{place}: is not there; give an item folder, a folder of images, or an image")
    names = image_files(place)
    if not names:
        raise InputError(
            f"{place}: holds neither item.toml nor any image (.tif, .tiff, .jp2, .jpg, .png …); "
            "hidden files and folders are passed over"
        )
    return place, names
