"""The quality page: the quality document as one HTML file that needs nothing beside it.

Made from the document alone, so that the page and quality.json cannot differ. No script, no outside
resource; what comes from files and records is escaped, control and direction-changing characters
are written out.
"""

from __future__ import annotations

import itertools
import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline.jsondoc import JsonValue
from pipeline.report import html
from pipeline.report.grouping import HEADINGS, counted, grouped, listed, sections

_VERDICTS = {
    "fail": "Found wanting",
    "warning": "Acceptable, with warnings",
    "success": "Nothing found wanting",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """A fact of the frames, by its label."""

    label: str
    values: tuple[str, ...]
    """One for each frame, empty where it is not known."""

    @property
    def is_common(self) -> bool:
        """True if all frames that know it have the same."""
        return len({value for value in self.values if value}) == 1


def quality_page(document: Mapping[str, JsonValue]) -> bytes:
    """Return the page of a quality document as UTF-8."""
    template = html.environment(visible).get_template("quality.html.j2")
    return template.render(context(document)).encode()


def visible(text: str) -> str:
    """Return `text` with control, direction-changing and unassigned characters written as ⟨U+202E⟩.

    The joiners of Arabic and Indic scripts stay: they are spelling.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(_visible(char) for char in text)


def _visible(char: str) -> str:
    if char in _JOINERS or unicodedata.category(char) not in _UNSEEN:
        return char
    return f"⟨U+{ord(char):04X}⟩"


_JOINERS = "\u200c\u200d"
_UNSEEN = frozenset({"Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp"})


# ----------------------------------------------------------------------------------------- the context


def context(document: Mapping[str, JsonValue]) -> dict[str, Any]:
    """Return what the template shows, from the document."""
    plain: Mapping[str, Any] = document
    groups = list(grouped(plain["findings"], run_together=runs))
    captured = [frame for frame in plain["frames"] if frame["file"] is not None]
    facts = list(_facts(captured, has_record=plain["item"] is not None))
    return {
        "document": plain,
        "name": _name(plain["item"]),
        "verdict": _VERDICTS[plain["verdict"]["outcome"]],
        "summary": _summary(plain["verdict"]),
        "groups": groups,
        "sections": sections(groups),
        "limits": plain["specification"]["limits"],
        "sources": {each["tag"]: each for each in plain["specification"]["sources"]},
        "not_judged": list(_not_judged(plain["not_judged"])),
        "captured": captured,
        "readable": sum(frame["master"] is not None for frame in captured),
        "missing": [frame for frame in plain["frames"] if frame["file"] is None],
        "common": [(fact.label, _first(fact.values)) for fact in facts if fact.is_common],
        "columns": [fact for fact in facts if any(fact.values) and not fact.is_common],
        "codes": _codes_by_place(plain["findings"]),
        "made": str(plain["made_at"]).replace("T", ", ").replace("+00:00", " UTC"),
    }


def _name(item: Mapping[str, Any] | None) -> str:
    if item is None:
        return "A folder of images"
    title = next((texts[0] for texts in item["title"].values() if texts), "")
    return ": ".join(filter(None, [item["shelfmark"] or item["id"], title]))


def _summary(verdict: Mapping[str, Any]) -> str:
    counts = [counted(verdict[f"{level}s"], level) for level in HEADINGS if verdict[f"{level}s"]]
    judged = counted(verdict["frames"], "frame")
    unreadable = verdict["frames_unreadable"]
    broken = f", {unreadable} of them unreadable" if unreadable else ""
    return f"{listed(counts) or 'No findings'} in {judged}{broken}."


# ------------------------------------------------------------------------------------------- findings


_ROW = re.compile(r"(?P<list>pages\.csv), row (?P<row>\d+): (?P<file>.*)", re.DOTALL)


def runs(places: Sequence[str]) -> Iterator[str]:
    """Yield places, rows of pages.csv that follow each other as one: ``pages.csv, rows 2 to 9: a to h``."""
    parsed = [(_ROW.fullmatch(place), place) for place in places]
    keyed = [(int(match["row"]) - at if match else -1 - at, match, p) for at, (match, p) in enumerate(parsed)]
    for _, run in itertools.groupby(keyed, key=lambda each: each[0]):
        members = list(run)
        first, last = members[0][1], members[-1][1]
        if len(members) > 1 and first and last:
            yield f"{first['list']}, rows {first['row']} to {last['row']}: {first['file']} to {last['file']}"
        else:
            yield from (place for _, _, place in members)


def _codes_by_place(findings: Sequence[Mapping[str, Any]]) -> dict[str, list[tuple[str, str]]]:
    """Code and level of the findings at each frame, by its file."""
    codes: dict[str, dict[tuple[str, str], None]] = defaultdict(dict)
    for each in findings:
        match = _ROW.fullmatch(each["place"])
        codes[match["file"] if match else each["place"]][each["code"], each["level"]] = None
    return {file: list(found) for file, found in codes.items()}


def _not_judged(skipped: Sequence[Mapping[str, Any]]) -> Iterator[tuple[str, list[str], list[str]]]:
    """Reason, rules, places: rules that were left out for one reason at the same places together."""
    together: dict[tuple[str, tuple[str, ...]], list[str]] = defaultdict(list)
    for each in skipped:
        rule = f"{each['code']} {each['title']}".strip()
        together[each["reason"], tuple(each["places"])].append(rule)
    for (reason, places), rules in together.items():
        yield reason, rules, list(runs(places))


# --------------------------------------------------------------------------------------------- frames


def _facts(frames: Sequence[Mapping[str, Any]], *, has_record: bool) -> Iterator[Fact]:
    for key in ("kind", "session", "light") if has_record else ():
        yield Fact(label=key.capitalize(), values=tuple(frame[key] for frame in frames))
    for label, take in _MASTER_FACTS.items():
        values = (take(frame["master"]) if frame["master"] else "" for frame in frames)
        yield Fact(label=label, values=tuple(values))


def _format(master: Mapping[str, Any]) -> str:
    if master["compression"] == master["format"]:
        return str(master["format"])
    return f"{master['format']}, {master['compression'].replace('Uncompressed', 'uncompressed')}"


def _bits(master: Mapping[str, Any]) -> str:
    bits = master["bits_per_sample"]
    return f"{len(bits)} × {max(bits)} bit"


def _profile(master: Mapping[str, Any]) -> str:
    if master["assumed_profile"]:
        return f"none; taken as {master['assumed_profile']}"
    return master["colour_space"] or "none"


def _ppi(master: Mapping[str, Any]) -> str:
    across, down = master["resolution_across_ppi"], master["resolution_down_ppi"]
    if across is None:
        return "not stated"
    if round(across, 2) == round(down, 2):
        return f"{across:.6g} ppi"
    return f"{across:.6g} × {down:.6g} ppi"


def _size(master: Mapping[str, Any]) -> str:
    return f"{master['width_px']:,} × {master['height_px']:,} px"


def _megabytes(master: Mapping[str, Any]) -> str:
    return f"{master['size_bytes'] / 1e6:,.1f} MB"


def _camera(master: Mapping[str, Any]) -> str:
    return master["capture"]["camera"] or ""


def _lens(master: Mapping[str, Any]) -> str:
    return master["capture"]["lens"] or ""


def _exposure(master: Mapping[str, Any]) -> str:
    capture, parts = master["capture"], []
    if seconds := capture["exposure_time_s"]:
        parts.append(f"1/{1 / seconds:.0f} s" if seconds < 0.5 else f"{seconds:g} s")
    if capture["f_number"]:
        parts.append(f"f/{capture['f_number']:g}")
    if capture["iso_speed"]:
        parts.append(f"ISO {capture['iso_speed']}")
    return ", ".join(parts)


def _captured(master: Mapping[str, Any]) -> str:
    return (master["capture"]["captured_at"] or "").replace("T", " ")


_MASTER_FACTS = {
    "Format": _format,
    "Depth": _bits,
    "Profile": _profile,
    "Resolution": _ppi,
    "Size": _size,
    "File size": _megabytes,
    "Camera": _camera,
    "Lens": _lens,
    "Exposure": _exposure,
    "Captured": _captured,
}


def _first(values: Sequence[str]) -> str:
    return next(filter(None, values), "")
