"""One small item with pictures that can be told apart; its bundles are copied, changed and sealed again."""

from __future__ import annotations

import datetime as dt
import hashlib
import shutil
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline import run, specification
from pipeline.delivery import load
from pipeline.findings import Level, Report
from pipeline.verify import Options, Verified, verify, verify_between
from tests import make, make_item

NOW = dt.datetime.fromtimestamp(make_item.NOW_EPOCH, dt.UTC)


def scene(seed: int, width_px: int = 150, height_px: int = 200) -> make.Pixels:
    """A picture of light and dark patches, another one for each seed."""
    patches = np.random.default_rng(seed).integers(9000, 60000, (20, 15, 1), dtype=np.uint16)
    rows = np.arange(height_px) * 20 // height_px
    columns = np.arange(width_px) * 15 // width_px
    return np.repeat(patches[rows][:, columns], 3, axis=2)


def build(root: Path, change: Callable[[make_item.World], None] = lambda world: None) -> make_item.World:
    """Write the item, change it, and build both bundles."""
    world = make_item.world(root)
    for number, path in enumerate(sorted(world.masters.iterdir())):
        make.tiff(path, pixels=scene(number), resolution=(600, 600), resolutionunit="INCH")
    change(world)
    opened, settings = run.open_item(world.item)
    options = run.Options(
        work=world.work, bundles=world.bundles, specification=specification.load(None), now=NOW
    )
    with ThreadPoolExecutor(2) as executor:
        run.build_item(opened, settings, options, executor)
    return world


@dataclass(frozen=True, kw_only=True)
class Both:
    """The two bundles of the item, to be changed."""

    preservation: Path
    publication: Path

    @property
    def paths(self) -> tuple[Path, Path]:
        return self.preservation, self.publication


def copied(world: make_item.World, folder: Path) -> Both:
    """Copy both bundles to a folder."""
    for path in world.bundles.iterdir():
        shutil.copytree(path, folder / path.name)
    return Both(preservation=folder / "msb-014-preservation", publication=folder / "msb-014-publication")


def seal(bag: Path) -> Path:
    """Make manifests and oxum fit again, by other code than the product's."""
    payload = sorted(path for path in (bag / "data").rglob("*") if path.is_file())
    algorithms = [path.stem.partition("-")[2] for path in bag.glob("manifest-*.txt")]
    for algorithm in algorithms:
        lines = [f"{_digest(algorithm, path)}  {path.relative_to(bag).as_posix()}\n" for path in payload]
        (bag / f"manifest-{algorithm}.txt").write_text("".join(lines))
    info = bag / "bag-info.txt"
    oxum = f"Payload-Oxum: {sum(path.stat().st_size for path in payload)}.{len(payload)}"
    others = [line for line in info.read_text().splitlines() if not line.startswith("Payload-Oxum")]
    info.write_text("\n".join([*others, oxum, ""]))
    tags = sorted(
        path for path in bag.iterdir() if path.is_file() and not path.name.startswith("tagmanifest")
    )
    for algorithm in algorithms:
        lines = [f"{_digest(algorithm, path)}  {path.name}\n" for path in tags]
        (bag / f"tagmanifest-{algorithm}.txt").write_text("".join(lines))
    return bag


def _digest(algorithm: str, path: Path) -> str:
    return hashlib.new(algorithm, path.read_bytes()).hexdigest()


def edit(path: Path, *changes: tuple[str, str]) -> None:
    """Change a text file: what is replaced must be there."""
    text = path.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")


# ------------------------------------------------------------------------------------------ judging


def options(terms: str = "", folder: Path | None = None, *, is_quick: bool = False) -> Options:
    """Options with a delivery specification that has these tables; without one if there are none."""
    if not terms:
        return Options(is_quick=is_quick, threads=1)
    assert folder is not None
    path = folder / "specification.toml"
    path.write_text(HEAD + terms, encoding="utf-8")
    return Options(terms=load(path), is_quick=is_quick, threads=1)


HEAD = """
[delivery]
id = "aldermoor-volumes"
title = "Terms for volumes"
version = "2.1"
holder = "Aldermoor Library"
"""
CITATION = "Terms for volumes, version 2.1"


def judged(*bundles: Path, by: Options | None = None) -> tuple[list[Verified], Report]:
    """Verify bundles, and what they tell of each other."""
    chosen = by or options()
    verified = [verify(path, chosen) for path in bundles]
    return verified, verify_between([each.told for each in verified], chosen)


def told(*reports: Report, least: Level = Level.WARNING) -> list[str]:
    """Code and words of every finding that is not a note."""
    weights = list(Level)
    return [
        f"{each.code} {each.place}: {each.value}"
        for report in reports
        for each in report.findings
        if weights.index(each.level) <= weights.index(least)
    ]


Change = Callable[[Both], None]
