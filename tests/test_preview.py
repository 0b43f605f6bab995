"""What is previewed: sites, bundles in folders and archives, folders of bundles; and what is not."""

from __future__ import annotations

import gzip
import json
import os
import shutil
import tarfile
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pipeline.errors import InputError
from pipeline.preview import Shown, shown
from pipeline.serve import Moved, Resource
from pipeline.specs import bagit
from tests.publish import tiny

ORIGIN = "http://127.0.0.1:8000"
TILE = "iiif/ms-1/f001/full/max/0/default.jpg"


def data_at(content: Shown, path: str, *, origin: str = ORIGIN) -> bytes | None:
    found = content.site.find(path, origin=origin)
    if not isinstance(found, Resource):
        return None
    with found.file as file:
        data = b"".join(iter(lambda: file.read(64), b""))
    assert len(data) == found.size_bytes
    return data


def document_at(content: Shown, path: str, *, origin: str = ORIGIN) -> dict[str, Any]:
    data = data_at(content, path, origin=origin)
    assert data is not None
    document: dict[str, Any] = json.loads(data)
    return document


def _as_it_is(bundle: Path) -> Path:
    return bundle


def _zipped(bundle: Path) -> Path:
    archive = bundle.with_suffix(".zip")
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as file:
        for path in sorted(bundle.rglob("*")):
            file.write(path, path.relative_to(bundle.parent))
    return archive


def _tarred(bundle: Path) -> Path:
    archive = bundle.with_suffix(".tar")
    with tarfile.open(archive, "w") as file:
        file.add(bundle, bundle.name)
    return archive


def _tarred_and_compressed(bundle: Path) -> Path:
    archive = bundle.with_suffix(".tar.gz")
    archive.write_bytes(gzip.compress(_tarred(bundle).read_bytes()))
    return archive


def _payload(bundle: Path) -> Path:
    return bundle / "data"


FORMS = [_as_it_is, _zipped, _tarred, _tarred_and_compressed, _payload]


