"""The schema of METS: what it accepts and what it rejects, alone and beside the publisher's."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import cast

import pytest
from lxml import etree

from tests.describe import make_items
from tests.describe.test_mets import preserved, published
from tests.schemas.make_mets import METS, NAMESPACES, XLINK, valid_documents, whole
from tests.schemas.mutations import (
    FOREIGN,
    OFFICIAL_VARIABLE,
    SCHEMAS,
    Element,
    Words,
    agree,
    mutations,
    official_schema,
    our_schema,
    tally,
    words_of_schema,
)

VALID = valid_documents()
OFFICIAL_FILES = ("xml.xsd", "mets.xsd", "mods-3-8.xsd", "mix20.xsd", "premis.xsd")


def _faults(root: Element) -> list[str]:
    schema = our_schema("mets")
    return [] if schema.validate(etree.fromstring(etree.tostring(root))) else [str(schema.error_log)]


def _names_of_mets() -> Words:
    return words_of_schema(SCHEMAS / "mets.xsd")


# ----------------------------------------------------------------------------------------------- accepted


@pytest.mark.parametrize("name", VALID)
def test_what_mets_allows_is_accepted(name: str) -> None:
    assert _faults(VALID[name]) == []


@pytest.mark.parametrize("edition", [preserved, published])
@pytest.mark.parametrize("world", ["codex", "tablet", "fragment", "volume"])
def test_what_we_write_is_accepted_with_its_records(
    edition: Callable[[make_items.World], Element], world: str
) -> None:
    root = edition(make_items.ALL[world]())
    assert our_schema().validate(root), str(our_schema().error_log)


def test_the_whole_document_has_every_element_and_attribute_of_mets() -> None:
    """The names are those of the schema; section 3 of the METS schema's documentation lists the same."""
    found = {etree.QName(each).localname for each in whole().iter(f"{{{METS}}}*")}
    attributes = {str(name) for each in whole().iter(f"{{{METS}}}*") for name in each.attrib}
    names = _names_of_mets()
    assert {name.split("}")[1] for name in names.elements} == found
    assert set(names.attributes) <= attributes


# ----------------------------------------------------------------------------------------------- rejected

Change = Callable[[Element], None]


def _found(root: Element, path: str) -> list[Element]:
    found = cast("list[Element]", root.xpath(path, namespaces=NAMESPACES))
    assert found, f"nothing is at {path}"
    return found


def _remove(each: Element) -> None:
    parent = each.getparent()
    assert parent is not None
    parent.remove(each)


def _without(name: str) -> Change:
    def change(each: Element) -> None:
        del each.attrib[name]

    return change


def _with(name: str, value: str) -> Change:
    def change(each: Element) -> None:
        each.set(name, value)

    return change


def _saying(text: str) -> Change:
    def change(each: Element) -> None:
        each.text = text

    return change


def _holding(content: str, place: int | None = None) -> Change:
    def change(each: Element) -> None:
        holder = etree.fromstring(
            f'<x xmlns="{METS}" xmlns:xlink="{XLINK}" xmlns:f="{FOREIGN}">{content}</x>'
        )
        for position, child in enumerate(holder):
            each.insert(len(each) if place is None else place + position, child)

    return change


def _before(earlier: str) -> Change:
    def change(each: Element) -> None:
        parent = each.getparent()
        assert parent is not None
        _found(parent, earlier)[0].addprevious(each)

    return change


def _called(name: str) -> Change:
    def change(each: Element) -> None:
        each.tag = name

    return change


_FOREIGN_ATTRIBUTE = _with(f"{{{FOREIGN}}}mark", "x")
_XLINK = f"{{{XLINK}}}"

