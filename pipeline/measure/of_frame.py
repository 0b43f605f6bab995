"""What is measured on a frame, by its kind: the one entry for the pass over a master."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import InputError, SettingsError
from pipeline.images import RawPicture
from pipeline.measure.of_flat import measure_flat
from pipeline.measure.of_page import measure_page
from pipeline.measure.of_target import TargetContext, measure_target_frame
from pipeline.measure.pixels import NotMeasured
from pipeline.measure.profile import Profile, read_profile
from pipeline.measure.references import Reference, editions, read_measured
from pipeline.measure.stored import StoredPixels
from pipeline.measurements import FrameMeasures
from pipeline.model import FrameKind


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurePlan:
    """What is to be measured on one frame, and what is known beforehand."""

    kind: FrameKind
    is_visible_light: bool = True
    """False for ultraviolet and infrared: colours say nothing there."""
    pitch_mm: tuple[float, float] | None = None
    """Of the session's colour target, from patch to patch."""
    measured_target: str = ""
    """Path of the target's own measurement."""


def measure(
    raw: Path, *, orientation: int, icc_profile: bytes, stated_ppi: float | None, plan: MeasurePlan
) -> FrameMeasures:
    """Measure a frame whose pixels lie in a scratch file. Raises SettingsError for a wrong measured file."""
    pixels = StoredPixels(RawPicture(raw, orientation=orientation))
    profile = _profile(icc_profile)
    match plan.kind:
        case FrameKind.FLAT:
            return measure_flat(pixels, profile, is_visible_light=plan.is_visible_light)
        case FrameKind.TARGET:
            context = TargetContext(
                references=_references(plan.measured_target),
                pitch_mm=plan.pitch_mm,
                stated_ppi=stated_ppi,
                is_visible_light=plan.is_visible_light,
            )
            return measure_target_frame(pixels, profile, context)
        case _:
            return measure_page(pixels, profile, plan.kind)


def _profile(icc_profile: bytes) -> Profile | NotMeasured:
    if not icc_profile:
        return NotMeasured(reason="the frame carries no colour profile, so its colours are a guess")
    try:
        return read_profile(icc_profile)
    except InputError as error:
        return NotMeasured(reason=f"its colour profile cannot be read ({error.message})")


def _references(path: str) -> tuple[Reference, ...]:
    if not path:
        return editions()
    try:
        return (read_measured(Path(path).read_bytes(), name=Path(path).name),)
    except OSError as error:
        raise SettingsError(f"{path}: cannot be read ({error.strerror or error})") from error
