"""PREMIS 3.0: objects and rights of an item, each a record of its own for METS.

Source: PREMIS schema 3.0, data dictionary 3.0; terms in `pipeline.specs.premis`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pipeline.describe import events
from pipeline.model import Derivatives, Event, Fixity, Frame, FrameRecord, Item, MasterFacts, Settings
from pipeline.premisdoc import event_link, identifier, make, object_record, optional, term
from pipeline.specs import iiif, premis, pronom, rights
from pipeline.xmldoc import Element

UNSPECIFIED_JURISDICTION = "unspecified"
"""The schema wants a jurisdiction; a rights URI names none."""


# --------------------------------------------------------------------------------------------- objects


def master_object(
    item: Item, frame: Frame, record: FrameRecord, happened: Iterable[Event], settings: Settings
) -> Element:
    """Return the object of a master; `happened` are its events."""
    software = record.facts.capture.software.strip()
    application = make(
        "creatingApplication",
        make("creatingApplicationName", software),
        optional("dateCreatedByApplication", record.facts.capture.changed_at),
    )
    return object_record(
        premis.FILE,
        identifier("objectIdentifier", premis.LOCAL, events.master_id(item, frame)),
        make(
            "objectCharacteristics",
            make("compositionLevel", "0"),
            *map(_fixity, record.master.fixity),
            make("size", str(record.master.size_bytes)),
            _format(record.facts),
            application if software else None,
        ),
        make("originalName", str(frame.file)),
        _relationship("structural", "is included in", events.masters_id(item)),
        *map(event_link, happened),
        _rights_link(item, settings),
    )


def access_object(
    item: Item, frame: Frame, made: Derivatives, happened: Sequence[Event], settings: Settings
) -> Element:
    """Return the object of an access image, derived from its master by the event that made it."""
    maker = next((event for event in happened if event.kind == "creation"), None)
    return object_record(
        premis.FILE,
        identifier("objectIdentifier", premis.LOCAL, events.access_id(item, frame.identifier)),
        make(
            "objectCharacteristics",
            make("compositionLevel", "0"),
            *map(_fixity, made.access.fixity),
            make("size", str(made.access.size_bytes)),
            make("format", make("formatDesignation", make("formatName", made.access.media_type))),
        ),
        _relationship("structural", "is included in", events.publication_id(item)),
        _relationship("derivation", "has source", events.master_id(item, frame), event=maker),
        *map(event_link, happened),
        _rights_link(item, settings),
    )


def item_objects(item: Item, happened: dict[str, list[Event]]) -> tuple[Element, ...]:
    """Return the item itself and its two representations: the masters, and what readers see."""
    entity = object_record(
        premis.INTELLECTUAL_ENTITY,
        identifier("objectIdentifier", premis.LOCAL, item.identifier),
        identifier("objectIdentifier", "shelfmark", item.shelfmark),
        *(identifier("objectIdentifier", each.scheme, each.value) for each in item.identifiers),
        *map(event_link, happened.get(item.identifier, ())),
    )
    representations = (
        object_record(
            premis.REPRESENTATION,
            identifier("objectIdentifier", premis.LOCAL, name),
            _relationship("structural", "represents", item.identifier),
            *map(event_link, happened.get(name, ())),
        )
        for name in (events.masters_id(item), events.publication_id(item))
    )
    return (entity, *representations)


def _fixity(fixity: Fixity) -> Element:
    name = premis.DIGEST_ALGORITHMS[fixity.algorithm]
    return make(
        "fixity",
        term("messageDigestAlgorithm", name, premis.HASH_FUNCTIONS),
        make("messageDigest", fixity.hex_digest),
    )


def _format(facts: MasterFacts) -> Element:
    key = pronom.KEYS.get(facts.format)
    designation = make(
        "formatDesignation",
        make("formatName", facts.media_type),
        optional("formatVersion", pronom.VERSIONS.get(facts.format, "")),
    )
    registry = make(
        "formatRegistry",
        make("formatRegistryName", pronom.REGISTRY),
        make("formatRegistryKey", key or ""),
    )
    note = make("formatNote", "BigTIFF") if facts.format.value == "BigTIFF" else None
    return make("format", designation, registry if key else None, note)


def _relationship(kind: str, subtype: str, related: str, *, event: Event | None = None) -> Element:
    return make(
        "relationship",
        term("relationshipType", kind, premis.RELATIONSHIPS),
        term("relationshipSubType", subtype, premis.RELATIONSHIP_SUBTYPES),
        identifier("relatedObjectIdentifier", premis.LOCAL, related),
        identifier("relatedEventIdentifier", premis.UUID, event.identifier) if event else None,
    )


# --------------------------------------------------------------------------------------------- rights


def _rights_uri(item: Item, settings: Settings) -> str:
    given = item.rights or settings.rights
    return iiif.rights_uri(given) or given


def rights_id(item: Item) -> str:
    """The identifier of the rights statement."""
    return f"{item.identifier}/rights"


def _rights_link(item: Item, settings: Settings) -> Element | None:
    if not _rights_uri(item, settings):
        return None
    return identifier("linkingRightsStatementIdentifier", premis.LOCAL, rights_id(item))


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
    return make(
        "rights",
        make(
            "rightsStatement",
            identifier("rightsStatementIdentifier", premis.LOCAL, rights_id(item)),
            term("rightsBasis", basis, premis.RIGHTS_BASES),
            information,
        ),
    )


def _copyright(uri: str, statement: rights.RightsStatement) -> Element:
    return make(
        "copyrightInformation",
        term("copyrightStatus", statement.copyright.value, premis.COPYRIGHT_STATUSES),
        make("copyrightJurisdiction", UNSPECIFIED_JURISDICTION),
        make("copyrightNote", statement.label),
        identifier("copyrightDocumentationIdentifier", premis.URI, uri),
    )


def _licence(uri: str, label: str) -> Element:
    return make(
        "licenseInformation",
        identifier("licenseDocumentationIdentifier", premis.URI, uri),
        make("licenseTerms", label),
    )


def _other_terms(uri: str) -> Element:
    return make(
        "otherRightsInformation",
        identifier("otherRightsDocumentationIdentifier", premis.URI, uri),
        make("otherRightsBasis", "terms of the holder"),
    )
