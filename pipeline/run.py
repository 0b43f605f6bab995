"""The order of the stages, resuming, and where the work is done.

`check_item` measures and judges; `build_item` carries an item from its masters to two sealed bundles.
Frames go out as small jobs to any `concurrent.futures.Executor` (`pipeline.workers`) and come back as
small outcomes. Each frame and each item leaves a receipt in the workspace::

    WORK/<item>/frames/<frame>/receipt.json, public/…     one frame, whole or not there
    WORK/<item>/quality.json, quality.html                the last judgement
    WORK/<item>/receipt.json                              both bundles sealed

What a receipt still holds for is not done again; what was killed half-way has no receipt.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath

from pipeline import __version__, check, files, jsondoc, layout, receipts, wrap
from pipeline.bundles import Contents, preservation_plan, publication_plan
from pipeline.derive import DerivePlan
from pipeline.describe.arrangement import arrange
from pipeline.errors import ExitStatus, FixityError, Problem, SettingsError
from pipeline.findings import Level, Report
from pipeline.frame import THUMBNAIL, FrameJob, FrameOutcome, is_whole
from pipeline.master_names import guess_pages
from pipeline.measure.of_frame import MeasurePlan
from pipeline.measurements import METHOD_VERSION
from pipeline.model import (
    Derivatives,
    Frame,
    FrameKind,
    FrameRecord,
    Item,
    LightKind,
    Settings,
    UnreadableMaster,
)
from pipeline.progress import SILENT, Progress
from pipeline.record import PAGES_CSV, ItemFolder, find_settings, load_item, load_settings
from pipeline.record.pages import short_name, unique
from pipeline.report import page, quality
from pipeline.specification import Specification
from pipeline.workers import run_frames
from pipeline.wrap import SealedBag

RECIPE = 1
"""Raise it when the same master and settings would give other facts or derivatives than before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """What a person may choose for a run."""

    work: Path
    """Where receipts and half-done things live."""
    bundles: Path
    """Where sealed bundles go."""
    specification: Specification
    now: dt.datetime
    """The time that everything in this run is dated with."""
    strict: bool = False
    """Error findings stop the build."""
    waiver: str = ""
    """Why the build goes on without a conservator's clearance; empty: it does not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """What `check_item` found."""

    frames: tuple[Frame, ...]
    records: Mapping[str, FrameRecord]
    derivatives: Mapping[str, Derivatives]
    unreadable: tuple[UnreadableMaster, ...]
    report: Report
    quality: Mapping[str, jsondoc.JsonValue]
    """The document that quality.json holds."""
    quality_page: bytes

    @property
    def status(self) -> ExitStatus:
        """Unreadable masters weigh more than findings."""
        if self.unreadable:
            return ExitStatus.INPUT
        return ExitStatus.WANTING if self.report.at(Level.ERROR) else ExitStatus.DONE


@dataclass(frozen=True, slots=True, kw_only=True)
class Built:
    """What `build_item` made, or why it stopped."""

    item: str
    status: ExitStatus
    report: Report
    publication: Path | None = None
    preservation: Path | None = None
    was_up_to_date: bool = False
    stopped_by: tuple[str, ...] = ()
    """Codes of the findings that stopped the build."""
    remarks: tuple[str, ...] = ()
    """What a person should know and no rule says, such as why a volume is not shown as openings."""
    frames_done: int = 0
    frames_kept: int = 0
    """Frames whose receipts still held."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemReceipt:
    """Proof that both bundles of an item are sealed for what its key was made from."""

    key: str
    shelfmark: str
    """Tells another item of the same id from the same item described anew."""
    publication: SealedBag
    preservation: SealedBag
    findings: Report


# ------------------------------------------------------------------------------------------- the runs


def open_item(folder: Path) -> tuple[ItemFolder, Settings]:
    """Return an item and the settings that apply to it. Raises SettingsError, InputError."""
    settings = load_settings(find_settings(folder))
    return load_item(folder, settings), settings


def check_item(
    opened: ItemFolder,
    settings: Settings,
    options: Options,
    executor: Executor,
    progress: Progress = SILENT,
) -> Judgement:
    """Measure and judge the masters of an item. Raises ToolError, Interrupted."""
    workspace = options.work / opened.item.identifier
    with files.locked(workspace):
        outcomes = run_frames(_jobs(opened, settings, options, derive=False), executor, progress)
        return _judge(opened.item, opened.item.frames, outcomes, settings, options, workspace)


