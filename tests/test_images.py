"""Decoding and conversion, held against tifffile, imagecodecs, and littleCMS through Pillow."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image, ImageCms

from pipeline import icc, images
from pipeline.digests import Digester
from pipeline.errors import MasterError
from pipeline.headers import read_header
from pipeline.images import Decoded, Picture
from pipeline.model import Algorithm, Fixity, SizePx
from tests import make

ALGORITHMS = (Algorithm.SHA512, Algorithm.MD5)


def decode(path: Path) -> Decoded:
    return images.decode(
        path,
        read_header(path),
        algorithms=ALGORITHMS,
        assumed_profile=images.display_profile(is_grey=read_header(path).facts.is_grey),
        scratch=path.with_suffix(".v"),
    )


def pixels_of(decoded: Decoded, tmp_path: Path, *, orientation: int = 1) -> NDArray[np.uint8]:
    """The displayable picture, by way of a lossless file that Pillow reads."""
    picture = Picture(decoded.picture, orientation=orientation)
    picture._save("pngsave", tmp_path / "out.png")  # no derivative is lossless; the test wants one
    return np.asarray(Image.open(tmp_path / "out.png"))


@pytest.mark.parametrize("kind", make.TIFF_KINDS, ids=lambda kind: kind.name)
def test_digests_of_one_pass_are_those_of_the_file(kind: make.TiffKind, tmp_path: Path) -> None:
    path = make.tiff(tmp_path / "a.tif", kind)
    decoded = decode(path)
    data = path.read_bytes()
    assert decoded.size_bytes == len(data)
    assert decoded.fixity == (
        Fixity(Algorithm.SHA512, hashlib.sha512(data).hexdigest()),
        Fixity(Algorithm.MD5, hashlib.md5(data).hexdigest()),
    )


@pytest.mark.parametrize("maker", [make.jpeg, make.png, make.jp2], ids=["jpeg", "png", "jp2"])
def test_digests_of_other_formats_are_those_of_the_file(maker: object, tmp_path: Path) -> None:
    path: Path = maker(tmp_path / "a.img")  # type: ignore[operator]
    assert decode(path).fixity[0].hex_digest == hashlib.sha512(path.read_bytes()).hexdigest()


def converted_by_littlecms(path: Path, target: bytes) -> NDArray[np.uint8]:
    """The same conversion by Pillow's littleCMS, from 8 bits: its own rounding is one code."""
    with tifffile.TiffFile(path) as file:
        page = file.pages[0]
        pixels = page.asarray()
        profile = page.tags["InterColorProfile"].value
    if page.planarconfig == 2:
        pixels = np.moveaxis(pixels, 0, -1)
    if pixels.dtype == np.uint16:
        pixels = (pixels / 257 + 0.5).astype(np.uint8)
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(profile)),
        ImageCms.ImageCmsProfile(io.BytesIO(target)),
        "RGB",
        "RGB",
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
    )
    result = ImageCms.applyTransform(Image.fromarray(pixels), transform)
    assert result is not None
    return np.asarray(result)


@pytest.mark.parametrize("kind", [k for k in make.TIFF_KINDS if k.samples == 3], ids=lambda kind: kind.name)
def test_conversion_to_srgb_is_that_of_littlecms(kind: make.TiffKind, tmp_path: Path) -> None:
    path = make.tiff(tmp_path / "a.tif", kind)
    ours = pixels_of(decode(path), tmp_path).astype(int)
    theirs = converted_by_littlecms(path, icc.srgb_profile()).astype(int)
    # JPEG: libvips and imagecodecs upsample chroma in their own ways
    tolerance = 8 if kind.compression == "jpeg" else 2
    # in dark saturated colours one code of theirs, made from 8 bits, is worth several of sRGB's
    difference = np.abs(ours - theirs)[theirs >= 24]
    assert np.percentile(difference, 99.5) <= tolerance
    assert difference.max() <= 8
    assert difference.mean() <= 0.5


