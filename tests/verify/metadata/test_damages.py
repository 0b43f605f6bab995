"""One damage, one finding: each row breaks one thing in a real bundle, and its rule alone says so."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import pytest

from pipeline.findings import Level
from pipeline.verify import metadata
from tests.verify.metadata.world import METS_PATH, PUBLIC_MODS_PATH, Sealed, serious

Change = Callable[[str], str]


def swap(old: str, new: str, count: int = 1) -> Change:
    """Replace a text; it must be there."""

    def change(text: str) -> str:
        assert old in text, old
        return text.replace(old, new, count)

    return change


def sub(pattern: str, new: str, count: int = 1) -> Change:
    """Replace what a pattern finds, across lines."""

    def change(text: str) -> str:
        changed, found = re.subn(pattern, new, text, count=count, flags=re.DOTALL)
        assert found, pattern
        return changed

    return change


def both(*changes: Change) -> Change:
    """Make several changes that are one damage."""

    def change(text: str) -> str:
        for each in changes:
            text = each(text)
        return text

    return change


FIRST_FILE = r'(<mets:file ID="master\.[^>]*?)'
EVENT = r"(<premis:event>.*?<premis:eventType[^>]*>{}</premis:eventType>.*?)"


OUTCOME = "<premis:eventOutcomeInformation>.*?</premis:eventOutcomeInformation>"


@dataclass(frozen=True, kw_only=True)
class Damage:
    """One thing that is broken in a document, and what must be found."""

    code: str
    change: Change
    place: str = ""
    """What the place of the finding holds."""
    value: str = ""
    level: Level | None = None
    path: str = METS_PATH


DAMAGES = {
    # documents
    "cut off": Damage(code="M001", change=lambda text: text[:5000], value="not well-formed"),
    "a control character": Damage(code="M001", change=swap("Herbal", "Her\x01bal"), value="not well-formed"),
    "an entity": Damage(
        code="M002", change=swap("<mets:mets", '<!DOCTYPE mets [<!ENTITY a "b">]><mets:mets'), value="DOCTYPE"
    ),
    "an inclusion": Damage(
        code="M003",
        change=sub(
            r"(<mods:accessCondition[^>]*>)",
            r'\1<xi:include xmlns:xi="http://www.w3.org/2001/XInclude" href="file:///etc/passwd"/>',
        ),
        value='include of "file:///etc/passwd"',
    ),
    "an unknown element in METS": Damage(
        code="M005", change=swap("<mets:metsHdr", "<mets:odd/><mets:metsHdr"), place="mets"
    ),
    "an unknown term in MIX": Damage(
        code="M005",
        change=sub(
            r"<mix:samplingFrequencyPlane>[^<]*</mix:samplingFrequencyPlane>",
            "<mix:samplingFrequencyPlane>the page</mix:samplingFrequencyPlane>",
        ),
        place="samplingFrequencyPlane",
    ),
    "an ID for the second time": Damage(
        code="M007",
        change=sub(r'<mets:div (TYPE="light" [^>]*)>', r'<mets:div ID="phys.B14_0004" \1>'),
        place="phys.B14_0004",
    ),
    # references
    "ADMID to nothing": Damage(
        code="M010",
        change=sub(r'ADMID="mix\.', 'ADMID="lost mix.'),
        place="master.",
        value='ADMID "lost"',
    ),
    "FILEID to nothing": Damage(
        code="M010", change=sub(r'(<mets:fptr FILEID="access)\.', r"\1.no."), place="fptr", value="FILEID"
    ),
    "FILEID to a division": Damage(
        code="M011",
        change=sub(r'<mets:fptr FILEID="access\.[^"]*"', '<mets:fptr FILEID="phys.B14_0004"'),
        value='FILEID "phys.B14_0004" is the ID of div',
    ),
    "ADMID to a description": Damage(
        code="M011",
        change=sub(r'ADMID="mix\.', 'ADMID="dmd-item mix.'),
        value='ADMID "dmd-item" is the ID of dmdSec',
    ),
    "a link from nowhere": Damage(
        code="M012",
        change=swap('xlink:from="log-item"', 'xlink:from="log-itm"'),
        value='xlink:from "log-itm"',
    ),
    "a description of nothing": Damage(
        code="M013", change=sub(r' DMDID="dmd-item"', "", 9), place="dmd-item"
    ),
    # header and sections
    "no date": Damage(code="M020", change=sub(r'<mets:metsHdr CREATEDATE="[^"]*"', "<mets:metsHdr")),
    "no maker": Damage(code="M021", change=swap('ROLE="CREATOR"', 'ROLE="EDITOR"', 9)),
    "an unknown profile": Damage(
        code="M022",
        change=swap("<mets:mets ", '<mets:mets PROFILE="https://profiles.example.org/1" '),
        level=Level.NOTE,
    ),
    "a record of another kind": Damage(
        code="M023",
        change=swap('MDTYPE="NISOIMG"', 'MDTYPE="PREMIS:OBJECT"'),
        value='MDTYPE "PREMIS:OBJECT" with mix',
    ),
    "an empty section": Damage(
        code="M029",
        change=swap("</mets:rightsMD>", '</mets:rightsMD><mets:rightsMD ID="rights-2"/>'),
        place="rightsMD",
    ),
    # structure
    "no physical map": Damage(code="M024", change=swap('TYPE="PHYSICAL"', 'TYPE="LOGICAL"')),
    "a number twice": Damage(
        code="M025", change=sub(r'(ID="phys\.B14_0004"[^>]* ORDER=)"3"', r'\1"2"'), value="ORDER 2 twice"
    ),
    "two pages in the wrong order": Damage(
        code="M025",
        change=both(
            sub(r'(ID="phys\.B14_0002"[^>]* ORDER=)"2"', r'\1"3"'),
            sub(r'(ID="phys\.B14_0004"[^>]* ORDER=)"3"', r'\1"2"'),
        ),
        value="ORDER 2 after 3",
    ),
    "a gap": Damage(code="M026", change=sub(r'(ORDER=)"6"', r'\1"8"'), value="no ORDER 6 to 7"),
    "a page without a number": Damage(
        code="M026",
        change=sub(r'(ID="phys\.B14_0004"[^>]*) ORDER="3"', r"\1"),
        value="1 of 6 divisions without ORDER",
    ),
    "a page number twice": Damage(
        code="M027",
        change=sub(r'(ID="phys\.B14_0004"[^>]* ORDERLABEL=)"1v"', r'\1"1r"'),
        value='ORDERLABEL "1r" 2 times',
    ),
    "a page without an image": Damage(
        code="M028",
        change=swap("f. 2r (not captured)", "f. 2r"),
        place="phys.f-2r",
    ),
    # locations
    "a file without a location": Damage(
        code="M030", change=sub(r'xlink:href="\.\./masters/B14_0001.tif"', ""), place="FLocat"
    ),
    "a blank in a location": Damage(
        code="M031", change=swap("../masters/B14_0001.tif", "../masters/B14_0001.tif#page 1")
    ),
    "a location upwards": Damage(
        code="M032", change=swap("../masters/B14_0001.tif", "../../../B14_0001.tif"), value="leads upwards"
    ),
    "a location on another machine": Damage(
        code="M032", change=swap("../masters/B14_0001.tif", "file:///D:/scans/B14_0001.tif"), place="master."
    ),
    "a location that is no file": Damage(
        code="M033", change=swap("../masters/B14_0001.tif", "../masters/B14_0009.tif"), value="B14_0009"
    ),
    "another size": Damage(code="M035", change=sub(FIRST_FILE + r'SIZE="\d+', r'\1SIZE="1'), place="master."),
    "another checksum": Damage(
        code="M036", change=sub(FIRST_FILE + r'CHECKSUM="..', r'\1CHECKSUM="zz'), place="master."
    ),
    "another type": Damage(
        code="M037", change=swap('MIMETYPE="image/tiff"', 'MIMETYPE="image/jp2"'), value="is image/tiff"
    ),
    "a sloppy type": Damage(
        code="M037", change=swap('MIMETYPE="image/tiff"', 'MIMETYPE="image/x-tiff"'), level=Level.WARNING
    ),
    "a file without a checksum": Damage(
        code="M039",
        change=both(
            sub(r' CHECKSUM="[^"]*" CHECKSUMTYPE="[^"]*"', ""),
            sub(r"<mix:Fixity>.*?</mix:Fixity>", ""),
            sub(r"<premis:fixity>.*?</premis:fixity>", ""),
        ),
        value="1 of 12 files",
    ),
    "a file of no page": Damage(
        code="M040", change=sub(r'<mets:fptr FILEID="access\.[^"]*"/>', "", 1), value="access."
    ),
    # MIX
    **{
        f"another {name} in MIX": Damage(
            code="M050",
            change=sub(rf"<mix:{name}>[^<]*</mix:{name}>", f"<mix:{name}>{text}</mix:{name}>"),
            place="mix in techMD",
            value=name,
        )
        for name, text in {
            "fileSize": "7",
            "formatName": "image/jp2",
            "formatRegistryKey": "fmt/43",
            "byteOrder": "big endian",
            "compressionScheme": "LZW",
            "messageDigest": "00",
            "imageWidth": "151",
            "imageHeight": "201",
            "colorSpace": "BlackIsZero",
            "iccProfileName": "Camera profile",
            "iccProfileVersion": "9.9.9",
            "orientation": "normal, rotated 180°",
            "bitsPerSampleValue": "8",
            "samplesPerPixel": "4",
        }.items()
    },
    "another resolution in MIX": Damage(
        code="M050",
        change=sub(r"(<mix:xSamplingFrequency>\s*<mix:numerator>)\d+", r"\g<1>1"),
        value="xSamplingFrequency",
    ),
    "another unit of resolution in MIX": Damage(
        code="M050",
        change=sub(r"<mix:samplingFrequencyUnit>in\.<", "<mix:samplingFrequencyUnit>cm<"),
        value="xSamplingFrequency 600 per inch; ySamplingFrequency",
    ),
    "an odd wording in MIX": Damage(
        code="M050",
        change=sub(r"<mix:compressionScheme>[^<]*<", "<mix:compressionScheme>ohne Verlust<"),
        level=Level.NOTE,
    ),
    "a record that says too little": Damage(
        code="M051", change=sub(r"<mix:imageWidth>[^<]*</mix:imageWidth>", ""), value="imageWidth in 1"
    ),
    "an image without a record": Damage(
        code="M052", change=sub(r'ADMID="mix\.[^ "]* ', 'ADMID="'), place="master."
    ),
    # PREMIS
    "an event without its agent": Damage(
        code="M060",
        change=sub(
            r"<premis:linkingAgentIdentifierValue>[^<]*<", "<premis:linkingAgentIdentifierValue>nobody<"
        ),
        value='"local nobody"',
    ),
    "an object without its event": Damage(
        code="M060",
        change=sub(r"<premis:linkingEventIdentifierValue>[^<]*<", "<premis:linkingEventIdentifierValue>x<"),
        value='"UUID x"',
    ),
    "an agent that is an object": Damage(
        code="M060",
        change=sub(
            r"<premis:linkingAgentIdentifierValue>[^<]*<", "<premis:linkingAgentIdentifierValue>msb-014<"
        ),
        value="is of an object",
    ),
    "a relationship to nothing": Damage(
        code="M061",
        change=sub(
            r"<premis:relatedObjectIdentifierValue>[^<]*<", "<premis:relatedObjectIdentifierValue>no<"
        ),
    ),
    "an agent for the second time": Damage(
        code="M062",
        change=sub(
            r'(<mets:digiprovMD ID="agent\.1">(.*?)</mets:digiprovMD>)',
            r'\1<mets:digiprovMD ID="agent.99">\2</mets:digiprovMD>',
        ),
    ),
    "another size in PREMIS": Damage(
        code="M063",
        change=sub(r"<premis:size>\d+<", "<premis:size>1<"),
        value="size",
        place="object in techMD",
    ),
    "another digest in PREMIS": Damage(
        code="M063",
        change=sub(r"<premis:messageDigest>..", "<premis:messageDigest>zz"),
        value="messageDigest SHA-512",
    ),
    "another format in PREMIS": Damage(
        code="M063",
        change=sub(r"<premis:formatName>[^<]*<", "<premis:formatName>image/png<"),
        value="formatName",
    ),
    "a date that is none": Damage(
        code="M065", change=sub(r"<premis:eventDateTime>[^<]*<", "<premis:eventDateTime>9.3.2026<")
    ),
    "a reading before the capture": Damage(
        code="M066",
        change=sub(
            EVENT.format("metadata extraction") + r"<premis:eventDateTime>[^<]*<",
            r"\1<premis:eventDateTime>1999-01-01T00:00:00Z<",
        ),
        value="metadata extraction 1999",
    ),
    "an event of nobody": Damage(
        code="M067",
        change=sub(
            EVENT.format("validation")
            + r"<premis:linkingAgentIdentifier>.*?</premis:linkingAgentIdentifier>",
            r"\1",
        ),
        value="validation: no agent",
    ),
    "a check without an outcome": Damage(
        code="M068",
        change=both(
            sub(EVENT.format("validation") + OUTCOME, r"\1"),
            sub(r"(<premis:eventType [^>]*>)validation<", r"\1fixity check<"),
        ),
    ),
    "a failed event": Damage(
        code="M070",
        change=sub(r"(<premis:eventOutcome [^>]*>)[^<]*<", r"\1fail<"),
        level=Level.NOTE,
    ),
    "an unknown event": Damage(
        code="M069", change=sub(r"(<premis:eventType [^>]*>)[^<]*<", r"\1Scannen<"), level=Level.NOTE
    ),
    # MODS
    "a record without a title": Damage(
        code="M080",
        change=sub(r"<mods:titleInfo.*</mods:titleInfo>(?=\s*<mods:typeOfResource)", ""),
        path=PUBLIC_MODS_PATH,
    ),
    "a record without an identifier": Damage(
        code="M081",
        change=sub(r"<mods:identifier [^>]*>[^<]*</mods:identifier>", "", 9),
        path=PUBLIC_MODS_PATH,
    ),
    "a description in METS without an identifier": Damage(
        code="M081", change=sub(r"<mods:identifier [^>]*>[^<]*</mods:identifier>", "", 9), place="dmd-item"
    ),
    "a code of another list": Damage(
        code="M082",
        change=sub(r'(<mods:languageTerm type="code" authority="iso639-2b">)lat<', r"\1deu<"),
        value='"deu"',
        path=PUBLIC_MODS_PATH,
    ),
    "a date in words": Damage(
        code="M083",
        change=sub(r'(<mods:dateCreated encoding="w3cdtf"[^>]*>)1370<', r"\1c. 1370<"),
        value='dateCreated "c. 1370"',
        path=PUBLIC_MODS_PATH,
    ),
    "a day that is none": Damage(
        code="M083",
        change=sub(r"(<mods:recordCreationDate [^>]*>)[^<]*<", r"\g<1>2026-02-30<"),
        path=PUBLIC_MODS_PATH,
    ),
    "an end before the beginning": Damage(
        code="M084",
        change=sub(r'(<mods:dateCreated [^>]*point="end"[^>]*>)1395<', r"\g<1>1365<"),
        path=PUBLIC_MODS_PATH,
    ),
}


@pytest.mark.parametrize("damage", DAMAGES.values(), ids=DAMAGES)
def test_one_damage_is_found_by_its_rule_alone(
    preservation: Sealed, publication: Sealed, damage: Damage
) -> None:
    bundle = preservation if damage.path in preservation.files else publication
    report = bundle.with_text(damage.change, damage.path).report
    found = [
        each
        for each in report.findings
        if each.code == damage.code and damage.place in each.place and damage.value in each.value
    ]
    assert found, [f"{each.code} {each.place}: {each.value}" for each in report.findings]
    assert all(damage.path in each.place for each in found)
    expected = damage.level or level_of(damage.code)
    assert expected in {each.level for each in found}
    assert [each for each in serious(report) if not each.startswith(damage.code)] == []


def level_of(code: str) -> Level:
    """The level of a rule."""
    return next(r.rules[code].level for r in metadata.registers() if code in r.rules)


def test_a_sound_bundle_has_neither_errors_nor_warnings(preservation: Sealed, publication: Sealed) -> None:
    assert serious(preservation.judged().report) == []
    assert serious(publication.judged().report) == []
    assert serious(preservation.judged(is_quick=True).report) == []
