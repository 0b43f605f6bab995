"""Events that came after an object was deposited, such as those of audits: taken from PREMIS documents.

Each object gets those that it is named in, with the agents that they name, as they stand in the document;
none twice. What a document says of objects beside that is not taken.

Source: PREMIS data dictionary 3.0, entities event and agent.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass, field

from pipeline import premisdoc
from pipeline.errors import InputError, Problem
from pipeline.files import visible
from pipeline.specs import premis
from pipeline.xmldoc import Element, our_schema, parse, schema_faults

MOST_BYTES = 1 << 26
"""Of one document: some ten thousand events."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LaterEvent:
    """An event as a document tells it."""

    identifier: str
    objects: frozenset[str]
    agents: tuple[str, ...]
    element: Element = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class LaterEvents:
    """Events of any objects, each once, and the agents that they may name."""

    events: tuple[LaterEvent, ...]
    agents: Mapping[str, Element]

    @property
    def objects(self) -> tuple[str, ...]:
        """The identifiers of all objects that are named."""
        return tuple(sorted({name for event in self.events for name in event.objects}))

    def of(self, object_id: str, *, known: Set[str] = frozenset()) -> tuple[LaterEvent, ...]:
        """The events of an object whose identifiers are not `known`."""
        return tuple(
            each for each in self.events if object_id in each.objects and each.identifier not in known
        )

    def document(self, object_id: str, events: Iterable[LaterEvent]) -> bytes:
        """Return some of the events as a document of one object."""
        chosen = tuple(events)
        agents = dict.fromkeys(name for event in chosen for name in event.agents if name in self.agents)
        links = (
            premisdoc.identifier("linkingEventIdentifier", *_identifier(event.element, "event"))
            for event in chosen
        )
        thing = premisdoc.object_record(
            premis.INTELLECTUAL_ENTITY,
            premisdoc.identifier("objectIdentifier", premis.LOCAL, object_id),
            *links,
        )
        records = [*(event.element for event in chosen), *(self.agents[name] for name in agents)]
        return premisdoc.of_records(thing, *map(copy.deepcopy, records))


def read_events(documents: Mapping[str, bytes]) -> LaterEvents:
    """Return the events of PREMIS documents, given with their names.

    Raises InputError for what is no PREMIS document, or not a valid one, and for documents that do not agree
    on an agent.
    """
    events: dict[str, LaterEvent] = {}
    agents: dict[str, Element] = {}
    for name, data in documents.items():
        root = _root(data, name)
        events |= {each.identifier: each for each in _events(root)}
        for agent in _below(root, "agent"):
            identifier = _identifier(agent, "agent")[1]
            if _said(agents.setdefault(identifier, agent)) != _said(agent):
                raise InputError(
                    f'{name}: tells of the agent "{visible(identifier)}" otherwise than one before it, '
                    "perhaps in another version; add the one after the other"
                )
    return LaterEvents(events=tuple(events.values()), agents=agents)


def _said(record: Element) -> list[tuple[object, str]]:
    """What a record says, however it is indented."""
    return [(each.tag, (each.text or "").strip()) for each in record.iter()]


def identifiers_in(data: bytes, name: str) -> frozenset[str]:
    """Return the identifiers of the events in a document of our own. Raises InputError."""
    return frozenset(each.identifier for each in _events(parse(data, name=name, max_bytes=MOST_BYTES)))


def _root(data: bytes, name: str) -> Element:
    root = parse(data, name=name, max_bytes=MOST_BYTES)
    if root.tag != _named("premis"):
        raise InputError(f"{name}: is no PREMIS document; expected one, such as audits leave in audit-events")
    if faults := schema_faults(root, our_schema(), name=name):
        problems = [
            Problem(where=f"{name}, line {each.line}", found=each.message, expected="valid PREMIS")
            for each in faults
        ]
        raise InputError(f"{name}: is not a valid PREMIS document", problems=problems)
    return root


def _events(root: Element) -> Iterator[LaterEvent]:
    for each in _below(root, "event"):
        yield LaterEvent(
            identifier=_identifier(each, "event")[1],
            objects=frozenset(_texts(each, "linkingObjectIdentifierValue")),
            agents=tuple(_texts(each, "linkingAgentIdentifierValue")),
            element=each,
        )


def _identifier(record: Element, kind: str) -> tuple[str, str]:
    """Type and value of a record's identifier; the schema wants both."""
    (name,) = list(_texts(record, f"{kind}IdentifierType"))[:1] or [premis.LOCAL]
    (value,) = list(_texts(record, f"{kind}IdentifierValue"))[:1] or [""]
    return name, value


def _texts(record: Element, name: str) -> Iterator[str]:
    yield from ((each.text or "").strip() for each in record.iter(_named(name)))


def _below(root: Element, name: str) -> Iterator[Element]:
    yield from root.iterchildren(_named(name))


def _named(name: str) -> str:
    return f"{{{premis.NAMESPACE}}}{name}"
