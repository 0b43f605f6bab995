"""The bundle of letters: laid paper that was folded, brown ink that swells on the downstroke, a seal."""

from __future__ import annotations

import math

import numpy as np

from demo_data import pen, plants, words
from demo_data.colour import colour
from demo_data.hands import Hand, current, reach
from demo_data.ink import drawn, ink
from demo_data.materials import Grid, Surface, sheet
from demo_data.pen import Sketch
from demo_data.picture import Picture
from demo_data.plate import Plate
from demo_data.scene import Layer, Outline, Scene, Strip, cover, ground, shadow
from demo_data.textures import Samples, Window, generator, grain

SHEET_MM = (183.0, 228.0)
MARGIN, RIGHT_HALF = 18.0, 92.0
"""Where lines begin."""
HANDS = {
    "1": Hand(
        alphabet="current",
        x_height_mm=2.75,
        nib=0.075,
        angle_deg=0,
        slant=0.46,
        gap=0.1,
        unsteady=0.022,
        space=0.62,
        width=1.05,
    ),
    "2": Hand(
        alphabet="current",
        x_height_mm=2.9,
        nib=0.075,
        angle_deg=0,
        slant=0.46,
        gap=0.1,
        unsteady=0.028,
        space=0.66,
        width=1.1,
    ),
    "3": Hand(
        alphabet="current",
        x_height_mm=2.35,
        nib=0.08,
        angle_deg=0,
        slant=0.24,
        gap=0.12,
        unsteady=0.014,
        space=0.6,
        width=1.0,
    ),
    "4": Hand(
        alphabet="current",
        x_height_mm=2.85,
        nib=0.075,
        angle_deg=0,
        slant=0.46,
        gap=0.1,
        unsteady=0.024,
        space=0.62,
        width=1.06,
    ),
}
THICK = {"1": 0.2, "2": 0.22, "3": 0.16, "4": 0.2}
INKS = {"1": "#4a2c17", "2": "#3b2416", "3": "#23262e", "4": "#523318"}
PAPERS = {"1": "#e9dcc0", "2": "#e2d3b2", "3": "#d9dcd6", "4": "#ebe0c8"}
STAIN = colour("#9a7136")
PLACES = {
    "1r": ("1", "1"),
    "1v": ("1", "2"),
    "2v": ("1", "address"),
    "3r": ("2", "1"),
    "4r": ("3", "1"),
    "4v": ("3", "2"),
    "5r": ("4", "1"),
}
"""Letter and page by the folio of the bundle."""
FOLDS = {"1": (76.0, 152.0), "2": (114.0,), "3": (76.0, 152.0), "4": (57.0, 114.0, 171.0)}


def text(letter: str, page: int) -> Sketch:
    """The writing of a page: heading to the right, paragraphs indented, the name at the end."""
    sketch, rng = Sketch(), generator("letters", "text", letter, str(page))
    hand, tint = HANDS[letter], INKS[letter]
    y, pitch = 25.0, hand.x_height_mm * 4.0
    for paragraph in words.LETTERS[letter][page - 1]:
        left, indent = {">": (RIGHT_HALF, 0.0), "=": (MARGIN, 0.0)}.get(paragraph[0], (MARGIN, 6.0))
        for line in _wrapped(hand, paragraph.lstrip(">="), SHEET_MM[0] - 14 - left - indent):
            x, slip = left + indent + rng.normal(0, 0.8), rng.normal(0, 0.35)
            data, _ = current(hand, line, x, y + slip, rng, thick=THICK[letter])
            sketch.fill(data, tint)
            y += pitch
            indent = 0.0
        y += pitch * 0.15
    _extras(sketch, letter, page, y, rng)
    return sketch


def _wrapped(hand: Hand, paragraph: str, measure: float) -> list[str]:
    """Break a paragraph where the joined hand would run out of paper."""
    lines, line = [], ""
    for word in paragraph.split():
        longer = f"{line} {word}".strip()
        if line and reach(hand, longer) > measure:
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line]


def _extras(sketch: Sketch, letter: str, page: int, y: float, rng: np.random.Generator) -> None:
    tint = INKS[letter]
    if (letter, page) == ("1", 2):
        _flourish(sketch, 98.0, y + 2, tint)
        _plan(sketch, 52.0, 176.0, tint, rng)
    elif letter == "2":
        _basin(sketch, 56.0, 186.0, tint, rng)
        sketch.include(plants.drawing("borago", 74, rng), x=134, y=192)
    elif letter == "4":
        sketch.include(plants.drawing("lilium", 70, rng), x=138, y=194)
        _flourish(sketch, 30.0, y + 4, tint)
    elif (letter, page) == ("3", 2):
        sketch.line(pen.points((18, y), (165, y - 1.5)), tint, 0.35)
        for number in range(5):
            _pear(sketch, 44.0 + 20 * number, y + 26 + rng.normal(0, 1), tint)


