"""What is true of the target and flat frames: what a measurement of them ought to find.

The colours are the published reference of the 24-patch target as it has been made since November 2014,
CIE L*a*b* for D50 and the 2° observer. The masters hold exactly these, plus the camera's noise; nothing
in them is out of line but what is said here.
"""

from __future__ import annotations

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
    pitch_mm: float
    """From the centre of a patch to that of its neighbour, across and down."""
    patch_mm: float
    """Side of a patch."""
    first_centre_mm: tuple[float, float]
    """x and y of the centre of the first patch."""
    ruler_top_mm: float
    ruler_left_mm: float
    ruler_length_mm: int
    """Ticks at each millimetre; their left edges are on it."""
    edge_centre_mm: tuple[float, float]
    edge_side_mm: float
    """Of the dark square whose four sides are the slanted edges."""
    edge_angle_deg: float = 5.0
    """By which the square is turned, clockwise as seen."""
    edge_sigma_px: float = 0.62
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


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatTruth:
    """How a flat frame darkens: linear light is level * (1 - falloff * r²), with r = 1 at the corner."""

    falloff: float
    lightness: float = 90.0
    """L* in the middle."""
    noise: float = 0.0032

    @property
    def range_over_mean(self) -> float:
        """(max - min) / mean of linear light over the frame: the mean is 1 - falloff / 3."""
        return self.falloff / (1 - self.falloff / 3)


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionTruth:
    """The truth of one session."""

    target: TargetTruth
    flat: FlatTruth


SMALL = TargetTruth(
    kind="24-patch",
    pitch_mm=10.0,
    patch_mm=8.8,
    first_centre_mm=(14.0, 14.0),
    ruler_top_mm=56.0,
    ruler_left_mm=9.0,
    ruler_length_mm=70,
    edge_centre_mm=(82.0, 29.0),
    edge_side_mm=11.0,
)
"""The target of close set-ups; its frame is 96 by 70 mm."""

LARGE = TargetTruth(
    kind="24-patch",
    pitch_mm=20.0,
    patch_mm=17.5,
    first_centre_mm=(22.0, 22.0),
    ruler_top_mm=104.0,
    ruler_left_mm=12.0,
    ruler_length_mm=120,
    edge_centre_mm=(157.0, 52.0),
    edge_side_mm=24.0,
)
"""The target of set-ups for large leaves; its frame is 180 by 124 mm."""

GREY = TargetTruth(
    kind="grey scale",
    pitch_mm=10.0,
    patch_mm=8.8,
    first_centre_mm=(14.0, 14.0),
    ruler_top_mm=56.0,
    ruler_left_mm=9.0,
    ruler_length_mm=70,
    edge_centre_mm=(82.0, 38.0),
    edge_side_mm=11.0,
)
"""The grey scale of infrared set-ups; its frame is 96 by 70 mm."""

SESSIONS: dict[tuple[str, str], SessionTruth] = {
    ("adl-ms-7", "s1"): SessionTruth(target=SMALL, flat=FlatTruth(falloff=0.024)),
    ("adl-or-3", "s1"): SessionTruth(target=LARGE, flat=FlatTruth(falloff=0.030)),
    ("adl-pap-3", "s1"): SessionTruth(target=SMALL, flat=FlatTruth(falloff=0.018)),
    ("adl-pap-3", "s2"): SessionTruth(target=GREY, flat=FlatTruth(falloff=0.060)),
    ("adl-tab-12", "s1"): SessionTruth(target=SMALL, flat=FlatTruth(falloff=0.040)),
    ("adl-let-1823", "s1"): SessionTruth(target=LARGE, flat=FlatTruth(falloff=0.026)),
    ("adl-alb-5", "s1"): SessionTruth(target=LARGE, flat=FlatTruth(falloff=0.034)),
}
"""By item id and session id."""
