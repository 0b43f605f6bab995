"""How long it takes to publish one more item, in sites of growing size: it must not depend on the size.

Run by hand from the repository's folder; it is no test and asserts nothing::

    python -m tests.benchmarks.bench_publish [--items 20 200 2000] [--views 100] [--rounds 9]

Items have tiny pictures, four files a view. They are made and thrown away one after another, so that the
disk holds the site alone. What is timed is planning and publishing of an item of one view, without its
verification, which depends on the item alone: the median of the rounds, as it passes and as processor time,
for the first has the disk in it, which is waited for at every step that must not be lost.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from pipeline.publish import Publisher
from tests.publish import tiny


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--items", type=int, nargs="+", default=[20, 200, 2000])
    parser.add_argument("--views", type=int, default=100)
    parser.add_argument("--rounds", type=int, default=9)
    given = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder, tiny.site(Path(folder) / "site") as publisher:
        for size in given.items:
            while publisher.site.items < size:
                _publish(publisher, Path(folder), given.views)
            _report(publisher, Path(folder), given.rounds)


def _report(publisher: Publisher, folder: Path, rounds: int) -> None:
    size = publisher.site.items
    passed, processor = zip(*(_publish(publisher, folder, 1) for _ in range(rounds)), strict=True)
    milliseconds = [f"{statistics.median(each) * 1000:.0f} ms" for each in (passed, processor)]
    print(f"{size:,} items: one more in {milliseconds[0]}, of the processor {milliseconds[1]}", flush=True)


def _publish(publisher: Publisher, folder: Path, views: int) -> tuple[float, float]:
    """Publish the next item; returns how long it took, as it passed and as processor time, in seconds."""
    bundle = tiny.bundle(folder, f"ms-{publisher.site.slots:05}", views=views)
    passed, processor = time.perf_counter(), time.process_time()
    tiny.put(publisher, bundle)
    took = time.perf_counter() - passed, time.process_time() - processor
    shutil.rmtree(bundle)
    return took


if __name__ == "__main__":
    main()
