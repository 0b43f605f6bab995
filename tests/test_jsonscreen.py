from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import jsondoc
from pipeline.jsonscreen import Screens, expression, is_equal
from tests.schemas import iiif_documents
from tests.schemas.json_mutations import mutants

KEYWORDS: list[dict[str, Any]] = [
    {"type": "object"},
    {"type": ["array", "null"]},
    {"type": "integer"},
    {"type": "number"},
    {"type": ["boolean", "integer"]},
    {"const": 1},
    {"const": True},
    {"const": {"a": [1]}},
    {"enum": ["a", 1, None, [False]]},
    {"pattern": "a+"},
    {"minLength": 2},
    {"maxLength": 1},
    {"minimum": 0},
    {"maximum": 0},
    {"exclusiveMinimum": 0},
    {"exclusiveMaximum": 1.5},
    {"items": {"type": "integer"}},
    {"items": False},
    {"prefixItems": [{"type": "string"}, True], "items": {"type": "null"}},
    {"contains": {"type": "integer"}},
    {"contains": {"type": "integer"}, "minContains": 0, "maxContains": 1},
    {"minItems": 1},
    {"maxItems": 1},
    {"uniqueItems": True},
    {"properties": {"a": {"type": "integer"}, "b": False}},
    {"properties": {"a": True}, "additionalProperties": {"type": "string"}},
    {"additionalProperties": False},
    {"propertyNames": {"maxLength": 1}},
    {"required": ["a"]},
    {"dependentRequired": {"a": ["b"]}},
    {"minProperties": 1},
    {"maxProperties": 1},
    {"allOf": [{"type": "object"}, {"required": ["a"]}]},
    {"anyOf": [{"type": "string"}, {"minimum": 3}]},
    {"oneOf": [{"type": "integer"}, {"minimum": 0}]},
    {"not": {"type": ["string", "object"]}},
    {"if": {"type": "array"}, "then": {"minItems": 2}, "else": {"type": "string"}},
    {"if": {"required": ["a"]}, "else": {"type": "null"}},
    {"$defs": {"tree": {"type": "array", "items": {"$ref": "#/$defs/tree"}}}, "$ref": "#/$defs/tree"},
    {"type": ["object", "integer"], "additionalProperties": {"$ref": "#"}},
]
VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-2, 4)
    | st.sampled_from([0.0, 1.0, 1.5, -0.5])
    | st.sampled_from(["", "a", "ab", "b"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["a", "b", "cc"]), inner),
)
OURS = sorted(path.name[: -len(".schema.json")] for path in jsondoc.schemas_folder().glob("*.schema.json"))


def library(schema: Mapping[str, Any]) -> Any:
    """What the library judges by."""
    return jsonschema.Draft202012Validator(schema)


@given(value=VALUES)
@settings(max_examples=150)
def test_every_keyword_is_judged_as_the_library_judges_it(value: Any) -> None:
    for schema in KEYWORDS:
        assert Screens(schema).whole(value) == library(schema).is_valid(value), schema


DOCUMENTS = {
    "presentation": [
        iiif_documents.everything(),
        iiif_documents.collection(),
        iiif_documents.annotation_page(),
        iiif_documents.annotation_collection(),
    ],
    "image-info": [iiif_documents.info()],
}


@pytest.mark.parametrize("name", DOCUMENTS)
def test_whole_documents_are_judged_as_the_library_judges_them(name: str) -> None:
    screen, validator = Screens(jsondoc.schema(name)).whole, library(jsondoc.schema(name))
    additions: dict[str, list[Any]] = {"label": ["x", {}], "behavior": [["paged"]], "items": [[]], "x": [1]}
    verdicts = set()
    for document in DOCUMENTS[name]:
        for mutant in mutants(document, 30, seed=4, additions=additions, texts=["Canvas", "en", "x"]):
            assert screen(mutant.document) == validator.is_valid(mutant.document), mutant.change
            verdicts.add(screen(mutant.document))
    assert verdicts == {True, False}


@pytest.mark.parametrize("name", OURS)
def test_every_schema_of_ours_can_be_screened(name: str) -> None:
    assert Screens(jsondoc.schema(name)).whole([[[]]]) is False


def test_a_keyword_that_is_not_known_is_refused_not_passed_over() -> None:
    with pytest.raises(ValueError, match="'unevaluatedItems' is not a keyword that is screened"):
        _ = Screens({"properties": {"a": {"unevaluatedItems": False}}}).whole


def test_a_part_is_compiled_once_and_a_reference_leads_to_itself() -> None:
    schema = {"properties": {"a": {"$ref": "#"}, "b": {"type": "null"}}}
    screens = Screens(schema)
    part = schema["properties"]["b"]
    assert screens.of(part) is screens.of(part)
    assert screens.whole({"a": {"a": {"b": None}}})
    assert not screens.whole({"a": {"a": {"b": 1}}})


def test_what_json_does_not_have_never_passes() -> None:
    assert not Screens({"type": "array"}).whole(("a",))
    assert not Screens({}).whole(object())


@pytest.mark.parametrize(
    ("pattern", "text", "is_found"),
    [
        ("^a$", "a", True),
        ("^a$", "a\n", False),
        (r"^a\$$", "a$", True),
        ("^[$]$", "$", True),
        ("^(?:a|b$)", "b\n", False),
        (r"^[\]$]+$", "]$", True),
    ],
)
def test_the_end_of_a_pattern_is_the_end_of_the_text(pattern: str, text: str, is_found: bool) -> None:
    """ECMA-262, section 22.2.2.4 (assertion $, without the flag m)."""
    assert bool(expression(pattern).search(text)) is is_found


@given(VALUES, VALUES)
def test_equality_is_that_of_json(one: Any, other: Any) -> None:
    assert is_equal(one, json.loads(json.dumps(one)))
    assert is_equal(one, other) == is_equal(other, one)
    assert is_equal(one, other) == library({"const": one}).is_valid(other)
