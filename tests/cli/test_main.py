"""The group of all commands: exit statuses, no traceback for a mistake, a quick answer."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import click
import pytest

from pipeline.cli import main
from pipeline.errors import (
    ExitStatus,
    FixityError,
    InputError,
    Interrupted,
    PipelineError,
    Problem,
    SettingsError,
    ToolError,
)

ERRORS = {
    SettingsError: 4,
    InputError: 5,
    FixityError: 6,
    ToolError: 7,
    Interrupted: 130,
}


@pytest.mark.parametrize(("kind", "status"), ERRORS.items(), ids=lambda each: str(each))
def test_errors_end_in_their_exit_status_without_a_traceback(
    kind: type[PipelineError],
    status: int,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    problem = Problem(where="pages.csv, row 3", found="x", expected="y", advice="do z")

    @click.command()
    def failing() -> None:
        raise kind("it went wrong", problems=[problem])

    monkeypatch.setitem(main.solander.commands, "failing", failing)
    assert main.run(["failing"]) == status
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.splitlines() == [
        "solander: it went wrong",
        "  - pages.csv, row 3: found x, expected y; do z",
    ]


@pytest.mark.parametrize(("kind", "status"), ERRORS.items(), ids=lambda each: str(each))
def test_with_json_programs_are_told_what_ended_the_run(
    kind: type[PipelineError],
    status: int,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    @click.command()
    @click.option("--json", is_flag=True)
    def failing(json: bool) -> None:
        raise kind("it went wrong")

    monkeypatch.setitem(main.solander.commands, "failing", failing)
    assert main.run(["failing", "--json"]) == status
    document = json.loads(capsys.readouterr().out)
    assert document == {"status": status, "error": "it went wrong", "problems": []}


def test_what_cannot_be_printed_is_not_tried_again(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    @click.command()
    @click.option("--json", is_flag=True)
    def failing(json: bool) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setitem(main.solander.commands, "failing", failing)
    assert main.run(["failing", "--json"]) is ExitStatus.TOOL
    said = capsys.readouterr()
    assert (said.out, said.err) == ("", "solander: standard output: No space left on device\n")


@pytest.mark.parametrize("closed", [">&-", "2>&-"])
def test_a_stream_that_the_caller_closed_is_no_crash(closed: str) -> None:
    code = "from pipeline.cli.main import main; main()"
    shell = f'"$0" -c "$1" spec list {closed}'
    assert subprocess.run(["/bin/sh", "-c", shell, sys.executable, code], capture_output=True).returncode == 0
    shell = f'"$0" -c "$1" build nowhere {closed}'
    assert subprocess.run(["/bin/sh", "-c", shell, sys.executable, code], capture_output=True).returncode == 5


def test_a_crash_of_ours_is_not_hidden(monkeypatch: pytest.MonkeyPatch) -> None:
    @click.command()
    def crashing() -> None:
        raise ZeroDivisionError

    monkeypatch.setitem(main.solander.commands, "crashing", crashing)
    with pytest.raises(ZeroDivisionError):
        main.run(["crashing"])


@pytest.mark.parametrize("arguments", [["nothing"], ["build"], ["build", "--jobs", "0", "x"], []])
def test_a_wrong_command_line_is_status_2(arguments: list[str]) -> None:
    assert main.run(arguments) is ExitStatus.USAGE


def test_what_could_steer_the_terminal_is_escaped(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    @click.command()
    def failing() -> None:
        raise InputError("a\x1b[31m\u202eb.tif: is not there")

    monkeypatch.setitem(main.solander.commands, "failing", failing)
    main.run(["failing"])
    assert "a\\u001b[31m\\u202eb.tif" in capsys.readouterr().err


def test_help_loads_nothing_heavy() -> None:
    program = (
        "import sys; from pipeline.cli.main import run; run(['--help']);"
        "print(sorted(m for m in ('pyvips','numpy','lxml','jsonschema','rich','jinja2','PIL','openjpeg') "
        "if m in sys.modules), file=sys.stderr)"
    )
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert ran.stderr.strip() == "[]"


def test_help_answers_within_three_times_an_empty_interpreter_and_click(tmp_path: Path) -> None:
    """A ratio, not a time: what we add to Python and click is small. Both are compiled, as when installed."""
    kept = {"PYTHONPYCACHEPREFIX": str(tmp_path), "PYTHONDONTWRITEBYTECODE": ""}

    def best_of(program: str) -> float:
        times = []
        for _ in range(5):
            begun = time.perf_counter()
            subprocess.run([sys.executable, "-c", program], capture_output=True, env={**os.environ, **kept})
            times.append(time.perf_counter() - begun)
        return min(times)

    ours = best_of("from pipeline.cli.main import run; run(['--help'])")
    floor = best_of("import click")
    assert ours < 3 * floor, (ours, floor)
