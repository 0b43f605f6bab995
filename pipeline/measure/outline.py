"""The outline of the sheet or object against what surrounds it, where that is visible: four straight edges.

An edge is a long, straight step of tone that the frame's middle lies on the inner side of. Ink makes no
such step: along a stretch of an edge, the lower quartile, the median and the upper quartile of the tone
all change together, and stay so for some way; text changes one of them, a ruled line none for long. Of
several edges side by side (board, leaf) the outermost counts that is at least a quarter as marked as the
most marked.

Works on the picture reduced to about 1,500 px: edges are sought at a third of that, in strips, by adding up
along all slopes to ±12°, and then placed to parts of a pixel, row by row, and fitted robustly. Angles of
clean edges are right within 0.03° (straight edges, noise to 0.02 of full scale; held in tests), those of
deckled edges within three times `Edge.angle_sd_deg`. An edge that is cut off by the frame, hidden, or of the
tone of its ground is not measured; a leaf in a bound book often has only three.

No standard says how to find a page; the error of a fitted angle is that of a least squares line.
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from pipeline.measure.pixels import Box, NotMeasured, Pixels, Shares

Plane = npt.NDArray[np.float32]
Numbers = npt.NDArray[np.float64]

LONG_SIDE_PX = 1500
COARSE_SIDE_PX = 500
SLOPE_STEP = 0.0101
"""Between the slopes that are tried."""
DOUBTFUL_SD_DEG = 0.12
"""Standard deviation of an edge's angle from which on neighbouring slopes are tried as well."""
STRIPS = 40
"""Strips across which an edge is added up."""
STEEPEST = math.tan(math.radians(12))
SLOPES: tuple[float, ...] = tuple(float(each) for each in np.linspace(-STEEPEST, STEEPEST, 43))
STEP = 0.04
"""Change of tone, as a share of full scale, that counts in full; smaller ones in proportion."""
SHORT_PX, LONG_PX = 3, 12
"""How far to either side tones are compared, in the coarse picture."""
PEELED_PX = 5
"""How far a step smears, in the coarse picture: so far apart are lines at least."""
LEAST_SHARE, LEAST_COVERAGE = 0.15, 0.6
"""Of the frame's length, and of the sheet's own length, that an edge must be seen along."""
AS_MARKED = 0.25
"""As the most marked edge of its side: what lies outside of it and is fainter is ground."""
NEAR_SHARE = 0.005
"""Of the long side: points of an edge may lie so far from its line. Leaves are not cut by rulers."""
BLOCKS = 10
"""Stretches of an edge that are taken to stray independently of one another."""


