"""The papyrus fragment under glass: fibres, fading ink, three lights that lie pixel on pixel.

What faded in normal light is carbon ink still, and dark in infrared. Raking light shows the fibres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from demo_data import pen, words
from demo_data.colour import colour
from demo_data.hands import Hand, current, written
from demo_data.ink import blurred, drawn, ink, opacity, under
from demo_data.materials import Grid, Surface, sheet
from demo_data.pen import Points, Sketch
from demo_data.picture import Picture
from demo_data.plate import Plate
from demo_data.scales import scale_bar
from demo_data.scene import Layer, Outline, Scene, Strip, cover, ground, shadow
from demo_data.textures import Field, Samples, Window, generator, grain

GLASS_MM = (158.0, 112.0)
"""Width and height of the panes."""
TAPE_MM = 4.5
SHAPE_PX_PER_MM = 5.0
GREEK = Hand(
    alphabet="greek", x_height_mm=3.5, nib=0.15, angle_deg=25, gap=0.2, unsteady=0.025, width=1.12, space=0.14
)
LABEL = Hand(alphabet="current", x_height_mm=1.5, nib=0.09, angle_deg=0, slant=0.3, gap=0.12, unsteady=0.02)


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How one light shows the fragment."""

    board: str
    pale: str
    dark: str
    ink: str
    fibres: float
    relief: float
    """Strength of the shading by a low light; 0 for flat light."""
    faded: float
    """How much of the faded ink is seen, 0 to 1."""
    stains: float


LOOKS = {
    "normal": Look(
        board="#b9b9b6",
        pale="#cfa566",
        dark="#8a5f2c",
        ink="#2a1c12",
        fibres=0.055,
        relief=0.0,
        faded=0.0,
        stains=1.0,
    ),
    "raking": Look(
        board="#6f706f",
        pale="#c89c5c",
        dark="#7d5426",
        ink="#281a11",
        fibres=0.03,
        relief=1.0,
        faded=0.0,
        stains=0.8,
    ),
    "infrared": Look(
        board="#a8a8a8",
        pale="#d4d4d4",
        dark="#a9a9a9",
        ink="#161616",
        fibres=0.03,
        relief=0.0,
        faded=0.92,
        stains=0.25,
    ),
}


def outline() -> Points:
    """The torn outline of the recto, in millimetres from the fragment's upper left corner: 132 by 88."""
    rng = generator("papyrus", "outline")
    rough = [
        (2, 6),
        (20, 2),
        (48, 4),
        (75, 1),
        (101, 3),
        (118, 2),
        (121, 14),
        (130, 22),
        (126, 36),
        (131, 48),
        (120, 56),
        (123, 70),
        (110, 74),
        (104, 86),
        (88, 82),
        (70, 87),
        (52, 83),
        (47, 72),
        (30, 75),
        (24, 84),
        (8, 80),
        (4, 62),
        (10, 50),
        (3, 38),
        (6, 20),
    ]
    shape = np.array(rough, dtype=np.float64)
    for amount in (2.6, 1.4, 0.8, 0.4):
        middle = (shape + np.roll(shape, -1, axis=0)) / 2 + rng.normal(0, amount, shape.shape)
        shape = np.stack([shape, middle], axis=1).reshape(-1, 2)
    return shape


def holes() -> list[Points]:
    """Worm holes and losses within it."""
    rng = generator("papyrus", "holes")
    found = []
    for x, y, size in (
        (38, 30, 3.4),
        (39.5, 36, 1.8),
        (88, 52, 4.4),
        (92, 20, 1.6),
        (64, 66, 2.6),
        (20, 58, 1.4),
    ):
        rim = pen.circle(x, y, size, corners=26)
        found.append(rim + rng.normal(0, size * 0.14, rim.shape))
    return found


def _inside(plate: Plate, left: float, top: float, *, is_verso: bool) -> Samples:
    """Distance inside the fragment in millimetres, roughly, on a grid of five points to the millimetre."""
    small = Plate(width_mm=plate.width_mm, height_mm=plate.height_mm, ppi=SHAPE_PX_PER_MM * 25.4)
    body, gaps = Sketch(), Sketch()
    body.fill(outline(), "#000000")
    gaps.fill(holes(), "#000000")
    mask = opacity(body, small, dx=left, dy=top).astype(np.float32) - opacity(gaps, small, dx=left, dy=top)
    if is_verso:
        mask = mask[:, ::-1]
    soft = blurred(np.clip(mask, 0, 255) / 255, 0.5 * SHAPE_PX_PER_MM)
    return (soft - 0.5) * (0.5 * math.sqrt(2 * math.pi))


