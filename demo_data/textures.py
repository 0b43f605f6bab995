"""Noise with the grain of things: fields that vary over a page, and seamless tiles of fine grain.

A field is coarse (a few hundred points a side) and is stretched over the picture as it is drawn; a tile
is as fine as the picture and repeats. Both are made from a seed, so that a page is the same whenever
and wherever it is drawn.
"""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.floating[Any]]
"""Grey values; 32-bit wherever there are many."""

SEED = "Aldermoor, imaging unit"
TILE_PX = 1024


def generator(*names: str) -> np.random.Generator:
    """A source of chance that depends on `names` alone."""
    digest = hashlib.sha256("/".join((SEED, *names)).encode()).digest()
    return np.random.default_rng(int.from_bytes(digest[:8], "big"))


@dataclass(frozen=True, slots=True)
class Window:
    """A strip of the picture that is being drawn: full width, some rows."""

    top: int
    rows: int
    width: int
    px_per_mm: float

    @property
    def x_mm(self) -> Samples:
        """Centres of the columns."""
        return ((np.arange(self.width, dtype=np.float32) + 0.5) / self.px_per_mm).astype(np.float32)

    def columns(self, left_mm: float, right_mm: float) -> slice:
        """The columns between two places, as far as they are in the picture."""
        first, last = (min(max(0, round(at * self.px_per_mm)), self.width) for at in (left_mm, right_mm))
        return slice(first, max(first, last))

    @property
    def y_mm(self) -> Samples:
        """Centres of the rows, as a column."""
        rows = np.arange(self.top, self.top + self.rows, dtype=np.float32)[:, None]
        return ((rows + 0.5) / self.px_per_mm).astype(np.float32)


ALL = slice(None)


class Field:
    """A coarse array that is stretched over the whole picture."""

    def __init__(self, samples: Samples) -> None:
        self.samples = np.asarray(samples, np.float32)
        self._wide: Samples | None = None
        self._width = 0

    def rows(self, window: Window, height: int, columns: slice = ALL) -> Samples:
        """The part of the field under `window`, of a picture of `height` rows."""
        if self._wide is None or self._width != window.width:
            self._wide, self._width = _stretched(self.samples, window.width), window.width
        position = (np.arange(window.top, window.top + window.rows) + 0.5) * len(self.samples) / height - 0.5
        low, share = _between(position, len(self.samples))
        above = self._wide[low, columns]
        below = self._wide[np.minimum(low + 1, len(self.samples) - 1), columns]
        below -= above
        below *= share[:, None]
        above += below
        return above


def _between(position: npt.NDArray[np.float64], count: int) -> tuple[npt.NDArray[np.intp], Samples]:
    position = np.clip(position, 0, count - 1)
    low = np.floor(position).astype(np.intp)
    return low, (position - low).astype(np.float32)


def _stretched(samples: Samples, width: int) -> Samples:
    count = samples.shape[1]
    low, share = _between((np.arange(width) + 0.5) * count / width - 0.5, count)
    left = np.take(samples, low, axis=1)
    right = np.take(samples, np.minimum(low + 1, count - 1), axis=1)
    right -= left
    right *= share
    left += right
    return left


