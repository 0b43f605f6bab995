"""What all measures of one frame cost, beside the making of its tiles: both in one run on one machine.

Run by hand from the repository's folder; it is no test and asserts nothing::

    python -m tests.benchmarks.bench_measures [--megapixels 48 80] [--rounds 3] [--profile PAGE]

Frames of the demo (a page with text, a target, a flat frame) are drawn as large as is wanted, in 16 bits, and
decoded once, as `pipeline.frame` does it. From the two scratch files that this leaves, each of these is made
in a process of its own, by turns, and the best of the rounds counts:

- measures: everything that is measured on such a frame. Wanted: no more than its tiles take.
- tiles: the tiles of the static image service alone.
- derivatives: tiles, whole images and access image, with the digests of them all.

- nothing: for the memory of a process that has imported everything.

CPU is that of all threads, wall the time that passes. Memory is the most that the process ever held for
itself, looked at every 5 ms; pages of the scratch files, which it only maps, are not counted: the system may
take them back.
"""

from __future__ import annotations

import argparse
import cProfile
import datetime as dt
import math
import multiprocessing
import pstats
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import demo_data
from demo_data.plan import MasterTask, size_mm
from demo_data.plate import MM_PER_INCH
from pipeline.derive import DerivePlan, derive_frame
from pipeline.headers import read_header
from pipeline.images import Picture, decode
from pipeline.measure.of_frame import MeasurePlan, measure
from pipeline.model import Algorithm, FrameKind, ImageDelivery

ITEM, PPI = "adl-or-3", 400.0
LABELS = {FrameKind.PAGE: "f. 1r", FrameKind.TARGET: "", FrameKind.FLAT: ""}
"""Which frame of the item stands for its kind: by its label, or the first one."""
PLAN = DerivePlan(
    item=ITEM,
    frame="B14_0001",
    base_url="http://localhost:8000",
    delivery=ImageDelivery.TILES,
    tile_px=512,
    access_long_edge_px=2400,
    jpeg_quality=88,
    rights="",
    checksums=(Algorithm.SHA512,),
)
PITCH_MM = (8.0, 8.0)
"""Of the demo's target."""


