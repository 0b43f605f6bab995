"""Light and colour over a flat frame: an even card and nothing else, and the dust on it.

Everything is taken from means of blocks, a twentieth of the frame's short side, dust left out. Range and
spread of *luminance* are linear in light; those of *lightness* are of L*, where at L* 95 one per cent of
luminance is 0.37. The blocks do not reach into the very corner: of a fall-off that goes with the square of
the distance they see 0.92, which is no error of theirs, for the published limits are for patches too.

The reduced picture does: codes are averaged before they are made linear, which moves a block by less than
a ten-thousandth at the noise of a camera. Against the closed form of the blocks, on frames of a megapixel
with a noise of 0.004 of full scale, ranges are within 0.2 % of the mean luminance, 0.07 L* and 0.25 a*b*,
slopes within 0.03 a*b* (held in tests); more pixels make that less. Dust is seen from two pixels of the
reduced picture to the size of a block; what is larger counts as light.

A card that is warped, stained or brightened optically reads as bad light: a second frame with the card
turned by 180° tells them apart.

Sources: FADGI, Technical Guidelines (2016), illuminance non-uniformity: (max - min) / mean; the edition of
2023: SD / mean of lightness; Metamorfoze Preservation Imaging Guidelines 1.0: ΔL* and a*b* between any two
places.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.measure.pixels import NotMeasured, Pixels, Shares
from pipeline.measure.profile import Profile

Numbers = npt.NDArray[np.float64]
Plane = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]
Counts = npt.NDArray[np.intp]
Rows = tuple[tuple[float, ...], ...]
"""A small map: one row of blocks after the other, from the top."""

LONG_SIDE_PX = 1500
"""Of the reduced picture that is looked at."""
BLOCKS = 20
"""Along the short side."""
LEAST_SIDE_PX = 200
SAMPLES = 13
"""Rows and columns of a block that its median goes by."""
CLIPPED = 0.998
"""Mean of a square of pixels, as a share of full scale, from which some of them are taken to be clipped."""
CLIPPED_SHARE = 0.005
DARK_CARD = 40.0
"""L* below which noise and flare weigh more than they should."""
DUST_DEVIATIONS = 6.0
"""How far a spot stands out of its surroundings, in standard deviations of the noise."""
DUST_LEAST = 0.004
"""The same as a share of full scale: what is fainter does not show on a page."""
DUST_MOST_SHARE = 0.02
"""Of the frame: what is more is a pattern of the card, not dust."""
SPOTS_LISTED = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Something small that is darker or lighter than what is around it."""

    x_px: float
    y_px: float
    diameter_px: float
    """Of a disc that takes away as much in all, if it were as strong everywhere as at its strongest."""
    depth: float
    """Code it takes away, as a share of that around it; negative if the spot is lighter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dust:
    """The spots of a flat frame."""

    spots: tuple[Spot, ...]
    """The largest first, at most `SPOTS_LISTED`."""
    count: int
    """How many there are, listed or not."""
    share: float
    """Of the frame that they cover."""
    smallest_px: float
    """Diameter below which spots are not seen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FivePoints:
    """The blocks at the four corners and in the middle alone."""

    luminance_range_over_mean: float
    lightness_range: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourDrift:
    """How a*b* changes over the frame; what is linear comes from the light, what is radial from the lens."""

    a: Rows
    b: Rows
    """Differences to the frame's mean a* and b*, block by block."""
    farthest_apart: float
    """Largest distance in a*b* between any two blocks."""
    farthest_from_mean: float
    at_px: tuple[float, float]
    """Centre of the block that is farthest from the mean."""
    spread: float
    """Standard deviation of the distance in a*b*, from the mean."""
    a_across: float
    """Change of a* from the left side to the right one, of a fitted plane with a radial part."""
    a_down: float
    b_across: float
    b_down: float
    a_radial: float
    """Change of a* from the middle to the corners, with the square of the distance."""
    b_radial: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Evenness:
    """What a flat frame says of light, lens and dust."""

    luminance: Rows
    """0 to 1, block by block."""
    lightness: Rows
    """L*, block by block."""
    mean_lightness: float
    luminance_range_over_mean: float
    """(max - min) / mean over all blocks: FADGI 2016."""
    luminance_spread_over_mean: float
    """Standard deviation / mean of luminance."""
    lightness_spread_over_mean: float
    """Standard deviation / mean of L*: FADGI 2023."""
    lightness_range: float
    """Largest ΔL* between any two blocks: Metamorfoze."""
    lightest_px: tuple[float, float]
    darkest_px: tuple[float, float]
    """Centres of the two blocks that are farthest apart."""
    five_points: FivePoints
    colour: ColourDrift | NotMeasured
    dust: Dust | NotMeasured
    cautions: tuple[str, ...]


