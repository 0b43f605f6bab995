"""How many pixels an inch of the object has: from a target's patches or a ruler's ticks of known distance.

What a file's header says of its resolution proves nothing; this does, in the plane in which the target or
the ruler lies. A page h mm above it, at distance d from the camera, has h / (d - h) more.

What to expect (held in tests): patches, at any turn and a tilt to 15°, within 0.03 %; ticks, to 8° off the
axis, within 0.05 % from 40 ticks on, at a noise of 0.01 of full scale. That is of the generated distances: a
printed target's own pitch must be measured by its owner.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.measure.edge import Axis
from pipeline.measure.lattice import Homography, homography
from pipeline.measure.pixels import Box, NotMeasured, Pixels, shares_of
from pipeline.measure.references import COLUMNS, ROWS

Numbers = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]

MM_PER_INCH = 25.4
LEAST_MARKS = 8
"""Of which half are needed to find out that the others fit."""
LINES = 9
"""Lines across a patch that its borders are read from."""
LEAST_STEP = 0.02
"""Of the code at a patch's border, as a share of full scale, to be one."""
INNER = 0.6
"""Of the pitch: what lies so far within has no border."""
PEAK_PX = 5
FAR = 3.5
"""Deviations beyond which a mark is left out."""

LEAST_PERIOD_PX = 5.0
OFF_HEADER = 0.15
"""How far the true resolution may be from the header's, for ticks to be found."""
STRIP_PX = 6
"""Lines that are looked at together."""
STRIPS_APART = 1.5
"""Distance of strips in distances of ticks: ticks are longer."""
WINDOW_TICKS = 16
"""Length of the windows in which even ticks are looked for."""
LEAST_PERIODIC = 0.04
"""Of code, over all windows of a strip."""
TICK_HEIGHT = 0.75
"""Lines above and below the middle that are measured on, in distances of ticks."""
BLOCK_TICKS = 6
"""Length of the overlapping blocks in which the phase of ticks is read."""
LEAST_BLOCKS = 5
UNEVEN = 0.03
"""Standard deviation of the ticks from even steps, as a share of their distance, from which they are none."""
LEAST_TICKS = 18.0
"""What repeats less often is no ruler."""
TURN_TOLERANCE = 0.002


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """The sampling rate in the plane of a grid of marks, in its middle, in pixels per inch."""

    ppi: float
    """Mean (geometric) of both directions."""
    horizontal_ppi: float
    """Along the rows of the frame."""
    vertical_ppi: float
    scatter_ppi: float
    """Standard deviation of `ppi` that the marks' distances from the fitted grid make."""
    smallest_ppi: float
    largest_ppi: float
    """Over the grid: they differ if it is seen aslant."""
    marks: int
    residual_px: float
    """Root mean square distance of the marks from the fitted grid."""

    @property
    def anisotropy(self) -> float:
        """Horizontal over vertical, less 1."""
        return self.horizontal_ppi / self.vertical_ppi - 1

    def error(self, header_ppi: float) -> float:
        """Return measured over claimed, less 1."""
        return self.ppi / header_ppi - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class RulerScale:
    """The sampling rate along a ruler, in its middle, in pixels per inch."""

    axis: Axis
    ppi: float
    scatter_ppi: float
    """Standard deviation of `ppi` that the ticks' distances from even steps make."""
    change_ppi: float
    """From the first tick to the last: a ruler that is seen aslant, or lies on a curved page."""
    ticks: float
    """Number of distances between ticks that were seen."""
    turn_deg: float
    """Of the ruler from the axis, clockwise as seen."""
    box: Box

    def error(self, header_ppi: float) -> float:
        """Return measured over claimed, less 1."""
        return self.ppi / header_ppi - 1


# ---------------------------------------------------------------------------------------------- marks