def text(side: str) -> Sketch:
    """The writing: along the fibres on the recto, an account across them on the verso."""
    sketch, rng = Sketch(), generator("papyrus", "text", side)
    lines, sums = words.PAPYRUS[side], words.PAPYRUS["sums"]
    for number, line in enumerate(lines):
        x = 11.0 + rng.normal(0, 0.6) + (14 if side == "verso" else 0)
        data, _ = written(GREEK, line, x, 13.5 + 8.3 * number + rng.normal(0, 0.2), rng)
        sketch.fill(data, "#000000")
    if side == "verso":
        for number in range(1, len(lines)):
            y = 13.5 + 8.3 * number
            data, _ = written(GREEK, sums[number % len(sums)], 98, y, rng)
            sketch.fill(data, "#000000")
            sketch.line(pen.points((92, y - 1.5), (96, y - 1.6)), "#000000", 0.4)
    return sketch


def frame(plate: Plate, side: str, light: str) -> Picture:
    """``recto`` or ``verso`` in ``normal``, ``raking`` or ``infrared`` light; infrared is grey."""
    look, rng = LOOKS[light], generator("papyrus", "frame", side, light)
    glass = Outline(
        left=(plate.width_mm - GLASS_MM[0]) / 2,
        top=5.0,
        right=(plate.width_mm + GLASS_MM[0]) / 2,
        bottom=5.0 + GLASS_MM[1],
        corner=0.6,
        wobble=0.04,
    )
    left = (plate.width_mm - 132) / 2
    top = glass.top + (GLASS_MM[1] - 88) / 2
    scene = Scene(plate, rng)
    scene.add(ground(colour(look.board), grain_amount=0.010, falloff=0.06))
    scene.add(shadow(glass, reach_mm=2.0, strength=0.45, dx=0.8, dy=1.0))
    scene.add(*_pane(plate, glass, look))
    scene.add(_fragment(plate, look, side, light, left, top))
    scene.add(_reflection(glass, light))
    bar = _label(glass, look, side)
    scale_bar(bar, (plate.width_mm - 100) / 2, glass.bottom + 3.2)
    scene.add(ink(drawn(bar, plate), pooling=0.02))
    return scene.picture(is_grey=light == "infrared")


def _pane(plate: Plate, glass: Outline, look: Look) -> list[Layer]:
    """Two panes bound with black tape, a card beneath."""
    grid = Grid.over(plate)
    inward = np.maximum(grid.inside_mm(glass), 0)
    tape = Surface(
        outline=glass,
        base=colour("#25252a"),
        stain=colour("#0f0f10"),
        light=(1 + 0.5 * np.exp(-inward / 0.25)).astype(np.float32),
        stained=0.3 + 0.1 * inward,
        grains=(("fine", 0.05),),
    )
    inner = Outline(
        left=glass.left + TAPE_MM,
        top=glass.top + TAPE_MM,
        right=glass.right - TAPE_MM,
        bottom=glass.bottom - TAPE_MM,
        corner=0.3,
        wobble=0.05,
    )
    card = Surface(
        outline=inner,
        base=colour(look.board),
        stain=colour("#3a3a38"),
        light=(0.99 + 0 * inward).astype(np.float32),
        stained=0.30 * np.exp(-np.maximum(grid.inside_mm(inner), 0) / 0.8),
        grains=(("fine", 0.008),),
    )
    return [sheet(tape, plate, hidden=inner), sheet(card, plate)]


def _label(glass: Outline, look: Look, side: str) -> Sketch:
    """A paper label behind the glass, at its lower left corner."""
    label, rng, is_grey = Sketch(), generator("papyrus", "label", side), look.stains < 0.5
    left, bottom = glass.left + TAPE_MM + 2.5, glass.bottom - TAPE_MM - 2.5
    paper, rim, tint = ("#dcdcdc", "#8a8a8a", "#6a6a6a") if is_grey else ("#e6e0cf", "#8a857a", "#2b2926")
    label.shape(pen.rectangle(left, bottom - 8.0, left + 31.5, bottom), paper, rim, 0.2)
    data, _ = current(LABEL, f"P. Ald. 3 {side}", left + 2.0, bottom - 2.8, rng, thick=0.17)
    label.fill(data, tint)
    return label