FAULTS: dict[str, tuple[str, Change]] = {
    # the document
    "another root": (".", _called(f"{{{METS}}}structMap")),
    "METS 2": (".", _called(f"{{{METS}}}v2")),
    "text in the root": (".", _saying("text")),
    "an unknown attribute": (".", _with("objid", "x")),
    "a bad link attribute on the root": (".", _with(f"{_XLINK}show", "always")),
    "no structMap": ("m:structMap", _remove),
    "two headers": (".", _holding("<metsHdr/>", 0)),
    "two fileSecs": ("m:fileSec", lambda each: each.addnext(etree.Element(f"{{{METS}}}fileSec"))),
    "an element of another vocabulary": (".", _holding("<f:thing/>")),
    "the header after the descriptions": ("m:metsHdr", _before("m:amdSec")),
    "a description after the administration": ("m:dmdSec[1]", _before("m:fileSec")),
    "files after the structure": ("m:fileSec", _before("m:structLink")),
    "links before the structure": ("m:structLink", _before("m:structMap")),
    # the header
    "a date without time": ("m:metsHdr", _with("CREATEDATE", "2026-03-09")),
    "a day that is not": ("m:metsHdr", _with("LASTMODDATE", "2026-02-30T12:00:00Z")),
    "an ID that is a number": ("m:metsHdr", _with("ID", "14")),
    "an ID with a colon": ("m:metsHdr", _with("ID", "a:b")),
    "an agent without a role": (".//m:agent[1]", _without("ROLE")),
    "an agent of an unknown role": (".//m:agent[1]", _with("ROLE", "SCRIBE")),
    "an agent of an unknown type": (".//m:agent[1]", _with("TYPE", "SOFTWARE")),
    "an agent without a name": (".//m:agent[1]/m:name", _remove),
    "an agent of two names": (".//m:agent[1]", _holding("<name/>", 0)),
    "an agent's note before the name": (".//m:agent[1]/m:note[1]", _before("m:name")),
    "an agent's name with an attribute": (".//m:agent[1]/m:name", _FOREIGN_ATTRIBUTE),
    "an agent's note with an ID": (".//m:agent[1]/m:note[1]", _with("ID", "note")),
    "an agent with a foreign attribute": (".//m:agent[1]", _FOREIGN_ATTRIBUTE),
    "an altRecordID after the document's": (".//m:metsDocumentID", _before("m:altRecordID")),
    "two metsDocumentIDs": ("m:metsHdr", _holding("<metsDocumentID/>")),
    "an element in a name": (".//m:agent[1]/m:name", _holding("<note/>")),
    # metadata
    "a dmdSec without ID": ("m:dmdSec[1]", _without("ID")),
    "a techMD without ID": (".//m:techMD[1]", _without("ID")),
    "an ID used twice": ("m:dmdSec[1]", _with("ID", "tech-1")),
    "an unknown MDTYPE": (".//m:mdWrap[1]", _with("MDTYPE", "PREMIS:OBJECTS")),
    "an MDTYPE with a blank": (".//m:mdWrap[1]", _with("MDTYPE", " DC")),
    "an mdWrap without MDTYPE": (".//m:mdWrap[1]", _without("MDTYPE")),
    "an mdRef without MDTYPE": (".//m:mdRef[1]", _without("MDTYPE")),
    "an mdRef without LOCTYPE": (".//m:mdRef[1]", _without("LOCTYPE")),
    "LOCTYPE SYSTEM": (".//m:mdRef[1]", _with("LOCTYPE", "SYSTEM")),
    "text in an mdRef": (".//m:mdRef[1]", _saying("card.xml")),
    "an mdRef of another kind of link": (".//m:mdRef[1]", _with(f"{_XLINK}type", "arc")),
    "an unknown way to show a link": (".//m:mdRef[1]", _with(f"{_XLINK}show", "popup")),
    "an unknown time to follow a link": (".//m:mdRef[1]", _with(f"{_XLINK}actuate", "onload")),
    "a link with ends": (".//m:mdRef[1]", _with(f"{_XLINK}from", "x")),
    "an href without its namespace": (".//m:mdRef[1]", _with("href", "x")),
    "two mdWraps": ("m:dmdSec[1]", _holding('<mdWrap MDTYPE="DC"/>')),
    "an empty xmlData": (".//m:xmlData[1]/*", _remove),
    "bytes that are not Base64": (".//m:dmdSec//m:binData", _saying("A")),
    "bytes and elements": (".//m:mdWrap[m:xmlData][1]", _holding("<binData/>")),
    "a SIZE that is no number": (".//m:mdWrap[1]", _with("SIZE", "40 bytes")),
    "a SIZE beyond 64 bits": (".//m:mdWrap[1]", _with("SIZE", "9223372036854775808")),
    "a checksum named as in bags": (".//m:mdWrap[1]", _with("CHECKSUMTYPE", "sha512")),
    "a wrong wrapped METS": (".//m:xmlData[1]", _holding("<mets/>")),
    "an mdWrap with a foreign attribute": (".//m:mdWrap[1]", _FOREIGN_ATTRIBUTE),
    "a provenance before the techniques": (".//m:digiprovMD[1]", _before("m:techMD")),
    "a source before the rights": (".//m:sourceMD[1]", _before("m:rightsMD")),
    "a description in the administration": ("m:amdSec[1]", _holding('<dmdSec ID="x"/>')),
    # files
    "no group in a fileSec": ("m:fileSec/m:fileGrp", _remove),
    "a file in the fileSec": ("m:fileSec", _holding('<file ID="x"/>')),
    "groups and files": ("m:fileSec/m:fileGrp[1]", _holding('<file ID="x"/>')),
    "a file without ID": (".//m:file[1]", _without("ID")),
    "a sequence number with a letter": (".//m:file[1]", _with("SEQ", "1r")),
    "a sequence number beyond 32 bits": (".//m:file[1]", _with("SEQ", "2147483648")),
    "a file measured in time": (".//m:file[1]", _with("BETYPE", "TIME")),
    "an FLocat without LOCTYPE": (".//m:FLocat[1]", _without("LOCTYPE")),
    "an FLocat with a foreign attribute": (".//m:FLocat[1]", _FOREIGN_ATTRIBUTE),
    "an FLocat after the content": (".//m:FContent[1]", _before("m:FLocat")),
    "two FContents": (".//m:FContent[1]", lambda each: each.addnext(etree.Element(f"{{{METS}}}FContent"))),
    "a stream measured in time": (".//m:stream[1]", _with("BETYPE", "SMIL")),
    "a stream with something in it": (".//m:stream[1]", _holding("<stream/>")),
    "a transformation without order": (".//m:transformFile[1]", _without("TRANSFORMORDER")),
    "a transformation of order 0": (".//m:transformFile[1]", _with("TRANSFORMORDER", "0")),
    "a transformation without algorithm": (".//m:transformFile[1]", _without("TRANSFORMALGORITHM")),
    "a transformation of no kind": (".//m:transformFile[1]", _without("TRANSFORMTYPE")),
    "a transformation of an unknown kind": (".//m:transformFile[1]", _with("TRANSFORMTYPE", "encryption")),
    "a transformation by two behaviours": (".//m:transformFile[1]", _with("TRANSFORMBEHAVIOR", "a b")),
    # structure
    "a structMap of two roots": ("m:structMap[1]", _holding("<div/>")),
    "a structMap of none": ("m:structMap[1]/m:div", _remove),
    "a div before the fptrs": ("m:structMap[1]/m:div/m:div[1]", _before("m:fptr")),
    "an fptr before the mptrs": ("m:structMap[1]/m:div/m:fptr[1]", _before("m:mptr")),
    "a div with a foreign attribute": ("m:structMap[1]/m:div", _FOREIGN_ATTRIBUTE),
    "a div with an href": ("m:structMap[1]/m:div", _with(f"{_XLINK}href", "x")),
    "an ORDER that is no number": ("m:structMap[1]/m:div", _with("ORDER", "i")),
    "an mptr with text": (".//m:mptr[1]", _saying("volume-2.xml")),
    "an fptr of two files": (".//m:fptr[1]", _with("FILEID", "f-1 f-2")),
    "an fptr of two areas": (".//m:fptr[m:area]", _holding('<area FILEID="f-1"/>')),
    "an area of no file": (".//m:area[1]", _without("FILEID")),
    "an area of an unknown shape": (".//m:area[1]", _with("SHAPE", "rect")),
    "an extent as a reference": (".//m:area[1]", _with("EXTTYPE", "IDREF")),
    "an unknown measure": (".//m:area[1]", _with("BETYPE", "SECONDS")),
    "a par in a par": (".//m:fptr/m:par", _holding("<par/>")),
    "a seq in a seq": (".//m:fptr/m:seq", _holding("<seq/>")),
    # links and behaviour
    "no link in a structLink": ("m:structLink/*", _remove),
    "a link from nowhere": (".//m:smLink[1]", _without(f"{_XLINK}from")),
    "a link to nowhere": (".//m:smLink[1]", _without(f"{_XLINK}to")),
    "a link with an href": (".//m:smLink[1]", _with(f"{_XLINK}href", "x")),
    "a group of one place": (".//m:smLocatorLink[position() > 1]", _remove),
    "a group of no arc": (".//m:smArcLink", _remove),
    "a place that is nowhere": (".//m:smLocatorLink[1]", _without(f"{_XLINK}href")),
    "an arc before the places": (".//m:smArcLink[1]", _before("m:smLocatorLink")),
    "an unknown order of arcs": (".//m:smLinkGrp", _with("ARCLINKORDER", "sorted")),
    "a behaviour without mechanism": (".//m:behavior[1]/m:mechanism", _remove),
    "a mechanism before what it does": (".//m:behavior[1]/m:mechanism", _before("m:interfaceDef")),
    "a mechanism without LOCTYPE": (".//m:mechanism[1]", _without("LOCTYPE")),
    "behaviours before sections of them": ("m:behaviorSec[1]/m:behavior[1]", _before("m:behaviorSec")),
}


