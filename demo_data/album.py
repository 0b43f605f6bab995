"""The album: toned photographs on dark card, captions in white ink, a cloth cover."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from demo_data import bindings, pen, words
from demo_data.colour import colour
from demo_data.hands import Hand, current, reach, width_of, written
from demo_data.ink import drawn, gold, ink, relief
from demo_data.materials import Grid, Surface, sheet
from demo_data.pen import Sketch
from demo_data.photographs import photograph
from demo_data.picture import Picture
from demo_data.plate import Plate
from demo_data.scene import Layer, Outline, Scene, Strip, ground, shadow
from demo_data.textures import Window, doubled, generator, grain

CARD_MM = (236.0, 180.0)
CAPTION = Hand(
    alphabet="current", x_height_mm=2.0, nib=0.12, angle_deg=0, slant=0.2, gap=0.12, unsteady=0.014, space=0.6
)
TONES = {
    "sepia": ("#20130b", "#6d4b2e", "#c3a075", "#f1e3c6"),
    "warm": ("#15110f", "#574a41", "#ab9e8d", "#efe7d8"),
    "blue": ("#0b1c3a", "#24527f", "#86abc4", "#eaf0ea"),
    "purple": ("#1c1216", "#5b4149", "#b49a93", "#f2e6da"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Print:
    """A photograph on a page: what it shows, its place and size, how it was toned, how it lies."""

    name: str
    x: float
    y: float
    width: float
    height: float
    tone: str
    angle_deg: float = 0.0
    border: float = 4.0


PAGES = {
    "1": (
        Print(name="ferry", x=22, y=24, width=104, height=74, tone="sepia"),
        Print(name="mill", x=128, y=84, width=92, height=66, tone="warm"),
    ),
    "2": (
        Print(name="beacon", x=20, y=20, width=88, height=63, tone="sepia"),
        Print(name="bridge", x=26, y=98, width=88, height=60, tone="purple"),
        Print(name="alder", x=142, y=30, width=70, height=100, tone="blue", border=6.0),
    ),
    "3": (
        Print(name="boats", x=20, y=22, width=96, height=66, tone="warm"),
        Print(name="moon", x=112, y=88, width=104, height=70, tone="blue", border=6.0),
    ),
}


def page(plate: Plate, name: str) -> Picture:
    """A page of the album, ``1`` to ``3``."""
    rng = generator("album", "page", name)
    gutter = 8.0
    left, top = gutter, (plate.height_mm - CARD_MM[1]) / 2
    outline = Outline(
        left=left,
        top=top,
        right=left + CARD_MM[0],
        bottom=top + CARD_MM[1],
        corner=1.0,
        wobble=0.12,
        phase=rng.uniform(0, 6),
    )
    scene, grid = Scene(plate, rng), Grid.over(plate)
    scene.add(ground(colour("#8f8f8d"), grain_amount=0.010, falloff=0.06))
    for number in (2, 1):
        under = Outline(
            left=left - 14,
            top=top + 0.3 * number,
            right=outline.right + 1.3 * number,
            bottom=outline.bottom + 0.8 * number,
            corner=1.0,
            wobble=0.12,
            phase=number,
        )
        scene.add(shadow(under, reach_mm=1.4, strength=0.45, dx=0.6, dy=0.8))
        scene.add(sheet(_card(under, grid, rng, left, number), plate, hidden=outline))
    scene.add(
        shadow(outline, reach_mm=1.0, strength=0.4, dx=0.3, dy=0.4),
        sheet(_card(outline, grid, rng, left, 0), plate),
    )
    upper = _captions(name, rng)
    for each in PAGES[name]:
        scene.add(*_print(plate, each, left, top, rng))
        _corners(upper, each)
    scene.add(ink(drawn(upper, plate, dx=left, dy=top), pooling=0.08, strength=0.95))
    return scene.picture()


def _card(outline: Outline, grid: Grid, rng: np.random.Generator, gutter: float, depth: int) -> Surface:
    """Rough dark card, rubbed at its edges."""
    inward = np.maximum(grid.inside_mm(outline), 0)
    away = grid.x - gutter
    light = (
        1
        - 0.5 * np.exp(-np.abs(away) / 1.6)
        - 0.18 * np.exp(-np.abs(away) / 9)
        - 0.10 * np.exp(-(((away - 13) / 1.0) ** 2))
        - 0.05 * depth
    )
    light = light * (1 + 0.02 * grid.clouds(rng, roughness=2.2))
    rubbed = (
        0.10
        + 0.07 * grid.clouds(rng, roughness=1.5)
        + 0.6 * np.exp(-inward / 0.8) * (0.5 + 0.5 * grid.clouds(rng))
        + 0.25 * np.exp(-inward / 6)
    )
    return Surface(
        outline=outline,
        base=colour("#4a4b45"),
        stain=colour("#8d8672"),
        light=light.astype(np.float32),
        stained=rubbed.astype(np.float32),
        grains=(("fine", 0.055), ("fibre", 0.03), ("soft", 0.015)),
        shift=(int(rng.integers(1024)), int(rng.integers(1024))),
    )


def _print(plate: Plate, each: Print, left: float, top: float, rng: np.random.Generator) -> list[Layer]:
    """The print: its shadow on the card, its paper, its picture."""
    x, y = left + each.x, top + each.y
    paper = Outline(
        left=x,
        top=y,
        right=x + each.width,
        bottom=y + each.height,
        corner=0.4,
        wobble=0.05,
        phase=rng.uniform(0, 6),
    )
    grid = Grid.over(plate)
    base = TONES[each.tone][3]
    surface = Surface(
        outline=paper,
        base=colour(base),
        stain=colour("#b59a6a"),
        light=np.full(grid.shape, 0.98, np.float32),
        stained=(
            0.14 + 0.08 * grid.clouds(rng) + 0.25 * np.exp(-np.maximum(grid.inside_mm(paper), 0) / 1.5)
        ).astype(np.float32),
        grains=(("fine", 0.008),),
    )
    return [
        shadow(paper, reach_mm=0.9, strength=0.5, dx=0.35, dy=0.5),
        sheet(
            surface,
            plate,
            hidden=replace(
                paper,
                left=x + each.border,
                right=paper.right - each.border,
                top=y + each.border,
                bottom=paper.bottom - each.border,
            ),
        ),
        _image(plate, each, x, y),
    ]


def _corners(sketch: Sketch, each: Print) -> None:
    """Paper corners that hold a print."""
    size, right, bottom = 9.0, each.x + each.width, each.y + each.height
    for cx, cy, sx, sy in (
        (each.x, each.y, 1, 1),
        (right, each.y, -1, 1),
        (each.x, bottom, 1, -1),
        (right, bottom, -1, -1),
    ):
        triangle = pen.points(
            (cx - sx * 0.8, cy - sy * 0.8), (cx + sx * size, cy - sy * 0.8), (cx - sx * 0.8, cy + sy * size)
        )
        sketch.fill(pen.moved(triangle, 0.25, 0.35), "#1c1c19", opacity=0.35)
        sketch.shape(triangle, "#5c5b52", "#34342f", 0.15)


def _image(plate: Plate, each: Print, x: float, y: float) -> Layer:
    """The toned picture within its border."""
    inner = (each.width - 2 * each.border, each.height - 2 * each.border)
    half = photograph(each.name, *inner, plate.ppi / 2)
    stops = np.array([colour(stop) for stop in TONES[each.tone]], np.float32)
    x0, y0 = round((x + each.border) * plate.px_per_mm), round((y + each.border) * plate.px_per_mm)
    columns, rows = round(inner[0] * plate.px_per_mm), round(inner[1] * plate.px_per_mm)
    fine = np.linspace(0, 1, 1024)
    ramp = np.stack(
        [np.interp(fine, np.linspace(0, 1, len(stops)), stops[:, band]) for band in range(3)]
    ).astype(np.float32)

    def paint(strip: Strip, window: Window) -> None:
        first, last = max(window.top, y0), min(window.top + window.rows, y0 + rows)
        if first >= last:
            return
        lines, span = slice(first - window.top, last - window.top), slice(x0, x0 + columns)
        own = Window(first - y0, last - first, columns, window.px_per_mm)
        tone = doubled(half, own)
        tone = tone + 0.012 * grain("fine", window, columns=span)[lines]
        strip[:, lines, span] = ramp[:, np.clip(tone * 1023, 0, 1023).astype(np.intp)]

    return paint


def _captions(name: str, rng: np.random.Generator) -> Sketch:
    """What stands beneath, in white ink; the year at the head of the page."""
    sketch = Sketch()
    for each, caption in zip(PAGES[name], words.CAPTIONS[name], strict=True):
        x, y = each.x + each.width / 2 - reach(CAPTION, caption) / 2, each.y + each.height + 8.5
        data, after = current(CAPTION, caption, x, y, rng, thick=0.19)
        sketch.fill(data, "#f3efe2")
        sketch.line(
            pen.smooth(pen.points((x, y + 2.6), ((x + after) / 2, y + 3.1), (after, y + 2.4))),
            "#f3efe2",
            0.14,
            opacity=0.8,
        )
    data, _ = current(CAPTION, words.YEARS[name], 202, 14, rng, thick=0.19)
    sketch.fill(data, "#f3efe2")
    return sketch


def front(plate: Plate) -> Picture:
    """The cover: green cloth, a title in gold, a cord."""
    rng = generator("album", "cover")
    width, height = 242.0, 186.0
    outline = bindings.centred(plate, width, height, corner=2.0, wobble=0.1)
    place = {"dx": outline.left, "dy": outline.top}
    scene = Scene(plate, rng)
    scene.add(
        ground(colour("#8f8f8d"), grain_amount=0.010, falloff=0.06),
        shadow(outline, reach_mm=3, strength=0.6, dx=1.2, dy=1.6),
    )
    scene.add(bindings.board(plate, outline, bindings.CLOTH, rng, coarseness=0.05), _weave(outline))
    tool = Sketch()
    bindings.frame(tool, width, height, 9.0, 0.9)
    bindings.frame(tool, width, height, 12.0, 0.4)
    tool.line(pen.points((26, 3), (26, height - 3)), "#000000", 1.4)
    scene.add(relief(tool, plate, depth=1.1, soft_mm=0.25, **place))
    title, hand = (
        Sketch(),
        Hand(alphabet="gothic", x_height_mm=9.5, nib=0.2, angle_deg=40, width=1.12, gap=0.15),
    )
    for text, y in (("Views about", 76.0), ("Hollin Ferry", 108.0)):
        data, _ = written(hand, text, 134 - width_of(hand, text) / 2, y, rng)
        title.fill(data, "#000000")
    track = pen.smooth(pen.points((84, 129), (110, 135), (134, 129), (158, 135), (184, 129)), steps=10)
    title.fill(pen.ribbon(track, 0.3 + 0.9 * np.sin(np.linspace(0, np.pi, len(track)))), "#000000")
    scene.add(gold(title, plate, wear=0.9, **place))
    cord = Sketch()
    for y in (52.0, 134.0):
        hole = pen.circle(15, y, 2.4)
        cord.shape(hole, "#1b1b18", "#8d8672", 0.3)
    for dx in (0.0, 0.9):
        cord.line(
            pen.smooth(pen.points((15 + dx, 52), (13.6 + dx, 80), (15.4 + dx, 108), (15 + dx, 134))),
            "#6e2f28",
            1.5,
        )
    cord.line(pen.smooth(pen.points((15, 93), (6, 100), (9, 116), (4, 128))), "#6e2f28", 1.3)
    cord.line(pen.smooth(pen.points((15, 93), (22, 102), (19, 118), (23, 131))), "#6e2f28", 1.3)
    cord.lines(
        [pen.points((13.2 + 0.2 * (k % 2), 53 + k * 1.6), (16.6, 53.8 + k * 1.6)) for k in range(50)],
        "#3f1713",
        0.25,
        opacity=0.7,
    )
    scene.add(ink(drawn(cord, plate, **place), pooling=0.1))
    return scene.picture()


def _weave(outline: Outline) -> Layer:
    """Book cloth: threads over and under."""

    def paint(strip: Strip, window: Window) -> None:
        columns = window.columns(outline.left + 0.3, outline.right - 0.3)
        if window.y_mm[0, 0] < outline.top or window.y_mm[-1, 0] > outline.bottom:
            return
        x, y = window.x_mm[columns], window.y_mm
        threads = np.sin(x * (2 * np.pi / 0.52)) * np.sin(y * (2 * np.pi / 0.52))
        strip[:, :, columns] *= (1 + 0.07 * threads).astype(np.float32)

    return paint
