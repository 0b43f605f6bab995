"""Items come onto a site, are replaced and removed."""

from __future__ import annotations

import datetime as dt
import os
import re
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline import containers, files, jsondoc
from pipeline.errors import InputError, SettingsError, ToolError
from pipeline.model import LanguageMap
from pipeline.pages import Asset
from pipeline.publish import Outcome, looked_at, opened
from pipeline.publish.record import SiteFolder
from tests.publish import tiny
from tests.publish.tiny import BASE_URL

ITEM = "ms-1"


def outcome(folder: Path, bundle: Path) -> Outcome:
    (done,) = tiny.publish(folder, bundle)
    return done.outcome


# -------------------------------------------------------------------------------------- what is served


def test_a_site_serves_what_the_bundle_holds_under_its_own_base_url(tmp_path: Path) -> None:
    bundle = tiny.bundle(tmp_path, ITEM, views=2)
    assert outcome(tmp_path / "site", bundle) is Outcome.NEW
    found = tiny.served(tmp_path / "site")
    payload = {path.relative_to(bundle / "data").as_posix() for path in (bundle / "data").rglob("*.*")}
    assert {path for path in found if path.startswith(("iiif", "access", "metadata"))} == payload
    assert not [path for path, data in found.items() if tiny.BUNDLE_URL.encode() in data]
    assert f"{BASE_URL}/iiif/ms-1/f002".encode() in found["iiif/ms-1/f002/info.json"]
    assert f"<url>{BASE_URL}/iiif/ms-1/manifest.json<".encode() in found["metadata/ms-1/mods.xml"]
    assert found["iiif/ms-1/f001/full/max/0/default.jpg"] == b"picture"


def test_beside_items_a_site_has_lists_for_readers_harvesters_and_crawlers(tmp_path: Path) -> None:
    tiny.publish(tmp_path / "site", tiny.bundle(tmp_path))
    others = {path for path in tiny.served(tmp_path / "site") if path.split("/")[0] not in ("iiif", "access")}
    assert {path for path in others if not path.startswith(("assets/", "metadata/"))} == {
        "changes/all.json",
        "changes/page-1.json",
        "collections/all.json",
        "index.html",
        "items/ms-1/index.html",
        "sitemap-1.xml",
        "sitemap.xml",
    }


def test_documents_of_a_site_keep_to_our_schemas(tmp_path: Path) -> None:
    site = tmp_path / "site"
    tiny.publish(site, tiny.bundle(tmp_path, volumes=(ITEM, "ms-2")))
    for path in ("iiif/ms-1/manifest.json", "collections/all.json", "iiif/volumes/collection.json"):
        assert list(jsondoc.violations(tiny.document(site, path), "presentation")) == []


def test_the_manifest_leads_to_its_page_and_to_the_sites_collection(tmp_path: Path) -> None:
    tiny.publish(tmp_path / "site", tiny.bundle(tmp_path))
    manifest = tiny.document(tmp_path / "site", "iiif/ms-1/manifest.json")
    assert manifest["id"] == f"{BASE_URL}/iiif/ms-1/manifest.json"
    assert [each["id"] for each in manifest["homepage"]] == [f"{BASE_URL}/items/ms-1/"]
    assert [each["id"] for each in manifest["partOf"]] == [f"{BASE_URL}/collections/all.json"]


def test_pictures_are_linked_and_the_bundle_stays_as_it_was(tmp_path: Path) -> None:
    bundle = tiny.bundle(tmp_path)
    before = {path: (path.stat().st_mtime_ns, path.read_bytes()) for path in bundle.rglob("*.*")}
    (done,) = tiny.publish(tmp_path / "site", bundle)
    picture = "access/ms-1/f001.jpg"
    assert (tmp_path / "site" / picture).samefile(bundle / "data" / picture) or files.REFLINK in done.placed
    assert {path: (path.stat().st_mtime_ns, path.read_bytes()) for path in bundle.rglob("*.*")} == before


def test_a_bundle_for_the_same_base_url_has_its_documents_linked_as_they_are(tmp_path: Path) -> None:
    bundle = tiny.bundle(tmp_path, base_url=BASE_URL)
    tiny.publish(tmp_path / "site", bundle)
    for path in ("iiif/ms-1/f001/info.json", "metadata/ms-1/mods.xml"):
        assert (tmp_path / "site" / path).read_bytes() == (bundle / "data" / path).read_bytes()


