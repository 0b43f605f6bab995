"""What is true of the target and flat frames, and of the trial's planted faults: what ought to be found.

The colours are the published reference of the 24-patch target as it has been made since November 2014,
CIE L*a*b* for D50 and the 2° observer. The masters hold exactly these, plus the camera's noise; nothing
in them is out of line but what is said here.
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass

PATCHES: tuple[tuple[str, float, float, float], ...] = (
    ("dark skin", 37.54, 14.37, 14.92),
    ("light skin", 64.66, 19.27, 17.50),
    ("blue sky", 49.32, -3.82, -22.54),
    ("foliage", 43.46, -12.74, 22.72),
    ("blue flower", 54.94, 9.61, -24.79),
    ("bluish green", 70.48, -32.26, -0.37),
    ("orange", 62.73, 35.83, 56.50),
    ("purplish blue", 39.43, 10.75, -45.17),
    ("moderate red", 50.57, 48.64, 16.67),
    ("purple", 30.10, 22.54, -20.87),
    ("yellow green", 71.77, -24.13, 58.19),
    ("orange yellow", 71.51, 18.24, 67.37),
    ("blue", 28.37, 15.42, -49.80),
    ("green", 54.38, -39.72, 32.27),
    ("red", 42.43, 51.05, 28.62),
    ("yellow", 81.80, 2.67, 80.41),
    ("magenta", 50.63, 51.28, -14.12),
    ("cyan", 49.57, -29.71, -28.32),
    ("white 9.5", 95.19, -1.03, 2.93),
    ("neutral 8", 81.29, -0.57, 0.44),
    ("neutral 6.5", 66.89, -0.75, -0.06),
    ("neutral 5", 50.76, -0.13, 0.14),
    ("neutral 3.5", 35.63, -0.46, -0.48),
    ("black 2", 20.64, 0.07, -0.46),
)
"""Names and L*a*b*, row by row from the upper left, the neutral row at the bottom."""
COLUMNS, ROWS = 6, 4

GREY_STEPS: tuple[float, ...] = (95.0, 80.0, 65.0, 50.0, 35.0, 20.0)
"""L* of the steps of the grey scale that infrared sessions use instead, from left to right."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetTruth:
    """Where things are on a target frame, in millimetres from its upper left corner."""

    kind: str
    """``24-patch`` or ``grey scale``."""
    size_mm: tuple[float, float]
    """Width and height of what the frame shows."""
    pitch_mm: float
    """From the centre of a patch to that of its neighbour, across and down: with it goes the true ppi, which
    is the session's."""
    patch_mm: float
    """Side of a patch."""
    first_centre_mm: tuple[float, float]
    """x and y of the centre of the first patch."""
    ruler_top_mm: float
    ruler_left_mm: float
    ruler_length_mm: int
    """Ticks at each millimetre; their left edges are on it."""
    edge_centres_mm: tuple[tuple[float, float], ...]
    """Of the dark squares whose sides are the slanted edges: in the four corners and in the middle."""
    edge_side_mm: float
    """Of a square."""
    edge_margin_mm: float
    """Light around a square, from the middles of its sides."""
    edge_angle_deg: float = 5.0
    """By which the squares are turned, clockwise as seen."""
    edge_sigma_px: float = 0.7
    """The edges are a step blurred by a Gaussian of this standard deviation, in linear light."""
    edge_light: float = 81.29
    edge_dark: float = 35.63
    """L* on either side."""
    noise: float = 0.0032
    """Standard deviation of the noise in code values, 0 to 1."""

    def centre_mm(self, number: int) -> tuple[float, float]:
        """Centre of patch `number`, from 0."""
        columns = COLUMNS if self.kind == "24-patch" else len(GREY_STEPS)
        row, column = divmod(number, columns)
        return self.first_centre_mm[0] + column * self.pitch_mm, self.first_centre_mm[1] + row * self.pitch_mm

    def response(self, cycles_per_px: float) -> float:
        """The SFR of every edge: exp(-2·π²·σ²·f²), all channels alike, so that none is shifted."""
        return math.exp(-2 * (math.pi * self.edge_sigma_px * cycles_per_px) ** 2)

    def frequency(self, response: float) -> float:
        """Where the SFR falls to `response`, in cycles per pixel: sqrt(-ln(response) / 2) / (π·σ)."""
        return math.sqrt(-math.log(response) / 2) / (math.pi * self.edge_sigma_px)


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatTruth:
    """How a flat frame darkens: linear light is level * (1 - falloff * r² + ramp * x).

    r = 1 at the corner; x goes from -1/2 at the left border to 1/2 at the right one.
    """

    falloff: float = 0.0
    ramp: float = 0.0
    """Of all frames of the session, not of the flat ones alone."""
    lightness: float = 90.0
    """L* in the middle."""
    noise: float = 0.0032

    @property
    def range_over_mean(self) -> float:
        """(max - min) / mean of linear light; exact if `falloff` or `ramp` is 0, else the most it can be."""
        return (self.falloff + abs(self.ramp)) / (1 - self.falloff / 3)