def measure_evenness(pixels: Pixels, profile: Profile) -> Evenness | NotMeasured:
    """Return what a flat frame says, or why it says nothing."""
    if min(pixels.width_px, pixels.height_px) < LEAST_SIDE_PX:
        return NotMeasured(
            reason=f"the frame is {pixels.width_px} × {pixels.height_px} px; "
            f"expected {LEAST_SIDE_PX} each way at the least"
        )
    if profile.bands != pixels.bands:
        return NotMeasured(reason=f"the frame has {pixels.bands} channels, its profile {profile.bands}")
    reduced = pixels.reduced(LONG_SIDE_PX)
    shares = reduced.shares
    clipped = max(float((shares[..., band] >= CLIPPED).mean()) for band in range(pixels.bands))
    if clipped > CLIPPED_SHARE:
        return NotMeasured(reason=f"{100 * clipped:.0f} % of the card is clipped; expose it darker")
    grid = _Grid.over(shares)
    is_dust, dust = _dust(shares, grid, reduced.factor)
    linear = np.clip(profile.linear(grid.means(shares, is_dust)), 0, None)
    return _evenness(linear, profile, grid, dust, factor=reduced.factor)


# --------------------------------------------------------------------------------------------- blocks


@dataclass(frozen=True, slots=True)
class _Grid:
    """Blocks that cover a picture: where each row and column of them begins, and where the last ends."""

    rows: Counts
    columns: Counts

    @staticmethod
    def over(shares: Shares) -> _Grid:
        height, width = shares.shape[:2]
        side = min(height, width) / BLOCKS
        rows, columns = (np.linspace(0, size, round(size / side) + 1) for size in (height, width))
        return _Grid(np.rint(rows).astype(np.intp), np.rint(columns).astype(np.intp))

    def centres(self) -> tuple[Numbers, Numbers]:
        """x of the columns and y of the rows, in pixels of the picture."""
        return (self.columns[1:] + self.columns[:-1]) / 2, (self.rows[1:] + self.rows[:-1]) / 2

    def medians(self, plane: Plane) -> Numbers:
        """Medians of each block, of `SAMPLES` rows and columns of it."""
        rows, columns = (_samples(ends) for ends in (self.rows, self.columns))
        blocks = plane[np.ix_(rows, columns)].reshape(len(rows) // SAMPLES, SAMPLES, -1, SAMPLES)
        medians: Numbers = np.median(blocks, axis=(1, 3)).astype(np.float64)
        return medians

    def means(self, shares: Shares, is_dust: Mask) -> Numbers:
        """Means of each block without its dust; with it, if there is nothing else: (rows, columns, bands)."""
        total = self._sums(shares)
        size = np.outer(np.diff(self.rows), np.diff(self.columns))[..., None]
        dust, count = np.zeros_like(total), np.zeros_like(size)
        y, x = _where(is_dust)
        block = (np.searchsorted(self.rows, y, "right") - 1, np.searchsorted(self.columns, x, "right") - 1)
        np.add.at(dust, block, shares[y, x])
        np.add.at(count, block, 1)
        clean: Numbers = np.where(count < size, (total - dust) / np.maximum(size - count, 1), total / size)
        return clean

    def spread(self, blocks: Numbers, shape: tuple[int, ...]) -> Plane:
        """Return a picture that goes through the values of the blocks at their centres, bilinearly."""
        x, y = self.centres()
        spread: Plane = (_weights(y, shape[0]) @ blocks @ _weights(x, shape[1]).T).astype(np.float32)
        return spread

    def _sums(self, shares: Shares) -> Numbers:
        strips = [shares[top:bottom].sum(axis=0, dtype=np.float64) for top, bottom in self._pairs(self.rows)]
        return np.asarray(np.add.reduceat(np.stack(strips), self.columns[:-1], axis=1))

    def _pairs(self, ends: Counts) -> list[tuple[int, int]]:
        return list(zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True))


def _samples(ends: Counts) -> Counts:
    """Return evenly spaced pixels of each stretch, one stretch after the other."""
    shares = (np.arange(SAMPLES) + 0.5) / SAMPLES
    return np.floor(ends[:-1, None] + np.diff(ends)[:, None] * shares).astype(np.intp).ravel()


def _weights(at: Numbers, size: int) -> Numbers:
    """Return how much of each given value is in each pixel of a line: straight between, and beyond."""
    pixels = np.arange(size) + 0.5
    after = np.clip(np.searchsorted(at, pixels), 1, len(at) - 1)
    share = (pixels - at[after - 1]) / (at[after] - at[after - 1])
    weights = np.zeros((size, len(at)))
    weights[np.arange(size), after - 1] = 1 - share
    weights[np.arange(size), after] = share
    return weights


