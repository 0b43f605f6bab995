"""From sketches to layers: ink that pools and wears, gold that catches the light, relief."""

from __future__ import annotations

import functools
from typing import Any

import numpy as np
import numpy.typing as npt

from demo_data.colour import Colour, colour
from demo_data.pen import Sketch
from demo_data.plate import Plate
from demo_data.scene import Layer, Strip, cover, shade
from demo_data.textures import Samples, Window, doubled, grain

Pixels = npt.NDArray[np.uint8]

LIGHT = (-0.6, -0.8)
"""Where the light comes from: above, a little from the left."""


@functools.cache
def _vips() -> Any:
    import pyvips

    pyvips.cache_set_max(0)
    return pyvips


def drawn(
    sketch: Sketch, plate: Plate, *, dx: float = 0.0, dy: float = 0.0, mirror_at: float | None = None
) -> Pixels:
    """The sketch as red, green, blue, opacity."""
    data = sketch.svg(plate, dx=dx, dy=dy, mirror_at=mirror_at)
    image = _vips().Image.svgload_buffer(data, unlimited=True)
    return np.asarray(image.numpy(), np.uint8)[: plate.height_px, : plate.width_px]


def opacity(sketch: Sketch, plate: Plate, *, dx: float = 0.0, dy: float = 0.0) -> Pixels:
    """The sketch's opacity alone."""
    image = _vips().Image.svgload_buffer(sketch.svg(plate, dx=dx, dy=dy), unlimited=True)
    return np.asarray(image[3].numpy(), np.uint8)[: plate.height_px, : plate.width_px]


def halved(pixels: Pixels) -> Samples:
    """The same with half the rows and columns, 0 to 1."""
    image = _vips().Image.new_from_array(pixels).shrink(2, 2, ceil=True)
    return np.asarray(image.numpy(), np.float32) / 255


def blurred(samples: Samples, sigma_px: float) -> Samples:
    """Soften an array."""
    if sigma_px < 0.3:
        return samples
    image = _vips().Image.new_from_array(np.ascontiguousarray(samples, np.float32))
    factor = max(1, int(sigma_px / 1.6))
    soft = image.shrink(factor, factor, ceil=True).gaussblur(sigma_px / factor)
    back = soft.resize(factor, kernel="linear") if factor > 1 else soft
    return np.asarray(back.numpy(), np.float32)[: samples.shape[0], : samples.shape[1]]


def coarse(plate: Plate, factor: float) -> Plate:
    """The same plate with `factor` times fewer pixels a side."""
    return Plate(width_mm=plate.width_mm, height_mm=plate.height_mm, ppi=plate.ppi / factor)


def ink(pixels: Pixels, *, strength: float = 0.98, pooling: float = 0.065, dx: int = 0) -> Layer:
    """Pigment on a surface: it covers unevenly, as it ran from the pen."""
    drawing, top, left = _cropped(pixels)

    def paint(strip: Strip, window: Window) -> None:
        lines, columns, part = _meeting(drawing, top, left, window)
        if not part.size or not (busy := np.flatnonzero(part[..., 3].any(axis=0))).size:
            return
        part = part[:, busy[0] : busy[-1] + 1]
        columns = slice(columns.start + int(busy[0]), columns.start + int(busy[-1]) + 1)
        share = part[..., 3].astype(np.float32)
        share *= strength / 255
        uneven = grain("soft", window, dx=dx, columns=columns)[lines] * pooling
        uneven += 1 - pooling
        np.clip(uneven, 0, 1, out=uneven)
        share *= uneven
        tint = np.empty((3, *share.shape), np.float32)
        for band in range(3):
            np.multiply(part[..., band], np.float32(1 / 255), out=tint[band])
        cover(strip[:, lines, columns], tint, share)

    return paint


