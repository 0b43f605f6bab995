"""Which files a static image service promises, by its info.json: names and pixel sizes. Arithmetic alone.

Written without the code that makes tiles, so that one mistake cannot hide in both.

Source: IIIF Image API 3.0, sections 4.7 (canonical requests), 5.3 (sizes) and 5.4 (tiles), compliance
level 0; Image API 2.1, the same sections; rounding up as the implementation notes recommend.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from pipeline.specs import iiif

MOST_PX = 1_000_000_000
"""What a width, a height, a scale factor can be. More is nonsense, and too long to print."""


class Size(NamedTuple):
    """Width and height in pixels. A plain tuple, for a bundle has hundreds of thousands."""

    width_px: int
    height_px: int

    def __str__(self) -> str:
        """Return it as people write it."""
        return f"{self.width_px} × {self.height_px}"


class TileSet(NamedTuple):
    """One entry of `tiles`."""

    width_px: int
    height_px: int
    scale_factors: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """What an info.json says that decides which files there are."""

    version: int
    """2 or 3."""
    size: Size
    max_size: Size
    """Of ``full/max``: the size of the image, or less if there are limits."""
    sizes: tuple[Size, ...] = ()
    tiles: tuple[TileSet, ...] = ()
    endings: tuple[str, ...] = (iiif.DEFAULT_IMAGE,)
    """Rotation, quality and format, for everything that is offered."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Promise:
    """The files of a static image service, below its id."""

    files: dict[str, Size] = field(default_factory=dict)
    """Size by name, in the order of the levels."""
    instead: dict[str, str] = field(default_factory=dict)
    """Other names that may stand for those, or beside them, with the one that they stand for."""
    rounded: frozenset[str] = frozenset()
    """Names whose sizes may differ by one pixel, for they follow from a limit or a ratio."""


def count(offer: Offer) -> int:
    """Return how many files there are at most, without making their names."""
    tiles = sum(
        _steps(offer.size.width_px, tile.width_px * factor)
        * _steps(offer.size.height_px, tile.height_px * factor)
        for tile in offer.tiles
        for factor in tile.scale_factors
    )
    return (1 + len(offer.sizes) + tiles) * len(offer.endings)


def promised(offer: Offer) -> Promise:
    """Return every file that a client may ask for below a service's id, info.json left out."""
    return _promised_3(offer) if offer.version == 3 else _promised_2(offer)


def _promised_3(offer: Offer) -> Promise:
    largest = f"{iiif.FULL}/{iiif.MAX}"
    names: dict[str, Size] = {largest: offer.max_size}
    for size in offer.sizes:
        names[f"{iiif.FULL}/{size.width_px},{size.height_px}"] = size
    for region, size in _tiles(offer):
        if region:
            names[f"{region}/{size[0]},{size[1]}"] = size
        elif size != offer.max_size:
            names[f"{iiif.FULL}/{size.width_px},{size.height_px}"] = size
    limited = offer.max_size != offer.size
    return Promise(
        files={f"{name}/{ending}": size for ending in offer.endings for name, size in names.items()},
        rounded=frozenset(f"{largest}/{ending}" for ending in offer.endings if limited),
    )


def _promised_2(offer: Offer) -> Promise:
    """Canonical names have the width alone; ``w,h`` and ``full/max`` may stand beside them."""
    files: dict[str, Size] = {}
    instead: dict[str, str] = {}
    for ending in offer.endings:
        whole = f"{iiif.FULL}/{iiif.FULL}/{ending}"
        files[whole] = offer.max_size
        instead[f"{iiif.FULL}/{iiif.MAX}/{ending}"] = whole
        listed = ((iiif.FULL, size) for size in offer.sizes)
        for region, size in (*listed, *_tiles(offer)):
            name = f"{region or iiif.FULL}/{size[0]},/{ending}"
            if size == offer.size and region in ("", iiif.FULL):
                instead[name] = whole
                instead[f"{iiif.FULL}/{size[0]},{size[1]}/{ending}"] = whole
                continue
            files[name] = size
            instead[f"{region or iiif.FULL}/{size[0]},{size[1]}/{ending}"] = name
    return Promise(files=files, instead=instead, rounded=frozenset(files))


def _tiles(offer: Offer) -> Iterator[tuple[str, Size]]:
    """Yield every tile's region, empty for the whole image, and its size."""
    for tile in offer.tiles:
        for factor in tile.scale_factors:
            columns = list(_cut(offer.size.width_px, tile.width_px, factor))
            rows = list(_cut(offer.size.height_px, tile.height_px, factor))
            if len(columns) == len(rows) == 1:
                yield "", Size(columns[0][2], rows[0][2])
                continue
            for y_px, height_px, tile_height_px in rows:
                sizes = {width: Size(width, tile_height_px) for _, _, width in (columns[0], columns[-1])}
                for x_px, width_px, tile_width_px in columns:
                    yield f"{x_px},{y_px},{width_px},{height_px}", sizes[tile_width_px]


def _cut(length_px: int, tile_px: int, factor: int) -> Iterator[tuple[int, int, int]]:
    """Yield where each tile of one row begins, how much of the image it covers, and how long it is."""
    step_px = tile_px * factor
    for start_px in range(0, length_px, step_px):
        part_px = min(step_px, length_px - start_px)
        yield start_px, part_px, _steps(part_px, factor)


def _steps(length_px: int, step_px: int) -> int:
    """Return the quotient, rounded up."""
    return -(-length_px // step_px)


def limited(size: Size, *, width_px: int | None, height_px: int | None, area_px: int | None) -> Size:
    """Return the largest size within limits, of the shape of `size` (Image API 3.0, section 5.2)."""
    ratios = [1.0]
    if width_px is not None:
        ratios += [width_px / size.width_px, (height_px or width_px) / size.height_px]
    if area_px is not None:
        ratios.append(math.sqrt(area_px / (size.width_px * size.height_px)))
    ratio = min(ratios)
    if ratio >= 1:
        return size
    return Size(max(1, round(size.width_px * ratio)), max(1, round(size.height_px * ratio)))


def lowest_factor(size: Size, tile: TileSet) -> int:
    """Return the first power of two at which the whole image fits into one tile."""
    factor = 1
    while _steps(size.width_px, factor) > tile.width_px or _steps(size.height_px, factor) > tile.height_px:
        factor *= 2
    return factor


def has_shape(part: Size, whole: Size) -> bool:
    """True if two sizes are of one shape, given that each side of each was rounded to whole pixels."""
    difference = abs(part.width_px * whole.height_px - part.height_px * whole.width_px)
    return difference <= max(*part, *whole)


def any_is_larger(sizes: Iterable[Size], limit: Size) -> bool:
    """True if one of the sizes is wider or higher than the limit."""
    return any(size.width_px > limit.width_px or size.height_px > limit.height_px for size in sizes)
