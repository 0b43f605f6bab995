"""The main job end to end on small items: what is made, what is kept, what stops it."""

from __future__ import annotations

import datetime as dt
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path, PurePosixPath

import bagit
import pytest

from pipeline import files, layout, run, specification, xmldoc
from pipeline.errors import ExitStatus, FixityError, SettingsError, ToolError
from pipeline.measure import references
from pipeline.run import Built, Options
from tests import make
from tests.make_item import NOW_EPOCH, World, tree, world

NOW = dt.datetime.fromtimestamp(NOW_EPOCH, dt.UTC)


@pytest.fixture
def executor() -> Executor:
    return ThreadPoolExecutor(2)


@pytest.fixture
def made(tmp_path: Path) -> World:
    return world(tmp_path)


def options_for(made: World) -> Options:
    return Options(work=made.work, bundles=made.bundles, specification=specification.load(None), now=NOW)


def build(made: World, executor: Executor, **changes: object) -> Built:
    opened, settings = run.open_item(made.item)
    return run.build_item(opened, settings, replace(options_for(made), **changes), executor)  # type: ignore[arg-type]


def mets_of(built: Built) -> xmldoc.Element:
    assert built.preservation
    return xmldoc.read(built.preservation / "data/metadata/mets.xml")


# ------------------------------------------------------------------------------------- what is made


def test_an_item_becomes_two_bundles_that_the_bagit_library_finds_valid(
    made: World, executor: Executor
) -> None:
    built = build(made, executor)
    assert built.publication
    assert built.preservation
    assert (built.frames_done, built.frames_kept) == (7, 0)
    for bundle in (built.publication, built.preservation):
        bagit.Bag(str(bundle)).validate()
    assert sorted(path.name for path in made.bundles.iterdir()) == [
        "msb-014-preservation",
        "msb-014-publication",
    ]
    kept = {str(path) for path in tree(built.preservation) if path.startswith("data/")}
    assert kept == {
        *(f"data/masters/B14_000{n}.tif" for n in range(1, 6)),
        "data/targets/B14_T001.tif",
        "data/targets/B14_F001.tif",
        *(
            f"data/metadata/{name}"
            for name in ("mets.xml", "quality.json", "quality.html", "item.toml", "pages.csv")
        ),
    }


def test_masters_are_not_altered_by_a_run(made: World, executor: Executor) -> None:
    def state() -> dict[str, tuple[bytes, int, int]]:
        return {
            path.name: (path.read_bytes(), path.stat().st_mtime_ns, path.stat().st_mode)
            for path in made.masters.iterdir()
        }

    before = state()
    build(made, executor)
    assert state() == before


def test_every_address_in_the_manifest_has_its_file_in_the_bundle(made: World, executor: Executor) -> None:
    built = build(made, executor)
    assert built.publication
    payload = built.publication / "data"
    manifest = json.loads((payload / "iiif/msb-014/manifest.json").read_text())
    served: set[str] = set()

    def visit(value: object) -> None:
        if isinstance(value, dict):
            if value.get("type") in ("Image", "Dataset", "Manifest"):
                served.add(str(value["id"]))
            if value.get("type") == "ImageService3":
                served.add(f"{value['id']}/info.json")
            for each in value.values():
                visit(each)
        elif isinstance(value, list):
            for each in value:
                visit(each)

    visit({key: value for key, value in manifest.items() if key != "provider"})
    assert len(served) > 12
    for address in served:
        assert address.startswith("https://images.example.org/")
        assert (payload / address.removeprefix("https://images.example.org/")).is_file(), address


def test_serial_numbers_operators_and_locations_stay_out_of_the_publication(
    made: World, executor: Executor
) -> None:
    make.tiff_with_exif(made.masters / "B14_0005.tif")
    built = build(made, executor)
    assert built.publication
    everything = b"\n".join(tree(built.publication).values())
    for secret in (b"KW-SECRET-0417", b"KW-0417", b"L-77", b"Secretoperator", b"GPS"):
        assert secret not in everything
    assert b"KW-SECRET-0417" in xmldoc.to_bytes(mets_of(built))


def test_two_runs_elsewhere_give_the_same_bytes(tmp_path: Path, executor: Executor) -> None:
    trees = []
    for name in ("one", "two"):
        made = world(tmp_path / name)
        build(made, executor)
        trees.append(tree(made.bundles))
    assert trees[0] == trees[1]