def _flourish(sketch: Sketch, x: float, y: float, tint: str) -> None:
    track = pen.smooth(
        pen.points(
            (x, y),
            (x + 20, y - 5),
            (x + 44, y + 2),
            (x + 26, y + 6),
            (x + 8, y + 1),
            (x + 36, y - 3),
            (x + 62, y + 3),
        ),
        steps=10,
    )
    sketch.fill(pen.pointed(track, 0.2, 0.7), tint)


def _plan(sketch: Sketch, x: float, y: float, tint: str, rng: np.random.Generator) -> None:
    """The writer's own sketch of the ground."""
    box = pen.rectangle(x - 34, y - 26, x + 44, y + 28)
    sketch.line(pen.jittered(pen.smooth(np.concatenate([box, box[:1]]), steps=1), rng, 0.4), tint, 0.35)
    sketch.lines(
        [pen.points((x + 5, y - 26), (x + 4.4, y + 28)), pen.points((x - 34, y), (x + 44, y + 0.8))],
        tint,
        0.3,
    )
    sketch.line(pen.polygon(pen.jittered(pen.circle(x + 5, y + 0.4, 7, corners=18), rng, 0.2)), tint, 0.4)
    hatching = [pen.points((x - 34 + k * 1.6, y + 28), (x - 36 + k * 1.6, y + 31)) for k in range(49)]
    sketch.lines(hatching, tint, 0.2)
    small = Hand(
        alphabet="current",
        x_height_mm=1.5,
        nib=0.08,
        angle_deg=0,
        slant=0.4,
        gap=0.1,
        unsteady=0.02,
        space=0.6,
    )
    for label, dx, dy in (
        ("orchard", -26, -12),
        ("here I dig", -28, 15),
        ("pond", 20, -11),
        ("wall, fallen", 12, 16),
        ("spring?", 8, -2),
    ):
        data, _ = current(small, label, x + dx, y + dy, rng, thick=0.17)
        sketch.fill(data, tint)


def _basin(sketch: Sketch, x: float, y: float, tint: str, rng: np.random.Generator) -> None:
    """The fountain as it was found, with its measures."""
    for radius in (26.0, 21.0, 6.0):
        turn = np.linspace(0, 2 * math.pi, 70)
        ring = np.stack([x + radius * np.cos(turn), y + 0.55 * radius * np.sin(turn)], axis=1)
        sketch.line(pen.jittered(ring, rng, 0.12), tint, 0.35)
    strokes = []
    for number in range(60):
        angle = math.pi * number / 59
        foot = np.array([x + 26 * math.cos(angle), y + 14.3 * math.sin(angle)])
        strokes.append(np.stack([foot, pen.moved(foot, 0, 7.5 * (0.6 + 0.4 * math.sin(angle)))]))
    sketch.lines(strokes, tint, 0.2)
    for number in range(8):
        angle = 2 * math.pi * number / 8
        start = np.array([x + 6 * math.cos(angle), y - 1 + 3.3 * math.sin(angle)])
        end = np.array([x + 17 * math.cos(angle), y + 9.4 * math.sin(angle)])
        sketch.line(pen.smooth(np.stack([start, (start + end) / 2 - (0, 6), end])), tint, 0.25)
    sketch.lines(
        [
            pen.points((x - 26, y + 29), (x + 26, y + 29)),
            pen.points((x - 26, y + 27), (x - 26, y + 31)),
            pen.points((x + 26, y + 27), (x + 26, y + 31)),
        ],
        tint,
        0.25,
    )
    small = Hand(
        alphabet="current",
        x_height_mm=1.6,
        nib=0.08,
        angle_deg=0,
        slant=0.4,
        gap=0.1,
        unsteady=0.02,
        space=0.6,
    )
    data, _ = current(small, "7 feet 4", x - 9, y + 27.6, rng, thick=0.17)
    sketch.fill(data, tint)


def _pear(sketch: Sketch, x: float, y: float, tint: str) -> None:
    body = pen.moved(
        pen.smooth(
            pen.track("0,-9 2.4,-5 5,0 4,5 0,6.6 -4,5 -5,0 -2.4,-5"),
            steps=5,
            closed=True,
        ),
        x,
        y,
    )
    sketch.line(pen.polygon(body), tint, 0.32)
    sketch.lines(
        [
            pen.smooth(pen.points((x + k, y - 4 + k), (x + k + 1.4, y + 1), (x + k, y + 5 - k)))
            for k in (1.2, 2.2, 3.0)
        ],
        tint,
        0.18,
    )
    sketch.line(pen.smooth(pen.points((x, y - 9), (x + 0.6, y - 11), (x + 2, y - 12.4))), tint, 0.4)
    sketch.line(
        pen.polygon(pen.leaf(np.array([x + 0.6, y - 11]), np.array([x + 6, y - 13]), 2.2)), tint, 0.25
    )


