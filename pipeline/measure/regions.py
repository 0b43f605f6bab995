"""Even regions of a reduced picture that may be patches of a target: about as long as wide, and filled.

A pixel is even if no band changes by more than a threshold within its 3 × 3 neighbourhood; even pixels
that touch are one region. Regions are told by their moments: those of a parallelogram satisfy
area = 12 √(determinant of the covariance), whatever its turn and slant.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.measure.pixels import Shares

Numbers = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Counts = npt.NDArray[np.intp]
Plane = npt.NDArray[np.float32]

STEP = 0.028
"""Smallest change of code that counts as a border: half of the step from a black patch to a black card."""
NOISE_STEPS = 7.0
"""The threshold is so many standard deviations of the noise at least: 9 samples rarely range wider."""
NOISY = 0.005
"""Noise from which the picture is smoothed too, over 3 × 3 pixels."""
SMALLEST_SIDE_PX = 5.0
LARGEST_SHARE = 0.25
"""Longest side of a region as a share of the picture's long side."""
FILLED = (0.8, 1.2)
LONGEST = 2.2
"""Largest ratio of the two axes: a patch that is seen aslant."""


@dataclass(frozen=True, slots=True)
class Regions:
    """Centres (x, y) and sides of regions, in pixels; row k of each array is region k."""

    centres: Numbers
    sides: Numbers
    """Square root of the area, with the border that evenness takes away given back."""

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.sides)


def even_regions(shares: Shares) -> Iterator[Regions]:
    """Yield the regions of a picture that may be patches: once as it is, and if it is noisy, smoothed too.

    Which of these sees a target depends on what the noise is: the sensor's is in the patches, that of rough
    cloth beneath the target is not.
    """
    yield _regions(shares, STEP)
    if (noise := noise_of(shares)) > NOISY:
        yield _regions(_box_blurred(shares), max(STEP, NOISE_STEPS * noise / 3))


def _regions(shares: Shares, threshold: float) -> Regions:
    labels, count = _labelled(local_range(shares) <= threshold)
    return _patch_like(labels, count, long_side_px=max(shares.shape[:2]))


