"""The page on an audit, for whoever has to act: made from the audit's document alone.

No script, no outside resource; what comes from a store is escaped. The same document gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline import html
from pipeline.errors import ExitStatus
from pipeline.jsondoc import JsonValue
from pipeline.report import TEMPLATES
from pipeline.report.grouping import counted, grouped, listed
from pipeline.report.verification import Listing, listing, moment, shown, size_text

OBJECTS_MOST = 300
"""Objects of one condition that the page tells of; the document has every one."""
PLACES_MOST = 50
"""Places of one rule in one object."""

_CONDITIONS = {
    "lost": (
        "Objects that are not there any more",
        "They were in the store when it was audited before. Look first whether a disk is not mounted, or a "
        "folder was moved. Where a copy is named, all of it was read, and it is as it was proved here.",
    ),
    "damaged": (
        "Damaged objects",
        "Bytes are not what they were, or files are missing. Write nothing into the store until you know "
        "what happened to the disk. Where a copy is named, it was read and has the right digest.",
    ),
    "could not be read": (
        "Objects that could not be read",
        "Nothing is known of them: the store did not give all their bytes. They are not proved, and not "
        "called damaged. They come first in the next run.",
    ),
    "mended": (
        "Objects that were damaged and are mended",
        "Intact files were put in place of damaged ones, read back and proved. The damaged ones are kept: "
        "what happened is still to be found out.",
    ),
    "faulty": (
        "Objects that are not built as they must be",
        "Every listed byte is there and whole. Something else is not as the specification has it, or does "
        "not belong there.",
    ),
    "not finished": (
        "Objects that the run did not finish",
        "The budget ran out. What was read of them is kept for the next run.",
    ),
    "intact": (
        "Intact objects with warnings",
        "Every byte is proved. What is said of them need not be mended.",
    ),
}
"""Conditions in the order of their weight, with heading and meaning."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """An object as the page shows it."""

    plain: Mapping[str, Any]
    listings: tuple[Listing, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """All objects of one condition."""

    heading: str
    meaning: str
    condition: str
    objects: tuple[Shown, ...]
    left_out: int


def page_of(made: Mapping[str, JsonValue], *, beside: Sequence[tuple[str, str]] = ()) -> bytes:
    """Return the page of an audit's document; `beside` has files next to it, each with what it is."""
    template = html.environment(TEMPLATES, shown).get_template("audit.html.j2")
    return template.render(_context(made), beside=beside).encode()


def _context(made: Mapping[str, JsonValue]) -> dict[str, Any]:
    plain: Mapping[str, Any] = made
    return {
        "document": plain,
        "style": _style(plain),
        "word": word_of(plain),
        "summary": summary_of(plain),
        "steps": _steps(plain),
        "standing": list(standing_lines(plain["standing"])),
        "is_behind": plain["standing"]["is_behind"],
        "sections": [each for each in map(_section(plain), _CONDITIONS) if each.objects],
        "root": _listings(plain["root"], "the storage root"),
        "made": moment(plain["made_at"]),
        "size_text": size_text,
    }


def _section(plain: Mapping[str, Any]) -> Callable[[str], Section]:
    def section(condition: str) -> Section:
        heading, meaning = _CONDITIONS[condition]
        found = [each for each in plain["objects"] if each["condition"] == condition]
        return Section(
            heading=heading,
            meaning=meaning,
            condition=condition,
            objects=tuple(map(_shown, found[:OBJECTS_MOST])),
            left_out=max(0, len(found) - OBJECTS_MOST) + (plain["not_told"] if condition == "intact" else 0),
        )

    return section


def _shown(plain: Mapping[str, Any]) -> Shown:
    return Shown(plain=plain, listings=_listings(plain["findings"], "the object"))


def _listings(findings: Sequence[Mapping[str, Any]], whole: str) -> tuple[Listing, ...]:
    placed = [{**each, "place": each["place"] or whole} for each in findings]
    return tuple(listing(each, most=PLACES_MOST) for each in grouped(placed))


# ------------------------------------------------------------------------------------------------- words


def word_of(plain: Mapping[str, Any]) -> str:
    """Return what came of an audit in a few words."""
    counts = plain["counts"]
    if counts["damaged"] or counts["lost"]:
        return "Damage or loss was found"
    if plain["exit_status"] == ExitStatus.TOOL:
        return "Not everything could be read"
    if any(mend["is_mended"] for each in plain["objects"] for mend in each["mends"]):
        return "Damage was found, and mended"
    if counts["faulty"] or any(each["level"] == "error" for each in plain["root"]):
        return "Something is not as it must be"
    if not counts["intact"]:
        return "No object was proved to its end" if plain["run"]["planned"] else "There is nothing to prove"
    return "All that was proved is intact"