# -------------------------------------------------------------------------------------------- figures


def _evenness(
    linear: Numbers, profile: Profile, grid: _Grid, dust: Dust | NotMeasured, *, factor: float
) -> Evenness:
    light, lab = profile.luminance(linear), profile.lab(linear)
    lightness = lab[..., 0]
    places = _Places(grid, factor)
    return Evenness(
        luminance=_rows(light),
        lightness=_rows(lightness),
        mean_lightness=float(lightness.mean()),
        luminance_range_over_mean=_over_mean(float(np.ptp(light)), light),
        luminance_spread_over_mean=_over_mean(float(light.std()), light),
        lightness_spread_over_mean=_over_mean(float(lightness.std()), lightness),
        lightness_range=float(np.ptp(lightness)),
        lightest_px=places.of(int(lightness.argmax())),
        darkest_px=places.of(int(lightness.argmin())),
        five_points=_five_points(light, lightness),
        colour=_drift(lab, places) if profile.bands == 3 else NotMeasured(reason="the frame is grey"),
        dust=dust,
        cautions=_cautions(float(lightness.mean()), dust),
    )


def _cautions(mean_lightness: float, dust: Dust | NotMeasured) -> tuple[str, ...]:
    said = [f"a dark card (L* {mean_lightness:.0f})"] if mean_lightness < DARK_CARD else []
    if isinstance(dust, NotMeasured):
        said.append("a card that is not plain")
    return tuple(said)


def _over_mean(value: float, values: Numbers) -> float:
    return value / max(float(values.mean()), 1e-9)


def _rows(values: Numbers) -> Rows:
    return tuple(tuple(row) for row in values.tolist())


@dataclass(frozen=True, slots=True)
class _Places:
    """Where blocks are in the full picture."""

    grid: _Grid
    factor: float

    def of(self, block: int) -> tuple[float, float]:
        x, y = self.grid.centres()
        row, column = divmod(block, len(x))
        return float(x[column]) * self.factor, float(y[row]) * self.factor


