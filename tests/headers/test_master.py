"""Facts of generated masters, held against tifffile and Pillow, which read the same files independently."""

from __future__ import annotations

import struct
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import pyvips
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from pipeline import icc
from pipeline.errors import MasterError
from pipeline.headers import read_header
from pipeline.model import MasterFormat, Rational, ResolutionUnit
from tests import make

COMPRESSIONS = {1: "Uncompressed", 5: "LZW", 7: "JPEG", 8: "Deflate", 32773: "PackBits"}
UNITS = {1: ResolutionUnit.NONE, 2: ResolutionUnit.INCH, 3: ResolutionUnit.CENTIMETRE}


@pytest.mark.parametrize("kind", make.TIFF_KINDS, ids=lambda kind: kind.name)
def test_facts_of_a_tiff_are_those_that_tifffile_reads(kind: make.TiffKind, tmp_path: Path) -> None:
    path = make.tiff(tmp_path / "B14_0001.tif", kind)
    facts = read_header(path).facts
    with tifffile.TiffFile(path) as other:
        page = other.pages[0]
        tags = page.tags
        assert facts.format is (MasterFormat.BIGTIFF if other.is_bigtiff else MasterFormat.TIFF)
        assert facts.byte_order == ("big endian" if other.byteorder == ">" else "little endian")
        assert (facts.width_px, facts.height_px) == (page.imagewidth, page.imagelength)
        assert facts.samples_per_pixel == page.samplesperpixel
        assert set(facts.bits_per_sample) == {page.bitspersample}
        assert facts.compression == COMPRESSIONS[int(page.compression)]
        assert facts.is_tiled is page.is_tiled
        assert facts.resolution_unit is UNITS[int(tags["ResolutionUnit"].value)]
        numerator, denominator = tags["XResolution"].value
        assert facts.x_resolution == Rational(numerator=numerator, denominator=denominator)
        photometric = {0: "WhiteIsZero", 1: "BlackIsZero", 2: "RGB", 6: "YCbCr"}
        assert facts.photometric == photometric[int(page.photometric)]
        assert facts.capture.software == tags["Software"].value
    assert facts.size_bytes == path.stat().st_size
    assert facts.icc == icc.read_profile(read_header(path).icc_profile)


def test_capture_data_are_those_that_pillow_reads(tmp_path: Path) -> None:
    path = make.tiff_with_exif(tmp_path / "a.tif")
    capture = read_header(path).facts.capture
    with Image.open(path) as other:
        main, exif = other.getexif(), other.getexif().get_ifd(34665)
    assert (capture.make, capture.model) == (main[271], main[272])
    assert capture.exposure_time_s == Fraction(1, 125) == Fraction(exif[33434]).limit_denominator(1000)
    assert capture.f_number == 8 == exif[33437]
    assert capture.iso_speed == 50 == exif[34855]
    assert capture.focal_length_mm == 120
    assert capture.exposure_bias == Rational(numerator=-1, denominator=3)
    assert capture.captured_at == "2026-03-09T10:11:12+01:00"
    assert capture.changed_at == "2026-03-10T08:00:00"
    assert (capture.body_serial, capture.lens_model, capture.lens_serial) == ("KW-0417", "Macro 120", "L-77")
    assert (capture.metering_mode, capture.light_source, capture.flash) == (3, 4, 1)
    assert capture.exif_version == "0230"


XMP = """<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:tiff="http://ns.adobe.com/tiff/1.0/" xmlns:exif="http://ns.adobe.com/exif/1.0/"
 xmlns:aux="http://ns.adobe.com/exif/1.0/aux/" xmlns:xmp="http://ns.adobe.com/xap/1.0/"
 tiff:Make="Kestrelworks" tiff:Model="KW 100 back" aux:SerialNumber="KW-9" aux:Lens="Macro 90"
 exif:ExposureTime="1/60" exif:FNumber="11/1" xmp:CreatorTool="Developer 2">
<exif:DateTimeOriginal>2026-03-09T10:11+01:00</exif:DateTimeOriginal>{more}</rdf:Description></rdf:RDF></x:xmpmeta>"""


