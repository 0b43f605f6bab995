"""The quality page: the quality document as one HTML file that needs nothing beside it.

Made from the document and the frames' small pictures alone, so that the page and quality.json cannot
differ. No script, no outside resource; what comes from files and records is escaped, control and
direction-changing characters are written out. The same document and pictures give the same bytes.
"""

from __future__ import annotations

import itertools
import unicodedata
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline import html
from pipeline.jsondoc import JsonValue
from pipeline.report import TEMPLATES, figures, plots, targets
from pipeline.report.figures import Held, Place, held, limit_rows, not_measured
from pipeline.report.grouping import HEADINGS, Group, counted, grouped, listed, sections
from pipeline.report.pictures import Pictures, Shape, Small, legend, shapes
from pipeline.report.plots import Plot

Plain = Mapping[str, Any]
"""A part of the quality document."""

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


def quality_page(document: Mapping[str, JsonValue], thumbnails: Mapping[str, bytes] | None = None) -> bytes:
    """Return the page of a quality document as UTF-8.

    `thumbnails` has JPEG files by the frames' identifiers; a frame without one has an empty field.
    """
    template = html.environment(TEMPLATES, visible).get_template("quality.html.j2")
    return template.render(context(document, thumbnails or {})).encode()


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


def context(document: Mapping[str, JsonValue], thumbnails: Mapping[str, bytes]) -> dict[str, Any]:
    """Return what the template shows, from the document."""
    plain: Plain = document
    captured = [frame for frame in plain["frames"] if frame["file"] is not None]
    groups = list(grouped(plain["findings"], run_together=Rows(plain["frames"]).together))
    facts = list(_facts(captured, has_record=plain["item"] is not None))
    pictures, flagged = Pictures(thumbnails), _Flagged(plain, groups)
    groups_of = targets.groups(plain)
    rows = limit_rows(plain, flagged.places)
    return {
        "document": plain,
        "name": _name(plain["item"]),
        "verdict": _VERDICTS[plain["verdict"]["outcome"]],
        "summary": _summary(plain["verdict"]),
        "glance": _glance(captured, flagged, rows),
        "groups": groups,
        "leads": [_lead(each, plain["findings"], flagged) for each in _first_groups(groups)],
        "leads_more": max(0, sum(each.level != "note" for each in groups) - LEADS_MOST),
        "sections": sections(groups),
        "hrefs": _hrefs(groups, plain["findings"], flagged),
        "cells": list(_cells(plain["frames"], flagged, pictures)),
        "side_px": pictures.side_px,
        "has_pictures": bool(thumbnails),
        "reads_leftwards": bool(plain["item"]) and plain["item"]["reading"] == "right-to-left",
        "cards": [
            _card(plain, frame, number, flagged, pictures, with_maps=at < MAPS_MOST)
            for at, (number, frame) in enumerate(flagged.shown)
        ],
        "not_shown": [flagged.places[frame["id"]] for _, frame in flagged.left_out],
        "sessions": [(each, groups_of.get(each["id"], [])) for each in plain["sessions"]],
        "elsewhere": [
            each for key, found in groups_of.items() for each in found if not _is_known(plain, key)
        ],
        "edge_columns": [label for _, label, _ in targets.EDGE_COLUMNS],
        "rows": rows,
        "limit_anchors": [figures.anchor(number) for number in range(len(rows))],
        "sources": {each["tag"]: each for each in plain["specification"]["sources"]},
        "not_judged": list(_not_judged(plain)),
        "not_measured": [
            (reason, labels, [flagged.places[each] for each in where])
            for reason, labels, where in not_measured(captured)
        ],
        "captured": captured,
        "readable": sum(frame["master"] is not None for frame in captured),
        "measured": sum(frame["measures"] is not None for frame in captured),
        "missing": [frame for frame in plain["frames"] if frame["file"] is None],
        "common": [(fact.label, _first(fact.values)) for fact in facts if fact.is_common],
        "columns": [fact for fact in facts if any(fact.values) and not fact.is_common],
        "flags": flagged.flags,
        "of_all": flagged.of_all,
        "made": str(plain["made_at"]).replace("T", ", ").replace("+00:00", " UTC"),
    }


