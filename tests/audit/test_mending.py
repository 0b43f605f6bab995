"""Damage held against a replica: named always, mended only when asked, and the damaged file kept."""

from __future__ import annotations

import random
import shutil
from pathlib import Path
from typing import BinaryIO, ClassVar

import pytest

from pipeline.audit.values import Condition
from pipeline.errors import ExitStatus, StoreError
from pipeline.ocfl import inventory
from pipeline.ocfl.locking import Note, unfinished
from pipeline.stores import FolderStore
from pipeline.stores.folder import is_locked
from tests import make_ocfl
from tests.audit.world import F1R, IDS, Failing, World, every_file
from tests.make_ocfl import flip, two_versions

MENDABLE = [
    (F1R, "flipped"),
    (F1R, "lost"),
    ("v2/content/bagit.txt", "lost"),
    ("inventory.json", "flipped"),
    ("inventory.json", "lost"),
    ("v1/inventory.json", "flipped"),
    ("v2/inventory.json", "flipped"),
    ("inventory.json.sha512", "flipped"),
    ("inventory.json.sha512", "lost"),
    ("v1/inventory.json.sha512", "flipped"),
    ("v1/inventory.json.sha512", "lost"),
    ("v1/inventory.json", "lost"),
    ("v2/inventory.json", "lost"),
]


def harm(path: Path, how: str) -> None:
    if how == "flipped":
        flip(path)
    else:
        path.unlink()


@pytest.mark.parametrize(("path", "how"), MENDABLE)
def test_what_a_replica_can_mend_is_named_and_nothing_is_changed(world: World, path: str, how: str) -> None:
    harm(world.at(0, path), how)
    before = dict(every_file(world.root))
    done = world.run(replica=FolderStore(world.copy_root))
    assert dict(every_file(world.root)) == before
    (mend,) = done.outcomes[0].mends
    assert mend.path == path
    assert mend.source
    assert not mend.is_mended


@pytest.mark.parametrize(("path", "how"), MENDABLE)
def test_what_is_mended_is_as_it_was_and_the_damaged_file_is_kept(world: World, path: str, how: str) -> None:
    whole = dict(every_file(world.root))
    harm(world.at(0, path), how)
    harmed = world.at(0, path).read_bytes() if how == "flipped" else None
    done = world.run(replica=FolderStore(world.copy_root), repairs=True)
    assert dict(every_file(world.root)) == whole
    assert world.conditions()[IDS[0]] is Condition.MENDED
    assert done.exit_status is ExitStatus.FIXITY
    (mend,) = done.outcomes[0].mends
    assert mend.is_mended
    if harmed is not None:
        assert Path(mend.kept_aside).read_bytes() == harmed
        assert not Path(mend.kept_aside).is_relative_to(world.root)
    assert world.run().exit_status is ExitStatus.DONE


def test_several_files_of_one_object_are_mended_the_inventory_first(world: World) -> None:
    whole = dict(every_file(world.root))
    for path in ("inventory.json", "v2/inventory.json", F1R, "v1/content/data/f1v.tif"):
        flip(world.at(0, path))
    world.run(replica=FolderStore(world.copy_root), repairs=True)
    assert dict(every_file(world.root)) == whole
    assert world.conditions()[IDS[0]] is Condition.MENDED


@pytest.mark.parametrize("harmed", ["v2/inventory.json", "v2"])
@pytest.mark.parametrize("has_older", [False, True])
def test_an_object_is_never_mended_into_an_earlier_state_of_itself(
    world: World, harmed: str, has_older: bool
) -> None:
    """Its inventory is lost, or an older one was put there; the earlier version is whole."""
    whole = dict(every_file(world.root))
    world.at(0, "inventory.json").unlink()
    if has_older:
        shutil.copy(world.at(0, "v1/inventory.json"), world.at(0, "inventory.json"))
    if harmed == "v2":
        shutil.rmtree(world.at(0, "v2"))
    else:
        world.at(0, harmed).write_bytes(b"")
    world.run(replica=FolderStore(world.copy_root), repairs=True)
    assert world.at(0, "inventory.json").read_bytes() == whole[f"{make_ocfl.place_of(IDS[0])}/inventory.json"]
    after = dict(every_file(world.root))
    assert {path: data for path, data in whole.items() if path in after} == after


