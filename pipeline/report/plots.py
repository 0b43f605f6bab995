"""Plots of the quality page: SVG that stands in the page and takes its colours and fonts from there.

Made from the quality document alone. The same numbers give the same bytes. No line is told from another by
its colour alone, and every plot says in words what it shows. The only importer of matplotlib.
"""

from __future__ import annotations

import itertools
import math
import re
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.files import visible
from pipeline.numerals import fixed

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Plain = Mapping[str, Any]
"""A part of the quality document."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """A plot with its words."""

    title: str
    caption: str
    """What is drawn how."""
    svg: str
    is_large: bool = False
    """It takes twice the width of others."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """What a limit allows, for the shading of a plot."""

    low: float = -math.inf
    high: float = math.inf


MOST_LETTERS = 40


def _word(text: object) -> str:
    """A name as a plot shows it: nothing that acts or hides, nothing endless."""
    shown = visible(str(text))
    return shown if len(shown) <= MOST_LETTERS else f"{shown[: MOST_LETTERS - 1]}…"


# ---------------------------------------------------------------------------------------------- colours

# Each stands for a colour of the page, which is put in for it: light, dark and on paper.
_INK, _SOFT, _LINE, _PAPER, _SHADE = "#010101", "#020202", "#030303", "#040404", "#050505"
_ERROR, _WARNING, _NOTE, _LINK = "#060606", "#070707", "#080808", "#090909"
_VARIABLES = {
    _INK: "ink", _SOFT: "soft", _LINE: "line", _PAPER: "paper", _SHADE: "shade",
    _ERROR: "error", _WARNING: "warning", _NOTE: "note", _LINK: "link",
}  # fmt: skip

_D50 = (0.9642, 1.0, 0.8249)
_SRGB_OF_XYZ_D50 = (
    (3.1341359, -1.6173864, -0.4906620),
    (-0.9787955, 1.9162544, 0.0334427),
    (0.0719554, -0.2289768, 1.4053860),
)
"""Linear sRGB of XYZ for D50: the inverse of the matrix of IEC 61966-2-1, adapted by Bradford."""


def srgb(lab: Sequence[float]) -> str:
    """Return a colour as a screen shows it, ``#rrggbb``, of L*a*b* for D50.

    Of what no screen shows, the channels are cut off.
    """
    light, a, b = lab
    y = (light + 16) / 116
    xyz = [white * _cube(f) for white, f in zip(_D50, (y + a / 500, y, y - b / 200), strict=True)]
    linear = (sum(w * each for w, each in zip(row, xyz, strict=True)) for row in _SRGB_OF_XYZ_D50)
    return "#" + "".join(f"{_code(each):02x}" for each in linear)


def _cube(f: float) -> float:
    """CIE 15, the inverse of the function of L*a*b*."""
    return f**3 if f > 6 / 29 else 3 * (6 / 29) ** 2 * (f - 4 / 29)


def _code(linear: float) -> int:
    """IEC 61966-2-1."""
    inside = min(1.0, max(0.0, linear))
    return round(255 * (12.92 * inside if inside <= 0.0031308 else 1.055 * inside ** (1 / 2.4) - 0.055))


# ------------------------------------------------------------------------------------------- a* and b*

MAGNIFIED = 4
NAMED = 5
"""So many of the patches that differ most are named."""
SEEN = 1.0
"""A smaller difference is about what nobody sees (common practice): no patch is named for it."""


def colours(patches: Sequence[Plain], *, key: str) -> Plot:
    """Draw in the plane of a* and b* where each patch should be and where it is, and the neutrals larger.

    `key` tells the plot from others of the page.
    """
    neutral = [each for each in patches if each["is_neutral"]]
    longest = max(_distance(each) for each in patches)
    magnified = MAGNIFIED if longest < 10 else 1

    def draw(figure: Figure) -> None:
        both = figure.subplots(1, 2, width_ratios=[1.35, 1]) if neutral else [figure.subplots()]
        figure.subplots_adjust(left=0.075, right=0.995, bottom=0.12, top=0.985, wspace=0.2)
        _draw_plane(both[0], patches, magnified)
        for axes in both[1:]:
            _draw_neutrals(axes, neutral)

    stretch = f", drawn {magnified} times as long" if magnified > 1 else ""
    named = " Named: those that differ most." if any(_difference(each) >= SEEN for each in patches) else ""
    beside = " Beside it the neutrals alone, at true length, with circles of 2 and 4." if neutral else ""
    label = (
        f"{len(patches)} patches, reference and measured, in a* and b*. "
        f"Longest way {longest:.1f}, {_farthest(patches)}."
    )
    return Plot(
        title="Colours in the a*b* plane",
        caption=f"Ring: reference. Line and dot: where the patch was measured{stretch}.{named}{beside}",
        svg=_svg(draw, key, width=7.4 if neutral else 4.6, height=3.9, label=label),
        is_large=bool(neutral),
    )


def _distance(patch: Plain) -> float:
    return math.dist(patch["lab"][1:], patch["reference_lab"][1:])


def _farthest(patches: Sequence[Plain]) -> str:
    return _word(max(patches, key=_distance)["name"])


def _draw_plane(axes: Axes, patches: Sequence[Plain], magnified: int) -> None:
    _cross(axes)
    _draw_ways(axes, patches, magnified)
    rings = [each["reference_lab"] for each in patches]
    fills = [srgb(each) for each in rings]
    a, b = [each[1] for each in rings], [each[2] for each in rings]
    axes.scatter(a, b, s=52, c=fills, edgecolors=_INK, linewidths=0.8, zorder=3)
    coloured = [each for each in patches if not each["is_neutral"] and _difference(each) >= SEEN]
    reach = 10 * math.ceil(max(8.0, *(abs(each) for each in (*a, *b))) / 10) + 12
    axes.set(xlim=(-reach, reach), ylim=(-reach, reach), xlabel="a*", ylabel="b*")
    axes.set_aspect("equal")
    _name_all(axes, sorted(coloured, key=_difference, reverse=True)[:NAMED], _PLANE_PT / (2 * reach))


_PLANE_PT = 230.0
"""About how wide the plane is drawn."""


def _difference(patch: Plain) -> float:
    return float(patch["difference_ciede2000"] or 0.0)


def _draw_ways(axes: Axes, patches: Sequence[Plain], magnified: int) -> None:
    """Draw lines from the references to what was measured, with a dot at the end."""
    starts = [each["reference_lab"][1:] for each in patches]
    ends = [
        [
            start + magnified * (found - start)
            for start, found in zip(each["reference_lab"][1:], each["lab"][1:], strict=True)
        ]
        for each in patches
    ]
    for (a, b), (to_a, to_b) in zip(starts, ends, strict=True):
        axes.plot([a, to_a], [b, to_b], color=_INK, linewidth=0.9, zorder=2)
    axes.scatter([a for a, _ in ends], [b for _, b in ends], s=9, c=_INK, linewidths=0, zorder=4)


_LABEL_PX = 7.5
_LABEL_SPOTS = ((7, -3), (-7, -3), (7, 3), (-7, 3), (7, -12), (-7, -12))
"""Where a name may stand beside its ring, in points to the right and up; the first that is free is taken."""

Box = tuple[float, float, float, float]


def _name_all(axes: Axes, patches: Sequence[Plain], per_unit: float) -> None:
    """Write names beside their rings, none over another. `per_unit` is how many points a unit of a* is."""
    taken: list[Box] = []
    for patch in patches:
        a, b = (per_unit * each for each in patch["reference_lab"][1:])
        name = _word(patch["name"])
        spots = [(spot, _box(a, b, spot, len(name))) for spot in _LABEL_SPOTS]
        free = [each for each in spots if not any(_overlap(each[1], other) for other in taken)]
        if not free:
            continue
        (right, up), box = free[0]
        taken.append(box)
        axes.annotate(
            name, patch["reference_lab"][1:], xytext=(right, up), textcoords="offset points",
            ha="left" if right > 0 else "right", va="top" if up < 0 else "bottom", fontsize=_LABEL_PX,
        )  # fmt: skip


def _box(x: float, y: float, spot: tuple[float, float], letters: int) -> Box:
    width, height = 0.6 * _LABEL_PX * letters, 1.2 * _LABEL_PX
    left = x + spot[0] - (width if spot[0] < 0 else 0)
    bottom = y + spot[1] - (height if spot[1] < 0 else 0)
    return left, bottom, left + width, bottom + height


def _overlap(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _draw_neutrals(axes: Axes, patches: Sequence[Plain]) -> None:
    from matplotlib.patches import Circle

    _cross(axes)
    for radius in (2, 4):
        axes.add_patch(
            Circle((0, 0), radius, fill=False, edgecolor=_SOFT, linewidth=0.8, linestyle=(0, (1, 2)))
        )
        axes.annotate(
            f"{radius}", (0, -radius), xytext=(3, 2), textcoords="offset points", color=_SOFT, fontsize=7
        )
    _draw_ways(axes, patches, 1)
    a, b = zip(*(each["reference_lab"][1:] for each in patches), strict=True)
    axes.scatter(a, b, s=34, c=_PAPER, edgecolors=_INK, linewidths=0.8, zorder=3)
    far = [each for each in patches if _distance(each) >= SEEN]
    for patch in sorted(far, key=_distance, reverse=True)[:2]:
        axes.annotate(
            _word(patch["name"]),
            patch["lab"][1:],
            xytext=(0, 5),
            textcoords="offset points",
            ha="center",
            fontsize=7,
        )
    reach = max(
        5.0, math.ceil(1 + max(abs(v) for p in patches for v in (*p["lab"][1:], *p["reference_lab"][1:])))
    )
    axes.set(xlim=(-reach, reach), ylim=(-reach, reach), xlabel="a*, neutrals", ylabel="b*")
    axes.set_aspect("equal")


def _cross(axes: Axes) -> None:
    axes.axhline(0, color=_LINE, linewidth=0.8, zorder=0)
    axes.axvline(0, color=_LINE, linewidth=0.8, zorder=0)


# ------------------------------------------------------------------------------------------------ tone


def tone(patches: Sequence[Plain], allowed: Span | None, *, key: str) -> Plot:
    """Draw measured against reference lightness of neutral patches, and their difference larger.

    `allowed` is what the specification lets the difference be.
    """
    steps = sorted((each["reference_lab"][0], each["lab"][0]) for each in patches)
    worst = max((found - wanted for wanted, found in steps), key=abs)

    def draw(figure: Figure) -> None:
        upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=[1.7, 1])
        figure.subplots_adjust(left=0.15, right=0.95, bottom=0.12, top=0.985, hspace=0.1)
        upper.plot([0, 100], [0, 100], color=_SOFT, linewidth=0.9, linestyle=(0, (4, 3)))
        upper.plot(*zip(*steps, strict=True), "o-", color=_INK, linewidth=1, markersize=4)
        upper.set(xlim=(0, 100), ylim=(0, 100), ylabel="measured L*")
        _band(lower, allowed)
        lower.axhline(0, color=_SOFT, linewidth=0.9, linestyle=(0, (4, 3)))
        offs = [found - wanted for wanted, found in steps]
        lower.plot([wanted for wanted, _ in steps], offs, "o-", color=_INK, linewidth=1, markersize=4)
        reach = 1.15 * max(3.0, *(abs(each) for each in offs), *_ends(allowed))
        lower.set(ylim=(-reach, reach), xlabel="L* of the reference", ylabel="difference")

    shaded = " Shaded below: what the specification allows." if allowed else ""
    return Plot(
        title="Tone response",
        caption=f"Dashed: as the reference. Above the lightness itself, below the difference.{shaded}",
        svg=_svg(draw, key, width=3.9, height=3.9, label=f"Lightness of {len(steps)} neutral patches against "
                 f"their reference. Largest difference {worst:+.1f} ΔL*."),
    )  # fmt: skip


def grey_scale(curve: Plain, *, key: str) -> Plot:
    """Draw the lightness of the steps of a grey scale, and how far each lies below the one before.

    It is held against no reference.
    """
    places, tones = zip(*curve["points"], strict=True)
    falls = [before - after for before, after in itertools.pairwise(tones)]
    least = min(range(len(falls)), key=falls.__getitem__)

    def draw(figure: Figure) -> None:
        from matplotlib.ticker import MaxNLocator

        upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=[1.7, 1])
        figure.subplots_adjust(left=0.15, right=0.95, bottom=0.12, top=0.985, hspace=0.1)
        upper.plot(places, tones, "o-", color=_INK, linewidth=1, markersize=4)
        upper.set(ylim=(0, 100), ylabel="measured L*")
        lower.bar(places[1:], falls, width=0.5, color=_SHADE, edgecolor=_INK, linewidth=0.8)
        lower.set(
            ylim=(0, 1.15 * max(3.0, *falls)),
            xlabel="step, from light to dark",
            ylabel="below the one before",
        )
        lower.xaxis.set_major_locator(MaxNLocator(integer=True))

    label = f"Lightness of {len(tones)} greys, from {tones[0]:.1f} to {tones[-1]:.1f} L*. "
    return Plot(
        title="Grey scale, without reference",
        caption="Lightness of each step as the frame shows it; below, by how much a step is darker than the "
        "one before. What is published of targets is for visible light, so nothing is judged here: look "
        "whether steps stay apart at both ends.",
        svg=_svg(
            draw, key, width=3.9, height=3.9,
            label=f"{label}Least apart: steps {least + 1} and {least + 2}, by {falls[least]:.1f}.",
        ),
    )  # fmt: skip


def _band(axes: Axes, allowed: Span | None) -> None:
    if allowed:
        low, high = (max(-1e3, allowed.low), min(1e3, allowed.high))
        axes.axhspan(low, high, facecolor=_NOTE, alpha=0.16, linewidth=0, zorder=0)
        for each in _ends(allowed):
            axes.axhline(each, color=_NOTE, linewidth=0.8, zorder=0)


def _ends(allowed: Span | None) -> list[float]:
    return [each for each in (allowed.low, allowed.high) if math.isfinite(each)] if allowed else []


# ------------------------------------------------------------------------------------------ resolution

HALF_SAMPLING_CY_PX = 0.5
MOST_CURVES = 12
_DASHES: tuple[Any, ...] = ("-", (0, (5, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)))
_MARKERS = "osD^vPX"
_COLOURS = (_INK, _LINK, _WARNING)


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponseLimits:
    """What a specification lets the response to a slanted edge be; None for no limit."""

    sfr50: Span | None = None
    """In per cent of half sampling."""
    sfr10: Span | None = None
    at_half_sampling: Span | None = None
    """Of the response there."""
    maximum: Span | None = None


def responses(curves: Sequence[Plain], limits: ResponseLimits, *, key: str) -> Plot:
    """Draw the spatial frequency responses of a frame's edges, with the limits shaded."""
    shown = curves[:MOST_CURVES]

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        figure.subplots_adjust(left=0.065, right=0.74, bottom=0.13, top=0.985)
        _draw_limits(axes, limits)
        for number, curve in enumerate(shown):
            x, y = zip(*curve["points"], strict=True)
            axes.plot(
                x, y, color=_COLOURS[number % len(_COLOURS)], linewidth=1.2,
                linestyle=_DASHES[number % len(_DASHES)], marker=_MARKERS[number % len(_MARKERS)],
                markersize=3.6, markevery=(number % 4, 5), label=_plain_name(curve),
            )  # fmt: skip
        axes.set(xlim=(0, 0.55), ylim=(0, _top(shown, limits)), xlabel="cycles per pixel", ylabel="response")
        axes.axvline(HALF_SAMPLING_CY_PX, color=_SOFT, linewidth=0.8, linestyle=(0, (4, 3)))
        axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), fontsize=7.5, handlelength=3.6)

    left_out = f" {len(curves) - len(shown)} more are in the document." if len(curves) > len(shown) else ""
    said = "; ".join(_said(each) for each in shown)
    return Plot(
        title="Response to slanted edges (SFR)",
        caption="Thick bars at 0.5 and 0.1: where the curves may cross these responses. Hatched: where no "
        f"curve may be, at half sampling (dashed) and above what sharpening may lift.{left_out}",
        svg=_svg(
            draw, key, width=7.4, height=3.6, label=f"Response over frequency of {len(shown)} edges: {said}."
        ),
        is_large=True,
    )


