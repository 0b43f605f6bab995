"""Resolution from one slanted edge: how much contrast is left at which frequency (e-SFR), and how the
colour channels lie on one another.

The region must hold one straight edge that crosses two opposite borders, turned about 5° from the axis it
is near to. Frequencies are in cycles per pixel along the normal of the edge; half sampling is 0.5. An
edge speaks for its own place and direction alone: lens and focus differ over the frame.

What to expect, held in tests over standard deviations of 0.5 to 1.5 px, angles of 3 to 10°, both bit
depths and contrasts from 0.2, with 30 px and more of even light on each side, against the closed form of a
Gaussian edge without noise: SFR50 within 1.2 %, SFR10 within 1.5 % (within 2.5 % in 8 bits, whose rounding
nothing averages away then; above 0.6 cycles per pixel, where no limit looks, not stated). Bins of a quarter
pixel alone cost up to 1 % at σ = 0.5; the window raises SFR50 by the share (π·σ/(2·flat))², which is 0.6 %
for σ = 1.5 px. Noise scatters the figures about that; by how much is part of every answer (`scatter`).

Source: ISO 12233:2023 (photography, electronic still picture imaging, resolution and spatial frequency
response), the edge-based method; fits and windows of the editions to 2017 can be chosen.
"""

from __future__ import annotations

import enum
import functools
import math
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
import numpy.typing as npt

from pipeline.measure.pixels import Codes, NotMeasured, shares_of

Numbers = npt.NDArray[np.float64]

FREQUENCIES_CY_PX: tuple[float, ...] = tuple(index / 100 for index in range(101))
"""Where a response is given: 0 to 1 cycles per pixel, along the normal of the edge."""
HALF_SAMPLING_CY_PX = 0.5

LUMINANCE_WEIGHTS = (0.213, 0.715, 0.072)
"""Of linear red, green and blue, as ISO 12233 weighs them for edges."""

CLIPPED_SHARE = 0.005
"""Of a region's pixels that may lie at the ends of the scale: a clipped side of the edge adds 13 %."""
LEAST_CONTRAST, GOOD_CONTRAST = 0.1, 0.2
LEAST_ROWS, GOOD_ROWS = 40, 100
LEAST_FLAT_PX, GOOD_FLAT_PX = 8.0, 20.0
LEAST_CYCLES = 2
"""Whole pixels that the edge must move sideways: fewer do not sample all phases evenly."""
MOST_DRIFT, GOOD_DRIFT = 0.15, 0.02
"""Change of light beside the edge, as a share of the step."""
FAR_PX = 0.25
"""A row whose edge lies so far from the fit, or four of the usual deviations, is left out."""
STEEPEST_DEG = 15.0
"""From there on, bins of a quarter pixel stay empty at some angles."""
GOOD_DEG = (2.0, 10.0)


class Tone(Protocol):
    """What makes linear light of codes: a profile, or a measured tone curve."""

    def linear(self, shares: npt.ArrayLike, /) -> Numbers:
        """Return the linear light of codes as shares of full scale; bands are the last axis."""


class Taper(enum.StrEnum):
    """The window that noise far from the edge is faded with."""

    TUKEY = "Tukey, α = 1"
    """ISO 12233:2023."""
    HAMMING = "Hamming"
    """Editions to 2017."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Method:
    """How an edge is evaluated; recorded with the figures."""

    order: int = 3
    """Of the polynomial that the edge is fitted with: 1 is a straight line (editions to 2017), 5 the most.
    A line reads 10 % too low on an edge that is bowed by a pixel."""
    taper: Taper = Taper.TUKEY
    bins_per_px: int = 4
    """The standard's; more need more rows."""


ISO_2023 = Method()
ISO_2017 = Method(order=1, taper=Taper.HAMMING)