def scale_of_marks(
    places: npt.ArrayLike, centres_px: npt.ArrayLike, pitch_mm: tuple[float, float]
) -> Scale | NotMeasured:
    """Return the scale from marks of a grid: their (column, row), where they are, and the grid's pitch.

    `pitch_mm` is from column to column and from row to row. The grid may be turned and seen aslant: a
    homography is fitted, and its derivative in the middle taken. Marks far off are left out.
    """
    grid, seen = np.asarray(places, np.float64), np.asarray(centres_px, np.float64)
    is_used = np.ones(len(grid), np.bool_)
    while True:
        if is_used.sum() < LEAST_MARKS:
            return NotMeasured(
                reason=f"{int(is_used.sum())} marks fit a grid; expected {LEAST_MARKS} at the least"
            )
        plane = homography(grid[is_used], seen[is_used])
        if plane is None:
            return NotMeasured(reason="the marks do not lie in a plane grid of rows and columns")
        off = np.linalg.norm(plane(grid) - seen, axis=1)
        limit = FAR * 1.4826 * float(np.median(off[is_used])) + 0.01
        left = is_used & (off <= limit)
        if (left == is_used).all():
            return _scale(plane, grid[is_used], off[is_used], pitch_mm)
        is_used = left


def _scale(plane: Homography, grid: Numbers, off: Numbers, pitch_mm: tuple[float, float]) -> Scale:
    px_per_mm = _px_per_mm(plane, grid.mean(axis=0), pitch_mm)
    mm_per_px = np.linalg.inv(px_per_mm)
    horizontal, vertical = (MM_PER_INCH / float(np.linalg.norm(mm_per_px[:, each])) for each in (0, 1))
    corners = [
        (x, y) for x in (grid[:, 0].min(), grid[:, 0].max()) for y in (grid[:, 1].min(), grid[:, 1].max())
    ]
    ends = [_ppi(_px_per_mm(plane, np.array(corner), pitch_mm)) for corner in corners]
    ppi, square = _ppi(px_per_mm), float((off**2).sum())
    # a slope from marks at u with scatter s in px: s / √Σ(u - mean)²; ppi is the mean of both directions
    scatter = math.sqrt(square / max(2 * len(grid) - 8, 1))
    steps = np.linalg.norm(px_per_mm * np.array(pitch_mm), axis=0)
    spans = np.sqrt(((grid - grid.mean(axis=0)) ** 2).sum(axis=0))
    return Scale(
        ppi=ppi,
        horizontal_ppi=horizontal,
        vertical_ppi=vertical,
        scatter_ppi=ppi / 2 * float(np.hypot(*(scatter / (spans * steps)))),
        smallest_ppi=min(ends),
        largest_ppi=max(ends),
        marks=len(grid),
        residual_px=math.sqrt(square / len(grid)),
    )


def _px_per_mm(plane: Homography, place: Numbers, pitch_mm: tuple[float, float]) -> Numbers:
    """Return the derivative of the picture's x and y (rows) by millimetres of the grid (columns)."""
    matrix = plane.matrix
    w = float(matrix[2, :2] @ place + matrix[2, 2])
    x, y = plane(place)
    derivative = (matrix[:2, :2] - np.outer([x, y], matrix[2, :2])) / w
    return np.asarray(derivative / np.array(pitch_mm))


def _ppi(px_per_mm: Numbers) -> float:
    return MM_PER_INCH * math.sqrt(abs(float(np.linalg.det(px_per_mm))))


# -------------------------------------------------------------------------------------------- patches


def scale_of_target(
    pixels: Pixels,
    plane: Homography,
    pitch_mm: tuple[float, float],
    *,
    columns: int = COLUMNS,
    rows: int = ROWS,
) -> Scale | NotMeasured:
    """Return the scale from the patches of a target that was found; `plane` takes (column, row) to pixels.

    Each patch's centre is read anew in full resolution, midway between its borders. Patches without
    borders (black on black) are left out.
    """
    places, centres = [], []
    for row in range(rows):
        for column in range(columns):
            centre = _centre(pixels, plane, column, row)
            if centre is not None:
                places.append((column, row))
                centres.append(centre)
    if len(places) < LEAST_MARKS:
        return NotMeasured(
            reason=f"{len(places)} patches have borders all around; expected {LEAST_MARKS} at the least"
        )
    return scale_of_marks(places, centres, pitch_mm)