def _draw_limits(axes: Axes, limits: ResponseLimits) -> None:
    for response, span in ((0.5, limits.sfr50), (0.1, limits.sfr10)):
        if span:
            ends = [HALF_SAMPLING_CY_PX * each / 100 for each in (max(0, span.low), min(110, span.high))]
            axes.plot(ends, [response, response], color=_NOTE, linewidth=7, alpha=0.35, solid_capstyle="butt")
            for end in ends:
                axes.plot([end, end], [response - 0.025, response + 0.025], color=_NOTE, linewidth=1.2)
    hatched: Any = {"facecolor": "none", "edgecolor": _SOFT, "hatch": "////", "linewidth": 0.6, "zorder": 0}
    if limits.at_half_sampling and math.isfinite(limits.at_half_sampling.high):
        bottom = limits.at_half_sampling.high
        axes.fill_between([0.485, 0.515], bottom, 1, **hatched)
    if limits.maximum and math.isfinite(limits.maximum.high):
        axes.fill_between([0, 0.55], limits.maximum.high, 2, **hatched)


def _top(curves: Sequence[Plain], limits: ResponseLimits) -> float:
    highest = max((y for curve in curves for _, y in curve["points"]), default=1.0)
    limit = limits.maximum.high if limits.maximum and math.isfinite(limits.maximum.high) else 1.0
    return max(1.05, 1.03 * highest, limit + 0.06)


