"""Pens that write outlines: broad nibs, pointed pens, brushes; what they write is SVG path data in mm.

A broad nib is a line of fixed angle that is drawn along a stroke: the outline is the area it sweeps. A
pointed pen opens on the downstroke. No font is used anywhere: the hands are in `demo_data.hands`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from demo_data.colour import svg_colour
from demo_data.plate import Plate

Points = npt.NDArray[np.float64]
"""Corners or centres as rows of x and y, millimetres."""


def points(*pairs: tuple[float, float]) -> Points:
    """An array of points."""
    return np.array(pairs, dtype=np.float64)


def track(places: str) -> Points:
    """Points written as ``x,y x,y …``."""
    return np.array([[float(number) for number in place.split(",")] for place in places.split()])


def moved(shape: Points, x: float, y: float) -> Points:
    """`shape`, its origin moved to `x`, `y`."""
    return np.asarray(shape + np.array([x, y]))


def polygon(corners: Points) -> str:
    """A closed outline."""
    return "M" + "L".join(f"{x:.3f} {y:.3f}" for x, y in corners.tolist()) + "Z"


def polyline(corners: Points) -> str:
    """An open line, to be stroked."""
    return "M" + "L".join(f"{x:.3f} {y:.3f}" for x, y in corners.tolist())


def smooth(knots: Points, *, steps: int = 6, closed: bool = False) -> Points:
    """A curve through all `knots` (Catmull and Rom, uniform)."""
    if len(knots) < 3 and not closed:
        return knots
    ends = (knots[-1:], knots[:2]) if closed else (2 * knots[:1] - knots[1:2], 2 * knots[-1:] - knots[-2:-1])
    padded = np.concatenate([ends[0], knots, ends[1]])
    p0, p1, p2, p3 = padded[:-3, None], padded[1:-2, None], padded[2:-1, None], padded[3:, None]
    t = (np.arange(steps) / steps)[None, :, None]
    curve = 0.5 * (
        2 * p1 + (p2 - p0) * t + (2 * p0 - 5 * p1 + 4 * p2 - p3) * t**2 + (3 * p1 - p0 - 3 * p2 + p3) * t**3
    )
    flat = curve.reshape(-1, 2)
    return flat if closed else np.concatenate([flat, knots[-1:]])


def nib(track: Points, width: float, angle_deg: float) -> str:
    """The area that a nib `width` wide, held at `angle_deg` to the line, sweeps along `track`."""
    return "".join(map(polygon, nib_outlines(track, width, angle_deg)))


def nib_outlines(track: Points, width: float, angle_deg: float) -> list[Points]:
    """The same as outlines, all wound the same way, so that where they overlap nothing is left out."""
    half = 0.5 * width * np.array([math.cos(math.radians(angle_deg)), -math.sin(math.radians(angle_deg))])
    steps = np.diff(track, axis=0)
    side = np.sign(steps[:, 0] * half[1] - steps[:, 1] * half[0])
    side[side == 0] = 1
    outlines, start = [], 0
    for end in [*(np.flatnonzero(np.diff(side)) + 1), len(steps)]:
        part = track[start : end + 1]
        outline = np.concatenate([part + half, (part - half)[::-1]])
        outlines.append(outline if side[start] > 0 else outline[::-1])
        start = end
    return outlines


def relative(outlines: Iterable[Points]) -> str:
    """Outlines as path data relative to wherever the pen stands: written once, used at many places."""
    data, at = [], np.zeros(2)
    for outline in outlines:
        steps = np.diff(outline, axis=0, prepend=at[None])
        first, *others = (f"{x:.3f} {y:.3f}" for x, y in steps.tolist())
        data.append(f"m{first}l{' '.join(others)}z")
        at = outline[0]
    return "".join(data)


def pointed(track: Points, thin: float, thick: float) -> str:
    """A line that swells where it runs down the page (towards larger y)."""
    steps = np.diff(track, axis=0)
    lengths = np.maximum(np.hypot(steps[:, 0], steps[:, 1]), 1e-9)
    down = np.clip(steps[:, 1] / lengths, 0, 1) ** 1.5
    pressure = np.concatenate([down[:1], (down[:-1] + down[1:]) / 2, down[-1:]])
    return ribbon(track, thin + (thick - thin) * pressure)


STEPS_IN_ONE = 5


def ribbon(track: Points, widths: npt.NDArray[np.float64]) -> str:
    """A line of changing width, as outlines of a few steps each, all wound the same way."""
    steps = np.diff(track, axis=0)
    lengths = np.maximum(np.hypot(steps[:, 0], steps[:, 1]), 1e-9)[:, None]
    normals = np.stack([steps[:, 1], -steps[:, 0]], axis=1) / lengths
    at_points = np.concatenate([normals[:1], normals[:-1] + normals[1:], normals[-1:]])
    at_points /= np.maximum(np.hypot(at_points[:, 0], at_points[:, 1]), 1e-9)[:, None]
    offset = at_points * widths[:, None] / 2
    left, right = track + offset, track - offset
    parts = []
    for start in range(0, len(steps), STEPS_IN_ONE):
        part = slice(start, start + STEPS_IN_ONE + 1)
        parts.append(polygon(np.concatenate([left[part], right[part][::-1]])))
    return "".join(parts)


def leaf(base: Points, tip: Points, width: float, *, bend: float = 0.0, knots: int = 12) -> Points:
    """The outline of a lance-shaped leaf from `base` to `tip`."""
    axis = tip - base
    across = np.array([axis[1], -axis[0]]) / max(float(np.hypot(*axis)), 1e-9)
    t = np.linspace(0, 1, knots)
    swell = np.sin(np.pi * t**0.8) * width / 2
    middle = base + axis * t[:, None] + across * (bend * np.sin(np.pi * t))[:, None]
    return np.concatenate([middle + across * swell[:, None], (middle - across * swell[:, None])[::-1]])


def circle(x: float, y: float, radius: float, *, corners: int = 28) -> Points:
    """A round outline."""
    turn = np.linspace(0, 2 * math.pi, corners, endpoint=False)
    return np.stack([x + radius * np.cos(turn), y + radius * np.sin(turn)], axis=1)


def rectangle(left: float, top: float, right: float, bottom: float) -> Points:
    """A rectangle's corners."""
    return points((left, top), (right, top), (right, bottom), (left, bottom))


