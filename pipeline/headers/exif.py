"""What EXIF and XMP say of how a frame was made.

EXIF is asked first; XMP fills what EXIF leaves open. Location is noticed, never read.

Source: EXIF 3.0, section 4.6; XMP part 2 (ISO 16684-1) for the properties of the same name.
"""

from __future__ import annotations

import datetime as dt
import io
import re
from collections.abc import Iterable
from fractions import Fraction

from pipeline import xmldoc
from pipeline.errors import PipelineError
from pipeline.headers.tiff import Directory, TiffReader
from pipeline.model import CaptureFacts
from pipeline.specs import xmp as names
from pipeline.specs.tiff import SPEED_ELSEWHERE, Tag

_EXIF_DATE = re.compile(r"(\d{4}):(\d\d):(\d\d)[ T](\d\d):(\d\d):(\d\d)")
_ZONE = re.compile(r"[+-]\d\d:\d\d|Z")


def capture_facts(main: Directory | None, xmp: bytes = b"") -> CaptureFacts:
    """Return what the main directory, its EXIF directory and an XMP packet say."""
    also = _xmp_properties(xmp) if xmp else {}
    if main is None:
        return _from_xmp(also)
    try:
        exif = main.below(Tag.EXIF_IFD)
    except PipelineError:
        exif = None  # a broken EXIF block is no reason to refuse the picture
    exif = exif or Directory(main.reader)
    other = _from_xmp(also)
    return CaptureFacts(
        make=main.text(Tag.MAKE) or other.make,
        model=main.text(Tag.MODEL) or other.model,
        body_serial=exif.text(Tag.BODY_SERIAL_NUMBER) or other.body_serial,
        lens_make=exif.text(Tag.LENS_MAKE) or other.lens_make,
        lens_model=exif.text(Tag.LENS_MODEL) or other.lens_model,
        lens_serial=exif.text(Tag.LENS_SERIAL_NUMBER) or other.lens_serial,
        exposure_time_s=exif.fraction(Tag.EXPOSURE_TIME) or other.exposure_time_s,
        f_number=exif.fraction(Tag.F_NUMBER) or other.f_number,
        iso_speed=_speed(exif) or other.iso_speed,
        focal_length_mm=exif.fraction(Tag.FOCAL_LENGTH) or other.focal_length_mm,
        exposure_program=exif.number(Tag.EXPOSURE_PROGRAM),
        exposure_bias=exif.rational(Tag.EXPOSURE_BIAS_VALUE),
        metering_mode=exif.number(Tag.METERING_MODE),
        light_source=exif.number(Tag.LIGHT_SOURCE),
        flash=exif.number(Tag.FLASH),
        sensing_method=exif.number(Tag.SENSING_METHOD),
        exif_version=exif.text(Tag.EXIF_VERSION),
        captured_at=_captured_at(exif) or other.captured_at,
        changed_at=_iso(main.text(Tag.DATE_TIME), exif.text(Tag.OFFSET_TIME)) or other.changed_at,
        software=main.text(Tag.SOFTWARE) or other.software,
        artist=main.text(Tag.ARTIST),
        host_computer=main.text(Tag.HOST_COMPUTER),
        has_location=Tag.GPS_IFD in main or other.has_location,
    )


def directory_of_block(block: bytes, *, name: str) -> Directory | None:
    """Return the main directory of an EXIF block as other formats carry it; None if it is broken."""
    try:
        return next(TiffReader(io.BytesIO(block), name=name, is_block=True).directories(), None)
    except PipelineError:
        return None


def orientation(main: Directory | None) -> int:
    """Return the orientation, 1 to 8; 1 for one that is absent or unknown (TIFF 6.0, tag 274)."""
    value = main.number(Tag.ORIENTATION) if main else None
    return value if value in range(1, 9) and value else 1


def _speed(exif: Directory) -> int | None:
    speed = exif.number(Tag.ISO_SPEED_RATINGS)
    if speed == SPEED_ELSEWHERE:
        speed = exif.number(Tag.RECOMMENDED_EXPOSURE_INDEX) or exif.number(Tag.ISO_SPEED)
    return speed or None


def _captured_at(exif: Directory) -> str:
    return _iso(exif.text(Tag.DATE_TIME_DIGITIZED), exif.text(Tag.OFFSET_TIME_DIGITIZED)) or _iso(
        exif.text(Tag.DATE_TIME_ORIGINAL), exif.text(Tag.OFFSET_TIME_ORIGINAL)
    )


def _iso(date: str, zone: str) -> str:
    found = _EXIF_DATE.match(date)
    return _moment(found.groups(), zone) if found else ""


def _moment(parts: Iterable[str], zone: str) -> str:
    """Return ISO 8601, or nothing for a date that there never was."""
    try:
        year, month, day, hour, minute, second = (int(part) for part in parts)
        moment = dt.datetime(year, month, day, hour, minute, second)
    except ValueError:
        return ""
    return moment.isoformat() + (zone if _ZONE.fullmatch(zone) else "")


# ------------------------------------------------------------------------------------------------ XMP


def _xmp_properties(packet: bytes) -> dict[str, str]:
    """Return the simple properties of a packet: attributes and elements of its descriptions."""
    try:
        root = xmldoc.parse(packet.strip(b"\0 \r\n\t"), name="XMP")
    except PipelineError:
        return {}
    found: dict[str, str] = {}
    for description in root.iter(f"{{{names.RDF}}}Description"):
        found |= {str(key): str(value) for key, value in description.attrib.items()}
        for child in description:
            if isinstance(child.tag, str):
                found.setdefault(child.tag, "".join(map(str, child.itertext())).strip())
    return found


def _from_xmp(found: dict[str, str]) -> CaptureFacts:
    def text(*keys: str) -> str:
        return next((found[key].strip() for key in keys if found.get(key)), "")

    return CaptureFacts(
        make=text(names.TIFF_MAKE),
        model=text(names.TIFF_MODEL),
        body_serial=text(names.EXIFEX_BODY_SERIAL, names.AUX_SERIAL),
        lens_make=text(names.EXIFEX_LENS_MAKE),
        lens_model=text(names.EXIFEX_LENS_MODEL, names.AUX_LENS),
        lens_serial=text(names.EXIFEX_LENS_SERIAL),
        exposure_time_s=_fraction(text(names.EXIF_EXPOSURE_TIME)),
        f_number=_fraction(text(names.EXIF_F_NUMBER)),
        iso_speed=int(speed) if (speed := text(names.EXIF_ISO, names.EXIFEX_ISO)).isdecimal() else None,
        focal_length_mm=_fraction(text(names.EXIF_FOCAL_LENGTH)),
        captured_at=_xmp_date(text(names.EXIF_DATE_ORIGINAL)),
        changed_at=_xmp_date(text(names.XMP_MODIFY_DATE)),
        software=text(names.XMP_CREATOR_TOOL),
        has_location=any(key.startswith(f"{{{names.EXIF}}}GPS") for key in found),
    )


def _fraction(text: str) -> Fraction | None:
    try:
        return Fraction(text) or None
    except (ValueError, ZeroDivisionError):
        return None


def _xmp_date(text: str) -> str:
    found = re.match(r"(\d{4})-(\d\d)-(\d\d)T(\d\d):(\d\d)(?::(\d\d))?", text)
    if not found:
        return ""
    zone = _ZONE.search(text[found.end() :])
    return _moment((part or "0" for part in found.groups()), zone[0] if zone else "")
