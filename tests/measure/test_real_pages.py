"""Photographs of pages that nobody here drew, degraded by known amounts: figures must follow.

Needs a folder of photographs of different pages of one book, named by REAL_PAGES; skipped without.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageFilter

from pipeline import icc
from pipeline.measure.exposure import PageTone, page_tone
from pipeline.measure.geometry import SheetSkew, TextLines, sheet_skew, text_lines
from pipeline.measure.likeness import Signature, compare, near_duplicates, signature
from pipeline.measure.outline import Edge, Outline, find_outline
from pipeline.measure.pixels import ArrayPixels, NotMeasured
from pipeline.measure.profile import profile_of_space
from pipeline.measure.sharpness import Sharpness, sharpness

FOLDER = os.environ.get("REAL_PAGES", "")
PAGES = sorted(Path(FOLDER).glob("*.jpg")) if FOLDER else []
pytestmark = pytest.mark.skipif(not PAGES, reason="REAL_PAGES names no folder of photographs")
each_page = pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)


def opened(path: Path, *, shrink: int = 1) -> Image.Image:
    with Image.open(path) as image:
        smaller: Image.Image = image.convert("RGB").reduce(shrink)
    return smaller


def pixels_of(image: Image.Image) -> ArrayPixels:
    return ArrayPixels(np.asarray(image))


@each_page
def test_blur_ranks_by_how_much_was_added(path: Path) -> None:
    image = opened(path)
    outline = find_outline(pixels_of(image))
    found = [
        sharpness(pixels_of(image.filter(ImageFilter.GaussianBlur(sigma)) if sigma else image), outline)
        for sigma in (0, 0.8, 1.2, 1.7, 2.5)
    ]
    rises = [each.rise_px for each in found if isinstance(each, Sharpness)]
    sigmas = [each.sigma_px for each in found if isinstance(each, Sharpness)]
    assert len(rises) == len(found)
    assert rises == sorted(rises)
    measured = [each for each in sigmas if isinstance(each, float)]
    assert measured == sorted(measured)


@each_page
def test_skew_follows_a_turn(path: Path) -> None:
    image = opened(path, shrink=3)
    ground = tuple(int(each) for each in np.asarray(image)[5:15, -15:-5].mean(axis=(0, 1)))
    found: list[tuple[float, float, float]] = []
    for turn_deg in (-3.0, -1.0, 0.0, 1.0, 3.0):
        turned = image.rotate(-turn_deg, Image.Resampling.BICUBIC, fillcolor=ground)
        pixels = pixels_of(turned)
        outline = find_outline(pixels)
        skew, lines = sheet_skew(outline), text_lines(pixels, outline)
        assert isinstance(outline, Outline)
        assert isinstance(outline.right, Edge)
        assert isinstance(skew, SheetSkew)
        assert isinstance(lines, TextLines)
        found.append((turn_deg, outline.right.angle_deg, lines.angle_deg))
    turns, edges, lines_ = np.array(found).T
    assert np.ptp(edges - turns) < 0.2
    assert np.ptp(lines_ - turns) < 0.2


@each_page
def test_tone_falls_with_light(path: Path) -> None:
    image = opened(path, shrink=3)
    found = [
        page_tone(pixels, find_outline(pixels), profile_of_space(icc.SRGB))
        for factor in (1.0, 0.95, 0.9, 0.8, 0.6)
        for pixels in (pixels_of(image.point([round(code * factor) for code in range(256)] * 3)),)
    ]
    tones = [each.lightness for each in found if isinstance(each, PageTone)]
    assert len(tones) == len(found)
    assert tones == sorted(tones, reverse=True)


def test_different_pages_of_one_hand_are_no_duplicates_and_a_second_take_is() -> None:
    images = [opened(path, shrink=4) for path in PAGES[:6]]
    again = images[1].rotate(-0.3, Image.Resampling.BICUBIC, translate=(7, -5)).point(lambda code: code * 0.9)
    frames = [pixels_of(image) for image in [*images[:2], again, *images[2:]]]
    found: list[Signature | NotMeasured] = [signature(each, find_outline(each)) for each in frames]
    assert [(pair.first, pair.second) for pair in near_duplicates(found).pairs] == [(1, 2)]
    assert isinstance(found[0], Signature)
    assert not isinstance(compare(found[0], found[0]), NotMeasured)
