from __future__ import annotations

import contextlib
import os
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from pipeline import xmldoc
from pipeline.errors import InputError, SettingsError
from pipeline.jsondoc import schemas_folder
from tests.schemas.make_mets import valid_documents
from tests.schemas.mutations import mutations

OUTER = "https://example.org/outer"
INNER = "https://example.org/inner"
LINK = "https://example.org/link"


def _record() -> xmldoc.Element:
    inner = xmldoc.element("leaf", "Straße & <Co>", namespace=INNER, kind="a", other=None)
    deep = xmldoc.element("branch", inner, None, namespace=INNER)
    linked = xmldoc.with_attributes(xmldoc.element("file", namespace=OUTER), {f"{{{LINK}}}href": "a b.tif"})
    return xmldoc.element(
        "record", deep, linked, namespace=OUTER, prefixes={"o": OUTER, "i": INNER, "l": LINK}, version="1"
    )


def test_a_document_is_written_with_its_namespaces_at_the_root() -> None:
    assert xmldoc.to_bytes(_record()).decode() == (
        "<?xml version='1.0' encoding='UTF-8'?>\n"
        '<o:record xmlns:o="https://example.org/outer" xmlns:i="https://example.org/inner"'
        ' xmlns:l="https://example.org/link" version="1">\n'
        "  <i:branch>\n"
        '    <i:leaf kind="a">Straße &amp; &lt;Co&gt;</i:leaf>\n'
        "  </i:branch>\n"
        '  <o:file l:href="a b.tif"/>\n'
        "</o:record>\n"
    )


def test_a_document_is_written_alike_every_time() -> None:
    record = _record()
    assert xmldoc.to_bytes(record) == xmldoc.to_bytes(record) == xmldoc.to_bytes(_record())


@given(st.text(st.characters(exclude_categories=[])), st.text(st.characters(exclude_categories=[])))
def test_any_text_is_read_back_without_what_xml_cannot_hold(text: str, value: str) -> None:
    """XML 1.0 (fifth edition), section 2.2; 2.11 for line ends, which are escaped when written."""
    made = xmldoc.element("leaf", text, namespace=OUTER, kind=value)
    xmldoc.with_attributes(made, {f"{{{LINK}}}href": value})
    read = xmldoc.parse(xmldoc.to_bytes(made))
    assert (read.text or "") == xmldoc.clean_text(text)
    assert read.get("kind") == read.get(f"{{{LINK}}}href") == xmldoc.clean_text(value)


@pytest.mark.parametrize("char", ["\0", "\x08", "\x0b", "\x1f", "\ud800", "\ufffe", "\uffff"])
def test_what_xml_cannot_hold_is_left_out(char: str) -> None:
    assert xmldoc.clean_text(f"a{char}b") == "ab"


@pytest.mark.parametrize("char", ["\t", "\n", "\r", " ", "\x85", "\ufffd", "\U0001f4d6"])
def test_what_xml_can_hold_stays(char: str) -> None:
    assert xmldoc.clean_text(f"a{char}b") == f"a{char}b"


# ------------------------------------------------------------------------------------- hostile input


@given(st.binary(max_size=200))
def test_bytes_are_xml_or_are_refused(data: bytes) -> None:
    with contextlib.suppress(InputError):
        assert xmldoc.to_bytes(xmldoc.parse(data))


