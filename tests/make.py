"""Builds small masters of every kind, by libraries other than the one under test, and damages them."""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from pipeline import icc

Pixels = NDArray[np.uint8] | NDArray[np.uint16]


def picture(width_px: int = 97, height_px: int = 61, *, bits: int = 16, samples: int = 3) -> Pixels:
    """A picture with gradients and detail, in which no two rows or columns are alike."""
    y, x = np.mgrid[0:height_px, 0:width_px].astype(np.float64)
    waves = [np.sin(x / 7 + band) * np.cos(y / (11 + band)) for band in range(samples)]
    values = np.stack(
        [0.5 + 0.3 * wave + 0.1 * x / width_px + 0.1 * y / height_px for wave in waves], axis=-1
    )
    top = 2**bits - 1
    kind = np.uint16 if bits == 16 else np.uint8
    whole: Pixels = np.clip(values * 0.9 * top, 0, top).round().astype(kind)
    return whole if samples > 1 else whole[:, :, 0]


@dataclass(frozen=True, kw_only=True)
class TiffKind:
    """One way to store a picture as TIFF."""

    name: str
    bits: int = 16
    samples: int = 3
    byteorder: str = "<"
    bigtiff: bool = False
    compression: str | None = None
    tile: tuple[int, int] | None = None
    planar: bool = False
    resolution: tuple[float, float] | None = (600, 600)
    unit: str = "INCH"
    white_is_zero: bool = False


TIFF_KINDS = (
    TiffKind(name="plain"),
    TiffKind(name="big-endian", byteorder=">"),
    TiffKind(name="bigtiff", bigtiff=True),
    TiffKind(name="bigtiff-big-endian", bigtiff=True, byteorder=">"),
    TiffKind(name="tiled", tile=(32, 48)),
    TiffKind(name="tiled-bigtiff", tile=(32, 48), bigtiff=True),
    TiffKind(name="8-bit", bits=8),
    TiffKind(name="8-bit-big-endian", bits=8, byteorder=">"),
    TiffKind(name="grey-16", samples=1),
    TiffKind(name="grey-8", samples=1, bits=8),
    TiffKind(name="grey-white-is-zero", samples=1, bits=8, white_is_zero=True),
    TiffKind(name="lzw", compression="lzw"),
    TiffKind(name="lzw-8-tiled", compression="lzw", bits=8, tile=(32, 32)),
    TiffKind(name="deflate", compression="zlib"),
    TiffKind(name="deflate-big-endian", compression="zlib", byteorder=">"),
    TiffKind(name="packbits", compression="packbits"),
    TiffKind(name="jpeg", compression="jpeg", bits=8),
    TiffKind(name="planar", planar=True),
    TiffKind(name="centimetre", resolution=(236.22, 236.22), unit="CENTIMETER"),
    TiffKind(name="no-unit", unit="NONE"),
)


def tiff(path: Path, kind: TiffKind = TIFF_KINDS[0], *, pixels: Pixels | None = None, **options: Any) -> Path:
    """Write a TIFF master with tifffile. `options` go to its writer and win."""
    image = picture(bits=kind.bits, samples=kind.samples) if pixels is None else pixels
    grey = kind.samples == 1
    arguments: dict[str, Any] = {
        "photometric": "miniswhite" if kind.white_is_zero else "minisblack" if grey else "rgb",
        "compression": kind.compression,
        "tile": kind.tile,
        "resolution": kind.resolution,
        "resolutionunit": kind.unit,
        "iccprofile": icc.grey_profile() if grey else icc.wide_gamut_profile(),
        "planarconfig": "separate" if kind.planar else None,
        "rowsperstrip": None if kind.tile else 16,
        "metadata": None,
        "software": "Exporter 3.1",
    }
    if kind.planar:
        image = np.moveaxis(image, -1, 0)
    tifffile.imwrite(path, image, byteorder=kind.byteorder, bigtiff=kind.bigtiff, **(arguments | options))
    return path


def tiff_with_exif(path: Path) -> Path:
    """Write a TIFF whose EXIF directory holds capture data of an invented camera."""
    exif = Image.Exif()
    exif[271], exif[272], exif[305] = "Kestrelworks", "KW 100 back", "Exporter 3.1"
    exif[306], exif[315] = "2026:03:10 08:00:00", "imaging unit"
    exif.get_ifd(34665).update(
        {
            33434: IFDRational(1, 125),
            33437: IFDRational(8),
            34850: 1,
            34855: 50,
            36864: b"0230",
            36867: "2026:03:09 10:11:12",
            36868: "2026:03:09 10:11:12",
            36881: "+01:00",
            36882: "+01:00",
            37380: IFDRational(-1, 3),
            37383: 3,
            37384: 4,
            37385: 1,
            37386: IFDRational(120),
            41495: 2,
            42033: "KW-0417",
            42035: "Kestrelworks",
            42036: "Macro 120",
            42037: "L-77",
        }
    )
    exif.get_ifd(34853).update({1: "N", 2: (IFDRational(50), IFDRational(0), IFDRational(0))})
    exif[34665] = exif[34853] = 0  # that they are there; Pillow fills in where
    image = Image.fromarray(picture(bits=8))
    image.save(path, format="TIFF", exif=exif, icc_profile=icc.srgb_profile(), dpi=(400, 400))
    return path


def jpeg(path: Path, **options: Any) -> Path:
    """Write a JPEG master with Pillow."""
    arguments = {"quality": 95, "icc_profile": icc.srgb_profile(), "dpi": (300, 300)} | options
    Image.fromarray(picture(bits=8)).save(path, format="JPEG", **arguments)
    return path


def png(path: Path, *, bits: int = 8, samples: int = 3) -> Path:
    """Write a PNG master: Pillow for 8 bits, imagecodecs for 16."""
    image = picture(bits=bits, samples=samples)
    if bits == 16:
        path.write_bytes(imagecodecs.png_encode(image))
    else:
        profile = icc.grey_profile() if samples == 1 else icc.srgb_profile()
        Image.fromarray(image).save(path, format="PNG", icc_profile=profile, dpi=(300, 300))
    return path


def jp2(path: Path, *, bits: int = 16, samples: int = 3, reversible: bool = True) -> Path:
    """Write a JPEG 2000 master with imagecodecs."""
    image = picture(bits=bits, samples=samples)
    path.write_bytes(
        imagecodecs.jpeg2k_encode(
            image, reversible=reversible, level=0 if reversible else 45, codecformat="jp2"
        )
    )
    return path


def cut(path: Path, keep: float) -> Path:
    """Cut a file off; `keep` is the share that is left."""
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * keep)])
    return path


def flip(path: Path, at: int, *, mask: int = 0xFF) -> Path:
    """Change one byte in place: always to another value."""
    data = bytearray(path.read_bytes())
    data[at] ^= mask or 0xFF
    path.write_bytes(data)
    return path


def tiff_claiming(path: Path, tag: int, value: int) -> Path:
    """Write a TIFF in which one LONG or SHORT field of the first directory claims another value."""
    tiff(path)
    data = bytearray(path.read_bytes())
    (offset,) = struct.unpack("<I", data[4:8])
    (count,) = struct.unpack("<H", data[offset : offset + 2])
    for entry in range(offset + 2, offset + 2 + 12 * count, 12):
        if struct.unpack("<H", data[entry : entry + 2])[0] == tag:
            struct.pack_into("<HII", data, entry + 2, 4, 1, value)
    path.write_bytes(data)
    return path


def in_memory(pixels: Pixels) -> bytes:
    """The bytes of a plain TIFF."""
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, pixels, photometric="rgb", metadata=None)
    return buffer.getvalue()
