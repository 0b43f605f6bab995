"""Pixels: decoded once, to their end, converted to a displayable picture, written as derivatives.

The only importer of pyvips, and of openjpeg for JPEG 2000, which the pyvips wheels cannot read.

One pass: the bytes of a master are digested as the decoder reads them (`_DigestingFile`); what is
decoded is written to a scratch file as it is, to be measured, and to another one converted to 8-bit sRGB, or
grey, from which every derivative is made. So memory does not grow with the master, and it is read once.
"""

from __future__ import annotations

import contextlib
import errno
import functools
import hashlib
import html
import importlib.util
import io
import os
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from pipeline import icc
from pipeline.digests import CHUNK_BYTES, Digester
from pipeline.errors import MasterError, ToolError
from pipeline.headers import Header
from pipeline.model import Algorithm, Fixity, MasterFormat, SizePx

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable


@dataclass(frozen=True, slots=True, kw_only=True)
class Decoded:
    """What came out of decoding one master."""

    size_bytes: int
    fixity: tuple[Fixity, ...]
    pixel_digest: str
    picture: Path
    """Scratch file with the displayable picture, orientation not yet applied."""
    raw: Path
    """Scratch file with the pixels as the master has them, to be measured."""


# ------------------------------------------------------------------------------------------- decoding


def decode(
    path: Path,
    header: Header,
    *,
    algorithms: Iterable[Algorithm],
    assumed_profile: bytes,
    scratch: Path,
) -> Decoded:
    """Read a master once: digest it, decode it to its end, convert it, and keep the picture in `scratch`.

    `assumed_profile` is the ICC profile of a master that embeds none. The conversion is relative
    colorimetric with black point compensation, in 16 bits, to sRGB; grey goes to grey with the sRGB
    tone curve. Raises MasterError if the file is truncated or corrupt.
    """
    import pyvips

    pyvips.cache_set_max(0)  # every picture is used once: remembering operations only holds memory
    with path.open("rb", buffering=0) as file:
        before = os.fstat(file.fileno())
        digester = Digester(algorithms)
        source = _DigestingFile(file, digester)
        raw = scratch.with_suffix(f".raw{scratch.suffix}")
        try:
            image = _open(pyvips, source, header)
            _refuse_other_size(image, header, path.name)
            image.write_to_file(str(raw))
            image = pyvips.Image.new_from_file(str(raw))
            _displayable(image, header.icc_profile or assumed_profile, scratch).write_to_file(str(scratch))
        except pyvips.Error as error:
            raise _decoding_failed(error, source, path, scratch) from error
        source.finish()
        after = os.fstat(file.fileno())
        scratch.with_suffix(".icc").unlink()
    if (after.st_size, after.st_mtime_ns) != (before.st_size, before.st_mtime_ns):
        raise MasterError(f"{path.name}: changed while it was being read; run again")
    return Decoded(
        size_bytes=digester.size_bytes,
        fixity=digester.fixity(),
        pixel_digest=_pixel_digest(pyvips, scratch),
        picture=scratch,
        raw=raw,
    )


def _decoding_failed(
    error: Any, source: _DigestingFile, path: Path, scratch: Path
) -> MasterError | ToolError:
    """Say whose fault it was: the disk that we write to, the disk that the master is on, or the master."""
    detail = _text(error.detail or error.message)
    if full := next((each for each in _WRITE_FAILURES if each in detail), None):
        return ToolError(f"{scratch.parent}: cannot be written ({full})")
    if source.failure:
        return MasterError(f"{path.name}: cannot be read ({source.failure}); copy it again from its source")
    return _undecodable(error, path.name)


def _undecodable(error: Any, name: str) -> MasterError:
    detail = _text(error.detail or error.message)
    reason = next((line.strip() for line in detail.splitlines() if line.strip()), "no reason given")
    return MasterError(
        f"{name}: cannot be decoded to its end ({reason}); copy it again from its source, or export it again"
    )