def _plain_name(curve: Plain) -> str:
    return _word(curve["name"].removeprefix("SFR, "))


def _said(curve: Plain) -> str:
    half = crossing(curve["points"], 0.5)
    where = f"0.5 at {half:.3f}" if half is not None else "never at 0.5"
    return f"{_plain_name(curve)} {where} cycles per pixel"


def crossing(points: Sequence[Sequence[float]], level: float) -> float | None:
    """Return where a curve first comes down to `level`, by a straight line between points."""
    for (x, y), (next_x, next_y) in itertools.pairwise(points):
        if y >= level > next_y:
            return x + (next_x - x) * (y - level) / (y - next_y)
    return None


# ---------------------------------------------------------------------------------------------- maps

MOST_CELLS_LABELLED = 80
_LABELS_ACROSS = 5


def field(grid: Plain, *, key: str) -> Plot:
    """Draw values over a frame as a map: numbers in their places, lines where the value is the same."""
    rows = [[math.nan if each is None else float(each) for each in row] for row in grid["rows"]]
    known = [each for row in rows for each in row if not math.isnan(each)]
    height, width = len(rows), max(len(row) for row in rows)
    rows = [row + [math.nan] * (width - len(row)) for row in rows]

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        figure.subplots_adjust(left=0.01, right=0.99, bottom=0.01, top=0.99)
        _draw_field(axes, rows, known, grid["unit"])
        axes.set(xticks=[], yticks=[])
        for spine in axes.spines.values():
            spine.set_color(_SOFT)

    unit = f" {grid['unit']}" if grid["unit"] else ""
    ends = f"from {_short(min(known))} to {_short(max(known))}{unit}" if known else "no value anywhere"
    is_small = height * width <= MOST_CELLS_LABELLED
    lines = "" if is_small else "lines join equal values, "
    tall = 3.1 * min(1.6, max(0.4, height / width))
    return Plot(
        title=_title(grid["name"]),
        caption=f"The frame as it is seen, {ends}. Numbers are {grid['unit'] or 'ratios'} at their places; "
        f"{lines}lighter is more. Empty: no evidence.",
        svg=_svg(draw, key, width=3.1, height=tall, label=f"Map of {_word(grid['name'])}, {ends}."),
    )


