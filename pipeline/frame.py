"""The one pass over one master: digests, facts, the picture, derivatives.

A frame is processed wherever there is a worker, in this process or on another machine: a `FrameJob` goes
in, a `FrameOutcome` comes out, both small; images never cross. What is made stands in the frame's own
folder, which appears at once and whole: it is built beside its place and renamed.
"""

from __future__ import annotations

import datetime as dt
import os
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from pipeline import files, icc, receipts
from pipeline.derive import DerivePlan, derive_frame
from pipeline.digests import digest_file
from pipeline.errors import InputError, MasterError, SettingsError, ToolError
from pipeline.headers import Header, read_header
from pipeline.images import Picture, decode, display_profile
from pipeline.measure.of_frame import MeasurePlan, measure
from pipeline.model import Algorithm, Derivatives, FrameRecord, StoredFile, UnreadableMaster

RECEIPT = "receipt.json"
IMAGE_FILES = "image-files.json"
"""Beside the receipt: the list of the files of the image service."""
PICTURE = "picture.v"
SRGB = "sRGB"
"""How settings name the one profile that needs no file."""
THUMBNAIL = "thumbnail.jpg"
"""A small picture for reports."""
THUMBNAIL_PX = 480
PUBLIC = "public"
"""Below a frame's folder: what goes into the publication bundle, laid out as there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameJob:
    """What is wanted of one master."""

    frame: str
    master: Path
    file: PurePosixPath
    """The master's name in the record, relative to the masters' folder."""
    folder: Path
    """The frame's own folder in the workspace."""
    key: str
    """Tells this job from one with another master or other settings, `derive` aside."""
    algorithms: tuple[Algorithm, ...]
    untagged_profile: str
    derive: DerivePlan | None
    """None: only measure."""
    measure: MeasurePlan
    now: dt.datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameOutcome:
    """What came of a frame: a record and derivatives, or why there is none."""

    frame: str
    record: FrameRecord | None = None
    derivatives: Derivatives | None = None
    unreadable: UnreadableMaster | None = None
    was_kept: bool = False
    """True if an earlier run's receipt still holds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameReceipt:
    """Proof that a frame is done for one master with one set of settings."""

    key: str
    plan: DerivePlan | None
    record: FrameRecord
    derivatives: Derivatives | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageFiles:
    """The files of one frame's image service, relative to the publication payload."""

    files: tuple[StoredFile, ...]


def image_files(folder: Path) -> tuple[StoredFile, ...]:
    """Return the files of the image service that was made in a frame's folder. Raises ToolError."""
    kept = receipts.read(ImageFiles, folder / IMAGE_FILES)
    if kept is None:
        raise ToolError(f"{folder}: its list of images is gone; remove the folder and run again")
    return kept.files


def is_whole(folder: Path, derivatives: Derivatives) -> bool:
    """True if every derivative in a frame's folder is as it was when it was made: all are read."""
    for stored in (derivatives.access, *image_files(folder)):
        algorithms = [each.algorithm for each in stored.fixity]
        try:
            if digest_file(folder / PUBLIC / stored.path, algorithms) != (stored.size_bytes, stored.fixity):
                return False
        except OSError:
            return False
    return True


def finished(job: FrameJob) -> FrameOutcome | None:
    """Return the outcome of an earlier run, if its receipt holds for this job."""
    receipt = receipts.read(FrameReceipt, job.folder / RECEIPT)
    if receipt is None or receipt.key != job.key or job.derive not in (None, receipt.plan):
        return None
    return FrameOutcome(frame=job.frame, record=receipt.record, derivatives=receipt.derivatives)


def process(job: FrameJob) -> FrameOutcome:
    """Do one frame. What is wrong with the master is an outcome; a disk that fails raises ToolError."""
    beside = job.folder.with_name(f".{job.folder.name}.{os.getpid()}.making")
    try:
        files.remove_tree(beside)
        beside.mkdir(parents=True)
        record, derivatives = _pass(job, beside)
        receipt = FrameReceipt(key=job.key, plan=job.derive, record=record, derivatives=derivatives)
        receipts.write(receipt, beside / RECEIPT)
        files.remove_tree(job.folder)
        beside.rename(job.folder)
    except MasterError as error:
        why = UnreadableMaster(frame=job.frame, file=job.file, reason=error.message)
        return FrameOutcome(frame=job.frame, unreadable=why)
    except OSError as error:
        raise files.not_written(job.folder, error) from error
    finally:
        files.remove_tree(beside)
    return FrameOutcome(frame=job.frame, record=record, derivatives=derivatives)


def _pass(job: FrameJob, beside: Path) -> tuple[FrameRecord, Derivatives | None]:
    header = read_header(job.master)
    assumed = _assumed_profile(header, job.untagged_profile)
    decoded = decode(
        job.master,
        header,
        algorithms=job.algorithms,
        # without any profile the picture is only looked at, never published
        assumed_profile=assumed.data or display_profile(is_grey=header.facts.is_grey),
        scratch=beside / PICTURE,
    )
    measures = measure(
        decoded.raw,
        orientation=header.facts.orientation,
        icc_profile=header.icc_profile or assumed.data,
        stated_ppi=min(header.facts.ppi) if header.facts.ppi else None,
        plan=job.measure,
    )
    record = FrameRecord(
        frame=job.frame,
        master=StoredFile(
            path=job.file,
            size_bytes=decoded.size_bytes,
            fixity=decoded.fixity,
            media_type=header.facts.media_type,
        ),
        facts=header.facts,
        pixel_digest=decoded.pixel_digest,
        read_at=job.now,
        assumed_profile=assumed.name,
        measures=measures,
    )
    picture = Picture(decoded.picture, orientation=header.facts.orientation)
    picture.within(THUMBNAIL_PX).write_jpeg(beside / THUMBNAIL, quality=80)
    derivatives = None
    if job.derive and (header.icc_profile or assumed.data):
        derivatives, image_files = derive_frame(picture, job.derive, beside / PUBLIC, now=job.now)
        receipts.write(ImageFiles(files=image_files), beside / IMAGE_FILES)
    decoded.picture.unlink()
    decoded.raw.unlink()
    return record, derivatives


@dataclass(frozen=True, slots=True, kw_only=True)
class _AssumedProfile:
    data: bytes = b""
    name: str = ""


def _assumed_profile(header: Header, setting: str) -> _AssumedProfile:
    """Return the profile that stands in for one that is not embedded, and its name if it is a guess."""
    is_grey = header.facts.is_grey
    if header.icc_profile:
        return _AssumedProfile()
    if header.facts.declared_space:
        return _AssumedProfile(data=display_profile(is_grey=is_grey))
    if not setting:
        return _AssumedProfile()
    if setting == SRGB:
        return _AssumedProfile(
            data=display_profile(is_grey=is_grey), name="grey, sRGB curve" if is_grey else SRGB
        )
    try:
        data = Path(setting).read_bytes()
        facts = icc.read_profile(data)
    except (OSError, InputError) as error:
        raise SettingsError(
            f"{setting}: the untagged_profile of the settings is of no use ({error})"
        ) from error
    if (facts.colour_space == "GRAY") is not is_grey:
        return _AssumedProfile()
    return _AssumedProfile(data=data, name=facts.description)
