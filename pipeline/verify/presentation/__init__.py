"""IIIF manifests and collections: valid by our schema and by what a schema cannot say, true of the bundle."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pipeline.findings import Level, Register, Report, Skipped
from pipeline.verify import iiif_documents
from pipeline.verify.evidence import Bundle, Judged
from pipeline.verify.iiif_documents import DocumentKind, IiifDocument
from pipeline.verify.image_service.services import Service
from pipeline.verify.presentation import addresses, claim_rules, structure_rules, text_rules
from pipeline.verify.presentation.accounts import pages_of
from pipeline.verify.presentation.bundle_rules import DOCUMENTS, DocumentsFacts
from pipeline.verify.presentation.document_rules import DOCUMENT
from pipeline.verify.presentation.facts import PresentationFacts
from pipeline.verify.presentation.file_rules import HELD
from pipeline.verify.presentation.older_rules import OLDER, OLDER_HELD
from pipeline.verify.presentation.property_rules import MANIFEST
from pipeline.verify.presentation.resources import text_of, walk

__all__ = ["judge", "registers"]

_WRITTEN_IN = (text_rules, structure_rules, claim_rules)
"""Modules that add their rules to those of `property_rules`."""

for _register in (MANIFEST, HELD):  # whatever order they were imported in, they run in that of their codes
    _register.rules = dict(sorted(_register.rules.items()))


def registers() -> tuple[Register[Any], ...]:
    """All rules of this family, in the order in which they run."""
    return (DOCUMENT, MANIFEST, HELD, OLDER, OLDER_HELD, DOCUMENTS)


def judge(bundle: Bundle, *, lost: Sequence[str] = ()) -> Judged:
    """Judge every manifest and collection of a bundle, or one document; tell of the pages in manifests.

    `lost` are the paths of files of which other documents told that they are missing.
    """
    found = iiif_documents.documents(bundle)
    documents = iiif_documents.presentation_documents(found)
    if not documents:
        return Judged()
    services = [Service(document=each) for each in iiif_documents.image_documents(found)]
    services = [each for each in services if each.identifier and not each.document.reading.failure]
    where = _addresses(bundle, documents, services)
    by_id = {each.identifier.rstrip("/"): each for each in services}
    facts = [
        PresentationFacts(bundle=bundle, document=each, services=by_id, addresses=where, lost=frozenset(lost))
        for each in documents
    ]
    report = Report.joined([_judge(each) for each in facts] + [_not_judged(bundle, where)])
    if not bundle.container.is_document:
        readable = [each for each in documents if not each.reading.failure]
        together = DocumentsFacts(place=bundle.place, documents=readable, services=services, addresses=where)
        report += DOCUMENTS.judge(together, place=bundle.place)
    told = [each for each in facts if each.is_manifest and not each.document.reading.failure]
    return Judged(
        report=report,
        pages=tuple(pages_of(each) for each in told),
        judged=tuple(each.path for each in documents),
    )


# ---------------------------------------------------------------------------------------------- judging


def _judge(facts: PresentationFacts) -> Report:
    document = facts.document
    report = DOCUMENT.judge(document, place=document.path)
    if document.kind is DocumentKind.OTHER:
        reason = f"not judged, because of {min(found.code for found in report.at(Level.ERROR))}"
        return report + MANIFEST.skipped(document.path, reason)
    is_older = document.kind is DocumentKind.PRESENTATION_2
    rules, held = (OLDER, OLDER_HELD) if is_older else (MANIFEST, HELD)
    report += rules.judge(facts, place=document.path)
    if facts.knows_files:
        report += held.judge(facts, place=document.path)
    return report


def _not_judged(bundle: Bundle, where: addresses.Addresses) -> Report:
    """What nothing in this bundle is judged by, and why: said once."""
    if bundle.container.is_document:
        reason = "a document alone has no files beside it"
        return HELD.skipped(bundle.place, reason) + DOCUMENTS.skipped(bundle.place, reason)
    if not where.bases:
        reason = "none of the addresses could be matched with a file of the bundle"
        return HELD.skipped(bundle.place, reason)
    if bundle.is_quick:
        reason = "only structure was judged, no payload was read"
        rules = (register.rules[code] for register, code in ((HELD, "P030"), (OLDER_HELD, "P107")))
        return Report(
            skipped=tuple(
                Skipped(code=rule.code, place=bundle.place, reason=reason, title=rule.title) for rule in rules
            )
        )
    return Report()


# ------------------------------------------------------------------------------------------- addresses


def _addresses(
    bundle: Bundle, documents: Sequence[IiifDocument], services: Sequence[Service]
) -> addresses.Addresses:
    """Find where addresses lead, from manifests and services; if these tell nothing, from names of images."""
    files = set(bundle.container.files)
    if bundle.container.is_document:
        return addresses.find((), files)
    pairs = [(_identifier(each), each.path) for each in documents]
    pairs += [(each.identifier, each.folder) for each in services]
    found = addresses.find(pairs, files)
    if found.bases:
        return found
    images = [
        resource.identifier
        for document in documents
        for resource in walk(document.value)
        if resource.type == "Image" and not addresses.image_request(resource.identifier)
    ]
    return addresses.find(addresses.by_name(images[:_ENOUGH], sorted(files)), files)


_ENOUGH = 50
"""Images by whose names the base is looked for."""


def _identifier(document: IiifDocument) -> str:
    return text_of(document.value.get("id", document.value.get("@id")))