_LEAST_SPANS = {"ΔL*": 4.0, "Δa*": 4.0, "Δb*": 4.0, "px": 1.0}
"""From darkest to lightest, at least: a frame that is even looks even."""


def _span(known: Sequence[float], unit: str) -> tuple[float, float]:
    low, high = min(known), max(known)
    missing = max(0.0, _LEAST_SPANS.get(unit, 1e-9) - (high - low)) / 2
    return low - missing, high + missing


_TONES = ("#1f3147", "#5d7183", "#b9b7a9", "#f4ecd8")
"""Of maps, dark to light: told apart by lightness alone."""
_DARK = 0.36
"""Up to this share of the way, white has more contrast with a tone than black (WCAG 2.2)."""


def _title(name: str) -> str:
    """With a capital, unless it begins with a symbol such as a*."""
    return name if name[1:2] == "*" else name[:1].upper() + name[1:]


def _draw_field(axes: Axes, rows: list[list[float]], known: list[float], unit: str) -> None:
    import numpy as np
    from matplotlib.colors import LinearSegmentedColormap, Normalize

    values = np.array(rows)
    height, width = values.shape
    axes.set(xlim=(-0.5, width - 0.5), ylim=(height - 0.5, -0.5))
    axes.set_aspect("equal")
    if not known:
        return
    tones = LinearSegmentedColormap.from_list("tones", _TONES)
    low, high = _span(known, unit)
    scale = Normalize(low, high)
    levels = [each for each in _levels(low, high) if min(known) < each < max(known)]
    is_small = height * width <= MOST_CELLS_LABELLED
    # to the border of the frame, where half a block lies beyond the last middle
    padded = np.ma.masked_invalid(np.pad(values, 1, mode="edge"))
    x, y = (np.array([-0.5, *range(count), count - 0.5]) for count in (width, height))
    if is_small:
        across, down = np.arange(width + 1) - 0.5, np.arange(height + 1) - 0.5
        axes.pcolormesh(
            across,
            down,
            np.ma.masked_invalid(values),
            cmap=tones,
            norm=scale,
            edgecolors=_PAPER,
            linewidth=0.4,
        )
    else:
        bounds = [min(known), *levels, max(known)]
        fills = [tones(float(scale((one + two) / 2))) for one, two in itertools.pairwise(bounds)]
        axes.contourf(x, y, padded, levels=[-1e9, *levels, 1e9], colors=fills)
        if levels and min(height, width) > 1:
            axes.contour(
                x, y, padded, levels=levels, colors=_PAPER, linewidths=0.8, negative_linestyles="solid"
            )
    _label(axes, rows, scale, tones, is_small=is_small)


