"""`solander spec`: lists, shows and exports what frames are judged by."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from pipeline import specification
from pipeline.cli.main import run

Said = pytest.CaptureFixture[str]


def test_the_list_names_every_specification_and_marks_the_default(capsys: Said) -> None:
    assert run(["spec", "list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == list(specification.names())
    assert [line.split()[0] for line in lines if line.endswith("(default)")] == [specification.DEFAULT]
    assert run(["spec", "list", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert [each["name"] for each in listed if each["default"]] == [specification.DEFAULT]


def test_show_prints_the_file_and_as_json_the_same_values(capsys: Said) -> None:
    assert run(["spec", "show", specification.DEFAULT]) == 0
    shown = tomllib.loads(capsys.readouterr().out)
    assert run(["spec", "show", specification.DEFAULT, "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == shown


def test_what_is_exported_can_be_judged_by_and_is_not_overwritten(place: Path, capsys: Said) -> None:
    assert run(["spec", "export", specification.DEFAULT, "ours.toml"]) == 0
    assert capsys.readouterr().out == "ours.toml\n"
    assert specification.load(place / "ours.toml").limits == specification.load().limits
    assert run(["spec", "export", specification.DEFAULT, "ours.toml"]) == 4
    assert "is there already" in capsys.readouterr().err


@pytest.mark.parametrize("arguments", [["show", "no-such"], ["export", "no-such", "ours.toml"]])
def test_an_unknown_name_is_status_4(place: Path, arguments: list[str], capsys: Said) -> None:
    assert run(["spec", *arguments]) == 4
    assert specification.DEFAULT in capsys.readouterr().err
    assert not (place / "ours.toml").exists()
