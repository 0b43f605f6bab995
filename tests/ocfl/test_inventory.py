"""Inventories as values and as bytes."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import InputError
from pipeline.ocfl import inventory
from pipeline.ocfl.inventory import Inventory, User, Version
from pipeline.specs import ocfl

ONE, TWO = hashlib.sha512(b"one").hexdigest(), hashlib.sha512(b"two").hexdigest()

EXAMPLE = Inventory(
    id="urn:example:ms-17",
    head="v2",
    manifest={TWO: ("v2/content/data/b.tif",), ONE: ("v1/content/data/a.tif",)},
    versions={
        "v1": Version(
            created="2026-03-10T09:00:00Z",
            state={ONE: ("data/a.tif",)},
            message="first deposit",
            user=User(name="Adlersund library", address="mailto:imaging@adlersund.example.org"),
        ),
        "v2": Version(created="2026-05-10T09:00:00Z", state={ONE: ("data/c.tif",), TWO: ("data/b.tif",)}),
    },
    fixity={"md5": {hashlib.md5(b"one").hexdigest(): ("v1/content/data/a.tif",)}},
)


def test_an_inventory_is_read_back_as_it_was_written() -> None:
    assert inventory.read(inventory.to_bytes(EXAMPLE)) == EXAMPLE


def test_the_order_of_values_does_not_change_the_bytes() -> None:
    turned = Inventory(
        id=EXAMPLE.id,
        head=EXAMPLE.head,
        manifest=dict(sorted(EXAMPLE.manifest.items(), reverse=True)),
        versions=dict(reversed(list(EXAMPLE.versions.items()))),
        fixity=EXAMPLE.fixity,
    )
    data = inventory.to_bytes(turned)
    assert data == inventory.to_bytes(EXAMPLE)
    assert data.endswith(b"}\n")
    assert b"\r" not in data


def test_versions_are_written_in_their_order_not_that_of_the_alphabet() -> None:
    block = Version(created="2026-03-10T09:00:00Z", state={})
    twelve = {f"v{number}": block for number in range(1, 13)}
    document = json.loads(
        inventory.to_bytes(Inventory(id="urn:a:b", head="v12", manifest={}, versions=twelve))
    )
    assert list(document["versions"]) == list(twelve)


def test_an_older_inventory_keeps_its_version_of_the_specification() -> None:
    older = Inventory(
        id="urn:a:b",
        head="v1",
        manifest={},
        versions={"v1": Version(created="2026-03-10T09:00:00Z", state={})},
        spec_version="1.0",
        content_directory="stuff",
        digest_algorithm="sha256",
    )
    assert inventory.read(inventory.to_bytes(older)) == older


def test_a_version_leads_from_logical_paths_to_content() -> None:
    assert EXAMPLE.content_of("v2") == {
        "data/c.tif": "v1/content/data/a.tif",
        "data/b.tif": "v2/content/data/b.tif",
    }
    assert EXAMPLE.fixity_of("v1/content/data/a.tif") == {"md5": hashlib.md5(b"one").hexdigest()}


@pytest.mark.parametrize(
    ("head", "after"), [("v1", "v2"), ("v9", "v10"), ("v01", "v02"), ("v09", ""), ("v009", "v010")]
)
def test_the_next_version_keeps_the_way_of_numbering(head: str, after: str) -> None:
    one = Inventory(id="urn:a:b", head=head, manifest={}, versions={})
    if after:
        assert one.next_version() == after
    else:
        with pytest.raises(InputError, match="no room"):
            one.next_version()


def test_a_version_is_added_and_nothing_is_taken_away() -> None:
    three = hashlib.sha512(b"three").hexdigest()
    added = inventory.with_version(
        EXAMPLE,
        Version(created="2026-06-01T00:00:00Z", state={three: ("data/d.tif",)}),
        content={three: ("v3/content/data/d.tif",)},
    )
    assert added.head == "v3"
    assert set(added.manifest) == {ONE, TWO, three}
    assert inventory.read(inventory.to_bytes(added)) == added


# ------------------------------------------------------------------------------------------- sidecars


def test_a_digest_file_is_read_back() -> None:
    data = inventory.to_bytes(EXAMPLE)
    written = inventory.sidecar(data)
    assert written == hashlib.sha512(data).hexdigest().encode() + b" inventory.json\n"
    assert inventory.sidecar_digest(written) == inventory.digest_of(data)


@pytest.mark.parametrize(
    ("data", "digest"),
    [
        (b"ABC inventory.json\n", "abc"),
        (b"abc\t \tinventory.json", "abc"),
        (b"abc inventory.json\nmore", None),
        (b"abc  other.json\n", None),
        (b"abcinventory.json\n", None),
        (b" abc inventory.json\n", None),
        (b"", None),
    ],
)
def test_a_digest_file_has_one_form(data: bytes, digest: str | None) -> None:
    assert inventory.sidecar_digest(data) == digest


# ---------------------------------------------------------------------------------------------- dates


def test_moments_are_written_in_whole_seconds_and_utc() -> None:
    moment = dt.datetime(2026, 3, 10, 10, 0, 0, 5, tzinfo=dt.timezone(dt.timedelta(hours=1)))
    assert inventory.timestamp(moment) == "2026-03-10T09:00:00Z"


@pytest.mark.parametrize(
    ("text", "is_one"),
    [
        ("2026-03-10T09:00:00Z", True),
        ("2026-03-10T09:00:00.25+01:00", True),
        ("2026-12-31T23:59:60Z", True),
        ("2026-03-10T09:00:00", False),
        ("2026-03-10T09:00Z", False),
        ("2026-02-30T09:00:00Z", False),
        ("2026-03-10T25:00:00Z", False),
        ("2026-03-10 09:00:00Z", False),
        ("2026-03-10T09:00:00+0100", False),
    ],
)
def test_dates_have_seconds_and_zone(text: str, is_one: bool) -> None:
    assert inventory.is_timestamp(text) is is_one


# -------------------------------------------------------------------------------------------- reading


def _changed(**changes: Any) -> bytes:
    document = json.loads(inventory.to_bytes(EXAMPLE))
    document.update(changes)
    return json.dumps({key: value for key, value in document.items() if value is not None}).encode()


def _with_state(state: dict[str, Any]) -> dict[str, Any]:
    versions = json.loads(inventory.to_bytes(EXAMPLE))["versions"]
    versions["v2"]["state"] = state
    return dict(versions)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"id": None}, "no key id"),
        ({"id": ""}, "an identifier"),
        ({"id": 4}, "id: found 4, expected text"),
        ({"extra": 1}, 'the key "extra"'),
        ({"type": "https://example.org/"}, "OCFL 1.0 or 1.1"),
        ({"digestAlgorithm": "md5"}, "sha512 or sha256"),
        ({"head": "v1"}, "head: found"),
        ({"contentDirectory": ".."}, "the name of a folder"),
        ({"manifest": []}, "an array, expected an object"),
        ({"manifest": {ONE: "v1/content/a"}}, "an array of paths"),
        ({"manifest": {ONE[:-1]: ["v1/content/a"]}}, "a sha512 digest in hexadecimal"),
        ({"manifest": {ONE: ["v1/content/../a"]}}, "an empty part or a dot"),
        ({"manifest": {ONE: ["v9/content/a"]}}, "a path in the folder content"),
        ({"manifest": {ONE: ["v1/content/a"], ONE.upper(): ["v1/content/b"]}}, "a digest twice"),
        ({"manifest": {ONE: ["v1/content/a", "v1/content/a/b"]}}, "is also a folder"),
        ({"manifest": {ONE: ["v1/content/a", "v1/content/a"]}}, "stands there twice"),
        ({"versions": {}}, "v1 and so on without a gap"),
        ({"versions": {"v1": []}}, "an array, expected an object"),
        ({"versions": _with_state({ONE.upper(): ["a"]})}, "a digest of the manifest"),
        ({"versions": _with_state({ONE: ["/a"]})}, "a slash at its beginning"),
        ({"fixity": {"md5": []}}, "fixity, md5: found an array"),
    ],
)
def test_what_is_not_as_specified_is_told_with_its_place(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(InputError, match=re.escape(said)):
        inventory.read(_changed(**changes))


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b'{"id": "a", "id": "b"}', 'the key "id" stands there twice'),
        (b'{"manifest": {"a": [], "a": []}}', "stands there twice"),
        (b"\xff\xfe{}", "not UTF-8"),
        (b"[]", "not a JSON object"),
        (b"{", "not a JSON document"),
        (b'{"a": ' * 300 + b"1" + b"}" * 300, "levels deep"),
        (b'"' + b"x" * (inventory.MOST_BYTES + 1) + b'"', "larger than"),
    ],
)
def test_bytes_that_are_no_inventory_are_refused(data: bytes, said: str) -> None:
    with pytest.raises(InputError, match=re.escape(said)):
        inventory.read(data)


def test_the_first_faults_are_told_not_all_million() -> None:
    manifest = {f"{number:0128x}": "nothing" for number in range(500)}
    with pytest.raises(InputError) as caught:
        inventory.read(_changed(manifest=manifest))
    assert len(caught.value.problems) == 50


_NAMES = st.text(st.characters(exclude_characters="/\0", exclude_categories=["Cs"]), min_size=1, max_size=8)
_PATHS = st.lists(_NAMES.filter(lambda name: name not in (".", "..")), min_size=1, max_size=3).map("/".join)


@given(st.lists(_PATHS, unique=True, max_size=8), st.text(max_size=20), st.text(min_size=1, max_size=20))
def test_any_set_of_paths_survives_writing_and_reading(
    paths: list[str], message: str, object_id: str
) -> None:
    clashing = {path for path, _ in inventory.conflicts(paths)}
    kept = [path for path in paths if path not in clashing]
    digests = {hashlib.sha512(path.encode()).hexdigest(): path for path in kept}
    one = Inventory(
        id=object_id,
        head="v1",
        manifest={digest: (f"v1/content/{path}",) for digest, path in digests.items()},
        versions={
            "v1": Version(
                created="2026-03-10T09:00:00Z",
                state={digest: (path,) for digest, path in digests.items()},
                message=message,
            )
        },
    )
    assert inventory.read(inventory.to_bytes(one)) == one


def test_every_code_has_its_title_and_section() -> None:
    unused = {"E065", "E068", "E086", "E091", "E109", "W006"}
    errors = {f"E{number:03}" for number in range(1, 113)} - unused
    warnings = {f"W{number:03}" for number in range(1, 17)} - unused
    assert set(ocfl.CODES) == errors | warnings
    assert ocfl.CODES["E023"].source == "OCFL 1.1, section 3.3.1"
    assert set(ocfl.CODES) > ocfl.OF_ACTS
