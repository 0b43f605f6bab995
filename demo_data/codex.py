"""The small Latin codex as it lay under the camera: board, leaves, the facing page beyond the gutter."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from demo_data import bindings, pen
from demo_data.codex_garden import FOLD_MM, SHEET_MM, garden
from demo_data.codex_pages import PAGE_MM, PENCIL, content
from demo_data.colour import colour
from demo_data.hands import Hand, current, width_of, written
from demo_data.ink import blurred, coarse, drawn, gold, ink, relief
from demo_data.materials import Grid, Surface, sheet
from demo_data.pen import Sketch
from demo_data.picture import Picture
from demo_data.plate import Plate
from demo_data.scene import Layer, Outline, Scene, Strip, cover, ground, shadow
from demo_data.textures import Samples, Window, generator, grain

VELLUM, FLESH, STAIN = colour("#ecdcb8"), colour("#ecdfc3"), colour("#b3874c")
DARK = colour("#1b1b1d")
LEATHER, LEATHER_DARK = colour("#6b3f26"), colour("#2c170d")


# ------------------------------------------------------------------------------------------ the book

GUTTER = 8.6
"""From the plate's edge to the gutter."""


def other_side(name: str) -> str:
    """The page on the other side of the leaf."""
    return name[:-1] + ("v" if name.endswith("r") else "r")


def page(plate: Plate, name: str) -> Picture:
    """A page as it lay under the camera: ``1r`` to ``5r``."""
    rng = generator("codex", "scene", name)
    is_recto = name.endswith("r")
    top = (plate.height_mm - PAGE_MM[1]) / 2
    gutter = GUTTER if is_recto else plate.width_mm - GUTTER
    left = gutter if is_recto else gutter - PAGE_MM[0]
    outline = Outline(
        left=left,
        top=top,
        right=left + PAGE_MM[0],
        bottom=top + PAGE_MM[1],
        corner=1.2,
        wobble=0.16,
        phase=rng.uniform(0, 6),
    )
    scene, own = Scene(plate, rng), content(name)
    scene.add(ground(DARK, grain_amount=0.006))
    scene.add(*book_under(plate, outline, gutter, is_recto, rng, reach=5.2 if name < "5" else 2.6))
    scene.add(vellum(plate, outline, gutter, name, rng))
    if own.has_gold:
        scene.add(gold(own.leaf, plate, dx=left, dy=top))
    scene.add(ink(drawn(own.ink, plate, dx=left, dy=top), dx=int(rng.integers(1024))))
    return scene.picture()


def book_under(
    plate: Plate, outline: Outline, gutter: float, is_recto: bool, rng: np.random.Generator, *, reach: float
) -> list[Layer]:
    """The board, the edges of the leaves beneath, the margin of the facing page."""
    grid = Grid.over(plate)
    out = reach + 2.6
    board = Outline(
        left=outline.left - (12 if is_recto else out),
        top=outline.top - 2.6,
        right=outline.right + (out if is_recto else 12),
        bottom=outline.bottom + 2.6,
        corner=1.6,
        wobble=0.12,
    )
    leather = Surface(
        outline=board,
        base=LEATHER,
        stain=LEATHER_DARK,
        light=0.8 + 0.08 * grid.clouds(rng),
        stained=0.4
        + 0.35 * grid.clouds(rng, roughness=1.2)
        - 0.5 * np.exp(-np.maximum(grid.inside_mm(board), 0) / 0.7),
        grains=(("fine", 0.10), ("soft", 0.06)),
    )
    facing = Outline(
        left=-20 if is_recto else gutter - 0.3,
        top=outline.top - 0.3,
        right=gutter + 0.3 if is_recto else plate.width_mm + 20,
        bottom=outline.bottom + 0.4,
        corner=0.2,
    )
    distance = np.abs(grid.x - gutter) + 0 * grid.y
    margin = Surface(
        outline=facing,
        base=VELLUM,
        stain=STAIN,
        light=(1.0 - 0.62 * np.exp(-distance / 1.2) - 0.26 * np.exp(-distance / 5)).astype(np.float32),
        stained=0.24 + 0.10 * grid.clouds(rng),
        grains=(("fine", 0.02),),
    )
    under = replace(outline, left=-30) if is_recto else replace(outline, right=plate.width_mm + 30)
    return [
        shadow(board, reach_mm=2.5, strength=0.75, dx=0.7, dy=1.1),
        sheet(leather, plate, hidden=under),
        edges(plate, outline, is_recto, reach, rng),
        sheet(margin, plate),
    ]


