"""What PREMIS records say: objects, events, agents and rights, and how they name each other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from pipeline.specs import premis, xlink
from pipeline.verify.metadata.documents import first, line_of, place_of, text_of
from pipeline.verify.metadata.mix_reading import MixRecord, mix_records
from pipeline.xmldoc import Element

_PREFIX = f"{{{premis.NAMESPACE}}}"
ENTITIES = tuple(f"{_PREFIX}{name}" for name in ("object", "event", "agent", "rights"))


class Identifier(NamedTuple):
    """A type and a value."""

    kind: str
    value: str

    def __str__(self) -> str:
        """Return both, as ``local msb-014/masters/b14_0001.tif``."""
        return f"{self.kind} {self.value}"


class Link(NamedTuple):
    """One entity naming another."""

    element: str
    """``linkingAgentIdentifier`` …"""
    target: Identifier
    line: int
    role: str = ""
    """linkingObjectRole or linkingAgentRole, the first of several."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PremisEntity:
    """An object, event, agent or rights record."""

    kind: str
    """The name of its element."""
    place: str
    identifiers: tuple[Identifier, ...]
    links: tuple[Link, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PremisObject(PremisEntity):
    """An object."""

    category: str
    """``file``, ``representation`` …, without a prefix."""
    fixity: tuple[tuple[str, str], ...] = ()
    """Pairs of algorithm and digest."""
    size: str = ""
    format_names: tuple[str, ...] = ()
    format_keys: tuple[tuple[str, str], ...] = ()
    """Pairs of registry and key."""
    original_name: str = ""
    locations: tuple[str, ...] = ()
    """Every contentLocationValue."""
    mix: tuple[MixRecord, ...] = ()
    """Records in its extensions."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PremisEvent(PremisEntity):
    """An event."""

    event_type: str
    when: str
    outcomes: tuple[str, ...]


def premis_entities(path: str, root: Element, within: str = "") -> Iterator[PremisEntity]:
    """Yield every entity at or below an element; `within` describes what it stands in, if that is known."""
    for element in root.iter(*ENTITIES):
        match str(element.tag)[len(_PREFIX) :]:
            case "object":
                yield _object(path, element, within)
            case "event":
                yield _event(path, element, within)
            case kind:
                yield _entity(path, element, kind, within)


def _entity(path: str, element: Element, kind: str, within: str) -> PremisEntity:
    return PremisEntity(
        kind=kind,
        place=place_of(path, element, within),
        identifiers=_own_identifiers(element, kind),
        links=tuple(_links(element)),
    )


_OWN = {
    "object": f"{_PREFIX}objectIdentifier",
    "event": f"{_PREFIX}eventIdentifier",
    "agent": f"{_PREFIX}agentIdentifier",
    "rights": f"{_PREFIX}rightsStatementIdentifier",
}


def _own_identifiers(element: Element, kind: str) -> tuple[Identifier, ...]:
    found = element.iter(_OWN[kind]) if kind == "rights" else element.iterchildren(_OWN[kind])
    return tuple(_identifier(each) for each in found)


LINKS = {
    "linkingObjectIdentifier": "object",
    "linkingEventIdentifier": "event",
    "linkingAgentIdentifier": "agent",
    "linkingRightsStatementIdentifier": "rights",
    "linkingEnvironmentIdentifier": "object",
    "relatedObjectIdentifier": "object",
    "relatedEventIdentifier": "event",
}
"""Elements that name another entity, and which."""
_WITH_ROLES = frozenset(("linkingObjectIdentifier", "linkingAgentIdentifier"))
_LINK_TAGS = tuple(f"{_PREFIX}{name}" for name in LINKS)


def _links(element: Element) -> Iterator[Link]:
    for each in element.iter(*_LINK_TAGS):
        identifier, further = _read_identifier(each)
        name = str(each.tag)[len(_PREFIX) :]
        role = further[0] if further and name in _WITH_ROLES else ""
        yield Link(name, identifier, line_of(each), role)


def _identifier(element: Element) -> Identifier:
    return _read_identifier(element)[0]


def _read_identifier(element: Element) -> tuple[Identifier, list[str]]:
    """The first two children are type and value, whatever the container is called; then come roles."""
    texts = [(each.text or "").strip() for each in element if isinstance(each.tag, str)]
    kind, value = (*texts, "", "")[:2]
    return Identifier(kind, value), texts[2:]


def _object(path: str, element: Element, within: str) -> PremisObject:
    characteristics = first(element, f"{_PREFIX}objectCharacteristics")
    entity = _entity(path, element, "object", within)
    return PremisObject(
        kind=entity.kind,
        place=entity.place,
        identifiers=entity.identifiers,
        links=entity.links,
        category=(element.get(xlink.SCHEMA_TYPE) or "").rpartition(":")[2],
        fixity=tuple(_pairs(characteristics, "fixity", "messageDigestAlgorithm", "messageDigest")),
        size=_text(characteristics, "size"),
        format_names=tuple(_texts(characteristics, "formatName")),
        format_keys=tuple(
            _pairs(characteristics, "formatRegistry", "formatRegistryName", "formatRegistryKey")
        ),
        original_name=_text(element, "originalName"),
        locations=tuple(_texts(element, "contentLocationValue")),
        mix=tuple(mix_records(path, element, within)),
    )


def _event(path: str, element: Element, within: str) -> PremisEvent:
    entity = _entity(path, element, "event", within)
    return PremisEvent(
        kind=entity.kind,
        place=entity.place,
        identifiers=entity.identifiers,
        links=entity.links,
        event_type=_text(element, "eventType"),
        when=_text(element, "eventDateTime"),
        outcomes=tuple(_texts(element, "eventOutcome")),
    )


def _text(element: Element | None, name: str) -> str:
    """Return the text of a child."""
    return text_of(element, f"{_PREFIX}{name}")


def _texts(element: Element | None, name: str) -> Iterator[str]:
    """Yield the texts of all elements of a name below an element."""
    if element is not None:
        yield from (text for each in element.iter(f"{_PREFIX}{name}") if (text := (each.text or "").strip()))


def _pairs(element: Element | None, container: str, first: str, second: str) -> Iterator[tuple[str, str]]:
    if element is not None:
        for each in element.iter(f"{_PREFIX}{container}"):
            yield _text(each, first), _text(each, second)