def _centre(pixels: Pixels, plane: Homography, column: int, row: int) -> tuple[float, float] | None:
    """Return the centre of a patch in full pixels; None if a border is not seen."""
    shift = []
    for direction in (np.array([1.0, 0.0]), np.array([0.0, 1.0])):
        profile, step = _profile(pixels, plane, np.array([column, row], np.float64), direction)
        middle = None if profile is None else _midway(profile)
        if middle is None:
            return None
        shift.append(middle * step)
    x, y = plane((column + shift[0], row + shift[1])).tolist()
    return x, y


def _profile(
    pixels: Pixels, plane: Homography, place: Numbers, direction: Numbers
) -> tuple[Numbers | None, float]:
    """Return codes along a direction through a patch, to half the pitch from its centre: (samples, bands).

    With it the distance of samples, about a pixel, as a share of the pitch. None beyond the picture.
    """
    step = 1 / max(8.0, plane.step((float(place[0]), float(place[1]))))
    half = math.floor(0.5 / step)
    along = np.arange(-half, half + 1) * step
    beside = np.linspace(-0.2, 0.2, LINES)
    points = (
        plane(place + along[:, None, None] * direction + beside[None, :, None] * direction[::-1]) - 0.5
    )  # centres of pixels are at halves
    low, high = (
        np.floor(points.min(axis=(0, 1))).astype(int),
        np.ceil(points.max(axis=(0, 1))).astype(int) + 1,
    )
    if (low < 0).any() or high[0] >= pixels.width_px or high[1] >= pixels.height_px:
        return None, step
    box = Box(
        left=int(low[0]), top=int(low[1]), width=int(high[0] - low[0]) + 1, height=int(high[1] - low[1]) + 1
    )
    codes = _between(shares_of(pixels.crop(box)), points - low)
    return codes.mean(axis=1), step


def _between(shares: npt.NDArray[np.float32], points: Numbers) -> Numbers:
    """Return shares at places between pixels, bilinearly: (…, bands)."""
    whole = np.floor(points).astype(np.intp)
    right, down = np.moveaxis(points - whole, -1, 0)[..., None]
    x, y = np.moveaxis(whole, -1, 0)
    upper = shares[y, x] * (1 - right) + shares[y, x + 1] * right
    lower = shares[y + 1, x] * (1 - right) + shares[y + 1, x + 1] * right
    return np.asarray(upper * (1 - down) + lower * down, np.float64)