def test_conversion_keeps_what_eight_bits_in_between_would_lose(tmp_path: Path) -> None:
    """A neutral ramp in 16 bits comes out as the two tone curves' closed form says (IEC 61966-2-1, 5.2)."""
    ramp = np.repeat(np.linspace(0, 65535, 4096).astype(np.uint16)[None, :, None], 4, axis=0).repeat(
        3, axis=2
    )
    profile = icc.wide_gamut_profile()
    path = make.tiff(tmp_path / "a.tif", pixels=ramp, iccprofile=profile)
    codes = pixels_of(decode(path), tmp_path)[0, :, 1].astype(int)
    linear = [icc.WIDE_RGB.curve.linear(code / 65535) for code in ramp[0, :, 1]]
    expected = np.array([icc.SRGB_CURVE.code(value) * 255 for value in linear])
    assert np.abs(codes - expected).max() <= 1.25  # the engine's own tables cost half a code near black
    assert np.abs(codes - expected).mean() <= 0.35
    assert set(codes) == set(range(256))


@pytest.mark.parametrize("bits", [8, 16])
def test_grey_stays_grey_and_keeps_its_tones(bits: int, tmp_path: Path) -> None:
    """A master in the profile of the derivatives comes through unchanged, apart from the step to 8 bits."""
    kind = make.TiffKind(name="grey", samples=1, bits=bits)
    path = make.tiff(tmp_path / "a.tif", kind)
    pixels = pixels_of(decode(path), tmp_path)
    expected = make.picture(bits=bits, samples=1) / (257 if bits == 16 else 1)
    assert pixels.ndim == 2
    assert np.abs(pixels - expected).max() <= 1


def test_sixteen_bits_are_rounded_to_eight_and_not_cut(tmp_path: Path) -> None:
    codes = (np.arange(255) * 257)[:, None] + [60, 200]  # a quarter above one code, a quarter below the next
    kind = make.TiffKind(name="grey", samples=1)
    path = make.tiff(tmp_path / "a.tif", kind, pixels=codes.astype(np.uint16))
    assert np.array_equal(pixels_of(decode(path), tmp_path), np.arange(255)[:, None] + [0, 1])


def test_a_master_that_changes_while_it_is_read_is_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = make.tiff(tmp_path / "a.tif")

    def late(**_: object) -> bytes:
        with path.open("ab") as file:
            file.write(b"more")
        return icc.srgb_profile()

    monkeypatch.setattr(images, "display_profile", late)
    with pytest.raises(MasterError, match=r"^a\.tif: changed while it was being read"):
        images.decode(
            path, read_header(path), algorithms=(), assumed_profile=b"", scratch=tmp_path / "scratch.v"
        )


class Counting(io.BytesIO):
    """Counts the bytes that are read."""

    count = 0

    def read(self, size: int | None = -1, /) -> bytes:
        data = super().read(size)
        self.count += len(data)
        return data


