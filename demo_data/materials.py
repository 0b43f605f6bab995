"""Surfaces: vellum, paper, leather, card; each a sheet with an outline, a light and stains."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_data.colour import Colour
from demo_data.plate import Plate
from demo_data.scene import Layer, Outline, Strip, cover, coverage
from demo_data.textures import Field, Samples, Window, clouds, grain

GRID_MM = 0.4
"""Cell of the coarse grid on which slow changes are computed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """The coarse grid over a plate: positions in millimetres."""

    x: Samples
    y: Samples

    @classmethod
    def over(cls, plate: Plate) -> Grid:
        """The grid of a plate."""
        columns, rows = round(plate.width_mm / GRID_MM), round(plate.height_mm / GRID_MM)
        x = (np.arange(columns, dtype=np.float32)[None, :] + 0.5) * plate.width_mm / columns
        y = (np.arange(rows, dtype=np.float32)[:, None] + 0.5) * plate.height_mm / rows
        return cls(x=x.astype(np.float32), y=y.astype(np.float32))

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.y.shape[0], self.x.shape[1]

    def inside_mm(self, outline: Outline) -> Samples:
        """Distance to the outline's straight box, positive inside."""
        across = np.minimum(self.x - outline.left, outline.right - self.x)
        down = np.minimum(self.y - outline.top, outline.bottom - self.y)
        return np.asarray(np.minimum(across, down))

    def spot(self, x: float, y: float, radius: float) -> Samples:
        """A soft round patch, 1 in its middle."""
        return np.exp(-((self.x - x) ** 2 + (self.y - y) ** 2) / (2 * radius**2)).astype(np.float32)

    def clouds(self, rng: np.random.Generator, *, roughness: float = 1.6, stretch: float = 1.0) -> Samples:
        """Fractal noise over the plate."""
        return clouds(rng, self.shape, roughness=roughness, stretch=stretch)


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """A sheet of something."""

    outline: Outline
    base: Colour
    stain: Colour
    """What the base turns to where it is stained."""
    light: Samples
    """Factor on the coarse grid."""
    stained: Samples
    """Share of the stain on the coarse grid."""
    grains: tuple[tuple[str, float], ...] = ()
    """Kinds of tile and their amounts as shares of the lightness."""
    shift: tuple[int, int] = (0, 0)


def sheet(surface: Surface, plate: Plate, *, hidden: Outline | None = None) -> Layer:
    """The surface as a layer, within its outline; what lies deep within `hidden` need not be drawn."""
    light, stained = Field(surface.light), Field(np.clip(surface.stained, 0, 1))

    def paint(strip: Strip, window: Window) -> None:
        for columns, is_inside in _spans(surface.outline, hidden, window):
            tone = light.rows(window, plate.height_px, columns)
            turned = stained.rows(window, plate.height_px, columns)
            if is_inside:
                _colour(surface, window, tone, turned, columns, out=strip[:, :, columns])
                continue
            tint = _colour(surface, window, tone, turned, columns, out=np.empty((3, *tone.shape), np.float32))
            share = coverage(surface.outline.inside_mm(window, columns=columns), window)
            cover(strip[:, :, columns], tint, share)

    return paint


def _colour(
    surface: Surface, window: Window, tone: Samples, turned: Samples, columns: slice, *, out: Strip
) -> Strip:
    x, y = surface.shift
    for number, (kind, amount) in enumerate(surface.grains):
        texture = grain(kind, window, dx=x + 173 * number, dy=y + 91 * number, columns=columns)
        texture *= amount
        tone += texture
    for band in range(3):
        np.multiply(turned, surface.stain[band] - surface.base[band], out=out[band])
        out[band] += surface.base[band]
        out[band] *= tone
    return out


def _spans(box: Outline, hidden: Outline | None, window: Window) -> list[tuple[slice, bool]]:
    """The columns in which the strip meets the outline, less those that will be covered anyway.

    True with those that lie wholly inside it.
    """
    margin = 3 * box.wobble + 0.5
    first, last = window.top / window.px_per_mm, (window.top + window.rows) / window.px_per_mm
    if last < box.top - margin or first > box.bottom + margin:
        return []
    left, right, inset = box.left - margin, box.right + margin, margin + box.corner
    spans = [(left, right, False)]
    if first > box.top + inset and last < box.bottom - inset:
        spans = [
            (left, box.left + inset, False),
            (box.left + inset, box.right - inset, True),
            (box.right - inset, right, False),
        ]
    if hidden is not None and first > hidden.top + 2 and last < hidden.bottom - 2:
        spans = [(left, min(right, hidden.left + 2), False), (max(left, hidden.right - 2), right, False)]
    found = []
    for start, end, is_inside in spans:
        columns = window.columns(start, end)
        if columns.stop > columns.start:
            found.append((columns, is_inside))
    return found