def test_a_bundle_in_an_archive_gives_the_same_site(tmp_path: Path) -> None:
    bundle = tiny.bundle(tmp_path, views=2)
    tiny.publish(tmp_path / "of-folder", bundle)
    for kind in ("zip", "tar"):
        archive = Path(shutil.make_archive(str(tmp_path / bundle.name), kind, tmp_path, bundle.name))
        tiny.publish(tmp_path / f"of-{kind}", archive)
        assert tiny.kept(tmp_path / f"of-{kind}") == tiny.kept(tmp_path / "of-folder")


@pytest.mark.parametrize("name", ["page.html", "page.svg", ".htaccess", "run.php", ".well-known/x.json"])
def test_what_a_browser_or_server_would_run_is_left_out(tmp_path: Path, name: str) -> None:
    bundle = tiny.bundle(tmp_path)
    place = bundle / "data" / "access" / ITEM / name
    place.parent.mkdir(exist_ok=True)
    place.write_text("{}")
    (done,) = tiny.publish(tmp_path / "site", bundle)
    assert done.plan is not None
    assert done.plan.contents.left_out == (f"data/access/ms-1/{name}",)
    assert not [path for path in tiny.served(tmp_path / "site") if path.endswith(name)]


def test_robots_are_told_of_the_sitemap_at_the_root_of_a_host_alone(tmp_path: Path) -> None:
    bundle = tiny.bundle(tmp_path)
    with tiny.site(tmp_path / "root", "https://books.example.org") as publisher:
        tiny.put(publisher, bundle)
    robots = (tmp_path / "root" / "robots.txt").read_text()
    assert robots.endswith("Sitemap: https://books.example.org/sitemap.xml\n")
    tiny.publish(tmp_path / "below", bundle)
    assert not (tmp_path / "below" / "robots.txt").exists()


def test_a_robots_file_of_ones_own_is_kept(tmp_path: Path) -> None:
    site = tmp_path / "site"
    for bundle in (tiny.bundle(tmp_path), tiny.bundle(tmp_path, "ms-2")):
        with tiny.site(site, "https://books.example.org") as publisher:
            tiny.put(publisher, bundle)
        (site / "robots.txt").write_text("User-agent: *\nDisallow: /\n")
    assert "Disallow" in (site / "robots.txt").read_text()


# ------------------------------------------------------------------------------------- again, and anew


def test_the_same_bundle_again_changes_nothing(tmp_path: Path) -> None:
    bundle = tiny.bundle(tmp_path)
    tiny.publish(tmp_path / "site", bundle)
    before = tiny.kept(tmp_path / "site")
    assert outcome(tmp_path / "site", bundle) is Outcome.UNCHANGED
    assert tiny.kept(tmp_path / "site") == before


def test_two_sites_of_the_same_bundles_are_equal_byte_for_byte(tmp_path: Path) -> None:
    bundles = [tiny.bundle(tmp_path, f"ms-{number}") for number in range(3)]
    for name in ("one", "two"):
        tiny.publish(tmp_path / name, *bundles)
    assert tiny.kept(tmp_path / "one") == tiny.kept(tmp_path / "two")


def test_a_new_bundle_replaces_the_item_and_its_former_version_is_swept(tmp_path: Path) -> None:
    site = tmp_path / "site"
    tiny.publish(site, tiny.bundle(tmp_path, views=3))
    (done,) = tiny.publish(site, tiny.bundle(tmp_path / "again", views=2, picture=b"retaken"))
    assert done.outcome is Outcome.REPLACED
    assert done.plan is not None
    assert done.plan.changed_files == 11  # 9 pictures, an info.json, the manifest
    assert (site / "access/ms-1/f001.jpg").read_bytes() == b"retaken"
    assert not (site / "access/ms-1/f003.jpg").exists()
    assert len([each for each in (site / ".solander/items/ms-1").iterdir() if each.is_dir()]) == 2


def test_a_dry_run_tells_the_outcome_and_writes_nothing(tmp_path: Path) -> None:
    bundle = tiny.bundle(tmp_path)
    with containers.opened(bundle) as container:
        plan = looked_at(tmp_path / "site", BASE_URL, tiny.TITLE).plan(container)
    assert (plan.outcome, plan.files) == (Outcome.NEW, 7)
    assert not (tmp_path / "site").exists()


# ----------------------------------------------------------------------------- style of earlier versions


