"""How image files are laid out: what decoders overlook is found, and nothing takes long."""

from __future__ import annotations

import io
import struct
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from pipeline.errors import MasterError
from pipeline.headers import read_header_of
from pipeline.headers.structure import Structure, read_structure
from pipeline.specs.tiff import Tag
from tests import make


def structure(data: bytes | bytearray, name: str = "x") -> Structure:
    file = io.BytesIO(data)
    return read_structure(file, read_header_of(file, name))


MAKERS: dict[str, Callable[[Path], Path]] = {
    **{
        f"TIFF, {kind.name}": lambda path, kind=kind: make.tiff(path, kind)  # type: ignore[misc]
        for kind in make.TIFF_KINDS
        if kind.unit != "NONE"
    },
    "TIFF with EXIF": make.tiff_with_exif,
    "JPEG": make.jpeg,
    "JPEG, progressive": lambda path: make.jpeg(path, progressive=True),
    "JPEG with restarts": lambda path: make.jpeg(path, restart_marker_blocks=2),
    "JPEG with a comment": lambda path: make.jpeg(path, comment=b"\xff\xd9 is no end here"),
    "PNG": make.png,
    "PNG, 16 bits": lambda path: make.png(path, bits=16),
    "JPEG 2000": make.jp2,
}


@pytest.fixture(params=MAKERS)
def image(request: pytest.FixtureRequest, tmp_path: Path) -> bytes:
    return MAKERS[request.param](tmp_path / "x").read_bytes()


def test_sound_files_are_sound(image: bytes) -> None:
    assert structure(image) == Structure()


@pytest.mark.parametrize(
    "behind", [b"x", b"\0" * 70_000, b"end\xff\xd9", b"\xff\xd8\xff\xe0 a second picture \xff\xd9"]
)
def test_bytes_behind_an_image_are_counted(image: bytes, behind: bytes) -> None:
    if image[4:8] == b"jP  " and b"picture" in behind:  # it would be a box, of four gigabytes
        with pytest.raises(MasterError, match="claims 4292411360 bytes"):
            structure(image + behind)
    else:
        assert structure(image + behind) == Structure(trailing_bytes=len(behind))


@pytest.mark.parametrize("kind", ["JPEG", "JPEG, progressive", "PNG", "JPEG 2000"])
def test_a_missing_end_is_a_fault(kind: str, tmp_path: Path) -> None:
    data = MAKERS[kind](tmp_path / "x").read_bytes()
    for keep in (len(data) - 2, len(data) - 100):
        assert structure(data[:keep]).faults


# ------------------------------------------------------------------------------------------------ TIFF


def field(data: bytes | bytearray, tag: Tag) -> int:
    """Where the entry of a field stands in the first directory of a plain TIFF."""
    (offset,) = struct.unpack("<I", data[4:8])
    (count,) = struct.unpack_from("<H", data, offset)
    for at in range(offset + 2, offset + 2 + 12 * count, 12):
        if struct.unpack_from("<H", data, at)[0] == tag:
            return at
    raise AssertionError(tag)


@pytest.fixture
def plain(tmp_path: Path) -> bytearray:
    return bytearray(make.tiff(tmp_path / "x.tif").read_bytes())


REQUIRED = [
    (Tag.X_RESOLUTION, "the field XResolution is missing"),
    (Tag.Y_RESOLUTION, "the field YResolution is missing"),
    (Tag.COMPRESSION, "the field Compression is missing"),
    (Tag.STRIP_BYTE_COUNTS, "the field StripByteCounts is missing"),
]


@pytest.mark.parametrize(("tag", "fault"), REQUIRED)
def test_each_required_field_that_is_missing_is_named(plain: bytearray, tag: Tag, fault: str) -> None:
    """TIFF 6.0, section 6, required fields for RGB images."""
    struct.pack_into("<H", plain, field(plain, tag), 60_000)
    assert fault in structure(plain).faults


def test_strips_outside_the_file_are_counted(plain: bytearray) -> None:
    (at,) = struct.unpack_from("<I", plain, field(plain, Tag.STRIP_OFFSETS) + 8)
    struct.pack_into("<I", plain, at, len(plain) + 5)
    assert structure(plain).faults == ("1 of 4 strips lie outside the file",)


def test_empty_strips_are_counted(plain: bytearray) -> None:
    entry = field(plain, Tag.STRIP_BYTE_COUNTS)
    kind, count, at = struct.unpack_from("<HII", plain, entry + 2)
    at = at if count * (2 if kind == 3 else 4) > 4 else entry + 8
    struct.pack_into("<H" if kind == 3 else "<I", plain, at, 0)
    assert structure(plain).faults == ("1 of 4 strips are empty",)


