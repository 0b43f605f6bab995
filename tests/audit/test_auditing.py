"""Runs of an audit: what is called intact, damaged, unread; what survives; nothing falsely called safe."""

from __future__ import annotations

import datetime as dt
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.audit.values import Condition
from pipeline.errors import ExitStatus, InputError, Interrupted, StoreError
from pipeline.stores import FolderStore
from tests import make_ocfl
from tests.audit.world import F1R, IDS, START, Broken, Failing, Unlistable, World, every_file
from tests.make_ocfl import flip, two_versions

DAY = dt.timedelta(days=1)


def test_a_good_store_is_intact_and_every_byte_of_content_was_read(world: World) -> None:
    done = world.run()
    assert done.exit_status is ExitStatus.DONE
    assert world.conditions() == dict.fromkeys(IDS, Condition.INTACT)
    content = sum(path.stat().st_size for path in world.root.rglob("v?/content/**/*") if path.is_file())
    assert done.read_bytes == content
    assert done.outcomes == ()
    assert {each.proved_at for each in world.known().values()} == {"2031-06-01T02:00:00Z"}


def test_nothing_in_the_store_is_changed(world: World) -> None:
    before = dict(every_file(world.root))
    flip(world.at(0, F1R))
    changed = dict(every_file(world.root))
    world.run(replica=FolderStore(world.copy_root))
    assert dict(every_file(world.root)) == changed != before


# ------------------------------------------------------------------------------------------- damage


@pytest.mark.parametrize(
    ("path", "code"),
    [
        (F1R, "E092"),
        ("inventory.json", "E060"),
        ("inventory.json.sha512", "E060"),
        ("v1/inventory.json", "E060"),
        ("v1/inventory.json.sha512", "E060"),
        ("v2/inventory.json.sha512", "E060"),
    ],
)
def test_a_flipped_bit_is_damage_of_that_object_and_file(world: World, path: str, code: str) -> None:
    flip(world.at(1, path), at=0.2)
    done = world.run()
    assert done.exit_status is ExitStatus.FIXITY
    assert world.conditions() == {**dict.fromkeys(IDS, Condition.INTACT), IDS[1]: Condition.DAMAGED}
    (outcome,) = done.outcomes
    found = [each for each in outcome.report.findings if each.code in (code, "E061")]
    assert found
    assert found[0].place.startswith(path.removesuffix(".sha512"))


@pytest.mark.parametrize(
    ("path", "code"),
    [
        (F1R, "E092"),
        ("v2/content/bagit.txt", "E016"),
        ("inventory.json", "E063"),
        ("inventory.json.sha512", "E058"),
        ("v1/inventory.json", "K003"),
    ],
)
def test_a_vanished_file_is_loss(world: World, path: str, code: str) -> None:
    world.run()
    world.at(2, path).unlink()
    done = world.run()
    assert done.exit_status is ExitStatus.FIXITY
    assert world.conditions()[IDS[2]] is Condition.DAMAGED
    assert code in done.outcomes[0].report.codes


@pytest.mark.parametrize("path", ["notes.txt", "v1/notes.txt", "v1/content/data/notes.txt"])
def test_a_surprise_file_is_a_structural_fault_and_stays(world: World, path: str) -> None:
    world.at(3, path).write_text("who wrote this?")
    done = world.run(replica=FolderStore(world.copy_root), repairs=True)
    assert done.exit_status is ExitStatus.WANTING
    assert world.conditions()[IDS[3]] is Condition.FAULTY
    assert world.at(3, path).exists()


def test_a_damaged_object_does_not_count_as_proved(world: World) -> None:
    world.run()
    flip(world.at(0, F1R))
    world.time.now += DAY
    world.run()
    known = world.known()[IDS[0]]
    assert (known.condition, known.proved_at) == ("damaged", "2031-06-01T02:00:00Z")


