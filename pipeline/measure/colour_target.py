"""Find the 24-patch colour target in a frame: anywhere, at any turn, a little aslant, partly in shade.

Even regions of the reduced picture (`regions`) are put together to lattices (`lattice`); where 6 × 4 places
of a lattice have the colours of the target, in one of eight ways to lay it, there it is. Colours are held
against nominal ones after the whole cast and each patch's own lightness are taken out, so that a shadow
across the target or a wrong exposure does not hide it.

Of 360 generated frames with a target (steps of 14 px and more in the reduced picture, any turn, tilt to 25°,
half in shade to one stop with hard or soft border, noise to 0.012 of full scale, casts, one in ten mirrored)
all were found, the worst centre of a patch off by 0.009 of the pitch, the median frame's by 0.0005; of 360
frames without one (swatches, chessboards, albums, writing) none was taken for one. The first of each kind
are in the tests. Targets that lie square and evenly lit are placed within 0.05 px of the full picture.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline import icc
from pipeline.measure.colour import ciede2000
from pipeline.measure.lattice import FEWEST, Homography, Index, Lattice, homography, lattices
from pipeline.measure.pixels import NotMeasured, Pixels, Reduced, Shares
from pipeline.measure.profile import Profile, lab_from_xyz, lightness, profile_of_space, xyz_of_lab
from pipeline.measure.references import COLUMNS, PATCHES, ROWS, load
from pipeline.measure.regions import even_regions
from pipeline.specs.icc import Matrix

Numbers = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Place = tuple[float, float]
"""x and y in pixels of the full picture."""

LONG_SIDE_PX = 1000
"""Of the reduced picture that is searched."""
AGREEMENT = 13.0
"""Largest mean ΔE00 of the best 20 patches, casts and lightness taken out. A target reads 0 to 8, the same
upside down 30 or more."""
MARGIN = 1.5
"""The next best way to lay the target must be so much worse."""
LIGHTNESS_FOLLOWS = 0.5
"""Smallest correlation of the patches' lightness with nominal: shade costs some."""
JUDGED = 20
"""Patches that count: those that agree best. The others may lie in glare or beyond a clip."""
INNER = 0.2
"""Half the side of the square within a patch that is looked at when searching, as a share of the step."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundTarget:
    """Where a 24-patch target lies in a frame."""

    grid: Matrix
    """Rows of the 3 × 3 matrix that takes (column, row, 1) of a patch, from 0, to the full picture."""
    columns_px: float
    """Distance from patch to patch along the rows, in the middle of the target, in full pixels."""
    rows_px: float
    """The same from row to row."""
    turn_deg: float
    """By which the target is turned clockwise, as seen, from upright: −180 to 180."""
    is_mirrored: bool
    """True if the frame shows the target as a mirror does: the master is flipped."""
    recognised: int
    """Patches that were seen by themselves; the others lie where the grid says."""
    residual: float
    """Root mean square distance of those from the grid, as a share of the distance of patches."""
    agreement: float
    """Mean ΔE00 of the best 20 patches to nominal, casts and lightness taken out."""

    @property
    def plane(self) -> Homography:
        """Takes (column, row) of a patch, from 0, to the full picture."""
        return Homography(np.array(self.grid))

    def centre_px(self, number: int) -> Place:
        """Return the centre of patch `number`, from 0, row by row from the upper left."""
        row, column = divmod(number, COLUMNS)
        x, y = self.plane((column, row)).tolist()
        return (x, y)

    @property
    def corners_px(self) -> tuple[Place, Place, Place, Place]:
        """The corners of the field of patches: before the first patch, after patch 6, and so on around."""
        right, bottom = COLUMNS - 0.5, ROWS - 0.5
        corners = self.plane([(-0.5, -0.5), (right, -0.5), (right, bottom), (-0.5, bottom)])
        one, two, three, four = ((float(x), float(y)) for x, y in corners)
        return (one, two, three, four)


def find_target(pixels: Pixels, profile: Profile | None) -> FoundTarget | NotMeasured:
    """Return the largest 24-patch target of a frame, or why there is none to be measured."""
    found = find_targets(pixels, profile)
    return found if isinstance(found, NotMeasured) else found[0]


def find_targets(pixels: Pixels, profile: Profile | None) -> tuple[FoundTarget, ...] | NotMeasured:
    """Return all 24-patch targets of a frame, the largest first, or why there is none.

    Patches need about 6 px in a picture of 1,000 px. `profile` is the frame's; without one the search goes
    on as if the frame were sRGB, which does for searching, not for measuring.
    """
    if pixels.bands < 3:
        return NotMeasured(reason="the frame has no colour")
    sight = _Sight(pixels.reduced(LONG_SIDE_PX), profile)
    for regions in even_regions(sight.shares):
        found = [target for lattice in lattices(regions) if (target := sight.target(lattice))]
        if found:
            return tuple(sorted(found, key=lambda each: -each.columns_px * each.rows_px))
    return NotMeasured(reason="no 24-patch target is seen in the frame")


# ---------------------------------------------------------------------------------- ways to lay the grid


@dataclass(frozen=True, slots=True)
class _Way:
    """One way in which the target may lie on a lattice."""

    to_lattice: Numbers
    """3 × 3: (column, row, 1) of the target to (column, row, 1) of the lattice."""

    @property
    def places(self) -> list[Index]:
        """The places of the lattice that patches 1 to 24 have."""
        numbers = [divmod(number, COLUMNS) for number in range(PATCHES)]
        points = np.array([(column, row, 1) for row, column in numbers]) @ self.to_lattice.T
        return [(round(x), round(y)) for x, y, _ in points.tolist()]


def _ways() -> tuple[_Way, ...]:
    """Four turns, each as it is and mirrored; the lattice's upper left place of the target is (0, 0)."""
    ways: list[_Way] = []
    for turns in range(4):
        for mirror in (1, -1):
            angle = turns * math.pi / 2
            turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
            linear = np.rint(turn @ np.diag([mirror, 1]))
            corner = np.minimum(linear @ [COLUMNS - 1, 0], 0) + np.minimum(linear @ [0, ROWS - 1], 0)
            ways.append(_Way(np.block([[linear, -corner[:, np.newaxis]], [0, 0, 1]])))
    return tuple(ways)


