"""What is on the pages of the Latin codex: calendar, wheel, painting, herbal.

Pages are drawn on a sheet of 110 by 152 mm whose origin is its upper left corner.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from demo_data import ornament, pen, plants, words
from demo_data.hands import Hand, current, width_of, wrapped, written
from demo_data.ornament import BLUE, INK, RED
from demo_data.pen import Sketch
from demo_data.textures import generator

PAGE_MM = (110.0, 152.0)
"""Width and height of a leaf."""
LEFT, RIGHT = 21.0, 93.0
"""The written space of a recto, from the gutter."""
TOP, PITCH, LINES = 20.0, 4.55, 24
INITIAL_MM = PITCH * 9 - 1.2
BOOK = Hand(alphabet="gothic", x_height_mm=1.78, nib=0.205, angle_deg=40, width=1.08, gap=0.13, space=0.5)
SMALL = Hand(alphabet="gothic", x_height_mm=1.28, nib=0.205, angle_deg=40, width=1.05, gap=0.13, space=0.46)
LARGE = Hand(alphabet="gothic", x_height_mm=2.6, nib=0.2, angle_deg=40, width=1.1, gap=0.14, space=0.5)

PENCIL = Hand(alphabet="current", x_height_mm=1.9, nib=0.11, angle_deg=0, slant=0.3, unsteady=0.02)


@dataclass
class Content:
    """What is on a page: painted, and laid in gold."""

    ink: Sketch = field(default_factory=Sketch)
    leaf: Sketch = field(default_factory=Sketch)
    has_gold: bool = False


# ------------------------------------------------------------------------------------------ writing


def baseline(line: int) -> float:
    """Where line `line` (from 0) stands."""
    return TOP + PITCH * (line + 1)


def ruled(sketch: Sketch, left: float, right: float, *, spared: tuple[int, float] = (0, 0.0)) -> None:
    """The ruling, in plummet, drawn across the margins as it was done.

    The first lines begin further in, where an initial will stand: `spared` is their number and by how much.
    """
    tint = "#8a6f5c"
    sketch.line(pen.points((right, 2.0), (right, PAGE_MM[1] - 2)), tint, 0.09, opacity=0.55)
    gap_top, gap_bottom = baseline(0), baseline(max(spared[0] - 1, 0))
    for top, bottom in ((2.0, gap_top), (gap_bottom, PAGE_MM[1] - 2)):
        sketch.line(pen.points((left, top), (left, bottom)), tint, 0.09, opacity=0.55)
    lines = []
    for line in range(-1, LINES):
        is_long = line in (-1, 0, LINES - 2, LINES - 1)
        start = left + spared[1] if 0 < line < spared[0] else 1.0 if is_long else left
        end = PAGE_MM[0] - 1 if is_long else right
        lines.append(pen.points((start, baseline(line)), (end, baseline(line))))
    sketch.lines(lines, tint, 0.08, opacity=0.5)


def pricked(sketch: Sketch, x: float) -> None:
    """The pricks that guided the ruling, along the outer edge."""
    pricks = [pen.circle(x, baseline(line), 0.19, corners=8) for line in range(-1, LINES)]
    sketch.fill(pricks, "#4a3521", opacity=0.85)


def lines_of(
    sketch: Sketch,
    hand: Hand,
    text: str,
    first: int,
    left: float,
    right: float,
    rng: np.random.Generator,
    *,
    indents: tuple[float, ...] = (),
    last: int = LINES,
    tint: str = INK,
    justify: bool = True,
) -> int:
    """Write `text` from line `first`; returns the next free line."""
    measures = [right - left - indent for indent in indents] + [right - left]
    all_lines = wrapped(hand, text, measures)[: last - first]
    for number, line in enumerate(all_lines):
        indent = indents[number] if number < len(indents) else 0.0
        start, measure = left + indent, right - left - indent
        blanks = line.count(" ")
        spare = (measure - width_of(hand, line)) / (hand.space * hand.x_height_mm * max(blanks, 1))
        full = justify and number < len(all_lines) - 1
        stretch = 1 + min(spare, 2.8) if full else 1.0
        y = baseline(first + number) - 0.35 + rng.normal(0, 0.05)
        data, _ = written(hand, line, start, y, rng, stretch=stretch)
        sketch.fill(data, _ink_tint(tint, rng))
        _capital_strokes(sketch, hand, line, start, y, stretch)
    return first + len(all_lines)


def _ink_tint(tint: str, rng: np.random.Generator) -> str:
    """The pen is dipped: brown ink is now darker, now paler."""
    if tint != INK:
        return tint
    return ("#2a1a11", "#332114", "#3d2818", "#2f1d12")[int(rng.integers(4))]


def _capital_strokes(sketch: Sketch, hand: Hand, line: str, x: float, y: float, stretch: float) -> None:
    """Capitals in the text are touched with red."""
    for position, letter in enumerate(line):
        if letter.isupper():
            at = x + width_of(hand, line[:position], stretch=stretch) + 0.28 * hand.x_height_mm
            sketch.line(
                pen.points((at, y - 1.15 * hand.x_height_mm), (at, y - 0.2 * hand.x_height_mm)),
                RED,
                0.3,
                opacity=0.85,
            )


def foliated(sketch: Sketch, number: int, rng: np.random.Generator) -> None:
    """A later hand counts the leaves in pencil, at the upper outer corner."""
    data, _ = current(PENCIL, str(number), PAGE_MM[0] - 11, 9.5, rng, thick=0.16)
    sketch.fill(data, "#5a5550", opacity=0.85)


# ------------------------------------------------------------------------------------------- pages


def _calendar(page: Content, rng: np.random.Generator, month: int, left: float, right: float) -> None:
    name, days = words.MONTHS[month], words.DAYS[month]
    sketch = page.ink
    top = TOP - 3.5
    ornament.grand_initial(sketch, page.leaf, "K", left - 1, top - 1.5, 13.5, rng)
    ornament.grand_initial(sketch, page.leaf, "L", left + 13.4, top - 1.5, 13.5, rng)
    page.has_gold = True
    data, _ = written(LARGE, name, left + 30, top + 5.5, rng)
    sketch.fill(data, BLUE)
    data, _ = written(SMALL, f"habet dies .{words.roman(days)}. luna .xxx.", left + 30.5, top + 11, rng)
    sketch.fill(data, RED)
    pitch = (PAGE_MM[1] - 24 - (top + 16)) / days
    for day in range(days):
        y = top + 18.5 + pitch * day
        _calendar_line(sketch, rng, month, day, y, left)
    herb, tall = ("viola", 40.0) if month == 0 else ("salvia", 62.0)
    page.ink.include(plants.drawing(herb, tall, rng), x=left + 62, y=118)
    x = left - 5
    ornament.spray(
        page.ink,
        page.leaf,
        pen.points(
            (left - 1, top + 4),
            (x, top + 14),
            (x - 1.2, top + 50),
            (x + 0.6, top + 88),
            (x + 4, top + 112),
            (x + 40, top + 117),
            (x + 78, top + 114),
        ),
        rng,
    )
    for x in (left + 8.4, left + 13.6, left + 24.6):
        sketch.line(pen.points((x, top + 14.5), (x, top + 19 + pitch * days)), "#9a4a3a", 0.1, opacity=0.7)


def _calendar_line(
    sketch: Sketch, rng: np.random.Generator, month: int, day: int, y: float, left: float
) -> None:
    golden = (day * 11 + month * 5) % 19 + 1
    if (day + month) % 5 < 3:
        data, _ = written(SMALL, words.roman(golden), left, y, rng)
        sketch.fill(data, BLUE if day % 2 else RED)
    letter = "abcdefg"[(day + 3 * month) % 7]
    if letter == "a":
        data, _ = written(SMALL, "A", left + 9.8, y, rng)
        sketch.fill(data, RED)
    else:
        data, _ = written(SMALL, letter, left + 10, y, rng)
        sketch.fill(data, INK)
    to_next = (5 - day if day < 5 else 13 - day if day < 13 else words.DAYS[month] - day) % 31
    if to_next:
        data, _ = written(SMALL, words.roman(to_next % 17 + 1), left + 14.6, y, rng)
        sketch.fill(data, INK)
    if rng.random() < 0.62:
        entry = words.CALENDAR[(day * 5 + month * 9) % len(words.CALENDAR)]
        is_feast = rng.random() < 0.22
        data, _ = written(SMALL, entry, left + 26, y, rng)
        sketch.fill(data, RED if is_feast else _ink_tint(INK, rng))


def _border(page: Content, rng: np.random.Generator, left: float) -> None:
    x, bottom = left - 6.2, baseline(LINES - 1) + 3
    page.has_gold = True
    ornament.bar(page.ink, page.leaf, x, TOP - 4, bottom)
    ornament.spray(
        page.ink,
        page.leaf,
        pen.points(
            (x + 1, TOP - 4), (x + 3, TOP - 10), (x + 20, TOP - 11.5), (x + 48, TOP - 9), (x + 76, TOP - 10.5)
        ),
        rng,
    )
    ornament.spray(
        page.ink,
        page.leaf,
        pen.points(
            (x + 1, bottom),
            (x + 2, bottom + 9),
            (x + 18, bottom + 13),
            (x + 40, bottom + 9),
            (x + 62, bottom + 13),
            (x + 80, bottom + 8),
        ),
        rng,
    )
    ornament.spray(
        page.ink,
        page.leaf,
        pen.points(
            (x + 80, bottom + 8), (x + 84, bottom - 8), (x + 82.5, bottom - 26), (x + 84.5, bottom - 44)
        ),
        rng,
    )


def _wheel(page: Content, rng: np.random.Generator) -> None:
    """A wheel of the year: sun in the middle, moons and months around."""
    sketch, cx, cy = page.ink, 57.0, 74.0
    page.has_gold = True
    for radius, width in ((40.5, 0.5), (39.7, 0.22), (31.0, 0.3), (22.5, 0.3), (13.0, 0.4)):
        sketch.line(pen.polygon(pen.circle(cx, cy, radius, corners=120)), INK, width)
    for number in range(12):
        angle = math.radians(30 * number - 90)
        direction = np.array([math.cos(angle), math.sin(angle)])
        centre = np.array([cx, cy])
        sketch.line(np.stack([centre + 13 * direction, centre + 39.7 * direction]), RED, 0.25)
        _sector(sketch, page, number, cx, cy, rng)
    sun(page, cx, cy, 11.2, rng)
    for x, y, corner in ((24, 30, 0), (90, 30, 90), (90, 118, 180), (24, 118, 270)):
        _wind(sketch, x, y, corner + 45, rng)


def _sector(
    sketch: Sketch, page: Content, number: int, cx: float, cy: float, rng: np.random.Generator
) -> None:
    turn = 30 * number + 15
    angle = math.radians(turn - 90)
    label = Sketch()
    hand = Hand(alphabet="gothic", x_height_mm=1.55, nib=0.205, angle_deg=40, width=1.06, gap=0.13)
    data, _ = written(hand, words.MONTHS[number], -width_of(hand, words.MONTHS[number]) / 2, 0.8, rng)
    label.fill(data, RED if number % 2 else BLUE)
    x, y = cx + 35.2 * math.cos(angle), cy + 35.2 * math.sin(angle)
    sketch.include(label, x=x, y=y, angle_deg=turn if not 90 < turn < 270 else turn - 180)
    mx, my = cx + 26.7 * math.cos(angle), cy + 26.7 * math.sin(angle)
    _moon(page, mx, my, 3.0, number / 12)
    figure = Sketch()
    data, _ = written(hand, words.roman(number + 1), -width_of(hand, words.roman(number + 1)) / 2, 0.6, rng)
    figure.fill(data, INK)
    fx, fy = cx + 18 * math.cos(angle), cy + 18 * math.sin(angle)
    sketch.include(figure, x=fx, y=fy, angle_deg=turn if not 90 < turn < 270 else turn - 180)


def _moon(page: Content, x: float, y: float, radius: float, phase: float) -> None:
    """The moon in silver-gilt and blue, waxing and waning through the year."""
    angle = np.linspace(-math.pi / 2, math.pi / 2, 16)
    limb = np.stack([x + radius * np.cos(angle), y + radius * np.sin(angle)], axis=1)
    bulge = radius * math.cos(2 * math.pi * phase)
    terminator = np.stack([x + bulge * np.cos(angle), y + radius * np.sin(angle)], axis=1)
    far = np.stack([2 * x - limb[:, 0], limb[:, 1]], axis=1)
    page.leaf.fill(np.concatenate([limb, terminator[::-1]]), ornament.OCHRE)
    page.ink.fill(np.concatenate([far, terminator[::-1]]), "#1f3566")
    page.ink.line(pen.polygon(pen.circle(x, y, radius)), INK, 0.2)


def sun(page: Content, cx: float, cy: float, radius: float, rng: np.random.Generator) -> None:
    """The sun's face, its rays in turn gold and red."""
    for number in range(24):
        angle = math.radians(15 * number)
        length = radius * (1.0 if number % 2 else 0.82)
        tip = np.array([cx + length * math.cos(angle), cy + length * math.sin(angle)])
        base = np.array([cx + radius * 0.55 * math.cos(angle), cy + radius * 0.55 * math.sin(angle)])
        ray = pen.leaf(base, tip, radius * 0.17, bend=radius * 0.05 * (number % 2))
        if number % 2:
            page.leaf.fill(ray, ornament.OCHRE)
        else:
            page.ink.fill(ray, RED)
        page.ink.line(pen.polygon(ray), INK, 0.16)
    page.leaf.fill(pen.circle(cx, cy, radius * 0.58, corners=40), ornament.OCHRE)
    page.ink.line(pen.polygon(pen.circle(cx, cy, radius * 0.58, corners=40)), INK, 0.3)
    for side in (-1, 1):
        eye = pen.leaf(np.array([cx + side * 0.8, cy - 0.9]), np.array([cx + side * 3.2, cy - 1.0]), 1.0)
        page.ink.line(pen.polygon(eye), INK, 0.22)
        page.ink.fill(pen.circle(cx + side * 2.0, cy - 0.95, 0.42, corners=12), INK)
        brow = pen.smooth(
            pen.points((cx + side * 0.7, cy - 1.9), (cx + side * 2.0, cy - 2.6), (cx + side * 3.6, cy - 1.9))
        )
        page.ink.line(brow, INK, 0.25)
        page.ink.fill(pen.circle(cx + side * 3.1, cy + 1.5, 0.8, corners=16), RED, opacity=0.35)
    page.ink.line(
        pen.smooth(pen.points((cx + 0.1, cy - 1.2), (cx - 0.6, cy + 0.9), (cx + 0.4, cy + 1.1))), INK, 0.25
    )
    page.ink.line(
        pen.smooth(pen.points((cx - 1.8, cy + 2.5), (cx, cy + 3.1), (cx + 1.8, cy + 2.5))), RED, 0.45
    )


