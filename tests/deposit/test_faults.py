"""Whatever fails while a bag is deposited: nothing is lost, and nothing is called safe that is not."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import stat
import subprocess
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline import files
from pipeline.deposit import finish_abandoned, open_or_make, open_root, retrieve
from pipeline.errors import FixityError, PipelineError, StoreError
from pipeline.ocfl.layouts import layout_of
from pipeline.ocfl.locking import Note, key_of, read_note
from pipeline.specs import ocfl
from pipeline.stores import FolderStore, ObjectStore, Patience
from pipeline.stores.folder import is_locked
from tests.deposit.world import (
    DEAD,
    NOW,
    OBJECT,
    SECOND,
    contents,
    errors,
    make_bag,
    nothing_is_left,
    put,
    request,
)
from tests.object_storage import Fault, FaultyStorage, failing

PLACE = layout_of(ocfl.HASHED).path(OBJECT)
QUICK = Patience(attempts=1, first_pause_s=0.01, connecting_s=10, silence_s=20, request_s=30)


@pytest.fixture
def store(tmp_path: Path) -> FolderStore:
    """A store with one version."""
    made = FolderStore(tmp_path / "disk" / "store")
    put(made, make_bag(tmp_path / "first"))
    return made


@pytest.fixture
def later(tmp_path: Path) -> Path:
    return make_bag(tmp_path / "second", SECOND)


def is_as_before(store: FolderStore, tmp_path: Path) -> bool:
    """True if the first version alone is there, whole."""
    retrieve(open_root(store), OBJECT, tmp_path / "out")
    return contents(tmp_path / "out") == contents(tmp_path / "first") and errors(store) == []


# -------------------------------------------------------------------------------------------- killing


def killed(tmp_path: Path, times: int, seed: int) -> dict[str, int]:
    done = subprocess.run(
        [sys.executable, "-m", "tests.deposit.killing", str(tmp_path), str(times), str(seed)],
        capture_output=True,
        check=True,
        text=True,
    )
    counts = json.loads(done.stdout)
    assert counts.pop("wrong") == []
    assert counts["killed"] == times
    return dict(counts)


def test_deposits_that_are_killed_are_finished_or_taken_away(tmp_path: Path) -> None:
    killed(tmp_path, 6, 1)


@pytest.mark.large
def test_deposits_that_are_killed_at_two_hundred_instants(tmp_path: Path) -> None:
    counts = killed(tmp_path, 200, 2)
    assert all(counts[each] for each in ("nothing was visible", "was finished", "was whole"))


# ------------------------------------------------------- what a kill leaves, one state after another


def half_done(store: FolderStore, later: Path, tmp_path: Path) -> Path:
    """Deposit a second version in a copy of the store, and return the object with it."""
    copy = FolderStore(tmp_path / "copy")
    put(copy, tmp_path / "first")
    put(copy, later)
    return copy.folder / PLACE


def leave(source: Path, store: FolderStore, *names: str) -> None:
    for name in names:
        (source / name).replace(store.folder / PLACE / name)


@pytest.mark.parametrize(
    "names", [("v2",), ("v2", "inventory.json.sha512"), ("v2", "inventory.json.sha512", "inventory.json")]
)
def test_a_whole_version_is_finished(
    store: FolderStore, later: Path, tmp_path: Path, names: tuple[str, ...]
) -> None:
    leave(half_done(store, later, tmp_path), store, *names)
    done = put(store, later)
    assert (done.version, done.is_new) == ("v2", False)
    assert len(done.remarks) == (len(names) < 3)
    assert errors(store) == []
    assert nothing_is_left(store)


def test_an_inventory_before_its_digest_file_is_finished(
    store: FolderStore, later: Path, tmp_path: Path
) -> None:
    leave(half_done(store, later, tmp_path), store, "v2", "inventory.json")
    assert put(store, later).version == "v2"
    assert errors(store) == []


def test_a_version_that_is_not_whole_is_set_aside(store: FolderStore, later: Path, tmp_path: Path) -> None:
    leave(half_done(store, later, tmp_path), store, "v2")
    (store.folder / PLACE / "v2" / "content" / "bag" / "data" / "notes.txt").write_bytes(b"half")
    done = put(store, later)
    assert (done.version, done.is_new) == ("v2", True)
    assert "set aside" in done.remarks[0]
    aside = store.beside(".set-aside").folder / PLACE / "v2.1"
    assert (aside / "content" / "bag" / "data" / "notes.txt").read_bytes() == b"half"
    assert len(list((store.folder / PLACE / "logs").iterdir())) == 1
    assert errors(store) == []


def test_empty_folders_are_swept_away(store: FolderStore, later: Path) -> None:
    other = "urn:example:other"
    (store.folder / layout_of(ocfl.HASHED).path(other)).parent.mkdir(parents=True)
    lock = store.beside(".staging").folder / key_of(layout_of(ocfl.HASHED).path(other)) / "lock"
    lock.parent.mkdir(parents=True)
    note = {"object_id": other, "place": layout_of(ocfl.HASHED).path(other), "host": "here", "pid": DEAD}
    lock.write_text(json.dumps({**note, "started": "2026-03-09T12:00:00Z"}))
    assert errors(store) != []
    assert list(finish_abandoned(store, host="here", now=NOW)) == []
    assert errors(store) == []
    assert nothing_is_left(store)


# --------------------------------------------------------------------------------------- two at once


def test_of_two_at_once_one_wins_and_the_other_is_told(tmp_path: Path) -> None:
    store = FolderStore(tmp_path / "store")
    open_or_make(store, None)
    bags = [make_bag(tmp_path / name, {"name": name.encode()}) for name in "abcd"]
    barrier, said = threading.Barrier(len(bags)), []

    def deposit(bag: Path) -> None:
        barrier.wait()
        try:
            said.append(put(store, bag).version)
        except StoreError as error:
            said.append("told" if "is being deposited by" in error.message else error.message)

    threads = [threading.Thread(target=deposit, args=(bag,)) for bag in bags]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    versions = sorted(each for each in said if each != "told")
    assert versions == [f"v{number}" for number in range(1, len(versions) + 1)]
    assert versions
    assert errors(store) == []
    assert nothing_is_left(store)


def test_two_names_of_one_folder_have_one_lock(store: FolderStore, later: Path, tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(store.folder)
    folder = store.beside(".staging").folder / key_of(PLACE)
    folder.mkdir(parents=True)
    with (folder / "lock").open("wb") as lock:
        assert is_locked(lock)
        with pytest.raises(StoreError, match="is being written by another process"):
            put(FolderStore(tmp_path / "link"), later)


def test_a_lock_of_another_machine_is_left_unless_it_is_taken_over(store: FolderStore, later: Path) -> None:
    lock = store.beside(".staging").folder / key_of(PLACE) / "lock"
    lock.parent.mkdir(parents=True)
    note = {
        "object_id": OBJECT,
        "place": PLACE,
        "host": "elsewhere",
        "pid": 7,
        "started": "2026-03-09T12:00:00Z",
    }
    lock.write_text(json.dumps(note))
    with pytest.raises(StoreError, match=r"process 7 on elsewhere, since 2026-03-09T12:00:00Z.*--take-over"):
        put(store, later)
    assert lock.exists()
    assert put(store, later, replace(request(), take_over=True)).version == "v2"
    assert nothing_is_left(store)


# --------------------------------------------------------------------------------------------- disks


class Full:
    """Lets so many writes go well, then the disk is full, or whatever else is wanted."""

    def __init__(self, real: Callable[..., object], number: int, error: int) -> None:
        self._real, self._left, self._error = real, number, error

    def __call__(self, *args: object, **further: object) -> object:
        self._left -= 1
        if self._left < 0:
            raise OSError(self._error, os.strerror(self._error))
        return self._real(*args, **further)


@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EDQUOT, errno.EIO])
@pytest.mark.parametrize("number", [0, 2])
def test_a_disk_that_fails_is_told_and_nothing_is_lost(
    store: FolderStore,
    later: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    error: int,
    number: int,
) -> None:
    with monkeypatch.context() as patched:
        patched.setattr(files, "write_all", Full(files.write_all, number, error))
        with pytest.raises(StoreError, match=os.strerror(error)):
            put(store, later)
    assert nothing_is_left(store)
    assert is_as_before(store, tmp_path)
    assert put(store, later).version == "v2"


@pytest.mark.parametrize("number", range(3))
def test_a_permission_that_is_lost_half_way_is_told_and_nothing_is_lost(
    store: FolderStore, later: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    """The version's folder, the digest file and the inventory are renamed into place one after another."""
    with monkeypatch.context() as patched:
        refuse = Full(lambda: None, number, errno.EACCES)
        for name in ("rename", "replace"):
            real = getattr(Path, name)
            patched.setattr(Path, name, lambda self, to, real=real: (refuse(), real(self, to))[1])
        with pytest.raises(StoreError, match="ask for the permission"):
            put(store, later)
    if number == 0:
        assert is_as_before(store, tmp_path)
    done = put(store, later)
    assert (done.version, done.is_new) == ("v2", number == 0)
    assert errors(store) == []
    assert nothing_is_left(store)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of its own with a megabyte; needs the right to mount."""
    place = tmp_path / "small"
    place.mkdir()
    if sys.platform != "linux" or os.geteuid():
        pytest.skip("may not mount")
    mounting = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(place)]
    if subprocess.run(mounting, capture_output=True, check=False).returncode:
        pytest.skip("may not mount")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def test_a_full_disk_is_told_and_nothing_is_lost(small_disk: Path, tmp_path: Path) -> None:
    store = FolderStore(small_disk / "store")
    put(store, make_bag(tmp_path / "first", {"a": bytes(100_000)}))
    with pytest.raises(StoreError, match=r"No space left.*make room"):
        put(store, make_bag(tmp_path / "large", {"a": bytes(2_000_000)}))
    assert nothing_is_left(store)
    assert errors(store) == []
    assert put(store, make_bag(tmp_path / "second", {"a": b"x"})).version == "v2"
    assert errors(store) == []


def test_a_read_only_disk_is_told(small_disk: Path, tmp_path: Path) -> None:
    store = FolderStore(small_disk / "store")
    bag = make_bag(tmp_path / "first")
    put(store, bag)
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    with pytest.raises(StoreError, match="mounted read-only"):
        put(store, make_bag(tmp_path / "second", SECOND))
    assert is_as_before(store, tmp_path)


def test_a_store_that_is_a_disk_of_its_own_is_refused(small_disk: Path, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="one file system"):
        put(FolderStore(small_disk), make_bag(tmp_path / "first"))


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is forbidden to root")
def test_a_folder_that_may_not_be_written_is_told(store: FolderStore, later: Path, tmp_path: Path) -> None:
    store.folder.parent.chmod(stat.S_IRUSR | stat.S_IXUSR)
    try:
        with pytest.raises(StoreError, match="ask for the permission"):
            put(store, later)
    finally:
        store.folder.parent.chmod(stat.S_IRWXU)
    assert is_as_before(store, tmp_path)


def test_bytes_that_come_out_otherwise_than_they_went_in_are_found(
    store: FolderStore, later: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk, or the way to it, that flips a bit and says that all went well."""

    def flip(file: object, data: memoryview) -> None:
        damaged = bytes([data[0] ^ 1]) + bytes(data[1:])
        file.write(damaged)  # type: ignore[attr-defined]

    with monkeypatch.context() as patched:
        patched.setattr(files, "write_all", flip)
        with pytest.raises(FixityError, match="not what it should be"):
            put(store, later)
    assert nothing_is_left(store)
    assert is_as_before(store, tmp_path)


