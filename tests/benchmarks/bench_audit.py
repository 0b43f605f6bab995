"""How fast an audit reads, and what listing a large store takes, all in one run on one machine.

Run by hand from the repository's folder; it is no test and asserts nothing::

    python -m tests.benchmarks.bench_audit [--gigabytes 1] [--objects 100000] [--rounds 3]

- reading: a store of a few big files, audited, against two processes of ``sha512sum`` at once over the same
  content. Both read from the disk: what memory has of the files is dropped before each round. Wanted: 0.9 of
  the speed of the two processes at least.
- listing: a store of many small objects is walked, taken into a new record, and scheduled under a period, in
  a process of its own. Wanted: a minute and 300 MB at most.

Rounds take turns, so that what else the machine does meets both alike; the best of each is printed.
"""

from __future__ import annotations

import argparse
import datetime as dt
import functools
import hashlib
import json
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from pipeline.audit.auditing import audit
from pipeline.audit.record import opened
from pipeline.audit.values import Clock, Options
from pipeline.errors import ExitStatus
from pipeline.files import forget_cached
from pipeline.stores import FolderStore
from tests import make_ocfl

FILES = 6
"""Big files, in two objects."""
NOW = dt.datetime(2031, 6, 1, tzinfo=dt.UTC)


def main(arguments: list[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--gigabytes", type=float, default=1.0, help="size of the store that is read")
    parser.add_argument("--objects", type=int, default=100_000, help="number of objects that are listed")
    parser.add_argument("--rounds", type=int, default=3)
    chosen = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="bench-") as made:
        for line in _measured(Path(made), chosen):
            print(line, flush=True)


def _measured(folder: Path, chosen: argparse.Namespace) -> Iterator[str]:
    size_bytes = int(chosen.gigabytes * 1e9)
    store = make_big(folder / "big", size_bytes)
    floor, ours = _in_turns(store, folder, chosen.rounds)
    yield f"content of {size_bytes / 1e9:g} GB in {FILES} files, from the disk"
    yield f"  two sha512sum at once   {floor:7.2f} s  {size_bytes / floor / 1e6:6.0f} MB/s"
    yield f"  audit                   {ours:7.2f} s  {floor / ours:6.2f} of their speed"
    shutil.rmtree(store)

    store = make_small(folder / "small", chosen.objects)
    took_s, memory_bytes = listed(store)
    yield f"{chosen.objects} objects"
    yield f"  walk, record, schedule  {took_s:7.2f} s  {memory_bytes / 1e6:6.0f} MB of memory at most"


def _in_turns(store: Path, folder: Path, rounds: int) -> tuple[float, float]:
    theirs, ours = [], []
    for number in range(max(1, rounds)):
        record_file = folder / f"record-{number}.sqlite"
        theirs.append(_timed(store, functools.partial(two_processes, store)))
        ours.append(_timed(store, functools.partial(check, store, record_file)))
    return min(theirs), min(ours)


def _timed(store: Path, run: Callable[[], object]) -> float:
    for path in store.rglob("*.bin"):
        forget_cached(path)
    started = time.perf_counter()
    run()
    return time.perf_counter() - started


def check(store: Path, record_file: Path) -> None:
    """Audit a store, which must be intact."""
    clock = Clock(now=lambda: NOW, seconds=time.monotonic, sleep=time.sleep)
    with opened(record_file) as record:
        done = audit(FolderStore(store), record, Options(threads=2), clock=clock)
    if done.exit_status is not ExitStatus.DONE:
        sys.exit(f"the store of the benchmark is not intact: {done.outcomes[:3]}")


def two_processes(store: Path) -> None:
    """Digest half of the content each in two processes."""
    tool = shutil.which("sha512sum") or sys.exit("there is no sha512sum on this system")
    files = sorted(store.rglob("*.bin"))
    halves = [files[0::2], files[1::2]]
    running = [subprocess.Popen([tool, *half], stdout=subprocess.DEVNULL) for half in halves if half]
    if any(each.wait() for each in running):
        sys.exit("sha512sum failed")


_LISTED = """
import json, sys, time, datetime as dt
from pathlib import Path
from pipeline.audit import schedule
from pipeline.audit.record import opened
from pipeline.audit.values import Options
from pipeline.ocfl import validating, walking
from pipeline.stores import FolderStore
began = time.perf_counter()
now = dt.datetime(2031, 6, 1, tzinfo=dt.UTC)
options = Options(within=dt.timedelta(days=90), budget_s=7200.0)
hierarchy = walking.walk_root(FolderStore(Path(sys.argv[1])))
with opened(Path(sys.argv[2])) as record:
    record.see(hierarchy.objects, now)
    known = record.known()
    plan = schedule.plan(hierarchy.objects, known, options, now=now)
    standing = schedule.standing(known.values(), options, now=now, read_bytes=0, took_s=1.0, last_run="")
found = validating.validate_root(hierarchy).codes
status = Path("/proc/self/status").read_text()  # not ru_maxrss: it begins with the size of who started this
peak = int(status.split("VmHWM:")[1].split()[0]) * 1024
said = {"objects": standing.objects, "planned": len(plan.objects), "codes": sorted(found)}
print(json.dumps({**said, "took_s": time.perf_counter() - began, "peak_bytes": peak}))
"""


def listed(store: Path) -> tuple[float, int]:
    """Return the seconds and the memory that listing and scheduling a store take, in a process of its own."""
    record_file = store.with_name(f"{store.name}.sqlite")
    record_file.unlink(missing_ok=True)
    command = [sys.executable, "-c", _LISTED, str(store), str(record_file)]
    said = json.loads(subprocess.run(command, check=True, capture_output=True).stdout)
    if said["codes"] or not said["planned"]:
        sys.exit(f"the store of the benchmark is not as it should be: {said}")
    return said["took_s"], said["peak_bytes"]


# ------------------------------------------------------------------------------------------- what is made


def make_big(store: Path, size_bytes: int) -> Path:
    """A store of two objects of big files, no two alike."""
    each_bytes = size_bytes // FILES
    block = hashlib.shake_256(b"block").digest(1 << 20)
    objects = []
    for number in range(2):
        made = make_ocfl.an_object({}, object_id=f"urn:example:big-{number}", fixity=())
        contents = {}
        for file in range(number, FILES, 2):
            head = f"{file:08}".encode()
            contents[f"v1/content/{file}.bin"] = (head + block * (each_bytes // len(block) + 1))[:each_bytes]
        for document in made.inventories.values():
            for path, data in contents.items():
                digest = make_ocfl.digest(data)
                document["manifest"][digest] = [path]
                document["versions"]["v1"]["state"][digest] = [path.removeprefix("v1/content/")]
        made.files |= contents
        objects.append(made)
    return make_ocfl.a_root(store, *objects)


def make_small(store: Path, objects: int) -> Path:
    """A store of many objects of one small file each."""
    make_ocfl.a_root(store)
    model = make_ocfl.an_object({"data/f1r.tif": b"folio 1 recto"}, object_id="urn:example:model", fixity=())
    inventory = json.dumps(model.inventories[""])
    for number in range(objects):
        made = make_ocfl.Object(object_id=f"urn:example:small-{number}", files=model.files)
        document = json.loads(inventory.replace("urn:example:model", made.object_id))
        made.inventories = {"": document, "v1": document}
        made.write(store / make_ocfl.place_of(made.object_id))
    return store


if __name__ == "__main__":
    main()
