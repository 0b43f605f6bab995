"""From places where a document breaks its schema to what a person is told: found, expected, what to do."""

from __future__ import annotations

import datetime as dt
import difflib
import math
import re
import sys
import unicodedata
from collections.abc import Collection, Iterator, Mapping
from typing import Any

from pipeline import jsondoc
from pipeline.errors import Problem
from pipeline.tomldoc.locate import KeyPath
from pipeline.tomldoc.source import TomlSource

_LANGUAGES = {
    "english": "en",
    "latin": "la",
    "german": "de",
    "french": "fr",
    "italian": "it",
    "spanish": "es",
    "dutch": "nl",
    "greek": "el",
    "ancient greek": "grc",
    "hebrew": "he",
    "arabic": "ar",
    "persian": "fa",
    "turkish": "tr",
    "ottoman turkish": "ota",
    "syriac": "syr",
    "coptic": "cop",
    "armenian": "hy",
    "ethiopic": "gez",
    "akkadian": "akk",
    "sumerian": "sux",
    "sanskrit": "sa",
    "chinese": "zh",
    "japanese": "ja",
    "russian": "ru",
    "church slavonic": "cu",
    "yiddish": "yi",
    "portuguese": "pt",
}


def quoted(value: object) -> str:
    """Return a value as a person wrote it: text in quotes, dates bare, tables and lists by their name."""
    match value:
        case bool():
            return str(value).lower()
        case str():
            return f'"{value}"' if len(value) <= 80 else f'"{value[:79]}…"'
        case Mapping():
            return "a table"
        case list() if len(str(value)) > 60:
            return f"a list of {len(value)}"
        case list():
            return f"[{', '.join(map(quoted, value))}]"
        case dt.datetime() | dt.date() | dt.time():
            return value.isoformat()
    return str(value)


def plain(text: str) -> str:
    """Return text with single blanks and composed accents, so that equal texts compare equal."""
    return " ".join(unicodedata.normalize("NFC", text).split())


def near_miss(found: str, known: Collection[str]) -> str:
    """Return ``did you mean "…"?`` if one of `known` is close to what was found, else nothing."""
    near = nearest(found, known)
    return f'did you mean "{near}"?' if near else ""


def nearest(found: str, known: Collection[str]) -> str:
    """Return the one of `known` that was evidently meant, or nothing.

    A name with another number is another thing: ``f. 2r`` is no slip of the pen for ``f. 3r``.
    """
    number = digits(found)
    by_form = {_form(each): each for each in known if digits(each) == number}
    near = difflib.get_close_matches(_form(found), by_form, n=1, cutoff=0.6)
    return by_form[near[0]] if near else ""


def digits(text: str) -> str:
    """The digits of a text, in their order."""
    return re.sub(r"\D+", "", text)


def _form(text: str) -> str:
    return re.sub(r"[\W_]+", "-", text.casefold())


def listed(known: Collection[str], *, most: int = 12) -> str:
    """Return names in quotes with commas; long lists are cut short."""
    shown = [f'"{each}"' for each in list(known)[:most]]
    return ", ".join(shown) + (f" … {len(known)} in all" if len(known) > most else "")


def by_place(problem: Problem) -> int:
    """Sort key: the line of a TOML file or the row of a table; what stands in none comes last."""
    number = re.search(r", (?:line|rows?) (\d+)", problem.where)
    return int(number[1]) if number else sys.maxsize


# ------------------------------------------------------------------------------------ schema violations


def shape_problems(source: TomlSource, schema_name: str) -> tuple[dict[str, Any], list[Problem]]:
    """Hold a TOML file against a schema of ours.

    Returns what of the document is sound, so that it can be judged further, and all problems. Dates are
    text there: a bare date where text is wanted is that text.
    """
    document = _as_json(source.document)
    found = list(jsondoc.violations(document, schema_name))
    problems = [problem for each in found for problem in _problems_of(source, each, schema_name)]
    sound = _without(document, {path for each in found for path in _broken_paths(each)})
    return sound, list(dict.fromkeys(problems))