class Side(enum.StrEnum):
    """A side of the frame."""

    LEFT = "left"
    TOP = "top"
    RIGHT = "right"
    BOTTOM = "bottom"


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A place in pixels of the full picture; it may lie outside of the frame."""

    x_px: float
    y_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """One edge of a sheet: a straight line, as far as it was looked for."""

    side: Side
    first: Point
    """Its upper or left end."""
    last: Point
    """Its lower or right end."""
    angle_deg: float
    """By which it is turned from the frame's own axis, clockwise as seen."""
    angle_sd_deg: float
    """Standard deviation of that, from how stretches of the edge stray from the line."""
    coverage: float
    """Share of its length, 0 to 1, where the edge was seen near the line."""
    scatter_px: float
    """Standard deviation (1.4826 MAD) of the edge's points about the line, in pixels of the full picture."""
    bow_px: float
    """How far the middle of the edge lies from the chord of its ends, to the outside if above 0."""
    step: float
    """Tone inside minus tone outside, in shares of full scale."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """The edges of a sheet or object that could be seen, and why others could not."""

    left: Edge | NotMeasured
    top: Edge | NotMeasured
    right: Edge | NotMeasured
    bottom: Edge | NotMeasured
    width_px: int
    """Of the frame."""
    height_px: int

    @property
    def edges(self) -> tuple[Edge, ...]:
        """Those that were found: left, top, right, bottom."""
        every = (self.left, self.top, self.right, self.bottom)
        return tuple(each for each in every if isinstance(each, Edge))

    @property
    def confidence(self) -> float:
        """The smallest coverage of the edges that were found, 0 to 1."""
        return min(edge.coverage for edge in self.edges)

    @property
    def corners(self) -> tuple[Point | NotMeasured, ...]:
        """Where neighbouring edges meet: upper left, upper right, lower right, lower left."""
        return (
            _meeting(self.left, self.top),
            _meeting(self.right, self.top),
            _meeting(self.right, self.bottom),
            _meeting(self.left, self.bottom),
        )

    def columns(self, y_px: Numbers) -> tuple[Numbers, Numbers]:
        """Return at which columns the sheet begins and ends at these rows: end ≤ begin where there is none.

        Where an edge was not found, the frame's own stands for it. Rows above or below have none.
        """
        begins = np.zeros_like(y_px) if isinstance(self.left, NotMeasured) else _x_at(self.left, y_px)
        ends = np.full_like(y_px, self.width_px)
        if isinstance(self.right, Edge):
            ends = _x_at(self.right, y_px)
        for edge, is_top in ((self.top, True), (self.bottom, False)):
            if isinstance(edge, Edge):
                begins, ends = _clipped_rows(edge, y_px, begins, ends, is_top=is_top)
        return np.clip(begins, 0, self.width_px), np.clip(ends, 0, self.width_px)

    def inner_box(self, *, margin_share: float = 0.0) -> Box:
        """Return an upright rectangle inside of all edges, and by a share of the long side away from them.

        Where an edge was not found, the frame's own stands for it.
        """
        margin = margin_share * max(self.width_px, self.height_px)
        spans = {
            Side.LEFT: 0.0,
            Side.TOP: 0.0,
            Side.RIGHT: float(self.width_px),
            Side.BOTTOM: float(self.height_px),
        }
        for edge in self.edges:
            ends = [
                each.x_px if edge.side in (Side.LEFT, Side.RIGHT) else each.y_px
                for each in (edge.first, edge.last)
            ]
            spans[edge.side] = max(ends) if edge.side in (Side.LEFT, Side.TOP) else min(ends)
        left, top = math.ceil(spans[Side.LEFT] + margin), math.ceil(spans[Side.TOP] + margin)
        right, bottom = math.floor(spans[Side.RIGHT] - margin), math.floor(spans[Side.BOTTOM] - margin)
        box = Box(left=left, top=top, width=max(0, right - left), height=max(0, bottom - top))
        return box.within(self.width_px, self.height_px)


def _x_at(edge: Edge, y_px: Numbers) -> Numbers:
    slope = (edge.last.x_px - edge.first.x_px) / (edge.last.y_px - edge.first.y_px)
    return np.asarray(edge.first.x_px + slope * (y_px - edge.first.y_px))


def _clipped_rows(
    edge: Edge, y_px: Numbers, begins: Numbers, ends: Numbers, *, is_top: bool
) -> tuple[Numbers, Numbers]:
    """Cut spans of columns by a top or bottom edge, which a row may meet at a slant."""
    slope = (edge.last.y_px - edge.first.y_px) / (edge.last.x_px - edge.first.x_px)
    if abs(slope) < 1e-6:
        outside = y_px < edge.first.y_px if is_top else y_px > edge.first.y_px
        return begins, np.where(outside, begins, ends)
    crossing = edge.first.x_px + (y_px - edge.first.y_px) / slope
    # below a top edge that falls to the right lies what is left of the crossing
    if (slope > 0) == is_top:
        return begins, np.minimum(ends, crossing)
    return np.maximum(begins, crossing), ends


def _meeting(one: Edge | NotMeasured, two: Edge | NotMeasured) -> Point | NotMeasured:
    if isinstance(one, NotMeasured):
        return one
    if isinstance(two, NotMeasured):
        return two
    (x1, y1), (dx1, dy1) = _start_and_way(one)
    (x2, y2), (dx2, dy2) = _start_and_way(two)
    share = ((x2 - x1) * dy2 - (y2 - y1) * dx2) / (dx1 * dy2 - dy1 * dx2)
    return Point(x_px=x1 + share * dx1, y_px=y1 + share * dy1)


def _start_and_way(edge: Edge) -> tuple[tuple[float, float], tuple[float, float]]:
    way = edge.last.x_px - edge.first.x_px, edge.last.y_px - edge.first.y_px
    return (edge.first.x_px, edge.first.y_px), way


# ------------------------------------------------------------------------------------------- finding


def find_outline(pixels: Pixels) -> Outline | NotMeasured:
    """Return the edges of the sheet or object that the frame's middle lies on."""
    reduced = pixels.reduced(LONG_SIDE_PX)
    if min(reduced.shares.shape[:2]) < 3 * STRIPS:
        return NotMeasured(reason=f"the frame is smaller than {3 * STRIPS} px")
    fine = grey_of(reduced.shares)
    found = _all_sides(fine)
    if not found:
        return NotMeasured(
            reason="no edge of the sheet or object stands out from what surrounds it; "
            "it may fill the frame or lie on ground of its own tone"
        )
    edges = _placed(fine, found, reduced.factor)
    if not any(isinstance(edge, Edge) for edge in edges.values()):
        return NotMeasured(reason="no edge of the sheet or object is straight enough for a line")
    return Outline(
        left=edges[Side.LEFT],
        top=edges[Side.TOP],
        right=edges[Side.RIGHT],
        bottom=edges[Side.BOTTOM],
        width_px=pixels.width_px,
        height_px=pixels.height_px,
    )


