"""Imaging specifications: the tolerances that frames are judged by, as data.

A specification is a TOML file: ours lie in ``schemas/specifications``, a unit or a contract may bring its
own. Each limit names its measure, comparator, value, unit, statistic, formula and source, and each source
says how far it was read when the limit was taken from it. Form: ``schemas/specification.schema.json``; for
people: ``docs/specifications.md``.
"""

from __future__ import annotations

import difflib
import enum
import functools
import json
import math
import operator
import re
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline import jsondoc
from pipeline.errors import Problem, SettingsError
from pipeline.findings import Level
from pipeline.measurements import FORMULAS, Quantity
from pipeline.tomldoc.problems import by_place, listed, near_miss, nearest
from pipeline.tomldoc.source import TomlSource, decode, read_bytes, read_toml

DEFAULT = "fadgi-2016-manuscripts-3-star"
"""Of the publications at hand the one that was read in full, at the level most units work to."""

Value = float | str
"""What a measure gives: a number, or a word such as the name of a colour space."""


class Measure(enum.StrEnum):
    """What a file says of itself. Limits are set for these, and for what is measured: `Quantity`."""

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


class Statistic(enum.StrEnum):
    """What of several measured values is held against a limit."""

    EACH = "each"
    """Every single one: patch, channel, edge, corner; the worst counts."""
    MEAN = "mean"
    PERCENTILE_90 = "90th percentile"
    MAXIMUM = "maximum"
    MINIMUM = "minimum"


class Patches(enum.StrEnum):
    """Which patches of a colour target a limit is for."""

    ALL = "all"
    NEUTRAL = "neutral"


OF_PATCHES = frozenset(
    {
        Quantity.COLOUR,
        Quantity.WHITE_BALANCE,
        Quantity.TONE,
        Quantity.NOISE,
        Quantity.GAIN,
        Quantity.GAIN_HIGHLIGHTS,
    }
)
"""Quantities that are measured patch by patch."""

_WITHOUT_SIGN = frozenset(
    {Quantity.COLOUR, Quantity.WHITE_BALANCE, Quantity.TONE, Quantity.CAST, Quantity.MISREGISTRATION}
)
"""Differences: whichever way they go, their size is judged."""

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
    is_second_hand: bool = False
    """True if the publication was not read itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """Sizes of frames: longer than the one, no longer than the other."""

    above: float = 0.0
    up_to: float = math.inf

    def holds(self, long_edge_mm: float) -> bool:
        """True if a frame with this long edge is meant."""
        return self.above < long_edge_mm <= self.up_to

    @property
    def text(self) -> str:
        """``above 420 up to 594 mm``"""
        parts = [f"above {self.above:g}"] if self.above else []
        parts += [f"up to {self.up_to:g}"] if self.up_to < math.inf else []
        return " ".join([*parts, "mm"])


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One tolerance."""

    measure: Measure | Quantity
    comparator: Comparator
    values: tuple[Value, ...]
    """One value, two for ``between``, any number for ``one of``; in `unit`."""
    unit: str
    statistic: str
    """What of the measured values is held against it: one of `Statistic`; of header facts, in words."""
    formula: str
    """Which formula, where there are several of one name; or where the value is read."""
    source: Source
    where: str
    """Table and row of the source."""
    level: Level
    """How much a finding against it weighs."""
    patches: Patches = Patches.ALL
    """Which patches of a colour target it is for; of other quantities it says nothing."""
    lightness: tuple[float, float] | None = None
    """Patches with a reference L* from the first to the second, both included; None for all."""
    long_edge_mm: Span | None = None
    """Frames that cover so much at the object; None for all."""

    def allows(self, value: Value) -> bool:
        """True if `value`, in `unit`, keeps the limit. Differences are judged by their size, without sign."""
        match self.comparator:
            case Comparator.ONE_OF:
                return value in self.values
            case Comparator.BETWEEN:
                low, high = map(float, self.values)
                return low <= float(value) <= high
            case _:
                found = abs(float(value)) if self.measure in _WITHOUT_SIGN else float(value)
                return bool(_ORDERS[self.comparator](found, float(self.values[0])))

    def is_for_patch(self, *, lightness: float, is_neutral: bool) -> bool:
        """True if it is for a patch with this reference L*."""
        low, high = self.lightness or (-math.inf, math.inf)
        return low <= lightness <= high and (is_neutral or self.patches is Patches.ALL)

    def is_for_frame(self, long_edge_mm: float | None) -> bool:
        """True if it is for a frame that covers this at the object; None is a size that nobody knows."""
        if self.long_edge_mm is None:
            return True
        return long_edge_mm is not None and self.long_edge_mm.holds(long_edge_mm)

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
            case Comparator.BETWEEN if self.is_symmetric:
                listed = f"±{values[1]}"
            case Comparator.BETWEEN:
                listed = f"{values[0]} to {values[1]}"
            case _:
                listed = f"{_SIGNS.get(self.comparator, f'{self.comparator} ')}{values[0]}"
        return f"{listed}{'' if self.unit == '°' else ' '}{self.unit}".strip()

    @property
    def is_symmetric(self) -> bool:
        """True if it lies between a number and its negative."""
        return self.comparator is Comparator.BETWEEN and self.values[0] == -float(self.values[1])

    @property
    def conditions(self) -> str:
        """What it is for, if not for everything: ``neutral patches, L* 20 to 100``."""
        said = ["neutral patches"] if self.patches is Patches.NEUTRAL else []
        if self.lightness:
            said.append(f"L* {self.lightness[0]:g} to {self.lightness[1]:g}")
        if self.long_edge_mm:
            said.append(f"frames with a long edge {self.long_edge_mm.text}")
        return ", ".join(said)

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
    publication: str = ""
    category: str = ""
    grade: str = ""
    """Which of the levels of the publication: ``3 star``, ``A``, ``Light``."""

    def limit(self, measure: Measure | Quantity) -> Limit | None:
        """The limit for `measure`, the first of several, if the specification sets one."""
        return next(iter(self.limits_of(measure)), None)

    def limits_of(self, measure: Measure | Quantity) -> tuple[Limit, ...]:
        """All limits for `measure`, in the order of the file: upper and lower, mean and maximum …"""
        return tuple(each for each in self.limits if each.measure is measure)

    @property
    def is_second_hand(self) -> bool:
        """True if any limit comes from a publication that was not read itself."""
        return any(each.source.is_second_hand for each in self.limits)

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


