"""MIX 2.0: namespace, enumerations, and the terms that stand for TIFF and EXIF codes.

Source: NISO Metadata for Images in XML, schema version 2.0 (2008), of ANSI/NISO Z39.87-2006; section
numbers are those of Z39.87.
"""

from __future__ import annotations

from pipeline.model import Algorithm, ResolutionUnit

NAMESPACE = "http://www.loc.gov/mix/v20"
PREFIX = "mix"
VERSION = "2.0"
"""MDTYPEVERSION of a record in METS."""
SCHEMA_LOCATION = "http://www.loc.gov/standards/mix/mix20/mix20.xsd"

DIGEST_ALGORITHMS = {
    Algorithm.SHA512: "SHA-512",
    Algorithm.SHA256: "SHA-256",
    Algorithm.SHA1: "SHA-1",
    Algorithm.MD5: "MD5",
}
"""messageDigestAlgorithm (6.7.1)."""

BYTE_ORDERS = frozenset(("big endian", "little endian"))
"""byteOrder (6.5)."""

SUBSAMPLINGS = frozenset((1, 2, 4))
"""yCbCrSubsampleHoriz and yCbCrSubsampleVert (7.1.3.3.1)."""
POSITIONINGS = frozenset((1, 2))
"""yCbCrPositioning: centred, co-sited (7.1.3.3.2)."""

MILLIMETRE = "mm"
"""One of the two units of a source's dimensions, the other being the inch (8.1.3)."""

TRANSMISSION_SCANNER = "transmission scanner"
REFLECTION_SCANNER = "reflection print scanner"
DIGITAL_STILL_CAMERA = "digital still camera"
"""captureDevice (8.2.3)."""

SCANNER_SENSORS = frozenset(
    (
        "undefined",
        "MonochromeLinear",
        "ColorTriLinear",
        "ColorSequentialLinear",
        "MonochromeArea",
        "OneChipColourArea",
        "TwoChipColorArea",
        "ThreeChipColorArea",
        "ColorSequentialArea",
    )
)
"""scannerSensor (8.3.4); one of them is spelled in the British way."""

CAMERA_SENSORS = frozenset(
    (
        "undefined",
        "MonochromeArea",
        "OneChipColorArea",
        "TwoChipColorArea",
        "ThreeChipColorArea",
        "MonochromeLinear",
        "ColorTriLinear",
        "ColorSequentialLinear",
    )
)
"""cameraSensor (8.4.3)."""

EXIF_VERSIONS = frozenset(("0220", "0221", "0230"))
"""exifVersion (8.4.4.1.7); files of later versions of EXIF have none that is valid."""

EXPOSURE_PROGRAMS = {
    0: "Not defined",
    1: "Manual",
    2: "Normal program",
    3: "Aperture priority",
    4: "Shutter priority",
    5: "Creative program (biased toward depth of field)",
    6: "Action program (biased toward fast shutter speed)",
    7: "Portrait mode (for closeup photos with the background out of focus)",
    8: "Landscape mode (for landscape photos with the background in focus)",
}
"""exposureProgram by EXIF 34850 (8.4.4.1.3)."""

METERING_MODES = {
    1: "Average",
    2: "Center weighted average",
    3: "Spot",
    4: "Multispot",
    5: "Pattern",
    6: "Partial",
}
"""meteringMode by EXIF 37383 (8.4.4.1.14); there is no term for unknown (0) and other (255)."""

LIGHT_SOURCES = {
    0: "unknown",
    1: "Daylight",
    2: "Fluorescent",
    3: "Tungsten (incandescent light)",
    4: "Flash",
    9: "Fine weather",
    10: "Cloudy weather",
    11: "Shade",
    12: "Daylight fluorescent (D 5700 - 7100K)",
    13: "Day white fluorescent (N 4600 - 5400K)",
    14: "Cool white fluorescent (W 3900 - 4500K)",
    15: "White fluorescent (WW 3200 - 3700K)",
    17: "Standard light A",
    18: "Standard light B",
    19: "Standard light C",
    20: "D55",
    21: "D65",
    22: "D75",
    23: "D50",
    24: "ISO studio tungsten",
    255: "other light source",
}
"""lightSource by EXIF 37384 (8.4.4.1.15)."""

