"""Retrievals that are interrupted: what they leave is gone on with, told, and never anybody else's."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import pytest

from pipeline import files
from pipeline.deposit import Retrieved, open_root, retrieve
from pipeline.errors import InputError, Interrupted, StoreError, ToolError
from pipeline.stores import FolderStore
from tests.deposit.world import OBJECT, contents, make_bag, put

PAYLOAD = {f"masters/{number:02}.raw": bytes([number]) * 1000 for number in range(12)}


class Said:
    """Keeps what is said."""

    def __init__(self) -> None:
        self.lines: list[str] = []

    def start(self, task: str, *, total: int) -> None: ...
    def advance(self, amount: int = 1, *, size_bytes: int = 0) -> None: ...
    def finish(self) -> None: ...
    def say(self, message: str) -> None:
        self.lines.append(message)


class Counting(FolderStore):
    """A store that gives so many files of the bag, then fails."""

    def __init__(self, folder: Path, *, gives: int = 1000, error: BaseException | None = None) -> None:
        super().__init__(folder)
        self.opened: list[str] = []
        self._gives, self._failure = gives, error or StoreError("the network is gone")

    def open(self, path: str) -> BinaryIO:
        if "/content/bag/" in path:
            self.opened.append(path)
            if len(self.opened) > self._gives:
                raise self._failure
        return super().open(path)


@pytest.fixture
def bag(tmp_path: Path) -> Path:
    return make_bag(tmp_path / "bag", PAYLOAD)


@pytest.fixture
def store(tmp_path: Path, bag: Path) -> Counting:
    put(FolderStore(tmp_path / "store"), bag)
    return Counting(tmp_path / "store")


def got(store: FolderStore, folder: Path) -> tuple[Retrieved, list[str]]:
    said = Said()
    return retrieve(open_root(store), OBJECT, folder, progress=said), said.lines


def hidden(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir() if path.name.startswith(".")]


@pytest.mark.parametrize(
    ("error", "raised"), [(StoreError("the network is gone"), StoreError), (KeyboardInterrupt(), Interrupted)]
)
def test_a_retrieval_goes_on_where_it_was_interrupted(
    store: Counting, bag: Path, tmp_path: Path, error: BaseException, raised: type[Exception]
) -> None:
    failing = Counting(store.folder, gives=6, error=error)
    with pytest.raises(raised, match=r"what was copied is kept beside .*and the same command goes on"):
        got(failing, tmp_path / "out")
    assert not (tmp_path / "out").exists()
    _, lines = got(store, tmp_path / "out")
    assert "goes on where a retrieval was interrupted" in lines[0]
    assert len(store.opened) <= len(contents(bag)) - 6
    assert contents(tmp_path / "out") == contents(bag)
    assert hidden(tmp_path) == []


def test_what_is_nothing_to_go_on_with_is_not_kept(store: Counting, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"network is gone$"):
        got(Counting(store.folder, gives=0), tmp_path / "out")
    assert hidden(tmp_path) == []


def interrupted(store: Counting, folder: Path) -> Path:
    """Leave what an interrupted retrieval leaves, and return where."""
    with pytest.raises(StoreError):
        got(Counting(store.folder, gives=6), folder)
    return folder.with_name(f".{folder.name}.retrieving")


@pytest.mark.parametrize("harm", ["half", "other bytes", "a file too many", "a link", "of something else"])
def test_nothing_wrong_that_was_left_comes_into_the_bag(
    store: Counting, bag: Path, tmp_path: Path, harm: str
) -> None:
    making = interrupted(store, tmp_path / "out")
    one = next(path for path in sorted((making / "bag").rglob("*.raw")))
    if harm == "half":
        one.write_bytes(one.read_bytes()[:500])
    elif harm == "other bytes":
        one.write_bytes(b"\xff" * 1000)
    elif harm == "a file too many":
        one.with_name("more.raw").write_bytes(b"x")
    elif harm == "a link":
        target = tmp_path / "elsewhere"
        target.write_bytes(one.read_bytes())
        one.unlink()
        one.symlink_to(target)
    else:
        note = making / "retrieval.json"
        note.write_text(json.dumps({**json.loads(note.read_text()), "version": "v7"}))
    got(store, tmp_path / "out")
    assert contents(tmp_path / "out") == contents(bag)
    assert not any(path.is_symlink() for path in (tmp_path / "out").rglob("*"))
    assert hidden(tmp_path) == []


@pytest.mark.parametrize("left", [(), (".lock",), (".lock", ".retrieval.json.7.part")])
def test_what_was_hardly_begun_is_no_hindrance(
    store: Counting, bag: Path, tmp_path: Path, left: tuple[str, ...]
) -> None:
    making = tmp_path / ".out.retrieving"
    making.mkdir()
    for name in left:
        (making / name).touch()
    got(store, tmp_path / "out")
    assert contents(tmp_path / "out") == contents(bag)


def test_the_folder_that_one_stands_in_is_no_place(
    store: Counting, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    with pytest.raises(InputError, match="give the name of a new folder"):
        got(store, Path())
    got(store, Path("new"))
    assert (tmp_path / "here" / "new" / "bagit.txt").exists()


def test_what_no_retrieval_left_is_never_removed(store: Counting, tmp_path: Path) -> None:
    theirs = tmp_path / ".out.retrieving" / "thesis.txt"
    theirs.parent.mkdir()
    theirs.write_text("years of work")
    with pytest.raises(InputError, match=r"\.out\.retrieving: is in the way, and no retrieval left it"):
        got(store, tmp_path / "out")
    assert theirs.read_text() == "years of work"


def test_two_retrievals_to_one_place_do_not_mix(store: Counting, tmp_path: Path) -> None:
    making = interrupted(store, tmp_path / "out")
    before = contents(making)
    with files.locked(making), pytest.raises(ToolError, match="another run is at work on this retrieval"):
        got(store, tmp_path / "out")
    assert contents(making) == before


def test_what_another_retrieval_left_is_told_and_stays(store: Counting, tmp_path: Path) -> None:
    making = interrupted(store, tmp_path / "first")
    before = contents(making / "bag")
    _, lines = got(store, tmp_path / "second")
    assert lines == [
        f"{making}: was left by an interrupted retrieval of v1 of {OBJECT} from {store.url}; retrieve that "
        "to first again to go on, or remove this folder"
    ]
    assert contents(making / "bag") == before


def test_the_rest_of_a_retrieval_that_had_ended_is_swept_away(store: Counting, tmp_path: Path) -> None:
    making = interrupted(store, tmp_path / "first")
    (making / "bag").rename(tmp_path / "first")
    assert got(store, tmp_path / "second")[1] == []
    assert hidden(tmp_path) == []


_KILLED = """
import sys, time
from pathlib import Path
from pipeline.deposit import open_root, retrieve
from pipeline.stores import FolderStore
from tests.deposit.world import OBJECT
class Slow(FolderStore):
    def open(self, path):
        time.sleep(0.02)
        return super().open(path)
retrieve(open_root(Slow(Path(sys.argv[1]))), OBJECT, Path(sys.argv[2]))
"""


def kills(folder: Path, store: FolderStore) -> Iterator[int]:
    """Kill retrievals later and later after they began to make something."""
    for wait_s in (0.0, 0.03, 0.06):
        process = subprocess.Popen([sys.executable, "-c", _KILLED, str(store.folder), str(folder)])
        deadline = time.monotonic() + 20
        while not folder.with_name(f".{folder.name}.retrieving").exists() and time.monotonic() < deadline:
            time.sleep(0.002)
        time.sleep(wait_s)
        process.send_signal(signal.SIGKILL)
        yield process.wait()


def test_retrievals_that_are_killed_are_gone_on_with(store: Counting, bag: Path, tmp_path: Path) -> None:
    assert -signal.SIGKILL in list(kills(tmp_path / "out", store))
    if not (tmp_path / "out").exists():
        got(store, tmp_path / "out")
    assert contents(tmp_path / "out") == contents(bag)
    assert hidden(tmp_path) == []
