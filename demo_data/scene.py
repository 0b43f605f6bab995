"""A picture in the making: layers laid over one another, strip by strip.

A strip is three planes of code values (0 to 1, the wide space) of some rows over the full width, so that
the arithmetic stays in the processor's cache and no picture is held twice. Lengths are millimetres;
x grows to the right, y down.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from demo_data.colour import Colour
from demo_data.picture import Codes, Picture
from demo_data.plate import Plate
from demo_data.textures import Samples, Window, add_grain, grain

Strip = npt.NDArray[np.float32]
"""Planes of red, green, blue: (3, rows, columns)."""
Layer = Callable[["Strip", Window], None]

SENSOR_NOISE = 0.0032
"""Standard deviation of the camera's noise in code values: about 0.4 L*."""
LENS_BLUR = 0.13
"""Share of its light that a pixel gives to each neighbour, across and down."""


class Scene:
    """Layers on a plate; the first is the ground."""

    def __init__(self, plate: Plate, rng: np.random.Generator) -> None:
        self.plate = plate
        self.rng = rng
        self._layers: list[Layer] = []

    def add(self, *layers: Layer) -> None:
        """Lay `layers` over what is there."""
        self._layers += layers

    def picture(self, *, is_grey: bool = False) -> Picture:
        """Draw all, as the lens and the sensor would: a little soft, a little noisy, 16 bits."""
        shifts = self.rng.integers(0, 1024, (3, 2)).tolist()

        def drawn(window: Window) -> Codes:
            strip = self._strip(window)
            planes = strip[1:2] if is_grey else strip
            codes = np.empty((window.rows, window.width, len(planes)), np.uint16)
            for band, (plane, (dx, dy)) in enumerate(zip(planes, shifts, strict=False)):
                add_grain(plane, "sensor", window, SENSOR_NOISE, dx=dx, dy=dy)
                np.clip(plane, 0, 1, out=plane)
                np.multiply(plane, 65535, out=codes[..., band], casting="unsafe")
            return codes

        return Picture(self.plate, 1 if is_grey else 3, drawn)

    def _strip(self, window: Window) -> Strip:
        """The layers and the lens: drawn with a row more above and below, for the blur."""
        wider = Window(window.top - 1, window.rows + 2, window.width, window.px_per_mm)
        strip = np.zeros((3, wider.rows, wider.width), np.float32)
        for layer in self._layers:
            layer(strip, wider)
        return _blurred(strip)


def _blurred(strip: Strip) -> Strip:
    """Each pixel gives a share of its light to its neighbours; the rows at both ends are used up."""
    soft = np.empty((3, strip.shape[1] - 2, strip.shape[2]), np.float32)
    part = np.empty(soft.shape[1:], np.float32)
    for band in range(3):
        plane, target = strip[band], soft[band]
        np.add(plane[:-2], plane[2:], out=part)
        part *= LENS_BLUR
        np.multiply(plane[1:-1], 1 - 2 * LENS_BLUR, out=target)
        target += part
        np.add(target[:, :-2], target[:, 2:], out=part[:, 1:-1])
        part[:, [0, -1]] = 2 * target[:, [0, -1]]
        part *= LENS_BLUR
        target *= 1 - 2 * LENS_BLUR
        target += part
    return soft


# ------------------------------------------------------------------------------------------- painting


def cover(strip: Strip, tint: Colour | Strip, share: Samples | float) -> None:
    """Paint `tint` over the strip, opaque where `share` is 1."""
    for band in range(3):
        difference = tint[band] - strip[band]
        difference *= share
        strip[band] += difference


def shade(strip: Strip, factor: Samples) -> None:
    """Darken or lighten all three planes alike."""
    strip *= factor


def ground(tint: Colour, *, grain_amount: float = 0.02, kind: str = "fine", falloff: float = 0.1) -> Layer:
    """A plain board or cloth beneath the object, a little darker to its corners."""

    def paint(strip: Strip, window: Window) -> None:
        x = window.x_mm
        centre = x[-1] / 2
        light = 1 - falloff * ((x - centre) / centre) ** 2
        texture = 1 + grain_amount / max(tint) * grain(kind, window, dx=331, dy=57)
        texture *= light
        for band in range(3):
            np.multiply(texture, tint[band], out=strip[band])

    return paint


# ------------------------------------------------------------------------------------------- sheets


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A leaf's or a board's outline: a rectangle with rounded corners whose sides are not quite straight."""

    left: float
    top: float
    right: float
    bottom: float
    corner: float = 0.6
    wobble: float = 0.25
    phase: float = 0.0

    def inside_mm(self, window: Window, *, grow: float = 0.0, columns: slice = slice(None)) -> Samples:
        """How far each pixel lies within the outline; negative outside."""
        x, y = window.x_mm[columns], window.y_mm
        corner = self.corner
        left = self.left - grow + self._wave(y, 0.0)
        right = self.right + grow + self._wave(y, 2.1)
        top = self.top - grow + self._wave(x, 4.2)
        bottom = self.bottom + grow + self._wave(x, 5.3)
        across = np.maximum(left + corner - x, x - right + corner)
        down = np.maximum(top + corner - y, y - bottom + corner)
        edge = np.maximum(across, down)
        if corner > 0:
            outside = (across > 0) & (down > 0)
            if outside.any():
                edge[outside] = np.hypot(across[outside], down[outside])
        return np.asarray(corner - edge, np.float32)

    def _wave(self, along: Samples, phase: float) -> Samples:
        p = self.phase + phase
        waves = (
            np.sin(along / 23 + p) + 0.5 * np.sin(along / 9.1 + 2.3 * p) + 0.2 * np.sin(along / 2.7 + 5 * p)
        )
        return np.asarray(self.wobble * waves, np.float32)


def coverage(inside_mm: Samples, window: Window) -> Samples:
    """Opacity of a pixel that lies so far inside an outline: a ramp one pixel wide."""
    share = inside_mm * window.px_per_mm
    share += 0.5
    return np.clip(share, 0, 1, out=share)


def shadow(outline: Outline, *, reach_mm: float, strength: float, dx: float = 0.0, dy: float = 0.0) -> Layer:
    """The shadow that a sheet throws on what lies beneath."""
    moved = Outline(
        left=outline.left + dx,
        right=outline.right + dx,
        top=outline.top + dy,
        bottom=outline.bottom + dy,
        corner=outline.corner + reach_mm,
        wobble=outline.wobble,
        phase=outline.phase,
    )

    def paint(strip: Strip, window: Window) -> None:
        first, last = window.top / window.px_per_mm, (window.top + window.rows) / window.px_per_mm
        spans = [(moved.left - 2 * reach_mm, moved.right + 2 * reach_mm)]
        if first > outline.top + 2 and last < outline.bottom - 2:
            spans = [(spans[0][0], outline.left + 2), (outline.right - 2, spans[0][1])]
        for columns in (window.columns(*span) for span in spans):
            depth = moved.inside_mm(window, grow=reach_mm, columns=columns) / (2 * reach_mm)
            np.clip(depth, 0, 1, out=depth)
            shade(strip[:, :, columns], 1 - strength * depth * depth * (3 - 2 * depth))

    return paint