def _faulty(name: str) -> Element:
    root = whole()
    path, change = FAULTS[name]
    found = _found(root, path)
    for each in found if change is _remove else found[:1]:
        change(each)
    return root


@pytest.mark.parametrize("name", FAULTS)
def test_a_single_fault_is_rejected(name: str) -> None:
    assert _faults(_faulty(name))


@pytest.mark.parametrize("language", ["no language", "1", "en_GB"])
def test_a_language_is_checked_where_any_attribute_may_stand(language: str) -> None:
    root = whole()
    root.set("{http://www.w3.org/XML/1998/namespace}lang", language)
    assert not our_schema().validate(root)


# ------------------------------------------------------------------------------ beside the publisher's schema


@pytest.mark.parametrize("name", VALID)
def test_the_publishers_schema_accepts_the_same(name: str) -> None:
    verdicts = agree(etree.tostring(VALID[name]), our_schema("mets"), official_schema("mets.xsd"), name)
    assert verdicts.agree, verdicts
    assert verdicts.accepted, verdicts


@pytest.mark.parametrize("name", FAULTS)
def test_the_publishers_schema_rejects_the_same(name: str) -> None:
    sample = etree.tostring(_faulty(name))
    verdicts = agree(sample, our_schema("mets"), official_schema("mets.xsd"), name)
    assert verdicts.agree, verdicts


