"""How like two pictures are, told from their signatures: small, square, grey, upright.

Pages of one book on one copy stand are nearly the same picture: a bright sheet on a dark ground. What tells
them apart is where the ink is. So each picture is taken as its deviation from its own surroundings, measured
in what is usual around there, and its outermost tenth is left out; then both are correlated.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from pipeline.verify.evidence import SIGNATURE_SIDE

DEFAULT_DIFFERENCE = 0.1
"""1 − correlation up to which two pictures are taken for the same.

Measured on photographs of six pages of one manuscript and on 40 frames of the demo. The same picture:
encoded again or made smaller (to 300 px) 0.008 at most, gamma 0.7 to 1.4 0.037, a third more contrast 0.073,
cut by 1 % 0.053, turned by 0.5° 0.039 (0.13 for one drawing in fine lines). Made otherwise: cut by 3 % 0.16
to 0.19 on the photographs and 0.05 to 0.25 on the demo, by 5 % 0.36 and 0.13 at least, turned by 1° 0.10 and
by 2° 0.24, by a quarter or half or mirrored 0.95 and 0.18 at least, with a border of 3 % 0.32 and 0.13.
Another page of the same book: 0.16 to 0.36 on the photographs, 0.24 at least on the demo. Without evening
out, 32 points wide: other pages 0.003 at least, the same cut by 1 % 0.008.
"""

_AROUND = SIGNATURE_SIDE * 6 // 64
"""The surroundings of a point reach so far in each direction."""
_LEFT_OUT = SIGNATURE_SIDE // 10
_FLOOR = 2.0
"""Grey values of 255: less than this is noise, and is not made larger."""
_FLAT = 2.0
"""Standard deviation of the deviations, in grey values, below which a picture shows nothing to compare."""
_FAR = 64.0
"""How far the means of two blank pictures may be apart, in grey values."""


class Likeness:
    """A picture, made ready to be compared."""

    __slots__ = ("detail", "is_flat", "mean")

    def __init__(self, signature: bytes) -> None:
        import numpy as np

        side = math.isqrt(len(signature))
        grey = np.frombuffer(signature, dtype=np.uint8).reshape(side, side).astype(np.float32)
        own = grey - _blurred(grey)
        usual = np.sqrt(np.maximum(_blurred(own * own), 0)) + _FLOOR
        inside = slice(_LEFT_OUT, side - _LEFT_OUT)
        self.detail = _normal((own / usual)[inside, inside])
        self.mean = float(grey.mean())
        self.is_flat = float(own[inside, inside].std()) < _FLAT

    def difference(self, other: Likeness) -> float:
        """Return 1 − the correlation of both, 0 for the same; in [0, 2].

        Two that show nothing, such as blank sheets, are the same unless one is much darker.
        """
        if self.is_flat and other.is_flat:
            return 0.0 if abs(self.mean - other.mean) < _FAR else 1.0
        return _difference(self.detail, other.detail)

    def change_from(self, other: Likeness, most: float) -> str:
        """Return how this picture was made from the other one, if it is turned, mirrored or negated."""
        import numpy as np

        if self.is_flat or other.is_flat:
            return ""
        own, was = self.detail, other.detail
        changed = {
            "turned by 90° clockwise": np.rot90(was, -1),
            "turned by 180°": np.rot90(was, 2),
            "turned by 90° anticlockwise": np.rot90(was, 1),
            "mirrored": np.fliplr(was),
            "upside down and mirrored": np.flipud(was),
            "a negative": -was,
        }
        found = {name: _difference(own, each) for name, each in changed.items()}
        name = min(found, key=found.__getitem__)
        return name if found[name] <= most else ""


def _blurred(grey: Any) -> Any:
    """Return the mean around each point."""
    import numpy as np

    size = 2 * _AROUND + 1
    sums = np.pad(grey, _AROUND, mode="edge").astype(np.float64).cumsum(0).cumsum(1)
    sums = np.pad(sums, ((1, 0), (1, 0)))
    return (sums[size:, size:] - sums[:-size, size:] - sums[size:, :-size] + sums[:-size, :-size]) / size**2


def _normal(detail: Any) -> Any:
    """Return values with the mean 0 and the length 1, so that a product of two is their correlation."""
    import numpy as np

    centred = detail - detail.mean()
    length = float(np.sqrt((centred * centred).sum()))
    return (centred / length if length > 1e-6 else centred * 0).astype(np.float32)


def _difference(one: Any, other: Any) -> float:
    return max(0.0, 1.0 - float((one * other).sum()))


def picture_difference(one: bytes, other: bytes) -> float:
    """Return the difference of two signatures, 0 for the same picture; in [0, 2]."""
    return Likeness(one).difference(Likeness(other))


class Gallery:
    """Many pictures, to find the one that is most alike. Blank ones, alike by nature, are left out."""

    def __init__(self, pictures: Mapping[str, Likeness]) -> None:
        import numpy as np

        shown = {name: each for name, each in pictures.items() if not each.is_flat}
        self._names = tuple(shown)
        self._details = np.stack([each.detail.ravel() for each in shown.values()]) if shown else None

    def nearest(self, picture: Likeness) -> tuple[str, float]:
        """Return the name of the picture that is most alike, and its difference; nothing and 2 for none."""
        if self._details is None or picture.is_flat:
            return "", 2.0
        differences = 1.0 - self._details @ picture.detail.ravel()
        at = int(differences.argmin())
        return self._names[at], max(0.0, float(differences[at]))
