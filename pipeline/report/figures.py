"""How the quality page says that a limit is kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline.measurements import Quantity
from pipeline.numerals import spread, told, with_unit
from pipeline.report.grouping import counted, listed

Plain = Mapping[str, Any]
"""A part of the quality document."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A name and where on the page more is said of it."""

    text: str
    href: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A value beside its limit."""

    label: str
    value: str
    detail: str
    """Where on the frame, how sure."""
    limit: str
    standing: str
    word: str
    """The verdict in words."""
    level: str
    """How much it weighs to be beyond."""
    how: str
    """Statistic, formula, what it is for."""
    href: str
    """Where on the page the limit stands, with what the measure means."""


WORDS = {
    "within": "within",
    "close": "within, closely",
    "beyond": "beyond",
    "unknown": "not measured",
}
"""Verdicts as a person reads them."""


def held(comparison: Plain, limits: Sequence[Plain]) -> Held:
    """Return a comparison of the document as the page shows it."""
    limit = limits[comparison["limit"]]
    value = comparison["value"]
    return Held(
        label=limit["label"],
        value="–" if value is None else told(value, limit["values"], limit["unit"]),
        detail=comparison["reason"] or _detail(comparison, limit),
        limit=limit["text"],
        standing=comparison["standing"],
        word=WORDS[comparison["standing"]],
        level=limit["level"],
        how=how(limit),
        href=f"#{anchor(comparison['limit'])}",
    )


def anchor(limit: int) -> str:
    """Return the name by which the page knows a limit, by its place in the specification."""
    return f"limit-{limit + 1}"


def _detail(comparison: Plain, limit: Plain) -> str:
    parts = [comparison["place"]]
    if comparison["uncertainty"]:
        around = spread(comparison["uncertainty"], comparison["value"], limit["values"])
        parts.append(f"{around} (1 SD)" if around else "")
    if comparison["beyond"] > 1:
        parts.append(f"{comparison['beyond']} of {comparison['values']} values beyond")
    return ", ".join(filter(None, parts))


def how(limit: Plain) -> str:
    """Statistic, formula and what a limit is for: ``mean; CIEDE2000``."""
    statistic = "" if limit["statistic"] in ("each", "each frame") else limit["statistic"]
    return "; ".join(filter(None, [statistic, limit["formula"], limit["conditions"]]))


# ----------------------------------------------------------------------------------------- over an item


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitRow:
    """A limit of the specification, and how the whole item stands to it."""

    label: str
    meaning: str
    """What the measure is; empty for what a file says of itself."""
    limit: str
    how: str
    where: str
    tag: str
    standing: str
    word: str
    level: str
    found: str
    """The worst value, or which there are."""
    detail: str
    place: Place | None
    """Of the worst value."""


def limit_rows(document: Plain, places: Mapping[str, Place]) -> list[LimitRow]:
    """Return all limits of the document's specification with what was found. `places` are of frames."""
    limits = document["specification"]["limits"]
    titles = {each["tag"]: each["title"] for each in document["specification"]["sources"]}
    frames = [each for each in document["frames"] if each["file"] is not None]
    rows = []
    for number, limit in enumerate(limits):
        compared = [(c, f) for f in frames for c in f["compared"] if c["limit"] == number]
        if limit["measure"] in _OF_HEADERS:
            rows.append(_of_headers(limit, frames, document["findings"], titles))
        elif known := [(c, f) for c, f in compared if c["value"] is not None]:
            rows.append(_of_values(limit, known, len(compared), places))
        else:
            reasons = list(dict.fromkeys(c["reason"] for c, _ in compared))
            rows.append(_row(limit, "unknown", "", _why(limit, frames, reasons), None))
    return rows


def _row(limit: Plain, standing: str, found: str, detail: str, place: Place | None) -> LimitRow:
    return LimitRow(
        label=limit["label"],
        meaning=_meaning(limit["measure"]),
        limit=limit["text"],
        how=how(limit),
        where=limit["where"],
        tag=limit["source"],
        standing=standing,
        word=WORDS[standing],
        level=limit["level"],
        found=found,
        detail=detail,
        place=place,
    )


def _meaning(measure: str) -> str:
    return Quantity(measure).meaning if measure in set(Quantity) else ""


_GRAVITY = ("beyond", "close", "within")


