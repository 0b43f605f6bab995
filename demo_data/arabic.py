"""The right-to-left codex: a treatise on the stars on polished paper, ruled in gold, with its headpiece.

The writing looks like Arabic and says nothing. The book is bound at its right: a recto lies to the left of
the gutter, a verso to its right.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from demo_data import bindings, pen
from demo_data.colour import colour
from demo_data.hands import Hand, arabic
from demo_data.ink import drawn, gold, ink, relief
from demo_data.materials import Grid, Surface, sheet
from demo_data.pen import Sketch
from demo_data.picture import Picture
from demo_data.plate import Plate
from demo_data.scene import Layer, Outline, Scene, Strip, cover, ground, shadow
from demo_data.textures import Window, generator, grain

PAGE_MM = (165.0, 240.0)
FRAME = (27.0, 32.0, 135.0, 205.0)
"""The ruled frame of a verso: left, top, right, bottom; the outer margin is the wider one."""
LINES = 13
TEXT = Hand(alphabet="arabic", x_height_mm=3.1, nib=0.30, angle_deg=52, width=0.82, gap=0.34, unsteady=0.02)
NOTE = Hand(alphabet="arabic", x_height_mm=1.6, nib=0.26, angle_deg=52, width=0.85, gap=0.34, unsteady=0.03)
TITLE = Hand(alphabet="arabic", x_height_mm=4.6, nib=0.26, angle_deg=52, width=0.9, gap=0.3, unsteady=0.02)

PAPER, AGED = colour("#efe3c4"), colour("#a8814b")
BLACK, RED, LAPIS, TURQUOISE, WHITE = "#1d1813", "#a82a20", "#1f3f93", "#3f8f96", "#f6efdd"
DARK = colour("#1b1b1d")
GUTTER = 10.0


@dataclass
class Content:
    """What is on a page: painted, and laid in gold."""

    ink: Sketch = field(default_factory=Sketch)
    leaf: Sketch = field(default_factory=Sketch)


def line_of(
    sketch: Sketch,
    hand: Hand,
    right: float,
    left: float,
    y: float,
    rng: np.random.Generator,
    *,
    tint: str = BLACK,
    is_last: bool = False,
) -> None:
    """A line of words from `right` to `left`, some words in red or overlined."""
    x = right
    end = left + (right - left) * 0.45 if is_last else left
    while True:
        pieces = int(rng.choice([1, 2, 2, 3, 3, 4, 4, 5]))
        data, after = arabic(hand, x, y, rng, pieces=pieces)
        if after < end - 0.4 * hand.x_height_mm:
            break
        is_key = tint == BLACK and rng.random() < 0.05
        sketch.fill(data, RED if is_key else tint)
        if tint == BLACK and not is_key and rng.random() < 0.06:
            over = y - 2.15 * hand.x_height_mm
            sketch.line(
                pen.smooth(pen.points((x, over), ((x + after) / 2, over - 0.5), (after + 0.6, over))),
                RED,
                0.45,
            )
        x = after


def ruled(page: Content, box: tuple[float, float, float, float]) -> None:
    """The frame: gold between black lines, then red and blue."""
    left, top, right, bottom = box
    for grow, width, tint in ((0.0, 0.18, BLACK), (1.5, 0.18, BLACK), (2.3, 0.25, RED), (3.3, 0.4, LAPIS)):
        frame = pen.rectangle(left - grow, top - grow, right + grow, bottom + grow)
        page.ink.line(pen.polygon(frame), tint, width)
    page.leaf.line(
        pen.polygon(pen.rectangle(left - 0.75, top - 0.75, right + 0.75, bottom + 0.75)), "#000000", 1.4
    )


def frame_of(name: str) -> tuple[float, float, float, float]:
    """The ruled frame of a page: the outer margin of a recto is at its left."""
    left, top, right, bottom = FRAME
    width = PAGE_MM[0]
    return (width - right, top, width - left, bottom) if name.endswith("v") else (left, top, right, bottom)


def content(name: str) -> Content:
    """What is on the page `name`."""
    page, rng, box = Content(), generator("arabic", "page", name), frame_of(name)
    left, top, right, bottom = box
    pitch = (bottom - top) / LINES
    if name == "1r":
        _shamsa(page, rng, (left + right) / 2, (top + bottom) / 2)
        return page
    ruled(page, box)
    first, last = 0, LINES
    if name == "1v":
        _headpiece(page, rng, box, pitch * 4.6)
        first = 5
    if name in ("2v", "3r"):
        _figure(page, rng, name, box, pitch)
        first, last = (0, 5) if name == "2v" else (8, LINES)
    for line in range(first, last):
        line_of(
            page.ink,
            TEXT,
            right - 2.5,
            left + 2.0,
            top + pitch * (line + 0.72),
            rng,
            is_last=name == "3v" and line == 9,
        )
        if name == "3v" and line == 9:
            break
    if name == "3v":
        _colophon(page, rng, box, top + pitch * 10.6)
    _marginalia(page, rng, name, box)
    return page


def _marginalia(
    page: Content, rng: np.random.Generator, name: str, box: tuple[float, float, float, float]
) -> None:
    """A commentary on the slant in the outer margin, a catchword at the foot of a verso."""
    left, top, _, bottom = box
    for number in range(int(rng.integers(4, 9))):
        note, y = Sketch(), top + 22 + 7.0 * number
        line_of(note, NOTE, 0.0, -16.5, 0.0, rng)
        outer = left - 6.5 if name.endswith("r") else PAGE_MM[0] - 7.0
        page.ink.include(note, x=outer, y=y, angle_deg=-24 if name.endswith("r") else 24)
    if name.endswith("v"):
        data, _ = arabic(NOTE, left + 8, bottom + 12, rng, pieces=3)
        page.ink.fill(data, BLACK)


def _headpiece(
    page: Content, rng: np.random.Generator, box: tuple[float, float, float, float], height: float
) -> None:
    """The illuminated head of the first page: a panel and a domed crest on lapis."""
    left, top, right, _ = box
    ink_, leaf, cx = page.ink, page.leaf, (left + right) / 2
    bottom, panel_top = top + height, top + height * 0.56
    leaf.fill(pen.rectangle(left, top - 1.6, right, bottom), "#000000")
    share = np.linspace(0, 1, 90)
    rise = np.clip(1 - np.abs(2 * share - 1), 0, 1)
    swell = 0.72 * np.sin(rise * math.pi / 2) ** 0.9 + 0.28 * rise**5
    profile = (
        panel_top - 3 - (height * 0.56 + 9) * swell - 0.8 * np.abs(np.sin(share * 14 * math.pi)) * (rise > 0)
    )
    outer = np.stack([left + 3 + (right - left - 6) * share, profile], axis=1)
    crest = np.concatenate([outer, pen.points((right - 3, panel_top - 2), (left + 3, panel_top - 2))])
    leaf.fill(crest, "#000000")
    ink_.shape(crest, LAPIS, BLACK, 0.35)
    inner = (crest - (cx, panel_top - 3)) * (0.95, 0.92) + (cx, panel_top - 3.4)
    ink_.line(pen.polygon(inner), WHITE, 0.25)
    for row, radius in enumerate((4.6, 4.2, 3.8)):
        y = panel_top - 8.2 - 9.0 * row
        for number in range(-6, 7):
            x = cx + number * 2.3 * radius
            roof = float(np.interp((x - left - 3) / (right - left - 6), share, profile))
            if y - radius > roof + 2.2 and left + 8 < x < right - 8:
                _scroll(page, x, y, radius, 1 if (number + row) % 2 else -1, rng)
    ink_.shape(pen.circle(cx, panel_top - 24, 5.2, corners=40), RED, WHITE, 0.3)
    leaf_rosette(page, cx, panel_top - 24, 4.0)
    cartouche = _cartouche(left + 14, panel_top + 2.2, right - 14, bottom - 3.2)
    ink_.fill([pen.rectangle(left + 2, panel_top, right - 2, bottom - 1), cartouche[::-1]], LAPIS)
    for x in (left + 8.2, right - 8.2):
        ink_.shape(pen.circle(x, (panel_top + bottom) / 2, 4.0, corners=40), RED, WHITE, 0.3)
        leaf_rosette(page, x, (panel_top + bottom) / 2, 3.0)
    ink_.line(pen.polygon(cartouche), BLACK, 0.35)
    middle = cartouche.mean(axis=0)
    ink_.line(pen.polygon((cartouche - middle) * (0.97, 0.86) + middle), WHITE, 0.3)
    x = cx + 27
    for pieces in (3, 2, 4, 3):
        data, x = arabic(TITLE, x, (panel_top + bottom) / 2 + 2.6, rng, pieces=pieces)
        ink_.fill(data, WHITE)
    foot = np.linspace(left + 4, right - 4, 25)
    roof = np.interp((foot - left - 3) / (right - left - 6), share, profile)
    fine = [
        pen.points((x, y - 1.0), (x, y - 5.5 - 2.4 * (n % 2)))
        for n, (x, y) in enumerate(zip(foot, roof, strict=True))
    ]
    ink_.lines(fine, LAPIS, 0.25)
    ink_.fill([pen.leaf(line[1] + (0, 1.4), line[1] + (0, -1.2), 1.1) for line in fine], RED)


def _scroll(page: Content, x: float, y: float, radius: float, sign: int, rng: np.random.Generator) -> None:
    """A tendril with palmettes and a blossom at its heart."""
    curl = pen.spiral(x, y, radius, sign * 1.3, 90)
    page.ink.line(curl, "#e0bd62", 0.55)
    at, way = pen.along(curl, [radius * k for k in (0.6, 1.5, 2.4, 3.3, 4.2)])
    for number, (spot, direction) in enumerate(zip(at, way, strict=True)):
        side = np.array([direction[1], -direction[0]]) * sign
        outline = pen.leaf(
            spot, spot + (side * 0.9 + direction * 0.6) * radius * 0.34, radius * 0.22, bend=0.2
        )
        page.ink.fill(outline, ("#e0bd62", TURQUOISE, "#c9596a")[number % 3])
    blossom = pen.circle(float(curl[-1][0]), float(curl[-1][1]), radius * 0.22, corners=16)
    page.ink.shape(blossom, "#c9596a", WHITE, 0.2)


def leaf_rosette(page: Content, x: float, y: float, radius: float) -> None:
    """A small flower in light colours."""
    petals = []
    for number in range(8):
        angle = math.pi * number / 4
        petals.append(
            pen.circle(
                x + 0.6 * radius * math.cos(angle),
                y + 0.6 * radius * math.sin(angle),
                0.27 * radius,
                corners=12,
            )
        )
    page.ink.fill(petals, WHITE)
    page.ink.fill(pen.circle(x, y, 0.3 * radius, corners=14), "#e0bd62")


def _cartouche(left: float, top: float, right: float, bottom: float) -> pen.Points:
    cy, r = (top + bottom) / 2, (bottom - top) / 2
    turn = np.linspace(-math.pi / 2, math.pi / 2, 16)
    lobe = 1 + 0.12 * np.cos(2 * turn) ** 2
    right_end = np.stack([right - r + r * lobe * np.cos(turn), cy + r * np.sin(turn)], axis=1)
    left_end = np.stack([left + r - r * lobe * np.cos(turn[::-1]), cy + r * np.sin(turn[::-1])], axis=1)
    return np.concatenate([right_end, left_end])


def _shamsa(page: Content, rng: np.random.Generator, cx: float, cy: float) -> None:
    """The sun-like rosette of the opening page."""
    for number in range(32):
        angle = 2 * math.pi * number / 32
        ray = np.array([math.cos(angle), math.sin(angle)])
        reach = 52 if number % 2 else 47
        page.ink.line(
            np.stack([np.array([cx, cy]) + 39 * ray, np.array([cx, cy]) + reach * ray]), LAPIS, 0.28
        )
        tip = np.array([cx, cy]) + reach * ray
        page.ink.fill(pen.leaf(tip, tip + 3.4 * ray, 1.5), RED if number % 4 == 1 else LAPIS)
    turn = np.linspace(0, 2 * math.pi, 480, endpoint=False)
    for radius, lobes, fill in (
        (38.5, 16, None),
        (36.0, 16, LAPIS),
        (22.0, 12, None),
        (20.2, 12, "#8c2f3a"),
        (9.0, 8, None),
    ):
        scallop = radius * (1 + 0.045 * np.abs(np.sin(turn * lobes / 2)))
        outline = np.stack([cx + scallop * np.cos(turn), cy + scallop * np.sin(turn)], axis=1)
        if fill is None:
            page.leaf.fill(outline, "#000000")
            page.ink.line(pen.polygon(outline), BLACK, 0.25)
        else:
            page.ink.shape(outline, fill, BLACK, 0.25)
            if fill == LAPIS:
                inner = [(cx + 21.5 * math.cos(a), cy + 21.5 * math.sin(a)) for a in turn[::8]]
                page.leaf.fill(pen.points(*inner), "#000000")
    for number in range(16):
        angle = 2 * math.pi * (number + 0.5) / 16
        _scroll(
            page, cx + 28.6 * math.cos(angle), cy + 28.6 * math.sin(angle), 4.4, 1 if number % 2 else -1, rng
        )
    for number in range(12):
        angle = 2 * math.pi * (number + 0.5) / 12
        _scroll(
            page, cx + 14.2 * math.cos(angle), cy + 14.2 * math.sin(angle), 3.1, 1 if number % 2 else -1, rng
        )
    page.ink.shape(pen.circle(cx, cy, 8.6, corners=50), LAPIS, WHITE, 0.3)
    leaf_rosette(page, cx, cy, 6.4)


STARS = {
    "2v": (
        (0.19, 0.74),
        (0.3, 0.62),
        (0.36, 0.44),
        (0.5, 0.4),
        (0.62, 0.52),
        (0.78, 0.5),
        (0.8, 0.74),
        (0.62, 0.74),
    ),
    "3r": (
        (0.18, 0.2),
        (0.34, 0.34),
        (0.5, 0.26),
        (0.66, 0.36),
        (0.82, 0.22),
        (0.5, 0.52),
        (0.5, 0.78),
        (0.36, 0.86),
        (0.64, 0.86),
    ),
}
LINKS = {
    "2v": ((0, 1), (1, 2), (2, 3), (3, 4), (4, 5), (5, 6), (6, 7), (7, 4)),
    "3r": ((0, 1), (1, 2), (2, 3), (3, 4), (2, 5), (5, 6), (6, 7), (6, 8)),
}


def _figure(
    page: Content, rng: np.random.Generator, name: str, box: tuple[float, float, float, float], pitch: float
) -> None:
    """A constellation as a beast among its stars: gold discs rimmed in red, named beside."""
    left, top, right, bottom = box
    low, high = (top + 5.2 * pitch, bottom) if name == "2v" else (top, top + 7.8 * pitch)
    edge = low - 0.4 if name == "2v" else high + 0.4
    page.ink.line(pen.points((left, edge), (right, edge)), RED, 0.3)
    page.leaf.line(pen.points((left, edge), (right, edge)), "#000000", 0.9)
    area = np.array([right - left, high - low])
    places = [np.array([left, low]) + np.array(star) * area for star in STARS[name]]
    _beast(page.ink, name, left, low, area)
    page.ink.lines([np.stack([places[a], places[b]]) for a, b in LINKS[name]], RED, 0.22)
    for number, (x, y) in enumerate(places):
        radius = 2.1 - 0.16 * number
        page.leaf.fill(pen.circle(x, y, radius), "#000000")
        page.ink.line(pen.polygon(pen.circle(x, y, radius + 0.15)), RED, 0.35)
        data, _ = arabic(NOTE, x - 3.2, y + 0.8, rng, pieces=2 + number % 2)
        page.ink.fill(data, RED if number % 2 else BLACK)
    for _ in range(16):
        x, y = rng.uniform(left + 4, right - 4), rng.uniform(low + 4, high - 4)
        page.leaf.fill(pen.circle(x, y, 0.55, corners=14), "#000000")


def _beast(sketch: Sketch, name: str, left: float, top: float, area: pen.Points) -> None:
    """The lion, or the bird, that the stars make."""
    lion = pen.track(
        "0.07,0.56 0.1,0.44 0.2,0.34 0.3,0.32 0.38,0.38 0.55,0.36 0.72,0.36 0.86,0.42 "
        "0.95,0.28 0.92,0.16 0.97,0.26 0.9,0.48 0.86,0.6 0.86,0.8 0.9,0.88 0.78,0.88 0.77,0.7 "
        "0.7,0.64 0.66,0.84 0.69,0.9 0.57,0.9 0.56,0.68 0.42,0.68 0.36,0.86 0.4,0.92 "
        "0.27,0.92 0.27,0.72 0.2,0.7 0.12,0.68"
    )
    bird = pen.track(
        "0.5,0.12 0.54,0.2 0.6,0.26 0.78,0.14 0.95,0.12 0.9,0.26 0.78,0.42 0.6,0.54 0.56,0.7 "
        "0.66,0.92 0.5,0.84 0.34,0.92 0.44,0.7 0.4,0.54 0.22,0.42 0.1,0.26 0.05,0.12 "
        "0.22,0.14 0.4,0.26 0.46,0.2"
    )
    shape = pen.smooth(lion if name == "2v" else bird, steps=6, closed=True) * area + (left, top)
    sketch.fill(shape, "#d6a24a" if name == "2v" else TURQUOISE, opacity=0.42)
    sketch.line(pen.polygon(shape), BLACK, 0.4)
    if name == "2v":
        centre = np.array([0.19, 0.5]) * area + (left, top)
        for ring, count in ((17.5, 24), (13.5, 19)):
            for number in range(count):
                angle = 2 * math.pi * number / count
                base = centre + ring * np.array([math.cos(angle), math.sin(angle)])
                lock = pen.leaf(
                    base, base + 6.5 * np.array([math.cos(angle + 0.5), math.sin(angle + 0.5)]), 3.2, bend=0.8
                )
                sketch.shape(lock, "#b5742a", BLACK, 0.25)
        sketch.shape(pen.circle(float(centre[0]), float(centre[1]), 13.6, corners=50), "#e2b662", BLACK, 0.35)
        x, y = centre
        sketch.line(
            pen.smooth(pen.points((x - 0.6, y - 3), (x - 1.6, y + 3.4), (x + 1.8, y + 3.6))), BLACK, 0.35
        )
        sketch.line(
            pen.smooth(
                pen.points(
                    (x - 5.5, y + 6.4), (x - 2.6, y + 8), (x, y + 6.6), (x + 2.6, y + 8), (x + 5.5, y + 6.4)
                )
            ),
            BLACK,
            0.4,
        )
        whiskers = [
            pen.points((x + side * 4, y + 5 + dy * 0.4), (x + side * 11, y + 4.4 + dy))
            for side in (-1, 1)
            for dy in (-1.4, 0.2, 1.8)
        ]
        sketch.lines(whiskers, BLACK, 0.16)
        for eye in (-4.6, 4.6):
            x, y = float(centre[0]) + eye, float(centre[1]) - 2.6
            sketch.shape(pen.leaf(np.array([x - 1.6, y]), np.array([x + 1.6, y]), 1.5), WHITE, BLACK, 0.25)
            sketch.fill(pen.circle(float(x), float(y), 0.5, corners=12), BLACK)
        return
    for side in (-1, 1):
        feathers = []
        for number in range(9):
            x0, x1 = 0.5 + side * (0.12 + 0.03 * number), 0.5 + side * (0.16 + 0.036 * number)
            feathers.append(
                pen.points((x0, 0.3 - 0.012 * number), (x1, 0.48 - 0.02 * number)) * area + (left, top)
            )
        sketch.lines(feathers, BLACK, 0.25)
    x, y = np.array([0.5, 0.2]) * area + (left, top)
    sketch.fill(pen.circle(float(x) + 1.6, float(y), 0.55, corners=12), BLACK)
    sketch.shape(pen.points((x - 1.5, y - 6.5), (x + 1.5, y - 6.5), (x, y - 11)), RED, BLACK, 0.25)


def _colophon(
    page: Content, rng: np.random.Generator, box: tuple[float, float, float, float], y: float
) -> None:
    """The end narrows to a point, as colophons do."""
    left, _, right, _ = box
    cx = (left + right) / 2
    for number, half in enumerate((34.0, 23.0, 12.0)):
        line_of(
            page.ink,
            replace(TEXT, x_height_mm=2.4),
            cx + half,
            cx - half,
            y + 11.0 * number,
            rng,
            tint=RED if number == 2 else BLACK,
        )
    leaf_rosette(page, cx, y + 33, 3.2)
    page.leaf.fill(pen.circle(cx, y + 33, 1.2), "#000000")


# ------------------------------------------------------------------------------------------ the book


def page(plate: Plate, name: str) -> Picture:
    """A page as it lay under the camera: ``1r`` to ``3v``."""
    rng = generator("arabic", "scene", name)
    is_verso = name.endswith("v")
    top = (plate.height_mm - PAGE_MM[1]) / 2
    gutter = GUTTER if is_verso else plate.width_mm - GUTTER
    left = gutter if is_verso else gutter - PAGE_MM[0]
    outline = Outline(
        left=left,
        top=top,
        right=left + PAGE_MM[0],
        bottom=top + PAGE_MM[1],
        corner=2.2,
        wobble=0.12,
        phase=rng.uniform(0, 6),
    )
    scene, own = Scene(plate, rng), content(name)
    scene.add(
        ground(DARK, grain_amount=0.006),
        *_under(plate, outline, gutter, is_verso, rng),
        _paper(plate, outline, gutter, is_verso, rng),
    )
    scene.add(gold(own.leaf, plate, dx=left, dy=top, wear=0.25))
    scene.add(ink(drawn(own.ink, plate, dx=left, dy=top), pooling=0.05, dx=int(rng.integers(1024))))
    return scene.picture()


def _under(
    plate: Plate, outline: Outline, gutter: float, is_verso: bool, rng: np.random.Generator
) -> list[Layer]:
    """The red board, a few leaves, the facing margin."""
    grid = Grid.over(plate)
    out = 7.5
    board = Outline(
        left=outline.left - (14 if is_verso else out),
        top=outline.top - 3.2,
        right=outline.right + (out if is_verso else 14),
        bottom=outline.bottom + 3.2,
        corner=2.0,
        wobble=0.1,
    )
    hidden = replace(outline, left=-30) if is_verso else replace(outline, right=plate.width_mm + 30)
    leather = Surface(
        outline=board,
        base=bindings.MOROCCO.base,
        stain=bindings.MOROCCO.worn,
        light=0.85 + 0.06 * grid.clouds(rng),
        stained=0.3 + 0.2 * grid.clouds(rng, roughness=1.2),
        grains=(("fine", 0.08), ("soft", 0.05)),
    )
    distance = np.abs(grid.x - gutter) + 0 * grid.y
    facing = Outline(
        left=-20 if is_verso else gutter - 0.3,
        top=outline.top - 0.2,
        right=gutter + 0.3 if is_verso else plate.width_mm + 20,
        bottom=outline.bottom + 0.3,
        corner=0.2,
        wobble=0.1,
    )
    margin = Surface(
        outline=facing,
        base=PAPER,
        stain=AGED,
        light=(1 - 0.55 * np.exp(-distance / 1.3) - 0.22 * np.exp(-distance / 6)).astype(np.float32),
        stained=0.14 + 0.08 * grid.clouds(rng),
        grains=(("fine", 0.014),),
    )
    return [
        shadow(board, reach_mm=3, strength=0.75, dx=0.8, dy=1.2),
        sheet(leather, plate, hidden=hidden),
        _leaves(plate, outline, is_verso, rng),
        sheet(margin, plate),
    ]


def _leaves(plate: Plate, outline: Outline, is_verso: bool, rng: np.random.Generator) -> Layer:
    """Edges of the leaves below: thin, even paper."""
    tint = colour("#d9c08c")
    reach = 4.6

    def paint(strip: Strip, window: Window) -> None:
        rim, sign = (outline.right, 1) if is_verso else (outline.left, -1)
        columns = window.columns(*sorted((rim - sign * 1.5, rim + sign * (reach + 0.5))))
        x, y = window.x_mm[columns], window.y_mm
        outward = (x - rim) * sign + 0.14 * np.sin(y / 21 + 1) + 0 * y
        tone = (
            0.80
            + 0.16 * np.sin(outward * 11 + 1.2 * np.sin(y / 40))
            + 0.06 * grain("fine", window, columns=columns)
            - 0.05 * outward
        )
        inside = np.minimum(
            np.minimum(y - outline.top - 0.2 * outward, outline.bottom - 0.2 * outward - y), reach - outward
        )
        share = np.clip(inside * window.px_per_mm + 0.5, 0, 1).astype(np.float32)
        cover(strip[:, :, columns], np.stack([tone * part for part in tint]).astype(np.float32), share)

    return paint


def _paper(plate: Plate, outline: Outline, gutter: float, is_verso: bool, rng: np.random.Generator) -> Layer:
    """Polished paper: faint laid lines in groups, foxing, worn corners."""
    grid = Grid.over(plate)
    distance, inward = np.abs(grid.x - gutter), np.maximum(grid.inside_mm(outline), 0)
    light = (
        1
        - 0.62 * np.exp(-distance / 1.3)
        - 0.17 * np.exp(-distance / 11)
        + 0.018 * np.cos((distance - 50) / 36)
    )
    light = light * (1 + 0.010 * grid.clouds(rng, roughness=2.3)) * (1 - 0.09 * np.exp(-inward / 0.6))
    light = light + 0.006 * np.sin(grid.y * 2 * np.pi / 1.1) + 0 * grid.x
    outer = outline.right if is_verso else outline.left
    stained = (
        0.06
        + 0.05 * grid.clouds(rng, roughness=1.6)
        + 0.4 * np.exp(-inward / 4) * (0.6 + 0.4 * grid.clouds(rng))
    )
    stained = (
        stained
        + 0.42 * grid.spot(outer, outline.bottom, 22)
        + 0.2 * np.maximum(grid.clouds(rng, roughness=1.1) - 1.7, 0)
    )
    for _ in range(10):
        stained = stained + 0.32 * grid.spot(
            rng.uniform(outline.left, outline.right),
            rng.uniform(outline.top, outline.bottom),
            rng.uniform(0.4, 1.3),
        )
    surface = Surface(
        outline=outline,
        base=PAPER,
        stain=AGED,
        light=light.astype(np.float32),
        stained=stained.astype(np.float32),
        grains=(("fine", 0.010), ("soft", 0.008), ("fibre", 0.006)),
        shift=(int(rng.integers(1024)), int(rng.integers(1024))),
    )
    return sheet(surface, plate)


BOARD_MM = (170.0, 246.0)


def cover_of(plate: Plate, side: str) -> Picture:
    """A board from outside: ``front`` or ``back``, with its medallion."""
    rng = generator("arabic", "cover", side)
    outline = bindings.centred(plate, *BOARD_MM, corner=2.2)
    scene, place = (
        bindings.bound(plate, outline, bindings.MOROCCO, rng),
        {"dx": outline.left, "dy": outline.top},
    )
    tool, leaf = bindings.medallion(*BOARD_MM)
    scene.add(relief(tool, plate, depth=1.3, soft_mm=0.35, **place), gold(leaf, plate, wear=0.8, **place))
    return scene.picture()