class Axis(enum.StrEnum):
    """Along which axis of the frame an edge resolves."""

    HORIZONTAL = "horizontal"
    """Along the rows: the edge is nearly vertical."""
    VERTICAL = "vertical"
    """Along the columns: the edge is nearly horizontal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """The spatial frequency response of luminance or of a channel."""

    values: tuple[float, ...]
    """At `FREQUENCIES_CY_PX`, 1 at 0."""
    sfr50_cy_px: float | NotMeasured
    """Where the response first falls to a half; likewise 0.3 and 0.1."""
    sfr30_cy_px: float | NotMeasured
    sfr10_cy_px: float | NotMeasured
    half_sampling_response: float
    maximum: float
    """Largest response up to half sampling: above 1 the frame was sharpened."""
    maximum_at_cy_px: float
    contrast: float
    """(light - dark) / (light + dark) of linear light on both sides."""
    noise: float
    """Standard deviation of a bin of the edge spread, as a share of the step: measured beside the edge."""
    sfr50_scatter_cy_px: float
    sfr10_scatter_cy_px: float
    """Standard deviations of SFR50 and SFR10 that this noise makes; 0 if the response never falls so far."""
    maximum_scatter: float
    """Standard deviation of the response at half of SFR50, where sharpening shows."""

    @property
    def sampling_efficiency(self) -> float:
        """The SFR10 as a share of half sampling, at most 1."""
        if isinstance(self.sfr10_cy_px, NotMeasured):
            return 1.0
        return min(self.sfr10_cy_px, HALF_SAMPLING_CY_PX) / HALF_SAMPLING_CY_PX

    @property
    def sfr50_of_half_sampling(self) -> float | NotMeasured:
        """The SFR50 as a share of half sampling."""
        if isinstance(self.sfr50_cy_px, NotMeasured):
            return self.sfr50_cy_px
        return self.sfr50_cy_px / HALF_SAMPLING_CY_PX


@dataclass(frozen=True, slots=True, kw_only=True)
class Misregistration:
    """Where red and blue lie against green, along the edge's normal; to the right or down is positive."""

    red_px: float
    blue_px: float
    scatter_px: float
    """Standard deviation of either that noise makes."""

    @property
    def worst_px(self) -> float:
        """The largest distance between any two channels."""
        return max(abs(self.red_px), abs(self.blue_px), abs(self.red_px - self.blue_px))


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeMeasure:
    """What one edge says."""

    axis: Axis
    angle_deg: float
    """From the axis that the edge is near to; positive if it moves right going down, or down going right."""
    rows: int
    """Pixels along the edge that were used: a whole number of its cycles."""
    flat_px: float
    """What lies on each side of the edge at the least, over all rows."""
    bow_px: float
    """How far the fitted edge leaves its straight line."""
    luminance: Response
    """That of the only channel, if the frame is grey."""
    red: Response | NotMeasured
    green: Response | NotMeasured
    blue: Response | NotMeasured
    misregistration: Misregistration | NotMeasured
    cautions: tuple[str, ...]
    """Why the figures may be less sure than they look."""
    method: Method


def measure_edge(codes: Codes, tone: Tone, *, method: Method = ISO_2023) -> EdgeMeasure | NotMeasured:
    """Return what the edge in a region says, or why it says nothing.

    `codes` is (rows, columns, bands), uint8 or uint16, with 1 or 3 bands. Source: ISO 12233:2023.
    """
    if refusal := _unusable(codes):
        return refusal
    light = np.asarray(tone.linear(shares_of(codes)), np.float64)
    luminance = light[:, :, 0] if light.shape[2] == 1 else light @ np.array(LUMINANCE_WEIGHTS)
    axis = Axis.HORIZONTAL if _is_near_vertical(luminance) else Axis.VERTICAL
    if axis is Axis.VERTICAL:
        light, luminance = light.swapaxes(0, 1), luminance.T
    trace = _traced(luminance, method)
    if isinstance(trace, NotMeasured):
        return trace
    spread = _edge_spread(luminance, trace, method.bins_per_px)
    response = _response(spread, trace, method)
    if isinstance(response, NotMeasured):
        return response
    traces = _channel_traces(light, trace, method)
    red, green, blue = (_channel(light, band, each, method) for band, each in enumerate(traces))
    return EdgeMeasure(
        axis=axis,
        angle_deg=math.degrees(math.atan(trace.slope)),
        rows=trace.last - trace.first,
        flat_px=trace.flat_px,
        bow_px=trace.bow_px,
        luminance=response,
        red=red,
        green=green,
        blue=blue,
        misregistration=_misregistration(traces, trace),
        cautions=_cautions(spread, trace, response),
        method=method,
    )


# ----------------------------------------------------------------------------------------- refusals