def edges(plate: Plate, outline: Outline, is_recto: bool, reach: float, rng: np.random.Generator) -> Layer:
    """The fore-edges of the leaves below, stepping outwards."""
    count = 9
    steps = np.sort(rng.uniform(0.25, reach, count)).astype(np.float32)
    tones = rng.uniform(0.66, 0.95, count + 1).astype(np.float32)
    tint = colour("#e0c698")
    ends = rng.uniform(-0.5, 1.3, count + 1).astype(np.float32)

    def paint(strip: Strip, window: Window) -> None:
        x, y = window.x_mm, window.y_mm
        rim = outline.right if is_recto else outline.left
        low, high = (rim - 1.5, rim + reach + 0.5) if is_recto else (rim - reach - 0.5, rim + 1.5)
        columns = slice(int(max(0, low * window.px_per_mm)), int(min(window.width, high * window.px_per_mm)))
        outward = (x[columns] - rim) * (1 if is_recto else -1) + 0 * y
        outward = outward + 0.22 * np.sin(y / 17 + 2) + 0.10 * np.sin(y / 5.3)
        index = np.searchsorted(steps, outward.ravel()).reshape(outward.shape)
        since = outward - np.concatenate([[-9.0], steps])[index].astype(np.float32)
        until = np.concatenate([steps, [99.0]])[index].astype(np.float32) - outward
        tone = (
            tones[index]
            * (0.55 + 0.45 * np.clip(since / 0.28, 0, 1))
            * (0.8 + 0.2 * np.clip(until / 0.12, 0, 1))
        )
        tone += 0.03 * grain("fine", window, columns=columns)
        end = ends[index]
        inside = np.minimum(y - outline.top - end * 0.6, outline.bottom + end * 0.7 - y)
        inside = np.minimum(inside, reach - outward)
        share = np.clip(inside * window.px_per_mm + 0.5, 0, 1)
        cover(strip[:, :, columns], np.stack([tone * part for part in tint]).astype(np.float32), share)

    return paint


def vellum(plate: Plate, outline: Outline, gutter: float, name: str, rng: np.random.Generator) -> Layer:
    """A leaf: flesh side or hair side, cockled, thumbed at the lower corner, with what shines through."""
    grid, is_recto = Grid.over(plate), name.endswith("r")
    is_hair = name in ("1r", "2v", "3r", "4v", "5r")
    distance = np.abs(grid.x - gutter)
    inward = np.maximum(grid.inside_mm(outline), 0)
    ripple = grid.clouds(rng, roughness=2.4, stretch=0.45)
    light = (
        1
        - 0.70 * np.exp(-distance / 1.1)
        - 0.20 * np.exp(-distance / 9)
        + 0.022 * np.cos((distance - 34) / 26)
    )
    light = light * (1 + 0.016 * ripple) * (1 - 0.10 * np.exp(-inward / 0.5)) - _show_through(
        plate, grid, name, outline
    )
    corner = (outline.right if is_recto else outline.left, outline.bottom)
    stained = 0.06 * grid.clouds(rng, roughness=1.3) + 0.55 * np.exp(-inward / 2.6) * (
        0.6 + 0.3 * grid.clouds(rng)
    )
    stained = (
        stained
        + (0.16 if is_hair else 0.04)
        + 0.55 * grid.spot(*corner, 17)
        + 0.12 * grid.clouds(rng, roughness=2.2)
    )
    stained = stained + _spots(grid, rng, outline, rings=name in ("4v", "1r"))
    surface = Surface(
        outline=outline,
        base=VELLUM if is_hair else FLESH,
        stain=STAIN,
        light=light.astype(np.float32),
        stained=stained.astype(np.float32),
        grains=(("fine", 0.016), ("soft", 0.012), ("pores", -0.07 if is_hair else -0.02)),
        shift=(int(rng.integers(1024)), int(rng.integers(1024))),
    )
    return sheet(surface, plate)


