"""The schema of PREMIS 3.0: what it accepts, what it rejects, and that the published schema says the same."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterable
from typing import Any

import pytest
from lxml import etree

from pipeline.specs import premis
from pipeline.xmldoc import Element
from tests.describe import make_items
from tests.describe.make_items import World
from tests.describe.test_mets import WORLDS, preserved
from tests.schemas.mutations import (
    SCHEMAS,
    XSD,
    mutations,
    official_schema,
    our_schema,
    tally,
    words_of_schema,
)

SCHEMA_FILE = SCHEMAS / "premis.xsd"
OFFICIAL_FILE = "premis.xsd"
NAMESPACE = f"{{{premis.NAMESPACE}}}"
ENTITIES = ("object", "event", "agent", "rights")
"""In the order of the container."""
MUTATIONS = 400
"""Of each sample, when the published schema is there to compare with."""

HEAD = (
    f'xmlns="{premis.NAMESPACE}" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"'
    ' xmlns:own="https://example.org/own"'
)

# ------------------------------------------------------------------------------------------------- samples

ENVIRONMENT = """
<object xsi:type="intellectualEntity" xmlID="environment" version="3.0">
  <objectIdentifier simpleLink="https://id.example.org/viewer">
    <objectIdentifierType authority="own" authorityURI="https://example.org/own"
      valueURI="https://example.org/own/local">local</objectIdentifierType>
    <objectIdentifierValue>viewer</objectIdentifierValue>
  </objectIdentifier>
  <objectIdentifier>
    <objectIdentifierType>URI</objectIdentifierType>
    <objectIdentifierValue>https://id.example.org/viewer</objectIdentifierValue>
  </objectIdentifier>
  <preservationLevel>
    <preservationLevelType>logical preservation</preservationLevelType>
    <preservationLevelValue>full</preservationLevelValue>
    <preservationLevelRole>intention</preservationLevelRole>
    <preservationLevelRationale>Nothing else opens the plans.</preservationLevelRationale>
    <preservationLevelRationale>Its source is lost.</preservationLevelRationale>
    <preservationLevelDateAssigned>2026-03~</preservationLevelDateAssigned>
  </preservationLevel>
  <significantProperties>
    <significantPropertiesType>behaviour</significantPropertiesType>
    <significantPropertiesValue>turns pages</significantPropertiesValue>
    <significantPropertiesExtension><own:measure/><own:measure/></significantPropertiesExtension>
  </significantProperties>
  <significantProperties>
    <significantPropertiesValue>two pages at a time</significantPropertiesValue>
  </significantProperties>
  <significantProperties>
    <significantPropertiesExtension><own:measure>3</own:measure></significantPropertiesExtension>
  </significantProperties>
  <originalName simpleLink="https://id.example.org/name">Page turner</originalName>
  <environmentFunction>
    <environmentFunctionType>software application</environmentFunctionType>
    <environmentFunctionLevel>1</environmentFunctionLevel>
  </environmentFunction>
  <environmentDesignation>
    <environmentName>Page turner</environmentName>
    <environmentVersion>4</environmentVersion>
    <environmentOrigin>Aldermoor Library</environmentOrigin>
    <environmentDesignationNote>Never released.</environmentDesignationNote>
    <environmentDesignationExtension>a plain text</environmentDesignationExtension>
  </environmentDesignation>
  <environmentRegistry>
    <environmentRegistryName>own list</environmentRegistryName>
    <environmentRegistryKey>e-4</environmentRegistryKey>
    <environmentRegistryRole>specification</environmentRegistryRole>
  </environmentRegistry>
  <environmentExtension><own:environment/></environmentExtension>
  <relationship>
    <relationshipType>dependency</relationshipType>
    <relationshipSubType>requires</relationshipSubType>
    <relatedObjectIdentifier RelObjectXmlID="pages" simpleLink="https://id.example.org/pages">
      <relatedObjectIdentifierType>local</relatedObjectIdentifierType>
      <relatedObjectIdentifierValue>pages</relatedObjectIdentifierValue>
      <relatedObjectSequence>1</relatedObjectSequence>
    </relatedObjectIdentifier>
    <relatedEventIdentifier RelEventXmlID="capture" simpleLink="https://id.example.org/capture">
      <relatedEventIdentifierType>UUID</relatedEventIdentifierType>
      <relatedEventIdentifierValue>capture</relatedEventIdentifierValue>
      <relatedEventSequence>0</relatedEventSequence>
    </relatedEventIdentifier>
    <relatedEnvironmentPurpose>render</relatedEnvironmentPurpose>
    <relatedEnvironmentPurpose>print</relatedEnvironmentPurpose>
    <relatedEnvironmentCharacteristic>known to work</relatedEnvironmentCharacteristic>
  </relationship>
  <linkingEventIdentifier LinkEventXmlID="capture" simpleLink="https://id.example.org/capture">
    <linkingEventIdentifierType>UUID</linkingEventIdentifierType>
    <linkingEventIdentifierValue>capture</linkingEventIdentifierValue>
  </linkingEventIdentifier>
  <linkingRightsStatementIdentifier LinkPermissionStatementXmlID="terms" simpleLink="https://example.org/r">
    <linkingRightsStatementIdentifierType>local</linkingRightsStatementIdentifierType>
    <linkingRightsStatementIdentifierValue>terms</linkingRightsStatementIdentifierValue>
  </linkingRightsStatementIdentifier>
