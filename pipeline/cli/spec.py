"""`solander spec`: lists, shows and exports imaging specifications."""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.cli import _render
from pipeline.errors import SettingsError


@click.group(short_help="List, show or export imaging specifications.")
def spec() -> None:
    """List, show or export the imaging specifications that frames are judged by."""


@spec.command("list")
def list_() -> None:
    """List the specifications that come with solander."""
    from pipeline import specification

    for name in specification.names():
        title = specification.load(name).title
        default = "  (default)" if name == specification.DEFAULT else ""
        _render.show(f"{name}  {title}{default}")


@spec.command()
@click.argument("name")
def show(name: str) -> None:
    """Show one specification."""
    from pipeline import specification

    _render.show(specification.source_text(name).rstrip())


@spec.command()
@click.argument("name")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
def export(name: str, file: Path) -> None:
    """Write one specification to FILE, to be edited and given to --specification. Never overwrites."""
    from pipeline import files, specification

    text = specification.source_text(name)
    if file.exists():
        raise SettingsError(f"{file}: is there already; give another name, or remove it first")
    files.write_atomically(file, text.encode())
    _render.show(str(file))
