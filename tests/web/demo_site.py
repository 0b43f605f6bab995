"""Three items of the demo, small, published as one site.

Its base URL is none of this machine: a page that asks for an absolute address of its own site asks another
host, and that is seen.
"""

from __future__ import annotations

import csv
import datetime as dt
import functools
import io
import shutil
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import demo_data
from pipeline import publication, run, specification
from pipeline.model import LanguageMap
from pipeline.publish import opened
from pipeline.verify import Options
from tests.publish import tiny

CODEX, RIGHT_TO_LEFT, LIGHTS = ITEMS = ("adl-ms-7", "adl-or-3", "adl-pap-3")
GONE = "adl-gone-1"
"""Published and removed."""
TARGET = "pap3_0015_sheet"
"""A frame of the demo's target that is shown as a view: what is true of it is known."""

BASE_URL = "https://books.example.org/library"
SCALE = 0.2
TILE_PX = 256
"""Small, so that small images have several levels."""
NOW = dt.datetime(2026, 3, 16, 9, tzinfo=dt.UTC)


def build(folder: Path, place: Path) -> None:
    """Draw the masters, build the bundles, publish them; move all to `place` in the end."""
    demo_data.write_texts(folder, scale=SCALE)
    _add(folder / "solander.toml", f"\n[publication]\ntile_px = {TILE_PX}\n")
    with ThreadPoolExecutor(2) as pool:
        tasks = demo_data.tasks(folder, only=ITEMS)
        for _ in pool.map(functools.partial(demo_data.draw, scale=SCALE), tasks):
            pass
        _show_the_target(folder / LIGHTS)
        for item in ITEMS:
            opened_item, settings = run.open_item(folder / item)
            built = run.build_item(opened_item, settings, _options(folder), pool)
            assert built.publication, built
    _publish(folder)
    folder.rename(place)


def _options(folder: Path) -> run.Options:
    return run.Options(
        work=folder / "work",
        bundles=folder / "bundles",
        specification=specification.load(None),
        now=NOW,
    )


def _add(path: Path, text: str) -> None:
    with path.open("a", encoding="utf-8") as file:
        file.write(text)


def _show_the_target(item: Path) -> None:
    shutil.copy(item / "masters/pap3_0001_target.tif", item / f"masters/{TARGET}.tif")
    row = io.StringIO()
    csv.writer(row, lineterminator="\n").writerow([f"{TARGET}.tif", "target", "detail", "s1", "", ""])
    _add(item / "pages.csv", row.getvalue())


def _publish(folder: Path) -> None:
    with opened(folder / "site", BASE_URL, LanguageMap.of("Aldermoor Library", "en"), lambda: NOW) as site:
        for item in ITEMS:
            bundle = folder / f"bundles/{item}-publication"
            published = publication.publish(site, bundle, Options(threads=2), has_pdf=item == CODEX)
            assert published.done, published
        tiny.put(site, tiny.bundle(folder, GONE))
        site.remove(GONE)
