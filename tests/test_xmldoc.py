from __future__ import annotations

import contextlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import xmldoc
from pipeline.errors import InputError

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


def test_an_external_dtd_is_not_asked_for(tmp_path: Path) -> None:
    (tmp_path / "a.dtd").write_text('<!ATTLIST a kind CDATA "from the DTD">')
    read = xmldoc.parse(f'<!DOCTYPE a SYSTEM "{(tmp_path / "a.dtd").as_uri()}"><a/>'.encode())
    assert read.get("kind") is None


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