NEUTRAL = (1.0, 1.0, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionTruth:
    """The truth of one session."""

    target: TargetTruth
    flat: FlatTruth
    cast: tuple[float, float, float] = NEUTRAL
    """Factors on linear red, green and blue of all its frames: a white balance that was set wrong."""

    @property
    def is_right(self) -> bool:
        """True if its light is white and even."""
        return self.cast == NEUTRAL and not self.flat.ramp


SMALL = TargetTruth(
    kind="24-patch",
    size_mm=(104.0, 78.0),
    pitch_mm=8.0,
    patch_mm=7.0,
    first_centre_mm=(32.0, 9.0),
    ruler_top_mm=63.0,
    ruler_left_mm=23.0,
    ruler_length_mm=58,
    edge_centres_mm=((10.0, 10.0), (94.0, 10.0), (52.0, 47.5), (10.0, 68.0), (94.0, 68.0)),
    edge_side_mm=9.0,
    edge_margin_mm=3.2,
)
"""The target of close set-ups."""

LARGE = TargetTruth(
    kind="24-patch",
    size_mm=(138.0, 108.0),
    pitch_mm=12.0,
    patch_mm=10.5,
    first_centre_mm=(39.0, 12.0),
    ruler_top_mm=88.0,
    ruler_left_mm=30.0,
    ruler_length_mm=78,
    edge_centres_mm=((13.5, 13.5), (124.5, 13.5), (69.0, 67.0), (13.5, 94.5), (124.5, 94.5)),
    edge_side_mm=12.0,
    edge_margin_mm=4.6,
)
"""The target of set-ups for large leaves."""

GREY = TargetTruth(
    kind="grey scale",
    size_mm=(104.0, 78.0),
    pitch_mm=8.0,
    patch_mm=7.0,
    first_centre_mm=(32.0, 21.0),
    ruler_top_mm=63.0,
    ruler_left_mm=23.0,
    ruler_length_mm=58,
    edge_centres_mm=SMALL.edge_centres_mm,
    edge_side_mm=9.0,
    edge_margin_mm=3.2,
)
"""The grey scale of infrared set-ups."""

# ------------------------------------------------------------------------------------- the trial's faults

TRIAL = "adl-trial-1"


class Fault(enum.StrEnum):
    """What can be wrong with the trial of a contractor."""

    SOFT = "out of focus"
    SKEWED = "skewed"
    KEYSTONED = "keystoned"
    MISSING = "a side is missing"
    DOUBLED = "photographed twice"
    CLIPPED = "overexposed"
    WRONG_PROFILE = "wrong profile"
    WARM = "warm cast"
    UNEVEN = "uneven light"


@dataclass(frozen=True, slots=True, kw_only=True)
class Planted:
    """One fault of the trial, and how large it is."""

    fault: Fault
    label: str = ""
    """Of the page that is wrong; empty if a session is."""
    session: str = "s1"
    amount: float = 0.0
    unit: str = ""
    other: str = ""
    """What else tells it: the page that is shown instead, the profile's name."""


PLANTED: tuple[Planted, ...] = (
    Planted(fault=Fault.SOFT, label="f. 2r", amount=1.8, unit="px, standard deviation of a Gaussian"),
    Planted(fault=Fault.SKEWED, label="f. 3r", amount=2.4, unit="°, clockwise as seen"),
    Planted(fault=Fault.KEYSTONED, label="f. 3v", amount=1.2, unit="° between left and right edge"),
    Planted(fault=Fault.MISSING, label="f. 4v"),
    Planted(fault=Fault.CLIPPED, label="f. 5v", amount=1.5, unit="times the light"),
    Planted(fault=Fault.DOUBLED, label="f. 6r", other="f. 5r"),
    Planted(fault=Fault.WRONG_PROFILE, label="f. 6v", other="sRGB"),
    Planted(fault=Fault.WARM, session="s2"),
    Planted(fault=Fault.UNEVEN, session="s3"),
)
"""By place; the size of the last two is in `SESSIONS`."""

PAGE_SIGMA_PX = 0.7
"""Of all other pages of the trial, a Gaussian in linear light, as on its targets."""
CROOKED_DEG = 0.12
"""How far the trial's other pages may be turned: nobody lays a page quite straight."""


def planted(label: str, fault: Fault) -> Planted | None:
    """The fault of that kind in the page `label`, if it has one."""
    return next((each for each in PLANTED if (each.label, each.fault) == (label, fault)), None)


SESSIONS: dict[tuple[str, str], SessionTruth] = {
    ("adl-ms-7", "s1"): SessionTruth(target=SMALL, flat=FlatTruth(falloff=0.020)),
    ("adl-or-3", "s1"): SessionTruth(target=LARGE, flat=FlatTruth(falloff=0.022)),
    ("adl-pap-3", "s1"): SessionTruth(target=SMALL, flat=FlatTruth(falloff=0.016)),
    ("adl-pap-3", "s2"): SessionTruth(target=GREY, flat=FlatTruth(falloff=0.024)),
    ("adl-tab-12", "s1"): SessionTruth(target=SMALL, flat=FlatTruth(falloff=0.023)),
    ("adl-let-1823", "s1"): SessionTruth(target=LARGE, flat=FlatTruth(falloff=0.018)),
    ("adl-alb-5", "s1"): SessionTruth(target=LARGE, flat=FlatTruth(falloff=0.021)),
    (TRIAL, "s1"): SessionTruth(target=SMALL, flat=FlatTruth(falloff=0.018)),
    (TRIAL, "s2"): SessionTruth(target=SMALL, flat=FlatTruth(falloff=0.018), cast=(1.07, 1.0, 0.80)),
    (TRIAL, "s3"): SessionTruth(target=SMALL, flat=FlatTruth(ramp=-0.16)),
}
"""By item id and session id."""
