"""The report on one bundle: a document for machines, and a page for whoever has to put things right.

The document's form: ``schemas/verification.schema.json``. The page is made from the document alone, so that
the two cannot differ; it needs no network and no script. The same verdict at the same time gives the same
bytes.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pipeline import html, jsondoc
from pipeline.errors import ExitStatus
from pipeline.files import visible, write_atomically
from pipeline.findings import Finding, Level, Skipped
from pipeline.jsondoc import JsonValue
from pipeline.report import TEMPLATES
from pipeline.report.grouping import HEADINGS, Group, Row, counted, grouped, listed, sections
from pipeline.verdict import Outcome, Sample, Verdict

SCHEMA = "urn:solander:schema:verification:1"

Document = dict[str, JsonValue]


# ------------------------------------------------------------------------------------------ the document


def document(verdict: Verdict, *, made_by: str, now: dt.datetime) -> Document:
    """Return the verdict as a JSON document. `made_by` names the program and its version."""
    made: Document = {
        "schema": SCHEMA,
        "made_at": now.isoformat(timespec="seconds"),
        "made_by": made_by,
        "bundle": {
            "name": verdict.name,
            "path": verdict.path,
            "kind": verdict.kind,
            "files": verdict.files,
            "size_bytes": verdict.size_bytes,
        },
        "verdict": _verdict(verdict),
        "facts": [{"label": label, "value": value} for label, value in verdict.facts],
        "findings": [finding_object(each) for each in verdict.report.findings],
        "not_judged": _not_judged(verdict.report.skipped),
        "sample": _sample(verdict.sample) if verdict.sample else None,
    }
    return {key: jsondoc.encodable(value) for key, value in made.items()}


def json_bytes(made: Mapping[str, JsonValue]) -> bytes:
    """Return a document as UTF-8, with everything that acts or hides as an escape of JSON.

    It reads back the same, and does not steer the terminal or editor that shows it.
    """
    text = jsondoc.to_bytes(made).decode()
    return _UNSAFE.sub(lambda match: _escapes(match[0]), text).encode()


_UNSAFE = re.compile(r"[^\x00-\x7e]+")
"""JSON itself leaves nothing in ASCII but DEL unescaped."""


def _escapes(text: str) -> str:
    shown = (char if visible(char) == char else _escape(char) for char in text)
    return "".join(shown)


def _escape(char: str) -> str:
    units = char.encode("utf-16-be")
    return "".join(f"\\u{units[at : at + 2].hex()}" for at in range(0, len(units), 2))


def _verdict(verdict: Verdict) -> Document:
    return {
        "outcome": verdict.outcome.value,
        "exit_status": int(verdict.exit_status),
        **{f"{level.value}s": verdict.count(level) for level in Level},
        "is_quick": verdict.is_quick,
        "terms": verdict.terms,
    }


def finding_object(finding: Finding) -> Document:
    """Return a finding as a JSON object."""
    return {
        "code": finding.code,
        "level": finding.level.value,
        "title": finding.title,
        "place": finding.place,
        "value": finding.value,
        "limit": finding.limit,
        "source": finding.source,
        "advice": finding.advice,
    }


def _not_judged(skipped: Sequence[Skipped]) -> list[Document]:
    places: dict[tuple[str, str, str], list[str]] = defaultdict(list)
    for each in skipped:
        places[each.code, each.title, each.reason].append(each.place)
    return [
        {"code": code, "title": title, "reason": reason, "places": where}
        for (code, title, reason), where in places.items()
    ]


def _sample(sample: Sample) -> Document:
    return {
        "lot_size": sample.lot_size,
        "size": len(sample.frames),
        "accept": sample.accept,
        "reject": sample.reject,
        "basis": sample.basis,
        "seed": sample.seed,
        "frames": list(sample.frames),
    }


# ---------------------------------------------------------------------------------------------- the page

PLACES_OPEN = 8
"""So many places of one rule are seen at once; the others are folded."""
PLACES_MOST = 500
"""And no more than so many are on the page at all; the document has every one."""
TEXT_MOST = 1000
"""Characters of one text: names of megabytes are cut, the document has them whole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """Names of the files in the same folder that the page leads to; empty for those that are not there."""

    document: str = ""
    contact_sheets: str = ""
    delivery: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """A rule's places as the page shows them."""

    group: Group
    open: tuple[Row, ...]
    folded: tuple[Row, ...]
    folded_count: int
    left_out: int
    """Places that only the document has."""


