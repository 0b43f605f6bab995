"""How sharp a page is without a target: the blur of its own edges, in pixels.

Two figures. σ: at an edge, the gradient at two scales falls by a ratio that depends on blur alone, not on
ink, contrast or exposure: with Gaussian derivatives of s1 and s2, σ² = (s2² − R²·s1²)/(R² − 1) for R = g1/g2
(two-scale edge blur; common practice since Elder and Zucker 1998, "Local scale control for edge detection
and blur estimation"). Here the scales are sums of binomials, of which R is tabled exactly. Rise: the steepest
gradients against the contrast about them, as the distance from 10 to 90 % (common practice, no source).

What counts as an edge: a maximum of the gradient along its direction, beyond eight standard deviations of
the noise, not faint beside others (what shines through is soft by nature), not beside clipped light
(speculars make false edges); and for σ, lying at the same place at both scales (strokes thinner than some
5 px do not, and would read too sharp). Blur includes the pixel itself, 1/√12 px. Both figures rank frames of
like content; they are no resolution: SFR50 ≈ 0.187/σ only for an isolated edge.

Measured on crops in full resolution: the most marked place of each of up to 6 × 8 tiles, found in the
reduced picture, at most 0.8 million pixels of a frame of any size. On drawn edges (σ 0.5 to 2.5 px, contrast
from 0.15, noise to 0.012, both depths) σ is right within 6 % or 0.05 px, and rise within 5 %, or on faint ink
within 17 % and twice its own standard deviation; held in tests.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.measure.edge import Tone
from pipeline.measure.outline import LONG_SIDE_PX, Outline, block_means, grey_of
from pipeline.measure.pixels import Box, Codes, NotMeasured, Pixels
from pipeline.measure.siblings import SD_PER_MAD, Standing, standings

Plane = npt.NDArray[np.float32]
Numbers = npt.NDArray[np.float64]

SHORT_SIDE_TILES, LONG_SIDE_TILES = 6, 8
CROP_PX = 128
CELLS = 9
"""Steps across a crop at which its place is chosen."""
BORDER_PX = 7
"""What the wider kernel uses up on each side."""
LEAST_POINTS, LEAST_IN_TILE = 200, 40
"""Points of edges below which a frame, and a tile, gives no evidence."""
NOISE_SDS = 8.0
LEAST_GRADIENT = 0.003
"""Share of full scale per pixel: that of a sharp step of 1 %."""
FAINT = 0.25
"""Of the strongest gradients in a tile: weaker edges are show-through, texture, blocks of compression."""
FAINT_IN_FRAME = 0.2
"""Of the strongest in the frame: folds and stains beside ink are soft by nature."""
SAME_PLACE_PX = 0.2
"""Further apart at the two scales, an edge is one of a thin stroke."""
CLIPPED_MARGIN_PX = 3
SIGMAS = np.geomspace(0.15, 8.0, 120)
LEAST_TILES_FOR_FIT = 12
RISE_OF_GAUSSIAN = 2.5631
"""Distance between 10 and 90 % of a Gaussian edge, in standard deviations."""
PIXEL_VARIANCE = 1 / 12
NOISE_AT_ENDS, NOISE_IN_STEEPEST = (1.2, 0.4), (0.5, 0.3)
"""By how many standard deviations of the noise the contrast of a crop that is a little smoothed is widened,
and by how many of the gradient's noise the steepest gradients are raised; each with how it scatters by what
is drawn. Measured: from 0.3 to 1.6, and from −0.1 to 1.0."""
TILES_STRAY = 0.07
"""Share by which tiles of one blur differ at the least, for what is written on them: measured on pages of one
drawn hand; lines with pictures and gold come to 0.3."""
SD_OF_MEDIAN = 1.2533
"""Standard deviation of the median of many normally distributed values, times the root of their number."""
TILT_SDS, TILTED_SHARE = 3.0, 0.3
"""A change of blur over the page by so many standard deviations and this share is a tilt."""
SESSION_FLOOR = 0.03
"""Spread of blur in a session is not taken to be under 3 %."""
BLOCKY = 1.2
"""From this ratio on, steps at every eighth column or row come from lossy compression."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TileBlur:
    """The blur in one tile of the page."""

    place: Box
    """The crop that was measured."""
    edges: int
    """Points of edges it was measured on."""
    sigma_px: float
    """Median of the standard deviation of the blur."""
    quartile_px: float
    """Lower quartile of it: what the sharpest things there say."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BlurField:
    """How the blur of tiles (lower quartiles) changes over the page: σ = middle + across·x + down·y +
    outwards·r², x and y from −½ to ½ of the area, r = 1 at its corner."""

    middle_px: float
    across_px: float
    """From the left to the right border of the area."""
    down_px: float
    """From its upper to its lower border."""
    outwards_px: float
    """From its middle to a corner, apart from that."""
    across_sd_px: float
    """Standard deviations of these three, from how tiles stray: content differs from tile to tile."""
    down_sd_px: float
    outwards_sd_px: float

    @property
    def tilt_share(self) -> float:
        """The largest change from one side to the opposite one, as a share of the middle."""
        return max(abs(self.across_px), abs(self.down_px)) / self.middle_px

    @property
    def is_tilted(self) -> bool:
        """Whether blur changes from side to side by more than chance and content make it."""
        changes = ((self.across_px, self.across_sd_px), (self.down_px, self.down_sd_px))
        return any(abs(change) > max(TILT_SDS * sd, TILTED_SHARE * self.middle_px) for change, sd in changes)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sharpness:
    """The blur of a page."""

    sigma_px: float | NotMeasured
    """Median of the tiles' medians; not measured where all strokes are thin, for all that they are sharp."""
    rise_px: float
    """Distance over which the steepest edges rise from 10 to 90 % of the contrast about them, median of
    tiles: 2.563·σ on plain edges. It grows with blur on any content, on thin and close strokes too, where σ
    may fall; so it is the figure to compare with that of siblings."""
    rise_sd_px: float
    """Standard deviation of it: how tiles stray for what is written on them, and what noise may do."""
    points: int
    """Points of edges of any kind."""
    tiles: tuple[TileBlur, ...]
    """Those with evidence of σ, in rows from the upper left."""
    grid: tuple[tuple[float | None, ...], ...]
    """The lower quartile of every tile as they lie on the page; None where there is no evidence."""
    empty_tiles: int
    """Those without: no evidence, which is not soft."""
    softest: TileBlur | NotMeasured
    """Where even the sharpest things are softest."""
    field: BlurField | NotMeasured
    across_px: float | NotMeasured
    """Median blur along the rows, from edges that stand upright."""
    down_px: float | NotMeasured
    """Median blur along the columns: if both differ, something moved, or the lens is astigmatic."""
    noise: float
    """Standard deviation of the noise, as a share of full scale, in the crops' quieter half."""
    blockiness: float
    """Steps at every eighth column or row over those elsewhere: 1 if there is no such grid."""

    @property
    def is_blocky(self) -> bool:
        """Whether the frame seems to have been compressed with loss: what it says of blur is doubtful."""
        return self.blockiness > BLOCKY


