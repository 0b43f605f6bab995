"""Imaging specifications: the tolerances that frames are judged by, as data.

A specification is a TOML file: ours lie in ``schemas/specifications``, a unit or a contract may bring its
own. Each limit names its measure, comparator, value, unit, statistic, formula and source, and each source
says how far it was read when the limit was taken from it. Form: ``schemas/specification.schema.json``.
"""

from __future__ import annotations

import difflib
import enum
import json
import operator
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline import jsondoc
from pipeline.errors import Problem, SettingsError
from pipeline.findings import Level

DEFAULT = "fadgi-2016-manuscripts-3-star"
"""Of the publications at hand the one that was read in full, at the level most units work to."""

Value = float | str
"""What a measure gives: a number, or a word such as the name of a colour space."""


class Measure(enum.StrEnum):
    """What a limit can be set for. Imaging measures take their place beside these."""

    FORMAT = "file_format"
    COMPRESSION = "compression"
    BITS = "bits_per_sample"
    COLOUR_SPACE = "colour_space"
    PPI = "ppi"
    PPI_TAG = "ppi_tag_deviation"

    @property
    def unit(self) -> str:
        """The unit that limits of this measure are written in; empty for words."""
        return _UNITS.get(self, "")

    @property
    def label(self) -> str:
        """What a person calls it."""
        return _LABELS[self]


_UNITS = {Measure.BITS: "bit", Measure.PPI: "ppi", Measure.PPI_TAG: "%"}
_LABELS = {
    Measure.FORMAT: "file format",
    Measure.COMPRESSION: "compression",
    Measure.BITS: "bits per channel",
    Measure.COLOUR_SPACE: "colour space",
    Measure.PPI: "resolution",
    Measure.PPI_TAG: "ppi tag against the session's ppi",
}


class Comparator(enum.StrEnum):
    """How a measured value is held against a limit."""

    BELOW = "<"
    AT_MOST = "<="
    AT_LEAST = ">="
    ABOVE = ">"
    EQUAL = "="
    ONE_OF = "one of"
    BETWEEN = "between"
    """From the first to the second value, both included."""