def check_images(
    masters: Path,
    names: Iterable[PurePosixPath],
    options: Options,
    executor: Executor,
    progress: Progress = SILENT,
) -> Judgement:
    """Measure and judge a bare folder of images: what can be judged without a record.

    What a frame shows, and in which light, is guessed from its name.
    """
    names = tuple(names)
    guesses = {each.file: each for each in guess_pages(names)}
    taken: set[str] = set()
    frames = tuple(
        Frame(
            identifier=unique(short_name(str(name)), taken),
            file=name,
            label="",
            kind=guesses[name].kind,
            light=guesses[name].light,
            session="",
        )
        for name in names
    )
    settings = load_settings(find_settings(masters))
    workspace = (
        options.work / f"{files.slug(masters.resolve().name)}-{receipts.key_of(str(masters.resolve()))[:8]}"
    )
    jobs = [
        _job(
            frame,
            masters,
            workspace,
            settings,
            options,
            plan=None,
            measure=MeasurePlan(kind=frame.kind, is_visible_light=frame.light.kind not in _UNSEEN),
        )
        for frame in frames
    ]
    with files.locked(workspace, what="folder"):
        outcomes = run_frames(jobs, executor, progress)
        return _judge(None, frames, outcomes, settings, options, workspace)


def build_item(
    opened: ItemFolder,
    settings: Settings,
    options: Options,
    executor: Executor,
    progress: Progress = SILENT,
) -> Built:
    """Carry an item to two sealed bundles, or stop with the findings that stand against it.

    Raises SettingsError, InputError, FixityError, ToolError, Interrupted.
    """
    item = opened.item
    workspace = options.work / item.identifier
    with files.locked(workspace):
        key = _item_key(opened, settings, options)
        earlier = receipts.read(ItemReceipt, workspace / "receipt.json")
        if earlier and earlier.key == key and _still_sealed(earlier, options.bundles, item):
            return _built(item, earlier, options.bundles, was_up_to_date=True)
        _refuse_another_item(earlier, item, workspace)
        _refuse_an_empty_item(item)
        at_once = check.judge_before_reading(item, waiver=options.waiver)
        if stopped := _stopping(at_once, strict=False):
            return Built(item=item.identifier, status=ExitStatus.WANTING, report=at_once, stopped_by=stopped)
        jobs = _jobs(opened, settings, options, derive=True)
        outcomes = run_frames(jobs, executor, progress)
        judgement = _judge(item, item.frames, outcomes, settings, options, workspace)
        keep_report(judgement, workspace)
        if stopped := _stopping(judgement.report, strict=options.strict):
            status = max(judgement.status, ExitStatus.WANTING)
            kept = sum(each.was_kept for each in outcomes.values())
            return Built(
                item=item.identifier,
                status=status,
                report=judgement.report,
                stopped_by=stopped,
                frames_done=len(outcomes) - kept,
                frames_kept=kept,
            )
        try:
            publication, preservation = _seal_both(opened, settings, options, judgement, progress)
        except FixityError:
            _forget_damaged_frames(workspace, judgement)
            raise
        receipt = ItemReceipt(
            key=key,
            shelfmark=item.shelfmark,
            publication=publication,
            preservation=preservation,
            findings=judgement.report,
        )
        receipts.write(receipt, workspace / "receipt.json")
        _forget_other_frames(workspace, item)
        return _built(item, receipt, options.bundles, outcomes=outcomes)


# ------------------------------------------------------------------------------------------- the jobs


def _jobs(opened: ItemFolder, settings: Settings, options: Options, *, derive: bool) -> list[FrameJob]:
    item = opened.item
    workspace = options.work / item.identifier
    return [
        _job(
            frame,
            opened.masters,
            workspace,
            settings,
            options,
            plan=_plan(item, frame, settings) if derive and frame.kind.is_reading_matter else None,
            measure=_measure_plan(item, frame, settings),
        )
        for frame in item.frames_of()
    ]


_UNSEEN = (LightKind.ULTRAVIOLET, LightKind.INFRARED)


