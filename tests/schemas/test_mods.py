"""The schema of MODS 3.8: what it accepts, what it rejects, and that the published schema says the same."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from typing import Any

import pytest
from lxml import etree

from pipeline import xmldoc
from pipeline.describe.mods import mods_document
from pipeline.specs import mods, xlink
from tests.describe import make_records as the
from tests.describe.make_items import World
from tests.describe.test_mets import WORLDS
from tests.schemas.mutations import (
    SCHEMAS,
    XSD,
    mutations,
    official_schema,
    our_schema,
    tally,
    words_of_schema,
)

SCHEMA_FILE = SCHEMAS / "mods.xsd"
OFFICIAL_FILE = "mods-3-8.xsd"
NAMESPACE = f"{{{mods.NAMESPACE}}}"
TODAY = dt.date(2026, 3, 10)
MUTATIONS = 400
"""Of each sample, when the published schema is there to compare with."""

HEAD = f'xmlns="{mods.NAMESPACE}" xmlns:xlink="{xlink.NAMESPACE}" xmlns:own="https://example.org/own"'

# ------------------------------------------------------------------------------------------------- samples

TONGUE = 'lang="lat" xml:lang="la" script="Latn" transliteration="own"'
LIST = 'authority="own" authorityURI="https://example.org/own" valueURI="https://example.org/own/1"'
LINK = (
    'xlink:type="simple" xlink:href="https://example.org/a" xlink:role="r" xlink:arcrole="a" xlink:title="t"'
    ' xlink:show="new" xlink:actuate="onRequest"'
)
OTHER_KIND = 'otherType="running" otherTypeAuth="own" otherTypeAuthURI="own/list" otherTypeURI="own/list/1"'
DATED = 'encoding="w3cdtf" qualifier="approximate" point="start" keyDate="yes" calendar="julian"'

TITLES = f"""
<titleInfo type="alternative" {OTHER_KIND} nameTitleGroup="1" supplied="yes" usage="primary" altRepGroup="t"
    altFormat="https://example.org/t" contentType="text/plain" {LIST} {LINK} {TONGUE} displayLabel="Title"
    ID="title" IDREF="name">
  <nonSort xml:space="preserve" {TONGUE}>The </nonSort>
  <title {TONGUE}>Herbal</title>
  <subTitle lang="lat">and calendar</subTitle>
  <partNumber>2</partNumber>
  <partName>Roots</partName>
  <title>Herbarium</title>
</titleInfo>
<titleInfo type="abbreviated"/>
<titleInfo type="translated"><title/></titleInfo>
<titleInfo type="uniform"><partName>Roots</partName><title>Herbal</title></titleInfo>"""
NAMES = f"""
<name type="personal" nameTitleGroup="1" supplied="yes" usage="primary" altRepGroup="n" {LIST} {LINK} {TONGUE}
    displayLabel="Scribe" ID="name" IDREF="title">
  <namePart type="given" {TONGUE}>Odo</namePart>
  <namePart type="family">of the Moor</namePart>
  <namePart type="termsOfAddress">brother</namePart>
  <namePart type="date">fl. 1380</namePart>
  <namePart/>
  <displayForm lang="eng">Brother Odo</displayForm>
  <affiliation {LIST} lang="eng">Aldermoor Abbey</affiliation>
  <role>
    <roleTerm type="code" {LIST}>scr</roleTerm>
    <roleTerm type="text" lang="eng">scribe</roleTerm>
  </role>
  <description>one of two hands</description>
  <nameIdentifier type="local" typeURI="https://example.org/names" invalid="yes" displayLabel="No."
    altRepGroup="i" ID="i1" IDREF="name" lang="eng">7</nameIdentifier>
  <alternativeName altType="nickname" {LINK} {TONGUE} displayLabel="Also">
    <namePart>Odo the Lame</namePart>
    <displayForm>Odo</displayForm>
    <affiliation/>
    <role><roleTerm>scribe</roleTerm></role>
    <description>in the margin</description>
    <nameIdentifier>8</nameIdentifier>
  </alternativeName>
</name>
<name type="family"><etal>and others</etal><affiliation/><role><roleTerm/></role><description/></name>
<name type="corporate"/>
<name type="conference"><displayForm/><namePart/></name>"""
KINDS = f"""
<typeOfResource collection="yes" manuscript="yes" usage="primary" displayLabel="Kind" altRepGroup="k" ID="k"
    IDREF="k" {LIST} {TONGUE}>text</typeOfResource>
<typeOfResource>anything since 3.7</typeOfResource>
<genre type="form" displayLabel="Genre" altRepGroup="g" usage="primary" ID="g" IDREF="k" {LIST} {TONGUE}
    >herbal</genre>
