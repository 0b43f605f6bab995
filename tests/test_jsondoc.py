from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import jsondoc
from pipeline.errors import InputError

DOCUMENTS = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=[])),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
)


@given(DOCUMENTS)
def test_what_is_written_is_read_back(document: object) -> None:
    assert json.loads(jsondoc.to_bytes(document)) == document


def test_documents_are_spelt_for_people_and_keep_their_order() -> None:
    document = {"b": "Straße", "a": [1, 2]}
    assert jsondoc.to_bytes(document).decode() == '{\n  "b": "Straße",\n  "a": [\n    1,\n    2\n  ]\n}\n'


def test_bytes_of_a_name_that_are_not_text_survive() -> None:
    data = jsondoc.to_bytes("B14\udcff.tif")
    assert data == b'"B14\\udcff.tif"\n'
    assert json.loads(data) == "B14\udcff.tif"


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_what_json_has_no_number_for_is_not_written(number: float) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        jsondoc.to_bytes([number])


def test_a_document_is_written_to_its_place(tmp_path: Path) -> None:
    jsondoc.write(tmp_path / "new" / "a.json", {"a": 1})
    assert jsondoc.read(tmp_path / "new" / "a.json") == {"a": 1}


@pytest.mark.parametrize(
    "data",
    [b"", b"{", b"\xff\xfe\xfd", b"[NaN]", b"[-Infinity]", b"1" * 5000, b"[" * 100_000, b"{'a': 1}"],
    ids=["empty", "cut", "bytes", "NaN", "infinity", "digits", "deep", "quotes"],
)
def test_what_is_not_json_is_refused(data: bytes, tmp_path: Path) -> None:
    (tmp_path / "a.json").write_bytes(data)
    with pytest.raises(InputError, match=r"a\.json: is not a JSON document"):
        jsondoc.read(tmp_path / "a.json")


def test_what_is_not_there_is_said_to_be_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"a\.json: is not there"):
        jsondoc.read(tmp_path / "a.json")
    with pytest.raises(InputError, match="cannot be read"):
        jsondoc.read(tmp_path)


@pytest.fixture
def any_schema(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    document = {
        "type": "object",
        "required": ["z"],
        "additionalProperties": False,
        "properties": {
            "z": {"type": "array", "items": {"enum": ["page", "cover"]}},
            "a": {"type": "integer"},
        },
    }
    (tmp_path / "any.schema.json").write_text(json.dumps(document))
    monkeypatch.setattr(jsondoc, "schemas_folder", lambda: tmp_path)
    jsondoc.schema.cache_clear()
    return "any"


def _found(document: Any, schema: str) -> list[tuple[tuple[str | int, ...], str, Any]]:
    return [(each.path, each.rule, each.found) for each in jsondoc.violations(document, schema)]


def test_a_document_that_keeps_to_its_schema_has_no_violations(any_schema: str) -> None:
    assert _found({"z": ["page"], "a": 1}, any_schema) == []


def test_violations_come_in_the_order_of_the_document(any_schema: str) -> None:
    rows = ["page"] * 12
    rows[10] = rows[2] = "pgae"
    assert _found({"z": rows, "a": "x"}, any_schema) == [
        (("z", 2), "enum", "pgae"),
        (("z", 10), "enum", "pgae"),
        (("a",), "type", "x"),
    ]


def test_a_violation_tells_the_rule_and_its_limit(any_schema: str) -> None:
    (missing,) = jsondoc.violations({}, any_schema)
    assert (missing.path, missing.rule, missing.limit) == ((), "required", ["z"])


def test_every_schema_of_ours_is_a_schema() -> None:
    import jsonschema

    names = [path.name[: -len(".schema.json")] for path in jsondoc.schemas_folder().glob("*.schema.json")]
    assert names
    for name in names:
        jsonschema.Draft202012Validator.check_schema(jsondoc.schema(name))