def grey_of(shares: Shares) -> Plane:
    """Return the mean of the bands."""
    bands = shares.shape[2]
    grey = shares[..., 0].copy()
    for band in range(1, bands):
        grey += shares[..., band]
    grey /= np.float32(bands)
    return grey


def block_means(plane: Plane, factor: int) -> Plane:
    """Return means of squares of `factor` pixels; what does not fill a square is left out."""
    rows, columns = plane.shape[0] // factor, plane.shape[1] // factor
    whole = plane[: rows * factor, : columns * factor]
    tall = whole[::factor].copy()
    for down in range(1, factor):
        tall += whole[down::factor]
    means = tall[:, ::factor].copy()
    for across in range(1, factor):
        means += tall[:, across::factor]
    means /= np.float32(factor * factor)
    return means


@dataclass(frozen=True, slots=True)
class _Track:
    """A line as seen with its side turned to the left: x = at + slope · (y - middle of the height)."""

    at: float
    slope: float
    step: float
    """Signed: above 0 if the inside is brighter."""
    mark: float
    """How marked it is: coverage times step."""

    def x(self, y: float, height: int) -> float:
        return self.at + self.slope * (y - height / 2)


def _turned(plane: Plane, side: Side) -> Plane:
    """The plane with `side` turned to the left, without copying."""
    upright = plane if side in (Side.LEFT, Side.RIGHT) else plane.T
    return upright if side in (Side.LEFT, Side.TOP) else upright[:, ::-1]


def _all_sides(fine: Plane) -> dict[Side, _Track]:
    """The lines by side, in pixels of the fine picture: found along the frame, then along the sheet."""
    factor = max(1, round(max(fine.shape) / COARSE_SIDE_PX))
    coarse = block_means(fine, factor)
    steps = {side: _step_map(_turned(coarse, side)) for side in (Side.LEFT, Side.TOP)}
    found: dict[Side, _Track] = {}
    for least in (LEAST_SHARE, LEAST_COVERAGE):
        found = _seek(coarse, steps, found, least)
    return {side: _scaled(track, factor) for side, track in found.items()}


def _seek(
    coarse: Plane, steps: dict[Side, Plane], before: dict[Side, _Track], least: float
) -> dict[Side, _Track]:
    found: dict[Side, _Track] = {}
    for side in Side:
        plane = _turned(coarse, side)
        first, last = _extent(before, side, *plane.shape)
        if side in (Side.LEFT, Side.TOP):
            map_ = steps[side]
        else:  # mirrored, a step to the right is one to the left
            map_ = -steps[Side.LEFT if side is Side.RIGHT else Side.TOP][:, ::-1]
        track = _outermost(map_, plane.shape, first, last, least)
        if track:
            found[side] = track
    return found


def _extent(found: dict[Side, _Track], side: Side, height: int, width: int) -> tuple[float, float]:
    """Where an edge of this side begins and ends along its length, as far as its neighbours are known."""
    low, high = (Side.TOP, Side.BOTTOM) if side in (Side.LEFT, Side.RIGHT) else (Side.LEFT, Side.RIGHT)
    first = found[low].at if low in found else 0.0
    last = height - found[high].at if high in found else float(height)
    return first, last