def _measure_plan(item: Item, frame: Frame, settings: Settings) -> MeasurePlan:
    plan = MeasurePlan(kind=frame.kind, is_visible_light=frame.light.kind not in _UNSEEN)
    session = item.session(frame.session)
    if session is None or frame.kind is not FrameKind.TARGET:
        return plan
    targets = filter(None, map(settings.owned, session.targets))
    known = next((each for each in targets if each.pitch_mm or each.measured), None)
    return replace(plan, pitch_mm=known.pitch_mm, measured_target=known.measured) if known else plan


def _plan(item: Item, frame: Frame, settings: Settings) -> DerivePlan:
    return DerivePlan(
        item=item.identifier,
        frame=frame.identifier,
        base_url=settings.base_url,
        delivery=settings.images,
        tile_px=settings.tile_px,
        access_long_edge_px=settings.access_long_edge_px,
        jpeg_quality=settings.jpeg_quality,
        rights=item.rights or settings.rights,
        checksums=settings.checksums,
    )


def _job(
    frame: Frame,
    masters: Path,
    workspace: Path,
    settings: Settings,
    options: Options,
    *,
    plan: DerivePlan | None,
    measure: MeasurePlan,
) -> FrameJob:
    assert frame.file is not None  # frames_of gives captured frames alone
    master = masters / frame.file
    return FrameJob(
        frame=frame.identifier,
        master=master,
        file=frame.file,
        folder=workspace / "frames" / frame.identifier,
        key=receipts.key_of(
            RECIPE,
            _stamp(master),
            settings.checksums,
            _stamp_of(settings.untagged_profile),
            METHOD_VERSION,
            measure,
            _stamp_of(measure.measured_target),
        ),
        algorithms=settings.checksums,
        untagged_profile=settings.untagged_profile,
        derive=plan,
        measure=measure,
        now=options.now,
    )


def _stamp(path: Path) -> tuple[str, int, int]:
    """Name, size and time of change: what tells, without reading it, that a file is another."""
    status = path.stat()
    return path.name, status.st_size, status.st_mtime_ns


def _stamp_of(setting: str) -> tuple[object, ...]:
    """Return the stamp of the file that a setting names; the setting itself if it names none."""
    return _stamp(Path(setting)) if setting and Path(setting).is_file() else (setting,)


def _item_key(opened: ItemFolder, settings: Settings, options: Options) -> str:
    """Digest everything that the bundles are made from, masters by their stamps."""
    return receipts.key_of(
        RECIPE,
        __version__,
        opened.item,
        replace(settings, id_prefix=""),  # what a store calls an item is no part of a bundle
        _stamp_of(settings.untagged_profile),
        tuple(_stamp_of(each.measured) for each in settings.equipment),
        tuple(path.read_bytes().hex() for path in (opened.item_toml, opened.pages_csv)),
        tuple(_stamp(opened.masters / frame.file) for frame in opened.item.frames_of() if frame.file),
        options.specification,
        options.waiver,
        options.strict,
    )


# -------------------------------------------------------------------------------------- the judgement


def _judge(
    item: Item | None,
    frames: tuple[Frame, ...],
    outcomes: Mapping[str, FrameOutcome],
    settings: Settings,
    options: Options,
    workspace: Path,
) -> Judgement:
    read = {name: each.record for name, each in outcomes.items() if each.record}
    records = check.with_siblings(frames, read)
    unreadable = tuple(each.unreadable for each in outcomes.values() if each.unreadable)
    report = check.judge(
        item, frames, records, unreadable, settings, options.specification, waiver=options.waiver
    )
    document = quality.quality_document(
        item,
        frames,
        records,
        unreadable,
        report,
        options.specification,
        values_for=check.values_for,
        now=options.now,
        software_version=__version__,
    )
    return Judgement(
        frames=frames,
        records=records,
        derivatives={name: each.derivatives for name, each in outcomes.items() if each.derivatives},
        unreadable=unreadable,
        report=report,
        quality=document,
        quality_page=page.quality_page(document, thumbnails=_thumbnails(workspace, records)),
    )


def _thumbnails(workspace: Path, frames: Iterable[str]) -> dict[str, bytes]:
    """The small picture of each frame, as far as it is still there."""
    paths = {frame: workspace / "frames" / frame / THUMBNAIL for frame in frames}
    return {frame: path.read_bytes() for frame, path in paths.items() if path.is_file()}


