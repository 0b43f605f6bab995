"""Find slanted edges in a frame, and measure resolution on them: in the middle, the corners, between.

A usable edge is straight, turned 2 to 10° from an axis, with even light on both sides: the side of a slanted
square, the border of a patch of a target that lies a little askew, a card on a board. The reduced picture
is searched by the direction in which its light changes, cell by cell; where a cell has one direction, a line
is laid through it and followed as far as it is straight and flat beside. Of each ninth of the frame the best
edge of either axis is taken.

Edges of pages and of raised things are found as well, and read softer than the lens is: whoever asks gives a
frame of a target.

Figures: in generated frames of a slanted square of 60 px and more a side, at angles of 2.5 to 9.5°, with
noise to 0.01 of full scale, all sides are found (held in tests); straight, steep and curved edges are not.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.measure.edge import ISO_2023, Axis, EdgeMeasure, Method, Tone, measure_edge
from pipeline.measure.pixels import Box, NotMeasured, Pixels, Reduced

Numbers = npt.NDArray[np.float64]
Plane = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

LONG_SIDE_PX = 1500
"""Of the reduced picture that is searched."""
CELL_PX = 8
"""Side of the cells of the reduced picture that have one direction each; their neighbours' count too."""
SLANTS_DEG = (1.8, 11.0)
ONE_DIRECTION = 0.8
"""Least coherence of a cell: 1 if all its light changes in one direction, 0 if in all alike."""
LEAST_STEP = 0.04
"""Of the code across an edge, as a share of full scale."""
TRIED = 80
"""Cells of either axis from which an edge is followed: those in which light changes most."""
COMPARED = 3
"""Edges of either axis that are looked for in a ninth of the frame, to take the best of."""
FLAT_SHARE = 0.1
"""How far codes beside the edge may differ from those next to it, as a share of the step."""
REACHES_PX = (60.0, 45.0, 32.0, 24.0)
"""What is to be flat on each side, in full pixels: the first that leaves a long edge is taken."""
KEPT_FLAT_PX = 20.0
"""Of it, what is to be left beside the edge in all rows of an upright region."""
LONGEST_PX, LONG_PX, SHORTEST_PX = 300.0, 120.0, 48.0


