"""Rules over targets and flats of a session: they stand at both ends of it, and after changes of set-up.

A target that was photographed once proves one moment. One before the first and one behind the last frame
prove that nothing moved between them; another is needed after each change of lens, aperture, exposure.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction

from pipeline.check import places, sources
from pipeline.check.sessions import SESSION, SessionFacts, taken
from pipeline.findings import Level, Remark
from pipeline.model import Frame, FrameKind, FrameRecord, Light


@SESSION.rule(
    "S018",
    Level.WARNING,
    "Session does not begin and end with a target",
    source=sources.COMMON_PRACTICE,
    advice="Nobody can prove that nothing changed between the last target and the frames beyond it. If there "
    "is a target frame, add its row; photograph one first and last in every session.",
)
def targets_bracket_the_session(facts: SessionFacts) -> Iterator[Remark]:
    """A target frame comes before the first frame of the object and one behind the last, by their clock.

    Where a frame has no time of capture, the order of pages.csv counts.
    """
    return _unbracketed(facts, FrameKind.TARGET)


@SESSION.rule(
    "S019",
    Level.NOTE,
    "Session does not begin and end with a flat frame",
    source=sources.COMMON_PRACTICE,
    advice="Without one at the end nobody can prove that the lights stayed where they were. Photograph the "
    "even sheet first and last, and after every change of the lights.",
)
def flats_bracket_the_session(facts: SessionFacts) -> Iterator[Remark]:
    """A flat frame comes before the first frame of the object and one behind the last."""
    return _unbracketed(facts, FrameKind.FLAT)


def _unbracketed(facts: SessionFacts, kind: FrameKind) -> Iterator[Remark]:
    kinds = [frame.kind for frame in _in_time(facts)]
    shown = [at for at, each in enumerate(kinds) if each.is_reading_matter]
    if not shown or kind not in kinds:
        return
    missing = [
        where
        for where, part in (("before the first", kinds[: shown[0]]), ("after the last", kinds[shown[-1] :]))
        if kind not in part
    ]
    if missing:
        value = f"no {kind} frame {' and none '.join(missing)} of {len(shown)} frames"
        yield Remark(place=facts.place, value=value, limit="one at the start and one at the end")


def _in_time(facts: SessionFacts) -> list[Frame]:
    """The frames as they were captured, or in their rows' order if that is not known of each."""
    clock: dict[str, dt.datetime] = {}
    for frame in facts.frames:
        record = facts.records.get(frame.identifier)
        moment = taken(record) if record else None
        if moment is None:
            return list(facts.frames)
        clock[frame.identifier] = moment
    return sorted(facts.frames, key=lambda frame: clock[frame.identifier])


# ------------------------------------------------------------------------------------- change of set-up

_SetUp = tuple[str, Fraction | None, Fraction | None, Fraction | None, int | None]
"""Lens, focal length, aperture, exposure time, speed; empty or None where the file does not say."""


@SESSION.rule(
    "S030",
    Level.WARNING,
    "Frames were made with a set-up that no target shows",
    source=sources.COMMON_PRACTICE,
    advice="After a change of lens, aperture or exposure photograph the target again. Without it nobody can "
    "prove colour, tone and sharpness of these frames.",
)
def every_set_up_has_a_target(facts: SessionFacts) -> Iterator[Remark]:
    """Lens, focal length, aperture, exposure time and speed are those of a target frame of the same light.

    A light without a target of its own, as raking light, is not judged; nor is what a file does not say.
    """
    shown: dict[Light, list[tuple[Frame, _SetUp]]] = defaultdict(list)
    proved: dict[Light, list[_SetUp]] = defaultdict(list)
    for frame in facts.frames:
        if (record := facts.records.get(frame.identifier)) is None:
            continue
        if frame.kind is FrameKind.TARGET:
            proved[frame.light].append(_set_up(record))
        elif frame.kind.is_reading_matter:
            shown[frame.light].append((frame, _set_up(record)))
    for light, targets in proved.items():
        yield from _unproved(shown[light], targets)


def _unproved(shown: list[tuple[Frame, _SetUp]], targets: list[_SetUp]) -> Iterator[Remark]:
    groups: dict[_SetUp, list[Frame]] = defaultdict(list)
    for frame, set_up in shown:
        if not any(_agree(set_up, target) for target in targets):
            groups[set_up].append(frame)
    limit = "; ".join(dict.fromkeys(map(_said, targets)))
    for set_up, frames in groups.items():
        count = f", {len(frames)} frames from here on" if len(frames) > 1 else ""
        yield Remark(place=places.of_frame(frames[0]), value=f"{_said(set_up)}{count}", limit=limit)


def _set_up(record: FrameRecord) -> _SetUp:
    capture = record.facts.capture
    lens = capture.lens_model.strip()
    return (lens, capture.focal_length_mm, capture.f_number, capture.exposure_time_s, capture.iso_speed)


def _agree(one: _SetUp, other: _SetUp) -> bool:
    """True if nothing that both files say differs."""
    return all(a == b or not a or not b for a, b in zip(one, other, strict=True))


def _said(set_up: _SetUp) -> str:
    lens, focal_length, aperture, time, speed = set_up
    parts = (
        lens,
        f"{float(focal_length):g} mm" if focal_length else "",
        f"f/{float(aperture):g}" if aperture else "",
        f"{time} s" if time else "",
        f"ISO {speed}" if speed else "",
    )
    return ", ".join(filter(None, parts)) or "nothing said"
