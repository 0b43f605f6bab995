"""What was done to an item, by whom and with what: the events and agents that PREMIS and METS tell of.

Events that befell many files at once are one event with many objects. Identifiers are made from the
events' content, so that the same runs give the same bytes.

Source: PREMIS data dictionary 3.0, entities event and agent; terms in `pipeline.specs.premis`.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from pipeline import layout
from pipeline.describe.figures import key_figures
from pipeline.files import slug
from pipeline.findings import Level, Report
from pipeline.model import (
    Agent,
    AgentKind,
    Derivatives,
    Equipment,
    EquipmentKind,
    Event,
    Frame,
    FrameRecord,
    Item,
    Session,
    Settings,
)

SOFTWARE = "software/solander"
_NAMESPACE = uuid.UUID("5d0b3c8e-9c3f-5b0e-8a8e-6d1f5a1c7e21")
"""Our own, so that no other name-based UUID is ever equal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EventLog:
    """All events of an item in the order of time, and the agents that they name."""

    events: tuple[Event, ...]
    agents: tuple[Agent, ...]

    def by_object(self) -> dict[str, list[Event]]:
        """The events of each object, by its identifier."""
        found: dict[str, list[Event]] = defaultdict(list)
        for event in self.events:
            for identifier in dict.fromkeys(identifier for identifier, _ in event.objects):
                found[identifier].append(event)
        return found


def master_id(item: Item, frame: Frame) -> str:
    """The identifier of a master as a PREMIS object."""
    return f"{item.identifier}/{layout.master_path(frame)}"


def access_id(item: Item, frame: str) -> str:
    """The identifier of an access image as a PREMIS object."""
    return f"{item.identifier}/access/{frame}.jpg"


def masters_id(item: Item) -> str:
    """The identifier of all masters together, one representation of the item."""
    return f"{item.identifier}/masters"


def publication_id(item: Item) -> str:
    """The identifier of all access images together, another representation."""
    return f"{item.identifier}/access"


def event_log(
    item: Item,
    settings: Settings,
    records: Mapping[str, FrameRecord],
    derivatives: Mapping[str, Derivatives],
    report: Report,
    *,
    now: dt.datetime,
    software_version: str,
    waiver: str = "",
) -> EventLog:
    """Return what befell an item until its bundles are made at `now`."""
    agents = _Agents(item, settings, software_version)
    frames = {frame.identifier: frame for frame in item.frames_of() if frame.identifier in records}
    drafts = [
        *_waiver(item, agents, waiver, now),
        *_captures(item, agents, frames, records),
        *_readings(item, agents, frames, records),
        *_creations(item, agents, frames, records, derivatives),
        _validation(item, frames, records, report, now),
        _packing(item, agents, now),
    ]
    named = {agent for event in drafts for agent, _ in event.agents}
    return EventLog(
        events=tuple(sorted(drafts, key=lambda event: event.when)),
        agents=tuple(agent for agent in agents.all() if agent.identifier in named),
    )


class _Agents:
    """Everybody and everything that may have had a part, by what the record calls them."""

    def __init__(self, item: Item, settings: Settings, software_version: str) -> None:
        unit = settings.unit_name or settings.holder.name.best("en")
        self.unit = Agent(identifier=f"organization/{slug(unit)}", kind=AgentKind.ORGANIZATION, name=unit)
        self.software = Agent(
            identifier=SOFTWARE, kind=AgentKind.SOFTWARE, name="solander", version=software_version
        )
        operators = {session.operator for session in item.sessions if session.operator}
        self._operators = {
            name: Agent(identifier=f"person/{number}-{slug(name)}", kind=AgentKind.PERSON, name=name)
            for number, name in enumerate(sorted(operators), 1)
            if name.casefold() != unit.casefold()
        }
        self._equipment = {each.identifier: _hardware(each) for each in settings.equipment}

    def all(self) -> Iterator[Agent]:
        """In a fixed order."""
        yield self.software
        yield self.unit
        yield from self._operators.values()
        yield from self._equipment.values()

    def of_session(self, session: Session | None) -> tuple[tuple[str, str], ...]:
        """Operator and equipment of a session, with their roles."""
        if session is None:
            return ((self.unit.identifier, "implementer"),)
        operator = self._operators.get(session.operator, self.unit)
        used = (session.camera, session.lens, *session.lights, session.support)
        hardware = [self._equipment[name].identifier for name in used if name in self._equipment]
        return (
            (operator.identifier, "implementer"),
            *((name, "executing program") for name in dict.fromkeys(hardware)),
        )

    @property
    def program(self) -> tuple[tuple[str, str], ...]:
        """Our own part."""
        return ((self.software.identifier, "executing program"),)


def _hardware(each: Equipment) -> Agent:
    name = " ".join(part for part in (each.maker, each.model) if part) or each.name or each.identifier
    serial = f"serial number {each.serial}" if each.serial else ""
    kind = "" if each.kind is EquipmentKind.CAMERA else each.kind.value
    return Agent(
        identifier=f"equipment/{each.identifier}",
        kind=AgentKind.HARDWARE,
        name=name,
        note="; ".join(part for part in (kind, serial) if part),
    )