def test_an_external_entity_brings_nothing_in(tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("do not tell")
    document = f'<!DOCTYPE a [<!ENTITY e SYSTEM "{secret.as_uri()}">]><a>&e;</a>'
    try:
        read = xmldoc.parse(document.encode())
    except InputError:
        return
    assert b"do not tell" not in xmldoc.to_bytes(read)


@pytest.mark.parametrize(
    "declared",
    [
        "<!DOCTYPE a>",
        '<!DOCTYPE a SYSTEM "a.dtd">',
        '<!DOCTYPE a [<!ENTITY e "x">]>',
        "<!DOCTYPE a [<!-- -->]>",
    ],
)
def test_a_document_type_is_refused_by_both_readers(declared: str) -> None:
    document = f"<!-- {'x' * 70_000} -->{declared}<a/>".encode()
    with pytest.raises(InputError, match="document: has a document type declaration"):
        xmldoc.parse(document)
    with pytest.raises(InputError, match="document: has a document type declaration"):
        xmldoc.schema_faults(document, xmldoc.our_schema())


def test_other_documents_are_not_taken_in(tmp_path: Path) -> None:
    (tmp_path / "b.xml").write_text("<secret/>")
    place = (tmp_path / "b.xml").as_uri()
    read = xmldoc.parse(
        f'<a xmlns:x="http://www.w3.org/2001/XInclude"><x:include href="{place}"/></a>'.encode()
    )
    assert [str(each.tag) for each in read.iter()] == ["a", "{http://www.w3.org/2001/XInclude}include"]


@pytest.mark.parametrize("depth", [257, 3_000, 100_000])
def test_elements_too_deep_in_each_other_are_refused(depth: int) -> None:
    document = b"<a>" * depth + b"</a>" * depth
    with pytest.raises(InputError, match="nested too deep; expected at most 256"):
        xmldoc.parse(document)
    with pytest.raises(InputError, match="nested too deep; expected at most 256"):
        xmldoc.schema_faults(document, xmldoc.our_schema())


@pytest.mark.parametrize("document", [b"<a>%s</a>", b"<a b='%s'/>"])
def test_a_text_that_is_too_long_is_refused(document: bytes) -> None:
    with pytest.raises(InputError, match="ten million characters"):
        xmldoc.parse(document % (b"x" * 10_100_000))


def test_a_document_that_is_too_large_is_refused_before_it_is_read(tmp_path: Path) -> None:
    assert xmldoc.parse(b"<a/>", max_bytes=4).tag == "a"
    with pytest.raises(InputError, match=r"m\.xml: has 1,004 bytes; at most 1,000 are taken"):
        xmldoc.parse(b"<a/>" + b" " * 1000, name="m.xml", max_bytes=1000)
    with (tmp_path / "m.xml").open("wb") as file:
        file.truncate(1 << 40)
    with pytest.raises(InputError, match=r"m\.xml: has 1,099,511,627,776 bytes"):
        xmldoc.read(tmp_path / "m.xml", max_bytes=1000)


def test_entities_do_not_explode() -> None:
    levels = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 12))
    document = f'<!DOCTYPE a [<!ENTITY e0 "{"x" * 100}">{levels}]><a kind="&e11;">&e11;</a>'
    with pytest.raises(InputError):
        xmldoc.parse(document.encode())


def test_what_cannot_be_read_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"mets\.xml: cannot be read"):
        xmldoc.read(tmp_path / "mets.xml")
    (tmp_path / "mets.xml").write_bytes(b"<a>")
    with pytest.raises(InputError, match=r"mets\.xml: is not well-formed XML"):
        xmldoc.read(tmp_path / "mets.xml")


def test_a_group_of_nothing_and_a_leaf_without_text_are_none() -> None:
    assert xmldoc.group("g", None, xmldoc.leaf("l", " \x00", namespace="urn:x"), namespace="urn:x") is None
    made = xmldoc.group("g", xmldoc.leaf("l", 0, namespace="urn:x", kind="n"), namespace="urn:x")
    assert made is not None
    assert [(each.text, dict(each.attrib)) for each in made] == [("0", {"kind": "n"})]


# ------------------------------------------------------------------------------------------- schemas

METS = "http://www.loc.gov/METS/"


def _mets(content: str) -> bytes:
    link = 'xmlns:xlink="http://www.w3.org/1999/xlink" xmlns:m="http://www.loc.gov/mix/v20"'
    return f'<mets xmlns="{METS}" {link}>\n{content}\n<structMap><div/></structMap></mets>'.encode()


def _said(document: bytes) -> list[tuple[int, str, str]]:
    faults = xmldoc.schema_faults(document, xmldoc.our_schema())
    return [(each.line, each.path, each.message) for each in faults]


