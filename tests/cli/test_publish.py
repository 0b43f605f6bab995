"""`solander publish`: what is said, statuses, mistakes."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from pipeline.cli.main import run
from pipeline.pages import asset_files
from tests import make_item
from tests.verify import deliver

Said = pytest.CaptureFixture[str]
BUNDLE = "msb-014-publication"
URL = "https://books.example.org"
TO_SITE = ("--site", "site", "--base-url", URL)


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> make_item.World:
    """An item with its bundles, made once."""
    return deliver.build(tmp_path_factory.mktemp("built"))


@pytest.fixture
def bundles(built: make_item.World, place: Path) -> Path:
    """The folder that we stand in, with copies of both bundles in it."""
    deliver.copied(built, place)
    return place


def names(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*")}


def test_a_line_says_what_became_of_each_bundle_and_one_where_the_site_is(
    bundles: Path, capsys: Said
) -> None:
    assert run(["publish", BUNDLE, *TO_SITE]) == 0
    item, site = capsys.readouterr().out.splitlines()
    assert item.startswith("msb-014: published; 5 views; ")
    assert item.endswith(" written")
    assert site == f"site  {URL}/, 1 item"


def test_the_same_bundle_again_is_said_to_be_unchanged_and_the_base_url_is_known(
    bundles: Path, capsys: Said
) -> None:
    run(["publish", BUNDLE, *TO_SITE])
    capsys.readouterr()
    assert run(["publish", BUNDLE, "--site", "site"]) == 0
    assert capsys.readouterr().out.splitlines()[0] == "msb-014: unchanged, nothing to do"


def test_nothing_is_removed_from_what_is_no_site(place: Path, capsys: Said) -> None:
    assert run(["publish", "--remove", "msb-014", "--site", "stie", "--base-url", URL]) == 5
    assert "stie: is no site of solander" in capsys.readouterr().err
    assert not (place / "stie").exists()


def test_an_item_can_be_removed(bundles: Path, capsys: Said) -> None:
    run(["publish", BUNDLE, *TO_SITE])
    capsys.readouterr()
    assert run(["publish", "--remove", "msb-014", "--site", "site"]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said == ["msb-014: removed; a page at items/msb-014/ says so", f"site  {URL}/, 0 items"]
    assert run(["publish", "--remove", "msb-014", "--site", "site"]) == 0
    assert "removed already" in capsys.readouterr().out


def test_json_has_what_programs_ask_for(bundles: Path, capsys: Said) -> None:
    assert run(["publish", BUNDLE, *TO_SITE, "--json"]) == 0
    (document,) = json.loads(capsys.readouterr().out)
    assert document["status"] == 0
    assert document["outcome"] == "new"
    assert document["page"] == f"{URL}/items/msb-014/"
    assert document["manifest"] == f"{URL}/iiif/msb-014/manifest.json"
    assert document["files"] > 20
    assert document["placed"]["written"] > 2


def test_a_dry_run_says_what_would_be_done_and_changes_nothing(bundles: Path, capsys: Said) -> None:
    before = names(bundles)
    assert run(["publish", BUNDLE, *TO_SITE, "--dry-run"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("msb-014: would be added; 5 views; ")
    assert said.endswith("a dry run, nothing was changed\n")
    assert names(bundles) == before
    run(["publish", BUNDLE, *TO_SITE])
    before = names(bundles)
    capsys.readouterr()
    assert run(["publish", "--remove", "msb-014", "--site", "site", "--dry-run"]) == 0
    assert capsys.readouterr().out.startswith("msb-014: would be removed; ")
    assert names(bundles) == before


def test_a_rejected_bundle_is_shown_with_its_findings_and_not_published(bundles: Path, capsys: Said) -> None:
    next((bundles / BUNDLE / "data/access/msb-014").iterdir()).write_bytes(b"")
    assert run(["publish", BUNDLE, *TO_SITE]) == 6
    said = capsys.readouterr().out
    assert said.startswith("msb-014-publication: rejected; ")
    assert "nothing was published" in said
    assert "error B070" in said
    assert not (bundles / "site/index.html").exists()


def test_other_bundles_are_published_beside_one_that_cannot_be(bundles: Path, capsys: Said) -> None:
    assert run(["publish", "msb-014-preservation", "nowhere", BUNDLE, *TO_SITE]) == 5
    said = capsys.readouterr()
    assert "msb-014: published" in said.out
    assert "is a preservation bundle" in said.err
    assert "nowhere: is not there" in said.err


def test_settings_say_the_title_and_where_the_site_is(bundles: Path, capsys: Said) -> None:
    (bundles / "solander.toml").write_text(make_item.SETTINGS)
    assert run(["publish", BUNDLE, "--site", "site"]) == 0
    assert "site  https://images.example.org/, 1 item" in capsys.readouterr().out
    assert "Aldermoor Library" in (bundles / "site/index.html").read_text()


@pytest.mark.parametrize(
    "url", ["books.example.org", "ftp://a/b", "https://", "https://a/?b", "https://a b", "http://a:x"]
)
def test_what_is_no_base_url_is_refused(bundles: Path, capsys: Said, url: str) -> None:
    assert run(["publish", BUNDLE, "--site", "site", "--base-url", url]) == 2
    assert "expected an address without ? or #" in capsys.readouterr().err.replace("\n", " ")
    assert not (bundles / "site").exists()


def test_a_slash_at_the_end_of_the_base_url_is_no_other_base_url(bundles: Path) -> None:
    assert run(["publish", BUNDLE, *TO_SITE]) == 0
    assert run(["publish", BUNDLE, "--site", "site", "--base-url", f"{URL}/"]) == 0


def test_another_base_url_is_refused_with_what_to_do(bundles: Path, capsys: Said) -> None:
    run(["publish", BUNDLE, *TO_SITE])
    assert run(["publish", BUNDLE, "--site", "site", "--base-url", "https://other.org"]) == 4
    assert f"Give --base-url {URL}" in capsys.readouterr().err


def test_without_a_bundle_and_without_an_item_there_is_nothing_to_do(place: Path, capsys: Said) -> None:
    assert run(["publish", "--site", "site"]) == 2
    assert "Give a BUNDLE to publish" in capsys.readouterr().err


def test_a_folder_with_other_things_is_refused(bundles: Path, capsys: Said) -> None:
    assert run(["publish", BUNDLE, "--site", ".", "--base-url", URL]) == 5
    assert "is no site of solander" in capsys.readouterr().err


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write everywhere")
def test_a_read_only_site_is_told_of_before_anything_is_verified(bundles: Path, capsys: Said) -> None:
    (bundles / "site").mkdir(mode=0o555)
    assert run(["publish", BUNDLE, *TO_SITE]) == 7
    assert "is read-only to you" in capsys.readouterr().err


def test_files_that_a_site_has_no_place_for_are_told_of(bundles: Path, capsys: Said) -> None:
    (bundles / BUNDLE / "data/access/msb-014/notes.html").write_text("<script>run()</script>")
    deliver.seal(bundles / BUNDLE)
    assert run(["publish", BUNDLE, *TO_SITE]) == 0
    assert (
        "1 file of the bundle not published; a site has no place for data/access/msb-014/notes.html"
        in capsys.readouterr().err
    )


def test_a_replaced_item_says_how_much_of_its_bundle_changed(bundles: Path, capsys: Said) -> None:
    run(["publish", BUNDLE, *TO_SITE])
    (bundles / BUNDLE / "data/access/msb-014/read-me.txt").write_text("Kept in a box.")
    deliver.seal(bundles / BUNDLE)
    capsys.readouterr()
    assert run(["publish", BUNDLE, *TO_SITE]) == 0
    assert "replaced; 5 views; 45 files" in (said := capsys.readouterr().out)
    assert "1 file of the bundle changed" in said


def test_pages_that_cannot_magnify_are_told_of(
    bundles: Path, capsys: Said, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(asset_files, "LIBRARY", bundles / "nowhere")
    assert run(["publish", BUNDLE, *TO_SITE, "--dry-run"]) == 0
    assert "OpenSeadragon is missing in this installation" in capsys.readouterr().err