ADVICE = "give the path of an imaging specification"


def source_text(name: str) -> str:
    """Return the TOML text of a specification, by name or path, right or wrong.

    Raises SettingsError if there is none, or it is no text; ToolError.
    """
    path = _find(name)
    text = decode(path.name, read_bytes(path, advice=ADVICE))
    if isinstance(text, Problem):
        raise SettingsError(f"{path}: is not a specification file that can be read", problems=[text])
    return text


def load(name_or_path: str | Path | None = None) -> Specification:
    """Return a specification that comes with the package, by name, or one from a file, by path.

    None gives the default. Raises SettingsError with all problems of the file.
    """
    path = _find(name_or_path or DEFAULT)
    source = read_toml(path, advice=ADVICE)
    if isinstance(source, Problem):
        raise SettingsError(f"{path}: is not a specification file that can be read", problems=[source])
    problems = sorted(_problems(source), key=by_place)
    if problems:
        raise SettingsError(f"{path}: the specification is wrong", problems=problems)
    return _specification(source.document)


def _find(name_or_path: str | Path) -> Path:
    text = str(name_or_path)
    if isinstance(name_or_path, str) and text in names():
        return folder() / f"{text}.toml"
    if _is(Path.is_file, Path(text)):
        return Path(text)
    problem = Problem(
        where="specification",
        found=f'"{text}"' + (", which is a folder" if _is(Path.is_dir, Path(text)) else ""),
        expected=f'a name of `solander spec list`, such as "{DEFAULT}", or the path of a TOML file',
        advice=_meant(text),
    )
    raise SettingsError("there is no such imaging specification", problems=[problem])


def _meant(text: str) -> str:
    """Say which names are near to what was written."""
    if near := difflib.get_close_matches(text.removesuffix(".toml"), names(), n=1, cutoff=0.7):
        return f'did you mean "{near[0]}"?'
    alike = [name for name in names() if text and name.startswith(text.casefold())]
    return f"names that begin so: {listed(alike, most=4)}" if alike else ""


def _is(kind: Callable[[Path], bool], path: Path) -> bool:
    try:
        return kind(path)
    except (OSError, ValueError):  # a name that is too long, or holds a NUL
        return False


def _problems(source: TomlSource) -> Iterator[Problem]:
    """First what is wrong with the form, then what makes no sense in those limits that have it."""
    violations = list(jsondoc.violations(source.document, "specification"))
    yield from _shape_problems(source, violations)
    if all(each.path[:1] == ("limit",) and len(each.path) > 1 for each in violations):
        yield from _sense_problems(source, {each.path[1] for each in violations})


