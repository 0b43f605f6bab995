"""Exposure of a page: what is clipped and where, and the tone of its sheet.

Clipping is counted on every pixel in full resolution, in strips of rows, so that small sparks count. Sparks
of gold, glazes, seals and glass clip by nature; a blown sheet does not. They are told apart by what is beside
them, in squares of 16 px: light that is clipped through and through over several squares, or beside tones
that are nearly clipped, is tone that was lost; clipped light among clearly darker or warm tones is
specular. Common practice, no source: a polished leaf that mirrors the lamp over a whole field counts as
lost tone, and a person must look.

Light that was clipped before a curve was applied does not lie at full scale: its codes pile up below it. So
each band's ceiling is looked for in a histogram of up to two million pixels: many times as many of them in a
narrow step as below it, and next to none above. What lies there counts as clipped.

Sources: shares of clipped pixels, per channel and of all: FADGI 2016 and Metamorfoze 1.0 look at them
without a formula; L* of the lightest tone: Metamorfoze 2.0 draft (nowhere above L* 98).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.measure.outline import LONG_SIDE_PX, Outline
from pipeline.measure.pixels import Box, Codes, NotMeasured, Pixels, Reduced, Shares
from pipeline.measure.profile import Profile
from pipeline.measure.siblings import Standing, standings

Numbers = npt.NDArray[np.float64]
Counts = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

STRIP_ROWS = 64
BLOCK_PX = 16
"""Side of the squares that clipped pixels are gathered in: 1 mm at 400 ppi."""
SOLID_SHARE, SOLID_BLOCKS = 0.9, 9
"""A block is clipped through and through from this share on; so many together are lost tone."""
BRIGHT_BESIDE = 0.9
"""Of full scale, in the brightest band: what is beside lost tones of a sheet is as bright."""
WARM_SHARE = 0.35
"""Red less blue, over red, of gold beside its sparks; of parchment it is under 0.25."""
MOST_PLACES = 40

MOST_COUNTED = 2_000_000
"""Pixels, at even distances, that the histogram is taken from."""
STEP_SHARE = 0.001
"""Of full scale, wide a step of the histogram: 66 codes of 16 bits; of 8 bits it is one code."""
LOWEST_CEILING = 0.75
"""Of full scale: a curve that presses white further down than this is a picture of something grey."""
LEAST_PILED = 0.001
"""Of all pixels, in a step that is a ceiling."""
TIMES_BELOW, STEPS_BELOW = 5.0, 20
"""So many times the mean of so many steps below it."""
LEFT_ABOVE = 0.02
"""Of what lies in the step, that may lie above it: dust on the sensor, hot pixels."""
LEAST_BELOW = 0.05
"""Of what lies in the step, in those below it: what is of one tone by nature has next to nothing there."""

TONE_STEP, TONE_NEAR = 0.5, 5.0
"""Steps of L* in which tones are counted; how far from the commonest one a tone is the sheet's."""
LEAST_PREVAILING = 0.15
"""Of the sheet, that its commonest tone must have."""
MOST_SAMPLES = 25_000
HIGHEST_PERCENTILE = 99.9
TONE_FLOOR = 0.5
"""Spread of L* in a session that is not taken to be smaller."""


# ------------------------------------------------------------------------------------------ clipping


@dataclass(frozen=True, slots=True, kw_only=True)
class ClippedPlace:
    """Where light is clipped: squares of 16 px that touch."""

    place: Box
    pixels: int
    is_specular: bool
    """Sparks among darker or warm tones; otherwise tones that were lost."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clipping:
    """Shares of pixels, 0 to 1, at the ends of the scale. Any: in at least one band; all: in every band."""

    ceilings: tuple[float, ...]
    """From which share of full scale on light counts as clipped, by band: 1, or where codes pile up."""
    dark_by_band: tuple[float, ...]
    light_by_band: tuple[float, ...]
    dark_any: float
    light_any: float
    dark_all: float
    light_all: float
    sheet_dark: float | NotMeasured
    """In any band, of the sheet's pixels alone; counted in blocks of 16 px."""
    sheet_light: float | NotMeasured
    around_dark: float | NotMeasured
    """Likewise outside of the sheet."""
    around_light: float | NotMeasured
    light_lost: float
    """Part of `light_any` on the sheet, or anywhere without an outline, that is lost tone."""
    light_specular: float
    """Part of it that is specular, as far as that can be told."""
    places: tuple[ClippedPlace, ...]
    """Where light is clipped there, lost tones first, then by size; no more than 40."""
    places_left_out: int


