"""What the patches of a 24-patch target are in a frame: colour, light, noise, clipping; against a reference.

Each patch is sampled in full resolution over the middle of it, on an even net of places along the target's
own grid, and never on more than a few thousand pixels. A plane is fitted to its lightness (uneven light is
not noise), and what lies far off it (dust, a scratch, a glint) is left out of all figures. Colours are means
in linear light, then L*a*b* through the frame's own profile.

Errors, held by tests over sizes, turns, bit depths and noise: L*a*b* of patches of known colour within
0.02 without noise (8 bit: 0.6, for all of a patch is then rounded alike), within four standard errors with
it; noise within 8 % of what was put in, which is what so many pixels allow.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.measure.colour import Statistics, ciede2000, difference, statistics
from pipeline.measure.colour_target import FoundTarget
from pipeline.measure.pixels import Box, NotMeasured, Pixels
from pipeline.measure.profile import Profile, lightness, xyz_of_lab
from pipeline.measure.references import COLUMNS, NEUTRALS, PATCHES, Lab, Reference, editions
from pipeline.measurements import Formula

Numbers = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

HALF = 0.22
"""Half the side of what is sampled of a patch, as a share of the step of the grid: the middle half of it."""
MOST_PER_SIDE = 72
"""Places of a patch that are looked at, across and down: an SD from 5,184 pixels is good to 1 %."""
FEWEST_PER_SIDE = 6
"""Below this a patch is too small for its colour to be free of its border."""
FEWEST_FOR_NOISE = 100
"""Pixels that a standard deviation is taken from at least: it is then good to 7 %."""
OUTLYING = 5.0
"""Standard deviations (by MAD) from the plane from which on a pixel is dust."""
LEAST_DEVIATION = 0.05
"""L*; smaller deviations are rounding, and no ground to call a pixel dust."""
MOSTLY_DIRTY = 0.15
"""Share of pixels left out from which on a patch is not measured: something lies on it."""
OUT_OF_GAMUT = 0.004
"""Linear light by which a reference colour may lie outside what the profile can hold: rounding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """One patch as the frame shows it."""

    number: int
    """From 0, row by row from the upper left of the upright target."""
    name: str
    lab: Lab
    """Mean colour, D50 and 2°, media-relative."""
    codes: tuple[float, float, float]
    """Mean code of red, green and blue, as shares of full scale."""
    noise: float | NotMeasured
    """Standard deviation of L*, without the plane and without dust."""
    slope: float
    """Change of L* across the sampled square by the fitted plane, corner to corner."""
    dust: float
    """Share of pixels left out, 0 to 1."""
    at_zero: float
    """Share of pixels with a channel at code 0."""
    at_full_scale: float
    """Share of pixels with a channel at full scale."""
    pixels: int
    """That the figures are from."""

    @property
    def is_clipped(self) -> bool:
        """True if a hundredth of its pixels have a channel at an end of the scale."""
        return max(self.at_zero, self.at_full_scale) >= 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class GainModulation:
    """How a step between neighbouring greys is rendered: 1 is as it should be."""

    lighter: int
    """Number of the lighter patch, from 0; the darker one follows it."""
    reference: tuple[float, float]
    """L* of both by the reference."""
    gain: float

    @property
    def is_highlight(self) -> bool:
        """True if the lighter grey is a highlight, above L* 85: of this target only white to neutral 8 is.

        Specifications mean steps within L* 95 to 85, which are finer.
        """
        return self.reference[0] > 85


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """How evenly the target is lit, from luminance against the reference, tone taken out.

    A plane across the target and a curve of tone are fitted to the ratio of measured to reference luminance,
    on a logarithmic scale. Light that falls off evenly shows in `fall_percent`, a shadow with a border in
    `unevenness_percent`. Good to about 2 points of per cent on a target that is otherwise right.
    """

    fall_percent: float
    """Difference of light between the lightest and the darkest corner of the field, of its middle."""
    unevenness_percent: float
    """Standard deviation of what plane and tone do not explain."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EditionFit:
    """How well the patches agree with the averages of one edition."""

    reference: Reference
    mean: float
    """Mean ΔE00 to it."""
    pattern: float
    """Root mean square of ΔE*ab that is left when cast, tone and saturation are fitted: small if the pigments
    are those of the edition.
    """


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetMeasures:
    """All that one target in one frame says."""

    target: FoundTarget
    reference: Reference
    patches: tuple[Patch, ...]
    missing: tuple[tuple[int, NotMeasured], ...]
    """Patches that could not be measured, by number."""
    outside_gamut: tuple[int, ...]
    """Patches whose reference colour the frame's colour space cannot hold: they differ by need."""
    light: Light | NotMeasured
    editions: tuple[EditionFit, ...]
    """The best first; empty if too many patches are missing."""

    def differences(self, formula: Formula = Formula.CIEDE2000) -> tuple[float, ...]:
        """Return the difference of each measured patch to the reference, in the order of `patches`."""
        numbers = [patch.number for patch in self.patches]
        found = difference(formula, [patch.lab for patch in self.patches], self.reference.array[numbers])
        return tuple(float(each) for each in found)

    def accuracy(
        self, formula: Formula = Formula.CIEDE2000, *, leave_out: frozenset[int] = frozenset()
    ) -> Statistics | NotMeasured:
        """Return mean, 90th percentile and maximum of the differences; `worst` is a patch's number.

        `leave_out` names patches that are not to count, such as `outside_gamut`.
        """
        pairs = zip(self.patches, self.differences(formula), strict=True)
        kept = [(patch.number, value) for patch, value in pairs if patch.number not in leave_out]
        if len(kept) < PATCHES - MOST_MISSING - len(leave_out):
            return _too_few(self.missing)
        return _of_numbers(kept)

    def white_balance(self, formula: Formula = Formula.CIE76_CHROMA) -> Statistics | NotMeasured:
        """Return the differences of the neutral patches to their reference; `worst` is a patch's number."""
        return self._of_neutrals(formula)

    def tone(self, formula: Formula = Formula.LIGHTNESS) -> Statistics | NotMeasured:
        """Return the differences of lightness of the neutral patches; `worst` is a patch's number."""
        return self._of_neutrals(formula)

    @property
    def tone_response(self) -> tuple[tuple[int, float], ...]:
        """ΔL* of each measured neutral patch, measured minus reference, with its number."""
        labs = self.reference.labs
        return tuple((each.number, each.lab[0] - labs[each.number][0]) for each in self._neutrals)

    @property
    def gain_modulation(self) -> tuple[GainModulation, ...]:
        """How the steps between neighbouring greys are rendered, from light to dark."""
        found = {patch.number: patch.lab[0] for patch in self._neutrals}
        return tuple(
            GainModulation(lighter=n, reference=(high, low), gain=(found[n] - found[n + 1]) / (high - low))
            for n, high, low in self._grey_steps()
            if n in found and n + 1 in found
        )

    def noise(self) -> Statistics | NotMeasured:
        """Return SD of L* over patches that are not clipped; `worst` is a patch's number."""
        kept = [
            (each.number, each.noise)
            for each in self.patches
            if not isinstance(each.noise, NotMeasured) and not each.is_clipped
        ]
        if not kept:
            reasons = [each.noise.reason for each in self.patches if isinstance(each.noise, NotMeasured)]
            return NotMeasured(reason=reasons[0] if reasons else "every patch is clipped")
        return _of_numbers(kept)

    @property
    def likely_edition(self) -> Reference | None:
        """Return the edition that the patches are of, if that is another one than was used and is clear.

        None if the reference is right, is a target's own measurement, or if the two cannot be told apart.
        """
        if self.reference.is_measured or len(self.editions) < 2:
            return None
        best = min(self.editions, key=lambda each: each.pattern)
        used = next(
            (each for each in self.editions if each.reference.identifier == self.reference.identifier), None
        )
        if used is None or used is best or used.pattern < OTHER_EDITION * best.pattern:
            return None
        return best.reference

    @property
    def _neutrals(self) -> tuple[Patch, ...]:
        return tuple(patch for patch in self.patches if patch.number in NEUTRALS)

    def _of_neutrals(self, formula: Formula) -> Statistics | NotMeasured:
        pairs = zip(self.patches, self.differences(formula), strict=True)
        kept = [(patch.number, value) for patch, value in pairs if patch.number in NEUTRALS]
        if len(kept) < FEWEST_NEUTRALS:
            return NotMeasured(reason=f"only {len(kept)} of the {len(NEUTRALS)} neutral patches are measured")
        return _of_numbers(kept)

    def _grey_steps(self) -> Iterator[tuple[int, float, float]]:
        for number in NEUTRALS[:-1]:
            yield number, self.reference.labs[number][0], self.reference.labs[number + 1][0]


