"""The JSON Schemas of what a person writes say the same as the model, and explain themselves."""

from __future__ import annotations

import enum
from collections.abc import Iterator, Mapping
from typing import Any

import jsonschema
import pytest

from pipeline import jsondoc
from pipeline.model import (
    Algorithm,
    EquipmentKind,
    FrameKind,
    ImageDelivery,
    ItemKind,
    LightKind,
    ViewingDirection,
)
from pipeline.record.table import COLUMNS
from pipeline.specs import mix

NAMES = ("item", "settings", "pages")


@pytest.mark.parametrize("name", NAMES)
def test_a_schema_is_one(name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(jsondoc.schema(name))


@pytest.mark.parametrize(
    ("name", "path", "choices"),
    [
        ("item", "properties item properties kind", ItemKind),
        ("item", "properties item properties reading", ViewingDirection),
        ("settings", "properties publication properties images", ImageDelivery),
        ("settings", "properties preservation properties checksums items", Algorithm),
        ("settings", "properties equipment items properties kind", EquipmentKind),
        ("pages", "properties kind", FrameKind),
    ],
)
def test_the_choices_of_a_schema_are_those_of_the_model(
    name: str, path: str, choices: type[enum.StrEnum]
) -> None:
    part: Any = jsondoc.schema(name)
    for key in path.split():
        part = part[key]
    assert part["enum"] == [str(each) for each in choices]


def test_the_lights_of_the_schema_are_those_of_the_model() -> None:
    pattern = jsondoc.schema("pages")["properties"]["light"]["pattern"]
    assert "|".join(LightKind) in pattern


def test_the_columns_of_the_schema_are_those_that_are_read() -> None:
    assert tuple(jsondoc.schema("pages")["properties"]) == COLUMNS


@pytest.mark.parametrize("name", NAMES)
def test_every_value_is_described_for_messages_quote_it(name: str) -> None:
    silent = [path for path, part in _values(jsondoc.schema(name), "") if not part.get("description")]
    assert silent == []


def _values(part: Mapping[str, Any], path: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
    for key, each in part.get("properties", {}).items():
        yield f"{path}/{key}", each
        yield from _values(each, f"{path}/{key}")
    if "items" in part:
        if "$ref" not in part["items"]:
            yield f"{path}/items", part["items"]
        yield from _values(part["items"], f"{path}/items")
    for key, each in part.get("$defs", {}).items():
        yield f"{path}/$defs/{key}", each


def test_the_terms_for_sensors_and_lights_are_those_of_the_standard() -> None:
    """MIX 2.0, as pipeline.specs.mix has it."""
    schema = jsondoc.schema("settings")
    assert set(schema["$defs"]["cameraSensor"]["enum"]) == mix.CAMERA_SENSORS
    assert set(schema["$defs"]["scannerSensor"]["enum"]) == mix.SCANNER_SENSORS
    light_source = schema["properties"]["equipment"]["items"]["properties"]["light_source"]
    assert set(light_source["enum"]) == set(mix.LIGHT_SOURCES.values())


def test_all_columns_but_kind_and_light_take_any_text() -> None:
    for column, part in jsondoc.schema("pages")["properties"].items():
        assert (set(part) == {"type", "description"}) is (column not in ("kind", "light"))
