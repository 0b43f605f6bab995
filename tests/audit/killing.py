"""Kills audits with SIGKILL at random instants, lets one end, and holds events against proofs and mends.

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
import sqlite3
import sys
import time
from collections import Counter
from pathlib import Path

from pipeline import xmldoc
from pipeline.audit import auditing, reports
from pipeline.audit.events import CHECKED
from pipeline.audit.record import opened
from pipeline.audit.reports import Reports
from pipeline.audit.values import Clock, Options
from pipeline.stores import FolderStore
from tests import make_ocfl
from tests.audit.world import F1R, START, World, every_file
from tests.make_ocfl import flip

IDS = tuple(f"urn:example:ms-{number}" for number in range(12))


def main(folder: Path, times: int, seed: int) -> dict[str, object]:
    """Kill so many audits that mend; return how many, and what is wrong after one that was not."""
    auditing.COMMIT_EVERY_S = 0.01
    reports.MOST_EVENTS = 5
    chance = random.Random(seed)
    world = World(folder, ids=IDS)
    harmed: Counter[str] = Counter()
    killed, run, takes_s = 0, 0, 0.3
    world.run()
    while killed < times:
        begun = world.ask(lambda record: record.begun_mends())
        for number in chance.sample(range(len(IDS)), 3):
            is_whole = dict(every_file(world.at(number))) == _right(world, number)
            if not is_whole or make_ocfl.place_of(IDS[number]) in begun:
                continue  # nobody could tell twice from once
            harmed[IDS[number]] += 1
            if run and chance.random() < 0.4:
                shutil.rmtree(world.at(number))
            else:
                flip(world.at(number, F1R))
        run += 1
        if _killed(world, run, chance.uniform(0, takes_s)):
            killed += 1
        else:
            takes_s *= 0.9
    _in_child(world, run + 1)
    return {"killed": killed, "runs": run + 1, "wrong": _wrong(world, harmed)}


def _right(world: World, number: int) -> dict[str, bytes]:
    return dict(every_file(world.copy_root / make_ocfl.place_of(IDS[number])))


def _killed(world: World, run: int, after_s: float) -> bool:
    """Begin an audit in a process, and kill it so long after; True if it had not ended."""
    child = os.fork()
    if not child:
        _audit(world, run)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


def _in_child(world: World, run: int) -> None:
    child = os.fork()
    if not child:
        _audit(world, run)
    assert os.waitpid(child, 0)[1] == 0


def _audit(world: World, run: int) -> None:
    """Audit on another day in every run, and end the process."""
    now = START + dt.timedelta(days=run)
    clock = Clock(now=lambda: now, seconds=time.monotonic, sleep=time.sleep)
    options = Options(repairs=True, host="here", pid=os.getpid())
    with opened(world.record_file) as record:
        told = Reports(world.folder / "reports", record, world.store.url, started=now, version=f"0.{run}.0")
        done = auditing.audit(
            world.store,
            record,
            options,
            clock=clock,
            replica=FolderStore(world.copy_root),
            on_outcome=told.take,
        )
        told.close(done)
    os._exit(0)


def _wrong(world: World, harmed: Counter[str]) -> list[str]:
    """What is not as it must be: an event for each proof and each mend, none twice, none left."""
    identifiers: list[str] = []
    checks: Counter[tuple[str, str]] = Counter()
    recoveries: Counter[str] = Counter()
    folder = world.folder / "reports" / "audit-events"
    for path in sorted(folder.glob("*.xml")):
        for event in xmldoc.parse(path.read_bytes()).iterfind("{*}event"):
            identifiers.append(event.findtext("{*}eventIdentifier/{*}eventIdentifierValue") or "")
            name = event.findtext("{*}linkingObjectIdentifier/{*}linkingObjectIdentifierValue") or ""
            if event.findtext("{*}eventType") == "recovery":
                recoveries[name] += 1
            else:
                checks[name, (event.findtext("{*}eventDateTime") or "")[:10]] += 1
    connection = sqlite3.connect(world.record_file)
    rows = connection.execute("SELECT object_id, at, condition FROM proofs").fetchall()
    owed = connection.execute("SELECT count(*) FROM owed").fetchone()[0]
    begun = connection.execute("SELECT count(*) FROM begun_mends").fetchone()[0]
    connection.close()
    wrong = [
        f"not whole: {number}"
        for number in range(len(IDS))
        if dict(every_file(world.at(number))) != _right(world, number)
    ]
    first = START.date().isoformat()  # of the run that had no reports
    proofs = Counter(
        (object_id, at[:10])
        for object_id, at, condition in rows
        if condition in CHECKED and not at.startswith(first)
    )
    wrong += [f"twice: {each}" for each, number in Counter(identifiers).items() if number > 1]
    wrong += [f"proofs without events: {proofs - checks}"] if proofs - checks else []
    wrong += [f"events without proofs: {checks - proofs}"] if checks - proofs else []
    wrong += [f"mended {harmed}, told {recoveries}"] if harmed != recoveries else []
    wrong += [f"{owed} events are owed, {begun} mends begun"] if owed or begun else []
    wrong += [f"left: {path.name}" for path in folder.iterdir() if path.suffix != ".xml"]
    wrong += [f"left: {path.name}" for path in world.folder.glob("*.staging")]
    return wrong


if __name__ == "__main__":
    print(json.dumps(main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))))
