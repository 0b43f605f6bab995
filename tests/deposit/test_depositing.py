"""Deposits and retrievals: the same tests for a folder and for object storage."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline import xmldoc
from pipeline.deposit import Changes, open_or_make, open_root, retrieve, stored_id
from pipeline.errors import FixityError, InputError, StoreError
from pipeline.ocfl import inventory
from pipeline.ocfl.inventory import Inventory
from pipeline.ocfl.layouts import layout_of
from pipeline.specs import ocfl
from pipeline.stores import FolderStore, Store
from tests.deposit.world import (
    FIRST,
    NOW,
    OBJECT,
    SECOND,
    contents,
    errors,
    make_bag,
    nothing_is_left,
    outside_errors,
    put,
    request,
)

LATER = NOW + dt.timedelta(days=30)


@pytest.fixture(params=["folder", "object storage"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Store:
    if request.param == "folder":
        return FolderStore(tmp_path / "store")
    empty: Callable[[], Store] = request.getfixturevalue("object_store")
    return empty()


@pytest.fixture
def bag(tmp_path: Path) -> Path:
    return make_bag(tmp_path / "bags" / "msb-014-preservation")


def place() -> str:
    return layout_of(ocfl.HASHED).path(OBJECT)


def stored(store: Store) -> Inventory:
    return inventory.read(store.read(f"{place()}/inventory.json", limit_bytes=1 << 20))


def second(tmp_path: Path) -> Path:
    return make_bag(tmp_path / "later" / "msb-014-preservation", SECOND)


class TestEveryStore:
    def test_a_bag_becomes_an_object(self, store: Store, bag: Path) -> None:
        done = put(store, bag)
        assert (done.object_id, done.version, done.is_new) == (OBJECT, "v1", True)
        assert (done.files, done.written_files) == (7, 7)
        state = stored(store).versions["v1"].paths
        assert {path for path in state if path.startswith("bag/")} == {
            f"bag/{path}" for path in contents(bag)
        }
        assert {path for path in state if not path.startswith("bag/")} == {"events/v1.xml"}
        assert errors(store) == []
        assert nothing_is_left(store)

    def test_what_changed_alone_is_stored_again(self, store: Store, bag: Path, tmp_path: Path) -> None:
        put(store, bag)
        done = put(store, second(tmp_path), request(now=LATER))
        assert done.version == "v2"
        assert done.changes == Changes(
            changed=("data/notes.txt", "manifest-sha512.txt", "tagmanifest-sha512.txt"),
            renamed=(("data/masters/B14_0002.raw", "data/masters/B14_0002r.raw"),),
            kept=3,
        )
        new = {each.path.partition("/v2/")[2] for each in store.walk(f"{place()}/v2/content")}
        assert new == {
            "content/bag/data/notes.txt",
            "content/bag/manifest-sha512.txt",
            "content/bag/tagmanifest-sha512.txt",
            "content/events/v2.xml",
        }
        assert errors(store) == []

    def test_the_same_again_changes_nothing(self, store: Store, bag: Path) -> None:
        first = put(store, bag)
        before = sorted(store.walk())
        again = put(store, bag, request(now=LATER))
        assert not again.is_new
        assert (again.version, again.created) == ("v1", first.created)
        assert again.inventory_digest == first.inventory_digest
        assert sorted(store.walk()) == before

    def test_every_version_comes_back_as_it_was(self, store: Store, bag: Path, tmp_path: Path) -> None:
        later = second(tmp_path)
        put(store, bag)
        put(store, later, request(now=LATER))
        put(store, bag, request(now=LATER))
        for version, expected in (("v1", bag), ("v2", later), ("", bag)):
            folder = tmp_path / "out" / f"of {version}"
            retrieve(open_root(store), OBJECT, folder, version=version)
            assert contents(folder) == contents(expected)
        assert errors(store) == []

    def test_a_damaged_inventory_is_not_built_upon(self, store: Store, bag: Path, tmp_path: Path) -> None:
        put(store, bag)
        data = store.read(f"{place()}/inventory.json", limit_bytes=1 << 20)
        store.put(f"{place()}/inventory.json", data.replace(b"B14_0001", b"B14_0009"))
        before = sorted(store.walk())
        with pytest.raises(FixityError, match=r"E060.*audit"):
            put(store, second(tmp_path), request(now=LATER))
        with pytest.raises(FixityError, match="damaged"):
            retrieve(open_root(store), OBJECT, tmp_path / "out")
        assert sorted(store.walk()) == before

    def test_a_version_that_could_not_be_read_again_is_refused(
        self, store: Store, bag: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        put(store, bag)
        before = sorted(store.walk())
        most_bytes = store.size(f"{place()}/inventory.json") + 200
        monkeypatch.setattr(inventory, "MOST_BYTES", most_bytes)
        with pytest.raises(InputError, match=r"has no room for v2.*--id"):
            put(store, second(tmp_path), request(now=LATER))
        assert sorted(store.walk()) == before
        assert nothing_is_left(store)
        retrieve(open_root(store), OBJECT, tmp_path / "out")

    def test_damaged_content_is_found_before_a_version_rests_on_it(
        self, store: Store, bag: Path, tmp_path: Path
    ) -> None:
        put(store, bag)
        store.put(f"{place()}/v1/content/bag/data/masters/B14_0001.raw", b"front cower")
        with pytest.raises(FixityError) as raised:
            put(store, second(tmp_path), request(now=LATER))
        assert [each.where for each in raised.value.problems] == ["v1/content/bag/data/masters/B14_0001.raw"]
        assert stored(store).head == "v1"
        assert nothing_is_left(store)
        assert not list(store.walk(f"{place()}/v2"))
        with pytest.raises(FixityError) as raised:
            retrieve(open_root(store), OBJECT, tmp_path / "out")
        assert len(raised.value.problems) == 1
        assert not (tmp_path / "out").exists()

    def test_a_vanished_file_is_told(self, store: Store, bag: Path, tmp_path: Path) -> None:
        put(store, bag)
        store.delete(f"{place()}/v1/content/bag/data/masters/B14_0001.raw")
        for folder in (bag, second(tmp_path)):
            with pytest.raises(FixityError):
                put(store, folder, request(now=LATER))
        with pytest.raises(FixityError, match="nothing was retrieved"):
            retrieve(open_root(store), OBJECT, tmp_path / "out")

    def test_a_bag_that_changed_since_it_was_verified_is_not_deposited(self, store: Store, bag: Path) -> None:
        (bag / "data" / "notes.txt").write_bytes(b"fi\xf2st")  # of the same size
        with pytest.raises(FixityError, match="not what it should be"):
            put(store, bag)
        assert not list(store.walk(place()))
        assert nothing_is_left(store)

    def test_a_root_that_was_begun_is_finished(self, store: Store, bag: Path) -> None:
        layout = layout_of(ocfl.HASHED)
        open_or_make(store, layout)
        store.delete("0=ocfl_1.1")
        put(store, bag)
        assert errors(store) == []

    def test_an_empty_payload_comes_back(self, store: Store, tmp_path: Path) -> None:
        bag = make_bag(tmp_path / "bag", {})
        put(store, bag)
        retrieve(open_root(store), OBJECT, tmp_path / "out")
        assert (tmp_path / "out" / "data").is_dir()
        assert contents(tmp_path / "out") == contents(bag)


class TestFolders:
    """What does not depend on the store."""

    @pytest.fixture
    def store(self, tmp_path: Path) -> Store:
        return FolderStore(tmp_path / "store")

    def test_a_version_tells_who_made_it_and_what_it_is(self, store: Store, bag: Path) -> None:
        put(store, bag, replace(request(), message="Third session."))
        version = stored(store).versions["v1"]
        assert version.created == "2026-03-10T12:00:00Z"
        assert version.user == inventory.User(
            name="Imaging unit", address="mailto:imaging@library.example.org"
        )
        assert (version.message or "").splitlines()[:3] == [
            "Third session.",
            "Bag msb-014-preservation: 7 files added",
            "External-Identifier: msb-014",
        ]

    def test_events_stand_beside_the_bag(self, store: Store, bag: Path, tmp_path: Path) -> None:
        put(store, bag)
        put(store, second(tmp_path), request(now=LATER))
        content = stored(store).content_of("v2")
        for version in ("v1", "v2"):
            data = store.read(f"{place()}/{content[f'events/{version}.xml']}", limit_bytes=1 << 20)
            assert not list(xmldoc.schema_faults(data, xmldoc.our_schema()))
            assert f"deposited as {version}".encode() in data

    def test_a_damaged_digest_file_is_not_built_upon(self, store: Store, bag: Path, tmp_path: Path) -> None:
        put(store, bag)
        store.put(f"{place()}/inventory.json.sha512", b"0" * 128 + b" inventory.json\n")
        with pytest.raises(FixityError, match="audit"):
            put(store, second(tmp_path), request(now=LATER))

    def test_a_clock_that_was_set_back_is_told(self, store: Store, bag: Path, tmp_path: Path) -> None:
        put(store, bag, request(now=LATER))
        done = put(store, second(tmp_path), request(now=NOW))
        assert any("later than this machine's clock" in each for each in done.remarks)
        assert errors(store) == []

    def test_a_bag_of_another_kind_is_no_next_version(self, store: Store, bag: Path, tmp_path: Path) -> None:
        put(store, bag)
        other = make_bag(tmp_path / "other")
        info = (other / "bag-info.txt").read_text().replace("masters-1.0", "access-1.0")
        (other / "bag-info.txt").write_text(info)
        (other / "tagmanifest-sha512.txt").unlink()
        with pytest.raises(InputError, match="another kind"):
            put(store, other)
        assert put(store, other, request(is_id_given=True)).version == "v2"

    def test_bags_without_sha512_are_digested_anew(self, store: Store, tmp_path: Path) -> None:
        bag = make_bag(tmp_path / "bag", algorithm="sha256")
        assert put(store, bag).digest_algorithm == "sha512"
        assert errors(store) == []

    def test_what_is_no_storage_root_is_left_alone(self, store: Store, bag: Path) -> None:
        store.put("something", b"else")
        with pytest.raises(InputError, match="is not empty"):
            put(store, bag)

    def test_layouts_are_chosen_once(self, store: Store, bag: Path) -> None:
        open_or_make(store, layout_of(ocfl.HASH_AND_ID))
        done = put(store, bag)
        assert done.place.endswith("/urn%3aexample%3amsb-014")
        assert errors(store) == []
        with pytest.raises(InputError, match="cannot be changed"):
            open_or_make(store, layout_of(ocfl.HASHED))

    def test_objects_are_found_by_either_name(self, store: Store, bag: Path) -> None:
        put(store, bag)
        root = open_root(store)
        assert stored_id(root, ("msb-014", OBJECT)) == OBJECT
        with pytest.raises(InputError, match="is not in"):
            stored_id(root, ("msb-015",))


def test_the_independent_validator_finds_all_objects_valid(tmp_path: Path) -> None:
    store = FolderStore(tmp_path / "store")
    put(store, make_bag(tmp_path / "first"))
    put(store, make_bag(tmp_path / "second", SECOND), request(now=LATER))
    put(store, make_bag(tmp_path / "third", FIRST), request(object_id="urn:example:other"))
    assert outside_errors(store) == []


def test_the_independent_validator_finds_damage(tmp_path: Path) -> None:
    store = FolderStore(tmp_path / "store")
    put(store, make_bag(tmp_path / "first"))
    store.put(f"{place()}/v1/content/bag/data/notes.txt", b"x")
    assert len(outside_errors(store)) == 1


def test_the_command_that_is_told_can_be_pasted_into_a_terminal(tmp_path: Path, bag: Path) -> None:
    store = FolderStore(tmp_path / "Bücher neu")
    put(store, bag)
    store.delete(f"{place()}/v1/content/bag/data/masters/B14_0001.raw")
    with pytest.raises(FixityError) as raised:
        put(store, bag)
    assert raised.value.message.endswith(f"solander audit '{store.url}'")


def test_nothing_is_put_over_what_is_there(tmp_path: Path) -> None:
    store = FolderStore(tmp_path / "store")
    put(store, make_bag(tmp_path / "bag"))
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine").touch()
    with pytest.raises(InputError, match="is there already"):
        retrieve(open_root(store), OBJECT, tmp_path / "out")
    (tmp_path / "out" / "mine").unlink()
    retrieve(open_root(store), OBJECT, tmp_path / "out")
    with pytest.raises(InputError, match='no version "v7"'):
        retrieve(open_root(store), OBJECT, tmp_path / "other", version="v7")


def test_paths_that_lead_out_of_a_bag_are_not_followed(tmp_path: Path) -> None:
    store = FolderStore(tmp_path / "store")
    put(store, make_bag(tmp_path / "bag"))
    path = store.folder / place()
    document = json.loads((path / "inventory.json").read_text())
    state = document["versions"]["v1"]["state"]
    digest = next(digest for digest, paths in state.items() if "bag/data/notes.txt" in paths)
    state[digest] = ["bag/data/~\\..\\notes.txt"]
    data = json.dumps(document).encode()
    for folder in (path, path / "v1"):
        (folder / "inventory.json").write_bytes(data)
        (folder / "inventory.json.sha512").write_bytes(inventory.sidecar(data))
    with pytest.raises(InputError, match="backslash"):
        retrieve(open_root(store), OBJECT, tmp_path / "out")


def test_older_stores_of_other_versions_are_told(tmp_path: Path) -> None:
    store = FolderStore(tmp_path / "store")
    open_or_make(store, None)
    (store.folder / "0=ocfl_1.1").rename(store.folder / "0=ocfl_1.0")
    (store.folder / "0=ocfl_1.0").write_text("ocfl_1.0\n")
    with pytest.raises(InputError, match=r"OCFL 1\.0, expected 1\.1"):
        put(store, make_bag(tmp_path / "bag"))


def test_objects_of_others_are_not_written_to(tmp_path: Path) -> None:
    store = FolderStore(tmp_path / "store")
    put(store, make_bag(tmp_path / "bag"))
    renamed = store.folder / layout_of(ocfl.HASHED).path("urn:example:other")
    renamed.parent.mkdir(parents=True)
    (store.folder / place()).rename(renamed)
    with pytest.raises(StoreError, match='holds the object "urn:example:msb-014"'):
        put(store, make_bag(tmp_path / "second"), request(object_id="urn:example:other"))