def test_the_docs_tell_how_to_find_style_and_scripts_that_no_page_names(tmp_path: Path) -> None:
    page = (Path(__file__).parents[2] / "docs/publishing.md").read_text(encoding="utf-8")
    found = re.search(r"## What updates leave behind.*?```sh\n(.*?)```", page, re.DOTALL)
    assert found
    site = tmp_path / "site"
    tiny.publish(site, tiny.bundle(tmp_path))
    old = ["pages.0123456789abcdef.css", "viewer.0123456789abcdef.js"]
    for name in (*old, "words.0123456789abcdef.txt", "of-the-house.css"):
        (site / "assets" / name).write_text("old")
    for each in (site / "assets").iterdir():
        os.utime(each, (0, 0))
    new = site / "assets/page.fedcba9876543210.js"
    new.write_text("of a run that goes on")
    listed = subprocess.run(["sh", "-c", found[1]], cwd=site, capture_output=True, text=True, check=True)
    assert sorted(listed.stdout.split()) == [f"assets/{name}" for name in old]
    assert listed.stderr == ""


# -------------------------------------------------------------------------------------------- removing


def test_of_a_removed_item_nothing_is_served_but_a_page(tmp_path: Path) -> None:
    site = tmp_path / "site"
    tiny.publish(site, tiny.bundle(tmp_path), tiny.bundle(tmp_path, "ms-2"))
    with tiny.site(site) as publisher:
        assert publisher.remove(ITEM).outcome is Outcome.REMOVED
    found = tiny.served(site)
    assert [path for path in found if ITEM in path] == ["items/ms-1/index.html", "items/ms-1/removed.txt"]
    assert b"2026" in found["items/ms-1/index.html"]
    assert found["items/ms-1/removed.txt"] == b"2026-03-10\n"
    lists = ("collections/all.json", "sitemap-1.xml", "index.html")
    assert not [path for path in lists if b"ms-1" in found[path]]
    assert not [path for path in lists if b"ms-2" not in found[path]]
    assert tiny.document(site, "changes/page-1.json")["orderedItems"][-1]["type"] == "Delete"


def test_removing_twice_changes_nothing(tmp_path: Path) -> None:
    site = tmp_path / "site"
    tiny.publish(site, tiny.bundle(tmp_path))
    with tiny.site(site) as publisher:
        publisher.remove(ITEM)
    before = tiny.kept(site)
    with tiny.site(site) as publisher:
        assert publisher.remove(ITEM).outcome is Outcome.UNCHANGED
    assert tiny.kept(site) == before


def test_a_removed_item_can_be_published_again(tmp_path: Path) -> None:
    site, bundle = tmp_path / "site", tiny.bundle(tmp_path)
    tiny.publish(site, bundle)
    before = {path: data for path, data in tiny.served(site).items() if not path.startswith("changes/")}
    with tiny.site(site) as publisher:
        publisher.remove(ITEM)
    assert outcome(site, bundle) is Outcome.NEW
    after = {path: data for path, data in tiny.served(site).items() if not path.startswith("changes/")}
    assert after == before
    kinds = [each["type"] for each in tiny.document(site, "changes/page-1.json")["orderedItems"]]
    assert kinds == ["Create", "Delete", "Create"]


def test_an_item_that_is_not_there_cannot_be_removed(tmp_path: Path) -> None:
    with tiny.site(tmp_path / "site") as publisher, pytest.raises(InputError, match="is not on the site"):
        publisher.remove("ms-9")


# ---------------------------------------------------------------------------------------------- changes


def test_a_change_is_never_dated_before_the_one_before_it(tmp_path: Path) -> None:
    site = tmp_path / "site"
    times = iter([tiny.NOW, tiny.NOW - dt.timedelta(days=1)])
    for item in ("ms-1", "ms-2"):
        with opened(site, BASE_URL, tiny.TITLE, lambda: next(times)) as publisher:
            tiny.put(publisher, tiny.bundle(tmp_path, item))
    activities = tiny.document(site, "changes/page-1.json")["orderedItems"]
    assert [each["endTime"] for each in activities] == ["2026-03-10T09:00:00Z"] * 2


def test_the_time_of_a_change_is_taken_when_the_item_is_there(tmp_path: Path) -> None:
    page = tmp_path / "site" / "items" / ITEM / "index.html"

    def clock() -> dt.datetime:
        assert page.is_file()
        return tiny.NOW

    with opened(tmp_path / "site", BASE_URL, tiny.TITLE, clock) as publisher:
        tiny.put(publisher, tiny.bundle(tmp_path))