def _is_known(plain: Plain, session: str) -> bool:
    return any(each["id"] == session for each in plain["sessions"])


def _name(item: Plain | None) -> str:
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


def _glance(captured: Sequence[Plain], flagged: _Flagged, rows: Sequence[Any]) -> list[tuple[str, str]]:
    """What ten seconds are enough for."""
    standings = Counter(each.standing for each in rows)
    kept = standings["within"] + standings["close"]
    return [
        ("frames", f"{len(captured):,}"),
        ("of them to look at", f"{flagged.count:,}"),
        ("limits kept", f"{kept} of {len(rows)}"),
        ("not kept", str(standings["beyond"])),
        ("not measured", str(standings["unknown"])),
    ]


# ------------------------------------------------------------------------------------------- findings


class Rows:
    """Places of findings by the rows of the frames that they are: those that follow each other as one."""

    def __init__(self, frames: Sequence[Plain]) -> None:
        self._frames = {each["place"]: each for each in frames}

    def together(self, places: Sequence[str]) -> Iterator[str]:
        """Yield places, rows that follow each other as one: ``pages.csv, rows 2 to 9: a to h``."""
        rows = [(self._row(place), place) for place in places]
        keyed = [(row - at if row else -1 - at, place) for at, (row, place) in enumerate(rows)]
        for _, run in itertools.groupby(keyed, key=lambda each: each[0]):
            members = [place for _, place in run]
            first, last = self._frames.get(members[0]), self._frames.get(members[-1])
            if len(members) > 1 and first and last:
                yield (
                    f"pages.csv, rows {first['row']} to {last['row']}: "
                    f"{first['file'] or first['label']} to {last['file'] or last['label']}"
                )
            else:
                yield from members

    def _row(self, place: str) -> int:
        frame = self._frames.get(place)
        return frame["row"] or 0 if frame else 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """That a rule has found something at a frame."""

    code: str
    level: str
    title: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Lead:
    """A rule's findings as the first lines of the page show them."""

    group: Group
    found: str
    todo: str
    """The first thing to do."""
    places: tuple[Place, ...]
    more: int


ALIKE, ALWAYS_APART = 24, 3
"""What is found at more frames than the one, or at half of all and more than the other, is said of all
together: no frame is marked or shown for it alone."""
CARDS_MOST, MAPS_MOST = 60, 12
LEADS_MOST, LEAD_PLACES = 9, 3
_LEVELS = list(HEADINGS)


class _Flagged:
    """Which frames somebody should look at, and where on the page each is."""

    def __init__(self, plain: Plain, groups: Sequence[Group]) -> None:
        self.findings: dict[str, list[Plain]] = defaultdict(list)
        for each in plain["findings"]:
            if each["frame"]:
                self.findings[each["frame"]].append(each)
        captured = sum(each["file"] is not None for each in plain["frames"])
        self._groups = {_key(each): each for each in groups}
        frames = Counter(key for found in self.findings.values() for key in {_key(each) for each in found})
        self.of_all = [each for each in groups if _is_of_all(frames[_key(each)], captured)]
        alike = {_key(each) for each in self.of_all}
        self.flags = {frame: self._flags(found) for frame, found in self.findings.items()}
        self.apart = {
            frame: self._flags([each for each in found if _key(each) not in alike])
            for frame, found in self.findings.items()
        }
        numbered = [(n, f) for n, f in enumerate(plain["frames"]) if self.level(f["id"]) in _LEVELS[:2]]
        self.count = len(numbered)
        gravest = sorted(numbered, key=lambda each: self._weight(each[1]["id"]))[:CARDS_MOST]
        kept = {number for number, _ in gravest}
        self.shown = [(n, each) for n, each in numbered if n in kept]
        self.left_out = [(n, each) for n, each in numbered if n not in kept]
        self.places = {
            each["id"]: Place(text=name_of(each), href=f"#look-{n}" if n in kept else f"#frame-{n}")
            for n, each in enumerate(plain["frames"])
        }

    def _flags(self, findings: Sequence[Plain]) -> tuple[Flag, ...]:
        """One for each rule and level, in the order of the rules."""
        flags = (
            Flag(
                code=each["code"],
                level=each["level"],
                title=each["title"],
                href=f"#{self._groups[_key(each)].anchor}",
            )
            for each in findings
        )
        return tuple(dict.fromkeys(flags))

    def own(self, frame: str) -> tuple[Plain, ...]:
        """What was found at a frame and sets it apart, the gravest first; notes do not."""
        flags = {(each.code, each.level, each.title) for each in self.apart.get(frame, ())}
        found = [
            each
            for each in self.findings[frame]
            if each["level"] != "note" and (each["code"], each["level"], each["title"]) in flags
        ]
        return tuple(sorted(found, key=lambda each: _LEVELS.index(each["level"])))

    def also(self, frame: str) -> tuple[Flag, ...]:
        """The others."""
        own = {(each["code"], each["level"], each["title"]) for each in self.own(frame)}
        return tuple(
            each for each in self.flags.get(frame, ()) if (each.code, each.level, each.title) not in own
        )

    def level(self, frame: str) -> str:
        """The gravest level of what sets a frame apart; empty if nothing does."""
        return min((each.level for each in self.apart.get(frame, ())), key=_LEVELS.index, default="")

    def _weight(self, frame: str) -> tuple[int, int]:
        levels = [_LEVELS.index(each.level) for each in self.apart[frame]]
        return min(levels), -len(levels)