_WAYS = _ways()


@dataclass(frozen=True, slots=True)
class _Fit:
    """A way to lay the target at a place of the lattice, and how well the colours agree."""

    way: _Way
    corner: Index
    score: float


class _Sight:
    """The reduced picture of a frame, and what is seen at places of a lattice in it."""

    def __init__(self, reduced: Reduced, profile: Profile | None) -> None:
        self.shares = reduced.shares
        self._factor = reduced.factor
        self._profile = profile or profile_of_space(icc.SRGB)
        self._nominal = load().array

    def target(self, lattice: Lattice) -> FoundTarget | None:
        """Return the target whose patches the lattice has, if it is one."""
        fits = sorted(self._fits(lattice), key=lambda each: each.score)
        if not fits or fits[0].score > AGREEMENT:
            return None
        best = fits[0]
        rival = next((each.score for each in fits if each.way is not best.way), math.inf)
        return self._found(lattice, best) if rival > MARGIN * best.score else None

    def _fits(self, lattice: Lattice) -> Iterator[_Fit]:
        seen = self._seen(lattice)
        most = 0
        corners: list[tuple[int, _Way, Index]] = []
        for way in _WAYS:
            for corner, count in _corners(way, lattice):
                corners.append((count, way, corner))
                most = max(most, count)
        for count, way, corner in corners:
            places = _shifted(way.places, corner)
            if count >= max(FEWEST, 0.7 * most) and all(place in seen for place in places):
                score = self._score(np.array([seen[place] for place in places]))
                yield _Fit(way, corner, score)

    def _seen(self, lattice: Lattice) -> dict[Index, Numbers]:
        """XYZ at the places of the lattice, and five beyond it, as far as they lie in the picture."""
        columns, rows = zip(*lattice.members, strict=True)
        reach = COLUMNS - 1
        wide = [(x, y) for y in _around(rows, reach) for x in _around(columns, reach)]
        centres = lattice.plane(wide)
        half = INNER * np.linalg.norm(lattice.plane(np.array(wide) + 0.5) - centres, axis=1)
        seen: dict[Index, Numbers] = {}
        for place, (x, y), side in zip(wide, centres.tolist(), half.tolist(), strict=True):
            patch = self._patch(x, y, side)
            if patch is not None:
                seen[place] = self._profile.xyz(self._profile.linear(patch))
        return seen

    def _patch(self, x: float, y: float, half: float) -> Shares | None:
        """The mean around a place; nothing if it lies, with its surroundings, beyond the picture."""
        rows, columns = self.shares.shape[:2]
        if not (half <= x <= columns - half and half <= y <= rows - half) or half > columns:
            return None
        left, right = int(x - half), max(math.ceil(x + half), int(x - half) + 1)
        top, bottom = int(y - half), max(math.ceil(y + half), int(y - half) + 1)
        mean: Shares = self.shares[top:bottom, left:right].mean(axis=(0, 1))
        return mean

    def _score(self, xyz: Numbers) -> float:
        """How far the colours of 24 places are from those of the target: mean ΔE00 of the best 20."""
        reference = xyz_of_lab(self._nominal)
        seen = np.maximum(xyz, 1e-4)
        follows = np.corrcoef(lightness(seen[:, 1]), self._nominal[:, 0])[0, 1]
        if not follows >= LIGHTNESS_FOLLOWS:
            return math.inf
        seen = seen * np.exp(np.median(np.log(reference / seen), axis=0))
        seen = seen * (reference[:, 1] / seen[:, 1])[:, np.newaxis]
        far = np.sort(ciede2000(lab_from_xyz(seen), self._nominal))
        return float(far[:JUDGED].mean())

    def _found(self, lattice: Lattice, fit: _Fit) -> FoundTarget | None:
        """The target, its grid fitted to those regions alone that are its patches."""
        own = [place for place in _shifted(fit.way.places, fit.corner) if place in lattice.members]
        centres = np.array([lattice.members[place] for place in own])
        plane = homography(np.array(own, np.float64), centres) or lattice.plane
        shift = np.array([[1, 0, fit.corner[0]], [0, 1, fit.corner[1]], [0, 0, 1]])
        grid = refined(plane.after(shift @ fit.way.to_lattice), self.shares).scaled(self._factor)
        return _described(grid, recognised=len(own), residual=lattice.residual, agreement=fit.score)


