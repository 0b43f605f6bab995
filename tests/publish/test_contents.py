"""What is read of a bundle, and what is no publication bundle."""

from __future__ import annotations

import json
import shutil
from pathlib import Path, PurePosixPath

import pytest

from pipeline import containers
from pipeline.errors import InputError
from pipeline.publish.contents import Contents, glanced_at, read
from tests.publish import tiny


def contents(bundle: Path) -> Contents:
    with containers.opened(bundle) as container:
        return read(container)


def test_a_bundle_is_read_with_all_that_is_served(tmp_path: Path) -> None:
    found = contents(tiny.bundle(tmp_path, views=2))
    assert (found.item, found.base_url, found.left_out) == ("ms-1", tiny.BUNDLE_URL, ())
    assert PurePosixPath("iiif/ms-1/f002/info.json") in found.files
    assert PurePosixPath("iiif/ms-1/manifest.json") not in found.files  # it is written anew


def test_a_glance_tells_equal_payloads_from_others(tmp_path: Path) -> None:
    def glance(folder: str, picture: bytes = b"picture") -> tuple[str, str]:
        with containers.opened(tiny.bundle(tmp_path / folder, picture=picture)) as container:
            return glanced_at(container)

    assert glance("one") == glance("two")
    assert glance("one") != glance("three", b"retaken")


def test_a_preservation_bundle_is_refused_with_advice(tmp_path: Path) -> None:
    bundle = tmp_path / "ms-1-preservation"
    (bundle / "data/masters").mkdir(parents=True)
    (bundle / "data/masters/f001.tif").write_bytes(b"")
    with pytest.raises(InputError, match="such as ms-1-publication"):
        contents(bundle)


def test_a_folder_without_a_manifest_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"has no manifest; expected a publication bundle"):
        contents(tmp_path)


def test_who_gives_what_lies_around_or_in_a_bundle_is_told_what_to_give(tmp_path: Path) -> None:
    bundle = tiny.bundle(tmp_path / "bundles")
    with pytest.raises(InputError, match="data: is the payload of a publication bundle; give the bundle"):
        contents(bundle / "data")
    with pytest.raises(
        InputError, match=r"holds the bundle ms-1-publication; give each, as in bundles/\*-pub"
    ):
        contents(bundle.parent)
    tiny.bundle(tmp_path / "bundles", "ms-2")
    with pytest.raises(InputError, match=r"holds 2 bundles, ms-1-publication …; give each"):
        contents(bundle.parent)


def test_a_bundle_of_several_items_is_refused(tmp_path: Path) -> None:
    bundle = tiny.bundle(tmp_path)
    shutil.copytree(bundle / "data/iiif/ms-1", bundle / "data/iiif/ms-2")
    with pytest.raises(InputError, match=r"manifests of 2 items \(ms-1, ms-2\)"):
        contents(bundle)


def test_an_item_whose_name_is_no_safe_folder_is_refused(tmp_path: Path) -> None:
    bundle = tiny.bundle(tmp_path)
    (bundle / "data/iiif/ms-1").rename(bundle / "data/iiif/ms 1")
    with pytest.raises(InputError, match="ms 1 cannot be the name of a folder"):
        contents(bundle)


def test_a_manifest_of_another_address_is_refused_by_the_bundles_name(tmp_path: Path) -> None:
    bundle = tiny.bundle(tmp_path)
    (bundle / "data/iiif/ms-1/manifest.json").write_text(json.dumps({"id": "https://example.org/m.json"}))
    with pytest.raises(InputError, match=r"^ms-1-publication: the manifest's id is 'https://example"):
        contents(bundle)


def test_a_manifest_that_is_no_object_is_refused(tmp_path: Path) -> None:
    bundle = tiny.bundle(tmp_path)
    (bundle / "data/iiif/ms-1/manifest.json").write_text("[]")
    with pytest.raises(InputError, match="is no JSON object"):
        contents(bundle)


def test_a_folder_that_is_no_bag_is_refused(tmp_path: Path) -> None:
    bundle = tiny.bundle(tmp_path)
    (bundle / "manifest-sha256.txt").unlink()
    with pytest.raises(InputError, match="is no bag"):
        contents(bundle)