def _as_json(value: Any) -> Any:
    """Return TOML's values as JSON has them: dates as text, numbers that are none as text."""
    match value:
        case dict():
            return {key: _as_json(each) for key, each in value.items()}
        case list():
            return [_as_json(each) for each in value]
        case dt.datetime() | dt.date() | dt.time():
            return value.isoformat()
        case float() if not math.isfinite(value):
            return str(value)
    return value


def _problems_of(source: TomlSource, violation: jsondoc.Violation, schema_name: str) -> Iterator[Problem]:
    match violation.rule:
        case "required":
            yield from _missing_keys(source, violation, schema_name)
        case "additionalProperties" if isinstance(violation.limit, bool):
            yield from _unknown_keys(source, violation, schema_name)
        case "anyOf":
            yield _bad_language_key(source, violation)
        case _:
            yield _bad_value(source, violation)


def _missing_keys(source: TomlSource, violation: jsondoc.Violation, schema_name: str) -> Iterator[Problem]:
    known = violation.schema.get("properties", {})
    misspelt = {nearest(key, known) for key in violation.found if key not in known}
    for key in violation.limit:
        if key not in violation.found and key not in misspelt:
            expected = f"the {'table' if not violation.path else 'key'} `{key}`"
            what = _expectation(_schema_of(violation, key, schema_name))
            yield Problem(
                where=source.where(violation.path),
                found=f"no `{key}`",
                expected=expected,
                advice=f"write {what}" if what.startswith("a table") else f"give {what}",
            )


def _unknown_keys(source: TomlSource, violation: jsondoc.Violation, schema_name: str) -> Iterator[Problem]:
    known = list(violation.schema.get("properties", ()))
    for key in violation.found:
        if key in known:
            continue
        is_top = not violation.path
        is_table = isinstance(violation.found[key], dict | list)
        advice = near_miss(key, known if is_table or not is_top else ()) or _home_of(key, schema_name)
        yield Problem(
            where=source.where((*violation.path, key)),
            found=f"the unknown {'table or key' if is_top else 'key'} `{key}`",
            expected=f"a {'table' if is_top else 'key'} that we know"
            if advice
            else "one of " + ", ".join(known),
            advice=advice or "remove it; all keys are listed in docs/item-files.md",
        )


def _home_of(key: str, schema_name: str) -> str:
    """Say where a key belongs that stands in the wrong table, or what it is close to in another."""
    tables = jsondoc.schema(schema_name)["properties"]
    if key in tables:
        return f"`{key}` is a table of its own, {_header(key, tables)}"
    for name, table in tables.items():
        if key in _fields(table):
            return f"`{key}` belongs under {_header(name, tables)}"
    for name, table in tables.items():
        if near := near_miss(key, _fields(table)):
            return f"{near.removesuffix('?')} under {_header(name, tables)}?"
    return ""


def _header(name: str, tables: Mapping[str, Any]) -> str:
    return f"[[{name}]]" if "items" in tables[name] else f"[{name}]"


def _fields(table: Mapping[str, Any]) -> Collection[str]:
    fields: Collection[str] = table.get("items", table).get("properties", {})
    return fields


def _bad_language_key(source: TomlSource, violation: jsondoc.Violation) -> Problem:
    return Problem(
        where=source.where((*violation.path, violation.found)),
        found=f"the language `{violation.found}`",
        expected=str(violation.schema.get("description", "a language tag")),
        advice=_language_advice(str(violation.found)),
    )


def _bad_value(source: TomlSource, violation: jsondoc.Violation) -> Problem:
    return Problem(
        where=source.where(violation.path),
        found=_found(source, violation),
        expected=_expectation(violation.schema),
        advice=_value_advice(violation, _value_at(source.document, violation.path)),
    )


def _found(source: TomlSource, violation: jsondoc.Violation) -> str:
    found = _value_at(source.document, violation.path)
    if found in ("", [], {}) or (isinstance(found, str) and not found.strip()):
        return "nothing"
    return quoted(found)


def _value_at(document: Any, path: KeyPath) -> Any:
    for part in path:
        document = document[part]
    return document