@dataclass(slots=True)
class _Tally:
    """Clipped pixels by band, in every band, and by block in any band: dark, then light."""

    bands: Counts
    every: Counts
    blocks: Counts
    beside_dark: Mask
    """By block: whether what is not clipped there is clearly darker than full scale, or warm."""


def clipping(pixels: Pixels, outline: Outline | NotMeasured) -> Clipping:
    """Count what lies at 0 and at full scale, over the frame, and on the sheet and around it."""
    full = 2**pixels.bits - 1
    ceilings = _ceilings(pixels)
    tally = _counted(pixels, ceilings)
    total = pixels.width_px * pixels.height_px
    by_band, every = tally.bands / total, tally.every / total
    dark, light = (blocks.sum() / total for blocks in tally.blocks)
    inside, sizes = _on_sheet(pixels, outline, tally.blocks.shape[1:])
    places = _places(pixels, tally.blocks[1] * inside, tally.beside_dark)
    shares = [_share(blocks, sizes, where) for where in (inside, ~inside) for blocks in tally.blocks]
    return Clipping(
        ceilings=tuple(each / full for each in ceilings),
        dark_by_band=tuple(float(each) for each in by_band[0]),
        light_by_band=tuple(float(each) for each in by_band[1]),
        dark_any=float(dark),
        light_any=float(light),
        dark_all=float(every[0]),
        light_all=float(every[1]),
        sheet_dark=shares[0] if isinstance(outline, Outline) else outline,
        sheet_light=shares[1] if isinstance(outline, Outline) else outline,
        around_dark=shares[2] if isinstance(outline, Outline) else outline,
        around_light=shares[3] if isinstance(outline, Outline) else outline,
        light_lost=sum(place.pixels for place in places if not place.is_specular) / total,
        light_specular=sum(place.pixels for place in places if place.is_specular) / total,
        places=tuple(places[:MOST_PLACES]),
        places_left_out=max(0, len(places) - MOST_PLACES),
    )


