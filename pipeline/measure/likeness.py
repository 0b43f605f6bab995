"""How like two frames are: the same view taken twice, or filed in another's place.

Pages of one book are nearly the same picture: a bright sheet in one binding, lines at one pitch. What differs
is where the words are. So each frame becomes its ink (tones against their surroundings, 128 px on the long
side), and two frames are correlated over shifts to 6 % and turns to 1.2° with the spectra flattened: what
lines have in common is a few strong frequencies, what words have in common is all of them (phase correlation:
Kuglin and Hines 1975; flattened in part only, common practice). Rulings and the edges of book and binding lie
on the axes of a spectrum, which are left out: with them leaves of one binding were alike for being blank.

All pairs of an item are too many for that, so it is left to those that are nearest by the sizes of their
spectra alone, which stay as they are wherever the page lies: one product of two vectors a pair.

The same page again, shifted to 3 %, turned to 1°, darker, a little softer, came to 0.50 at least (460 takes,
most above 0.75; by the sizes of their spectra to 0.27). Different pages came to 0.16 at most if they were
written in full (900 drawn, 400 put together from lines of six photographed pages: 484,350 pairs), to 0.32 on
a printed form that was filled in by hand, to 0.35 where they share whole lines in the same places (the
demonstration), to 0.48 with two to seven lines on leaves of one binding (5,951 pairs), and to 0.45 on such
leaves without any. Covers of one design are alike, and so are views of one page under two lights (0.2 to
0.5): compare pages, and those of one kind of view.

The 64-bit hash (signs of the lowest cosine terms of a picture of 32 × 32, common practice) finds the same
picture again after changes of exposure and size. It cannot tell pages of one hand: photographs of six
different pages were 4 bits apart in the middle, nearer than one page and its own shifted second take.
"""

from __future__ import annotations

import base64
import math
import zlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.measure.outline import LONG_SIDE_PX, Outline, block_means, grey_of
from pipeline.measure.pixels import NotMeasured, Pixels

Plane = npt.NDArray[np.float32]
Numbers = npt.NDArray[np.float64]
Spectrum = npt.NDArray[np.complex128]

SIDE_PX = 128
"""Long side of the pictures that are compared, and both sides of their transforms."""
SURROUND_PX = 5
"""How far around a place its surroundings reach."""
BORDER_SHARE = 0.1
"""Of each side, that is not compared."""
BLANK = 0.02
"""Ink, as a share of full scale, that half a percent of a page has at least if it is not blank."""
FURTHEST_PX = 8
TURNS_DEG: tuple[float, ...] = tuple(round(-1.2 + 0.3 * each, 1) for each in range(9))
FLATTENED = 0.7
"""Power of the spectrum that is divided out: 0 is plain correlation, 1 leaves phases alone."""
HIGHEST_CY_PX = 0.25
AXES = 2
"""Steps of frequency on either side of the axes that are left out: waves of half the frame and longer."""
SAME_FROM = 0.5
"""Correlation from which two frames are of the same page."""
KIN_SIDE = 32
"""Steps of frequency to which the sizes of spectra are compared: waves of 4 px."""
KIN_FROM = 0.2
"""Correlation of the sizes of spectra from which two frames are compared in full."""
NEAREST = 3
"""Frames that each is compared with in full; if all are alike, it is one of a crowd."""
BLOCK = 512
"""Frames that are held against all others at a time."""
SHAPES_APART = 0.05
"""Frames whose shapes differ by more are different views."""

HASH_SIDE, HASH_TERMS = 32, 8


# ---------------------------------------------------------------------------------------------- hash


def picture_hash(pixels: Pixels) -> str | NotMeasured:
    """Return 64 bits in hexadecimal digits: signs of the lowest cosine terms against their median.

    A frame without any change of tone has none.
    """
    square = resized(_coarse(grey_of(pixels.reduced(LONG_SIDE_PX).shares)), HASH_SIDE, HASH_SIDE)
    terms = _cosines(HASH_SIDE, HASH_TERMS)
    low = (terms @ square @ terms.T).ravel()
    rest = low[1:]  # the first is the mean tone
    if float(np.abs(rest).max()) < 1e-3 * HASH_SIDE:
        return NotMeasured(reason="the frame has one tone throughout")
    bits = low > np.median(rest)
    bits[0] = False
    return f"{int(''.join('1' if bit else '0' for bit in bits), 2):0{HASH_TERMS**2 // 4}x}"


def hash_distance(one: str, two: str) -> int:
    """Return by how many bits two hashes differ."""
    return (int(one, 16) ^ int(two, 16)).bit_count()