def _spots(grid: Grid, rng: np.random.Generator, outline: Outline, *, rings: bool) -> Samples:
    """Damp and drops."""
    total = np.zeros(grid.shape, np.float32)
    for _ in range(5):
        x, y = rng.uniform(outline.left, outline.right), rng.uniform(outline.top, outline.bottom)
        total += 0.3 * grid.spot(x, y, rng.uniform(0.4, 1.2))
    if rings:
        x, y = rng.uniform(outline.left + 20, outline.right - 20), outline.bottom - rng.uniform(8, 30)
        radius = np.hypot(grid.x - x, (grid.y - y) * 1.15) + 1.2 * grid.clouds(rng, roughness=1.9)
        total += 0.34 * np.exp(-(((radius - 17) / 0.9) ** 2)) + 0.13 * (radius < 17)
    return total


def _show_through(plate: Plate, grid: Grid, name: str, outline: Outline) -> Samples:
    """The other side's writing, mirrored, as a faint darkening."""
    if other_side(name) == "5v":
        return np.zeros(grid.shape, np.float32)
    small = coarse(plate, plate.px_per_mm * 0.2)
    middle = (outline.left + outline.right) / 2
    left = outline.left
    pixels = drawn(content(other_side(name)).ink, small, dx=left, dy=outline.top, mirror_at=middle)
    dark = pixels[..., 3] / 255 * (1 - pixels[..., :3].mean(axis=2) / 255)
    rows = np.linspace(0, len(dark) - 1, grid.shape[0]).round().astype(int)
    columns = np.linspace(0, dark.shape[1] - 1, grid.shape[1]).round().astype(int)
    return np.asarray(0.085 * blurred(dark.astype(np.float32), 1.3)[rows][:, columns], np.float32)


def foldout(plate: Plate) -> Picture:
    """The last leaf, unfolded."""
    rng = generator("codex", "scene", "foldout")
    top, left = (plate.height_mm - SHEET_MM[1]) / 2, GUTTER
    outline = Outline(
        left=left,
        top=top,
        right=left + SHEET_MM[0],
        bottom=top + SHEET_MM[1],
        corner=0.8,
        wobble=0.5,
        phase=1.4,
    )
    book = Outline(
        left=left,
        top=(plate.height_mm - PAGE_MM[1]) / 2,
        right=left + PAGE_MM[0],
        bottom=(plate.height_mm + PAGE_MM[1]) / 2,
    )
    grid, scene = Grid.over(plate), Scene(plate, rng)
    scene.add(ground(DARK, grain_amount=0.006))
    scene.add(*book_under(plate, book, GUTTER, True, rng, reach=2.6))
    scene.add(shadow(outline, reach_mm=2.2, strength=0.6, dx=0.8, dy=1.0))
    distance, inward = np.abs(grid.x - GUTTER), np.maximum(grid.inside_mm(outline), 0)
    fold = grid.x - left - FOLD_MM + 0.25 * np.sin(grid.y / 11)
    slope = np.where(fold > 0, -1.0, 1.0) * np.exp(-np.abs(fold) / 5)
    light = 1 - 0.70 * np.exp(-distance / 1.1) - 0.2 * np.exp(-distance / 9) + 0.045 * slope
    light = light * (1 - 0.25 * np.exp(-((fold / 0.45) ** 2))) * (1 + 0.018 * grid.clouds(rng, roughness=2.3))
    stained = (
        0.10
        + 0.07 * grid.clouds(rng, roughness=1.3)
        + 0.5 * np.exp(-inward / 2.4)
        + 0.3 * np.exp(-np.abs(fold) / 0.9)
    )
    stained = (
        stained + 0.5 * grid.spot(outline.right, outline.bottom, 14) + _spots(grid, rng, outline, rings=True)
    )
    surface = Surface(
        outline=outline,
        base=FLESH,
        stain=STAIN,
        light=light.astype(np.float32),
        stained=stained.astype(np.float32),
        grains=(("fine", 0.016), ("soft", 0.012), ("pores", -0.02)),
    )
    scene.add(sheet(surface, plate))
    plan = garden(rng)
    scene.add(gold(plan.leaf, plate, dx=left, dy=top), ink(drawn(plan.ink, plate, dx=left, dy=top)))
    return scene.picture()