def _is_of_all(frames: int, captured: int) -> bool:
    return frames > ALIKE or (frames > ALWAYS_APART and 2 * frames > captured)


def _key(of: Plain | Group) -> tuple[str, ...]:
    """What findings of one group have in common."""
    names = ("level", "code", "title", "source", "advice")
    return tuple(getattr(of, name) if isinstance(of, Group) else of[name] for name in names)


def name_of(frame: Plain) -> str:
    """What a person calls a frame: its label, or its file."""
    return str(frame["label"] or frame["file"])


def _first_groups(groups: Sequence[Group]) -> list[Group]:
    return [each for each in groups if each.level != "note"][:LEADS_MOST]


def _lead(group: Group, findings: Sequence[Plain], flagged: _Flagged) -> Lead:
    of_group = [each for each in findings if _key(each) == _key(group)]
    frames = list(dict.fromkeys(each["frame"] for each in of_group if each["frame"]))
    places = [flagged.places[each] for each in frames[:LEAD_PLACES]]
    first, values = of_group[0], {each["value"] for each in of_group}
    several = f", the first of {len(values)} values" if len(values) > 1 else ""
    return Lead(
        group=group,
        found=f"{first['value']}{several}; allowed or expected: {first['limit']}",
        todo=_first_sentence(group.advice),
        places=tuple(places),
        more=len(frames) - len(places),
    )


def _first_sentence(text: str) -> str:
    return text.split(". ", 1)[0].rstrip(".") + "."


def _hrefs(groups: Sequence[Group], findings: Sequence[Plain], flagged: _Flagged) -> dict[str, Place]:
    """Which frame each place of a finding is, and where on the page it is shown."""
    single = {each["place"]: flagged.places[each["frame"]] for each in findings if each["frame"]}
    return {
        place: single[place]
        for group in groups
        for row in group.rows
        for place in row.places
        if place in single
    }


def _not_judged(plain: Plain) -> Iterator[tuple[str, list[str], list[str]]]:
    """Reason, rules, places: rules that were left out for one reason at the same places together."""
    rows = Rows(plain["frames"])
    together: dict[tuple[str, tuple[str, ...]], list[str]] = defaultdict(list)
    for each in plain["not_judged"]:
        rule = f"{each['code']} {each['title']}".strip()
        together[each["reason"], tuple(each["places"])].append(rule)
    for (reason, places), rules in together.items():
        yield reason, rules, list(rows.together(places))