<targetAudience displayLabel="For" altRepGroup="a" ID="a" IDREF="k" {LIST} {TONGUE}>adult</targetAudience>"""
ORIGIN = f"""
<originInfo eventType="production" eventTypeURI="https://example.org/made" {TONGUE} displayLabel="Made"
    altRepGroup="o" ID="o" IDREF="k">
  <place supplied="yes">
    <placeTerm type="text" {LIST} lang="eng">Aldermoor</placeTerm>
    <placeTerm type="code">xx</placeTerm>
    <placeIdentifier>https://example.org/aldermoor</placeIdentifier>
    <cartographics><coordinates>51 N</coordinates></cartographics>
  </place>
  <publisher supplied="yes" {LIST} {TONGUE}>the abbey</publisher>
  <dateIssued {DATED} {TONGUE}>1380</dateIssued>
  <dateCreated encoding="edtf" qualifier="inferred" point="end">1395~</dateCreated>
  <dateCaptured encoding="iso8601" qualifier="questionable">20260309</dateCaptured>
  <dateValid encoding="marc">13uu</dateValid>
  <dateModified encoding="temper">1380</dateModified>
  <copyrightDate>when the bells rang</copyrightDate>
  <dateOther type="bound" {DATED}>1500</dateOther>
  <displayDate>c. 1380</displayDate>
  <edition supplied="yes" lang="eng">fair copy</edition>
  <issuance>monographic</issuance>
  <issuance>single unit</issuance>
  <issuance>multipart monograph</issuance>
  <issuance>continuing</issuance>
  <issuance>serial</issuance>
  <issuance>integrating resource</issuance>
  <frequency {LIST} lang="eng">once</frequency>
  <agent type="personal" usage="primary"><namePart>Odo</namePart></agent>
  <place><placeTerm/></place>
</originInfo>"""
LANGUAGES = f"""
<language objectPart="gloss" usage="primary" {TONGUE} displayLabel="In" altRepGroup="l" ID="l" IDREF="k">
  <languageTerm type="code" {LIST}>lat</languageTerm>
  <languageTerm type="text" lang="eng">Latin</languageTerm>
  <scriptTerm type="code" {LIST}>Latn</scriptTerm>
  <scriptTerm type="text">Latin</scriptTerm>
</language>"""
PHYSICAL = f"""
<physicalDescription {TONGUE} displayLabel="Body" altRepGroup="p" ID="p" IDREF="k">
  <form type="material" {LIST} lang="eng">parchment</form>
  <reformattingQuality>access</reformattingQuality>
  <reformattingQuality>preservation</reformattingQuality>
  <reformattingQuality>replacement</reformattingQuality>
  <internetMediaType lang="eng">image/tiff</internetMediaType>
  <extent unit="mm" supplied="yes" lang="eng">214 × 152</extent>
  <digitalOrigin>born digital</digitalOrigin>
  <digitalOrigin>reformatted digital</digitalOrigin>
  <digitalOrigin>digitized microfilm</digitalOrigin>
  <digitalOrigin>digitized other analog</digitalOrigin>
  <note type="binding" typeURI="https://example.org/binding" displayLabel="Binding" {LINK} ID="b" IDREF="k"
    lang="eng">rebacked</note>
  <form/>
</physicalDescription>"""
TEXTS = f"""
<abstract type="summary" shareable="no" displayLabel="What" altRepGroup="x" altFormat="https://example.org/x"
    contentType="text/html" {LINK} ID="x" IDREF="k" {TONGUE}>Herbs by month.</abstract>
<tableOfContents type="by hand" shareable="no" displayLabel="Has" altRepGroup="y" altFormat="y"
    contentType="y" {LINK} ID="y" IDREF="k" {TONGUE}>1r roots; 20r leaves</tableOfContents>
