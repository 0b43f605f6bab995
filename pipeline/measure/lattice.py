"""Regions that stand in rows and columns: grown from neighbours, then laid on a plane seen aslant.

A lattice grows from a region and two of its neighbours; each step predicts the next place from the last
two, so that a grid that recedes is followed. A homography then takes (column, row) to places in the
picture, by least squares over all regions, with those that lie off left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from pipeline.measure.regions import Regions

Numbers = npt.NDArray[np.float64]
Index = tuple[int, int]
"""Column and row of a lattice; they may be negative."""

FEWEST = 9
"""Regions of a lattice that is worth looking at."""
MOST_REGIONS = 1500
"""Regions that are looked at; the largest. A page of print has more that are no patches."""
LIKE_SIDES = 1.35
"""Largest ratio of the sides of neighbours."""
REACH = (0.9, 2.0)
"""Distance of neighbours as a multiple of their side."""
LIKE_STEPS = 1.6
"""Largest ratio of the two steps of a lattice."""
SQUARE = 0.5
"""Largest cosine between the two steps: 60 to 120 degrees."""
OFF_STEP = 0.22
"""How far a region may lie from where it is expected, as a share of the step."""
OFF_PLANE = 0.05
"""How far a region may lie from the fitted plane, as a share of the step."""
SHORTER = 1.2
"""A region of a lattice may be of another one if its steps are so much shorter."""
REGIONS_TRIED = 400
"""Regions from which growing is tried."""


@dataclass(frozen=True, slots=True)
class Homography:
    """Takes places on a plane to places in a picture."""

    matrix: Numbers
    """3 × 3, for column vectors (x, y, 1)."""

    def __call__(self, places: npt.ArrayLike) -> Numbers:
        """Return the places in the picture; x and y are the last axis."""
        points = np.asarray(places, np.float64)
        x, y, w = np.moveaxis(points @ self.matrix[:, :2].T + self.matrix[:, 2], -1, 0)
        return np.stack([x / w, y / w], axis=-1)

    def is_before(self, places: Numbers) -> bool:
        """True if all places lie on one side of the horizon, as those do that a camera sees."""
        depth = places @ self.matrix[2, :2] + self.matrix[2, 2]
        return bool((depth > 0).all())

    def after(self, inner: Numbers) -> Homography:
        """Return the homography that first applies the matrix `inner`, then this."""
        return Homography(_normal(self.matrix @ inner))

    def scaled(self, factor: float) -> Homography:
        """Return the homography into a picture that is `factor` times as large."""
        return Homography(_normal(np.diag([factor, factor, 1.0]) @ self.matrix))

    def step(self, place: tuple[float, float]) -> float:
        """Return how long a unit of the plane is at a place: the mean of its two directions."""
        x, y = place
        middle, right, below = self([(x, y), (x + 0.5, y), (x, y + 0.5)])
        return float(np.linalg.norm(right - middle) + np.linalg.norm(below - middle))


@dataclass(frozen=True, slots=True)
class Lattice:
    """Regions in rows and columns, and how the plane of the lattice lies in the picture."""

    members: dict[Index, tuple[float, float]]
    """The centre of the region at each place that has one, if it lies on the plane."""
    plane: Homography
    residual: float
    """Root mean square of the regions' distances from the plane, as a share of the step."""


@dataclass(frozen=True, slots=True)
class _Growth:
    """A lattice in the making: regions, and the two steps as they are around each."""

    members: dict[Index, int] = field(default_factory=dict)
    steps: dict[Index, Numbers] = field(default_factory=dict)


def lattices(regions: Regions) -> Iterator[Lattice]:
    """Yield lattices of regions. The largest regions go first.

    A region that is of a lattice may be of another one with shorter steps: a lattice may have begun along the
    diagonals, where patches lie half in shade.
    """
    order = np.argsort(-regions.sides, kind="stable")[:MOST_REGIONS]
    chosen = Regions(centres=regions.centres[order], sides=regions.sides[order])
    taken_at = np.full(chosen.count, np.inf)
    """The step of the lattice that each region is of."""
    for region in range(min(chosen.count, REGIONS_TRIED)):
        pairs = _step_pairs(chosen, region, taken_at)
        found = [(_grown(chosen, region, pair, _free(taken_at, pair)), pair) for pair in pairs]
        growth, pair = max(found, key=lambda each: len(each[0].members), default=(_Growth(), np.eye(2)))
        if len(growth.members) < FEWEST:
            continue
        taken_at[list(growth.members.values())] = _length(pair)
        lattice = fitted(growth.members, chosen)
        if lattice is not None:
            yield lattice


def _length(pair: Numbers) -> float:
    return float(np.hypot(pair[:, 0], pair[:, 1]).mean())


def _free(taken_at: Numbers, pair: Numbers) -> npt.NDArray[np.bool_]:
    """Which regions are not of a lattice with steps as short as these."""
    free: npt.NDArray[np.bool_] = taken_at > SHORTER * _length(pair)
    return free


def _step_pairs(regions: Regions, region: int, taken_at: Numbers) -> Iterator[Numbers]:
    """Yield the pairs of steps, rows of a 2 × 2 matrix, to neighbours of like size; shortest first."""
    steps = regions.centres - regions.centres[region]
    lengths, side = np.hypot(steps[:, 0], steps[:, 1]), regions.sides[region]
    near = (lengths > REACH[0] * side) & (lengths < REACH[1] * side) & _alike(regions.sides, side)
    by_length = [int(each) for each in np.flatnonzero(near)[np.argsort(lengths[near], kind="stable")][:6]]
    pairs = 0
    for number, one in enumerate(by_length):
        for two in by_length[number + 1 :]:
            pair = steps[[one, two]]
            slant = abs(float(pair[0] @ pair[1])) / (lengths[one] * lengths[two])
            is_free = _free(taken_at, pair)[[region, one, two]].all()
            if slant < SQUARE and lengths[two] < LIKE_STEPS * lengths[one] and is_free and pairs < 2:
                pairs += 1
                yield pair


