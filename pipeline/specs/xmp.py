"""XMP properties that say how a frame was made, in Clark notation ``{namespace}name``.

Source: ISO 16684-1:2019; CIPA DC-010-2020 (EXIF metadata for XMP).
"""

from __future__ import annotations

RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
TIFF = "http://ns.adobe.com/tiff/1.0/"
EXIF = "http://ns.adobe.com/exif/1.0/"
EXIFEX = "http://cipa.jp/exif/1.0/"
AUX = "http://ns.adobe.com/exif/1.0/aux/"
XMP = "http://ns.adobe.com/xap/1.0/"

JPEG_MARKER = b"http://ns.adobe.com/xap/1.0/\0"
"""What an APP1 segment with an XMP packet begins with (XMP part 3, section 1.1.3)."""
JP2_UUID = bytes.fromhex("be7acfcb97a942e89c71999491e3afac")
"""UUID of a JPEG 2000 box with an XMP packet (XMP part 3, section 1.1.4)."""

TIFF_MAKE = f"{{{TIFF}}}Make"
TIFF_MODEL = f"{{{TIFF}}}Model"
EXIF_EXPOSURE_TIME = f"{{{EXIF}}}ExposureTime"
EXIF_F_NUMBER = f"{{{EXIF}}}FNumber"
EXIF_ISO = f"{{{EXIF}}}ISOSpeedRatings"
EXIF_FOCAL_LENGTH = f"{{{EXIF}}}FocalLength"
EXIF_DATE_ORIGINAL = f"{{{EXIF}}}DateTimeOriginal"
EXIFEX_BODY_SERIAL = f"{{{EXIFEX}}}BodySerialNumber"
EXIFEX_LENS_MAKE = f"{{{EXIFEX}}}LensMake"
EXIFEX_LENS_MODEL = f"{{{EXIFEX}}}LensModel"
EXIFEX_LENS_SERIAL = f"{{{EXIFEX}}}LensSerialNumber"
EXIFEX_ISO = f"{{{EXIFEX}}}PhotographicSensitivity"
AUX_SERIAL = f"{{{AUX}}}SerialNumber"
AUX_LENS = f"{{{AUX}}}Lens"
XMP_CREATOR_TOOL = f"{{{XMP}}}CreatorTool"
XMP_MODIFY_DATE = f"{{{XMP}}}ModifyDate"
