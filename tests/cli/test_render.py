"""What people see: names that could steer a terminal, lines and numbers in words, progress."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.cli import _render
from pipeline.files import visible
from pipeline.findings import Finding, Level, Report

Said = pytest.CaptureFixture[str]


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@given(st.text())
def test_what_is_printed_is_one_line_that_steers_nothing(text: str) -> None:
    shown = visible(text)
    assert len(shown.splitlines()) <= 1
    assert not set(shown) & set("\x07\x1b\x9b\u202e\u2066\u200f")


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0, "0.0 s"), (9.94, "9.9 s"), (59.4, "59 s"), (59.6, "1 min 0 s"), (3725, "1 h 2 min")],
)
def test_durations_are_said_as_people_say_them(seconds: float, said: str) -> None:
    assert _render.duration(seconds) == said


@pytest.mark.parametrize(("size_bytes", "said"), [(0, ""), (7_340_000, "7.3 MB/s"), (73_400_000, "73 MB/s")])
def test_the_rate_has_a_decimal_only_where_it_matters(size_bytes: int, said: str) -> None:
    assert _render.rate(size_bytes, 1.0) == said


@pytest.mark.parametrize(("count", "said"), [(0, "0 frames"), (1, "1 frame"), (1200, "1,200 frames")])
def test_one_of_a_thing_is_not_many(count: int, said: str) -> None:
    assert _render.counted(count, "frame") == said


def test_in_a_terminal_lines_are_broken_between_words_and_indented(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = _Terminal()
    monkeypatch.setattr(sys, "stdout", terminal)
    monkeypatch.setenv("COLUMNS", "41")
    _render.show("one two three four five six seven eight nine ten", head="→ ", indent=6)
    assert terminal.getvalue().splitlines() == [
        "      → one two three four five six",
        "        seven eight nine ten",
    ]


def test_elsewhere_a_message_is_one_line(capsys: Said) -> None:
    _render.show("word " * 100 + "end", indent=6)
    assert len(capsys.readouterr().out.splitlines()) == 1


def test_what_stopped_a_build_stands_first_then_the_gravest(capsys: Said) -> None:
    told = [("A1", Level.NOTE), ("B1", Level.WARNING), ("C1", Level.ERROR), ("D1", Level.ERROR)]
    report = Report(findings=tuple(_finding(code, level) for code, level in told))
    _render.show_findings(report, first=("D1",))
    heads = [line.split()[:2] for line in capsys.readouterr().out.splitlines() if line[2] != " "]
    assert heads == [["error", "D1"], ["error", "C1"], ["warning", "B1"], ["note", "A1"]]


def _finding(code: str, level: Level) -> Finding:
    return Finding(code=code, level=level, title="t", place="p", value="v", limit="l", source="s", advice="a")


def test_no_color_is_heeded(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = _Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setenv("NO_COLOR", "1")
    _render.say_error("it went wrong")
    assert terminal.getvalue() == "solander: it went wrong\n"


def test_progress_is_plain_lines_where_there_is_no_terminal(
    monkeypatch: pytest.MonkeyPatch, capsys: Said
) -> None:
    clock = _clock(0.0, 4.0, 11.0, 11.0, 20.0, 20.0)
    monkeypatch.setattr("pipeline.cli._render.time.monotonic", clock)
    with _render.progress(name="msb-014") as progress:
        progress.start("frames", total=4)
        progress.advance(size_bytes=30_000_000)
        progress.advance(size_bytes=80_000_000)
        progress.advance(2, size_bytes=90_000_000)
        progress.finish()
    assert capsys.readouterr().err.splitlines() == [
        "msb-014: frames, 4 to do",
        "msb-014: frames, 2 of 4, 10 MB/s, 11 s left",
        "msb-014: frames, 4 done in 20 s, 10 MB/s",
    ]


def test_progress_in_a_terminal_leaves_nothing_behind_but_what_was_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    terminal = _Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setenv("TERM", "xterm")
    with _render.progress(name="msb-014") as progress:
        progress.start("frames", total=2)
        progress.say("1 of 3 frames are done already")
        progress.advance(size_bytes=10)
        progress.advance(size_bytes=10)
        progress.finish()
    written = terminal.getvalue()
    assert "1 of 3 frames are done already" in written
    assert written.count("\x1b[?25h") == written.count("\x1b[?25l") == 1  # the cursor comes back


def _clock(*times: float) -> Callable[[], float]:
    left = list(times)
    return lambda: left.pop(0) if len(left) > 1 else left[0]