class Stopped:
    """A person who stops the work when so much of it is done."""

    def __init__(self, after: int) -> None:
        self._left = after

    def start(self, task: str, *, total: int) -> None: ...

    def advance(self, amount: int = 1, *, size_bytes: int = 0) -> None:
        self._left -= amount
        if self._left < 0:
            raise KeyboardInterrupt

    def say(self, message: str) -> None: ...

    def finish(self) -> None: ...


@pytest.mark.parametrize("after", [0, 2, 5])
def test_a_deposit_that_is_stopped_leaves_nothing(
    store: FolderStore, later: Path, tmp_path: Path, after: int
) -> None:
    with pytest.raises(KeyboardInterrupt):
        put(store, later, progress=Stopped(after))
    assert nothing_is_left(store)
    assert is_as_before(store, tmp_path)


# ------------------------------------------------------------------------------------ object storage


@pytest.fixture
def faulty(bucket: str, s3_endpoint: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[FaultyStorage]:
    with failing(s3_endpoint) as storage:
        monkeypatch.setenv("AWS_ENDPOINT_URL", storage.endpoint)
        yield storage


class Gone:
    """A storage that answers so many requests, then none: what a kill or a cut cable leaves."""

    def __init__(self, requests: int) -> None:
        self._left = requests

    def __call__(self, method: str, path: str) -> Fault | None:
        self._left -= 1
        return Fault(method=method, status=500) if self._left < 0 else None


Empty = Callable[[], ObjectStore]
"""Gives empty stores, all in one bucket, past what fails."""


def through_proxy(store: ObjectStore) -> ObjectStore:
    """The same store, as the environment's endpoint shows it."""
    bucket, _, prefix = store.url.removeprefix("s3://").partition("/")
    return ObjectStore(bucket, prefix, patience=QUICK)


def requests_of_a_deposit(faulty: FaultyStorage, store: ObjectStore, tmp_path: Path) -> int:
    put(store, tmp_path / "first")
    before = len(faulty.asked)
    put(store, tmp_path / "second")
    return len(faulty.asked) - before


def ends_well_wherever_it_is_cut(
    faulty: FaultyStorage, empty: Empty, tmp_path: Path, cuts: Callable[[int], Iterable[int]]
) -> None:
    """Cut deposits of a first and of a second version after some request; let the next ones finish."""
    make_bag(tmp_path / "first")
    make_bag(tmp_path / "second", SECOND)
    for cut in cuts(requests_of_a_deposit(faulty, through_proxy(empty()), tmp_path)):
        store = empty()
        cut_off = through_proxy(store)
        open_or_make(store, None)
        for number, name in enumerate(("first", "second"), 1):
            faulty.judge = Gone(cut)
            with contextlib.suppress(PipelineError):
                put(cut_off, tmp_path / name, request(pid=DEAD))
            assert put(store, tmp_path / name).version == f"v{number}"
            assert errors(store) == [], cut
            assert nothing_is_left(store), cut
            out = tmp_path / f"out-{cut}-{number}"
            retrieve(open_root(store), OBJECT, out)
            assert contents(out) == contents(tmp_path / name)


def test_deposits_to_storage_that_goes_away_are_finished_by_the_next(
    faulty: FaultyStorage, object_store: Empty, tmp_path: Path
) -> None:
    ends_well_wherever_it_is_cut(faulty, object_store, tmp_path, lambda count: (count // 2, count - 4))


@pytest.mark.large
def test_deposits_to_storage_that_goes_away_after_any_request(
    faulty: FaultyStorage, object_store: Empty, tmp_path: Path
) -> None:
    ends_well_wherever_it_is_cut(faulty, object_store, tmp_path, range)


@pytest.mark.parametrize("share", [0.5, 0.8])
def test_what_was_cut_off_in_storage_is_finished_by_the_next_deposit_of_anything(
    faulty: FaultyStorage, object_store: Empty, tmp_path: Path, share: float
) -> None:
    make_bag(tmp_path / "first")
    make_bag(tmp_path / "second", SECOND)
    requests = requests_of_a_deposit(faulty, through_proxy(object_store()), tmp_path)
    store = object_store()
    put(store, tmp_path / "first")
    faulty.judge = Gone(int(requests * share))
    with pytest.raises(PipelineError):
        put(through_proxy(store), tmp_path / "second", request(pid=DEAD))
    assert list(finish_abandoned(store, host="elsewhere", now=NOW)) == []
    assert not nothing_is_left(store)
    said = list(finish_abandoned(store, host="here", now=NOW))
    assert len(said) <= 1
    assert errors(store) == []
    assert nothing_is_left(store)


def test_what_was_cut_off_is_left_where_two_writers_are_not_kept_apart(
    faulty: FaultyStorage, object_store: Empty, tmp_path: Path
) -> None:
    store = object_store()
    put(store, make_bag(tmp_path / "first"))
    store.put(f"{PLACE}/v2/content/bag/data/notes.txt", b"half")
    note = Note(
        object_id=OBJECT, place=PLACE, host="here", pid=DEAD, started="2026-03-09T12:00:00Z", version="v2"
    )
    lock = f"{key_of(PLACE)}/lock"
    store.beside(".staging").put(lock, note.to_bytes())
    faulty.faults.append(Fault(method="PUT", header="If-None-Match", status=501, times=99))
    assert list(finish_abandoned(through_proxy(store), host="here", now=NOW)) == []
    assert store.exists(f"{PLACE}/v2/content/bag/data/notes.txt")
    left = read_note(store.beside(".staging").read(lock, limit_bytes=9999))
    assert left is not None
    assert (left.version, left.is_left) == ("v2", True)
    assert put(store, make_bag(tmp_path / "second", SECOND)).version == "v2"
    assert errors(store) == []


def test_nothing_is_removed_from_storage_without_a_note_of_who_left_it(
    object_store: Empty, tmp_path: Path
) -> None:
    store = object_store()
    put(store, make_bag(tmp_path / "first"))
    store.put(f"{PLACE}/v2/content/bag/data/notes.txt", b"from somewhere")
    with pytest.raises(StoreError, match="no interrupted deposit is known"):
        put(store, make_bag(tmp_path / "second", SECOND))
    assert store.exists(f"{PLACE}/v2/content/bag/data/notes.txt")


def test_a_lock_in_storage_is_left_unless_it_is_taken_over(object_store: Empty, tmp_path: Path) -> None:
    store = object_store()
    note = {
        "object_id": OBJECT,
        "place": PLACE,
        "host": "elsewhere",
        "pid": 7,
        "started": "2026-03-09T12:00:00Z",
    }
    store.beside(".staging").put(f"{key_of(PLACE)}/lock", json.dumps(note).encode())
    bag = make_bag(tmp_path / "first")
    with pytest.raises(StoreError, match=r"process 7 on elsewhere.*--take-over"):
        put(store, bag)
    assert put(store, bag, replace(request(), take_over=True)).version == "v1"
    assert nothing_is_left(store)


def test_storage_without_conditional_writes_is_told(
    faulty: FaultyStorage, bucket: str, tmp_path: Path
) -> None:
    faulty.faults.append(Fault(method="PUT", header="If-None-Match", status=501, times=99))
    done = put(ObjectStore(bucket, "store", patience=QUICK), make_bag(tmp_path / "first"))
    assert any("no conditional writes" in each for each in done.remarks)


def test_a_lock_that_somebody_else_took_stops_a_deposit(
    faulty: FaultyStorage, bucket: str, tmp_path: Path
) -> None:
    """As may happen in storage without conditional writes, or after --take-over."""
    store = ObjectStore(bucket, "store", patience=QUICK)
    lock = f"{key_of(PLACE)}/lock"
    other = ObjectStore(bucket, "store.staging", patience=QUICK)
    theirs = b'{"host": "elsewhere"}'
    faulty.faults.append(Fault(method="PUT", part_of_path="notes.txt", then=lambda: other.put(lock, theirs)))
    with pytest.raises(StoreError, match="somebody else too"):
        put(store, make_bag(tmp_path / "first"))
    assert not store.exists(f"{PLACE}/inventory.json")
    assert other.read(lock, limit_bytes=99) == theirs


def test_damage_on_the_way_from_storage_is_found(faulty: FaultyStorage, bucket: str, tmp_path: Path) -> None:
    store = ObjectStore(bucket, "store", patience=QUICK)
    faulty.faults.append(Fault(method="PUT", part_of_path="notes.txt", flips=True))
    with pytest.raises(FixityError) as raised:
        put(store, make_bag(tmp_path / "first"))
    assert [each.where for each in raised.value.problems] == ["v1/content/bag/data/notes.txt"]
    assert nothing_is_left(store)
    assert put(store, tmp_path / "first").version == "v1"
