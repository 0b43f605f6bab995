"""Which files an info.json promises: examples of the notes, and the arithmetic that makes tiles."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import derive
from pipeline.model import SizePx
from pipeline.verify.image_service.promise import Offer, Size, TileSet, count, has_shape, limited, promised

FILE = "0/default.jpg"


def offer(width_px: int, height_px: int, tile_px: int) -> Offer:
    """What our own info.json offers of an image."""
    size = SizePx(width_px=width_px, height_px=height_px)
    largest = derive.max_size(size, tile_px=tile_px)
    return Offer(
        version=3,
        size=Size(width_px, height_px),
        max_size=Size(largest.width_px, largest.height_px),
        sizes=tuple(
            Size(each.width_px, each.height_px) for each in derive.listed_sizes(size, tile_px=tile_px)
        ),
        tiles=(TileSet(tile_px, tile_px, derive.scale_factors(size, tile_px=tile_px)),),
    )


@given(st.integers(1, 5000), st.integers(1, 5000), st.sampled_from([128, 256, 512, 1000]))
def test_what_is_promised_is_what_is_made(width_px: int, height_px: int, tile_px: int) -> None:
    size = SizePx(width_px=width_px, height_px=height_px)
    made = derive.expected_files(size, tile_px=tile_px) - {"info.json"}
    ours = offer(width_px, height_px, tile_px)
    assert promised(ours).files.keys() == made
    assert count(ours) >= len(made)


# Source: Image API 3.0, sections 4.7, 5.3 and 5.4; computed by hand for 10328 × 7760 in tiles of 512.
CORNERS = {
    "10240,7680,88,80/88,80": (88, 80),
    "10240,7168,88,592/44,296": (44, 296),
    "10240,6144,88,1616/22,404": (22, 404),
    "8192,4096,2136,3664/267,458": (267, 458),
    "8192,0,2136,7760/134,485": (134, 485),
    "full/323,243": (323, 243),
    "full/max": (10328, 7760),
}


@pytest.mark.parametrize(("name", "size"), CORNERS.items())
def test_edges_are_cropped_and_rounded_up(name: str, size: tuple[int, int]) -> None:
    assert promised(offer(10328, 7760, 512)).files[f"{name}/{FILE}"] == size


def test_the_example_has_462_images() -> None:
    assert len(promised(offer(10328, 7760, 512)).files) == 462


def test_tiles_need_not_be_square() -> None:
    ours = Offer(version=3, size=Size(100, 90), max_size=Size(100, 90), tiles=(TileSet(64, 32, (1,)),))
    assert f"64,64,36,26/36,26/{FILE}" in promised(ours).files
    assert len(promised(ours).files) == 7


def test_every_format_and_quality_is_promised_for_everything() -> None:
    endings = (FILE, "0/default.webp", "0/gray.jpg", "0/gray.webp")
    ours = Offer(version=3, size=Size(10, 10), max_size=Size(10, 10), endings=endings)
    assert set(promised(ours).files) == {f"full/max/{each}" for each in endings}


@pytest.mark.parametrize(
    ("limits", "size"),
    [
        ({"width_px": 1000}, (1000, 500)),
        ({"width_px": 500, "height_px": 100}, (200, 100)),
        ({"area_px": 500_000}, (1000, 500)),
        ({}, (2000, 1000)),
    ],
)
def test_limits_make_the_largest_image_smaller(limits: dict[str, int], size: tuple[int, int]) -> None:
    wanted = {"width_px": None, "height_px": None, "area_px": None} | limits
    assert limited(Size(2000, 1000), **wanted) == size


def test_max_width_alone_limits_the_height_too() -> None:
    assert limited(Size(1000, 2000), width_px=1000, height_px=None, area_px=None) == (500, 1000)


@given(st.integers(1, 60_000), st.integers(1, 60_000), st.sampled_from([1, 2, 4, 8, 16, 32]))
def test_a_size_that_was_divided_and_rounded_has_the_shape_of_the_whole(
    width: int, height: int, factor: int
) -> None:
    assert has_shape(Size(-(-width // factor), -(-height // factor)), Size(width, height))


def test_sizes_exchanged_are_of_another_shape() -> None:
    assert not has_shape(Size(100, 75), Size(300, 400))
