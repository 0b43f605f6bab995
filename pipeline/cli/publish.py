"""`solander publish`: verified bundles become items of a site of plain files."""

from __future__ import annotations

import re
import shlex
import sys
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import click

from pipeline.cli import _options, _render
from pipeline.errors import ExitStatus, InputError
from pipeline.files import visible
from pipeline.findings import Level
from pipeline.progress import SILENT

if TYPE_CHECKING:
    from pipeline.publication import Publication
    from pipeline.publish import Plan, Publisher
    from pipeline.verify import Options


def _base_url(context: click.Context, parameter: click.Parameter, given: str) -> str:
    """Refuse what cannot be the beginning of every address of a site; a slash at the end is taken off."""
    url = given.rstrip("/")
    try:
        parts = urlsplit(url)
        is_good = parts.scheme in ("http", "https") and bool(parts.hostname) and (parts.port or 1) > 0
    except ValueError:
        is_good = False
    if url and (not is_good or not re.fullmatch(r"[A-Za-z0-9:/._~%\[\]-]+", url)):
        raise click.BadParameter(
            f'found "{given}", expected an address without ? or #, such as https://images.example.org/books'
        )
    return url


@click.command(short_help="Put verified bundles on a site that any web server can serve.")
@click.argument("bundles", metavar="[BUNDLE]…", nargs=-1, type=click.Path(path_type=Path))
@click.option(
    "--site",
    "place",
    type=_options.FOLDER,
    callback=_options.writable,
    required=True,
    help="The site's folder, which a web server serves; made if it is not there.",
)
@click.option(
    "--base-url",
    metavar="URL",
    default="",
    callback=_base_url,
    help="Where the site's folder is public. The default is the site's own, or base_url in solander.toml.",
)
@click.option(
    "--remove",
    "removed",
    metavar="ITEM",
    multiple=True,
    help="Leave a tombstone of an item; may be repeated.",
)
@click.option("--dry-run", "is_dry", is_flag=True, help="Verify, and say what would change; change nothing.")
@click.option(
    "--pdf/--no-pdf",
    "has_pdf",
    default=None,
    help="Make a PDF of each item from its access images.  [default: of those that have one]",
)
@_options.reading_option
@_options.json_option
def publish(
    bundles: tuple[Path, ...],
    place: Path,
    base_url: str,
    removed: tuple[str, ...],
    is_dry: bool,
    has_pdf: bool | None,
    jobs: int | None,
    as_json: bool,
) -> int:
    """Verify each publication BUNDLE, a folder, .tar, .tar.gz or .zip, and put its item on a site.

    A bundle that is rejected changes nothing. A reader never meets half of an item: what is served of it is
    replaced in one instant. The same bundle again changes nothing.
    """
    from pipeline import pages
    from pipeline.publish.record import FOLDER
    from pipeline.verify import Options

    if not bundles and not removed:
        raise click.UsageError("Give a BUNDLE to publish, or an item with --remove.")
    if not bundles and not (place / FOLDER).is_dir():
        raise InputError(f"{place}: is no site of solander, and nothing can be removed from it")
    options = Options(threads=jobs or _options.cores())
    with _opened(place, base_url, is_dry=is_dry) as publisher:
        run = _Run(publisher=publisher, options=options, is_dry=is_dry, has_pdf=has_pdf, as_json=as_json)
        if publisher.taken_up:
            _render.note(f"{publisher.taken_up}: finished what an interrupted run had begun")
        if bundles and (missing := pages.lacks()):
            _render.note(missing)
        documents = _options.each_item([Path(item) for item in removed], run.remove)
        if not documents or documents[-1]["status"] != ExitStatus.INTERRUPTED:
            documents += _options.each_item(bundles, run.publish)
        site = publisher.site
    _render.say_failures(documents)
    if as_json:
        _render.show_json(documents)
    else:
        dry = "; a dry run, nothing was changed" if is_dry else ""
        _render.show(f"{site.base_url}/, {_render.counted(site.items, 'item')}{dry}", head="site  ")
    return _options.highest_status(documents)