def doubled(samples: Samples, window: Window, columns: slice = ALL) -> Samples:
    """The part under `window` of an array that has half the picture's rows and columns."""
    across = np.minimum(np.arange(*columns.indices(window.width)) // 2, samples.shape[1] - 1)
    down = np.clip(np.arange(window.top, window.top + window.rows) // 2, 0, len(samples) - 1)
    return np.asarray(samples[down[:, None], across])


def clouds(
    rng: np.random.Generator, shape: tuple[int, int], *, roughness: float = 1.6, stretch: float = 1.0
) -> Samples:
    """Fractal noise, mean 0, standard deviation 1: amplitudes fall as frequency to the `roughness`.

    `stretch` above 1 draws it out across, below 1 down: fibres rather than clouds.
    """
    rows, columns = shape
    down = np.fft.fftfreq(rows)[:, None] * rows / stretch
    across = np.fft.rfftfreq(columns)[None, :] * columns * stretch
    radius = np.sqrt(down**2 + across**2)
    radius[0, 0] = 1
    spectrum = np.fft.rfft2(rng.standard_normal(shape)) * radius**-roughness
    spectrum[0, 0] = 0
    return _standardised(np.fft.irfft2(spectrum, s=shape))


def _standardised(values: npt.NDArray[np.float64]) -> Samples:
    return np.asarray((values - values.mean()) / values.std(), np.float32)


@functools.cache
def tile(kind: str) -> Samples:
    """A seamless tile of grain, mean 0, standard deviation 1.

    ``fine``: paper and vellum; ``fibre``, ``upright``: drawn out across, down; ``pores``: sparse dark dots;
    ``soft``: for ink; ``sensor``: plain noise.
    """
    rng = generator("tile", kind)
    shape = (TILE_PX, TILE_PX)
    if kind == "sensor":
        return rng.standard_normal(shape, dtype=np.float32)
    if kind == "pores":
        return _pores(rng)
    if kind == "upright":
        return np.ascontiguousarray(tile("fibre").T)
    low, high, stretch = {
        "fine": (0.02, 0.22, 1.0),
        "soft": (0.004, 0.06, 1.0),
        "fibre": (0.004, 0.30, 9.0),
    }[kind]
    return _band(rng, shape, low=low, high=high, stretch=stretch)


def _band(
    rng: np.random.Generator, shape: tuple[int, int], *, low: float, high: float, stretch: float
) -> Samples:
    """Noise between two frequencies (cycles a pixel)."""
    down, across = np.fft.fftfreq(shape[0])[:, None], np.fft.rfftfreq(shape[1])[None, :]
    radius = np.sqrt(down**2 + (across * stretch) ** 2)
    keep = (
        np.exp(-((radius / high) ** 2))
        * (1 - np.exp(-((radius / low) ** 2)))
        / np.maximum(radius, low) ** 0.5
    )
    return _standardised(np.fft.irfft2(np.fft.rfft2(rng.standard_normal(shape)) * keep, s=shape))


def _pores(rng: np.random.Generator) -> Samples:
    """Follicles: short slanted specks in loose clusters, 0 to 1."""
    seeds = rng.standard_normal((TILE_PX, TILE_PX)) * 0.5 + 0.9 * clouds(
        rng, (TILE_PX, TILE_PX), roughness=1.3
    )
    specks = (seeds > 2.25).astype(np.float64)
    down, across = np.fft.fftfreq(TILE_PX)[:, None], np.fft.rfftfreq(TILE_PX)[None, :]
    blur = np.exp(-2 * np.pi**2 * ((down * 2.2 + across * 1.2) ** 2 + (across * 0.9) ** 2))
    spread = np.fft.irfft2(np.fft.rfft2(specks) * blur, s=specks.shape)
    return np.clip(spread * 5, 0, 1).astype(np.float32)


def grain(kind: str, window: Window, *, dx: int = 0, dy: int = 0, columns: slice = ALL) -> Samples:
    """The tile `kind` laid over the strip, shifted by `dx` and `dy` pixels."""
    first, last, _ = columns.indices(window.width)
    result = np.empty((window.rows, last - first), np.float32)
    for part, piece in _pieces(tile(kind), window, first, last, dx, dy):
        result[part] = piece
    return result


def add_grain(plane: Samples, kind: str, window: Window, amount: float, *, dx: int = 0, dy: int = 0) -> None:
    """Add `amount` of the tile `kind` to a plane of the strip."""
    for part, piece in _pieces(_scaled(kind, amount), window, 0, window.width, dx, dy):
        plane[part] += piece


@functools.cache
def _scaled(kind: str, amount: float) -> Samples:
    return np.asarray(tile(kind) * np.float32(amount))


def _pieces(
    source: Samples, window: Window, first: int, last: int, dx: int, dy: int
) -> Iterator[tuple[tuple[slice, slice], Samples]]:
    """The parts of a strip that one copy of a tile covers, each with its part of the tile."""
    down = 0
    while down < window.rows:
        row = (window.top + down + dy) % TILE_PX
        rows = min(TILE_PX - row, window.rows - down)
        across = 0
        while across < last - first:
            column = (first + across + dx) % TILE_PX
            columns = min(TILE_PX - column, last - first - across)
            place = (slice(down, down + rows), slice(across, across + columns))
            yield place, source[row : row + rows, column : column + columns]
            across += columns
        down += rows