def _shape_problems(source: TomlSource, violations: list[jsondoc.Violation]) -> Iterator[Problem]:
    misspelt = {
        (each.path, nearest(key, known))
        for each in violations
        if each.rule == "additionalProperties"
        for known in [each.schema["properties"]]
        for key in _named(each)
    }
    for each in violations:
        if each.rule == "required" and {(each.path, key) for key in _named(each)} <= misspelt:
            continue  # the misspelt key is told of
        yield Problem(
            where=source.where((*each.path, *_unknown(each))),
            found=_found(each),
            expected=_expected(each),
            advice=_near_miss(each),
        )


def _unknown(violation: jsondoc.Violation) -> list[str]:
    return _named(violation)[:1] if violation.rule == "additionalProperties" else []


def _named(violation: jsondoc.Violation) -> list[str]:
    """The keys that a violation is about."""
    return re.findall("'([^']*)'", violation.message)


def _found(violation: jsondoc.Violation) -> str:
    named = ", ".join(f'"{name}"' for name in _named(violation))
    match violation.rule:
        case "required":
            return f"no key {named}"
        case "additionalProperties":
            return f"the key {named}"
        case _ if isinstance(violation.found, str | int | float | bool):
            return json.dumps(violation.found, ensure_ascii=False)
        case _:
            return violation.message


def _expected(violation: jsondoc.Violation) -> str:
    match violation.rule:
        case "enum":
            return f"one of {listed([str(each) for each in violation.limit])}"
        case "required":
            return f"the keys {', '.join(violation.limit)}"
        case "additionalProperties":
            return f"no other keys than {', '.join(violation.schema['properties'])}"
        case "type":
            return str(violation.limit)
        case _:
            return f"{violation.rule} {violation.limit}"


def _near_miss(violation: jsondoc.Violation) -> str:
    match violation.rule:
        case "enum":
            return near_miss(str(violation.found), [str(each) for each in violation.limit])
        case "additionalProperties":
            return near_miss(_named(violation)[0], violation.schema["properties"])
    return ""


At = Callable[..., str]
"""Says where a key of a limit stands in the file."""


def _sense_problems(source: TomlSource, broken: Collection[str | int]) -> Iterator[Problem]:
    """What a schema cannot say: sources that are cited exist, all parts of a limit fit what it is for."""
    document = source.document
    tags = [each["tag"] for each in document["source"]]
    spaces = {space["name"] for space in document.get("colour_space", ())}
    seen: set[tuple[object, ...]] = set()
    for position, limit in enumerate(document["limit"]):
        if position in broken:
            continue
        at = functools.partial(_place, source, position)
        if limit["source"] not in tags:
            expected = "a tag of a [[source]]: " + ", ".join(tags)
            yield Problem(where=at("source"), found=f'"{limit["source"]}"', expected=expected)
        if (key := _key(limit)) in seen:
            yield Problem(where=at("measure"), found=_second(limit), expected=_ONE_LIMIT)
        seen.add(key)
        yield from _value_problems(at, limit, spaces)
        yield from _how_problems(at, limit)
        yield from _condition_problems(at, limit)


def _place(source: TomlSource, position: int, key: str) -> str:
    return source.where(("limit", position, key))


_ONE_LIMIT = "one limit for each measure; of what is measured, for each statistic, comparator and condition"


def _key(limit: dict[str, Any]) -> tuple[object, ...]:
    """What makes a limit another one."""
    if limit["measure"] in set(Measure):
        return (limit["measure"],)
    names = ("measure", "statistic", "comparator", "patches", "lightness", "long_edge_mm")
    return tuple(str(limit.get(name, "")) for name in names)


def _second(limit: dict[str, Any]) -> str:
    same = "" if limit["measure"] in set(Measure) else f', {limit["statistic"]}, "{limit["comparator"]}"'
    return f'a second limit for "{limit["measure"]}"{same}'


def _measure(name: str) -> Measure | Quantity:
    return Measure(name) if name in set(Measure) else Quantity(name)