# ------------------------------------------------------------------------------------------ the binding

BOARD_MM = (116.0, 157.0)


def cover_of(plate: Plate, side: str) -> Picture:
    """A board from outside: ``front`` or ``back``."""
    rng = generator("codex", "cover", side)
    outline = bindings.centred(plate, *BOARD_MM, corner=2.0)
    scene, place = bindings.bound(plate, outline, bindings.CALF, rng), {"dx": outline.left, "dy": outline.top}
    scene.add(relief(bindings.blind_tooling(*BOARD_MM), plate, depth=1.1, **place))
    if side == "front":
        scene.add(ink(drawn(bindings.fitting_shadows(*BOARD_MM), plate, **place)))
        scene.add(bindings.brass(bindings.fittings(*BOARD_MM, clasps_right=True), plate, **place))
    else:
        scene.add(relief(_scars(rng), plate, depth=0.8, soft_mm=0.25, **place))
    return scene.picture()


def _scars(rng: np.random.Generator) -> Sketch:
    """Scratches, worm holes and the holes of lost bosses."""
    marks = Sketch()
    for _ in range(14):
        x, y = rng.uniform(10, 106), rng.uniform(10, 147)
        marks.line(
            pen.smooth(
                pen.points(
                    (x, y),
                    (x + rng.normal(0, 4), y + rng.normal(0, 6)),
                    (x + rng.normal(0, 9), y + rng.normal(0, 12)),
                )
            ),
            "#000000",
            0.25,
        )
    for _ in range(9):
        x, y = rng.uniform(8, 108), rng.uniform(90, 150)
        marks.fill(pen.circle(x, y, rng.uniform(0.4, 0.7), corners=14), "#000000")
    for x, y in ((9.8, 9.8), (106.2, 9.8), (9.8, 147.2), (106.2, 147.2)):
        marks.fill(pen.circle(x, y, 1.0, corners=16), "#000000")
    return marks


