"""`solander new`: what it writes, says, and never overwrites."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pipeline.cli.main import run
from tests.cli.conftest import images

Said = pytest.CaptureFixture[str]


@pytest.fixture
def masters(place: Path) -> Path:
    return images(place / "masters", "b_001r.tif", "b_001v.tif", "b_target.tif")


def test_it_writes_both_files_and_says_what_was_guessed_and_what_comes_next(
    masters: Path, capsys: Said
) -> None:
    assert run(["new", "my item", "--masters", "masters"]) == 0
    said = capsys.readouterr()
    assert said.out.splitlines() == ["my item/item.toml", "my item/pages.csv"]
    assert said.err.splitlines()[0] == "note: 3 frames by their names: 2 pages, 1 target"
    assert said.err.splitlines()[1].endswith("solander check 'my item'")


def test_what_it_writes_can_be_checked_and_waits_for_the_conservator(masters: Path, capsys: Said) -> None:
    run(["new", "item", "--masters", "masters"])
    assert run(["check", "item"]) == 3
    assert "error C001" in capsys.readouterr().out


def test_a_master_that_cannot_be_read_is_listed_like_the_others(masters: Path) -> None:
    (masters / "b_002r.tif").write_bytes(b"no image")
    assert run(["new", "item", "--masters", "masters"]) == 0
    assert "b_002r.tif,f. 2r,page" in (masters.parent / "item" / "pages.csv").read_text()


def test_with_json_it_lists_what_was_written(masters: Path, capsys: Said) -> None:
    assert run(["new", "item", "--masters", "masters", "--json"]) == 0
    said = capsys.readouterr()
    assert json.loads(said.out) == {
        "folder": "item",
        "written": ["item/item.toml", "item/pages.csv"],
        "frames": {"page": 2, "target": 1},
    }
    assert said.err == ""


def test_it_never_overwrites(masters: Path, capsys: Said) -> None:
    (masters.parent / "item").mkdir()
    (masters.parent / "item" / "pages.csv").write_text("mine")
    assert run(["new", "item", "--masters", "masters"]) == 4
    assert (masters.parent / "item" / "pages.csv").read_text() == "mine"
    assert not (masters.parent / "item" / "item.toml").exists()
    assert "nothing was written" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        (["item", "--masters", "nowhere"], 5),
        (["item", "--masters", "empty"], 5),
        (["note.txt", "--masters", "masters"], 2),
        (["item"], 2),
    ],
)
def test_a_mistake_writes_nothing(masters: Path, arguments: list[str], status: int, capsys: Said) -> None:
    (masters.parent / "empty").mkdir()
    (masters.parent / "note.txt").write_text("a note")
    assert run(["new", *arguments]) == status
    assert capsys.readouterr().out == ""
    assert not (masters.parent / "item").exists()