def _around(values: tuple[int, ...], reach: int) -> range:
    return range(min(values) - reach, max(values) + reach + 1)


def _shifted(places: list[Index], corner: Index) -> list[Index]:
    return [(x + corner[0], y + corner[1]) for x, y in places]


def _corners(way: _Way, lattice: Lattice) -> Iterator[tuple[Index, int]]:
    """Yield where the target's upper left place may lie, and how many regions the target then has."""
    columns, rows = zip(*lattice.members, strict=True)
    width, height = (max(each) for each in zip(*way.places, strict=True))
    for y in range(min(rows) - height, max(rows) + 1):
        for x in range(min(columns) - width, max(columns) + 1):
            count = sum(x <= c <= x + width and y <= r <= y + height for c, r in lattice.members)
            if count >= FEWEST:
                yield (x, y), count


# --------------------------------------------------------------------------------------- the exact place


def refined(grid: Homography, shares: Shares) -> Homography:
    """Return the grid of a target, fitted anew to the patches' centres of gravity in the reduced picture.

    In the cell of each patch, which reaches to the middle of the gaps around it, a pixel weighs 1 if it has
    the patch's colour, 0 if it has the gap's, and on the border something between. Patches that
    hardly differ from the gap, and those that something lies on, are left out.
    """
    box = _surroundings(grid, shares)
    cell, du, dv, area, codes = _cells(grid, shares, box)
    near = np.maximum(np.abs(du), np.abs(dv))
    gap = _cell_means(codes, cell, near > EDGE)
    step = _cell_means(codes, cell, near < CORE) - gap
    square = (step**2).sum(axis=1)
    direction = step / np.maximum(square, 1e-9)[:, np.newaxis]
    share = np.einsum("ij,ij->i", codes, direction[cell]) - (gap * direction).sum(axis=1)[cell]
    share /= np.maximum(_level(share, cell, du, dv, near < CORE), 0.2)
    weight = np.clip(share, 0, 1) * area
    total = np.maximum(np.bincount(cell, weight, PATCHES), 1e-9)
    off = np.stack([np.bincount(cell, weight * d, PATCHES) / total for d in (du, dv)], axis=1)
    stands_out = (square > STANDS_OUT**2) & (np.abs(off).max(axis=1) < OFF_CENTRE)
    numbers = np.flatnonzero(stands_out)
    places = np.stack([numbers % COLUMNS, numbers // COLUMNS], axis=1).astype(np.float64)
    return _fitted(places, grid(places + off[numbers])) or grid


def _level(share: Numbers, cell: npt.NDArray[np.intp], du: Numbers, dv: Numbers, core: Mask) -> Numbers:
    """Return at each pixel the share of the patch's colour by a plane through its core, where it is 1 on
    average: light may fall off within a patch.
    """
    own, heights = cell[core], share[core]
    count = np.maximum(np.bincount(own, minlength=PATCHES), 1)
    level = np.ones(len(share))
    for d in (du, dv):
        along = d[core]
        mean = np.bincount(own, along, PATCHES) / count
        spread = np.maximum(np.bincount(own, along**2, PATCHES) / count - mean**2, 1e-9)
        slope = (np.bincount(own, heights * along, PATCHES) / count - mean) / spread
        level += slope[cell] * (d - mean[cell])
    return level


def _fitted(places: Numbers, centres: Numbers) -> Homography | None:
    """The homography without those that lie off it by thrice the median; None if too few are left."""
    plane = None
    for _ in range(3):
        plane = homography(places, centres) if len(places) >= FEWEST else None
        if plane is None:
            return None
        off = np.linalg.norm(plane(places) - centres, axis=1)
        keep = off <= max(3 * float(np.median(off)), 1e-3)
        places, centres = places[keep], centres[keep]
    return plane


CORE, EDGE = 0.25, 0.46
"""Within the first, in steps of the grid from the middle, all is patch; beyond the second all is gap."""
STANDS_OUT = 0.04
"""Smallest difference of a patch from the gap, in codes, by which its place can be told."""
OFF_CENTRE = 0.06
"""A patch that seems to lie further from its place, in steps, has something on it."""


def _surroundings(grid: Homography, shares: Shares) -> tuple[int, int, int, int]:
    """Left, top, right, bottom of what the field of patches covers."""
    right, bottom = COLUMNS - 0.5, ROWS - 0.5
    corners = grid([(-0.5, -0.5), (right, -0.5), (right, bottom), (-0.5, bottom)])
    low, high = np.floor(corners.min(axis=0)).astype(int), np.ceil(corners.max(axis=0)).astype(int)
    height, width = shares.shape[:2]
    return max(0, int(low[0])), max(0, int(low[1])), min(width, int(high[0])), min(height, int(high[1]))


def _cells(
    grid: Homography, shares: Shares, box: tuple[int, int, int, int]
) -> tuple[npt.NDArray[np.intp], Numbers, Numbers, Numbers, Numbers]:
    """Return for each pixel in the field its patch, its place around the patch's centre across and down, how
    much of the target it covers, in a unit of no matter, and its codes.
    """
    left, top, right, bottom = box
    x = np.arange(left, right, dtype=np.float64)[np.newaxis, :] + 0.5
    y = np.arange(top, bottom, dtype=np.float64)[:, np.newaxis] + 0.5
    (a, b, c), (d, e, f), (g, h, i) = np.linalg.inv(grid.matrix)
    w = g * x + (h * y + i)
    u, v = (a * x + (b * y + c)) / w, (d * x + (e * y + f)) / w
    column, row = np.rint(u), np.rint(v)
    inside = (column >= 0) & (column < COLUMNS) & (row >= 0) & (row < ROWS)
    cell = (row * COLUMNS + column)[inside].astype(np.intp)
    codes = shares[top:bottom, left:right][inside].astype(np.float64)
    return cell, (u - column)[inside], (v - row)[inside], np.abs(w[inside] ** -3), codes


def _cell_means(codes: Numbers, cell: npt.NDArray[np.intp], chosen: Mask) -> Numbers:
    count = np.maximum(np.bincount(cell[chosen], minlength=PATCHES), 1)
    bands = [np.bincount(cell[chosen], codes[chosen, band], PATCHES) for band in range(codes.shape[1])]
    return np.stack(bands, axis=1) / count[:, np.newaxis]


def _described(grid: Homography, *, recognised: int, residual: float, agreement: float) -> FoundTarget:
    x, y = (COLUMNS - 1) / 2, (ROWS - 1) / 2
    left, right, above, below = grid([(x - 0.5, y), (x + 0.5, y), (x, y - 0.5), (x, y + 0.5)])
    across, down = right - left, below - above
    is_mirrored = float(across[0] * down[1] - across[1] * down[0]) < 0
    first, second, third = ((float(a), float(b), float(c)) for a, b, c in grid.matrix)
    return FoundTarget(
        grid=(first, second, third),
        columns_px=float(np.linalg.norm(across)),
        rows_px=float(np.linalg.norm(down)),
        turn_deg=math.degrees(math.atan2(across[1], across[0])),
        is_mirrored=is_mirrored,
        recognised=recognised,
        residual=residual,
        agreement=agreement,
    )
