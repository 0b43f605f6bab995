"""Storage layouts, held against the examples of the extensions' texts."""

from __future__ import annotations

import json
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import InputError, SettingsError
from pipeline.ocfl import layouts
from pipeline.specs import ocfl

HASHED_MS_17 = "c0207408b8c6fd04df40e10e1792a9eafcf9868e35f1d6c8bfddafc3685fbae7"
LONG_ID = "abcdefghij" * 26
LONG_DIGEST = "55b432806f4e270da0cf23815ed338742179002153cd8d896f23b3e2d8a14359"


@pytest.mark.parametrize(
    ("name", "parameters", "object_id", "path"),
    [
        (ocfl.HASH_AND_ID, {}, "urn:example:ms-17", "c02/074/08b/urn%3aexample%3ams-17"),
        (
            ocfl.HASH_AND_ID,
            {},
            "https://data.example.org/ms-17",
            "f85/0cf/c09/https%3a%2f%2fdata%2eexample%2eorg%2fms-17",
        ),
        (ocfl.HASHED, {}, "urn:example:ms-17", f"c02/074/08b/{HASHED_MS_17}"),
        (
            ocfl.HASHED,
            {},
            "https://data.example.org/ms-17",
            "f85/0cf/c09/f850cfc09cae36dd53c54b09e6625f1a67a5845a84f81a6520dab294fe083118",
        ),
        (ocfl.OMIT_PREFIX, {}, "urn:example:ms-17", "000/0ms/-17/ms-17"),
        # extension 0003, examples and the values in its code
        (ocfl.HASH_AND_ID, {}, "..hor/rib:le-$id", "487/326/d8c/%2e%2ehor%2frib%3ale-%24id"),
        (ocfl.HASH_AND_ID, {}, "..Hor/rib:lè-$id", "373/529/21a/%2e%2eHor%2frib%3al%c3%a8-%24id"),
        (ocfl.HASH_AND_ID, {}, LONG_ID, f"55b/432/806/{LONG_ID[:100]}-{LONG_DIGEST}"),
        (
            ocfl.HASH_AND_ID,
            {"digestAlgorithm": "md5", "tupleSize": 5, "numberOfTuples": 2},
            "object-01",
            "ff755/34492/object-01",
        ),
        (ocfl.HASH_AND_ID, {"tupleSize": 0, "numberOfTuples": 0}, "object-01", "object-01"),
        # extension 0004, examples 1 to 3
        (
            ocfl.HASHED,
            {"digestAlgorithm": "md5", "tupleSize": 2, "numberOfTuples": 15, "shortObjectRoot": True},
            "object-01",
            "ff/75/53/44/92/48/5e/ab/b3/9f/86/35/67/28/88/4e",
        ),
        (
            ocfl.HASHED,
            {"tupleSize": 0, "numberOfTuples": 0},
            "object-01",
            "3c0ff4240c1e116dba14c7627f2319b58aa3d77606d0d90dfc6161608ac987d4",
        ),
        # extension 0007, examples 1 and 2
        (
            ocfl.OMIT_PREFIX,
            {"tupleSize": 4, "numberOfTuples": 2, "reverseObjectRoot": True},
            "urn:uuid:6e8bc430-9c3a-11d9-9669-0800200c9a66",
            "66a9/c002/6e8bc430-9c3a-11d9-9669-0800200c9a66",
        ),
        (
            ocfl.OMIT_PREFIX,
            {"tupleSize": 4, "numberOfTuples": 2, "reverseObjectRoot": True},
            "abc123",
            "321c/ba00/abc123",
        ),
        (
            ocfl.OMIT_PREFIX,
            {"delimiter": "EDU/", "zeroPadding": "right"},
            "https://institution.edu/abc/edu/f8.05v",
            "f8./05v/000/f8.05v",
        ),
        (ocfl.FLAT_DIRECT, {}, "ms-17", "ms-17"),
    ],
)
def test_paths_are_those_of_the_extensions_texts(
    name: str, parameters: dict[str, object], object_id: str, path: str
) -> None:
    assert layouts.layout_of(name, parameters).path(object_id) == path


