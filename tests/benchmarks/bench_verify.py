"""How long verification takes, in ratios to what it cannot be faster than, all in one run on one machine.

Run by hand from the repository's folder; it is no test and asserts nothing::

    python -m tests.benchmarks.bench_verify [--gigabytes 2] [--files 100000] [--rounds 3]

- digests: a bag of a few big files, verified, against two processes of ``sha512sum`` at once over the same
  bytes, and against the bagit library with two processes. Wanted: 1.3 times the two processes at most.
- pictures: a bag of TIFF masters, with each picture decoded and without.
- structure alone (``--quick``): a bag of many small files, against a bare walk with `lstat`. Wanted: 1 s for
  100,000 files, for the whole command as a person waits for it: the start of Python, reports, all.

Everything is made in a temporary folder (``TMPDIR``) and still in memory when it is timed, so that the disk
does not count; the best of the rounds is printed.
"""

from __future__ import annotations

import argparse
import hashlib
import logging
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import bagit
import numpy as np

from pipeline.verdict import Outcome
from pipeline.verify import Options, verify
from tests import make

FILES = 6
"""Big files of the bag of digests."""


def main(arguments: list[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--gigabytes", type=float, default=2.0, help="size of the bag of digests")
    parser.add_argument("--files", type=int, default=100_000, help="number of files for --quick")
    parser.add_argument("--pictures", type=int, default=6, help="number of TIFF masters")
    parser.add_argument("--rounds", type=int, default=3)
    chosen = parser.parse_args(arguments)
    logging.getLogger("bagit").setLevel(logging.CRITICAL)
    with tempfile.TemporaryDirectory(prefix="bench-") as made:
        folder = Path(made)
        for line in _measured(folder, chosen):
            print(line, flush=True)


def _measured(folder: Path, chosen: argparse.Namespace) -> Iterator[str]:
    size_bytes = int(chosen.gigabytes * 1e9)
    bag = make_big(folder / "big", size_bytes)
    floor = best(lambda: two_processes(bag), chosen.rounds)
    ours = best(lambda: check(bag), chosen.rounds)
    library = best(lambda: bagit.Bag(str(bag)).validate(processes=2), min(chosen.rounds, 2))
    yield f"digests of {size_bytes / 1e9:g} GB in {FILES} files"
    yield f"  two sha512sum at once   {floor:7.2f} s  {size_bytes / floor / 1e6:6.0f} MB/s"
    yield f"  verify                  {ours:7.2f} s  {ours / floor:5.2f} times two sha512sum"
    yield f"  bagit, two processes    {library:7.2f} s  verify takes {ours / library:.2f} of it"
    shutil.rmtree(bag)

    bag = make_pictures(folder / "pictures", chosen.pictures)
    floor = best(lambda: two_processes(bag), chosen.rounds)
    decoded = best(lambda: check(bag), chosen.rounds)
    _hide(bag)
    plain = best(lambda: check(bag), chosen.rounds)
    yield f"{chosen.pictures} TIFF masters of 24 million pixels, LZW"
    yield f"  two sha512sum at once   {floor:7.2f} s"
    yield f"  verify, digests alone   {plain:7.2f} s"
    yield f"  verify with decoding    {decoded:7.2f} s  {decoded / plain:5.2f} times digests alone"
    shutil.rmtree(bag)

    for layout in ("flat", "deep"):
        yield from _structure(folder / layout, layout, chosen)


def _structure(folder: Path, layout: str, chosen: argparse.Namespace) -> Iterator[str]:
    bag = make_small(folder, chosen.files, layout)
    walk = best(lambda: walk_alone(bag), chosen.rounds)
    quick = best(lambda: check(bag, is_quick=True), chosen.rounds)
    command = best(lambda: run_command(bag, "--quick"), chosen.rounds)
    whole = best(lambda: check(bag), 1)
    yield f"{chosen.files} small files: {layout}"
    yield f"  os.walk and lstat       {walk:7.2f} s"
    yield f"  verify --quick          {quick:7.2f} s  {quick / walk:5.2f} times the walk"
    yield f"  ... the whole command   {command:7.2f} s  {command / walk:5.2f} times the walk"
    yield f"  verify                  {whole:7.2f} s"
    shutil.rmtree(bag)


def best(run: Callable[[], object], rounds: int) -> float:
    """Seconds of the best of some runs."""
    times = []
    for _ in range(max(1, rounds)):
        started = time.perf_counter()
        run()
        times.append(time.perf_counter() - started)
    return min(times)


# -------------------------------------------------------------------------------------------- what is run


def check(bag: Path, *, is_quick: bool = False) -> None:
    """Verify a bag, which must be sound."""
    verdict = verify(bag, Options(is_quick=is_quick)).verdict
    if verdict.outcome is Outcome.REJECTED:
        sys.exit(f"the bag of the benchmark is rejected: {verdict.report.findings[:3]}")


def run_command(bag: Path, *options: str) -> None:
    """Verify a bag as a person does; its reports go beside it."""
    arguments = ["verify", str(bag), "--report", str(bag.with_name("reports")), *options]
    code = "from pipeline.cli.main import main; main()"
    subprocess.run([sys.executable, "-c", code, *arguments], stdout=subprocess.DEVNULL, check=True)


def two_processes(bag: Path) -> None:
    """Digest half of the payload each in two processes, in the best order for them."""
    files = sorted((each for each in bag.joinpath("data").rglob("*") if each.is_file()), key=_size)
    tool = shutil.which("sha512sum") or sys.exit("there is no sha512sum on this system")
    halves = [files[0::2], files[1::2]]
    running = [subprocess.Popen([tool, *half], stdout=subprocess.DEVNULL) for half in halves if half]
    if any(each.wait() for each in running):
        sys.exit("sha512sum failed")


def _size(path: Path) -> int:
    return path.stat().st_size


def walk_alone(bag: Path) -> int:
    """What no judgement of structure can do without: every name and every size."""
    return sum(
        os.lstat(os.path.join(base, name)).st_size  # noqa: PTH118, the fastest way is what is measured
        for base, _, names in os.walk(bag)
        for name in names
    )


# ------------------------------------------------------------------------------------------- what is made


def _finish(bag: Path, digests: dict[str, str], size_bytes: int) -> Path:
    lines = "".join(f"{digest}  {path}\n" for path, digest in digests.items())
    tags = {
        "bagit.txt": "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
        "bag-info.txt": f"Payload-Oxum: {size_bytes}.{len(digests)}\n",
        "manifest-sha512.txt": lines,
    }
    (bag / "tagmanifest-sha512.txt").unlink(missing_ok=True)
    listed = "".join(f"{hashlib.sha512(text.encode()).hexdigest()}  {name}\n" for name, text in tags.items())
    for name, text in {**tags, "tagmanifest-sha512.txt": listed}.items():
        (bag / name).write_text(text)
    return bag


def make_big(bag: Path, size_bytes: int) -> Path:
    """A bag of a few big files that are no pictures; no two alike."""
    (bag / "data").mkdir(parents=True)
    block = np.random.default_rng(1).bytes(1 << 22)
    digests = {}
    each_bytes = size_bytes // FILES
    for number in range(FILES):
        hashed = hashlib.sha512()
        with (bag / f"data/{number}.bin").open("wb") as file:
            left = each_bytes
            while left:
                part = block[number : number + min(left, len(block) - FILES)]
                file.write(part)
                hashed.update(part)
                left -= len(part)
        digests[f"data/{number}.bin"] = hashed.hexdigest()
    return _finish(bag, digests, each_bytes * FILES)


def make_pictures(bag: Path, pictures: int, *, width_px: int = 6000, height_px: int = 4000) -> Path:
    """A bag of TIFF masters with noise like a sensor's, so that they do not compress to nothing."""
    (bag / "data").mkdir(parents=True)
    digests, size_bytes = {}, 0
    noise = np.random.default_rng(1)
    kind = make.TiffKind(name="master", compression="lzw")
    base = make.picture(width_px, height_px)
    for number in range(pictures):
        path = bag / f"data/b14_{number:04}.tif"
        grain = noise.integers(0, 64, base.shape, dtype=np.uint16)
        make.tiff(path, kind, pixels=((base >> 1) + grain).astype(np.uint16))
        data = path.read_bytes()
        digests[f"data/{path.name}"] = hashlib.sha512(data).hexdigest()
        size_bytes += len(data)
    return _finish(bag, digests, size_bytes)


def _hide(bag: Path) -> None:
    """The same bytes, but for the first two of each picture: no picture any more, the digests renewed."""
    digests, size_bytes = {}, 0
    for path in sorted(bag.joinpath("data").glob("*.tif")):
        data = b"XX" + path.read_bytes()[2:]
        path.unlink()
        path.with_suffix(".bin").write_bytes(data)
        digests[f"data/{path.stem}.bin"] = hashlib.sha512(data).hexdigest()
        size_bytes += len(data)
    _finish(bag, digests, size_bytes)


def make_small(bag: Path, files: int, layout: str) -> Path:
    """A bag of many small files: a hundred in a folder, or each in folders of its own, as tiles are."""
    digests, size_bytes = {}, 0
    for number in range(files):
        frame, rest = f"B14_{number // 100:04}", number % 100
        name = f"{rest},0,512,512/512,/0/default" if layout == "deep" else f"line-{rest:03}"
        path = f"data/text/msb-014/{frame}/{name}.txt"
        data = f"line {number} of a page\n".encode()
        size_bytes += len(data)
        (bag / path).parent.mkdir(parents=True, exist_ok=True)
        (bag / path).write_bytes(data)
        digests[path] = hashlib.sha512(data).hexdigest()
    return _finish(bag, digests, size_bytes)


if __name__ == "__main__":
    main()
