"""PREMIS records: children in the schema's order, links that hold, rights by what their URI means."""

from __future__ import annotations

import dataclasses

import pytest

from pipeline.describe import events, premis
from pipeline.specs import premis as spec
from pipeline.xmldoc import Element
from tests.describe import make_items
from tests.describe.test_mets import PREMIS, local_name, log_of, preserved

FILE_ORDER = [
    "objectIdentifier",
    "preservationLevel",
    "significantProperties",
    "objectCharacteristics",
    "originalName",
    "storage",
    "signatureInformation",
    "relationship",
    "linkingEventIdentifier",
    "linkingRightsStatementIdentifier",
]
"""PREMIS 3.0 schema, type file."""
CHARACTERISTICS_ORDER = [
    "compositionLevel",
    "fixity",
    "size",
    "format",
    "creatingApplication",
    "inhibitors",
    "objectCharacteristicsExtension",
]
EVENT_ORDER = [
    "eventIdentifier",
    "eventType",
    "eventDateTime",
    "eventDetailInformation",
    "eventOutcomeInformation",
    "linkingAgentIdentifier",
    "linkingObjectIdentifier",
]
AGENT_ORDER = ["agentIdentifier", "agentName", "agentType", "agentVersion", "agentNote"]
XSI_TYPE = "{http://www.w3.org/2001/XMLSchema-instance}type"


def names(element: Element) -> list[str]:
    return [local_name(child) for child in element]


def assert_order(element: Element, order: list[str]) -> None:
    found = [order.index(name) for name in names(element)]
    assert found == sorted(found)


@pytest.fixture(scope="module")
def root() -> Element:
    return preserved(make_items.codex())


def test_children_stand_in_the_order_of_the_schema(root: Element) -> None:
    kinds = set()
    for each in root.iter(f"{PREMIS}object"):
        kinds.add(each.get(XSI_TYPE))
        assert_order(each, FILE_ORDER)
        for characteristics in each.iter(f"{PREMIS}objectCharacteristics"):
            assert_order(characteristics, CHARACTERISTICS_ORDER)
    assert kinds == {"premis:file", "premis:representation", "premis:intellectualEntity"}
    for event in root.iter(f"{PREMIS}event"):
        assert_order(event, EVENT_ORDER)
    for agent in root.iter(f"{PREMIS}agent"):
        assert_order(agent, AGENT_ORDER)


def test_every_linked_object_event_agent_and_statement_is_there(root: Element) -> None:
    def values(path: str) -> set[str]:
        return {str(element.text) for element in root.iter(f"{PREMIS}{path}")}

    assert values("linkingObjectIdentifierValue") <= values("objectIdentifierValue")
    assert values("relatedObjectIdentifierValue") <= values("objectIdentifierValue")
    assert values("linkingEventIdentifierValue") == values("eventIdentifierValue")
    assert values("relatedEventIdentifierValue") <= values("eventIdentifierValue")
    assert values("linkingAgentIdentifierValue") == values("agentIdentifierValue")
    assert values("linkingRightsStatementIdentifierValue") == values("rightsStatementIdentifierValue")


def test_events_and_objects_link_to_each_other_both_ways(root: Element) -> None:
    from_events = {
        (str(event.findtext(f".//{PREMIS}eventIdentifierValue")), str(value.text))
        for event in root.iter(f"{PREMIS}event")
        for value in event.iter(f"{PREMIS}linkingObjectIdentifierValue")
    }
    from_objects = {
        (str(link.text), str(each.findtext(f".//{PREMIS}objectIdentifierValue")))
        for each in root.iter(f"{PREMIS}object")
        for link in each.iter(f"{PREMIS}linkingEventIdentifierValue")
    }
    assert from_events == from_objects


def test_an_access_image_is_derived_from_its_master_by_the_event_that_made_it() -> None:
    world = make_items.tablet()
    log = log_of(world)
    frame = world.item.frames[0]
    happened = log.by_object()[events.access_id(world.item, frame.identifier)]
    made = premis.access_object(
        world.item, frame, world.derivatives[frame.identifier], happened, world.settings
    )
    relationships = [
        (
            each.findtext(f"{PREMIS}relationshipSubType"),
            each.findtext(f".//{PREMIS}relatedObjectIdentifierValue"),
            each.findtext(f".//{PREMIS}relatedEventIdentifierValue"),
        )
        for each in made.iter(f"{PREMIS}relationship")
    ]
    assert relationships == [
        ("is included in", "alm-014/access", None),
        ("has source", f"alm-014/masters/{frame.file}", happened[0].identifier),
    ]


def test_terms_say_which_vocabulary_they_are_from() -> None:
    """Codes as the preservation vocabularies publish them: capture is cap, success is suc."""
    assert spec.EVENT_TYPES.attributes("capture") == {
        "authority": "eventType",
        "authorityURI": "http://id.loc.gov/vocabulary/preservation/eventType",
        "valueURI": "http://id.loc.gov/vocabulary/preservation/eventType/cap",
    }
    assert spec.OUTCOMES.attributes("success")["valueURI"].endswith("/eventOutcome/suc")


@pytest.mark.parametrize(
    ("uri", "basis", "child"),
    [
        ("http://creativecommons.org/publicdomain/mark/1.0/", "copyright", "copyrightInformation"),
        ("http://creativecommons.org/licenses/by/4.0/", "license", "licenseInformation"),
        ("http://rightsstatements.org/vocab/InC/1.0/", "copyright", "copyrightInformation"),
        ("https://library.example.org/terms", "other", "otherRightsInformation"),
    ],
)
def test_the_basis_of_rights_follows_from_the_uri(uri: str, basis: str, child: str) -> None:
    world = make_items.tablet()
    item = dataclasses.replace(world.item, rights=uri)
    record = premis.rights_record(item, world.settings)
    assert record is not None
    (statement,) = record
    assert names(statement) == ["rightsStatementIdentifier", "rightsBasis", child]
    assert statement.findtext(f"{PREMIS}rightsBasis") == basis
    assert uri in {str(each.text) for each in statement.iter()}


def test_nothing_is_said_of_rights_that_nobody_stated() -> None:
    world = make_items.tablet()
    assert premis.rights_record(world.item, dataclasses.replace(world.settings, rights="")) is None