def _five_points(light: Numbers, lightness: Numbers) -> FivePoints:
    middle = (light.shape[0] // 2, light.shape[1] // 2)
    points = ((0, 0), (0, -1), (-1, 0), (-1, -1), middle)
    five, five_l = (np.array([values[point] for point in points]) for values in (light, lightness))
    return FivePoints(
        luminance_range_over_mean=_over_mean(float(np.ptp(five)), five),
        lightness_range=float(np.ptp(five_l)),
    )


def _drift(lab: Numbers, places: _Places) -> ColourDrift:
    ab = lab[..., 1:] - lab[..., 1:].mean(axis=(0, 1))
    flat = ab.reshape(-1, 2)
    away = np.hypot(flat[:, 0], flat[:, 1])
    apart = np.hypot(*(np.subtract.outer(each, each) for each in flat.T))
    (a_across, a_down, a_radial), (b_across, b_down, b_radial) = _parts(flat, places.grid)
    return ColourDrift(
        a=_rows(ab[..., 0]),
        b=_rows(ab[..., 1]),
        farthest_apart=float(apart.max()),
        farthest_from_mean=float(away.max()),
        at_px=places.of(int(away.argmax())),
        spread=float(np.sqrt((away**2).mean())),
        a_across=a_across,
        a_down=a_down,
        b_across=b_across,
        b_down=b_down,
        a_radial=a_radial,
        b_radial=b_radial,
    )


def _parts(flat: Numbers, grid: _Grid) -> list[list[float]]:
    """Return, for a* and b*, what changes across, down, and from the middle to the corners."""
    x, y = grid.centres()
    width, height = float(grid.columns[-1]), float(grid.rows[-1])
    across, down = np.meshgrid(x / width - 0.5, y / height - 0.5)
    radius = (across * width) ** 2 + (down * height) ** 2
    basis = np.stack([across, down, radius / ((width**2 + height**2) / 4), np.ones_like(across)], axis=-1)
    factors = np.linalg.lstsq(basis.reshape(-1, 4), flat, rcond=None)[0]
    parts: list[list[float]] = factors[:3].T.tolist()
    return parts


# ----------------------------------------------------------------------------------------------- dust


def _dust(shares: Shares, grid: _Grid, factor: float) -> tuple[Mask, Dust | NotMeasured]:
    """Return where dust is, and its spots."""
    plane = _mean_of_bands(shares)
    around = grid.spread(_smooth(grid.medians(plane)), plane.shape)
    off = around - plane
    strength = np.abs(off)
    limit = max(DUST_DEVIATIONS * 1.4826 * float(np.median(strength[::3, ::3])), DUST_LEAST)
    is_core = strength > limit
    is_dust = np.zeros_like(is_core)
    if (share := float(is_core.mean())) > DUST_MOST_SHARE:
        reason = f"{100 * share:.0f} % of the card stands out of its surroundings: it is not plain"
        return is_dust, NotMeasured(reason=reason)
    spots: list[Spot] = []
    for points in _connected(is_core, strength > limit / 2):
        rows, columns = np.array(points).T
        is_dust[rows, columns] = True
        spots.append(_spot(off, around, rows, columns, factor))
    spots.sort(key=lambda spot: (-spot.diameter_px, spot.y_px, spot.x_px))
    dust = Dust(
        spots=tuple(spots[:SPOTS_LISTED]),
        count=len(spots),
        share=float(is_dust.mean()),
        smallest_px=2 * factor,
    )
    return is_dust, dust


def _smooth(blocks: Numbers) -> Numbers:
    """Return blocks without those that a spot fills: they take the value that their neighbours foretell.

    Foretold is the median of the means of opposite neighbours and of the straight lines through two.
    """
    wide = np.pad(blocks, 2, constant_values=np.nan)

    def at(down: int, across: int) -> Numbers:
        return wide[2 + down : wide.shape[0] - 2 + down, 2 + across : wide.shape[1] - 2 + across]

    lines = [2 * at(y, x) - at(2 * y, 2 * x) for y, x in ((0, 1), (0, -1), (1, 0), (-1, 0))]
    between = [(at(y, x) + at(-y, -x)) / 2 for y, x in ((0, 1), (1, 0))]
    foretold = np.nanmedian(np.stack(lines + between), axis=0)
    off = np.abs(blocks - foretold)
    limit = max(DUST_DEVIATIONS * 1.4826 * float(np.median(off)), DUST_LEAST / 2)
    smooth: Numbers = np.where(off > limit, foretold, blocks)
    return smooth


def _mean_of_bands(shares: Shares) -> Plane:
    """Return the mean of the bands: added one by one, which is much faster than along a short axis."""
    plane = shares[..., 0].copy()
    for band in range(1, shares.shape[2]):
        plane += shares[..., band]
    plane /= np.float32(shares.shape[2])
    return plane


def _where(mask: Mask) -> tuple[Counts, Counts]:
    """Return rows and columns of what is true: several times as fast as numpy's own in two dimensions."""
    rows, columns = np.divmod(np.flatnonzero(mask), mask.shape[1])
    return rows, columns


def _listed(mask: Mask) -> list[tuple[int, int]]:
    rows, columns = _where(mask)
    return list(zip(rows.tolist(), columns.tolist(), strict=True))


def _connected(is_core: Mask, is_part: Mask) -> Iterator[list[tuple[int, int]]]:
    """Yield the (row, column) of what hangs together and has a core, from the top."""
    left = set(_listed(is_part))
    for start in _listed(is_core):
        if start not in left:
            continue
        left.remove(start)
        found = [start]
        for row, column in found:  # it grows as it is gone through
            near = [(row + down, column + across) for down in (-1, 0, 1) for across in (-1, 0, 1)]
            new = [place for place in near if place in left]
            left.difference_update(new)
            found += new
        yield found


def _spot(off: Plane, around: Plane, rows: Counts, columns: Counts, factor: float) -> Spot:
    strength = np.abs(off[rows, columns])
    strongest = _strongest(strength, off, rows, columns)
    area = float(strength.sum()) / strongest * factor**2
    return Spot(
        x_px=(float(np.average(columns, weights=strength)) + 0.5) * factor,
        y_px=(float(np.average(rows, weights=strength)) + 0.5) * factor,
        diameter_px=2 * math.sqrt(area / math.pi),
        depth=math.copysign(strongest, float(off[rows, columns].sum()))
        / max(float(around[rows, columns].mean()), 1e-6),
    )


def _strongest(strength: Plane, off: Plane, rows: Counts, columns: Counts) -> float:
    """Return how much a spot stands out at the most: of means of 3 × 3 pixels, if it has room for them."""
    top, left = int(rows.min()), int(columns.min())
    part = np.abs(off[top : int(rows.max()) + 1, left : int(columns.max()) + 1])
    if len(strength) < 25 or min(part.shape) < 5:
        return float(strength.max())
    total = np.pad(part, ((1, 0), (1, 0))).cumsum(axis=0, dtype=np.float64).cumsum(axis=1)
    means = (total[3:, 3:] - total[:-3, 3:] - total[3:, :-3] + total[:-3, :-3]) / 9
    return float(means.max())
