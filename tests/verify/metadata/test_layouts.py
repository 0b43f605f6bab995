"""Bundles that others laid out: documents anywhere, records in files of their own, other ways of pointing."""

from __future__ import annotations

import dataclasses
import hashlib
import re
from collections.abc import Mapping
from pathlib import Path

import pytest

from pipeline import xmldoc
from pipeline.containers import Limits
from pipeline.errors import SettingsError
from pipeline.findings import Level
from pipeline.specs import mets, mix, premis, xlink
from pipeline.verify import metadata
from pipeline.verify.evidence import Bundle, FileReading, Judged, PagesKind
from tests.describe.make_items import World
from tests.describe.test_mets import WORLDS, Edition, preserved, published
from tests.verify.metadata.world import METS_PATH, PUBLIC_MODS_PATH, Held, Sealed, document, serious

HEADER = (
    '<metsHdr CREATEDATE="2026-03-10T12:00:00Z"><agent ROLE="CREATOR"><name>Imaging unit</name></agent>'
    "</metsHdr>"
)


def mets_of(files: str, divisions: str, sections: str = "") -> bytes:
    """A METS document in the style of another house: default namespace, one line."""
    return (
        f'<mets xmlns="{mets.NAMESPACE}" xmlns:xlink="{xlink.NAMESPACE}">{HEADER}{sections}'
        f'<fileSec><fileGrp USE="IMAGES">{files}</fileGrp></fileSec>'
        f'<structMap TYPE="physical"><div TYPE="volume">{divisions}</div></structMap></mets>'
    ).encode()


def file_of(name: str, href: str, further: str = "", data: bytes = b"") -> str:
    """A file element with its checksum."""
    return (
        f'<file ID="{name}" CHECKSUM="{hashlib.md5(data).hexdigest()}" CHECKSUMTYPE="MD5" {further}>'
        f'<FLocat LOCTYPE="URL" xlink:href="{href}"/></file>'
    )


def page_of(name: str, order: int) -> str:
    """A page with one file."""
    return f'<div TYPE="page" ORDER="{order}" LABEL="p. {order}"><fptr FILEID="{name}"/></div>'


def judged(files: Mapping[str, bytes]) -> Judged:
    """The verdict on a folder that is no bag, its files read for the digests that its documents want."""
    container = Held(files)
    wanted = metadata.checksum_algorithms(container)
    readings = {
        path: FileReading(
            path=path,
            size_bytes=len(data),
            digests={each: hashlib.new(each, data).digest() for each in wanted},
        )
        for path, data in files.items()
    }
    return metadata.judge(Bundle(container=container, limits=Limits(), bag=None, readings=readings))


IMAGES = {f"img/p{number}.jpg": bytes([number]) * 10 for number in range(1, 5)}
FILES = "".join(file_of(f"f{n}", f"img/p{n}.jpg", data=data) for n, data in enumerate(IMAGES.values(), 1))
PAGES = "".join(page_of(f"f{n}", n) for n in range(1, 5))


def test_a_document_at_the_top_in_one_line_is_judged() -> None:
    found = judged({**IMAGES, "scan-1234.XML": mets_of(FILES, PAGES)})
    assert serious(found.report) == []
    (account,) = found.pages
    assert account.document == "scan-1234.XML"
    assert account.kind is PagesKind.METS
    assert [page.files for page in account.pages] == [("p1",), ("p2",), ("p3",), ("p4",)]
    assert [page.label for page in account.pages] == ["p. 1", "p. 2", "p. 3", "p. 4"]


def test_a_document_in_a_folder_of_its_own_may_point_from_the_base() -> None:
    found = judged({**IMAGES, "xml/mets/scan.xml": mets_of(FILES, PAGES)})
    assert serious(found.report) == []


def test_digests_of_other_algorithms_are_asked_for_and_compared() -> None:
    files = {**IMAGES, "mets.xml": mets_of(FILES, PAGES)}
    assert metadata.checksum_algorithms(Held(files)) == {"md5"}
    files["img/p2.jpg"] = b"altered!!!"
    assert judged(files).report.codes == {"M036"}