def _fragment(plate: Plate, look: Look, side: str, light: str, left: float, top: float) -> Layer:
    """Papyrus: two layers of fibres, the writing, the shadow on the card."""
    is_verso, rng, grid = side == "verso", generator("papyrus", "sheet", side), Grid.over(plate)
    inside = Field(_inside(plate, left, top, is_verso=is_verso))
    letters = opacity(text(side), plate, dx=left, dy=top)
    along = 9.0 if not is_verso else 1 / 9.0
    bands = grid.clouds(rng, roughness=1.1, stretch=along) + 0.4 * grid.clouds(
        rng, roughness=1.2, stretch=1 / along
    )
    wear = grid.clouds(rng, roughness=1.7)
    cockle = grid.clouds(rng, roughness=2.6)
    stained = Field(np.clip(0.30 + look.stains * (0.13 * bands + 0.12 * wear), 0, 1))
    faint = 1 / (
        1
        + np.exp(
            -(
                wear * 1.5
                + 0.55
                - 2.4 * grid.spot(left + 88, top + 34, 17)
                - 2.0 * grid.spot(left + 40, top + 56, 14)
            )
            * 2.2
        )
    )
    seen = Field((faint + (1 - faint) * look.faded).astype(np.float32))
    gradient = np.gradient(cockle)
    slope = Field(((-gradient[1] - 0.5 * gradient[0]) * 1.2).astype(np.float32))
    pale, dark, tint = colour(look.pale), colour(look.dark), colour(look.ink)
    tile_kind, cross_kind = ("upright", "fibre") if is_verso else ("fibre", "upright")
    throw = round((3.0 if light == "raking" else 0.7) * plate.px_per_mm)

    def paint(strip: Strip, window: Window) -> None:
        columns = window.columns(left - 4, left + 138)
        paint_columns(strip[:, :, columns], window, columns)

    def paint_columns(strip: Strip, window: Window, columns: slice) -> None:
        depth = inside.rows(window, plate.height_px, columns)
        rough = grain(tile_kind, window, columns=columns, dx=31, dy=7)
        share = np.clip((depth + 0.10 * rough) * window.px_per_mm * 0.9 + 0.5, 0, 1)
        if not share.any():
            return
        cast = np.clip(np.roll(depth, throw, axis=1) * 1.6 + 0.7, 0, 1)
        strip *= 1 - (0.62 if light == "raking" else 0.45) * cast
        cross = grain(cross_kind, window, columns=columns, dx=411, dy=99)
        tone = (
            1
            + look.fibres * rough
            + 0.45 * look.fibres * cross
            + 0.02 * grain("fine", window, columns=columns)
        )
        if look.relief:
            low = (
                1.8 * rough
                - grain(tile_kind, window, columns=columns, dx=29, dy=7)
                - 0.8 * grain(tile_kind, window, columns=columns, dx=31, dy=6)
            )
            low += 0.5 * (cross - grain(cross_kind, window, columns=columns, dx=409, dy=99))
            edge = np.clip(depth, 0, 0.9)
            tone += (
                look.relief * (0.10 * low + 0.55 * slope.rows(window, plate.height_px, columns))
                + 0.30 * (np.roll(edge, -6, axis=1) - edge) * look.relief
                - 0.10
            )
        turned = stained.rows(window, plate.height_px, columns)
        strands = np.clip(1.0 - 0.55 * np.clip(rough - 0.9, 0, 1), 0, 1)
        written_ = (
            under(letters, window)[:, columns].astype(np.float32)
            * (0.93 / 255)
            * strands
            * seen.rows(window, plate.height_px, columns)
        )
        planes = np.empty_like(strip)
        for band in range(3):
            base = (pale[band] + turned * (dark[band] - pale[band])) * tone
            planes[band] = base + written_ * (tint[band] * np.minimum(tone, 1.2) - base)
        cover(strip, planes, share)

    return paint


def _reflection(glass: Outline, light: str) -> Layer:
    """A hint of the lamps in the glass."""
    strength = {"normal": 0.018, "raking": 0.035, "infrared": 0.010}[light]

    def paint(strip: Strip, window: Window) -> None:
        columns = window.columns(glass.left, glass.right)
        if not glass.top < window.top / window.px_per_mm < glass.bottom:
            return
        x, y = window.x_mm[columns], window.y_mm
        sheen = np.exp(-(((x + 0.55 * y - 92) / 9) ** 2)) + 0.6 * np.exp(-(((x + 0.55 * y - 116) / 4) ** 2))
        strip[:, :, columns] += strength * sheen

    return paint
