"""What was measured on one frame: numbers with their units, and what a report draws.

Values that cross process borders and lie in receipts; how they are measured is `pipeline.measure`.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

METHOD_VERSION = 5
"""Goes up with every change of a method that changes a number: frames are then measured again."""


class Quantity(enum.StrEnum):
    """What is measured. Limits of imaging specifications name it; reports call it by `label`."""

    COLOUR = "colour_difference"
    """Of each patch of the colour target, and its mean, 90th percentile and maximum."""
    WHITE_BALANCE = "white_balance"
    TONE = "tone_difference"
    GAIN_HIGHLIGHTS = "gain_highlights"
    GAIN = "gain"
    NOISE = "noise"
    EVENNESS = "unevenness"
    LIGHTNESS_RANGE = "lightness_range"
    CAST = "colour_drift"
    DUST = "dust_spots"
    EFFICIENCY = "sampling_efficiency"
    RESPONSE_HALF = "response_at_half_sampling"
    SFR50 = "sfr50"
    SFR10 = "sfr10"
    SHARPENING = "sharpening"
    MISREGISTRATION = "misregistration"
    TRUE_PPI = "true_ppi"
    SCALE = "scale_deviation"
    SKEW = "skew"
    TEXT_SKEW = "text_skew"
    KEYSTONE = "keystone"
    CURVATURE = "line_curvature"
    DISTORTION = "geometric_distortion"
    BLUR = "edge_blur"
    TILT = "focus_tilt"
    FOCUS = "focus_deviation"
    """Of the frame's blur from its siblings', in robust standard deviations."""
    CLIPPED_DARK = "clipped_dark"
    CLIPPED_LIGHT = "clipped_light"
    HIGHEST_LIGHTNESS = "highest_lightness"
    PAGE_TONE = "page_tone"
    PAGE_TONE_DEVIATION = "page_tone_deviation"

    @property
    def label(self) -> str:
        """What a person calls it."""
        return _WORDS[self][0]

    @property
    def unit(self) -> str:
        """The unit of its values; empty for a ratio."""
        return _WORDS[self][1]

    @property
    def meaning(self) -> str:
        """What it is, in a sentence or two."""
        return _WORDS[self][2]


_WORDS: dict[Quantity, tuple[str, str, str]] = {
    Quantity.COLOUR: (
        "colour difference",
        "ΔE",
        "How far each patch is from its reference; mean, 90th percentile (linear interpolation) and maximum.",
    ),
    Quantity.WHITE_BALANCE: (
        "white balance",
        "ΔE",
        "How far the greys are from their references in hue and chroma alone: their references are not a* "
        "= b* = 0.",
    ),
    Quantity.TONE: (
        "tone response",
        "ΔL*",
        "How much lighter or darker each grey is than its reference.",
    ),
    Quantity.GAIN_HIGHLIGHTS: (
        "gain modulation, highlights",
        "",
        "Step between the two lightest greys over the step of their references: below 1, highlights were "
        "compressed.",
    ),
    Quantity.GAIN: (
        "gain modulation",
        "",
        "Step between two neighbouring greys, the lightest two apart, over the step of their references.",
    ),
    Quantity.NOISE: (
        "noise",
        "L*",
        "Standard deviation of L* within a patch. Little is good; hardly any means that the picture was "
        "smoothed.",
    ),
    Quantity.EVENNESS: (
        "unevenness of light",
        "%",
        "How much light differs over the frame, as a share of its mean.",
    ),
    Quantity.LIGHTNESS_RANGE: (
        "lightness over the flat frame",
        "ΔL*",
        "Largest ΔL* between any two places.",
    ),
    Quantity.CAST: (
        "colour drift over the flat frame",
        "ΔE",
        "Largest distance in a*b* between any two places: lights of several colours, or a cast of the lens.",
    ),
    Quantity.DUST: (
        "dust spots",
        "spots",
        "Spots that are darker than their surroundings and smaller than a block.",
    ),
    Quantity.EFFICIENCY: (
        "sampling efficiency",
        "%",
        "SFR10, the finest detail that can be made out, as a share of what the sampling could hold; at "
        "most 100.",
    ),
    Quantity.RESPONSE_HALF: (
        "response at half sampling",
        "",
        "Contrast left at half sampling: too much of it makes false patterns.",
    ),
    Quantity.SFR50: (
        "SFR50",
        "% of half sampling",
        "Frequency at which half the contrast is left. Too low: soft; too high: sharpened.",
    ),
    Quantity.SFR10: (
        "SFR10",
        "% of half sampling",
        "Frequency at which a tenth of the contrast is left: the finest detail that can be made out.",
    ),
    Quantity.SHARPENING: (
        "sharpening, maximum of the SFR",
        "",
        "The largest response to detail. Above 1 the picture was sharpened.",
    ),
    Quantity.MISREGISTRATION: (
        "colour channel misregistration",
        "px",
        "How far red or blue lie from green, across an edge.",
    ),
    Quantity.TRUE_PPI: (
        "true resolution",
        "ppi",
        "Pixels for an inch of the object, whatever the file says.",
    ),
    Quantity.SCALE: (
        "reproduction scale against the ppi tag",
        "%",
        "True resolution against the one that the file states.",
    ),
    Quantity.SKEW: (
        "skew of the page",
        "°",
        "Mean angle of opposite edges of the sheet, so that keystone cancels. Above 0 is clockwise.",
    ),
    Quantity.TEXT_SKEW: (
        "skew of the lines",
        "°",
        "Angle of the lines of text or drawing. Above 0 is clockwise.",
    ),
    Quantity.KEYSTONE: (
        "keystone",
        "°",
        "Angle at which opposite edges, or sides of the target's grid, run together: camera and page are "
        "not parallel.",
    ),
    Quantity.CURVATURE: (
        "curvature of lines",
        "%",
        "How far the middle of lines hangs below their ends, as a share of their length.",
    ),
    Quantity.DISTORTION: (
        "geometric distortion",
        "%",
        "Change of the ratio of horizontal to vertical lengths, by the target's pitches.",
    ),
    Quantity.BLUR: (
        "edge blur",
        "px",
        "Distance over which the page's own edges rise from 10 to 90 % of their contrast.",
    ),
    Quantity.TILT: (
        "focus tilt over the frame",
        "px",
        "By how much blur grows from one side of the page to the other.",
    ),
    Quantity.FOCUS: (
        "blur against its siblings",
        "robust SD",
        "Edge blur against the median of the frame's siblings, those of the same session, kind, side and "
        "light, in standard deviations that a few soft ones do not change. Above 0 is softer.",
    ),
    Quantity.CLIPPED_DARK: (
        "clipped dark pixels",
        "%",
        "Share of the sheet that is at the dark end of the scale in a channel.",
    ),
    Quantity.CLIPPED_LIGHT: (
        "clipped light pixels",
        "%",
        "Share of the frame that is at the light end of the scale in a channel, gold, glass and the like "
        "left out.",
    ),
    Quantity.HIGHEST_LIGHTNESS: (
        "highest lightness",
        "L*",
        "L* that all but a thousandth of the sheet is below.",
    ),
    Quantity.PAGE_TONE: (
        "tone of the page",
        "L*",
        "The commonest tone of the sheet.",
    ),
    Quantity.PAGE_TONE_DEVIATION: (
        "tone of the page against its siblings",
        "ΔL*",
        "Tone of the page against the median of its siblings, those of the same session, kind, side and "
        "light.",
    ),
}


class Formula(enum.StrEnum):
    """How a difference of colours is computed; the same name hides several in specifications.

    They are computed by `pipeline.measure.colour`.
    """

    CIEDE2000 = "CIEDE2000"
    CIEDE2000_FLAT = "CIEDE2000 with S_L = 1"
    """Colour accuracy of Metamorfoze 2.0."""
    CIEDE2000_CHROMA = "CIEDE2000 without lightness"
    """White balance of FADGI 2016 and Metamorfoze 2.0."""
    CIEDE2000_LIGHTNESS = "lightness term of CIEDE2000"
    """Tone response of FADGI 2023."""
    CIE76 = "CIE 1976 ΔE*ab"
    CIE76_CHROMA = "distance in a*b*"
    """White balance of FADGI 2023 and ISO 19264-1."""
    CHROMA = "difference of chroma"
    """White balance of Metamorfoze 1.0: blind to hue."""
    LIGHTNESS = "difference of L*"


RANGE_OF_LUMINANCE = "(max - min) / mean of luminance"
"""Unevenness of FADGI 2016."""
SPREAD_OF_LIGHTNESS = "SD / mean of lightness"
"""Unevenness of FADGI 2023: of a straight ramp, the square root of 12 times smaller than the range."""
SPREAD_IN_PATCH = "SD of L*"
"""Noise of a patch."""

FORMULAS: Mapping[Quantity, tuple[str, ...]] = MappingProxyType(
    {
        Quantity.COLOUR: (Formula.CIEDE2000, Formula.CIEDE2000_FLAT, Formula.CIE76),
        Quantity.WHITE_BALANCE: (Formula.CIEDE2000_CHROMA, Formula.CIE76_CHROMA, Formula.CHROMA),
        Quantity.TONE: (Formula.LIGHTNESS, Formula.CIEDE2000_LIGHTNESS),
        Quantity.EVENNESS: (RANGE_OF_LUMINANCE, SPREAD_OF_LIGHTNESS),
        Quantity.NOISE: (SPREAD_IN_PATCH,),
    }
)
"""Quantities of which a number says nothing without its formula, and the formulas they are measured by."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """One number, or why there is none."""

    quantity: Quantity
    value: float | None
    """In the quantity's unit; None if it could not be measured."""
    statistic: str = ""
    """Of several values: ``mean``, ``90th percentile``, ``maximum``, ``minimum``; empty for a single one."""
    formula: str = ""
    """Which of several formulas of one name: one of `FORMULAS`."""
    place: str = ""
    """Where on the frame or target: ``neutral 5``, ``upper left``, ``across``, ``red``."""
    method: str = ""
    """How, in a phrase, with the document it is from."""
    uncertainty: float = 0.0
    """Standard deviation, by noise and scatter, in the same unit; 0 if it was not estimated."""
    reason: str = ""
    """Why it could not be measured, as the rest of "not measured: "."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchValues:
    """One patch of a colour target, measured against its reference. Lab is D50, 2°."""

    name: str
    lab: tuple[float, float, float]
    reference: tuple[float, float, float]
    difference: float
    """CIEDE2000."""
    noise: float | None
    """Standard deviation of L* in the patch; None if it could not be measured."""
    is_clipped: bool = False
    is_neutral: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A curve to be drawn: SFR, tone response."""

    name: str
    x_label: str
    y_label: str
    points: tuple[tuple[float, float], ...]