</object>"""
IDENTIFIED = """
  <objectIdentifier>
    <objectIdentifierType>local</objectIdentifierType>
    <objectIdentifierValue>pages</objectIdentifierValue>
  </objectIdentifier>"""
REPRESENTATION = f"""
<object xsi:type="representation" xmlID="pages">{IDENTIFIED}
  <preservationLevel><preservationLevelValue>bits</preservationLevelValue></preservationLevel>
  <significantProperties><significantPropertiesType>order</significantPropertiesType></significantProperties>
  <originalName>reel 12</originalName>
  <storage>
    <contentLocation simpleLink="https://store.example.org/12">
      <contentLocationType>shelf</contentLocationType>
      <contentLocationValue>12</contentLocationValue>
    </contentLocation>
    <storageMedium>magnetic tape</storageMedium>
  </storage>
  <storage><storageMedium>hard disk</storageMedium></storage>
</object>"""
FILE = f"""
<object xsi:type="file" version="3.0">{IDENTIFIED}
  <preservationLevel><preservationLevelValue>bits</preservationLevelValue></preservationLevel>
  <significantProperties><significantPropertiesValue>colour</significantPropertiesValue></significantProperties>
  <objectCharacteristics>
    <compositionLevel unknown="yes">0</compositionLevel>
    <fixity>
      <messageDigestAlgorithm>SHA-256</messageDigestAlgorithm>
      <messageDigest>0b0b</messageDigest>
      <messageDigestOriginator>imaging unit</messageDigestOriginator>
    </fixity>
    <size>234319870</size>
    <format>
      <formatDesignation>
        <formatName>image/tiff</formatName>
        <formatVersion>6.0</formatVersion>
      </formatDesignation>
      <formatRegistry simpleLink="https://registry.example.org/353">
        <formatRegistryName>own list</formatRegistryName>
        <formatRegistryKey>353</formatRegistryKey>
        <formatRegistryRole>specification</formatRegistryRole>
      </formatRegistry>
      <formatNote>Tiled.</formatNote>
      <formatNote>Big.</formatNote>
    </format>
    <creatingApplication>
      <creatingApplicationName>Kestrel Capture</creatingApplicationName>
      <creatingApplicationVersion>2</creatingApplicationVersion>
      <dateCreatedByApplication>2026-03-09T10:11:12+01:00</dateCreatedByApplication>
      <creatingApplicationExtension><own:licence/></creatingApplicationExtension>
    </creatingApplication>
    <inhibitors>
      <inhibitorType>password</inhibitorType>
      <inhibitorTarget>all content</inhibitorTarget>
      <inhibitorTarget>print</inhibitorTarget>
      <inhibitorKey>heron</inhibitorKey>
    </inhibitors>
    <objectCharacteristicsExtension><own:pixels/></objectCharacteristicsExtension>
  </objectCharacteristics>
  <originalName>B14_0005.tif</originalName>
  <storage>
    <contentLocation>
      <contentLocationType>path</contentLocationType>
      <contentLocationValue>masters/B14_0005.tif</contentLocationValue>
    </contentLocation>
  </storage>
  <signatureInformation>
    <signature>
      <signatureEncoding>Base64</signatureEncoding>
      <signer>imaging unit</signer>
      <signatureMethod>RSA-SHA256</signatureMethod>
      <signatureValue>AQID</signatureValue>
      <signatureValidationRules>as the unit's handbook says</signatureValidationRules>
      <signatureProperties>2026-03-09</signatureProperties>
      <keyInformation><own:key/></keyInformation>
    </signature>
    <signatureInformationExtension><own:seal/></signatureInformationExtension>
  </signatureInformation>
  <signatureInformation>
    <signatureInformationExtension><own:seal/></signatureInformationExtension>
  </signatureInformation>
</object>"""
BITSTREAM = f"""
<object xsi:type="bitstream">{IDENTIFIED}
  <significantProperties><significantPropertiesType>sound</significantPropertiesType></significantProperties>
  <objectCharacteristics>
    <format><formatDesignation><formatName>PCM</formatName></formatDesignation></format>
    <format>
      <formatRegistry>
        <formatRegistryName>own list</formatRegistryName>
        <formatRegistryKey>7</formatRegistryKey>
      </formatRegistry>
    </format>
    <creatingApplication>
      <creatingApplicationVersion>3</creatingApplicationVersion>
    </creatingApplication>
    <creatingApplication>
      <dateCreatedByApplication>199u</dateCreatedByApplication>
    </creatingApplication>
    <creatingApplication>
      <creatingApplicationExtension><own:maker/></creatingApplicationExtension>
    </creatingApplication>
    <inhibitors><inhibitorType>encryption</inhibitorType></inhibitors>
  </objectCharacteristics>
  <storage><storageMedium>inside the file</storageMedium></storage>