def pastedown(plate: Plate) -> Picture:
    """The inside of the front board: turned-in leather, the paper on it, a bookplate."""
    rng = generator("codex", "pastedown")
    gutter = plate.width_mm - GUTTER
    top = (plate.height_mm - BOARD_MM[1]) / 2
    outline = Outline(
        left=gutter - BOARD_MM[0] + 1,
        top=top,
        right=gutter,
        bottom=top + BOARD_MM[1],
        corner=1.6,
        wobble=0.12,
    )
    grid, scene = Grid.over(plate), Scene(plate, rng)
    scene.add(ground(DARK, grain_amount=0.006), shadow(outline, reach_mm=3, strength=0.75, dx=1.0, dy=1.4))
    scene.add(bindings.board(plate, replace(outline, right=plate.width_mm + 9), bindings.CALF, rng))
    paper = Outline(
        left=outline.left + 9,
        top=top + 8,
        right=gutter,
        bottom=outline.bottom - 8,
        corner=0.4,
        wobble=0.2,
        phase=2.2,
    )
    distance, inward = np.abs(grid.x - gutter), np.maximum(grid.inside_mm(paper), 0)
    light = (
        0.98
        - 0.5 * np.exp(-distance / 1.4)
        - 0.14 * np.exp(-distance / 7)
        + 0.012 * grid.clouds(rng, roughness=2.2)
    )
    light = light + 0.035 * np.sin(grid.y / 4.3) * np.exp(-np.abs(grid.x - paper.left - 6) / 5)
    stained = (
        0.14
        + 0.10 * grid.clouds(rng, roughness=1.7)
        + 0.5 * np.exp(-inward / 5) * (0.7 + 0.4 * grid.clouds(rng))
    )
    surface = Surface(
        outline=paper,
        base=colour("#e9dec3"),
        stain=colour("#8d6a3c"),
        light=light.astype(np.float32),
        stained=stained.astype(np.float32),
        grains=(("fine", 0.022), ("soft", 0.015), ("fibre", 0.010)),
    )
    scene.add(sheet(surface, plate))
    facing = Outline(
        left=gutter - 0.3, top=top + 2.5, right=plate.width_mm + 20, bottom=outline.bottom - 2.5, corner=0.2
    )
    margin = Surface(
        outline=facing,
        base=VELLUM,
        stain=STAIN,
        light=(1 - 0.66 * np.exp(-distance / 1.3) - 0.2 * np.exp(-distance / 5) + 0 * grid.y).astype(
            np.float32
        ),
        stained=0.2 + 0.1 * grid.clouds(rng),
        grains=(("fine", 0.02),),
    )
    scene.add(sheet(margin, plate))
    _add_bookplate(scene, plate, paper, rng)
    return scene.picture()


def _add_bookplate(scene: Scene, plate: Plate, paper: Outline, rng: np.random.Generator) -> None:
    left, top, width, height = paper.left + 24, paper.top + 34, 52.0, 66.0
    label = Outline(left=left, top=top, right=left + width, bottom=top + height, corner=0.5, wobble=0.06)
    grid = Grid.over(plate)
    scene.add(shadow(label, reach_mm=0.6, strength=0.35, dx=0.15, dy=0.2))
    scene.add(
        sheet(
            Surface(
                outline=label,
                base=colour("#efe6cf"),
                stain=STAIN,
                light=(1 + 0.006 * grid.clouds(rng)).astype(np.float32),
                stained=(0.14 + 0.08 * grid.clouds(rng)).astype(np.float32),
                grains=(("fine", 0.016),),
            ),
            plate,
        )
    )
    print_, tint = Sketch(), "#2b2622"
    for inset, line in ((2.2, 0.45), (3.3, 0.18)):
        print_.line(pen.polygon(pen.rectangle(inset, inset, width - inset, height - inset)), tint, line)
    print_.line(pen.polygon(pen.circle(26, 27, 19.5, corners=80)), tint, 0.4)
    print_.lines(
        [
            pen.points((26 - half, y), (26 + half, y))
            for y in np.arange(10.0, 27, 0.75)
            if (half := math.sqrt(max(0.0, 19.3**2 - (y - 27) ** 2))) > 1
        ],
        tint,
        0.12,
    )
    print_.fill(pen.circle(26, 20, 9.2, corners=40), "#efe6cf")
    _engraved_tree(print_, 26, 38, tint, rng)
    hand = Hand(alphabet="gothic", x_height_mm=2.5, nib=0.2, angle_deg=40, width=1.1, gap=0.14)
    for text, y in (("Aldermoor", 53.5), ("Library", 60.5)):
        data, _ = written(hand, text, 26 - width_of(hand, text) / 2, y, rng)
        print_.fill(data, tint)
    for text, x, y in (("MS 7", 22.0, -14.0), ("5 leaves", 22.0, -7.0)):
        data, _ = current(PENCIL, text, x, y, rng, thick=0.16)
        print_.fill(data, "#5f5a52", opacity=0.85)
    scene.add(ink(drawn(print_, plate, dx=left, dy=top), pooling=0.12))


