"""`solander demo`: makes the demo masters and runs the whole job on them."""

from __future__ import annotations

import functools
import shlex
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli import _options, _render
from pipeline.cli.build import build_folders
from pipeline.errors import ExitStatus, ToolError

if TYPE_CHECKING:
    from concurrent.futures import Executor


SMALL_SCALE = 0.2


@click.command(short_help="Draw an invented library's masters and do the whole job on them.")
@click.argument("folder", type=_options.FOLDER, default=Path("demo"), callback=_options.writable)
@click.option(
    "--small", is_flag=True, help="Draw the masters at a fifth of their size: quick, for a first look."
)
@_options.worker_options
@_options.json_option
def demo(folder: Path, small: bool, jobs: int | None, scheduler: str, as_json: bool) -> int:
    """Invent a library, draw its masters into FOLDER (default: demo), and build bundles from them."""
    from pipeline.run import Options
    from pipeline.specification import load

    with _options.executor(jobs, scheduler) as executor:
        items = _draw(folder, executor, scale=SMALL_SCALE if small else 1.0)
        options = Options(
            work=folder / ".solander",
            bundles=folder / "bundles",
            specification=load(None),
            now=_options.now(),
        )
        documents = build_folders(items, options, executor, as_json=as_json)
    status = _options.highest_status(documents)
    if as_json:
        _render.show_json(documents)
    if not as_json and status in (ExitStatus.DONE, ExitStatus.WANTING):
        _say_what_next(folder, items)
    return ExitStatus.DONE if status in (ExitStatus.DONE, ExitStatus.WANTING) else status


def _draw(folder: Path, executor: Executor, *, scale: float) -> tuple[Path, ...]:
    import demo_data

    items = demo_data.write_texts(folder, scale=scale)
    tasks = [task for task in demo_data.tasks(folder) if not task.path.exists()]
    with _render.progress(name="demo") as progress:
        if tasks:
            progress.start("masters drawn", total=len(tasks))
        try:
            for path in executor.map(functools.partial(demo_data.draw, scale=scale), tasks):
                progress.advance(size_bytes=path.stat().st_size)
        except OSError as error:
            raise ToolError(f"{folder}: cannot be written ({error.strerror or error})") from error
        finally:
            progress.finish()
    return items


def _say_what_next(folder: Path, items: tuple[Path, ...]) -> None:
    from pipeline import layout

    first = items[0].name
    bundles = folder / "bundles"
    publication = bundles / layout.publication_name(first)
    preservation = bundles / layout.preservation_name(first)
    _render.show_text(f"""
Made in {folder}:
  {len(items)} items of an invented library, with their masters
  {bundles}: for each a publication and a preservation bundle

Look at:
  {publication / "data" / "access" / first}   what readers see
  {preservation / "data" / "metadata" / "quality.html"}   how the masters were judged
  {preservation / "data" / "metadata" / "mets.xml"}   how they are described

See the web addresses at work:
  python3 -m http.server 8000 --bind 127.0.0.1 --directory {shlex.quote(str(publication / "data"))}
  http://localhost:8000/{layout.manifest_path(first)}

Next, with images of your own:
  solander new my-item --masters FOLDER-OF-MASTERS""")