def _ceilings(pixels: Pixels) -> tuple[int, ...]:
    """The code of each band from which on light is clipped: full scale, or where codes pile up below it."""
    full = 2**pixels.bits - 1
    counts = np.zeros((pixels.bands, full + 1), np.int64)
    apart = max(1, math.isqrt(pixels.width_px * pixels.height_px // MOST_COUNTED))
    rows = [
        pixels.crop(Box(left=0, top=top, width=pixels.width_px, height=1))[:, ::apart]
        for top in range(0, pixels.height_px, apart)
    ]
    for band, plane in enumerate(np.moveaxis(np.concatenate(rows), 2, 0)):
        counts[band] = np.bincount(plane.ravel(), minlength=full + 1)
    return tuple(_ceiling(each) for each in counts)


def _ceiling(counts: Counts) -> int:
    """The lowest code of the step in which codes pile up; full scale if there is none."""
    full, total = len(counts) - 1, int(counts.sum())
    width = max(1, round(STEP_SHARE * full))
    edges = np.arange(full + 1, int(LOWEST_CEILING * full), -width)[::-1]
    sums = np.concatenate([[0], np.cumsum(counts)])
    steps = np.diff(sums[edges])
    wider = 1 if width > 1 else 0  # a pile may lie across the border of two steps, but not of two codes
    if counts[full] >= LEAST_PILED * total:
        return full  # clipped as it was written
    reach = STEPS_BELOW if width > 1 else STEPS_BELOW // 2
    for at in range(len(steps) - 1, reach, -1):
        low = at - wider
        piled, above = int(steps[low : at + 1].sum()), int(steps[at + 1 :].sum())
        below = int(steps[low - reach : low].sum())
        if (
            piled >= LEAST_PILED * total
            and above <= LEFT_ABOVE * piled
            and LEAST_BELOW * piled <= below < piled * reach / TIMES_BELOW
        ):
            return int(edges[low - 2 * wider])  # noise that came after the clip spreads a pile
    return full


def _counted(pixels: Pixels, ceilings: tuple[int, ...]) -> _Tally:
    """Look at all pixels once, in strips; those without extremes cost no more than that."""
    shape = -(-pixels.height_px // BLOCK_PX), -(-pixels.width_px // BLOCK_PX)
    tally = _Tally(
        np.zeros((2, pixels.bands), np.int64),
        np.zeros(2, np.int64),
        np.zeros((2, *shape), np.int64),
        np.zeros(shape, bool),
    )
    full = 2**pixels.bits - 1
    lowest, levels = min(ceilings), np.array(ceilings)
    for top in range(0, pixels.height_px, STRIP_ROWS):
        strip = pixels.crop(Box(left=0, top=top, width=pixels.width_px, height=STRIP_ROWS))
        if strip.min() == 0:
            _add(tally, 0, strip == 0, top)
        if strip.max() >= lowest:
            blocks = _add(tally, 1, strip == full if lowest == full else strip >= levels, top)
            if blocks.any():
                _look_beside(tally, strip, blocks, top, lowest)
    return tally


def _add(tally: _Tally, end: int, clipped: Mask, top: int) -> Counts:
    """Count a strip's clipped samples; blocks by row and column."""
    is_few = np.count_nonzero(clipped) < clipped.size // 16
    bands, every, blocks = (_few if is_few else _many)(clipped, tally.blocks.shape[2])
    tally.bands[end] += bands
    tally.every[end] += every
    first = top // BLOCK_PX
    tally.blocks[end, first : first + len(blocks)] += blocks
    return blocks


def _few(clipped: Mask, block_columns: int) -> tuple[Counts, int, Counts]:
    """Counts by band, in every band, and by block in any band; from the places of what is clipped."""
    height, width, bands = clipped.shape
    places = np.flatnonzero(clipped)
    pixel = places // bands
    is_first = np.diff(pixel, prepend=-1) > 0
    some = pixel[is_first]
    every = int((np.diff(np.flatnonzero(is_first), append=len(pixel)) == bands).sum())
    block_rows = -(-height // BLOCK_PX)
    numbers = some // width // BLOCK_PX * block_columns + some % width // BLOCK_PX
    blocks = np.bincount(numbers, minlength=block_rows * block_columns)
    return np.bincount(places % bands, minlength=bands), every, blocks.reshape(block_rows, block_columns)


def _many(clipped: Mask, block_columns: int) -> tuple[Counts, int, Counts]:
    """Count the same from all pixels, which is faster where many are clipped."""
    planes = [np.ascontiguousarray(clipped[..., band]) for band in range(clipped.shape[2])]
    some, every = np.logical_or.reduce(planes), np.logical_and.reduce(planes)
    rows = np.arange(0, clipped.shape[0], BLOCK_PX)
    by_rows = np.add.reduceat(some, rows, axis=0, dtype=np.int64)
    blocks: Counts = np.add.reduceat(by_rows, np.arange(block_columns) * BLOCK_PX, axis=1)
    return np.array([np.count_nonzero(plane) for plane in planes]), int(every.sum()), blocks


def _look_beside(tally: _Tally, strip: Codes, blocks: Counts, top: int, full: int) -> None:
    """Look at what is not clipped in each block with clipped light, at every second pixel."""
    rows, columns = np.nonzero(blocks)
    within = np.arange(0, BLOCK_PX, 2)
    down = np.minimum(rows[:, None] * BLOCK_PX + within, strip.shape[0] - 1)
    across = np.minimum(columns[:, None] * BLOCK_PX + within, strip.shape[1] - 1)
    tones = (
        strip[down[:, :, None], across[:, None, :]].astype(np.float32).reshape(len(rows), -1, strip.shape[2])
    )
    brightest = tones.max(axis=2)
    free = brightest < full
    count = np.maximum(free.sum(axis=1), 1)
    beside = (brightest * free).sum(axis=1) / count
    is_dark = (beside < BRIGHT_BESIDE * full) & free.any(axis=1)
    if strip.shape[2] == 3:
        red, blue = ((tones[..., band] * free).sum(axis=1) for band in (0, 2))
        is_dark |= red - blue > WARM_SHARE * red
    tally.beside_dark[top // BLOCK_PX + rows, columns] = is_dark


def _share(blocks: Counts, sizes: Counts, where: Mask) -> float | NotMeasured:
    size = int(sizes[where].sum())
    return float(blocks[where].sum()) / size if size else NotMeasured(reason="there is nothing around it")


def _on_sheet(pixels: Pixels, outline: Outline | NotMeasured, shape: tuple[int, ...]) -> tuple[Mask, Counts]:
    """Blocks whose middles lie on the sheet, all without an outline; and how many pixels each has."""
    rows, columns = (np.arange(size) * BLOCK_PX for size in shape)
    tall = np.minimum(BLOCK_PX, pixels.height_px - rows)
    wide = np.minimum(BLOCK_PX, pixels.width_px - columns)
    sizes = np.outer(tall, wide).astype(np.int64)
    if isinstance(outline, NotMeasured):
        return np.ones(shape, bool), sizes
    begins, ends = outline.columns(rows + tall / 2)
    middles = columns + wide / 2
    return (middles >= begins[:, None]) & (middles < ends[:, None]), sizes


# -------------------------------------------------------------------------------------------- places


def _places(pixels: Pixels, blocks: Counts, beside_dark: Mask) -> list[ClippedPlace]:
    """Blocks with clipped light that touch are one place; lost tones first, then the largest."""
    labels = joined(blocks > 0)
    number = int(labels.max()) + 1
    if number == 1:
        return []
    flat, counts = labels.ravel(), blocks.ravel()
    clipped = np.bincount(flat, counts, number)
    solid = np.bincount(flat, counts >= SOLID_SHARE * BLOCK_PX**2, number)
    specular = np.bincount(flat, counts * beside_dark.ravel(), number)
    full_blocks = np.bincount(flat, counts * (counts >= SOLID_SHARE * BLOCK_PX**2), number)
    # a few blocks full of light say nothing by themselves: what is beside them does
    is_specular = (solid < SOLID_BLOCKS) & (specular >= (clipped - full_blocks) / 2) & (specular > 0)
    top, bottom = _extents(np.broadcast_to(np.arange(labels.shape[0])[:, None], labels.shape), flat, number)
    left, right = _extents(np.broadcast_to(np.arange(labels.shape[1]), labels.shape), flat, number)
    order = sorted(range(1, number), key=lambda label: (is_specular[label], -clipped[label], label))
    return [
        ClippedPlace(
            place=Box(
                left=int(left[label]) * BLOCK_PX,
                top=int(top[label]) * BLOCK_PX,
                width=int(right[label] - left[label] + 1) * BLOCK_PX,
                height=int(bottom[label] - top[label] + 1) * BLOCK_PX,
            ).within(pixels.width_px, pixels.height_px),
            pixels=int(clipped[label]),
            is_specular=bool(is_specular[label]),
        )
        for label in order
    ]


def _extents(
    places: npt.NDArray[np.intp], labels: npt.NDArray[np.intp], number: int
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """The smallest and largest place of each label."""
    least, most = np.full(number, places.size), np.zeros(number, np.intp)
    np.minimum.at(least, labels, places.ravel())
    np.maximum.at(most, labels, places.ravel())
    return least, most


def joined(mask: Mask) -> npt.NDArray[np.intp]:
    """Number the regions of a mask that touch by their sides, from 1; 0 outside."""
    labels = np.where(mask, np.arange(1, mask.size + 1).reshape(mask.shape), 0)
    while True:
        before = labels
        labels = _least_along_rows(_least_along_rows(labels).T).T
        if np.array_equal(labels, before):
            break
    names, numbers = np.unique(labels, return_inverse=True)
    return numbers.reshape(mask.shape) + (0 if names[0] == 0 else 1)


def _least_along_rows(labels: npt.NDArray[np.intp]) -> npt.NDArray[np.intp]:
    """Give each stretch of a row the smallest number in it."""
    apart = np.pad(labels, ((0, 0), (0, 1)))  # so that rows do not run into each other
    flat = apart.ravel()
    places = np.flatnonzero(flat)
    if not len(places):
        return labels
    is_first = np.diff(places, prepend=places[0] - 2) > 1
    starts = np.flatnonzero(is_first)
    least = np.minimum.reduceat(flat[places], starts)
    flat[places] = least[np.cumsum(is_first) - 1]
    return flat.reshape(apart.shape)[:, :-1]


# ---------------------------------------------------------------------------------------------- tone


@dataclass(frozen=True, slots=True, kw_only=True)
class PageTone:
    """The commonest tone of a sheet: that of its paper, parchment, ground."""

    lightness: float
    """L*."""
    a: float
    b: float
    """a* and b* of it."""
    share: float
    """Of the sheet, within 5 L* of it."""
    highest_lightness: float
    """L* that 0.1 % of the sheet lies above, in squares of the reduced picture."""


def page_tone(
    pixels: Pixels, outline: Outline | NotMeasured, profile: Profile | NotMeasured
) -> PageTone | NotMeasured:
    """Return the tone of the sheet within its outline, or of the frame's middle without one.

    On some 25,000 squares of the reduced picture. For a sheet of one tone with noise to 0.02 the error is
    under 0.5 L*, whatever covers up to two fifths of it; held in tests.
    """
    if isinstance(profile, NotMeasured):
        return profile
    if profile.bands != pixels.bands:
        return NotMeasured(
            reason=f"the colour profile is for {profile.bands} bands and the frame has {pixels.bands}"
        )
    samples = _samples(pixels.reduced(LONG_SIDE_PX), outline)
    if not len(samples):
        return NotMeasured(reason="the sheet is too small")
    lab = profile.lab(profile.linear(samples))
    middle = _commonest(lab[:, 0])
    near = np.abs(lab[:, 0] - middle) <= TONE_NEAR
    if near.mean() < LEAST_PREVAILING:
        return NotMeasured(reason="no tone prevails on the sheet")
    closest = np.abs(lab[:, 0] - middle) <= TONE_NEAR / 2
    a, b = np.median(lab[closest, 1:], axis=0)
    return PageTone(
        lightness=float(lab[closest, 0].mean()),
        a=float(a),
        b=float(b),
        share=float(near.mean()),
        highest_lightness=float(np.percentile(lab[:, 0], HIGHEST_PERCENTILE)),
    )


def tone_standings(values: Sequence[float | NotMeasured]) -> tuple[Standing | NotMeasured, ...]:
    """Return how L* of each sheet of a session stands among its siblings, of one kind and side."""
    return standings(values, floor=TONE_FLOOR, is_ratio=False)


def _samples(reduced: Reduced, outline: Outline | NotMeasured) -> Shares:
    """Squares of the reduced picture on the sheet, away from its edges: (squares, bands)."""
    height, width, bands = reduced.shares.shape
    step = max(1, int((height * width / MOST_SAMPLES) ** 0.5))
    rows, columns = np.arange(step // 2, height, step), np.arange(step // 2, width, step)
    taken = reduced.shares[rows[:, None], columns]
    if isinstance(outline, NotMeasured):  # the middle, where the object is
        down, across = len(rows) // 5, len(columns) // 5
        return taken[down : len(rows) - down, across : len(columns) - across].reshape(-1, bands)
    margin = 0.01 * max(height, width) * reduced.factor
    begins, ends = outline.columns(np.asarray((rows + 0.5) * reduced.factor, np.float64))
    x = (columns + 0.5) * reduced.factor
    inside: Shares = taken[(x > begins[:, None] + margin) & (x < ends[:, None] - margin)]
    return inside


def _commonest(lightness: Numbers) -> float:
    """The middle of the highest bell, some 3 L* wide, in the histogram of L*."""
    edges = np.arange(-TONE_STEP * 6, 100 + TONE_STEP * 8, TONE_STEP)
    counts, _ = np.histogram(np.clip(lightness, 0, 100), edges)
    bell = np.array([1, 2, 3, 4, 3, 2, 1]) / 16
    smooth = np.convolve(counts, bell, mode="same")
    return float(edges[int(smooth.argmax())] + TONE_STEP / 2)