_WRITE_FAILURES = tuple(os.strerror(code) for code in (errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EFBIG))
"""What libvips says in its messages when the scratch file cannot be written; a master is only read."""


class _DigestingFile:
    """Digests a file in its own order while a decoder reads it in another.

    What continues the digested part is digested as it passes by; what a decoder reads elsewhere (a
    directory at the end) is left for `finish`. A file whose picture lies in order is read once.
    """

    def __init__(self, file: io.FileIO | BinaryIO, digester: Digester) -> None:
        self._file = file
        self._digester = digester
        self.kept_alive: object = None
        self.failure = ""
        """Why the file could not be read; empty if it could."""

    def read(self, size: int) -> bytes:
        """Read as a decoder asks. Nothing is raised here: it could not pass through libvips."""
        at = self._file.tell()
        try:
            data = self._file.read(size)
        except OSError as error:
            self.failure = error.strerror or str(error)
            return b""
        done = self._digester.size_bytes
        if at <= done < at + len(data):
            self._digester.update(memoryview(data)[done - at :])
        return data

    def seek(self, offset: int, whence: int) -> int:
        """Seek as a decoder asks."""
        return self._file.seek(offset, whence)

    def finish(self) -> None:
        """Digest what was passed over, to the end that the file has now. Raises OSError."""
        end = self._file.seek(0, os.SEEK_END)
        self._file.seek(self._digester.size_bytes)
        while self._digester.size_bytes <= end and (data := self._file.read(CHUNK_BYTES)):
            self._digester.update(data)


def examine(file: BinaryIO, header: Header, *, name: str, digester: Digester, side: int = 0) -> bytes:
    """Decode an image to its end while the bytes that pass by are digested; in the end all are.

    Returns its picture as `side`² grey values, 0 to 255, row by row, upright, squeezed to a square;
    nothing if `side` is 0. Raises MasterError if it is truncated or corrupt, OSError.
    """
    import pyvips

    source = _DigestingFile(file, digester)
    try:
        return _examine(pyvips, lambda: _open(pyvips, source, header), header, name, side)
    except MasterError as error:
        if source.failure:
            raise OSError(errno.EIO, source.failure) from error
        raise
    finally:
        source.finish()


def examine_bytes(data: bytes, header: Header, *, name: str, side: int = 0) -> bytes:
    """Do as `examine` does with a file that is in memory."""
    import pyvips

    return _examine(pyvips, lambda: _open_bytes(pyvips, data, header), header, name, side)


def _examine(pyvips: Any, open_image: Callable[[], Any], header: Header, name: str, side: int) -> bytes:
    pyvips.cache_set_max(0)
    with contextlib.ExitStack() as turn:
        try:
            if header.facts.format is MasterFormat.JP2:
                _take_turn(turn, header, name)
            image = open_image()
            _refuse_other_size(image, header, name)
            if image.get_typeof("interlaced"):  # PNG, and JPEG in several scans
                _take_turn(turn, header, name)
            if side:
                return _signature(image, header, side)
            image.avg()  # the cheapest that asks for every pixel
        except pyvips.Error as error:
            raise _undecodable(error, name) from error
        return b""


MAX_WHOLE_PIXELS = 300_000_000
"""What is decoded of images that have to be in memory as wholes: some 2 to 7 GB."""
_FEW_PIXELS = 32_000_000
_one_at_a_time = threading.Lock()


def _take_turn(turn: contextlib.ExitStack, header: Header, name: str) -> None:
    """Wait until no other large image is in memory as a whole. Raises MasterError if it is too large."""
    pixels = header.facts.width_px * header.facts.height_px
    if pixels > MAX_WHOLE_PIXELS:
        raise MasterError(
            f"{name}: can only be decoded as a whole and claims {pixels:,} pixels, more than the "
            f"{MAX_WHOLE_PIXELS:,} that are taken so; export it as a TIFF or as a JPEG of one scan"
        )
    if pixels > _FEW_PIXELS:
        turn.enter_context(_one_at_a_time)