def _levels(low: float, high: float) -> list[float]:
    """Round numbers between the ends, or half-way between round numbers: none at nought, where noise is."""
    from matplotlib.ticker import MaxNLocator

    if high <= low:
        return []
    ticks = [float(each) for each in MaxNLocator(nbins=7).tick_values(low, high)]
    half = (ticks[1] - ticks[0]) / 2 if low < 0 < high else 0.0
    return [each + half for each in ticks if low < each + half < high]


def _label(
    axes: Axes,
    rows: list[list[float]],
    scale: Callable[[float], Any],
    tones: Callable[[float], Any],
    *,
    is_small: bool,
) -> None:
    """Write values at their places, on grounds of their own tone: lines do not run through them."""
    height, width = len(rows), len(rows[0])
    for down in _places(height, is_small=is_small, share=height / width):
        for across in _places(width, is_small=is_small, share=1.0):
            value = rows[down][across]
            if math.isnan(value):
                continue
            is_dark = float(scale(value)) < _DARK
            axes.text(
                across, down, _short(value), ha="center", va="center",
                fontsize=6.5, color="#ffffff" if is_dark else "#000000",
                bbox={"facecolor": tones(float(scale(value))), "edgecolor": "none", "pad": 1},
            )  # fmt: skip


def _short(value: float) -> str:
    return fixed(value, 2 if abs(value) < 10 else 0)


