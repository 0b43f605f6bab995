"""`solander build`: the whole job, from an item folder to two sealed bundles."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli import _options, _render
from pipeline.errors import ExitStatus, Problem, SettingsError
from pipeline.findings import Level

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from pipeline.model import Settings
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
        documents = build_folders(items, options, executor, as_json=as_json)
    _render.say_failures(documents)
    if as_json:
        _render.show_json(documents)
    return _options.highest_status(documents)


def build_folders(
    folders: Iterable[Path], options: Options, executor: Executor, *, as_json: bool
) -> list[_options.Document]:
    """Build item folders one after the other; return what came of each, with its status."""
    batch = _Batch(options=options, executor=executor, as_json=as_json)
    return _options.each_item(folders, batch.build)


@dataclass(slots=True, kw_only=True)
class _Batch:
    """The items of one command line, and what has been met among them."""

    options: Options
    executor: Executor
    as_json: bool
    folder_of: dict[str, Path] = field(default_factory=dict)
    """Where each identifier was met, so that no item takes the place of another."""
    has_noted_defaults: bool = False

    def build(self, folder: Path) -> _options.Document:
        """Build one item folder, show what came of it, and return it."""
        from pipeline.run import build_item, open_item

        opened, settings = open_item(folder)
        self._refuse_namesake(opened.item.identifier, folder)
        if settings.base_url_is_default:
            self._note_defaults(settings)
        with _render.progress(name=opened.item.identifier) as progress:
            built = build_item(opened, settings, self.options, self.executor, progress)
        if not self.as_json:
            _show(built, self.options)
        return _document(built, folder)

    def _refuse_namesake(self, identifier: str, folder: Path) -> None:
        """Raise SettingsError if another folder has the same id: its bundles would be replaced."""
        other = self.folder_of.setdefault(identifier, folder)
        if other.resolve() != folder.resolve():
            problem = Problem(
                where="item.toml, item, id",
                found=f'"{identifier}", which is the id of {other} too',
                expected="an id that no other item has, for bundles are named by it",
                advice="give one of the two another id",
            )
            message = f"{folder}: not built, its bundles would replace those of {other}"
            raise SettingsError(message, problems=[problem])

    def _note_defaults(self, settings: Settings) -> None:
        """Say once what is made up for want of settings: readers would see it."""
        from pipeline.record import load_settings

        if not self.has_noted_defaults:
            is_unnamed = settings.holder == load_settings(None).holder
            what = "no solander.toml" if is_unnamed else "no base_url in a solander.toml"
            named = f', and the holder is called "{settings.holder.name.first}"' if is_unnamed else ""
            meant = f"links in the manifest begin with {settings.base_url}{named}, which does for a trial"
            _render.note(f"{what}: {meant}")
        self.has_noted_defaults = True


def _show(built: Built, options: Options) -> None:
    _render.show(f"{built.item}: {_in_words(built)}")
    if not built.was_up_to_date:
        _render.show_findings(built.report, first=built.stopped_by)
    for remark in built.remarks:
        _render.note(remark)
    if built.stopped_by:
        codes = " and ".join(filter(None, [", ".join(built.stopped_by[:-1]), built.stopped_by[-1]]))
        _render.show(f"no bundles were made: mend {codes} and build again", indent=2)
    for name, path in _products(built, options):
        _render.show(str(path), head=f"{name:14}", indent=2)


def _in_words(built: Built) -> str:
    if built.was_up_to_date:
        has_errors = bool(built.report.at(Level.ERROR))
        return "up to date, nothing to do" + (f"; {_render.counts(built.report)}" if has_errors else "")
    if built.stopped_by:
        early = "" if _was_judged(built) else " before any master was read"
        return f"stopped{early}; {_render.counts(built.report)}"
    done = f"{_render.counted(built.frames_done, 'frame')} done" if built.frames_done else "described anew"
    kept = f", {_render.counted(built.frames_kept, 'frame')} kept from before" if built.frames_kept else ""
    return f"{done}{kept}; {_render.counts(built.report)}"


def _products(built: Built, options: Options) -> list[tuple[str, Path]]:
    from pipeline import layout

    report = None
    if built.preservation and not (built.was_up_to_date and built.status is ExitStatus.DONE):
        report = built.preservation / "data" / layout.METADATA / "quality.html"
    elif _was_judged(built):
        report = options.work / built.item / "quality.html"
    products = (("publication", built.publication), ("preservation", built.preservation), ("quality", report))
    return [(name, path) for name, path in products if path]


def _was_judged(built: Built) -> bool:
    return bool(built.frames_done or built.frames_kept)


def _document(built: Built, folder: Path) -> _options.Document:
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