def _midway(profile: Numbers) -> float | None:
    """Return how far midway between the two borders lies from the middle, in samples; None without them."""
    change = np.sqrt(((profile[2:] - profile[:-2]) ** 2).sum(axis=1))
    inner = math.floor(len(change) * INNER / 2)
    least = max(
        LEAST_STEP, 5 * float(np.median(change[len(change) // 2 - inner : len(change) // 2 + inner + 1]))
    )
    outer = len(change) // 2 - inner
    first, last = _peak(change[:outer], least), _peak(change[::-1][:outer], least)
    if first is None or last is None:
        return None
    return (first - last) / 2


def _peak(change: Numbers, least: float) -> float | None:
    """Return the centroid of the largest change; None if it is no border."""
    at = int(change.argmax())
    if change[at] < least:
        return None
    near = slice(max(0, at - PEAK_PX), at + PEAK_PX + 1)
    weights = np.maximum(change[near] - 0.15 * change[at], 0) ** 2
    return float(np.average(np.arange(len(change))[near], weights=weights))


# --------------------------------------------------------------------------------------------- rulers


def scales_of_rulers(
    pixels: Pixels, expected_ppi: float, *, tick_mm: float = 1.0
) -> tuple[RulerScale, ...] | NotMeasured:
    """Return the scales along the rulers of a frame, at most one of either axis.

    `expected_ppi` is what the header says; ticks are looked for within 15 % of it. Strips of some rows are
    searched for their frequency.
    """
    period = expected_ppi / MM_PER_INCH * tick_mm
    if period < LEAST_PERIOD_PX:
        return NotMeasured(reason=f"ticks would be {period:.1f} px apart; expected {LEAST_PERIOD_PX:.0f}")
    found = [each for axis in Axis if (each := _ruler(pixels, axis, period, tick_mm)) is not None]
    return tuple(found) or NotMeasured(reason=f"no ruler with a tick every {tick_mm:g} mm is seen")


def _ruler(pixels: Pixels, axis: Axis, period: float, tick_mm: float) -> RulerScale | None:
    strip = _strip_with_ticks(pixels, axis, period)
    return None if strip is None else _along(pixels, axis, strip, period, tick_mm)


def _crop(pixels: Pixels, axis: Axis, first: int, last: int) -> Numbers:
    """Return the mean of the bands of some lines along an axis, one row a line, as shares."""
    lines = Box(left=0, top=first, width=pixels.width_px, height=last - first)
    if axis is Axis.VERTICAL:
        lines = Box(left=first, top=0, width=last - first, height=pixels.height_px)
    codes = pixels.crop(lines)
    plane: Numbers = shares_of(codes).mean(axis=2, dtype=np.float64)
    return plane if axis is Axis.HORIZONTAL else plane.T


def _strip_with_ticks(pixels: Pixels, axis: Axis, period: float) -> int | None:
    """Return the line across which ticks are most even and strong; None if nowhere."""
    across = pixels.height_px if axis is Axis.HORIZONTAL else pixels.width_px
    best, where = LEAST_PERIODIC, None
    for first in range(0, across - STRIP_PX, max(STRIP_PX, round(STRIPS_APART * period))):
        line = _crop(pixels, axis, first, first + STRIP_PX).mean(axis=0)
        value = _periodic(line, period)
        if value > best:
            best, where = value, first + STRIP_PX // 2
    return where


@dataclass(frozen=True, slots=True)
class _Spectra:
    """Power spectra of overlapping windows of a line, and where the ticks' frequency is in them."""

    power: Numbers
    """(windows, frequencies); a window has `length` pixels."""
    length: int
    strength: Numbers
    """Standard deviation of the code in each window."""
    peaks: npt.NDArray[np.intp]
    """Where the power is largest near the frequency that is expected."""
    is_inside: npt.NDArray[np.bool_]
    """Whether that is not at the end of what is near."""

    @staticmethod
    def of(line: Numbers, period: float) -> _Spectra | None:
        length = round(WINDOW_TICKS * period)
        if length > len(line):
            return None
        parts = np.lib.stride_tricks.sliding_window_view(line, length)[:: max(1, length // 2)]
        parts = parts - parts.mean(axis=1, keepdims=True)
        power = np.abs(np.fft.rfft(parts * np.hanning(length), axis=1)) ** 2
        first = math.floor(length / period * (1 - OFF_HEADER))
        near = power[:, first : math.ceil(length / period * (1 + OFF_HEADER)) + 1]
        at = near.argmax(axis=1)
        is_inside = (at > 0) & (at < near.shape[1] - 1)
        return _Spectra(power, length, parts.std(axis=1), first + at, is_inside)


def _periodic(line: Numbers, period: float) -> float:
    """Return how strong ticks are on a line: the sum over windows, so that long rulers go before short ones.

    A window counts if most of what changes in it does so at the ticks' frequency, its double and treble.
    """
    spectra = _Spectra.of(line, period)
    if spectra is None:
        return 0.0
    total = np.pad(spectra.power.cumsum(axis=1), ((0, 0), (1, 8)), mode="edge")
    total[:, 0] = 0
    window = np.arange(len(total))
    teeth = np.zeros(len(total))
    for multiple in (1, 2, 3):
        peak = np.minimum(multiple * spectra.peaks, spectra.power.shape[1] + 2)
        teeth += total[window, peak + 3] - total[window, peak - 2]
    is_comb = (teeth > 0.5 * (total[:, -1] - total[:, 2])) & (spectra.strength > LEAST_STEP)
    return float(spectra.strength[is_comb].sum())


def _along(pixels: Pixels, axis: Axis, line: int, period: float, tick_mm: float) -> RulerScale | None:
    """Measure along the ticks that cross a line; once more along them, if they lead away from it."""
    turn, middle = 0.0, None
    found: _Comb | None = None
    for _ in range(3):
        rows = _rows_along(pixels, axis, line, round(TICK_HEIGHT * period), turn, middle)
        if rows is None:
            break
        comb = _comb(rows, turn, period)
        if comb is None or (found is not None and comb.ticks < found.ticks):
            break
        done = found is not None and abs(comb.turn - turn) < TURN_TOLERANCE
        line = round(line + turn * (comb.middle - (comb.middle if middle is None else middle)))
        found, turn, middle = comb, comb.turn, comb.middle
        if done:
            break
    if found is None or found.ticks < LEAST_TICKS:
        return None
    return _ruler_scale(pixels, axis, line, found, tick_mm)


@dataclass(frozen=True, slots=True)
class _Comb:
    """Ticks along a line: all in pixels and cycles a pixel."""

    frequency: float
    """Along the line, in its middle."""
    scatter: float
    change: float
    """From end to end."""
    turn: float
    """Lines that the ruler sinks for each pixel along."""
    first: float
    last: float

    @property
    def middle(self) -> float:
        return (self.first + self.last) / 2

    @property
    def ticks(self) -> float:
        return self.frequency * (self.last - self.first)


def _rows_along(
    pixels: Pixels, axis: Axis, line: int, half: int, turn: float, middle: float | None
) -> Numbers | None:
    """Return the codes of 2·half + 1 lines that follow a slant through `line` at `middle`; 0 beyond."""
    size, across = pixels.width_px, pixels.height_px
    if axis is Axis.VERTICAL:
        size, across = across, size
    sink = (
        np.zeros(size, np.intp) if middle is None else np.rint(turn * (np.arange(size) - middle)).astype(int)
    )
    first, last = line - half + int(sink.min()), line + half + 1 + int(sink.max())
    top, bottom = max(first, 0), min(last, across)
    if bottom - top < 2 * half + 1:
        return None
    plane = _crop(pixels, axis, top, bottom)
    rows = line - half - top + sink[None, :] + np.arange(2 * half + 1)[:, None]
    is_in = (rows >= 0) & (rows < len(plane))
    return np.where(is_in, np.take_along_axis(plane, rows.clip(0, len(plane) - 1), axis=0), 0.0)


def _comb(rows: Numbers, skew: float, period: float) -> _Comb | None:
    """Fit the phase of the ticks along some lines, which sink by `skew` for each pixel along."""
    half = len(rows) // 2
    upper, lower = rows[:half].mean(axis=0), rows[half + 1 :].mean(axis=0)
    start = _coarse((upper + lower) / 2, period)
    if start is None:
        return None
    at, above = _phasors(upper, start)
    _, below = _phasors(lower, start)
    both = above + below
    good = _ticked(np.abs(both))
    if good.sum() < LEAST_BLOCKS:
        return None
    x, phase = at[good], np.unwrap(np.angle(both[good])) / (2 * np.pi)
    middle = (x[0] + x[-1]) / 2
    bend, slope, spread, scatter = _phase_fit(x - middle, phase)
    if spread > UNEVEN:
        return None
    sinking = float(np.angle((below * above.conj())[good].sum())) / (2 * np.pi) / (half + 1)
    along = start + slope - skew * sinking
    reach = BLOCK_TICKS / 4 / start
    return _Comb(
        frequency=math.hypot(along, sinking),
        scatter=scatter,
        change=2 * bend * float(x[-1] - x[0]),
        turn=sinking / along,
        first=float(x[0]) - reach,
        last=float(x[-1]) + reach,
    )


def _coarse(line: Numbers, period: float) -> float | None:
    """Return the frequency of ticks in the window where they are strongest, to some thousandths."""
    spectra = _Spectra.of(line, period)
    if spectra is None or not spectra.is_inside.any():
        return None
    heights = np.take_along_axis(spectra.power, spectra.peaks[:, None], axis=1)[:, 0] * spectra.is_inside
    window = int(heights.argmax())
    peak = int(spectra.peaks[window])
    left, top, right = np.log(spectra.power[window, peak - 1 : peak + 2] + 1e-30).tolist()
    offset: float = (left - right) / (2 * (left - 2 * top + right))
    return (peak + offset) / spectra.length


def _phasors(line: Numbers, frequency: float) -> tuple[Numbers, Complex]:
    """Return centres of overlapping blocks, and strength and phase of a frequency in each."""
    length = round(BLOCK_TICKS / frequency)
    wave = np.exp(-2j * np.pi * frequency * (np.arange(len(line)) + 0.5))
    window = np.hanning(length + 2)[1:-1]
    firsts = np.arange(0, len(line) - length + 1, max(1, length // 2))
    blocks = firsts[:, None] + np.arange(length)[None, :]
    parts = line[blocks]
    parts = parts - parts.mean(axis=1, keepdims=True)
    phasors: Complex = ((parts * wave[blocks]) @ window) / window.sum()
    return (firsts + length / 2).astype(np.float64), phasors


def _ticked(strength: Numbers) -> npt.NDArray[np.bool_]:
    """Return the longest stretch of blocks that are about as strong as the strong ones."""
    is_strong = strength > 0.5 * float(np.percentile(strength, 95))
    ends = np.flatnonzero(np.diff(np.concatenate([[False], is_strong, [False]]).astype(np.int8)))
    good = np.zeros(len(strength), np.bool_)
    if ends.size:
        longest = int((ends[1::2] - ends[::2]).argmax())
        good[ends[2 * longest] : ends[2 * longest + 1]] = True
    return good


def _phase_fit(x: Numbers, phase: Numbers) -> tuple[float, float, float, float]:
    """Return bend and slope of the phase in cycles, the deviation from them, and that of the slope."""
    used = np.ones(len(x), np.bool_)
    for _ in range(3):
        bend, slope, offset = np.polyfit(x[used], phase[used], 2)
        off = np.abs(phase - (bend * x * x + slope * x + offset))
        used = off <= FAR * 1.4826 * float(np.median(off)) + 1e-4
    spread = math.sqrt(float((off[used] ** 2).sum()) / max(int(used.sum()) - 3, 1))
    # blocks overlap by half, so that about half of them count
    scatter = math.sqrt(2) * spread / math.sqrt(float(((x[used] - x[used].mean()) ** 2).sum()))
    return float(bend), float(slope), spread, scatter


def _ruler_scale(pixels: Pixels, axis: Axis, line: int, comb: _Comb, tick_mm: float) -> RulerScale:
    ppi = MM_PER_INCH / tick_mm / comb.frequency
    lean = abs(comb.turn) * (comb.last - comb.first) / 2
    first, last = math.floor(comb.first), math.ceil(comb.last)
    half = math.ceil(lean + TICK_HEIGHT / comb.frequency)
    box = Box(left=first, top=line - half, width=last - first, height=2 * half)
    if axis is Axis.VERTICAL:
        box = Box(left=line - half, top=first, width=2 * half, height=last - first)
    turn = math.degrees(math.atan(comb.turn))
    return RulerScale(
        axis=axis,
        ppi=ppi,
        scatter_ppi=ppi * comb.scatter / comb.frequency,
        change_ppi=-ppi * comb.change / comb.frequency,
        ticks=comb.ticks,
        turn_deg=turn if axis is Axis.HORIZONTAL else -turn,
        box=box.within(pixels.width_px, pixels.height_px),
    )
