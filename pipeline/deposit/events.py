"""PREMIS 3.0 events of a deposit: what happened to a bag after it was sealed cannot stand inside it.

Source: PREMIS data dictionary 3.0; terms in `pipeline.specs.premis`.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass

from pipeline import premisdoc
from pipeline.model import Agent, AgentKind, Event
from pipeline.specs import premis

_NAMESPACE = uuid.UUID("c4f0a4f2-5f0e-5c39-9d0e-0a6e0b1f7d53")
"""Our own, so that no other name-based UUID is ever equal."""
_SOFTWARE = "software/solander"
_DEPOSITOR = "depositor"


@dataclass(frozen=True, slots=True, kw_only=True)
class Depositor:
    """Who deposits."""

    name: str
    address: str = ""
    """A URI: mailto:, or of a page about them."""
    kind: AgentKind = AgentKind.ORGANIZATION


@dataclass(frozen=True, slots=True, kw_only=True)
class Happened:
    """What a deposit's events tell."""

    object_id: str
    version: str
    bag_name: str
    when: str
    depositor: Depositor
    software_version: str
    verified: str
    """What verification said of the bag: ``accepted``."""
    changes: str


def document(happened: Happened) -> bytes:
    """Return the PREMIS document of one deposit: the bag was validated, then taken into the store."""
    events = (
        _event(happened, "validation", f"Bag {happened.bag_name} verified: {happened.verified}"),
        _event(
            happened,
            "ingestion",
            f"Bag {happened.bag_name} deposited as {happened.version}: {happened.changes}",
        ),
    )
    stored = premisdoc.object_record(
        premis.REPRESENTATION,
        premisdoc.identifier("objectIdentifier", premis.LOCAL, happened.object_id),
        premisdoc.optional("originalName", happened.bag_name),
        *map(premisdoc.event_link, events),
    )
    return premisdoc.document([stored], events, _agents(happened))


def _event(happened: Happened, kind: str, detail: str) -> Event:
    key = "\n".join((happened.object_id, happened.version, kind, happened.when))
    return Event(
        identifier=str(uuid.uuid5(_NAMESPACE, key)),
        kind=kind,
        when=happened.when,
        detail=detail,
        outcome="success",
        agents=((_SOFTWARE, "executing program"), (_DEPOSITOR, "implementer")),
        objects=((happened.object_id, "outcome"),),
    )


def _agents(happened: Happened) -> tuple[Agent, ...]:
    depositor = happened.depositor
    return (
        Agent(
            identifier=_SOFTWARE,
            kind=AgentKind.SOFTWARE,
            name="solander",
            version=happened.software_version,
        ),
        Agent(identifier=_DEPOSITOR, kind=depositor.kind, name=depositor.name, note=depositor.address),
    )