@contextmanager
def _opened(place: Path, base_url: str, *, is_dry: bool) -> Iterator[Publisher]:
    """Give the site, with what the unit's settings say where the command line does not."""
    from pipeline.model import LanguageMap
    from pipeline.publish import looked_at, opened
    from pipeline.record import find_settings, load_settings

    found = find_settings(place) or find_settings(Path())
    title = LanguageMap()
    if found:
        settings = load_settings(found)
        title = settings.holder.name
        if not settings.base_url_is_default:
            base_url = base_url or settings.base_url
    if is_dry:
        yield looked_at(place, base_url, title)
        return
    with opened(place, base_url, title, _options.instant) as publisher:
        yield publisher


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    """One command line, for each bundle and item."""

    publisher: Publisher
    options: Options
    is_dry: bool
    has_pdf: bool | None
    as_json: bool

    def publish(self, path: Path) -> _options.Document:
        """Publish one bundle, show what came of it, and return it."""
        from pipeline.publication import publish

        with _render.progress(name=path.name) if sys.stderr.isatty() else nullcontext(SILENT) as progress:
            found = publish(
                self.publisher,
                path,
                self.options,
                has_pdf=self.has_pdf,
                is_dry=self.is_dry,
                progress=progress,
            )
        if not self.as_json:
            self._show(path, found)
        return {"folder": str(path), "status": int(found.exit_status), **self._document(found)}

    def remove(self, item: Path) -> _options.Document:
        """Remove one item, show what came of it, and return it."""
        from pipeline.publish import Outcome

        name = str(item)
        if self.is_dry:
            outcome = Outcome.UNCHANGED if self.publisher.removal(name).is_removed else Outcome.REMOVED
        else:
            outcome = self.publisher.remove(name).outcome
        if not self.as_json:
            said = "removed already" if outcome is Outcome.UNCHANGED else self._would("removed")
            _render.show(f"{said}; a page at items/{name}/ says so", head=f"{name}: ")
        return {"folder": name, "status": 0, "item": name, "outcome": outcome.value}

    # -------------------------------------------------------------------------------------- what is said

    def _would(self, done: str) -> str:
        return f"would be {done}" if self.is_dry else done

    def _show(self, path: Path, found: Publication) -> None:
        if found.plan is None:
            assert found.verdict is not None
            rejected = click.style("rejected", fg="red", bold=True)
            _render.show(
                f"; {_render.counts(found.verdict.report)}; nothing was published",
                head=f"{visible(found.verdict.name)}: {rejected}",
            )
            by = f"by: solander verify {shlex.quote(str(path))}"
            _render.show_findings(found.verdict.report, everything=by)
            return
        head = click.style(_outcome(self, found), fg="green" if found.verdict else None)
        _render.show(_in_words(found, self.is_dry), head=f"{found.item}: {head}")
        if left_out := found.plan.contents.left_out:
            _render.note(
                f"{_render.counted(len(left_out), 'file')} of the bundle not published; a site has no place "
                f"for {left_out[0]}{' and others' if len(left_out) > 1 else ''}"
            )

    def _document(self, found: Publication) -> _options.Document:
        report = found.verdict.report if found.verdict else None
        document: _options.Document = {
            "item": found.item,
            "outcome": found.plan.outcome.value if found.plan else "rejected",
            "findings": _render.finding_rows(report.findings) if report else [],
        }
        if found.plan:
            base_url = self.publisher.site.base_url
            document |= {
                "page": f"{base_url}/items/{found.item}/",
                "manifest": f"{base_url}/iiif/{found.item}/manifest.json",
                "views": found.plan.entry.views,
                "files": found.plan.files,
                "size_bytes": found.plan.contents.size_bytes,
                "changed_files": found.plan.changed_files,
                "placed": dict(found.done.placed) if found.done else {},
                "left_out": list(found.plan.contents.left_out),
            }
        return document


def _outcome(run: _Run, found: Publication) -> str:
    from pipeline.publish import Outcome

    assert found.plan is not None
    if found.plan.outcome is Outcome.UNCHANGED:
        return "unchanged"
    if run.is_dry:
        return f"would be {'added' if found.plan.outcome is Outcome.NEW else 'replaced'}"
    return "published" if found.plan.outcome is Outcome.NEW else "replaced"


def _in_words(found: Publication, is_dry: bool) -> str:
    """What follows the outcome: how much of what, and how it got there."""
    from pipeline.publish import Outcome

    plan = found.plan
    assert plan is not None
    if plan.outcome is Outcome.UNCHANGED:
        return ", nothing to do"
    said = [_render.counted(plan.entry.views, "view"), _files(plan)]
    if plan.outcome is Outcome.REPLACED:
        said.append(_changed(plan))
    if found.done and found.done.placed:
        said.append(", ".join(f"{count:,} {_WAYS[way]}" for way, count in found.done.placed.items()))
    if found.verdict and found.verdict.count(Level.WARNING):
        said.append(_render.counted(found.verdict.count(Level.WARNING), "warning") + " of verification")
    return "; " + "; ".join(said)


_WAYS = {"reflink": "sharing blocks", "hard link": "linked", "copy": "copied", "written": "written"}


def _files(plan: Plan) -> str:
    from pipeline.wrap import readable_size

    return f"{_render.counted(plan.files, 'file')}, {readable_size(plan.contents.size_bytes)}"


def _changed(plan: Plan) -> str:
    if not plan.changed_files:
        return "its own files as they were, its page or settings new"
    return f"{_render.counted(plan.changed_files, 'file')} of the bundle changed"
