"""The one pass over one master: its outcome, its receipt, and what is left when it fails."""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
import subprocess
import sys
from pathlib import Path, PurePosixPath

import pytest

from pipeline import frame, icc
from pipeline.derive import DerivePlan
from pipeline.errors import SettingsError, ToolError
from pipeline.frame import FrameJob
from pipeline.measure.of_frame import MeasurePlan
from pipeline.model import Algorithm, FrameKind, ImageDelivery
from tests import make

NOW = dt.datetime(2026, 3, 10, 9, 0, tzinfo=dt.UTC)


def job_for(master: Path, tmp_path: Path, *, derive: bool = True, untagged_profile: str = "") -> FrameJob:
    plan = DerivePlan(
        item="msb-014",
        frame="B14_0001",
        base_url="http://localhost:8000",
        delivery=ImageDelivery.TILES,
        tile_px=32,
        access_long_edge_px=50,
        jpeg_quality=88,
        rights="",
        checksums=(Algorithm.SHA256,),
    )
    return FrameJob(
        frame="B14_0001",
        master=master,
        file=PurePosixPath(master.name),
        folder=tmp_path / "work" / "B14_0001",
        key="key",
        algorithms=(Algorithm.SHA512,),
        untagged_profile=untagged_profile,
        derive=plan if derive else None,
        measure=MeasurePlan(kind=FrameKind.PAGE),
        now=NOW,
    )


def test_a_frame_gives_its_record_and_derivatives_and_leaves_a_receipt(tmp_path: Path) -> None:
    master = make.tiff(tmp_path / "a.tif")
    job = job_for(master, tmp_path)
    outcome = frame.process(job)
    assert outcome.record
    assert outcome.derivatives
    assert outcome.record.master.digest(Algorithm.SHA512) == hashlib.sha512(master.read_bytes()).hexdigest()
    assert outcome.record.read_at == NOW
    assert frame.finished(job) == outcome
    left = {path.name for path in job.folder.iterdir()}
    assert left == {"receipt.json", "image-files.json", "thumbnail.jpg", "public"}
    assert {each.path.name for each in frame.image_files(job.folder)} == {"default.jpg", "info.json"}
    assert [path.name for path in job.folder.parent.iterdir()] == ["B14_0001"]


def test_a_receipt_does_not_hold_for_another_key_or_other_derivatives(tmp_path: Path) -> None:
    job = job_for(make.tiff(tmp_path / "a.tif"), tmp_path)
    frame.process(job)
    assert job.derive
    other_tiles = dataclasses.replace(job.derive, tile_px=64)
    assert frame.finished(dataclasses.replace(job, key="another")) is None
    assert frame.finished(dataclasses.replace(job, derive=other_tiles)) is None


def test_a_measured_frame_serves_checking_but_not_building(tmp_path: Path) -> None:
    job = job_for(make.tiff(tmp_path / "a.tif"), tmp_path)
    measured = dataclasses.replace(job, derive=None)
    assert frame.process(measured).derivatives is None
    assert frame.finished(measured)
    assert frame.finished(job) is None
    frame.process(job)
    assert frame.finished(measured)


def test_an_unreadable_master_is_an_outcome_and_leaves_nothing(tmp_path: Path) -> None:
    job = job_for(make.cut(make.tiff(tmp_path / "a.tif"), 0.5), tmp_path)
    outcome = frame.process(job)
    assert outcome.record is None
    assert outcome.unreadable
    assert outcome.unreadable.reason.startswith("a.tif: ")
    assert list(job.folder.parent.iterdir()) == []


def test_an_untagged_frame_is_measured_but_not_published(tmp_path: Path) -> None:
    job = job_for(make.tiff(tmp_path / "a.tif", iccprofile=None), tmp_path)
    outcome = frame.process(job)
    assert outcome.record
    assert outcome.record.facts.icc is None
    assert outcome.record.assumed_profile == ""
    assert outcome.derivatives is None


def test_an_untagged_frame_takes_the_profile_that_the_settings_name(tmp_path: Path) -> None:
    named = tmp_path / "wide.icc"
    named.write_bytes(icc.wide_gamut_profile("Unit's wide RGB"))
    untagged = make.tiff(tmp_path / "a.tif", iccprofile=None)
    tagged = make.tiff(tmp_path / "b.tif", iccprofile=named.read_bytes())
    assumed = frame.process(job_for(untagged, tmp_path, untagged_profile=str(named)))
    embedded = frame.process(job_for(tagged, tmp_path))
    assert assumed.record
    assert embedded.record
    assert assumed.record.assumed_profile == "Unit's wide RGB"
    assert assumed.record.pixel_digest == embedded.record.pixel_digest
    assert assumed.derivatives
    in_srgb = frame.process(job_for(untagged, tmp_path, untagged_profile="sRGB"))
    assert in_srgb.record
    assert in_srgb.record.assumed_profile == "sRGB"
    assert in_srgb.record.pixel_digest != embedded.record.pixel_digest


def test_a_profile_for_rgb_is_not_forced_on_a_grey_frame(tmp_path: Path) -> None:
    named = tmp_path / "wide.icc"
    named.write_bytes(icc.wide_gamut_profile())
    grey = make.tiff(tmp_path / "a.tif", make.TiffKind(name="grey", samples=1), iccprofile=None)
    outcome = frame.process(job_for(grey, tmp_path, untagged_profile=str(named)))
    assert outcome.record
    assert (outcome.record.assumed_profile, outcome.derivatives) == ("", None)


def test_a_named_profile_that_is_none_is_a_mistake_in_the_settings(tmp_path: Path) -> None:
    master = make.tiff(tmp_path / "a.tif", iccprofile=None)
    with pytest.raises(SettingsError, match="untagged_profile"):
        frame.process(job_for(master, tmp_path, untagged_profile=str(tmp_path / "absent.icc")))


def test_a_workspace_that_cannot_be_written_is_not_blamed_on_the_master(tmp_path: Path) -> None:
    (tmp_path / "work").write_text("a file where a folder should be")
    with pytest.raises(ToolError, match="cannot be written"):
        frame.process(job_for(make.tiff(tmp_path / "a.tif"), tmp_path))


def test_frames_done_again_are_the_same_to_the_byte(tmp_path: Path) -> None:
    job = job_for(make.tiff(tmp_path / "a.tif"), tmp_path)

    def everything() -> dict[str, bytes]:
        return {str(p.relative_to(tmp_path)): p.read_bytes() for p in job.folder.rglob("*") if p.is_file()}

    frame.process(job)
    first = everything()
    frame.process(job)
    assert everything() == first


@pytest.mark.skipif(sys.platform == "win32", reason="limits the size of files")
def test_a_full_disk_is_not_blamed_on_the_master(tmp_path: Path) -> None:
    master = make.tiff(tmp_path / "a.tif", pixels=make.picture(900, 700))
    program = f"""
import resource, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))
from pathlib import Path
from pipeline import frame
from pipeline.errors import ToolError
from tests.test_frame import job_for
try:
    frame.process(job_for(Path({str(master)!r}), Path({str(tmp_path)!r})))
except ToolError as error:
    sys.exit(str(error))
"""
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, cwd=Path.cwd())
    assert "cannot be written (File too large)" in ran.stderr
    assert "Traceback" not in ran.stderr
    assert list((tmp_path / "work").iterdir()) == []