def test_a_version_does_not_get_the_inventory_of_another_one(world: World) -> None:
    """Its digest file was replaced by that of an earlier version."""
    world.at(0, "v2/inventory.json").write_bytes(b"rot")
    shutil.copy(world.at(0, "v1/inventory.json.sha512"), world.at(0, "v2/inventory.json.sha512"))
    world.run(replica=FolderStore(world.copy_root), repairs=True)
    assert world.at(0, "v2/inventory.json").read_bytes() == b"rot"
    assert world.conditions()[IDS[0]] is Condition.DAMAGED


def test_an_object_is_mended_from_its_own_copy_whatever_identifier_it_bears(world: World) -> None:
    whole = dict(every_file(world.root))
    shutil.copy(world.at(1, "inventory.json"), world.at(0, "v2/inventory.json"))
    world.at(0, "inventory.json").unlink()
    world.run(replica=FolderStore(world.copy_root), repairs=True)
    assert dict(every_file(world.root)) == whole


def test_the_inventory_of_another_object_is_not_sealed_with_its_digest_file(world: World) -> None:
    shutil.copy(world.at(1, "inventory.json"), world.at(0, "inventory.json"))
    world.at(0, "inventory.json.sha512").unlink()
    world.run(replica=FolderStore(world.copy_root), repairs=True)
    assert not world.at(0, "inventory.json.sha512").exists()
    assert Condition.DAMAGED in world.conditions().values()


def test_a_replica_that_is_damaged_too_mends_nothing(world: World) -> None:
    flip(world.at(0, F1R))
    flip(world.copy_root / make_ocfl.place_of(IDS[0]) / F1R)
    before = dict(every_file(world.root))
    done = world.run(replica=FolderStore(world.copy_root), repairs=True)
    assert dict(every_file(world.root)) == before
    assert done.outcomes[0].mends[0].hindrance == "no intact copy was found"


def test_without_a_replica_nothing_is_promised(world: World) -> None:
    flip(world.at(0, F1R))
    assert world.run().outcomes[0].mends[0].hindrance == "no other copy was looked at, give one as --replica"


def test_an_intact_twin_in_the_same_object_serves_as_a_copy(world: World) -> None:
    made = make_ocfl.an_object({"a": b"same", "b": b"else"}, object_id=IDS[0])
    digest = make_ocfl.digest(b"same")
    for document in made.inventories.values():
        document["manifest"][digest] = ["v1/content/a", "v1/content/twin"]
        document["fixity"] = {}
    made.files["v1/content/twin"] = b"same"
    shutil.rmtree(world.at(0))
    made.write(world.at(0))
    flip(world.at(0, "v1/content/a"))
    (mend,) = world.run().outcomes[0].mends
    assert mend.source.endswith("v1/content/twin")


def test_a_replica_in_another_layout_is_found_by_identifier(world: World) -> None:
    shutil.rmtree(world.copy_root)
    world.copy_root.mkdir()
    (world.copy_root / "0=ocfl_1.1").write_text("ocfl_1.1\n")
    layout = "0003-hash-and-id-n-tuple-storage-layout"
    (world.copy_root / "ocfl_layout.json").write_bytes(
        make_ocfl.to_bytes({"extension": layout, "description": "x"})
    )
    for each in IDS:
        encoded = each.replace(":", "%3a")
        two_versions(object_id=each).write(world.copy_root / make_ocfl.place_of(each)[:11] / encoded)
    flip(world.at(2, F1R))
    done = world.run(replica=FolderStore(world.copy_root), repairs=True)
    assert world.conditions()[IDS[2]] is Condition.MENDED
    assert done.root.codes == set()


def test_differences_between_copies_are_warnings(world: World) -> None:
    shutil.rmtree(world.copy_root / make_ocfl.place_of(IDS[0]))
    behind = world.copy_root / make_ocfl.place_of(IDS[1])
    shutil.rmtree(behind)
    make_ocfl.an_object(make_ocfl.FIRST, object_id=IDS[1]).write(behind)
    extra = two_versions(object_id="urn:example:other")
    extra.write(world.copy_root / make_ocfl.place_of(extra.object_id))
    done = world.run(replica=FolderStore(world.copy_root))
    assert done.exit_status is ExitStatus.DONE
    told = {each.object_id: each.report.codes for each in done.outcomes}
    assert told == {IDS[0]: {"K004"}, IDS[1]: {"K005"}}
    assert done.root.codes == {"K006"}


