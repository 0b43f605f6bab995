"""`solander deposit`: verified bundles go into long-term storage, version by version."""

from __future__ import annotations

import re
import socket
import sys
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline import __version__
from pipeline.cli import _options, _render, _stores
from pipeline.files import visible
from pipeline.progress import SILENT

if TYPE_CHECKING:
    from pipeline.ocfl.layouts import Layout
    from pipeline.storage import Outcome, Storage


@click.command(short_help="Put verified bundles into long-term storage.")
@click.argument("bundles", metavar="BUNDLE…", nargs=-1, required=True, type=click.Path(path_type=Path))
@_stores.store_option
@click.option("--id", "object_id", metavar="ID", default="", help="Name the object of one bundle yourself.")
@_stores.id_prefix_option
@click.option(
    "--layout",
    "layout_name",
    metavar="NAME",
    default=None,
    help="How a new store is laid out: 0002, 0003, 0004 or 0007, or the extension's whole name.  "
    "[default: 0004]",
)
@click.option(
    "--message", metavar="TEXT", default="", help="Said of the version, before what is found of it."
)
@click.option("--by", "name", metavar="NAME", default=None, help="Who deposits.  [default: the imaging unit]")
@click.option(
    "--by-address", "agent_address", metavar="URI", default=None, help="Where they are reached: mailto:…"
)
@click.option(
    "--take-over", is_flag=True, help="Take the place of a deposit on another machine that has ended."
)
@click.option(
    "--jobs",
    type=click.IntRange(1, 1024),
    default=None,
    help="Files verified at once.  [default: one for each core]",
)
@_options.work_option
@_options.json_option
def deposit(
    bundles: tuple[Path, ...],
    address: str,
    object_id: str,
    id_prefix: str | None,
    layout_name: str | None,
    message: str,
    name: str | None,
    agent_address: str | None,
    take_over: bool,
    jobs: int | None,
    work: Path,
    as_json: bool,
) -> int:
    """Verify each BUNDLE, a bag in a folder, .tar, .tar.gz or .zip, and put it into a store: an OCFL storage
    root, which is made if it is not there.

    The first time a bundle becomes an object, later a new version of it with only what changed; the same
    again changes nothing. A bundle that is rejected is not deposited. Every byte is read back from the store
    before a deposit counts; then its receipt is written.
    """
    from pipeline.storage import Storage
    from pipeline.verify import Options

    if object_id and len(bundles) > 1:
        raise click.BadParameter("names the object of one bundle, found several bundles", param_hint="'--id'")
    unit = _stores.settings()
    storage = Storage(
        store=_stores.opened(address),
        layout=_layout(layout_name),
        options=Options(threads=jobs or _options.cores()),
        depositor=_stores.depositor(unit, name, agent_address),
        id_prefix=unit.id_prefix if id_prefix is None else id_prefix,
        work=work,
        now=_options.now(),
        host=socket.gethostname(),
        software_version=__version__,
        message=message,
        take_over=take_over,
    )
    documents = _options.each_item(
        bundles,
        lambda path: _one(storage, path, object_id, alone=len(bundles) == 1, as_json=as_json),
    )
    _render.say_failures(documents)
    if as_json:
        _render.show_json(documents)
    return _options.highest_status(documents)


def _layout(name: str | None) -> Layout | None:
    """Return the layout of that name or number. Raises a usage error for one that is not known."""
    from pipeline.ocfl.layouts import LAYOUTS, layout_of

    if name is None:
        return None
    found = [known for known in LAYOUTS if name == known or name == known.partition("-")[0]]
    if not found:
        raise click.BadParameter(
            f'found "{name}", expected one of {", ".join(sorted(LAYOUTS))}', param_hint="'--layout'"
        )
    return layout_of(found[0])


def _one(storage: Storage, path: Path, object_id: str, *, alone: bool, as_json: bool) -> _options.Document:
    with (
        _render.progress(name=path.name) if alone or sys.stderr.isatty() else nullcontext(SILENT) as progress
    ):
        outcome = storage.take(path, progress, object_id=object_id)
    if not as_json:
        _show(outcome, path)
    return {
        "bundle": outcome.verdict.name,
        "folder": str(path),
        "status": int(outcome.verdict.exit_status),
        "verified": outcome.verdict.outcome.value,
        "store": storage.store.url,
        **_deposited(outcome),
    }


def _deposited(outcome: Outcome) -> _options.Document:
    done = outcome.deposited
    if done is None:
        return {"deposited": None, "findings": _render.finding_rows(outcome.verdict.report.findings)}
    return {
        "deposited": {
            "object": done.object_id,
            "version": done.version,
            "is_new": done.is_new,
            "created": done.created,
            "place": done.place,
            "digest_algorithm": done.digest_algorithm,
            "inventory_digest": done.inventory_digest,
            "files": done.files,
            "size_bytes": done.size_bytes,
            "written_files": done.written_files,
            "written_bytes": done.written_bytes,
            "changes": {
                "added": list(done.changes.added),
                "changed": list(done.changes.changed),
                "renamed": [list(each) for each in done.changes.renamed],
                "removed": list(done.changes.removed),
                "kept": done.changes.kept,
            },
            "remarks": list(done.remarks),
        },
        "receipt": str(outcome.receipt) if outcome.receipt else None,
    }


def _show(outcome: Outcome, path: Path) -> None:
    head = f"{visible(outcome.verdict.name)}: "
    done = outcome.deposited
    if done is None:
        said = click.style("rejected, not deposited", fg="red", bold=True)
        _render.show(f"; {_render.counts(outcome.verdict.report)}", head=head + said)
        _render.show_findings(outcome.verdict.report, everything=f"in the report of: solander verify {path}")
    elif not done.is_new:
        _render.show(
            f"nothing to do: {done.object_id} has it as {done.version}, deposited {_when(done.created)}",
            head=head,
        )
    else:
        said = click.style(f"deposited as {done.version}", fg="green", bold=True)
        _render.show(f" of {done.object_id}", head=head + said)
        size = _render.counted(done.written_bytes, "byte")
        _render.show(f"{done.changes}; {size} written, all read back and right", indent=2)
        _render.show(str(outcome.receipt), head="receipt  ", indent=2)


def _when(created: str) -> str:
    return re.sub(r"T(\d\d:\d\d):.*", r" \1", created)