def _cropped(pixels: Pixels) -> tuple[Pixels, int, int]:
    """What is drawn, without the empty rows and columns around it, and where it begins."""
    rows, columns = (np.flatnonzero(pixels[..., 3].any(axis=axis)) for axis in (1, 0))
    if not rows.size:
        return pixels[:0], 0, 0
    part = pixels[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    return (part.copy() if part.size < 0.7 * pixels.size else part), int(rows[0]), int(columns[0])


def _meeting(pixels: Pixels, top: int, left: int, window: Window) -> tuple[slice, slice, Pixels]:
    """The lines and columns of the strip that a drawing touches, and the part of the drawing."""
    first, last = max(window.top, top), min(window.top + window.rows, top + len(pixels))
    if first >= last:
        return slice(0, 0), slice(0, 0), pixels[:0]
    lines = slice(first - window.top, last - window.top)
    return lines, slice(left, left + pixels.shape[1]), pixels[first - top : last - top]


def under(pixels: npt.NDArray[Any], window: Window) -> npt.NDArray[Any]:
    """The rows of a full-size array under a strip, edge rows repeated outside it."""
    if window.top >= 0 and window.top + window.rows <= len(pixels):
        return pixels[window.top : window.top + window.rows]
    rows = np.clip(np.arange(window.top, window.top + window.rows), 0, len(pixels) - 1)
    return pixels[rows]


GOLD_RAMP: tuple[Colour, ...] = tuple(
    map(colour, ("#3f2a10", "#7a5218", "#b3812a", "#d9ad4c", "#f3d98a", "#fffbe6"))
)


def gold(
    sketch: Sketch,
    plate: Plate,
    *,
    dx: float = 0.0,
    dy: float = 0.0,
    wear: float = 0.35,
    swell_mm: float = 0.5,
) -> Layer:
    """Burnished leaf on a raised ground: dark and bright as it turns to the light, worn here and there."""
    mask = opacity(sketch, plate, dx=dx, dy=dy)
    small = halved(mask)
    half = coarse(plate, 2)
    height = blurred(small, 0.16 * half.px_per_mm)
    height += (0.35 + 0.7 * swell_mm) * blurred(small, swell_mm * half.px_per_mm)
    del small
    sheen = _slope(height)
    sheen *= 0.3 * half.px_per_mm
    np.tanh(sheen, out=sheen)

    def paint(strip: Strip, window: Window) -> None:
        opaque = under(mask, window)
        for columns in _runs(opaque):
            share = opaque[:, columns].astype(np.float32)
            share *= 1 / 255
            x, y = window.x_mm[columns], window.y_mm
            tone = 0.42 * doubled(sheen, window, columns)
            tone += 0.50 + 0.10 * np.sin((x + 1.7 * y) / 8.5)
            tone += 0.035 * grain("soft", window, dx=77, columns=columns)
            tone += 0.015 * grain("fine", window, columns=columns)
            if wear:
                worn = grain("soft", window, dx=500, dy=211, columns=columns)
                share *= 1 - wear * np.clip((worn - 2.1) * 3, 0, 1)
            cover(strip[:, :, columns], _ramped(tone), share)

    return paint


GAP_PX = 64


def _runs(opaque: Pixels) -> list[slice]:
    """Runs of columns in which something is drawn, apart where there is nothing for a while."""
    busy = np.flatnonzero(opaque.any(axis=0))
    if not busy.size:
        return []
    ends = np.flatnonzero(np.diff(busy) > GAP_PX)
    starts = [int(busy[0]), *busy[ends + 1].tolist()]
    return [
        slice(start, end + 1)
        for start, end in zip(starts, [*busy[ends].tolist(), int(busy[-1])], strict=True)
    ]


@functools.cache
def _ramp() -> Strip:
    stops, fine = np.linspace(0, 1, len(GOLD_RAMP)), np.linspace(0, 1, 512)
    planes = [np.interp(fine, stops, [stop[band] for stop in GOLD_RAMP]) for band in range(3)]
    return np.stack(planes).astype(np.float32)


def _ramped(tone: Samples) -> Strip:
    return _ramp()[:, np.clip(tone * 511, 0, 511).astype(np.intp)]


def _slope(height: Samples) -> Samples:
    """How much a surface turns towards the light."""
    rise = np.zeros_like(height)
    for axis, share in ((1, -LIGHT[0] / 2), (0, -LIGHT[1] / 2)):
        inner = [slice(None), slice(None)]
        before, after = list(inner), list(inner)
        inner[axis], before[axis], after[axis] = slice(1, -1), slice(None, -2), slice(2, None)
        rise[tuple(inner)] += share * (height[tuple(after)] - height[tuple(before)])
    return rise


def relief(
    sketch: Sketch, plate: Plate, *, depth: float, soft_mm: float = 0.18, dx: float = 0.0, dy: float = 0.0
) -> Layer:
    """What is pressed into a surface (depth above 0) or stands out of it: lit and shaded rims."""
    half = coarse(plate, 2)
    sunk = blurred(halved(opacity(sketch, plate, dx=dx, dy=dy)), soft_mm * half.px_per_mm)
    slope = _slope(sunk) * (soft_mm * half.px_per_mm)
    factor = (1 + np.clip(-depth * slope * 1.6, -0.6, 0.9) - 0.22 * max(depth, 0) * sunk).astype(np.float32)

    def paint(strip: Strip, window: Window) -> None:
        shade(strip, doubled(factor, window))

    return paint