def test_algorithms_in_mix_and_premis_are_asked_for(preservation: Sealed) -> None:
    assert metadata.checksum_algorithms(Held(preservation.files)) == {"sha512"}
    record = (
        f'<mix xmlns="{mix.NAMESPACE}"><messageDigestAlgorithm use="x">SHA-384</messageDigestAlgorithm></mix>'
    )
    assert metadata.checksum_algorithms(Held({"a.xml": record.encode()})) == {"sha384"}
    assert metadata.checksum_algorithms(Held({"a.xml": record.replace("SHA-384", "TIGER").encode()})) == set()


def test_an_image_that_no_document_points_at_is_told() -> None:
    found = judged(
        {**IMAGES, "img/p5.jpg": b"5", "note.pdf": b"n", "note.txt": b"n", "mets.xml": mets_of(FILES, PAGES)}
    )
    assert serious(found.report) == ["M034 img/p5.jpg: in no METS document (in one)"]
    (note,) = (each for each in found.report.findings if each.code == "M041")
    assert note.value == "note.pdf"


def test_two_documents_share_the_files_of_a_bundle() -> None:
    first = mets_of("".join(re.findall(r"<file .*?</file>", FILES)[:2]), page_of("f1", 1) + page_of("f2", 2))
    second = mets_of("".join(re.findall(r"<file .*?</file>", FILES)[2:]), page_of("f3", 1) + page_of("f4", 2))
    assert serious(judged({**IMAGES, "v1.xml": first, "v2.xml": second}).report) == []
    assert judged({**IMAGES, "v1.xml": first}).report.codes == {"M034"}


def test_image_services_are_left_out_if_none_of_their_files_is_named() -> None:
    service = {
        "iiif/p1/info.json": b"{}",
        "iiif/p1/full/max/0/default.jpg": b"x",
        "iiif/p1/0,0,1,1/1,/0/default.jpg": b"x",
    }
    assert judged({**IMAGES, **service, "mets.xml": mets_of(FILES, PAGES)}).report.codes == set()


def test_a_file_listed_twice_is_told() -> None:
    files = FILES.replace("img/p4.jpg", "img/p3.jpg")
    found = judged({**IMAGES, "mets.xml": mets_of(files, PAGES)})
    assert "M038" in found.report.codes


def test_a_moved_folder_gives_one_finding() -> None:
    moved = {path.replace("img/", "images/"): data for path, data in IMAGES.items()}
    (finding,) = judged({**moved, "mets.xml": mets_of(FILES, PAGES)}).report.findings
    assert finding.code == "M033"
    assert finding.value == 'none of 4 locations, such as "img/p1.jpg" (tried img/p1.jpg)'


def test_records_in_files_of_their_own_are_found_through_references(preservation: Sealed) -> None:
    text = preservation.text()
    found = re.search(
        r'<mets:techMD ID="mix\.B14_0001">.*?(<mix:mix>.*?</mix:mix>).*?</mets:techMD>', text, re.DOTALL
    )
    assert found
    record = found[1].replace("<mix:mix>", f'<mix:mix xmlns:mix="{mix.NAMESPACE}">')
    reference = (
        '<mets:techMD ID="mix.B14_0001">'
        '<mets:mdRef MDTYPE="NISOIMG" LOCTYPE="URL" xlink:href="mix/first.xml"/></mets:techMD>'
    )
    changes = {METS_PATH: text.replace(found[0], reference).encode()}
    path = "data/metadata/mix/first.xml"
    assert serious(preservation.judged_with({**changes, path: record.encode()}).report) == []
    wrong = record.replace(">150<", ">151<")
    report = preservation.judged_with({**changes, path: wrong.encode()}).report
    assert [each.place.partition(",")[0] for each in report.findings if each.code == "M050"] == [path]


def test_a_record_alone_is_matched_by_its_name(preservation: Sealed) -> None:
    found = re.search(r"<mix:mix>.*?</mix:mix>", preservation.text(), re.DOTALL)
    assert found
    record = found[0].replace("<mix:mix>", f'<mix:mix xmlns:mix="{mix.NAMESPACE}">').replace(">150<", ">151<")
    images = {path: data for path, data in preservation.files.items() if path.startswith("data/masters/")}
    only = dict.fromkeys(path for path in preservation.files if path not in images)
    report = preservation.judged_with({**only, "data/mix/any.xml": record.encode()}).report
    assert report.codes == {"M050"}
    nameless = re.sub(r"<mix:ObjectIdentifier>.*?</mix:ObjectIdentifier>", "", record, flags=re.DOTALL)
    assert preservation.judged_with({**only, "data/mix/b14_0001.xml": nameless.encode()}).report.codes == {
        "M050"
    }
    assert preservation.judged_with({**only, "data/mix/x.xml": nameless.encode()}).report.codes == {"M053"}


