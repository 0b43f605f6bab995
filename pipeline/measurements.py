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


_WORDS: dict[Quantity, tuple[str, str]] = {
    Quantity.COLOUR: ("colour difference", "ΔE"),
    Quantity.WHITE_BALANCE: ("white balance", "ΔE"),
    Quantity.TONE: ("tone response", "ΔL*"),
    Quantity.GAIN_HIGHLIGHTS: ("gain modulation, highlights", ""),
    Quantity.GAIN: ("gain modulation", ""),
    Quantity.NOISE: ("noise", "L*"),
    Quantity.EVENNESS: ("unevenness of light", "%"),
    Quantity.LIGHTNESS_RANGE: ("lightness over the flat frame", "ΔL*"),
    Quantity.CAST: ("colour drift over the flat frame", "ΔE"),
    Quantity.DUST: ("dust spots", "spots"),
    Quantity.EFFICIENCY: ("sampling efficiency", "%"),
    Quantity.RESPONSE_HALF: ("response at half sampling", ""),
    Quantity.SFR50: ("SFR50", "% of half sampling"),
    Quantity.SFR10: ("SFR10", "% of half sampling"),
    Quantity.SHARPENING: ("sharpening, maximum of the SFR", ""),
    Quantity.MISREGISTRATION: ("colour channel misregistration", "px"),
    Quantity.TRUE_PPI: ("true resolution", "ppi"),
    Quantity.SCALE: ("reproduction scale against the ppi tag", "%"),
    Quantity.SKEW: ("skew of the page", "°"),
    Quantity.TEXT_SKEW: ("skew of the lines", "°"),
    Quantity.KEYSTONE: ("keystone", "°"),
    Quantity.CURVATURE: ("curvature of lines", "%"),
    Quantity.DISTORTION: ("geometric distortion", "%"),
    Quantity.BLUR: ("edge blur", "px"),
    Quantity.TILT: ("focus tilt over the frame", "px"),
    Quantity.FOCUS: ("blur against its siblings", "robust SD"),
    Quantity.CLIPPED_DARK: ("clipped dark pixels", "%"),
    Quantity.CLIPPED_LIGHT: ("clipped light pixels", "%"),
    Quantity.HIGHEST_LIGHTNESS: ("highest lightness", "L*"),
    Quantity.PAGE_TONE: ("tone of the page", "L*"),
    Quantity.PAGE_TONE_DEVIATION: ("tone of the page against its siblings", "ΔL*"),
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