def _coarse(grey: Plane) -> Plane:
    """Three times as fine as what is compared, at the least: the rest of the way takes weights."""
    factor = max(grey.shape) // (3 * SIDE_PX)
    return block_means(grey, factor) if factor > 1 else grey


def _cosines(size: int, terms: int) -> Numbers:
    places = np.arange(size, dtype=np.float64) + 0.5
    return np.cos(np.pi / size * np.outer(np.arange(terms), places))


# --------------------------------------------------------------------------------------- comparison


@dataclass(frozen=True, slots=True, eq=False)
class Signature:
    """The ink of a frame, small."""

    ink: Plane
    """Mean 0; nothing near the frame's and the sheet's edges."""

    @property
    def shape(self) -> float:
        """Width over height."""
        height, width = self.ink.shape
        return float(width / height)

    def written(self) -> str:
        """Return it as text of 5 to 9 kilobytes, for a receipt: its height, and its rows in 255 steps."""
        scale = 127 / max(float(np.abs(self.ink).max()), 1e-9)
        steps = np.rint(self.ink * scale).astype(np.int8)
        return f"{len(self.ink)} {base64.b64encode(zlib.compress(steps.tobytes(), 9)).decode()}"

    @staticmethod
    def read(text: str) -> Signature:
        """Return what `written` gave; only the scale of its ink is another."""
        height, packed = text.split()
        steps = np.frombuffer(zlib.decompress(base64.b64decode(packed)), np.int8)
        return Signature(steps.reshape(int(height), -1).astype(np.float32))


@dataclass(frozen=True, slots=True, kw_only=True)
class Likeness:
    """How like two frames are, and how the second lies against the first."""

    correlation: float
    """−1 to 1, at the best shift and turn, with flattened spectra."""
    turn_deg: float
    """To be taken off the second, in steps of 0.3°, clockwise as seen."""
    across_share: float
    """Shift of the second to the right and down, as a share of the long side."""
    down_share: float

    @property
    def is_same(self) -> bool:
        """Whether both show the same page."""
        return self.correlation >= SAME_FROM


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two frames of a sequence that show the same page; numbers of their places, from 0."""

    first: int
    second: int
    likeness: Likeness


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubles:
    """What a sequence shows twice."""

    pairs: tuple[Pair, ...]
    """In the order of their places."""
    crowd: tuple[int, ...]
    """Places of frames of which each is like several others, as ruled leaves without writing are: whether
    there is a double among them cannot be told."""


def signature(pixels: Pixels, outline: Outline | NotMeasured) -> Signature | NotMeasured:
    """Return what a frame is compared by; a thumbnail of 256 px or more does as well as the frame.

    A blank page has none: its likeness to others would be chance.
    """
    reduced = pixels.reduced(LONG_SIDE_PX)
    grey = grey_of(reduced.shares)
    scale = SIDE_PX / max(grey.shape)
    height, width = (round(side * scale) for side in grey.shape)
    if min(height, width) < 4 * SURROUND_PX:
        return NotMeasured(reason="the frame is too narrow to be compared")
    small = resized(_coarse(grey), height, width)
    ink = np.clip(np.abs(small - _surroundings(small, SURROUND_PX)), 0, 0.25)
    where = _compared(ink.shape, outline, 1 / scale * reduced.factor)
    if not where.any() or float(np.percentile(ink[where], 99.5)) < BLANK:
        return NotMeasured(reason="the page is blank")
    flat = where * (ink - _means_within(ink, where, SURROUND_PX + 3))
    top, left = round(BORDER_SHARE * height), round(BORDER_SHARE * width)
    inner = flat[top : height - top, left : width - left]
    return Signature((inner - inner.mean()).astype(np.float32))


def compare(one: Signature, two: Signature) -> Likeness | NotMeasured:
    """Return how like two frames are."""
    if abs(math.log(one.shape / two.shape)) > SHAPES_APART:
        return NotMeasured(reason="the frames have different shapes")
    return _best(_spectrum(one.ink), _turned_spectra(two.ink))


def near_duplicates(signatures: Sequence[Signature | NotMeasured]) -> Doubles:
    """Return which frames show the same page, however far apart they stand.

    The frames must be of one kind of view: a page under two lights is meant to be alike.
    """
    known = [(place, each) for place, each in enumerate(signatures) if isinstance(each, Signature)]
    alike = [
        Pair(first=known[one][0], second=known[two][0], likeness=likeness)
        for one, two in _nearest([each for _, each in known])
        if isinstance(likeness := compare(known[one][1], known[two][1]), Likeness) and likeness.is_same
    ]
    count = Counter(place for pair in alike for place in (pair.first, pair.second))
    crowd = frozenset(place for place in count if count[place] >= NEAREST)
    pairs = (pair for pair in alike if not crowd & {pair.first, pair.second})
    return Doubles(pairs=tuple(pairs), crowd=tuple(sorted(crowd)))


def _nearest(signatures: Sequence[Signature]) -> list[tuple[int, int]]:
    """The pairs to be compared: each frame with the few that are nearest by the sizes of their spectra."""
    if len(signatures) < 2:
        return []
    sizes = np.stack([_sizes(each.ink) for each in signatures])
    found: set[tuple[int, int]] = set()
    for start in range(0, len(sizes), BLOCK):
        kinship = sizes[start : start + BLOCK] @ sizes.T
        rows = np.arange(len(kinship))
        kinship[rows, start + rows] = -1  # itself
        for row, nearest in enumerate(np.argsort(-kinship, axis=1, kind="stable")[:, :NEAREST]):
            near = (int(other) for other in nearest if kinship[row, other] >= KIN_FROM)
            found.update((min(start + row, other), max(start + row, other)) for other in near)
    return sorted(found)


# ---------------------------------------------------------------------------------------- arithmetic


def _compared(
    shape: tuple[int, ...], outline: Outline | NotMeasured, px_per_place: float
) -> npt.NDArray[np.bool_]:
    """Which places of the small picture are compared: the frame's middle, as far as it is on the sheet."""
    height, width = shape
    rows, columns = np.arange(height, dtype=np.float64), np.arange(width, dtype=np.float64)
    inside = np.abs(rows[:, None] + 0.5 - height / 2) < (0.5 - BORDER_SHARE) * height
    inside = inside & (np.abs(columns + 0.5 - width / 2) < (0.5 - BORDER_SHARE) * width)
    if isinstance(outline, NotMeasured):
        return inside
    margin = SURROUND_PX + 1  # where the ground beyond is still among the surroundings
    begins, ends = (each / px_per_place for each in outline.columns((rows + 0.5) * px_per_place))
    # a row within the margin of one beyond the sheet has nothing either
    has_none = (ends <= begins).astype(int)
    reach = math.ceil(margin)
    near_none = np.convolve(has_none, np.ones(2 * reach + 1, int), mode="same") > 0
    across = (columns + 0.5 > begins[:, None] + margin) & (columns + 0.5 < ends[:, None] - margin)
    return np.asarray(inside & across & ~near_none[:, None])


