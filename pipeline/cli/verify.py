"""`solander verify`: accepts or rejects bundles, and writes a report that can be worked through."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from contextlib import nullcontext
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline import __version__
from pipeline.cli import _options, _render
from pipeline.errors import ExitStatus, SettingsError
from pipeline.files import visible
from pipeline.progress import SILENT
from pipeline.verdict import Delivery, Outcome, Verdict

if TYPE_CHECKING:
    from pipeline.acceptance import Acceptance
    from pipeline.delivery import DeliverySpecification

_COLOURS = {Outcome.ACCEPTED: "green", Outcome.REMARKS: "yellow", Outcome.REJECTED: "red"}


@click.command(short_help="Accept or reject bundles, own or a contractor's.")
@click.argument("bundles", metavar="BUNDLE…", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--specification",
    "terms",
    metavar="FILE",
    type=click.Path(path_type=Path),
    default=None,
    help="The delivery specification to hold bundles against: a TOML file, see docs/deliveries.md.",
)
@click.option(
    "--report",
    "reports",
    type=_options.FOLDER,
    callback=_options.writable,
    default=Path("reports"),
    show_default=True,
    help="Where the reports go: a page and a document for each bundle, a page and a table for all.",
)
@click.option("--quick", is_flag=True, help="Judge structure alone: no payload file is read.")
@click.option("--sample", is_flag=True, help="Draw frames for inspection by eye, and lay out contact sheets.")
@click.option(
    "--official-schemas",
    metavar="DIR",
    type=click.Path(path_type=Path),
    default=None,
    help="Ask the publishers' own XML schemas in this folder too.",
)
@_options.reading_option
@_options.json_option
def verify(
    bundles: tuple[Path, ...],
    terms: Path | None,
    reports: Path,
    quick: bool,
    sample: bool,
    official_schemas: Path | None,
    jobs: int | None,
    as_json: bool,
) -> int:
    """Accept or reject each BUNDLE: a bag in a folder, .tar, .tar.gz or .zip, or a bare manifest.json,
    info.json or mets.xml.

    Nothing is changed, unpacked to its own paths, or fetched. The status is 6 if a checksum does not match, 3
    if a bundle is rejected for anything else.
    """
    from pipeline import xmldoc
    from pipeline.acceptance import Acceptance
    from pipeline.verify import Options

    _refuse_reports_inside(bundles, reports)
    if official_schemas:
        xmldoc.official_schema(official_schemas)  # says what is wrong before the first bundle is read
    options = Options(
        terms=_terms(terms),
        is_quick=quick,
        official_schemas=official_schemas,
        draws_sample=sample,
        is_alone=len(bundles) == 1,
        threads=jobs or _options.cores(),
    )
    acceptance = Acceptance(
        options=options, reports=reports, now=_options.now(), made_by=f"solander {__version__}"
    )
    places = count(1)
    documents = _options.each_item(
        bundles,
        lambda path: _one(acceptance, path, next(places), of=len(bundles), as_json=as_json),
        interrupted="interrupted; the reports of bundles that were judged are kept",
    )
    if documents[-1]["status"] == ExitStatus.INTERRUPTED:
        for path in bundles[len(documents) - 1 :]:
            acceptance.leave(path, "the run was interrupted before it was judged")
    delivery = acceptance.close()
    _render.say_failures(documents)
    between = ExitStatus.WANTING if delivery.between.outcome == "fail" else ExitStatus.DONE
    if as_json:
        _render.show_json([*documents, *_between(delivery, reports, between)])
    else:
        _show_end(delivery, reports)
    return max(_options.highest_status(documents), between)


def _refuse_reports_inside(bundles: Sequence[Path], reports: Path) -> None:
    """Refuse to write reports into a bundle: nothing in it is to be changed. Raises a usage error."""
    place = reports.resolve()
    for bundle in bundles:
        if bundle.is_dir() and place.is_relative_to(bundle.resolve()):
            found = f'found "{reports}", which is inside the bundle "{bundle}"'
            raise click.BadParameter(f"{found}, expected a folder outside of it", param_hint="'--report'")


def _between(delivery: Delivery, reports: Path, status: ExitStatus) -> list[_options.Document]:
    """What was found between bundles, as one more document; none if nothing was."""
    if not delivery.between.findings:
        return []
    return [
        {
            "between": "bundles",
            "status": int(status),
            "report": str(reports / "delivery.html"),
            "findings": _render.finding_rows(delivery.between.findings),
        }
    ]


def _terms(path: Path | None) -> DeliverySpecification:
    """Read the delivery specification, and check the codes that it weighs. Raises SettingsError."""
    from pipeline.delivery import DEFAULT, load
    from pipeline.verify import registers

    if path is None:
        return DEFAULT
    terms = load(path)
    known = {code for register in registers() for code in register.rules}
    if unknown := sorted(terms.severity.keys() - known):
        raise SettingsError(
            f"{path}: [severity] names no rules of verification: {', '.join(unknown)}; "
            "see the codes with: solander rules"
        )
    return terms


def _one(acceptance: Acceptance, path: Path, place: int, *, of: int, as_json: bool) -> _options.Document:
    """Judge the bundle at a `place` among those given; a log has a line for each of several, no progress."""
    alone = of == 1
    name = path.name if alone else f"{place:,} of {of:,}: {path.name}"
    with _render.progress(name=name) if alone or sys.stderr.isatty() else nullcontext(SILENT) as progress:
        verdict, page = acceptance.take(path, progress)
    if not as_json:
        _show(verdict)
        if alone:
            _render.show_findings(verdict.report, everything="in the report")
            _render.show(str(page), head="report  ", indent=2)
    return {
        "bundle": verdict.name,
        "folder": str(path),
        "status": int(verdict.exit_status),
        "outcome": verdict.outcome.value,
        "report": str(page.with_suffix(".json")),
        "findings": _render.finding_rows(verdict.report.findings),
    }


def _show(verdict: Verdict) -> None:
    """One line: what it is, what became of it, how much of what was found."""
    outcome = click.style(verdict.outcome.value, fg=_COLOURS[verdict.outcome], bold=True)
    head = f"{visible(verdict.name)}: {outcome}"
    quick = ", structure alone" if verdict.is_quick else ""
    files = _render.counted(verdict.files, "file")
    _render.show(f"; {_render.counts(verdict.report)}; {files}{quick}", head=head)


def _show_end(delivery: Delivery, reports: Path) -> None:
    if delivery.between.findings:
        _render.show("between bundles", head="")
        _render.show_findings(delivery.between, everything="in the summary")
    given = len(delivery.verdicts) + len(delivery.not_judged)
    if given > 1 and delivery.verdicts:
        said = [f"{count:,} {outcome}" for outcome in Outcome if (count := delivery.outcomes[outcome])]
        if delivery.not_judged:
            said.append(f"{len(delivery.not_judged):,} not judged")
        _render.show(f"{_render.counted(given, 'bundle')}: {', '.join(said)}")
        _render.show(str(reports / "delivery.html"), head="summary  ", indent=2)
