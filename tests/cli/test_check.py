"""`solander check`: item folders, bare folders of images, reports, statuses."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import pytest

from pipeline.cli.main import run
from tests import make_item
from tests.cli.conftest import images
from tests.make_item import World

Said = pytest.CaptureFixture[str]


def test_a_check_judges_an_item_and_writes_its_report(world: World, capsys: Said) -> None:
    before = make_item.tree(world.item)
    assert run(["check", "msb-014"]) == 0
    said = capsys.readouterr()
    assert said.out.splitlines()[0] == "msb-014: 7 frames; 4 warnings, 8 notes"
    assert said.out.splitlines()[-1] == "  quality  reports/msb-014/quality.html"
    assert (world.root / "reports/msb-014/quality.html").is_file()
    assert json.loads((world.root / "reports/msb-014/quality.json").read_text())
    assert make_item.tree(world.item) == before
    assert not world.bundles.exists()


def test_an_error_finding_is_status_3_and_is_told_with_place_limit_and_advice(
    world: World, capsys: Said
) -> None:
    world.rewrite("pages.csv", ",f. 2r,page,s1,,not captured\n", "")
    assert run(["check", "msb-014"]) == 3
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "msb-014: 7 frames; 1 error, 4 warnings, 8 notes"
    assert lines[1] == "  error S002  One side of a leaf is missing"
    assert "f. 2r; expected no gap" in lines[2]
    assert lines[3].startswith("      → ")


def test_many_places_of_one_code_are_cut(place: Path, capsys: Said) -> None:
    images(place / "images", *(f"a{number}.tif" for number in range(9)), iccprofile=None)
    assert run(["check", "images"]) == 3
    out = capsys.readouterr().out
    assert "images: 9 frames; 9 errors" in out
    assert "… and 5 more, all in the quality report" in out
    assert out.count("→") == 1


def test_a_bare_folder_of_images_is_judged_by_its_name(place: Path, capsys: Said) -> None:
    images(place / "scans", "a1.tif")
    assert run(["check", "scans", "--json"]) == 0
    (document,) = json.loads(capsys.readouterr().out)
    assert (document["item"], document["report"]) == ("scans", "reports/scans/quality.json")


def test_one_image_is_judged_by_itself(place: Path, capsys: Said) -> None:
    images(place / "scans", "a1.tif", "a2.tif")
    assert run(["check", "scans/a2.tif", "--json"]) == 0
    (document,) = json.loads(capsys.readouterr().out)
    assert (document["item"], document["report"]) == ("a2", "reports/a2/quality.json")
    (frame,) = json.loads((place / document["report"]).read_text())["frames"]
    assert frame["file"] == "a2.tif"


def test_names_tell_which_frames_of_a_bare_folder_are_targets_and_flats(place: Path, capsys: Said) -> None:
    images(
        place / "scans", "b14_001_target.tif", "b14_002_flat.tif", "b14_003_001r.tif", "b14_004_001r_uv.tif"
    )
    run(["check", "scans"])
    frames = json.loads((place / "reports/scans/quality.json").read_text())["frames"]
    assert [each["kind"] for each in frames] == ["target", "flat", "page", "page"]
    assert [each["light"] for each in frames][2:] == ["normal", "ultraviolet"]
    assert "guessed from its name" in (place / "reports/scans/quality.html").read_text()


def test_two_folders_of_one_name_get_reports_of_their_own(place: Path, capsys: Said) -> None:
    for parent in ("one", "two"):
        images(place / parent / "masters", "a1.tif")
    assert run(["check", "one/masters", "two/masters", "one/masters", "--json"]) == 0
    reports = [document["report"] for document in json.loads(capsys.readouterr().out)]
    assert reports == [f"reports/{name}/quality.json" for name in ("masters", "masters-2", "masters")]


@pytest.mark.parametrize(
    ("folder", "message"),
    [
        ("nowhere", "nowhere: is not there"),
        ("note.txt", "note.txt: is no image by its name"),
        ("half/item.toml", "half/item.toml: is a file of an item; give the item's folder, half"),
        ("empty", "empty: holds neither item.toml nor any image"),
    ],
)
def test_what_holds_no_images_is_status_5(place: Path, folder: str, message: str, capsys: Said) -> None:
    (place / "empty").mkdir()
    (place / "half").mkdir()
    (place / "half" / "item.toml").write_text("")
    (place / "note.txt").write_text("a note")
    assert run(["check", folder]) == 5
    said = capsys.readouterr()
    assert said.err.startswith(f"solander: {message}")
    assert said.out == ""


@pytest.mark.skipif(sys.platform != "linux", reason="other file systems refuse such names")
def test_names_that_are_no_text_are_refused_and_shown_escaped(place: Path, capsys: Said) -> None:
    (place / "images").mkdir()
    (place / "images" / os.fsdecode(b"B\xfcch.tif")).write_bytes(b"II*\0")
    assert run(["check", "images", "--json"]) == 5
    said = capsys.readouterr()
    assert "B\\udcfcch.tif" in said.err
    assert json.loads(said.out)[0]["problems"][0]["expected"] == "names in UTF-8"


def test_an_unknown_specification_names_those_that_there_are(world: World, capsys: Said) -> None:
    assert run(["check", "msb-014", "--specification", "no-such"]) == 4
    assert "fadgi-2016-manuscripts-3-star" in capsys.readouterr().err
