"""Whole objects that were lost: brought back as they were proved, or not at all, and nothing else."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

import pytest

from pipeline import xmldoc
from pipeline.audit.record import opened
from pipeline.audit.reports import Reports
from pipeline.audit.values import Audit, Condition, Mend
from pipeline.errors import ExitStatus, StoreError
from pipeline.ocfl.locking import unfinished
from pipeline.stores import FolderStore, ObjectStore
from tests import make_ocfl
from tests.audit.world import F1R, IDS, START, Failing, World, every_file
from tests.make_ocfl import flip, two_versions

PLACE = make_ocfl.place_of(IDS[0])


@pytest.fixture
def lost(world: World) -> World:
    """A world that was proved, and then lost its first object."""
    world.run()
    shutil.rmtree(world.root / PLACE.partition("/")[0])
    (world.root / PLACE).parent.mkdir(parents=True)
    return world


def repaired(world: World) -> Audit:
    return world.run(replica=FolderStore(world.copy_root), repairs=True, host="here", pid=7)


def mend_of(done: Audit) -> Mend:
    (mend,) = next(each for each in done.outcomes if each.object_id == IDS[0]).mends
    return mend


def files_of(world: World) -> dict[str, bytes]:
    return dict(every_file(world.root))


def test_a_lost_object_is_brought_back_as_it_was(lost: World) -> None:
    whole = dict(every_file(lost.copy_root))
    done = repaired(lost)
    assert files_of(lost) == whole
    assert lost.conditions() == {**dict.fromkeys(IDS, Condition.INTACT), IDS[0]: Condition.MENDED}
    assert done.exit_status is ExitStatus.FIXITY
    assert (mend_of(done).path, mend_of(done).is_mended) == ("", True)
    assert mend_of(done).source == f"{lost.copy_root}/{PLACE}"
    assert done.planned == 4
    assert done.root.codes == set()
    assert list(unfinished(lost.store)) == []
    after = lost.run()
    assert after.exit_status is ExitStatus.DONE
    assert after.standing.never == 0


def test_without_being_asked_for_it_is_named_alone(lost: World) -> None:
    before = files_of(lost)
    done = lost.run(replica=FolderStore(lost.copy_root))
    assert files_of(lost) == before
    assert lost.conditions()[IDS[0]] is Condition.LOST
    assert mend_of(done) == Mend(
        path="",
        algorithm="sha512",
        digest=make_ocfl.digest((lost.copy_root / PLACE / "inventory.json").read_bytes()),
        source=f"{lost.copy_root}/{PLACE}",
    )
    assert done.root.codes == {"E073"}


def another_layout(world: World) -> None:
    shutil.move(world.copy_root / PLACE, world.copy_root / "elsewhere")


def a_later_version(world: World) -> None:
    shutil.rmtree(world.copy_root / PLACE)
    later = make_ocfl.an_object(
        make_ocfl.FIRST, make_ocfl.SECOND, {**make_ocfl.SECOND, "x": b"x"}, object_id=IDS[0]
    )
    later.write(world.copy_root / PLACE)


def an_earlier_version(world: World) -> None:
    shutil.rmtree(world.copy_root / PLACE)
    make_ocfl.an_object(make_ocfl.FIRST, object_id=IDS[0]).write(world.copy_root / PLACE)


def other_history(world: World) -> None:
    shutil.rmtree(world.copy_root / PLACE)
    made = make_ocfl.an_object({**make_ocfl.FIRST, "x": b"x"}, make_ocfl.SECOND, object_id=IDS[0])
    made.write(world.copy_root / PLACE)


def another_object(world: World) -> None:
    shutil.rmtree(world.copy_root / PLACE)
    two_versions(object_id="urn:example:other").write(world.copy_root / PLACE)


def no_inventory(world: World) -> None:
    for path in (world.copy_root / PLACE).rglob("inventory.json"):
        path.write_bytes(b"rot")


@pytest.mark.parametrize(
    ("change", "hindrance"),
    [
        (lambda world: shutil.rmtree(world.copy_root / PLACE), "the other copy does not have it"),
        (another_layout, "the other copy does not have it"),
        (a_later_version, "the other copy has it as v3, and here v2 was proved last"),
        (an_earlier_version, "the other copy has it as v1, and here v2 was proved last"),
        (other_history, "the same versions with other inventories"),
        (another_object, "the other copy does not have it"),
        (no_inventory, "the other copy has no inventory of it that can be read"),
        (lambda world: flip(world.copy_root / PLACE / F1R), "is not whole either (E092)"),
        (lambda world: (world.copy_root / PLACE / F1R).unlink(), "is not whole either (E092)"),
        (lambda world: (world.copy_root / PLACE / "notes.txt").write_text("x"), "not whole either (E001)"),
    ],
)
def test_what_is_not_as_it_was_proved_here_is_not_brought_back(
    lost: World, change: Callable[[World], object], hindrance: str
) -> None:
    change(lost)
    before = files_of(lost)
    done = repaired(lost)
    assert files_of(lost) == before
    assert lost.conditions()[IDS[0]] is Condition.LOST
    assert hindrance in mend_of(done).hindrance
    assert not mend_of(done).is_mended


def test_what_the_other_copy_does_not_give_is_not_brought_back(lost: World) -> None:
    replica = Failing(lost.copy_root)
    replica.errors[f"{PLACE}/{F1R}"] = 9
    done = lost.run(replica=replica, repairs=True)
    assert "503 Slow Down" in mend_of(done).hindrance
    assert not lost.at(0).exists()


def test_what_was_never_here_is_not_brought_back(world: World) -> None:
    world.run()
    strange = two_versions(object_id="urn:example:other")
    strange.write(world.copy_root / make_ocfl.place_of(strange.object_id))
    before = files_of(world)
    assert repaired(world).root.codes == {"K006"}
    assert files_of(world) == before


def test_what_was_seen_here_and_never_proved_is_not_brought_back(world: World) -> None:
    flip(world.at(0, F1R))
    world.run()
    shutil.rmtree(world.at(0))
    assert "the record never proved it here" in mend_of(repaired(world)).hindrance
    assert not world.at(0).exists()


def test_what_the_record_was_told_to_forget_is_not_brought_back(lost: World) -> None:
    lost.ask(lambda record: record.forget(IDS[0]))
    assert repaired(lost).root.codes == {"K006", "E073"}
    assert not lost.at(0).exists()


def test_nothing_is_looked_for_when_the_budget_is_over(lost: World) -> None:
    lost.time.step_s = 1.0
    done = lost.run(replica=FolderStore(lost.copy_root), repairs=True, budget_s=1.0)
    assert "the budget ran out" in mend_of(done).hindrance


@pytest.mark.parametrize("budget_s", [2.0, 3.0, 4.0, 5.0])
def test_what_was_begun_is_proved_to_its_end_in_any_budget(lost: World, budget_s: float) -> None:
    lost.time.step_s = 1.0
    lost.run(replica=FolderStore(lost.copy_root), repairs=True, budget_s=budget_s, threads=1)
    outcome = lost.outcomes[0]
    content = sum("/content/" in path for path, _ in every_file(lost.copy_root / PLACE))
    assert (outcome.condition, outcome.files) in ((Condition.MENDED, content), (Condition.LOST, 0))
    assert (outcome.condition is Condition.MENDED) is (budget_s > 2.0)


def test_what_is_left_of_it_stays_and_what_is_wrong_is_kept_aside(lost: World) -> None:
    whole = dict(every_file(lost.copy_root))
    for path in (F1R, "v2/content/bagit.txt"):
        lost.at(0, path).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(lost.copy_root / PLACE / path, lost.at(0, path))
    lost.at(0, F1R).write_bytes(b"rot")
    right = lost.at(0, "v2/content/bagit.txt").stat().st_ino
    mend = mend_of(repaired(lost))
    assert files_of(lost) == whole
    assert mend.is_mended
    assert Path(mend.kept_aside).read_bytes() == b"rot"
    assert lost.at(0, "v2/content/bagit.txt").stat().st_ino == right


def test_what_lies_there_beside_it_is_told_and_not_called_mended(lost: World) -> None:
    lost.at(0).mkdir(parents=True)
    lost.at(0, "notes.txt").write_text("x")
    done = repaired(lost)
    assert lost.conditions()[IDS[0]] is Condition.FAULTY
    assert "could not be proved as it should be" in mend_of(done).hindrance
    assert lost.at(0, "notes.txt").read_text() == "x"


def test_what_a_deposit_has_begun_is_left_to_it(lost: World) -> None:
    lost.begin(0)
    assert "somebody began to write it" in mend_of(repaired(lost)).hindrance
    assert not lost.at(0).exists()


class Cut(FolderStore):
    """A store that takes so many files, then none."""

    def __init__(self, folder: Path, takes: int) -> None:
        super().__init__(folder)
        self.left = takes

    def put_file(
        self, path: str, source: Path | BinaryIO, *, if_absent: bool = False, size_bytes: int = 0
    ) -> None:
        if not self.left:
            raise StoreError(f"{self.url}/{path}: there is no room")
        self.left -= 1
        super().put_file(path, source, if_absent=if_absent, size_bytes=size_bytes)


@pytest.mark.parametrize("takes", range(11))
def test_one_that_is_cut_off_shows_no_reader_half_an_object_and_is_gone_on_with(
    lost: World, takes: int
) -> None:
    whole = dict(every_file(lost.copy_root))
    assert sum(path.startswith(PLACE) for path in whole) == 11
    lost.store = Cut(lost.root, takes)
    assert "there is no room" in mend_of(repaired(lost)).hindrance
    assert not lost.at(0, "inventory.json").exists()
    lost.store = FolderStore(lost.root)
    assert lost.run().exit_status is ExitStatus.FIXITY
    assert mend_of(repaired(lost)).is_mended
    assert files_of(lost) == whole
    assert lost.conditions()[IDS[0]] is Condition.MENDED


def test_what_somebody_else_brought_back_meanwhile_is_an_object_as_any_other(lost: World) -> None:
    """After a repair that was cut off, and in a later version than the record and the copy have."""
    lost.store = Cut(lost.root, 3)
    repaired(lost)
    lost.store = FolderStore(lost.root)
    later = make_ocfl.an_object(
        make_ocfl.FIRST, make_ocfl.SECOND, {**make_ocfl.SECOND, "x": b"x"}, object_id=IDS[0]
    )
    later.write(lost.at(0))
    done = repaired(lost)
    assert lost.conditions()[IDS[0]] is Condition.INTACT
    assert done.exit_status is ExitStatus.DONE


def test_its_loss_its_recovery_and_its_proof_are_events(lost: World) -> None:
    done = repaired(lost)
    with opened(lost.record_file) as record:
        reports = Reports(lost.folder / "reports", record, done.store, started=START, version="0.1.0")
        for outcome in lost.outcomes:
            reports.take(outcome)
        reports.close(done)
    (path,) = (lost.folder / "reports" / "audit-events").iterdir()
    root = xmldoc.parse(path.read_bytes())
    assert list(xmldoc.schema_faults(root, xmldoc.our_schema())) == []
    told = [
        (
            event.findtext("{*}eventType"),
            event.findtext("{*}eventOutcomeInformation/{*}eventOutcome"),
            "brought back from" in (event.findtext("{*}eventDetailInformation/{*}eventDetail") or ""),
        )
        for event in root.iterfind("{*}event")
        if event.findtext("{*}linkingObjectIdentifier/{*}linkingObjectIdentifierValue") == IDS[0]
    ]
    assert told == [
        ("fixity check", "fail", False),
        ("recovery", "success", True),
        ("fixity check", "success", False),
    ]
    assert "The whole object" in (lost.folder / "reports" / "audit.html").read_text(encoding="utf-8")


def test_a_lost_object_is_brought_back_into_object_storage(
    world: World, object_store: Callable[[], ObjectStore]
) -> None:
    store = object_store()
    for path, data in every_file(world.root):
        store.put(path, data)
    world.store = store
    world.run()
    for entry in tuple(store.walk(PLACE)):
        store.delete(entry.path)
    assert mend_of(repaired(world)).is_mended
    assert {each.path for each in store.walk()} == set(files_of(world))
    assert world.run().exit_status is ExitStatus.DONE
