"""A frame whose pixels lie in a scratch file: what measures see in the one pass over a master."""

from __future__ import annotations

import numpy as np

from pipeline.images import RawPicture
from pipeline.measure.pixels import Box, Codes, Reduced


class StoredPixels:
    """A frame in a scratch file, upright. Pictures that were reduced are kept for the next measure."""

    def __init__(self, picture: RawPicture) -> None:
        self._picture = picture
        self._reduced: dict[int, Reduced] = {}

    @property
    def width_px(self) -> int:
        """Columns of the full picture."""
        return self._picture.width_px

    @property
    def height_px(self) -> int:
        """Rows of the full picture."""
        return self._picture.height_px

    @property
    def bits(self) -> int:
        """Bits per sample."""
        return self._picture.bits

    @property
    def bands(self) -> int:
        """1 for grey, 3 for colour."""
        return self._picture.bands

    def reduced(self, long_side_px: int) -> Reduced:
        """Return means of squares of a whole number of pixels; what is left over at the end is dropped."""
        factor = max(1, round(max(self.width_px, self.height_px) / long_side_px))
        factor = min(factor, self.width_px, self.height_px)
        if factor not in self._reduced:
            shares = self._picture.shrunk(factor) / np.float32(2**self.bits - 1)
            self._reduced[factor] = Reduced(shares=shares, factor=float(factor))
        return self._reduced[factor]

    def crop(self, box: Box) -> Codes:
        """Return the codes in `box`, as far as it lies in the picture."""
        part = box.within(self.width_px, self.height_px)
        if not part.width or not part.height:
            empty = (part.height, part.width, self.bands)
            return np.zeros(empty, np.uint8) if self.bits == 8 else np.zeros(empty, np.uint16)
        codes: Codes = self._picture.fetch(part.left, part.top, part.width, part.height)
        return codes
