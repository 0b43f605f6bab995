"""PREMIS 3.0: objects, events, agents and rights of an item, each a record of its own for METS.

Source: PREMIS schema 3.0, data dictionary 3.0; terms in `pipeline.specs.premis`.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Sequence

from pipeline.describe import events
from pipeline.model import Agent, Derivatives, Event, Fixity, Frame, FrameRecord, Item, MasterFacts, Settings
from pipeline.specs import iiif, premis, pronom, rights, xlink
from pipeline.specs.premis import Vocabulary
from pipeline.xmldoc import Element, element, with_attributes

_make = functools.partial(element, namespace=premis.NAMESPACE)

UNSPECIFIED_JURISDICTION = "unspecified"
"""The schema wants a jurisdiction; a rights URI names none."""


def _term(name: str, value: str, vocabulary: Vocabulary) -> Element:
    return with_attributes(_make(name, value), vocabulary.attributes(value))


def _pair(name: str, kind: str, value: str, *further: Element | None) -> Element:
    """An identifier: every one in PREMIS is a type and a value, named after their container."""
    return _make(name, _make(f"{name}Type", kind), _make(f"{name}Value", value), *further)


def _object(kind: str, *children: Element | None) -> Element:
    made = _make("object", *children)
    return with_attributes(made, {xlink.SCHEMA_TYPE: f"{premis.PREFIX}:{kind}"})


# --------------------------------------------------------------------------------------------- objects


def master_object(
    item: Item, frame: Frame, record: FrameRecord, happened: Iterable[Event], settings: Settings
) -> Element:
    """Return the object of a master; `happened` are its events."""
    software = record.facts.capture.software.strip()
    application = _make(
        "creatingApplication",
        _make("creatingApplicationName", software),
        _optional("dateCreatedByApplication", record.facts.capture.changed_at),
    )
    return _object(
        premis.FILE,
        _pair("objectIdentifier", premis.LOCAL, events.master_id(item, frame)),
        _make(
            "objectCharacteristics",
            _make("compositionLevel", "0"),
            *map(_fixity, record.master.fixity),
            _make("size", str(record.master.size_bytes)),
            _format(record.facts),
            application if software else None,
        ),
        _make("originalName", str(frame.file)),
        _relationship("structural", "is included in", events.masters_id(item)),
        *map(_event_link, happened),
        _rights_link(item, settings),
    )


def access_object(
    item: Item, frame: Frame, made: Derivatives, happened: Sequence[Event], settings: Settings
) -> Element:
    """Return the object of an access image, derived from its master by the event that made it."""
    maker = next((event for event in happened if event.kind == "creation"), None)
    return _object(
        premis.FILE,
        _pair("objectIdentifier", premis.LOCAL, events.access_id(item, frame.identifier)),
        _make(
            "objectCharacteristics",
            _make("compositionLevel", "0"),
            *map(_fixity, made.access.fixity),
            _make("size", str(made.access.size_bytes)),
            _make("format", _make("formatDesignation", _make("formatName", made.access.media_type))),
        ),
        _relationship("structural", "is included in", events.publication_id(item)),
        _relationship("derivation", "has source", events.master_id(item, frame), event=maker),
        *map(_event_link, happened),
        _rights_link(item, settings),
    )


def item_objects(item: Item, happened: dict[str, list[Event]]) -> tuple[Element, ...]:
    """Return the item itself and its two representations: the masters, and what readers see."""
    entity = _object(
        premis.INTELLECTUAL_ENTITY,
        _pair("objectIdentifier", premis.LOCAL, item.identifier),
        _pair("objectIdentifier", "shelfmark", item.shelfmark),
        *(_pair("objectIdentifier", each.scheme, each.value) for each in item.identifiers),
        *map(_event_link, happened.get(item.identifier, ())),
    )
    representations = (
        _object(
            premis.REPRESENTATION,
            _pair("objectIdentifier", premis.LOCAL, name),
            _relationship("structural", "represents", item.identifier),
            *map(_event_link, happened.get(name, ())),
        )
        for name in (events.masters_id(item), events.publication_id(item))
    )
    return (entity, *representations)


def _fixity(fixity: Fixity) -> Element:
    name = premis.DIGEST_ALGORITHMS[fixity.algorithm]
    return _make(
        "fixity",
        _term("messageDigestAlgorithm", name, premis.HASH_FUNCTIONS),
        _make("messageDigest", fixity.hex_digest),
    )


def _format(facts: MasterFacts) -> Element:
    key = pronom.KEYS.get(facts.format)
    designation = _make(
        "formatDesignation",
        _make("formatName", facts.media_type),
        _optional("formatVersion", pronom.VERSIONS.get(facts.format, "")),
    )
    registry = _make(
        "formatRegistry",
        _make("formatRegistryName", pronom.REGISTRY),
        _make("formatRegistryKey", key or ""),
    )
    note = _make("formatNote", "BigTIFF") if facts.format.value == "BigTIFF" else None
    return _make("format", designation, registry if key else None, note)


def _optional(name: str, value: str) -> Element | None:
    return _make(name, value) if value else None


def _relationship(kind: str, subtype: str, related: str, *, event: Event | None = None) -> Element:
    return _make(
        "relationship",
        _term("relationshipType", kind, premis.RELATIONSHIPS),
        _term("relationshipSubType", subtype, premis.RELATIONSHIP_SUBTYPES),
        _pair("relatedObjectIdentifier", premis.LOCAL, related),
        _pair("relatedEventIdentifier", premis.UUID, event.identifier) if event else None,
    )


def _event_link(event: Event) -> Element:
    return _pair("linkingEventIdentifier", premis.UUID, event.identifier)


# ------------------------------------------------------------------------------- events, agents, rights


def event_record(event: Event) -> Element:
    """Return an event."""
    note = _make("eventOutcomeDetail", _make("eventOutcomeDetailNote", event.outcome_note))
    return _make(
        "event",
        _pair("eventIdentifier", premis.UUID, event.identifier),
        _term("eventType", event.kind, premis.EVENT_TYPES),
        _make("eventDateTime", event.when),
        _make("eventDetailInformation", _make("eventDetail", event.detail)),
        _make(
            "eventOutcomeInformation",
            _term("eventOutcome", event.outcome, premis.OUTCOMES),
            note if event.outcome_note else None,
        ),
        *(
            _pair(
                "linkingAgentIdentifier",
                premis.LOCAL,
                agent,
                _term("linkingAgentRole", role, premis.AGENT_ROLES),
            )
            for agent, role in event.agents
        ),
        *(
            _pair(
                "linkingObjectIdentifier",
                premis.LOCAL,
                name,
                _term("linkingObjectRole", role, premis.OBJECT_ROLES),
            )
            for name, role in event.objects
        ),
    )


def agent_record(agent: Agent) -> Element:
    """Return an agent."""
    return _make(
        "agent",
        _pair("agentIdentifier", premis.LOCAL, agent.identifier),
        _make("agentName", agent.name),
        _term("agentType", agent.kind.value, premis.AGENT_TYPES),
        _optional("agentVersion", agent.version),
        _optional("agentNote", agent.note),
    )


def _rights_uri(item: Item, settings: Settings) -> str:
    given = item.rights or settings.rights
    return iiif.rights_uri(given) or given


def rights_id(item: Item) -> str:
    """The identifier of the rights statement."""
    return f"{item.identifier}/rights"


def _rights_link(item: Item, settings: Settings) -> Element | None:
    if not _rights_uri(item, settings):
        return None
    return _pair("linkingRightsStatementIdentifier", premis.LOCAL, rights_id(item))


def rights_record(item: Item, settings: Settings) -> Element | None:
    """Return the rights statement of an item, or None if nobody said anything of its rights."""
    uri = _rights_uri(item, settings)
    if not uri:
        return None
    statement = rights.statement_of(uri)
    if statement is None:
        basis, information = "other", _other_terms(uri)
    elif statement.is_licence:
        basis, information = "license", _licence(uri, statement.label)
    else:
        basis, information = "copyright", _copyright(uri, statement)
    return _make(
        "rights",
        _make(
            "rightsStatement",
            _pair("rightsStatementIdentifier", premis.LOCAL, rights_id(item)),
            _term("rightsBasis", basis, premis.RIGHTS_BASES),
            information,
        ),
    )


def _copyright(uri: str, statement: rights.RightsStatement) -> Element:
    return _make(
        "copyrightInformation",
        _term("copyrightStatus", statement.copyright.value, premis.COPYRIGHT_STATUSES),
        _make("copyrightJurisdiction", UNSPECIFIED_JURISDICTION),
        _make("copyrightNote", statement.label),
        _pair("copyrightDocumentationIdentifier", premis.URI, uri),
    )


def _licence(uri: str, label: str) -> Element:
    return _make(
        "licenseInformation",
        _pair("licenseDocumentationIdentifier", premis.URI, uri),
        _make("licenseTerms", label),
    )


def _other_terms(uri: str) -> Element:
    return _make(
        "otherRightsInformation",
        _pair("otherRightsDocumentationIdentifier", premis.URI, uri),
        _make("otherRightsBasis", "terms of the holder"),
    )
