"""Scales that lie beside an object."""

from __future__ import annotations

from demo_data import pen
from demo_data.pen import Sketch


def scale_bar(sketch: Sketch, left: float, top: float, *, length_mm: int = 100) -> None:
    """A scale of centimetres, black and white, with millimetres along its upper edge."""
    sketch.fill(pen.rectangle(left - 3, top - 1.2, left + length_mm + 3, top + 6.4), "#f2f2f0")
    ticks = [
        pen.rectangle(left + mm - 0.05, top, left + mm + 0.05, top + (2.0 if mm % 5 else 2.8))
        for mm in range(length_mm + 1)
    ]
    sketch.fill(ticks, "#111111")
    for centimetre in range(length_mm // 10):
        tint = "#111111" if centimetre % 2 == 0 else "#f2f2f0"
        box = pen.rectangle(left + 10 * centimetre, top + 3.2, left + 10 * centimetre + 10, top + 5.4)
        sketch.shape(box, tint, "#111111", 0.12)
