"""Whoever mistypes a TOML file is told the line, the column, and what to write."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pipeline.errors import Problem
from pipeline.tomldoc.source import TomlSource, read_toml

MISTAKES = {
    "text without quotes": ("title = Herbal", 'put text in straight double quotes: key = "text"'),
    "curly quotes": ("title = “Herbal”", 'replace curly quotes by straight ones: "text"'),
    "no closing quote": ('title = "Herbal', "end the text with a quote on its line"),
    "quotes in quotes": ('title = "the "good" book"', 'write quotes inside a text as \\"'),
    "apostrophe in apostrophes": ("title = 'it's'", "put a text that contains ' in double quotes"),
    "key given twice": ('id = "a"\nid = "b"', "this key is given a second time: keep one of them"),
    "table given twice": ("[item]", "write one of several tables as [[name]]"),
    "table bracket missing": ("[care", "write a table as [name], one of several as [[name]]"),
    "array bracket missing": ("[[session]", "write a table as [name], one of several as [[name]]"),
    "bracket of a list missing": ("size = [1, 2\n[care]", "close the list with ]"),
    "comma of a table missing": ('title = { en = "a" la = "b" }', 'write { en = "…", la = "…" }'),
    "table in braces over two lines": ('title = { en = "a",\nla = "b" }', 'write { en = "…", la = "…" }'),
    "path with backslashes": ('masters = "C:\\scans"', "write / in paths"),
    "date that does not exist": (
        "date = 2026-02-30",
        "write year-month-day, without quotes: 2026-03-09",
    ),
    "date with the day first": (
        "date = 09-03-2026",
        "write year-month-day, without quotes: 2026-03-09",
    ),
    "date with full stops": ("date = 9.3.2026", "write year-month-day, without quotes: 2026-03-09"),
    "number with a unit": ("ppi = 600 dpi", "write the number without its unit and with a decimal point"),
    "number with a comma": ("ppi = 600,5", "write the number without its unit and with a decimal point"),
    "number with zeros before it": ("ppi = 0600", "leave the zeros out, or put it in quotes"),
    "truth in capitals": ("cleared = True", "write true or false in small letters"),
    "yes for true": ("cleared = yes", "write true or false in small letters"),
    "value left out": ("id =", "give one, or remove the line"),
    "equals sign left out": ('id "a"', "write the key, an equals sign and the value"),
    "colon for the equals sign": ('id: "a"', "write an equals sign instead of the colon"),
    "blank in a key": ('shelf mark = "a"', "write _ instead of blanks"),
    "comment of another language": ("// a comment", "write # before it"),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_in_toml_is_told_with_its_line_and_the_way_out(mistake: str, tmp_path: Path) -> None:
    text, advice = MISTAKES[mistake]
    problem = _read(tmp_path, f"[item]\n{text}\n")
    assert isinstance(problem, Problem)
    line = 2 + text.count("\n") * ("over two" not in mistake)
    assert re.fullmatch(rf"item\.toml, line {line}, column \d+", problem.where)
    assert text.split("\n")[line - 2] in problem.found
    assert problem.advice == advice


def test_a_text_that_ends_too_early_is_told_at_its_end(tmp_path: Path) -> None:
    problem = _read(tmp_path, '[item]\nid = "a"\nsize = [1,')
    assert isinstance(problem, Problem)
    assert problem.where == "item.toml, line 3, column 11"


def test_brackets_without_end_are_told_and_do_no_harm(tmp_path: Path) -> None:
    problem = _read(tmp_path, "x = " + "[" * 5000)
    assert isinstance(problem, Problem)
    assert problem.found == "brackets nested too deep"


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (
            '[item]\ntitle = "Café"'.encode("latin-1"),
            'the byte 0xE9 (perhaps é in an older encoding) after `title = "Caf`',
        ),
        ('[item]\ntitle = "a"'.encode("utf-16"), "text in UTF-16"),
        ('[item]\ntitle = "a"'.encode("utf-16-le"), "text in UTF-16"),
        (b"PK\x03\x04 and so on", "a spreadsheet or another packed file"),
    ],
)
def test_what_is_no_utf8_is_told_by_what_it_is(data: bytes, found: str, tmp_path: Path) -> None:
    (tmp_path / "item.toml").write_bytes(data)
    problem = read_toml(tmp_path / "item.toml", advice="")
    assert isinstance(problem, Problem)
    assert problem.found == found
    assert "UTF-8" in problem.expected
    assert "save it" in problem.advice


def test_a_byte_order_mark_and_windows_line_ends_are_fine(tmp_path: Path) -> None:
    (tmp_path / "item.toml").write_bytes(b'\xef\xbb\xbf[item]\r\nid = "a"\r\n')
    source = read_toml(tmp_path / "item.toml", advice="")
    assert isinstance(source, TomlSource)
    assert source.document == {"item": {"id": "a"}}
    assert source.where(("item", "id")) == "item.toml, line 2, item, id"


def _read(folder: Path, text: str) -> TomlSource | Problem:
    (folder / "item.toml").write_text(text, encoding="utf-8")
    return read_toml(folder / "item.toml", advice="")