<note type="ownership" typeURI="https://example.org/ownership" displayLabel="Owner" altRepGroup="z" {LINK}
    ID="z" IDREF="k" {TONGUE}>Bought in 1712.</note>"""
SUBJECTS = f"""
<subject {LIST} {TONGUE} {LINK} displayLabel="About" altRepGroup="s" ID="s" IDREF="k" usage="primary">
  <topic {LIST} lang="eng">herbs</topic>
  <geographic {LIST} lang="eng">the moor</geographic>
  <temporal {DATED} {LIST} {TONGUE}>1380</temporal>
  <titleInfo type="uniform" {OTHER_KIND} ID="st" IDREF="k" {LIST} {LINK} {TONGUE} displayLabel="Work">
    <nonSort>The</nonSort><title>Herbal</title><subTitle/><partNumber/><partName/>
  </titleInfo>
  <name type="personal" ID="sn" IDREF="k" {LIST} {LINK} {TONGUE} displayLabel="Person">
    <namePart>Odo</namePart><displayForm/><affiliation/><role><roleTerm/></role><description/>
    <nameIdentifier/>
  </name>
  <geographicCode {LIST} lang="eng">xx</geographicCode>
  <hierarchicalGeographic {LIST}>
    <extraTerrestrialArea level="0" period="now" {LIST} {TONGUE}>the moon</extraTerrestrialArea>
    <continent level="1">x</continent>
    <country period="1380">x</country>
    <province lang="eng">x</province>
    <region regionType="moor" level="2">x</region>
    <state stateType="duchy" period="1380">x</state>
    <territory {LIST}>x</territory>
    <county lang="eng">x</county>
    <city>x</city>
    <citySection citySectionType="ward" level="6">x</citySection>
    <island>x</island>
    <area areaType="parish" level="7">x</area>
    <city/>
  </hierarchicalGeographic>
  <cartographics {LIST}>
    <scale lang="eng">1:2000</scale>
    <projection lang="eng">none</projection>
    <coordinates lang="eng">51 N</coordinates>
    <coordinates>52 N</coordinates>
    <cartographicExtension type="own" displayLabel="Map" ID="m" IDREF="k"
      >text <own:map/> text</cartographicExtension>
  </cartographics>
  <occupation {LIST} lang="eng">gardener</occupation>
  <genre>herbal</genre>
  <cartographics/>
</subject>
<subject/>
<classification edition="2" generator="hand" displayLabel="Class" altRepGroup="c" usage="primary" ID="c"
    IDREF="k" {LIST} {TONGUE}>580</classification>"""
RELATED = f"""
<relatedItem type="host" {OTHER_KIND} displayLabel="In" {LINK} ID="r" IDREF="k">
  <titleInfo><title>Papers of the abbey</title></titleInfo>
  <relatedItem type="host"><identifier>1</identifier></relatedItem>
  <part/>
  <recordInfo><recordOrigin/></recordInfo>
</relatedItem>
<relatedItem/>"""
IDENTIFIERS = f"""
<identifier type="shelfmark" typeURI="https://example.org/shelfmark" invalid="yes" displayLabel="Mark"
    altRepGroup="d" ID="d" IDREF="k" {TONGUE}>MS B 14</identifier>"""
LOCATION = f"""
<location {TONGUE} displayLabel="Kept" altRepGroup="v" ID="v" IDREF="k">
  <physicalLocation type="holder" displayLabel="Holder" {LINK} {LIST} {TONGUE}
    >Aldermoor Library</physicalLocation>
  <physicalLocation>strong room</physicalLocation>
  <shelfLocator lang="eng">MS B 14</shelfLocator>
  <shelfLocator>old: C 3</shelfLocator>
  <url dateLastAccessed="2026" displayLabel="Page" note="slow" access="object in context" usage="primary"
    >https://example.org/b14</url>
  <url access="preview" usage="primary display">https://example.org/b14.jpg</url>
  <url access="raw object">https://example.org/b14.tif</url>
  <holdingSimple>
    <copyInformation>
      <form type="binding">bound</form>
      <subLocation lang="eng">annex</subLocation>
      <shelfLocator>B 14</shelfLocator>
      <electronicLocator lang="eng">https://example.org/b14</electronicLocator>
      <note type="state" displayLabel="State" {LINK} ID="cn" IDREF="k" lang="eng">worn</note>
      <enumerationAndChronology unitType="1" lang="eng">vol. 1</enumerationAndChronology>
      <enumerationAndChronology unitType="2">suppl.</enumerationAndChronology>
      <enumerationAndChronology unitType="3">index</enumerationAndChronology>
      <itemIdentifier type="barcode" lang="eng">70042</itemIdentifier>
    </copyInformation>
    <copyInformation/>
  </holdingSimple>
  <holdingExternal type="own" displayLabel="Holdings" ID="h" IDREF="k"><own:holding/></holdingExternal>
</location>
<location/>"""
RIGHTS = f"""
<accessCondition type="use and reproduction" {TONGUE} {LIST} {LINK} altRepGroup="w"
    altFormat="https://example.org/w" contentType="text/xml" displayLabel="Rights" ID="w" IDREF="k"
    >free <own:terms>of <own:b/></own:terms> charge</accessCondition>
<accessCondition/>
<extension type="own" displayLabel="More" ID="e" IDREF="k">text <own:more/><own:more/></extension>"""
PART = f"""
<part type="volume" order="-2" {TONGUE} displayLabel="Part" altRepGroup="u" ID="u" IDREF="k">
  <detail type="volume" level="1">
    <number lang="eng">2</number><caption lang="eng">vol.</caption><title>Roots</title><number/>
  </detail>
  <extent unit="folio"><start lang="eng">1r</start><end lang="eng">3v</end>
    <total>6</total><list>1r-3v</list></extent>
  <extent/>
  <date {DATED} lang="eng">1380</date>
  <text type="loose" displayLabel="Slip" {LINK} lang="eng">slip after f. 3</text>
