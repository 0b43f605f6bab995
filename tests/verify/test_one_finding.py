"""One broken thing gives one finding: whole bundles, each damaged in one way, and all that is said of it."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests import make
from tests.make_item import World
from tests.verify import deliver
from tests.verify.deliver import judged, seal, told
from tests.verify.make_bundles import renew_tag_manifests

Change = Callable[[Path], object]
MASTER = "data/masters/B14_0002.tif"
TARGET = "data/targets/B14_T001.tif"
TILE = "data/iiif/msb-014/B14_0002/full/75,100/0/default.jpg"


@pytest.fixture
def delivered(built: World, tmp_path: Path) -> dict[str, Path]:
    """Copies of the item's two bundles, to be damaged, by their kind."""
    both = deliver.copied(built, tmp_path / "delivered")
    return {"preservation": both.preservation, "publication": both.publication}


def _cut(bag: Path, name: str, size_bytes: int = 500) -> None:
    data = (bag / name).read_bytes()
    assert len(data) > size_bytes
    (bag / name).write_bytes(data[:size_bytes])


def found_in(bag: Path) -> list[str]:
    """Code and place of each finding but notes."""
    verified, _ = judged(bag)
    kind = bag.name.removeprefix("msb-014-")
    found = (each.partition(": ")[0] for each in told(verified[0].verdict.report))
    return [each.replace(bag.name, kind) for each in found]


METS = "data/metadata/mets.xml"
PAGES = "data/metadata/pages.csv"
SERVICE = "data/iiif/msb-014/B14_0002"
MANIFEST = "data/iiif/msb-014/manifest.json"
ACCESS = "data/access/msb-014/B14_0002.jpg"
PAYLOAD_MANIFEST = "manifest-sha512.txt"


def _lines(bag: Path, change: Callable[[str], str]) -> None:
    """Change the payload manifest, and seal it by the tag manifest."""
    (bag / PAYLOAD_MANIFEST).write_text(change((bag / PAYLOAD_MANIFEST).read_text()))
    renew_tag_manifests(bag)


def _flip(bag: Path, at: int) -> None:
    """Change one digit of the payload manifest."""
    text = (bag / PAYLOAD_MANIFEST).read_text()
    digit = "1" if text[at] == "0" else "0"
    (bag / PAYLOAD_MANIFEST).write_text(text[:at] + digit + text[at + 1 :])