SAYINGS = {
    '<amdSec/>\n<amdSec><techMD ID="t">\n<mdWrap MDTYPE="DC" SIZE="4 MB"/></techMD></amdSec>': (
        4,
        'mets/amdSec[2]/techMD[@ID="t"]/mdWrap',
        'the attribute SIZE of mdWrap is "4 MB"; expected a whole number of at most 64 bits',
    ),
    '<dmdSec ID="a"/>\n\n<metsHdr/>': (
        4,
        "mets/metsHdr",
        "metsHdr is not allowed here; expected dmdSec, amdSec, fileSec or structMap",
    ),
    "<metsHdr><agent><name/></agent></metsHdr>": (2, "mets/metsHdr/agent", "agent lacks the attribute ROLE"),
    '<metsHdr><agent ROLE="creator"><name/></agent></metsHdr>': (
        2,
        "mets/metsHdr/agent",
        'the attribute ROLE of agent is "creator"; expected "ARCHIVIST", "CREATOR", "CUSTODIAN", '
        '"DISSEMINATOR", "EDITOR", "IPOWNER", "PRESERVATION" or "OTHER"',
    ),
    '<metsHdr CREATEDATE="2026-03-09"/>': (
        2,
        "mets/metsHdr",
        'the attribute CREATEDATE of metsHdr is "2026-03-09"; '
        "expected a date and time such as 2026-03-09T12:00:00Z",
    ),
    '<dmdSec ID="1"/>': (
        2,
        "mets/dmdSec",
        'the attribute ID of dmdSec is "1"; '
        "expected an identifier: a letter or _ first, no blanks, colons or slashes",
    ),
    '<dmdSec ID="a"/>\n<dmdSec ID="a"/>': (
        3,
        'mets/dmdSec[@ID="a"]',
        'the ID "a" of dmdSec is used for a second time',
    ),
    '<dmdSec ID="a"><mdRef MDTYPE="DC" LOCTYPE="URL" href="x"/></dmdSec>': (
        2,
        'mets/dmdSec[@ID="a"]/mdRef',
        "mdRef has no attribute href",
    ),
    '<dmdSec ID="a"><mdRef MDTYPE="DC" LOCTYPE="URL">x</mdRef></dmdSec>': (
        2,
        'mets/dmdSec[@ID="a"]/mdRef',
        "mdRef must be empty, and holds text",
    ),
    '<dmdSec ID="a"><mdRef MDTYPE="DC" LOCTYPE="URL" xlink:type="arc"/></dmdSec>': (
        2,
        'mets/dmdSec[@ID="a"]/mdRef',
        'the attribute xlink:type of mdRef is "arc"; expected "simple"',
    ),
    '<dmdSec ID="a"><mdWrap MDTYPE="DC"><xmlData/></mdWrap></dmdSec>': (
        2,
        'mets/dmdSec[@ID="a"]/mdWrap/xmlData',
        "xmlData is not complete; expected any element",
    ),
    '<dmdSec ID="a">stray</dmdSec>': (2, 'mets/dmdSec[@ID="a"]', "dmdSec may hold elements, not text"),
    '<dmdSec ID="a"><m:mix/></dmdSec>': (
        2,
        'mets/dmdSec[@ID="a"]/mix',
        "mix of http://www.loc.gov/mix/v20 is not allowed here",
    ),
    "<metsHdr><altRecordID><note/></altRecordID></metsHdr>": (
        2,
        "mets/metsHdr/altRecordID/note",
        "altRecordID may hold text, not elements",
    ),
    "<fileSec/>": (2, "mets/fileSec", "fileSec is not complete; expected fileGrp"),
}


@pytest.mark.parametrize("content", SAYINGS)
def test_a_fault_is_said_where_and_in_words_that_a_person_can_act_on(content: str) -> None:
    assert _said(_mets(content)) == [SAYINGS[content]]


def test_a_record_inside_is_judged_as_strictly_as_what_holds_it() -> None:
    record = "<m:mix><m:BasicDigitalObjectInformation><m:fileSize>a lot</m:fileSize>"
    record += "\n</m:BasicDigitalObjectInformation></m:mix>"
    wrapped = f'<dmdSec ID="a"><mdWrap MDTYPE="NISOIMG"><xmlData>{record}</xmlData></mdWrap></dmdSec>'
    [fault, *_] = xmldoc.schema_faults(_mets(wrapped), xmldoc.our_schema())
    assert fault.namespace == "http://www.loc.gov/mix/v20"
    assert fault.path.startswith('mets/dmdSec[@ID="a"]/mdWrap/xmlData/mix/BasicDigitalObjectInformation')


def test_a_value_is_shown_on_one_line_and_not_whole_if_it_is_long() -> None:
    [(_, _, message)] = _said(_mets(f'<fileSec><fileGrp VERSDATE="&#10;\u202e{"x" * 500}"/></fileSec>'))
    assert "\\u202e" in message
    assert "\n" not in message
    assert "…" in message
    assert len(message) < 250


def test_faults_beyond_the_limit_are_not_looked_for() -> None:
    """Some ten thousand faults take a validator of trees minutes."""
    document = _mets('<dmdSec ID="1"/>\n' * 50_000)
    started = time.perf_counter()
    faults = xmldoc.schema_faults(document, xmldoc.our_schema(), limit=7)
    assert time.perf_counter() - started < 5
    assert [each.line for each in faults] == [2, 3, 4, 5, 6, 7, 8]


