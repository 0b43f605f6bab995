"""Herbs as a herbal draws them: root, stem, leaves in pairs, flowers, washed in with a few colours."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from demo_data import pen
from demo_data.pen import Points, Sketch

OUTLINE = "#33261a"


@dataclass(frozen=True, slots=True, kw_only=True)
class Herb:
    """How a herb looks."""

    leaf: str = "#5f8a4e"
    flower: str = "#b4556b"
    pairs: int = 6
    leaf_length: float = 0.24
    """As a share of the plant's height; so are the widths below."""
    leaf_width: float = 0.09
    branches: int = 0
    root: str = "fibres"
    """``fibres``, ``tap`` or ``figure``, the mandrake's."""
    head: str = "daisy"
    """``daisy``, ``bell``, ``spike``, ``berries`` or ``none``."""
    lobed: bool = False
    is_plain: bool = False


HERBS = {
    "salvia": Herb(leaf="#7d9a70", flower="#6a5aa8", pairs=7, head="spike"),
    "mandragora": Herb(
        leaf="#4c7a3f",
        flower="#d2a436",
        pairs=5,
        leaf_length=0.42,
        leaf_width=0.13,
        root="figure",
        head="berries",
    ),
    "papaver": Herb(leaf="#6f9160", flower="#b8301f", pairs=4, branches=2, lobed=True, head="daisy"),
    "borago": Herb(leaf="#5b8557", flower="#3a5fae", pairs=5, branches=2, root="tap"),
    "lilium": Herb(
        leaf="#628f4c", flower="#f2ead6", pairs=9, leaf_length=0.16, leaf_width=0.04, head="bell", root="tap"
    ),
    "artemisia": Herb(leaf="#8a9c78", flower="#c9b04a", pairs=8, lobed=True, branches=2, head="spike"),
    "viola": Herb(
        leaf="#557f45", flower="#5b3f8c", pairs=3, leaf_length=0.3, leaf_width=0.16, branches=3, head="bell"
    ),
    "plantago": Herb(
        leaf="#66924f", flower="#8a6b3c", pairs=3, leaf_length=0.46, leaf_width=0.17, head="spike", branches=2
    ),
}


def drawing(name: str, height: float, rng: np.random.Generator) -> Sketch:
    """The herb `height` mm tall, root included; its foot, where the stem leaves the ground, is the origin.

    A herb under 20 mm is drawn plainly, without veins.
    """
    herb, sketch = HERBS[name], Sketch()
    if height < 20:
        herb = replace(herb, is_plain=True, pairs=min(herb.pairs, 5))
    shoot = height * (0.55 if herb.root == "figure" else 0.78)
    _root(sketch, herb, height - shoot, rng)
    stems = [
        (0.0, 1.0),
        *((side * (0.22 + 0.1 * k), 0.82 - 0.08 * k) for k in range(herb.branches) for side in (-1, 1)),
    ]
    for lean, share in stems[::-1]:
        _shoot(sketch, herb, shoot * share, lean, rng, is_main=lean == 0)
    return sketch


