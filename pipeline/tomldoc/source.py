"""The text of a file that a person wrote: decoded, and for TOML with the line of every key."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import InputError, Problem, ToolError
from pipeline.tomldoc.locate import KeyPath, line_numbers
from pipeline.tomldoc.malformed import malformed

_PACKED = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
_WIDE_MARKS = (b"\xff\xfe", b"\xfe\xff")
_SAVE = "save it from a text editor as plain text in UTF-8"


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
    likely = f" (perhaps {western} in an older encoding)" if western.isprintable() else ""
    found = f"the byte 0x{data[at]:02X}{likely} after `{before[-20:].strip()}`"
    return Problem(where=f"{name}, line {line}", found=found, expected="text in UTF-8", advice=advice)


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
        return malformed(path.name, text, str(error))
    except RecursionError:
        return Problem(where=path.name, found="brackets nested too deep", expected="a few levels at most")
    return TomlSource(name=path.name, document=document, lines=line_numbers(text))
