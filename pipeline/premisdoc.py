"""PREMIS 3.0: the records that more than one part of the house writes, and a document of them.

Events and agents are the same whether they stand in METS, beside a bag in long-term storage, or in an audit's
export. Source: PREMIS schema 3.0, data dictionary 3.0; terms in `pipeline.specs.premis`.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable

from pipeline.model import Agent, Event
from pipeline.specs import premis, xlink
from pipeline.specs.premis import Vocabulary
from pipeline.xmldoc import Element, element, to_bytes, with_attributes

make = functools.partial(element, namespace=premis.NAMESPACE)
"""Make an element of PREMIS."""


def optional(name: str, value: str) -> Element | None:
    """Return an element with a text, or None if there is nothing to say."""
    return make(name, value) if value else None


def term(name: str, value: str, vocabulary: Vocabulary) -> Element:
    """Return an element with a controlled term, and where the term comes from."""
    return with_attributes(make(name, value), vocabulary.attributes(value))


def identifier(name: str, kind: str, value: str, *further: Element | None) -> Element:
    """Return an identifier: every one in PREMIS is a type and a value, named after their container."""
    return make(name, make(f"{name}Type", kind), make(f"{name}Value", value), *further)


def object_record(kind: str, *children: Element | None) -> Element:
    """Return an object of a type, such as `premis.FILE`."""
    return with_attributes(make("object", *children), {xlink.SCHEMA_TYPE: f"{premis.PREFIX}:{kind}"})


def event_link(event: Event) -> Element:
    """Return an object's reference to an event."""
    return identifier("linkingEventIdentifier", premis.UUID, event.identifier)


def event_record(event: Event) -> Element:
    """Return an event."""
    notes = (event.outcome_note, *event.outcome_details)
    return make(
        "event",
        identifier("eventIdentifier", premis.UUID, event.identifier),
        term("eventType", event.kind, premis.EVENT_TYPES),
        make("eventDateTime", event.when),
        make("eventDetailInformation", make("eventDetail", event.detail)),
        make(
            "eventOutcomeInformation",
            term("eventOutcome", event.outcome, premis.OUTCOMES),
            *(make("eventOutcomeDetail", make("eventOutcomeDetailNote", each)) for each in notes if each),
        ),
        *(
            identifier(
                "linkingAgentIdentifier",
                premis.LOCAL,
                agent,
                term("linkingAgentRole", role, premis.AGENT_ROLES),
            )
            for agent, role in event.agents
        ),
        *(
            identifier(
                "linkingObjectIdentifier",
                premis.LOCAL,
                name,
                term("linkingObjectRole", role, premis.OBJECT_ROLES),
            )
            for name, role in event.objects
        ),
    )


def agent_record(agent: Agent) -> Element:
    """Return an agent."""
    return make(
        "agent",
        identifier("agentIdentifier", premis.LOCAL, agent.identifier),
        make("agentName", agent.name),
        term("agentType", agent.kind.value, premis.AGENT_TYPES),
        optional("agentVersion", agent.version),
        optional("agentNote", agent.note),
    )


def document(objects: Iterable[Element], events: Iterable[Event], agents: Iterable[Agent]) -> bytes:
    """Return a PREMIS document; the schema wants one object at least."""
    return of_records(*objects, *map(event_record, events), *map(agent_record, agents))


def of_records(*records: Element) -> bytes:
    """Return a PREMIS document of records that are made already: objects, then events, then agents."""
    prefixes = {premis.PREFIX: premis.NAMESPACE, xlink.SCHEMA_INSTANCE_PREFIX: xlink.SCHEMA_INSTANCE}
    root = element(
        "premis",
        *records,
        namespace=premis.NAMESPACE,
        prefixes=prefixes,
        version=premis.VERSION,
    )
    return to_bytes(root)