def _shoot(
    sketch: Sketch, herb: Herb, height: float, lean: float, rng: np.random.Generator, *, is_main: bool
) -> None:
    sway = rng.uniform(-0.04, 0.04)
    track = pen.smooth(
        pen.points(
            (0, 0),
            ((0.4 * lean + sway) * height, -0.35 * height),
            ((0.8 * lean - sway) * height, -0.7 * height),
            (lean * height, -height),
        ),
        steps=3 if herb.is_plain else 8,
    )
    widths = np.linspace(0.022, 0.010, len(track)) * height + 0.15
    stem = "#6d7d43"
    sketch.fill(pen.ribbon(track, widths + 0.3), OUTLINE)
    sketch.fill(pen.ribbon(track, widths), stem)
    pairs = herb.pairs if is_main else max(2, herb.pairs // 2)
    low = 0.02 if herb.leaf_length > 0.3 else 0.14
    shares = np.linspace(low, 0.86, pairs) ** 1.05
    length = float(np.hypot(*np.diff(track, axis=0).T).sum())
    at, direction = pen.along(track, list(shares * length))
    for number, (spot, way) in enumerate(zip(at, direction, strict=True)):
        size = height * herb.leaf_length * (1.1 - 0.65 * shares[number]) * (1 if is_main else 0.8)
        for side in (-1, 1):
            _leaf(sketch, herb, spot, way, side, size * rng.uniform(0.88, 1.1), height, rng)
    _head(sketch, herb, track, height, rng)


def _leaf(
    sketch: Sketch,
    herb: Herb,
    spot: Points,
    way: Points,
    side: int,
    size: float,
    height: float,
    rng: np.random.Generator,
) -> None:
    normal = np.array([way[1], -way[0]]) * side
    rise = rng.uniform(0.35, 0.75)
    tip = spot + (normal + way * rise) * size / math.hypot(1, rise)
    width = size * herb.leaf_width / herb.leaf_length
    outline = pen.leaf(spot, tip, width, bend=side * size * 0.07, knots=7 if herb.is_plain else 12)
    if herb.lobed:
        outline = _lobed(outline, spot, tip, steps=3 if herb.is_plain else 4)
    sketch.shape(outline, herb.leaf, OUTLINE, 0.22)
    if herb.is_plain:
        return
    half = len(outline) // 2
    lower = outline[half:] if side * 1 > 0 else outline[:half]
    middle = (outline[:half] + outline[half:][::-1]) / 2
    sketch.fill(np.concatenate([middle, lower if side > 0 else lower[::-1]]), "#1f3a22", opacity=0.22)
    sketch.line(middle[:-1], "#2f4a2b", 0.14, opacity=0.8)
    veins = [
        np.stack([middle[number], middle[number] + (edge[number + 1] - middle[number]) * 0.8])
        for number in range(2, half - 2, 2)
        for edge in (outline[:half], outline[half:][::-1])
    ]
    sketch.lines(veins, "#2f4a2b", 0.09, opacity=0.6)


def _lobed(outline: Points, spot: Points, tip: Points, *, steps: int) -> Points:
    """Cut notches into a leaf's margin."""
    axis = (tip - spot) / max(float(np.hypot(*(tip - spot))), 1e-9)
    finer = pen.smooth(outline, steps=steps)
    relative = finer - spot
    along = relative @ axis
    across = relative - along[:, None] * axis
    notch = 0.72 + 0.28 * np.sin(np.linspace(0, 2 * math.pi * (9 if steps > 3 else 5), len(finer)))
    cut = spot + along[:, None] * axis + across * notch[:, None] * 1.25
    return cut if len(cut) % 2 == 0 else cut[:-1]


def _head(sketch: Sketch, herb: Herb, track: Points, height: float, rng: np.random.Generator) -> None:
    top = track[-1]
    size = height * 0.075 + 0.9
    if herb.head == "daisy":
        _daisy(sketch, top, size * 1.25, herb.flower, rng)
    elif herb.head == "bell":
        for turn in (-50, 0, 50):
            _bell(sketch, top, size * 1.3, turn + rng.uniform(-8, 8), herb.flower)
    elif herb.head == "spike":
        at, _ = pen.along(track[::-1], list(np.arange(0, height * 0.22, size * 0.34)))
        for number, spot in enumerate(at):
            for side in (-1, 1):
                blossom = pen.circle(
                    spot[0] + side * size * 0.3, spot[1] - 0.1, size * (0.2 + 0.02 * number), corners=10
                )
                sketch.shape(blossom, herb.flower, OUTLINE, 0.16)
    elif herb.head == "berries":
        for _ in range(5):
            x, y = pen.moved(top + rng.normal(0, size * 0.9, 2), 0, size * 0.5)
            sketch.line(np.stack([track[len(track) // 2], np.array([x, y])]), "#6d7d43", 0.3)
            berry = pen.circle(float(x), float(y), size * 0.5)
            sketch.shape(berry, herb.flower, OUTLINE, 0.22)
            sketch.fill(
                pen.circle(float(x) - size * 0.16, float(y) - size * 0.16, size * 0.14, corners=10), "#fbf3d0"
            )


def _daisy(sketch: Sketch, centre: Points, size: float, tint: str, rng: np.random.Generator) -> None:
    petals = 9
    turn = rng.uniform(0, 40)
    for number in range(petals):
        angle = math.radians(turn + 360 * number / petals)
        tip = centre + size * np.array([math.cos(angle), math.sin(angle)])
        outline = pen.leaf(centre, tip, size * 0.55, knots=7)
        sketch.shape(outline, tint, OUTLINE, 0.18)
    middle = pen.circle(float(centre[0]), float(centre[1]), size * 0.3)
    sketch.shape(middle, "#d9b23e", OUTLINE, 0.18)


def _bell(sketch: Sketch, centre: Points, size: float, turn_deg: float, tint: str) -> None:
    shape = pen.smooth(
        pen.track("0,0 -0.3,-0.4 -0.55,-1.05 -0.2,-0.85 0,-1.15 0.2,-0.85 0.55,-1.05 0.3,-0.4"),
        steps=4,
        closed=True,
    )
    outline = pen.turned(shape * size, turn_deg) + centre
    sketch.shape(outline, tint, OUTLINE, 0.2)
    for lean in (-0.2, 0.0, 0.2):
        vein = pen.turned(pen.points((0, -0.2), (lean, -0.8)) * size, turn_deg) + centre
        sketch.line(vein, OUTLINE, 0.1, opacity=0.5)


def _root(sketch: Sketch, herb: Herb, depth: float, rng: np.random.Generator) -> None:
    if herb.root == "figure":
        _mandrake(sketch, depth, rng)
        return
    count, tint = (1, "#c9ad7c") if herb.root == "tap" else (4 if herb.is_plain else 7, "#9a7b4f")
    for number in range(count):
        spread = 0.0 if count == 1 else (number / (count - 1) - 0.5) * 1.3
        knots = pen.points(
            (0, 0),
            (spread * depth * 0.5, depth * 0.4),
            (spread * depth * 0.9 + rng.normal(0, 0.5), depth * 0.75),
            (spread * depth + rng.normal(0, 0.8), depth * rng.uniform(0.85, 1.0)),
        )
        track = pen.smooth(knots, steps=3 if herb.is_plain else 6)
        widths = np.linspace(depth * (0.34 if count == 1 else 0.09), 0.12, len(track))
        sketch.fill(pen.ribbon(track, widths + 0.32), OUTLINE)
        sketch.fill(pen.ribbon(track, widths), tint)


def _mandrake(sketch: Sketch, depth: float, rng: np.random.Generator) -> None:
    """The root that looks like a little man."""
    skin, limb = "#c4a06a", depth * 0.1
    parts = [
        (
            pen.points((0, -0.5), (0, 0.2 * depth), (0, 0.42 * depth), (0, 0.5 * depth)),
            [0.16, 0.26, 0.22, 0.2],
        ),
        (
            pen.points(
                (0, 0.12 * depth),
                (-0.2 * depth, 0.24 * depth),
                (-0.3 * depth, 0.4 * depth),
                (-0.24 * depth, 0.52 * depth),
            ),
            [0.12, 0.09, 0.07, 0.02],
        ),
        (
            pen.points(
                (0, 0.12 * depth), (0.2 * depth, 0.2 * depth), (0.34 * depth, 0.1 * depth), (0.4 * depth, 0.0)
            ),
            [0.12, 0.09, 0.07, 0.02],
        ),
        (
            pen.points(
                (-0.04 * depth, 0.46 * depth),
                (-0.12 * depth, 0.66 * depth),
                (-0.06 * depth, 0.84 * depth),
                (-0.2 * depth, 1.0 * depth),
            ),
            [0.16, 0.12, 0.08, 0.02],
        ),
        (
            pen.points(
                (0.04 * depth, 0.46 * depth),
                (0.1 * depth, 0.66 * depth),
                (0.16 * depth, 0.82 * depth),
                (0.12 * depth, 1.0 * depth),
            ),
            [0.16, 0.12, 0.08, 0.02],
        ),
    ]
    tracks = [(pen.smooth(knots, steps=8), np.array(widths) * depth) for knots, widths in parts]
    for extra, tint in ((0.4, OUTLINE), (0.0, skin)):
        for track, widths in tracks:
            spread = np.interp(np.linspace(0, 1, len(track)), np.linspace(0, 1, len(widths)), widths)
            sketch.fill(pen.ribbon(track, spread + extra), tint)
    for side in (-1, 1):
        sketch.fill(pen.circle(side * 0.05 * depth, 0.07 * depth, 0.016 * depth, corners=10), OUTLINE)
    sketch.line(
        pen.smooth(
            pen.points((-0.04 * depth, 0.12 * depth), (0, 0.135 * depth), (0.04 * depth, 0.12 * depth))
        ),
        OUTLINE,
        0.25,
    )
    for _ in range(0 if depth < 12 else 26):
        x, y = rng.uniform(-0.09, 0.09) * depth, rng.uniform(0.2, 0.9) * depth
        sketch.line(pen.points((x, y), (x + limb * 0.3, y + 0.2)), OUTLINE, 0.12, opacity=0.5)
