"""pages.csv as a table: what spreadsheets write, turned into rows of named cells.

Read are UTF-8 with or without a byte order mark, commas, semicolons or tabs, any line end, quoted cells,
empty rows and columns behind the filled ones. Columns may stand in any order.
Source: RFC 4180, and what spreadsheets do besides.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from pipeline import jsondoc
from pipeline.errors import Problem
from pipeline.model import FrameKind, LightKind
from pipeline.tomldoc.problems import listed, near_miss, nearest, plain, quoted
from pipeline.tomldoc.source import decode, read_bytes

NAME = "pages.csv"
COLUMNS = ("file", "label", "kind", "session", "light", "note")
REQUIRED_COLUMNS = ("file", "label")
_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
_SAVE = 'save it from the spreadsheet as "CSV UTF-8"'


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row that is not empty: its number, the header being row 1, and its cells that are not empty."""

    number: int
    cells: Mapping[str, str]

    def get(self, column: str) -> str:
        """The text of a cell, without blanks around it; nothing if it is empty."""
        return self.cells.get(column, "")

    def where(self, column: str = "") -> str:
        """Return the place of a cell as a person finds it: ``pages.csv, row 7, column "kind"``."""
        return f'{NAME}, row {self.number}, column "{column}"' if column else f"{NAME}, row {self.number}"


def read_table(path: Path, *, advice: str) -> tuple[tuple[Row, ...], list[Problem]]:
    """Return the rows of pages.csv, and all problems of its form.

    Raises InputError with `advice` if it is not there, and ToolError.
    """
    text = decode(path.name, read_bytes(path, advice=advice), advice=_SAVE)
    if isinstance(text, Problem):
        return (), [text]
    if not text.strip():
        return (), [_no_header("an empty file")]
    records, problems = _records(text)
    if not records:
        return (), problems
    columns, header_problems = _columns(records[0])
    problems = [*header_problems, *problems]
    if not set(REQUIRED_COLUMNS) <= set(columns):
        return (), problems
    rows: list[Row] = []
    for number, record in enumerate(records[1:], start=2):
        problems += _stray_cells(number, record, columns)
        if any(record):
            rows.append(Row(number=number, cells=_cells(record, columns)))
    return tuple(rows), problems


def _records(text: str) -> tuple[list[list[str]], list[Problem]]:
    """Return all lines as lists of cells, blanks around them removed; the header is the first."""
    first, _, rest = text.partition("\n")
    separator = _separator(text)
    if first.strip().lower().startswith("sep=") and len(first.strip()) <= 5:
        separator, text = first.strip()[4:] or "\t", rest
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    records: list[list[str]] = []
    try:
        for record in reader:
            if records or any(cell.strip() for cell in record):
                records.append([cell.strip() for cell in record])
    except csv.Error as error:
        return records, [_broken_quotes(len(records) + 1, str(error))]
    return records, []


def _separator(text: str) -> str:
    """Return what separates the cells of the header, the first line that is not blank."""
    header = next((line for line in text.splitlines() if line.strip()), "")
    return max(_SEPARATORS, key=header.count)


def _broken_quotes(number: int, message: str) -> Problem:
    return Problem(
        where=f"{NAME}, row {number}",
        found=f"quotes that do not match ({message})",
        expected='a cell in quotes to end with a quote, and quotes inside it to be doubled: "a ""b"" c"',
        advice="correct the quotes in this row; what follows it was not read",
    )


def _columns(header: list[str]) -> tuple[list[str], list[Problem]]:
    """Return the names of the columns as we know them, nothing for those that we do not."""
    names = [" ".join(cell.casefold().split()) for cell in header]
    if not set(names) & set(COLUMNS):
        return [], [_no_header(f"a first row of {listed([cell for cell in header if cell], most=6)}")]
    problems: list[Problem] = []
    columns: list[str] = []
    misspelt: set[str] = set()
    for cell, name in zip(header, names, strict=True):
        if name and name in columns:
            problems.append(_bad_column(f"a second column {quoted(cell)}", "remove or rename one"))
        elif name and name not in COLUMNS:
            meant = nearest(name, [each for each in COLUMNS if each not in names])
            misspelt.add(meant)
            advice = f'did you mean "{meant}"?' if meant else "remove it"
            problems.append(_bad_column(f"the unknown column {quoted(cell)}", advice))
        columns.append(name if name in COLUMNS and name not in columns else "")
    problems += [
        Problem(
            where=f"{NAME}, row 1",
            found=f'no column "{name}"',
            expected=f"the columns {', '.join(REQUIRED_COLUMNS)} and, if needed, {', '.join(COLUMNS[2:])}",
            advice=f'add a column "{name}"',
        )
        for name in REQUIRED_COLUMNS
        if name not in {*names, *misspelt}
    ]
    return columns, problems


