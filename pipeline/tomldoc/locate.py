"""Where in a TOML text each key stands: the reader of the standard library does not say.

The text is known to be valid TOML when it comes here, so only its outline is followed: headers, keys,
and as much of values as is needed to find the keys and elements inside them.
Source: TOML 1.0.0, sections Keys, String, Array, Inline Table, Table, Array of Tables.
"""

from __future__ import annotations

import re
import tomllib
from typing import TypeAlias

KeyPath: TypeAlias = tuple[str | int, ...]
"""Keys and positions (from 0) from the document's root."""

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_TRIPLE = re.compile(r'"""(?:\\.|[^\\])*?"{3,5}(?!")' + r"|'''.*?'{3,5}(?!')", re.S)
_STRING = re.compile(r'"(?:\\.|[^"\\\n])*"' + r"|'[^'\n]*'")
_SCALAR = re.compile(r"[^,\]}#\r\n]+")


def line_numbers(text: str) -> dict[KeyPath, int]:
    """Return the line, from 1, of every table, key and element of a valid TOML text."""
    return _Outline(text.replace("\r\n", "\n")).lines


class _Outline:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.line, self.counted_to = 1, 0
        self.lines: dict[KeyPath, int] = {}
        self.arrays: dict[KeyPath, int] = {}
        self._follow()

    def _follow(self) -> None:
        table: KeyPath = ()
        self._skip_blank()
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip_blank()

    def _header(self) -> KeyPath:
        is_array = self.text.startswith("[[", self.at)
        at = self.at
        self.at += 2 if is_array else 1
        keys = self._keys()
        self._skip_blank()
        self.at += 2 if is_array else 1
        if is_array:
            array = (*self._resolve(keys[:-1], at), keys[-1])
            self._note(array, at)
            path = (*array, self.arrays.get(array, 0))
            self.arrays[array] = self.arrays.get(array, 0) + 1
        else:
            path = self._resolve(keys, at)
        self._note(path, at)
        return path

    def _resolve(self, keys: list[str], at: int) -> KeyPath:
        """Return the path of a header's keys: a key of an array of tables means its last table."""
        path: KeyPath = ()
        for key in keys:
            path = (*path, key)
            self._note(path, at)
            if path in self.arrays:
                path = (*path, self.arrays[path] - 1)
        return path

    def _pair(self, table: KeyPath) -> None:
        at = self.at
        path = table
        for key in self._keys():
            path = (*path, key)
            self._note(path, at)
        self._skip_blank()
        self.at += 1  # the equals sign
        self._value(path)

    def _keys(self) -> list[str]:
        keys = [self._key()]
        self._skip_blank()
        while self.text.startswith(".", self.at):
            self.at += 1
            keys.append(self._key())
            self._skip_blank()
        return keys

    def _key(self) -> str:
        self._skip_blank()
        if match := _BARE.match(self.text, self.at):
            self.at = match.end()
            return match[0]
        match = _STRING.match(self.text, self.at)
        if match is None:
            raise ValueError(f"not a key at {self.at}")
        self.at = match.end()
        return _unquoted(match[0])

    def _value(self, path: KeyPath) -> None:
        self._skip_blank()
        self._note(path, self.at)
        opening = self.text[self.at]
        if opening == "[":
            self._elements(path)
        elif opening == "{":
            self._inline_table(path)
        else:
            pattern = _SCALAR if opening not in "\"'" else _TRIPLE
            match = pattern.match(self.text, self.at) or _STRING.match(self.text, self.at)
            self.at = match.end() if match else self.at + 1

    def _elements(self, path: KeyPath) -> None:
        self.at += 1
        self._skip_blank()
        position = 0
        while self.text[self.at] != "]":
            self._value((*path, position))
            position += 1
            self._skip_separator()
        self.at += 1

    def _inline_table(self, path: KeyPath) -> None:
        self.at += 1
        self._skip_blank()
        while self.text[self.at] != "}":
            self._pair(path)
            self._skip_separator()
        self.at += 1

    def _skip_separator(self) -> None:
        self._skip_blank()
        if self.text.startswith(",", self.at):
            self.at += 1
            self._skip_blank()

    def _skip_blank(self) -> None:
        match = _BLANK.match(self.text, self.at)
        self.at = match.end() if match else self.at

    def _note(self, path: KeyPath, at: int) -> None:
        if at > self.counted_to:
            self.line += self.text.count("\n", self.counted_to, at)
            self.counted_to = at
            line = self.line
        else:
            line = self.line - self.text.count("\n", at, self.counted_to)
        self.lines.setdefault(path, line)


def _unquoted(text: str) -> str:
    if text.startswith("'"):
        return text[1:-1]
    return str(tomllib.loads(f"key = {text}")["key"])