@pytest.fixture(params=FORMS, ids=lambda form: form.__name__.strip("_"))
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A bundle of two views, in one of the forms that bundles come in."""
    form: Callable[[Path], Path] = request.param
    return form(tiny.bundle(tmp_path, views=2))


# -------------------------------------------------------------------------------------------- bundles


def test_documents_have_the_address_that_the_reader_asked_at(place: Path) -> None:
    with shown(place) as content:
        for origin in (ORIGIN, "http://localhost:9000"):
            manifest = document_at(content, "iiif/ms-1/manifest.json", origin=origin)
            assert manifest["id"] == f"{origin}/iiif/ms-1/manifest.json"
            assert tiny.BUNDLE_URL not in json.dumps(manifest)
            info = document_at(content, "iiif/ms-1/f001/info.json", origin=origin)
            assert info["id"] == f"{origin}/iiif/ms-1/f001"


def test_images_and_records_come_as_they_are(place: Path) -> None:
    with shown(place) as content:
        assert data_at(content, TILE) == b"picture"
        assert data_at(content, "access/ms-1/f002.jpg") == b"picture"
        assert data_at(content, "metadata/ms-1/mods.xml") is not None


def test_the_front_page_leads_to_the_item_and_its_page_to_what_it_needs(place: Path) -> None:
    with shown(place) as content:
        assert content.items == ("ms-1",)
        front = data_at(content, "")
        assert front is not None
        assert front == data_at(content, "index.html")
        assert b"Item ms-1" in front
        assert b"items/ms-1/" in front
        page = data_at(content, "items/ms-1/")
        assert page is not None
        assert page == data_at(content, "items/ms-1/index.html")
        assert b"Item ms-1" in page
        assert content.site.find("items/ms-1", origin=ORIGIN) == Moved("items/ms-1/")


def test_pages_find_their_style_and_script(place: Path) -> None:
    from pipeline import pages

    with shown(place) as content:
        for each in pages.assets():
            assert data_at(content, each.path) == each.data


@pytest.mark.parametrize(
    "path",
    [
        "bagit.txt",
        "../bagit.txt",
        "iiif/../../bagit.txt",
        "iiif/ms-1/../../../bagit.txt",
        "manifest-sha256.txt",
        "data/iiif/ms-1/manifest.json",
        "iiif",
        "iiif/",
        "iiif/ms-1",
        "iiif/ms-1/f001/full/max/0",
        "iiif/ms-1/nothing.json",
        "iiif/ms-2/manifest.json",
        "items/ms-2/",
        "items/ms-1/other.html",
        "items/",
        "masters/ms-1/a.tif",
        "assets/nothing.css",
    ],
)
def test_nothing_else_is_there(place: Path, path: str) -> None:
    with shown(place) as content:
        assert data_at(content, path) is None


def test_nothing_is_written_or_changed(place: Path, tmp_path: Path) -> None:
    def state() -> dict[str, tuple[int, int]]:
        found = ((str(path), path.stat()) for path in tmp_path.rglob("*"))
        return {path: (status.st_mtime_ns, status.st_size) for path, status in found}

    before = state()
    with shown(place) as content:
        for path in ("", "items/ms-1/", "iiif/ms-1/manifest.json", TILE):
            assert data_at(content, path)
    assert state() == before


def test_tags_differ_from_file_to_file_and_stay_for_one(place: Path) -> None:
    def tag(path: str) -> str:
        found = content.site.find(path, origin=ORIGIN)
        assert isinstance(found, Resource)
        found.file.close()
        return found.tag

    with shown(place) as content:
        assert tag(TILE) == tag(TILE) != tag(TILE.replace("f001", "f002"))
        assert tag("iiif/ms-1/manifest.json") == tag("iiif/ms-1/manifest.json")


def test_what_is_built_anew_meanwhile_is_shown(tmp_path: Path) -> None:
    bundle = tiny.bundle(tmp_path)
    with shown(bundle) as content:
        before = data_at(content, "items/ms-1/")
        shutil.rmtree(bundle)
        tiny.bundle(tmp_path, picture=b"another picture")
        assert data_at(content, TILE) == b"another picture"
        assert data_at(content, "items/ms-1/") != before


def test_hidden_files_and_links_out_of_a_bundle_are_not_shown(tmp_path: Path) -> None:
    bundle = tiny.bundle(tmp_path)
    (tmp_path / "secret.jpg").write_bytes(b"secret")
    (bundle / "data/access/ms-1/.hidden.jpg").write_bytes(b"secret")
    (bundle / "data/access/ms-1/link.jpg").symlink_to(tmp_path / "secret.jpg")
    with shown(bundle) as content:
        assert data_at(content, "access/ms-1/.hidden.jpg") is None
        assert data_at(content, "access/ms-1/link.jpg") is None
    with shown(_zipped(bundle)) as content:
        assert data_at(content, "access/ms-1/.hidden.jpg") is None


def test_the_collection_of_the_volumes_is_shown_under_the_same_address(tmp_path: Path) -> None:
    with shown(tiny.bundle(tmp_path, volumes=("ms-1", "ms-2"))) as content:
        collection = document_at(content, "iiif/volumes/collection.json")
        assert collection["id"] == f"{ORIGIN}/iiif/volumes/collection.json"
        assert data_at(content, "items/volumes/") is None
        page = data_at(content, "volumes/volumes/")
        assert page is not None
        assert b'href="../../items/ms-1/"' in page
        assert b"ms-2" not in page  # is not here
        assert b'href="../../volumes/volumes/"' in (data_at(content, "items/ms-1/") or b"")


# ------------------------------------------------------------------------------------ several and sites


def test_a_folder_of_bundles_shows_all_for_publication(tmp_path: Path) -> None:
    for item in ("ms-1", "ms-2"):
        tiny.bundle(tmp_path, item, base_url=f"https://{item}.example.org")
    _zipped(tmp_path / "ms-2-publication")
    shutil.rmtree(tmp_path / "ms-2-publication")
    _preservation(tmp_path / "ms-1-preservation")
    (tmp_path / "reports").mkdir()
    (tmp_path / "note.txt").write_text("not a bundle")
    with shown(tmp_path) as content:
        assert content.items == ("ms-1", "ms-2")
        assert content.left_out == ()
        for item in content.items:
            manifest = document_at(content, f"iiif/{item}/manifest.json")
            assert manifest["id"] == f"{ORIGIN}/iiif/{item}/manifest.json"
            assert f"https://{item}.example.org" not in json.dumps(manifest)
        assert b"Item ms-2" in (data_at(content, "") or b"")


def _preservation(bundle: Path) -> Path:
    (bundle / "data/masters").mkdir(parents=True)
    (bundle / "bagit.txt").write_text(bagit.DECLARATION)
    (bundle / "bag-info.txt").write_text(f"BagIt-Profile-Identifier: {bagit.PRESERVATION_PROFILE}\n")
    return bundle


def test_a_bundle_that_cannot_be_shown_is_left_out_with_the_reason(tmp_path: Path) -> None:
    tiny.bundle(tmp_path, "ms-1")
    broken = tiny.bundle(tmp_path, "ms-2") / "data/iiif/ms-2/manifest.json"
    broken.write_text("{")
    with shown(tmp_path) as content:
        assert content.items == ("ms-1",)
        [reason] = content.left_out
        assert reason.startswith(f"{tmp_path / 'ms-2-publication'}: iiif/ms-2/manifest.json: is not a JSON")


def test_a_site_is_shown_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "iiif/ms-1").mkdir(parents=True)
    (tmp_path / "index.html").write_text("front")
    (tmp_path / "iiif/ms-1/manifest.json").write_text('{"id": "https://books.example.org/iiif"}')
    with shown(tmp_path) as content:
        assert data_at(content, "") == b"front"
        assert document_at(content, "iiif/ms-1/manifest.json") == {"id": "https://books.example.org/iiif"}
        assert content.items == ()


def test_a_published_site_is_shown_with_all_that_it_serves_and_nothing_of_its_record(tmp_path: Path) -> None:
    site = tmp_path / "site"
    tiny.publish(site, tiny.bundle(tmp_path, "ms-1"), tiny.bundle(tmp_path, "ms-2"))
    with shown(site) as content:
        served = tiny.served(site)
        assert "iiif/ms-2/manifest.json" in served
        assert {path: data_at(content, path) for path in served} == served
        hidden = [path for path in tiny.kept(site) if path.startswith(".solander")]
        assert hidden
        assert {data_at(content, path) for path in hidden} == {None}


# -------------------------------------------------------------------------------------------- mistakes


def _refused(place: Path) -> str:
    with pytest.raises(InputError) as refused, shown(place):
        pass
    return refused.value.message


def test_a_preservation_bundle_is_named_as_such_in_every_form(tmp_path: Path) -> None:
    bundle = _preservation(tmp_path / "ms-1-preservation")
    for place in (bundle, _zipped(bundle), _tarred(bundle)):
        message = _refused(place)
        assert message.startswith(f"{place}: is a preservation bundle")
        assert "expected a site" in message
    for path in tmp_path.glob("*.*"):
        path.unlink()
    assert _refused(tmp_path).startswith(f"{tmp_path}: found a preservation bundle, expected a site")


def test_other_places_are_refused_with_what_was_found_and_expected(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    assert "found no bundle, expected a site" in _refused(tmp_path / "empty")
    assert "is not there" in _refused(tmp_path / "nowhere")
    (tmp_path / "picture.jpg").write_bytes(b"\xff\xd8\xff")
    assert "is neither an archive nor" in _refused(tmp_path / "picture.jpg")
    (tmp_path / "manifest.json").write_text("{}")
    assert "is no bundle, for it has no bagit.txt" in _refused(tmp_path / "manifest.json")
    (tmp_path / "bag/data").mkdir(parents=True)
    (tmp_path / "bag/bagit.txt").write_text(bagit.DECLARATION)
    assert "has no iiif/ITEM/manifest.json in its payload" in _refused(tmp_path / "bag")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("{", "is not a JSON document"),
        ("[]", "is no JSON object"),
        (
            '{"id": "https://elsewhere.example.org/7"}',
            "expected an address that ends with /iiif/ms-1/manifest.json",
        ),
        ("{}", "the manifest's id is None"),
    ],
)
def test_a_manifest_that_cannot_be_shown_is_named_with_its_bundle(
    tmp_path: Path, text: str, expected: str
) -> None:
    bundle = tiny.bundle(tmp_path)
    (bundle / "data/iiif/ms-1/manifest.json").write_text(text)
    message = _refused(bundle)
    assert message.startswith(f"{bundle}: ")
    assert expected in message


def test_a_damaged_archive_says_so_when_a_member_is_asked_for(tmp_path: Path) -> None:
    archive = _zipped(tiny.bundle(tmp_path))
    with zipfile.ZipFile(archive) as file:
        at = file.getinfo(f"ms-1-publication/data/{TILE}").header_offset
    data = bytearray(archive.read_bytes())
    data[at + 30 + len(f"ms-1-publication/data/{TILE}") + 2] ^= 0xFF
    archive.write_bytes(data)
    with shown(archive) as content, pytest.raises(OSError, match="damaged"):
        data_at(content, TILE)


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may read everything")
def test_a_folder_that_may_not_be_read_is_no_crash(tmp_path: Path) -> None:
    (tmp_path / "closed").mkdir(mode=0)
    assert "cannot be read (Permission denied)" in _refused(tmp_path / "closed")