def sharpness(
    pixels: Pixels, outline: Outline | NotMeasured, *, tone: Tone | None = None
) -> Sharpness | NotMeasured:
    """Return the blur of the page within its outline, or of the whole frame without one.

    With a `tone` edges are measured in linear light, where lenses blur; without one, in codes, which shifts
    all frames of a session alike. A blank page, or one with too little on it, is not measured: it can
    neither pass nor fail.
    """
    area = _area(pixels, outline)
    if min(area.width, area.height) < 2 * CROP_PX:
        return NotMeasured(reason="the area is too small to be divided into tiles")
    table = _table(pixels, tone)
    across, down = _tiling(area)
    looks = [_look(pixels, place, table) for place in _places(pixels, area, across, down)]
    strong = max(look.strong for look in looks)
    found = [_edges(look, strong) for look in looks]
    points = sum(each.points for each in found)
    rises = np.array(
        [_rise(look) for look, each in zip(looks, found, strict=True) if each.points >= LEAST_IN_TILE]
    ).reshape(-1, 2)
    if points < LEAST_POINTS or not len(rises):
        return NotMeasured(
            reason=f"the page is blank or shows too little: {points} points of edges, where "
            f"{LEAST_POINTS} are needed; it can be judged by eye alone"
        )
    every = [_tile(each) if len(each.sigmas) >= LEAST_IN_TILE else None for each in found]
    tiles = tuple(tile for tile in every if tile)
    quartiles = [tile.quartile_px if tile else None for tile in every]
    thin = NotMeasured(reason="there are only strokes that are too thin, or texture: no plain edges")
    return Sharpness(
        sigma_px=float(np.median([tile.sigma_px for tile in tiles])) if tiles else thin,
        rise_px=float(np.median(rises[:, 0])),
        rise_sd_px=_rise_sd(rises),
        points=points,
        tiles=tiles,
        grid=tuple(tuple(quartiles[row * across : (row + 1) * across]) for row in range(down)),
        empty_tiles=len(found) - len(tiles),
        softest=max(tiles, key=lambda tile: tile.quartile_px) if tiles else thin,
        field=_field(tiles, area),
        across_px=_directed(found, is_upright=True),
        down_px=_directed(found, is_upright=False),
        noise=float(np.median([look.noise for look in looks])),
        blockiness=_blockiness(looks),
    )


