"""What a measure sees of a frame, and what it gives back if it cannot measure.

A frame may be larger than memory, so a measure never asks for the whole: it takes the reduced picture to
find its way about, and crops in full resolution where it measures. Where the pixels come from (an array,
an open image, a scratch file) is the caller's affair; `ArrayPixels` is the plain case.

Places are in pixels of the full picture, x to the right, y down; the upper left corner of the upper left
pixel is (0, 0), so that its centre is (0.5, 0.5). Pixels are as the file has them: not turned upright,
not converted to another colour space.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

Codes = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]
"""Codes as the file has them: (rows, columns, bands), also if there is one band alone."""
Shares = npt.NDArray[np.float32]
"""Codes as shares of full scale, 0 to 1, with the tone curve still in them: (rows, columns, bands)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NotMeasured:
    """A measure that could not be made, and why: an answer like any other, never a pass."""

    reason: str
    """For a person, as the rest of a sentence that begins with "not measured: "."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """An upright rectangle of whole pixels."""

    left: int
    top: int
    width: int
    height: int

    @property
    def right(self) -> int:
        """The first column beyond it."""
        return self.left + self.width

    @property
    def bottom(self) -> int:
        """The first row beyond it."""
        return self.top + self.height

    def within(self, width_px: int, height_px: int) -> Box:
        """Return the part that lies in a picture of this size; without width or height if none does."""
        left, top = min(max(self.left, 0), width_px), min(max(self.top, 0), height_px)
        right, bottom = max(left, min(self.right, width_px)), max(top, min(self.bottom, height_px))
        return Box(left=left, top=top, width=right - left, height=bottom - top)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reduced:
    """The whole picture, smaller. Each pixel is the mean of a square of codes of the full picture."""

    shares: Shares
    factor: float
    """Side of that square in pixels of the full picture: x of the full picture is x here times this."""


class Pixels(Protocol):
    """A frame to measure on."""

    @property
    def width_px(self) -> int:
        """Columns of the full picture."""

    @property
    def height_px(self) -> int:
        """Rows of the full picture."""

    @property
    def bits(self) -> int:
        """Bits per sample, 8 or 16: full scale is 2 ** bits - 1."""

    @property
    def bands(self) -> int:
        """1 for grey, 3 for red, green and blue."""

    def reduced(self, long_side_px: int) -> Reduced:
        """Return the picture with a long side of about `long_side_px`: from two thirds of it to half as
        much again, or full size if that is less. Several measures ask for the same one.
        """

    def crop(self, box: Box) -> Codes:
        """Return the codes in `box`, as far as it lies in the picture. They are not to be written to."""


class ArrayPixels:
    """A frame that is an array: (rows, columns) of grey, or (rows, columns, bands), of uint8 or uint16."""

    def __init__(self, codes: Codes) -> None:
        self._codes = codes if codes.ndim == 3 else codes[:, :, np.newaxis]
        self._reduced: dict[int, Reduced] = {}

    @property
    def width_px(self) -> int:
        """Columns of the full picture."""
        return int(self._codes.shape[1])

    @property
    def height_px(self) -> int:
        """Rows of the full picture."""
        return int(self._codes.shape[0])

    @property
    def bits(self) -> int:
        """Bits per sample."""
        return 8 * self._codes.dtype.itemsize

    @property
    def bands(self) -> int:
        """1 for grey, 3 for colour."""
        return int(self._codes.shape[2])

    def reduced(self, long_side_px: int) -> Reduced:
        """Return means of squares of a whole number of pixels; what is left over at the end is dropped."""
        factor = max(1, round(max(self.width_px, self.height_px) / long_side_px))
        factor = min(factor, self.width_px, self.height_px)
        if factor not in self._reduced:
            shares = box_means(self._codes, factor, full_scale=2**self.bits - 1)
            self._reduced[factor] = Reduced(shares=shares, factor=float(factor))
        return self._reduced[factor]

    def crop(self, box: Box) -> Codes:
        """Return a view of the codes in `box`."""
        part = box.within(self.width_px, self.height_px)
        return self._codes[part.top : part.bottom, part.left : part.right]


def box_means(codes: Codes, factor: int, *, full_scale: int) -> Shares:
    """Return the means of squares of `factor` pixels, as shares of `full_scale`.

    Columns and rows that do not fill a square at the right and at the bottom are left out.
    """
    rows, columns = (size // factor for size in codes.shape[:2])
    whole = codes[: rows * factor, : columns * factor]
    total = np.zeros((rows, columns, codes.shape[2]), np.float32)
    for down in range(factor):
        for across in range(factor):
            total += whole[down::factor, across::factor]
    total /= np.float32(full_scale * factor * factor)
    return total


def shares_of(codes: Codes) -> Shares:
    """Return codes as shares of full scale, 0 to 1."""
    return codes.astype(np.float32) / np.float32(np.iinfo(codes.dtype).max)
