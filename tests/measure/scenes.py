"""Frames with and without a 24-patch target, drawn from numbers: what a measurement of them ought to find.

Light is added up in linear light over 3 × 3 places of each pixel, shaded, encoded by the tone curve of a
space, and given noise. Lengths are pixels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from pipeline import icc
from pipeline.measure.pixels import ArrayPixels, Codes
from pipeline.measure.profile import luminance_of_lightness, profile_of_space, xyz_of_lab
from pipeline.measure.references import COLUMNS, ROWS, load

Numbers = npt.NDArray[np.float64]
Plane = npt.NDArray[np.float32]
CARD, GROUND = 24, 25
PER_SIDE = 3
"""Places of each pixel at which a scene is looked at, across and down."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetScene:
    """A target lying in a frame."""

    width: int = 900
    height: int = 700
    space: icc.RgbSpace = icc.WIDE_RGB
    labs: tuple[tuple[float, float, float], ...] = load().labs
    centre: tuple[float, float] = (450.0, 350.0)
    """Where the middle of the target lies, as shares of neither: pixels."""
    pitch: float = 90.0
    """From patch to patch along the rows, where the target is not aslant."""
    rows_to_columns: float = 1.0
    """Pitch down over pitch across."""
    patch_share: float = 0.876
    """Side of a patch over the pitch."""
    turn_deg: float = 0.0
    """Clockwise as seen."""
    tilt_deg: float = 0.0
    """By which the target is tipped about an axis through its middle, seen from 3,000 px away."""
    tilt_axis_deg: float = 30.0
    is_mirrored: bool = False
    card: float = 12.0
    """L* of the card around the patches."""
    ground: float = 45.0
    """L* of what the target lies on."""
    ground_texture: float = 0.0
    """Standard deviation of the ground's lightness in L*."""
    shade: float = 1.0
    """Light in the shade as a share of the light outside it."""
    shade_at: float = 0.0
    """Where the shade begins, in pitches from the middle of the target."""
    shade_angle_deg: float = 20.0
    shade_soft: float = 1.0
    """Width of the border of the shade in pixels."""
    falloff: float = 0.0
    """By which the light falls from the left border of the frame to the right one, as a share."""
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    """By which linear light of the bands is multiplied."""
    noise: float = 0.002
    """Standard deviation in codes, 0 to 1."""
    bits: int = 16
    seed: int = 1

    @property
    def to_frame(self) -> Numbers:
        """3 × 3: (column, row, 1) of a patch, from 0, to pixels."""
        flip = -1 if self.is_mirrored else 1
        middle = np.array([[1, 0, -(COLUMNS - 1) / 2], [0, 1, -(ROWS - 1) / 2], [0, 0, 1.0]])
        size = np.diag([self.pitch * flip, self.pitch * self.rows_to_columns, 1])
        return np.asarray(self._slant @ _turn(self.turn_deg) @ size @ middle)

    @property
    def _slant(self) -> Numbers:
        distance, tilt = 3000.0, math.radians(self.tilt_deg)
        axis = _turn(self.tilt_axis_deg)
        tipped = np.array([[1, 0, 0], [0, math.cos(tilt), 0], [0, math.sin(tilt) / distance, 1.0]])
        to_centre = np.array([[1, 0, self.centre[0]], [0, 1, self.centre[1]], [0, 0, 1.0]])
        return np.asarray(to_centre @ axis @ tipped @ axis.T)

    def places(self) -> Numbers:
        """Return the true centres of the patches, x and y."""
        numbers = np.arange(COLUMNS * ROWS)
        points = np.stack([numbers % COLUMNS, numbers // COLUMNS, np.ones(len(numbers))])
        x, y, w = self.to_frame @ points
        return np.stack([x / w, y / w], axis=1)

    def codes(self) -> Codes:
        """Draw the frame."""
        rng = np.random.default_rng(self.seed)
        light = self._drawn()
        if self.ground_texture:
            x, y = _middles(self.width, self.height)
            rough = 1 + self.ground_texture / 33 * rng.standard_normal(light.shape[:2])
            light *= np.where(self._what(x, y) == GROUND, rough, 1)[..., None]
        light = light * self._light()[..., None] * np.array(self.cast)
        return developed(light, self.space, noise=self.noise, bits=self.bits, rng=rng)

    def pixels(self) -> ArrayPixels:
        """Draw the frame, to be measured on."""
        return ArrayPixels(self.codes())

    def _drawn(self) -> Numbers:
        """Linear light without shade."""
        labs = [*self.labs, (self.card, 0, 0), (self.ground, 0.5, 3)]
        tints = linear_of_lab(np.array(labs), self.space).astype(np.float32)
        light = np.tile(tints[GROUND], (self.height, self.width, 1))
        left, top, right, bottom = self._card_box()
        x, y = _fine(left, right)[None, :], _fine(top, bottom)[:, None]
        light[top:bottom, left:right] = _means(tints[self._what(x, y)])
        return light

    def _card_box(self) -> tuple[int, int, int, int]:
        u, v = (-0.8, COLUMNS - 0.2), (-0.8, ROWS - 0.2)
        x, y, w = self.to_frame @ np.array([(a, b, 1) for a in u for b in v]).T
        (left, right), (top, bottom) = ((int(each.min()), int(each.max()) + 1) for each in (x / w, y / w))
        return max(0, left), max(0, top), min(self.width, right), min(self.height, bottom)

    def _what(self, x: Plane | Numbers, y: Plane | Numbers) -> npt.NDArray[np.int16]:
        """What is at places: the number of a patch, the card, the ground."""
        (a, b, c), (d, e, f), (g, h, i) = np.linalg.inv(self.to_frame).tolist()
        w = g * x + h * y + i
        u, v = (a * x + b * y + c) / w, (d * x + e * y + f) / w
        column, row = np.rint(u), np.rint(v)
        half = self.patch_share / 2
        in_field = (column >= 0) & (column < COLUMNS) & (row >= 0) & (row < ROWS)
        in_patch = in_field & (np.abs(u - column) < half) & (np.abs(v - row) < half)
        on_card = (u > -0.75) & (u < COLUMNS - 0.25) & (v > -0.75) & (v < ROWS - 0.25)
        what = np.where(on_card, CARD, GROUND)
        return np.where(in_patch, row * COLUMNS + column, what).astype(np.int16)

    def _light(self) -> Numbers:
        x, y = _middles(self.width, self.height)
        angle = math.radians(self.shade_angle_deg)
        along = (x - self.centre[0]) * math.cos(angle) + (y - self.centre[1]) * math.sin(angle)
        inside = np.clip((along - self.shade_at * self.pitch) / self.shade_soft + 0.5, 0, 1)
        light = 1 - self.falloff * x / self.width
        return np.asarray((1 + (self.shade - 1) * inside) * light)


def _turn(degrees: float) -> Numbers:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])