@pytest.mark.parametrize(("images", "suffix"), [("pyramid-tiff", "tif"), ("jp2", "jp2")])
def test_a_site_with_an_image_server_gets_one_file_a_frame(
    images: str, suffix: str, made: World, executor: Executor
) -> None:
    server = "https://iiif.example.org/image"
    made.rewrite(
        "solander.toml",
        "tile_px = 128",
        f'tile_px = 128\nimages = "{images}"\nimage_service_url = "{server}"',
    )
    built = build(made, executor)
    assert built.publication
    payload = built.publication / "data"
    names = {path.name for path in (payload / "images/msb-014").iterdir()}
    assert names == {f"B14_000{number}.{suffix}" for number in range(1, 6)}
    manifest = json.loads((payload / "iiif/msb-014/manifest.json").read_text())
    body = manifest["items"][0]["items"][0]["items"][0]["body"]
    assert body["service"][0]["id"] == f"{server}/msb-014%2FB14_0001.{suffix}"
    assert not list(payload.rglob("info.json"))


def test_every_volume_carries_the_collection_of_all(made: World, executor: Executor) -> None:
    volumes = """
[volumes]
id = "chronicle"
label = { en = "Chronicle, 2 vols" }

[[volumes.volume]]
item = "msb-014"
label = { en = "Vol. 1" }

[[volumes.volume]]
item = "msb-015"
label = { en = "Vol. 2" }
"""
    made.rewrite("item.toml", "[[section]]", f"{volumes}\n[[section]]")
    built = build(made, executor)
    assert built.publication
    collection = json.loads((built.publication / "data/iiif/chronicle/collection.json").read_text())
    assert [each["id"].rsplit("/", 2)[1] for each in collection["items"]] == ["msb-014", "msb-015"]
    manifest = json.loads((built.publication / "data/iiif/msb-014/manifest.json").read_text())
    assert manifest["partOf"][0]["id"] == collection["id"]


# ------------------------------------------------------------------------------------- what is kept


def test_a_second_build_does_nothing(made: World, executor: Executor) -> None:
    build(made, executor)
    before = {path: path.stat().st_mtime_ns for path in made.bundles.rglob("*")}
    again = build(made, executor, now=NOW + dt.timedelta(days=1))
    assert again.was_up_to_date
    assert again.status is build(made, executor).status
    assert {path: path.stat().st_mtime_ns for path in made.bundles.rglob("*")} == before


def test_a_changed_label_redoes_the_description_only(made: World, executor: Executor) -> None:
    first = build(made, executor)
    assert first.publication
    before = tree(first.publication)
    made.rewrite("pages.csv", "B14_0001.tif,front cover", "B14_0001.tif,front board")
    again = build(made, executor)
    assert (again.frames_done, again.frames_kept, again.was_up_to_date) == (0, 7, False)
    after = tree(first.publication)
    changed = {name for name in before | after if before.get(name) != after.get(name)}
    assert "data/iiif/msb-014/manifest.json" in changed
    assert not any(name.endswith(".jpg") for name in changed)


def test_a_changed_master_redoes_that_frame_only(made: World, executor: Executor) -> None:
    build(made, executor)
    make.tiff(made.masters / "B14_0004.tif", pixels=make.picture(150, 200)[::-1])
    again = build(made, executor)
    assert (again.frames_done, again.frames_kept) == (1, 6)
    assert again.preservation
    bagit.Bag(str(again.preservation)).validate()
    kept = (again.preservation / "data/masters/B14_0004.tif").read_bytes()
    assert kept == (made.masters / "B14_0004.tif").read_bytes()


def test_a_new_measurement_of_the_target_redoes_target_frames_only(made: World, executor: Executor) -> None:
    chart = '[[equipment]]\nid = "chart-1"\nkind = "target"\npitch_mm = [10]\nmeasured = "chart-1.txt"'
    made.rewrite("solander.toml", "[rights]", f"{chart}\n\n[rights]")
    made.rewrite("item.toml", 'lens = "lens-120"', 'lens = "lens-120"\ntargets = ["chart-1"]')
    write_measurement(made.root / "chart-1.txt", lift=0)
    assert build(made, executor).publication
    write_measurement(made.root / "chart-1.txt", lift=-1)
    again = build(made, executor)
    assert (again.frames_done, again.frames_kept, again.was_up_to_date) == (1, 6, False)
    made.rewrite("solander.toml", "pitch_mm = [10]", "pitch_mm = [10.5]")
    again = build(made, executor)
    assert (again.frames_done, again.frames_kept, again.was_up_to_date) == (1, 6, False)


