"""Which frames share a canvas, and how large canvases are."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.describe.arrangement import arrange
from pipeline.describe.canvases import Canvas, canvases, have_same_proportions, resolution_ppi
from pipeline.model import FrameKind, ItemKind, Light, LightKind, Rational, SizePx
from pipeline.specs.iiif import Behavior
from tests.describe import make_items as make
from tests.describe import make_records as the
from tests.describe.make_items import Row, World, pages, row, world

FACE = FrameKind.FACE
RAKING, INFRARED = Light(kind=LightKind.RAKING), Light(kind=LightKind.INFRARED, qualifier="940 nm")


def size(width_px: int, height_px: int) -> SizePx:
    return SizePx(width_px=width_px, height_px=height_px)


def canvases_of(made: World) -> tuple[Canvas, ...]:
    return canvases(made.item, arrange(made.item), made.derivatives, made.records)


def sizes(made: World) -> list[tuple[int, int]]:
    return [(each.size.width_px, each.size.height_px) for each in canvases_of(made)]


def test_lights_of_one_extent_share_a_canvas_though_their_pixels_differ() -> None:
    lights = [
        row("recto", FACE, size=size(3000, 4200)),
        row("recto", FACE, size=size(1500, 2101), light=INFRARED, ppi=300),
    ]
    [canvas] = canvases_of(world(lights, ItemKind.FRAGMENT))
    assert len(canvas.frames) == 2
    assert canvas.size == size(3000, 4200)


def test_normal_light_comes_first_wherever_its_row_stands() -> None:
    lights = [row("recto", FACE, light=RAKING), row("recto", FACE)]
    [canvas] = canvases_of(world(lights, ItemKind.FRAGMENT))
    assert [frame.light.kind for frame in canvas.frames] == [LightKind.NORMAL, LightKind.RAKING]


def test_a_light_of_other_proportions_gets_a_canvas_of_its_own_beside_the_first() -> None:
    lights = [row("recto", FACE), row("recto", FACE, size=size(4200, 3000), light=INFRARED)]
    first, second = canvases_of(world(lights, ItemKind.FRAGMENT))
    assert (first.label.first, first.identifier) == ("recto", "recto")
    assert second.label.best("en") == "recto (Infrared, 940 nm)"
    assert second.label.best("de") == "Recto (Infrarot, 940 nm)"
    assert second.identifier == "recto/light/B14_0002"
    assert second.view == first.view
    assert second.behavior is None


def test_a_canvas_of_its_own_is_not_counted_in_a_paged_item() -> None:
    rows = [*pages("f. 1r"), Row(label="f. 1r", light=INFRARED, size=size(4200, 3000)), *pages("f. 1v")]
    assert [each.behavior for each in canvases_of(world(rows))] == [None, Behavior.NON_PAGED, None]


@pytest.mark.parametrize(
    ("other", "same"),
    [
        (size(1500, 2100), True),
        (size(1500, 2120), True),
        (size(1500, 2130), False),
        (size(2100, 1500), False),
    ],
)
def test_proportions_agree_within_one_per_cent(other: SizePx, same: bool) -> None:
    assert have_same_proportions(size(3000, 4200), other) is same
    assert have_same_proportions(other, size(3000, 4200)) is same


# ------------------------------------------------------------------------------------------------- scale


def test_canvases_are_as_large_as_their_images_where_all_have_one_resolution() -> None:
    made = world([Row(label="f. 1r", ppi=600), Row(label="f. 1v", ppi=600.0001, size=size(3010, 4190))])
    assert sizes(made) == [(3000, 4200), (3010, 4190)]
    assert canvases_of(made)[0].mm_per_unit == pytest.approx(0.0423333, abs=1e-7)  # annex: 25.4 / 600


def test_canvases_share_the_scale_of_the_highest_resolution() -> None:
    rows = [
        Row(label="f. 1r", ppi=600),
        Row(label="f. 1v", ppi=400, size=size(2000, 2800)),
        row("spine", FrameKind.SPINE, ppi=300, size=size(450, 2100)),
    ]
    made = world(rows)
    assert sizes(made) == [(3000, 4200), (3000, 4200), (900, 4200)]
    assert [each.mm_per_unit for each in canvases_of(made)] == [pytest.approx(25.4 / 600)] * 3


def test_the_session_speaks_where_the_file_is_silent() -> None:
    made = world([Row(label="f. 1r", ppi=None)], session_ppi=400)
    assert canvases_of(made)[0].mm_per_unit == pytest.approx(25.4 / 400)


@pytest.mark.parametrize("ppi", [72, 72.009, 96])
def test_a_placeholder_says_nothing_of_the_object(ppi: float) -> None:
    assert canvases_of(world([Row(label="f. 1r", ppi=ppi)]))[0].mm_per_unit is None
    assert canvases_of(world([Row(label="f. 1r", ppi=96)], session_ppi=600))[0].mm_per_unit == pytest.approx(
        25.4 / 600
    )


def test_a_file_that_differs_across_and_down_says_nothing_of_the_object() -> None:
    facts = the.record(y_resolution=Rational(numerator=300)).facts
    assert facts.ppi == (600, 300)
    assert resolution_ppi(facts, 400) == 400
    assert resolution_ppi(the.record(y_resolution=Rational(numerator=601)).facts, 400) == 600


def test_an_image_of_unknown_resolution_keeps_its_size_and_states_no_scale() -> None:
    made = world([Row(label="f. 1r", ppi=None), Row(label="f. 1v", ppi=300)])
    assert sizes(made)[0] == (3000, 4200)
    assert canvases_of(made)[0].mm_per_unit is None


def test_an_image_that_was_reduced_has_a_resolution_of_its_own() -> None:
    made = world([Row(label="f. 1r", ppi=600)])
    reduced = {name: make.derived(name, size(1500, 2100)) for name in made.derivatives}
    [canvas] = canvases_of(replace(made, derivatives=reduced))
    assert canvas.mm_per_unit == pytest.approx(25.4 / 300)


# --------------------------------------------------------------------------------- what was not captured


def test_an_empty_canvas_has_the_size_of_a_page_beside_it() -> None:
    rows = [
        row("front cover", FrameKind.COVER, size=size(3300, 4600)),
        Row(label="f. 1r", captured=False),
        Row(label="f. 1v", size=size(2990, 4190)),
        Row(label="f. 2r", size=size(2980, 4180)),
        Row(label="f. 2v", captured=False),
        row("back cover", FrameKind.COVER, captured=False),
    ]
    assert sizes(world(rows)) == [
        *((3300, 4600), (2990, 4190), (2990, 4190)),
        *((2980, 4180), (2980, 4180), (3300, 4600)),
    ]


def test_without_any_image_sizes_come_from_the_record() -> None:
    nothing = [Row(label="recto", captured=False)]
    assert sizes(world(nothing, ItemKind.SHEET, size_mm=(210, 148.5))) == [(2970, 4200)]
    assert sizes(world(nothing, ItemKind.SHEET)) == [(3000, 4000)]


@given(
    st.lists(
        st.tuples(st.integers(50, 9000), st.integers(50, 9000), st.sampled_from([None, 300, 400.5, 1200])),
        min_size=1,
        max_size=12,
    )
)
def test_images_are_never_distorted_by_more_than_a_unit(shots: list[tuple[int, int, float | None]]) -> None:
    rows = [row(f"view {n}", FACE, size=size(w, h), ppi=ppi) for n, (w, h, ppi) in enumerate(shots)]
    made = canvases_of(world(rows, ItemKind.TABLET))
    for canvas, (width_px, height_px, _) in zip(made, shots, strict=True):
        factor = height_px / width_px
        assert canvas.size.width_px >= width_px
        assert canvas.size.height_px == pytest.approx(canvas.size.width_px * factor, abs=1 + factor)
