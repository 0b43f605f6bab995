"""The summary of a delivery: a table for spreadsheets, and a page that has the worst first.

Both speak of bundles; what is to be mended in each is in its own report (`pipeline.report.verification`),
which lies in the same folder.
"""

from __future__ import annotations

import datetime as dt
import io
import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from csv import writer
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline import html
from pipeline.errors import ExitStatus
from pipeline.files import natural_key, slug, write_atomically
from pipeline.findings import Finding, Level
from pipeline.report import TEMPLATES, verification
from pipeline.report.grouping import counted, grouped, listed
from pipeline.verdict import Delivery, Outcome, Verdict

SUMMARY = "delivery"
"""Name of the summary's files; no bundle's report has it."""
RESERVED = frozenset({SUMMARY})
CSV_NAME, PAGE_NAME = f"{SUMMARY}.csv", f"{SUMMARY}.html"


def write(folder: Path, delivery: Delivery, *, made_by: str, now: dt.datetime, title: str = "") -> None:
    """Write the table and the page into the folder of the bundles' reports. Raises ToolError."""
    write_atomically(folder / CSV_NAME, csv(delivery))
    write_atomically(folder / PAGE_NAME, page(delivery, made_by=made_by, now=now, title=title))


# -------------------------------------------------------------------------------------- names of reports

_NAME_MOST = 70
"""With a number and the longest suffix a name stays below 100 characters."""


def report_names(verdicts: Sequence[Verdict]) -> tuple[str, ...]:
    """Return under which name each bundle's report lies in the folder of reports, without a suffix.

    Safe on every system and in a URL, no two alike even where case does not count, and never the name of
    the summary. The name of a bundle does not depend on those that come after it.
    """
    taken = set(RESERVED)
    return tuple(free_name(verdict.name, taken) for verdict in verdicts)


def free_name(name: str, taken: set[str]) -> str:
    """Return the name of one bundle's report, and take it, as `report_names` does for all."""
    stem = slug(name)[:_NAME_MOST].rstrip("-")
    free, number = stem, 1
    while free.lower() in taken:
        number += 1
        free = f"{stem}-{number}"
    taken.add(free.lower())
    return free


# --------------------------------------------------------------------------------------------- the table

COLUMNS = (
    "bundle",
    "path",
    "kind",
    "outcome",
    "errors",
    "warnings",
    "notes",
    "files",
    "bytes",
    "judged",
    "sample",
    "first codes",
    "report",
    "why it was not judged",
)
NOT_JUDGED = "not judged"
"""Said of what was given as a bundle and could not be opened."""
_CODES_MOST = 8


def csv(delivery: Delivery) -> bytes:
    """Return a table with a line for each bundle, in the order given, as RFC 4180 has it.

    UTF-8 with a byte order mark: without one spreadsheets take names for text of an old code page. Programs
    read the documents instead. A cell that a spreadsheet would take for a formula begins with an apostrophe.
    """
    text = io.StringIO(newline="")
    table = writer(text, lineterminator="\r\n")
    table.writerow(COLUMNS)
    for name, verdict in zip(report_names(delivery.verdicts), delivery.verdicts, strict=True):
        table.writerow(map(_cell, (*_line(verdict, name), "")))
    for path, reason in delivery.not_judged:
        table.writerow(map(_cell, _line_of_nothing(path, reason)))
    return text.getvalue().encode("utf-8-sig")


def _line(verdict: Verdict, name: str) -> tuple[str | int, ...]:
    return (
        verdict.name,
        verdict.path,
        verdict.kind,
        verdict.outcome.value,
        *(verdict.count(level) for level in Level),
        verdict.files,
        verdict.size_bytes,
        "structure alone" if verdict.is_quick else "whole",
        len(verdict.sample.frames) if verdict.sample else 0,
        _first_codes(verdict),
        f"{name}{verification.PAGE_SUFFIX}",
    )


def _line_of_nothing(path: str, reason: str) -> tuple[str, ...]:
    """The line of what could not be opened: it has no figures."""
    said = {"bundle": Path(path).name, "path": path, "outcome": NOT_JUDGED, COLUMNS[-1]: reason}
    return tuple(said.get(column, "") for column in COLUMNS)