@pytest.mark.parametrize("write", [make.tiff, make.jpeg], ids=["tiff", "jpeg"])
def test_xmp_fills_what_exif_leaves_open(write: object, tmp_path: Path) -> None:
    packet = XMP.format(more="").encode()
    if write is make.tiff:
        path = make.tiff(tmp_path / "a.tif", extratags=[(700, "B", len(packet), packet, True)])
    else:
        path = make.jpeg(tmp_path / "a.jpg", xmp=packet)
    capture = read_header(path).facts.capture
    assert (capture.make, capture.model, capture.body_serial) == ("Kestrelworks", "KW 100 back", "KW-9")
    assert capture.lens_model == "Macro 90"
    assert (capture.exposure_time_s, capture.f_number) == (Fraction(1, 60), Fraction(11))
    assert capture.captured_at == "2026-03-09T10:11:00+01:00"
    assert not capture.has_location


def test_exif_wins_over_xmp_and_broken_xmp_is_passed_over(tmp_path: Path) -> None:
    packet = XMP.format(more="<exif:GPSLatitude>50,0N</exif:GPSLatitude>").encode()
    tag = (700, "B", len(packet), packet, True)
    capture = read_header(make.tiff(tmp_path / "a.tif", extratags=[tag])).facts.capture
    assert capture.software == "Exporter 3.1"
    assert capture.has_location
    bomb = b'<!DOCTYPE x [<!ENTITY a "b">]><x>&a;</x>'
    path = make.tiff(tmp_path / "b.tif", extratags=[(700, "B", len(bomb), bomb, True)])
    assert read_header(path).facts.capture.make == ""


def test_a_location_is_noticed_and_not_read(tmp_path: Path) -> None:
    facts = read_header(make.tiff_with_exif(tmp_path / "a.tif")).facts
    assert facts.capture.has_location
    assert "50" not in repr(facts.capture).replace("iso_speed=50", "")


def test_resolution_is_not_invented_where_the_file_has_none(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, make.picture(), photometric="rgb", metadata=None)
    facts = read_header(make.tiff_claiming(path, 282, 0)).facts
    assert not facts.ppi
    assert not read_header(make.png(tmp_path / "b.png", bits=16)).facts.ppi


def test_pixels_per_centimetre_become_pixels_per_inch(tmp_path: Path) -> None:
    kind = next(kind for kind in make.TIFF_KINDS if kind.name == "centimetre")
    facts = read_header(make.tiff(tmp_path / "a.tif", kind)).facts
    assert facts.ppi == pytest.approx((600, 600), rel=1e-4)


def test_facts_of_a_jpeg(tmp_path: Path) -> None:
    facts = read_header(make.jpeg(tmp_path / "a.jpg", subsampling="4:2:0")).facts
    assert facts.format is MasterFormat.JPEG
    assert (facts.width_px, facts.height_px) == (97, 61)
    assert (facts.compression, facts.photometric) == ("JPEG", "YCbCr")
    assert facts.ycbcr_subsampling == (2, 2)
    assert facts.ppi == (300, 300)
    assert facts.icc == icc.read_profile(icc.srgb_profile())


@pytest.mark.parametrize(("subsampling", "factors"), [("4:4:4", (1, 1)), ("4:2:2", (2, 1))])
def test_how_much_less_chroma_there_is_across_and_down(
    subsampling: str, factors: tuple[int, int], tmp_path: Path
) -> None:
    facts = read_header(make.jpeg(tmp_path / "a.jpg", subsampling=subsampling)).facts
    assert facts.ycbcr_subsampling == factors


def test_a_profile_in_several_segments_is_put_together_by_their_numbers(tmp_path: Path) -> None:
    profile = icc.srgb_profile() + bytes(range(256)) * 300
    data = make.jpeg(tmp_path / "a.jpg", icc_profile=profile).read_bytes()
    first, second = (data.index(b"\xff\xe2", at) for at in (0, data.index(b"ICC_PROFILE")))
    end = second + 2 + int.from_bytes(data[second + 2 : second + 4])
    (tmp_path / "b.jpg").write_bytes(data[:first] + data[second:end] + data[first:second] + data[end:])
    assert read_header(tmp_path / "b.jpg").icc_profile == profile


@pytest.mark.parametrize(("bits", "samples"), [(8, 1), (8, 3), (16, 1), (16, 3)])
def test_facts_of_a_png(bits: int, samples: int, tmp_path: Path) -> None:
    facts = read_header(make.png(tmp_path / "a.png", bits=bits, samples=samples)).facts
    assert facts.bits_per_sample == (bits,) * samples
    assert facts.compression == "Deflate"
    if bits == 8:
        assert facts.ppi == pytest.approx((300, 300), rel=1e-3)


