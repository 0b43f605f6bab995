"""The quality document keeps its schema, and says what the judgement says."""

from __future__ import annotations

from dataclasses import replace
from pathlib import PurePosixPath
from typing import Any

import pytest

from pipeline import jsondoc
from pipeline.check.measured import values_for
from pipeline.report.quality import quality_document
from tests.check.test_rules import FAILING, cases, unreadable
from tests.check.world import NOW, World, good_frames


def document(world: World) -> dict[str, Any]:
    return quality_document(
        world.item,
        world.frames,
        world.records,
        world.unreadable,
        world.judge(),
        world.specification,
        values_for=values_for,
        now=NOW,
        software_version="0.1.0",
    )


@pytest.mark.parametrize(("code", "change", "expected"), cases(FAILING))
def test_every_judgement_keeps_the_schema(code: str, change: Any, expected: set[str]) -> None:
    made = document(change(World()))
    assert list(jsondoc.violations(made, "quality")) == []
    assert {finding["code"] for finding in made["findings"]} == expected


def test_a_good_item_is_a_success_without_findings() -> None:
    made = document(World())
    assert made["verdict"] == {
        "outcome": "success", "errors": 0, "warnings": 0, "notes": 0, "frames": 9, "frames_unreadable": 0,
    }  # fmt: skip
    assert made["findings"] == []
    assert made["not_judged"] == []
    assert made["not_measured"]
    assert made["sessions"][0]["resolution_ppi"] == 600
    assert made["sessions"][0]["frames"] == 9


def test_a_frame_says_its_facts_in_units() -> None:
    master = document(World())["frames"][3]["master"]
    assert (master["width_px"], master["height_px"], master["size_bytes"]) == (3000, 4000, 72_000_000)
    assert master["resolution_across_ppi"] == 600
    assert master["capture"]["exposure_time_s"] == 0.008
    assert master["capture"]["camera"] == "Kestrelworks Repro 150"
    assert set(master["digests"]) == {"sha512"}


def test_a_view_that_was_not_captured_is_listed_without_a_file() -> None:
    (frame,) = [frame for frame in document(World())["frames"] if frame["file"] is None]
    assert (frame["label"], frame["master"], frame["unreadable"]) == ("f. 3v", None, None)


def test_an_unreadable_master_says_why_and_what_was_not_judged() -> None:
    made = document(unreadable(World()))
    assert made["verdict"]["frames_unreadable"] == 1
    assert made["frames"][3]["unreadable"] == "ends early"
    assert made["not_judged"][0] == {
        "code": "F002",
        "title": "File format is not one for masters",
        "reason": "not judged, because of F001",
        "places": ["pages.csv, row 5: b14_0004.tif"],
    }


def test_a_bare_folder_has_no_item_and_says_what_that_leaves_out() -> None:
    world = World(item=None, frames=tuple(replace(each, row=0, label="") for each in good_frames()[:8]))
    made = document(world)
    assert list(jsondoc.violations(made, "quality")) == []
    assert made["item"] is None
    assert {each["reason"] for each in made["not_judged"]} == {
        "a bare folder of images has no item.toml and no pages.csv"
    }


def test_the_same_judgement_gives_the_same_bytes() -> None:
    assert jsondoc.to_bytes(document(World())) == jsondoc.to_bytes(document(World()))


def test_a_file_name_that_is_no_utf_8_does_not_break_the_document() -> None:
    world = World().change_frame(3, file=PurePosixPath("b14_\udcff.tif"))
    made = document(world)
    assert made["frames"][3]["file"] == r"b14_\udcff.tif"
    assert b"udcff" in jsondoc.to_bytes(made)