ALTERED: list[tuple[str, str, Change, list[str]]] = [
    ("a master was cut off", "preservation", lambda bag: _cut(bag, MASTER), [f"B070 {MASTER}"]),
    ("a master was emptied", "preservation", lambda bag: _cut(bag, MASTER, 0), [f"B070 {MASTER}"]),
    ("a tile was cut off", "publication", lambda bag: _cut(bag, TILE), [f"B070 {TILE}"]),
    ("a tile was lost", "publication", lambda bag: (bag / TILE).unlink(), [f"B020 {TILE}"]),
    (
        "an image service was lost",
        "publication",
        lambda bag: shutil.rmtree(bag / SERVICE),
        [f"B020 {SERVICE}/"],
    ),
    (
        "all masters were lost",
        "preservation",
        lambda bag: shutil.rmtree(bag / "data/masters"),
        ["B020 data/masters/"],
    ),
    ("the payload was lost", "preservation", lambda bag: shutil.rmtree(bag / "data"), ["B007 preservation"]),
    (
        "a master was renamed",
        "preservation",
        lambda bag: _rename(bag, MASTER, "data/masters/b14_0002.TIF"),
        [f"B020 {MASTER}"],
    ),
    (
        "a master was added",
        "preservation",
        lambda bag: shutil.copy(bag / TARGET, bag / "data/masters/x.tif"),
        ["B022 data/masters/x.tif"],
    ),
    (
        "a file of the operating system was added",
        "preservation",
        lambda bag: (bag / "data/.DS_Store").write_bytes(b"x"),
        ["B022 data/.DS_Store"],
    ),
    (
        "the manifest was lost",
        "preservation",
        lambda bag: (bag / PAYLOAD_MANIFEST).unlink(),
        ["B006 preservation"],
    ),
    ("METS was cut off", "preservation", lambda bag: _cut(bag, METS, 5000), [f"B070 {METS}"]),
    (
        "METS was changed",
        "preservation",
        lambda bag: deliver.edit(bag / METS, ("normal*", "upright")),
        [f"B070 {METS}"],
    ),
    ("the IIIF manifest was cut off", "publication", lambda bag: _cut(bag, MANIFEST), [f"B070 {MANIFEST}"]),
    (
        "an info.json was cut off",
        "publication",
        lambda bag: _cut(bag, f"{SERVICE}/info.json", 30),
        [f"B070 {SERVICE}/info.json"],
    ),
    ("a digit of the manifest", "preservation", lambda bag: _flip(bag, 5), [f"B071 {PAYLOAD_MANIFEST}"]),
    (
        "the manifest was cut off",
        "preservation",
        lambda bag: _cut(bag, PAYLOAD_MANIFEST),
        [f"B071 {PAYLOAD_MANIFEST}"],
    ),
    (
        "a manifest with backslashes",
        "preservation",
        lambda bag: _lines(bag, lambda text: text.replace("/", "\\")),
        [f"B013 {PAYLOAD_MANIFEST}, line 1"],
    ),
    (
        "a manifest of paths below data",
        "preservation",
        lambda bag: _lines(bag, lambda text: text.replace("  data/", "  ")),
        [f"B014 {PAYLOAD_MANIFEST}"],
    ),
    (
        "a manifest of shorter digests",
        "preservation",
        lambda bag: _lines(bag, lambda text: re.sub(r"(?m)^[0-9a-f]{96}", "", text)),
        [f"B010 {PAYLOAD_MANIFEST}, line 1"],
    ),
]


@pytest.mark.parametrize(("name", "kind", "change", "expected"), ALTERED, ids=[each[0] for each in ALTERED])
def test_a_file_that_is_not_what_was_sent_is_one_finding(
    name: str, kind: str, change: Change, expected: list[str], delivered: dict[str, Path]
) -> None:
    change(delivered[kind])
    assert found_in(delivered[kind]) == expected


def _rename(bag: Path, name: str, other: str) -> None:
    (bag / name).rename(bag / other)


def _exchange(bag: Path, name: str) -> None:
    """Another picture of other size, under the same name."""
    make.tiff(bag / name, pixels=deliver.scene(99, 151), resolution=(600, 600), resolutionunit="INCH")


def _swap(bag: Path, one: str, other: str) -> None:
    (bag / one).rename(bag / "kept")
    (bag / other).rename(bag / one)
    (bag / "kept").rename(bag / other)


def _edit(name: str, *changes: tuple[str, str]) -> Change:
    return lambda bag: deliver.edit(bag / name, *changes)


def _json(change: Callable[[list[dict[str, Any]]], object]) -> Change:
    """Change the canvases of the manifest."""

    def changed(bag: Path) -> None:
        document = json.loads((bag / MANIFEST).read_text())
        change(document["items"])
        (bag / MANIFEST).write_text(json.dumps(document))

    return changed