def test_a_new_page_alone_is_no_change_for_harvesters(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site, bundle = tmp_path / "site", tiny.bundle(tmp_path)
    tiny.publish(site, bundle)
    changes = tiny.document(site, "changes/all.json")
    monkeypatch.setattr("pipeline.pages.item_page", lambda page: b"a page of another version")
    assert outcome(site, bundle) is Outcome.REPLACED
    assert (site / "items/ms-1/index.html").read_bytes() == b"a page of another version"
    assert tiny.document(site, "changes/all.json") == changes


# ------------------------------------------------------------------------------------------ volume sets


def volumes_of(site: Path) -> list[str]:
    items = tiny.document(site, "iiif/volumes/collection.json")["items"]
    return [each["id"].split("/")[-2] for each in items]


def test_a_set_of_volumes_lists_those_that_are_online(tmp_path: Path) -> None:
    site = tmp_path / "site"
    first, second = (tiny.bundle(tmp_path, item, volumes=("v-1", "v-2", "v-3")) for item in ("v-1", "v-2"))
    tiny.publish(site, second)
    assert volumes_of(site) == ["v-2"]
    tiny.publish(site, first)
    assert volumes_of(site) == ["v-1", "v-2"]
    assert b'href="../../volumes/volumes/"' in (site / "items/v-1/index.html").read_bytes()
    page = (site / "volumes/volumes/index.html").read_text()
    assert 0 < page.find('"../../items/v-1/"') < page.find('"../../items/v-2/"')
    homepage = tiny.document(site, "iiif/volumes/collection.json")["homepage"]
    assert [each["id"] for each in homepage] == [f"{tiny.BASE_URL}/volumes/volumes/"]
    manifest = tiny.document(site, "iiif/v-1/manifest.json")
    assert [each["id"].rpartition("/iiif/")[-1] for each in manifest["partOf"][:1]] == [
        "volumes/collection.json"
    ]
    with tiny.site(site) as publisher:
        publisher.remove("v-1")
        assert volumes_of(site) == ["v-2"]
        publisher.remove("v-2")
    assert not (site / "iiif/volumes").exists()
    assert not (site / "volumes/volumes").exists()


def test_an_item_that_leaves_its_set_is_listed_there_no_more(tmp_path: Path) -> None:
    site = tmp_path / "site"
    tiny.publish(site, *(tiny.bundle(tmp_path, item, volumes=("v-1", "v-2")) for item in ("v-1", "v-2")))
    tiny.publish(site, tiny.bundle(tmp_path / "alone", "v-1"))
    assert volumes_of(site) == ["v-2"]


def test_an_item_and_a_set_cannot_have_one_id(tmp_path: Path) -> None:
    site = tmp_path / "site"
    tiny.publish(site, tiny.bundle(tmp_path, "v-1", volumes=("v-1",)))
    with pytest.raises(InputError, match="id of a set of volumes"):
        tiny.publish(site, tiny.bundle(tmp_path, "volumes"))
    tiny.publish(tmp_path / "other", tiny.bundle(tmp_path / "o", "volumes"))
    with pytest.raises(InputError, match="is the id of an item too"):
        tiny.publish(tmp_path / "other", tiny.bundle(tmp_path, "v-1", volumes=("v-1",)))


# --------------------------------------------------------------------------------------------- mistakes


def test_another_base_url_is_refused_once_something_is_published(tmp_path: Path) -> None:
    site, bundle = tmp_path / "site", tiny.bundle(tmp_path)
    with tiny.site(site, "https://mistyped.example.org"):
        pass
    tiny.publish(site, bundle)
    with (
        pytest.raises(SettingsError, match="Give --base-url https://books"),
        tiny.site(site, "https://other.net"),
    ):
        pass
    with opened(site, "", LanguageMap(), tiny.clock) as publisher:
        assert publisher.site.base_url == BASE_URL


def test_a_new_site_needs_a_base_url(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="give it as --base-url"), tiny.site(tmp_path / "site", ""):
        pass


def test_a_folder_with_other_things_in_it_is_no_site(tmp_path: Path) -> None:
    (tmp_path / "site").mkdir()
    (tmp_path / "site" / "index.html").write_text("ours")
    with pytest.raises(InputError, match=r"holds index\.html and is no site"), tiny.site(tmp_path / "site"):
        pass
    assert sorted(tmp_path.rglob("*")) == [tmp_path / "site", tmp_path / "site" / "index.html"]


def test_a_second_run_on_the_same_site_is_told_of_the_first(tmp_path: Path) -> None:
    with (
        tiny.site(tmp_path / "site"),
        pytest.raises(ToolError, match="another run is at work on this site"),
        tiny.site(tmp_path / "site"),
    ):
        pass


def test_a_record_that_was_damaged_is_told_of_and_not_started_anew(tmp_path: Path) -> None:
    site = tmp_path / "site"
    tiny.publish(site, tiny.bundle(tmp_path))
    (site / ".solander/site.json").write_text("{")
    with pytest.raises(InputError, match="cannot be read as the record of a site"), tiny.site(site):
        pass


def test_a_file_system_without_links_is_told_of_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: Path, target: object) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(Path, "symlink_to", refuse)
    with pytest.raises(ToolError, match="no symbolic link can be made there"), tiny.site(tmp_path / "site"):
        pass