GREY_SCALE = "tones of the grey scale"
"""Name of the curve of a grey scale that is held against no reference: measured L* by step, light to dark."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Values over the frame, row by row from the top left; None where there is no evidence."""

    name: str
    unit: str
    rows: tuple[tuple[float | None, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """Something to be drawn over the picture, its points as shares of width and height, 0 to 1."""

    kind: str
    """``page outline``, ``line of text``, ``soft region``, ``clipped``, ``target``, ``edge``, ``dust``."""
    points: tuple[tuple[float, float], ...]
    is_closed: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameMeasures:
    """Everything that was measured on one frame."""

    measurements: tuple[Measurement, ...] = ()
    patches: tuple[PatchValues, ...] = ()
    reference: str = ""
    """Which reference values the patches were held against, and from where."""
    curves: tuple[Curve, ...] = ()
    grids: tuple[Grid, ...] = ()
    marks: tuple[Mark, ...] = ()
    remarks: tuple[str, ...] = ()
    """What a person should know beside the numbers."""
    picture_hash: str = ""
    """64 bits of the whole picture, hexadecimal; empty for targets, flats and frames of one tone."""
    signature: str = ""
    """What a page or opening is compared by with others (`pipeline.measure.likeness`), as text; empty for
    blank pages and for frames of other kinds."""
    version: int = METHOD_VERSION

    def value(self, quantity: Quantity, statistic: str = "", formula: str = "") -> float | None:
        """The first value of a quantity, with that statistic and formula if they are given."""
        for each in self.measurements:
            if each.quantity is quantity and each.value is not None:
                if statistic and each.statistic != statistic:
                    continue
                if not formula or each.formula == formula:
                    return each.value
        return None
