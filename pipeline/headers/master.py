"""What a master is, from its first bytes on; what is not taken as a master is refused by name."""

from __future__ import annotations

import struct
from dataclasses import dataclass, replace
from pathlib import Path, PurePath
from typing import BinaryIO

from pipeline import icc
from pipeline.errors import InputError, MasterError
from pipeline.headers import jpeg, jpeg2000, png
from pipeline.headers.exif import capture_facts, orientation
from pipeline.headers.tiff import Directory, TiffReader
from pipeline.master_names import RAW_SUFFIXES
from pipeline.model import IccFacts, MasterFacts, MasterFormat, ResolutionUnit
from pipeline.specs import tiff as facts_of_tiff
from pipeline.specs.tiff import Tag

_EXPORT = "export it as an uncompressed or LZW TIFF, 16 bit, RGB or grey, with its ICC profile"
_SIGNATURES = (
    (b"\xff\xd8\xff", MasterFormat.JPEG),
    (b"\x89PNG\r\n\x1a\n", MasterFormat.PNG),
    (b"\0\0\0\x0cjP  \r\n\x87\n", MasterFormat.JP2),
)
_REFUSED_SIGNATURES = (
    (b"\xff\x4f\xff\x51", "a bare JPEG 2000 codestream"),
    (b"GIF8", "a GIF image"),
    (b"BM", "a BMP image"),
    (b"%PDF", "a PDF document"),
    (b"8BPS", "a layered image of an image editor"),
    (b"\xff\x0a", "a JPEG XL image"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """What was read from a master's header."""

    facts: MasterFacts
    icc_profile: bytes
    """The embedded profile; empty if there is none."""
    page: int = 0
    """Which directory of a TIFF holds the picture; others are its smaller versions."""


def read_header(path: Path) -> Header:
    """Return what the header of the master at `path` says.

    Raises MasterError for a file that is broken in its header or of a kind that is refused: camera raw,
    palettes, alpha, CMYK, Lab, floating point, several pages, depths other than 8 and 16 bits …
    """
    try:
        with path.open("rb") as file:
            return read_header_of(file, path.name)
    except OSError as error:
        raise MasterError(f"{path.name}: cannot be read ({error.strerror or error})") from error


def read_header_of(file: BinaryIO, name: str) -> Header:
    """Return what the header of an open, seekable file says, as `read_header` does. Raises OSError too."""
    try:
        return _read(file, name)
    except struct.error as error:
        raise MasterError(f"{name}: is cut off or damaged in its header") from error


def is_image(head: bytes) -> bool:
    """True if a file that begins with these 16 bytes is of a kind that is taken as a master."""
    known = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+", *(signature for signature, _ in _SIGNATURES))
    return head.startswith(known)


def _read(file: BinaryIO, name: str) -> Header:
    file.seek(0)
    head = file.read(16)
    size_bytes = file.seek(0, 2)
    if not head:
        raise MasterError(f"{name}: is empty; copy it again from its source")
    if PurePath(name).suffix.lower() in RAW_SUFFIXES:
        raise MasterError(f"{name}: is a camera raw file, not a finished master; {_EXPORT}")
    kind = next((kind for signature, kind in _SIGNATURES if head.startswith(signature)), None)
    match kind:
        case MasterFormat.JPEG:
            facts, profile = jpeg.read(file, name=name, size_bytes=size_bytes)
        case MasterFormat.PNG:
            facts, profile = png.read(file, name=name, size_bytes=size_bytes)
        case MasterFormat.JP2:
            facts, profile = jpeg2000.read(file, name=name, size_bytes=size_bytes)
        case _ if head[:2] in (b"II", b"MM"):
            return _tiff(file, name, size_bytes)
        case _:
            what = next(
                (what for sign, what in _REFUSED_SIGNATURES if head.startswith(sign)),
                "not an image that is known",
            )
            raise MasterError(f"{name}: is {what}, expected TIFF, JPEG 2000, PNG or JPEG; {_EXPORT}")
    return _finish(facts, profile, name)


def _tiff(file: BinaryIO, name: str, size_bytes: int) -> Header:
    reader = TiffReader(file, name=name)
    directories = list(reader.directories())
    if any(Tag.RAW_VERSION in each for each in directories):
        raise MasterError(f"{name}: is a camera raw file, not a finished master; {_EXPORT}")
    full = [i for i, each in enumerate(directories) if not _is_reduced(each)]
    if not full:
        raise MasterError(f"{name}: holds only reduced images, as camera raw files do; {_EXPORT}")
    if len(full) > 1:
        raise MasterError(
            f"{name}: holds {len(full)} images, expected one; save each page as a file of its own"
        )
    main = directories[full[0]]
    facts = _tiff_facts(reader, main, name, size_bytes)
    return _finish(facts, main.data(Tag.ICC_PROFILE), name, page=full[0])


def _is_reduced(directory: Directory) -> bool:
    return bool((directory.number(Tag.NEW_SUBFILE_TYPE) or 0) & facts_of_tiff.REDUCED_RESOLUTION)


def _tiff_facts(reader: TiffReader, main: Directory, name: str, size_bytes: int) -> MasterFacts:
    width_px, height_px = main.number(Tag.IMAGE_WIDTH), main.number(Tag.IMAGE_LENGTH)
    if not width_px or not height_px:
        raise MasterError(f"{name}: does not say how large its picture is; the file is damaged")
    samples = main.number(Tag.SAMPLES_PER_PIXEL, 1) or 1
    bits = main.numbers(Tag.BITS_PER_SAMPLE) or (1,)
    unit = main.number(Tag.RESOLUTION_UNIT)
    photometric = _photometric(main, name)
    subsampling = main.numbers(Tag.YCBCR_SUBSAMPLING) if photometric == "YCbCr" else ()
    _refuse_samples(main, samples, name)
    return MasterFacts(
        format=MasterFormat.BIGTIFF if reader.is_big else MasterFormat.TIFF,
        media_type="image/tiff",
        size_bytes=size_bytes,
        width_px=width_px,
        height_px=height_px,
        bits_per_sample=bits if len(bits) == samples else bits[:1] * samples,
        photometric=photometric,
        compression=_compression(main, name),
        byte_order=reader.byte_order,
        orientation=orientation(main),
        resolution_unit=_unit(unit, Tag.X_RESOLUTION in main),
        x_resolution=main.rational(Tag.X_RESOLUTION),
        y_resolution=main.rational(Tag.Y_RESOLUTION),
        ycbcr_subsampling=(subsampling[0], subsampling[1]) if len(subsampling) == 2 else None,
        ycbcr_positioning=main.number(Tag.YCBCR_POSITIONING) if photometric == "YCbCr" else None,
        is_tiled=Tag.TILE_WIDTH in main,
        capture=capture_facts(main, main.data(Tag.XMP)),
    )


def _unit(code: int | None, has_resolution: bool) -> ResolutionUnit:
    if code is None and has_resolution:
        return ResolutionUnit.INCH  # TIFF 6.0: inch when the field is absent
    units = {
        facts_of_tiff.RESOLUTION_INCH: ResolutionUnit.INCH,
        facts_of_tiff.RESOLUTION_CENTIMETRE: ResolutionUnit.CENTIMETRE,
    }
    return units.get(code or 0, ResolutionUnit.NONE)


def _compression(main: Directory, name: str) -> str:
    code = main.number(Tag.COMPRESSION, 1) or 1
    if known := facts_of_tiff.COMPRESSIONS.get(code):
        return known
    what = facts_of_tiff.REFUSED_COMPRESSIONS.get(code, f"scheme {code}")
    raise MasterError(
        f"{name}: is compressed with {what}, expected uncompressed, LZW, Deflate, PackBits or JPEG; {_EXPORT}"
    )


def _photometric(main: Directory, name: str) -> str:
    code = main.number(Tag.PHOTOMETRIC_INTERPRETATION)
    if code is not None and (known := facts_of_tiff.PHOTOMETRICS.get(code)):
        return known
    what = facts_of_tiff.REFUSED_PHOTOMETRICS.get(code or -1, f"colour model {code}")
    raise MasterError(f"{name}: holds {what}, expected RGB or grey; {_EXPORT}")


def _refuse_samples(main: Directory, samples: int, name: str) -> None:
    formats = set(main.numbers(Tag.SAMPLE_FORMAT) or (facts_of_tiff.SAMPLE_FORMAT_UNSIGNED,))
    if formats != {facts_of_tiff.SAMPLE_FORMAT_UNSIGNED}:
        found = facts_of_tiff.SAMPLE_FORMATS.get(max(formats), f"sample format {max(formats)}")
        raise MasterError(f"{name}: has {found} samples, expected unsigned integers; {_EXPORT}")
    if Tag.EXTRA_SAMPLES in main or samples not in (1, 3):
        what = "an alpha or extra channel" if Tag.EXTRA_SAMPLES in main else f"{samples} channels"
        raise MasterError(f"{name}: has {what}, expected RGB or grey alone; flatten it, or {_EXPORT}")


def _finish(facts: MasterFacts, profile: bytes, name: str, *, page: int = 0) -> Header:
    if set(facts.bits_per_sample) not in ({8}, {16}):
        found = ", ".join(str(bits) for bits in sorted(set(facts.bits_per_sample)))
        raise MasterError(f"{name}: has {found} bits per sample, expected 8 or 16; {_EXPORT}")
    if not facts.width_px or not facts.height_px:
        raise MasterError(f"{name}: is {facts.width_px} by {facts.height_px} pixels; the file is damaged")
    described = _profile_facts(profile, name) if profile else None
    if described and described.colour_space != ("GRAY" if facts.is_grey else "RGB"):
        raise MasterError(
            f"{name}: carries a profile for {described.colour_space} data, but its picture is "
            f"{'grey' if facts.is_grey else 'RGB'}; {_EXPORT}"
        )
    return Header(facts=replace(facts, icc=described), icc_profile=profile, page=page)


def _profile_facts(profile: bytes, name: str) -> IccFacts:
    try:
        return icc.read_profile(profile)
    except InputError as error:
        raise MasterError(f"{name}: its ICC profile is broken ({error}); {_EXPORT}") from error
