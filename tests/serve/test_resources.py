"""What lies at a path of a folder, and that nothing outside of it ever does."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.serve import FolderSite, Moved, Resource, caching, made, media_type
from pipeline.specs import http

ORIGIN = "http://localhost"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder to serve, beside what must never be served."""
    root = tmp_path_factory.mktemp("root")
    (root / "outside").mkdir()
    (root / "outside/index.html").write_text("secret")
    (root / "site-and-more").mkdir()
    (root / "site-and-more/file.txt").write_text("secret")
    site = root / "site"
    (site / "items/ms-7").mkdir(parents=True)
    (site / "items/ms-7/index.html").write_text("page")
    (site / "index.html").write_text("front")
    (site / "empty").mkdir()
    (site / ".solander/items/1").mkdir(parents=True)
    (site / ".solander/items/1/tile.jpg").write_text("tile")
    (site / "linked").symlink_to(".solander/items/1")
    (site / "out").symlink_to("../outside")
    (site / "out.txt").symlink_to("../site-and-more/file.txt")
    (site / "ring").symlink_to("ring")
    (site / "gone").symlink_to("nowhere")
    (site / "~").mkdir()
    if sys.platform != "win32":
        os.mkfifo(site / "pipe")
    return site


def text(found: Resource | Moved | None) -> str | None:
    if not isinstance(found, Resource):
        return None
    with found.file as file:
        return file.read().decode()


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("", "front"),
        ("index.html", "front"),
        ("items/ms-7/", "page"),
        ("items/ms-7/index.html", "page"),
        ("linked/tile.jpg", "tile"),
    ],
)
def test_files_and_pages_of_folders_are_found_and_links_inside_followed(
    folder: Path, path: str, expected: str
) -> None:
    assert text(FolderSite(folder).find(path, origin=ORIGIN)) == expected


def test_a_folder_is_found_by_links_to_it_as_well(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(folder)
    assert text(FolderSite(tmp_path / "link").find("linked/tile.jpg", origin=ORIGIN)) == "tile"


def test_a_folder_without_its_slash_has_moved(folder: Path) -> None:
    assert FolderSite(folder).find("items/ms-7", origin=ORIGIN) == Moved("items/ms-7/")


OUT = [
    *("/", "..", "../outside/index.html", "items/../../outside/index.html", "./index.html", "items//ms-7/"),
    *("/etc/passwd", "..\\outside\\index.html", "items\\ms-7\\index.html", "C:/index.html", "~/index.html"),
    *("index.html\0", "index.html\0.jpg", "index.html/", "index.html/index.html"),
    *(".solander", ".solander/", ".solander/items/1/tile.jpg", "items/.git/config", "linked/../index.html"),
    *(
        "out",
        "out/",
        "out/index.html",
        "out.txt",
        "ring",
        "ring/a",
        "gone",
        "pipe",
        "empty",
        "empty/",
        "nothing",
    ),
    *("../site-and-more/file.txt", "a" * 300, "a/" * 3000, "\udcff", "items/ms-7/index.html "),
]


@pytest.mark.parametrize("path", OUT, ids=lambda path: repr(path[:40]))
def test_nothing_lies_outside_behind_dots_or_at_no_file(folder: Path, path: str) -> None:
    assert FolderSite(folder).find(path, origin=ORIGIN) is None


PIECES = st.sampled_from(
    [
        "..",
        ".",
        "/",
        "\\",
        "outside",
        "index.html",
        "out",
        "linked",
        "site",
        "site-and-more",
        "\0",
        "%2e",
        "~",
        " ",
    ]
)


@given(st.lists(PIECES, max_size=8).map("".join))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_path_of_any_pieces_leads_to_the_secret(folder: Path, path: str) -> None:
    assert text(FolderSite(folder).find(path, origin=ORIGIN)) != "secret"


def test_a_tag_changes_when_a_file_is_replaced_by_one_of_its_size_and_date(tmp_path: Path) -> None:
    tags = []
    for data in ("one", "two"):
        (tmp_path / "new").write_text(data)
        os.utime(tmp_path / "new", (1, 1))
        (tmp_path / "new").replace(tmp_path / "a.txt")
        (tmp_path / "keeps-the-inode").write_text("")
        found = FolderSite(tmp_path).find("a.txt", origin=ORIGIN)
        assert isinstance(found, Resource)
        found.file.close()
        tags.append(found.tag)
    assert tags[0] != tags[1]


def test_made_values_have_tags_by_their_bytes() -> None:
    assert made(b"a", "x.html").tag == made(b"a", "x.html").tag != made(b"b", "x.html").tag


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("A.JPG", "image/jpeg"),
        ("iiif/x/other.json", "application/json"),
        ("changes/notes.txt", "text/plain; charset=utf-8"),
        ("file", http.UNKNOWN_MEDIA_TYPE),
        ("a.exe", http.UNKNOWN_MEDIA_TYPE),
        (
            "collections/1-2.json",
            'application/ld+json;profile="http://iiif.io/api/presentation/3/context.json"',
        ),
    ],
)
def test_media_types_go_by_names(path: str, expected: str) -> None:
    assert media_type(path) == expected


def test_what_the_pages_ask_for_may_be_kept_for_ever() -> None:
    from pipeline import pages

    assert pages.assets()
    assert {caching(each.path) for each in pages.assets()} == {http.IMMUTABLE}
    assert {media_type(each.path).partition(";")[0] for each in pages.assets()} == {
        each.media_type.partition(";")[0] for each in pages.assets()
    }


@pytest.mark.parametrize(
    "path", ["assets/pages.css", "assets/pages.12.css", "iiif/x.0123456789abcdef.json", "index.html"]
)
def test_what_has_no_digest_in_its_name_is_asked_about(path: str) -> None:
    assert caching(path) == http.REVALIDATE
