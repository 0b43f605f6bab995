"""`solander spec`: lists, shows and exports imaging specifications."""

from __future__ import annotations

import itertools
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli import _options, _render
from pipeline.errors import SettingsError
from pipeline.files import visible

if TYPE_CHECKING:
    from pipeline.specification import Limit, Specification


@click.group(short_help="List, show or export imaging specifications.")
def spec() -> None:
    """List, show or export the imaging specifications that frames are judged by."""


@spec.command("list")
@_options.json_option
def list_(as_json: bool) -> None:
    """List the specifications that come with solander, by publication and material."""
    from pipeline import specification

    listed = [(name, specification.load(name)) for name in specification.names()]
    if as_json:
        _render.show_json([_entry(name, each) for name, each in listed])
        return
    for publication, group in itertools.groupby(listed, key=lambda each: each[1].publication):
        members = list(group)
        doubt = "  (known at second hand)" if any(each.is_second_hand for _, each in members) else ""
        _render.show(f"{publication}{doubt}")
        for category, alike in itertools.groupby(members, key=lambda each: each[1].category):
            if category:
                _render.show(category, indent=2)
            for name, each in alike:
                default = "  (default)" if name == specification.DEFAULT else ""
                _render.show(f"{name:<{_NAME_WIDTH}}  {each.grade}".rstrip() + default, indent=4)


_NAME_WIDTH = 40


def _entry(name: str, loaded: Specification) -> dict[str, object]:
    from pipeline import specification

    return {
        "name": name,
        "title": loaded.title,
        "publication": loaded.publication,
        "category": loaded.category,
        "grade": loaded.grade,
        "second_hand": loaded.is_second_hand,
        "default": name == specification.DEFAULT,
    }


@spec.command()
@click.argument("name")
@click.option("--table", "as_table", is_flag=True, help="Show the limits as a table for people.")
@_options.json_option
def show(name: str, as_table: bool, as_json: bool) -> None:
    """Show one specification, as the TOML file that it is.

    NAME is a name of 'solander spec list', or the path of a file.
    """
    from pipeline import specification

    if as_json:
        specification.load(name)  # what is wrong with it is told, not shown
        _render.show_json(tomllib.loads(specification.source_text(name)))
    elif as_table:
        _show_table(specification.load(name))
    else:
        _render.show_text(specification.source_text(name))


def _show_table(loaded: Specification) -> None:
    """Print what is measured, what is allowed, how it is computed and who says so; then the sources."""
    _render.show(loaded.title)
    _render.show(loaded.covers)
    if loaded.note:
        _render.show(loaded.note)
    _render.show("")
    rows = [("measure", "limit", "formula and conditions", "level", "source")]
    rows += [_row(each) for each in loaded.limits]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=True)]
        _render.show_text(visible("  ".join(cells).rstrip()))
    _render.show("")
    for source in loaded.sources:
        _render.show(f"{source.title} ({source.read})", head=f"{source.tag}: ")


def _row(limit: Limit) -> tuple[str, str, str, str, str]:
    from pipeline.measurements import Quantity

    if not isinstance(limit.measure, Quantity):
        return limit.measure.label, limit.text, "", limit.level.value, limit.source.tag
    text = limit.text if limit.statistic == "each" else f"{limit.statistic} {limit.text}"
    how = "; ".join(filter(None, [limit.formula, limit.conditions]))
    return limit.measure.label, text, how, limit.level.value, limit.source.tag


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