class Zone(enum.StrEnum):
    """A ninth of the frame."""

    UPPER_LEFT = "upper left"
    UPPER = "upper middle"
    UPPER_RIGHT = "upper right"
    LEFT = "left"
    CENTRE = "centre"
    RIGHT = "right"
    LOWER_LEFT = "lower left"
    LOWER = "lower middle"
    LOWER_RIGHT = "lower right"


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeRegion:
    """A region with one slanted edge, for `measure_edge`."""

    box: Box
    axis: Axis
    angle_deg: float
    """From the axis that the edge is near to, as in `EdgeMeasure`."""
    zone: Zone
    score: float
    """Length times step of the code; of two edges of a zone that with the larger score is kept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedEdge:
    """An edge of a frame and what it says."""

    region: EdgeRegion
    measure: EdgeMeasure


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedRefusal:
    """An edge of a frame that says nothing, and why."""

    region: EdgeRegion
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Resolution:
    """What the edges of a frame say, zone by zone from the upper left."""

    edges: tuple[PlacedEdge, ...]
    """One at least."""
    refused: tuple[PlacedRefusal, ...]

    @property
    def softest(self) -> PlacedEdge:
        """The edge with the lowest SFR10 of luminance; without one, the response never falls so far."""
        return min(self.edges, key=lambda each: _or_infinity(each.measure.luminance.sfr10_cy_px))

    @property
    def most_sharpened(self) -> PlacedEdge:
        """The edge with the largest maximum of the response."""
        return max(self.edges, key=lambda each: each.measure.luminance.maximum)

    @property
    def worst_misregistration_px(self) -> float | NotMeasured:
        """The largest distance between two channels at any edge."""
        found = [
            each.measure.misregistration.worst_px
            for each in self.edges
            if not isinstance(each.measure.misregistration, NotMeasured)
        ]
        return max(found) if found else NotMeasured(reason="no edge has contrast in all channels")


def _or_infinity(value: float | NotMeasured) -> float:
    return math.inf if isinstance(value, NotMeasured) else value


def measure_edges(pixels: Pixels, tone: Tone, *, method: Method = ISO_2023) -> Resolution | NotMeasured:
    """Find the slanted edges of a frame and return what they say, or why there is nothing to say."""
    regions = find_edges(pixels)
    if isinstance(regions, NotMeasured):
        return regions
    edges: list[PlacedEdge] = []
    refused: list[PlacedRefusal] = []
    for region in regions:
        found = measure_edge(pixels.crop(region.box), tone, method=method)
        if isinstance(found, NotMeasured):
            refused.append(PlacedRefusal(region=region, reason=found.reason))
        else:
            edges.append(PlacedEdge(region=region, measure=found))
    if not edges:
        return NotMeasured(reason=f"no slanted edge can be used; of the best, {refused[0].reason}")
    return Resolution(edges=tuple(edges), refused=tuple(refused))


def find_edges(pixels: Pixels) -> tuple[EdgeRegion, ...] | NotMeasured:
    """Return the best slanted edge of each axis and ninth of a frame, from the upper left."""
    reduced = pixels.reduced(LONG_SIDE_PX)
    if min(reduced.shares.shape[:2]) < 4 * CELL_PX:
        return NotMeasured(reason="the frame is too small to look for edges in")
    best: dict[tuple[Zone, Axis], EdgeRegion] = {}
    search = _Search.of(reduced)
    for axis, each in ((Axis.HORIZONTAL, search), (Axis.VERTICAL, search.transposed())):
        for line in each.lines():
            region = _region(line, axis, reduced.factor, pixels)
            key = (region.zone, axis)
            if key not in best or region.score > best[key].score:
                best[key] = region
    if not best:
        return NotMeasured(
            reason="no straight edge 2 to 10° off the axes, with even light beside it, is seen"
        )
    zones = list(Zone)
    return tuple(best[key] for key in sorted(best, key=lambda key: (zones.index(key[0]), key[1].value)))


# ------------------------------------------------------------------------------------------- regions


@dataclass(frozen=True, slots=True)
class _Line:
    """An edge in the reduced picture: x = at + slope · (y - middle), between two rows."""

    first: int
    last: int
    at: float
    slope: float
    reach: float
    """What is flat on each side, in pixels of the reduced picture."""
    step: float
    """Of the code, as a share of full scale: mean of luminance's and of the smallest of the bands'."""

    def is_near(self, y: float, x: float) -> bool:
        """Tell whether a place belongs to this edge: two cells beside, one beyond the ends."""
        line = self.at + self.slope * (y - (self.first + self.last) / 2)
        return self.first - CELL_PX <= y <= self.last + CELL_PX and abs(x - line) <= 2 * CELL_PX


def _region(line: _Line, axis: Axis, factor: float, pixels: Pixels) -> EdgeRegion:
    half = (line.last - line.first) / 2
    lean = abs(line.slope) * half
    left, right = line.at + lean - line.reach, line.at - lean + line.reach
    x, end_x, y, end_y = (round(each * factor) for each in (left, right, line.first, line.last))
    if axis is Axis.VERTICAL:
        x, end_x, y, end_y = y, end_y, x, end_x
    box = Box(left=x, top=y, width=end_x - x, height=end_y - y)
    return EdgeRegion(
        box=box.within(pixels.width_px, pixels.height_px),
        axis=axis,
        angle_deg=math.degrees(math.atan(line.slope)),
        zone=_zone((x + end_x) / 2 / pixels.width_px, (y + end_y) / 2 / pixels.height_px),
        score=line.step * (line.last - line.first) * factor,
    )


def _zone(x: float, y: float) -> Zone:
    column, row = (min(2, max(0, int(3 * each))) for each in (x, y))
    return list(Zone)[3 * row + column]


# -------------------------------------------------------------------------------------------- search


@dataclass(frozen=True, slots=True)
class _Search:
    """Looks for edges that are nearly vertical."""

    bands: tuple[Plane, ...]
    plane: Plane
    """Their mean."""
    tensor: tuple[Numbers, Numbers, Numbers]
    noise: float
    factor: float

    @staticmethod
    def of(reduced: Reduced) -> _Search:
        """Prepare a picture."""
        bands = tuple(np.ascontiguousarray(band) for band in np.moveaxis(reduced.shares, 2, 0))
        plane = bands[0] if len(bands) == 1 else _mean(bands)
        return _Search(bands, plane, _tensor(plane), _noise(plane), reduced.factor)

    def transposed(self) -> _Search:
        """Turn rows to columns, so that nearly level edges are nearly vertical."""
        xx, xy, yy = self.tensor
        bands = tuple(band.T for band in self.bands)
        return _Search(bands, self.plane.T, (yy.T, xy.T, xx.T), self.noise, self.factor)

    def lines(self) -> Iterator[_Line]:
        """Yield edges; of one edge several parts, if it is long."""
        found: dict[Zone, list[_Line]] = {zone: [] for zone in Zone}
        left = TRIED
        for y, x, slope in self._candidates():
            here = found[_zone(x / self.plane.shape[1], y / self.plane.shape[0])]
            if len(here) >= COMPARED or any(line.is_near(y, x) for line in here):
                continue
            line = self._followed(y, x, slope)
            if line is not None:
                here.append(line)
                yield line
            left -= 1
            if not left:
                return

    def _candidates(self) -> list[tuple[float, float, float]]:
        """Return row, column and slope of cells in which light changes across one slanted direction."""
        xx, xy, yy = self.tensor
        difference = np.hypot(xx - yy, 2 * xy)
        coherence = difference / np.maximum(xx + yy, 1e-12)
        angle = np.degrees(np.arctan2(2 * xy, xx - yy)) / 2  # of the direction of change, from the x axis
        low, high = SLANTS_DEG
        # one row of a sharp step of code s changes by s/2 at two pixels: s²/2; three cells have 24 rows
        least = (LEAST_STEP**2 / 2 + (3 * self.noise) ** 2) * CELL_PX
        fits = (coherence > ONE_DIRECTION) & (np.abs(angle) > low) & (np.abs(angle) < high) & (xx > least)
        rows, columns = np.nonzero(fits)
        order = np.argsort(-xx[rows, columns], kind="stable")
        return [
            ((row + 0.5) * CELL_PX, (column + 0.5) * CELL_PX, -math.tan(math.radians(angle[row, column])))
            for row, column in zip(rows[order].tolist(), columns[order].tolist(), strict=True)
        ]

    def _followed(self, y: float, x: float, slope: float) -> _Line | None:
        """Lay a line through a place and follow it up and down; None if it is no usable edge."""
        at = x
        for reach in (10, 24, 60):
            rows = self._rows(y, reach)
            change = np.abs(np.diff(self._beside(self.plane, rows, at + slope * (rows - y), 7), axis=1))
            fit = _fitted(change, rows - y)
            if fit is None:
                return None
            at, slope = at + fit[0], slope + fit[1]
        if not SLANTS_DEG[0] < math.degrees(math.atan(abs(slope))) < SLANTS_DEG[1]:
            return None
        return self._cut(y, at, slope)

    def _cut(self, y: float, at: float, slope: float) -> _Line | None:
        """Return the part of an edge that is long and has most room beside it."""
        rows = self._rows(y, round(0.8 * LONGEST_PX / self.factor))
        far = math.ceil(REACHES_PX[0] / self.factor) + 2
        beside = self._beside(self.plane, rows, at + slope * (rows - y), far)
        left, right = _plateaus(beside)
        step = right - left
        usual = float(np.nanmedian(step[np.abs(rows - y) < 12]))
        if not abs(usual) >= max(LEAST_STEP, 6 * self.noise):
            return None
        flat = _flat_px(beside, left, right, FLAT_SHARE * abs(usual) + 4 * self.noise)
        is_like = np.abs(step - usual) < 0.3 * abs(usual)
        found = [self._run(rows, flat, is_like, slope, reach) for reach in REACHES_PX]
        usable = [each for each in found if each[0] >= SHORTEST_PX]
        if not usable:
            return None
        _, first, last, reach = next((each for each in usable if each[0] >= LONG_PX), max(usable))
        middle = (first + last) / 2
        at += slope * (middle - y)
        return _Line(
            int(first), int(last), at, slope, reach / self.factor, self._step(first, last, at, slope)
        )

    def _run(
        self, rows: Numbers, flat: Numbers, is_like: Mask, slope: float, reach_px: float
    ) -> tuple[float, float, float, float]:
        """Return the longest stretch of rows with so much beside them: its length in full pixels, and it."""
        good = is_like & (flat >= reach_px / self.factor)
        first, last = _longest(good)
        first, last = first + 1, last - 1  # the last row on each end may hold a corner
        longest = min(LONGEST_PX, (reach_px - KEPT_FLAT_PX) / abs(slope)) / self.factor
        longest = max(longest, min(SHORTEST_PX, (reach_px - KEPT_FLAT_PX / 2) / abs(slope)) / self.factor)
        spare = max(0, math.ceil((last - first - longest) / 2))
        first, last = first + spare, last - spare
        if last <= first:
            return 0.0, 0.0, 0.0, reach_px
        return (last - first) * self.factor, float(rows[first]), float(rows[last - 1]) + 1, reach_px

    def _step(self, first: float, last: float, at: float, slope: float) -> float:
        rows = np.arange(first, last)
        line = at + slope * (rows - (first + last) / 2)
        planes = [self.plane, *self.bands]
        sides = [_plateaus(self._beside(plane, rows, line, 7)) for plane in planes]
        whole, *bands = [abs(float(np.nanmean(right - left))) for left, right in sides]
        return (whole + min(bands)) / 2

    def _rows(self, y: float, reach: int) -> Numbers:
        first, last = max(0, math.floor(y) - reach), min(len(self.plane), math.floor(y) + reach + 1)
        return np.arange(first, last, dtype=np.float64)

    def _beside(self, plane: Plane, rows: Numbers, line: Numbers, reach: int) -> Numbers:
        """Return what lies beside a line, row by row; NaN beyond the picture. Rows are given by their tops.

        Centres of pixels are at halves: column c of the picture is at c + 0.5.
        """
        x = line[:, None] + np.arange(-reach, reach + 1)[None, :] - 0.5
        left = np.floor(x).astype(np.intp)
        share = x - left
        is_in = (left >= 0) & (left < plane.shape[1] - 1)
        left = np.clip(left, 0, plane.shape[1] - 2)
        row = rows.astype(np.intp)[:, None]
        values = plane[row, left] * (1 - share) + plane[row, left + 1] * share
        return np.where(is_in, values, np.nan)


def _mean(planes: tuple[Plane, ...]) -> Plane:
    total = planes[0].copy()
    for plane in planes[1:]:
        total += plane
    total /= np.float32(len(planes))
    return total


def _noise(plane: Plane) -> float:
    """Standard deviation of the noise, from second differences of some rows."""
    rows = plane[:: max(1, len(plane) // 64)]
    second = rows[:, 2:] - 2 * rows[:, 1:-1] + rows[:, :-2]
    return float(1.4826 * np.median(np.abs(second)) / math.sqrt(6))


def _tensor(plane: Plane) -> tuple[Numbers, Numbers, Numbers]:
    """Return how light changes in each cell and its eight neighbours: sums of dx², dx·dy and dy²."""
    dx: Plane = (plane[1:-1, 2:] - plane[1:-1, :-2]) / np.float32(2)
    dy: Plane = (plane[2:, 1:-1] - plane[:-2, 1:-1]) / np.float32(2)
    xx, xy, yy = (_in_cells(product) for product in (dx * dx, dx * dy, dy * dy))
    return xx, xy, yy


def _in_cells(values: Plane) -> Numbers:
    rows, columns = (size // CELL_PX for size in values.shape)
    whole = values[: rows * CELL_PX, : columns * CELL_PX]
    cells = whole.reshape(rows, CELL_PX, columns, CELL_PX).sum(axis=(1, 3), dtype=np.float64)
    wide = np.pad(cells, 1)
    down = wide[:-2] + wide[1:-1] + wide[2:]
    return np.asarray(down[:, :-2] + down[:, 1:-1] + down[:, 2:])


def _fitted(change: Numbers, rows: Numbers) -> tuple[float, float] | None:
    """Return how far off a line lies at row 0 and by what slope, from the change of light beside it."""
    usable = np.isfinite(change).all(axis=1)
    if usable.sum() < 8:
        return None
    weights, below = change[usable] ** 2, rows[usable]
    away = np.arange(change.shape[1]) - (change.shape[1] - 1) / 2
    total = weights.sum(axis=1)
    strong = total > max(0.3 * float(np.median(total)), 1e-9)
    if not strong.any():
        return None
    place = (weights @ away) / np.maximum(total, 1e-12)
    strong &= np.abs(place - np.median(place[strong])) < 2
    if strong.sum() < 8:
        return None
    slope, offset = np.polyfit(below[strong] + 0.5, place[strong], 1)
    return float(offset), float(slope)


def _plateaus(beside: Numbers) -> tuple[Numbers, Numbers]:
    """Return the codes next to the edge on both sides, row by row."""
    middle = beside.shape[1] // 2
    left, right = beside[:, middle - 4 : middle - 1], beside[:, middle + 2 : middle + 5]
    return np.asarray(left.mean(axis=1)), np.asarray(right.mean(axis=1))


def _flat_px(beside: Numbers, left: Numbers, right: Numbers, tolerance: float) -> Numbers:
    """Return how far both sides stay like what is next to the edge, row by row."""
    middle = beside.shape[1] // 2
    with np.errstate(invalid="ignore"):
        on_left = np.abs(beside[:, middle - 2 :: -1] - left[:, None]) < tolerance
        on_right = np.abs(beside[:, middle + 2 :] - right[:, None]) < tolerance
    left_px, right_px = (np.logical_and.accumulate(side, axis=1).sum(axis=1) for side in (on_left, on_right))
    return np.asarray(np.minimum(left_px, right_px) + 1.0)


def _longest(good: Mask) -> tuple[int, int]:
    """Return the first and the end of the longest stretch of what is true."""
    ends = np.flatnonzero(np.diff(np.concatenate([[False], good, [False]]).astype(np.int8)))
    if not ends.size:
        return 0, 0
    starts, stops = ends[::2], ends[1::2]
    longest = int((stops - starts).argmax())
    return int(starts[longest]), int(stops[longest])