</object>"""
EVENT = """
<event xmlID="capture" version="3.0">
  <eventIdentifier simpleLink="https://id.example.org/capture">
    <eventIdentifierType>UUID</eventIdentifierType>
    <eventIdentifierValue>capture</eventIdentifierValue>
  </eventIdentifier>
  <eventType>capture</eventType>
  <eventDateTime>in the spring of 2026</eventDateTime>
  <eventDetailInformation>
    <eventDetail>photographed from above</eventDetail>
    <eventDetailExtension><own:lamp/></eventDetailExtension>
  </eventDetailInformation>
  <eventDetailInformation/>
  <eventOutcomeInformation>
    <eventOutcome>success</eventOutcome>
    <eventOutcomeDetail>
      <eventOutcomeDetailNote>2 warnings</eventOutcomeDetailNote>
      <eventOutcomeDetailExtension><own:warning/><own:warning/></eventOutcomeDetailExtension>
    </eventOutcomeDetail>
  </eventOutcomeInformation>
  <eventOutcomeInformation>
    <eventOutcomeDetail>
      <eventOutcomeDetailExtension><own:warning/></eventOutcomeDetailExtension>
    </eventOutcomeDetail>
  </eventOutcomeInformation>
  <linkingAgentIdentifier LinkAgentXmlID="unit" simpleLink="https://id.example.org/unit">
    <linkingAgentIdentifierType>local</linkingAgentIdentifierType>
    <linkingAgentIdentifierValue>unit</linkingAgentIdentifierValue>
    <linkingAgentRole>implementer</linkingAgentRole>
    <linkingAgentRole>validator</linkingAgentRole>
  </linkingAgentIdentifier>
  <linkingObjectIdentifier LinkObjectXmlID="pages" simpleLink="https://id.example.org/pages">
    <linkingObjectIdentifierType>local</linkingObjectIdentifierType>
    <linkingObjectIdentifierValue>pages</linkingObjectIdentifierValue>
    <linkingObjectRole>outcome</linkingObjectRole>
  </linkingObjectIdentifier>
</event>"""
BARE_EVENT = """
<event>
  <eventIdentifier>
    <eventIdentifierType>UUID</eventIdentifierType>
    <eventIdentifierValue>look</eventIdentifierValue>
  </eventIdentifier>
  <eventType>validation</eventType>
  <eventDateTime>2026-03-10T09:00:00+01:00</eventDateTime>
</event>"""
AGENT = """
<agent xmlID="unit" version="3.0">
  <agentIdentifier simpleLink="https://id.example.org/unit">
    <agentIdentifierType>local</agentIdentifierType>
    <agentIdentifierValue>unit</agentIdentifierValue>
  </agentIdentifier>
  <agentName>Aldermoor Library, imaging unit</agentName>
  <agentName>the unit</agentName>
  <agentType>organization</agentType>
  <agentVersion>since its move</agentVersion>
  <agentNote>Two people.</agentNote>
  <agentExtension><own:room/></agentExtension>
  <linkingEventIdentifier>
    <linkingEventIdentifierType>UUID</linkingEventIdentifierType>
    <linkingEventIdentifierValue>capture</linkingEventIdentifierValue>
  </linkingEventIdentifier>
  <linkingRightsStatementIdentifier>
    <linkingRightsStatementIdentifierType>local</linkingRightsStatementIdentifierType>
    <linkingRightsStatementIdentifierValue>terms</linkingRightsStatementIdentifierValue>
  </linkingRightsStatementIdentifier>
  <linkingEnvironmentIdentifier LinkEventXmlID="environment" simpleLink="https://id.example.org/viewer">
    <linkingEnvironmentIdentifierType>local</linkingEnvironmentIdentifierType>
    <linkingEnvironmentIdentifierValue>viewer</linkingEnvironmentIdentifierValue>
    <linkingEnvironmentRole>tool</linkingEnvironmentRole>
  </linkingEnvironmentIdentifier>
