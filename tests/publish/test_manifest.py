"""The manifest as a site serves it, and what is told of it elsewhere."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from pipeline import containers
from pipeline.publish import manifest
from pipeline.publish.contents import Contents, read
from pipeline.publish.record import Site
from tests.publish import tiny
from tests.publish.tiny import BASE_URL

SITE = Site(base_url=BASE_URL, title=tiny.TITLE)


@pytest.fixture
def contents(tmp_path: Path) -> Contents:
    with containers.opened(tiny.bundle(tmp_path)) as container:
        return read(container)


def test_what_a_manifest_links_to_already_comes_first(contents: Contents) -> None:
    catalogue = {"id": "https://catalogue.example.org/1", "type": "Text", "label": {"en": ["Record"]}}
    known = replace(contents, manifest=contents.manifest | {"homepage": [catalogue]})
    found = manifest.site_manifest(known, SITE, has_pdf=False)
    assert [each["id"] for each in found["homepage"]] == [catalogue["id"], f"{BASE_URL}/items/ms-1/"]


def test_a_manifest_that_was_on_a_site_before_has_nothing_twice(contents: Contents) -> None:
    once = manifest.site_manifest(contents, SITE, has_pdf=True)
    again = manifest.site_manifest(replace(contents, manifest=once, base_url=BASE_URL), SITE, has_pdf=True)
    assert again == once


def test_a_pdf_is_a_rendering(contents: Contents) -> None:
    assert "rendering" not in manifest.site_manifest(contents, SITE, has_pdf=False)
    (rendering,) = manifest.site_manifest(contents, SITE, has_pdf=True)["rendering"]
    assert rendering["id"] == f"{BASE_URL}/items/ms-1/ms-1.pdf"
    assert (rendering["type"], rendering["format"]) == ("Text", "application/pdf")


def test_new_properties_stand_before_the_canvases(contents: Contents) -> None:
    keys = list(manifest.site_manifest(contents, SITE, has_pdf=False))
    assert keys.index("homepage") < keys.index("partOf") < keys.index("items")
    assert keys[0] == "@context"


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ({"en": ["A"], "de": ["B", "C"]}, (("en", ("A",)), ("de", ("B", "C")))),
        ({"en": ["<p>A &amp; <i>b</i></p>"]}, (("en", ("A & b",)),)),
        ({"en": ["1 < 2 > 1"]}, (("en", ("1 < 2 > 1",)),)),
        ({"en": []}, ()),
        ("A", ()),
        (None, ()),
    ],
)
def test_language_maps_are_read_as_plain_text(value: object, expected: object) -> None:
    assert manifest.language_map(value).entries == expected


def test_the_date_is_that_of_the_metadata_in_words() -> None:
    pair = {"label": {"de": ["Datierung"], "en": ["Date"]}, "value": {"none": ["um 1380"]}}
    assert manifest.date({"metadata": [{"label": {"en": ["Place"]}, "value": {}}, pair]}) == "um 1380"
    assert manifest.date({}) == ""


def test_a_thumbnail_counts_if_it_is_on_the_site() -> None:
    def thumbnail(url: str, **size: object) -> dict[str, Any]:
        return {"thumbnail": [{"id": url, "type": "Image", **size}]}

    own = thumbnail(f"{BASE_URL}/iiif/a/f/full/9,9/0/default.jpg", width=9, height=9)
    assert manifest.thumbnail(own, BASE_URL) == ("iiif/a/f/full/9,9/0/default.jpg", 9, 9)
    assert manifest.thumbnail(thumbnail(f"{BASE_URL}/a.jpg"), BASE_URL) == ("a.jpg", 0, 0)
    assert manifest.thumbnail(thumbnail("https://elsewhere.org/a.jpg"), BASE_URL) == ("", 0, 0)
    assert manifest.thumbnail({}, BASE_URL) == ("", 0, 0)