def _best(one: Spectrum, turned: list[Spectrum]) -> Likeness:
    """The highest correlation over shifts, in parts of a pixel, and turns."""
    best = Likeness(correlation=-1.0, turn_deg=0.0, across_share=0.0, down_share=0.0)
    for turn_deg, two in zip(TURNS_DEG, turned, strict=True):
        correlation = np.fft.irfft2(np.conj(one) * two, (SIDE_PX, SIDE_PX))
        reach = FURTHEST_PX + 1
        near = np.roll(correlation, (reach, reach), axis=(0, 1))[: 2 * reach + 1, : 2 * reach + 1]
        row, column = (each + 1 for each in divmod(int(near[1:-1, 1:-1].argmax()), 2 * reach - 1))
        top = float(near[row, column])
        more_down, down = _summit(near[row - 1, column], top, near[row + 1, column])
        more_across, across = _summit(near[row, column - 1], top, near[row, column + 1])
        if top + more_down + more_across > best.correlation:
            best = Likeness(
                correlation=min(1.0, top + more_down + more_across),
                turn_deg=-turn_deg,
                across_share=(column - reach + across) / SIDE_PX,
                down_share=(row - reach + down) / SIDE_PX,
            )
    return best


def _summit(before: float, top: float, after: float) -> tuple[float, float]:
    """By how much a parabola through three values rises above the middle one, and where."""
    bend = float(before - 2 * top + after)
    if bend >= 0 or top < max(before, after):  # no summit: the place is at the end of what was looked at
        return 0.0, 0.0
    place = 0.5 * float(before - after) / bend
    return -0.25 * float(before - after) * place, place


def _turned_spectra(ink: Plane) -> list[Spectrum]:
    return [_spectrum(_turned(ink, turn_deg)) for turn_deg in TURNS_DEG]