def turned(shape: Points, angle_deg: float, about: tuple[float, float] = (0.0, 0.0)) -> Points:
    """`shape` turned clockwise on the page about a point."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    centre = np.array(about)
    return np.asarray((shape - centre) @ np.array([[c, s], [-s, c]]) + centre)


def spiral(x: float, y: float, radius: float, turns: float, start_deg: float) -> Points:
    """A curl that winds inward; negative `turns` wind the other way."""
    t = np.linspace(0, 1, max(12, int(abs(turns) * 28)))
    angle = math.radians(start_deg) + 2 * math.pi * turns * t
    reach = radius * (1 - 0.85 * t)
    return np.stack([x + reach * np.cos(angle), y + reach * np.sin(angle)], axis=1)


class Sketch:
    """What is drawn on one sheet, in the order of drawing; colours are sRGB hexadecimal."""

    def __init__(self) -> None:
        self._elements: list[str] = []

    def fill(self, data: str | Points | Iterable[Points], tint: str, *, opacity: float = 1.0) -> None:
        """Fill path data, one outline or several."""
        style = f'fill="{svg_colour(tint)}"' + (f' fill-opacity="{opacity:.3f}"' if opacity < 1 else "")
        self._elements += [f'<path d="{part}" {style}/>' for part in _parts(_path_data(data))]

    def shape(self, outline: Points, tint: str, rim: str, width: float) -> None:
        """Fill an outline and draw its rim."""
        self._elements.append(
            f'<path d="{polygon(outline)}" fill="{svg_colour(tint)}" stroke="{svg_colour(rim)}" '
            f'stroke-width="{width:.3f}" stroke-linejoin="round"/>'
        )

    def line(
        self, data: str | Points, tint: str, width: float, *, opacity: float = 1.0, dash: str = ""
    ) -> None:
        """Stroke a line of one width, with round ends."""
        drawn = data if isinstance(data, str) else polyline(data)
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self._elements.append(
            f'<path d="{drawn}" fill="none" stroke="{svg_colour(tint)}" stroke-width="{width:.3f}" '
            f'stroke-opacity="{opacity:.3f}" stroke-linecap="round" stroke-linejoin="round"{dashes}/>'
        )

    def lines(self, tracks: Iterable[Points], tint: str, width: float, *, opacity: float = 1.0) -> None:
        """Stroke several lines alike."""
        if drawn := "".join(map(polyline, tracks)):
            self.line(drawn, tint, width, opacity=opacity)

    def include(self, other: Sketch, *, x: float = 0.0, y: float = 0.0, angle_deg: float = 0.0) -> None:
        """Draw another sketch here, moved and turned about its own origin."""
        place = f"translate({x:.3f} {y:.3f}) rotate({angle_deg:.3f})"
        self._elements.append(f'<g transform="{place}">{"".join(other._elements)}</g>')

    def svg(self, plate: Plate, *, dx: float = 0.0, dy: float = 0.0, mirror_at: float | None = None) -> bytes:
        """The whole as an SVG as large as `plate`, its origin moved by `dx` and `dy`."""
        move = f"translate({dx:.4f} {dy:.4f})"
        if mirror_at is not None:
            move = f"translate({2 * mirror_at:.4f} 0) scale(-1 1) {move}"
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{plate.width_px}" height="{plate.height_px}" '
            f'viewBox="0 0 {plate.width_px / plate.px_per_mm:.6f} {plate.height_px / plate.px_per_mm:.6f}">'
            f'<g transform="{move}">{"".join(self._elements)}</g></svg>'
        ).encode()


def _path_data(data: str | Points | Iterable[Points]) -> str:
    if isinstance(data, str):
        return data
    if isinstance(data, np.ndarray):
        return polygon(data)
    return "".join(polygon(each) for each in data)


PART = 8
"""Letters in one path element: the renderer is quicker with many small ones."""


def _parts(data: str) -> list[str]:
    if len(data) < 2000:
        return [data] if data else []
    moves = data.split("M")[1:]
    return ["".join(f"M{move}" for move in moves[at : at + PART]) for at in range(0, len(moves), PART)]


def jittered(shape: Points, rng: np.random.Generator, amount: float) -> Points:
    """`shape` with an unsteady hand."""
    return shape + rng.normal(0, amount, shape.shape)


def along(track: Points, distances: Sequence[float]) -> tuple[Points, Points]:
    """Points at `distances` along a line, and the unit directions there."""
    steps = np.diff(track, axis=0)
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    reached = np.concatenate([[0.0], np.cumsum(lengths)])
    wanted = np.clip(np.asarray(distances, dtype=np.float64), 0, reached[-1])
    at = np.stack([np.interp(wanted, reached, track[:, axis]) for axis in (0, 1)], axis=1)
    index = np.clip(np.searchsorted(reached, wanted, side="right") - 1, 0, len(steps) - 1)
    return at, steps[index] / np.maximum(lengths[index], 1e-9)[:, None]