</agent>"""
RIGHTS = """
<rights xmlID="terms" version="3.0">
  <rightsExtension><own:contract/></rightsExtension>
  <rightsStatement>
    <rightsStatementIdentifier simpleLink="https://id.example.org/terms">
      <rightsStatementIdentifierType>local</rightsStatementIdentifierType>
      <rightsStatementIdentifierValue>terms</rightsStatementIdentifierValue>
    </rightsStatementIdentifier>
    <rightsBasis>copyright</rightsBasis>
    <copyrightInformation>
      <copyrightStatus>copyrighted</copyrightStatus>
      <copyrightJurisdiction authority="own">xx</copyrightJurisdiction>
      <copyrightStatusDeterminationDate>2026</copyrightStatusDeterminationDate>
      <copyrightNote>The photographer's.</copyrightNote>
      <copyrightDocumentationIdentifier>
        <copyrightDocumentationIdentifierType>local</copyrightDocumentationIdentifierType>
        <copyrightDocumentationIdentifierValue>letter 3</copyrightDocumentationIdentifierValue>
        <copyrightDocumentationRole>proof</copyrightDocumentationRole>
      </copyrightDocumentationIdentifier>
      <copyrightApplicableDates><startDate>1990</startDate><endDate>open</endDate></copyrightApplicableDates>
    </copyrightInformation>
    <licenseInformation>
      <licenseDocumentationIdentifier>
        <licenseDocumentationIdentifierType>local</licenseDocumentationIdentifierType>
        <licenseDocumentationIdentifierValue>licence 9</licenseDocumentationIdentifierValue>
        <licenseDocumentationRole>text</licenseDocumentationRole>
      </licenseDocumentationIdentifier>
      <licenseTerms>Name the library.</licenseTerms>
      <licenseNote>By letter.</licenseNote>
      <licenseNote>Renewed.</licenseNote>
      <licenseApplicableDates><startDate>2020</startDate></licenseApplicableDates>
    </licenseInformation>
    <statuteInformation>
      <statuteJurisdiction>xx</statuteJurisdiction>
      <statuteCitation>Deposit Act, 4</statuteCitation>
      <statuteInformationDeterminationDate>2026-02</statuteInformationDeterminationDate>
      <statuteNote>One copy.</statuteNote>
      <statuteDocumentationIdentifier>
        <statuteDocumentationIdentifierType>local</statuteDocumentationIdentifierType>
        <statuteDocumentationIdentifierValue>act</statuteDocumentationIdentifierValue>
        <statuteDocumentationRole>text</statuteDocumentationRole>
      </statuteDocumentationIdentifier>
      <statuteApplicableDates><startDate>1911</startDate></statuteApplicableDates>
    </statuteInformation>
    <statuteInformation>
      <statuteJurisdiction>yy</statuteJurisdiction>
      <statuteCitation>Archives Act</statuteCitation>
    </statuteInformation>
    <otherRightsInformation>
      <otherRightsDocumentationIdentifier>
        <otherRightsDocumentationIdentifierType>local</otherRightsDocumentationIdentifierType>
        <otherRightsDocumentationIdentifierValue>gift deed</otherRightsDocumentationIdentifierValue>
        <otherRightsDocumentationRole>proof</otherRightsDocumentationRole>
      </otherRightsDocumentationIdentifier>
      <otherRightsBasis>deed</otherRightsBasis>
      <otherRightsApplicableDates><startDate>1984</startDate></otherRightsApplicableDates>
      <otherRightsNote>Not before the donor's death.</otherRightsNote>
    </otherRightsInformation>
    <rightsGranted>
      <act>replicate</act>
      <restriction>not for sale</restriction>
      <restriction>with a notice</restriction>
      <termOfGrant><startDate>2020</startDate><endDate>2030</endDate></termOfGrant>
      <termOfRestriction><startDate>2020</startDate></termOfRestriction>
      <rightsGrantedNote>By word of mouth.</rightsGrantedNote>
    </rightsGranted>
    <rightsGranted><act>disseminate</act></rightsGranted>
    <linkingObjectIdentifier>
      <linkingObjectIdentifierType>local</linkingObjectIdentifierType>
      <linkingObjectIdentifierValue>pages</linkingObjectIdentifierValue>
    </linkingObjectIdentifier>
    <linkingAgentIdentifier>
      <linkingAgentIdentifierType>local</linkingAgentIdentifierType>
      <linkingAgentIdentifierValue>unit</linkingAgentIdentifierValue>
    </linkingAgentIdentifier>
  </rightsStatement>
