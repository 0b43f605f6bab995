"""Bindings: tooled leather boards with brass, spines, edges of the leaves."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from demo_data import pen
from demo_data.colour import Colour, colour
from demo_data.ink import drawn, gold, ink, relief
from demo_data.materials import Grid, Surface, sheet
from demo_data.pen import Sketch
from demo_data.picture import Picture
from demo_data.plate import Plate
from demo_data.scene import Layer, Outline, Scene, Strip, cover, ground, shadow
from demo_data.textures import Window, grain

DARK = colour("#1b1b1d")


@dataclass(frozen=True, slots=True, kw_only=True)
class Leather:
    """A skin and what it turns to where hands and shelves wore it."""

    base: Colour
    worn: Colour


CALF = Leather(base=colour("#6a3d22"), worn=colour("#24120a"))
MOROCCO = Leather(base=colour("#7c2a20"), worn=colour("#2b0f0c"))
CLOTH = Leather(base=colour("#3c4a42"), worn=colour("#1a221e"))


def centred(
    plate: Plate, width: float, height: float, *, corner: float = 1.6, wobble: float = 0.15
) -> Outline:
    """An outline in the middle of the plate."""
    left, top = (plate.width_mm - width) / 2, (plate.height_mm - height) / 2
    return Outline(left=left, top=top, right=left + width, bottom=top + height, corner=corner, wobble=wobble)


def board(
    plate: Plate, outline: Outline, leather: Leather, rng: np.random.Generator, *, coarseness: float = 0.11
) -> Layer:
    """Leather over a board: grained, rubbed pale at the edges, dark where it was handled."""
    grid = Grid.over(plate)
    inward = np.maximum(grid.inside_mm(outline), 0)
    light = (
        0.95
        + 0.05 * grid.clouds(rng, roughness=2)
        + 0.28 * np.exp(-inward / 0.9) * (0.5 + 0.4 * grid.clouds(rng))
    )
    light = (
        light
        * (1 - 0.5 * np.exp(-inward / 0.35))
        * (1.06 - 0.16 * (grid.y - outline.top) / (outline.bottom - outline.top))
    )
    stained = 0.30 + 0.16 * grid.clouds(rng, roughness=1.25) + 0.10 * grid.clouds(rng, roughness=2.2)
    surface = Surface(
        outline=outline,
        base=leather.base,
        stain=leather.worn,
        light=light.astype(np.float32),
        stained=stained.astype(np.float32),
        grains=(("fine", coarseness), ("soft", 0.05), ("pores", -0.25)),
        shift=(int(rng.integers(1024)), int(rng.integers(1024))),
    )
    return sheet(surface, plate)


def bound(plate: Plate, outline: Outline, leather: Leather, rng: np.random.Generator) -> Scene:
    """A closed book on the black table, seen from above."""
    scene = Scene(plate, rng)
    scene.add(ground(DARK, grain_amount=0.006))
    scene.add(shadow(outline, reach_mm=3.5, strength=0.8, dx=1.2, dy=1.8))
    scene.add(board(plate, outline, leather, rng))
    return scene


# ------------------------------------------------------------------------------------------ tooling


def frame(tool: Sketch, width: float, height: float, inset: float, line: float) -> None:
    """A rectangle of a tooled line."""
    tool.line(pen.polygon(pen.rectangle(inset, inset, width - inset, height - inset)), "#000000", line)


def rosette(tool: Sketch, x: float, y: float, radius: float, petals: int = 8) -> None:
    """A small flower stamp."""
    for number in range(petals):
        angle = 2 * math.pi * number / petals
        px, py = x + 0.62 * radius * math.cos(angle), y + 0.62 * radius * math.sin(angle)
        tool.fill(pen.circle(px, py, 0.26 * radius, corners=12), "#000000")
    tool.fill(pen.circle(x, y, 0.24 * radius, corners=12), "#000000")
    tool.line(pen.polygon(pen.circle(x, y, radius)), "#000000", 0.25)


def blind_tooling(width: float, height: float) -> Sketch:
    """A medieval pattern: frames, a lattice of lozenges, a flower in each."""
    tool = Sketch()
    for inset, line in ((4.0, 0.7), (5.4, 0.35), (15.0, 0.7), (16.4, 0.35)):
        frame(tool, width, height, inset, line)
    for x in (10.0, width - 10):
        for y in np.arange(13.0, height - 9, 9.4):
            rosette(tool, x, float(y), 2.6)
    for x in np.arange(20.0, width - 16, 9.6):
        for y in (10.2, height - 10.2):
            rosette(tool, float(x), y, 2.6)
    left, top, right, bottom = 17.2, 17.2, width - 17.2, height - 17.2
    step = (right - left) / 4
    tall = (bottom - top) / 6
    lines = []
    for number in range(-6, 5):
        for sign in (1, -1):
            start = pen.points((left + number * step, top if sign > 0 else bottom))
            track = start + np.linspace(0, 6, 61)[:, None] * (step, sign * tall)
            inside = track[(track[:, 0] >= left - 1e-6) & (track[:, 0] <= right + 1e-6)]
            if len(inside) > 1:
                lines.append(inside)
    tool.lines(lines, "#000000", 0.55)
    for row in range(12):
        for column in range(4 + row % 2):
            x = left + (column + (0.5 if row % 2 == 0 else 0.0)) * step
            if left + 3 < x < right - 3:
                rosette(tool, x, top + (row + 0.5) * tall / 2, 3.0, petals=6)
    return tool


def medallion(width: float, height: float) -> tuple[Sketch, Sketch]:
    """An Islamic pattern: a stamped mandorla with pendants, corner pieces, gold rules; tool and gold."""
    tool, leaf = Sketch(), Sketch()
    cx, cy = width / 2, height / 2
    for inset, line in ((4.0, 0.5), (5.6, 1.0), (7.4, 0.4)):
        frame(leaf, width, height, inset, line)
    outline = _mandorla(cx, cy, 25.0, 40.0)
    tool.fill(outline, "#000000")
    leaf.line(pen.polygon(_mandorla(cx, cy, 26.0, 41.4)), "#000000", 0.5)
    _arabesque(leaf, cx, cy, 21.0, 34.0)
    for sign in (-1, 1):
        leaf.line(pen.points((cx, cy + sign * 42), (cx, cy + sign * 49)), "#000000", 0.35)
        drop = _mandorla(cx, cy + sign * 54, 5.6, 6.4, lobes=6)
        tool.fill(drop, "#000000")
        leaf.line(pen.polygon(drop), "#000000", 0.4)
        rosette(leaf, cx, cy + sign * 54, 2.4, petals=6)
    for sx in (-1, 1):
        for sy in (-1, 1):
            corner = _corner_piece(cx + sx * (cx - 8.6), cy + sy * (cy - 8.6), -sx * 30.0, -sy * 34.0)
            tool.fill(corner, "#000000")
            leaf.line(pen.polygon(corner), "#000000", 0.45)
            for share in (0.2, 0.42):
                rosette(
                    leaf,
                    cx + sx * (cx - 8.6 - 30 * share),
                    cy + sy * (cy - 8.6 - 30 * share * 0.9),
                    3.4 - 4 * share,
                    petals=6,
                )
    return tool, leaf


def _mandorla(cx: float, cy: float, width: float, height: float, *, lobes: int = 18) -> pen.Points:
    turn = np.linspace(0, 2 * math.pi, 20 * lobes, endpoint=False)
    scallop = 1 + 0.035 * np.abs(np.sin(turn * lobes / 2))
    point = 1 + 0.10 * np.abs(np.sin(turn)) ** 14
    return np.stack(
        [
            cx + width * np.cos(turn) * scallop * (1 - 0.12 * np.abs(np.sin(turn)) ** 3),
            cy + height * np.sin(turn) * scallop * point,
        ],
        axis=1,
    )


def _corner_piece(x: float, y: float, dx: float, dy: float) -> pen.Points:
    t = np.linspace(0, 1, 50)
    curve = np.stack([x + dx * (1 - t), y + dy * t], axis=1)
    bulge = 0.22 * np.sin(np.pi * t) + 0.05 * np.abs(np.sin(5 * np.pi * t))
    curve -= np.stack([dx * bulge, dy * bulge], axis=1)
    return np.concatenate([pen.points((x, y)), curve])


def _arabesque(leaf: Sketch, cx: float, cy: float, width: float, height: float) -> None:
    """Scrolls with palmettes, the same left and right, above and below."""
    for sx in (-1, 1):
        for sy in (-1, 1):
            for share, radius in ((0.2, 0.34), (0.52, 0.27), (0.8, 0.17)):
                x, y = cx + sx * width * (0.42 - 0.3 * share), cy + sy * height * share
                curl = pen.spiral(x, y, radius * width, sx * sy * 1.4, 90 * sy)
                leaf.line(curl, "#000000", 0.42)
                at, way = pen.along(curl, [radius * width * k for k in (0.8, 2.0, 3.2)])
                for spot, direction in zip(at, way, strict=True):
                    side = np.array([direction[1], -direction[0]]) * sx * sy
                    leaf.fill(
                        pen.leaf(
                            spot, spot + (side + direction) * radius * width * 0.34, radius * width * 0.26
                        ),
                        "#000000",
                    )
    rosette(leaf, cx, cy, 5.2)
    rosette(leaf, cx, cy, 2.4, petals=6)


def fittings(width: float, height: float, *, clasps_right: bool) -> Sketch:
    """Brass: four corner bosses, one in the middle, two clasps at the fore-edge."""
    brass = Sketch()
    for x, y in (
        (9.8, 9.8),
        (width - 9.8, 9.8),
        (9.8, height - 9.8),
        (width - 9.8, height - 9.8),
        (width / 2, height / 2),
    ):
        brass.fill(pen.circle(x, y, 4.4, corners=40), "#000000")
    edge = width if clasps_right else 0.0
    sign = 1 if clasps_right else -1
    for y in (height * 0.27, height * 0.73):
        plate = pen.smooth(
            pen.points(
                (edge - sign * 17, y - 3.4),
                (edge + sign * 0.5, y - 4.2),
                (edge + sign * 0.5, y + 4.2),
                (edge - sign * 17, y + 3.4),
                (edge - sign * 20.5, y),
            ),
            steps=5,
            closed=True,
        )
        brass.fill(plate, "#000000")
    return brass


def fitting_shadows(width: float, height: float) -> Sketch:
    """The shadows of the bosses on the leather."""
    dark = Sketch()
    for x, y in (
        (9.8, 9.8),
        (width - 9.8, 9.8),
        (9.8, height - 9.8),
        (width - 9.8, height - 9.8),
        (width / 2, height / 2),
    ):
        for grow in (1.2, 0.8, 0.4):
            dark.fill(pen.circle(x + 0.7, y + 0.9, 4.4 + grow, corners=40), "#050302", opacity=0.22)
    return dark


# --------------------------------------------------------------------------------- spine and edge


def spine(
    plate: Plate,
    outline: Outline,
    leather: Leather,
    rng: np.random.Generator,
    bands: tuple[float, ...],
    label: Sketch | None,
) -> Picture:
    """The back of a book: rounded, with raised bands at heights `bands` (mm from the top)."""
    grid, scene = Grid.over(plate), Scene(plate, rng)
    scene.add(ground(DARK, grain_amount=0.006), shadow(outline, reach_mm=2.5, strength=0.8, dx=1.0, dy=1.2))
    across = np.clip((grid.x - outline.left) / (outline.right - outline.left) * 2 - 1, -1, 1)
    light = 0.42 + 0.66 * np.sqrt(np.maximum(1 - (across * 0.98) ** 2, 0)) - 0.16 * across
    down = grid.y - outline.top
    for band in bands:
        bump = np.exp(-(((down - band) / 1.7) ** 2))
        light = light + 0.34 * bump * -(down - band) / 1.7 + 0.10 * bump
    inward = np.maximum(grid.inside_mm(outline), 0)
    worn = (
        0.34
        + 0.16 * grid.clouds(rng, roughness=1.2)
        - 0.30 * sum(np.exp(-(((down - band) / 1.0) ** 2)) for band in bands)
    )
    worn = worn + 0.3 * np.exp(-inward / 1.2)
    surface = Surface(
        outline=outline,
        base=leather.base,
        stain=leather.worn,
        light=(light * (1 - 0.4 * np.exp(-inward / 0.5))).astype(np.float32),
        stained=worn.astype(np.float32),
        grains=(("fine", 0.11), ("soft", 0.06), ("pores", -0.25)),
    )
    scene.add(sheet(surface, plate))
    tool, width = Sketch(), outline.right - outline.left
    for band in bands:
        for offset in (-3.2, 3.2):
            tool.line(pen.points((1.5, band + offset), (width - 1.5, band + offset)), "#000000", 0.35)
    for first, second in itertools.pairwise(bands):
        rosette(tool, width / 2, (first + second) / 2, min(4.2, width * 0.2))
    scene.add(relief(tool, plate, depth=1.0, dx=outline.left, dy=outline.top))
    if label is not None:
        scene.add(ink(drawn(label, plate, dx=outline.left, dy=outline.top)))
        scene.add(_rounding(outline))
    return scene.picture()


def _rounding(outline: Outline) -> Layer:
    """What is pasted on a rounded spine darkens to its sides too; the leather has it already."""

    def paint(strip: Strip, window: Window) -> None:
        across = (window.x_mm - outline.left) / (outline.right - outline.left) * 2 - 1
        strip *= (1 - 0.10 * np.clip(np.abs(across), 0, 1) ** 3).astype(np.float32)

    return paint


def fore_edge(
    plate: Plate, outline: Outline, rng: np.random.Generator, leaf: Colour, *, uncut: bool
) -> Layer:
    """The leaves seen from their edges, between the boards; uncut ones stand out unevenly."""
    width = outline.right - outline.left
    count = int(width / 0.19)
    places = np.sort(rng.uniform(0, width, count)).astype(np.float32)
    tones = rng.uniform(0.55, 1.0, count + 1).astype(np.float32)
    starts = np.abs(rng.normal(0, 1.1 if uncut else 0.2, count + 1)).astype(np.float32)
    ends = np.abs(rng.normal(0, 1.1 if uncut else 0.2, count + 1)).astype(np.float32)
    dips = rng.uniform(0, 1, count + 1).astype(np.float32)

    def paint(strip: Strip, window: Window) -> None:
        columns = window.columns(outline.left, outline.right)
        x, y = window.x_mm[columns] - outline.left, window.y_mm
        bent = x + 0.35 * np.sin(y / 31 + 0.4) + 0.16 * np.sin(y / 8.3 + x / 6) + 0.05 * np.sin(y / 2.1 + x)
        index = np.searchsorted(places, bent.ravel()).reshape(bent.shape)
        since = bent - np.concatenate([[-9.0], places])[index].astype(np.float32)
        tone = (
            tones[index]
            * (0.50 + 0.5 * np.clip(since / 0.1, 0, 1))
            * (0.62 + 0.38 * np.sin(np.pi * np.clip(x / width, 0, 1)) ** 0.5)
        )
        tone = tone * (1 - 0.30 * (np.sin(y / (9 + 20 * dips[index]) + 40 * dips[index]) > 0.86) * uncut)
        tone += 0.05 * grain("fine", window, columns=columns) + 0.03 * grain("soft", window, columns=columns)
        inside = np.minimum(y - outline.top - starts[index], outline.bottom - ends[index] - y)
        share = np.clip(inside * window.px_per_mm + 0.5, 0, 1).astype(np.float32)
        cover(strip[:, :, columns], np.stack([tone * part for part in leaf]).astype(np.float32), share)

    return paint


def brass(sketch: Sketch, plate: Plate, *, dx: float, dy: float) -> Layer:
    """Brass fittings: metal that is a little duller than leaf."""
    return gold(sketch, plate, dx=dx, dy=dy, wear=0.0, swell_mm=1.7)