@pytest.mark.parametrize("name", VALID)
def test_documents_with_one_thing_changed_are_judged_alike(name: str) -> None:
    count = 600 if name == "everything" else 30
    samples = mutations(VALID[name], seed=1, count=count, words=_names_of_mets())
    result = tally(samples, our_schema("mets"), official_schema("mets.xsd"))
    assert not result.differences, result
    assert result.accepted
    assert result.rejected


@pytest.mark.parametrize("edition", [preserved, published])
def test_our_own_documents_with_one_thing_changed_are_judged_alike(
    edition: Callable[[make_items.World], Element],
) -> None:
    """With records inside: all schemas of ours against all of the publishers'."""
    official = official_schema(*OFFICIAL_FILES)
    samples = mutations(edition(make_items.ALL["volume"]()), seed=2, count=100)
    result = tally(samples, our_schema(), official)
    assert not result.differences, result


def test_the_publishers_names_are_all_here() -> None:
    official_schema("mets.xsd")
    folder = Path(os.environ[OFFICIAL_VARIABLE])
    theirs, ours = words_of_schema(folder / "mets.xsd"), _names_of_mets()
    assert set(theirs.elements) == set(ours.elements)
    assert set(theirs.attributes) == set(ours.attributes)
    assert set(theirs.values) == set(ours.values)