def _value_problems(at: At, limit: dict[str, Any], spaces: set[str]) -> Iterator[Problem]:
    measure, comparator, values = _measure(limit["measure"]), limit["comparator"], _values(limit["value"])
    if limit["unit"] != measure.unit:
        expected = f'"{measure.unit}" for {measure.value}'
        yield Problem(where=at("unit"), found=f'"{limit["unit"]}"', expected=expected)
    wanted = {Comparator.ONE_OF: 0, Comparator.BETWEEN: 2}.get(Comparator(comparator), 1)
    if wanted and len(values) != wanted:
        expected = f'{wanted} for the comparator "{comparator}"'
        yield Problem(where=at("value"), found=f"{len(values)} values", expected=expected)
    is_number = isinstance(measure, Quantity) or bool(measure.unit)
    for value in values:
        if isinstance(value, str) is is_number or (is_number and not math.isfinite(float(value))):
            expected = f"a number {f'of {measure.unit}' if measure.unit else ''}".strip()
            expected = expected if is_number else "text"
            yield Problem(where=at("value"), found=repr(value), expected=expected)
        elif measure is Measure.COLOUR_SPACE and value not in spaces:
            expected = "the name of a [[colour_space]]: " + ", ".join(sorted(spaces))
            yield Problem(where=at("value"), found=f'"{value}"', expected=expected)
    if not is_number and comparator not in (Comparator.ONE_OF, Comparator.EQUAL):
        expected = '"one of" for words'
        yield Problem(where=at("comparator"), found=f'"{comparator}"', expected=expected)
    if comparator == Comparator.BETWEEN:
        yield from _order_problems(at("value"), values)


def _order_problems(where: str, values: tuple[Value, ...]) -> Iterator[Problem]:
    """Two numbers stand in their order; anything else was said of elsewhere."""
    match values:
        case (float(low), float(high)) if low > high:
            found = f"{low:g} before {high:g}"
            yield Problem(where=where, found=found, expected="the smaller number first")


def _how_problems(at: At, limit: dict[str, Any]) -> Iterator[Problem]:
    """Statistic and formula of what is measured are words of ours, for code goes by them."""
    measure, formula = _measure(limit["measure"]), limit.get("formula", "")
    if isinstance(measure, Measure):
        return
    yield from _word_problems(at("statistic"), limit["statistic"], list(Statistic))
    if formulas := FORMULAS.get(measure):
        yield from _word_problems(at("formula"), formula, list(formulas))
    elif formula:
        expected = f"none: {measure.label} is measured in one way"
        yield Problem(where=at("formula"), found=f'"{formula}"', expected=expected)


def _word_problems(where: str, found: str, words: list[str]) -> Iterator[Problem]:
    if found not in words:
        near = difflib.get_close_matches(found, words, n=1)
        yield Problem(
            where=where,
            found=f'"{found}"' if found else "none",
            expected="one of " + ", ".join(f'"{each}"' for each in words),
            advice=f'did you mean "{near[0]}"?' if near else "",
        )


def _condition_problems(at: At, limit: dict[str, Any]) -> Iterator[Problem]:
    measure = _measure(limit["measure"])
    for name in ("patches", "lightness"):
        if name in limit and measure not in OF_PATCHES:
            expected = "only with what is measured on patches: " + ", ".join(sorted(OF_PATCHES))
            yield Problem(where=at(name), found=f"{name} for {measure.value}", expected=expected)
    yield from _order_problems(at("lightness"), _values(limit.get("lightness", [])))
    span = limit.get("long_edge_mm")
    if span and isinstance(measure, Measure):
        expected = "only with what is measured: what a file says of itself is judged alike for all sizes"
        yield Problem(where=at("long_edge_mm"), found=f"it for {measure.value}", expected=expected)
    if span and span.get("above", 0) >= span.get("up_to", math.inf):
        found = f"above {span['above']:g} up to {span['up_to']:g}"
        yield Problem(where=at("long_edge_mm"), found=found, expected="the smaller number as above")


def _values(value: Any) -> tuple[Value, ...]:
    listed = value if isinstance(value, list) else [value]
    return tuple(each if isinstance(each, str) else float(each) for each in listed)


def _specification(document: dict[str, Any]) -> Specification:
    head = document["specification"]
    sources = tuple(_source(each) for each in document["source"])
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
        publication=head.get("publication", ""),
        category=head.get("category", ""),
        grade=head.get("grade", ""),
    )


def _source(table: dict[str, Any]) -> Source:
    return Source(
        tag=table["tag"],
        title=table["title"],
        read=table["read"],
        is_second_hand=table.get("second_hand", False),
    )


def _limit(table: dict[str, Any], sources: dict[str, Source]) -> Limit:
    return Limit(
        measure=_measure(table["measure"]),
        comparator=Comparator(table["comparator"]),
        values=_values(table["value"]),
        unit=table["unit"],
        statistic=table["statistic"],
        formula=table.get("formula", ""),
        source=sources[table["source"]],
        where=table.get("where", ""),
        level=Level(table.get("level", Level.ERROR)),
        patches=Patches(table.get("patches", Patches.ALL)),
        lightness=_lightness(table),
        long_edge_mm=Span(**span) if (span := table.get("long_edge_mm")) else None,
    )


def _lightness(table: dict[str, Any]) -> tuple[float, float] | None:
    if "lightness" not in table:
        return None
    low, high = table["lightness"]
    return float(low), float(high)
