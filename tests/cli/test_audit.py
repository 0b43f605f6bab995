"""`solander audit`: what is said and written, statuses, mistakes."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from pipeline import jsondoc
from pipeline.cli.main import run
from tests import make_ocfl
from tests.make_ocfl import flip, two_versions

Said = pytest.CaptureFixture[str]
IDS = ("urn:example:ms-1", "urn:example:ms-2")
F1R = "v1/content/data/f1r.tif"


@pytest.fixture
def store(place: Path) -> Path:
    """A storage root in the folder that we stand in, and a copy of it."""
    objects = [two_versions(object_id=each) for each in IDS]
    make_ocfl.a_root(place / "copy", *objects)
    return make_ocfl.a_root(place / "store", *objects)


def at(store: Path, number: int, path: str = "") -> Path:
    return store / make_ocfl.place_of(IDS[number]) / path


def test_an_intact_store_is_said_to_be_so(store: Path, capsys: Said) -> None:
    assert run(["audit", "store"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith(f"{store}: all that was proved is intact; 2 intact of 2 objects in this run")
    assert lines[-1] == "  report  reports/audit.html"
    assert (store.parent / "reports" / "audit.json").exists()
    assert len(list((store.parent / ".solander" / "audits").glob("*.sqlite"))) == 1


def test_damage_is_said_with_object_version_and_file(store: Path, capsys: Said) -> None:
    flip(at(store, 1, F1R))
    assert run(["audit", "store"]) == 6
    said = capsys.readouterr().out
    assert f"damaged  {IDS[1]} v2" in said
    assert f"{F1R}: sha512" in said
    assert '("data/f1r.tif" in v1 to v2)' in said


def test_a_replica_is_named_and_used_only_when_asked(store: Path, capsys: Said) -> None:
    flip(at(store, 0, F1R))
    assert run(["audit", "store", "--replica", "copy"]) == 6
    assert "--repair would put it in place" in capsys.readouterr().out
    assert run(["audit", "store", "--replica", "copy", "--repair"]) == 6
    said = capsys.readouterr().out
    assert "damage was found, and mended" in said
    assert "what was there before is kept as" in said
    assert run(["audit", "store"]) == 0


def test_as_json_the_document_is_printed(store: Path, capsys: Said) -> None:
    at(store, 0, "notes.txt").write_text("x")
    assert run(["audit", "store", "--json"]) == 3
    (document,) = json.loads(capsys.readouterr().out)
    assert (document.pop("folder"), document.pop("status")) == (str(store), 3)
    assert list(jsondoc.violations(document, "audit")) == []
    assert document["objects"][0]["findings"][0]["code"] == "E001"


def test_a_lost_object_is_told_until_it_is_forgotten(store: Path, capsys: Said) -> None:
    run(["audit", "store"])
    shutil.rmtree(at(store, 0).parent.parent.parent)
    assert run(["audit", "store"]) == 6
    assert f"lost  {IDS[0]}" in capsys.readouterr().out
    assert run(["audit", "store", "--forget", IDS[0]]) == 0


def test_a_store_that_lost_all_is_not_said_to_be_proved(store: Path, capsys: Said) -> None:
    run(["audit", "store"])
    for number in range(len(IDS)):
        shutil.rmtree(at(store, number).parent.parent.parent)
    capsys.readouterr()
    assert run(["audit", "store"]) == 6
    said = capsys.readouterr().out
    assert "The store holds no objects." in said
    assert "all of them proved" not in said


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (["store", "--budget", "2"], 2, 'found "2", expected a span of time such as 45min, 2h or 90d'),
        (["store", "--budget", "0h"], 2, "expected a span of time"),
        (["store", "--within", "soon"], 2, "expected a span of time"),
        (["store", "--within", "99999999999999999d"], 2, "expected a span of time"),
        (["store", "--rate", "50"], 2, "expected bytes a second such as 50MB/s"),
        (["store", "--rate", "fast"], 2, "expected bytes a second"),
        (["store", "--rate", "1B/s"], 2, "expected 100kB/s at least"),
        (["store", "--sample", "0"], 2, "--sample"),
        (["store", "--sample", "1", "--within", "9d"], 2, "--sample draws at random"),
        (["store", "--repair"], 2, "give its address as --replica"),
        (["store", "--replica", "store"], 2, "is the store itself"),
        (["store", "--report", "store/reports"], 2, "which is inside the store"),
        (["store", "--record", "store/record.sqlite"], 2, "which is inside the store"),
        (["store", "--forget", "urn:example:none"], 5, 'knows no object "urn:example:none"'),
        (["store", "--replica", "nowhere"], 5, "nowhere: is not there"),
        (["store/0=ocfl_1.1"], 5, "is a file; expected a folder"),
        (["nowhere"], 5, "is the address right, and the disk mounted?"),
        (["ftp://example.org/store"], 5, "is no address of a store"),
    ],
)
def test_mistakes_are_said_without_a_traceback(
    store: Path, capsys: Said, arguments: list[str], status: int, said: str
) -> None:
    assert run(["audit", *arguments]) == status
    told = " ".join(capsys.readouterr().err.split())
    assert said in told
    assert "Traceback" not in told


@pytest.mark.parametrize(
    "arguments",
    [
        ["--budget", "1h30min"],
        ["--rate", "1.5 GB/s"],
        ["--within", "12w", "--budget", "2 h"],
        ["--oldest-first", "--jobs", "3"],
        ["--sample", "5"],
    ],
)
def test_options_are_taken_as_people_write_them(store: Path, arguments: list[str]) -> None:
    assert run(["audit", "store", *arguments]) == 0


def test_a_link_to_the_store_is_no_replica_of_it(store: Path, capsys: Said) -> None:
    store.with_name("other").symlink_to(store)
    assert run(["audit", "store", "--replica", "other"]) == 2
    assert "is the store itself" in capsys.readouterr().err


def test_names_of_files_do_not_steer_the_terminal(store: Path, capsys: Said) -> None:
    at(store, 0, "\x1b[31mred").write_text("x")
    assert run(["audit", "store"]) == 3
    assert "\x1b[31mred" not in capsys.readouterr().out
