"""Find a grey scale in a frame, a row of even steps from light to dark, and read its tones and noise.

Under ultraviolet and infrared the published colours of a target say nothing: they are for visible light.
What is left is the row of greys: in which order and how far apart the frame renders them, and how noisy it
is there. The steps may lie at any turn; each is lighter than the next, all are about as long as wide and
evenly spaced. A row of greys in a target of colours is one as well.

Tones of steps of known lightness come out within 0.1 L*, noise within 10 %; held in tests over turns,
bit depths and noise.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.measure.colour_target import LONG_SIDE_PX
from pipeline.measure.lattice import LIKE_SIDES, MOST_REGIONS, OFF_STEP, REACH
from pipeline.measure.patches import FEWEST_PER_SIDE, HALF, MOST_PER_SIDE, lightness_plane
from pipeline.measure.pixels import Box, NotMeasured, Pixels, Shares, shares_of
from pipeline.measure.profile import Profile, lightness
from pipeline.measure.regions import Regions, even_regions

Numbers = npt.NDArray[np.float64]

FEWEST_STEPS = 5
LEAST_STEP, LEAST_RANGE = 3.0, 30.0
"""L* between neighbours, and from the first to the last: less is a row of something else."""
REGIONS_TRIED = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of a grey scale."""

    lightness: float
    """L*, mean of its middle."""
    noise: float
    """Standard deviation of L*, without a plane and without dust."""
    place: Box
    """What was looked at."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GreyScale:
    """A grey scale as the frame shows it."""

    steps: tuple[Step, ...]
    """From light to dark."""
    pitch_px: float
    """From step to step, in pixels of the full picture."""


def measure_grey_scale(pixels: Pixels, profile: Profile | NotMeasured) -> GreyScale | NotMeasured:
    """Return the grey scale with the most steps, or why there is none."""
    if isinstance(profile, NotMeasured):
        return profile
    if profile.bands != pixels.bands:
        return NotMeasured(
            reason=f"the colour profile is for {profile.bands} bands and the frame has {pixels.bands}"
        )
    reduced = pixels.reduced(LONG_SIDE_PX)
    for regions in even_regions(reduced.shares):
        if rows := list(_rows(regions, reduced.shares, profile)):
            centres = max(rows, key=len) * reduced.factor
            return _measured(pixels, profile, centres)
    return NotMeasured(reason="no row of even greys from light to dark is seen in the frame")


# --------------------------------------------------------------------------------------------- the row


def _rows(regions: Regions, shares: Shares, profile: Profile) -> Iterator[Numbers]:
    """Yield the centres of rows of regions, from light to dark, that fall in tone from each to the next."""
    order = np.argsort(-regions.sides, kind="stable")[:MOST_REGIONS]
    centres, sides = regions.centres[order], regions.sides[order]
    tones = lightness(profile.luminance(profile.linear(_tones(centres, sides, shares))))
    for first in range(min(len(sides), REGIONS_TRIED)):
        for second in _neighbours(first, centres, sides):
            row = _followed(first, second, centres, sides, tones)
            if len(row) >= FEWEST_STEPS and tones[row[0]] - tones[row[-1]] >= LEAST_RANGE:
                yield centres[row]


def _tones(centres: Numbers, sides: Numbers, shares: Shares) -> Numbers:
    """Mean codes in the middle of regions: (regions, bands)."""
    half = np.maximum(1, (sides / 4).astype(int))
    places = zip(centres.astype(int).tolist(), half.tolist(), strict=True)
    means = [
        shares[max(0, y - h) : y + h + 1, max(0, x - h) : x + h + 1].mean(axis=(0, 1)) for (x, y), h in places
    ]
    return np.array(means, np.float64).reshape(len(means), shares.shape[2])


def _neighbours(region: int, centres: Numbers, sides: Numbers) -> list[int]:
    """Regions of like size at the distance of a neighbour."""
    away = np.hypot(*(centres - centres[region]).T) / sides[region]
    ratio = np.maximum(sides / sides[region], sides[region] / sides)
    found = np.flatnonzero((ratio < LIKE_SIDES) & (away > REACH[0]) & (away < REACH[1]))
    return [int(each) for each in found]


def _followed(first: int, second: int, centres: Numbers, sides: Numbers, tones: Numbers) -> list[int]:
    """Go on from the first to the second as long as a darker region of like size lies a step further."""
    row = [first, second]
    if tones[first] - tones[second] < LEAST_STEP:
        return []
    while True:
        step = centres[row[-1]] - centres[row[-2]]
        off = np.hypot(*(centres - centres[row[-1]] - step).T)
        nearest = int(off.argmin())
        ratio = sides[nearest] / sides[row[-1]]
        is_like = 1 / LIKE_SIDES < ratio < LIKE_SIDES
        if (
            nearest in row
            or not is_like
            or off[nearest] > OFF_STEP * math.hypot(*step)
            or tones[row[-1]] - tones[nearest] < LEAST_STEP
        ):
            return row
        row.append(nearest)


# ------------------------------------------------------------------------------------------- the steps


def _measured(pixels: Pixels, profile: Profile, centres: Numbers) -> GreyScale | NotMeasured:
    pitch = float(np.hypot(*np.diff(centres, axis=0).T).mean())
    # a square along the frame's axes stays within a step that lies at any turn
    side = min(MOST_PER_SIDE, int(2 * HALF * pitch))
    if side < FEWEST_PER_SIDE:
        return NotMeasured(reason=f"the steps are too small: {pitch:.0f} px from one to the next")
    steps = []
    for x, y in centres.tolist():
        box = Box(left=round(x - side / 2), top=round(y - side / 2), width=side, height=side)
        codes = shares_of(pixels.crop(box)).reshape(-1, pixels.bands)
        light = profile.linear(codes)
        _, noise, keep = lightness_plane(lightness(profile.luminance(light)), side)
        mean = float(lightness(profile.luminance(light[keep].mean(axis=0))))
        steps.append(Step(lightness=mean, noise=noise, place=box))
    return GreyScale(steps=tuple(steps), pitch_px=pitch)