_ORDERS = {
    Comparator.BELOW: operator.lt,
    Comparator.AT_MOST: operator.le,
    Comparator.AT_LEAST: operator.ge,
    Comparator.ABOVE: operator.gt,
    Comparator.EQUAL: operator.eq,
}
_SIGNS = {Comparator.AT_MOST: "≤ ", Comparator.AT_LEAST: "≥ ", Comparator.EQUAL: ""}


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where limits come from."""

    tag: str
    title: str
    read: str
    """How far it was read when the limits were taken from it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One tolerance."""

    measure: Measure
    comparator: Comparator
    values: tuple[Value, ...]
    """One value, two for ``between``, any number for ``one of``; in `unit`."""
    unit: str
    statistic: str
    """What of the measured values is held against the limit: each frame, each patch, mean …"""
    formula: str
    """Which formula, where there are several of one name; or where the value is read."""
    source: Source
    where: str
    """Table and row of the source."""
    level: Level
    """How much a finding against it weighs."""

    def allows(self, value: Value) -> bool:
        """True if `value`, in `unit`, keeps the limit."""
        match self.comparator:
            case Comparator.ONE_OF:
                return value in self.values
            case Comparator.BETWEEN:
                low, high = map(float, self.values)
                return low <= float(value) <= high
            case _:
                return bool(_ORDERS[self.comparator](float(value), float(self.values[0])))

    @property
    def number(self) -> float:
        """The one number of a limit that has one. Raises ValueError for words."""
        return float(self.values[0])

    @property
    def text(self) -> str:
        """The limit as a person reads it: ``≥ 300 ppi``, ``8 or 16 bit``."""
        values = [each if isinstance(each, str) else f"{each:g}" for each in self.values]
        match self.comparator:
            case Comparator.ONE_OF:
                listed = " or ".join(filter(None, [", ".join(values[:-1]), values[-1]]))
            case Comparator.BETWEEN:
                listed = f"{values[0]} to {values[1]}"
            case _:
                listed = f"{_SIGNS.get(self.comparator, f'{self.comparator} ')}{values[0]}"
        return f"{listed} {self.unit}".strip()

    @property
    def citation(self) -> str:
        """The source as a finding cites it."""
        return f"{self.source.title}, {self.where}" if self.where else self.source.title


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourSpace:
    """A colour space by name, and the profile descriptions that it is recognised by."""

    name: str
    descriptions: tuple[str, ...]

    def is_described_by(self, description: str) -> bool:
        """True if a profile with this description is taken to be of the space."""
        found = _letters(description)
        return any(_letters(each) in found for each in self.descriptions)


def _letters(text: str) -> str:
    return "".join(char for char in text.casefold() if char.isalnum())


@dataclass(frozen=True, slots=True, kw_only=True)
class Specification:
    """A set of tolerances."""

    identifier: str
    title: str
    version: str
    covers: str
    """What material and which frames it is meant for."""
    note: str
    limits: tuple[Limit, ...]
    sources: tuple[Source, ...]
    colour_spaces: tuple[ColourSpace, ...]

    def limit(self, measure: Measure) -> Limit | None:
        """The limit for `measure`, if the specification sets one."""
        return next((each for each in self.limits if each.measure is measure), None)

    def colour_space(self, description: str) -> str:
        """The name of the space that a profile of this description is taken to be of, or nothing."""
        return next((s.name for s in self.colour_spaces if s.is_described_by(description)), "")


# ------------------------------------------------------------------------------------------- reading


def folder() -> Path:
    """Where the specifications that come with the package lie."""
    return jsondoc.schemas_folder() / "specifications"


def names() -> tuple[str, ...]:
    """The names of the specifications that come with the package, sorted."""
    return tuple(sorted(path.stem for path in folder().glob("*.toml")))


def source_text(name: str) -> str:
    """Return the TOML text of a specification that comes with the package. Raises SettingsError."""
    return _find(name).read_text(encoding="utf-8")


def load(name_or_path: str | Path | None = None) -> Specification:
    """Return a specification that comes with the package, by name, or one from a file, by path.

    None gives the default. Raises SettingsError with all problems of the file.
    """
    path = _find(name_or_path or DEFAULT)
    try:
        document = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SettingsError(f"{path}: is not a specification file that can be read ({error})") from error
    problems = list(_shape_problems(path.name, document)) or list(_sense_problems(path.name, document))
    if problems:
        raise SettingsError(f"{path}: the specification is wrong", problems=problems)
    return _specification(document)


def _find(name_or_path: str | Path) -> Path:
    text = str(name_or_path)
    if isinstance(name_or_path, str) and text in names():
        return folder() / f"{text}.toml"
    if _is_file(Path(text)):
        return Path(text)
    near = difflib.get_close_matches(text, names(), n=1)
    advice = f'did you mean "{near[0]}"?' if near else "give one of the names, or the path of a TOML file"
    expected = ", ".join(names())
    problem = Problem(where="specification", found=f'"{text}"', expected=expected, advice=advice)
    raise SettingsError("there is no such imaging specification", problems=[problem])


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a name that is too long, or holds a NUL
        return False


def _shape_problems(file: str, document: dict[str, Any]) -> Iterator[Problem]:
    for each in jsondoc.violations(document, "specification"):
        where = f"{file}, {_key_path(each.path)}" if each.path else file
        yield Problem(where=where, found=_found(each), expected=_expected(each), advice=_near_miss(each))


def _found(violation: jsondoc.Violation) -> str:
    named = ", ".join(f'"{name}"' for name in re.findall("'([^']*)'", violation.message))
    match violation.rule:
        case "required":
            return f"no key {named}"
        case "additionalProperties":
            return f"the key {named}"
        case _ if isinstance(violation.found, str | int | float | bool):
            return json.dumps(violation.found, ensure_ascii=False)
        case _:
            return violation.message


def _key_path(path: tuple[str | int, ...]) -> str:
    """``limit 3, value``: tables of an array are counted from 1, as a person counts them."""
    parts: list[str] = []
    for part in path:
        if isinstance(part, int) and parts:
            parts[-1] += f" {part + 1}"
        else:
            parts.append(str(part))
    return ", ".join(parts)


def _expected(violation: jsondoc.Violation) -> str:
    match violation.rule:
        case "enum":
            return "one of " + ", ".join(f'"{each}"' for each in violation.limit)
        case "required":
            return f"the keys {', '.join(violation.limit)}"
        case "additionalProperties":
            return "no other keys than those of the form"
        case "type":
            return str(violation.limit)
        case _:
            return f"{violation.rule} {violation.limit}"


def _near_miss(violation: jsondoc.Violation) -> str:
    if violation.rule != "enum" or not isinstance(violation.found, str):
        return ""
    near = difflib.get_close_matches(violation.found, [str(each) for each in violation.limit], n=1)
    return f'did you mean "{near[0]}"?' if near else ""


def _sense_problems(file: str, document: dict[str, Any]) -> Iterator[Problem]:
    """What a schema cannot say: sources that are cited exist, values fit their comparator and measure."""
    tags = [source["tag"] for source in document["source"]]
    spaces = {space["name"] for space in document.get("colour_space", ())}
    seen: set[str] = set()
    for number, limit in enumerate(document["limit"], start=1):
        where = f"{file}, limit {number}"
        if limit["source"] not in tags:
            expected = "a tag of a [[source]]: " + ", ".join(tags)
            yield Problem(where=f"{where}, source", found=f'"{limit["source"]}"', expected=expected)
        if limit["measure"] in seen:
            found = f'a second limit for "{limit["measure"]}"'
            yield Problem(where=f"{where}, measure", found=found, expected="one limit for each measure")
        seen.add(limit["measure"])
        yield from _value_problems(where, limit, spaces)


def _value_problems(where: str, limit: dict[str, Any], spaces: set[str]) -> Iterator[Problem]:
    measure, comparator, values = Measure(limit["measure"]), limit["comparator"], _values(limit["value"])
    if limit["unit"] != measure.unit:
        expected = f'"{measure.unit}" for {measure.value}'
        yield Problem(where=f"{where}, unit", found=f'"{limit["unit"]}"', expected=expected)
    wanted = {Comparator.ONE_OF: 0, Comparator.BETWEEN: 2}.get(Comparator(comparator), 1)
    if wanted and len(values) != wanted:
        expected = f'{wanted} for the comparator "{comparator}"'
        yield Problem(where=f"{where}, value", found=f"{len(values)} values", expected=expected)
    kind = float if measure.unit else str
    for value in values:
        if not isinstance(value, kind):
            expected = f"a number of {measure.unit}" if measure.unit else "text"
            yield Problem(where=f"{where}, value", found=repr(value), expected=expected)
        elif measure is Measure.COLOUR_SPACE and value not in spaces:
            expected = "the name of a [[colour_space]]: " + ", ".join(sorted(spaces))
            yield Problem(where=f"{where}, value", found=f'"{value}"', expected=expected)
    if not measure.unit and comparator not in (Comparator.ONE_OF, Comparator.EQUAL):
        expected = '"one of" for words'
        yield Problem(where=f"{where}, comparator", found=f'"{comparator}"', expected=expected)


def _values(value: Any) -> tuple[Value, ...]:
    listed = value if isinstance(value, list) else [value]
    return tuple(each if isinstance(each, str) else float(each) for each in listed)


def _specification(document: dict[str, Any]) -> Specification:
    head = document["specification"]
    sources = tuple(Source(tag=s["tag"], title=s["title"], read=s["read"]) for s in document["source"])
    by_tag = {source.tag: source for source in sources}
    return Specification(
        identifier=head["id"],
        title=head["title"],
        version=head["version"],
        covers=head["covers"],
        note=head.get("note", ""),
        limits=tuple(_limit(each, by_tag) for each in document["limit"]),
        sources=sources,
        colour_spaces=tuple(
            ColourSpace(name=s["name"], descriptions=tuple(s["descriptions"]))
            for s in document.get("colour_space", ())
        ),
    )


def _limit(table: dict[str, Any], sources: dict[str, Source]) -> Limit:
    return Limit(
        measure=Measure(table["measure"]),
        comparator=Comparator(table["comparator"]),
        values=_values(table["value"]),
        unit=table["unit"],
        statistic=table["statistic"],
        formula=table.get("formula", ""),
        source=sources[table["source"]],
        where=table.get("where", ""),
        level=Level(table.get("level", Level.ERROR)),
    )
