"""The static image service: arithmetic by the published vectors, files by walking every request."""

from __future__ import annotations

import datetime as dt
import json
import math
from pathlib import Path

import numpy as np
import pytest
import pyvips
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from pipeline import derive, icc
from pipeline.derive import DerivePlan
from pipeline.images import Picture
from pipeline.model import Algorithm, Derivatives, ImageDelivery, SizePx, StoredFile

NOW = dt.datetime(2026, 3, 10, 9, 0, tzinfo=dt.UTC)
small = st.integers(1, 60)


def size_of(width_px: int, height_px: int) -> SizePx:
    return SizePx(width_px=width_px, height_px=height_px)


# -------------------------------------------------------------------------------------- the arithmetic


def test_sizes_and_tiles_of_the_worked_example() -> None:
    """10328 × 7760 in tiles of 512: the counts and corner names of a worked example of the rounding rules.

    Source: IIIF Image API 3.0 and its implementation notes, computed by hand (the project's fact sheet).
    """
    size = size_of(10328, 7760)
    assert derive.scale_factors(size, tile_px=512) == (1, 2, 4, 8, 16, 32)
    assert [(each.width_px, each.height_px) for each in derive.image_sizes(size, tile_px=512)] == [
        (323, 243),
        (646, 485),
        (1291, 970),
        (2582, 1940),
        (5164, 3880),
    ]
    counts = {
        factor: len(list(derive.tile_regions(size, tile_px=512, scale_factor=factor)))
        for factor in (1, 2, 4, 8, 16, 32)
    }
    assert counts == {1: 336, 2: 88, 4: 24, 8: 6, 16: 2, 32: 1}
    names = derive.expected_files(size, tile_px=512)
    assert len(names) == 462 + 1
    corners = """0,0,512,512/512,512 10240,0,88,512/88,512 0,7680,512,80/512,80 10240,7680,88,80/88,80
        0,0,1024,1024/512,512 10240,0,88,1024/44,512 0,7168,1024,592/512,296 10240,7168,88,592/44,296
        10240,0,88,2048/22,512 0,6144,2048,1616/512,404 10240,6144,88,1616/22,404
        8192,0,2136,4096/267,512 0,4096,4096,3664/512,458 8192,4096,2136,3664/267,458
        0,0,8192,7760/512,485 8192,0,2136,7760/134,485 full/323,243 full/646,485 full/max"""
    assert {f"{corner}/0/default.jpg" for corner in corners.split()} <= names
    assert "0,0,10328,7760/323,243/0/default.jpg" not in names


@pytest.mark.parametrize(
    ("width_px", "height_px", "factors", "sizes"),
    [
        (1025, 513, (1, 2, 4), [(257, 129), (513, 257)]),
        (512, 512, (1,), []),
        (1024, 1024, (1, 2), [(512, 512)]),
        (1537, 511, (1, 2, 4), [(385, 128), (769, 256)]),
        (1, 1, (1,), []),
    ],
)
def test_further_vectors(
    width_px: int, height_px: int, factors: tuple[int, ...], sizes: list[tuple[int, int]]
) -> None:
    size = size_of(width_px, height_px)
    assert derive.scale_factors(size, tile_px=512) == factors
    assert [(each.width_px, each.height_px) for each in derive.image_sizes(size, tile_px=512)] == sizes


@given(small, small, st.sampled_from([4, 8]), st.sampled_from([1, 2, 4]))
def test_regions_cover_the_image_exactly_once(
    width_px: int, height_px: int, tile_px: int, scale_factor: int
) -> None:
    regions = derive.tile_regions(size_of(width_px, height_px), tile_px=tile_px, scale_factor=scale_factor)
    pixels = [
        (r.x_px + i, r.y_px + j) for r in regions for i in range(r.width_px) for j in range(r.height_px)
    ]
    assert len(pixels) == len(set(pixels)) == width_px * height_px