</rights>"""
ALL = f"""<premis {HEAD} version="3.0">
{ENVIRONMENT}{REPRESENTATION}{FILE}{BITSTREAM}{EVENT}{BARE_EVENT}{AGENT}{RIGHTS}
</premis>"""
"""Every element and every attribute of the standard that is in use."""

LEFT_OVER = frozenset(
    [
        "environmentNote",
        "hwOtherInformation",
        "swVersion",
        "swOtherInformation",
        "licenseIdentifierValue",
        "environmentCharacteristic",
        "environmentPurpose",
        "hwName",
        "hwType",
        "swName",
        "swType",
        "swDependency",
        "licenseIdentifierType",
    ]
)
"""Declared in 3.0, used by nothing."""


def alone(entity: str) -> str:
    """An entity as a document of its own."""
    return re.sub(r"<(\w+)", rf"<\1 {HEAD}", entity.lstrip(), count=1)


def statement(inner: str) -> str:
    """A rights statement with a ground of its own."""
    return f"""<rights {HEAD}><rightsStatement>
    <rightsStatementIdentifier>
      <rightsStatementIdentifierType>local</rightsStatementIdentifierType>
      <rightsStatementIdentifierValue>1</rightsStatementIdentifierValue>
    </rightsStatementIdentifier>
    <rightsBasis>license</rightsBasis>{inner}</rightsStatement></rights>"""


def written_by_us(world: World) -> list[Element]:
    """The PREMIS records in the METS document that the project writes for an item."""
    root = preserved(world)
    return [each for name in ENTITIES for each in root.iter(f"{NAMESPACE}{name}")]


def gathered(records: Iterable[Element]) -> Element:
    """Records in one container."""
    root = etree.Element(f"{NAMESPACE}premis", nsmap={premis.PREFIX: premis.NAMESPACE}, version="3.0")
    root.extend(copy.deepcopy(each) for each in records)
    return root


def faults(document: str | bytes) -> tuple[str, ...]:
    """What our schema says against a document."""
    schema = our_schema("premis")
    if schema.validate(etree.fromstring(document)):
        return ()
    log: Iterable[Any] = schema.error_log  # type: ignore[assignment]  # the stubs say it is no sequence
    return tuple(each.message for each in log)


def small(name: str, inner: str) -> str:
    """A document with one element; every element of the standard can stand alone."""
    return f"<{name} {HEAD}>{inner}</{name}>"


def pair(name: str, further: str = "") -> str:
    """An identifier."""
    return f"<{name}><{name}Type>local</{name}Type><{name}Value>1</{name}Value>{further}</{name}>"


def item(name: str, inner: str = "x") -> str:
    """An element."""
    return f"<{name}>{inner}</{name}>"


DESIGNATION = item("formatDesignation", item("formatName"))
REGISTRY = item("formatRegistry", item("formatRegistryName") + item("formatRegistryKey"))
SPAN = item("startDate", "2020")
FOREIGN = "<own:thing/>"
SIGNED = "".join(
    item(name)
    for name in ("signatureEncoding", "signatureMethod", "signatureValue", "signatureValidationRules")
)

ACCEPTED = {
    "all": ALL,
    "environment alone": alone(ENVIRONMENT),
    "representation alone": alone(REPRESENTATION),
    "file alone": alone(FILE),
    "bitstream alone": alone(BITSTREAM),
    "event alone": alone(EVENT),
    "least event": alone(BARE_EVENT),
    "agent alone": alone(AGENT),
    "least agent": small("agent", pair("agentIdentifier")),
    "rights alone": alone(RIGHTS),
    "rights by extension alone": small("rights", item("rightsExtension", FOREIGN)),
    "several grounds": small("rights", item("rightsExtension", FOREIGN) * 2),
    "least statement": statement(""),
    "licence by document": statement(item("licenseInformation", pair("licenseDocumentationIdentifier"))),
    "licence by several documents": statement(
        item("licenseInformation", pair("licenseDocumentationIdentifier") * 3 + item("licenseNote"))
    ),
    "licence by terms": statement(item("licenseInformation", item("licenseTerms"))),
    "licence by notes": statement(item("licenseInformation", item("licenseNote") * 2)),
    "licence by dates": statement(item("licenseInformation", item("licenseApplicableDates", SPAN))),
    "other rights by their name": statement(item("otherRightsInformation", item("otherRightsBasis"))),
    "grants of several acts": statement(item("rightsGranted", item("act")) * 3),
    "format by designation": small("format", DESIGNATION),
    "format by registry": small("format", REGISTRY),
    "format by both": small("format", DESIGNATION + REGISTRY + item("formatNote") * 2),
    "characteristics of several formats": small("objectCharacteristics", item("format", REGISTRY) * 2),
    "storage by medium": small("storage", item("storageMedium")),
    "property by extensions": small(
        "significantProperties", item("significantPropertiesExtension", FOREIGN) * 2
    ),
    "property of a type with an extension": small(
        "significantProperties",
        item("significantPropertiesType") + item("significantPropertiesExtension", FOREIGN),
    ),
    "application by name and date": small(
        "creatingApplication", item("creatingApplicationName") + item("dateCreatedByApplication")
    ),
    "outcome by word alone": small("eventOutcomeInformation", item("eventOutcome")),
    "outcome by details alone": small(
        "eventOutcomeInformation", item("eventOutcomeDetail", item("eventOutcomeDetailNote")) * 2
    ),
    "least signature": small("signature", SIGNED),
    "signature with several properties and keys": small(
        "signature", SIGNED + item("signatureProperties") * 2 + item("keyInformation", FOREIGN) * 2
    ),
    "empty detail of an event": small("eventDetailInformation", ""),
    "size below nothing": small("size", "-1"),
    "any text as a date": small("startDate", "when the bells rang"),
    "blanks around a number": small("size", " 12 "),
    "record of the standard in an extension": small("agentExtension", BARE_EVENT),
    "left over of version 2": small("hwName", "engine"),
}
"""Documents that are right, and what they are for."""


# ------------------------------------------------------------------------------------------------ accepted


@pytest.mark.parametrize("document", ACCEPTED.values(), ids=ACCEPTED)
def test_every_part_of_the_standard_is_accepted(document: str) -> None:
    assert faults(document) == ()


@pytest.mark.parametrize("world", WORLDS.values(), ids=WORLDS)
def test_what_the_project_writes_is_accepted_together_and_record_by_record(world: World) -> None:
    records = written_by_us(world)
    assert {str(each.tag).removeprefix(NAMESPACE) for each in records} == set(ENTITIES)
    assert faults(etree.tostring(gathered(records))) == ()
    for each in records:
        assert faults(etree.tostring(each)) == ()


def test_the_sample_has_every_element_and_every_attribute_in_use() -> None:
    declared = words_of_schema(SCHEMA_FILE)
    sample = etree.fromstring(ALL)
    used = {str(each.tag) for each in sample.iter("*")}
    assert set(declared.elements) - used == {f"{NAMESPACE}{name}" for name in LEFT_OVER}
    assert set(declared.attributes) <= {str(name) for each in sample.iter("*") for name in each.attrib}


def test_every_element_is_global() -> None:
    """PREMIS 3.0: no element is declared inside another, so that any can be the root of a document."""
    schema = etree.parse(str(SCHEMA_FILE)).getroot()
    local = [
        each for each in schema.iter(f"{XSD}element") if each.get("name") and each.getparent() is not schema
    ]
    assert local == []


# ------------------------------------------------------------------------------------------------ rejected


def changed(document: str, before: str, after: str) -> str:
    """A document with something replaced wherever it stands; it must stand there."""
    assert before in document, before
    return document.replace(before, after)


WRONG = {
    "no object": (small("premis", "").replace(">", ' version="3.0">', 1), "premis"),
    "characteristics without a format": (small("objectCharacteristics", item("size", "1")), "format"),
    "an empty format": (small("format", ""), "format"),
    "a registry before a name": (small("format", REGISTRY + DESIGNATION), "formatDesignation"),
    "two names of one format": (small("format", DESIGNATION * 2), "formatDesignation"),
    "a format of notes": (small("format", item("formatNote")), "formatNote"),
    "two places in one storage": (small("storage", pair("contentLocation") * 2), "contentLocation"),
    "an empty storage": (small("storage", ""), "storage"),
    "a medium before a place": (
        small("storage", item("storageMedium") + pair("contentLocation")),
        "contentLocation",
    ),
    "an empty application": (small("creatingApplication", ""), "creatingApplication"),
    "a version before a name": (
        small("creatingApplication", item("creatingApplicationVersion") + item("creatingApplicationName")),
        "creatingApplicationName",
    ),
    "an empty signature": (small("signatureInformation", ""), "signatureInformation"),
    "two signatures in one": (small("signatureInformation", item("signature", SIGNED) * 2), "signature"),
    "a signature without rules": (
        small("signature", SIGNED.replace(item("signatureValidationRules"), "")),
        "signature",
    ),
    "an empty property": (small("significantProperties", ""), "significantProperties"),
    "two values of one property": (
        small("significantProperties", item("significantPropertiesValue") * 2),
        "significantPropertiesValue",
    ),
    "an empty extension": (small("rightsExtension", ""), "rightsExtension"),
    "a text as extension": (small("agentExtension", "x"), "agentExtension"),
    "text beside an extension": (small("keyInformation", "x<own:key/>"), "keyInformation"),
    "a faulty record in an extension": (
        small("agentExtension", BARE_EVENT.replace("eventType>", "eventKind>")),
        "eventKind",
    ),
    "a relationship to nothing": (
        small("relationship", item("relationshipType") + item("relationshipSubType")),
        "relationship",
    ),
    "an empty outcome": (small("eventOutcomeInformation", ""), "eventOutcomeInformation"),
    "an empty detail of an outcome": (small("eventOutcomeDetail", ""), "eventOutcomeDetail"),
    "an agent without an identifier": (small("agent", item("agentName")), "agentName"),
    "empty rights": (small("rights", ""), "rights"),
    "an empty licence": (statement(item("licenseInformation", "")), "licenseInformation"),
    "two licences": (statement(item("licenseInformation", item("licenseTerms")) * 2), "licenseInformation"),
    "a note before the terms": (
        statement(item("licenseInformation", item("licenseNote") + item("licenseTerms"))),
        "licenseTerms",
    ),
    "agents before objects of a statement": (
        statement(pair("linkingAgentIdentifier") + pair("linkingObjectIdentifier")),
        "linkingObjectIdentifier",
    ),
}
"""Small documents with one fault: the document, and a word that its fault must be told with."""

CHANGES: dict[str, list[tuple[str, str, str, str]]] = {
    ALL: [
        ("a container without a version", ' version="3.0">\n\n<object', ">\n\n<object", "version"),
        ("another version", 'xmlID="unit" version="3.0"', 'xmlID="unit" version="2.3"', "version"),
        ("an agent before an event", EVENT + BARE_EVENT + AGENT, AGENT + EVENT, "event"),
        ("an object after the agents", BITSTREAM + EVENT + BARE_EVENT + AGENT, AGENT + BITSTREAM, "object"),
        (
            "a name of version 2",
            "relatedEventIdentifier",
            "relatedEventIdentification",
            "relatedEventIdentification",
        ),
        ("one ID twice", 'xmlID="unit"', 'xmlID="pages"', "pages"),
        ("an ID that is no name", 'xmlID="unit"', 'xmlID="4"', "xmlID"),
        (
            "a reference that is no name",
            'LinkAgentXmlID="unit"',
            'LinkAgentXmlID="the unit"',
            "LinkAgentXmlID",
        ),
        (
            "a link of XLink",
            "<originalName>reel",
            '<originalName xmlns:l="http://www.w3.org/1999/xlink" l:href="x">reel',
            "href",
        ),
        ("a link where none may be", "<fixity>", '<fixity simpleLink="x">', "simpleLink"),
        ("an attribute of another namespace", "<fixity>", '<fixity own:mark="1">', "mark"),
        ("an element of another namespace", "<fixity>", "<own:thing/><fixity>", "thing"),
        ("text between elements", "<fixity>", "x<fixity>", "objectCharacteristics"),
        ("the namespace of version 2", "www.loc.gov/premis/v3", "www.loc.gov/premis/v2", "premis"),
        ("an unknown element", "<agentNote>Two people.</agentNote>", "<agentPlace/>", "agentPlace"),
    ],
    alone(BITSTREAM): [
        ("an object of no kind", ' xsi:type="bitstream"', "", "abstract"),
        ("an object of an unknown kind", '"bitstream"', '"folder"', "folder"),
        ("a kind of another namespace", 'xsi:type="bitstream"', 'xsi:type="xsi:bitstream"', "type"),
        ("an object of the abstract kind", '"bitstream"', '"anyObject"', "abstract"),
        ("an object without an identifier", IDENTIFIED, "", "significantProperties"),
        (
            "an identifier without a value",
            item("objectIdentifierValue", "pages"),
            "",
            "objectIdentifierValue",
        ),
        ("an identifier without a type", item("objectIdentifierType", "local"), "", "objectIdentifierType"),
    ],
    alone(FILE): [
        ("a file that is a bitstream", 'xsi:type="file"', 'xsi:type="bitstream"', "preservationLevel"),
        ("a file that is a representation", '"file"', '"representation"', "objectCharacteristics"),
        ("size before fixity", "<fixity>", "<size>1</size><fixity>", "fixity"),
        ("size with a unit", item("size", "234319870"), item("size", "234 MB"), "size"),
        ("size of a fraction", item("size", "234319870"), item("size", "1.5"), "size"),
        ("size beyond 64 bits", item("size", "234319870"), item("size", "9223372036854775808"), "size"),
        ("size with a vocabulary", "<size>", '<size authority="x">', "authority"),
        ("a level below zero", ">0</compositionLevel>", ">-1</compositionLevel>", "compositionLevel"),
        ("a level in words", ">0</compositionLevel>", ">unknown</compositionLevel>", "compositionLevel"),
        ("a level known", 'unknown="yes"', 'unknown="no"', "unknown"),
        ("a digest without an algorithm", item("messageDigestAlgorithm", "SHA-256"), "", "messageDigest"),
        ("an inhibitor of no type", item("inhibitorType", "password"), "", "inhibitorTarget"),
        ("two keys", item("inhibitorKey", "heron"), item("inhibitorKey") * 2, "inhibitorKey"),
        ("two original names", "<originalName>", "<originalName/><originalName>", "originalName"),
        ("storage before a name", "<originalName>", "<storage/><originalName>", "storage"),
    ],
    alone(REPRESENTATION): [
        ("a representation that is a file", '"representation"', '"file"', "originalName"),
        (
            "a preservation level of no value",
            item("preservationLevelValue", "bits"),
            "",
            "preservationLevelValue",
        ),
    ],
    alone(ENVIRONMENT): [
        ("an environment that is a file", '"intellectualEntity"', '"file"', "originalName"),
        ("an extension of elements in a text", "a plain text", "<own:x/>", "environmentDesignationExtension"),
        (
            "a registry of terms",
            "<environmentRegistryKey>",
            '<environmentRegistryKey authority="x">',
            "authority",
        ),
        (
            "two roles of one level",
            item("preservationLevelRole", "intention"),
            item("preservationLevelRole") * 2,
            "preservationLevelRole",
        ),
        ("a relationship of no subtype", item("relationshipSubType", "requires"), "", "relationshipSubType"),
        (
            "a place below zero",
            ">0</relatedEventSequence>",
            ">-1</relatedEventSequence>",
            "relatedEventSequence",
        ),
        (
            "a place of no number",
            ">1</relatedObjectSequence>",
            ">first</relatedObjectSequence>",
            "relatedObjectSequence",
        ),
        (
            "a role of an object in a relationship",
            "<relatedObjectSequence>1</relatedObjectSequence>",
            item("linkingObjectRole"),
            "linkingObjectRole",
        ),
        (
            "an event before a relationship",
            "<relationship>",
            pair("linkingEventIdentifier") + "<relationship>",
            "relationship",
        ),
    ],
    alone(AGENT): [
        (
            "a role of an event",
            "UUID</linkingEventIdentifierType>",
            "UUID</linkingEventIdentifierType><linkingObjectRole/>",
            "linkingObjectRole",
        ),
        ("a note before the version", "<agentVersion>", "<agentNote/><agentVersion>", "agentVersion"),
        ("two types of agent", "<agentType>", "<agentType/><agentType>", "agentType"),
        (
            "an environment of a vocabulary",
            "<linkingEnvironmentIdentifierType>",
            '<linkingEnvironmentIdentifierType authority="x">',
            "authority",
        ),
        (
            "a reference named after environments",
            'LinkEventXmlID="environment"',
            'LinkEnvironmentXmlID="environment"',
            "LinkEnvironmentXmlID",
        ),
    ],
    alone(EVENT): [
        ("an event without a date", item("eventDateTime", "in the spring of 2026"), "", "eventDateTime"),
        ("an event without a type", item("eventType", "capture"), "", "eventDateTime"),
        (
            "two identifiers of an event",
            "<eventType>",
            pair("eventIdentifier") + "<eventType>",
            "eventIdentifier",
        ),
        (
            "a note outside its detail",
            item("eventOutcome", "success"),
            item("eventOutcomeDetailNote"),
            "eventOutcomeDetailNote",
        ),
    ],
    alone(BARE_EVENT): [
        (
            "a detail outside its container",
            "</eventDateTime>",
            "</eventDateTime><eventDetail/>",
            "eventDetail",
        ),
        (
            "objects before agents",
            "</eventDateTime>",
            "</eventDateTime>" + pair("linkingObjectIdentifier") + pair("linkingAgentIdentifier"),
            "linkingAgentIdentifier",
        ),
    ],
    alone(RIGHTS): [
        ("a statement without a ground", item("rightsBasis", "copyright"), "", "copyrightInformation"),
        (
            "a copyright of no land",
            '<copyrightJurisdiction authority="own">xx</copyrightJurisdiction>',
            "",
            "copyrightJurisdiction",
        ),
        ("a span without a start", "<startDate>1990</startDate><endDate>", "<endDate>", "endDate"),
        (
            "an end before a start",
            "<startDate>1990</startDate><endDate>open</endDate>",
            "<endDate/><startDate/>",
            "endDate",
        ),
        ("a law of no land", item("statuteJurisdiction", "yy"), "", "statuteCitation"),
        (
            "notes before the dates of other rights",
            "<otherRightsApplicableDates>",
            "<otherRightsNote/><otherRightsApplicableDates>",
            "otherRightsApplicableDates",
        ),
        (
            "a law before a licence",
            "<licenseInformation>",
            item("statuteInformation", item("statuteJurisdiction") + item("statuteCitation"))
            + "<licenseInformation>",
            "licenseInformation",
        ),
        ("a grant of nothing", item("act", "disseminate"), "", "rightsGranted"),
        (
            "two terms of one grant",
            "<termOfGrant>",
            item("termOfGrant", SPAN) + "<termOfGrant>",
            "termOfGrant",
        ),
    ],
}
"""Faults put into right documents: the title, what stands there, what shall, and a word of what is told."""

FAULTS = WRONG | {
    title: (changed(document, before, after), named)
    for document, changes in CHANGES.items()
    for title, before, after, named in changes
}


@pytest.mark.parametrize(("document", "named"), FAULTS.values(), ids=FAULTS)
def test_a_single_fault_is_rejected_and_named(document: str, named: str) -> None:
    told = re.sub(r"\{[^}]*\}", "", " ".join(faults(document)))
    assert named in re.findall(r"\w+", told), told


def test_no_two_faults_go_by_one_title() -> None:
    assert len(FAULTS) == len(WRONG) + sum(len(changes) for changes in CHANGES.values())


# ---------------------------------------------------------------------------------- the published schema


def test_the_published_schema_accepts_the_same() -> None:
    official = official_schema(OFFICIAL_FILE)
    samples = ((title, etree.fromstring(document.encode())) for title, document in ACCEPTED.items())
    figures = tally(samples, our_schema("premis"), official)
    assert figures.accepted == len(ACCEPTED), str(figures)


def test_the_published_schema_rejects_the_same() -> None:
    official = official_schema(OFFICIAL_FILE)
    samples = ((title, etree.fromstring(document.encode())) for title, (document, _) in FAULTS.items())
    figures = tally(samples, our_schema("premis"), official)
    assert figures.rejected == len(FAULTS), str(figures)


MUTATED = {
    "all": ALL,
    "environment": alone(ENVIRONMENT),
    "file": alone(FILE),
    "bitstream": alone(BITSTREAM),
    "event": alone(EVENT),
    "agent": alone(AGENT),
    "rights": alone(RIGHTS),
    "written by us": etree.tostring(gathered(written_by_us(make_items.tablet()))).decode(),
}


@pytest.mark.parametrize("document", MUTATED.values(), ids=MUTATED)
def test_the_published_schema_judges_changed_documents_alike(document: str) -> None:
    official = official_schema(OFFICIAL_FILE)
    changes = mutations(etree.fromstring(document), 3, MUTATIONS, words_of_schema(SCHEMA_FILE))
    figures = tally(changes, our_schema("premis"), official)
    assert not figures.differences, str(figures)
    assert figures.accepted > MUTATIONS // 20, str(figures)
    assert figures.rejected > MUTATIONS // 4, str(figures)