MOST_MISSING = 2
"""Patches without which the statistics of a target still stand."""
FEWEST_NEUTRALS = 4
OTHER_EDITION = 1.3
"""Another edition is named if its pattern fits so much better than that of the one in use: always when the
patches stray by up to 1 ΔE*ab on their own, whatever cast and saturation do; never the other way round, in
2,000 trials."""


def _of_numbers(values: list[tuple[int, float]]) -> Statistics:
    found = statistics([value for _, value in values])
    return Statistics(
        mean=found.mean,
        percentile_90=found.percentile_90,
        maximum=found.maximum,
        worst=values[found.worst][0],
    )


def _too_few(missing: tuple[tuple[int, NotMeasured], ...]) -> NotMeasured:
    first = missing[0][1].reason if missing else "they are left out"
    return NotMeasured(
        reason=f"{len(missing)} of {PATCHES} patches could not be measured, the first: {first}"
    )


# ----------------------------------------------------------------------------------------- measuring


def measure_target(
    pixels: Pixels, profile: Profile | NotMeasured, target: FoundTarget, reference: Reference
) -> TargetMeasures | NotMeasured:
    """Return what the patches of a found target are, or why they cannot be measured."""
    if isinstance(profile, NotMeasured):
        return profile
    if profile.bands != 3 or pixels.bands != 3:
        return NotMeasured(reason="the frame has no colour")
    per_side = _places_per_side(target)
    if per_side < FEWEST_PER_SIDE:
        pitch = min(target.columns_px, target.rows_px)
        return NotMeasured(reason=f"the patches are too small: {pitch:.0f} px from one to the next")
    found = [(n, _patch(pixels, profile, target, reference, n, per_side)) for n in range(PATCHES)]
    patches = tuple(patch for _, patch in found if isinstance(patch, Patch))
    missing = tuple((number, each) for number, each in found if isinstance(each, NotMeasured))
    if len(patches) < PATCHES / 2:
        return _too_few(missing)
    return TargetMeasures(
        target=target,
        reference=reference,
        patches=patches,
        missing=missing,
        outside_gamut=_outside_gamut(profile, reference),
        light=_light(patches, reference),
        editions=_edition_fits(patches) if len(missing) <= MOST_MISSING else (),
    )


