"""How rules run: what is wrong with the material is collected to the end and reported whole.

A rule is a small registered function over one typed fact object. It yields `Remark` values; the
register stamps code, level and source, so a code is written once::

    FRAME = Register[FrameFacts]("frame")

    @FRAME.rule("F004", Level.ERROR, "bit depth", source="…", advice="…", requires={"F001"})
    def bit_depth_is_allowed(facts: FrameFacts) -> Iterator[Remark]:
        ...

A rule whose ground is gone (a rule that it requires has found an error at the same place) is skipped
and said to be skipped: one broken thing gives one finding, not fifty.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Generic, TypeVar

Facts = TypeVar("Facts")


class Level(StrEnum):
    """How much a finding weighs."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """What a rule has to say: the part of a finding that only the rule knows."""

    place: str
    """The file, row, element or file path that it is about."""
    value: str
    """What was found or measured, with its unit."""
    limit: str
    """What is allowed or expected, with its unit."""
    level: Level | None = None
    """If the specification in use decides it; None for the rule's own."""
    source: str = ""
    """If the specification in use gives the limit; empty for the rule's own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One judgement."""

    code: str
    level: Level
    title: str
    place: str
    value: str
    limit: str
    source: str
    advice: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Skipped:
    """A rule that was not run, and why."""

    code: str
    place: str
    reason: str
    title: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule(Generic[Facts]):
    """A registered check. `run` is the function; the rest is what reports and docs say of it."""

    code: str
    level: Level
    title: str
    source: str
    advice: str
    requires: frozenset[str]
    run: Callable[[Facts], Iterator[Remark]]

    @property
    def explanation(self) -> str:
        """The rule function's docstring."""
        return (self.run.__doc__ or "").strip()


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """All that a run of rules found, in the order of the rules."""

    findings: tuple[Finding, ...] = ()
    skipped: tuple[Skipped, ...] = ()

    def __add__(self, other: Report) -> Report:
        """Return both reports as one."""
        return Report(findings=self.findings + other.findings, skipped=self.skipped + other.skipped)

    @classmethod
    def joined(cls, reports: Iterable[Report]) -> Report:
        """All reports as one; adding many up two by two would copy them over and over."""
        kept = tuple(reports)
        return cls(
            findings=tuple(finding for report in kept for finding in report.findings),
            skipped=tuple(skipped for report in kept for skipped in report.skipped),
        )

    def at(self, level: Level) -> tuple[Finding, ...]:
        """The findings of one level."""
        return tuple(finding for finding in self.findings if finding.level is level)

    @property
    def codes(self) -> frozenset[str]:
        """The codes that were found."""
        return frozenset(finding.code for finding in self.findings)

    @property
    def outcome(self) -> str:
        """One word of the PREMIS eventOutcome vocabulary: success, warning or fail."""
        if self.at(Level.ERROR):
            return "fail"
        return "warning" if self.at(Level.WARNING) else "success"


@dataclass(slots=True)
class Register(Generic[Facts]):
    """The rules over one kind of fact, in the order in which they were written."""

    name: str
    rules: dict[str, Rule[Facts]] = field(default_factory=dict)

    def rule(
        self,
        code: str,
        level: Level,
        title: str,
        *,
        source: str,
        advice: str,
        requires: frozenset[str] | set[str] = frozenset(),
    ) -> Callable[[Callable[[Facts], Iterator[Remark]]], Callable[[Facts], Iterator[Remark]]]:
        """Register the decorated function.

        Raises ValueError for a code that is taken, and for a prerequisite that is not registered yet:
        rules run in the order written, so there are no cycles and nothing to sort.
        """
        if code in self.rules:
            raise ValueError(f"rule {code} is registered twice in {self.name!r}")
        if unknown := set(requires) - set(self.rules):
            raise ValueError(f"rule {code} requires {sorted(unknown)}, not registered before it")

        def register(run: Callable[[Facts], Iterator[Remark]]) -> Callable[[Facts], Iterator[Remark]]:
            self.rules[code] = Rule(
                code=code,
                level=level,
                title=title,
                source=source,
                advice=advice,
                requires=frozenset(requires),
                run=run,
            )
            return run

        return register

    def judge(self, facts: Facts, *, place: str = "") -> Report:
        """Run every rule over `facts`; `place` names the facts in what is said of skipped rules."""
        findings: list[Finding] = []
        skipped: list[Skipped] = []
        fallen: dict[str, str] = {}
        """Rules that give no ground to others, each with the rule that found the error."""
        for rule in self.rules.values():
            if ground := sorted(fallen[code] for code in rule.requires if code in fallen):
                reason = f"not judged, because of {ground[0]}"
                skipped.append(Skipped(code=rule.code, place=place, reason=reason, title=rule.title))
                fallen[rule.code] = ground[0]
                continue
            found = list(_stamped(rule, rule.run(facts), place))
            if any(finding.level is Level.ERROR for finding in found):
                fallen[rule.code] = rule.code
            findings += found
        return Report(findings=tuple(findings), skipped=tuple(skipped))

    def skipped(self, place: str, reason: str) -> Report:
        """Return that no rule was run over the facts that `place` names, and why."""
        return Report(
            skipped=tuple(
                Skipped(code=rule.code, place=place, reason=reason, title=rule.title)
                for rule in self.rules.values()
            )
        )


MOST_FINDINGS = 10_000
"""Of one rule. What a stranger sends can be wrong two million times; nobody reads that far."""


def _stamped(rule: Rule[Facts], remarks: Iterator[Remark], place: str) -> Iterator[Finding]:
    for remark in itertools.islice(remarks, MOST_FINDINGS):
        yield _stamp(rule, remark)
    if more := sum(1 for _ in remarks):
        yield _stamp(rule, Remark(place=place, value=f"{more:,} more places", limit="none"))


def _stamp(rule: Rule[Facts], remark: Remark) -> Finding:
    return Finding(
        code=rule.code,
        level=remark.level or rule.level,
        title=rule.title,
        place=remark.place,
        value=remark.value,
        limit=remark.limit,
        source=remark.source or rule.source,
        advice=rule.advice,
    )
