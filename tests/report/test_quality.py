"""The quality document keeps its schema, and says what the judgement says."""

from __future__ import annotations

import json
import math
from collections import Counter
from dataclasses import replace
from pathlib import PurePosixPath
from typing import Any

import pytest

from pipeline import jsondoc, specification
from pipeline.check import places
from pipeline.check.measured import values_for
from pipeline.measurements import Curve, FrameMeasures, Measurement, PatchValues, Quantity
from pipeline.report.quality import quality_document
from tests.check.test_rules import FAILING, cases, unreadable
from tests.check.world import NOW, World, good_frames
from tests.report import sample


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
        "outcome": "success", "errors": 0, "warnings": 0, "notes": 0, "frames": 11, "frames_unreadable": 0,
    }  # fmt: skip
    assert made["findings"] == []
    assert made["not_judged"] == []
    assert made["not_measured"]
    assert made["sessions"][0]["resolution_ppi"] == 600
    assert made["sessions"][0]["frames"] == 11


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


# ------------------------------------------------------------------------------------ what was measured


@pytest.fixture(scope="module")
def sampled() -> dict[str, Any]:
    return dict(sample.document())


def test_a_document_full_of_measures_keeps_the_schema_and_is_the_same_to_the_byte(
    sampled: dict[str, Any],
) -> None:
    assert list(jsondoc.violations(sampled, "quality")) == []
    assert jsondoc.to_bytes(sampled) == jsondoc.to_bytes(sample.document())
    assert json.loads(jsondoc.to_bytes(sampled)) == sampled


def test_every_measured_number_is_there_with_its_unit_and_how_it_was_made(sampled: dict[str, Any]) -> None:
    frames = {each.label: (at, each) for at, each in enumerate(sample.frames())}
    at, target = frames[sample.BAD_TARGET]
    made = next(each for each in sampled["frames"] if each["id"] == target.identifier)["measures"]
    measures = sample.measures(target, at)
    assert len(made["measurements"]) == len(measures.measurements)
    for said, known in zip(made["measurements"], measures.measurements, strict=True):
        assert (said["quantity"], said["unit"]) == (known.quantity.value, known.quantity.unit)
        assert said["value"] == pytest.approx(known.value, rel=1e-5)
        assert (said["formula"], said["place"], said["method"]) == (known.formula, known.place, known.method)
    assert len(made["patches"]) == 24
    assert made["version"] == measures.version
    assert [len(curve["points"]) for curve in made["curves"]] == [6, 51, 51, 51, 51, 51, 51]


def test_what_was_not_measured_has_no_value_but_a_reason(sampled: dict[str, Any]) -> None:
    found = [m for f in sampled["frames"] if f["measures"] for m in f["measures"]["measurements"]]
    assert {m["reason"] for m in found if m["value"] is None} == {
        "there is no line of text or drawing on the page",
        "frames of the kind cover each show something else",
    }
    assert all(m["reason"] is None for m in found if m["value"] is not None)


def test_numbers_that_are_none_are_null_in_the_document() -> None:
    nan = math.nan
    patch = PatchValues(name="x", lab=(1, 2, 3), reference=(1, 2, 3), difference=nan, noise=None)
    measures = FrameMeasures(
        measurements=(Measurement(quantity=Quantity.SKEW, value=nan),),
        patches=(patch,),
        curves=(Curve(name="c", x_label="x", y_label="y", points=((0, 1 / 3), (1, nan))),),
    )
    made = document(World().change_record(3, measures=measures))
    assert list(jsondoc.violations(made, "quality")) == []
    said = made["frames"][3]["measures"]
    assert (said["measurements"][0]["value"], said["measurements"][0]["reason"]) == (
        None,
        "no number came out",
    )
    assert said["patches"][0]["noise_lightness_sd"] is None
    assert said["curves"][0]["points"] == [[0.0, 0.333333]]  # six figures


def test_comparisons_and_findings_say_the_same_of_every_frame_and_quantity(sampled: dict[str, Any]) -> None:
    limits = sampled["specification"]["limits"]
    beyond = Counter(
        frame["id"]
        for frame in sampled["frames"]
        for each in frame["compared"]
        if each["standing"] == "beyond"
    )
    codes = [f for f in sampled["findings"] if f["code"] > "Q001" and f["code"].startswith("Q")]
    assert Counter(each["frame"] for each in codes) == beyond
    assert sum(beyond.values()) == 7
    unknown = [c for f in sampled["frames"] for c in f["compared"] if c["standing"] == "unknown"]
    assert {(limits[c["limit"]]["measure"], c["value"]) for c in unknown} == {
        ("text_skew", None),
        ("focus_deviation", None),
        ("page_tone_deviation", None),
    }
    assert all(c["reason"] for c in unknown)


@pytest.mark.parametrize(
    ("value", "uncertainty", "standing"),
    [
        (0.5, 0.1, "within"),
        (1.9, 0.1, "close"),
        (1.9, 0.0, "within"),
        (-2.1, 0.1, "beyond"),
        (-1.9, 0.1, "close"),
    ],
)
def test_a_value_nearer_to_its_limit_than_it_is_sure_is_said_to_be_close(
    value: float, uncertainty: float, standing: str
) -> None:
    measured = Measurement(quantity=Quantity.SKEW, value=value, uncertainty=uncertainty)
    world = World().change_record(3, measures=FrameMeasures(measurements=(measured,)))
    world.specification = specification.load(sample.SPECIFICATION)
    (said,) = document(world)["frames"][3]["compared"]
    assert (said["standing"], said["value"]) == (standing, value)


def test_findings_name_the_frame_or_session_that_they_are_about(sampled: dict[str, Any]) -> None:
    by_id = {each["id"]: each for each in sampled["frames"]}
    of_frames = [each for each in sampled["findings"] if each["frame"]]
    assert all(by_id[each["frame"]]["place"] == each["place"] for each in of_frames)
    assert len(of_frames) > 10
    assert [each["place"] for each in sampled["frames"]] == [places.of_frame(f) for f in sample.frames()]
    world = World()
    world = world.with_frames(tuple(each for each in world.frames if each.kind != "target"))
    sessions = [
        each["session"] for each in document(world)["findings"] if each["place"].startswith("item.toml")
    ]
    assert sessions
    assert set(sessions) == {"s1"}
