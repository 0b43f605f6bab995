"""What the rules of this stage cite, each publication written once."""

from __future__ import annotations

COMMON_PRACTICE = "common practice, no single source"
SPECIFICATION = "the imaging specification in use"
"""Stands in the table of rules; a finding cites the specification's own source."""

BAG_NAMES = "RFC 8493, section 6.1, and the names that common file systems reserve"
BAG_PATHS = "RFC 8493, section 2.1.3"
FADGI_NAMES = (
    "FADGI, Technical Guidelines for Digitizing Cultural Heritage Materials, September 2016, file naming"
)
TIFF_RESOLUTION = "TIFF 6.0, section 8, XResolution, YResolution, ResolutionUnit"
TIFF_ORIENTATION = "TIFF 6.0, section 8, Orientation"
TIFF_DATE_TIME = "TIFF 6.0, section 8, DateTime; Exif 3.0, DateTimeOriginal and DateTimeDigitized"
EXIF_CAMERA = "Exif 3.0, Make, Model, LensMake, LensModel"
EXIF_TIME = "Exif 3.0, DateTimeOriginal, DateTimeDigitized"
EXIF_GPS = "Exif 3.0, GPS directory"
ICC_CLASS = "ICC.1:2022, section 7.2.5, profile device class"
ICC_EMBEDDED = "ICC.1:2022, annex B, embedded profiles"
