"""Pixels from a scratch file are those of the array that was written to it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pipeline import images
from pipeline.headers import read_header
from pipeline.images import RawPicture
from pipeline.measure.pixels import ArrayPixels, Box, Pixels
from pipeline.measure.stored import StoredPixels
from tests import make


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("samples", [1, 3])
def test_stored_pixels_are_those_of_the_array(bits: int, samples: int, tmp_path: Path) -> None:
    codes = make.picture(230, 310, bits=bits, samples=samples)
    kind = make.TiffKind(name="plain", bits=bits, samples=samples)
    path = make.tiff(tmp_path / "a.tif", kind, pixels=codes)
    decoded = images.decode(
        path,
        read_header(path),
        algorithms=(),
        assumed_profile=images.display_profile(is_grey=samples == 1),
        scratch=tmp_path / "a.v",
    )
    stored: Pixels = StoredPixels(RawPicture(decoded.raw, orientation=1))
    plain: Pixels = ArrayPixels(codes)
    assert (stored.width_px, stored.height_px, stored.bits, stored.bands) == (
        plain.width_px,
        plain.height_px,
        bits,
        samples,
    )
    for box in (Box(left=5, top=7, width=40, height=30), Box(left=-5, top=300, width=50, height=50)):
        assert np.array_equal(stored.crop(box), plain.crop(box))
    assert stored.crop(Box(left=900, top=0, width=5, height=5)).size == 0
    for side_px in (60, 100, 1000):
        one, other = stored.reduced(side_px), plain.reduced(side_px)
        assert one.factor == other.factor
        assert one.shares.shape == other.shares.shape
        assert np.allclose(one.shares, other.shares, atol=1e-5)


def test_stored_pixels_are_upright(tmp_path: Path) -> None:
    codes = make.picture(60, 90)
    path = make.tiff(tmp_path / "a.tif", pixels=codes)
    decoded = images.decode(
        path,
        read_header(path),
        algorithms=(),
        assumed_profile=images.display_profile(is_grey=False),
        scratch=tmp_path / "a.v",
    )
    stored = StoredPixels(RawPicture(decoded.raw, orientation=6))
    whole = stored.crop(Box(left=0, top=0, width=stored.width_px, height=stored.height_px))
    assert np.array_equal(whole, np.rot90(codes, -1))
