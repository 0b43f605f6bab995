"""What a frame of the object is said to show: tilt of focus, doubts, light clipped before a curve."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline import icc
from pipeline.measure.of_page import TO_BOTTOM, TO_RIGHT, measure_page
from pipeline.measure.pixels import ArrayPixels
from pipeline.measure.profile import profile_of_space
from pipeline.measurements import FrameMeasures, Quantity
from pipeline.model import FrameKind
from tests.measure.blurs import codes_of, shapes_page
from tests.measure.sheets import Sheet

PROFILE = profile_of_space(icc.WIDE_RGB)


def tilt(found: FrameMeasures) -> dict[str, float]:
    return {
        each.place: each.value
        for each in found.measurements
        if each.quantity is Quantity.TILT and each.value is not None
    }


def measured(pixels: ArrayPixels, kind: FrameKind = FrameKind.PAGE) -> FrameMeasures:
    grey = profile_of_space(icc.WIDE_RGB)
    return measure_page(pixels, grey, kind)


@pytest.mark.parametrize(("grows", "side"), [(1, "right"), (-1, "left")])
def test_a_plane_of_softness_is_a_figure_of_its_own(grows: int, side: str) -> None:
    """Blur grows by 1.2 px of σ from side to side: read within a fifth, the other direction within 0.15."""
    ramp = 1.4 + grows * 1.2 * (np.linspace(0, 1, 900)[None, :] - 0.5) * np.ones((1200, 1))
    found = measured(shapes_page(ramp))
    assert tilt(found)[TO_RIGHT] == pytest.approx(1.2 * grows, rel=0.2)
    assert tilt(found)[TO_BOTTOM] == pytest.approx(0, abs=0.15)
    (remark,) = [each for each in found.remarks if "softer" in each]
    assert remark.endswith(f"towards the {side}")


def test_the_map_of_blur_follows_the_plane() -> None:
    ramp = 1.4 + 1.2 * (np.linspace(0, 1, 1200)[:, None] - 0.5) * np.ones((1, 900))
    (grid,) = measured(shapes_page(ramp)).grids
    rows = [np.mean([value for value in row if value is not None]) for row in grid.rows]
    assert len(grid.rows) == 8
    assert np.all(np.diff(rows) > 0)


def test_an_even_page_has_no_tilt_and_no_remark() -> None:
    found = measured(shapes_page(0.8))
    assert max(abs(each) for each in tilt(found).values()) < 0.1
    assert found.remarks == ()


def test_a_blank_page_says_why_it_has_no_tilt_and_has_no_signature() -> None:
    found = measured(Sheet(lines=0).pixels())
    assert tilt(found) == {}
    assert next(each.reason for each in found.measurements if each.quantity is Quantity.TILT)
    assert found.signature == ""


def test_pages_have_a_signature_and_covers_have_none() -> None:
    pixels = Sheet(seed=3).pixels()
    assert measured(pixels).signature
    cover = measured(pixels, FrameKind.COVER)
    assert cover.signature == ""
    assert len(cover.picture_hash) == 16


def test_light_that_was_clipped_before_a_curve_is_counted_and_said() -> None:
    sheet = Sheet(bits=16, noise=0.01, paper=0.95)
    tone = np.clip(sheet.codes() / 65535 * 1.05, 0, 1)
    found = measured(ArrayPixels(codes_of(0.98 * tone, 16)))
    lost = found.value(Quantity.CLIPPED_LIGHT)
    assert lost is not None
    assert lost > 5
    assert any("pile up" in each for each in found.remarks)
