"""Documents that mean harm, or are broken in odd ways: a finding each, no traceback, no waiting."""

from __future__ import annotations

import os
import re
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.containers import Limits
from pipeline.specs import mets, mods, xlink
from pipeline.verify import metadata
from pipeline.verify.evidence import Bundle
from tests.verify.metadata.world import METS_PATH, Held, Sealed, document, serious

BOMB = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 12))
OPEN = f'<mets xmlns="{mets.NAMESPACE}" xmlns:xlink="{xlink.NAMESPACE}">'

HARMFUL = {
    "entity bomb": f'<!DOCTYPE mets [<!ENTITY a0 "ha">{BOMB}]>{OPEN}&a11;</mets>',
    "entity bomb in an attribute": f'<!DOCTYPE m [<!ENTITY a0 "ha">{BOMB}]>{OPEN[:-1]} LABEL="&a11;"/>',
    "external entity": f'<!DOCTYPE mets [<!ENTITY x SYSTEM "file:///etc/passwd">]>{OPEN}&x;</mets>',
    "external entity on the network": f'<!DOCTYPE mets SYSTEM "http://127.0.0.1:9/x.dtd">{OPEN}</mets>',
    "parameter entity": f'<!DOCTYPE m [<!ENTITY % p SYSTEM "file:///etc/passwd"> %p;]>{OPEN}</mets>',
}


@pytest.mark.parametrize("text", HARMFUL.values(), ids=HARMFUL)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_document_types_are_named_and_not_expanded(text: str, encoding: str) -> None:
    report = document(text.encode(encoding)).report
    assert report.codes == {"M002"}


def test_a_document_type_behind_a_comment_is_seen() -> None:
    text = f"<?xml version='1.0'?><!-- <mets> --><?x y?>\n<!DOCTYPE mets>{OPEN}</mets>"
    assert document(text.encode()).report.codes == {"M002"}


@pytest.mark.parametrize("depth", [1000, 100_000])
def test_elements_nested_a_hundred_thousand_deep_are_refused(depth: int) -> None:
    divisions = "<div>" * depth + "</div>" * depth
    report = document(f"{OPEN}<structMap>{divisions}</structMap></mets>".encode()).report
    assert report.codes == {"M001"}
    assert "nested too deep" in report.findings[0].value


def test_divisions_nested_as_deep_as_the_parser_goes_are_judged() -> None:
    divisions = "<div>" * 250 + "</div>" * 250
    report = document(f"{OPEN}<structMap>{divisions}</structMap></mets>".encode()).report
    assert "M001" not in report.codes


def test_a_text_of_twenty_million_characters_is_refused_or_judged() -> None:
    text = f"{OPEN}<structMap><div LABEL='{'x' * 20_000_000}'/></structMap></mets>"
    assert document(text.encode()).report.codes


def test_a_document_beyond_the_limit_is_not_read() -> None:
    container = Held({"mets.xml": f"{OPEN}{' ' * 5000}</mets>".encode()}, is_document=True)
    limits = Limits(max_document_bytes=1000)
    report = metadata.judge(Bundle(container=container, limits=limits, bag=None, readings={})).report
    assert report.codes == {"M001"}
    assert "1,000" in report.findings[0].value


def test_an_unreadable_document_is_a_finding(preservation: Sealed) -> None:
    class Failing(Held):
        def open(self, path: str):  # type: ignore[no-untyped-def]
            raise OSError(5, "Input/output error")

    container = Failing({"mets.xml": b"<x/>"})
    report = metadata.judge(Bundle(container=container, limits=Limits(), bag=None, readings={})).report
    assert report.codes == {"M001"}
    assert "Input/output error" in report.findings[0].value
    assert metadata.checksum_algorithms(container) == set()


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\0",
        b"\xff\xfe",
        b"\xff\xfe<",
        b"<",
        b"<?xml",
        b"<mets",
        b"<a/><b/>",
        b"\xef\xbb\xbf",
        b"\x00<\x00?",
    ],
)
def test_scraps_are_not_well_formed(data: bytes) -> None:
    assert document(data).report.codes == {"M001"}


def test_names_with_control_characters_and_markup_do_no_harm() -> None:
    text = (
        f'{OPEN}<fileSec><fileGrp><file ID="f">'
        '<FLocat LOCTYPE="URL" xlink:href="\u202e&lt;script&gt;&#9;.tif"/></file></fileGrp></fileSec>'
        '<structMap><div LABEL="&#10;\x85"/></structMap></mets>'
    )
    container = Held({"\x1b[31mmets\u202e.xml": text.encode(), "<b>.xml": b"<b>"})
    report = metadata.judge(Bundle(container=container, limits=Limits(), bag=None, readings={})).report
    assert {"M001", "M033"} <= report.codes


