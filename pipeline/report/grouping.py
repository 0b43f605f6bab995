"""Findings as people work through them: those of one rule together, the gravest first."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

HEADINGS = {
    "error": "What must be put right",
    "warning": "What should be looked at",
    "note": "Worth knowing",
}
"""Levels in the order of their weight."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """Places where the same was found against the same limit."""

    places: tuple[str, ...]
    value: str
    limit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """All findings of one rule and level."""

    code: str
    level: str
    title: str
    advice: str
    source: str
    count: int
    rows: tuple[Row, ...]
    anchor: str
    """Where the page has it; no two groups have the same."""

    @property
    def counted(self) -> str:
        """How often: ``12 findings``."""
        return counted(self.count, "finding")


def grouped(
    findings: Sequence[Mapping[str, Any]], *, run_together: Callable[[Sequence[str]], Iterable[str]] = tuple
) -> Iterator[Group]:
    """Yield findings of one code, level and source together, the gravest first, then by their codes.

    `run_together` makes several places into fewer.
    """
    together: dict[tuple[str, ...], list[Mapping[str, Any]]] = defaultdict(list)
    for each in findings:
        together[each["level"], each["code"], each["title"], each["source"], each["advice"]].append(each)
    order = list(HEADINGS)
    anchors: Counter[str] = Counter()
    for key in sorted(together, key=lambda key: (order.index(key[0]), *key[1:])):
        level, code, title, source, advice = key
        anchors[anchor := f"{code}-{level}"] += 1
        yield Group(
            code=code,
            level=level,
            title=title,
            advice=advice,
            source=source,
            count=len(together[key]),
            rows=tuple(_rows(together[key], run_together)),
            anchor=anchor if anchors[anchor] == 1 else f"{anchor}-{anchors[anchor]}",
        )


def _rows(
    findings: Sequence[Mapping[str, Any]], run_together: Callable[[Sequence[str]], Iterable[str]]
) -> Iterator[Row]:
    places: dict[tuple[str, str], list[str]] = defaultdict(list)
    for each in findings:
        places[each["value"], each["limit"]].append(each["place"])
    for (value, limit), where in places.items():
        yield Row(places=tuple(run_together(where)), value=value, limit=limit)


def sections(groups: Sequence[Group]) -> list[tuple[str, str, list[Group]]]:
    """Return levels, their headings and the groups of each."""
    return [
        (level, heading, [each for each in groups if each.level == level])
        for level, heading in HEADINGS.items()
    ]


def counted(number: int, noun: str) -> str:
    """``1 error``, ``1,204 frames``."""
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"


def listed(texts: Sequence[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return " and ".join(filter(None, [", ".join(texts[:-1]), *texts[-1:]]))
