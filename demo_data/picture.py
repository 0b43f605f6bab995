"""A picture that is drawn strip by strip, whenever somebody wants it: it is never held whole."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from demo_data.plate import Plate
from demo_data.textures import Window

Codes = npt.NDArray[np.uint16]
"""16-bit codes: (rows, columns, bands)."""

STRIP_ROWS = 96


@dataclass(frozen=True, slots=True)
class Picture:
    """Size, number of bands, and a function that draws the rows of a window."""

    plate: Plate
    bands: int
    """3 for colour, 1 for grey."""
    drawn: Callable[[Window], Codes]

    def strips(self) -> Iterator[Codes]:
        """All rows from the top, some at a time."""
        plate = self.plate
        for top in range(0, plate.height_px, STRIP_ROWS):
            rows = min(STRIP_ROWS, plate.height_px - top)
            yield self.drawn(Window(top, rows, plate.width_px, plate.px_per_mm))

    def codes(self) -> Codes:
        """The whole at once; without the last axis if it is grey."""
        whole = np.concatenate(list(self.strips()))
        return whole[..., 0] if self.bands == 1 else whole
