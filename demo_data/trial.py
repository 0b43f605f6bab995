"""The trial of a contractor: a receipt book of a few leaves, drawn simply, with faults that are known.

What is wrong with which page is in `demo_data.truth`. Pages lie one by one on black, a card behind them, and
are seen through a plane (skew, keystone), a lens (a Gaussian in linear light), a light and an exposure.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from demo_data import pen, truth, words
from demo_data.colour import colour
from demo_data.hands import Hand, current, reach
from demo_data.ink import blurred, coarse, drawn, halved, ink, opacity, under
from demo_data.materials import Grid
from demo_data.pen import Points, Sketch
from demo_data.picture import Codes, Picture
from demo_data.plate import Plate
from demo_data.scene import SENSOR_NOISE, Layer, Strip, cover, ground, shade
from demo_data.targets import Light
from demo_data.textures import Field, Samples, Window, add_grain, doubled, generator, grain
from demo_data.truth import Fault, SessionTruth
from pipeline.icc import WIDE_RGB

PAGE_MM = (78.0, 106.0)
FRAME_MM = (96.0, 124.0)
MARGIN, TOP, LINE_MM = 9.0, 15.0, 7.4
PAPER, STAIN, TABLE = colour("#e6d9bd"), colour("#a98450"), colour("#1c1c1e")
INK, RED = "#40291a", "#8c2f22"
HAND = Hand(
    alphabet="current",
    x_height_mm=2.1,
    nib=0.1,
    angle_deg=0,
    slant=0.3,
    gap=0.12,
    unsteady=0.014,
    space=0.62,
)
THICK = 0.23
CORNERS_MM = 0.03
"""Standard deviation of a page's corners: no page is quite a rectangle."""

Matrix = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """How a page is seen: by the plan, or as the fault that was planted has it."""

    shown: str
    """The label of the page that lies there."""
    turn_deg: float
    """Clockwise as seen."""
    keystone_deg: float
    """Between the left and the right edge: they run together towards the bottom."""
    sigma_px: float
    exposure: float
    """Factor on linear light."""


def view_of(label: str) -> View:
    """How the page `label` is seen."""

    def amount(fault: Fault, otherwise: float) -> float:
        found = truth.planted(label, fault)
        return found.amount if found else otherwise

    doubled_ = truth.planted(label, Fault.DOUBLED)
    crooked = float(generator("trial", "laid", label).uniform(-1, 1)) * truth.CROOKED_DEG
    return View(
        shown=doubled_.other if doubled_ else label,
        turn_deg=amount(Fault.SKEWED, crooked),
        keystone_deg=amount(Fault.KEYSTONED, 0.0),
        sigma_px=amount(Fault.SOFT, truth.PAGE_SIGMA_PX),
        exposure=amount(Fault.CLIPPED, 1.0),
    )


def page(plate: Plate, label: str, session: SessionTruth, *, view: View | None = None) -> Picture:
    """A page as the contractor delivered it, or seen as `view` says."""
    seen, light = view or view_of(label), Light(cast=session.cast, ramp=session.flat.ramp)
    plane = _plane(plate, label, seen)
    layers = (
        ground(TABLE, grain_amount=0.006, falloff=0.0),
        *_sheet(plate, plane, generator("trial", "sheet", seen.shown)),
        ink(drawn(_writing(seen.shown, plane), plate), pooling=0.05),
    )
    return Picture(plate, 3, _developed(layers, seen, light, generator("trial", "sensor", label)))


# -------------------------------------------------------------------------------------------- the plane


def _plane(plate: Plate, label: str, view: View) -> Matrix:
    """From millimetres on the page to millimetres in the frame.

    With x and y from the page's centre, x / (1 + c·y) and y / (1 + c·y) leave level lines level; lines at
    x = ±W/2 then meet at an angle of 2·atan(c·W/2).
    """
    width, height = PAGE_MM
    c = 2 * math.tan(math.radians(view.keystone_deg) / 2) / width
    turn = math.radians(view.turn_deg)
    dx, dy = generator("trial", "place", label).uniform(-0.8, 0.8, 2).tolist()
    to_centre = np.array([[1, 0, -width / 2], [0, 1, -height / 2], [0, 0, 1]])
    tilted = np.array([[1, 0, 0], [0, 1, 0], [0, c, 1]])
    turned = np.array([[math.cos(turn), -math.sin(turn), 0], [math.sin(turn), math.cos(turn), 0], [0, 0, 1]])
    to_frame = np.array([[1, 0, plate.width_mm / 2 + dx], [0, 1, plate.height_mm / 2 + dy], [0, 0, 1]])
    return np.asarray(to_frame @ turned @ tilted @ to_centre)


def _seen(places: Points, plane: Matrix) -> Points:
    x, y = places[:, 0], places[:, 1]
    across, down, depth = (row[0] * x + row[1] * y + row[2] for row in plane)
    return np.stack([across / depth, down / depth], axis=1)


_PLACE = re.compile(r"(-?[0-9.]+) (-?[0-9.]+)")


def _seen_path(data: str, plane: Matrix) -> str:
    """Path data of absolute moves and lines, seen through a plane."""
    places = np.array([[float(x), float(y)] for x, y in _PLACE.findall(data)])
    if not len(places):
        return data
    moved = iter(_seen(places, plane).tolist())

    def written(_: re.Match[str]) -> str:
        x, y = next(moved)
        return f"{x:.3f} {y:.3f}"

    return _PLACE.sub(written, data)


# --------------------------------------------------------------------------------------------- the page