@pytest.mark.parametrize("overlap", [0, 1000])
def test_what_lies_in_order_is_read_once(overlap: int, tmp_path: Path) -> None:
    """Also where a decoder goes back a little, as over the end of its buffer."""
    path = make.tiff(tmp_path / "a.tif", pixels=make.picture(500, 400))
    file, digester = Counting(path.read_bytes()), Digester([Algorithm.SHA256])
    reading = images._DigestingFile(file, digester)
    while data := reading.read(50_000):
        if overlap and len(data) == 50_000:
            reading.seek(-overlap, io.SEEK_CUR)
    reading.finish()
    times = -(-file.getbuffer().nbytes // (50_000 - overlap))
    assert file.count == file.getbuffer().nbytes + (times - 1) * overlap
    assert digester.fixity()[0].hex_digest == hashlib.sha256(path.read_bytes()).hexdigest()


def test_white_is_zero_is_not_shown_as_a_negative(tmp_path: Path) -> None:
    kind = next(kind for kind in make.TIFF_KINDS if kind.white_is_zero)
    path = make.tiff(tmp_path / "a.tif", kind)
    expected = 255 - make.picture(bits=8, samples=1).astype(int)
    assert np.abs(pixels_of(decode(path), tmp_path) - expected).max() <= 1


@pytest.mark.parametrize(("bits", "samples"), [(8, 1), (8, 3), (16, 1), (16, 3)])
def test_a_jpeg_2000_master_decodes_to_its_pixels(bits: int, samples: int, tmp_path: Path) -> None:
    path = make.jp2(tmp_path / "a.jp2", bits=bits, samples=samples)
    expected = make.picture(bits=bits, samples=samples) / (257 if bits == 16 else 1)
    assert np.abs(pixels_of(decode(path), tmp_path) - expected).max() <= 1


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_applied_as_pillow_applies_it(orientation: int, tmp_path: Path) -> None:
    from PIL import ImageOps

    path = make.tiff(tmp_path / "a.tif", make.TiffKind(name="a", bits=8), iccprofile=icc.srgb_profile())
    shown = pixels_of(decode(path), tmp_path, orientation=orientation).astype(int)
    plain = Image.fromarray(make.picture(bits=8))
    plain.getexif()[274] = orientation
    expected = np.asarray(ImageOps.exif_transpose(plain)).astype(int)
    assert shown.shape == expected.shape
    assert np.abs(shown - expected).max() <= 1


def test_two_files_of_one_picture_have_one_pixel_digest(tmp_path: Path) -> None:
    plain = decode(make.tiff(tmp_path / "a.tif"))
    packed = decode(
        make.tiff(tmp_path / "b.tif", make.TiffKind(name="lzw", compression="lzw", byteorder=">"))
    )
    other = decode(make.tiff(tmp_path / "c.tif", pixels=make.picture()[::-1]))
    assert plain.fixity != packed.fixity
    assert plain.pixel_digest == packed.pixel_digest != other.pixel_digest


BREAKABLE = {
    "tif": lambda path: make.tiff(path, pixels=make.picture(400, 300)),
    "lzw.tif": lambda path: make.tiff(
        path, make.TiffKind(name="lzw", compression="lzw"), pixels=make.picture(400, 300)
    ),
    "zip.tif": lambda path: make.tiff(
        path, make.TiffKind(name="zip", compression="zlib"), pixels=make.picture(400, 300)
    ),
    "jpg": make.jpeg,
    "png": make.png,
    "jp2": make.jp2,
}


@pytest.mark.parametrize("kind", BREAKABLE)
@pytest.mark.parametrize("keep", [0.99, 0.9, 0.5])
def test_a_file_that_is_cut_off_is_found(kind: str, keep: float, tmp_path: Path) -> None:
    path: Path = BREAKABLE[kind](tmp_path / f"a.{kind}")  # type: ignore[no-untyped-call]
    make.cut(path, keep)
    with pytest.raises(MasterError, match=r"^a\."):
        decode(path)


def test_a_corrupt_strip_is_found(tmp_path: Path) -> None:
    path = BREAKABLE["zip.tif"](tmp_path / "a.tif")  # type: ignore[no-untyped-call]
    with tifffile.TiffFile(path) as file:
        middle = file.pages[0].dataoffsets[9] + 40
    make.flip(path, middle)
    with pytest.raises(MasterError, match="cannot be decoded to its end"):
        decode(path)


def test_reduced_pictures_and_jpegs_carry_their_profile(tmp_path: Path) -> None:
    picture = Picture(decode(make.tiff(tmp_path / "a.tif")).picture, orientation=1)
    smaller = picture.reduced(SizePx(width_px=40, height_px=25))
    smaller.write_jpeg(tmp_path / "a.jpg", quality=90)
    with Image.open(tmp_path / "a.jpg") as image:
        assert image.size == (40, 25)
        assert image.info["icc_profile"] == icc.srgb_profile()
        assert not image.getexif()
        assert "progressive" not in image.info


def test_reading_a_master_changes_nothing_of_it(tmp_path: Path) -> None:
    path = make.tiff(tmp_path / "a.tif")
    path.chmod(0o444)
    before = (path.read_bytes(), path.stat().st_mtime_ns, path.stat().st_mode)
    decode(path)
    assert (path.read_bytes(), path.stat().st_mtime_ns, path.stat().st_mode) == before
