"""One broken thing gives one finding: whole bundles, each damaged in one way, and all that is said of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.make_item import World
from tests.verify import deliver
from tests.verify.deliver import judged, seal, told

Change = Callable[[Path], None]
MASTER = "data/masters/B14_0002.tif"
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
    return [each.partition(": ")[0] for each in told(verified[0].verdict.report)]


ALTERED: list[tuple[str, str, Change, list[str]]] = [
    ("a master was cut off", "preservation", lambda bag: _cut(bag, MASTER), [f"B070 {MASTER}"]),
    ("a master was emptied", "preservation", lambda bag: _cut(bag, MASTER, 0), [f"B070 {MASTER}"]),
    ("a tile was cut off", "publication", lambda bag: _cut(bag, TILE), [f"B070 {TILE}"]),
]


@pytest.mark.parametrize(("name", "kind", "change", "expected"), ALTERED, ids=[each[0] for each in ALTERED])
def test_a_file_that_is_not_what_was_sent_is_one_finding(
    name: str, kind: str, change: Change, expected: list[str], delivered: dict[str, Path]
) -> None:
    change(delivered[kind])
    assert found_in(delivered[kind]) == expected


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
