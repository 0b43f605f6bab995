"""`solander spec`: lists, shows and exports imaging specifications."""

from __future__ import annotations

import tomllib
from pathlib import Path

import click

from pipeline.cli import _options, _render
from pipeline.errors import SettingsError


@click.group(short_help="List, show or export imaging specifications.")
def spec() -> None:
    """List, show or export the imaging specifications that frames are judged by."""


@spec.command("list")
@_options.json_option
def list_(as_json: bool) -> None:
    """List the specifications that come with solander."""
    from pipeline import specification

    if as_json:
        _render.show_json(
            [
                {
                    "name": name,
                    "title": specification.load(name).title,
                    "default": name == specification.DEFAULT,
                }
                for name in specification.names()
            ]
        )
        return
    for name in specification.names():
        title = specification.load(name).title
        default = "  (default)" if name == specification.DEFAULT else ""
        _render.show(f"{name}  {title}{default}")


@spec.command()
@click.argument("name")
@_options.json_option
def show(name: str, as_json: bool) -> None:
    """Show one specification, as the TOML file that it is."""
    from pipeline import specification

    if as_json:
        _render.show_json(tomllib.loads(specification.source_text(name)))
        return
    _render.show_text(specification.source_text(name))


@spec.command(short_help="Write one specification to a file, to be edited.")
@click.argument("name")
@click.argument("file", type=click.Path(path_type=Path))
@_options.json_option
def export(name: str, file: Path, as_json: bool) -> None:
    """Write one specification to FILE, to be edited and given to --specification.

    Nothing is ever overwritten.
    """
    from pipeline import files, specification

    text = specification.source_text(name)
    if file.exists():
        raise SettingsError(f"{file}: is there already; give another name, or remove it first")
    files.write_atomically(file, text.encode())
    if as_json:
        _render.show_json({"name": name, "written": str(file)})
        return
    _render.show(str(file))
