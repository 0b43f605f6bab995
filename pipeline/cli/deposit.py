"""`solander deposit`: verified bundles go into long-term storage, version by version."""

from __future__ import annotations

import re
import shlex
import socket
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline import __version__
from pipeline.cli import _options, _render, _stores
from pipeline.errors import ExitStatus, InputError
from pipeline.files import visible

if TYPE_CHECKING:
    from pipeline.deposit import Deposited
    from pipeline.ocfl.layouts import Layout
    from pipeline.storage import Outcome, Storage


@click.command(short_help="Put verified bundles into long-term storage.")
@click.argument("bundles", metavar="BUNDLE…", nargs=-1, required=True, type=click.Path(path_type=Path))
@_stores.store_option
@click.option("--id", "object_id", metavar="ID", default="", help="Name the object of one bundle yourself.")
@click.option(
    "--events",
    "are_events",
    is_flag=True,
    help="Each BUNDLE is a PREMIS document: add its events, such as those of audits, to their objects.",
)
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
@_options.reading_option
@_options.work_option
@_options.json_option
def deposit(
    bundles: tuple[Path, ...],
    address: str,
    object_id: str,
    are_events: bool,
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

    With --events the arguments are PREMIS documents: each object that they tell of, or the one of --id, gets
    its events in a new version, beside the bag and each once.
    """
    from pipeline.storage import Storage
    from pipeline.verify import Options

    if object_id and len(bundles) > 1 and not are_events:
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
    if are_events:
        documents = _add_events(storage, bundles, object_id, as_json=as_json)
    else:
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
    with _render.progress(name=path.name, is_brief=not alone) as progress:
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


def _add_events(
    storage: Storage, documents: tuple[Path, ...], object_id: str, *, as_json: bool
) -> list[_options.Document]:
    """Add events to each object that they tell of. Raises InputError for what is no PREMIS."""
    from pipeline import deposit

    def one(name: str) -> _options.Document:
        with _render.progress(name=name, is_brief=True) as progress:
            done, receipt = storage.add_events(events, name, progress)
        if not as_json:
            _show_events(done, receipt)
        return {
            "object": name,
            "status": int(ExitStatus.DONE),
            "store": storage.store.url,
            "deposited": _document(done),
            "receipt": str(receipt) if receipt else None,
        }

    events = deposit.read_events({str(path): _read(path) for path in documents})
    if not (names := [object_id] if object_id else events.objects):
        raise InputError(f"{documents[0]}: names no object; expected events of objects in the store")
    return _options.each_item(names, one)


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror or error})") from error


def _show_events(done: Deposited, receipt: Path | None) -> None:
    if not done.is_new:
        _render.show(f"nothing to do: {done.version} has these events", head=f"{done.object_id}: ")
        return
    said = click.style(f"{_render.counted(done.events, 'event')} added", fg="green", bold=True)
    _render.show(f" in {done.version}; the bag is as it was", head=f"{done.object_id}: {said}")
    _render.show(str(receipt), head="receipt  ", indent=2)


def _deposited(outcome: Outcome) -> _options.Document:
    done = outcome.deposited
    if done is None:
        return {"deposited": None, "findings": _render.finding_rows(outcome.verdict.report.findings)}
    return {"deposited": _document(done), "receipt": str(outcome.receipt) if outcome.receipt else None}


def _document(done: Deposited) -> _options.Document:
    return {
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
        "events": done.events,
        "changes": {
            "added": list(done.changes.added),
            "changed": list(done.changes.changed),
            "renamed": [list(each) for each in done.changes.renamed],
            "removed": list(done.changes.removed),
            "kept": done.changes.kept,
        },
        "remarks": list(done.remarks),
    }


def _show(outcome: Outcome, path: Path) -> None:
    head = f"{visible(outcome.verdict.name)}: "
    done = outcome.deposited
    if done is None:
        said = click.style("rejected, not deposited", fg="red", bold=True)
        _render.show(f"; {_render.counts(outcome.verdict.report)}", head=head + said)
        report = f"in the report of: solander verify {shlex.quote(str(path))}"
        _render.show_findings(outcome.verdict.report, everything=report)
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