def _address(letter: str, rng: np.random.Generator) -> Sketch:
    """The outside of a letter: the address across the middle fold."""
    sketch, hand = Sketch(), HANDS[letter]
    bold = Hand(
        alphabet="current",
        x_height_mm=2.9,
        nib=0.07,
        angle_deg=0,
        slant=0.46,
        gap=0.1,
        unsteady=0.02,
        space=0.66,
    )
    for number, line in enumerate(words.ADDRESS):
        data, _ = current(bold, line, 40.0 + 13 * number, 96.0 + 14.5 * number, rng, thick=0.21)
        sketch.fill(data, INKS[letter])
    sketch.line(pen.polygon(pen.circle(150, 88, 9.5, corners=50)), "#8a2a20", 0.5, opacity=0.75)
    sketch.line(pen.polygon(pen.circle(150, 88, 6.6, corners=50)), "#8a2a20", 0.3, opacity=0.75)
    for text_, y in (("MR", 86.5), ("5", 92.0)):
        data, _ = current(hand, text_, 146.5, y, rng, thick=0.2)
        sketch.fill(data, "#8a2a20", opacity=0.75)
    return sketch


def frame(plate: Plate, letter: str, page: str) -> Picture:
    """A page of a letter, or its ``address``."""
    rng = generator("letters", "scene", letter, page)
    left, top = (plate.width_mm - SHEET_MM[0]) / 2, (plate.height_mm - SHEET_MM[1]) / 2
    outline = Outline(
        left=left,
        top=top,
        right=left + SHEET_MM[0],
        bottom=top + SHEET_MM[1],
        corner=0.5,
        wobble=0.22,
        phase=rng.uniform(0, 6),
    )
    scene = Scene(plate, rng)
    scene.add(
        ground(colour("#4c4d4f"), grain_amount=0.010),
        shadow(outline, reach_mm=1.6, strength=0.6, dx=0.7, dy=0.9),
    )
    scene.add(_paper(plate, outline, letter, page, rng))
    sketch = _address(letter, rng) if page == "address" else text(letter, int(page))
    scene.add(
        ink(drawn(sketch, plate, dx=left, dy=top), pooling=0.16, strength=0.95, dx=int(rng.integers(1024)))
    )
    if page == "address":
        scene.add(_seal(plate, left + 92.0, top + 178.0, rng))
    return scene.picture()


def _paper(plate: Plate, outline: Outline, letter: str, page: str, rng: np.random.Generator) -> Layer:
    """Laid paper with chain lines, creased where it was folded."""
    grid = Grid.over(plate)
    x, y = grid.x - outline.left, grid.y - outline.top
    inward = np.maximum(grid.inside_mm(outline), 0)
    light = (
        1
        + 0.012 * grid.clouds(rng, roughness=2.4)
        + 0.010 * np.exp(-(((x % 24.5) - 12) ** 2) / 0.18)
        - 0.06 * np.exp(-inward / 0.5)
    )
    stained = (
        0.10
        + 0.07 * grid.clouds(rng, roughness=1.7)
        + 0.35 * np.exp(-inward / 3) * (0.6 + 0.5 * grid.clouds(rng))
    )
    creases = [(y - fold, 1.0) for fold in FOLDS[letter]] + [(x - 61.0, 0.7), (x - 122.0, 0.7)] * (
        letter in "13"
    )
    for number, (away, strength) in enumerate(creases):
        bent = away + 0.25 * np.sin((x + y) / 13 + number)
        side = 1 if number % 2 else -1
        light = light + strength * (
            0.035 * side * np.sign(bent) * np.exp(-np.abs(bent) / 4.5)
            - 0.13 * np.exp(-((bent / 0.35) ** 2))
            + 0.07 * np.exp(-(((bent - 0.7) / 0.4) ** 2))
        )
        stained = stained + strength * 0.20 * np.exp(-np.abs(bent) / 1.1)
    for _ in range(7):
        spot = grid.spot(
            rng.uniform(outline.left, outline.right),
            rng.uniform(outline.top, outline.bottom),
            rng.uniform(0.5, 1.6),
        )
        stained = stained + 0.30 * spot
    if page == "address":
        stained = stained + 0.35 * (np.abs(y - 114) > 40)
    surface = Surface(
        outline=outline,
        base=colour(PAPERS[letter]),
        stain=STAIN,
        light=light.astype(np.float32),
        stained=stained.astype(np.float32),
        grains=(("fine", 0.012), ("soft", 0.008), ("fibre", 0.006)),
        shift=(int(rng.integers(1024)), int(rng.integers(1024))),
    )
    paper = sheet(surface, plate)

    def paint(strip: Strip, window: Window) -> None:
        paper(strip, window)
        laid = 1 + 0.011 * np.sin(window.y_mm * (2 * np.pi / 0.82) + 0.3 * np.sin(window.y_mm / 3))
        columns = window.columns(outline.left + 1, outline.right - 1)
        if outline.top + 1 < window.y_mm[0, 0] and window.y_mm[-1, 0] < outline.bottom - 1:
            strip[:, :, columns] *= laid

    return paint