def _alike(sides: Numbers, side: float) -> npt.NDArray[np.bool_]:
    alike: npt.NDArray[np.bool_] = (sides < LIKE_SIDES * side) & (sides * LIKE_SIDES > side)
    return alike


_DIRECTIONS: tuple[Index, ...] = ((1, 0), (0, 1), (-1, 0), (0, -1))


def _grown(regions: Regions, first: int, steps: Numbers, is_free: npt.NDArray[np.bool_]) -> _Growth:
    growth = _Growth({(0, 0): first}, {(0, 0): steps})
    taken, waiting = {first}, [(0, 0)]
    while waiting:
        place = waiting.pop(0)
        for direction in _DIRECTIONS:
            for far in (1, 2):  # a missing patch is stepped over
                beyond = (place[0] + far * direction[0], place[1] + far * direction[1])
                if beyond in growth.members or max(map(abs, beyond)) > 8:
                    break
                region = _next(regions, growth, place, direction, far, is_free)
                if region is not None and region not in taken:
                    _take(growth, place, beyond, region, regions, direction, far)
                    taken.add(region)
                    waiting.append(beyond)
                    break
    return growth


def _next(
    regions: Regions,
    growth: _Growth,
    place: Index,
    direction: Index,
    far: int,
    is_free: npt.NDArray[np.bool_],
) -> int | None:
    """The region that stands where the lattice goes on, if there is one of like size."""
    here, steps = growth.members[place], growth.steps[place]
    step = far * (np.array(direction) @ steps)
    off = regions.centres - (regions.centres[here] + step)
    distance = np.hypot(off[:, 0], off[:, 1])
    region = int(distance.argmin())
    is_there = distance[region] < OFF_STEP * np.hypot(*step) * (1.3 / far)
    is_like = bool(_alike(regions.sides[[region]], regions.sides[here])[0])
    return region if is_there and is_like and is_free[region] else None


def _take(
    growth: _Growth, place: Index, beyond: Index, region: int, regions: Regions, direction: Index, far: int
) -> None:
    """Enter a region; the step in its direction is what it was, the other stays."""
    moved = (regions.centres[region] - regions.centres[growth.members[place]]) / far
    steps = growth.steps[place].copy()
    axis = 0 if direction[0] else 1
    steps[axis] = moved * direction[axis]
    growth.members[beyond], growth.steps[beyond] = region, steps


# ------------------------------------------------------------------------------------------- fitting


def fitted(members: dict[Index, int], regions: Regions) -> Lattice | None:
    """Return the lattice with its plane, without the regions that lie off it; None if too few are left."""
    left = dict(members)
    while len(left) >= FEWEST:
        places = np.array(list(left), np.float64)
        centres = regions.centres[list(left.values())]
        plane = homography(places, centres)
        if plane is None or not plane.is_before(places):
            return None
        off = np.linalg.norm(plane(places) - centres, axis=1)
        off /= plane.step((float(places[:, 0].mean()), float(places[:, 1].mean())))
        worst = int(off.argmax())
        if off[worst] <= OFF_PLANE:
            found = {place: (float(x), float(y)) for place, (x, y) in zip(left, centres, strict=True)}
            return Lattice(found, plane, float(np.sqrt((off**2).mean())))
        del left[list(left)[worst]]
    return None


def homography(places: Numbers, centres: Numbers) -> Homography | None:
    """Return the homography from places to centres by least squares; None if they do not determine one.

    Direct linear transform with both sides normalised (mean 0, mean distance √2).
    """
    before, after = _normalising(places), _normalising(centres)
    if before is None or after is None:
        return None
    (x, y), (u, v) = (_moved(each, by).T for each, by in ((places, before), (centres, after)))
    one, nil = np.ones_like(x), np.zeros_like(x)
    rows = np.concatenate(
        [
            np.stack([x, y, one, nil, nil, nil, -u * x, -u * y, -u], axis=1),
            np.stack([nil, nil, nil, x, y, one, -v * x, -v * y, -v], axis=1),
        ]
    )
    _, sizes, basis = np.linalg.svd(rows, full_matrices=False)
    if len(sizes) < 9 or sizes[7] < 1e-6 * sizes[0]:
        return None
    matrix = np.linalg.inv(after) @ basis[8].reshape(3, 3) @ before
    return Homography(_normal(matrix)) if abs(matrix[2, 2]) > 1e-12 else None


def _normalising(points: Numbers) -> Numbers | None:
    middle = points.mean(axis=0)
    spread = float(np.linalg.norm(points - middle, axis=1).mean())
    if spread == 0:
        return None
    s = np.sqrt(2) / spread
    return np.array([[s, 0, -s * middle[0]], [0, s, -s * middle[1]], [0, 0, 1]])


def _moved(points: Numbers, matrix: Numbers) -> Numbers:
    moved: Numbers = points @ matrix[:2, :2].T + matrix[:2, 2]
    return moved


def _normal(matrix: Numbers) -> Numbers:
    normal: Numbers = matrix / matrix[2, 2]
    return normal