def summary_of(plain: Mapping[str, Any]) -> str:
    """Return how much was proved, and with what result, in one sentence."""
    counts, run = plain["counts"], plain["run"]
    said = [f"{number:,} {condition}" for condition, number in counts.items() if number]
    read = f"{size_text(run['read_bytes'])} read" if run["read_bytes"] else "no content read"
    rest = "" if run["is_complete"] else "; the budget ran out before all that was planned"
    return f"{listed(said) or 'no objects'} of {counted(run['planned'], 'object')} in this run, {read}{rest}."


def _style(plain: Mapping[str, Any]) -> str:
    status = plain["exit_status"]
    if status in (ExitStatus.FIXITY, ExitStatus.TOOL, ExitStatus.WANTING):
        return "fail"
    is_warned = plain["standing"]["is_behind"] or plain["objects"] or not plain["counts"]["intact"]
    return "warning" if is_warned else "success"


def _steps(plain: Mapping[str, Any]) -> list[str]:
    counts = plain["counts"]
    mends = [mend for each in plain["objects"] for mend in each["mends"] if not mend["is_mended"]]
    steps = []
    if counts["lost"] or counts["damaged"] or counts["mended"]:
        steps.append(
            "Look at the disk, its controller and its log first: one damaged file is seldom alone. Copy "
            "nothing over anything yet."
        )
        if any(mend["source"] for mend in mends):
            steps.append(
                "Where a copy is named below, run the same audit with --repair: it keeps the damaged file "
                "aside, puts the intact one in place, and proves it."
            )
        elif not plain["replica"]:
            steps.append(
                "Run the audit with --replica and the address of the other copy: it says what can mend what."
            )
        steps.append(
            "Keep this report: it says what was damaged, when it was last proved, and what was done."
        )
    if plain["exit_status"] == ExitStatus.TOOL:
        steps.append(
            "Find out why the store did not answer, and run the audit again: those objects come first."
        )
    if counts["faulty"]:
        steps.append(
            "Work through the objects that are not built as they must be; each entry says what to do."
        )
    return steps


def standing_lines(standing: Mapping[str, Any]) -> list[str]:
    """Return how a store stands against its period, in sentences."""
    never = standing["never_proved"]
    said = f"{never:,} of them never proved" if never else "all of them proved at some time"
    lines = [f"{counted(standing['objects'], 'object')}, {size_text(standing['size_bytes'])}; {said}."]
    if not standing["objects"]:
        lines = ["The store holds no objects."]
    if standing["oldest_proof"]:
        lines.append(f"The proof that lies back farthest is of {standing['oldest_proof'][:10]}.")
    if standing["dated_ahead"]:
        lines.append(
            f"{counted(standing['dated_ahead'], 'proof')} dated later than now: the clock was wrong then, or "
            "is wrong now. They count for nothing."
        )
    if standing["within_days"] is not None:
        lines += _period_lines(standing)
    return lines


def _period_lines(standing: Mapping[str, Any]) -> list[str]:
    days = f"{standing['within_days']:g} days"
    overdue = counted(standing["overdue"], "object")
    if standing["overdue"]:
        lines = [f"Behind: {overdue} ({size_text(standing['overdue_bytes'])}) not proved within {days}."]
    else:
        lines = [f"Every object was proved within {days}, or is not yet so long here."]
    if standing["needed_s"] is None:
        return [*lines, "This run read too little to say how long a run must be."]
    speed = f"{size_text(standing['bytes_per_s'])} a second"
    lines.append(
        f"At {speed} a run like this, every {standing['every_days']:.2g} days, must read for "
        f"{span(standing['needed_s'])} to hold {days}."
    )
    if standing["allowed_s"] is not None and standing["needed_s"] > standing["allowed_s"]:
        lines.append(f"Behind: the budget is {span(standing['allowed_s'])}. Give more, or a longer period.")
    if standing["catch_up_s"]:
        lines.append(f"What is overdue takes {span(standing['catch_up_s'])} by itself.")
    return lines


def span(seconds: float) -> str:
    """``40 s``, ``12 min``, ``3 h 20 min``: rounded up, for a budget that is too short is none."""
    minutes = -(-round(seconds) // 60)
    if seconds <= 90:
        return f"{max(1, round(seconds))} s"
    hours, minutes = divmod(minutes, 60)
    return f"{hours:,} h {minutes} min" if hours else f"{minutes} min"