def _middles(width: int, height: int) -> tuple[Numbers, Numbers]:
    across, down = np.arange(width, dtype=np.float64), np.arange(height, dtype=np.float64)
    return across[None, :] + 0.5, down[:, None] + 0.5


def _fine(first: int, last: int) -> Plane:
    """In single precision, good to a thousandth of a pixel, in half the time."""
    places = first + (np.arange(PER_SIDE * (last - first)) + 0.5) / PER_SIDE
    return np.asarray(places, np.float32)


def _means(fine: Plane) -> Numbers:
    rows, columns = fine.shape[0] // PER_SIDE, fine.shape[1] // PER_SIDE
    mean = np.zeros((rows, columns, fine.shape[2]), np.float64)
    for down in range(PER_SIDE):
        for across in range(PER_SIDE):
            mean += fine[down::PER_SIDE, across::PER_SIDE]
    return np.asarray(mean / PER_SIDE**2)


def linear_of_lab(lab: npt.ArrayLike, space: icc.RgbSpace) -> Numbers:
    """Linear light of L*a*b*; what the space cannot hold is left below 0 or above 1."""
    return np.asarray(xyz_of_lab(lab) @ np.linalg.inv(np.array(space.colourants())))


def developed(
    light: Numbers, space: icc.RgbSpace, *, noise: float, bits: int, rng: np.random.Generator
) -> Codes:
    """Codes of linear light, with noise."""
    codes = encoded(light, space)
    if noise:
        codes = codes + noise * rng.standard_normal(codes.shape, dtype=np.float32)
    rounded: Numbers = np.clip(np.rint(codes * (2**bits - 1)), 0, 2**bits - 1)
    if bits == 16:
        return rounded.astype(np.uint16)
    return rounded.astype(np.uint8)


def encoded(light: Numbers, space: icc.RgbSpace) -> Numbers:
    """Codes, 0 to 1, of linear light: through a table of 4,096 steps, even in code."""
    steps = np.linspace(0, 1, 4096)
    curve = profile_of_space(space).curves[0].linear(steps)
    return np.asarray(np.interp(light, curve, steps))


# ------------------------------------------------------------------------------------- many of a kind

