"""ICC profiles: signatures, header layout, the connection space, common RGB spaces.

Source: ICC.1:2022 (profile version 4.4): section 7.2 header, 7.3 tag table, 9 tags, 10 tag types, annex E
chromatic adaptation. IEC 61966-2-1:1999 for sRGB.
"""

from __future__ import annotations

from typing import Final

VERSION: Final = 0x04400000
"""4.4.0 as bytes 8 to 11 of the header have it (7.2.4)."""
HEADER_BYTES: Final = 128
TAG_ENTRY_BYTES: Final = 12
FILE_SIGNATURE: Final = b"acsp"
"""Bytes 36 to 39 of every profile (7.2.9)."""
SIGNATURE_AT: Final = 36

DISPLAY: Final = b"mntr"
INPUT: Final = b"scnr"
PIXEL_CLASSES: Final = ("scnr", "mntr", "spac")
"""Classes of profiles that say what the pixels of an image look like: input, display, colour space."""
CLASS_NAMES: Final = {
    "scnr": "input",
    "mntr": "display",
    "prtr": "output",
    "link": "device link",
    "spac": "colour space",
    "abst": "abstract",
    "nmcl": "named colour",
}
"""Profile classes by their signatures (7.2.5)."""
RGB: Final = b"RGB "
GREY: Final = b"GRAY"
XYZ: Final = b"XYZ "

DESCRIPTION: Final = b"desc"
COPYRIGHT: Final = b"cprt"
MEDIA_WHITE: Final = b"wtpt"
ADAPTATION: Final = b"chad"
COLORANTS: Final = (b"rXYZ", b"gXYZ", b"bXYZ")
CURVES: Final = (b"rTRC", b"gTRC", b"bTRC")
GREY_CURVE: Final = b"kTRC"
TABLES: Final = (b"A2B0", b"A2B1", b"A2B2", b"D2B0", b"D2B1", b"D2B2")
"""Tags that take pixels to the connection space by tables; they go before colourants and curves (8.10)."""

MULTI_LOCALIZED: Final = b"mluc"
TEXT_DESCRIPTION: Final = b"desc"
"""The type of a description in profiles of version 2 (ICC.1:2001-04, 6.5.17)."""
TEXT: Final = b"text"
PARAMETRIC_CURVE: Final = b"para"
SAMPLED_CURVE: Final = b"curv"
ARRAY: Final = b"sf32"

RELATIVE_COLORIMETRIC: Final = 1

Vector = tuple[float, float, float]
Matrix = tuple[Vector, Vector, Vector]

D50: Final[Vector] = (0.9642, 1.0, 0.8249)
"""White of the connection space, XYZ (7.2.16)."""
D50_XY: Final = (0.3457, 0.3585)
D65_XY: Final = (0.3127, 0.3290)
BRADFORD: Final[Matrix] = ((0.8951, 0.2664, -0.1614), (-0.7502, 1.7135, 0.0367), (0.0389, -0.0685, 1.0296))
"""XYZ to cone responses (annex E, table E.1)."""