def _places_per_side(target: FoundTarget) -> int:
    side = 2 * HALF * min(target.columns_px, target.rows_px)
    return min(MOST_PER_SIDE, int(side))


def _patch(
    pixels: Pixels,
    profile: Profile,
    target: FoundTarget,
    reference: Reference,
    number: int,
    per_side: int,
) -> Patch | NotMeasured:
    codes = _sampled(pixels, target, number, per_side)
    if codes is None:
        return NotMeasured(reason=f"{reference.names[number]} lies partly outside the frame")
    shares = codes / (2**pixels.bits - 1)
    light = profile.linear(shares)
    values = lightness(profile.luminance(light))
    plane, deviation, keep = lightness_plane(values, per_side)
    dust = 1 - float(keep.mean())
    if dust > MOSTLY_DIRTY:
        return NotMeasured(reason=f"{reference.names[number]} is covered or in glare over {dust:.0%} of it")
    lab, code = profile.lab(light[keep].mean(axis=0)), shares[keep].mean(axis=0)
    return Patch(
        number=number,
        name=reference.names[number],
        lab=(float(lab[0]), float(lab[1]), float(lab[2])),
        codes=(float(code[0]), float(code[1]), float(code[2])),
        noise=_noise(deviation, int(keep.sum())),
        slope=2 * float(np.abs(plane[:2]).sum()),
        dust=dust,
        at_zero=float((codes == 0).any(axis=1).mean()),
        at_full_scale=float((codes == 2**pixels.bits - 1).any(axis=1).mean()),
        pixels=int(keep.sum()),
    )


def _sampled(pixels: Pixels, target: FoundTarget, number: int, per_side: int) -> Numbers | None:
    """Codes at an even net of places in the middle of a patch; None if some lie outside the frame."""
    row, column = divmod(number, COLUMNS)
    net = _net(per_side) * HALF + [column, row]
    at = np.floor(target.plane(net)).astype(np.intp)
    low, high = at.min(axis=0), at.max(axis=0)
    if low.min() < 0 or high[0] >= pixels.width_px or high[1] >= pixels.height_px:
        return None
    left, top = int(low[0]), int(low[1])
    crop = pixels.crop(Box(left=left, top=top, width=int(high[0]) - left + 1, height=int(high[1]) - top + 1))
    return crop[at[:, 1] - top, at[:, 0] - left].astype(np.float64)


def _net(per_side: int) -> Numbers:
    """Places of a square from −1 to 1, row by row."""
    along = (np.arange(per_side) + 0.5) * 2 / per_side - 1
    across, down = np.meshgrid(along, along)
    return np.stack([across.ravel(), down.ravel()], axis=1)


