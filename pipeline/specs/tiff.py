"""TIFF 6.0, BigTIFF and EXIF 3.0: tag numbers, field types, code tables.

Source: TIFF Revision 6.0 (June 1992), sections 2, 8 and appendix A; BigTIFF as libtiff documents it;
CIPA DC-008-2023 (EXIF 3.0), section 4.6.
"""

from __future__ import annotations

import enum

CLASSIC_MAGIC = 42
BIG_MAGIC = 43

TYPE_FORMATS = {
    1: "B",  # BYTE
    2: "s",  # ASCII
    3: "H",  # SHORT
    4: "I",  # LONG
    5: "II",  # RATIONAL
    6: "b",  # SBYTE
    7: "s",  # UNDEFINED
    8: "h",  # SSHORT
    9: "i",  # SLONG
    10: "ii",  # SRATIONAL
    11: "f",  # FLOAT
    12: "d",  # DOUBLE
    13: "I",  # IFD
    16: "Q",  # LONG8
    17: "q",  # SLONG8
    18: "Q",  # IFD8
    129: "s",  # UTF-8 (EXIF 3.0, section 4.6.2)
}


class Tag(enum.IntEnum):
    """Tags that are read."""

    NEW_SUBFILE_TYPE = 254
    IMAGE_WIDTH = 256
    IMAGE_LENGTH = 257
    BITS_PER_SAMPLE = 258
    COMPRESSION = 259
    PHOTOMETRIC_INTERPRETATION = 262
    MAKE = 271
    MODEL = 272
    STRIP_OFFSETS = 273
    ORIENTATION = 274
    SAMPLES_PER_PIXEL = 277
    ROWS_PER_STRIP = 278
    STRIP_BYTE_COUNTS = 279
    X_RESOLUTION = 282
    Y_RESOLUTION = 283
    PLANAR_CONFIGURATION = 284
    RESOLUTION_UNIT = 296
    SOFTWARE = 305
    DATE_TIME = 306
    ARTIST = 315
    HOST_COMPUTER = 316
    TILE_WIDTH = 322
    TILE_LENGTH = 323
    TILE_OFFSETS = 324
    TILE_BYTE_COUNTS = 325
    SUB_IFDS = 330
    EXTRA_SAMPLES = 338
    SAMPLE_FORMAT = 339
    YCBCR_SUBSAMPLING = 530
    YCBCR_POSITIONING = 531
    XMP = 700
    EXPOSURE_TIME = 33434
    F_NUMBER = 33437
    EXIF_IFD = 34665
    ICC_PROFILE = 34675
    EXPOSURE_PROGRAM = 34850
    GPS_IFD = 34853
    ISO_SPEED_RATINGS = 34855
    ISO_SPEED = 34867
    RECOMMENDED_EXPOSURE_INDEX = 34866
    EXIF_VERSION = 36864
    DATE_TIME_ORIGINAL = 36867
    DATE_TIME_DIGITIZED = 36868
    OFFSET_TIME = 36880
    OFFSET_TIME_ORIGINAL = 36881
    OFFSET_TIME_DIGITIZED = 36882
    EXPOSURE_BIAS_VALUE = 37380
    METERING_MODE = 37383
    LIGHT_SOURCE = 37384
    FLASH = 37385
    FOCAL_LENGTH = 37386
    SENSING_METHOD = 41495
    BODY_SERIAL_NUMBER = 42033
    LENS_MAKE = 42035
    LENS_MODEL = 42036
    LENS_SERIAL_NUMBER = 42037
    RAW_VERSION = 50706
    """Says that the file is a camera raw file in a TIFF wrapper."""


REDUCED_RESOLUTION = 1
"""Bit of NewSubfileType: a smaller version of another image in the file."""

COMPRESSIONS = {
    1: "Uncompressed",
    5: "LZW",
    7: "JPEG",
    8: "Deflate",
    32946: "Deflate",
    32773: "PackBits",
}
"""Schemes that are read, by the names that MIX records use for them (Z39.87, 6.6.1)."""

REFUSED_COMPRESSIONS = {
    2: "CCITT 1D",
    3: "CCITT Group 3",
    4: "CCITT Group 4",
    6: "old-style JPEG",
    34712: "JPEG 2000 inside TIFF",
    34887: "LERC",
    34925: "LZMA",
    50000: "Zstandard",
    50001: "WebP",
    52546: "JPEG XL",
}

PHOTOMETRICS = {0: "WhiteIsZero", 1: "BlackIsZero", 2: "RGB", 6: "YCbCr"}
"""Interpretations that are read, by their names in MIX records (Z39.87, 7.1.3.1)."""

REFUSED_PHOTOMETRICS = {
    3: "a colour palette",
    4: "a transparency mask",
    5: "CMYK",
    8: "CIELab",
    9: "ICCLab",
    10: "ITULab",
    32803: "the raw mosaic of a sensor",
    34892: "linear raw data of a sensor",
}

SAMPLE_FORMAT_UNSIGNED = 1
SAMPLE_FORMATS = {1: "unsigned integer", 2: "signed integer", 3: "floating point", 4: "undefined"}

RESOLUTION_NONE, RESOLUTION_INCH, RESOLUTION_CENTIMETRE = 1, 2, 3

PLACEHOLDERS_PPI = frozenset((1.0, 72.0, 96.0))
"""What software writes where it knows no resolution: a whole number, or a screen's (common practice)."""


def is_placeholder(ppi: float) -> bool:
    """True for a resolution that says nothing of the object; per centimetre, 72 ppi may be 72.009."""
    return round(ppi, 1) in PLACEHOLDERS_PPI


SPEED_ELSEWHERE = 65535
"""ISOSpeedRatings: too large for the field, see RecommendedExposureIndex or ISOSpeed."""