def _cell(value: str | int) -> str | int:
    return _FORMULA.sub(r"\1'", verification.shown(value)) if isinstance(value, str) else value


_FORMULA = re.compile(r"""(^|;)(?=[\s"']*[=+\-@\uff1d\uff0b\uff0d\uff20])""")
"""What begins a formula, also in full width, and after a semicolon: to some spreadsheets that ends a cell."""


def _first_codes(verdict: Verdict) -> str:
    codes = _codes(verdict)
    more = [f"and {len(codes) - _CODES_MOST} more"] if len(codes) > _CODES_MOST else []
    return " ".join([*codes[:_CODES_MOST], *more])


def _codes(verdict: Verdict) -> list[str]:
    """Codes that were found, each once, the gravest first."""
    return list(
        dict.fromkeys(
            code for level in Level for code in sorted(each.code for each in verdict.report.at(level))
        )
    )


# ---------------------------------------------------------------------------------------------- the page

_OPEN_MOST = 50
"""So many accepted bundles are listed open; more are folded."""
_BETWEEN_MOST = 10_000
"""Places of one rule between bundles: no other document has them."""
_EXAMPLES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One bundle in the list."""

    verdict: Verdict
    href: str
    counts: tuple[int, ...]
    """Errors, warnings, notes."""
    size: str
    codes: str
    sample: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Broken:
    """A rule that was broken in some bundles."""

    code: str
    level: str
    title: str
    advice: str
    bundles: int
    findings: int
    examples: tuple[tuple[str, str], ...]
    """Names and pages of the bundles in which it is broken most."""


def page(delivery: Delivery, *, made_by: str, now: dt.datetime, title: str = "") -> bytes:
    """Return the summary as one HTML page in UTF-8. `title` says which delivery it is."""
    template = html.environment(TEMPLATES, verification.shown).get_template("delivery.html.j2")
    return template.render(_context(delivery), title=title, made_by=made_by, made=_moment(now)).encode()


def _moment(now: dt.datetime) -> str:
    return verification.moment(now.isoformat(timespec="seconds"))


def _context(delivery: Delivery) -> dict[str, Any]:
    names = report_names(delivery.verdicts)
    lines = _worst_first(delivery.verdicts, names)
    between = [verification.finding_object(each) for each in delivery.between.findings]
    listings = [verification.listing(each, most=_BETWEEN_MOST) for each in grouped(between)]
    return {
        "outcome": _outcome(delivery),
        "style": verification.STYLES[_outcome(delivery).value],
        "word": _word(delivery),
        "summary": _summary(delivery),
        "meaning": list(_meaning(delivery)),
        "sections": [
            (outcome, [each for each in lines if each.verdict.outcome is outcome])
            for outcome in reversed(Outcome)
        ],
        "has_samples": any(verdict.sample for verdict in delivery.verdicts),
        "open_most": _OPEN_MOST,
        "broken": _broken(delivery.verdicts, names),
        "not_judged": delivery.not_judged,
        "between": listings,
        "csv": CSV_NAME,
    }


def _outcome(delivery: Delivery) -> Outcome:
    """The worst there is; what could not be opened is not accepted."""
    outcomes = set(delivery.outcomes)
    if delivery.between.at(Level.ERROR) or delivery.not_judged:
        outcomes.add(Outcome.REJECTED)
    if delivery.between.at(Level.WARNING):
        outcomes.add(Outcome.REMARKS)
    return max(outcomes, key=list(Outcome).index, default=Outcome.ACCEPTED)


def _word(delivery: Delivery) -> str:
    counts = delivery.outcomes
    total = counted(len(delivery.verdicts), "bundle")
    word = f"{total} accepted"
    if rejected := counts[Outcome.REJECTED]:
        word = f"{rejected:,} of {total} rejected"
    elif remarks := counts[Outcome.REMARKS]:
        word = f"{word}, {remarks:,} with remarks"
    if missing := len(delivery.not_judged):
        word = f"{word}; {missing:,} not judged"
    return f"{word}; some do not agree" if delivery.between.at(Level.ERROR) else word


def _summary(delivery: Delivery) -> str:
    counts = [(level, sum(verdict.count(level) for verdict in delivery.verdicts)) for level in Level]
    found = [counted(count, level.value) for level, count in counts if count]
    files = counted(sum(verdict.files for verdict in delivery.verdicts), "file")
    size = verification.size_text(sum(verdict.size_bytes for verdict in delivery.verdicts))
    return f"{listed(found) or 'Nothing to remark'} in {files}, {size}."


def _meaning(delivery: Delivery) -> Iterator[str]:
    verdicts = delivery.verdicts
    if altered := sum(verdict.exit_status == ExitStatus.FIXITY for verdict in verdicts):
        yield f"{_having(altered)} files that are not those their checksums promise. {_FIXITY}"
    if delivery.not_judged:
        yield _NOT_JUDGED
    if delivery.outcomes[Outcome.REJECTED]:
        yield _REJECTED
    if delivery.between.at(Level.ERROR):
        yield _BETWEEN
    if any(verdict.is_quick for verdict in verdicts):
        yield _QUICK
    if sampled := sum(verdict.sample is not None for verdict in verdicts):
        yield f"{_having(sampled)} a sample of frames to be looked at by eye; the form is in the report."


def _having(number: int) -> str:
    return f"{counted(number, 'bundle')} {'has' if number == 1 else 'have'}"


_FIXITY = "Have these files sent again from where they were made; new checksums would only seal the damage."
_REJECTED = (
    "Each rejected bundle goes back with its own report, which says what is wrong, where, and what to do. "
    "What is broken in many bundles has most likely one cause: mend that first, then make the bundles anew."
)
_NOT_JUDGED = (
    "What was not judged is neither accepted nor rejected: see what stood in the way, and verify it again."
)
_BETWEEN = (
    "Bundles that belong together do not agree. Each may be in order by itself; see “Between bundles” before "
    "any of them is taken in."
)
_QUICK = "Bundles were judged by their structure alone: do not accept them before their files have been read."


def _worst_first(verdicts: Sequence[Verdict], names: Sequence[str]) -> list[Line]:
    order = list(reversed(Outcome))
    numbered = sorted(
        zip(verdicts, names, strict=True),
        key=lambda each: (
            order.index(each[0].outcome),
            each[0].exit_status != ExitStatus.FIXITY,
            *(-each[0].count(level) for level in Level),
            natural_key(each[0].name),
        ),
    )
    return [_bundle_line(verdict, name) for verdict, name in numbered]


def _bundle_line(verdict: Verdict, name: str) -> Line:
    return Line(
        verdict=verdict,
        href=f"{name}{verification.PAGE_SUFFIX}",
        counts=tuple(verdict.count(level) for level in Level),
        size=verification.size_text(verdict.size_bytes),
        codes=_first_codes(verdict),
        sample=len(verdict.sample.frames) if verdict.sample else 0,
    )


def _broken(verdicts: Sequence[Verdict], names: Sequence[str]) -> list[Broken]:
    """Rules that were broken, those in the most bundles first, the gravest first among equals."""
    at: dict[tuple[str, Level], Counter[int]] = defaultdict(Counter)
    first: dict[tuple[str, Level], Finding] = {}
    for number, verdict in enumerate(verdicts):
        for each in verdict.report.findings:
            at[each.code, each.level][number] += 1
            first.setdefault((each.code, each.level), each)
    levels = list(Level)
    keys = sorted(at, key=lambda key: (levels.index(key[1]), -len(at[key]), -at[key].total(), key[0]))
    return [_broken_rule(first[key], at[key], verdicts, names) for key in keys]


def _broken_rule(
    one: Finding, bundles: Counter[int], verdicts: Sequence[Verdict], names: Sequence[str]
) -> Broken:
    worst = sorted(bundles, key=lambda number: (-bundles[number], number))[:_EXAMPLES]
    return Broken(
        code=one.code,
        level=one.level.value,
        title=one.title,
        advice=one.advice,
        bundles=len(bundles),
        findings=bundles.total(),
        examples=tuple((verdicts[at].name, f"{names[at]}{verification.PAGE_SUFFIX}") for at in worst),
    )
