"""Small pictures on the quality page: how large, how many, and what is drawn over them.

What is drawn stands beside the picture as SVG and never in it: lines have a dark and a light side so that
they show on any page, and differ by their dashes.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline import images

Plain = Mapping[str, Any]
"""A part of the quality document."""

SIZES = ((300, 176, 60), (1000, 144, 55))
"""Up to so many frames: the long side in px and the JPEG quality on the sheet."""
SMALLEST = (112, 50)
LARGE_PX, LARGE_QUALITY = 480, 66
LARGE_MOST_BYTES = 3_000_000
"""Of all large pictures together; further frames are shown as on the sheet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Small:
    """A picture in the page."""

    uri: str
    width_px: int
    height_px: int


class Pictures:
    """The pictures of an item's frames; how large each is depends on how many there are."""

    def __init__(self, thumbnails: Mapping[str, bytes]) -> None:
        self._thumbnails = thumbnails
        self._left_bytes = LARGE_MOST_BYTES
        fitting = [(side, quality) for most, side, quality in SIZES if len(thumbnails) <= most]
        self._size = fitting[0] if fitting else SMALLEST

    @property
    def side_px(self) -> int:
        """The long side of a picture on the sheet."""
        return self._size[0]

    def small(self, frame: str) -> Small | None:
        """A frame's picture for the sheet; None if there is none."""
        return self._made(frame, *self._size)

    def large(self, frame: str) -> Small | None:
        """A frame's picture to look at: large, as long as there is room for it in the page."""
        if self._left_bytes <= 0:
            return self.small(frame)
        found = self._made(frame, LARGE_PX, LARGE_QUALITY)
        self._left_bytes -= len(found.uri) if found else 0
        return found

    def _made(self, frame: str, side_px: int, quality: int) -> Small | None:
        data = self._thumbnails.get(frame)
        made = images.shrunk_jpeg(data, side_px=side_px, quality=quality) if data else None
        if made is None:
            return None
        jpeg, size = made
        uri = f"data:image/jpeg;base64,{base64.b64encode(jpeg).decode()}"
        return Small(uri=uri, width_px=size.width_px, height_px=size.height_px)


# ---------------------------------------------------------------------------------------------- overlay


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """Something drawn over a picture."""

    kind: str
    """What it is, in words."""
    style: str
    """Its class: how it is drawn."""
    path: str
    """SVG path data, in px of the picture."""


SOFT = "soft region"
_STYLES = {
    "page outline": "outline",
    "line of text": "text-line",
    SOFT: "soft-region",
    "clipped": "clipped",
    "target": "target",
    "edge": "edge",
    "dust": "dust",
}
OTHER = "other"
LEVEL = "level, to compare"
SKEWED_DEG = 0.5
"""From here on a level line is drawn beside a skewed edge."""
RING_PX = 7.0


def shapes(measures: Plain | None, picture: Small, *, is_soft: bool = True) -> Iterator[Shape]:
    """Yield what is drawn over a frame's picture, in the order of the document.

    Some region of any frame is the softest: it is left out unless the frame `is_soft`.
    """
    if measures is None:
        return
    for mark in measures["marks"]:
        if mark["kind"] == SOFT and not is_soft:
            continue
        points = [(x * picture.width_px, y * picture.height_px) for x, y in mark["points"]]
        if points:
            path = _ring(*points[0]) if len(points) == 1 else _path(points, mark["is_closed"])
            yield Shape(kind=mark["kind"], style=_STYLES.get(mark["kind"], OTHER), path=path)
    yield from _level(measures, picture)


def _path(points: Sequence[tuple[float, float]], is_closed: bool) -> str:
    drawn = "L".join(f"{_px(x)} {_px(y)}" for x, y in points)
    return f"M{drawn}{'Z' if is_closed else ''}"


def _ring(x: float, y: float) -> str:
    """A circle around a single point."""
    return (
        f"M{_px(x - RING_PX)} {_px(y)}a{RING_PX:g} {RING_PX:g} 0 1 0 {2 * RING_PX:g} 0"
        f"a{RING_PX:g} {RING_PX:g} 0 1 0 {-2 * RING_PX:g} 0"
    )


def _px(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _level(measures: Plain, picture: Small) -> Iterator[Shape]:
    """A level line through the upper left corner of a skewed page."""
    skews = [each["value"] for each in measures["measurements"] if each["quantity"] == "skew"]
    outline = next((each["points"] for each in measures["marks"] if each["kind"] == "page outline"), None)
    if outline and len(outline) == 4 and any(abs(each or 0.0) >= SKEWED_DEG for each in skews):
        (left, top), (right, _) = min(outline, key=lambda each: math.hypot(*each)), max(outline)
        ends = [(x * picture.width_px, top * picture.height_px) for x in (left, right)]
        yield Shape(kind=LEVEL, style="level", path=_path(ends, is_closed=False))


def legend(drawn: Sequence[Shape]) -> list[tuple[str, str, int]]:
    """Return style, words and number of each kind that is drawn."""
    kinds = list(dict.fromkeys((each.style, each.kind) for each in drawn))
    return [(style, kind, sum(each.kind == kind for each in drawn)) for style, kind in kinds]