FLASHES = {
    0x00: "Flash did not fire",
    0x01: "Flash fired",
    0x05: "Strobe return light not detected",
    0x07: "Strobe return light detected",
    0x09: "Flash fired, compulsory flash mode",
    0x0D: "Flash fired, compulsory flash mode, return light not detected",
    0x0F: "Flash fired, compulsory flash mode, return light detected",
    0x10: "Flash did not fire, compulsory flash mode",
    0x18: "Flash did not fire, auto mode",
    0x19: "Flash fired, auto mode",
    0x1D: "Flash fired, auto mode, return light not detected",
    0x1F: "Flash fired, auto mode, return light detected",
    0x20: "No flash function",
    0x41: "Flash fired, red-eye reduction mode",
    0x45: "Flash fired, red-eye reduction mode, return light not detected",
    0x47: "Flash fired, red-eye reduction mode, return light detected",
    0x49: "Flash fired, compulsory flash mode, red-eye reduction mode",
    0x4D: "Flash fired, compulsory flash mode, red-eye reduction mode, return light not detected",
    0x4F: "Flash fired, compulsory flash mode, red-eye reduction mode, return light detected",
    0x59: "Flash fired, auto mode, red-eye reduction mode",
    0x5D: "Flash fired, auto mode, return light not detected, red-eye reduction mode",
    0x5F: "Flash fired, auto mode, return light detected, red-eye reduction mode",
}
"""flash by EXIF 37385 (8.4.4.1.16)."""

SENSING_METHODS = {
    1: "Not defined",
    2: "One-chip color area sensor",
    3: "Two-chip color area sensor",
    4: "Three-chip color area sensor",
    5: "Color sequential area sensor",
    7: "Trilinear sensor",
    8: "Color sequential linear sensor",
}
"""sensingMethod by EXIF 41495 (8.4.4.1.21)."""

ORIENTATIONS = {
    1: "normal*",
    2: "normal, image flipped",
    3: "normal, rotated 180°",
    4: "normal, image flipped, rotated 180°",
    5: "normal, image flipped, rotated cw 90°",
    6: "normal, rotated ccw 90°",
    7: "normal, image flipped, rotated ccw 90°",
    8: "normal, rotated cw 90°",
}
"""orientation by TIFF 274 (8.5); the asterisk is part of the term."""
UNKNOWN_ORIENTATION = "unknown"

OBJECT_PLANE = "object plane"
"""samplingFrequencyPlane: the resolution counts pixels on the thing in front of the lens (9.1.1)."""

SAMPLING_UNITS = {
    ResolutionUnit.NONE: "no absolute unit of measurement",
    ResolutionUnit.INCH: "in.",
    ResolutionUnit.CENTIMETRE: "cm",
}
"""samplingFrequencyUnit (9.1.2)."""

INTEGER_SAMPLES = "integer"
"""bitsPerSampleUnit (9.2.1.2); masters with floating-point samples are refused."""

EXTERNAL_TARGET = "external"
INTERNAL_TARGET = "internal"
"""targetType: the target was photographed in a frame of its own, or is in this one (9.3.1)."""

# ------------------------------------------------------------------------- what records of others may have

NAMESPACE_1 = "http://www.loc.gov/mix/v10"
"""MIX 1.0: recognised only."""

PHOTOMETRICS = {
    "whiteiszero": "WhiteIsZero",
    "blackiszero": "BlackIsZero",
    "rgb": "RGB",
    "srgb": "RGB",
    "adobergb": "RGB",
    "ycbcr": "YCbCr",
    "sycc": "YCbCr",
    "gray": "grey",
    "grey": "grey",
    "grayscale": "grey",
    "greyscale": "grey",
    "palettecolor": "PaletteColor",
    "transparencymask": "TransparencyMask",
    "cmyk": "CMYK",
    "cielab": "CIELab",
    "0": "WhiteIsZero",
    "1": "BlackIsZero",
    "2": "RGB",
    "3": "PaletteColor",
    "4": "TransparencyMask",
    "5": "CMYK",
    "6": "YCbCr",
    "8": "CIELab",
}
"""colorSpace (7.1.3.1), free text: usual wordings, letters and digits alone in lower case, and TIFF codes."""
GREY = "grey"
"""What stands for BlackIsZero and WhiteIsZero alike."""

COMPRESSIONS = {
    "uncompressed": "Uncompressed",
    "none": "Uncompressed",
    "nocompression": "Uncompressed",
    "unkomprimiert": "Uncompressed",
    "ccitt1d": "CCITT 1D",
    "ccittgroup3": "CCITT Group 3",
    "group3fax": "CCITT Group 3",
    "ccittgroup4": "CCITT Group 4",
    "group4fax": "CCITT Group 4",
    "lzw": "LZW",
    "jpeg": "JPEG",
    "jpegbaseline": "JPEG",
    "jpegprogressive": "JPEG",
    "deflate": "Deflate",
    "adobedeflate": "Deflate",
    "zip": "Deflate",
    "packbits": "PackBits",
    "jpeg2000": "JPEG 2000",
    "jpeg2000lossy": "JPEG 2000",
    "jpeg2000lossless": "JPEG 2000",
    "jp2": "JPEG 2000",
    "1": "Uncompressed",
    "2": "CCITT 1D",
    "3": "CCITT Group 3",
    "4": "CCITT Group 4",
    "5": "LZW",
    "7": "JPEG",
    "8": "Deflate",
    "32773": "PackBits",
    "32946": "Deflate",
    "34712": "JPEG 2000",
}
"""compressionScheme (6.6.1), free text: usual wordings as above, and TIFF codes."""