def premis_of(location: str, size: int, original: str = "") -> bytes:
    """A PREMIS document with one file and one event."""
    name = f"<originalName>{original}</originalName>" if original else ""
    storage = (
        "<storage><contentLocation><contentLocationType>path</contentLocationType><contentLocationValue>"
        f"{location}</contentLocationValue></contentLocation></storage>"
    )
    return (
        f'<premis xmlns="{premis.NAMESPACE}" xmlns:xsi="{xlink.SCHEMA_INSTANCE}" version="3.0">'
        '<object xsi:type="file"><objectIdentifier><objectIdentifierType>local</objectIdentifierType>'
        "<objectIdentifierValue>one</objectIdentifierValue></objectIdentifier><objectCharacteristics>"
        f"<size>{size}</size><format><formatDesignation><formatName>image/jpeg</formatName></formatDesignation>"
        f"</format></objectCharacteristics>{name}{storage if location else ''}</object></premis>"
    ).encode()


@pytest.mark.parametrize(
    ("data", "codes"),
    [
        (premis_of("../img/p1.jpg", 10), set()),
        (premis_of("img/p1.jpg", 11), {"M063"}),
        (premis_of("img/p9.jpg", 10), {"M064"}),
        (premis_of("/srv/archive/p1.jpg", 10), {"M064"}),
        (premis_of("https://repository.example.org/p1", 10), set()),
        (premis_of("", 11, "P1.JPG"), {"M063"}),
        (premis_of("", 10, "p9.jpg"), {"M071"}),
    ],
)
def test_a_premis_document_alone_is_held_against_its_files(data: bytes, codes: set[str]) -> None:
    assert judged({**IMAGES, "premis/one.xml": data}).report.codes == codes


def test_a_shared_section_stands_for_the_file_that_it_fits(preservation: Sealed) -> None:
    """Who names a whole amdSec from master and access image means one record for each."""
    text = re.sub(
        r'(<mets:file ID="(?:master|access)\.(B14_\w+)"[^>]* ADMID=")', r"\1amd.\2 ", preservation.text()
    )
    assert serious(preservation.judged_with({METS_PATH: text.encode()}).report) == []


# ------------------------------------------------------------------------------------- documents of ours


@pytest.mark.parametrize("item", WORLDS.values(), ids=WORLDS)
@pytest.mark.parametrize("edition", [preserved, published])
def test_what_we_write_of_every_kind_of_item_is_sound(edition: Edition, item: World) -> None:
    found = document(xmldoc.to_bytes(edition(item)))
    assert serious(found.report) == []
    shown = [view for view in item.item.views if view.kind.is_reading_matter]
    assert len(found.pages[0].pages) == len(shown)


# ------------------------------------------------------------------------------- what could not be judged


def test_of_a_bare_document_what_needs_files_is_skipped(preservation: Sealed) -> None:
    found = document(preservation.files[METS_PATH])
    assert serious(found.report) == []
    skipped = {each.code: each.reason for each in found.report.skipped}
    assert {"M033", "M034", "M036", "M050", "M063"} <= set(skipped)
    assert set(skipped.values()) == {"a bare document has no files around it"}
    assert len(found.pages) == 1


def test_a_bare_document_that_is_no_xml_is_left_to_others() -> None:
    assert document(b'{"type": "Manifest"}', "manifest.json").report.findings == ()
    assert document(b"<html", "mets.xml").report.codes == {"M001"}


def test_without_readings_contents_are_skipped_and_files_are_not(preservation: Sealed) -> None:
    text = preservation.text().replace("../masters/B14_0001.tif", "../masters/none.tif")
    report = preservation.judged_with({METS_PATH: text.encode()}, is_quick=True).report
    assert "M033" in report.codes
    assert {each.code for each in report.skipped} == {"M036", "M037", "M050", "M063"}
    assert {each.reason for each in report.skipped} == {"only structure was judged, no payload was read"}