def _value_advice(violation: jsondoc.Violation, found: Any) -> str:
    description = str(violation.schema.get("description", ""))
    if violation.rule == "enum":
        return near_miss(str(found), [str(each) for each in violation.limit])
    if "language tag" in description and isinstance(found, str):
        return _language_advice(found)
    return _proposal(found, violation.limit, violation.schema) if violation.rule == "type" else ""


def _proposal(found: object, wanted: object, schema: Mapping[str, Any]) -> str:
    """Say what is evidently meant by a value of the wrong type; nothing that would be wrong again."""
    match wanted:
        case "boolean" if str(found).lower() in ("yes", "true", "no", "false", "1", "0"):
            return f"write {str(str(found).lower() in ('yes', 'true', '1')).lower()}, without quotes"
        case "number" | "integer" if isinstance(found, str):
            numbers = _numbers(found)
            return f"write {numbers[0]}, without quotes" if len(numbers) == 1 else "write a bare number"
        case "array" if isinstance(found, Mapping):
            return "write the table's name in double brackets, [[…]]"
        case "array" if schema["items"].get("type") in ("number", "integer"):
            numbers = _numbers(str(found))
            enough = schema.get("minItems", 1) <= len(numbers) <= schema.get("maxItems", len(numbers))
            return f"write [{', '.join(numbers)}]" if enough else ""
        case "array":
            return f"write [{quoted(found)}]"
        case "object" if isinstance(found, list):
            return "write the table's name in single brackets, […]"
        case _ if "string" in str(wanted) and isinstance(found, int | float):
            fits = re.search(schema.get("pattern", ""), str(found))
            return f'write "{found}", in quotes' if fits else ""
    return ""


def _numbers(text: str) -> list[str]:
    return [number.replace(",", ".") for number in re.findall(r"-?\d+(?:[.,]\d+)?", text)]


def _language_advice(found: str) -> str:
    if found.lower() in _LANGUAGES:
        return f'did you mean "{_LANGUAGES[found.lower()]}"?'
    hyphened = found.replace("_", "-")
    if re.fullmatch(jsondoc.schema("item")["$defs"]["languageTag"]["pattern"], hyphened):
        return f'did you mean "{hyphened}"?'
    if found == "@none":
        return 'did you mean "none"?'
    return ""


def _expectation(schema: Mapping[str, Any]) -> str:
    if choices := schema.get("enum"):
        return f"one of {', '.join(map(str, choices))}"
    return str(schema.get("description", "")) or " or ".join(map(str, [schema.get("type", "another value")]))


def _schema_of(violation: jsondoc.Violation, key: str, schema_name: str) -> Mapping[str, Any]:
    """Return the part of a schema that describes a key of the table that a violation is about."""
    part: Mapping[str, Any] = violation.schema.get("properties", {}).get(key, {})
    if reference := part.get("$ref"):
        part = jsondoc.schema(schema_name)["$defs"][str(reference).removeprefix("#/$defs/")]
    return part


def _broken_paths(violation: jsondoc.Violation) -> Iterator[KeyPath]:
    """Yield what has to be left out of a document so that the rest can be judged."""
    match violation.rule:
        case "required":
            return
        case "additionalProperties" if isinstance(violation.limit, bool):
            known = violation.schema.get("properties", {})
            yield from ((*violation.path, key) for key in violation.found if key not in known)
        case "anyOf":
            yield (*violation.path, violation.found)
        case _:
            yield violation.path


def _without(value: Any, broken: set[KeyPath], path: KeyPath = ()) -> Any:
    """Return a document without the values at the paths; elements of lists that are left keep their order.

    An element that is a broken table becomes an empty one, so that those after it keep their numbers.
    """
    if isinstance(value, dict):
        kept = {key: each for key, each in value.items() if (*path, key) not in broken}
        return {key: _without(each, broken, (*path, key)) for key, each in kept.items()}
    if isinstance(value, list):
        if all(isinstance(each, dict) for each in value):
            return [
                {} if (*path, n) in broken else _without(each, broken, (*path, n))
                for n, each in enumerate(value)
            ]
        return [each for n, each in enumerate(value) if (*path, n) not in broken]
    return value
