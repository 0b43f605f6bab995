"""The clay tablet: six faces at one scale, wedges pressed into clay and lit from the upper left."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from demo_data.colour import colour
from demo_data.ink import drawn, ink
from demo_data.materials import Grid
from demo_data.pen import Sketch
from demo_data.picture import Picture
from demo_data.plate import Plate
from demo_data.scales import scale_bar
from demo_data.scene import Layer, Scene, Strip, cover, ground
from demo_data.textures import Field, Samples, Window, generator, grain

FACES = {
    "obverse": (64.0, 96.0),
    "reverse": (64.0, 96.0),
    "left edge": (27.0, 96.0),
    "right edge": (27.0, 96.0),
    "top edge": (64.0, 27.0),
    "bottom edge": (64.0, 27.0),
}
"""Width and height of each face."""
LINE_MM = 7.4
CLAY, PALE, SOOT = colour("#a97f55"), colour("#d2b48c"), colour("#4f3a28")
LIGHT = (-0.62, -0.62, 0.48)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wedge:
    """One impression of the stylus: where its head is, how long, which way the tail runs."""

    x: float
    y: float
    length: float
    angle_deg: float
    width: float


def signs(face: str, width: float, height: float) -> list[Wedge]:
    """The text: signs of a few wedges each, in lines."""
    rng, wedges = generator("tablet", "text", face), []
    margin = 4.5
    lines = int((height - 2 * margin) / LINE_MM)
    for line in range(lines):
        top = margin + LINE_MM * line + 0.8
        x = margin + rng.uniform(0, 1.5)
        reach = width - margin - (rng.uniform(4, 18) if line == lines - 1 else 0)
        while x < reach - 5:
            sign, advance = _sign(x, top, rng)
            wedges += sign
            x += advance
    return wedges


def _sign(x: float, top: float, rng: np.random.Generator) -> tuple[list[Wedge], float]:
    """One of a few dozen patterns that scribes make of upright, level and corner wedges."""
    kind, tall = int(rng.integers(7)), LINE_MM - 2.0
    up = functools.partial(Wedge, angle_deg=90.0 + rng.normal(0, 3), width=2.2)
    level = functools.partial(Wedge, angle_deg=rng.normal(0, 3), width=1.9)
    hook = functools.partial(Wedge, angle_deg=-38.0 + rng.normal(0, 4), width=2.6)
    if kind == 0:
        return [up(x=x + 1, y=top, length=tall)], 3.0
    if kind == 1:
        return [up(x=x + 1, y=top, length=tall), up(x=x + 3, y=top, length=tall)], 5.0
    if kind == 2:
        count = int(rng.integers(2, 4))
        return [level(x=x + 0.4, y=top + 1 + k * 1.7, length=4.6) for k in range(count)] + [
            up(x=x + 4.2, y=top, length=tall)
        ], 6.0
    if kind == 3:
        return [hook(x=x + 0.6, y=top + 2.4, length=2.4), up(x=x + 3.6, y=top, length=tall)], 5.4
    if kind == 4:
        return [
            level(x=x + 0.4, y=top + 2.6, length=5.2),
            up(x=x + 2.0, y=top, length=2.6),
            up(x=x + 4.0, y=top, length=2.6),
        ], 6.6
    if kind == 5:
        return [
            hook(x=x + 0.6, y=top + 1.4, length=2.2),
            hook(x=x + 0.6, y=top + 3.9, length=2.2),
            level(x=x + 2.6, y=top + 2.6, length=3.6),
        ], 7.0
    return [up(x=x + 0.9 + 1.7 * k, y=top + (k % 2) * 2.6, length=2.8) for k in range(4)] + [
        level(x=x + 0.4, y=top + 2.5, length=6.4)
    ], 8.0


def pressed(wedges: list[Wedge], rows: int, columns: int, px_per_mm: float) -> Samples:
    """Depth of the impressions in millimetres: each a pyramid with a steep head and a long tail."""
    depth = np.zeros((rows, columns), np.float32)
    for wedge in wedges:
        reach = wedge.length + 1.2
        x0, x1 = (int((wedge.x + side * reach) * px_per_mm) for side in (-1, 1))
        y0, y1 = (int((wedge.y + side * reach) * px_per_mm) for side in (-1, 1))
        x0, x1, y0, y1 = max(0, x0), min(columns, x1), max(0, y0), min(rows, y1)
        if x0 >= x1 or y0 >= y1:
            continue
        dx = (np.arange(x0, x1, dtype=np.float32) / px_per_mm - wedge.x)[None, :]
        dy = (np.arange(y0, y1, dtype=np.float32) / px_per_mm - wedge.y)[:, None]
        c, s = math.cos(math.radians(wedge.angle_deg)), math.sin(math.radians(wedge.angle_deg))
        u, v = dx * c + dy * s, np.abs(dy * c - dx * s)
        deep = 0.42 * wedge.width
        shape = np.minimum(deep * (1 - u / wedge.length), deep * (1 + u / 0.55)) - 0.85 * v
        part = depth[y0:y1, x0:x1]
        np.maximum(part, shape, out=part)
    return depth


def frame(plate: Plate, face: str) -> Picture:
    """A face of the tablet on black, its scale beneath."""
    rng = generator("tablet", "scene", face)
    width, height = FACES[face]
    left, top = (plate.width_mm - width) / 2, 7.0
    scene = Scene(plate, rng)
    scene.add(ground(colour("#121214"), grain_amount=0.004), _clay(plate, face, left, top, width, height))
    bar = Sketch()
    scale_bar(bar, (plate.width_mm - 50) / 2, top + height + 5.5, length_mm=50)
    scene.add(ink(drawn(bar, plate), pooling=0.02))
    return scene.picture()


def _clay(plate: Plate, face: str, left: float, top: float, width: float, height: float) -> Layer:
    rng, grid = generator("tablet", "clay", face), Grid.over(plate)
    scale = plate.px_per_mm
    x0, y0 = round((left - 2) * scale), round((top - 2) * scale)
    columns, rows = round((width + 4) * scale), round((height + 4) * scale)
    u, v = (grid.x - left - width / 2) / (width / 2), (grid.y - top - height / 2) / (height / 2)
    lumps = grid.clouds(rng, roughness=1.7)
    power = 6.0 if min(width, height) > 40 else 4.2
    radius = (np.abs(u) ** power + np.abs(v) ** power) ** (1 / power) + 0.010 * lumps
    chip = _chip(grid, face, left, top, width, height, rng)
    radius = radius + 0.05 * chip
    thick = 9.0 if min(width, height) > 40 else 11.0
    dome = thick * np.maximum(1 - np.clip(radius, 0, 1) ** 5, 0) ** 0.5 + 0.45 * lumps - 1.6 * chip
    down, across = np.gradient(dome, 0.4)
    slopes = Field(np.clip(across, -3, 3).astype(np.float32)), Field(np.clip(down, -3, 3).astype(np.float32))
    inside = Field(((1 - radius) * min(width, height) / 2).astype(np.float32))
    damage = Field(chip)
    tones = (
        Field((0.25 + 0.2 * grid.clouds(rng, roughness=1.4)).astype(np.float32)),
        Field(np.clip(grid.clouds(rng, roughness=1.2) - 1.1, 0, 1).astype(np.float32)),
    )
    depth = pressed([_moved(wedge) for wedge in signs(face, width, height)], rows, columns, scale)
    depth *= 1 - np.clip(_over(chip, grid, plate, x0, y0, rows, columns) * 1.6, 0, 1)
    for line in range(1, int((height - 9) / LINE_MM) + 1):
        at = round((2 + 4.5 + LINE_MM * line - 0.25) * scale)
        wide = max(1, round(0.10 * scale))
        depth[at - wide : at + wide, round(4 * scale) : columns - round(4 * scale)] += 0.05
    gy, gx = (np.asarray(each) for each in np.gradient(depth, 1 / scale))
    light = np.array(LIGHT) / np.linalg.norm(LIGHT)

    def paint(strip: Strip, window: Window) -> None:
        first, last = max(window.top, y0), min(window.top + window.rows, y0 + rows)
        if first >= last:
            return
        lines, part = slice(first - window.top, last - window.top), slice(first - y0, last - y0)
        start, end = max(0, x0), min(window.width, x0 + columns)
        span, own = slice(start, end), slice(start - x0, end - x0)
        inset = inside.rows(window, plate.height_px, span)[lines]
        broken = damage.rows(window, plate.height_px, span)[lines]
        rough = 0.10 + 0.30 * broken
        soft, beside, above, fine = (
            grain(kind, window, dx=dx, dy=dy, columns=span)[lines]
            for kind, dx, dy in (("soft", 5, 0), ("soft", 4, 0), ("soft", 5, -1), ("fine", 300, 0))
        )
        zx = (
            slopes[0].rows(window, plate.height_px, span)[lines]
            - gx[part, own]
            + rough * (soft - beside) * 6
            + 0.05 * fine
        )
        zy = slopes[1].rows(window, plate.height_px, span)[lines] - gy[part, own] + rough * (soft - above) * 6
        lit = (-zx * light[0] - zy * light[1] + light[2]) / np.sqrt(zx * zx + zy * zy + 1)
        tone = 0.34 + 0.92 * np.clip(lit, 0, 1) - 0.16 * np.minimum(depth[part, own], 1.2) + 0.03 * fine
        tone *= np.clip(0.5 + inset / 2.2, 0.5, 1)
        share = np.clip(inset * scale + 0.5, 0, 1)
        stain, chalk = (
            tones[0].rows(window, plate.height_px, span)[lines],
            tones[1].rows(window, plate.height_px, span)[lines],
        )
        chalk = np.clip(chalk + 0.35 * broken + 0.5 * (depth[part, own] > 0.12) * chalk, 0, 1)
        planes = np.empty((3, *share.shape), np.float32)
        for band in range(3):
            base = CLAY[band] + np.clip(stain, 0, 1) * (SOOT[band] - CLAY[band])
            planes[band] = (base + 0.55 * chalk * (PALE[band] - base)) * tone * 1.12
        cover(strip[:, lines, span], planes, share)

    return paint


def _moved(wedge: Wedge) -> Wedge:
    """Into the depth map, which has a rim of 2 mm around the face."""
    return Wedge(
        x=wedge.x + 2, y=wedge.y + 2, length=wedge.length, angle_deg=wedge.angle_deg, width=wedge.width
    )


def _chip(
    grid: Grid, face: str, left: float, top: float, width: float, height: float, rng: np.random.Generator
) -> Samples:
    """Where the surface is lost, 0 to 1: a corner that the neighbouring faces share."""
    corners = {
        "obverse": (1.0, 1.0),
        "reverse": (0.0, 1.0),
        "right edge": (0.5, 1.0),
        "bottom edge": (1.0, 0.5),
        "left edge": (0.5, -0.4),
        "top edge": (-0.4, 0.5),
    }
    cx, cy = corners[face]
    x, y = left + cx * width, top + cy * height
    away = np.hypot(grid.x - x, grid.y - y) + 2.4 * grid.clouds(rng, roughness=1.5)
    return np.asarray(1 / (1 + np.exp(np.clip((away - 17) * 1.1, -50, 50))), np.float32)


def _over(field: Samples, grid: Grid, plate: Plate, x0: int, y0: int, rows: int, columns: int) -> Samples:
    """A coarse field read at the pixels of a part of the plate."""
    scale = plate.px_per_mm
    down = np.clip(
        ((np.arange(rows) + y0) / scale / plate.height_mm * grid.shape[0]).astype(int), 0, grid.shape[0] - 1
    )
    across = np.clip(
        ((np.arange(columns) + x0) / scale / plate.width_mm * grid.shape[1]).astype(int), 0, grid.shape[1] - 1
    )
    return np.asarray(field[down[:, None], across])
