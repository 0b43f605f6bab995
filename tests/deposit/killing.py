"""Kills deposits with SIGKILL at random instants, lets the next one finish, and proves what is there.

Run as a program of its own: it forks, which a process with threads should not do. It prints what it did, as
JSON, and what was wrong, if anything.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import random
import shutil
import signal
import sys
import time
from pathlib import Path

from pipeline.deposit import finish_abandoned, open_or_make, open_root, retrieve
from pipeline.errors import PipelineError
from pipeline.stores import FolderStore
from tests.deposit.world import (
    NOW,
    OBJECT,
    contents,
    errors,
    make_bag,
    nothing_is_left,
    outside_errors,
    put,
    request,
)

VERSIONS_IN_A_STORE = 12


def main(folder: Path, times: int, seed: int) -> dict[str, object]:
    """Kill so many deposits; return how far they had come."""
    chance = random.Random(seed)
    store = FolderStore(folder / "store")
    deposited: list[Path] = []
    counts = {"killed": 0, "nothing was visible": 0, "was finished": 0, "was whole": 0, "ended before": 0}
    wrong: list[str] = []
    number, takes_s = 0, 0.1
    while counts["killed"] < times:
        number += 1
        if len(deposited) >= VERSIONS_IN_A_STORE:
            shutil.rmtree(store.folder)
            deposited = []
        bag = make_bag(folder / f"bag-{number}", _payload(chance, number))
        if not _killed(store, bag, number, chance.uniform(0, 1.1 * takes_s)):
            counts["ended before"] += 1
        else:
            counts["killed"] += 1
            before = _head(store)
            said = _finish(store)
            after = _head(store)
            state = (
                "nothing was visible"
                if after < len(deposited) + 1
                else ("was finished" if said else "was whole")
            )
            counts[state] += 1
            if after < before or after not in (len(deposited), len(deposited) + 1):
                wrong.append(f"{number}: v{before} became v{after}, expected v{len(deposited)} or the next")
        started, seen = time.monotonic(), _head(store)
        _in_child(store, bag, number)
        if _head(store) > seen:
            takes_s = time.monotonic() - started
        deposited.append(bag)
        wrong += [f"{number}: {each}" for each in _wrong(store, deposited, folder)]
        if wrong:
            break
    return {**counts, "wrong": wrong}


def _payload(chance: random.Random, number: int) -> dict[str, bytes]:
    """A few files, some of them as in other bags."""
    return {
        "masters/always.raw": b"always the same",
        f"masters/{number}.raw": chance.randbytes(chance.choice([10, 3_000_000])),
        "notes.txt": str(number).encode(),
    }


def _killed(store: FolderStore, bag: Path, number: int, after_s: float) -> bool:
    """Begin a deposit in a process, and kill it so long after; True if it had not ended."""
    ready, told = os.pipe()
    child = os.fork()
    if not child:
        os.write(told, b"x")
        os._exit(_status(store, bag, number))
    os.read(ready, 1)
    os.close(ready)
    os.close(told)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


def _in_child(store: FolderStore, bag: Path, number: int) -> None:
    """Deposit to the end, in a process without what earlier ones left in memory."""
    child = os.fork()
    if not child:
        os._exit(_status(store, bag, number))
    assert os.waitpid(child, 0)[1] == 0


def _status(store: FolderStore, bag: Path, number: int) -> int:
    try:
        list(finish_abandoned(store, host="here", now=NOW))
        put(store, bag, request(now=NOW + dt.timedelta(days=number)))
    except PipelineError as error:
        print(error, file=sys.stderr)
        return int(error.exit_status)
    return 0


def _finish(store: FolderStore) -> list[str]:
    """Do what the next deposit of any bundle does first."""
    return list(finish_abandoned(store, host="here", now=NOW))


def _head(store: FolderStore) -> int:
    """How many versions a reader sees."""
    try:
        place = open_root(store).layout.path(OBJECT)
        return len(json.loads(store.read(f"{place}/inventory.json", limit_bytes=1 << 24))["versions"])
    except PipelineError:
        return 0


def _wrong(store: FolderStore, deposited: list[Path], folder: Path) -> list[str]:
    """What is not as it must be when a deposit was finished."""
    wrong = [*errors(store), *outside_errors(store)]
    if not nothing_is_left(store) or (folder / "store.staging").exists():
        wrong.append("something is left beside the store")
    if _head(store) != len(deposited):
        wrong.append(f"v{_head(store)}, expected v{len(deposited)}")
    for version in {1, len(deposited)}:
        out = folder / "out"
        shutil.rmtree(out, ignore_errors=True)
        retrieve(open_root(store), OBJECT, out, version=f"v{version}")
        if contents(out) != contents(deposited[version - 1]):
            wrong.append(f"v{version} is not what was deposited")
    return wrong


if __name__ == "__main__":
    open_or_make(FolderStore(Path(sys.argv[1]) / "store"), None)
    print(json.dumps(main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))))