def thumbnail(file: BinaryIO, header: Header, *, name: str, side_px: int) -> bytes:
    """Return a small JPEG of an image in an open file, upright, in sRGB, its long side `side_px` pixels.

    Raises MasterError if it cannot be decoded, OSError.
    """
    import pyvips

    pyvips.cache_set_max(0)
    source = _DigestingFile(file, Digester(()))
    try:
        image = _open(pyvips, source, header)
        shrink = max(1, max(image.width, image.height) // (2 * side_px))
        small = _upright_display(image.shrink(shrink, shrink, ceil=True).copy_memory(), header)
        scale = side_px / max(small.width, small.height)
        jpeg = small.resize(min(1, scale)).jpegsave_buffer(Q=80, keep="none")
    except pyvips.Error as error:
        if source.failure:
            raise OSError(errno.EIO, source.failure) from error
        raise _undecodable(error, name) from error
    return bytes(jpeg)


def _signature(image: Any, header: Header, side: int) -> bytes:
    across, down = max(1, image.width // (4 * side)), max(1, image.height // (4 * side))
    small = _upright_display(image.shrink(across, down, ceil=True).copy_memory(), header)
    grey = small.colourspace("b-w").cast("uchar")
    square = grey.resize(side / grey.width, vscale=side / grey.height, kernel="linear")
    return bytes(square.extract_band(0).write_to_memory())


def _upright_display(small: Any, header: Header) -> Any:
    """Return a small picture in sRGB, or as it is if it has no profile, turned upright."""
    if header.icc_profile:
        small.set_type(_blob_type(), _ICC_FIELD, header.icc_profile)
        small = small.icc_transform("srgb", embedded=True, intent="relative", depth=8)
    for name, arguments in _TURNS[header.facts.orientation]:
        small = getattr(small, name)(*arguments)
    return small


def _open(pyvips: Any, file: _DigestingFile, header: Header) -> Any:
    if header.facts.format is MasterFormat.JP2:
        return _open_jpeg2000(pyvips, file, header)
    source = pyvips.SourceCustom()
    source.on_read(file.read)
    source.on_seek(file.seek)
    file.kept_alive = source  # pyvips frees the callbacks with it, while libvips still reads
    loader, options = _loader(header)
    return getattr(pyvips.Image, f"{loader}_source")(source, **options)


def _open_bytes(pyvips: Any, data: bytes, header: Header) -> Any:
    if header.facts.format is MasterFormat.JP2:
        return _decode_jpeg2000(pyvips, data, header)
    loader, options = _loader(header)
    return getattr(pyvips.Image, f"{loader}_buffer")(data, **options)


def _loader(header: Header) -> tuple[str, dict[str, Any]]:
    """What libvips calls the loader of a format, and how it is to load."""
    options: dict[str, Any] = {"access": "sequential", "fail_on": "error"}
    match header.facts.format:
        case MasterFormat.TIFF | MasterFormat.BIGTIFF:
            return "tiffload", {"page": header.page, **options}
        case MasterFormat.PNG:
            return "pngload", options
        case _:
            return "jpegload", options  # which refuses hundreds of scans over one picture


def _open_jpeg2000(pyvips: Any, file: _DigestingFile, header: Header) -> Any:
    data = bytearray()
    while part := file.read(CHUNK_BYTES):
        data += part
    return _decode_jpeg2000(pyvips, bytes(data), header)


def _decode_jpeg2000(pyvips: Any, data: bytes, header: Header) -> Any:
    import numpy as np
    import openjpeg

    try:
        pixels = openjpeg.decode(data)
    except Exception as error:  # the library raises RuntimeError and ValueError alike
        raise pyvips.Error(str(error)) from error
    wanted = np.uint16 if header.facts.bits_per_sample[0] > 8 else np.uint8
    interpretation = {(1, 8): "b-w", (1, 16): "grey16", (3, 8): "srgb", (3, 16): "rgb16"}
    image = pyvips.Image.new_from_array(np.ascontiguousarray(pixels, dtype=wanted))
    key = (header.facts.samples_per_pixel, header.facts.bits_per_sample[0])
    return image.copy(interpretation=interpretation[key])


def _refuse_other_size(image: Any, header: Header, name: str) -> None:
    facts = header.facts
    found = (image.width, image.height, image.bands)
    said = (facts.width_px, facts.height_px, facts.samples_per_pixel)
    if found != said:
        raise MasterError(
            f"{name}: decodes to {found[0]} × {found[1]} pixels and {found[2]} channels, "
            f"its header says {said[0]} × {said[1]} and {said[2]}; the file is damaged, export it again"
        )


def _displayable(image: Any, profile: bytes, scratch: Path) -> Any:
    """Return the picture as 8-bit sRGB or grey, from its own profile."""
    grey = image.bands == 1
    image = image.copy()
    image.set_type(_blob_type(), _ICC_FIELD, profile)
    target = scratch.with_suffix(".icc")  # libvips takes the profile to convert to as a file
    target.write_bytes(display_profile(is_grey=grey))
    converted = image.icc_transform(
        str(target), embedded=True, intent="relative", black_point_compensation=True, depth=16
    )
    # 65535 / 257 = 255; the half rounds, for the cast to 8 bits cuts off
    eight = converted.linear(1 / 257, 0.5, uchar=True)
    return eight.copy(interpretation="b-w" if grey else "srgb")


@functools.cache
def display_profile(*, is_grey: bool) -> bytes:
    """The profile that every derivative is in and carries: sRGB, or grey with the sRGB tone curve."""
    return icc.grey_profile() if is_grey else icc.srgb_profile()


def _pixel_digest(pyvips: Any, picture: Path) -> str:
    image = pyvips.Image.new_from_file(str(picture))
    region = pyvips.Region.new(image)
    digest = hashlib.sha256(f"{image.width} {image.height} {image.bands}".encode())
    for top in range(0, image.height, _STRIP_ROWS):
        digest.update(region.fetch(0, top, image.width, min(_STRIP_ROWS, image.height - top)))
    return digest.hexdigest()


def _blob_type() -> Any:
    import pyvips

    return pyvips.GValue.blob_type


def _text(detail: object) -> str:
    return detail.decode(errors="replace") if isinstance(detail, bytes) else str(detail)


class RawPicture:
    """The pixels of a master in a scratch file, as the master has them but upright."""

    def __init__(self, raw: Path, *, orientation: int) -> None:
        import pyvips

        image = pyvips.Image.new_from_file(str(raw))
        for name, arguments in _TURNS[orientation]:
            image = getattr(image, name)(*arguments)
        self._image = image
        self._region = pyvips.Region.new(image)
        self.width_px: int = image.width
        self.height_px: int = image.height
        self.bands: int = image.bands
        self.bits = 8 if image.format == "uchar" else 16

    def fetch(self, left: int, top: int, width: int, height: int) -> Any:
        """Return the codes of a rectangle that lies in the picture, (rows, columns, bands)."""
        import numpy as np

        data = self._region.fetch(left, top, width, height)
        kind = np.uint8 if self.bits == 8 else np.uint16
        return np.frombuffer(data, kind).reshape(height, width, self.bands)

    def shrunk(self, factor: int) -> Any:
        """Return means of squares of `factor` pixels in float, (rows, columns, bands), in codes.

        What does not fill a square at the right and at the bottom is left out.
        """
        import numpy as np

        smaller = (
            self._image.cast("float").shrink(factor, factor) if factor > 1 else self._image.cast("float")
        )
        data = smaller.write_to_memory()
        rows = np.frombuffer(data, np.float32).reshape(smaller.height, smaller.width, self.bands)
        return rows[: self.height_px // factor, : self.width_px // factor]


# ---------------------------------------------------------------------------------------- derivatives


class Picture:
    """A displayable picture as readers see it: orientation applied, in `display_profile`."""

    def __init__(self, decoded: Path, *, orientation: int) -> None:
        import pyvips

        image = pyvips.Image.new_from_file(str(decoded))
        for name, arguments in _TURNS[orientation]:
            image = getattr(image, name)(*arguments)
        self._image = _with_profile(image)

    @property
    def size(self) -> SizePx:
        """Width and height."""
        return SizePx(width_px=self._image.width, height_px=self._image.height)

    def reduced(self, size: SizePx) -> Picture:
        """Return the picture at a smaller size, kept in memory; ratios may differ by a rounded pixel."""
        if size == self.size:
            return self
        smaller = self._image.thumbnail_image(size.width_px, height=size.height_px, size="force")
        picture = object.__new__(Picture)
        picture._image = _with_profile(smaller.copy_memory())
        return picture

    def within(self, side_px: int) -> Picture:
        """Return the picture with a long side of `side_px`; as it is if it is no larger."""
        scale = min(1.0, side_px / max(self.size.width_px, self.size.height_px))
        width_px, height_px = (
            max(1, round(each * scale)) for each in (self.size.width_px, self.size.height_px)
        )
        return self.reduced(SizePx(width_px=width_px, height_px=height_px))

    def write_jpeg(self, path: Path, *, quality: int) -> None:
        """Write the picture as a baseline JPEG without chroma subsampling. Raises ToolError."""
        path.parent.mkdir(parents=True, exist_ok=True)
        # better Huffman tables would save 2 % of the bytes for a quarter of the time of the whole frame
        self._save("jpegsave", path, Q=quality, subsample_mode="off", keep="icc")

    def write_tiles(self, folder: Path, *, tile_px: int, quality: int) -> None:
        """Write the tiles of a level 0 image service, and the smallest whole image, below `folder`.

        Names are those of the Image API 3.0, section 4.7. Whole-image sizes and info.json are not made.
        """
        folder.parent.mkdir(parents=True, exist_ok=True)
        # libvips takes the options of the tiles' format only inside the suffix
        options = f"Q={quality},subsample-mode=off,keep=icc"
        self._save(
            "dzsave", folder, layout="iiif3", tile_size=tile_px, overlap=0, depth="onetile",
            suffix=f".jpg[{options}]", keep="icc",
        )  # fmt: skip
        (folder.parent / "vips-properties.xml").unlink(missing_ok=True)  # libvips leaves it there

    def write_pyramid_tiff(self, path: Path, *, tile_px: int, quality: int) -> None:
        """Write a tiled pyramid TIFF with JPEG compression, for an image server. Raises ToolError."""
        path.parent.mkdir(parents=True, exist_ok=True)
        self._save(
            "tiffsave", path, compression="jpeg", Q=quality, tile=True, tile_width=tile_px // 16 * 16,
            tile_height=tile_px // 16 * 16, pyramid=True, bigtiff=self._needs_bigtiff(), keep="icc",
        )  # fmt: skip

    def write_jp2(self, path: Path, *, quality: int) -> None:
        """Write a tiled JPEG 2000 file with its resolution levels, for an image server. Raises ToolError."""
        from PIL import Image

        path.parent.mkdir(parents=True, exist_ok=True)
        mode = "L" if self._image.bands == 1 else "RGB"
        size = (self._image.width, self._image.height)
        Image.MAX_IMAGE_PIXELS = None
        picture = Image.frombuffer(mode, size, self._image.write_to_memory(), "raw", mode, 0, 1)
        try:
            picture.save(
                path, format="JPEG2000", tile_size=(1024, 1024), num_resolutions=_levels(self.size),
                irreversible=True, progression="RPCL", quality_mode="dB",
                quality_layers=[_decibels(quality)], mct=int(mode == "RGB"), no_jp2=False,
            )  # fmt: skip
        except OSError as error:
            raise ToolError(f"{path}: cannot be written ({error})") from error

    def _needs_bigtiff(self) -> bool:
        return bool(self._image.width * self._image.height * self._image.bands > 2 << 30)

    def _save(self, operation: str, path: Path, **options: Any) -> None:
        import pyvips

        try:
            getattr(self._image, operation)(str(path), **options)
        except pyvips.Error as error:
            raise ToolError(f"{path}: cannot be written ({_text(error.detail).strip()})") from error


_ICC_FIELD = "icc-profile-data"
_STRIP_ROWS = 64
_TURNS: dict[int, tuple[tuple[str, tuple[str, ...]], ...]] = {
    1: (),
    2: (("fliphor", ()),),
    3: (("rot", ("d180",)),),
    4: (("flipver", ()),),
    5: (("rot", ("d90",)), ("fliphor", ())),
    6: (("rot", ("d90",)),),
    7: (("rot", ("d270",)), ("fliphor", ())),
    8: (("rot", ("d270",)),),
}
"""What brings a picture upright, by its TIFF orientation (TIFF 6.0, tag 274)."""


def _with_profile(image: Any) -> Any:
    plain = image.copy()
    for name in plain.get_fields():
        if name.endswith("-data") or name.startswith(("exif", "orientation")):
            plain.remove(name)
    plain.set_type(_blob_type(), _ICC_FIELD, display_profile(is_grey=image.bands == 1))
    return plain


def _levels(size: SizePx) -> int:
    return max(1, min(8, (max(size.width_px, size.height_px) // 256).bit_length()))


def _decibels(quality: int) -> float:
    """Peak signal-to-noise ratio for a JPEG-like quality of 1 to 100: 30 to 50 dB (common practice)."""
    return 30 + quality / 5


def shrunk_jpeg(data: bytes, *, side_px: int, quality: int) -> tuple[bytes, SizePx] | None:
    """Return a JPEG with a long side of `side_px` at most, and its size; None for one that is damaged.

    For small pictures in reports: baseline, chroma halved, no profile and no metadata.
    """
    import pyvips

    try:
        image = pyvips.Image.thumbnail_buffer(data, side_px, height=side_px, size="down", fail_on="error")
        made = image.jpegsave_buffer(Q=quality, keep="none", optimize_coding=True)
    except pyvips.Error:
        return None
    return bytes(made), SizePx(width_px=image.width, height_px=image.height)


# -------------------------------------------------------------------------------------------- lettering


@dataclass(frozen=True, slots=True, kw_only=True)
class Lettering:
    """A text as a picture, cut to its ink: one byte for each pixel, 255 where there is ink."""

    width_px: int
    height_px: int
    left_px: int
    """From the left edge of the column that it was set in; text from right to left stands at the right."""
    top_px: int
    """From the upper edge of the first line."""
    ink: bytes


def lettering(text: str, *, size_pt: float, width_px: int, dpi: int) -> Lettering:
    """Set a text without control characters in a column.

    The font is DejaVu Sans, which has Latin, Greek, Cyrillic, Hebrew, Arabic and others; what it lacks
    comes from the fonts of the machine. A character that no font has is shown as a box with its code
    point.
    """
    import pyvips

    if not text.strip():  # which libvips refuses
        return Lettering(width_px=1, height_px=1, left_px=0, top_px=0, ink=b"\0")
    image = pyvips.Image.text(
        html.escape(text, quote=False),
        font=f"DejaVu Sans {size_pt}",
        fontfile=str(_font_file()),
        width=width_px,
        wrap="word-char",
        dpi=dpi,
    )
    return Lettering(
        width_px=image.width,
        height_px=image.height,
        left_px=image.get("xoffset"),
        top_px=image.get("yoffset"),
        ink=image.write_to_memory(),
    )


def _font_file() -> Path:
    """The font is one that matplotlib carries, so it is there on a machine without fonts."""
    library = importlib.util.find_spec("matplotlib")
    assert library is not None
    assert library.origin is not None
    return Path(library.origin).parent / "mpl-data" / "fonts" / "ttf" / "DejaVuSans.ttf"