def test_a_version_that_lost_inventory_and_digest_file_is_told_by_the_replica(world: World) -> None:
    for name in ("inventory.json", "inventory.json.sha512"):
        world.at(0, f"v1/{name}").unlink()
    done = world.run(replica=FolderStore(world.copy_root))
    assert done.outcomes[0].report.codes == {"W010", "K005"}


def test_nothing_is_written_if_the_damaged_file_cannot_be_kept(world: World) -> None:
    class NoRoom(FolderStore):
        def put_file(
            self, path: str, source: object, *, if_absent: bool = False, size_bytes: int = 0
        ) -> None:
            raise StoreError(f"{self.url}/{path}: there is no room")

        def beside(self, suffix: str) -> FolderStore:
            return NoRoom(self.folder.with_name(f"{self.folder.name}{suffix}"))

    flip(world.at(0, F1R))
    before = dict(every_file(world.root))
    world.store = NoRoom(world.root)
    done = world.run(replica=FolderStore(world.copy_root), repairs=True)
    assert dict(every_file(world.root)) == before
    assert "there is no room" in done.outcomes[0].mends[0].hindrance
    assert world.conditions()[IDS[0]] is Condition.DAMAGED


def test_a_mend_that_cannot_be_read_back_is_not_called_mended(world: World) -> None:
    class Forgetful(FolderStore):
        def put_file(
            self, path: str, source: object, *, if_absent: bool = False, size_bytes: int = 0
        ) -> None:
            if not if_absent:
                self.put(path, b"something else")
            else:
                super().put_file(path, source, if_absent=True)  # type: ignore[arg-type]

    flip(world.at(0, F1R))
    world.store = Forgetful(world.root)
    done = world.run(replica=FolderStore(world.copy_root), repairs=True)
    (mend,) = done.outcomes[0].mends
    assert "could not be read back" in mend.hindrance
    assert mend.kept_aside
    assert world.conditions()[IDS[0]] is Condition.DAMAGED


def test_a_file_that_could_not_be_read_is_not_mended(world: World) -> None:
    flip(world.at(0, "v1/content/data/f1v.tif"))
    world.store = Failing(world.root)
    world.store.errors[f"{make_ocfl.place_of(IDS[0])}/{F1R}"] = 100
    done = world.run(replica=FolderStore(world.copy_root), repairs=True)
    assert [each.path for each in done.outcomes[0].mends] == ["v1/content/data/f1v.tif"]
    assert done.exit_status is ExitStatus.TOOL


# ------------------------------------------------------------------------------------------- others at work


@pytest.mark.parametrize("is_at_work", [False, True])
def test_what_somebody_else_writes_is_not_mended(world: World, is_at_work: bool) -> None:
    flip(world.at(0, F1R))
    before = dict(every_file(world.root))
    lock = world.begin(0)
    with lock.open("rb") as file:
        assert not is_at_work or is_locked(file)
        done = world.run(replica=FolderStore(world.copy_root), repairs=True)
    assert dict(every_file(world.root)) == before
    assert "somebody began to write it" in done.outcomes[0].mends[0].hindrance
    assert lock.exists()


def test_an_object_is_locked_while_it_is_mended_and_let_go_again(world: World) -> None:
    class Watching(FolderStore):
        notes: ClassVar[list[Note]] = []

        def put_file(
            self, path: str, source: Path | BinaryIO, *, if_absent: bool = False, size_bytes: int = 0
        ) -> None:
            self.notes.extend(unfinished(self))
            super().put_file(path, source, if_absent=if_absent)

    flip(world.at(0, F1R))
    world.store = Watching(world.root)
    world.run(replica=FolderStore(world.copy_root), repairs=True, host="here", pid=7)
    assert [(each.object_id, each.host, each.pid) for each in Watching.notes] == [(IDS[0], "here", 7)]
    assert world.conditions()[IDS[0]] is Condition.MENDED
    assert list(unfinished(world.store)) == []


