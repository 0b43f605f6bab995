"""PRONOM: under which keys a format registry knows the formats of masters, and which version they have.

A format whose version a header does not tell has no entry: what cannot be known is left out.

Source: PRONOM technical registry (DROID signature file), entries fmt/353 and x-fmt/392; a classic TIFF
has no version mark, ``6.0`` is the convention (TIFF Revision 6.0, June 1992).
"""

from __future__ import annotations

from pipeline.model import MasterFormat

REGISTRY = "PRONOM"

KEYS = {
    MasterFormat.TIFF: "fmt/353",
    MasterFormat.JP2: "x-fmt/392",
}
"""Registry keys by format."""

VERSIONS = {MasterFormat.TIFF: "6.0"}
"""Versions by format."""

FORMATS = {
    "fmt/353": MasterFormat.TIFF,
    "fmt/41": MasterFormat.JPEG,
    "fmt/42": MasterFormat.JPEG,
    "fmt/43": MasterFormat.JPEG,
    "fmt/44": MasterFormat.JPEG,
    "x-fmt/392": MasterFormat.JP2,
    "fmt/11": MasterFormat.PNG,
    "fmt/12": MasterFormat.PNG,
    "fmt/13": MasterFormat.PNG,
}
"""Formats by the keys that records of others may give; a key that is not here says nothing."""

NAMES = {
    "imagetiff": MasterFormat.TIFF,
    "tiff": MasterFormat.TIFF,
    "tif": MasterFormat.TIFF,
    "taggedimagefileformat": MasterFormat.TIFF,
    "bigtiff": MasterFormat.BIGTIFF,
    "imagejpeg": MasterFormat.JPEG,
    "imagejpg": MasterFormat.JPEG,
    "jpeg": MasterFormat.JPEG,
    "jpg": MasterFormat.JPEG,
    "jfif": MasterFormat.JPEG,
    "jpegfileinterchangeformat": MasterFormat.JPEG,
    "imagejp2": MasterFormat.JP2,
    "imagejpx": MasterFormat.JP2,
    "jpeg2000": MasterFormat.JP2,
    "jp2": MasterFormat.JP2,
    "jp2jpeg2000part1": MasterFormat.JP2,
    "imagepng": MasterFormat.PNG,
    "png": MasterFormat.PNG,
    "portablenetworkgraphics": MasterFormat.PNG,
}
"""Formats by the names in use, letters and digits alone in lower case."""
