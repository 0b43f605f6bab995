"""Sessions on the quality page: what their target and flat frames say, in swatches, plots and numbers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline.measurements import GREY_SCALE
from pipeline.numerals import fixed, told, with_unit
from pipeline.report import plots
from pipeline.report.figures import Held, held
from pipeline.report.plots import Plot, ResponseLimits, Span

Plain = Mapping[str, Any]
"""A part of the quality document."""

PLOTTED_MOST = 16
"""Frames with plots; of further ones the numbers alone are shown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Swatch:
    """A patch as a screen shows it, what was measured beside what should be."""

    name: str
    measured: str
    reference: str
    """Colours of the page, ``#rrggbb``."""
    lab: str
    reference_lab: str
    difference: str
    remark: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeRow:
    """One slanted edge."""

    place: str
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetView:
    """A target or flat frame of a session."""

    frame: Plain
    name: str
    anchor: str
    outcome: str
    """In one phrase."""
    standing: str
    swatches: tuple[Swatch, ...]
    plots: tuple[Plot, ...]
    held: tuple[Held, ...]
    edges: tuple[EdgeRow, ...]
    numbers: tuple[tuple[str, str, str], ...]
    """Label, value, and how: everything that was measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Across:
    """One limit, and what the frames of a group are held to be by it."""

    label: str
    how: str
    limit: str
    href: str
    """Where on the page the limit stands."""
    cells: tuple[Held | None, ...]
    """One for each frame; None where the limit is not for it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """The target frames of a session, or its flat frames."""

    heading: str
    views: tuple[TargetView, ...]
    rows: tuple[Across, ...]

    def is_open(self, view: TargetView) -> bool:
        """True if a frame is shown at once: the first, and those that somebody should look at."""
        return view is self.views[0] or view.standing != "within"


EDGE_COLUMNS = (
    ("sfr50", "SFR50", 1),
    ("sfr10", "SFR10", 1),
    ("sampling_efficiency", "efficiency", 1),
    ("response_at_half_sampling", "at half sampling", 3),
    ("sharpening", "maximum", 3),
    ("misregistration", "misregistration", 3),
)
"""What is said of each slanted edge, and with how many decimals."""


HEADINGS = {"target": "Target frames", "flat": "Flat frames"}


def groups(document: Plain) -> dict[str, list[Group]]:
    """Return target and flat frames of each session, in reading order; those without one under ``""``."""
    limits = document["specification"]["limits"]
    made: dict[str, dict[str, list[TargetView]]] = {}
    drawn = 0
    for number, frame in enumerate(document["frames"]):
        if frame["kind"] in HEADINGS and frame["measures"]:
            view = _view(frame, number, limits, is_plotted=drawn < PLOTTED_MOST)
            drawn += 1
            made.setdefault(frame["session"], {}).setdefault(frame["kind"], []).append(view)
    return {
        session: [_group(heading, kinds[kind]) for kind, heading in HEADINGS.items() if kind in kinds]
        for session, kinds in made.items()
    }


def _group(heading: str, views: Sequence[TargetView]) -> Group:
    found: dict[tuple[str, str, str, str], dict[str, Held]] = {}
    for view in views:
        for each in view.held:
            found.setdefault((each.label, each.how, each.limit, each.href), {})[view.anchor] = each
    rows = (
        Across(
            label=label,
            how=how,
            limit=limit,
            href=href,
            cells=tuple(cells.get(each.anchor) for each in views),
        )
        for (label, how, limit, href), cells in found.items()
    )
    return Group(heading=heading, views=tuple(views), rows=tuple(rows))


def _view(frame: Plain, number: int, limits: Sequence[Plain], *, is_plotted: bool) -> TargetView:
    rows = tuple(held(each, limits) for each in frame["compared"])
    outcome, standing = _outcome(rows)
    return TargetView(
        frame=frame,
        name=frame["label"] or frame["file"],
        anchor=f"target-{number}",
        outcome=outcome,
        standing=standing,
        swatches=tuple(_swatches(frame["measures"]["patches"])),
        plots=tuple(_plots(frame["measures"], limits, f"p{number}")) if is_plotted else (),
        held=rows,
        edges=tuple(_edges(frame["measures"]["measurements"])),
        numbers=tuple(numbers(frame["measures"])),
    )


def _outcome(rows: Sequence[Held]) -> tuple[str, str]:
    beyond = [each for each in rows if each.standing == "beyond"]
    unknown = [each for each in rows if each.standing == "unknown"]
    if not rows:
        return "no limit is for it", "unknown"
    if beyond:
        return f"{len(beyond)} of {len(rows)} limits not kept", "beyond"
    if unknown:
        return f"{len(unknown)} of {len(rows)} limits could not be judged", "unknown"
    return f"all {len(rows)} limits kept" if len(rows) > 1 else "its limit is kept", "within"