def test_an_object_that_was_written_meanwhile_is_not_mended(world: World) -> None:
    class Late(FolderStore):
        def open(self, path: str) -> BinaryIO:
            if path.endswith(F1R):
                world.at(0, "logs").mkdir(exist_ok=True)
                world.at(0, "logs/new.txt").write_text("x")
            return super().open(path)

    flip(world.at(0, F1R))
    harmed = world.at(0, F1R).read_bytes()
    done = world.run(replica=Late(world.copy_root), repairs=True)
    assert "was written meanwhile" in done.outcomes[0].mends[0].hindrance
    assert world.at(0, F1R).read_bytes() == harmed


def test_a_replica_that_does_not_give_an_object_stops_nothing(world: World) -> None:
    flip(world.at(1, F1R))
    replica = Failing(world.copy_root)
    replica.errors[f"{make_ocfl.place_of(IDS[0])}/inventory.json"] = 100
    done = world.run(replica=replica)
    assert world.conditions() == {**dict.fromkeys(IDS, Condition.INTACT), IDS[1]: Condition.DAMAGED}
    codes = {each.object_id: each.report.codes for each in done.outcomes}
    assert codes[IDS[0]] == {"K009"}


# ------------------------------------------------------------------------------- any damage to both copies


def damage(root: Path, chance: random.Random) -> None:
    """Do something to a few files of objects: a bit, an end, all of it, or another file's bytes."""
    files = [path for path in sorted(root.rglob("*/*")) if path.is_file()]
    for _ in range(chance.choice([0, 1, 2, 4, 8])):
        path = chance.choice(files)
        data = path.read_bytes() if path.exists() else b""
        if not data:
            continue
        at = chance.randrange(len(data))
        other = chance.choice(files)
        harmed = chance.choice(
            [
                data[:at] + bytes([data[at] ^ 1 << chance.randrange(8)]) + data[at + 1 :],
                data[:-1],
                b"",
                other.read_bytes() if other.exists() else b"",
                None,
            ]
        )
        if harmed is None:
            path.unlink()
        else:
            path.write_bytes(harmed)


def is_right(path: str, after: bytes | None, whole: bytes | None) -> bool:
    """True for the bytes that belong there, or a digest file that says the same in another spelling."""
    if after is None or whole is None or not path.endswith(".sha512"):
        return after == whole
    return after == whole or inventory.sidecar_digest(after) == inventory.sidecar_digest(whole)


def mend_after_any_damage(folder: Path, seed: int) -> None:
    world = World(folder)
    chance = random.Random(seed)
    if chance.random() < 0.5:
        world.run()
    whole = dict(every_file(world.root))
    damage(world.root, chance)
    damage(world.copy_root, chance)
    before, there = dict(every_file(world.root)), dict(every_file(world.copy_root))
    world.run(replica=FolderStore(world.copy_root), repairs=True)
    after = dict(every_file(world.root))
    assert dict(every_file(world.copy_root)) == there
    assert before.keys() <= after.keys()
    for path in after:
        if after[path] != before.get(path):
            assert before.get(path) != whole.get(path), f"{path}: was right, and was written over"
            assert is_right(path, after[path], whole.get(path)), f"{path}: was written, and is not right"
    for outcome in world.outcomes:
        if outcome.condition in (Condition.INTACT, Condition.MENDED) and "W010" not in outcome.report.codes:
            inside = [each for each in whole if each.startswith(f"{outcome.place}/")]
            assert all(is_right(each, after.get(each), whole[each]) for each in inside)


@pytest.mark.parametrize("seed", range(8))
def test_whatever_is_damaged_in_both_copies_nothing_good_is_touched(tmp_path: Path, seed: int) -> None:
    mend_after_any_damage(tmp_path, seed)


@pytest.mark.large
@pytest.mark.parametrize("hundred", range(10, 20))
def test_whatever_is_damaged_nothing_good_is_touched_a_thousand_times(tmp_path: Path, hundred: int) -> None:
    for seed in range(hundred * 100, hundred * 100 + 100):
        (tmp_path / str(seed)).mkdir()
        mend_after_any_damage(tmp_path / str(seed), seed)