SPACES = (icc.SRGB, icc.WIDE_RGB)


def random_scene(seed: int) -> TargetScene:
    """A frame with a target: any turn, tilted to 25°, small or large, in light or half in shade."""
    rng = np.random.default_rng(seed)
    width, height = (int(each) for each in rng.integers(700, 1100, 2))
    pitch = float(np.exp(rng.uniform(np.log(14), np.log(0.118 * min(width, height)))))
    tilt = float(rng.choice([0, rng.uniform(0, 25)]))
    reach = 4.1 * pitch
    centre = (float(rng.uniform(reach, width - reach)), float(rng.uniform(reach, height - reach)))
    scene = TargetScene(
        width=width,
        height=height,
        space=SPACES[int(rng.integers(2))],
        labs=load(("24-patch-since-2014-11", "24-patch-before-2014-11")[int(rng.integers(2))]).labs,
        centre=centre,
        pitch=pitch,
        rows_to_columns=float(rng.choice([1.0, 1.06])),
        patch_share=float(rng.uniform(0.8, 0.9)),
        turn_deg=float(rng.uniform(-180, 180)),
        tilt_deg=tilt,
        tilt_axis_deg=float(rng.uniform(0, 360)),
        is_mirrored=bool(rng.random() < 0.1),
        card=float(rng.uniform(8, 20)),
        ground=float(rng.uniform(10, 95)),
        ground_texture=float(rng.choice([0, rng.uniform(0, 5)])),
        falloff=float(rng.uniform(0, 0.25)),
        cast=(float(rng.uniform(0.8, 1)), 0.95, float(rng.uniform(0.75, 1))),
        noise=float(rng.uniform(0.001, 0.012)),
        bits=int(rng.choice([8, 16])),
        seed=seed,
    )
    if rng.random() < 0.5:
        return scene
    return replace(
        scene,
        shade=float(rng.uniform(0.5, 0.9)),
        shade_at=float(rng.uniform(-2, 2)),
        shade_angle_deg=float(rng.uniform(0, 360)),
        shade_soft=float(rng.choice([2, 30, 150])),
    )


def random_page(seed: int) -> ArrayPixels:
    """A frame without a target: rectangles in rows and columns, or strokes, or both; some are coloured."""
    rng = np.random.default_rng(seed)
    width, height = (int(each) for each in rng.integers(700, 1100, 2))
    light = np.full((height, width, 3), luminance_of_lightness(float(rng.uniform(10, 95))))
    kind = seed % 4
    if kind != 3:
        _rectangles(light, rng, is_grid=kind < 2, is_coloured=kind != 1)
    if kind in (2, 3):
        _strokes(light, rng)
    light *= 1 - rng.uniform(0, 0.25) * np.linspace(0, 1, width)[None, :, None]
    noise = float(rng.uniform(0.001, 0.012))
    return ArrayPixels(developed(light, icc.SRGB, noise=noise, bits=8, rng=rng))


def _rectangles(light: Numbers, rng: np.random.Generator, *, is_grid: bool, is_coloured: bool) -> None:
    """A grid of 4 to 9 by 3 to 7 fields, as swatches, photographs on an album's leaf, or a chessboard."""
    height, width = light.shape[:2]
    columns, rows = int(rng.integers(4, 10)), int(rng.integers(3, 8))
    pitch = 0.9 * min(width / columns, height / rows)
    for row in range(rows):
        for column in range(columns):
            lightness = rng.uniform(15, 95)
            a, b = rng.uniform(-45, 45, 2) if is_coloured else (0, 0)
            tint = np.clip(linear_of_lab((lightness, a, b), icc.SRGB), 0, 1)
            x, y = (column * pitch, row * pitch) if is_grid else rng.uniform(0, [width, height])
            side = int(0.87 * pitch)
            light[int(y) + 8 : int(y) + 8 + side, int(x) + 8 : int(x) + 8 + side] = tint


def _strokes(light: Numbers, rng: np.random.Generator) -> None:
    """Lines of strokes, as writing has them."""
    height, width = light.shape[:2]
    size = int(rng.integers(6, 24))
    for top in range(2 * size, height - 2 * size, 2 * size):
        x = 2 * size
        while x < width - 2 * size:
            tall, wide = int(rng.integers(size // 3, size)), int(rng.integers(2, size))
            light[top : top + tall, x : x + max(2, wide // 4)] *= 0.15
            light[top + tall - 2 : top + tall, x : x + wide] *= 0.15
            x += wide + int(rng.integers(2, size))