def page(verdict: Verdict, *, made_by: str, now: dt.datetime, beside: Beside | None = None) -> bytes:
    """Return the verdict as one HTML page in UTF-8."""
    return page_of(document(verdict, made_by=made_by, now=now), beside=beside)


def page_of(made: Mapping[str, JsonValue], *, beside: Beside | None = None) -> bytes:
    """Return the page of a document."""
    template = html.environment(TEMPLATES, shown).get_template("verification.html.j2")
    return template.render(_context(made), beside=beside or Beside()).encode()


def shown(text: str) -> str:
    """Return a text as a page shows it: nothing that acts or hides, nothing endless."""
    if len(text) > TEXT_MOST:
        return f"{visible(text[:TEXT_MOST])} … ({len(text):,} characters)"
    return visible(text)


def _context(made: Mapping[str, JsonValue]) -> dict[str, Any]:
    plain: Mapping[str, Any] = made
    groups = list(grouped(plain["findings"]))
    return {
        "document": plain,
        "bundle": plain["bundle"],
        "verdict": plain["verdict"],
        "style": STYLES[plain["verdict"]["outcome"]],
        "word": _word(plain["verdict"]),
        "summary": _summary(plain),
        "meaning": list(_meaning(plain)),
        "steps": _STEPS[plain["verdict"]["outcome"]],
        "groups": groups,
        "sections": [
            (level, heading, [listing(each) for each in members])
            for level, heading, members in sections(groups)
        ],
        "not_judged": _together(plain["not_judged"]),
        "sample": plain["sample"],
        "made": moment(plain["made_at"]),
    }


STYLES = {
    Outcome.REJECTED.value: "fail",
    Outcome.REMARKS.value: "warning",
    Outcome.ACCEPTED.value: "success",
}
"""How a page marks an outcome, besides saying it."""


def moment(made_at: str) -> str:
    """``2031-05-04, 09:30:00 UTC``."""
    return made_at.replace("T", ", ").replace("+00:00", " UTC")


def size_text(size_bytes: int) -> str:
    """``12.4 GB``, ``310 MB``, ``4 kB``: decimal units, three figures."""
    for unit, size in (("TB", 10**12), ("GB", 10**9), ("MB", 10**6)):
        if size_bytes >= 0.9995 * size:
            amount = size_bytes / size
            return f"{amount:,.0f} {unit}" if amount >= 100 else f"{amount:.3g} {unit}"
    return f"{-(-size_bytes // 1000)} kB"


# --------------------------------------------------------------------------------------------- the files

DOCUMENT_SUFFIX, PAGE_SUFFIX, SHEETS_SUFFIX = ".json", ".html", ".contact-sheets.html"
"""After a bundle's name among the reports (`pipeline.report.delivery.report_names`)."""


def write(
    folder: Path,
    name: str,
    verdict: Verdict,
    *,
    made_by: str,
    now: dt.datetime,
    contact_sheets: bytes = b"",
    summary: str = "",
) -> None:
    """Write the document, the page and, if there are any, the contact sheets of one bundle into `folder`.

    `summary` is the file name of the page on the whole delivery, in the same folder. Raises ToolError.
    """
    made = document(verdict, made_by=made_by, now=now)
    beside = Beside(
        document=f"{name}{DOCUMENT_SUFFIX}",
        contact_sheets=f"{name}{SHEETS_SUFFIX}" if contact_sheets else "",
        delivery=summary,
    )
    if contact_sheets:
        write_atomically(folder / beside.contact_sheets, contact_sheets)
    write_atomically(folder / beside.document, json_bytes(made))
    write_atomically(folder / f"{name}{PAGE_SUFFIX}", page_of(made, beside=beside))


# ------------------------------------------------------------------------------------------------- words


def _word(verdict: Mapping[str, Any]) -> str:
    word = verdict["outcome"].capitalize()
    return f"{word}, by its structure alone" if verdict["is_quick"] else word