</part>
<part/>"""
RECORD = f"""
<recordInfo usage="primary" {TONGUE} displayLabel="Record" altRepGroup="q" ID="q" IDREF="k">
  <recordContentSource {LIST} lang="eng">Aldermoor Library</recordContentSource>
  <recordCreationDate encoding="w3cdtf">2026-03-10</recordCreationDate>
  <recordChangeDate {DATED}>2026-03-11</recordChangeDate>
  <recordIdentifier source="own" lang="eng">msb-014</recordIdentifier>
  <languageOfCataloging objectPart="notes" usage="primary">
    <languageTerm>eng</languageTerm>
  </languageOfCataloging>
  <recordOrigin lang="eng">by hand</recordOrigin>
  <descriptionStandard {LIST} lang="eng">own rules</descriptionStandard>
  <recordInfoNote type="draft" typeURI="https://example.org/draft" displayLabel="Note" altRepGroup="qn" {LINK}
    ID="qn" IDREF="k" lang="eng">not yet read</recordInfoNote>
  <recordOrigin/>
</recordInfo>"""
STATEMENTS = {
    "titles": TITLES,
    "names": NAMES,
    "kinds": KINDS,
    "origin": ORIGIN,
    "languages": LANGUAGES,
    "physical description": PHYSICAL,
    "texts": TEXTS,
    "subjects": SUBJECTS,
    "related items": RELATED,
    "identifiers": IDENTIFIERS,
    "location": LOCATION,
    "rights": RIGHTS,
    "part": PART,
    "record": RECORD,
}


def record(inner: str, attributes: str = 'version="3.8"') -> str:
    """A record."""
    return f"<mods {HEAD} {attributes}>{inner}</mods>"


ALL = record("".join(STATEMENTS.values()), 'version="3.8" ID="mods" IDREF="title"')
"""Every element and every attribute of the standard."""
COLLECTION = f"<modsCollection {HEAD}>{record(TITLES)}{record(PART)}</modsCollection>"


def small(name: str, inner: str = "", attributes: str = "") -> str:
    """A document with one global element, which may stand alone."""
    return f"<{name} {HEAD} {attributes}>{inner}</{name}>"


def item(name: str, inner: str = "x") -> str:
    """An element."""
    return f"<{name}>{inner}</{name}>"


def written_by_us(world: World, *, for_masters: bool = False) -> bytes:
    """The record that the project writes of an item."""
    masters = list(world.records.values()) if for_masters else []
    made = mods_document(world.item, world.settings, recorded_on=TODAY, masters=masters)
    return xmldoc.to_bytes(made)


def richest_of_ours() -> bytes:
    """The record of the item that says all that an item can say."""
    masters = [the.record()]
    return xmldoc.to_bytes(mods_document(the.ITEM, the.SETTINGS, recorded_on=TODAY, masters=masters))


def faults(document: str | bytes) -> tuple[str, ...]:
    """What our schema says against a document."""
    schema = our_schema("mods")
    if schema.validate(etree.fromstring(document)):
        return ()
    log: Iterable[Any] = schema.error_log  # type: ignore[assignment]  # the stubs say it is no sequence
    return tuple(each.message for each in log)


ACCEPTED = {
    "all": ALL,
    "collection": COLLECTION,
    **{name: record(inner) for name, inner in STATEMENTS.items()},
    "no version": record("<note/>", ""),
    "record inside a wrapper of its own version": record("<note/>", 'version="3.0"'),
    "statements in reverse order": record("".join(reversed(list(STATEMENTS.values())))),
    "term alone": small("roleTerm", "scr", 'type="code"'),
    "old spelling of a date": small("dateIssued", "[138-?]", 'encoding="marc"'),
    "any text as a date of its encoding": small("dateIssued", "yesterday", 'encoding="w3cdtf"'),
    "identifier of a name without its type": small("nameIdentifier", "7"),
    "name of roles alone": small("name", item("role", "<roleTerm/>") * 2),
    "others alone": small("name", "<etal/>"),
    "agent of others": small("agent", "<etal/><description/><description/>"),
    "empty place of coordinates": small("place", "<cartographics/>"),
    "several parts of a place": small("hierarchicalGeographic", "<city/><country/><city/>"),
    "place of a related part": small("relatedItem", PART, 'type="constituent"'),
    "address alone": small("location", "<url/>"),
    "elsewhere alone": small("location", "<holdingExternal/>"),
    "total alone": record(item("part", item("extent", item("total", "6")))),
    "blanks around a number": record(item("part", item("extent", item("total", " 6 ")))),
    "MODS in an extension": small("extension", item("note")),
    "unknown elements in an extension": small("extension", "<own:a><own:b c='d'/></own:a>"),
    "no language": small("title", "x", 'xml:lang=""'),
    "blanks in a flag of another kind": small("title", "x", 'lang=" any text "'),
    "blanks collapsed in a list of numbers": small("part", "", 'order=" 3 "'),
    "text in a language that does not exist": small("note", "x", 'xml:lang="xx-own"'),
}
"""Documents that are right, and what they are for."""


# ------------------------------------------------------------------------------------------------ accepted


@pytest.mark.parametrize("document", ACCEPTED.values(), ids=ACCEPTED)
def test_every_part_of_the_standard_is_accepted(document: str) -> None:
    assert faults(document) == ()


@pytest.mark.parametrize("for_masters", [True, False])
@pytest.mark.parametrize("world", WORLDS.values(), ids=WORLDS)
def test_what_the_project_writes_is_accepted(world: World, for_masters: bool) -> None:
    assert faults(written_by_us(world, for_masters=for_masters)) == ()


def test_the_record_that_says_all_is_accepted() -> None:
    assert faults(richest_of_ours()) == ()


def test_the_sample_has_every_element_attribute_and_listed_value() -> None:
    declared = words_of_schema(SCHEMA_FILE)
    elements = [*etree.fromstring(ALL).iter("*"), *etree.fromstring(COLLECTION).iter("*")]
    assert set(declared.elements) == {
        str(each.tag) for each in elements if str(each.tag).startswith(NAMESPACE)
    }
    assert set(declared.attributes) <= {str(name) for each in elements for name in each.attrib}
    said = {str(value) for each in elements for value in each.attrib.values()} | {
        each.text for each in elements
    }
    unsaid = {"3.0", "3.1", "3.2", "3.3", "3.4", "3.5", "3.6", "3.7"}
    unsaid |= {"preceding", "succeeding", "original", "constituent", "series"}
    unsaid |= {"otherVersion", "otherFormat", "isReferencedBy", "references", "reviewOf"}
    assert set(declared.values) - said == unsaid


@pytest.mark.parametrize("version", [f"3.{minor}" for minor in range(9)])
def test_records_of_every_version_are_accepted(version: str) -> None:
    assert faults(record("<note/>", f'version="{version}"')) == ()


RELATIONS = (
    "preceding succeeding original host constituent series otherVersion otherFormat isReferencedBy "
    "references reviewOf"
)


@pytest.mark.parametrize("relation", RELATIONS.split())
def test_every_kind_of_related_item_is_accepted(relation: str) -> None:
    assert faults(small("relatedItem", "", f'type="{relation}"')) == ()


def test_only_elements_with_several_meanings_are_local() -> None:
    """MODS 3.8: titleInfo and name of a subject, note of a description and of a copy, extent of a part."""
    schema = etree.parse(str(SCHEMA_FILE)).getroot()
    names = [
        each.get("name")
        for each in schema.iter(f"{XSD}element")
        if each.get("name") and each.getparent() != schema
    ]
    assert sorted(str(name) for name in names) == ["extent", "name", "note", "note", "titleInfo"]


# ------------------------------------------------------------------------------------------------ rejected


def changed(document: str, before: str, after: str) -> str:
    """A document with something replaced wherever it stands; it must stand there."""
    assert before in document, before
    return document.replace(before, after)


WRONG = {
    "an empty record": (record(""), "mods"),
    "an empty collection": (small("modsCollection"), "modsCollection"),
    "a collection of statements": (small("modsCollection", "<note/>"), "note"),
    "a record in a record": (record(record("<note/>")), "mods"),
    "a version of the future": (record("<note/>", 'version="4.0"'), "version"),
    "text in a record": (record("text<note/>"), "mods"),
    "a part of a title on its own": (record("<title/>"), "title"),
    "a date on its own": (record("<dateCreated/>"), "dateCreated"),
    "an element of another namespace": (record("<own:note/>"), "note"),
    "the namespace of another version": (record("<note/>").replace("mods/v3", "mods/v4"), "mods"),
    "a role of nothing": (small("name", "<role/>"), "role"),
    "others after a name": (small("name", "<namePart/><etal/>"), "etal"),
    "a name after others": (small("name", "<etal/><namePart/>"), "namePart"),
    "others twice": (small("name", "<etal/><etal/>"), "etal"),
    "other names of others": (small("name", "<etal/><alternativeName/>"), "alternativeName"),
    "another name of another name": (small("alternativeName", "<alternativeName/>"), "alternativeName"),
    "others in a subject": (small("subject", "<name><etal/></name>"), "etal"),
    "another name in a subject": (small("subject", "<name><alternativeName/></name>"), "alternativeName"),
    "a main name in a subject": (small("subject", '<name usage="primary"/>'), "usage"),
    "variants of a title in a subject": (small("subject", '<titleInfo altRepGroup="1"/>'), "altRepGroup"),
    "a supplied title in a subject": (small("subject", '<titleInfo supplied="yes"/>'), "supplied"),
    "a type of subject": (small("subject", "<topic/>", 'type="main"'), "type"),
    "an empty origin": (small("originInfo"), "originInfo"),
    "an empty place": (small("place"), "place"),
    "a place of text": (small("place", "Aldermoor"), "place"),
    "a place without a level": (small("place", "<city/>"), "city"),
    "an empty hierarchy of places": (small("hierarchicalGeographic"), "hierarchicalGeographic"),
    "a moon of version 3.5": (
        small("hierarchicalGeographic", "<extraterrestrialArea/>"),
        "extraterrestrialArea",
    ),
    "a province with a level": (small("province", "", 'level="1"'), "level"),
    "a province of a list": (small("province", "", 'authority="own"'), "authority"),
    "a ward that is a moor": (small("citySection", "", 'regionType="moor"'), "regionType"),
    "an empty language": (small("language"), "language"),
    "a script without a language": (small("language", "<scriptTerm/>"), "scriptTerm"),
    "a language after a script": (
        small("language", "<languageTerm/><scriptTerm/><languageTerm/>"),
        "languageTerm",
    ),
    "a language as text": (small("language", "Latin"), "language"),
    "an empty description of a body": (small("physicalDescription"), "physicalDescription"),
    "a structured extent of a body": (small("physicalDescription", "<extent><start/></extent>"), "extent"),
    "a group of a note of a body": (small("physicalDescription", '<note altRepGroup="1"/>'), "altRepGroup"),
    "an extent of words in a part": (small("part", "<extent>3 leaves</extent>"), "extent"),
    "an end before a start": (small("part", "<extent><end/><start/></extent>"), "start"),
    "a list before a total": (small("part", "<extent><list/><total>1</total></extent>"), "total"),
    "a total of nothing": (small("total", "0"), "total"),
    "a total of a language": (small("total", "1", 'lang="eng"'), "lang"),
    "a total in words": (small("total", "six"), "total"),
    "an empty detail": (small("detail"), "detail"),
    "a level of nothing": (small("detail", "<title/>", 'level="0"'), "level"),
    "a place in a series that is no number": (small("part", "", 'order="2a"'), "order"),
    "a mark before its holder": (small("location", "<shelfLocator/><physicalLocation/>"), "physicalLocation"),
    "an address before its mark": (small("location", "<url/><shelfLocator/>"), "shelfLocator"),
    "two simple holdings": (
        small("location", item("holdingSimple", "<copyInformation/>") * 2),
        "holdingSimple",
    ),
    "external holdings first": (
        small("location", "<holdingExternal/>" + item("holdingSimple", "<copyInformation/>")),
        "holdingSimple",
    ),
    "simple holdings of nothing": (small("holdingSimple"), "holdingSimple"),
    "an attribute of a copy": (small("copyInformation", "", 'ID="c"'), "ID"),
    "two forms of a copy": (small("copyInformation", "<form/><form/>"), "form"),
    "a copy's note before its mark": (small("copyInformation", "<note/><shelfLocator/>"), "shelfLocator"),
    "a list of a copy's notes": (small("copyInformation", '<note typeURI="x"/>'), "typeURI"),
    "a scale after a projection": (small("cartographics", "<projection/><scale/>"), "scale"),
    "two scales": (small("cartographics", "<scale/><scale/>"), "scale"),
    "an empty record of the record": (small("recordInfo"), "recordInfo"),
    "a date of the record elsewhere": (small("originInfo", "<recordCreationDate/>"), "recordCreationDate"),
    "a faulty record in an extension": (small("extension", "<language/>"), "language"),
    "a faulty statement in a related item": (small("relatedItem", "<language/>"), "language"),
    "an issuance of another word": (small("issuance", "monograph"), "issuance"),
    "an issuance of a language": (small("issuance", "serial", 'lang="eng"'), "lang"),
    "an issuance with blanks": (small("issuance", " serial "), "issuance"),
    "a quality of another word": (small("reformattingQuality", "Preservation"), "reformattingQuality"),
    "an origin of another word": (small("digitalOrigin", "reformatted"), "digitalOrigin"),
    "a shown date of a language": (small("displayDate", "c. 1380", 'lang="eng"'), "lang"),
    "an identifier of a place with a type": (small("placeIdentifier", "x", 'type="uri"'), "type"),
    "a type of a role's container": (small("role", "<roleTerm/>", 'type="text"'), "type"),
    "an attribute of a collection": (small("modsCollection", record("<note/>"), 'version="3.8"'), "version"),
    "a link from a genre": (small("genre", "", 'xlink:href="x"'), "href"),
    "a link of another kind": (small("note", "", 'xlink:type="extended"'), "type"),
    "a link shown in another way": (small("note", "", 'xlink:show="always"'), "show"),
    "a link followed in another way": (small("note", "", 'xlink:actuate="never"'), "actuate"),
    "a link with the attributes of an arc": (small("note", "", 'xlink:label="x"'), "label"),
    "elements in a text": (small("abstract", "<own:b/>"), "abstract"),
    "an unknown attribute": (small("note", "", 'kind="x"'), "kind"),
    "an attribute of another namespace": (small("note", "", 'own:kind="x"'), "kind"),
    "an attribute of XML that is not named": (small("note", "", 'xml:base="x"'), "base"),
}
"""Small documents with one fault: the document, and a word that its fault must be told with."""

CHANGES: dict[str, list[tuple[str, str, str, str]]] = {
    record(TITLES): [
        ("a title of another type", 'type="abbreviated"', 'type="short"', "type"),
        ("a title not supplied", 'supplied="yes"', 'supplied="no"', "supplied"),
        ("a secondary title", 'usage="primary"', 'usage="secondary"', "usage"),
        ("blanks kept in another way", 'xml:space="preserve"', 'xml:space="keep"', "space"),
        ("a language with a blank", 'xml:lang="la"', 'xml:lang="la tin"', "lang"),
        ("a language with an underline", 'xml:lang="la"', 'xml:lang="la_VA"', "lang"),
        ("a title in a title", "<partNumber>2</partNumber>", "<titleInfo/>", "titleInfo"),
        ("text beside a title", "<partNumber>2</partNumber>", "2", "titleInfo"),
        ("an ID that is no name", 'ID="title"', 'ID="1"', "ID"),
        ("a reference that is no name", 'IDREF="name"', 'IDREF="the name"', "IDREF"),
        ("an authority of a part of a title", "<partName>", '<partName authority="own">', "authority"),
    ],
    record(NAMES): [
        ("a name of another type", 'type="corporate"', 'type="company"', "type"),
        ("a part of a name of another type", 'type="given"', 'type="first"', "type"),
        ("a role as text", "<roleTerm/>", "scribe", "role"),
        ("a role of another type", 'type="code"', 'type="uri"', "type"),
        ("a valid identifier", 'invalid="yes"', 'invalid="no"', "invalid"),
        ("a type of another name", "altType=", "type=", "type"),
        ("an authority of a form of a name", "<displayForm lang=", "<displayForm authority=", "authority"),
        ("a number as an ID", 'ID="i1"', 'ID="1"', "ID"),
        ("a title in a name", "<description>", "<title/><description>", "title"),
    ],
    record(KINDS): [
        ("not a manuscript", 'manuscript="yes"', 'manuscript="no"', "manuscript"),
        ("a collection of another word", 'collection="yes"', 'collection="true"', "collection"),
        ("a type of a kind", "<typeOfResource>", '<typeOfResource type="x">', "type"),
        ("elements in a kind", "anything since 3.7", "<genre/>", "typeOfResource"),
        ("a type of readers", "<targetAudience ", '<targetAudience type="x" ', "type"),
        ("one ID twice", 'ID="g"', 'ID="k"', "k"),
    ],
    record(ORIGIN): [
        ("a date of another encoding", 'encoding="edtf"', 'encoding="EDTF"', "encoding"),
        ("a date of another certainty", 'qualifier="inferred"', 'qualifier="certain"', "qualifier"),
        ("a date at another point", 'point="end"', 'point="middle"', "point"),
        ("a date that is no key", 'keyDate="yes"', 'keyDate="no"', "keyDate"),
        ("a type of a date", "<dateValid ", '<dateValid type="x" ', "type"),
        ("an authority of an edition", "<edition ", '<edition authority="x" ', "authority"),
        ("an unknown date", "copyrightDate", "dateCopyrighted", "dateCopyrighted"),
        ("a place that is not supplied", '<place supplied="yes">', '<place supplied="no">', "supplied"),
        ("a type of origin", "<originInfo eventType=", "<originInfo type=", "type"),
        ("an agent of a date", "<namePart>Odo</namePart>", "<dateIssued/>", "dateIssued"),
    ],
    record(PHYSICAL): [
        ("a note of a body of elements", ">rebacked<", "><own:b/><", "note"),
        (
            "a language of a quality",
            "<reformattingQuality>access",
            '<reformattingQuality lang="eng">access',
            "lang",
        ),
        ("a type of an extent", 'unit="mm"', 'type="mm"', "type"),
        ("an authority of an extent", 'unit="mm"', 'authority="mm"', "authority"),
        ("a type of a media type", "<internetMediaType ", '<internetMediaType type="x" ', "type"),
    ],
    record(TEXTS): [
        ("a summary that may be shared", 'type="summary" shareable="no"', 'shareable="yes"', "shareable"),
        ("a note that may not be shared", "<note ", '<note shareable="no" ', "shareable"),
        ("a list of kinds of summaries", 'type="summary"', 'typeURI="x"', "typeURI"),
        ("an authority of a note", "<note ", '<note authority="x" ', "authority"),
        ("another format of a note", "<note ", '<note altFormat="x" ', "altFormat"),
    ],
    record(RELATED): [
        ("a related item of another kind", 'type="host" otherType', 'type="hosts" otherType', "type"),
        ("a group of related items", "<relatedItem/>", '<relatedItem altRepGroup="1"/>', "altRepGroup"),
        ("a record in a related item", "<relatedItem/>", "<relatedItem><mods/></relatedItem>", "mods"),
    ],
    record(LOCATION): [
        ("an address for another access", 'access="preview"', 'access="view"', "access"),
        ("an address of another use", 'usage="primary display"', 'usage="display"', "usage"),
        ("a type of an address", 'access="raw object"', 'type="raw object"', "type"),
        ("a language of an address", 'access="raw object"', 'lang="eng"', "lang"),
        ("a unit beyond the third", 'unitType="3"', 'unitType="4"', "unitType"),
        ("a place below a place", "<subLocation ", '<subLocation type="x" ', "type"),
        ("a serial number first", "<subLocation ", "<itemIdentifier/><subLocation ", "subLocation"),
    ],
    record(RIGHTS): [
        ("a main condition", "<accessCondition/>", '<accessCondition usage="primary"/>', "usage"),
        ("a link from an extension", '<extension type="own"', '<extension xlink:href="x"', "href"),
        ("a language of an extension", '<extension type="own"', '<extension lang="eng"', "lang"),
        ("MODS that is wrong in a condition", "<own:b/>", "<language/>", "language"),
    ],
    record(PART): [
        ("a level of a fraction", 'level="1"', 'level="1.5"', "level"),
        ("two totals", "<total>6</total>", "<total>6</total><total>6</total>", "total"),
        ("a language of an extent of a part", '<extent unit="folio">', '<extent lang="eng">', "lang"),
        ("a group of a text", '<text type="loose"', '<text altRepGroup="x"', "altRepGroup"),
        ("a subtitle of a detail", "<caption ", "<subTitle/><caption ", "subTitle"),
    ],
    record(RECORD): [
        ("a source of another record", "<recordOrigin/>", '<recordOrigin source="x"/>', "source"),
        (
            "a language of cataloguing as text",
            "<languageTerm>eng</languageTerm>",
            "eng",
            "languageOfCataloging",
        ),
        ("a note of the record by its old name", "recordInfoNote", "recordNote", "recordNote"),
        ("a title of a record", "<recordOrigin/>", "<titleInfo/>", "titleInfo"),
        (
            "an encoding of a source",
            "<recordContentSource ",
            '<recordContentSource encoding="marc" ',
            "encoding",
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
    figures = tally(samples, our_schema("mods"), official)
    assert figures.accepted == len(ACCEPTED), str(figures)


def test_the_published_schema_rejects_the_same() -> None:
    official = official_schema(OFFICIAL_FILE)
    samples = ((title, etree.fromstring(document.encode())) for title, (document, _) in FAULTS.items())
    figures = tally(samples, our_schema("mods"), official)
    assert figures.rejected == len(FAULTS), str(figures)


MUTATED = {
    "all": ALL,
    "collection": COLLECTION,
    "titles and names": record(TITLES + NAMES),
    "kinds, origin and languages": record(KINDS + ORIGIN + LANGUAGES),
    "body and texts": record(PHYSICAL + TEXTS),
    "subjects": record(SUBJECTS),
    "related items, location and parts": record(RELATED + LOCATION + PART),
    "rights, identifiers and record": record(RIGHTS + IDENTIFIERS + RECORD),
    "written by us": richest_of_ours().decode(),
}


@pytest.mark.parametrize("document", MUTATED.values(), ids=MUTATED)
def test_the_published_schema_judges_changed_documents_alike(document: str) -> None:
    official = official_schema(OFFICIAL_FILE)
    changes = mutations(etree.fromstring(document.encode()), 3, MUTATIONS, words_of_schema(SCHEMA_FILE))
    figures = tally(changes, our_schema("mods"), official)
    assert not figures.differences, str(figures)
    assert figures.accepted > MUTATIONS // 20, str(figures)
    assert figures.rejected > MUTATIONS // 4, str(figures)
