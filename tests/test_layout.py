from __future__ import annotations

from pathlib import PurePosixPath
from urllib.parse import unquote, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import layout
from pipeline.model import Frame, FrameKind

BASE = "https://images.aldermoor.example.org/books"
ITEM = "msb-014"


def _public_paths(item: str) -> list[PurePosixPath]:
    return [
        layout.manifest_path(item),
        layout.image_folder(item, "B14_0001"),
        layout.pyramid_path(item, "B14_0001", ".tif"),
        layout.access_path(item, "B14_0001"),
        layout.public_metadata_path(item, "mods.xml"),
        layout.public_metadata_path(item, "mets.xml"),
    ]


def test_public_paths_are_those_of_the_design() -> None:
    assert [str(path) for path in _public_paths(ITEM)] == [
        "iiif/msb-014/manifest.json",
        "iiif/msb-014/B14_0001",
        "images/msb-014/B14_0001.tif",
        "access/msb-014/B14_0001.jpg",
        "metadata/msb-014/mods.xml",
        "metadata/msb-014/mets.xml",
    ]
    assert str(layout.collection_path("msb")) == "iiif/msb/collection.json"


def test_bundles_laid_over_one_another_do_not_clash() -> None:
    assert not set(_public_paths("msb-014")) & set(_public_paths("msb-015"))
    assert all("msb-014" in path.parts for path in _public_paths("msb-014"))


def test_the_two_bundles_have_different_names() -> None:
    assert layout.publication_name(ITEM) == "msb-014-publication"
    assert layout.preservation_name(ITEM) == "msb-014-preservation"


def test_an_address_is_the_path_below_the_base() -> None:
    assert layout.url(BASE, layout.manifest_path(ITEM)) == f"{BASE}/iiif/msb-014/manifest.json"
    tile = layout.image_folder(ITEM, "B14_0001") / "0,0,512,512/512,/0/default.jpg"
    assert layout.url(BASE, tile) == f"{BASE}/iiif/msb-014/B14_0001/0,0,512,512/512,/0/default.jpg"


@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1))
def test_any_name_makes_an_address_that_leads_back_to_it(name: str) -> None:
    """RFC 3986, section 2: nothing but unreserved and allowed characters stands unencoded."""
    address = layout.url(BASE, name)
    assert address.isascii()
    assert not set(address) & set(' "<>\\^`{|}#?')
    assert unquote(urlsplit(address).path) == f"/books/{name}"


@pytest.mark.parametrize("kind", FrameKind)
def test_targets_and_flats_lie_apart_from_what_shows_the_object(kind: FrameKind) -> None:
    file = PurePosixPath("box 1/B14_0001.tif")
    frame = Frame(identifier="B14_0001", file=file, label="f. 1r", kind=kind, session="s1")
    folder = "targets" if kind in (FrameKind.TARGET, FrameKind.FLAT) else "masters"
    assert layout.master_path(frame) == PurePosixPath(folder, "box 1", "B14_0001.tif")


def test_a_view_that_was_not_captured_has_no_master() -> None:
    frame = Frame(identifier="x", file=None, label="f. 1r", kind=FrameKind.PAGE, session="s1")
    with pytest.raises(ValueError, match="was not captured"):
        layout.master_path(frame)