def _summary(plain: Mapping[str, Any]) -> str:
    verdict, bundle = plain["verdict"], plain["bundle"]
    counts = [counted(verdict[f"{level}s"], level) for level in HEADINGS if verdict[f"{level}s"]]
    files = f"{counted(bundle['files'], 'file')}, {size_text(bundle['size_bytes'])}"
    return f"{listed(counts) or 'Nothing to remark'} in {files}."


def _meaning(plain: Mapping[str, Any]) -> list[str]:
    verdict = plain["verdict"]
    said = [_MEANINGS[verdict["outcome"]]]
    if verdict["exit_status"] == ExitStatus.FIXITY:
        said.append(_FIXITY)
    if verdict["is_quick"]:
        said.append(_QUICK)
    if plain["sample"] and verdict["outcome"] != Outcome.REJECTED:
        said.append(_BY_EYE)
    return said


_MEANINGS = {
    Outcome.REJECTED.value: "The bundle is not accepted as it is. Everything under “What must be put right” "
    "has to be mended. Each entry says what is wrong, where, what was expected, which rule that rests on, "
    "and what to do.",
    Outcome.REMARKS.value: "Nothing keeps the bundle out. What is listed under “What should be looked at” "
    "need not be mended for it to be accepted, but somebody should read it and decide.",
    Outcome.ACCEPTED.value: "Nothing was found that has to be put right or looked at.",
}
_FIXITY = (
    "At least one file is not the file that its checksum promises: it was altered, cut off or exchanged "
    "after the bundle was sealed. Take such a file again from where it was made. A new checksum over the "
    "file that is here now would only seal the damage."
)
_QUICK = (
    "This was a quick look: no payload file was read. Nothing is said of checksums or of what is in the "
    "files. Do not accept a bundle on this alone."
)
_BY_EYE = (
    "What a program can judge is judged. A sample of frames is still to be looked at; the bundle is accepted "
    "if the sample is."
)

_STEPS = {
    Outcome.REJECTED.value: (
        "Mend what is listed where the bundle was made, not only in the copy that was sent.",
        "Make the bundle anew and seal it, so that its checksums are those of the mended files.",
        "Verify it once more before it is sent: the same rules give the same verdict everywhere.",
        "Send it again whole and under the same name, unless something else was agreed.",
    ),
    Outcome.REMARKS.value: (
        "Read the warnings, and note for each whether it is as it should be.",
        "Mend with the next delivery what is not; send this bundle again only if the receiving library asks.",
    ),
    Outcome.ACCEPTED.value: (),
}


# ---------------------------------------------------------------------------------------------- listings


def listing(group: Group, *, most: int = PLACES_MOST) -> Listing:
    """Return a rule's places: the first open, more of them folded, and those over `most` counted."""
    first, rest = _cut(group.rows, PLACES_OPEN)
    folded, left_out = _cut(rest, most - PLACES_OPEN)
    return Listing(
        group=group, open=first, folded=folded, folded_count=_places(folded), left_out=_places(left_out)
    )


def _cut(rows: Sequence[Row], places: int) -> tuple[tuple[Row, ...], tuple[Row, ...]]:
    """Return rows with so many places, and the rows with all others."""
    taken: list[Row] = []
    for at, row in enumerate(rows):
        if len(row.places) > places:
            cut = [replace(row, places=row.places[:places])] if places else []
            return (*taken, *cut), (replace(row, places=row.places[places:]), *rows[at + 1 :])
        taken.append(row)
        places -= len(row.places)
    return tuple(taken), ()


def _places(rows: Sequence[Row]) -> int:
    return sum(len(row.places) for row in rows)


def _together(skipped: Sequence[Mapping[str, Any]]) -> list[tuple[str, list[str], list[str]]]:
    """Reason, rules, places: rules that were left out for one reason at the same places together."""
    together: dict[tuple[str, tuple[str, ...]], list[str]] = defaultdict(list)
    for each in skipped:
        rule = f"{each['code']} {each['title']}".strip()
        together[each["reason"], tuple(each["places"])].append(rule)
    return [(reason, rules, list(places)) for (reason, places), rules in together.items()]