def _engraved_tree(sketch: Sketch, x: float, y: float, tint: str, rng: np.random.Generator) -> None:
    """An alder on a mound, in an engraver's lines."""
    for side in (-1, 0, 1):
        track = pen.smooth(
            pen.points(
                (x + side * 0.9, y), (x + side * 0.5, y - 7), (x + side * 3.5, y - 14), (x + side * 6, y - 19)
            )
        )
        sketch.fill(pen.ribbon(track, np.linspace(1.3, 0.25, len(track))), tint)
    for _ in range(130):
        angle, reach = rng.uniform(0, 2 * math.pi), math.sqrt(rng.uniform(0, 1))
        px, py = x + 10.5 * reach * math.cos(angle), y - 19 + 8.0 * reach * math.sin(angle)
        tip = np.array([px + rng.normal(0, 1.2), py - rng.uniform(0.6, 1.6)])
        sketch.shape(
            pen.leaf(np.array([px, py]), tip, 0.9, knots=6),
            "#efe6cf" if angle > 2.4 else "#8a8176",
            tint,
            0.16,
        )
    mound = [pen.points((x - 15 + k * 0.8, y + k * 0.7), (x + 15 - k * 0.8, y + k * 0.7)) for k in range(6)]
    sketch.lines(mound, tint, 0.2)


def back(plate: Plate) -> Picture:
    """The spine."""
    rng = generator("codex", "spine")
    outline = bindings.centred(plate, 27.0, 157.0, corner=2.4, wobble=0.25)
    label = Sketch()
    label.shape(pen.rectangle(5.5, 132, 21.5, 147), "#e6dbc0", "#8d6a3c", 0.25)
    hand = Hand(alphabet="current", x_height_mm=2.5, nib=0.13, angle_deg=20, slant=0.15)
    for text, y in (("MS", 138.0), ("7", 144.5)):
        data, _ = written(hand, text, 13.5 - width_of(hand, text) / 2, y, rng)
        label.fill(data, "#2a211a")
    return bindings.spine(plate, outline, bindings.CALF, rng, (24.0, 60.0, 96.0, 127.0), label)


def fore_edge(plate: Plate) -> Picture:
    """The fore-edge: leaves that were never trimmed, between the boards."""
    rng = generator("codex", "fore-edge")
    outline = bindings.centred(plate, 26.0, 157.0, corner=1.2)
    scene = Scene(plate, rng)
    scene.add(ground(DARK, grain_amount=0.006), shadow(outline, reach_mm=2.5, strength=0.8, dx=1.0, dy=1.2))
    scene.add(bindings.board(plate, outline, bindings.CALF, rng))
    block = Outline(
        left=outline.left + 4.2, top=outline.top + 2.6, right=outline.right - 4.2, bottom=outline.bottom - 2.6
    )
    scene.add(bindings.fore_edge(plate, block, rng, colour("#e2c692"), uncut=True))
    straps = Sketch()
    for y in (157 * 0.27, 157 * 0.73):
        strap = pen.rectangle(0.2, y - 3.4, 25.8, y + 3.4)
        straps.fill(pen.moved(strap, 0.5, 0.7), "#050302", opacity=0.4)
        straps.shape(strap, "#4d2a17", "#1d0f08", 0.3)
        for dy in (-2.4, 2.4):
            straps.line(pen.points((1, y + dy), (25, y + dy)), "#c9a878", 0.16, dash="0.7 0.5")
    scene.add(ink(drawn(straps, plate, dx=outline.left, dy=outline.top)))
    catches = Sketch()
    for y in (157 * 0.27, 157 * 0.73):
        catches.fill(pen.rectangle(19.5, y - 3.8, 26.4, y + 3.8), "#000000")
    scene.add(bindings.brass(catches, plate, dx=outline.left, dy=outline.top))
    return scene.picture()