def _scaled(track: _Track, factor: int) -> _Track:
    return _Track(track.at * factor, track.slope, track.step, track.mark)


def _step_map(plane: Plane) -> Plane:
    """Steps of tone towards the right at each column's left border, by strips of rows; 0 where ink is."""
    height = plane.shape[0] // STRIPS
    rows = np.ascontiguousarray(plane[: STRIPS * height]).reshape(STRIPS, height, -1)
    ordered = np.sort(rows, axis=1)
    quartiles = ordered[:, [height // 4, height // 2, (3 * height) // 4]]
    sums = np.pad(np.cumsum(quartiles, axis=2, dtype=np.float32), ((0, 0), (0, 0), (1, 0)))
    every = np.concatenate([_differences(sums, reach) for reach in (SHORT_PX, LONG_PX)], axis=1)
    agreed: Plane = np.maximum(every.min(axis=1), 0) + np.minimum(every.max(axis=1), 0)
    return agreed


def _differences(sums: Plane, reach: int) -> Plane:
    """Mean of `reach` columns to the right minus mean of as many to the left, a column apart."""
    size = sums.shape[2] - 1
    at = np.arange(size)
    after, end = np.minimum(at + 1, size - 1), np.minimum(at + 1 + reach, size)
    start, before = np.maximum(at - 1 - reach, 0), np.maximum(at - 1, 1)
    right = (sums[:, :, end] - sums[:, :, after]) / (end - after).astype(np.float32)
    left = (sums[:, :, before] - sums[:, :, start]) / (before - start).astype(np.float32)
    difference: Plane = right - left
    return difference


def _outermost(
    steps: Plane, shape: tuple[int, ...], first: float, last: float, least: float
) -> _Track | None:
    """The outermost marked line in the left half, looked for between two rows."""
    height, width = shape
    centres: Numbers = (np.arange(STRIPS, dtype=np.float64) + 0.5) * (height // STRIPS)
    inside = (centres >= first) & (centres <= last)
    if inside.sum() < 4:
        return None
    used, offsets = steps[inside], centres[inside] - height / 2
    candidates = [
        track for sign in (1, -1) for track in _tracks(sign * used, offsets, width // 2, least, sign)
    ]
    if not candidates:
        return None
    most = max(track.mark for track in candidates)
    return min((track for track in candidates if track.mark >= AS_MARKED * most), key=lambda track: track.at)


def _tracks(steps: Plane, offsets: Numbers, reach: int, least: float, sign: int) -> list[_Track]:
    """Lines along which the tone steps up, by a slant stack; each step counts for one of them alone."""
    pad = math.ceil(STEEPEST * float(np.abs(offsets).max())) + 1
    padded = np.pad(np.maximum(steps, 0), ((0, 0), (pad, pad)))
    shifts = np.rint(np.outer(SLOPES, offsets)).astype(np.intp) + pad
    stack = np.zeros((len(SLOPES), reach), np.float32)
    # roots, so that neither the length of a line nor its contrast decides alone
    windows = np.lib.stride_tricks.sliding_window_view(np.sqrt(padded), reach, axis=1)
    for strip in range(len(padded)):
        stack += windows[strip, shifts[:, strip]]
    stack /= len(offsets)
    found = [_peeled(padded, shifts, peak, least, sign) for peak in _peaks(stack, least)]
    return [track for track in found if track]


def _peaks(stack: Plane, least: float) -> list[tuple[int, int]]:
    """The most marked slope and column of each neighbourhood, the most marked first."""
    best = stack.max(axis=0)
    around = np.pad(best, PEELED_PX)
    highest = np.lib.stride_tricks.sliding_window_view(around, 2 * PEELED_PX + 1).max(axis=1)
    columns = np.flatnonzero((best == highest) & (best >= least * math.sqrt(STEP) / 2))
    columns = columns[np.argsort(-best[columns], kind="stable")]
    return [(int(stack[:, column].argmax()), int(column)) for column in columns]


def _peeled(
    padded: Plane, shifts: npt.NDArray[np.intp], peak: tuple[int, int], least: float, sign: int
) -> _Track | None:
    """The line of a peak, if more marked ones have left enough steps for it; takes its steps away."""
    slope, column = peak
    along = padded[np.arange(len(padded)), shifts[slope] + column]
    cover = float(np.minimum(along, STEP).sum()) / (STEP * len(along))
    if cover < least:
        return None
    step = float(np.median(along[along > STEP / 4]))
    near = np.arange(-PEELED_PX, PEELED_PX + 1) + (shifts[slope] + column)[:, None]
    padded[np.arange(len(padded))[:, None], np.clip(near, 0, padded.shape[1] - 1)] = 0
    return _Track(float(column), SLOPES[slope], sign * step, cover * step)


# ------------------------------------------------------------------------------------------- placing


def _placed(fine: Plane, found: dict[Side, _Track], factor: float) -> dict[Side, Edge | NotMeasured]:
    edges: dict[Side, Edge | NotMeasured] = {}
    for side in Side:
        if side in found:
            edges[side] = _edge(fine, found, side, factor)
        else:
            edges[side] = NotMeasured(reason=f"no edge is seen at the {side}")
    return edges


def _edge(fine: Plane, found: dict[Side, _Track], side: Side, factor: float) -> Edge | NotMeasured:
    plane, track = _turned(fine, side), found[side]
    first, last = _extent(found, side, *plane.shape)
    rows = np.arange(max(0, math.ceil(first)), min(plane.shape[0], math.floor(last)))
    edge = _edge_along(plane, track, rows, side, factor)
    if isinstance(edge, Edge) and edge.angle_sd_deg <= DOUBTFUL_SD_DEG:
        return edge
    # several edges side by side, or a slope between those that were tried: the steadiest of three fits
    others = (
        _edge_along(plane, replace(track, slope=track.slope + turn), rows, side, factor)
        for turn in (-SLOPE_STEP, SLOPE_STEP)
    )
    edges = [each for each in (edge, *others) if isinstance(each, Edge)]
    return max(edges, key=lambda each: each.coverage - each.angle_sd_deg) if edges else edge


def _edge_along(
    plane: Plane, track: _Track, rows: npt.NDArray[np.intp], side: Side, factor: float
) -> Edge | NotMeasured:
    """The edge near a line: its points are sought about the line, then about the line through them."""
    height = plane.shape[0]
    near = NEAR_SHARE * max(plane.shape)
    y = rows + 0.5 - height / 2
    reach = 2 * near
    for _ in range(2):
        at, is_seen = _edge_points(plane, track, rows, round(reach))
        if is_seen.sum() < 4 * BLOCKS:
            return NotMeasured(reason=f"too little of an edge is seen at the {side}")
        fit = robust_line(y[is_seen], at[is_seen], near)
        track, reach = replace(track, at=fit.offset, slope=fit.slope), 1.5 * near
    is_near = is_seen & (np.abs(at - fit.at(y)) <= near)
    coverage = float(is_near.mean())
    if coverage < LEAST_COVERAGE:
        return NotMeasured(reason=f"the edge at the {side} is not straight, or hidden for much of its length")
    return _described(fit, y[is_near], at[is_near], rows, coverage, track, side, plane.shape, factor)


def _edge_points(
    plane: Plane, track: _Track, rows: npt.NDArray[np.intp], reach: int
) -> tuple[Numbers, npt.NDArray[np.bool_]]:
    """Where the tone changes most in each row near the line, in parts of a pixel, and whether it does."""
    height, width = plane.shape
    middle = np.rint(track.at + track.slope * (rows + 0.5 - height / 2)).astype(np.intp)
    columns = middle[:, None] + np.arange(-reach - 2, reach + 3)
    tones = plane[rows[:, None], np.clip(columns, 0, width - 1)]
    change = np.diff(tones.astype(np.float64), axis=1) * np.sign(track.step)
    # over three borders: where the tone changes most
    rise = change[:, :-2] + change[:, 1:-1] + change[:, 2:]
    peak = rise[:, 1:-1].argmax(axis=1) + 2
    row = np.arange(len(rows))
    near = peak[:, None] + np.arange(-2, 3)
    weights = change[row[:, None], near]
    top = weights.sum(axis=1)
    # a centroid of changes is exact for whatever blur lies within it; a peak's parabola leans to the grid
    part = (weights * np.arange(-2, 3)).sum(axis=1) / np.maximum(top, 0.2 * abs(track.step))
    at = columns[row, peak + 1] + np.clip(part, -1.5, 1.5)
    inside = (at > 0.5) & (at < width - 0.5)
    return at, inside & (top > 0.35 * abs(track.step))


@dataclass(frozen=True, slots=True)
class Fit:
    """A line: value = offset + slope · place."""

    offset: float
    slope: float

    def at(self, place: Numbers) -> Numbers:
        """Values at these places."""
        return self.offset + self.slope * place


def robust_line(place: Numbers, value: Numbers, near: float) -> Fit:
    """Fit a line by Tukey's biweight, which gives no weight to what lies beyond 4.7 standard deviations.

    It starts from the line through the medians of the first and last third; `near` is the widest that the
    standard deviation is taken to be.
    """
    thirds = np.array_split(np.argsort(place, kind="stable"), 3)
    (x1, y1), (x2, y2) = ((np.median(place[part]), np.median(value[part])) for part in (thirds[0], thirds[2]))
    slope = float((y2 - y1) / (x2 - x1)) if x2 > x1 else 0.0
    fit = Fit(float(np.median(value - slope * place)), slope)
    for _ in range(8):
        strays = value - fit.at(place)
        sd = min(near, max(1.4826 * float(np.median(np.abs(strays))), 0.02))
        weights = np.maximum(0, 1 - (strays / (4.685 * sd)) ** 2) ** 2
        fit = weighted_line(place, value, weights) or fit
    return fit


def weighted_line(place: Numbers, value: Numbers, weights: Numbers) -> Fit | None:
    """Fit a line by weighted least squares; nothing if the weights leave no two places."""
    total = float(weights.sum())
    if total <= 0:
        return None
    x, y = float(weights @ place) / total, float(weights @ value) / total
    spread = float(weights @ (place - x) ** 2)
    if spread <= 0:
        return None
    slope = float(weights @ ((place - x) * (value - y))) / spread
    return Fit(y - slope * x, slope)


def _described(
    fit: Fit,
    y: Numbers,
    at: Numbers,
    rows: npt.NDArray[np.intp],
    coverage: float,
    track: _Track,
    side: Side,
    shape: tuple[int, ...],
    factor: float,
) -> Edge:
    height, width = shape
    strays = at - fit.at(y)
    ends = [(fit.offset + fit.slope * (row - height / 2), float(row)) for row in (rows[0], rows[-1] + 1)]
    turned = math.degrees(math.atan(fit.slope))
    return Edge(
        side=side,
        first=_back(ends[0], side, width, factor),
        last=_back(ends[1], side, width, factor),
        angle_deg=turned if side in (Side.TOP, Side.RIGHT) else -turned,
        angle_sd_deg=_angle_sd_deg(y, strays),
        coverage=coverage,
        scatter_px=1.4826 * float(np.median(np.abs(strays))) * factor,
        bow_px=_bow(y, strays) * factor,
        step=track.step,
    )


def _back(end: tuple[float, float], side: Side, width: int, factor: float) -> Point:
    """A place of the picture with `side` turned to the left, in the full picture."""
    across, along = end
    if side in (Side.RIGHT, Side.BOTTOM):
        across = width - across
    x, y = (across, along) if side in (Side.LEFT, Side.RIGHT) else (along, across)
    return Point(x_px=float(x * factor), y_px=float(y * factor))


def _angle_sd_deg(y: Numbers, strays: Numbers) -> float:
    """From means of stretches: neighbouring points of an edge stray together."""
    means = np.array([part.mean() for part in np.array_split(strays, BLOCKS)])
    sd = float(means.std(ddof=2)) if len(means) > 2 else 0.0
    return math.degrees(math.atan(sd * math.sqrt(12 / BLOCKS) / float(y.max() - y.min())))


def _bow(y: Numbers, strays: Numbers) -> float:
    """Height of the fitted parabola over the chord; the outside of an edge turned left is at smaller x."""
    half = float(y.max() - y.min()) / 2
    return float(np.polyfit((y - y.mean()) / half, strays, 2)[0])