def write_measurement(path: Path, *, lift: float) -> None:
    """Write a target's own measurement (CGATS), its lightnesses above the published ones by `lift`."""
    labs = (f"{lab[0] + lift:.2f} {lab[1]:.2f} {lab[2]:.2f}" for lab in references.load().labs)
    rows = "\n".join(f"{number} {lab}" for number, lab in enumerate(labs, 1))
    head = "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nBEGIN_DATA"
    path.write_text(f"{head}\n{rows}\nEND_DATA\n", encoding="utf-8")


def test_a_removed_bundle_is_made_again(made: World, executor: Executor) -> None:
    built = build(made, executor)
    assert built.publication
    shutil.rmtree(built.publication)
    again = build(made, executor)
    assert not again.was_up_to_date
    assert again.frames_kept == 7
    bagit.Bag(str(built.publication)).validate()


def test_what_belongs_to_frames_that_are_gone_is_removed(made: World, executor: Executor) -> None:
    build(made, executor)
    made.rewrite("pages.csv", "B14_0003.tif,f. 1r,page,s1,raking,\n", "")
    (made.masters / "B14_0003.tif").unlink()
    built = build(made, executor)
    assert not (made.work / "msb-014/frames/B14_0003").exists()
    assert not any("B14_0003" in name for name in tree(made.bundles))
    assert built.frames_kept == 6


def test_a_damaged_derivative_in_the_workspace_is_found_and_made_again(
    made: World, executor: Executor
) -> None:
    built = build(made, executor)
    assert built.publication
    victim = Path("access/msb-014/B14_0002.jpg")
    in_workspace = made.work / "msb-014/frames/B14_0002/public" / victim
    good = in_workspace.read_bytes()
    in_workspace.unlink()  # it is one file with that in the bundle
    in_workspace.write_bytes(good[:30] + bytes([good[30] ^ 1]) + good[31:])
    made.rewrite("pages.csv", "front cover", "front board")
    with pytest.raises(FixityError, match=r"B14_0002\.jpg"):
        build(made, executor)
    again = build(made, executor)
    assert (again.frames_done, again.frames_kept) == (1, 6)
    assert (built.publication / "data" / victim).read_bytes() == good
    bagit.Bag(str(built.publication)).validate()


# ------------------------------------------------------------------------------------ what stops it


def test_an_item_that_is_not_cleared_is_not_built(made: World, executor: Executor) -> None:
    made.rewrite("item.toml", "cleared = true", "cleared = false")
    built = build(made, executor)
    assert built.status is ExitStatus.WANTING
    assert built.stopped_by == ("C001",)
    assert not made.bundles.exists()
    assert not (made.work / "msb-014/frames").exists()  # said before anything is read


def test_going_on_without_clearance_is_recorded_as_an_event(made: World, executor: Executor) -> None:
    made.rewrite("item.toml", "cleared = true", "cleared = false")
    reason = "urgent loan, agreed with the head of conservation"
    built = build(made, executor, waiver=reason)
    assert built.preservation
    events = [
        event
        for event in mets_of(built).iter("{http://www.loc.gov/premis/v3}event")
        if reason in "".join(map(str, event.itertext()))
    ]
    assert len(events) == 1


def test_unreadable_masters_stop_the_build_and_are_all_named(made: World, executor: Executor) -> None:
    for name in ("B14_0002.tif", "B14_0005.tif"):
        make.cut(made.masters / name, 0.6)
    built = build(made, executor)
    assert built.status is ExitStatus.INPUT
    places = [finding.place for finding in built.report.findings if finding.code in built.stopped_by]
    assert any("B14_0002.tif" in place for place in places)
    assert any("B14_0005.tif" in place for place in places)
    assert not made.bundles.exists()


def test_quality_findings_do_not_stop_the_build_unless_it_is_strict(made: World, executor: Executor) -> None:
    shutil.copy(made.masters / "B14_0004.tif", made.masters / "B14_0005.tif")  # the same picture twice
    strict = build(made, executor, strict=True)
    assert strict.status is ExitStatus.WANTING
    assert strict.stopped_by
    assert not made.bundles.exists()
    built = build(made, executor)
    assert built.status is ExitStatus.WANTING
    assert built.publication