def _places(count: int, *, is_small: bool, share: float) -> list[int]:
    wanted = count if is_small else min(count, max(2, round(_LABELS_ACROSS * share)))
    return sorted({round((at + 0.5) * count / wanted - 0.5) for at in range(wanted)})


# --------------------------------------------------------------------------------------------- drawing

_STYLE: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "solander",
    "text.parse_math": False,
    "font.family": "DejaVu Sans",
    "font.size": 8,
    "text.color": _INK,
    "axes.labelcolor": _INK,
    "axes.edgecolor": _SOFT,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.facecolor": "none",
    "axes.unicode_minus": True,
    "figure.facecolor": "none",
    "hatch.color": _SOFT,
    "hatch.linewidth": 0.5,
    "legend.frameon": False,
    "xtick.color": _SOFT,
    "ytick.color": _SOFT,
    "xtick.labelcolor": _INK,
    "ytick.labelcolor": _INK,
    "path.simplify": False,
}


def _svg(draw: Callable[[Figure], None], key: str, *, width: float, height: float, label: str) -> str:
    """Return what `draw` draws as an SVG element for the page; `label` is its text for those who hear it."""
    import io

    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
    with mpl.rc_context(_STYLE), warnings.catch_warnings():
        # of a letter that the font lacks only the width is guessed: the page has fonts of its own
        warnings.simplefilter("ignore", UserWarning)
        figure = Figure(figsize=(width, height))
        draw(figure)
        drawn = io.StringIO()
        canvas: Any = FigureCanvasSVG(figure)
        canvas.print_svg(drawn, metadata=nothing)
    return _for_page(drawn.getvalue(), key, label)