@pytest.mark.parametrize("reversible", [True, False])
@pytest.mark.parametrize(("bits", "samples"), [(8, 3), (16, 3), (16, 1)])
def test_facts_of_a_jpeg_2000(bits: int, samples: int, reversible: bool, tmp_path: Path) -> None:
    facts = read_header(make.jp2(tmp_path / "a.jp2", bits=bits, samples=samples, reversible=reversible)).facts
    assert (facts.width_px, facts.height_px, facts.bits_per_sample) == (97, 61, (bits,) * samples)
    assert facts.jpeg2000
    assert facts.jpeg2000.is_reversible is reversible
    assert facts.compression == ("JPEG 2000 lossless" if reversible else "JPEG 2000 lossy")


def in_its_header(jp2: Path, *boxes: tuple[bytes, bytes]) -> Path:
    """Add boxes to the header of a JPEG 2000 file, at its end."""
    data, added = jp2.read_bytes(), b"".join(map(box, boxes))
    at = data.index(b"jp2h") - 4
    end = at + int.from_bytes(data[at : at + 4])
    jp2.write_bytes(data[:at] + box((b"jp2h", data[at + 8 : end] + added)) + data[end:])
    return jp2


def box(each: tuple[bytes, bytes]) -> bytes:
    kind, content = each
    return struct.pack(">I4s", 8 + len(content), kind) + content


def test_the_resolution_of_a_jpeg_2000_is_that_of_the_capture(tmp_path: Path) -> None:
    """Pillow reads it from the same boxes (ISO/IEC 15444-1, annex I.5.3.7), down first, then across."""
    captured = (b"resc", struct.pack(">HHHHbb", 30_000, 254, 60_000, 254, 2, 2))
    shown = (b"resd", struct.pack(">HHHHbb", 7200, 254, 7200, 254, 2, 2))
    path = make.jp2(tmp_path / "a.jp2", bits=8)
    assert read_header(path).facts.ppi is None
    in_its_header(path, (b"res ", box(shown) + box(captured)))
    facts = read_header(path).facts
    assert facts.ppi == pytest.approx((600, 300), rel=1e-9)
    with Image.open(path) as other:
        assert other.info["dpi"] == pytest.approx(facts.ppi)


def test_a_jpeg_2000_with_alpha_or_a_palette_is_refused_by_name(tmp_path: Path) -> None:
    alpha = (b"cdef", struct.pack(">7H", 2, 0, 0, 1, 1, 1, 0))  # channel 1 is opacity, of the whole
    with pytest.raises(MasterError, match="has an alpha channel, expected RGB or grey"):
        read_header(in_its_header(make.jp2(tmp_path / "a.jp2"), alpha))
    with pytest.raises(MasterError, match="has a colour palette, expected RGB or grey"):
        read_header(in_its_header(make.jp2(tmp_path / "b.jp2"), (b"pclr", bytes(8))))


@pytest.mark.parametrize(
    ("orientation", "size"), [(1, (97, 61)), (4, (97, 61)), (6, (61, 97)), (8, (61, 97))]
)
def test_orientation_turns_the_displayed_size(
    orientation: int, size: tuple[int, int], tmp_path: Path
) -> None:
    path = make.tiff(tmp_path / "a.tif", extratags=[(274, "H", 1, orientation, True)])
    facts = read_header(path).facts
    assert (facts.orientation, facts.displayed_size_px) == (orientation, size)


def test_an_orientation_that_there_is_not_counts_as_upright(tmp_path: Path) -> None:
    path = make.tiff(tmp_path / "a.tif", extratags=[(274, "H", 1, 9, True)])
    assert read_header(path).facts.orientation == 1


def test_a_resolution_without_a_unit_is_per_inch(tmp_path: Path) -> None:
    """TIFF 6.0, ResolutionUnit: the default is 2, inch."""
    path = make.tiff(tmp_path / "a.tif")
    data = path.read_bytes()
    unit = data.index(struct.pack("<HHI", 296, 3, 1))  # which becomes a private field
    path.write_bytes(data[:unit] + struct.pack("<H", 65000) + data[unit + 2 :])
    assert read_header(path).facts.ppi == (600, 600)


