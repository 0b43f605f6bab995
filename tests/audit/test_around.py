"""What deposits leave that come to no end: named with what to do, never touched, and no false alarm."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from typing import Any

import pytest

from pipeline.audit import around
from pipeline.audit.around import Around
from pipeline.audit.values import Audit, Condition
from pipeline.errors import ExitStatus
from pipeline.findings import Finding
from pipeline.ocfl.locking import key_of
from pipeline.stores import ObjectStore
from tests import make_ocfl
from tests.audit.world import IDS, World, every_file
from tests.make_ocfl import two_versions
from tests.object_storage import ask

PLACE = make_ocfl.place_of(IDS[0])


def only(done: Audit) -> Finding:
    (finding,) = done.root.findings
    return finding


def without_touching(world: World) -> Audit:
    """Audit, and see that nothing beside the record was written."""
    before = dict(every_file(world.folder))
    done = world.run()
    after = dict(every_file(world.folder))
    assert {path: data for path, data in after.items() if not path.startswith("record")} == before
    world.record_file.unlink()
    return done


def test_a_deposit_that_was_killed_before_its_object_was_there_is_told(world: World) -> None:
    shutil.rmtree(world.at(0))
    lock = world.begin(0)
    two_versions(object_id=IDS[0]).write(lock.parent / "work" / "object")
    done = without_touching(world)
    assert done.exit_status is ExitStatus.DONE
    finding = only(done)
    assert (finding.code, finding.place) == ("K008", PLACE)
    assert finding.value.startswith(
        f"{IDS[0]}: being deposited by process {1 << 30} on here, since 2031-06-01T01"
    )
    assert "files (" in finding.value
    assert finding.value.endswith("bytes) that no inventory names")


def killed_between(world: World, *, head: str) -> None:
    """Leave an object as a deposit does that is killed before its version is in the object's inventory."""
    for name in ("inventory.json", "inventory.json.sha512"):
        shutil.copy(world.at(0, f"{head}/{name}"), world.at(0, name))


def test_a_version_that_was_begun_does_not_make_the_object_faulty(world: World) -> None:
    killed_between(world, head="v1")
    world.begin(0)
    done = without_touching(world)
    assert done.exit_status is ExitStatus.DONE
    assert world.conditions()[IDS[0]] is Condition.INTACT
    assert next(each for each in world.outcomes if each.object_id == IDS[0]).head == "v1"
    assert only(done).code == "K008"


def test_damage_of_an_earlier_version_is_told_all_the_same(world: World) -> None:
    killed_between(world, head="v1")
    world.begin(0)
    make_ocfl.flip(world.at(0, "v1/content/data/f1r.tif"))
    assert world.run().exit_status is ExitStatus.FIXITY


@pytest.mark.parametrize("note", [None, {"version": "v3"}, {"is_mending": True}])
def test_a_version_that_nobody_is_known_to_have_begun_is_a_fault(
    world: World, note: dict[str, object] | None
) -> None:
    killed_between(world, head="v1")
    if note is not None:
        world.begin(0, **note)
    assert world.run().exit_status is ExitStatus.WANTING
    assert "E046" in world.outcomes[[each.object_id for each in world.outcomes].index(IDS[0])].report.codes


def test_a_half_written_file_is_told(world: World) -> None:
    part = world.folder / "store.staging" / "77-1.part"
    part.parent.mkdir()
    part.write_bytes(b"half")
    finding = only(without_touching(world))
    assert (finding.code, finding.place, finding.value) == ("K012", str(part), "4 bytes")


# ------------------------------------------------------------------------------------- object storage


@pytest.fixture
def stored(world: World, object_store: Callable[[], ObjectStore]) -> ObjectStore:
    """The world's objects but for the first in object storage."""
    store = object_store()
    for path, data in every_file(world.root):
        if not path.startswith(PLACE):
            store.put(path, data)
    world.store = store
    return store


def begin(store: ObjectStore, *paths: str, version: str = "v1") -> None:
    """Leave what a killed deposit of the first object leaves."""
    contents = two_versions(object_id=IDS[0]).contents()
    for path in paths:
        store.put(f"{PLACE}/{path}", contents[path])
    note = World.note(IDS[0], version=version)
    store.beside(".staging").put(f"{key_of(PLACE)}/lock", note.to_bytes())


def test_what_a_killed_deposit_left_in_storage_is_told_once(world: World, stored: ObjectStore) -> None:
    begin(stored, "v1/content/data/f1r.tif", "v1/content/bagit.txt")
    before = sorted(stored.walk())
    done = world.run()
    assert done.exit_status is ExitStatus.DONE
    assert only(done).code == "K008"
    assert only(done).value.startswith(f"{IDS[0]} v1: being deposited by process")
    assert "2 files (" in only(done).value
    assert sorted(stored.walk()) == before


def test_a_first_version_without_its_objects_inventory_is_no_damage(
    world: World, stored: ObjectStore
) -> None:
    begin(stored, "v1/content/data/f1r.tif", "v1/inventory.json.sha512", "v1/inventory.json")
    done = world.run()
    assert done.exit_status is ExitStatus.TOOL
    (outcome,) = done.outcomes
    assert outcome.condition is Condition.UNREAD
    assert "has no version yet" in outcome.trouble[""]


def test_content_of_an_object_without_an_inventory_is_told_as_that(world: World, stored: ObjectStore) -> None:
    begin(stored, "v1/content/data/f1r.tif")
    stored.beside(".staging").delete(f"{key_of(PLACE)}/lock")
    done = world.run()
    assert done.exit_status is ExitStatus.WANTING
    assert only(done).value == "1 files of no object, among them v1 of one that has no inventory"


def test_an_object_that_came_while_the_store_was_audited_is_no_heap_of_files(
    world: World, stored: ObjectStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    begin(stored, "v1/content/data/f1r.tif")
    stored.beside(".staging").delete(f"{key_of(PLACE)}/lock")
    look = around.look

    def ending(*arguments: Any) -> Around:
        for path, data in two_versions(object_id=IDS[0]).contents().items():
            stored.put(f"{PLACE}/{path}", data)
        return look(*arguments)

    monkeypatch.setattr(around, "look", ending)
    assert world.run().root.codes == set()


def test_uploads_that_nobody_will_end_are_told(world: World, stored: ObjectStore, s3_endpoint: str) -> None:
    bucket, _, prefix = stored.url.removeprefix("s3://").partition("/")
    ask(s3_endpoint, "POST", f"/{bucket}/{prefix}/left/large.tif?uploads")
    ask(s3_endpoint, "POST", f"/{bucket}/{prefix}/{PLACE}/v1/content/large.tif?uploads")
    begin(stored)
    done = world.run()
    assert [(each.code, each.place) for each in done.root.findings] == [
        ("K008", PLACE),
        ("K013", "left/large.tif"),
    ]
    assert b"left/large.tif" in ask(s3_endpoint, "GET", f"/{bucket}?uploads")