def _unusable(codes: Codes) -> NotMeasured | None:
    rows, columns, bands = codes.shape
    if bands not in (1, 3):
        return NotMeasured(reason=f"the region has {bands} channels; expected 1 or 3")
    if max(rows, columns) < LEAST_ROWS or min(rows, columns) < 2 * LEAST_FLAT_PX:
        return NotMeasured(
            reason=f"the region is {columns} × {rows} px; "
            f"expected {LEAST_ROWS} along the edge and {2 * LEAST_FLAT_PX:.0f} across it at the least"
        )
    is_clipped = ((codes == 0) | (codes == np.iinfo(codes.dtype).max)).any(axis=2)
    share = float(is_clipped.mean())
    if share > CLIPPED_SHARE:
        return NotMeasured(
            reason=f"{100 * share:.1f} % of the region's pixels lie at an end of the scale; "
            f"expected {100 * CLIPPED_SHARE:.1f} % at most, for a clipped edge looks sharper than it is"
        )
    return None


def _cautions(spread: Numbers, trace: _Trace, response: Response) -> tuple[str, ...]:
    low, high = GOOD_DEG
    angle = abs(math.degrees(math.atan(trace.slope)))
    drift = _drift(spread)
    said = (
        (response.contrast < GOOD_CONTRAST, f"low contrast ({response.contrast:.2f})"),
        (trace.last - trace.first < GOOD_ROWS, f"a short edge ({trace.last - trace.first} px)"),
        (trace.flat_px < GOOD_FLAT_PX, f"little flat beside the edge ({trace.flat_px:.0f} px)"),
        (not low - 0.05 < angle < high + 0.05, f"an unusual angle ({angle:.1f}°)"),
        (trace.bow_px > 1.0, f"a bowed edge ({trace.bow_px:.1f} px)"),
        (drift > GOOD_DRIFT, f"the light changes by {100 * drift:.0f} % of the step beside the edge"),
    )
    return tuple(text for is_so, text in said if is_so)


