"""Target and flat frames, drawn from `demo_data.truth` and nothing else."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from demo_data import truth
from demo_data.colour import decoded, encoded, from_lab, grey_from_lightness
from demo_data.picture import Codes, Picture
from demo_data.plate import Plate
from demo_data.textures import Samples, Window, grain
from demo_data.truth import FlatTruth, TargetTruth

Values = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """What falls on all frames of a session alike."""

    cast: tuple[float, float, float] = truth.NEUTRAL
    """Factors on linear red, green, blue."""
    ramp: float = 0.0
    """Linear light is 1 + ramp * x, x from -1/2 at the left border to 1/2 at the right one."""

    def fall_on(self, strip: Samples, window: Window) -> None:
        """Change the codes of a strip; nothing is done in even light without a cast."""
        if self == EVEN:
            return
        x = (np.arange(window.width, dtype=np.float32) + 0.5) / window.width - 0.5
        for plane, factor in zip(strip, self.cast, strict=True):
            plane *= encoded(factor * (1 + self.ramp * x), most=math.inf).astype(np.float32)


EVEN = Light()
CARD, BOARD, RULER, TICK = 12.0, 26.0, 93.0, 10.0
"""L* of the target's black card, the board beneath, the ruler and its ticks."""


def target(plate: Plate, facts: TargetTruth, *, seed: int, light: Light = EVEN) -> Picture:
    """A target frame; grey if it is a grey scale."""
    is_grey = facts.kind != "24-patch"
    bands = 1 if is_grey else 3

    def drawn(window: Window) -> Codes:
        strip = np.full((bands, window.rows, window.width), _neutral(BOARD), np.float32)
        _paint_patches(strip, window, facts, is_grey=is_grey)
        _paint_ruler(strip, window, facts)
        _paint_edges(strip, window, facts)
        light.fall_on(strip, window)
        return _exposed(strip, window, facts.noise, seed)

    return Picture(plate, bands, drawn)


def flat(plate: Plate, facts: FlatTruth, *, bands: int, seed: int, light: Light = EVEN) -> Picture:
    """A flat frame: its own fall-off, and what `light` makes of it."""
    level = float(decoded(_neutral(facts.lightness)))
    half = np.array([plate.width_px, plate.height_px]) / 2
    corner = float((half**2).sum())
    x = (np.arange(plate.width_px) + 0.5 - half[0]) ** 2 / corner

    def drawn(window: Window) -> Codes:
        y = (np.arange(window.top, window.top + window.rows) + 0.5 - half[1]) ** 2 / corner
        codes = encoded(level * (1 - facts.falloff * (x[None, :] + y[:, None]))).astype(np.float32)
        strip = np.broadcast_to(codes, (bands, *codes.shape)).copy()
        light.fall_on(strip, window)
        return _exposed(strip, window, facts.noise, seed)

    return Picture(plate, bands, drawn)


def patch_codes(facts: TargetTruth) -> Values:
    """The true code values of the patches, 0 to 1, one row a patch."""
    if facts.kind == "24-patch":
        return from_lab(np.array([lab for _, *lab in truth.PATCHES]))
    return grey_from_lightness(np.array(truth.GREY_STEPS))[:, None]


def _neutral(lightness: float) -> float:
    return float(grey_from_lightness(lightness))


