"""Rules over the frames of one session: alike among themselves, with target and flat, in order of time."""

from __future__ import annotations

import datetime as dt
import itertools
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from pipeline.check import places, sources
from pipeline.check.frames import compression_kind, moment, stated_space
from pipeline.findings import Level, Register, Remark
from pipeline.model import (
    Frame,
    FrameKind,
    FrameRecord,
    ItemKind,
    Light,
    MasterFacts,
    MasterFormat,
    Session,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionFacts:
    """One session with its captured frames in the order of pages.csv, and the records of those read."""

    session: Session
    frames: tuple[Frame, ...]
    records: Mapping[str, FrameRecord]
    item_kind: ItemKind

    @property
    def place(self) -> str:
        """Where the session stands."""
        return places.of_session(self.session)

    def has(self, kind: FrameKind) -> bool:
        """True if there is a frame of this kind."""
        return any(frame.kind is kind for frame in self.frames)

    def by_light(self) -> Iterator[tuple[tuple[Frame, FrameRecord], ...]]:
        """The frames that show the object and could be read, with their records, one light at a time."""
        groups: dict[Light, list[tuple[Frame, FrameRecord]]] = defaultdict(list)
        for frame in self.frames:
            record = self.records.get(frame.identifier)
            if record and frame.kind.is_reading_matter:
                groups[frame.light].append((frame, record))
        return map(tuple, groups.values())


SESSION = Register[SessionFacts]("a session")


@SESSION.rule(
    "S010",
    Level.WARNING,
    "Session has no target frame",
    source=sources.COMMON_PRACTICE,
    advice="Without a target nobody can prove colour, tone and scale of these frames. If a target was "
    "photographed, add its row with kind target; photograph one at the start of every session.",
)
def session_has_a_target(facts: SessionFacts) -> Iterator[Remark]:
    """A session with frames has at least one target frame."""
    if facts.frames and not facts.has(FrameKind.TARGET):
        yield Remark(place=facts.place, value="no target frame", limit="at least one")


@SESSION.rule(
    "S011",
    Level.WARNING,
    "Session has no flat frame",
    source=sources.COMMON_PRACTICE,
    advice="Without a flat frame nobody can prove that the light was even. If an evenly lit plain sheet was "
    "photographed, add its row with kind flat; photograph one after every change of the lights.",
)
def session_has_a_flat(facts: SessionFacts) -> Iterator[Remark]:
    """A session with frames has at least one flat frame."""
    if facts.frames and not facts.has(FrameKind.FLAT):
        yield Remark(place=facts.place, value="no flat frame", limit="at least one")


@SESSION.rule(
    "S012",
    Level.WARNING,
    "Bit depths differ within a session",
    source=sources.COMMON_PRACTICE,
    advice="Export all frames of a session with the same settings.",
)
def bit_depth_is_the_same(facts: SessionFacts) -> Iterator[Remark]:
    """All frames of a session in one light have the same bit depth and number of channels."""
    return _unlike(facts, lambda m: f"{m.samples_per_pixel} × {max(m.bits_per_sample)} bit")


@SESSION.rule(
    "S013",
    Level.WARNING,
    "Colour spaces differ within a session",
    source=sources.COMMON_PRACTICE,
    advice="Export all frames of a session with the same settings.",
)
def colour_space_is_the_same(facts: SessionFacts) -> Iterator[Remark]:
    """All frames of a session in one light carry the same profile."""
    return _unlike(facts, lambda master: stated_space(master) or "no profile")


@SESSION.rule(
    "S014",
    Level.WARNING,
    "File formats differ within a session",
    source=sources.COMMON_PRACTICE,
    advice="Export all frames of a session with the same settings.",
)
def format_is_the_same(facts: SessionFacts) -> Iterator[Remark]:
    """All frames of a session in one light have the same format and the same kind of compression."""
    return _unlike(facts, _format)


def _format(master: MasterFacts) -> str:
    plain = MasterFormat.TIFF if master.format is MasterFormat.BIGTIFF else master.format
    return f"{plain}, {'no' if compression_kind(master) == 'none' else compression_kind(master)} compression"


def _unlike(facts: SessionFacts, describe: Callable[[MasterFacts], str]) -> Iterator[Remark]:
    """A remark on every frame that is not as most of its light; of equally many, the first are the most."""
    for group in facts.by_light():
        described = [(frame, describe(record.facts)) for frame, record in group]
        usual, count = Counter(text for _, text in described).most_common(1)[0]
        limit = f"{usual}, as {count} of {len(group)} frames of session {facts.session.identifier}"
        for frame, found in described:
            if found != usual:
                yield Remark(place=places.of_frame(frame), value=found, limit=limit)


@SESSION.rule(
    "S015",
    Level.NOTE,
    "Capture times do not follow the sequence",
    source=sources.EXIF_TIME,
    advice="Usual for a page that was photographed again. If it was not, look whether the frame is in its "
    "right place.",
)
def capture_times_follow_the_sequence(facts: SessionFacts) -> Iterator[Remark]:
    """In one light, each frame was captured after the one before it, or all from back to front."""
    for group in facts.by_light():
        yield from _against_the_clock([(frame, taken(record)) for frame, record in group])


def _against_the_clock(timed: list[tuple[Frame, dt.datetime | None]]) -> Iterator[Remark]:
    known = [(frame, when) for frame, when in timed if when is not None]
    steps = [(after[0], before[1], after[1]) for before, after in itertools.pairwise(known)]
    back = [step for step in steps if step[2] < step[1]]
    if len(back) == sum(before != after for _, before, after in steps):
        return  # photographed from back to front
    for frame, before, after in back:
        limit = f"not before the frame above it, {before:%H:%M:%S}"
        yield Remark(place=places.of_frame(frame), value=f"{after:%H:%M:%S}", limit=limit)


def taken(record: FrameRecord) -> dt.datetime | None:
    """When a frame was captured, on the clock's face: within a session there is one clock."""
    found = moment(record.facts.capture.captured_at)
    return found.replace(tzinfo=None) if found else None