def _no_header(found: str) -> Problem:
    return Problem(
        where=f"{NAME}, row 1",
        found=found,
        expected=f"the names of the columns: {','.join(COLUMNS)}",
        advice="put the names of the columns into the first row, separated by commas, semicolons or tabs",
    )


def _bad_column(found: str, advice: str) -> Problem:
    return Problem(
        where=f"{NAME}, row 1", found=found, expected=f"each of {', '.join(COLUMNS)} once", advice=advice
    )


def _stray_cells(number: int, record: list[str], columns: list[str]) -> Iterator[Problem]:
    """Yield cells that stand under no column's name."""
    stray = [cell for cell in record[len(columns) :] if cell]
    if stray:
        yield Problem(
            where=f"{NAME}, row {number}",
            found=f"more cells than columns: {listed(stray, most=3)}",
            expected=f"{len(columns)} cells",
            advice="put a text that contains the separator into quotes",
        )


def _cells(record: list[str], columns: list[str]) -> dict[str, str]:
    cells = {name: cell for name, cell in zip(columns, record, strict=False) if name and cell}
    return {name: _in_small_letters(name, cell) for name, cell in cells.items()}


def _in_small_letters(column: str, cell: str) -> str:
    """Undo the capitals that spreadsheets give to the first word of a cell, where words are ours."""
    word, *others = cell.split()
    if column == "kind" and cell.lower() in set(FrameKind):
        return cell.lower()
    if column == "light" and word.lower() in set(LightKind):
        return " ".join([word.lower(), *others])
    return plain(cell) if column == "session" else cell


_WORDS = ("kind", "light")
"""Columns that take words of ours; the others take any text, so rows alike in these are judged once."""


def shape_problems(rows: tuple[Row, ...]) -> tuple[dict[int, set[str]], list[Problem]]:
    """Hold each row against the schema of pages.csv.

    Returns the columns of each row, by its number, that are unsound, and all problems.
    """
    unsound: dict[int, set[str]] = {}
    problems: list[Problem] = []
    known: dict[tuple[str, ...], tuple[jsondoc.Violation, ...]] = {}
    for row in rows:
        words = {column: cell for column, cell in row.cells.items() if column in _WORDS}
        key = tuple(map(row.get, _WORDS))
        if key not in known:
            known[key] = tuple(jsondoc.violations(words, "pages"))
        for violation in known[key]:
            column = str(violation.path[0])
            unsound.setdefault(row.number, set()).add(column)
            problems.append(_cell_problem(row, column, violation))
    return unsound, problems


_LIGHTS = {
    "uv": "ultraviolet",
    "ir": "infrared",
    "nir": "infrared",
    "oblique": "raking",
    "axial": "normal",
    "backlight": "transmitted",
    "backlit": "transmitted",
    "visible": "normal",
    "daylight": "normal",
}
_KINDS = {
    "folio": "page",
    "leaf": "page",
    "recto": "page",
    "verso": "page",
    "spread": "opening",
    "double page": "opening",
    "binding": "cover",
    "board": "cover",
    "colour target": "target",
    "color target": "target",
    "chart": "target",
    "white": "flat",
    "flat field": "flat",
    "fold-out": "foldout",
}


def _cell_problem(row: Row, column: str, violation: jsondoc.Violation) -> Problem:
    description = str(violation.schema.get("description", ""))
    found = str(violation.found)
    if column == "light":
        return Problem(
            where=row.where(column), found=quoted(found), expected=description, advice=_light_advice(found)
        )
    known = [str(each) for each in violation.limit]
    advice = near_miss(found, known)
    if meant := _KINDS.get(found.lower()):
        advice = f'did you mean "{meant}"?'
    return Problem(
        where=row.where(column),
        found=quoted(found),
        expected=f"one of {', '.join(known)}",
        advice=advice,
    )


def _light_advice(found: str) -> str:
    word, _, qualifier = found.replace("-", " ").partition(" ")
    known = [str(kind) for kind in LightKind]
    if meant := _LIGHTS.get(word.lower()):
        return f'did you mean "{f"{meant} {qualifier}".strip()}"?'
    if word.lower() in known:
        return f'did you mean "{f"{word.lower()} {qualifier}".strip()}"?'
    swapped = [each for each in found.lower().split() if each in known]
    return f'did you mean "{swapped[0]}"?' if swapped else near_miss(word, known)