def _exposed(strip: Samples, window: Window, noise: float, seed: int) -> Codes:
    for band, plane in enumerate(strip):
        plane += noise * grain("sensor", window, dx=seed + 337 * band, dy=seed // 7 + 101 * band)
    codes = np.clip(strip * 65535 + 0.5, 0, 65535).astype(np.uint16)
    return np.ascontiguousarray(np.moveaxis(codes, 0, -1))


def _box(
    window: Window, left: float, top: float, right: float, bottom: float
) -> tuple[slice, slice, Samples] | None:
    """The part of the strip that a rectangle touches, and how far each pixel is covered by it."""
    scale = window.px_per_mm
    columns = slice(max(0, math.floor(left * scale)), min(window.width, math.ceil(right * scale)))
    first = max(window.top, math.floor(top * scale))
    last = min(window.top + window.rows, math.ceil(bottom * scale))
    if first >= last or columns.start >= columns.stop:
        return None
    x, y = np.arange(columns.start, columns.stop), np.arange(first, last)
    across = np.clip(np.minimum(x + 1, right * scale) - np.maximum(x, left * scale), 0, 1)
    down = np.clip(np.minimum(y + 1, bottom * scale) - np.maximum(y, top * scale), 0, 1)
    share = (down[:, None] * across[None, :]).astype(np.float32)
    return slice(first - window.top, last - window.top), columns, share


def _fill(
    strip: Samples, window: Window, box: tuple[float, float, float, float], codes: Values | list[float]
) -> None:
    part = _box(window, *box)
    if part is None:
        return
    rows, columns, share = part
    for plane, code in zip(strip, codes, strict=True):
        plane[rows, columns] += share * (np.float32(code) - plane[rows, columns])


def _paint_patches(strip: Samples, window: Window, facts: TargetTruth, *, is_grey: bool) -> None:
    columns, rows = (len(truth.GREY_STEPS), 1) if is_grey else (truth.COLUMNS, truth.ROWS)
    x, y, half = *facts.first_centre_mm, facts.pitch_mm * 0.6
    card = (
        x - half,
        y - half,
        x + (columns - 1) * facts.pitch_mm + half,
        y + (rows - 1) * facts.pitch_mm + half,
    )
    _fill(strip, window, card, [_neutral(CARD)] * len(strip))
    for number, codes in enumerate(patch_codes(facts)):
        cx, cy = facts.centre_mm(number)
        side = facts.patch_mm / 2
        _fill(strip, window, (cx - side, cy - side, cx + side, cy + side), codes)


def _paint_ruler(strip: Samples, window: Window, facts: TargetTruth) -> None:
    """A white rule with a tick each millimetre, longer at five and ten, and blocks of a centimetre."""
    left, top, length = facts.ruler_left_mm, facts.ruler_top_mm, facts.ruler_length_mm
    white, black = [_neutral(RULER)] * len(strip), [_neutral(TICK)] * len(strip)
    _fill(strip, window, (left - 3, top, left + length + 3, top + 11), white)
    if window.top + window.rows < top * window.px_per_mm or window.top > (top + 12) * window.px_per_mm:
        return
    for mm in range(length + 1):
        tall = 6.0 if mm % 10 == 0 else 4.5 if mm % 5 == 0 else 3.0
        _fill(strip, window, (left + mm, top + 0.6, left + mm + 0.18, top + 0.6 + tall), black)
    for centimetre in range(0, length // 10, 2):
        _fill(
            strip, window, (left + 10 * centimetre, top + 7.4, left + 10 * centimetre + 10, top + 9.8), black
        )


def _paint_edges(strip: Samples, window: Window, facts: TargetTruth) -> None:
    """Light fields with a dark square in each, turned a little, its edges blurred as a lens would."""
    for centre in facts.edge_centres_mm:
        _paint_square(strip, window, facts, centre)


def _paint_square(strip: Samples, window: Window, facts: TargetTruth, centre_mm: tuple[float, float]) -> None:
    (cx, cy), field = centre_mm, facts.edge_side_mm / 2 + facts.edge_margin_mm
    part = _box(window, cx - field, cy - field, cx + field, cy + field)
    if part is None:
        return
    rows, columns, share = part
    scale = window.px_per_mm
    x = (np.arange(columns.start, columns.stop) + 0.5 - cx * scale)[None, :]
    y = (np.arange(window.top + rows.start, window.top + rows.stop) + 0.5 - cy * scale)[:, None]
    turn = math.radians(facts.edge_angle_deg)
    u, v = x * math.cos(turn) + y * math.sin(turn), y * math.cos(turn) - x * math.sin(turn)
    half = facts.edge_side_mm / 2 * scale
    inside = _step(half - np.abs(u), facts.edge_sigma_px) * _step(half - np.abs(v), facts.edge_sigma_px)
    light, dark = (decoded(_neutral(lightness)) for lightness in (facts.edge_light, facts.edge_dark))
    codes = encoded(light + inside * (dark - light)).astype(np.float32)
    for plane in strip:
        plane[rows, columns] += share * (codes - plane[rows, columns])


def _step(distance: Values, sigma: float) -> Values:
    """A unit step blurred by a Gaussian: the normal distribution function.

    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.17; error below 7.5e-8.
    """
    z = np.abs(distance) / sigma
    t = 1 / (1 + 0.2316419 * z)
    series = t * (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))))
    upper = np.exp(-z * z / 2) / math.sqrt(2 * math.pi) * series
    return np.where(distance >= 0, 1 - upper, upper)
