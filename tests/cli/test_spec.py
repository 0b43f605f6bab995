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
    lines = [line.strip() for line in capsys.readouterr().out.splitlines()]
    named = [line for line in lines if line.split()[0] in specification.names()]
    assert [line.split()[0] for line in named] == list(specification.names())
    assert [line.split()[0] for line in named if line.endswith("(default)")] == [specification.DEFAULT]
    assert run(["spec", "list", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert [each["name"] for each in listed if each["default"]] == [specification.DEFAULT]


def test_the_list_is_grouped_and_says_what_is_known_at_second_hand(capsys: Said) -> None:
    assert run(["spec", "list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line for line in lines if not line.startswith(" ")] == [
        "36 CFR 1236  (known at second hand)",
        "FADGI 2016",
        "FADGI 2023  (known at second hand)",
        "ISO 19264-1:2021  (known at second hand)",
        "Metamorfoze 1.0",
        "Metamorfoze 2.0  (known at second hand)",
    ]
    category = lines.index("  documents: manuscripts and other rare and special materials")
    assert [line.split()[0] for line in lines[category + 1 : category + 4]] == [
        f"fadgi-2016-manuscripts-{star}-star" for star in (2, 3, 4)
    ]
    assert run(["spec", "list", "--json"]) == 0
    for each in json.loads(capsys.readouterr().out):
        assert each["second_hand"] is ("second hand" in each["title"])
        assert each["title"].startswith(each["publication"])


@pytest.mark.parametrize("name", specification.names())
def test_the_table_shows_every_limit_with_its_formula_and_who_says_so(name: str, capsys: Said) -> None:
    assert run(["spec", "show", name, "--table"]) == 0
    shown = capsys.readouterr().out
    loaded = specification.load(name)
    lines = shown.splitlines()
    for each in loaded.limits:
        assert any(
            line.startswith(each.measure.label) and each.text in line and each.conditions in line
            and line.endswith(each.source.tag)
            for line in lines
        )  # fmt: skip
    for source in loaded.sources:
        assert f"{source.tag}: {source.title} ({source.read})" in lines
    assert loaded.note in shown


def test_a_file_of_ones_own_is_shown_like_any_other(place: Path, capsys: Said) -> None:
    assert run(["spec", "export", specification.DEFAULT, "ours.toml"]) == 0
    own = (place / "ours.toml").read_text(encoding="utf-8").replace("value = 300", "value = 500")
    (place / "ours.toml").write_text(own, encoding="utf-8")
    assert run(["spec", "show", "ours.toml", "--table"]) == 0
    assert "≥ 500 ppi" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"\xff\xfe[\x00", "own.toml: found text in UTF-16"),
        (b"[specification\n", "own.toml, line 1, column 15"),
        (b"[[limit]]\nmeasure = 2026-05-03\n", "own.toml: found no key"),
    ],
)
@pytest.mark.parametrize("how", ["--table", "--json"])
def test_a_broken_file_is_no_crash_however_it_is_shown(
    place: Path, capsys: Said, data: bytes, said: str, how: str
) -> None:
    (place / "own.toml").write_bytes(data)
    assert run(["spec", "show", "own.toml", how]) == 4
    assert said in capsys.readouterr().err


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