# ------------------------------------------------------------------------------- the sheet and the cards


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A frame on the contact sheet."""

    anchor: str
    name: str
    file: str
    kind: str
    picture: Small | None
    without: str
    """Why there is no picture."""
    level: str
    flags: tuple[Flag, ...]
    href: str
    """Where it is shown larger; empty if it is not."""


def _cells(frames: Sequence[Plain], flagged: _Flagged, pictures: Pictures) -> Iterator[Cell]:
    shown = {number for number, _ in flagged.shown}
    for number, frame in enumerate(frames):
        yield Cell(
            anchor=f"frame-{number}",
            name=name_of(frame),
            file=frame["file"] or "",
            kind=frame["kind"] if frame["kind"] in ("target", "flat") else "",
            picture=pictures.small(frame["id"]),
            without=_without(frame),
            level=flagged.level(frame["id"]),
            flags=flagged.apart.get(frame["id"], ()),
            href=f"#look-{number}" if number in shown else "",
        )


def _without(frame: Plain) -> str:
    if frame["file"] is None:
        return "not captured"
    return "unreadable" if frame["unreadable"] else "no picture"


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """A frame to look at: large, with what is drawn over it, the numbers, the limits, and what to do."""

    anchor: str
    frame: Plain
    name: str
    picture: Small | None
    without: str
    shapes: tuple[Shape, ...]
    legend: tuple[tuple[str, str, int], ...]
    findings: tuple[Plain, ...]
    """Those that set the frame apart."""
    also: tuple[Flag, ...]
    """Notes, and what was found at so many frames that it is not told again."""
    held: tuple[Held, ...]
    maps: tuple[Plot, ...]
    """Of sharpness over the frame, if its focus is in doubt."""
    target: str
    """Where its plots are; empty if it has none."""
    beside: Beside | None
    """What it seems to be a double of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """Another frame, to be held against one."""

    name: str
    picture: Small
    href: str


_OF_DOUBLES = frozenset({"S020", "S021", "S026"})
"""Codes of findings whose value names the file that a frame is a double of."""


def _beside(plain: Plain, frame: Plain, flagged: _Flagged, pictures: Pictures) -> Beside | None:
    said = " ".join(each["value"] for each in flagged.findings[frame["id"]] if each["code"] in _OF_DOUBLES)
    named = [each for each in plain["frames"] if each["file"] and each["file"] in said and each is not frame]
    other = max(named, key=lambda each: len(each["file"]), default=None)
    picture = pictures.small(other["id"]) if other else None
    if other is None or picture is None:
        return None
    return Beside(name=name_of(other), picture=picture, href=flagged.places[other["id"]].href)


def _card(
    plain: Plain, frame: Plain, number: int, flagged: _Flagged, pictures: Pictures, *, with_maps: bool
) -> Card:
    picture = pictures.large(frame["id"])
    is_soft = _is_soft(plain, frame)
    drawn = tuple(shapes(frame["measures"], picture, is_soft=is_soft)) if picture else ()
    has_plots = frame["kind"] in ("target", "flat") and frame["measures"] is not None
    grids = frame["measures"]["grids"] if is_soft and with_maps and not has_plots else ()
    return Card(
        anchor=f"look-{number}",
        frame=frame,
        name=name_of(frame),
        picture=picture,
        without=_without(frame),
        shapes=drawn,
        legend=tuple(legend(drawn)),
        findings=flagged.own(frame["id"]),
        also=flagged.also(frame["id"]),
        held=() if has_plots else tuple(held(c, plain["specification"]["limits"]) for c in frame["compared"]),
        maps=tuple(plots.field(grid, key=f"m{number}g{at}") for at, grid in enumerate(grids)),
        target=f"#target-{number}" if has_plots else "",
        beside=_beside(plain, frame, flagged, pictures),
    )


_OF_FOCUS = frozenset({"edge_blur", "focus_deviation", "focus_tilt"})


def _is_soft(plain: Plain, frame: Plain) -> bool:
    """True if the frame's focus is in doubt: only then is it told where it is softest."""
    limits = plain["specification"]["limits"]
    return any(
        limits[each["limit"]]["measure"] in _OF_FOCUS and each["standing"] in ("beyond", "close")
        for each in frame["compared"]
    )


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