def noise_of(shares: Shares) -> float:
    """Return the standard deviation of the noise, as a share of full scale, of the noisiest band.

    Median of the kernel (1 −2 1; −2 4 −2; 1 −2 1)/6, which neither planes nor straight edges along the
    grid disturb, on some 100 rows and every second column.
    """
    if min(shares.shape[:2]) < 4:
        return 0.0
    tops = np.arange(0, shares.shape[0] - 2, max(1, shares.shape[0] // 100))
    first, middle, last = (shares[tops + down] for down in range(3))
    column = first - 2 * middle + last
    kernel = (column[:, :-2:2] - 2 * column[:, 1:-1:2] + column[:, 2::2]) / 6
    return float(1.4826 * np.median(np.abs(kernel), axis=(0, 1)).max())


def local_range(shares: Shares) -> Plane:
    """Return the range within 3 × 3 pixels, of the band where it is widest; borders see what is there."""
    widest = np.zeros(shares.shape[:2], np.float32)
    for band in range(shares.shape[2]):
        plane = np.pad(shares[..., band], 1, mode="edge")
        high, low = (
            _three(_three(plane, extreme, axis=0), extreme, axis=1) for extreme in (np.maximum, np.minimum)
        )
        np.maximum(widest, high - low, out=widest)
    return widest


def _three(plane: Plane, extreme: np.ufunc, *, axis: int) -> Plane:
    """The extreme of each three neighbours along an axis; the result is two shorter."""
    size = plane.shape[axis] - 2
    along = [slice(start, start + size) for start in range(3)]
    first, middle, last = (plane[part] if axis == 0 else plane[:, part] for part in along)
    found: Plane = extreme(extreme(first, last), middle)
    return found


def _box_blurred(shares: Shares) -> Shares:
    padded = np.pad(shares, ((1, 1), (1, 1), (0, 0)), mode="edge")
    rows = padded[:-2] + padded[1:-1] + padded[2:]
    blurred: Shares = (rows[:, :-2] + rows[:, 1:-1] + rows[:, 2:]) / np.float32(9)
    return blurred


# ----------------------------------------------------------------------------------------- labelling


@dataclass(frozen=True, slots=True)
class _Runs:
    """Stretches of even pixels in rows: row, first column, column after the last, region."""

    rows: Counts
    starts: Counts
    ends: Counts
    regions: Counts


def _labelled(even: Mask) -> tuple[_Runs, int]:
    """Return the runs of even pixels with the number of the region that each belongs to, and how many."""
    padded = np.pad(even, ((0, 0), (1, 1))).astype(np.int8)
    edges = np.diff(padded, axis=1)
    rows, starts = np.nonzero(edges == 1)
    ends = np.nonzero(edges == -1)[1]
    above, below = _touching(rows, starts, ends, even.shape[1])
    regions, count = _joined(len(rows), above, below)
    return _Runs(rows, starts, ends, regions), count


def _touching(rows: Counts, starts: Counts, ends: Counts, width: int) -> tuple[Counts, Counts]:
    """Return pairs of runs of neighbouring rows that share a column: each run with those above it."""
    stride = width + 2
    first_keys, last_keys = rows * stride + starts, rows * stride + ends
    # of the row above: from the first run that ends beyond my start to the last that starts before my end
    low = np.searchsorted(last_keys, (rows - 1) * stride + starts, side="right")
    high = np.searchsorted(first_keys, (rows - 1) * stride + ends, side="left")
    number = np.maximum(high - low, 0)
    below = np.repeat(np.arange(len(rows)), number)
    offset = np.arange(number.sum()) - np.repeat(np.cumsum(number) - number, number)
    return np.repeat(low, number) + offset, below


def _joined(size: int, one: Counts, two: Counts) -> tuple[Counts, int]:
    """Return for each of `size` things the number of the group that links make, and how many groups."""
    parent = np.arange(size)
    while True:
        roots = np.minimum(parent[one], parent[two])
        before = parent.copy()
        np.minimum.at(parent, parent[one], roots)
        np.minimum.at(parent, parent[two], roots)
        while not np.array_equal(parent, hop := parent[parent]):
            parent = hop
        if np.array_equal(parent, before):
            break
    names, groups = np.unique(parent, return_inverse=True)
    return groups.astype(np.intp), len(names)


# ------------------------------------------------------------------------------------------- moments


def _patch_like(runs: _Runs, count: int, *, long_side_px: int) -> Regions:
    area, x, y, xx, xy, yy = _moments(runs, count)
    determinant = np.sqrt(np.maximum(xx * yy - xy * xy, 1e-12))
    filled = area / (12 * determinant)
    # eigenvalues of the covariance, of which the roots are the axes
    half, spread = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    ratio = np.sqrt((half + spread) / np.maximum(half - spread, 1e-12))
    sides = np.sqrt(area) + 2
    fits = (sides >= SMALLEST_SIDE_PX) & (sides <= LARGEST_SHARE * long_side_px) & (ratio < LONGEST)
    fits &= (filled > FILLED[0]) & (filled < FILLED[1])
    return Regions(centres=np.stack([x, y], axis=1)[fits], sides=sides[fits])


def _moments(runs: _Runs, count: int) -> tuple[Numbers, ...]:
    """Return area, mean x and y of pixel centres, and covariances of the pixels' squares, by region."""
    length = (runs.ends - runs.starts).astype(np.float64)
    middle = (runs.starts + runs.ends) / 2
    down = runs.rows + 0.5

    def total(values: Numbers) -> Numbers:
        return np.bincount(runs.regions, values, count).astype(np.float64)

    area = np.maximum(total(length), 1)
    x, y = total(length * middle) / area, total(length * down) / area
    xx = total(length * (middle**2 + length**2 / 12)) / area - x * x
    xy = total(length * middle * down) / area - x * y
    yy = total(length * (down**2 + 1 / 12)) / area - y * y
    return area, x, y, xx, xy, yy