SEALED: list[tuple[str, str, Change, list[str]]] = [
    (
        "a master was exchanged after METS was made",
        "preservation",
        lambda bag: _exchange(bag, MASTER),
        ["M036"],
    ),
    (
        "two masters were swapped after METS was made",
        "preservation",
        lambda bag: _swap(bag, MASTER, "data/masters/B14_0004.tif"),
        ["M036", "M036"],
    ),
    ("a master was cut off before", "preservation", lambda bag: _cut(bag, MASTER), ["I001"]),
    ("a master is no image", "preservation", lambda bag: _cut(bag, MASTER, 3), ["I001"]),
    (
        "two masters were emptied before",
        "preservation",
        lambda bag: [(bag / each).write_bytes(b"") for each in (MASTER, "data/masters/B14_0004.tif")],
        ["I001", "I001"],
    ),
    ("a master is gone", "preservation", lambda bag: (bag / MASTER).unlink(), ["M033"]),
    (
        "a master was renamed",
        "preservation",
        lambda bag: _rename(bag, MASTER, "data/masters/B14_2.tif"),
        ["M033"],
    ),
    (
        "a master is there that nobody lists",
        "preservation",
        lambda bag: _exchange(bag, "data/masters/B14_0009.tif"),
        ["X004"],
    ),
    (
        "all records state wrong bits",
        "preservation",
        _edit(METS, ("bitsPerSampleValue>16<", "bitsPerSampleValue>8<")),
        ["M050"],
    ),
    ("all records have a wrong term", "preservation", _edit(METS, ("normal*", "upright")), ["M005"]),
    (
        "METS has a namespace that is none",
        "preservation",
        _edit(METS, ("http://www.loc.gov/METS/", "http://www.loc.gov/mets/")),
        ["M008"],
    ),
    (
        "the page list was saved in an old encoding",
        "preservation",
        lambda bag: (bag / PAGES).write_bytes((bag / PAGES).read_bytes() + b"x.tif,f. 9\xe9,page,,,\n"),
        ["X005"],
    ),
    (
        "the page list has other columns",
        "preservation",
        _edit(PAGES, ("file,label", "image,page")),
        ["X005"],
    ),
    ("a tile is gone", "publication", lambda bag: (bag / TILE).unlink(), ["T020"]),
    ("an image service is gone", "publication", lambda bag: shutil.rmtree(bag / SERVICE), ["P040"]),
    ("an info.json is gone", "publication", lambda bag: (bag / SERVICE / "info.json").unlink(), ["T030"]),
    ("an info.json is cut off", "publication", lambda bag: _cut(bag, f"{SERVICE}/info.json", 30), ["T001"]),
    (
        "the id of an info.json",
        "publication",
        _edit(f"{SERVICE}/info.json", ('B14_0002"', 'B14_2"')),
        ["T007"],
    ),
    ("the width in an info.json", "publication", _edit(f"{SERVICE}/info.json", (": 150", ": 151")), ["T023"]),
    ("an access image is gone", "publication", lambda bag: (bag / ACCESS).unlink(), ["M033"]),
    ("a canvas is there twice", "publication", _json(lambda items: items.append(items[0])), ["P007"]),
    ("the id of a canvas", "publication", _json(lambda items: items[0].update(id="x")), ["P006"]),
    (
        "another id of a canvas",
        "publication",
        _json(lambda items: items[0].update(id="http://localhost:8000/x")),
        ["P025"],
    ),
    ("a number of a division is wrong", "preservation", _edit(METS, ('ORDER="2"', 'ORDER="9"')), ["M025"]),
]


@pytest.mark.parametrize(("name", "kind", "change", "expected"), SEALED, ids=[each[0] for each in SEALED])
def test_what_was_wrong_before_the_bag_was_sealed_is_one_finding(
    name: str, kind: str, change: Change, expected: list[str], delivered: dict[str, Path]
) -> None:
    bag = delivered[kind]
    change(bag)
    assert [each.partition(" ")[0] for each in found_in(seal(bag))] == expected


def test_a_renamed_master_is_named_by_its_checksum_in_mets(delivered: dict[str, Path]) -> None:
    bag = delivered["preservation"]
    _rename(bag, MASTER, "data/masters/B14_2.tif")
    (verified,), _ = judged(seal(bag))
    (said,) = told(verified.verdict.report)
    assert said.endswith(f'no {MASTER}; "data/masters/B14_2.tif" has its checksum')


def test_what_is_not_judged_of_a_file_that_is_not_what_was_sent_is_said(delivered: dict[str, Path]) -> None:
    bag = delivered["preservation"]
    _cut(bag, MASTER)
    (verified,), _ = judged(bag)
    skipped = {each.code: (each.place, each.reason) for each in verified.verdict.report.skipped}
    assert skipped["I001"] == (MASTER, "not judged, because of B070")


def test_a_file_that_was_broken_before_it_was_sent_is_told_by_its_image(delivered: dict[str, Path]) -> None:
    bag = delivered["publication"]
    _cut(bag, TILE)
    assert found_in(seal(bag)) == [f"T022 {TILE}"]