def main(arguments: list[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--megapixels", type=float, nargs="+", default=[48.0, 80.0])
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument(
        "--profile", type=FrameKind, help="show where the measures of a kind spend their time"
    )
    chosen = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="bench-") as made:
        for megapixels in chosen.megapixels:
            if chosen.profile:
                _profile(prepared(Path(made), chosen.profile, megapixels))
                continue
            for line in _measured(Path(made), megapixels, chosen.rounds):
                print(line, flush=True)


def _measured(folder: Path, megapixels: float, rounds: int) -> Iterator[str]:
    yield f"{megapixels:>3g} million pixels, 16 bits   CPU s    wall s     MB"
    for kind in LABELS:
        frame = prepared(folder, kind, megapixels)
        works = (nothing, measures, tiles, derivatives)
        turns = [{work: cost(work, frame) for work in works} for _ in range(rounds)]
        best = {work: _best([turn[work] for turn in turns]) for work in works}
        for work, found in best.items():
            yield _line(f"{kind.value:<8}{work.__name__}", found, best[tiles])
        frame.remove()


def _best(found: Sequence[Cost]) -> Cost:
    """The least of each: what else the machine did only adds."""
    return Cost(
        cpu_s=min(each.cpu_s for each in found),
        wall_s=min(each.wall_s for each in found),
        memory_mb=min(each.memory_mb for each in found),
    )


def _line(name: str, found: Cost, base: Cost) -> str:
    cpu, wall = found.cpu_s / base.cpu_s, found.wall_s / base.wall_s
    shares = f"{cpu:6.2f} of the tiles' CPU,{wall:6.2f} of the wall"
    return f"  {name:<22}{found.cpu_s:10.2f}{found.wall_s:10.2f}{found.memory_mb:7.0f}  {shares}"


# -------------------------------------------------------------------------------------------- what is run


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A frame that was decoded: its two scratch files, and what is known of it."""

    kind: FrameKind
    raw: Path
    picture: Path
    profile: bytes

    def remove(self) -> None:
        """Make room for the next one."""
        self.raw.unlink()
        self.picture.unlink()


def prepared(folder: Path, kind: FrameKind, megapixels: float) -> Frame:
    """Draw a frame of the demo with about so many pixels, and decode it."""
    task = _task(folder, kind)
    width_mm, height_mm = size_mm(task)
    scale = MM_PER_INCH * math.sqrt(megapixels * 1e6 / (width_mm * height_mm)) / PPI
    master = demo_data.draw(task, scale=scale)
    header = read_header(master)
    scratch = folder / f"{kind.value}.v"
    decoded = decode(master, header, algorithms=(), assumed_profile=b"", scratch=scratch)
    master.unlink()
    return Frame(kind=kind, raw=decoded.raw, picture=decoded.picture, profile=header.icc_profile)


def _task(folder: Path, kind: FrameKind) -> MasterTask:
    tasks = demo_data.tasks(folder, only=(ITEM,))
    wanted = LABELS[kind]
    return next(each for each in tasks if each.kind == kind.value and wanted in ("", each.label))


def nothing(_: Frame) -> None:
    """Do no work."""


def measures(frame: Frame) -> None:
    """Measure everything."""
    plan = MeasurePlan(kind=frame.kind, pitch_mm=PITCH_MM)
    measure(frame.raw, orientation=1, icc_profile=frame.profile, stated_ppi=PPI, plan=plan)


def tiles(frame: Frame) -> None:
    """Make the tiles alone."""
    with tempfile.TemporaryDirectory(dir=frame.raw.parent) as made:
        picture = Picture(frame.picture, orientation=1)
        picture.write_tiles(Path(made) / "tiles", tile_px=PLAN.tile_px, quality=PLAN.jpeg_quality)


def derivatives(frame: Frame) -> None:
    """Make everything that readers get."""
    with tempfile.TemporaryDirectory(dir=frame.raw.parent) as made:
        now = dt.datetime(2026, 3, 10, tzinfo=dt.UTC)
        derive_frame(Picture(frame.picture, orientation=1), PLAN, Path(made), now=now)


# ------------------------------------------------------------------------------------------- what it costs


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """Of one piece of work."""

    cpu_s: float
    wall_s: float
    memory_mb: float


def cost(work: Callable[[Frame], None], frame: Frame) -> Cost:
    """Do a piece of work in a process of its own."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        return pool.submit(_timed, work, frame).result()


def _timed(work: Callable[[Frame], None], frame: Frame) -> Cost:
    import pyvips  # noqa: F401, it is the one that a measure or a picture would import on its way

    seen, is_done = [_memory_mb()], threading.Event()

    def watch() -> None:
        while not is_done.wait(0.005):
            seen.append(_memory_mb())

    watcher = threading.Thread(target=watch)
    watcher.start()
    cpu_s, wall_s = time.process_time(), time.perf_counter()
    work(frame)
    cpu_s, wall_s = time.process_time() - cpu_s, time.perf_counter() - wall_s
    is_done.set()
    watcher.join()
    return Cost(cpu_s=cpu_s, wall_s=wall_s, memory_mb=max(seen))


def _memory_mb() -> float:
    """What this process holds for itself now; nan where the system does not tell."""
    status = Path("/proc/self/status")
    return int(status.read_text().split("RssAnon:")[1].split()[0]) / 1024 if status.exists() else math.nan


def _profile(frame: Frame) -> None:
    watcher = cProfile.Profile()
    watcher.runcall(measures, frame)
    pstats.Stats(watcher, stream=sys.stdout).sort_stats("cumulative").print_stats(45)


if __name__ == "__main__":
    main()
