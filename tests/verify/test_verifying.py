"""Whole bundles: what solander builds is accepted, one fault is found once, nothing is touched."""

from __future__ import annotations

import os
import tarfile
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import InputError
from pipeline.findings import Level
from pipeline.verdict import Outcome
from pipeline.verify import Options, registers, verify
from tests import make
from tests.make_item import World
from tests.verify import deliver
from tests.verify.deliver import Both, edit, judged, options, seal, told


@pytest.fixture
def both(built: World, tmp_path: Path) -> Both:
    return deliver.copied(built, tmp_path / "delivered")


def test_what_is_built_is_accepted_alone_and_together(built: World) -> None:
    verified, between = judged(*sorted(built.bundles.iterdir()))
    assert told(between, *(each.verdict.report for each in verified)) == []
    assert [each.verdict.outcome for each in verified] == [Outcome.ACCEPTED, Outcome.ACCEPTED]
    assert all(each.verdict.report.skipped == () for each in verified)


def _move(world: World, old: str, new: str) -> None:
    target = world.masters / new
    target.parent.mkdir(parents=True, exist_ok=True)
    (world.masters / old).rename(target)
    world.rewrite("pages.csv", f"{old},", f"{new},")


def _in_folders(world: World) -> None:
    """Subfolders, files of one name in two of them, names that are unsafe in addresses."""
    _move(world, "B14_0002.tif", "front/0001.tif")
    _move(world, "B14_0004.tif", "back/0001.tif")
    _move(world, "B14_0005.tif", "back/Blatt ü 2.tif")


def _with_openings(world: World) -> None:
    world.rewrite("pages.csv", "B14_0004.tif,f. 1v,page", "B14_0004.tif,ff. 1v–2r,opening")
    world.rewrite("pages.csv", ",f. 2r,page,s1,,not captured\n", "")
    world.rewrite("item.toml", 'to = "f. 1v"', 'to = "ff. 1v–2r"')


def _blank(world: World) -> None:
    """Two blank pages that are alike but not the same file."""
    for number, name in enumerate(("B14_0004.tif", "B14_0005.tif")):
        paper = np.random.default_rng(number).normal(52000, 900, (200, 150, 3)).astype(np.uint16)
        make.tiff(world.masters / name, pixels=paper)


def _for_an_image_server(world: World) -> None:
    world.rewrite(
        "solander.toml",
        "tile_px",
        'images = "pyramid-tiff"\nimage_service_url = "https://images.example.org/iiif/3"\ntile_px',
    )


def _right_to_left(world: World) -> None:
    world.rewrite("item.toml", '"left-to-right"', '"right-to-left"')


def _pages_with_semicolons(world: World) -> None:
    pages = world.item / "pages.csv"
    pages.write_text("\ufeff" + pages.read_text().replace(",", ";").replace("\n", "\r\n"), encoding="utf-8")


@pytest.mark.parametrize(
    "change",
    [_in_folders, _with_openings, _blank, _for_an_image_server, _right_to_left, _pages_with_semicolons],
)
def test_whatever_the_item_is_like_what_is_built_is_accepted(
    tmp_path: Path, change: Callable[[World], None]
) -> None:
    world = deliver.build(tmp_path, change)
    verified, between = judged(*sorted(world.bundles.iterdir()))
    assert told(between, *(each.verdict.report for each in verified)) == []


def test_sealing_again_by_other_code_changes_no_verdict(both: Both) -> None:
    verified, between = judged(*map(seal, both.paths))
    assert told(between, *(each.verdict.report for each in verified)) == []


def test_archives_are_judged_as_folders_are(built: World, tmp_path: Path) -> None:
    name = "msb-014-preservation"
    with tarfile.open(tmp_path / f"{name}.tar", "w") as archive:
        archive.add(built.bundles / name, name)
    with zipfile.ZipFile(tmp_path / f"{name}.zip", "w") as packed:
        for path in sorted((built.bundles / name).rglob("*")):
            packed.write(path, path.relative_to(built.bundles))
    for path in (tmp_path / f"{name}.tar", tmp_path / f"{name}.zip"):
        assert told(verify(path, options()).verdict.report) == []


def test_structure_alone_skips_what_needs_the_payload_and_says_so(built: World, tmp_path: Path) -> None:
    by = options("[images.masters]\nformats = ['TIFF']\n", tmp_path, is_quick=True)
    verified, between = judged(*sorted(built.bundles.iterdir()), by=by)
    skipped = {each.code for one in verified for each in one.verdict.report.skipped}
    assert {"B070", "I001", "X011", "D020", "D021", "D042"} <= skipped
    assert not skipped & {"X001", "X010", "D001", "D010", "D030", "D040"}
    assert told(between) == []


def test_every_rule_has_a_code_of_its_own_in_its_family() -> None:
    codes = [code for register in registers() for code in register.rules]
    assert len(codes) == len(set(codes))
    assert {code[0] for code in codes} == set("ABDIMPTX")


# ------------------------------------------------------------------------- one fault, one finding

MASTERS, ACCESS = "data/masters", "data/access/msb-014"
METS, PAGES = "data/metadata/mets.xml", "data/metadata/pages.csv"


def _swap_pictures(both: Both) -> None:
    one, other = (both.publication / ACCESS / f"B14_000{number}.jpg" for number in (2, 4))
    first, second = one.read_bytes(), other.read_bytes()
    one.write_bytes(second)
    other.write_bytes(first)