def focus_standings(
    values: Sequence[float | NotMeasured], sds: Sequence[float] = ()
) -> tuple[Standing | NotMeasured, ...]:
    """Return how the blur of each frame of a session (`Sharpness.rise_px`) stands among its siblings.

    Frames must be of one session, kind and side; the ratio counts, above 0 is softer. `sds` are the values'
    own standard deviations (`Sharpness.rise_sd_px`), if they are known.
    """
    return standings(values, floor=SESSION_FLOOR, is_ratio=True, sds=sds)


# -------------------------------------------------------------------------------------------- places


def _area(pixels: Pixels, outline: Outline | NotMeasured) -> Box:
    if isinstance(outline, Outline):
        return outline.inner_box(margin_share=0.01)
    return Box(left=0, top=0, width=pixels.width_px, height=pixels.height_px)


def _tiling(area: Box) -> tuple[int, int]:
    """How many tiles there are across and down."""
    across, down = SHORT_SIDE_TILES, LONG_SIDE_TILES
    if area.width > area.height:
        across, down = down, across
    return min(across, area.width // CROP_PX), min(down, area.height // CROP_PX)


def _places(pixels: Pixels, area: Box, across: int, down: int) -> list[Box]:
    """In each tile the square where the reduced picture changes most, in rows from the upper left."""
    reduced = pixels.reduced(LONG_SIDE_PX)
    factor = 2 * reduced.factor
    grey = block_means(grey_of(reduced.shares), 2)
    change = np.zeros_like(grey)
    change[:, 1:] = np.abs(np.diff(grey, axis=1))
    change[1:] += np.abs(np.diff(grey, axis=0))
    np.minimum(change, 0.2, out=change)  # many edges rather than one strong one
    cell = max(1, round(CROP_PX / factor / CELLS))
    sums = np.pad(block_means(change, cell).cumsum(axis=0, dtype=np.float64).cumsum(axis=1), ((1, 0), (1, 0)))
    places: list[Box] = []
    for row in range(down):
        for column in range(across):
            tile = _part(area, column, across, row, down)
            places.append(_most_marked(sums, tile, factor * cell))
    return places


def _part(area: Box, column: int, across: int, row: int, down: int) -> Box:
    left, right = (area.left + area.width * each // across for each in (column, column + 1))
    top, bottom = (area.top + area.height * each // down for each in (row, row + 1))
    return Box(left=left, top=top, width=right - left, height=bottom - top)


def _most_marked(sums: Numbers, tile: Box, cell_px: float) -> Box:
    """The square within a tile with the largest sum; `sums` are those of all cells above and to the left."""
    side = max(1, round(CROP_PX / cell_px))
    rows = _starts(tile.top, tile.bottom, cell_px, side, sums.shape[0] - 1)[:, None]
    columns = _starts(tile.left, tile.right, cell_px, side, sums.shape[1] - 1)[None, :]
    inside = sums[rows + side, columns + side] - sums[rows, columns + side]
    inside += sums[rows, columns] - sums[rows + side, columns]
    row, column = np.unravel_index(int(inside.argmax()), inside.shape)
    left, top = (round(int(each) * cell_px) // 8 * 8 for each in (columns[0, column], rows[row, 0]))
    return Box(left=left, top=top, width=CROP_PX, height=CROP_PX)


def _starts(first_px: int, last_px: int, cell_px: float, side: int, size: int) -> npt.NDArray[np.intp]:
    low = math.ceil(first_px / cell_px)
    high = max(low + 1, int(last_px / cell_px) - side + 1)
    return np.clip(np.arange(low, high), 0, max(0, size - side))


# --------------------------------------------------------------------------------------------- looks


@dataclass(frozen=True, slots=True)
class _Look:
    """A crop with its gradients at two scales; all planes of one size, without the border."""

    place: Box
    light: Plane
    across: Plane
    down: Plane
    fine: Plane
    """Magnitude of the gradient at the smaller scale, which `across` and `down` are the parts of."""
    coarse: Plane
    is_clipped: npt.NDArray[np.bool_]
    noise: float
    strong: float
    """The 99.5th percentile of `fine`, if that is more than noise."""


@dataclass(frozen=True, slots=True)
class _Found:
    """Edges in a crop: their blur, and whether they stand upright."""

    place: Box
    points: int
    """Points of edges of any kind, those of thin strokes too."""
    sigmas: Numbers
    is_upright: npt.NDArray[np.bool_]


def _table(pixels: Pixels, tone: Tone | None) -> Plane:
    """What codes become: linear light of the green band, or of the only one."""
    shares = np.linspace(0, 1, 2**pixels.bits)
    if tone is None:
        return shares.astype(np.float32)
    linear = np.asarray(tone.linear(np.repeat(shares[:, None], pixels.bands, axis=1)))
    return linear[:, pixels.bands // 2].astype(np.float32)


def _look(pixels: Pixels, place: Box, table: Plane) -> _Look:
    codes = pixels.crop(place)
    light = table[codes[..., codes.shape[2] // 2]]
    fine_scale = _binomial(_binomial(light))
    coarse_scale = _binomial(_binomial(_binomial(fine_scale, step=2)))
    trim = BORDER_PX
    across, down = _gradient(fine_scale, trim - 2)
    wide_across, wide_down = _gradient(coarse_scale, trim - 6)
    fine = np.sqrt(across * across + down * down)
    coarse = np.sqrt(wide_across * wide_across + wide_down * wide_down)
    inner = light[trim:-trim, trim:-trim]
    noise = _noise(light)
    threshold = _least_gradient(noise)
    some = fine[::2, ::2].ravel()
    strong = float(np.partition(some, -(some.size // 200))[-(some.size // 200)])
    clipped = _near_clipped(codes)[trim:-trim, trim:-trim]
    return _Look(
        place, inner, across, down, fine, coarse, clipped, noise, strong if strong > threshold else 0.0
    )


def _binomial(plane: Plane, step: int = 1) -> Plane:
    """Smooth by (1 2 1)/4 along both axes, with gaps if `step` is above 1; the result is smaller."""
    rows = plane[: -2 * step] + plane[2 * step :]
    rows += 2 * plane[step:-step]
    both: Plane = rows[:, : -2 * step] + rows[:, 2 * step :]
    both += 2 * rows[:, step:-step]
    both *= np.float32(1 / 16)
    return both


def _gradient(plane: Plane, trim: int) -> tuple[Plane, Plane]:
    """Central differences along rows and columns, cut to the common size."""
    inner = slice(trim, -trim)
    across = (
        plane[inner, trim + 1 : plane.shape[1] - trim + 1 or None] - plane[inner, trim - 1 : -trim - 1]
    ) / 2
    down = (
        plane[trim + 1 : plane.shape[0] - trim + 1 or None, inner] - plane[trim - 1 : -trim - 1, inner]
    ) / 2
    return across.astype(np.float32, copy=False), down.astype(np.float32, copy=False)


def _noise(light: Plane) -> float:
    """Standard deviation from the quieter half of (1 −2 1; −2 4 −2; 1 −2 1)/6: lines are not noise."""
    column = light[:-2:2] - 2 * light[1:-1:2] + light[2::2]
    kernel = np.abs(column[:, :-2] - 2 * column[:, 1:-1] + column[:, 2:]) / 6
    quarter = kernel.size // 4
    # the lower quartile of the magnitude of a normal value is 0.3186 standard deviations
    return float(np.partition(kernel.ravel(), quarter)[quarter]) / 0.3186


def _near_clipped(codes: Codes) -> npt.NDArray[np.bool_]:
    """Where any band is at full scale, or nearly beside it."""
    full = np.iinfo(codes.dtype).max
    near: npt.NDArray[np.bool_] = codes[..., 0] == full
    for band in range(1, codes.shape[2]):
        near |= codes[..., band] == full
    if not near.any():
        return near
    for axis in (0, 1):
        for _ in range(CLIPPED_MARGIN_PX):
            moved = near.swapaxes(0, axis)
            spread = moved.copy()
            spread[1:] |= moved[:-1]
            spread[:-1] |= moved[1:]
            near = spread.swapaxes(0, axis)
    return near


# --------------------------------------------------------------------------------------------- edges


def _edges(look: _Look, strong: float) -> _Found:
    """The blur at the maxima of the gradient along its direction."""
    threshold = max(_least_gradient(look.noise), FAINT * look.strong, FAINT_IN_FRAME * strong)
    width = look.fine.shape[1]
    fine, coarse = look.fine.ravel(), look.coarse.ravel()
    candidate = look.fine > threshold
    candidate[[0, -1]] = False
    candidate[:, [0, -1]] = False
    candidate &= ~look.is_clipped
    at = np.flatnonzero(candidate)
    is_upright = np.abs(look.across.ravel()[at]) >= np.abs(look.down.ravel()[at])
    step = np.where(is_upright, 1, width)
    peak = (fine[at] >= fine[at - step]) & (fine[at] > fine[at + step])
    at, step, is_upright = at[peak], step[peak], is_upright[peak]
    high, place = _summit(fine, at, step)
    wide, wide_place = _summit(coarse, at, step)
    kept = np.abs(place - wide_place) < SAME_PLACE_PX
    ratio = high[kept] / np.maximum(wide[kept], 1e-9)
    sigmas = np.interp(ratio, _ratios()[::-1], SIGMAS[::-1])
    blurred = (sigmas > SIGMAS[0]) & (sigmas < SIGMAS[-1])  # beyond lie strokes and texture, not blur
    at = at[kept][blurred]
    sigmas = np.sqrt(sigmas[blurred] ** 2 + _slant(look.across.ravel()[at], look.down.ravel()[at]))
    return _Found(look.place, len(kept), sigmas, is_upright[kept][blurred])


def _slant(across: Plane, down: Plane) -> Numbers:
    """What the table takes for blur too little of slanted edges, as variance.

    A central difference is a mean over two pixels along its axis: a variance of 1/3 along an edge's normal if
    the edge stands along the grid, of (cos⁴ + sin⁴)/3 at any angle.
    """
    one, two = across.astype(np.float64) ** 2, down.astype(np.float64) ** 2
    return np.asarray(2 / 3 * one * two / (one + two) ** 2)


def _summit(plane: Plane, at: npt.NDArray[np.intp], step: npt.NDArray[np.intp]) -> tuple[Numbers, Numbers]:
    """Height and place of the parabola through three values; a place beyond 1 if there is no maximum."""
    before, top, after = (plane[at + shift * step].astype(np.float64) for shift in (-1, 0, 1))
    bend = before - 2 * top + after
    flat = bend > -1e-9
    place = np.where(flat, 9.0, 0.5 * (before - after) / np.where(flat, -1, bend))
    return top - 0.25 * (before - after) * np.clip(place, -1, 1), place


@functools.cache
def _ratios() -> Numbers:
    """g1/g2 of a step blurred by each of `SIGMAS`, falling: exact for a step along the grid."""
    fine = np.array([1, 4, 6, 4, 1]) / 16
    coarse = np.convolve(np.convolve(fine, np.array([1, 0, 2, 0, 1]) / 4), fine)
    return np.array([_slope(fine, float(each)) / _slope(coarse, float(each)) for each in SIGMAS])


def _slope(kernel: Numbers, sigma: float) -> float:
    """The central difference at a step, smoothed by a kernel and blurred by a Gaussian."""
    reach = len(kernel) // 2
    places = [
        (place + side) / (sigma * math.sqrt(2)) for place in range(-reach, reach + 1) for side in (-1, 1)
    ]
    rises = np.array([math.erf(each) for each in places]).reshape(-1, 2)
    return float(kernel @ (rises[:, 1] - rises[:, 0])) / 4


def _least_gradient(noise: float) -> float:
    """From which on a gradient is an edge and not noise, or a slope of light."""
    return max(NOISE_SDS * noise * _gradient_norm(), LEAST_GRADIENT)


@functools.cache
def _gradient_norm() -> float:
    """What the finer gradient makes of white noise of standard deviation 1."""
    smooth = np.array([1, 4, 6, 4, 1]) / 16
    rise = np.convolve(smooth, np.array([1, 0, -1]) / 2)
    return float(np.linalg.norm(smooth) * np.linalg.norm(rise))


# ------------------------------------------------------------------------------------------- figures


def _tile(found: _Found) -> TileBlur:
    quartile, median = np.percentile(found.sigmas, [25, 50])
    return TileBlur(
        place=found.place, edges=len(found.sigmas), sigma_px=float(median), quartile_px=float(quartile)
    )


def _rise(look: _Look) -> tuple[float, float]:
    """10 to 90 % of a Gaussian edge with the crop's contrast and its steepest gradient; and what noise may
    make of it.

    The gradient's own extent is taken off: variance 4/3 along the grid. So errors of a sharp edge's contrast
    weigh several times.
    """
    some = _binomial(look.light)[::2, ::2].ravel()
    ends = np.partition(some, [some.size // 200, -(some.size // 200)])
    contrast = float(ends[-(some.size // 200)] - ends[some.size // 200]) - NOISE_AT_ENDS[0] * look.noise
    noise = look.noise * _gradient_norm()
    steepest = look.strong - NOISE_IN_STEEPEST[0] * noise
    extent = (contrast / steepest) ** 2 / (2 * math.pi)
    variance = max(extent - 4 / 3, PIXEL_VARIANCE)
    rise = RISE_OF_GAUSSIAN * math.sqrt(variance)
    stray = math.hypot(NOISE_AT_ENDS[1] * look.noise / contrast, NOISE_IN_STEEPEST[1] * noise / steepest)
    return rise, rise * extent / variance * stray


def _rise_sd(rises: Numbers) -> float:
    """Of the median of tiles, which scatter at random; noise moves all of them the same way."""
    found, by_noise = rises.T
    middle = float(np.median(found))
    scatter = max(SD_PER_MAD * float(np.median(np.abs(found - middle))), TILES_STRAY * middle)
    return math.hypot(SD_OF_MEDIAN * scatter / math.sqrt(len(found)), float(np.median(by_noise)))


def _directed(found: list[_Found], *, is_upright: bool) -> float | NotMeasured:
    every = np.concatenate([each.sigmas[each.is_upright == is_upright] for each in found])
    if len(every) < LEAST_POINTS:
        return NotMeasured(reason=f"too few {'upright' if is_upright else 'level'} edges: {len(every)}")
    return float(np.median(every))


def _field(tiles: tuple[TileBlur, ...], area: Box) -> BlurField | NotMeasured:
    if len(tiles) < LEAST_TILES_FOR_FIT:
        return NotMeasured(
            reason=f"{len(tiles)} tiles show edges, where {LEAST_TILES_FOR_FIT} are needed for a tilt"
        )
    x = np.array([(tile.place.left + tile.place.width / 2 - area.left) / area.width - 0.5 for tile in tiles])
    y = np.array([(tile.place.top + tile.place.height / 2 - area.top) / area.height - 0.5 for tile in tiles])
    terms = np.stack([np.ones(len(x)), x, y, 2 * (x**2 + y**2)], axis=1)
    values = np.array([tile.quartile_px for tile in tiles])
    weights = np.ones(len(values))
    fit = np.zeros(4)
    for _ in range(8):  # one odd tile does not make a tilt
        root = np.sqrt(weights)
        fit = np.linalg.lstsq(terms * root[:, None], values * root, rcond=None)[0]
        strays = np.abs(values - terms @ fit)
        weights = 1 / np.maximum(strays, 0.02)
    scatter = SD_PER_MAD * float(np.median(np.abs(values - terms @ fit)))
    middle, across, down, outwards = (float(each) for each in fit)
    if middle <= 0:
        return NotMeasured(reason="blur differs too much from tile to tile for a tilt")
    sds = scatter * np.sqrt(np.diag(np.linalg.pinv(terms.T @ terms)))
    return BlurField(
        middle_px=middle,
        across_px=across,
        down_px=down,
        outwards_px=outwards,
        across_sd_px=float(sds[1]),
        down_sd_px=float(sds[2]),
        outwards_sd_px=float(sds[3]),
    )


def _blockiness(looks: list[_Look]) -> float:
    """By how much mean steps at one of eight columns and rows exceed those at the next highest of eight."""
    sums = np.zeros((2, 8))
    for look in looks:
        quiet = look.fine[:-1, :-1] < _least_gradient(look.noise)
        for axis in (0, 1):
            steps = np.abs(np.diff(look.light, axis=axis))[: quiet.shape[0], : quiet.shape[1]] * quiet
            start = (look.place.top, look.place.left)[axis] + BORDER_PX + 1
            by_place, shown = steps.sum(axis=1 - axis), quiet.sum(axis=1 - axis)
            means = by_place / np.maximum(shown, 1)
            # by an unsigned share of the crop's own mean, so that dark crops count as well
            means = means / max(float(means.mean()), 1e-9)
            sums[axis] += np.bincount((start + np.arange(len(means))) % 8, means, 8)
    ordered = np.sort(sums, axis=1)
    return float(np.sqrt((ordered[:, -1] / np.maximum(ordered[:, -2], 1e-9)).prod()))
