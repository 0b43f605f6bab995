"""What illuminators add: initials, penwork, vines, borders."""

from __future__ import annotations

import math

import numpy as np

from demo_data import pen
from demo_data.pen import Points, Sketch

INK = "#2c1c12"
RED = "#b02a1c"
BLUE = "#274a8c"
PALE_BLUE = "#6f93c4"
GREEN = "#4f7d48"
DARK_GREEN = "#2c5238"
ROSE = "#b4556b"
OCHRE = "#c8993a"
WHITE = "#f7f0df"
LEAVES = (GREEN, BLUE, ROSE, OCHRE)


# ------------------------------------------------------------------------------------- letters


def crescent(
    x: float, y: float, width: float, height: float, swell: float, start_deg: float, end_deg: float
) -> Points:
    """A bow that is thickest in its middle: part of an ellipse, with a flatter inside."""
    t = np.linspace(0, 1, 26)
    angle = np.radians(start_deg + (end_deg - start_deg) * t)
    outer = np.stack([x + width * np.cos(angle), y + height * np.sin(angle)], axis=1)
    thick = swell * np.sin(np.pi * t)[:, None] + 0.012
    inward = np.stack([-np.cos(angle), -np.sin(angle)], axis=1)
    return np.concatenate([outer, (outer + inward * thick)[::-1]])


def stem(x: float, top: float, bottom: float, width: float) -> Points:
    """An upright with a waist and spreading ends."""
    t = np.linspace(-1, 1, 15)
    half = width / 2 * (0.72 + 0.5 * np.abs(t) ** 3)
    y = top + (bottom - top) * (t + 1) / 2
    return np.concatenate([np.stack([x - half, y], axis=1), np.stack([x + half, y], axis=1)[::-1]])


def serif(x: float, y: float, width: float) -> Points:
    """A hairline that ends in two drops."""
    t = np.linspace(-1, 1, 13)
    half = 0.012 + 0.035 * np.abs(t) ** 4
    centre = np.stack([x + width / 2 * t, np.full_like(t, y)], axis=1)
    up = np.stack([np.zeros_like(t), half], axis=1)
    return np.concatenate([centre - up, (centre + up)[::-1]])


def versal(letter: str) -> list[Points]:
    """A painted capital in a square of side 1, y down."""
    left = [stem(0.24, 0.08, 0.92, 0.2), serif(0.24, 0.08, 0.36), serif(0.24, 0.92, 0.36)]
    round_left = crescent(0.54, 0.5, 0.44, 0.45, 0.17, 65, 295)
    shapes = {
        "A": [
            stem(0.72, 0.12, 0.92, 0.19),
            serif(0.72, 0.92, 0.32),
            crescent(0.78, 0.92, 0.6, 0.82, 0.1, 180, 262),
            serif(0.5, 0.09, 0.62),
            pen.rectangle(0.3, 0.52, 0.72, 0.56),
        ],
        "B": [
            *left,
            crescent(0.34, 0.29, 0.38, 0.2, 0.14, -95, 95),
            crescent(0.34, 0.71, 0.46, 0.22, 0.16, -95, 95),
        ],
        "C": [
            round_left,
            crescent(0.56, 0.3, 0.3, 0.24, 0.09, 280, 370),
            pen.rectangle(0.735, 0.14, 0.76, 0.86),
        ],
        "D": [
            crescent(0.48, 0.56, 0.42, 0.38, 0.15, 60, 300),
            crescent(0.46, 0.56, 0.42, 0.38, 0.17, -110, 100),
            crescent(0.62, 0.36, 0.5, 0.28, 0.1, 180, 262),
        ],
        "E": [
            round_left,
            crescent(0.56, 0.3, 0.3, 0.24, 0.09, 280, 370),
            pen.rectangle(0.2, 0.48, 0.78, 0.52),
            pen.rectangle(0.8, 0.14, 0.825, 0.86),
        ],
        "H": [*left, crescent(0.42, 0.78, 0.44, 0.42, 0.18, -100, 60), serif(0.62, 0.985, 0.2)],
        "I": [stem(0.5, 0.08, 0.92, 0.24), serif(0.5, 0.08, 0.46), serif(0.5, 0.92, 0.46)],
        "K": [
            *left,
            crescent(0.8, 0.1, 0.52, 0.42, 0.13, 75, 170),
            crescent(0.36, 0.94, 0.5, 0.5, 0.15, -85, 0),
        ],
        "L": [*left, crescent(0.56, 0.72, 0.36, 0.2, 0.09, 0, 120)],
        "M": [
            crescent(0.5, 0.6, 0.42, 0.5, 0.16, 150, 268),
            crescent(0.5, 0.6, 0.42, 0.5, 0.16, -88, 30),
            stem(0.5, 0.12, 0.92, 0.16),
            serif(0.5, 0.92, 0.3),
        ],
        "P": [*left, crescent(0.36, 0.34, 0.46, 0.27, 0.17, -100, 105)],
        "R": [
            *left,
            crescent(0.36, 0.31, 0.44, 0.24, 0.16, -100, 105),
            crescent(0.36, 1.02, 0.5, 0.5, 0.15, -80, -10),
        ],
        "S": [
            crescent(0.5, 0.31, 0.33, 0.24, 0.12, 95, 330),
            crescent(0.5, 0.69, 0.33, 0.24, 0.12, -85, 150),
        ],
        "V": [
            crescent(0.56, 0.48, 0.44, 0.46, 0.16, 40, 235),
            crescent(0.46, 0.5, 0.42, 0.42, 0.15, -75, 100),
        ],
    }
    return shapes[letter]


