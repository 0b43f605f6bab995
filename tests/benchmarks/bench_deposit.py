"""Deposit beside copying and one checksum pass over the same bytes, in one run on one disk.

    python -m tests.benchmarks.bench_deposit FOLDER [--megabytes 1000]

Both sides end with the bytes on the disk, and both checksum passes read what was written, from the
disk and not from memory. Three rounds, in turn; the best of each counts.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import shutil
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

from pipeline import files
from pipeline.deposit import Depositor
from pipeline.storage import Storage
from pipeline.stores import FolderStore
from pipeline.verify import Options
from tests.deposit.world import make_bag

ROUNDS = 3
FILE_MEGABYTES = 50


def main() -> None:
    """Print the seconds of both, and what one is of the other."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--megabytes", type=int, default=1000)
    given = parser.parse_args()
    folder: Path = given.folder / "bench-deposit"
    shutil.rmtree(folder, ignore_errors=True)
    count = max(given.megabytes // FILE_MEGABYTES, 1)
    bag = make_bag(
        folder / "bag", {f"{n:03}.bin": os.urandom(FILE_MEGABYTES * 1_000_000) for n in range(count)}
    )
    plain, whole = [], []
    for _ in range(ROUNDS):
        plain.append(_timed(folder, bag, lambda: _copy_and_checksum(bag, folder / "copy")))
        whole.append(_timed(folder, bag, lambda: _deposit(bag, folder)))
    shutil.rmtree(folder)
    print(f"{count * FILE_MEGABYTES} MB in {count} files, {os.cpu_count()} cores, best of {ROUNDS}")
    print(f"cp, sync, sha512sum   {min(plain):6.2f} s")
    print(f"solander deposit      {min(whole):6.2f} s, verifying included")
    print(f"ratio                 {min(whole) / min(plain):6.2f}")


def _timed(folder: Path, bag: Path, work: Callable[[], None]) -> float:
    """Return the seconds of some work; the bag is in memory before it, as one is that was just made."""
    for name in ("copy", "store", "work"):
        shutil.rmtree(folder / name, ignore_errors=True)
    for path in bag.rglob("*.bin"):
        path.read_bytes()
    subprocess.run(["sync", "-f", str(folder)], check=True)
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def _copy_and_checksum(bag: Path, copy: Path) -> None:
    subprocess.run(["cp", "-r", str(bag), str(copy)], check=True)
    subprocess.run(["sync", "-f", str(copy)], check=True)
    paths = [str(path) for path in copy.rglob("*") if path.is_file()]
    for path in paths:
        files.forget_cached(Path(path))
    subprocess.run(["sha512sum", *paths], check=True, stdout=subprocess.DEVNULL)


def _deposit(bag: Path, folder: Path) -> None:
    storage = Storage(
        store=FolderStore(folder / "store"),
        layout=None,
        options=Options(),
        depositor=Depositor(name="Imaging unit"),
        id_prefix="urn:example:",
        work=folder / "work",
        now=dt.datetime(2026, 3, 10, tzinfo=dt.UTC),
        host="here",
        software_version="0",
    )
    assert storage.take(bag).deposited


if __name__ == "__main__":
    main()