@settings(max_examples=12)
@given(st.data())
def test_any_flipped_byte_of_an_object_is_found(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    world = World(tmp_path_factory.mktemp("any"), ids=IDS[:1])
    path = data.draw(st.sampled_from(sorted(p for p in world.at(0).rglob("*") if p.is_file())))
    content = bytearray(path.read_bytes())
    content[data.draw(st.integers(0, len(content) - 1))] ^= 1 << data.draw(st.integers(0, 7))
    path.write_bytes(content)
    # a digest file may have capitals, and blanks or none at its end: these alone mean the same
    same = path.name.startswith("inventory.json.") and path.read_bytes().lower().split() == _sidecar(path)
    assert (world.run().exit_status is ExitStatus.DONE) == same


def _sidecar(path: Path) -> list[bytes]:
    return make_ocfl.sidecar((path.parent / "inventory.json").read_bytes()).split()


# ---------------------------------------------------------------------------------- what is remembered


def test_an_object_that_is_gone_is_told_until_the_record_is_told(world: World) -> None:
    world.run()
    shutil.rmtree(world.at(0))
    for folder in (world.at(0).parent, world.at(0).parent.parent, world.at(0).parent.parent.parent):
        if not any(folder.iterdir()):
            folder.rmdir()
    for _ in range(2):
        done = world.run()
        assert done.exit_status is ExitStatus.FIXITY
        assert world.conditions()[IDS[0]] is Condition.LOST
        assert done.outcomes[0].report.codes == {"K001"}
    assert world.ask(lambda record: record.forget(IDS[0])) == 1
    assert world.run().exit_status is ExitStatus.DONE


def test_an_older_state_put_over_an_object_is_told_until_the_record_is_told(world: World) -> None:
    world.run()
    shutil.rmtree(world.at(0))
    make_ocfl.an_object(make_ocfl.FIRST, object_id=IDS[0]).write(world.at(0))
    for _ in range(2):
        done = world.run()
        assert done.exit_status is ExitStatus.FIXITY
        assert "K002" in done.outcomes[0].report.codes
    assert world.known()[IDS[0]].head == "v2"


def test_a_version_that_was_rewritten_validly_is_found(world: World) -> None:
    world.run()
    shutil.rmtree(world.at(0))
    changed = {**make_ocfl.FIRST, "data/f1r.tif": b"another page"}
    make_ocfl.an_object(changed, {**changed, "bagit.txt": b"x"}, object_id=IDS[0]).write(world.at(0))
    done = world.run()
    assert done.exit_status is ExitStatus.FIXITY
    assert done.outcomes[0].report.codes == {"K003"}


def test_a_new_version_is_no_surprise(world: World) -> None:
    world.run()
    shutil.rmtree(world.at(0))
    make_ocfl.an_object(
        make_ocfl.FIRST, make_ocfl.SECOND, {**make_ocfl.SECOND, "x": b"x"}, object_id=IDS[0]
    ).write(world.at(0))
    assert world.run().exit_status is ExitStatus.DONE
    assert world.known()[IDS[0]].head == "v3"


def test_two_objects_of_one_identifier_are_told(world: World) -> None:
    two_versions(object_id=IDS[0]).write(world.root / "aaa/bbb/ccc/ddd")
    done = world.run()
    assert "E037" in done.root.codes
    assert done.exit_status is ExitStatus.WANTING


# ------------------------------------------------------------------------------- a store that fails


def test_what_cannot_be_read_is_neither_proved_nor_damaged(world: World) -> None:
    world.run()
    world.store = Failing(world.root)
    world.store.errors[F1R] = 100
    world.time.now += DAY
    done = world.run()
    assert done.exit_status is ExitStatus.TOOL
    assert set(world.conditions().values()) == {Condition.UNREAD}
    assert all("503 Slow Down" in each.trouble[F1R] for each in done.outcomes)
    assert not any(each.report.codes for each in done.outcomes)
    assert {each.proved_at for each in world.known().values()} == {"2031-06-01T02:00:00Z"}


def test_an_inventory_that_cannot_be_read_leaves_the_object_unknown(world: World) -> None:
    world.store = Failing(world.root)
    world.store.errors[f"{make_ocfl.place_of(IDS[0])}/inventory.json"] = 5
    done = world.run()
    assert done.exit_status is ExitStatus.TOOL
    assert list(world.conditions().values()).count(Condition.UNREAD) == 1


def test_a_disk_that_gives_up_in_a_file_is_no_damage(world: World) -> None:
    world.store = Broken(world.root)
    done = world.run()
    assert done.exit_status is ExitStatus.TOOL
    assert "Input/output error" in done.outcomes[0].trouble[F1R]


def test_a_file_that_reads_differently_twice_is_no_damage(world: World) -> None:
    world.store = Failing(world.root)
    world.store.lies[f"{make_ocfl.place_of(IDS[0])}/{F1R}"] = [b"noise on the wire"]
    done = world.run()
    assert done.exit_status is ExitStatus.TOOL
    assert "was read twice and differed" in done.outcomes[0].trouble[F1R]


def test_what_could_not_be_read_comes_first_in_the_next_run(world: World) -> None:
    world.store = Failing(world.root)
    world.store.errors[f"{make_ocfl.place_of(IDS[3])}/{F1R}"] = 1
    world.run()
    world.run(is_oldest_first=True)
    assert world.outcomes[0].object_id == IDS[3]


def test_damage_is_told_although_something_else_could_not_be_read(world: World) -> None:
    flip(world.at(0, "v1/content/data/f1v.tif"))
    world.store = Failing(world.root)
    world.store.errors[f"{make_ocfl.place_of(IDS[0])}/{F1R}"] = 1
    world.run()
    assert world.conditions()[IDS[0]] is Condition.DAMAGED


PLACE = make_ocfl.place_of(IDS[0])
LEADING = PLACE.partition("/")[0]


@pytest.mark.parametrize("closed", [LEADING, PLACE, f"{PLACE}/v1", f"{PLACE}/v1/content/data"])
@pytest.mark.parametrize("is_known", [True, False])
def test_a_folder_that_cannot_be_listed_leaves_the_rest_proved(
    world: World, closed: str, is_known: bool
) -> None:
    if is_known:
        world.run()
    before = world.known().get(IDS[0])
    world.store = Unlistable(world.root, closed)
    world.time.now += DAY
    done = world.run()
    assert done.exit_status is ExitStatus.TOOL
    found = world.conditions()
    assert [found[each] for each in IDS[1:]] == [Condition.INTACT] * 3
    is_seen = closed.startswith(f"{PLACE}/")
    assert done.root.codes == (set() if is_seen else {"K010"})
    told = [*done.root.findings, *(each for each in done.outcomes)]
    assert all("Permission denied" in str(each) and closed in str(each) for each in told)
    if is_known or is_seen:
        (outcome,) = done.outcomes
        assert (outcome.place, outcome.condition) == (PLACE, Condition.UNREAD)
        assert not outcome.report.codes
    if before:
        now = world.known()[IDS[0]]
        assert (now.is_there, now.proved_at, now.condition) == (True, before.proved_at, Condition.UNREAD)
        assert done.standing.objects == 4


def test_what_could_not_be_listed_comes_first_when_it_can(world: World) -> None:
    world.run()
    world.store = Unlistable(world.root, LEADING)
    world.run()
    world.store = FolderStore(world.root)
    world.run(is_oldest_first=True)
    assert world.outcomes[0].object_id == IDS[0]
    assert world.outcomes[0].condition is Condition.INTACT


def test_a_folder_of_the_copy_that_cannot_be_listed_is_no_lack_of_objects(world: World) -> None:
    done = world.run(replica=Unlistable(world.copy_root, LEADING))
    assert done.exit_status is ExitStatus.DONE
    assert {each.object_id: set(each.report.codes) for each in done.outcomes} == {IDS[0]: {"K009"}}


@pytest.mark.parametrize("repairs", [False, True])
def test_a_copy_that_does_not_answer_does_not_keep_the_store_from_being_audited(
    world: World, repairs: bool
) -> None:
    done = world.run(replica=Unlistable(world.copy_root, ""), repairs=repairs)
    assert world.conditions() == dict.fromkeys(IDS, Condition.INTACT)
    assert done.exit_status is ExitStatus.TOOL
    assert done.root.codes == {"K009"}
    assert done.outcomes == ()


def test_what_may_lie_in_a_folder_that_cannot_be_listed_is_not_said_to_be_in_the_copy_alone(
    world: World,
) -> None:
    world.store = Unlistable(world.root, LEADING)
    assert world.run(replica=FolderStore(world.copy_root)).root.codes == {"K010"}


def test_a_layout_that_cannot_be_read_is_told(world: World) -> None:
    layout = "0004-hashed-n-tuple-storage-layout"
    (world.root / "ocfl_layout.json").write_bytes(
        make_ocfl.to_bytes({"extension": layout, "description": "x"})
    )
    config = world.root / "extensions" / layout / "config.json"
    config.parent.mkdir(parents=True, exist_ok=True)
    config.unlink(missing_ok=True)
    config.symlink_to("nowhere.json")
    done = world.run()
    assert "K011" in done.root.codes
    assert set(world.conditions().values()) == {Condition.INTACT}


def test_a_store_that_cannot_be_listed_ends_the_run_and_changes_no_record(world: World) -> None:
    world.run()
    before = world.known()
    world.store = Unlistable(world.root, "")
    with pytest.raises(StoreError, match="Permission denied"):
        world.run()
    assert world.known() == before


@pytest.mark.parametrize("kind", ["empty", "object", "other"])
def test_what_is_no_storage_root_is_refused_and_changes_no_record(world: World, kind: str) -> None:
    world.run()
    before = world.known()
    place = world.folder / "elsewhere"
    place.mkdir()
    if kind == "object":
        place = world.at(0)
    elif kind == "other":
        (place / "notes.txt").write_text("x")
    world.store = FolderStore(place)
    with pytest.raises(InputError):
        world.run()
    assert world.known() == before


def test_an_object_that_changes_while_it_is_read_is_read_again(world: World) -> None:
    place = make_ocfl.place_of(IDS[0])
    deposited = make_ocfl.an_object(
        make_ocfl.FIRST, make_ocfl.SECOND, {**make_ocfl.SECOND, "x": b"x"}, object_id=IDS[0]
    )

    class Depositing(FolderStore):
        def open(self, path: str) -> object:  # type: ignore[override]
            stream = super().open(path)
            if path == f"{place}/inventory.json" and not (self.folder / place / "v3").exists():
                deposited.write(self.folder / place)
            return stream

    world.store = Depositing(world.root)
    assert world.run().exit_status is ExitStatus.DONE
    assert world.conditions()[IDS[0]] is Condition.INTACT


# ------------------------------------------------------------------------------ budgets and interruption


def test_a_budget_ends_the_run_and_the_next_goes_on(world: World) -> None:
    world.time.step_s = 1.0
    done = world.run(budget_s=15.0)
    first = set(world.conditions())
    assert not done.is_complete
    assert 0 < len([each for each in world.outcomes if each.condition is Condition.INTACT]) < 4
    world.run()
    assert {each.object_id for each in world.outcomes[:1]}.isdisjoint(first) or done.counts.get(
        Condition.UNFINISHED
    )
    assert all(each.proved_at for each in world.known().values())


def test_an_object_larger_than_the_budget_is_proved_over_several_runs(world: World) -> None:
    big = {f"data/{number:02}.tif": bytes([number]) * 1000 for number in range(30)}
    shutil.rmtree(world.root)
    make_ocfl.a_root(world.root, make_ocfl.an_object(big, object_id=IDS[0]))
    world.time.step_s = 1.0
    read = runs = 0
    while world.known().get(IDS[0]) is None or not world.known()[IDS[0]].proved_at:
        read += world.run(budget_s=12.0, threads=1).read_bytes
        runs += 1
        assert runs < 20
    assert runs > 2
    assert read == 30_000


def test_parts_do_not_count_for_an_object_that_changed(world: World) -> None:
    big = {f"data/{number:02}.tif": bytes([number]) * 10 for number in range(30)}
    shutil.rmtree(world.root)
    place = make_ocfl.a_root(world.root, make_ocfl.an_object(big, object_id=IDS[0]))
    world.time.step_s = 1.0
    assert world.run(budget_s=12.0, threads=1).counts == {Condition.UNFINISHED: 1}
    shutil.rmtree(place)
    make_ocfl.a_root(world.root, make_ocfl.an_object({**big, "x": b"x"}, object_id=IDS[0]))
    world.time.step_s = 0.0
    assert world.run().files == 31


def test_ctrl_c_keeps_what_was_done(world: World) -> None:
    class Stopping:
        def start(self, task: str, *, total: int) -> None: ...
        def say(self, message: str) -> None: ...
        def finish(self) -> None: ...
        def advance(self, amount: int = 1, *, size_bytes: int = 0) -> None:
            if amount:
                raise KeyboardInterrupt

    from pipeline.audit.auditing import audit
    from pipeline.audit.record import opened
    from pipeline.audit.values import Options

    with pytest.raises(Interrupted, match="what came of 1 objects"), opened(world.record_file) as record:
        audit(world.store, record, Options(), clock=world.time.clock(), progress=Stopping())
    assert len([each for each in world.known().values() if each.proved_at]) == 1


_KILLED = """
import sys, time
from pathlib import Path
from tests.audit.world import World, Time
from pipeline.audit import auditing
from pipeline.audit.record import opened
from pipeline.audit.values import Clock, Options
from pipeline.stores import FolderStore
import datetime as dt
class Slow(FolderStore):
    def open(self, path):
        time.sleep(0.02)
        return super().open(path)
folder = Path(sys.argv[1])
auditing.COMMIT_EVERY_S = 0.0
with opened(folder / "record.sqlite") as record:
    now = dt.datetime(2031, 6, 1, tzinfo=dt.UTC)
    clock = Clock(now=lambda: now, seconds=time.monotonic, sleep=time.sleep)
    auditing.audit(Slow(folder / "store"), record, Options(threads=1), clock=clock)
"""


def test_a_run_that_is_killed_goes_on_where_it_was(world: World) -> None:
    proved = 0
    for wait_s in (0.3, 0.6, 0.9):
        process = subprocess.Popen([sys.executable, "-c", _KILLED, str(world.folder)])
        deadline = time.monotonic() + 20
        while not world.record_file.exists() and time.monotonic() < deadline:
            time.sleep(0.01)
        time.sleep(wait_s)
        process.send_signal(signal.SIGKILL)
        process.wait()
        now = len([each for each in world.known().values() if each.proved_at])
        assert now >= proved
        proved = now
    assert world.run().exit_status is ExitStatus.DONE
    assert all(each.proved_at for each in world.known().values())


def killed_audits(folder: Path, times: int) -> dict[str, Any]:
    program = [sys.executable, "-m", "tests.audit.killing", str(folder), str(times), "7"]
    said = subprocess.run(program, capture_output=True, check=True, cwd=Path(__file__).parent.parent.parent)
    done: dict[str, Any] = json.loads(said.stdout)
    return done


def test_audits_that_are_killed_owe_no_event_and_tell_none_twice(tmp_path: Path) -> None:
    assert killed_audits(tmp_path, 10)["wrong"] == []


@pytest.mark.large
def test_audits_that_are_killed_at_three_hundred_instants(tmp_path: Path) -> None:
    assert killed_audits(tmp_path, 300)["wrong"] == []


def test_reading_is_no_faster_than_allowed(world: World) -> None:
    done = world.run(bytes_per_s=100.0, threads=2)
    assert world.time.slept_s >= (done.read_bytes - 100) / 100.0


# --------------------------------------------------------------------------------------------- clocks


def test_a_clock_that_was_ahead_proves_nothing_until_it_is_true(world: World) -> None:
    world.time.now = START + 400 * DAY
    world.run()
    world.time.now = START
    done = world.run(sample=1)
    assert done.standing.ahead == 3
    done = world.run(within=90 * DAY)
    assert done.planned >= 3
    assert done.standing.ahead == 0


def test_a_clock_that_is_put_back_in_a_run_leaves_a_sane_record(world: World) -> None:
    class Back:
        now = START

    def now() -> dt.datetime:
        Back.now -= DAY
        return Back.now

    from pipeline.audit.auditing import audit
    from pipeline.audit.record import opened
    from pipeline.audit.values import Clock, Options

    clock = Clock(now=now, seconds=time.monotonic, sleep=time.sleep)
    with opened(world.record_file) as record:
        done = audit(world.store, record, Options(), clock=clock)
    assert done.ended >= done.started
    assert done.took_s >= 0
    order = sorted(world.known().values(), key=lambda each: each.proof)
    assert [each.proof for each in order] == sorted({each.proof for each in order})


# --------------------------------------------------------------------------------------- the schedule


def test_a_period_is_held_by_runs_of_its_share(world: World) -> None:
    days = 0
    for days in range(1, 9):
        world.time.now = START + days * DAY
        done = world.run(within=4 * DAY)
        assert done.planned <= 2
        assert not done.standing.overdue
    oldest = min(each.proved_at for each in world.known().values())
    assert oldest >= f"2031-06-0{days + 1 - 4}"


def test_a_period_that_is_not_held_is_told(world: World) -> None:
    world.run()
    world.time.now += 10 * DAY
    world.store = Failing(world.root)
    world.store.errors[F1R] = 100
    standing = world.run(within=4 * DAY).standing
    assert standing.is_behind
    assert (standing.overdue, standing.overdue_bytes) == (4, standing.size_bytes)


def test_a_sample_is_the_same_all_day_and_another_the_next(world: World) -> None:
    drawn = []
    for hours in (0, 5, 24, 48, 72):
        world.time.now = START + dt.timedelta(hours=hours)
        world.run(sample=2)
        drawn.append(tuple(sorted(world.conditions())))
    assert drawn[0] == drawn[1]
    assert len(set(drawn)) > 1
    assert all(len(each) == 2 for each in drawn)


def test_two_runs_at_once_are_refused(world: World) -> None:
    from pipeline.audit.record import opened
    from pipeline.errors import ToolError

    with opened(world.record_file), pytest.raises(ToolError, match="another audit is at work"):
        world.run()


def test_links_that_lead_out_of_the_store_are_not_followed(world: World) -> None:
    secret = world.folder / "secret.tif"
    secret.write_bytes(world.at(0, F1R).read_bytes())
    world.at(0, F1R).unlink()
    world.at(0, F1R).symlink_to(secret)
    os.utime(secret, (0, 0))
    done = world.run()
    assert "E090" in done.outcomes[0].report.codes
    assert done.exit_status is ExitStatus.WANTING
