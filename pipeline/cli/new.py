"""`solander new`: starts an item folder from the masters' names."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli import _options, _render

if TYPE_CHECKING:
    from pipeline.model import MasterFacts


@click.command(short_help="Start an item folder from the masters' names.")
@click.argument("folder", type=_options.FOLDER)
@click.option(
    "--masters",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
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
    if as_json:
        _render.show_json({"folder": str(folder), "written": [str(path) for path in written]})
        return
    for path in written:
        _render.show(str(path))
    _render.note(f"fill in what item.toml asks for, look through pages.csv, then: solander build {folder}")


def _facts(path: Path) -> MasterFacts | None:
    from pipeline.errors import MasterError
    from pipeline.headers import read_header

    try:
        return read_header(path).facts
    except MasterError:
        return None