def requests_of_a_zooming_client(info: dict[str, object]) -> set[str]:
    """Every URL that a common deep-zoom client builds from info.json, by its published rules.

    Levels from the largest scale factor; level sizes from `sizes` if they fit, else rounded up; a region
    that is the whole image is called full, a size that is the full size max.
    """
    width, height = int(str(info["width"])), int(str(info["height"]))
    tiles = info["tiles"]
    assert isinstance(tiles, list)
    tile, factors = tiles[0]["width"], tiles[0]["scaleFactors"]
    levels = int(math.log2(max(factors)))
    listed = [(each["width"], each["height"]) for each in info.get("sizes", [])]  # type: ignore[attr-defined]
    if len(listed) == levels:
        listed.append((width, height))
    found = set()
    for level in range(levels + 1):
        scale = 2 ** (levels - level)
        level_width, level_height = (
            listed[level] if len(listed) == levels + 1 else (-(-width // scale), -(-height // scale))
        )
        for column in range(-(-level_width // tile)):
            for row in range(-(-level_height // tile)):
                x, y = column * tile * scale, row * tile * scale
                w, h = min(tile * scale, width - x), min(tile * scale, height - y)
                wanted_w = min(tile, level_width - column * tile)
                wanted_h = min(tile, level_height - row * tile)
                whole = (x, y, w, h) == (0, 0, width, height)
                region = "full" if whole else f"{x},{y},{w},{h}"
                is_max = whole and (wanted_w, wanted_h) == (width, height)
                found.add(f"{region}/{'max' if is_max else f'{wanted_w},{wanted_h}'}/0/default.jpg")
    return found


@given(st.integers(1, 9000), st.integers(1, 9000), st.sampled_from([256, 512, 1024]))
def test_a_zooming_client_never_asks_for_what_is_not_there(
    width_px: int, height_px: int, tile_px: int
) -> None:
    size = size_of(width_px, height_px)
    info = derive.info_document(size, service_id="http://localhost/a", tile_px=tile_px)
    assert requests_of_a_zooming_client(info) <= derive.expected_files(size, tile_px=tile_px)


def test_a_scroll_that_is_too_long_for_one_file_gets_a_smaller_whole_image() -> None:
    size = size_of(120_000, 3_000)
    info = derive.info_document(size, service_id="http://localhost/a", tile_px=512)
    assert (info["maxWidth"], info["maxHeight"]) == (15_000, 375)
    sizes = info["sizes"]
    assert isinstance(sizes, list)
    assert sizes[-1] == {"width": 15_000, "height": 375}
    assert derive.whole_files(size, tile_px=512)["full/max/0/default.jpg"] == size_of(15_000, 375)


@given(st.integers(1, 20_000), st.integers(1, 20_000), st.integers(100, 5_000))
def test_access_images_keep_their_ratio_and_are_never_enlarged(
    width_px: int, height_px: int, long_edge_px: int
) -> None:
    size = size_of(width_px, height_px)
    access = derive.access_size(size, long_edge_px=long_edge_px)
    assert max(access.width_px, access.height_px) <= max(long_edge_px, 1)
    assert access.width_px <= width_px
    assert access.height_px <= height_px
    ratio = max(width_px, height_px) / max(access.width_px, access.height_px)
    assert access.height_px == pytest.approx(height_px / ratio, abs=0.51) or access.height_px == 1


# ------------------------------------------------------------------------------------------ the files


def picture(tmp_path: Path, width_px: int, height_px: int, *, bands: int = 3) -> Picture:
    """A smooth picture with detail that tiles can be told apart by."""
    xy = pyvips.Image.xyz(width_px, height_px)
    planes = [
        (xy[0] / (31 + 7 * i)).sin() * 60 + (xy[1] / (23 + 5 * i)).cos() * 60 + 128 for i in range(bands)
    ]
    image = planes[0].bandjoin(planes[1:]) if bands > 1 else planes[0]
    path = tmp_path / "picture.v"
    image.cast("uchar").copy(interpretation="srgb" if bands == 3 else "b-w").write_to_file(str(path))
    return Picture(path, orientation=1)


def derived(
    tmp_path: Path,
    width_px: int,
    height_px: int,
    *,
    bands: int = 3,
    delivery: ImageDelivery = ImageDelivery.TILES,
) -> tuple[Derivatives, tuple[StoredFile, ...], Path]:
    plan = DerivePlan(
        item="msb-014",
        frame="B14_0001",
        base_url="https://images.example.org",
        delivery=delivery,
        tile_px=512,
        access_long_edge_px=1000,
        jpeg_quality=90,
        rights="http://creativecommons.org/publicdomain/mark/1.0/",
        checksums=(Algorithm.SHA512,),
    )
    made, image_files = derive.derive_frame(
        picture(tmp_path, width_px, height_px, bands=bands), plan, tmp_path / "public", now=NOW
    )
    return made, image_files, tmp_path / "public"


SIZES = [(1, 1), (511, 511), (512, 512), (513, 513), (513, 300), (1, 600), (1025, 513), (1301, 977)]


@pytest.mark.parametrize(("width_px", "height_px"), SIZES)
def test_every_file_that_a_client_may_ask_for_is_there_and_nothing_else(
    width_px: int, height_px: int, tmp_path: Path
) -> None:
    _check_service(tmp_path, width_px, height_px)


def test_every_file_of_an_eighty_megapixel_frame_is_there(tmp_path: Path) -> None:
    _check_service(tmp_path, 10328, 7760)


def _check_service(tmp_path: Path, width_px: int, height_px: int) -> None:
    made, image_files, public = derived(tmp_path, width_px, height_px)
    service = public / "iiif/msb-014/B14_0001"
    on_disk = {str(path.relative_to(service)) for path in service.rglob("*") if path.is_file()}
    assert on_disk == derive.expected_files(made.size, tile_px=512)
    info = json.loads((service / "info.json").read_text())
    assert requests_of_a_zooming_client(info) <= on_disk
    assert info["id"] == "https://images.example.org/iiif/msb-014/B14_0001"
    assert (info["width"], info["height"]) == (width_px, height_px)
    for name in on_disk - {"info.json"}:
        _, wanted, _, _ = name.split("/")
        with Image.open(service / name) as image:
            assert image.format == "JPEG"
            expected = f"{width_px},{height_px}" if wanted == "max" else wanted
            assert f"{image.width},{image.height}" == expected
    assert {str(each.path) for each in image_files} == {f"iiif/msb-014/B14_0001/{n}" for n in on_disk}


def stitched(service: Path, size: SizePx, factor: int) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    whole = derive.scaled(size, factor)
    canvas = np.zeros((whole.height_px, whole.width_px, 3))
    for region in derive.tile_regions(size, tile_px=512, scale_factor=factor):
        with Image.open(service / derive.tile_name(size, region, scale_factor=factor)) as tile:
            x, y = region.x_px // factor, region.y_px // factor
            canvas[y : y + tile.height, x : x + tile.width] = np.asarray(tile)
    return canvas


def test_tiles_put_together_are_the_picture(tmp_path: Path) -> None:
    """Decoded by Pillow and stitched, each level is the reduced picture: mean within 1 code, all within 8."""
    made, _, public = derived(tmp_path, 1301, 977)
    service = public / "iiif/msb-014/B14_0001"
    source = np.asarray(pyvips.Image.new_from_file(str(tmp_path / "picture.v"))).astype(np.float64)
    for factor in made.scale_factors:
        height, width = source.shape[0] // factor * factor, source.shape[1] // factor * factor
        boxes = source[:height, :width].reshape(height // factor, factor, width // factor, factor, 3)
        expected = boxes.mean(axis=(1, 3))
        found = stitched(service, made.size, factor)[: expected.shape[0], : expected.shape[1]]
        difference = np.abs(found - expected)
        assert difference.mean() < 1
        assert difference.max() <= 8


def test_whole_images_are_the_reduced_picture(tmp_path: Path) -> None:
    made, _, public = derived(tmp_path, 1300, 976)
    source = np.asarray(pyvips.Image.new_from_file(str(tmp_path / "picture.v"))).astype(np.float64)
    half = source.reshape(488, 2, 650, 2, 3).mean(axis=(1, 3))
    with Image.open(public / "iiif/msb-014/B14_0001/full/650,488/0/default.jpg") as image:
        assert np.abs(np.asarray(image) - half).mean() < 1
    assert made.access_size == size_of(1000, 751)
    with Image.open(public / made.access.path) as access:
        assert access.size == (1000, 751)


def test_no_image_is_reduced_by_a_little_from_one_that_was_reduced_by_a_little(tmp_path: Path) -> None:
    """That would soften it: the access image of 1000 px is no source of the whole image of 650 px."""
    _, _, public = derived(tmp_path, 1300, 976)
    whole = Picture(tmp_path / "picture.v", orientation=1)
    whole.reduced(size_of(650, 488)).write_jpeg(tmp_path / "from-whole.jpg", quality=90)
    found = public / "iiif/msb-014/B14_0001/full/650,488/0/default.jpg"
    assert found.read_bytes() == (tmp_path / "from-whole.jpg").read_bytes()


@pytest.mark.parametrize("bands", [1, 3])
def test_every_derivative_carries_its_profile_and_nothing_of_the_camera(bands: int, tmp_path: Path) -> None:
    made, image_files, public = derived(tmp_path, 700, 600, bands=bands)
    profile = icc.grey_profile() if bands == 1 else icc.srgb_profile()
    for stored in (made.access, *image_files):
        if stored.media_type == "image/jpeg":
            with Image.open(public / stored.path) as image:
                assert image.info["icc_profile"] == profile
                assert image.mode == ("L" if bands == 1 else "RGB")
                assert not image.getexif()


def test_digests_in_the_record_are_those_of_the_files(tmp_path: Path) -> None:
    import hashlib

    made, image_files, public = derived(tmp_path, 700, 600)
    for stored in (made.access, *image_files):
        data = (public / stored.path).read_bytes()
        assert stored.size_bytes == len(data)
        assert stored.digest(Algorithm.SHA512) == hashlib.sha512(data).hexdigest()


def test_deriving_twice_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
    first, first_files, _ = derived(tmp_path / "a", 1025, 513)
    second, second_files, _ = derived(tmp_path / "b", 1025, 513)
    assert (first, first_files) == (second, second_files)


@pytest.mark.parametrize("bands", [1, 3])
def test_a_pyramid_tiff_has_its_levels(bands: int, tmp_path: Path) -> None:
    import tifffile

    _, image_files, public = derived(tmp_path, 1301, 977, bands=bands, delivery=ImageDelivery.PYRAMID_TIFF)
    (image,) = image_files
    assert str(image.path) == "images/msb-014/B14_0001.tif"
    with tifffile.TiffFile(public / image.path) as file:
        pages = list(file.pages)
        assert [page.is_tiled for page in pages] == [True] * len(pages)
        assert [(page.imagewidth, page.imagelength) for page in pages] == [
            (1301, 977),
            (650, 488),
            (325, 244),
        ]


@pytest.mark.parametrize("bands", [1, 3])
def test_a_jp2_has_its_resolution_levels(bands: int, tmp_path: Path) -> None:
    from pipeline.headers import read_header

    _, image_files, public = derived(tmp_path, 1301, 977, bands=bands, delivery=ImageDelivery.JP2)
    (image,) = image_files
    facts = read_header(public / image.path).facts
    assert (facts.width_px, facts.height_px, facts.samples_per_pixel) == (1301, 977, bands)
    assert facts.jpeg2000
    assert facts.jpeg2000.decomposition_levels >= 2
    source = np.asarray(pyvips.Image.new_from_file(str(tmp_path / "picture.v"))).astype(np.float64)
    with Image.open(public / image.path) as decoded:
        assert np.abs(np.asarray(decoded) - source.squeeze()).mean() < 1.5