def _wind(sketch: Sketch, x: float, y: float, angle_deg: float, rng: np.random.Generator) -> None:
    """A wind blows from a corner: a cloud and its breath."""
    cloud = Sketch()
    for number in range(6):
        dx, dy = 3.4 * math.cos(number), 2.6 * math.sin(number)
        lobe = pen.circle(dx, dy, 2.6)
        cloud.line(pen.polygon(lobe), BLUE, 0.3)
    for number in range(6):
        dx, dy = 3.4 * math.cos(number), 2.6 * math.sin(number)
        cloud.fill(pen.circle(dx, dy, 2.5), ornament.PALE_BLUE)
    for number in range(3):
        cloud.line(pen.spiral(-1.5 + 1.8 * number, 0.3 * number, 1.4, 1.2, 90), ornament.WHITE, 0.28)
    for lean in (-24, -8, 8, 24):
        ray = pen.turned(pen.points((5.8, 0.0), (8.0, 0.5), (10.2, -0.4), (12.0, 0.2)), lean)
        cloud.line(pen.smooth(ray), BLUE, 0.26)
    sketch.include(cloud, x=x, y=y, angle_deg=angle_deg)


def _painting(page: Content, rng: np.random.Generator) -> None:
    """A page of its own: the mandrake under an arch, on gold."""
    sketch, leaf = page.ink, page.leaf
    page.has_gold = True
    left, top, right, bottom = 17.0, 15.0, 89.0, 126.0
    leaf.fill(pen.rectangle(left, top, right, bottom), ornament.OCHRE)
    for inset, tint in ((0.0, BLUE), (3.4, ornament.ROSE)):
        box = pen.rectangle(left + inset + 1.7, top + inset + 1.7, right - inset - 1.7, bottom - inset - 1.7)
        sketch.line(pen.polygon(box), tint, 3.2)
    for inset in (0.0, 3.4, 6.8):
        box = pen.rectangle(left + inset, top + inset, right - inset, bottom - inset)
        sketch.line(pen.polygon(box), INK, 0.3)
    _lozenges(sketch, left + 7, top + 7, right - 7, bottom - 7)
    sketch.fill(_hill(left + 7, right - 7, bottom - 36, bottom - 7), "#6f8f55")
    sketch.line(_hill(left + 7, right - 7, bottom - 36, bottom - 7)[:-2], "#2f4a2b", 0.4)
    sketch.fill(_hill(left + 7, right - 7, bottom - 29, bottom - 7), "#8a6a42")
    feet = np.stack(
        [rng.uniform(left + 9, right - 9, 60), rng.uniform(bottom - 33.5, bottom - 30, 60)], axis=1
    )
    sketch.lines(
        [np.stack([foot, pen.moved(foot, rng.normal(0, 0.4), -1.3)]) for foot in feet], "#2f4a2b", 0.18
    )
    sketch.include(plants.drawing("mandragora", 70, rng), x=(left + right) / 2, y=bottom - 41)
    for x, name in ((left + 17, "viola"), (right - 17, "papaver")):
        sketch.include(plants.drawing(name, 33, rng), x=x, y=bottom - 31)
    _dog(sketch, left + 11, bottom - 9.5)
    across = [(x, y) for x in np.arange(left + 5, right, 5.17) for y in (top + 1.7, bottom - 1.7)]
    down = [(x, y) for y in np.arange(top + 5, bottom, 5.3) for x in (left + 1.7, right - 1.7)]
    dots = [pen.circle(x, y, 0.35 + 0.2 * (n // 2 % 2), corners=14) for n, (x, y) in enumerate(across + down)]
    sketch.fill(dots, ornament.WHITE)
    for x, y in ((left, top), (right, top), (left, bottom), (right, bottom)):
        ornament.bezant(sketch, leaf, x, y, 2.6, rays=0)
        for number in range(3):
            turn = {(True, True): -45, (False, True): 45, (True, False): 225, (False, False): 135}[
                (x < 50, y < 70)
            ]
            outline = ornament.ivy(x, y, 3.4, turn + (number - 1) * 45)
            shifted = outline + 2.7 * np.array(
                [
                    math.sin(math.radians(turn + (number - 1) * 45)),
                    -math.cos(math.radians(turn + (number - 1) * 45)),
                ]
            )
            sketch.shape(shifted, (ornament.GREEN, BLUE, ornament.GREEN)[number], INK, 0.22)


def _lozenges(sketch: Sketch, left: float, top: float, right: float, bottom: float) -> None:
    """Lines scored into the gold ground."""
    step, tall, lines = 6.0, bottom - top, []
    for start in np.arange(left - tall, right, step).tolist():
        low, high = max(left, start), min(right, start + tall)
        if high > low:
            lines.append(pen.points((low, top + low - start), (high, top + high - start)))
            lines.append(pen.points((low, bottom - low + start), (high, bottom - high + start)))
    sketch.lines(lines, "#6b4a1c", 0.16, opacity=0.7)


def _hill(left: float, right: float, top: float, bottom: float) -> pen.Points:
    x = np.linspace(left, right, 40)
    y = top + 1.8 * np.sin(x / 9) + 0.9 * np.sin(x / 3.7 + 1)
    return np.concatenate([np.stack([x, y], axis=1), pen.points((right, bottom), (left, bottom))])


def _dog(sketch: Sketch, x: float, y: float) -> None:
    """The dog that is said to pull the root."""
    body = pen.smooth(
        pen.track(
            "0,-3 2,-4.2 6,-4 8.2,-5.8 10.2,-5.6 11.6,-4.4 10,-3.8 9,-2.8 8.6,0 7.8,0 7.6,-2 3,-2 "
            "2.4,0 1.5,0 1.4,-2.2"
        ),
        steps=4,
        closed=True,
    )
    shape = pen.moved(body, x, y)
    sketch.shape(shape, "#e9dcc4", INK, 0.35)
    ear = pen.leaf(np.array([x + 9.0, y - 5.6]), np.array([x + 8.0, y - 3.6]), 1.1)
    sketch.shape(ear, "#8a5a36", INK, 0.2)
    sketch.fill(pen.circle(x + 10.1, y - 4.9, 0.22, corners=10), INK)
    sketch.line(pen.smooth(pen.points((x + 0.2, y - 3.2), (x - 1.6, y - 4.6), (x - 1.2, y - 6.0))), INK, 0.5)
    rope = pen.smooth(
        pen.points((x + 8.6, y - 3.4), (x + 14, y - 1.8), (x + 20, y - 3.0), (x + 22.5, y - 6.0))
    )
    sketch.line(rope, "#8a5a36", 0.45)


def _incipit(page: Content, rng: np.random.Generator, left: float, right: float) -> None:
    _border(page, rng, left)
    data, _ = written(BOOK, "Incipit liber de herbis horti", left, baseline(0) - 0.4, rng)
    page.ink.fill(data, RED)
    ornament.grand_initial(page.ink, page.leaf, "H", left, baseline(0) + 1.0, INITIAL_MM, rng)
    indents = (INITIAL_MM + 2.2,) * 9
    nxt = lines_of(page.ink, BOOK, words.INCIPIT, 1, left, right, rng, indents=indents)
    _entry(page, rng, "salvia", nxt, left, right, 7)


def _entry(
    page: Content,
    rng: np.random.Generator,
    name: str,
    first: int,
    left: float,
    right: float,
    sentences: int,
    *,
    plant: float = 0.0,
    at_right: bool = True,
) -> int:
    """An entry: a red heading, a small initial, the text; beside it the plant, `plant` mm high."""
    if first >= LINES - 2:
        return first
    data, _ = written(BOOK, words.HEADINGS[name], left, baseline(first) - 0.35, rng)
    text = words.herb_entry(name, rng, sentences)
    inner_left, inner_right = left, right
    if plant:
        room = plant * 0.56
        inner_left, inner_right = (left, right - room) if at_right else (left + room, right)
        data, _ = written(BOOK, words.HEADINGS[name], inner_left, baseline(first) - 0.35, rng)
        spot = right - room / 2 + 1.5 if at_right else left + room / 2 - 1.5
        share = 0.55 if name == "mandragora" else 0.78
        page.ink.include(plants.drawing(name, plant, rng), x=spot, y=baseline(first) - 4 + plant * share)
    page.ink.fill(data, RED)
    size = 2 * PITCH - 1.4
    ornament.small_initial(
        page.ink, text[0], inner_left, baseline(first) + 1.0, size, rng, is_red=first % 2 == 0
    )
    return lines_of(
        page.ink, BOOK, text[1:], first + 1, inner_left, inner_right, rng, indents=(size + 1.4,) * 2
    )


def _herbs_one(page: Content, rng: np.random.Generator, left: float, right: float) -> None:
    nxt = _entry(page, rng, "mandragora", 0, left, right, 6, plant=56, at_right=False)
    _entry(page, rng, "borago", max(nxt, 13), left, right, 5, plant=44, at_right=True)


def _herbs_two(page: Content, rng: np.random.Generator, left: float, right: float) -> None:
    nxt = _entry(page, rng, "papaver", 0, left, right, 6, plant=50, at_right=True)
    _entry(page, rng, "lilium", max(nxt, 12), left, right, 6, plant=50, at_right=False)
    _snail(page.ink, left + 30, PAGE_MM[1] - 14)


def _herbs_three(page: Content, rng: np.random.Generator, left: float, right: float) -> None:
    nxt = _entry(page, rng, "artemisia", 0, left, right, 6)
    nxt = _entry(page, rng, "viola", nxt, left, right, 5, plant=36, at_right=True)
    nxt = lines_of(page.ink, BOOK, words.COLOPHON, max(nxt + 1, 19), left, right, rng, tint=RED)


def _snail(sketch: Sketch, x: float, y: float) -> None:
    """What goes on in the margin: a snail, in no hurry."""
    foot = pen.smooth(
        pen.track("-6,0 -2,-0.9 6,-1.2 9.4,-3.6 10.6,-3 9.4,0.2 2,0.6"),
        steps=4,
        closed=True,
    )
    sketch.shape(pen.moved(foot, x, y), "#b9a27a", INK, 0.3)
    sketch.shape(pen.circle(x + 1, y - 4.4, 4.4), "#a35a3a", INK, 0.3)
    sketch.line(pen.spiral(x + 1, y - 4.4, 4.2, 2.6, 60), INK, 0.4)
    for lean in (0.5, 1.6):
        sketch.line(pen.points((x + 9.6, y - 3.4), (x + 9.8 + lean, y - 5.6)), INK, 0.25)
        sketch.fill(pen.circle(x + 9.8 + lean, y - 5.7, 0.28, corners=10), INK)


def _folded(page: Content, rng: np.random.Generator, left: float, right: float) -> None:
    """The back of the folded leaf: it asks to be opened."""
    page.has_gold = True
    ornament.grand_initial(page.ink, page.leaf, "H", left + 3, 48, 24, rng)
    for text, y, tint in (
        ("ic eſt figura horti", 56.0, RED),
        ("cum fonte et areis", 63.5, INK),
        ("Aperi et vide", 71.0, BLUE),
    ):
        data, _ = written(LARGE, text, left + 30, y, rng)
        page.ink.fill(data, tint)
    ornament.spray(
        page.ink,
        page.leaf,
        pen.points((left + 3, 74), (left + 6, 84), (left + 30, 88), (left + 52, 82), (left + 70, 85)),
        rng,
    )
    _pointing_hand(page.ink, right - 6, 96.0)


def _pointing_hand(sketch: Sketch, x: float, y: float) -> None:
    shape = pen.moved(
        pen.smooth(
            pen.track("-7,-2.4 -2,-2.4 0,-2 6.5,-1.4 6.6,-0.4 1.2,-0.4 1.6,0.4 1,1.2 0.8,2 -2,2.4 -7,2.2"),
            steps=4,
            closed=True,
        ),
        x,
        y,
    )
    sketch.line(pen.polygon(shape), INK, 0.3)
    for dy in (0.4, 1.2):
        sketch.line(pen.points((x - 1, y + dy), (x + 1.2, y + dy)), INK, 0.2)
    cuff = pen.rectangle(x - 10, y - 3.0, x - 7, y + 2.9)
    sketch.shape(cuff, ornament.BLUE, INK, 0.25)


@functools.lru_cache(maxsize=4)
def content(name: str) -> Content:
    """What is on the page `name`, as ``3r``."""
    page, rng = Content(), generator("codex", "page", name)
    is_recto = name.endswith("r")
    left, right = (LEFT, RIGHT) if is_recto else (PAGE_MM[0] - RIGHT, PAGE_MM[0] - LEFT)
    text: dict[str, Callable[[], None]] = {
        "1r": lambda: _calendar(page, rng, 0, left, right),
        "1v": lambda: _calendar(page, rng, 4, left, right),
        "2r": lambda: _wheel(page, rng),
        "2v": lambda: _painting(page, rng),
        "3r": lambda: _incipit(page, rng, left, right),
        "3v": lambda: _herbs_one(page, rng, left, right),
        "4r": lambda: _herbs_two(page, rng, left, right),
        "4v": lambda: _herbs_three(page, rng, left, right),
        "5r": lambda: _folded(page, rng, left, right),
    }
    if name in ("3r", "3v", "4r", "4v"):
        ruled(page.ink, left, right, spared=(10, INITIAL_MM) if name == "3r" else (0, 0.0))
    pricked(page.ink, PAGE_MM[0] - 1.8 if is_recto else 1.8)
    if name in text:
        text[name]()
    if is_recto:
        foliated(page.ink, int(name[:-1]), rng)
    return page
