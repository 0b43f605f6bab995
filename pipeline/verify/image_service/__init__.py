"""Image services: info.json of the IIIF Image API, and the tiles and sizes that it promises."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pipeline.findings import Level, Register, Report
from pipeline.verify import iiif_documents
from pipeline.verify.evidence import Bundle, Judged
from pipeline.verify.image_service.bundle_rules import SERVICES, ServicesFacts
from pipeline.verify.image_service.document_rules import IS_SIZED, SERVICE
from pipeline.verify.image_service.file_rules import FILES, PIXELS
from pipeline.verify.image_service.services import Service, ServiceFacts, files_below

__all__ = ["judge", "registers"]


def registers() -> tuple[Register[Any], ...]:
    """All rules of this family, in the order in which they run."""
    return (SERVICE, FILES, PIXELS, SERVICES)


def judge(bundle: Bundle) -> Judged:
    """Judge every image service of a bundle, or one info.json."""
    found = iiif_documents.image_documents(iiif_documents.documents(bundle))
    services = [Service(document=document) for document in found]
    below = files_below(bundle, [service.folder for service in services])
    report = Report.joined([_judge(bundle, each, below.by_folder[each.folder]) for each in services])
    report += _not_judged(bundle, services)
    if not bundle.container.is_document:
        readable = [each for each in services if not each.document.reading.failure]
        facts = ServicesFacts(services=readable, elsewhere=below.elsewhere)
        report += SERVICES.judge(facts, place=bundle.place)
    return Judged(report=report, judged=tuple(each.path for each in services))


def _judge(bundle: Bundle, service: Service, files: frozenset[str]) -> Report:
    facts = ServiceFacts(bundle=bundle, service=service, files=files)
    report = SERVICE.judge(facts, place=service.path)
    if facts.is_alone:
        return report
    registers = (FILES,) if bundle.is_quick else (FILES, PIXELS)
    fallen = {finding.code for finding in report.at(Level.ERROR)} & IS_SIZED
    for register in registers:
        if fallen:
            reason = f"not judged, because of {min(fallen)}"
            report += register.skipped(service.path, reason)
        else:
            report += register.judge(facts, place=service.path)
    return report


def _not_judged(bundle: Bundle, services: Sequence[Service]) -> Report:
    """What no service of this bundle is judged by, and why: said once."""
    if not services:
        return Report()
    if bundle.container.is_document:
        reason = "a document alone has no files beside it"
        return Report.joined(
            [register.skipped(bundle.place, reason) for register in (FILES, PIXELS, SERVICES)]
        )
    if bundle.is_quick:
        return PIXELS.skipped(bundle.place, "only structure was judged, no payload was read")
    return Report()