def _drift(spread: Numbers) -> float:
    """How much either side changes from near to far, as a share of the step."""
    part = max(1, len(spread) // 8)
    sides = (spread, spread[::-1])
    change = max(abs(side[:part].mean() - side[2 * part : 3 * part].mean()) for side in sides)
    return float(change / max(abs(spread[-part:].mean() - spread[:part].mean()), 1e-9))


# --------------------------------------------------------------------------------------- the edge itself


@dataclass(frozen=True, slots=True)
class _Trace:
    """Where an edge is in the rows of a region that it crosses from top to bottom."""

    places: Numbers
    """Column of the edge in each row; the centre of the first pixel is 0."""
    slope: float
    """Columns a row, of the straight line through it."""
    first: int
    last: int
    """Rows that make a whole number of cycles."""
    flat_px: float
    bow_px: float
    scatter_px: float
    """Standard deviation of the edge's mean place."""
    is_clean: npt.NDArray[np.bool_]
    """Rows without dust or scratches on the edge."""


def _is_near_vertical(luminance: Numbers) -> bool:
    return bool(np.ptp(luminance.mean(axis=0)) >= np.ptp(luminance.mean(axis=1)))


def _traced(light: Numbers, method: Method) -> _Trace | NotMeasured:
    """Find the edge: the steepest place of each row, then centroids in narrowing windows about the fit."""
    columns = light.shape[1]
    third = max(1, columns // 4)
    if refusal := _flat(float(light[:, :third].mean()), float(light[:, -third:].mean())):
        return refusal
    rise = _rise(light)
    fit = _Fit(_steepest(rise), math.inf, np.ones(len(light), np.bool_))
    for reach_px in (24.0, 12.0, 12.0):
        fit = _fitted(_centroids(rise, fit.places, reach_px), fit.places, method.order)
    return _judged(fit, columns)


def _flat(one: float, other: float) -> NotMeasured | None:
    contrast = abs(one - other) / max(one + other, 1e-9)
    if contrast >= LEAST_CONTRAST:
        return None
    return NotMeasured(
        reason=f"the contrast of the edge is {contrast:.2f}; expected {LEAST_CONTRAST} at the least"
    )


def _rise(light: Numbers) -> Numbers:
    """Return how much the light grows at each pixel towards the lighter side."""
    rise = np.zeros_like(light)
    rise[:, 1:-1] = (light[:, 2:] - light[:, :-2]) / 2
    return rise if rise.sum() > 0 else -rise


def _steepest(rise: Numbers) -> Numbers:
    """Return the straight line through the steepest places, whatever lies beside it."""
    near = rise.copy()
    for shift in (-2, -1, 1, 2):
        near += np.roll(rise, shift, axis=1)
    total = np.cumsum(np.vstack([np.zeros((1, near.shape[1])), near]), axis=0)
    reach = 3
    height = np.arange(len(near))
    upper, lower = np.maximum(height - reach, 0), np.minimum(height + reach + 1, len(near))
    columns = (total[lower] - total[upper]).argmax(axis=1).astype(np.float64)
    third = max(1, len(columns) // 3)
    slope = (np.median(columns[-third:]) - np.median(columns[:third])) / (len(columns) - third)
    offset = np.median(columns - slope * height)
    line: Numbers = offset + slope * height
    return line


def _centroids(rise: Numbers, places: Numbers, reach_px: float) -> Numbers:
    """Return the centroid of each row's rise in a window about `places`; NaN where nothing rises."""
    reach = math.ceil(reach_px) + 1
    columns = np.rint(places).astype(np.intp)[:, None] + np.arange(-reach, reach + 1)[None, :]
    away = columns - places[:, None]
    is_in = (np.abs(away) < reach_px) & (columns >= 0) & (columns < rise.shape[1])
    window = np.where(is_in, 1 + np.cos(np.pi / reach_px * away), 0.0)
    weights = np.take_along_axis(rise, columns.clip(0, rise.shape[1] - 1), axis=1) * window
    total = weights.sum(axis=1)
    usual = np.median(total)
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.where(total > 0.2 * usual, (weights * away).sum(axis=1) / total, np.nan)
    centroids: Numbers = places + np.where(np.abs(shift) < reach_px, shift, np.nan)
    return centroids


@dataclass(frozen=True, slots=True)
class _Fit:
    """A polynomial through an edge: its places, the deviation of their mean, and the rows it goes by."""

    places: Numbers
    scatter_px: float
    is_clean: npt.NDArray[np.bool_]


def _fitted(centroids: Numbers, before: Numbers, order: int) -> _Fit:
    """Return the polynomial through the centroids; rows far off (dust, a scratch) are left out, once."""
    height = np.linspace(-1, 1, len(centroids))
    is_used = np.isfinite(centroids)
    if is_used.sum() < max(order + 2, len(centroids) // 2):
        return _Fit(before, math.inf, is_used)
    basis = np.vander(height, order + 1)
    for _ in range(2):
        used = basis[is_used]
        factors = np.linalg.solve(used.T @ used, used.T @ centroids[is_used])
        places: Numbers = basis @ factors
        off = np.abs(centroids - places)
        deviation = float(np.sqrt((off[is_used] ** 2).mean()))
        limit = max(FAR_PX, 4 * 1.4826 * float(np.median(off[is_used])))
        is_used = is_used & (np.nan_to_num(off, nan=np.inf) <= limit)
    return _Fit(places, deviation / math.sqrt(len(centroids)), is_used)


def _judged(fit: _Fit, columns: int) -> _Trace | NotMeasured:
    places, rows = fit.places, len(fit.places)
    height = np.arange(rows)
    slope, offset = np.polyfit(height, places, 1)
    if not fit.scatter_px * math.sqrt(rows) <= 2.0:
        return NotMeasured(reason="no single edge crosses the region from side to side")
    angle = math.degrees(math.atan(abs(slope)))
    if angle > STEEPEST_DEG:
        return NotMeasured(
            reason=f"the edge is {min(angle, 90 - angle):.1f}° off its axis; "
            f"expected {STEEPEST_DEG:.0f}° at most"
        )
    cycles = math.floor(rows * abs(slope) + 1e-6)
    if cycles < LEAST_CYCLES:
        return NotMeasured(
            reason=f"the edge is nearly parallel to the pixels: it moves {rows * abs(slope):.1f} px sideways "
            f"in {rows} rows; expected {LEAST_CYCLES} at the least"
        )
    used = min(rows, round(cycles / abs(slope)))
    if used < LEAST_ROWS:
        return NotMeasured(reason=f"the edge is {used} px long; expected {LEAST_ROWS} at the least")
    flat = min(float(places.min()), columns - 1 - float(places.max()))
    if flat < LEAST_FLAT_PX:
        return NotMeasured(
            reason=f"{max(flat, 0):.0f} px lie beside the edge; expected {LEAST_FLAT_PX:.0f} at the least"
        )
    first = (rows - used) // 2
    bow = float(np.abs(places - (offset + slope * height)).max())
    return _Trace(places, float(slope), first, first + used, flat, bow, fit.scatter_px, fit.is_clean)


def _channel_traces(light: Numbers, whole: _Trace, method: Method) -> list[_Trace | NotMeasured]:
    if light.shape[2] == 1:
        return [NotMeasured(reason="the frame is grey")] * 3
    return [_channel_trace(light[:, :, band], whole, method) for band in range(3)]


def _channel_trace(light: Numbers, whole: _Trace, method: Method) -> _Trace | NotMeasured:
    """Find the edge of a channel near that of luminance."""
    outer = max(1, light.shape[1] // 4)
    if refusal := _flat(float(light[:, :outer].mean()), float(light[:, -outer:].mean())):
        return refusal
    rise = _rise(light)
    fit = _fitted(_centroids(rise, whole.places, 12.0), whole.places, method.order)
    fit = _fitted(_centroids(rise, fit.places, 12.0), fit.places, method.order)
    if not math.isfinite(fit.scatter_px):
        return NotMeasured(reason="no single edge crosses the region from side to side")
    return replace(whole, places=fit.places, scatter_px=fit.scatter_px)


def _misregistration(traces: list[_Trace | NotMeasured], whole: _Trace) -> Misregistration | NotMeasured:
    red, green, blue = traces
    for trace in traces:
        if isinstance(trace, NotMeasured):
            return trace
    assert isinstance(red, _Trace)
    assert isinstance(green, _Trace)
    assert isinstance(blue, _Trace)
    normal = math.cos(math.atan(whole.slope))
    return Misregistration(
        red_px=float((red.places - green.places).mean()) * normal,
        blue_px=float((blue.places - green.places).mean()) * normal,
        scatter_px=math.hypot(max(red.scatter_px, blue.scatter_px), green.scatter_px) * normal,
    )


# ------------------------------------------------------------------------------------------ response


def _edge_spread(light: Numbers, trace: _Trace, bins_per_px: int) -> Numbers:
    """Return the means of pixels equally far from the edge; empty bins lie between their neighbours."""
    half = math.floor(trace.flat_px)
    rows = trace.first + np.flatnonzero(trace.is_clean[trace.first : trace.last])
    away = np.arange(light.shape[1])[None, :] - trace.places[rows, None]
    bins = np.floor((away + half) * bins_per_px).astype(np.int64)
    count = 2 * half * bins_per_px
    is_used = (bins >= 0) & (bins < count)
    filled = np.bincount(bins[is_used], minlength=count)
    total = np.bincount(bins[is_used], weights=light[rows][is_used], minlength=count)
    has = np.flatnonzero(filled)
    return np.interp(np.arange(count), has, total[has] / filled[has])


def _channel(
    light: Numbers, band: int, trace: _Trace | NotMeasured, method: Method
) -> Response | NotMeasured:
    if isinstance(trace, NotMeasured):
        return trace
    return _response(_edge_spread(light[:, :, band], trace, method.bins_per_px), trace, method)


def _response(spread: Numbers, trace: _Trace, method: Method) -> Response | NotMeasured:
    ends = max(1, len(spread) // 8)
    left, right = float(spread[:ends].mean()), float(spread[-ends:].mean())
    if left > right:
        spread, left, right = -spread, -left, -right
    line = (spread[2:] - spread[:-2]) / 2
    window = _window(method.taper, _away(len(line), method), len(spread) / 2 / method.bins_per_px)
    at_zero = float((line * window).sum())
    drift = _drift(spread)
    if at_zero <= 0 or drift > MOST_DRIFT:
        return NotMeasured(
            reason=f"the light changes by {100 * drift:.0f} % of the step beside the edge; "
            f"expected {100 * MOST_DRIFT:.0f} % at most: a second edge, or one too soft for the region"
        )
    values = _modulus(line * window, trace.slope, method) / at_zero
    noise = _bin_noise(line) / at_zero
    contrast = abs((right - left) / (right + left))
    return _read(values, _scatter(noise, window, method.bins_per_px), contrast, noise)


def _bin_noise(line: Numbers) -> float:
    """Standard deviation of a bin, from half the difference of bins far from the edge."""
    outer = np.concatenate([line[: len(line) // 4], line[-(len(line) // 4) :]])
    return math.sqrt(2 * float(outer.var()))


def _away(count: int, method: Method) -> Numbers:
    """Return the distances of bins from the edge along the rows, in pixels."""
    return (np.arange(count) - (count - 1) / 2) / method.bins_per_px


def _window(taper: Taper, away: Numbers, reach_px: float) -> Numbers:
    cosine = np.cos(np.pi / reach_px * away)
    return 0.5 + 0.5 * cosine if taper is Taper.TUKEY else 0.54 + 0.46 * cosine


def _modulus(line: Numbers, slope: float, method: Method) -> Numbers:
    """Return the modulus at the frequencies, corrected for the difference of bins."""
    cosines, sines = _waves(len(line), slope, method)
    modulus: Numbers = np.hypot(cosines @ line, sines @ line)
    return modulus


@functools.lru_cache(maxsize=2)
def _waves(count: int, slope: float, method: Method) -> tuple[Numbers, Numbers]:
    """Return cosines and sines of the frequencies over the bins, divided by the response of a difference.

    Distances along the rows are longer than those along the normal by 1 / cos(angle). The response is
    sin(u) / u with u = 2π · frequency · bin; numpy's sinc has the π in it.
    """
    cosine = math.cos(math.atan(slope))
    first = np.exp(2j * np.pi * FREQUENCIES_CY_PX[1] * cosine * _away(count, method))
    waves = np.ones((len(FREQUENCIES_CY_PX), count), np.complex128)
    waves[1:] = first
    np.cumprod(waves, axis=0, out=waves)  # the frequencies are multiples of the first
    response = np.sinc(2 * cosine / method.bins_per_px * np.array(FREQUENCIES_CY_PX))[:, None]
    return waves.real / response, waves.imag / response


def _scatter(noise: float, window: Numbers, bins_per_px: int) -> Numbers:
    """Return the standard deviation of the response at the frequencies, from independent noise of the bins.

    A difference of bins has the response sin(u); the correction makes u of it. Half of the noise power is
    in phase with the signal.
    """
    u = 2 * np.pi * np.array(FREQUENCIES_CY_PX) / bins_per_px
    scatter: Numbers = u * noise * math.sqrt(float((window**2).sum()) / 2)
    return scatter


def _read(values: Numbers, scatter: Numbers, contrast: float, noise: float) -> Response:
    half = FREQUENCIES_CY_PX.index(HALF_SAMPLING_CY_PX)
    top = int(values[1 : half + 1].argmax()) + 1
    sfr50 = _crossing(values, 0.5)
    hump = len(values) // 4 if isinstance(sfr50, NotMeasured) else round(sfr50 * (len(values) - 1) / 2)
    return Response(
        values=tuple(values.tolist()),
        sfr50_cy_px=sfr50,
        sfr30_cy_px=_crossing(values, 0.3),
        sfr10_cy_px=_crossing(values, 0.1),
        half_sampling_response=float(values[half]),
        maximum=float(values[top]),
        maximum_at_cy_px=FREQUENCIES_CY_PX[top],
        contrast=contrast,
        noise=noise,
        sfr50_scatter_cy_px=_scatter_of_crossing(values, scatter, 0.5),
        sfr10_scatter_cy_px=_scatter_of_crossing(values, scatter, 0.1),
        maximum_scatter=float(scatter[hump]),
    )


def _scatter_of_crossing(values: Numbers, scatter: Numbers, level: float) -> float:
    """Return how far noise moves a crossing: its own deviation there over the fall about it."""
    above, at, below = (_crossing(values, part * level) for part in (1.4, 1.0, 0.6))
    if isinstance(above, NotMeasured) or isinstance(at, NotMeasured):
        return 0.0
    beyond, fall = (at, 0.4 * level) if isinstance(below, NotMeasured) else (below, 0.8 * level)
    return float(np.interp(at, FREQUENCIES_CY_PX, scatter)) * (beyond - above) / fall


def _crossing(values: Numbers, level: float) -> float | NotMeasured:
    """Return the first frequency at which the response falls to `level`, between two by a straight line."""
    below = np.flatnonzero(values < level)
    if not below.size:
        return NotMeasured(
            reason=f"the response stays above {100 * level:.0f} % "
            f"to {FREQUENCIES_CY_PX[-1]:g} cycles per pixel"
        )
    after = int(below[0])
    step = (values[after - 1] - level) / (values[after - 1] - values[after])
    return float((after - 1 + step) / (len(values) - 1))