def test_untagged_frames_stop_the_build_until_a_profile_is_named(made: World, executor: Executor) -> None:
    make.tiff(made.masters / "B14_0004.tif", pixels=make.picture(150, 200)[::-1], iccprofile=None)
    stopped = build(made, executor)
    assert stopped.stopped_by
    assert not made.bundles.exists()
    made.rewrite("solander.toml", "[rights]", '[colour]\nuntagged_profile = "sRGB"\n\n[rights]')
    built = build(made, executor)
    assert built.publication
    assert not built.stopped_by


def test_another_item_of_the_same_id_does_not_replace_the_bundles(made: World, executor: Executor) -> None:
    build(made, executor)
    before = tree(made.bundles)
    made.rewrite("item.toml", 'shelfmark = "MS B 14"', 'shelfmark = "MS C 1"')
    with pytest.raises(SettingsError, match="Give it an id of its own"):
        build(made, executor)
    assert tree(made.bundles) == before
    (made.work / "msb-014/receipt.json").unlink()  # the shelfmark was corrected
    assert build(made, executor).frames_kept == 7


def test_an_item_of_which_nothing_was_captured_is_told_so_before_anything_is_made(
    made: World, executor: Executor
) -> None:
    (made.item / "pages.csv").write_text("file,label\n,f. 1r\n,f. 1v\n")
    shutil.rmtree(made.masters)
    made.masters.mkdir()
    with pytest.raises(SettingsError, match="nothing to build") as caught:
        build(made, executor)
    assert "no file in any row that shows the object" in str(caught.value)
    assert not made.bundles.exists()


def test_two_runs_on_one_item_at_once_are_refused(made: World, executor: Executor) -> None:
    opened, settings = run.open_item(made.item)
    with files.locked(made.work / "msb-014"):
        with pytest.raises(ToolError, match="another run is at work"):
            build(made, executor)
        with pytest.raises(ToolError, match="another run is at work"):
            run.check_item(opened, settings, options_for(made), executor)


# ---------------------------------------------------------------------------------- killed anywhere


PROGRAM = """
import datetime as dt, sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tests.make_item import World
from tests.test_run import build
made = World(root=Path(sys.argv[1]))
print("begun", flush=True)
with ThreadPoolExecutor(2) as pool:
    build(made, pool)
"""


def test_a_run_killed_at_any_instant_ends_with_the_same_bundles(tmp_path: Path, executor: Executor) -> None:
    whole = world(tmp_path / "whole")
    begun = time.perf_counter()
    build(whole, executor)
    expected, took_s = tree(whole.bundles), time.perf_counter() - begun
    made = world(tmp_path / "killed")
    instants = random.Random(14)
    for _ in range(8):
        process = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, str(made.root)], stdout=subprocess.PIPE, cwd=Path.cwd()
        )
        assert process.stdout
        process.stdout.readline()
        time.sleep(instants.uniform(0, took_s))
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        process.stdout.close()
        for sealed in (path for path in made.bundles.glob("[!.]*") if made.bundles.exists()):
            bagit.Bag(str(sealed)).validate()
    build(made, executor)
    assert tree(made.bundles) == expected
    assert sorted(path.name for path in made.bundles.iterdir()) == sorted(
        (layout.publication_name("msb-014"), layout.preservation_name("msb-014"))
    )


# --------------------------------------------------------------------------------------- bare folders


def test_a_bare_folder_of_images_is_judged_without_a_record(made: World, executor: Executor) -> None:
    from pipeline.record import image_files

    names = image_files(made.masters)
    judgement = run.check_images(made.masters, names, options_for(made), executor)
    assert len(judgement.records) == 7
    assert judgement.quality
    assert b"<html" in judgement.quality_page


def test_files_of_a_bare_folder_whose_names_look_alike_are_each_judged(
    made: World, executor: Executor, tmp_path: Path
) -> None:
    folder = tmp_path / "bare"
    long = "n" * 240
    names = [PurePosixPath(f"{name}.tif") for name in ("a b", "a-b", f"{long}1", f"{long}2")]
    folder.mkdir()
    for number, name in enumerate(names):
        make.tiff(folder / name, pixels=make.picture(60 + number, 80))
    judgement = run.check_images(folder, names, options_for(made), executor)
    files_of = {name: record.master.path for name, record in judgement.records.items()}
    assert sorted(files_of.values()) == sorted(names)
    assert "S020" not in judgement.report.codes  # two files that are the same, byte for byte
