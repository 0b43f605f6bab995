"""Frames with a sheet of known place, turn, tilt and bow, drawn from numbers.

A sheet is a rectangle in its own plane, seen by a pinhole camera; its lines of writing are rows of words.
Tones are codes, 0 to 1. Lengths are pixels of the frame at the middle of the sheet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.measure.outline import Point
from pipeline.measure.pixels import ArrayPixels, Codes

Numbers = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A sheet on plain ground."""

    width: int = 700
    """Of the frame."""
    height: int = 900
    sheet_width: float = 480.0
    sheet_height: float = 640.0
    centre: tuple[float, float] = (350.0, 450.0)
    turn_deg: float = 0.0
    """Clockwise as seen."""
    tilt_deg: float = 0.0
    """Out of the frame's plane: the upper edge further away."""
    distance: float = 2000.0
    """From the camera."""
    lines: int = 20
    pitch: float = 28.0
    bow: float = 0.0
    """How far the middles of lines hang below the chord of their ends."""
    is_upright: bool = False
    """Lines of writing run along the sheet's height."""
    paper: float = 0.85
    ink: float = 0.25
    ground: float = 0.15
    noise: float = 0.004
    bits: int = 8
    bands: int = 3
    seed: int = 1

    def pixels(self) -> ArrayPixels:
        """The frame."""
        return ArrayPixels(self.codes())

    def codes(self) -> Codes:
        """The frame's codes."""
        rng = np.random.default_rng(self.seed)
        u, v = self._on_sheet()
        inside = np.minimum(self.sheet_width / 2 - np.abs(u), self.sheet_height / 2 - np.abs(v))
        share = np.clip(inside + 0.5, 0, 1)
        tone = self.ground + share * (self.paper - self.ground)
        if self.lines:
            there = _box_of(inside > -1)
            written = self._written(u[there], v[there], rng) * (self.ink - self.paper)
            tone[there] += written * share[there]
        full = np.float32(2**self.bits - 1)
        planes = np.repeat(full * tone[:, :, None].astype(np.float32), self.bands, axis=2)
        if self.noise:
            planes += full * np.float32(self.noise) * rng.standard_normal(planes.shape, dtype=np.float32)
        codes = np.clip(np.rint(planes, out=planes), 0, full, out=planes)
        return codes.astype(np.uint8) if self.bits == 8 else codes.astype(np.uint16)

    def corners(self) -> tuple[Point, Point, Point, Point]:
        """Where the sheet's corners are in the frame, from the upper left clockwise."""
        w, h = self.sheet_width / 2, self.sheet_height / 2
        return tuple(self._in_frame(u, v) for u, v in ((-w, -h), (w, -h), (w, h), (-w, h)))  # type: ignore[return-value]

    def _in_frame(self, u: float, v: float) -> Point:
        turn, tilt = math.radians(self.turn_deg), math.radians(self.tilt_deg)
        depth = self.distance - v * math.sin(tilt)
        x, y = self.distance * u / depth, self.distance * v * math.cos(tilt) / depth
        return Point(
            x_px=self.centre[0] + x * math.cos(turn) - y * math.sin(turn),
            y_px=self.centre[1] + x * math.sin(turn) + y * math.cos(turn),
        )

    def _on_sheet(self) -> tuple[Numbers, Numbers]:
        turn, tilt = math.radians(self.turn_deg), math.radians(self.tilt_deg)
        across = (np.arange(self.width) + 0.5 - self.centre[0])[None, :]
        down = (np.arange(self.height) + 0.5 - self.centre[1])[:, None]
        x = across * math.cos(turn) + down * math.sin(turn)
        y = down * math.cos(turn) - across * math.sin(turn)
        v = y * self.distance / (self.distance * math.cos(tilt) + y * math.sin(tilt))
        return x * (self.distance - v * math.sin(tilt)) / self.distance, v

    def _written(self, u: Numbers, v: Numbers, rng: np.random.Generator) -> Numbers:
        """How black each place is, 0 to 1: words of strokes, in lines."""
        along, across = (v, -u) if self.is_upright else (u, v)
        long, wide = self.sheet_width, self.sheet_height
        if self.is_upright:
            long, wide = wide, long
        length = 0.8 * long
        down = across - self.bow * (1 - (2 * along / length) ** 2) + self.lines * self.pitch / 2
        line = np.floor(down / self.pitch).astype(int)
        place = down - line * self.pitch - 0.45 * self.pitch
        body = np.clip(0.2 * self.pitch - np.abs(place) + 0.5, 0, 1)
        at = along + length / 2
        inside = (line >= 0) & (line < self.lines) & (at >= 0) & (at < length - 1)
        marks = _marks(self.lines, int(length) + 1, self.pitch, rng)
        low = np.clip(at.astype(int), 0, int(length) - 1)
        rows = np.clip(line, 0, self.lines - 1)
        part = at - low
        black = marks[rows, low] * (1 - part) + marks[rows, low + 1] * part
        return np.where(inside, black * body, 0.0)


def _box_of(mask: npt.NDArray[np.bool_]) -> tuple[slice, slice]:
    """The rows and columns that hold all that is true."""
    rows, columns = (np.flatnonzero(mask.any(axis=axis)) for axis in (1, 0))
    return slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)


def _marks(lines: int, length: int, pitch: float, rng: np.random.Generator) -> Numbers:
    """Strokes and gaps along each line."""
    marks = np.zeros((lines, length + 1))
    for row in marks:
        at = 0.0
        while at < length:
            stop = min(length, at + rng.uniform(1.5, 5) * pitch)
            while at < stop:
                stroke = rng.uniform(0.08, 0.16) * pitch
                row[int(at) : int(at + stroke) + 1] = rng.uniform(0.8, 1)
                at += stroke + rng.uniform(0.12, 0.3) * pitch
            at += rng.uniform(0.4, 0.8) * pitch
    return marks