def _sheet(plate: Plate, plane: Matrix, rng: np.random.Generator) -> tuple[Layer, Layer]:
    """The shadow of a leaf on the table, and the leaf."""
    corners = pen.rectangle(0, 0, *PAGE_MM)
    leaf = Sketch()
    leaf.fill(_seen(corners + rng.normal(0, CORNERS_MM, corners.shape), plane), "#000000")
    mask = opacity(leaf, plate)
    return _shadow(plate, mask), _paper(plate, mask, rng)


def _shadow(plate: Plate, mask: npt.NDArray[np.uint8]) -> Layer:
    half = coarse(plate, 2)
    soft = np.roll(blurred(halved(mask), 0.9 * half.px_per_mm), round(0.6 * half.px_per_mm), axis=(0, 1))

    def paint(strip: Strip, window: Window) -> None:
        shade(strip, 1 - np.float32(0.6) * np.asarray(doubled(soft, window), np.float32))

    return paint


def _paper(plate: Plate, mask: npt.NDArray[np.uint8], rng: np.random.Generator) -> Layer:
    grid = Grid.over(plate)
    light = Field(1 + 0.008 * grid.clouds(rng, roughness=2.2))
    corner = grid.spot(plate.width_mm - 12, plate.height_mm - 12, 13)
    stained = Field(np.clip(0.10 + 0.035 * grid.clouds(rng, roughness=1.5) + 0.25 * corner, 0, 1))
    shift = int(rng.integers(1024))

    def paint(strip: Strip, window: Window) -> None:
        tone = light.rows(window, plate.height_px)
        tone += np.float32(0.012) * grain("fine", window, dx=shift)
        turned = stained.rows(window, plate.height_px)
        tint = [(base + turned * (stain - base)) * tone for base, stain in zip(PAPER, STAIN, strict=True)]
        cover(strip, np.stack(tint).astype(np.float32), under(mask, window).astype(np.float32) / 255)

    return paint


def _writing(label: str, plane: Matrix) -> Sketch:
    """Receipts: a red heading to each, the number of the leaf at the head of a recto."""
    sketch, rng = Sketch(), generator("trial", "text", label)
    for text, tint, x, y in _lines(label, rng):
        data, _ = current(HAND, text, x + rng.normal(0, 0.15), y, rng, thick=THICK)
        sketch.fill(_seen_path(data, plane), tint)
    return sketch


def _lines(label: str, rng: np.random.Generator) -> list[tuple[str, str, float, float]]:
    """Text, colour and place of each line."""
    number = label.removeprefix("f. ")
    lines = [(number[:-1], INK, PAGE_MM[0] - 12, 8.0)] if number.endswith("r") else []
    y = TOP
    for heading in rng.permutation(words.RECEIPTS)[:2].tolist():
        lines.append((heading, RED, MARGIN, y))
        sentences = " ".join(rng.permutation(words.RECEIPT_STEPS)[:3].tolist())
        for text in _wrapped(sentences, PAGE_MM[0] - 1.6 * MARGIN):
            y += LINE_MM
            lines.append((text, INK, MARGIN, y))
        y += 1.35 * LINE_MM
    return [each for each in lines if each[3] < PAGE_MM[1] - 6]


def _wrapped(text: str, measure: float) -> list[str]:
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and reach(HAND, longer) > measure:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


# ------------------------------------------------------------------------------------------- the camera


def _developed(
    layers: tuple[Layer, ...], view: View, light: Light, rng: np.random.Generator
) -> Callable[[Window], Codes]:
    """What lens, light, exposure and sensor make of the layers."""
    gamma, kernel = np.float32(WIDE_RGB.curve.gamma), _kernel(view.sigma_px)
    margin = len(kernel) // 2
    shifts = rng.integers(0, 1024, (3, 2)).tolist()

    def develop(window: Window) -> Codes:
        wider = Window(window.top - margin, window.rows + 2 * margin, window.width, window.px_per_mm)
        strip = np.zeros((3, wider.rows, wider.width), np.float32)
        for layer in layers:
            layer(strip, wider)
        linear = _blurred(np.clip(strip, 0, 1) ** gamma, kernel) * np.float32(view.exposure)
        strip = np.clip(linear, 0, None) ** (1 / gamma)
        light.fall_on(strip, window)
        for plane, (dx, dy) in zip(strip, shifts, strict=True):
            add_grain(plane, "sensor", window, SENSOR_NOISE, dx=dx, dy=dy)
        codes = (np.clip(strip, 0, 1) * 65535).astype(np.uint16)
        return np.ascontiguousarray(np.moveaxis(codes, 0, -1))

    return develop


def _kernel(sigma_px: float) -> Samples:
    """A Gaussian, to four standard deviations."""
    reach_px = math.ceil(4 * sigma_px)
    weights = np.exp(-0.5 * (np.arange(-reach_px, reach_px + 1) / sigma_px) ** 2)
    return np.asarray(weights / weights.sum(), np.float32)


def _blurred(planes: Strip, kernel: Samples) -> Strip:
    """Blurred down and across; the rows at both ends are used up, columns at the border repeated."""
    margin = len(kernel) // 2
    rows = planes.shape[1] - 2 * margin
    down = sum(weight * planes[:, at : at + rows] for at, weight in enumerate(kernel))
    wide = np.pad(np.asarray(down), ((0, 0), (0, 0), (margin, margin)), mode="edge")
    columns = planes.shape[2]
    return np.asarray(sum(weight * wide[:, :, at : at + columns] for at, weight in enumerate(kernel)))