def test_names_that_differ_in_case_alone_are_refused_where_they_are_one(tmp_path: Path) -> None:
    site = tmp_path / "site"
    tiny.publish(site, tiny.bundle(tmp_path, "ms-1"))
    (site / ".solander/items/MS-1").symlink_to("ms-1")  # as a file system has it that knows no case
    with pytest.raises(InputError, match="differs in case alone"):
        tiny.publish(site, tiny.bundle(tmp_path, "MS-1"))


def test_when_the_disk_is_full_the_former_version_stays_and_the_room_is_given_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = tmp_path / "site"
    tiny.publish(site, tiny.bundle(tmp_path))
    before = tiny.kept(site)

    def full(*arguments: object, **named: object) -> str:
        raise ToolError("cannot be written (No space left on device)")

    with monkeypatch.context() as patched:
        patched.setattr(files.Placer, "place", full)
        with pytest.raises(ToolError, match="No space left"):
            tiny.publish(site, tiny.bundle(tmp_path / "again", picture=b"retaken"))
    assert not any((site / ".solander/building").iterdir())
    with tiny.site(site):
        pass
    assert tiny.kept(site) == before


# ---------------------------------------------------------------------------------- killed at any moment


class Killed(BaseException):
    """Ends a run as a kill would: nothing catches it to mend things."""


def killed(*arguments: object) -> None:
    raise Killed


def steps(monkeypatch: pytest.MonkeyPatch, last: int) -> Callable[[], int]:
    """Let the run be killed before its n-th change of a name on the disk; returns how many there were."""
    count = 0

    def counted(change: Callable[..., object]) -> Callable[..., object]:
        def change_or_die(*arguments: object, **named: object) -> object:
            nonlocal count
            count += 1
            if count > last:
                raise Killed
            return change(*arguments, **named)

        return change_or_die

    for name in ("replace", "rename", "unlink", "symlink_to", "rmdir"):
        monkeypatch.setattr(Path, name, counted(getattr(Path, name)))
    monkeypatch.setattr(shutil, "rmtree", counted(shutil.rmtree))
    return lambda: count


@pytest.mark.parametrize("change", ["replace", "remove", "add"])
def test_a_run_that_is_killed_at_any_step_and_run_again_gives_the_same_site(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, change: str
) -> None:
    one_asset = Asset(path="assets/pages.0.css", media_type="text/css", data=b"")
    monkeypatch.setattr("pipeline.pages.assets", lambda: (one_asset,))  # all are alike: one step each
    first = tiny.bundle(tmp_path, volumes=(ITEM,))
    other = tiny.bundle(tmp_path / "other", "ms-1" if change == "replace" else "ms-2", picture=b"other")

    def run(site: Path) -> None:
        with tiny.site(site) as publisher:
            if change == "remove":
                publisher.remove(ITEM)
            else:
                tiny.put(publisher, other)

    before, whole = tmp_path / "before", tmp_path / "whole"
    tiny.publish(before, first)
    shutil.copytree(before, whole, symlinks=True)
    run(whole)
    wanted = tiny.kept(whole)
    for last in range(1000):
        site = tmp_path / f"site-{last}"
        shutil.copytree(before, site, symlinks=True)
        with monkeypatch.context() as patched:
            steps(patched, last)
            try:
                run(site)
            except Killed:
                is_killed = True
            else:
                is_killed = False
        run(site)
        assert tiny.kept(site) == wanted, last
        if not is_killed:
            assert last > 15
            return
        shutil.rmtree(site)
    pytest.fail("never came to its end")