@pytest.mark.parametrize(
    ("name", "object_id"),
    [
        (ocfl.FLAT_DIRECT, "https://data.example.org/ms-17"),
        (ocfl.FLAT_DIRECT, ".."),
        (ocfl.FLAT_DIRECT, "x" * 256),
        (ocfl.FLAT_DIRECT, "a\0b"),
        (ocfl.OMIT_PREFIX, "urn:example:"),
        (ocfl.OMIT_PREFIX, "urn:example:bréviaire"),
        (ocfl.OMIT_PREFIX, "urn:example:a/b"),
        (ocfl.HASHED, "\ud800"),
    ],
)
def test_identifiers_that_no_folder_can_be_named_by_are_refused(name: str, object_id: str) -> None:
    with pytest.raises(SettingsError, match="has no place in the storage layout"):
        layouts.layout_of(name).path(object_id)


def test_a_tuple_of_dots_never_leads_upwards() -> None:
    layout = layouts.layout_of(ocfl.OMIT_PREFIX, {"tupleSize": 2, "numberOfTuples": 2})
    with pytest.raises(SettingsError, match=re.escape('a folder ".."')):
        layout.path("a:x-..")


@pytest.mark.parametrize(
    ("name", "parameters", "said"),
    [
        ("0006-flat-omit-prefix-storage-layout", {}, "is not known here"),
        (ocfl.HASHED, {"tupleSize": 33}, "tupleSize: found 33, expected 0 to 32"),
        (ocfl.HASHED, {"tupleSize": 0}, "both 0 or neither"),
        (ocfl.HASHED, {"tupleSize": 22}, "found 66, expected at most 64"),
        (ocfl.HASHED, {"tupleSize": 32, "numberOfTuples": 2, "shortObjectRoot": True}, "shortObjectRoot"),
        (ocfl.HASHED, {"tupleSize": True}, "tupleSize: found True"),
        (ocfl.HASHED, {"tuplesize": 3}, "tuplesize: found a parameter that it does not have"),
        (ocfl.HASHED, {"digestAlgorithm": "crc32"}, 'digestAlgorithm: found "crc32"'),
        (ocfl.HASHED, {"extensionName": ocfl.HASH_AND_ID}, "extensionName"),
        (ocfl.OMIT_PREFIX, {"tupleSize": 0, "numberOfTuples": 0}, "expected 1 to 32"),
        (ocfl.OMIT_PREFIX, {"delimiter": ""}, "delimiter"),
        (ocfl.OMIT_PREFIX, {"zeroPadding": "middle"}, "zeroPadding"),
    ],
)
def test_parameters_that_an_extension_forbids_are_refused(
    name: str, parameters: dict[str, object], said: str
) -> None:
    with pytest.raises(SettingsError, match=re.escape(said)):
        layouts.layout_of(name, parameters)


@pytest.mark.parametrize("name", layouts.LAYOUTS)
def test_a_layout_is_read_back_from_its_two_documents(name: str) -> None:
    layout = layouts.layout_of(name)
    assert layouts.layout_from(layouts.layout_document(layout), layouts.config_document(layout)) == layout
    assert layouts.layout_from(layouts.layout_document(layout), None) == layout
    assert json.loads(layouts.config_document(layout))["extensionName"] == name


@pytest.mark.parametrize("document", [b"[]", b"{}", b'{"extension": 4}', b"\xff"])
def test_a_document_that_names_no_layout_is_told(document: bytes) -> None:
    with pytest.raises(InputError, match=r"ocfl_layout\.json"):
        layouts.layout_from(document, None)


@given(st.text(min_size=1).filter(lambda text: text.isprintable()))
def test_hashed_layouts_take_every_identifier_and_stay_inside(object_id: str) -> None:
    for name in (ocfl.HASHED, ocfl.HASH_AND_ID):
        parts = layouts.layout_of(name).path(object_id).split("/")
        assert len(parts) == 4
        assert all(re.fullmatch(r"[A-Za-z0-9_%-]{1,255}", part) for part in parts)
