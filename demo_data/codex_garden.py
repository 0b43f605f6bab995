"""The plan of the garden, on the leaf that folds out: walls in elevation, beds, water, bees."""

from __future__ import annotations

import math

import numpy as np

from demo_data import ornament, pen, plants
from demo_data.codex_pages import BOOK, LARGE, Content, sun
from demo_data.hands import width_of, written
from demo_data.ornament import BLUE, INK, RED
from demo_data.pen import Sketch

SHEET_MM = (186.0, 150.0)
"""The leaf unfolded."""
FOLD_MM = 106.0
"""Where it was folded, from the gutter."""


def garden(rng: np.random.Generator) -> Content:
    """The plan of the garden: walls in elevation, four quarters of beds, water in the middle."""
    plan = Content(has_gold=True)
    sketch, left, top, right, bottom = plan.ink, 26.0, 30.0, 164.0, 124.0
    sketch.fill(pen.rectangle(left, top, right, bottom), "#c9cf9d", opacity=0.75)
    cx, cy = (left + right) / 2, (top + bottom) / 2
    for box in (
        pen.rectangle(cx - 3.2, top, cx + 3.2, bottom),
        pen.rectangle(left, cy - 3.2, right, cy + 3.2),
    ):
        sketch.shape(box, "#e6d3a4", "#8a6a42", 0.25)
    _waves(sketch, left, cx, cy)
    quarters = ((left, top), (cx + 3.2, top), (left, cy + 3.2), (cx + 3.2, cy + 3.2))
    herbs = (("salvia", "artemisia"), ("borago", "viola"), ("lilium", "plantago"), ("papaver", "mandragora"))
    for (x, y), names in zip(quarters, herbs, strict=True):
        _quarter(sketch, x + 4, y + 4, cx - 3.2 - left - 8, cy - 3.2 - top - 8, names, rng)
    _fountain(plan, cx, cy)
    _walls(plan, left, top, right, bottom)
    for y in (32.0, 44.0, 92.0, 104.0, 116.0, 128.0):
        _tree(sketch, 12.0 + rng.normal(0, 1.2), y, 11, rng)
        _tree(sketch, 176.0 + rng.normal(0, 1.2), y, 11, rng)
    for name, x, y, turn in (
        ("Oriens", cx, 13.5, 0),
        ("Occidens", cx, 143.5, 0),
        ("Septentrio", 14.5, cy - 13.5, -90),
        ("Meridies", 174.0, cy - 13.5, 90),
    ):
        label = Sketch()
        data, _ = written(LARGE, name, -width_of(LARGE, name) / 2, 0, rng)
        label.fill(data, RED)
        sketch.include(label, x=x, y=y, angle_deg=turn)
    for number in range(4):
        _hive(sketch, 52 + 9 * number, 137.5)
    data, _ = written(BOOK, "apiarium", 90, 137.5, rng)
    sketch.fill(data, INK)
    data, _ = written(BOOK, "ortus ſolis", cx + 14, 20.5, rng)
    sketch.fill(data, INK)
    face = Content()
    sun(face, 0.0, 0.0, 6.0, rng)
    sketch.include(face.ink, x=cx - 24, y=13)
    plan.leaf.include(face.leaf, x=cx - 24, y=13)
    return plan


def _waves(sketch: Sketch, left: float, cx: float, cy: float) -> None:
    """The stream that comes in from the west side."""
    x = np.linspace(left - 24, cx, 60)
    for dy in (-1.1, 0.0, 1.1):
        y = cy + dy + 0.35 * np.sin(x / 1.3 + dy)
        sketch.line(np.stack([x, y], axis=1), BLUE, 0.4)


def _quarter(
    sketch: Sketch,
    x: float,
    y: float,
    width: float,
    height: float,
    names: tuple[str, str],
    rng: np.random.Generator,
) -> None:
    """Four beds in a quarter, each with a row of herbs and its hurdle."""
    for row in range(2):
        for column in range(2):
            left, top = x + column * width / 2 + 1, y + row * height / 2 + 1
            right, bottom = left + width / 2 - 2, top + height / 2 - 2
            bed = pen.rectangle(left, top, right, bottom)
            sketch.fill(bed, "#9a7b55")
            furrows = [
                pen.points((left + 0.6, y), (right - 0.6, y)) for y in np.arange(top + 1.4, bottom, 2.0)
            ]
            sketch.lines(furrows, "#6b5236", 0.16, opacity=0.6)
            sketch.line(pen.polygon(bed), "#4a3521", 0.45)
            name, tall = names[(row + column) % 2], (bottom - top) * 0.86
            below = tall * (0.27 if name == "mandragora" else 0.13)
            herb = plants.drawing(name, tall, rng)
            for number in range(3):
                spot = left + (number + 0.5) * (right - left) / 3
                sketch.include(herb, x=spot, y=bottom - 1.2 - below, angle_deg=rng.normal(0, 3))


def _fountain(plan: Content, cx: float, cy: float) -> None:
    sketch = plan.ink
    for radius, tint in ((9.5, "#cfc4ae"), (7.6, ornament.PALE_BLUE)):
        sketch.shape(pen.circle(cx, cy, radius, corners=40), tint, INK, 0.35)
    for number in range(8):
        angle = math.radians(45 * number)
        ray = np.array([math.cos(angle), math.sin(angle)])
        sketch.line(np.stack([np.array([cx, cy]) + 7.6 * ray, np.array([cx, cy]) + 9.5 * ray]), INK, 0.25)
        arc = pen.smooth(
            np.stack([np.array([cx, cy]) + k * ray + (0, -lift) for k, lift in ((2, 0), (4, 1.6), (6.4, 0))])
        )
        sketch.line(arc, ornament.WHITE, 0.3)
    plan.leaf.fill(pen.circle(cx, cy, 2.3), ornament.OCHRE)
    sketch.line(pen.polygon(pen.circle(cx, cy, 2.3)), INK, 0.3)