def keep_report(judgement: Judgement, folder: Path) -> None:
    """Write quality.json and quality.html into `folder`. Raises ToolError."""
    jsondoc.write(folder / "quality.json", judgement.quality)
    files.write_atomically(folder / "quality.html", judgement.quality_page)


def _refuse_another_item(earlier: ItemReceipt | None, item: Item, workspace: Path) -> None:
    """Do not let one item's bundles replace another's of the same id."""
    if earlier and earlier.shelfmark != item.shelfmark:
        raise SettingsError(
            f"item.toml, item, id: bundles of {earlier.shelfmark!r} have been built as {item.identifier!r}, "
            f"this item is {item.shelfmark!r}. Give it an id of its own; or, if it is the same item and its "
            f"shelfmark was corrected, remove {workspace / 'receipt.json'} and run again"
        )


def _refuse_an_empty_item(item: Item) -> None:
    """Do not begin what could only end in a publication bundle without an image."""
    if not any(view.is_captured for view in item.views):
        problem = Problem(
            where=PAGES_CSV,
            found="no file in any row that shows the object",
            expected="one captured frame at least",
            advice="list the masters; until there are any, `solander check` judges the list",
        )
        raise SettingsError(f"{item.identifier}: there is nothing to build", problems=[problem])


def _stopping(report: Report, *, strict: bool) -> tuple[str, ...]:
    errors = {finding.code for finding in report.at(Level.ERROR)}
    return tuple(sorted(errors if strict else errors & check.STOPPING))


# ---------------------------------------------------------------------------------------- the bundles


def _seal_both(
    opened: ItemFolder, settings: Settings, options: Options, judgement: Judgement, progress: Progress
) -> tuple[SealedBag, SealedBag]:
    contents = Contents(
        opened=opened,
        settings=settings,
        records=judgement.records,
        derivatives=judgement.derivatives,
        report=judgement.report,
        quality=judgement.quality,
        quality_page=judgement.quality_page,
        frames=options.work / opened.item.identifier / "frames",
        waiver=options.waiver,
        now=options.now,
    )
    publication = wrap.seal(publication_plan(contents), options.bundles, progress=progress)
    preservation = wrap.seal(preservation_plan(contents), options.bundles, progress=progress)
    return publication, preservation


def _still_sealed(receipt: ItemReceipt, bundles: Path, item: Item) -> bool:
    return all(
        wrap.still_sealed(bundles / name, sealed.tagmanifest_digest)
        for name, sealed in (
            (layout.publication_name(item.identifier), receipt.publication),
            (layout.preservation_name(item.identifier), receipt.preservation),
        )
    )


def _forget_damaged_frames(workspace: Path, judgement: Judgement) -> None:
    """Remove frames whose derivatives changed after they were made, so that the next run makes them anew."""
    for frame, derivatives in judgement.derivatives.items():
        if not is_whole(workspace / "frames" / frame, derivatives):
            files.remove_tree(workspace / "frames" / frame)


def _forget_other_frames(workspace: Path, item: Item) -> None:
    """Remove what is left of frames that the item no longer has."""
    known = {frame.identifier for frame in item.frames}
    for folder in (workspace / "frames").iterdir():
        if folder.name not in known:
            files.remove_tree(folder)


def _built(
    item: Item,
    receipt: ItemReceipt,
    bundles: Path,
    *,
    was_up_to_date: bool = False,
    outcomes: Mapping[str, FrameOutcome] | None = None,
) -> Built:
    kept = sum(each.was_kept for each in (outcomes or {}).values())
    return Built(
        item=item.identifier,
        status=ExitStatus.WANTING if receipt.findings.at(Level.ERROR) else ExitStatus.DONE,
        report=receipt.findings,
        publication=bundles / layout.publication_name(item.identifier),
        preservation=bundles / layout.preservation_name(item.identifier),
        was_up_to_date=was_up_to_date,
        remarks=tuple(filter(None, (arrange(item).doubt, _untitled(item)))),
        frames_done=len(outcomes or {}) - kept,
        frames_kept=kept,
    )


def _untitled(item: Item) -> str:
    """What to say of a title that `new` guessed and nobody has written since; empty if somebody has."""
    if item.title.first != item.shelfmark:
        return ""
    return f'its title is its shelfmark, "{item.shelfmark}": readers see no other; write one in item.toml'
