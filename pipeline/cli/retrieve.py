"""`solander retrieve`: a bag comes out of long-term storage as it was deposited."""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.cli import _options, _render, _stores
from pipeline.errors import ExitStatus


@click.command(short_help="Get a bundle out of long-term storage as it was deposited.")
@click.argument("object_name", metavar="OBJECT")
@_stores.store_option
@click.option(
    "--to",
    "folder",
    type=_options.FOLDER,
    callback=_options.writable,
    required=True,
    help="The new folder that will be the bag.",
)
@click.option(
    "--version", "version", metavar="vN", default="", help="An earlier version.  [default: the last]"
)
@_stores.id_prefix_option
@_options.json_option
def retrieve(
    object_name: str, address: str, folder: Path, version: str, id_prefix: str | None, as_json: bool
) -> int:
    """Make --to the bag that was deposited as OBJECT: its whole identifier, or the bag's External-Identifier.

    Every byte is proved while it is copied; if one is wrong, nothing is made, and it says what is damaged.
    """
    from pipeline import deposit
    from pipeline.storage import named

    prefix = _stores.settings().id_prefix if id_prefix is None else id_prefix
    root = deposit.open_root(_stores.opened(address))
    object_id = deposit.stored_id(root, (object_name, named(object_name, prefix)))
    with _render.progress(name=folder.name) as progress:
        done = deposit.retrieve(root, object_id, folder, version=version, progress=progress)
    if as_json:
        _render.show_json(
            {
                "object": done.object_id,
                "version": done.version,
                "created": done.created,
                "folder": str(folder),
                "files": done.files,
                "size_bytes": done.size_bytes,
                "status": int(ExitStatus.DONE),
            }
        )
    else:
        files = _render.counted(done.files, "file")
        _render.show(f"{done.version} of {done.object_id}; {files}, every byte proved", head=f"{folder}: ")
    return ExitStatus.DONE