def placed(shapes: list[Points], x: float, y: float, size: float) -> list[Points]:
    """Shapes of the unit square, moved to where they belong."""
    return [shape * size + (x, y) for shape in shapes]


def small_initial(
    ink: Sketch, letter: str, x: float, y: float, size: float, rng: np.random.Generator, *, is_red: bool
) -> None:
    """A painted capital with penwork of the other colour, as scribes alternate them."""
    body, lines = (RED, BLUE) if is_red else (BLUE, RED)
    penwork(ink, x, y, size, lines, rng)
    ink.fill(placed(versal(letter), x, y, size), body)


def penwork(ink: Sketch, x: float, y: float, size: float, tint: str, rng: np.random.Generator) -> None:
    """Hairlines round an initial: a frame, curls inside, tendrils down the margin."""
    fine = 0.11
    for inset in (-0.07, -0.02):
        ink.line(
            pen.polygon(
                pen.rectangle(
                    x + inset * size, y + inset * size, x + (1 - inset) * size, y + (1 - inset) * size
                )
            ),
            tint,
            fine,
        )
    centres = [(x + (n % 3 + 0.5) * size / 3, y + (n // 3 + 0.5) * size / 3) for n in range(9)]
    curls = [
        pen.spiral(cx, cy, size / 6.3, rng.choice([-1.6, 1.6]), rng.uniform(0, 360)) for cx, cy in centres
    ]
    ink.lines(curls, tint, fine * 0.85)
    for number, reach in enumerate((3.0, 2.2, 1.5)):
        start = x - (0.10 + 0.06 * number) * size
        for direction in (-1, 1):
            top = y if direction < 0 else y + size
            length = reach * size * rng.uniform(0.8, 1.1)
            knots = pen.points(
                (start, y + size / 2),
                (start, top + direction * 0.3 * length),
                (start - 0.4, top + direction * 0.7 * length),
                (start + 0.8, top + direction * length),
            )
            ink.line(pen.smooth(knots), tint, fine)
            end = knots[-1]
            ink.line(pen.spiral(end[0] - 0.5, end[1], 0.8, direction * 1.2, 0), tint, fine)
            beads = [knots[0] + (knots[2] - knots[0]) * (0.55 + 0.16 * bead) for bead in range(3)]
            ink.fill([pen.circle(at[0] - 0.35, at[1], 0.2, corners=10) for at in beads], tint)


def grand_initial(
    ink: Sketch, leaf: Sketch, letter: str, x: float, y: float, size: float, rng: np.random.Generator
) -> None:
    """An initial on gold: framed, its inside filled with a scrolling vine."""
    leaf.fill(pen.rectangle(x, y, x + size, y + size), OCHRE)
    rim = 0.07 * size
    for inset, width, tint in ((0.0, 0.3, INK), (rim / 2, rim, BLUE), (rim, 0.22, INK)):
        box = pen.rectangle(x + inset, y + inset, x + size - inset, y + size - inset)
        ink.line(pen.polygon(box), tint, width)
    _white_lace(ink, x, y, size, rim)
    inner = size - 2.4 * rim
    _scrolls(ink, x + 1.2 * rim, y + 1.2 * rim, inner, rng)
    shapes = placed(versal(letter), x + 1.2 * rim, y + 1.2 * rim, inner)
    for shape in shapes:
        ink.line(pen.polygon(shape), INK, 0.5)
    ink.fill(shapes, ROSE)
    for shape in shapes[:1] + shapes[3:4]:
        middle = (shape[: len(shape) // 2] + shape[len(shape) // 2 :][::-1]) / 2
        ink.line(middle[2:-2], WHITE, 0.009 * size)
        beside = 0.024 * size
        dots = [
            pen.circle(at[0] + dx, at[1], 0.006 * size, corners=10)
            for at in middle[3:-3:3]
            for dx in (-beside, beside)
        ]
        ink.fill(dots, WHITE)


def _white_lace(ink: Sketch, x: float, y: float, size: float, rim: float) -> None:
    """White dots and waves on a painted frame."""
    count, dots = 14, []
    for number in range(count):
        at = (number + 0.5) * size / count
        places = (
            (x + at, y + rim / 2),
            (x + at, y + size - rim / 2),
            (x + rim / 2, y + at),
            (x + size - rim / 2, y + at),
        )
        radius = rim * (0.09 if number % 2 else 0.15)
        dots += [pen.circle(cx, cy, radius, corners=12) for cx, cy in places]
    ink.fill(dots, WHITE)


def _scrolls(ink: Sketch, x: float, y: float, size: float, rng: np.random.Generator) -> None:
    """Two by two vine scrolls that end in leaves."""
    half = size / 2
    for row in range(2):
        for column in range(2):
            cx, cy = x + (column + 0.5) * half, y + (row + 0.5) * half
            turn = 1.35 if (row + column) % 2 else -1.35
            curl = pen.spiral(cx, cy, half * 0.46, turn, 200 + 90 * (row + column))
            ink.line(curl, INK, 0.95)
            ink.line(curl, DARK_GREEN, 0.6)
            at, direction = pen.along(curl, list(np.linspace(1, half * 2.4, 9)))
            for number, (spot, way) in enumerate(zip(at, direction, strict=True)):
                side = np.array([way[1], -way[0]]) * (1 if number % 2 else -1)
                tip = spot + (side + 0.7 * way) * half * 0.2
                outline = pen.leaf(spot, tip, half * 0.13, bend=0.3)
                ink.shape(outline, LEAVES[int(rng.integers(len(LEAVES)))], INK, 0.22)
            _flower(ink, curl[-1][0], curl[-1][1], half * 0.13, rng)


def _flower(
    ink: Sketch, x: float, y: float, radius: float, rng: np.random.Generator, petals: int = 5
) -> None:
    tint = [ROSE, BLUE, RED][int(rng.integers(3))]
    turn = rng.uniform(0, 72)
    for number in range(petals):
        angle = math.radians(turn + 360 * number / petals)
        petal = pen.circle(
            x + radius * 0.7 * math.cos(angle), y + radius * 0.7 * math.sin(angle), radius * 0.55, corners=14
        )
        ink.shape(petal, tint, INK, 0.2)
    ink.fill(pen.circle(x, y, radius * 0.42, corners=14), OCHRE)


# ------------------------------------------------------------------------------------- borders


def ivy(x: float, y: float, size: float, angle_deg: float) -> Points:
    """A leaf of three lobes, its stalk at `x`, `y`."""
    lobes = pen.smooth(
        pen.track("0,0 -0.42,-0.16 -0.5,-0.56 -0.2,-0.56 0,-1 0.2,-0.56 0.5,-0.56 0.42,-0.16"),
        steps=5,
        closed=True,
    )
    return pen.moved(pen.turned(lobes * size, angle_deg), x, y)


def bezant(ink: Sketch, leaf: Sketch, x: float, y: float, radius: float, *, rays: int = 5) -> None:
    """A gold disc with an inked rim and hairline rays."""
    leaf.fill(pen.circle(x, y, radius), OCHRE)
    ink.line(pen.polygon(pen.circle(x, y, radius + 0.06)), INK, 0.16)
    turns = 2 * np.pi * (np.arange(rays) + 0.3) / max(rays, 1)
    ways = np.stack([np.cos(turns), np.sin(turns)], axis=1)
    ink.lines(
        [pen.moved(np.stack([way * 1.15 * radius, way * 1.75 * radius]), x, y) for way in ways], INK, 0.09
    )


def spray(
    ink: Sketch,
    leaf: Sketch,
    knots: Points,
    rng: np.random.Generator,
    *,
    spacing: float = 4.2,
    size: float = 2.4,
) -> None:
    """A stem with ivy leaves and bezants on alternate sides."""
    track = pen.smooth(knots, steps=10)
    ink.line(track, INK, 0.26)
    length = float(np.hypot(*np.diff(track, axis=0).T).sum())
    at, direction = pen.along(track, list(np.arange(spacing * 0.6, length, spacing)))
    for number, (spot, way) in enumerate(zip(at, direction, strict=True)):
        side = 1 if number % 2 else -1
        normal = np.array([way[1], -way[0]]) * side
        reach = size * rng.uniform(1.0, 1.5)
        knee = spot + way * reach * 0.5 + normal * reach * 0.5
        tip = spot + way * reach * 0.6 + normal * reach
        ink.line(pen.smooth(np.stack([spot, knee, tip])), INK, 0.16)
        angle = math.degrees(math.atan2(normal[0] + 0.4 * way[0], -(normal[1] + 0.4 * way[1])))
        if number % 3 == 2:
            bezant(ink, leaf, tip[0], tip[1], size * 0.3)
            continue
        outline = ivy(tip[0], tip[1], size, angle)
        if number % 3 == 0:
            leaf.fill(outline, OCHRE)
        else:
            ink.fill(outline, (BLUE, ROSE, GREEN)[number % 3 - 1 + int(rng.integers(2))])
        ink.line(pen.polygon(outline), INK, 0.2)
    bezant(ink, leaf, float(track[-1][0]), float(track[-1][1]), size * 0.38)


def bar(ink: Sketch, leaf: Sketch, x: float, top: float, bottom: float, *, width: float = 1.9) -> None:
    """An upright border bar: gold between painted strips that change colour."""
    leaf.fill(pen.rectangle(x, top, x + width, bottom), OCHRE)
    count = max(2, round((bottom - top) / 13))
    for number in range(count):
        y0, y1 = (top + (bottom - top) * share / count for share in (number, number + 1))
        tint, other = (BLUE, ROSE) if number % 2 else (ROSE, BLUE)
        ink.fill(pen.rectangle(x, y0, x + width * 0.34, y1), tint)
        ink.fill(pen.rectangle(x + width * 0.66, y0, x + width, y1), other)
        dots = [
            (x + width * share, float(dot)) for dot in np.arange(y0 + 0.8, y1, 1.6) for share in (0.17, 0.83)
        ]
        ink.fill([pen.circle(cx, cy, 0.16, corners=8) for cx, cy in dots], WHITE)
    ink.line(pen.polygon(pen.rectangle(x, top, x + width, bottom)), INK, 0.22)