def test_rules_over_a_broken_document_are_skipped_and_said_to_be(preservation: Sealed) -> None:
    report = preservation.with_text(lambda text: text[:9000]).report
    assert {"M005", "M010", "M020", "M033", "M036"} <= {each.code for each in report.skipped}


def test_every_rule_that_did_not_run_says_so_only_once(preservation: Sealed) -> None:
    report = preservation.with_text(lambda text: text[:9000]).report
    codes = [each.code for each in report.skipped if each.place == METS_PATH]
    assert len(codes) == len(set(codes))


# --------------------------------------------------------------------------------- one finding, not fifty


def test_what_the_bag_finds_altered_is_not_told_again(preservation: Sealed) -> None:
    path = "data/masters/B14_0001.tif"
    reading = preservation.readings[path]
    altered = dataclasses.replace(reading, digests=dict.fromkeys(reading.digests, b"x"), size_bytes=7)
    bundle = Bundle(
        container=Held(preservation.files),
        limits=Limits(),
        bag=preservation.bag,
        readings={**preservation.readings, path: altered},
    )
    assert serious(metadata.judge(bundle).report) == []


def test_what_the_bag_finds_missing_or_too_much_is_not_told_again(preservation: Sealed) -> None:
    files = dict(preservation.files)
    del files["data/masters/B14_0001.tif"]
    files["data/masters/B14_0099.tif"] = b"new"
    bundle = Bundle(
        container=Held(files),
        limits=Limits(),
        bag=preservation.bag,
        readings=preservation.readings,
        is_quick=True,
    )
    assert serious(metadata.judge(bundle).report) == []


def test_the_same_fault_in_many_elements_is_one_finding(preservation: Sealed) -> None:
    report = preservation.with_text(lambda text: re.sub(r'SIZE="\d+"', 'SIZE="much"', text)).report
    (finding,) = (each for each in report.findings if each.code == "M005")
    assert "also in line" in finding.value


# -------------------------------------------------------------------------------------- official schemas


def test_a_folder_without_schemas_is_refused(preservation: Sealed, tmp_path: Path) -> None:
    with pytest.raises(SettingsError):
        preservation.judged(official=tmp_path)


def test_a_mods_document_alone_is_judged(publication: Sealed) -> None:
    found = document(publication.files[PUBLIC_MODS_PATH], "mods.xml")
    assert serious(found.report) == []


# ------------------------------------------------------------------------------- older, and none at all


def test_records_of_an_older_mix_in_mets_are_known_for_that_and_no_error() -> None:
    section = (
        '<amdSec><techMD ID="t"><mdWrap MDTYPE="NISOIMG"><xmlData>'
        f'<mix xmlns="{mix.NAMESPACE_1}"/></xmlData></mdWrap></techMD></amdSec>'
    )
    report = judged(
        {"mets.xml": mets_of(file_of("a", "a.tif"), page_of("a", 1), section), "a.tif": b""}
    ).report
    assert serious(report) == []
    assert [each.value for each in report.findings if each.code == "M004"] == ["MIX 1.0 in 1 sections"]


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("<mets/>", {"M008"}),
        ('<mets xmlns="http://www.loc.gov/mets/"/>', {"M008"}),
        ('<m:mods xmlns:m="https://www.loc.gov/mods/v3"/>', {"M008"}),
        ('<mix xmlns="urn:of-songs"/>', set()),
        (f'<mets xmlns="{mets.NAMESPACE_2}"/>', {"M004"}),
        ("<record/>", set()),
    ],
)
def test_a_standard_is_told_by_its_namespace_and_one_that_is_missed_is_said(
    text: str, codes: set[str]
) -> None:
    assert judged({"a.xml": text.encode()}).report.codes == codes


@pytest.mark.parametrize(
    ("text", "level"),
    [
        ('<!DOCTYPE TEI SYSTEM "tei.dtd"><TEI xmlns="urn:tei"/>', Level.WARNING),
        ("<!DOCTYPE m:mets><m:mets/>", Level.ERROR),
        ("<!DOCTYPE>", Level.ERROR),
    ],
)
def test_a_document_type_of_another_standard_is_a_remark(text: str, level: Level) -> None:
    report = judged({"text.xml": text.encode()}).report
    assert [(each.code, each.level) for each in report.findings] == [("M002", level)]
