"""Rules over one frame against what item.toml and the equipment register say of its session."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.check import places, sources
from pipeline.check.frames import agrees, moment
from pipeline.findings import Level, Register, Remark
from pipeline.model import Equipment, Frame, FrameRecord, MasterFacts, Session
from pipeline.specification import Measure, Specification
from pipeline.specs import tiff


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptureFacts:
    """A frame that could be read, with its session and the register's entries for it."""

    frame: Frame
    record: FrameRecord
    session: Session
    camera: Equipment | None
    lens: Equipment | None
    specification: Specification

    @property
    def master(self) -> MasterFacts:
        """The technical facts."""
        return self.record.facts

    def remark(self, value: str, limit: str) -> Remark:
        """A remark about this frame."""
        return Remark(place=places.of_frame(self.frame), value=value, limit=limit)


CAPTURE = Register[CaptureFacts]("a frame in its session")


@CAPTURE.rule(
    "F030",
    Level.WARNING,
    "Resolution in the file differs from the session's",
    source=sources.SPECIFICATION,
    advice="Find out which of the two is right. Correct ppi in item.toml, or export the masters again with "
    "the right number. A frame made at another magnification belongs to a session of its own.",
)
def ppi_is_that_of_the_session(facts: CaptureFacts) -> Iterator[Remark]:
    """The stated resolution is the session's within the tolerance; rounding per centimetre is allowed for."""
    limit, wanted = facts.specification.limit(Measure.PPI_TAG), facts.session.ppi
    stated = facts.master.ppi
    if not limit or not wanted or not stated or tiff.is_placeholder(stated[0]):
        return
    if not agrees(facts.master, wanted, percent=limit.number):
        deviation = 100 * (stated[0] - wanted) / wanted
        yield Remark(
            place=places.of_frame(facts.frame),
            value=f"{stated[0]:.2f} ppi, {deviation:+.2f} %",
            limit=f"{wanted:g} ppi ± {limit.number:g} %",
            level=limit.level,
            source=limit.citation,
        )


@CAPTURE.rule(
    "F031",
    Level.WARNING,
    "Frame was not captured on the day of its session",
    source=sources.EXIF_TIME,
    advice="Put the frame into the session of its day, or correct the session's date. If the camera's clock "
    "was wrong, say so in the session's note.",
)
def capture_is_on_the_day_of_the_session(facts: CaptureFacts) -> Iterator[Remark]:
    """The date of capture in the file is the session's."""
    taken = moment(facts.master.capture.captured_at)
    if taken and taken.date() != facts.session.date:
        yield facts.remark(taken.date().isoformat(), facts.session.date.isoformat())


@CAPTURE.rule(
    "F032",
    Level.WARNING,
    "File names another camera than the session",
    source=sources.EXIF_CAMERA,
    advice="Correct the camera of the session in item.toml, or its entry in the equipment register.",
)
def camera_is_that_of_the_session(facts: CaptureFacts) -> Iterator[Remark]:
    """The camera in the file is that of the register's entry; a silent file is not judged."""
    capture = facts.master.capture
    if facts.camera and _differ(facts.camera, capture.make, capture.model):
        yield facts.remark(_name(capture.make, capture.model), _entry(facts.camera))


@CAPTURE.rule(
    "F033",
    Level.WARNING,
    "File names another lens than the session",
    source=sources.EXIF_CAMERA,
    advice="Correct the lens of the session in item.toml, or its entry in the equipment register.",
)
def lens_is_that_of_the_session(facts: CaptureFacts) -> Iterator[Remark]:
    """The lens in the file is that of the register's entry; a silent file is not judged."""
    capture = facts.master.capture
    if facts.lens and _differ(facts.lens, capture.lens_make, capture.lens_model):
        yield facts.remark(_name(capture.lens_make, capture.lens_model), _entry(facts.lens))


def _differ(entry: Equipment, make: str, model: str) -> bool:
    """True if model, or where one of them has none the maker, is said by both and is not the same.

    Files repeat the maker in the model, shorten it, or write it in capitals: one containing the other is
    the same.
    """
    for registered, found in ((entry.model, model), (entry.maker, make)):
        one, other = _letters(registered), _letters(found)
        if one and other:
            return one not in other and other not in one
    return False


def _letters(text: str) -> str:
    return "".join(char for char in text.casefold() if char.isalnum())


def _name(make: str, model: str) -> str:
    return model if _letters(make) in _letters(model) else f"{make} {model}".strip()


def _entry(entry: Equipment) -> str:
    return f"{_name(entry.maker, entry.model)} ({entry.identifier})"