def _sizes(ink: Plane) -> Plane:
    """The sizes of the spectrum's lower terms against those about them: mean 0, norm 1."""
    size = np.abs(_plain_spectrum(ink))
    size = np.concatenate([size[-KIN_SIDE:, :KIN_SIDE], size[:KIN_SIDE, :KIN_SIDE]]).astype(np.float64)
    logs = np.log(size + 1e-3 * size.max() + 1e-12)
    down, across = np.arange(-KIN_SIDE, KIN_SIDE)[:, None], np.arange(KIN_SIDE)
    counts = (np.hypot(down, across) <= KIN_SIDE) & (np.abs(down) > AXES) & (across > AXES)
    found = (logs - _surroundings(logs, 3))[counts]
    found -= found.mean()
    return np.asarray(found / max(float(np.linalg.norm(found)), 1e-9), np.float32)


def _plain_spectrum(ink: Plane) -> Spectrum:
    height, width = ink.shape
    faded = ink * np.sqrt(np.hanning(height + 2)[1:-1, None] * np.hanning(width + 2)[1:-1])
    return np.asarray(np.fft.rfft2(faded, (SIDE_PX, SIDE_PX)))


def _spectrum(ink: Plane) -> Spectrum:
    """The spectrum, flattened in part, without its axes and what is finest, and of norm 1 so that products
    correlate."""
    spectrum = _plain_spectrum(ink)
    down, across = np.fft.fftfreq(SIDE_PX)[:, None], np.fft.rfftfreq(SIDE_PX)
    size = np.abs(spectrum)
    power = size**FLATTENED
    spectrum *= np.exp(-(down**2 + across**2) / (2 * HIGHEST_CY_PX**2)) / (power + 1e-3 * power.max() + 1e-12)
    spectrum[np.abs(np.fft.fftfreq(SIDE_PX, 1 / SIDE_PX)) <= AXES] = 0
    spectrum[:, : AXES + 1] = 0
    energy = float(np.fft.irfft2(np.abs(spectrum) ** 2, (SIDE_PX, SIDE_PX))[0, 0])
    return np.asarray(spectrum / math.sqrt(max(energy, 1e-30)))


def _turned(ink: Plane, turn_deg: float) -> Plane:
    """Turn a picture about its middle, clockwise as seen, by linear interpolation; beyond is nothing."""
    if turn_deg == 0:
        return ink
    height, width = ink.shape
    cosine, sine = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    y = (np.arange(height) - (height - 1) / 2)[:, None]
    x = (np.arange(width) - (width - 1) / 2)[None, :]
    column, row = x * cosine + y * sine + (width - 1) / 2, y * cosine - x * sine + (height - 1) / 2
    inside = (column >= 0) & (column <= width - 1) & (row >= 0) & (row <= height - 1)
    left = np.clip(column.astype(np.intp), 0, width - 2)
    top = np.clip(row.astype(np.intp), 0, height - 2)
    across, down = column - left, row - top
    upper = ink[top, left] * (1 - across) + ink[top, left + 1] * across
    lower = ink[top + 1, left] * (1 - across) + ink[top + 1, left + 1] * across
    return np.asarray(np.where(inside, upper * (1 - down) + lower * down, 0), np.float32)


def resized(plane: npt.NDArray[np.floating], height: int, width: int) -> Numbers:
    """Return a smaller picture; each of its places is a mean that fades out to the middles of its neighbours.

    Means over squares that do not overlap would let fine strokes beat against the grid: a shift by half a
    place then makes another picture.
    """
    rows, columns = _weights(plane.shape[0], height), _weights(plane.shape[1], width)
    return np.asarray(rows @ plane.astype(np.float32, copy=False) @ columns.T, np.float64)


def _weights(size: int, count: int) -> Plane:
    """How much each of `size` pixels counts in each of `count` places."""
    step = size / count
    middles = (np.arange(count)[:, None] + 0.5) * step
    share = np.clip(1 - np.abs(np.arange(size) + 0.5 - middles) / max(step, 1), 0, None)
    return np.asarray(share / share.sum(axis=1, keepdims=True), np.float32)


def _means_within(plane: Numbers, where: npt.NDArray[np.bool_], reach: int) -> Numbers:
    """Means over squares of what lies in a mask."""
    share = _surroundings(where.astype(np.float64), reach)
    return np.asarray(_surroundings(plane * where, reach) / np.maximum(share, 1e-9))


def _surroundings(plane: Numbers, reach: int) -> Numbers:
    """Means over squares of 2 · reach + 1 pixels; borders go on as they end."""
    width = 2 * reach + 1
    sums = np.pad(np.pad(plane, reach, mode="edge").cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    total = sums[width:, width:] - sums[:-width, width:] - sums[width:, :-width] + sums[:-width, :-width]
    return np.asarray(total / width**2)