def _walls(plan: Content, left: float, top: float, right: float, bottom: float) -> None:
    """Crenellated walls, folded flat outwards, with towers and a gate."""
    sketch, thick = plan.ink, 5.0
    stone = "#d8c7a8"
    cx = (left + right) / 2
    sides = (
        ((left, top), (1, 0), right - left),
        ((right, top), (0, 1), bottom - top),
        ((right, bottom), (-1, 0), right - left),
        ((left, bottom), (0, -1), bottom - top),
    )
    for (x, y), (dx, dy), length in sides:
        out = np.array([dy, -dx])
        start, way = np.array([x, y]), np.array([dx, dy])
        wall = np.stack(
            [start, start + way * length, start + way * length + out * thick, start + out * thick]
        )
        sketch.shape(wall, stone, INK, 0.3)
        for course in (1.6, 3.3):
            sketch.line(
                np.stack([start + out * course, start + way * length + out * course]), "#8a7558", 0.15
            )
        teeth = [start + out * thick + way * at for at in np.arange(1.5, length - 1.5, 3.6)]
        merlons = [np.stack([at, at + way * 2, at + way * 2 + out * 1.8, at + out * 1.8]) for at in teeth]
        sketch.fill(merlons, stone)
        sketch.line("".join(map(pen.polygon, merlons)), INK, 0.22)
        feet = [
            start + out * course + way * at
            for course, shift in ((0.0, 0.0), (1.6, 1.5), (3.3, 0.6))
            for at in np.arange(1.0 + shift, length, 3.0)
        ]
        sketch.lines([np.stack([foot, foot + out * 1.6]) for foot in feet], "#8a7558", 0.13)
    for x, y in ((left, top), (right, top), (right, bottom), (left, bottom), (cx, bottom + 1)):
        _tower(plan, x, y + 3, gate=x == cx)


def _tower(plan: Content, x: float, y: float, *, gate: bool) -> None:
    sketch, wide, tall = plan.ink, 5.4, 13.0
    body = pen.rectangle(x - wide, y - tall, x + wide, y + 1.5)
    sketch.fill(body, "#e2d2b2")
    sketch.fill(pen.rectangle(x + wide * 0.35, y - tall, x + wide, y + 1.5), "#a68f6c", opacity=0.45)
    sketch.line(pen.polygon(body), INK, 0.35)
    roof = pen.points((x - wide - 1, y - tall), (x, y - tall - 8), (x + wide + 1, y - tall))
    sketch.shape(roof, RED if not gate else BLUE, INK, 0.35)
    feet = [x - wide - 1 + (2 * wide + 2) * number / 5 for number in range(1, 5)]
    sketch.lines([pen.points((foot, y - tall), (x, y - tall - 8)) for foot in feet], INK, 0.14, opacity=0.6)
    plan.leaf.fill(pen.circle(x, y - tall - 9, 1.1), ornament.OCHRE)
    sketch.line(pen.polygon(pen.circle(x, y - tall - 9, 1.1)), INK, 0.2)
    if gate:
        arch = pen.smooth(
            pen.points((x - 3, y + 1.5), (x - 3, y - 4), (x, y - 7.5), (x + 3, y - 4), (x + 3, y + 1.5)),
            steps=6,
        )
        sketch.fill(arch, "#4a3521")
        sketch.line(arch, INK, 0.3)
        for bar_x in (-1.5, 0.0, 1.5):
            sketch.line(pen.points((x + bar_x, y + 1.2), (x + bar_x, y - 6.0)), "#b9a27a", 0.25)
    else:
        for dy in (3.4, 8.4):
            sketch.fill(pen.rectangle(x - 0.6, y - dy - 2.4, x + 0.6, y - dy), INK)


def _tree(sketch: Sketch, x: float, y: float, height: float, rng: np.random.Generator) -> None:
    sketch.fill(
        pen.ribbon(
            pen.points((x, y), (x + 0.2, y - height * 0.3), (x, y - height * 0.6)), np.array([1.6, 1.2, 0.8])
        ),
        "#6b4a2c",
    )
    for number in range(9):
        angle = 2 * math.pi * number / 9
        px, py = x + 2.4 * math.cos(angle), y - height * 0.68 + 2.7 * math.sin(angle)
        crown = pen.circle(px, py, 1.7 + rng.uniform(0, 0.4), corners=14)
        sketch.shape(crown, (ornament.GREEN, ornament.DARK_GREEN, "#6f9a4e")[number % 3], INK, 0.3)
    spots = pen.moved(rng.uniform(-2.6, 2.6, (5, 2)), x, y - height * 0.68)
    sketch.fill([pen.circle(px, py, 0.5, corners=10) for px, py in spots.tolist()], RED)


def _hive(sketch: Sketch, x: float, y: float) -> None:
    skep = pen.smooth(
        pen.points((x - 3, y), (x - 2.6, y - 3), (x, y - 5.6), (x + 2.6, y - 3), (x + 3, y)), steps=6
    )
    sketch.shape(skep, "#cfa24e", INK, 0.3)
    for rise in (1.2, 2.4, 3.6):
        half = 3 * math.sqrt(max(0.05, 1 - (rise / 5.8) ** 2))
        sketch.line(pen.points((x - half, y - rise), (x + half, y - rise)), "#7a5218", 0.2)
    sketch.fill(pen.circle(x, y - 0.7, 0.6, corners=12), INK)