def lightness_plane(values: Numbers, per_side: int) -> tuple[Numbers, float, Mask]:
    """Return the plane of L* (slopes across and down, level), SD around it, and which pixels lie near it.

    The plane is fitted to all pixels, then twice more to those that lie near the last one. The SD that a cut
    at `OUTLYING` leaves is that of the noise to a part in ten thousand.
    """
    places = np.column_stack([_net(per_side), np.ones(len(values))])
    keep = np.ones(len(values), np.bool_)
    plane: Numbers = np.zeros(3)
    off = values
    for _ in range(3):
        chosen = places[keep]
        plane = np.linalg.solve(chosen.T @ chosen, chosen.T @ values[keep])
        off = values - places @ plane
        middle = float(np.median(off))
        spread = 1.4826 * float(np.median(np.abs(off - middle)))
        keep = np.abs(off - middle) <= OUTLYING * max(spread, LEAST_DEVIATION)
    return plane, float(off[keep].std(ddof=3)) if keep.sum() > 3 else 0.0, keep


def _noise(deviation: float, pixels: int) -> float | NotMeasured:
    if pixels < FEWEST_FOR_NOISE:
        return NotMeasured(reason=f"a patch has only {pixels} pixels to tell the noise from")
    return deviation


def _outside_gamut(profile: Profile, reference: Reference) -> tuple[int, ...]:
    """The patches whose reference colour has no code in the profile."""
    linear = xyz_of_lab(reference.array) @ np.linalg.inv(np.array(profile.colourants))
    outside = (linear < -OUT_OF_GAMUT) | (linear > 1 + OUT_OF_GAMUT)
    return tuple(int(number) for number in np.flatnonzero(outside.any(axis=1)))


def _light(patches: tuple[Patch, ...], reference: Reference) -> Light | NotMeasured:
    usable = [patch for patch in patches if not patch.is_clipped and patch.lab[0] > 5]
    if len(usable) < 2 * PATCHES / 3:
        return NotMeasured(reason=f"only {len(usable)} patches are free of clipping")
    numbers = np.array([patch.number for patch in usable])
    seen = xyz_of_lab([patch.lab for patch in usable])[:, 1]
    wanted = reference.array[numbers]
    ratio = np.log(seen / xyz_of_lab(wanted)[:, 1])
    x, y = numbers % COLUMNS / 2.5 - 1, numbers // COLUMNS / 1.5 - 1
    tone = wanted[:, 0] / 50 - 1
    terms = np.column_stack([x, y, np.ones(len(x)), tone, tone**2])
    fitted = np.linalg.lstsq(terms, ratio, rcond=None)[0]
    off = ratio - terms @ fitted
    return Light(
        fall_percent=100 * 2 * math.sinh(float(np.abs(fitted[:2]).sum())),
        unevenness_percent=100 * float(off.std(ddof=5)),
    )


# ------------------------------------------------------------------------- which profile, which edition


def likely_profile(measures: TargetMeasures, candidates: Iterable[Profile]) -> Profile | None:
    """Return the profile that the codes of a target rather speak for than the one they were read by.

    That is the candidate under which they agree best with the reference, if the mean ΔE00 is then below half
    of what it is, and if it is above `WELL` now. Mean codes of patches are used: right to 0.1 ΔE00. None if
    no candidate is so much better.
    """
    accuracy = measures.accuracy()
    if isinstance(accuracy, NotMeasured) or accuracy.mean < WELL:
        return None
    codes = np.array([patch.codes for patch in measures.patches])
    wanted = measures.reference.array[[patch.number for patch in measures.patches]]
    means = [
        (float(ciede2000(profile.lab(profile.linear(codes)), wanted).mean()), profile)
        for profile in candidates
        if profile.bands == 3
    ]
    mean, best = min(means, key=lambda each: each[0], default=(math.inf, None))
    return best if mean < accuracy.mean / 2 else None


WELL = 2.0
"""Mean ΔE00 up to which nobody asks whether the profile is the right one."""


def _edition_fits(patches: tuple[Patch, ...]) -> tuple[EditionFit, ...]:
    numbers = [patch.number for patch in patches]
    labs = np.array([patch.lab for patch in patches])
    fits = [
        EditionFit(
            reference=edition,
            mean=float(ciede2000(labs, edition.array[numbers]).mean()),
            pattern=_pattern(labs, edition.array[numbers]),
        )
        for edition in editions()
    ]
    return tuple(sorted(fits, key=lambda fit: (fit.mean, fit.reference.identifier)))


def _pattern(labs: Numbers, nominal: Numbers) -> float:
    """What an affine map from nominal to measured colours leaves: root mean square of ΔE*ab."""
    terms = np.column_stack([nominal, np.ones(len(nominal))])
    fitted = np.linalg.lstsq(terms, labs, rcond=None)[0]
    off = labs - terms @ fitted
    return float(np.sqrt((off**2).sum() / max(1, len(labs) - 4)))
