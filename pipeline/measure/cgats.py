"""CGATS text: tables of measured values, as laboratories deliver them. Read with tolerance.

Taken as it comes: any line end, decimal commas, blanks or tabs, quoted text, comments, repeated and unknown
keywords, several tables, counts that lie. What cannot be understood is a SettingsError with line numbers.

Source: CGATS.17 (ISO 28178:2009), the text form; the clauses were not at hand, the rules are those that
files in use follow.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.errors import Problem, SettingsError

MOST_BYTES = 4_000_000
"""A file of measurements is a few kilobytes."""

_TOKEN = re.compile(r'"([^"]*)"|(#)|([^\s"#]+)')
_COMMA = re.compile(r"([+-]?\d*),(\d+(?:[eE][+-]?\d+)?)\Z")
_SECTIONS = ("BEGIN_DATA_FORMAT", "END_DATA_FORMAT", "BEGIN_DATA", "END_DATA")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line that says something: its number in the file, from 1, its words and its text."""

    number: int
    words: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One table: what is said of it, the names of its columns, its rows."""

    keywords: tuple[tuple[str, str], ...]
    """In the order of the file, those of earlier tables first; keywords may repeat."""
    fields: tuple[str, ...]
    """In capital letters."""
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    """The line that each row stands on."""
    remarks: tuple[str, ...] = ()
    """What is wrong with the file but does no harm."""

    def values(self, keyword: str) -> tuple[str, ...]:
        """Return all that is said under a keyword."""
        return tuple(value for name, value in self.keywords if name == keyword)

    def numbers(self, row: int, fields: tuple[str, ...], *, name: str) -> tuple[float, ...]:
        """Return the numbers that a row has in these columns. Raises SettingsError."""
        return tuple(self._number(row, field, name) for field in fields)

    def _number(self, row: int, field: str, name: str) -> float:
        text = self.rows[row][self.fields.index(field)]
        try:
            value = float(_COMMA.sub(r"\1.\2", text))
        except ValueError:
            value = float("nan")
        if value - value != 0:  # neither a number nor finite
            where = f"{name}, line {self.lines[row]}, {field}"
            problem = Problem(where=where, found=f'"{text}"', expected="a number")
            raise SettingsError(f"{name}: a value is no number", problems=[problem])
        return value


def text_of(data: bytes, *, name: str) -> str:
    """Return the text of a file: UTF-8 if it is, else Latin-1. Raises SettingsError for what is no text."""
    if len(data) > MOST_BYTES or b"\0" in data:
        found = f"{len(data)} bytes" if len(data) > MOST_BYTES else "a file that is no text"
        problem = Problem(where=name, found=found, expected="CGATS text of measured values")
        raise SettingsError(f"{name}: is no file of measurements", problems=[problem])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def read(text: str, *, name: str) -> tuple[Table, ...]:
    """Return the tables of a file; `name` is what messages call it. Raises SettingsError."""
    tables: list[Table] = []
    keywords: list[tuple[str, str]] = []
    lines = _said(text)
    fields: tuple[str, ...] = ()
    for line in lines:
        match line.words[0].upper():
            case "BEGIN_DATA_FORMAT":
                fields = _fields(lines, line)
            case "BEGIN_DATA":
                tables.append(_table(lines, fields, tuple(keywords), line, name))
            case word if line.number > 1 and len(line.words) > 1:
                keywords.append((word, " ".join(line.words[1:])))
    if not tables:
        expected = "BEGIN_DATA_FORMAT, names of columns, END_DATA_FORMAT, BEGIN_DATA, values, END_DATA"
        problem = Problem(where=name, found="no table of values", expected=expected)
        raise SettingsError(f"{name}: is no CGATS file", problems=[problem])
    return tuple(tables)


def _said(text: str) -> Iterator[Line]:
    """Yield the lines that have words; a section's mark stands on a line of its own."""
    for number, written in enumerate(re.split(r"\r\n|\r|\n", text), start=1):
        words = _words(written)
        while words:
            cut = next((at for at, word in enumerate(words) if word.upper() in _SECTIONS), len(words))
            here, words = (words[:1], words[1:]) if cut == 0 else (words[:cut], words[cut:])
            yield Line(number=number, words=tuple(here), text=written)


def _words(line: str) -> list[str]:
    words: list[str] = []
    for match in _TOKEN.finditer(line):
        if match[2]:
            break
        words.append(match[1] if match[1] is not None else match[3])
    return words


def _section(lines: Iterator[Line], end: str) -> Iterator[Line]:
    for line in lines:
        if line.words[0].upper() == end:
            return
        yield line


def _fields(lines: Iterator[Line], _begin: Line) -> tuple[str, ...]:
    return tuple(word.upper() for line in _section(lines, "END_DATA_FORMAT") for word in line.words)


def _table(
    lines: Iterator[Line],
    fields: tuple[str, ...],
    keywords: tuple[tuple[str, str], ...],
    begin: Line,
    name: str,
) -> Table:
    if not fields:
        where, expected = (
            f"{name}, line {begin.number}",
            "BEGIN_DATA_FORMAT and the names of columns before it",
        )
        problem = Problem(where=where, found="BEGIN_DATA", expected=expected)
        raise SettingsError(f"{name}: a table has no names of columns", problems=[problem])
    written = list(_section(lines, "END_DATA"))
    rows = [(line.number, _row(line, len(fields))) for line in written]
    if any(len(row) != len(fields) for _, row in rows):
        rows = _wrapped(rows, fields, name)
    return Table(
        keywords=keywords,
        fields=fields,
        rows=tuple(row for _, row in rows),
        lines=tuple(number for number, _ in rows),
        remarks=tuple(_false_counts(dict(keywords), len(fields), len(rows))),
    )


def _row(line: Line, count: int) -> tuple[str, ...]:
    """The values of a line: its words, or what stands between tabs if names have blanks in them."""
    parts = [part.strip().strip('"') for part in line.text.strip().split("\t")]
    return tuple(parts) if len(line.words) != count == len(parts) else line.words


def _wrapped(
    rows: list[tuple[int, tuple[str, ...]]], fields: tuple[str, ...], name: str
) -> list[tuple[int, tuple[str, ...]]]:
    """Rows whose values run over several lines; refused if some line has more values than columns."""
    wrong = next(((number, row) for number, row in rows if len(row) > len(fields)), None)
    words = [(number, word) for number, row in rows for word in row]
    if wrong is None and len(words) % len(fields) == 0:
        parts = [words[at : at + len(fields)] for at in range(0, len(words), len(fields))]
        return [(part[0][0], tuple(word for _, word in part)) for part in parts]
    number, row = wrong or next(each for each in rows if len(each[1]) != len(fields))
    problem = Problem(
        where=f"{name}, line {number}",
        found=f"{len(row)} values",
        expected=f"{len(fields)}: {', '.join(fields)}",
        advice="put names that have blanks in them in quotes",
    )
    raise SettingsError(f"{name}: a row has not as many values as there are columns", problems=[problem])


def _false_counts(keywords: dict[str, str], fields: int, rows: int) -> Iterator[str]:
    for keyword, count in (("NUMBER_OF_FIELDS", fields), ("NUMBER_OF_SETS", rows)):
        if (said := keywords.get(keyword)) is not None and said != str(count):
            yield f"{keyword} says {said}, the table has {count}"
