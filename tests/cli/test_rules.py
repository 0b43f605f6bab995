"""`solander rules`: every check, for people and for programs."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline import audit, check, verify
from pipeline.cli.main import run

REGISTERS = (*check.registers(), *verify.registers(), *audit.registers())
CODES = [code for register in REGISTERS for code in register.rules]


def test_no_code_is_used_twice() -> None:
    assert len(set(CODES)) == len(CODES)


def test_every_rule_is_listed_with_level_title_and_source(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["rules"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines[::2]] == CODES
    assert all(line.startswith("      ") and line.strip() for line in lines[1::2])


def test_as_json_every_rule_has_all_that_is_known_of_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["rules", "--json"]) == 0
    rules = json.loads(capsys.readouterr().out)
    assert [rule["code"] for rule in rules] == CODES
    assert all(all(rule.values()) for rule in rules)


def _rules(*, stdout: int | None = None, **environment: str) -> subprocess.Popen[bytes]:
    program = "from pipeline.cli.main import main; main()"
    return subprocess.Popen(
        [sys.executable, "-c", program, "rules"],
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2]), **environment},
        stdout=subprocess.PIPE if stdout is None else stdout,
        stderr=subprocess.PIPE,
    )


def test_a_reader_who_leaves_early_causes_no_traceback() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    listing = _rules(stdout=writing)
    os.close(writing)
    _, err = listing.communicate(timeout=30)
    assert (listing.returncode, err) == (7, b"")


def test_a_terminal_without_our_letters_shows_them_escaped() -> None:
    listing = _rules(PYTHONIOENCODING="ascii")
    out, err = listing.communicate(timeout=30)
    assert (listing.returncode, err) == (0, b"")
    assert out.isascii()