def test_ids_that_are_used_again_and_again_are_found_up_to_the_limit() -> None:
    document = _mets('<dmdSec ID="a"/>\n' * 50_000)
    faults = xmldoc.schema_faults(document, xmldoc.our_schema(), limit=30)
    assert [each.repeated_id for each in faults] == ["a"] * 30


def test_a_document_that_is_not_well_formed_is_refused_with_its_name() -> None:
    with pytest.raises(InputError, match=r"mets\.xml: is not well-formed XML"):
        xmldoc.schema_faults(b"<a>", xmldoc.our_schema(), name="mets.xml")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-16-le", "utf-16-be", "iso-8859-1"])
def test_lines_are_right_in_every_encoding(encoding: str) -> None:
    declared = "utf-16" if encoding.startswith("utf-16") else encoding
    text = _mets('<metsHdr RECORDSTATUS="é"/>\n<!-- \u000a é -->\n<dmdSec/>').decode()
    document = f'<?xml version="1.0" encoding="{declared}"?>{text}'.encode(encoding)
    if encoding in {"utf-16-le", "utf-16-be"}:
        document = "\ufeff".encode(encoding) + document
    assert [line for line, _, _ in _said(document)] == [5]


def test_lines_are_right_in_long_documents() -> None:
    document = _mets('<dmdSec ID="a"/><!--\n-->' + "\n" * 70_000 + '<amdSec/>\n<amdSec\n TYPE="x"/>')
    root = xmldoc.parse(document)
    lines = xmldoc.Lines(document)
    assert [lines.of(each) for each in root.iter(f"{{{METS}}}*")] == [1, 2, 70_003, 70_005, 70_006, 70_006]
    assert [line for line, _, _ in _said(document)] == [70_005]


@given(
    st.lists(st.sampled_from(["\n", "<b/>", "<b>", "</b>", "<!--\n-->", "x", "<b\nc='\n'/>"]), max_size=30)
)
def test_lines_beyond_the_parsers_own_are_counted_like_those_before(pieces: list[str]) -> None:
    document = f"<a>{''.join(pieces)}</a>".encode()
    above = b"\n" * 66_000
    with contextlib.suppress(InputError):
        counted = [xmldoc.Lines(document).of(each) for each in xmldoc.parse(document).iter("*")]
        lines = xmldoc.Lines(above + document)
        assert [lines.of(each) - 66_000 for each in xmldoc.parse(above + document).iter("*")] == counted


def test_elements_that_may_lie_in_each_other_are_judged() -> None:
    nested = '<div TYPE="x">' * 250 + "</div>" * 250
    assert _said(f'<mets xmlns="{METS}"><structMap>{nested}</structMap></mets>'.encode()) == []


@pytest.mark.parametrize("name", valid_documents())
def test_a_stream_is_judged_like_a_tree(name: str) -> None:
    """Beside libxml2's validator of trees, on valid documents and on changed ones."""
    schema = xmldoc.our_schema()
    root = valid_documents()[name]
    for description, changed in mutations(root, seed=3, count=200 if name == "everything" else 20):
        data = etree.tostring(changed)
        streamed = xmldoc.schema_faults(data, schema)
        assert bool(streamed) is not schema.validator.validate(etree.fromstring(data)), description
        from_tree = xmldoc.schema_faults(etree.fromstring(data), schema)
        assert [each.message for each in from_tree] == [each.message for each in streamed]


# ---------------------------------------------------------------------------------- schemas of a folder


def _folder(tmp_path: Path, **renamed: str) -> Path:
    """Our schemas, as if a person had collected them."""
    folder = tmp_path / "Schémas 100% (ours) #1"
    folder.mkdir()
    for path in (schemas_folder() / "xml").glob("*.xsd"):
        name = renamed.get(path.stem, path.name)
        if path.name != "records.xsd":
            (folder / name).write_bytes(path.read_bytes())
    return folder


def test_schemas_are_found_by_their_namespaces_whatever_they_are_called(tmp_path: Path) -> None:
    folder = _folder(tmp_path, mets="Metadaten & so.XSD", xlink="links é.xsd")
    (folder / "notes.txt").write_text("not a schema")
    (folder / "other.xsd").write_bytes(b'<schema xmlns="http://www.w3.org/2001/XMLSchema"/>')
    (folder / "broken.xsd").write_bytes(b"<")
    schema = xmldoc.official_schema(folder)
    assert xmldoc.schema_faults(_mets(""), schema) == ()
    assert [each.line for each in xmldoc.schema_faults(_mets("<fileSec/>"), schema)] == [2]


