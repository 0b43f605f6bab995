"""The sections of an item: named runs of views, which nest and never cross."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline import foliation
from pipeline.errors import Problem
from pipeline.files import slug
from pipeline.model import FrameKind, LanguageMap, Section
from pipeline.record.pages import unique
from pipeline.record.values import language_map
from pipeline.tomldoc.problems import digits, near_miss, plain, quoted
from pipeline.tomldoc.source import TomlSource

DEEPEST = 20
"""How deep sections may nest; more is a mistake."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """A view as sections need it: what it is called and what it is."""

    label: str
    kind: FrameKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A section before it is nested: positions of its first and last view."""

    number: int
    """Of its table in item.toml, from 0."""
    label: LanguageMap
    first: int
    last: int

    def holds(self, other: Span) -> bool:
        """True if the other lies inside it, or is the same run and was written after it."""
        return self.first <= other.first and other.last <= self.last


class Labels:
    """Finds views by their labels."""

    def __init__(self, views: Sequence[Named]) -> None:
        self.views = views
        self.positions: dict[str, int] = {}
        details = sorted(range(len(views)), key=lambda n: (views[n].kind is FrameKind.DETAIL, n))
        for position in details:
            self.positions.setdefault(views[position].label, position)
        self.by_place: dict[foliation.Place, list[str]] = {}
        self.by_digits: dict[str, list[str]] = {}
        for label in self.positions:
            self.by_digits.setdefault(digits(label), []).append(label)
            if place := foliation.parse(label):
                self.by_place.setdefault(place, []).append(label)

    def first(self, label: str) -> int | None:
        """The position of the view of that label; if there are several, of the first that is no detail."""
        return self.positions.get(plain(label))

    def last(self, label: str) -> int | None:
        """The position of the last of the views of that label that follow the first without a gap."""
        position = self.first(label)
        while position is not None and position + 1 < len(self.views):
            if self.views[position + 1].label != plain(label):
                break
            position += 1
        return position

    def nearest(self, label: str) -> str:
        """Return ``did you mean …`` with the label of the same place or of the nearest spelling."""
        place = foliation.parse(label)
        same = self.by_place.get(place, []) if place else []
        if len(same) == 1:
            return f'did you mean "{same[0]}"?'
        return near_miss(label, self.by_digits.get(digits(label), []))


def unknown_label(source: TomlSource, path: tuple[str | int, ...], label: str, labels: Labels) -> Problem:
    """Return the problem of a key that names a view which pages.csv does not list."""
    return Problem(
        where=source.where(path),
        found=f"{quoted(label)}, a label that pages.csv does not have",
        expected="the label of a view, as pages.csv has it",
        advice=labels.nearest(label) or "correct it, or add the view to pages.csv",
    )


# ------------------------------------------------------------------------------------------------ spans


def spans(
    source: TomlSource, tables: Sequence[Mapping[str, Any]], labels: Labels
) -> tuple[tuple[Span, ...], tuple[Problem, ...]]:
    """Return the sections whose ends are known, and what is wrong with the others."""
    good: list[Span] = []
    problems: list[Problem] = []
    for number, table in enumerate(tables):
        unknown = list(_unknown_ends(source, table, number, labels))
        problems += unknown
        if unknown or "from" not in table:
            continue
        first, last = labels.first(table["from"]), labels.last(table.get("to", table["from"]))
        if first is None or last is None:
            continue
        if last < first:
            problems.append(_backwards(source, table, number))
        else:
            label = language_map(table.get("label"))
            good.append(Span(number=number, label=label, first=first, last=last))
    return tuple(good), tuple(problems)


def _unknown_ends(
    source: TomlSource, table: Mapping[str, Any], number: int, labels: Labels
) -> Iterator[Problem]:
    for key in ("from", "to"):
        if key in table and labels.first(table[key]) is None:
            yield unknown_label(source, ("section", number, key), table[key], labels)


def _backwards(source: TomlSource, table: Mapping[str, Any], number: int) -> Problem:
    return Problem(
        where=source.where(("section", number, "to")),
        found=f"{quoted(table['to'])}, which pages.csv lists before {quoted(table['from'])}",
        expected="the last view of the section",
        advice="exchange `from` and `to`, or correct the order of the rows of pages.csv",
    )


def crossings(source: TomlSource, found: Sequence[Span], views: Sequence[Named]) -> Iterator[Problem]:
    """Yield sections that begin inside another and end outside it.

    Two may share one view: a text ends and the next begins on one page.
    """
    open_spans: list[Span] = []
    for span in _in_order(found):
        open_spans = [each for each in open_spans if each.last >= span.first]
        if crossed := next((each for each in open_spans if _cross(each, span)), None):
            yield _crossing(source, span, crossed, views)
        open_spans.append(span)
        if len(open_spans) > DEEPEST:
            yield _too_deep(source, span)
            return


def _cross(earlier: Span, later: Span) -> bool:
    return earlier.first <= later.first < earlier.last < later.last


def _crossing(source: TomlSource, span: Span, crossed: Span, views: Sequence[Named]) -> Problem:
    end = quoted(views[crossed.last].label)
    return Problem(
        where=source.where(("section", span.number)),
        found=f"{_named(span)} {_extent(span, views)}, which crosses section {crossed.number + 1}, "
        f"{_named(crossed)} {_extent(crossed, views)}",
        expected="sections that lie inside one another or apart",
        advice=f"end it at {end} or before, or begin it after {end}",
    )


def _extent(span: Span, views: Sequence[Named]) -> str:
    return f"from {quoted(views[span.first].label)} to {quoted(views[span.last].label)}"


def _too_deep(source: TomlSource, span: Span) -> Problem:
    return Problem(
        where=source.where(("section", span.number)),
        found=f"{_named(span)} inside {DEEPEST} others",
        expected=f"sections nested {DEEPEST} deep at most",
        advice="see whether many sections have the same `from` and `to`",
    )


def _named(span: Span) -> str:
    return quoted(span.label.first or f"section {span.number + 1}")


def _in_order(found: Sequence[Span]) -> list[Span]:
    return sorted(found, key=lambda span: (span.first, -span.last, span.number))


# --------------------------------------------------------------------------------------------- nesting


def nest(found: Sequence[Span], views: Sequence[str]) -> tuple[Section, ...]:
    """Return sections that do not cross as a tree, in reading order; `views` are identifiers."""
    taken: set[str] = set()
    names = {span.number: unique(slug(span.label.first), taken) for span in sorted(found, key=_number)}
    ordered = _in_order(found)
    sections: list[Section] = []
    while ordered:
        section, ordered = _take(ordered, views, names)
        sections.append(section)
    return tuple(sections)


def _number(span: Span) -> int:
    return span.number


def _take(ordered: list[Span], views: Sequence[str], names: Mapping[int, str]) -> tuple[Section, list[Span]]:
    """Return the first section with all that lie inside it, and what remains."""
    outer, rest = ordered[0], ordered[1:]
    inside: list[Section] = []
    while rest and outer.holds(rest[0]):
        section, rest = _take(rest, views, names)
        inside.append(section)
    return (
        Section(
            identifier=names[outer.number],
            label=outer.label,
            views=tuple(views[outer.first : outer.last + 1]),
            subsections=tuple(inside),
        ),
        rest,
    )