def test_another_number_of_sizes_than_of_offsets_is_a_fault(plain: bytearray) -> None:
    struct.pack_into("<I", plain, field(plain, Tag.STRIP_BYTE_COUNTS) + 4, 3)
    assert structure(plain).faults == ("it has 4 offsets of strips, but 3 sizes",)


@pytest.mark.parametrize("name", ["plain", "planar", "tiled", "tiled-bigtiff", "grey-8"])
def test_the_number_of_strips_and_tiles_is_what_the_size_asks_for(name: str, tmp_path: Path) -> None:
    kind = next(each for each in make.TIFF_KINDS if each.name == name)
    assert structure(make.tiff(tmp_path / "x.tif", kind).read_bytes()) == Structure()


def test_rows_that_do_not_fit_the_number_of_strips_are_a_fault(tmp_path: Path) -> None:
    data = make.tiff_claiming(tmp_path / "x.tif", Tag.ROWS_PER_STRIP, 61).read_bytes()
    assert structure(data).faults == ("it has 4 strips, but its size asks for 1",)


# ------------------------------------------------------------------------ made to take long, or too much


def entries(*fields: tuple[int, int, int, int], following: int = 0) -> bytes:
    packed = b"".join(struct.pack("<HHII", *each) for each in sorted(fields))
    return struct.pack("<H", len(fields)) + packed + struct.pack("<I", following)


BASIC = [
    *((256, 4, 1, 8), (257, 4, 1, 8), (258, 3, 1, 8), (259, 3, 1, 1), (262, 3, 1, 1)),
    *((273, 4, 1, 8), (278, 4, 1, 8), (279, 4, 1, 64)),
]


def quickly(data: bytes) -> str:
    started = time.process_time()
    try:
        structure(data)
    except MasterError as error:
        return error.message
    finally:
        assert time.process_time() - started < 5
    return ""


def test_directories_that_point_to_directories_are_no_depth() -> None:
    """A chain of sub-directories, each in the one before: 18 bytes each."""
    head = b"II*\0" + struct.pack("<I", 8)
    first = entries(*BASIC, (330, 4, 1, 8 + len(entries(*BASIC, BASIC[0]))))
    at = 8 + len(first)
    chain = b"".join(entries((330, 4, 1, at + 18 * (number + 1)), following=0) for number in range(30_000))
    assert "too many" in quickly(head + first + chain + entries((256, 4, 1, 1)))


def test_directories_that_lie_over_one_another_do_not_multiply() -> None:
    """Each claims thousands of fields, which are the bytes of the next."""
    body = b"".join(struct.pack("<HHII", 256 + number % 9, 4, 1, 1) for number in range(9000))
    data = bytearray(b"II*\0" + struct.pack("<I", 8) + body)
    for number in range(900):
        at = 8 + number * 12
        struct.pack_into("<H", data, at, 4000)
        struct.pack_into("<I", data, at + 2 + 4000 * 12, at + 12)
    assert quickly(bytes(data))


def test_one_list_of_strips_in_many_directories_is_not_read_for_each() -> None:
    strips = 1 << 20
    head = b"II*\0" + struct.pack("<I", 8 + 4 * strips)
    at = 8 + 4 * strips
    size = len(entries(*BASIC, BASIC[0]))
    directories = b"".join(
        entries(
            *(each for each in BASIC if each[0] not in (273, 279)),
            (254, 4, 1, int(number > 0)),
            (273, 4, strips, 8),
            (279, 4, strips, 8),
            following=at + size * (number + 1) if number < 199 else 0,
        )
        for number in range(200)
    )
    assert "too many strips" in quickly(head + bytes(4 * strips) + directories)


@pytest.mark.parametrize("kind", ["PNG", "JPEG 2000", "JPEG"])
def test_millions_of_empty_parts_are_not_walked(kind: str, tmp_path: Path) -> None:
    data = MAKERS[kind](tmp_path / "x").read_bytes()
    if kind == "PNG":
        at = data.index(b"IDAT") - 4
        part = b"\0\0\0\0teXt" + bytes(4)
        quickly(data[:at] + part * 400_000 + data[at:])
    elif kind == "JPEG 2000":
        quickly(data + b"\0\0\0\x08free" * 400_000)
    else:
        quickly(data[:-2] + b"\xff\xfe\0\2" * 400_000 + data[-2:])


def test_a_jpeg_in_a_multi_picture_file_ends_where_the_first_ends(tmp_path: Path) -> None:
    first, second = Image.new("RGB", (40, 30), "white"), Image.new("RGB", (20, 15))
    first.save(tmp_path / "x.jpg", format="MPO", save_all=True, append_images=[second])
    data = (tmp_path / "x.jpg").read_bytes()
    assert structure(data).trailing_bytes == len(data) - data.index(b"\xff\xd8\xff", 2)
