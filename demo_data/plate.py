"""The size and resolution of a picture."""

from __future__ import annotations

from dataclasses import dataclass

MM_PER_INCH = 25.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """Size and resolution of a picture."""

    width_mm: float
    height_mm: float
    ppi: float

    @property
    def px_per_mm(self) -> float:
        """Pixels in a millimetre."""
        return self.ppi / MM_PER_INCH

    @property
    def width_px(self) -> int:
        """Columns."""
        return round(self.width_mm * self.px_per_mm)

    @property
    def height_px(self) -> int:
        """Rows."""
        return round(self.height_mm * self.px_per_mm)
