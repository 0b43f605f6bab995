"""Judging masters, sessions, sequence and care before anything is made of them.

Rules lie in one module for each kind of fact and are kept in registers (`pipeline.findings`). They need
no pixels: what they look at was read in the one pass over each master. Imaging measures have registers
of their own beside these.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any

from pipeline import layout
from pipeline.check import bracketing, sequence, shapes
from pipeline.check.capture import CAPTURE, CaptureFacts
from pipeline.check.care import CARE, CareFacts
from pipeline.check.fileset import FILES, FilesFacts
from pipeline.check.frames import FRAME, FrameFacts
from pipeline.check.measured import MEASURED, MeasuredFacts, values_for
from pipeline.check.places import of_frame
from pipeline.check.sequence import SEQUENCE
from pipeline.check.sessions import SESSION, SessionFacts
from pipeline.check.siblings import with_siblings
from pipeline.findings import Register, Report, Skipped
from pipeline.model import Frame, FrameRecord, Item, Settings, UnreadableMaster
from pipeline.record import ITEM_TOML, PAGES_CSV
from pipeline.specification import Specification
from pipeline.specs import bagit

__all__ = ["STOPPING", "judge", "judge_before_reading", "registers", "values_for", "with_siblings"]

STOPPING: frozenset[str] = frozenset({"C001", "F001", "F005", "S001", "S024"})
"""Codes that stop a build even without ``--strict``: not cleared, unreadable, of unknown colour, out of
place, of a name that a bag cannot hold."""


_WITH_RULES = (bracketing, shapes)
"""Modules whose rules are in the register of sessions: it is whole once they are imported."""


def registers() -> tuple[Register[Any], ...]:
    """All registers of this stage, in the order in which they are run."""
    return (CARE, FRAME, CAPTURE, FILES, MEASURED, SESSION, SEQUENCE)


def judge(
    item: Item | None,
    frames: tuple[Frame, ...],
    records: Mapping[str, FrameRecord],
    unreadable: tuple[UnreadableMaster, ...],
    settings: Settings,
    specification: Specification,
    *,
    waiver: str = "",
) -> Report:
    """Judge the frames of an item, or of a bare folder of images if `item` is None.

    `waiver` is the reason why the work goes on without a conservator's clearance, if it does.
    `records` and `unreadable` are what the one pass over each master gave, by the frames' identifiers.
    What could not be judged is in the report, with the reason. Findings come in the order of the rules'
    registers, then of the frames.
    """
    captured = tuple(frame for frame in frames if frame.file is not None)
    report = _judge_masters(captured, records, unreadable, specification)
    report += _judge_set(item, captured, records)
    report += _judge_measures(captured, records, specification)
    if item is None:
        reason = f"a bare folder of images has no {ITEM_TOML} and no {PAGES_CSV}"
        left_out = (CARE, CAPTURE, SESSION, SEQUENCE)
        return report + Report(skipped=tuple(s for r in left_out for s in _skipped(r, "the folder", reason)))
    return (
        CARE.judge(CareFacts(item=item, waiver=waiver), place=ITEM_TOML)
        + report
        + _judge_captures(item, captured, records, settings, specification)
        + _judge_sessions(item, captured, records)
        + _judge_sequence(item)
    )


def judge_before_reading(item: Item, *, waiver: str = "") -> Report:
    """Judge what needs no master to be read: care, names and sequence. `judge` repeats it.

    What stops a build here stops it before anything is read or made.
    """
    return (
        CARE.judge(CareFacts(item=item, waiver=waiver), place=ITEM_TOML)
        + _judge_set(item, item.frames_of(), {})
        + _judge_sequence(item)
    )


def _judge_masters(
    frames: tuple[Frame, ...],
    records: Mapping[str, FrameRecord],
    unreadable: tuple[UnreadableMaster, ...],
    specification: Specification,
) -> Report:
    broken = {each.frame: each for each in unreadable}
    reports = []
    for frame in frames:
        facts = FrameFacts(
            frame=frame,
            record=records.get(frame.identifier),
            unreadable=broken.get(frame.identifier),
            specification=specification,
        )
        if facts.record is None and facts.unreadable is None:
            reports.append(Report(skipped=tuple(_skipped(FRAME, of_frame(frame), "the master was not read"))))
        else:
            reports.append(FRAME.judge(facts, place=of_frame(frame)))
    return _joined(reports)


def _judge_set(item: Item | None, frames: tuple[Frame, ...], records: Mapping[str, FrameRecord]) -> Report:
    folder = f"{layout.preservation_name(item.identifier)}/{bagit.PAYLOAD}" if item else ""
    return FILES.judge(FilesFacts(frames=frames, records=records, folder=folder), place="all files")


def _judge_measures(
    frames: tuple[Frame, ...], records: Mapping[str, FrameRecord], specification: Specification
) -> Report:
    reports = []
    for frame in frames:
        record = records.get(frame.identifier)
        if record is not None and record.measures is not None:
            facts = MeasuredFacts(
                frame=frame, record=record, measures=record.measures, specification=specification
            )
            reports.append(MEASURED.judge(facts, place=facts.place))
    return _joined(reports)


def _judge_captures(
    item: Item,
    frames: tuple[Frame, ...],
    records: Mapping[str, FrameRecord],
    settings: Settings,
    specification: Specification,
) -> Report:
    sessions = {session.identifier: session for session in item.sessions}
    reports = []
    for frame in frames:
        record, session = records.get(frame.identifier), sessions.get(frame.session)
        if record is None or session is None:
            continue
        facts = CaptureFacts(
            frame=frame,
            record=record,
            session=session,
            camera=settings.owned(session.camera),
            lens=settings.owned(session.lens),
            specification=specification,
        )
        reports.append(CAPTURE.judge(facts, place=of_frame(frame)))
    return _joined(reports)


def _judge_sessions(item: Item, frames: tuple[Frame, ...], records: Mapping[str, FrameRecord]) -> Report:
    of_session: dict[str, list[Frame]] = defaultdict(list)
    for frame in frames:
        of_session[frame.session].append(frame)
    every = (
        SessionFacts(
            session=each,
            frames=tuple(of_session[each.identifier]),
            records=records,
            item_kind=item.kind,
        )
        for each in item.sessions
    )
    return _joined([SESSION.judge(facts, place=facts.place) for facts in every])


def _judge_sequence(item: Item) -> Report:
    if item.follows_foliation:
        return SEQUENCE.judge(sequence.facts_of(item), place=PAGES_CSV)
    reason = f"{ITEM_TOML} says follows_foliation = false"
    return Report(skipped=tuple(_skipped(SEQUENCE, PAGES_CSV, reason)))


def _joined(reports: list[Report]) -> Report:
    """All reports as one; adding them up two by two would copy them over and over."""
    return Report(
        findings=tuple(finding for report in reports for finding in report.findings),
        skipped=tuple(skipped for report in reports for skipped in report.skipped),
    )


def _skipped(register: Register[Any], place: str, reason: str) -> Iterator[Skipped]:
    return (
        Skipped(code=rule.code, place=place, reason=reason, title=rule.title)
        for rule in register.rules.values()
    )