def test_of_a_field_that_is_there_twice_the_first_counts_as_for_the_decoder(tmp_path: Path) -> None:
    path = make.tiff(tmp_path / "a.tif")
    data = path.read_bytes()
    software = data.index(struct.pack("<HH", 305, 2))
    path.write_bytes(data[:software] + struct.pack("<HHII", 256, 3, 1, 5) + data[software + 12 :])
    assert read_header(path).facts.width_px == pyvips.Image.new_from_file(str(path)).width == 97


def test_the_time_of_digitising_and_the_speed_are_looked_for_where_exif_puts_them(tmp_path: Path) -> None:
    """EXIF 3.0, section 4.6.6.7: a sensitivity of 65535 and more stands in a field of its own."""
    exif = Image.Exif()
    times = {36867: "2020:01:01 00:00:00", 36868: "2026:03:09 10:11:12", 36882: "+01:00"}
    exif.get_ifd(34665).update({**times, 34855: 65535, 34866: 102400})
    Image.new("RGB", (20, 20)).save(tmp_path / "a.jpg", exif=exif)
    capture = read_header(tmp_path / "a.jpg").facts.capture
    assert (capture.captured_at, capture.iso_speed) == ("2026-03-09T10:11:12+01:00", 102400)


def test_a_thumbnail_in_the_file_is_not_taken_for_a_second_page(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    with tifffile.TiffWriter(path) as writer:
        writer.write(make.picture(24, 16, bits=8), photometric="rgb", subfiletype=1, metadata=None)
        writer.write(make.picture(), photometric="rgb", metadata=None, iccprofile=icc.srgb_profile())
    header = read_header(path)
    assert (header.page, header.facts.width_px) == (1, 97)


# ------------------------------------------------------------------------------------------- refusals


def test_several_pages_are_refused_by_name(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    with tifffile.TiffWriter(path) as writer:
        for _ in range(3):
            writer.write(make.picture(), photometric="rgb", metadata=None)
    with pytest.raises(MasterError, match="holds 3 images, expected one"):
        read_header(path)


def _save(path: Path, mode: str, **options: object) -> Path:
    Image.new(mode, (40, 30)).save(path, **options)  # type: ignore[arg-type]
    return path


def test_kinds_of_picture_that_would_be_mangled_are_refused_by_name(tmp_path: Path) -> None:
    floats = tmp_path / "float.tif"
    tifffile.imwrite(floats, np.zeros((9, 9, 3), np.float32), photometric="rgb", metadata=None)
    cases = {
        _save(tmp_path / "cmyk.tif", "CMYK"): "CMYK",
        _save(tmp_path / "palette.tif", "P"): "palette",
        _save(tmp_path / "alpha.tif", "RGBA"): "alpha",
        _save(tmp_path / "lab.tif", "LAB"): "CIELab",
        _save(tmp_path / "bilevel.tif", "1"): "1 bits per sample",
        _save(tmp_path / "fax.tif", "1", compression="group4"): "CCITT Group 4",
        _save(tmp_path / "cmyk.jpg", "CMYK"): "4 channels",
        _save(tmp_path / "palette.png", "P"): "palette",
        _save(tmp_path / "alpha.png", "RGBA"): "alpha",
        _save(tmp_path / "a.gif", "L"): "GIF",
        _save(tmp_path / "a.bmp", "RGB"): "BMP",
        floats: "floating point",
    }
    for path, reason in cases.items():
        with pytest.raises(MasterError, match=reason) as caught:
            read_header(path)
        assert caught.value.message.startswith(path.name)
        assert "export" in caught.value.message or "flatten" in caught.value.message


def test_camera_raw_is_refused_with_what_to_export(tmp_path: Path) -> None:
    by_name = make.tiff(tmp_path / "a.dng")
    by_tag = make.tiff(tmp_path / "b.tif", extratags=[(50706, "B", 4, (1, 4, 0, 0), True)])
    for path in (by_name, by_tag):
        with pytest.raises(MasterError, match=r"camera raw file.*export it as an uncompressed or LZW TIFF"):
            read_header(path)


def test_a_file_that_is_no_image_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.tif").write_bytes(b"")
    (tmp_path / "b.tif").write_text("not an image at all, only words")
    with pytest.raises(MasterError, match="is empty"):
        read_header(tmp_path / "a.tif")
    with pytest.raises(MasterError, match="not an image that is known"):
        read_header(tmp_path / "b.tif")
    with pytest.raises(MasterError, match="cannot be read"):
        read_header(tmp_path / "absent.tif")


def test_channels_beside_a_grey_picture_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, make.picture(), photometric="minisblack", planarconfig="contig", metadata=None)
    with pytest.raises(MasterError, match="has an alpha or extra channel"):
        read_header(path)


def test_a_profile_for_other_data_is_refused(tmp_path: Path) -> None:
    path = make.tiff(tmp_path / "a.tif", iccprofile=icc.grey_profile())
    with pytest.raises(MasterError, match="profile for GRAY data, but its picture is RGB"):
        read_header(path)


def test_directories_that_run_in_a_circle_end(tmp_path: Path) -> None:
    path = make.tiff(tmp_path / "a.tif")
    data = bytearray(path.read_bytes())
    first = int.from_bytes(data[4:8], "little")
    count = int.from_bytes(data[first : first + 2], "little")
    data[first + 2 + 12 * count : first + 6 + 12 * count] = data[4:8]
    path.write_bytes(data)
    with pytest.raises(MasterError, match="run in a circle"):
        read_header(path)


def test_a_broken_field_of_an_exif_block_is_passed_over(tmp_path: Path) -> None:
    """The picture stands beside the block, whatever that says; a TIFF so broken has lost its end."""
    exif = Image.Exif()
    exif[271], exif[272] = "Kestrelworks of Harrow Bridge", "KW 100 back"
    Image.new("RGB", (20, 20)).save(tmp_path / "a.jpg", exif=exif)
    data = bytearray((tmp_path / "a.jpg").read_bytes())
    make_field = data.index(b"\x01\x0f\x00\x02") if b"MM\0*" in data else data.index(b"\x0f\x01\x02\x00")
    data[make_field + 8 : make_field + 12] = b"\x7f" * 4  # where its text is said to be
    (tmp_path / "a.jpg").write_bytes(data)
    capture = read_header(tmp_path / "a.jpg").facts.capture
    assert (capture.make, capture.model) == ("", "KW 100 back")


def test_boxes_inside_boxes_without_end_are_passed_over(tmp_path: Path) -> None:
    nested = b""
    for _ in range(2000):
        nested = struct.pack(">I4s", 8 + len(nested), b"jp2h") + nested
    whole = make.jp2(tmp_path / "a.jp2").read_bytes()
    (tmp_path / "b.jp2").write_bytes(whole[:12] + nested)
    with pytest.raises(MasterError, match="has no picture"):
        read_header(tmp_path / "b.jp2")


@pytest.mark.parametrize("count", [1 << 62, 1 << 40, 100_000])
def test_a_field_that_claims_more_numbers_than_there_can_be_takes_no_memory(
    count: int, tmp_path: Path
) -> None:
    path = make.tiff(tmp_path / "a.tif", make.TIFF_KINDS[2])
    data = bytearray(path.read_bytes())
    first = int.from_bytes(data[8:16], "little")
    for entry in range(first + 8, first + 8 + 20 * int.from_bytes(data[first : first + 8], "little"), 20):
        if int.from_bytes(data[entry : entry + 2], "little") == 258:  # BitsPerSample
            data[entry + 4 : entry + 12] = count.to_bytes(8, "little")
    path.write_bytes(data)
    with pytest.raises(MasterError, match="damaged"):
        read_header(path)


@pytest.fixture(scope="module")
def whole_files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("whole")
    made = [
        make.tiff(folder / "a.tif"),
        make.tiff(folder / "b.tif", make.TIFF_KINDS[2]),
        make.tiff_with_exif(folder / "c.tif"),
        make.jpeg(folder / "d.jpg"),
        make.png(folder / "e.png"),
        make.jp2(folder / "f.jp2"),
    ]
    return {path.name: path.read_bytes() for path in made}


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=300)
@given(st.data())
def test_damage_gives_facts_or_a_clear_refusal_and_never_a_crash(
    whole_files: dict[str, bytes], tmp_path: Path, data: st.DataObject
) -> None:
    name = data.draw(st.sampled_from(sorted(whole_files)))
    content = bytearray(whole_files[name])
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    path = tmp_path / name
    path.write_bytes(content[: data.draw(st.integers(0, len(content)))])
    refusal, facts = None, None
    try:
        facts = read_header(path).facts
    except MasterError as error:
        refusal = error
    assert facts is None or facts.width_px * facts.height_px > 0
    assert refusal is None or refusal.message.startswith(name)
