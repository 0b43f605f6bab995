"""What the TOML reader stumbled over, in plain words: what was evidently meant, and how to write it.

Source: TOML 1.0.0. The reader's own message is kept, for those who know TOML.
"""

from __future__ import annotations

import re

from pipeline.errors import Problem

_CURLY = "“”„«»‘’"
_QUOTES = 'put text in straight double quotes: key = "text"'
_DATE = "write year-month-day, without quotes: 2026-03-09"

_ADVICE = (
    # what the reader says, what the line looks like, what is expected, what to do
    ("", rf'^[^"]*[{_CURLY}]', "straight quotes", 'replace curly quotes by straight ones: "text"'),
    ("", r"^\s*(//|;|--)", "a comment to begin with #", "write # before it"),
    ("", r"^\s*[\w-]+\s*:", "key = value", "write an equals sign instead of the colon"),
    (r"Illegal character '\\n'|Unterminated", "", "a closing quote", "end the text with a quote on its line"),
    ("Illegal character", "", "characters that can be seen", "remove the invisible character at this column"),
    ("Unescaped", r"\\", "no single backslash in double quotes", "write / in paths"),
    (
        "Cannot overwrite|Cannot declare",
        r"^\s*\[",
        "each table once",
        "write one of several tables as [[name]]",
    ),
    ("Cannot", "", "each key once in its table", "this key is given a second time: keep one of them"),
    ("Invalid date", "", "a date that exists", _DATE),
    (
        "Unclosed array",
        "",
        "commas between the elements of a list and a ] at its end",
        "close the list with ]",
    ),
    (r"inline table|key part", r"=\s*\{", "a table in braces on one line", 'write { en = "…", la = "…" }'),
    (r"Expected '\]+'", "", "a closing bracket", "write a table as [name], one of several as [[name]]"),
    ("Expected '='", r"^\s*[\w-]+ +[\w -]+=", "a key without blanks", "write _ instead of blanks"),
    ("Expected '='", "", "key = value", "write the key, an equals sign and the value"),
    ("", r"=\s*(?i:true|false|yes|no|on|off)\b", "true or false", "write true or false in small letters"),
    ("", r"=\s*\d{1,2}[./-]\d{1,2}[./-]\d{4}", "a date, year first", _DATE),
    ("", r"=\s*0\d", "a number without zeros before it", "leave the zeros out, or put it in quotes"),
    (
        "",
        r"=\s*-?[\d.,]+\s*[^\s\d]",
        "a number alone",
        "write the number without its unit and with a decimal point",
    ),
    ("Invalid value", r"=\s*(#.*)?$", "a value", "give one, or remove the line"),
    ("newline", r'=\s*".*"', "one text in quotes", 'write quotes inside a text as \\"'),
    ("newline", r"=\s*'.*'", "one text in quotes", "put a text that contains ' in double quotes"),
    ("newline", "", "nothing behind the value", _QUOTES),
    ("Invalid value", "", "a value", _QUOTES),
    ("", "", "valid TOML", "write key = value, with keys of letters, digits, - and _"),
)
_AT = re.compile(r"\s*\(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)$")


def malformed(name: str, text: str, message: str) -> Problem:
    """Return the problem of a TOML text that the reader refused with `message`."""
    lines = text.split("\n")
    match = _AT.search(message)
    number = int(match["line"]) if match and match["line"] else len(lines)
    column = int(match["column"]) if match and match["column"] else len(lines[-1]) + 1
    source = lines[min(number, len(lines)) - 1]
    said = _AT.sub("", message)
    expected, advice = _advice(said, source)
    return Problem(
        where=f"{name}, line {number}, column {column}",
        found=f"`{_short(source.strip())}` ({said})",
        expected=expected,
        advice=advice,
    )


def _advice(said: str, source: str) -> tuple[str, str]:
    return next(
        (expected, advice)
        for message, line, expected, advice in _ADVICE
        if re.search(message, said) and re.search(line, source)
    )


def _short(source: str) -> str:
    return f"{source[:77]}…" if len(source) > 78 else source