def _seal(plate: Plate, cx: float, cy: float, rng: np.random.Generator) -> Layer:
    """Red wax with a tree pressed into it, broken across when the letter was opened."""
    grid = 0.1
    count = int(36 / grid)
    axis = (np.arange(count) - count / 2 + 0.5) * grid
    x, y = axis[None, :], axis[:, None]
    turn = np.arctan2(y, x)
    rim = 12.6 + 0.8 * np.sin(3 * turn + 1) + 0.5 * np.sin(7 * turn) + 0.3 * np.sin(13 * turn + 2)
    radius = np.hypot(x, y)
    height = 1.9 * np.clip(1 - (radius / rim) ** 6, 0, 1) ** 0.5 - 0.75 / (1 + np.exp((radius - 9.2) * 5))
    height = height + 0.22 * np.exp(-(((radius - 8.0) / 0.25) ** 2)) + 0.35 * _tree(x, y)
    crack = np.abs(y + 0.5 * np.sin(x * 0.9) + 0.22 * np.sin(x * 3.1)) < 0.2
    height = np.where(crack, height - 0.9, height)
    down, across = np.gradient(height, grid)
    shine = 0.55 * across + 0.7 * down
    lit = (0.55 + 0.62 * np.tanh(shine * 0.8)).astype(np.float32)
    gloss = np.clip(np.tanh(shine * 0.8) - 0.55, 0, 1).astype(np.float32)
    inside = (rim - radius).astype(np.float32)
    wax, light = colour("#8c1c14"), colour("#ffd9cc")

    def paint(strip: Strip, window: Window) -> None:
        columns = window.columns(cx - 17.5, cx + 17.5)
        if window.y_mm[-1, 0] < cy - 17 or window.y_mm[0, 0] > cy + 17:
            return
        across_ = np.clip(((window.x_mm[columns] - cx) / grid + count / 2).astype(int), 0, count - 1)
        down_ = np.clip(((window.y_mm[:, 0] - cy) / grid + count / 2).astype(int), 0, count - 1)
        at = np.ix_(down_, across_)
        share = np.clip(_read(inside, window, columns, cx, cy, grid) * window.px_per_mm + 0.5, 0, 1)
        near = np.clip(1 + _read(inside, window, columns, cx + 0.8, cy + 1.1, grid) / 1.6, 0, 1)
        strip[:, :, columns] *= 1 - 0.45 * near
        tone = _read(lit, window, columns, cx, cy, grid) + 0.03 * grain("soft", window, columns=columns)
        planes = np.stack(
            [wax[band] * tone + 0.75 * gloss[at] * (light[band] - wax[band] * tone) for band in range(3)]
        )
        cover(strip[:, :, columns], planes.astype(np.float32), share.astype(np.float32))

    return paint


def _tree(x: Samples, y: Samples) -> Samples:
    """A tree in relief: stem, boughs, crown."""
    stem = np.exp(-((x / 0.5) ** 2)) * (y > -1) * (y < 5.6)
    crown = sum(
        np.exp(-(((x - a) ** 2 + (y - b) ** 2) / 1.0))
        for a, b in (
            (0, -4.4),
            (-2.3, -3.2),
            (2.3, -3.2),
            (-3.6, -1.2),
            (3.6, -1.2),
            (-1.4, -1.6),
            (1.4, -1.6),
        )
    )
    mound = np.exp(-(((y - 6 + 0.06 * x**2) / 0.5) ** 2)) * (np.abs(x) < 5)
    return np.asarray(np.clip(stem + crown + mound, 0, 1.2), np.float32)


def _read(samples: Samples, window: Window, columns: slice, cx: float, cy: float, grid: float) -> Samples:
    """A small square array centred at `cx`, `cy`, read between its points."""
    count = len(samples)
    down = np.clip((window.y_mm[:, 0] - cy) / grid + count / 2 - 0.5, 0, count - 1.001)
    across = np.clip((window.x_mm[columns] - cx) / grid + count / 2 - 0.5, 0, count - 1.001)
    i, j = down.astype(int), across.astype(int)
    fi, fj = (down - i)[:, None], (across - j)[None, :]
    top = samples[np.ix_(i, j)] * (1 - fj) + samples[np.ix_(i, j + 1)] * fj
    low = samples[np.ix_(i + 1, j)] * (1 - fj) + samples[np.ix_(i + 1, j + 1)] * fj
    return np.asarray(top * (1 - fi) + low * fi, np.float32)