def _for_page(svg: str, key: str, label: str) -> str:
    """Take out what is for files of their own; make identifiers the plot's own and colours the page's."""
    head, _, body = svg[svg.index("<svg") :].partition(">")
    box = re.search(r'viewBox="([^"]+)"', head)
    assert box
    for pattern in (r"<metadata>.*?</metadata>", r"<defs>\s*<style.*?</defs>", r"<!--.*?-->"):
        body = re.sub(pattern, "", body, flags=re.DOTALL)
    used = set(re.findall(r'(?:url\(#|href="#)([^)"]+)', body))
    body = re.sub(r' id="([^"]+)"', lambda m: f' id="{key}-{m[1]}"' if m[1] in used else "", body)
    body = re.sub(r"url\(#([^)]+)\)", rf"url(#{key}-\1)", body)
    body = re.sub(r'xlink:href="#([^"]+)"', rf'href="#{key}-\1"', body)
    body = re.sub("|".join(_VARIABLES), lambda m: f"var(--{_VARIABLES[m[0]]})", body)
    body = re.sub(r"font: ([\d.]+px) [^;\"]+", r"font-size: \1", body)
    body = re.sub(r"\n\s*", "\n", body)
    return f'<svg viewBox="{box[1]}" role="img" aria-label="{_attribute(label)}">{body.strip()}'


def _attribute(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")


def spans(limits: Sequence[Plain]) -> Iterator[tuple[str, Span]]:
    """Yield measure and what is allowed, for limits that are numbers."""
    for limit in limits:
        if all(isinstance(each, int | float) for each in limit["values"]):
            yield limit["measure"], _allowed(limit)


def _allowed(limit: Plain) -> Span:
    first, last = float(limit["values"][0]), float(limit["values"][-1])
    match limit["comparator"]:
        case "<" | "<=":
            return Span(high=first)
        case ">" | ">=":
            return Span(low=first)
        case _:
            return Span(low=first, high=last)