def test_imports_lead_to_the_folder_and_never_to_the_network(tmp_path: Path) -> None:
    folder = _folder(tmp_path)
    mets = (folder / "mets.xsd").read_bytes()
    away = mets.replace(b'schemaLocation="xlink.xsd"', b'schemaLocation="https://127.0.0.1:9/away/else.xsd"')
    assert away != mets
    (folder / "mets.xsd").write_bytes(away)
    assert xmldoc.schema_faults(_mets(""), xmldoc.official_schema(folder)) == ()


def test_of_several_files_for_one_namespace_the_last_counts(tmp_path: Path) -> None:
    folder = _folder(tmp_path, mets="mets-1-9.xsd")
    old = (folder / "mets-1-9.xsd").read_bytes()
    (folder / "mets-1-12.xsd").write_bytes(old.replace(b'name="OBJID"', b'name="NEWID"'))
    document = f'<mets xmlns="{METS}" NEWID="x"><structMap><div/></structMap></mets>'.encode()
    assert xmldoc.schema_faults(document, xmldoc.official_schema(folder)) == ()


def test_a_schema_may_be_in_parts(tmp_path: Path) -> None:
    folder = _folder(tmp_path)
    whole = (folder / "mets.xsd").read_text()
    start = whole.index('  <xsd:simpleType name="agentRole">')
    head = whole[: whole.index("  <xsd:annotation>")]
    include = '  <xsd:include schemaLocation="http://example.org/x/zz-terms.xsd"/>\n'
    (folder / "zz-terms.xsd").write_text(head + whole[start:])
    main = whole[: len(head)] + include + whole[len(head) : start] + "</xsd:schema>"
    (folder / "mets.xsd").write_text(main)
    schema = xmldoc.official_schema(folder)
    assert xmldoc.schema_faults(_mets(""), schema) == ()
    assert xmldoc.schema_faults(_mets('<metsHdr><agent ROLE="x"><name/></agent></metsHdr>'), schema)


@pytest.mark.parametrize("missing", ["mets", "mix", "premis", "mods", "xlink", "xml"])
def test_a_standard_that_the_folder_lacks_is_named(tmp_path: Path, missing: str) -> None:
    folder = _folder(tmp_path)
    namespace = xmldoc.parse((folder / f"{missing}.xsd").read_bytes()).get("targetNamespace")
    (folder / f"{missing}.xsd").write_bytes(b"<broken")
    with pytest.raises(SettingsError) as caught:
        xmldoc.official_schema(folder)
    assert f"({namespace})" in str(caught.value)
    assert f"{missing}.xsd: found a file that is not well-formed XML" in str(caught.value)


def test_a_schema_that_contradicts_itself_is_named_with_its_line(tmp_path: Path) -> None:
    folder = _folder(tmp_path)
    mets = (folder / "mets.xsd").read_bytes()
    (folder / "mets.xsd").write_bytes(mets.replace(b'type="mets:header"', b'type="mets:heading"'))
    with pytest.raises(SettingsError, match=r"cannot be used \(mets\.xsd, line \d+: .*heading"):
        xmldoc.official_schema(folder)


def test_a_part_that_is_missing_is_named(tmp_path: Path) -> None:
    folder = _folder(tmp_path)
    mets = (folder / "mets.xsd").read_text()
    include = '<xsd:include schemaLocation="terms.xsd"/><xsd:import namespace="http://www.w3.org/1999/xlink"'
    (folder / "mets.xsd").write_text(
        mets.replace('<xsd:import namespace="http://www.w3.org/1999/xlink"', include)
    )
    with pytest.raises(SettingsError, match=r'mets\.xsd, line \d+: needs the schema "terms\.xsd"'):
        xmldoc.official_schema(folder)


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"nowhere: cannot be read \(No such file"):
        xmldoc.official_schema(tmp_path / "nowhere")


def test_the_publishers_schemas_are_loaded_from_a_folder() -> None:
    folder = os.environ.get("OFFICIAL_SCHEMAS")
    if not folder:
        pytest.skip("the official schemas are not here; set OFFICIAL_SCHEMAS to the folder that holds them")
    official = xmldoc.official_schema(Path(folder))
    ours = xmldoc.our_schema()
    own = {space for space in official.identifiers if official.identifiers[space]}
    assert {space: official.identifiers[space] for space in own} == {
        space: ours.identifiers[space] for space in own
    }
    assert xmldoc.schema_faults(_mets(""), official) == ()
    for content in SAYINGS:
        faults = xmldoc.schema_faults(_mets(content), official)
        assert [(each.line, each.path) for each in faults] == [SAYINGS[content][:2]]
