"""`solander audit`: proves what is in long-term storage, a part of it every night."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import re
import socket
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from pipeline import __version__
from pipeline.cli import _options, _render
from pipeline.errors import ExitStatus, InputError

_UNITS_S = {"s": 1, "min": 60, "m": 60, "h": 3600, "d": 86_400, "w": 7 * 86_400}
_UNITS_BYTES: dict[str, float] = {
    **{f"{prefix}B": 1000**power for power, prefix in enumerate(("", "k", "M", "G", "T"))},
    **{f"{prefix}iB": 1024**power for power, prefix in enumerate(("", "K", "M", "G", "T")) if power},
}

_LONGEST_S = 1000 * 366 * 86_400
_SLOWEST_BYTES_PER_S = 100_000
"""Less than that would prove nothing in a lifetime, and could not be stopped within seconds."""


class _Duration(click.ParamType):  # type: ignore[type-arg, unused-ignore]
    """A span of time such as ``2h``, ``1h30min`` or ``90d``, in seconds."""

    name = "duration"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        text = str(value).replace(" ", "")
        parts = re.findall(r"(\d+(?:\.\d+)?)(min|[smhdw])", text)
        total = sum(float(number) * _UNITS_S[unit] for number, unit in parts)
        is_span = "".join(f"{number}{unit}" for number, unit in parts) == text
        if not is_span or not 0 < total <= _LONGEST_S:
            self.fail(f'found "{value}", expected a span of time such as 45min, 2h or 90d', param, ctx)
        return total


class _Rate(click.ParamType):  # type: ignore[type-arg, unused-ignore]
    """A speed such as ``50MB/s``, in bytes a second."""

    name = "rate"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*([kKMGT]?i?B)(?:/s)?\s*", str(value))
        unit = match[2].replace("KB", "kB").replace("kiB", "KiB") if match else ""
        if match is None or unit not in _UNITS_BYTES:
            self.fail(f'found "{value}", expected bytes a second such as 50MB/s', param, ctx)
        bytes_per_s = float(match[1]) * _UNITS_BYTES[unit]
        if bytes_per_s < _SLOWEST_BYTES_PER_S:
            self.fail(f'found "{value}", expected 100kB/s at least, such as 50MB/s', param, ctx)
        return bytes_per_s


@click.command(short_help="Prove what is in long-term storage.")
@click.argument("store_address", metavar="STORE")
@click.option("--budget", type=_Duration(), help="Begin no file after so long, for example 2h.")
@click.option("--rate", type=_Rate(), help="Read no faster, for example 50MB/s.")
@click.option("--oldest-first", is_flag=True, help="Begin with what was never proved, or longest ago.")
@click.option("--sample", metavar="N", type=click.IntRange(1), help="Prove N objects, drawn at random.")
@click.option(
    "--within",
    type=_Duration(),
    help="Prove what keeps every object proved once in this time, for example 90d; say if that falls behind.",
)
@click.option("--replica", metavar="URL", help="Compare with this other copy, and say what it can mend.")
@click.option(
    "--repair",
    is_flag=True,
    help="Mend damaged files and bring back lost objects from the replica; what was there is kept aside.",
)
@click.option(
    "--record",
    "record_file",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    help="When each object was proved.  [default: a file for each store in .solander/audits]",
)
@click.option(
    "--forget",
    metavar="OBJECT",
    multiple=True,
    help="First take out of the record an object that was removed or replaced on purpose.",
)
@click.option(
    "--report",
    "reports",
    type=_options.FOLDER,
    callback=_options.writable,
    default=Path("reports"),
    show_default=True,
    help="Where the report goes: a page, a document, and PREMIS events.",
)
@_options.reading_option
@_options.json_option
def audit(
    store_address: str,
    budget: float | None,
    rate: float | None,
    oldest_first: bool,
    sample: int | None,
    within: float | None,
    replica: str | None,
    repair: bool,
    record_file: Path | None,
    forget: tuple[str, ...],
    reports: Path,
    jobs: int | None,
    as_json: bool,
) -> int:
    """Prove the objects of STORE, an OCFL storage root in a folder or s3://bucket/prefix: structure, and
    every byte against its digest.

    Nothing in the store is changed without --repair. The status is 6 if anything is damaged or lost, 3 if
    something is not built as it must be, 7 if something could not be read; the highest counts.
    """
    from pipeline.audit.auditing import audit as perform
    from pipeline.audit.record import opened
    from pipeline.audit.reports import Reports
    from pipeline.audit.values import Clock, Options
    from pipeline.stores import open_store

    if repair and replica is None:
        raise click.UsageError("--repair mends from another copy: give its address as --replica")
    if sample is not None and (oldest_first or within is not None):
        raise click.UsageError("--sample draws at random: leave out --oldest-first and --within")
    store = open_store(store_address)
    other = open_store(replica) if replica is not None else None
    if other is not None and other.url == store.url:
        raise click.UsageError("--replica is the store itself: give the address of another copy")
    record_file = record_file or _record_of(store.url)
    _refuse_inside(store, reports, "--report")
    _refuse_inside(store, record_file, "--record")
    options = Options(
        threads=jobs or max(2, _options.cores()),
        budget_s=budget,
        bytes_per_s=rate,
        is_oldest_first=oldest_first,
        sample=sample,
        within=dt.timedelta(seconds=within) if within is not None else None,
        repairs=repair,
        host=socket.gethostname(),
        pid=os.getpid(),
    )
    clock = Clock(now=_options.now, seconds=time.monotonic, sleep=time.sleep)
    with opened(record_file) as record:
        for name in forget:
            if not record.forget(name):
                raise InputError(
                    f'{record_file}: knows no object "{name}"; give its identifier, or its place'
                )
        written = Reports(reports, record, store.url, started=clock.now(), version=__version__)
        with _render.progress() as progress:
            try:
                done = perform(
                    store,
                    record,
                    options,
                    clock=clock,
                    replica=other,
                    progress=progress,
                    on_outcome=written.take,
                )
            finally:
                written.flush()
        document = written.close(done)
    if as_json:
        _render.show_json([{"folder": store.url, "status": int(done.exit_status), **document}])
    else:
        _show(document, reports, took_s=done.took_s)
    return done.exit_status


def _record_of(url: str) -> Path:
    """The record of a store, if none is named: one file for each address."""
    from pipeline.files import slug

    name = f"{slug(url)[-60:].strip('-_')}-{hashlib.sha256(url.encode()).hexdigest()[:8]}"
    return Path(".solander") / "audits" / f"{name}.sqlite"


def _refuse_inside(store: Any, path: Path, option: str) -> None:
    """Refuse to write our own files into the store. Raises a usage error."""
    folder = getattr(store, "folder", None)
    if isinstance(folder, Path) and path.resolve().is_relative_to(folder.resolve()):
        found = f'found "{path}", which is inside the store'
        raise click.BadParameter(f"{found}, expected a place outside of it", param_hint=f"'{option}'")


# ------------------------------------------------------------------------------------------ what is said

_SHOWN = 20
"""Objects that the terminal tells of; the report has the others."""
_COLOURS = {
    "lost": "red",
    "damaged": "red",
    "could not be read": "red",
    "mended": "yellow",
    "faulty": "yellow",
    "not finished": "cyan",
    "intact": "green",
}


def _show(document: Mapping[str, Any], reports: Path, *, took_s: float) -> None:
    from pipeline.report.audit import standing_lines, summary_of, word_of

    colour = "green" if document["exit_status"] == ExitStatus.DONE else "red"
    _render.show(
        f"; {summary_of(document)}{_speed(document, took_s)}",
        head=f"{document['store']}: {click.style(word_of(document).lower(), fg=colour, bold=True)}",
    )
    grave = [each for each in document["objects"] if each["condition"] != "intact"]
    for each in sorted(grave, key=lambda each: list(_COLOURS).index(each["condition"]))[:_SHOWN]:
        _show_object(each)
    if len(grave) > _SHOWN:
        _render.show(
            f"… and {_render.counted(len(grave) - _SHOWN, 'more object')}, all in the report", indent=2
        )
    for finding in document["root"]:
        _show_finding(finding, whole="the storage root", indent=2)
    for line in standing_lines(document["standing"]):
        _render.show(line, indent=2)
    _render.show(str(reports / "audit.html"), head="report  ", indent=2)


def _speed(document: Mapping[str, Any], took_s: float) -> str:
    read_bytes = document["run"]["read_bytes"]
    rate = _render.rate(read_bytes, took_s) if read_bytes >= 1_000_000 else ""
    return f" Took {_render.duration(took_s)}{f', {rate}' if rate else ''}."


def _show_object(plain: Mapping[str, Any]) -> None:
    head = click.style(plain["condition"], fg=_COLOURS[plain["condition"]], bold=True)
    name = " ".join(filter(None, [plain["id"] or plain["place"], plain["head"]]))
    _render.show(f"  {name}  ({plain['place']})", head=head, indent=2)
    errors = [each for each in plain["findings"] if each["level"] == "error"]
    for finding in errors[:_SHOWN]:
        _show_finding(finding, whole="the object", indent=6)
    if len(errors) > _SHOWN:
        _render.show(f"… and {len(errors) - _SHOWN:,} more, all in the report", indent=6)
    for trouble in plain["trouble"][:_SHOWN]:
        _render.show(trouble["reason"], indent=6)
    for mend in plain["mends"][:_SHOWN]:
        _show_mend(mend)


def _show_finding(finding: Mapping[str, Any], *, whole: str, indent: int) -> None:
    place = finding["place"] or whole
    said = f"{place}: {finding['value']}; expected {finding['limit']}"
    _render.show(f"{finding['code']}  {finding['title']}: {said}", indent=indent)


def _show_mend(mend: Mapping[str, Any]) -> None:
    path = mend["path"] or "the whole object"
    if mend["is_mended"]:
        kept = f"; what was there before is kept as {mend['kept_aside']}" if mend["kept_aside"] else ""
        _render.show(f"{path} mended from {mend['source']}, and proved{kept}", head="→ ", indent=6)
    elif mend["source"]:
        why = f", but {mend['hindrance']}" if mend["hindrance"] else "; --repair would put it in place"
        _render.show(f"{path} is intact in {mend['source']}{why}", head="→ ", indent=6)
    else:
        _render.show(f"{path}: {mend['hindrance']}", head="→ ", indent=6)