def _event(
    item: Item,
    kind: str,
    when: str,
    detail: str,
    *,
    agents: tuple[tuple[str, str], ...],
    objects: Iterable[tuple[str, str]],
    outcome: str = "success",
    outcome_note: str = "",
    outcome_details: tuple[str, ...] = (),
) -> Event:
    listed = tuple(objects)
    content = "\n".join([item.identifier, kind, when, detail, *(name for name, _ in listed)])
    return Event(
        identifier=str(uuid.uuid5(_NAMESPACE, content)),
        kind=kind,
        when=when,
        detail=detail,
        outcome=outcome,
        outcome_note=outcome_note,
        outcome_details=outcome_details,
        agents=agents,
        objects=listed,
    )


def _waiver(item: Item, agents: _Agents, reason: str, now: dt.datetime) -> Iterator[Event]:
    if reason and not item.care.cleared:
        yield _event(
            item,
            "policy assignment",
            now.isoformat(),
            f"processed without a conservator's clearance; reason given: {reason}",
            agents=((agents.unit.identifier, "authorizer"),),
            objects=((item.identifier, "source"),),
            outcome="warning",
        )


def _captures(
    item: Item, agents: _Agents, frames: Mapping[str, Frame], records: Mapping[str, FrameRecord]
) -> Iterator[Event]:
    for identifier, frame in frames.items():
        session = item.session(frame.session)
        captured_at = records[identifier].facts.capture.captured_at
        when = captured_at or (session.date.isoformat() if session else "")
        if when:
            light = "" if str(frame.light) == "normal" else f", {frame.light} light"
            yield _event(
                item,
                "capture",
                when,
                f"photographed in session {frame.session}{light}" if session else f"photographed{light}",
                agents=agents.of_session(session),
                objects=((master_id(item, frame), "outcome"),),
            )


def _readings(
    item: Item, agents: _Agents, frames: Mapping[str, Frame], records: Mapping[str, FrameRecord]
) -> Iterator[Event]:
    """Digests and header facts, together for all masters that one run read."""
    by_time: dict[dt.datetime, list[Frame]] = defaultdict(list)
    for identifier, frame in frames.items():
        by_time[records[identifier].read_at].append(frame)
    for when, read in by_time.items():
        objects = [(master_id(item, frame), "source") for frame in read]
        algorithms = ", ".join(each.algorithm.value for each in records[read[0].identifier].master.fixity)
        yield _event(
            item,
            "message digest calculation",
            when.isoformat(),
            f"computed from every byte: {algorithms}",
            agents=agents.program,
            objects=objects,
        )
        yield _event(
            item,
            "metadata extraction",
            when.isoformat(),
            "format identified and technical facts read from the header; picture decoded to its end",
            agents=agents.program,
            objects=objects,
        )


def _creations(
    item: Item,
    agents: _Agents,
    frames: Mapping[str, Frame],
    records: Mapping[str, FrameRecord],
    derivatives: Mapping[str, Derivatives],
) -> Iterator[Event]:
    """Derivatives, together for all frames that one run made them of under one assumption."""
    groups: dict[tuple[dt.datetime, str], list[Frame]] = defaultdict(list)
    for identifier, made in derivatives.items():
        groups[made.made_at, records[identifier].assumed_profile].append(frames[identifier])
    for (when, assumed), sources in groups.items():
        doubt = f" The masters embed no profile and were taken to be in {assumed!r}." if assumed else ""
        yield _event(
            item,
            "creation",
            when.isoformat(),
            "access images and images for the web made from the masters: converted to sRGB or grey (relative "
            f"colorimetric, black point compensation), turned upright, reduced, not retouched.{doubt}",
            agents=agents.program,
            objects=[
                *((master_id(item, frame), "source") for frame in sources),
                *((access_id(item, frame.identifier), "outcome") for frame in sources),
            ],
            outcome="warning" if assumed else "success",
        )


def _validation(
    item: Item,
    frames: Mapping[str, Frame],
    records: Mapping[str, FrameRecord],
    report: Report,
    now: dt.datetime,
) -> Event:
    """The judgement: how many findings, then the key figures of what was measured."""
    counts = ", ".join(f"{len(report.at(level))} {level.value}s" for level in Level)
    return _event(
        item,
        "validation",
        now.isoformat(),
        "masters judged by the imaging specification, the sequence by its foliation; see quality.json",
        agents=((SOFTWARE, "validator"),),
        objects=[(master_id(item, frame), "source") for frame in frames.values()],
        outcome=report.outcome,
        outcome_note=counts,
        outcome_details=key_figures(tuple(frames.values()), records),
    )


def _packing(item: Item, agents: _Agents, now: dt.datetime) -> Event:
    return _event(
        item,
        "information package creation",
        now.isoformat(),
        "publication and preservation bundles made",
        agents=agents.program,
        objects=((masters_id(item), "source"), (publication_id(item), "source")),
    )
