"""docs/item-files.md says what the loader does: its examples load, and it names every key of the schemas."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from pipeline import jsondoc
from pipeline.model import FrameKind, ImageDelivery, ItemKind, LightKind, Settings, ViewingDirection
from pipeline.record import load_item, load_settings

DOC = Path(__file__).parent.parent / "docs" / "item-files.md"
TEXT = DOC.read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", TEXT, re.MULTILINE | re.DOTALL)


def keys(schema: Mapping[str, Any]) -> Iterator[str]:
    for key, part in schema.get("properties", {}).items():
        yield key
        yield from keys(part)
        yield from keys(part.get("items", {}))


def all_keys(document: object) -> set[str]:
    if isinstance(document, dict):
        return set(document).union(*map(all_keys, document.values()))
    return set().union(*map(all_keys, document)) if isinstance(document, list) else set()


def test_the_three_examples_load_together_without_a_problem(tmp_path: Path) -> None:
    item_toml, solander_toml = blocks("toml")
    (pages_csv,) = blocks("csv")
    (tmp_path / "item.toml").write_text(item_toml, encoding="utf-8")
    (tmp_path / "pages.csv").write_text(pages_csv, encoding="utf-8")
    (tmp_path / "solander.toml").write_text(solander_toml, encoding="utf-8")
    for line in pages_csv.splitlines()[1:]:
        if name := line.split(",")[0]:
            (tmp_path / "masters" / name).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / "masters" / name).touch()
    (tmp_path / "targets").mkdir()
    (tmp_path / "targets" / "chart-1.txt").touch()
    settings = load_settings(tmp_path / "solander.toml")
    item = load_item(tmp_path, settings).item
    assert len(item.frames) == len(pages_csv.splitlines()) - 1
    assert [view.label for view in item.views if not view.is_captured] == ["f. 2r"]
    assert [len(view.frames) for view in item.views if view.label == "f. 1r"] == [2]
    assert [section.label.first for section in item.all_sections] == ["Calendar", "January"]
    assert item.sections[0].subsections
    assert [each.identifier for each in settings.equipment][:2] == ["camera-2", "lens-120"]


@pytest.mark.parametrize(("number", "schema"), [(0, "item"), (1, "settings")])
def test_the_examples_use_every_key_there_is(number: int, schema: str) -> None:
    used = all_keys(tomllib.loads(blocks("toml")[number]))
    assert set(keys(jsondoc.schema(schema))) - used == set()


@pytest.mark.parametrize("schema", ["item", "settings", "pages"])
def test_every_key_is_explained(schema: str) -> None:
    rows = [row for row in TEXT.splitlines() if row.startswith("|")]
    explained = set(re.findall(r"`(\w+)`", "\n".join(row.split("|")[k] for row in rows for k in (1, 2))))
    tables = {"item", "care", "session", "section", "person", "identifier", "metadata", "volumes"}
    tables |= {"holder", "unit", "publication", "rights", "preservation", "colour", "equipment"}
    assert set(keys(jsondoc.schema(schema))) - explained - tables - {"item", "label"} == set()


@pytest.mark.parametrize("words", [ItemKind, FrameKind, LightKind, ViewingDirection, ImageDelivery])
def test_every_choice_is_named(words: type[ItemKind]) -> None:
    assert [word for word in words if f"`{word}`" not in TEXT] == []


def test_the_defaults_are_those_of_the_settings() -> None:
    defaults: Settings = load_settings(None)
    for key in ("base_url", "tile_px", "access_long_edge_px", "jpeg_quality"):
        row = next(row for row in TEXT.splitlines() if f"| `{key}` |" in row)
        assert row.split("|")[4].strip(" `") == str(getattr(defaults, key))