def _swap_rows(both: Both) -> None:
    rows = (
        "B14_0002.tif,f. 1r,page,s1,,\n",
        "B14_0003.tif,f. 1r,page,s1,raking,\n",
        "B14_0004.tif,f. 1v,page,s1,,\n",
    )
    edit(both.preservation / PAGES, ("".join(rows), "".join((rows[2], rows[0], rows[1]))))


def _double_row(both: Both) -> None:
    row = "B14_0004.tif,f. 1v,page,s1,,\n"
    edit(both.preservation / PAGES, (row, row * 2))


def _drop_row(both: Both) -> None:
    edit(both.preservation / PAGES, ("B14_0004.tif,f. 1v,page,s1,,\n", ""))


def _rename_label(both: Both) -> None:
    edit(both.preservation / PAGES, ("f. 1v", "f. 7v"))


def _name_another_file(both: Both) -> None:
    edit(both.preservation / PAGES, ("B14_0004.tif", "B14_0444.tif"))


def _blank_master(both: Both) -> None:
    make.tiff(
        both.preservation / MASTERS / "B14_0004.tif",
        pixels=deliver.scene(99),
        resolution=(600, 600),
        resolutionunit="INCH",
    )


FAULTS = {
    "rows swapped": (
        _swap_rows,
        ["X001 data/metadata/pages.csv: f. 1r (b14_0002) stands after f. 1v (b14_0004)"],
    ),
    "a row twice": (_double_row, ["X001 data/metadata/pages.csv: f. 1v (b14_0004) is in it twice"]),
    "a row missing": (_drop_row, ["X001 data/metadata/pages.csv: f. 1v (b14_0004) is not in it"]),
    "a label changed": (_rename_label, ['X001 data/metadata/pages.csv: b14_0004 is "f. 7v", not "f. 1v"']),
    "a file renamed in the list": (
        _name_another_file,
        ["X001 data/metadata/pages.csv: f. 1v shows b14_0444, not b14_0004"],
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_one_fault_in_the_page_list_is_told_of_once(both: Both, name: str) -> None:
    change, expected = FAULTS[name]
    change(both)
    seal(both.preservation)
    verified, between = judged(*both.paths)
    found = [told(each.verdict.report) for each in verified]
    # the page list is no part of METS, but METS of the other bundle agrees with METS of this one
    assert [*found, told(between)] == [expected, [], []]


def test_swapped_pictures_are_told_of_as_a_swap_between_the_bundles(both: Both) -> None:
    _swap_pictures(both)
    seal(both.publication)
    between = judged(*both.paths)[1]
    (found,) = told(between)
    assert found == (
        "X011 data/access/msb-014/B14_0002.jpg: shows the picture of data/masters/B14_0004.tif; "
        "data/access/msb-014/B14_0004.jpg that of data/masters/B14_0002.tif"
    )


def test_another_master_under_an_old_name_does_not_fit_its_surrogates(both: Both) -> None:
    _blank_master(both)
    seal(both.preservation)
    found = told(judged(*both.paths)[1])
    assert {each.split(":")[0] for each in found} == {
        "X011 data/access/msb-014/B14_0004.jpg",
        "X011 data/iiif/msb-014/B14_0004/full/max/0/default.jpg",
    }


def test_a_surrogate_that_is_gone_is_told_of_once(both: Both) -> None:
    (both.publication / ACCESS / "B14_0004.jpg").unlink()
    verified, between = judged(*both.paths)
    assert told(between) == []
    assert all("X010" not in each.verdict.report.codes for each in verified)


# ------------------------------------------------------------------------------------ nothing is touched


def _state(folder: Path) -> dict[str, tuple[int, int, bytes]]:
    return {
        str(path): (
            path.stat().st_mtime_ns,
            path.stat().st_mode,
            path.read_bytes() if path.is_file() else b"",
        )
        for path in sorted(folder.rglob("*"))
    }


def test_nothing_in_a_bundle_is_changed_nor_written_beside_it(both: Both, tmp_path: Path) -> None:
    before = _state(tmp_path)
    work = Options(threads=2, draws_sample=True)
    for path in both.paths:
        verified = verify(path, work)
        assert verified.thumbnails
    assert _state(tmp_path) == before


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser reads everything")
def test_a_file_that_may_not_be_read_is_a_finding(both: Both) -> None:
    (both.preservation / MASTERS / "B14_0004.tif").chmod(0)
    report = verify(both.preservation, options()).verdict.report
    assert report.at(Level.ERROR)


# --------------------------------------------------------------------------------------- bare documents

UNKNOWN = {
    "manifest.json": "{}",
    "info.json": '{"width": 1}',
    "list.json": "[1]",
    "mets.xml": "<record/>",
    "mets-2.xml": '<mets xmlns="http://www.loc.gov/METS/v2"/>',
}


@pytest.mark.parametrize("name", UNKNOWN)
def test_a_document_that_nobody_judges_is_not_accepted(name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_text(UNKNOWN[name])
    with pytest.raises(InputError, match="is no document that is judged"):
        verify(path, Options())


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("mods.xml", '<mods xmlns="http://www.loc.gov/mods/v3"><identifier>a</identifier></mods>'),
        ("mets.xml", "<mets/>"),
        ("manifest.json", '{"type": "Manifest"}'),
        ("info.json", "{"),
    ],
)
def test_a_document_that_is_judged_and_wrong_is_rejected(name: str, text: str, tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_text(text)
    assert verify(path, Options()).verdict.outcome is Outcome.REJECTED