def _of_values(
    limit: Plain, known: Sequence[tuple[Plain, Plain]], frames: int, places: Mapping[str, Place]
) -> LimitRow:
    standing = min((c["standing"] for c, _ in known), key=_GRAVITY.index)
    worst, frame = max(
        ((c, f) for c, f in known if c["standing"] == standing),
        key=lambda each: _off(limit, each[0]["value"]),
    )
    beyond = sum(c["standing"] == "beyond" for c, _ in known)
    counts = f"{beyond} of {counted(len(known), 'frame')} beyond" if beyond else counted(len(known), "frame")
    missing = f"; not measured on {frames - len(known)}" if frames > len(known) else ""
    at = f"at {worst['place']}; " if worst["place"] else ""
    value = told(worst["value"], limit["values"], limit["unit"])
    return _row(limit, standing, value, f"{at}{counts}{missing}", places.get(frame["id"]))


def _off(limit: Plain, value: float) -> float:
    """The larger, the nearer to the limit or the further beyond it; to choose one of several frames."""
    bounds = [float(each) for each in limit["values"]]
    match limit["comparator"]:
        case "<" | "<=":
            return abs(value)
        case ">" | ">=":
            return -value
        case _:
            return abs(value - sum(bounds) / len(bounds))


# ------------------------------------------------------------------------------- what a file says of itself

_OF_HEADERS: Mapping[str, str] = {
    "file_format": "format",
    "compression": "compression",
    "bits_per_sample": "bits_per_sample",
    "colour_space": "colour_space",
    "ppi": "resolution_across_ppi",
    "ppi_tag_deviation": "",
}
"""Measures that masters' headers answer, and the key that has the answer."""
_MANY = 3


def _of_headers(
    limit: Plain, frames: Sequence[Plain], findings: Sequence[Plain], titles: Mapping[str, str]
) -> LimitRow:
    masters = [each["master"] for each in frames if each["master"]]
    if not masters:
        return _row(limit, "unknown", "", "no master could be read", None)
    citation = ", ".join(filter(None, [titles[limit["source"]], limit["where"]]))
    broken = {
        each["frame"] for each in findings if (each["limit"], each["source"]) == (limit["text"], citation)
    }
    counts = f"{len(broken)} of {counted(len(masters), 'frame')} beyond" if broken else ""
    standing = "beyond" if broken else "within"
    return _row(limit, standing, _kinds(masters, _OF_HEADERS[limit["measure"]], limit["unit"]), counts, None)


def _kinds(masters: Sequence[Plain], key: str, unit: str) -> str:
    found = list(dict.fromkeys(_fact(each[key]) for each in masters)) if key else []
    if len(found) > _MANY:
        return f"{', '.join(found[:_MANY])} and {len(found) - _MANY} others"
    return with_unit(listed(found), unit) if found else ""


def _fact(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(str(each) for each in sorted(set(value)))
    if isinstance(value, int | float):
        return f"{value:.6g}"
    return str(value) if value is not None else "not stated"


# ---------------------------------------------------------------------------------------- not measured

_OF_TARGETS = frozenset(
    {
        "colour_difference", "white_balance", "tone_difference", "gain_highlights", "gain", "noise",
        "sampling_efficiency", "response_at_half_sampling", "sfr50", "sfr10", "sharpening", "misregistration",
        "true_ppi", "scale_deviation", "geometric_distortion",
    }
)  # fmt: skip
_OF_FLATS = frozenset({"unevenness", "lightness_range", "colour_drift", "dust_spots"})


def _why(limit: Plain, frames: Sequence[Plain], reasons: Sequence[str]) -> str:
    if reasons:
        more = f"; and {len(reasons) - 1} other reasons" if len(reasons) > 1 else ""
        return f"{reasons[0]}{more}"
    for kind, measures in (("target", _OF_TARGETS), ("flat", _OF_FLATS)):
        if limit["measure"] in measures and not any(each["kind"] == kind for each in frames):
            return f"there is no {kind} frame"
    return "no frame was measured for it"


def not_measured(frames: Sequence[Plain]) -> Iterator[tuple[str, list[str], list[str]]]:
    """Yield reason, labels of what was not measured for it, and the frames' identifiers."""
    together: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for frame in frames:
        of_frame: dict[str, list[str]] = {}
        for each in frame["measures"]["measurements"] if frame["measures"] else ():
            if each["value"] is None:
                of_frame.setdefault(each["reason"], []).append(each["label"])
        for reason, labels in of_frame.items():
            together.setdefault((reason, tuple(dict.fromkeys(labels))), []).append(frame["id"])
    for (reason, missing), where in together.items():
        yield reason, list(missing), where
