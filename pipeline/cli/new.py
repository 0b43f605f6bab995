"""`solander new`: starts an item folder from the masters' names."""

from __future__ import annotations

import csv
import shlex
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli import _options, _render

if TYPE_CHECKING:
    from pipeline.model import MasterFacts


@click.command(short_help="Start an item folder from the masters' names.")
@click.argument("folder", type=_options.FOLDER, callback=_options.writable)
@click.option(
    "--masters",
    metavar="DIRECTORY",
    type=click.Path(path_type=Path),
    required=True,
    help="The folder of finished master images; it is only read.",
)
@_options.json_option
def new(folder: Path, masters: Path, as_json: bool) -> None:
    """Start an item: write item.toml and pages.csv into FOLDER, as far as the masters' names tell.

    Nothing is ever overwritten.
    """
    from pipeline.start import new_item_folder

    written = new_item_folder(folder, masters, read_facts=_facts, today=_options.now().date())
    frames = _frames(written[1])
    if as_json:
        document = {"folder": str(folder), "written": [str(path) for path in written], "frames": frames}
        _render.show_json(document)
        return
    for path in written:
        _render.show(str(path))
    said = ", ".join(_render.counted(count, kind) for kind, count in frames.items())
    _render.note(f"{_render.counted(sum(frames.values()), 'frame')} by their names: {said}")
    _render.note(
        "next, fill in what item.toml asks for, look through pages.csv, then: "
        f"solander check {shlex.quote(str(folder))}"
    )


def _frames(pages_csv: Path) -> dict[str, int]:
    """Return how many frames of each kind were guessed, in the order in which the kinds occur."""
    with pages_csv.open(encoding="utf-8", newline="") as rows:
        return dict(Counter(row["kind"] for row in csv.DictReader(rows)))


def _facts(path: Path) -> MasterFacts | None:
    from pipeline.errors import MasterError
    from pipeline.headers import read_header

    try:
        return read_header(path).facts
    except MasterError:
        return None