def test_the_next_run_says_which_item_it_finished(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    site, bundle = tmp_path / "site", tiny.bundle(tmp_path)
    with monkeypatch.context() as patched:
        patched.setattr(SiteFolder, "finished", killed)
        with pytest.raises(Killed):
            tiny.publish(site, bundle)
    assert (site / ".solander/begun.json").exists()
    with tiny.site(site) as publisher:
        assert publisher.taken_up == ITEM
    with tiny.site(site) as publisher:
        assert publisher.taken_up == ""
    assert outcome(site, bundle) is Outcome.UNCHANGED


PROGRAM = """
import os, signal, sys, time
from pathlib import Path
from tests.publish import tiny
site, bundles = Path(sys.argv[1]), [Path(each) for each in sys.argv[2:]]
tiny.publish(site / "warm", bundles[0])
for number in range(8):
    child = os.fork()
    if not child:
        tiny.publish(site / "killed", *bundles)
        os._exit(0)
    time.sleep(0.004 * (number + 1))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
tiny.publish(site / "killed", *bundles)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="has no fork")
def test_what_kill_9_leaves_is_finished_by_the_next_run(tmp_path: Path) -> None:
    bundles = [tiny.bundle(tmp_path, f"ms-{number}", views=4) for number in range(4)]
    bundles.append(tiny.bundle(tmp_path / "again", "ms-2", picture=b"retaken"))
    subprocess.run(
        [sys.executable, "-c", PROGRAM, str(tmp_path), *map(str, bundles)],
        check=True,
        cwd=Path(__file__).parents[2],
        env=os.environ | {"PYTHONPATH": "."},
    )
    tiny.publish(tmp_path / "whole", *bundles)
    killed, whole = (tiny.served(tmp_path / name) for name in ("killed", "whole"))
    lists = {path for path in whole if path.startswith("changes/")}  # each start replaced ms-2 twice
    assert {path: killed[path] for path in killed.keys() - lists} == {
        path: whole[path] for path in whole.keys() - lists
    }


# -------------------------------------------------------------------------- never half of an item


def test_a_reader_never_meets_half_of_an_item(tmp_path: Path) -> None:
    site = tmp_path / "site"
    names = {picture: f"A tiny item. {picture.decode()}".encode() for picture in (b"old", b"new")}
    both = [tiny.bundle(tmp_path / picture.decode(), picture=picture) for picture in names]
    tiny.publish(site, *both)
    is_over = threading.Event()
    seen: set[frozenset[bytes]] = set()
    failures: list[BaseException] = []

    def version_of(path: str) -> bytes:
        data = (site / path).read_bytes()
        (found,) = (picture for picture, said in names.items() if data == picture or said in data)
        return found

    def read() -> None:
        try:
            while not is_over.is_set():
                current = (site / ".solander/items/ms-1/current").readlink()
                found = {version_of(path) for path in ITS_FILES}
                if current == (site / ".solander/items/ms-1/current").readlink():
                    seen.add(frozenset(found))
        except BaseException as error:
            failures.append(error)

    readers = [threading.Thread(target=read) for _ in range(2)]
    for each in readers:
        each.start()
    with tiny.site(site) as publisher:
        for number in range(16):
            tiny.put(publisher, both[number % 2])
    is_over.set()
    for each in readers:
        each.join()
    assert failures == []  # no file was missing, empty, or of no version
    assert seen == {frozenset({b"old"}), frozenset({b"new"})}


ITS_FILES = (
    "items/ms-1/index.html",
    "iiif/ms-1/manifest.json",
    "access/ms-1/f001.jpg",
    "iiif/ms-1/f001/full/max/0/default.jpg",
)


def test_all_public_folders_of_an_item_lead_through_one_link(tmp_path: Path) -> None:
    site = tmp_path / "site"
    tiny.publish(site, tiny.bundle(tmp_path))
    for name in ("iiif", "access", "metadata", "items"):
        assert str((site / name / ITEM).readlink()) == f"../.solander/items/ms-1/current/{name}/ms-1"
    current = site / ".solander/items/ms-1/current"
    assert current.is_symlink()
    assert "/" not in str(current.readlink())