def test_numbers_beyond_all_measure_do_no_harm() -> None:
    digits = "9" * 5000
    text = (
        f'{OPEN}<fileSec><fileGrp><file ID="f" SIZE="{digits}" SEQ="{digits}"><FLocat LOCTYPE="URL" '
        f'xlink:href="a.tif"/></file></fileGrp></fileSec><structMap TYPE="PHYSICAL"><div>'
        f'<div ORDER="{digits}"/><div ORDER="-{digits}"/></div></structMap></mets>'
    )
    container = Held({"mets.xml": text.encode(), "a.tif": b"x"})
    assert metadata.judge(Bundle(container=container, limits=Limits(), bag=None, readings={})).report.codes


def test_references_by_the_ten_thousand_are_followed_fast() -> None:
    """Twenty thousand sections, two hundred files that name many: nothing is looked for one by one."""
    sections = "".join(f'<techMD ID="t{n}"/>' for n in range(20_000))
    names = " ".join(f"t{n}" for n in range(0, 20_000, 100))
    files = "".join(
        f'<file ID="f{n}" ADMID="{names}"><FLocat LOCTYPE="URL" xlink:href="{n}.tif"/></file>'
        for n in range(200)
    )
    divisions = "".join(f'<div ORDER="{n + 1}"><fptr FILEID="f{n}"/></div>' for n in range(200))
    text = (
        f"{OPEN}<amdSec>{sections}</amdSec><fileSec><fileGrp>{files}</fileGrp></fileSec>"
        f'<structMap TYPE="PHYSICAL"><div>{divisions}</div></structMap></mets>'
    )
    started = time.process_time()
    document(text.encode())
    assert time.process_time() - started < 20


def test_an_inclusion_in_a_document_of_another_kind_is_named() -> None:
    text = f'<a><xi:include xmlns:xi="{xlink.INCLUSIONS}" href="/etc/passwd" parse="text"/></a>'
    report = document(text.encode()).report
    assert report.codes == {"M003"}
    assert "root:" not in repr(report)


@pytest.mark.parametrize(
    ("root", "name"),
    [
        ('<mets xmlns="http://www.loc.gov/METS/v2"/>', "METS 2"),
        ('<mix xmlns="http://www.loc.gov/mix/v10"/>', "MIX 1.0"),
        ('<premis xmlns="info:lc/xmlns/premis-v2"/>', "PREMIS 2"),
    ],
)
def test_older_and_newer_standards_are_recognised(root: str, name: str) -> None:
    (finding,) = document(root.encode()).report.findings
    assert (finding.code, finding.value) == ("M004", name)


def test_an_empty_collection_of_descriptions_is_judged() -> None:
    report = document(f'<modsCollection xmlns="{mods.NAMESPACE}"/>'.encode(), "all.xml").report
    assert report.codes == {"M005"}


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.data())
def test_no_changed_piece_of_a_document_ends_in_a_traceback(
    preservation: Sealed, data: st.DataObject
) -> None:
    """Names, values and whole lines are exchanged at random; the verdict may be anything."""
    text = preservation.text()
    pieces = [match.span() for match in re.finditer(r'"[^"<>]*"|(?<=>)[^<>]+(?=<)|<[^<>]+/>', text)]
    for _ in range(data.draw(st.integers(1, 4))):
        start, end = data.draw(st.sampled_from(pieces))
        other_start, other_end = data.draw(st.sampled_from(pieces))
        if end < other_start:
            text = text[:start] + text[other_start:other_end] + text[end:]
            break
    report = preservation.judged_with({METS_PATH: text.encode()}).report
    assert all(each.place and each.limit for each in report.findings)


def test_official_schemas_agree_on_a_sound_bundle(preservation: Sealed, publication: Sealed) -> None:
    folder = os.environ.get("OFFICIAL_SCHEMAS")
    if not folder:
        pytest.skip("the official schemas are not here; set OFFICIAL_SCHEMAS to the folder that holds them")
    assert serious(preservation.judged(official=Path(folder)).report) == []
    assert serious(publication.judged(official=Path(folder)).report) == []
    report = preservation.judged_with(
        {METS_PATH: preservation.text().replace("<mets:metsHdr", "<mets:odd/><mets:metsHdr").encode()},
        official=Path(folder),
    ).report
    assert [each.code for each in report.findings if each.code in ("M005", "M006")] == ["M005"]