# -------------------------------------------------------------------------------------------- swatches


def _swatches(patches: Sequence[Plain]) -> Iterator[Swatch]:
    worst = max((each["difference_ciede2000"] or 0.0 for each in patches), default=0.0)
    worst = worst if worst >= plots.SEEN else None
    for patch in patches:
        difference = patch["difference_ciede2000"]
        remarks = ["largest"] if worst is not None and difference == worst else []
        yield Swatch(
            name=patch["name"],
            measured=plots.srgb(patch["lab"]),
            reference=plots.srgb(patch["reference_lab"]),
            lab=_lab(patch["lab"]),
            reference_lab=_lab(patch["reference_lab"]),
            difference="–" if difference is None else f"{difference:.1f}",
            remark=", ".join([*remarks, *(["clipped"] if patch["is_clipped"] else [])]),
        )


def _lab(values: Sequence[float]) -> str:
    return " ".join(fixed(each, 1) for each in values)


# ----------------------------------------------------------------------------------------------- plots


def _plots(measures: Plain, limits: Sequence[Plain], key: str) -> Iterator[Plot]:
    patches = measures["patches"]
    allowed = _numeric(limits)
    if patches:
        yield plots.colours(patches, key=f"{key}c")
    if len(neutral := [each for each in patches if each["is_neutral"]]) > 1:
        yield plots.tone(neutral, _both_ways(allowed.get("tone_difference")), key=f"{key}t")
    for curve in measures["curves"]:
        if curve["name"] == GREY_SCALE and len(curve["points"]) > 1:
            yield plots.grey_scale(curve, key=f"{key}s")
    if responses := [each for each in measures["curves"] if each["points"] and _is_response(each)]:
        yield plots.responses(responses, _response_limits(allowed), key=f"{key}r")
    for number, grid in enumerate(measures["grids"]):
        yield plots.field(grid, key=f"{key}g{number}")


def _is_response(curve: Plain) -> bool:
    return bool(curve["x_label"] == "cycles per pixel")


def _numeric(limits: Sequence[Plain]) -> dict[str, Span]:
    """What is allowed of each measure; of several limits for one, what all of them allow."""
    allowed: dict[str, Span] = {}
    for measure, span in plots.spans(limits):
        before = allowed.get(measure, Span())
        allowed[measure] = Span(low=max(before.low, span.low), high=min(before.high, span.high))
    return allowed


def _both_ways(span: Span | None) -> Span | None:
    """A limit of a difference's size is for both signs."""
    return span and Span(low=max(span.low, -span.high), high=span.high)


def _response_limits(allowed: Mapping[str, Span]) -> ResponseLimits:
    return ResponseLimits(
        sfr50=allowed.get("sfr50"),
        sfr10=allowed.get("sampling_efficiency") or allowed.get("sfr10"),
        at_half_sampling=allowed.get("response_at_half_sampling"),
        maximum=allowed.get("sharpening"),
    )


# --------------------------------------------------------------------------------------------- numbers


def _edges(measurements: Sequence[Plain]) -> Iterator[EdgeRow]:
    wanted = {quantity: decimals for quantity, _, decimals in EDGE_COLUMNS}
    places: dict[str, dict[str, Plain]] = {}
    for each in measurements:
        if each["quantity"] in wanted and each["place"] and not each["statistic"]:
            places.setdefault(each["place"], {})[each["quantity"]] = each
    for place, found in places.items():
        yield EdgeRow(
            place=place, values=tuple(_value(found.get(each), decimals) for each, decimals in wanted.items())
        )


def _value(measurement: Plain | None, decimals: int) -> str:
    if measurement is None:
        return "–"
    if measurement["value"] is None:
        return "not measured"
    unit = measurement["unit"].removesuffix(" of half sampling")
    return with_unit(fixed(measurement["value"], decimals), unit)


def numbers(measures: Plain) -> Iterator[tuple[str, str, str]]:
    """Yield label, value and how of everything that was measured on a frame."""
    for each in measures["measurements"]:
        label = " ".join(filter(None, [each["statistic"], each["label"]]))
        label = f"{label}, {each['place']}" if each["place"] else label
        value = f"not measured: {each['reason']}" if each["value"] is None else _exact(each)
        yield label, value, "; ".join(filter(None, [each["formula"], each["method"]]))


def _exact(measurement: Plain) -> str:
    value = told(measurement["value"], unit=measurement["unit"])
    return f"{value} ± {told(measurement['uncertainty'])}" if measurement["uncertainty"] else value
