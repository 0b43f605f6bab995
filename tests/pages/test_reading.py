"""What is read from a manifest: views, lights, scale; odd parts are passed over."""

from __future__ import annotations

import time
from typing import Any

import pytest

from pipeline.pages.links import Links
from pipeline.pages.reading import Reading, read
from pipeline.specs import iiif
from tests.pages.world import BASE_URL, FOLDER, canvas, image, manifest, pages


def reading(*canvases: dict[str, Any], **changes: Any) -> Reading:
    return read(manifest(*canvases) | changes, Links(base_url=BASE_URL, depth=2))


def test_views_are_named_by_the_end_of_their_addresses() -> None:
    views = reading(*pages(2), canvas("a", "x") | {"id": "https://other.example.org/7"}).views
    assert [view.identifier for view in views] == ["ms9_0000_1r", "ms9_0001_1v", "~3"]


def test_views_with_one_address_are_numbered_and_no_number_is_another_views_name() -> None:
    views = reading(canvas("a", "x"), canvas("a", "y"), canvas("1", "z"), canvas("~2", "z")).views
    assert [view.identifier for view in views] == ["~1", "~2", "1", "~4"]


def test_reading_takes_time_in_proportion_to_the_views() -> None:
    def seconds(views: int) -> float:
        whole = manifest(*({"id": f"{FOLDER}/canvas/{n}", "type": "Canvas"} for n in range(views)))
        start = time.process_time()
        read(whole, Links(base_url=BASE_URL, depth=2))
        return time.process_time() - start

    assert seconds(10_000) < 25 * seconds(1_000)  # by comparing each with each, it was 60 times as long


def test_a_choice_gives_every_light_in_its_order() -> None:
    (view,) = reading(canvas("a", "x", image("n", label={"en": ["Normal"]}), image("r"))).views
    assert [picture.service for picture in view.pictures] == [
        "../../iiif/adl-ms-9/n",
        "../../iiif/adl-ms-9/r",
    ]
    assert view.pictures[0].label[0].value == "Normal"


@pytest.mark.parametrize(
    ("scale", "unit", "expected"),
    [
        (0.05, "mm", 0.05),
        (0.005, "cm", 0.05),
        (0.1, "in", 2.54),
        (1, "px", 0),
        (-1, "mm", 0),
        ("1", "mm", 0),
        (True, "mm", 0),
        (float("nan"), "mm", 0),
        (float("inf"), "mm", 0),
    ],
)
def test_scales_are_read_in_millimetres(scale: Any, unit: str, expected: float) -> None:
    service = {"profile": iiif.PHYSICAL_DIMENSIONS_PROFILE, "physicalScale": scale, "physicalUnits": unit}
    (view,) = reading(canvas("a", "x", image("a"), service=[service])).views
    assert view.mm_per_unit == pytest.approx(expected)


def test_an_image_without_a_service_is_one_image() -> None:
    (view,) = reading(canvas("a", "x", image("a") | {"service": []})).views
    assert view.pictures[0].service == ""
    assert view.pictures[0].whole.href == "../../iiif/adl-ms-9/a/full/max/0/default.jpg"


@pytest.mark.parametrize(
    ("start", "expected"),
    [
        ({"id": f"{FOLDER}/canvas/ms9_0001_1v", "type": "Canvas"}, 1),
        ({"id": "s", "type": "SpecificResource", "source": {"id": f"{FOLDER}/canvas/ms9_0002_2r"}}, 2),
        ({"id": "https://other.example.org/", "type": "Canvas"}, 0),
        (None, 0),
    ],
)
def test_reading_begins_where_the_manifest_says(start: Any, expected: int) -> None:
    assert reading(*pages(4), start=start).start == expected


def test_reading_begins_with_the_first_view_that_shows_something() -> None:
    assert reading(canvas("lost", "lost"), *pages(1)).start == 1


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (["continuous"], "continuous"),
        (["paged"], "paged"),
        ([], "individuals"),
        ("paged", "individuals"),
        (["unordered"], "individuals"),
    ],
)
def test_the_way_of_reading_is_one_that_we_know(value: Any, expected: str) -> None:
    assert reading(behavior=value).behavior == expected


def test_sections_deeper_than_anyone_divides_a_book_are_left_out() -> None:
    inner: dict[str, Any] = {"id": f"{FOLDER}/canvas/ms9_0000_1r", "type": "Canvas"}
    for depth in range(1000):
        inner = {"id": f"r{depth}", "type": "Range", "label": {"en": [f"{depth}"]}, "items": [inner]}
    assert reading(structures=[inner]).sections == ()
