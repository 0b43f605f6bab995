"""The text of a file that a person wrote: decoded, and for TOML with the line of every key."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import InputError, Problem, ToolError
from pipeline.record.locate import KeyPath, line_numbers

_PACKED = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
_WIDE_MARKS = (b"\xff\xfe", b"\xfe\xff")
_SAVE = "save it as plain text in UTF-8"


@dataclass(frozen=True, slots=True, kw_only=True)
class TomlSource:
    """A TOML file that was read: its values, and where each key stands."""

    name: str
    """The file's name, as messages give it."""
    document: dict[str, Any]
    lines: dict[KeyPath, int]

    def where(self, path: KeyPath) -> str:
        """Return the place of a key as a person finds it: ``item.toml, line 12, session 2, camera``.

        Tables of an array are counted from 1. A key that is not there is placed in its table.
        """
        known = next((path[:n] for n in range(len(path), 0, -1) if path[:n] in self.lines), ())
        line = f"line {self.lines[known]}" if known else ""
        return ", ".join(filter(None, (self.name, line, *_spoken(path))))


def _spoken(path: KeyPath) -> list[str]:
    parts: list[str] = []
    for part in path:
        if isinstance(part, int) and parts:
            parts[-1] += f" {part + 1}"
        else:
            parts.append(str(part))
    return parts


def read_bytes(path: Path, *, advice: str) -> bytes:
    """Return the bytes of a file. Raises InputError with `advice` if it is not there, else ToolError."""
    try:
        return path.read_bytes()
    except (FileNotFoundError, NotADirectoryError) as error:
        raise InputError(f"{path}: is not there; {advice}") from error
    except IsADirectoryError as error:
        raise InputError(f"{path}: is a folder, and should be a file; {advice}") from error
    except OSError as error:
        raise ToolError(f"{path}: cannot be read ({error.strerror or error})") from error


def decode(name: str, data: bytes, *, advice: str = _SAVE) -> str | Problem:
    """Return the text of a UTF-8 file, with or without a byte order mark, or what is wrong with it."""
    if data.startswith(_PACKED):
        found = "a spreadsheet or another packed file"
        return Problem(where=name, found=found, expected="plain text in UTF-8", advice=advice)
    if data.startswith(_WIDE_MARKS) or data[:200].count(0) > len(data[:200]) // 4:
        return Problem(where=name, found="text in UTF-16", expected="text in UTF-8", advice=advice)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        return _not_utf8(name, data, error.start, advice)


def _not_utf8(name: str, data: bytes, at: int, advice: str) -> Problem:
    line = data.count(b"\n", 0, at) + 1
    start = data.rfind(b"\n", 0, at) + 1
    before = data[start:at].decode("utf-8", "replace").removeprefix("\ufeff")
    western = data[at : at + 1].decode("cp1252", "replace")
    likely = f' (perhaps "{western}" in an older encoding)' if western.isprintable() else ""
    found = f"the byte 0x{data[at]:02X}{likely} after {_quoted(before[-20:])}"
    return Problem(where=f"{name}, line {line}", found=found, expected="text in UTF-8", advice=advice)


def _quoted(text: str) -> str:
    return f'"{text}"' if text else "the start of the line"


# ------------------------------------------------------------------------------------------------- TOML


def read_toml(path: Path, *, advice: str) -> TomlSource | Problem:
    """Return a TOML file, or the one problem that keeps it from being read.

    Raises InputError with `advice` if it is not there, and ToolError.
    """
    text = decode(path.name, read_bytes(path, advice=advice))
    if isinstance(text, Problem):
        return text
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return _malformed(path.name, text, str(error))
    except RecursionError:
        return Problem(where=path.name, found="brackets nested too deep", expected="a few levels at most")
    return TomlSource(name=path.name, document=document, lines=line_numbers(text))


_QUOTE = 'put text in straight double quotes: key = "text"'
_ADVICE = (
    (r"Cannot overwrite a value", "each key once", "this key is given twice in its table: keep one of them"),
    (
        r"Cannot declare|Cannot mutate",
        "each table once",
        "write tables of which there may be several as [[name]]",
    ),
    (
        r"Unescaped '\\\\'",
        "no bare backslash in double quotes",
        "write / in paths, or use single quotes: 'a\\b'",
    ),
    (r"Invalid date", "a date that exists", "write year-month-day without quotes: 2026-03-09"),
    (r"Unclosed array", "a closing ]", "end the list with ]"),
    (
        r"Expected '=' after a key",
        "key = value",
        "write the key, an equals sign, the value; comments begin with #",
    ),
    (r"Expected '\]+'", "a closing bracket", "write a table as [name], one of several as [[name]]"),
    (
        r"Unterminated string|Illegal character '\\n'",
        "a closing quote",
        "end the text with a quote on its line",
    ),
    (r"Invalid value|Expected newline", "a value", _QUOTE),
    (
        r"Invalid initial character|invalid character in key",
        "key = value",
        "keys are letters, digits, - and _",
    ),
)
_AT = re.compile(r"\s*\(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)$")
_CURLY = "“”„«»‘’"


def _malformed(name: str, text: str, message: str) -> Problem:
    """Say in plain words what the TOML reader stumbled over."""
    lines = text.splitlines() or [""]
    match = _AT.search(message)
    number = int(match["line"]) if match and match["line"] else len(lines)
    column = int(match["column"]) if match and match["column"] else len(lines[-1]) + 1
    source = lines[min(number, len(lines)) - 1].strip()
    known = ((expected, advice) for pattern, expected, advice in _ADVICE if re.search(pattern, message))
    expected, advice = next(known, ("valid TOML", _QUOTE))
    if any(quote in source for quote in _CURLY) and '"' not in source:
        expected, advice = "straight quotes", 'replace curly quotes by straight ones: "text"'
    return Problem(
        where=f"{name}, line {number}, column {column}",
        found=f"`{source[:77] + '…' if len(source) > 78 else source}` ({_AT.sub('', message)})",
        expected=expected,
        advice=advice,
    )
