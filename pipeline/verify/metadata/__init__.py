"""METS, MIX, PREMIS and MODS of a bundle, wherever they lie in it: documents, references, files, values.

Documents are found by their root elements. Each is parsed, judged as XML, read into values and let go; only
then are the rules run that look from one document to the files and to the other documents.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pipeline import xmldoc
from pipeline.containers import Container, files_by_suffix, read_bytes
from pipeline.errors import InputError
from pipeline.findings import Level, Register, Report
from pipeline.specs import mets
from pipeline.verify.evidence import Bundle, Judged, Pages
from pipeline.verify.metadata.document_rules import DOCUMENT, DocumentFacts
from pipeline.verify.metadata.documents import SUFFIXES, Document, Kind, candidates, load, peek
from pipeline.verify.metadata.file_rules import CONTENTS, LOCATIONS, UNCLAIMED
from pipeline.verify.metadata.knowledge import Knowledge, ReadDocument
from pipeline.verify.metadata.locations import Finder
from pipeline.verify.metadata.mets_reading import digest_name, read_mets
from pipeline.verify.metadata.mix_reading import mix_records
from pipeline.verify.metadata.mix_rules import IMAGES, MIX_FILES, MIX_RECORDS, RecordFacts
from pipeline.verify.metadata.mods_reading import mods_records
from pipeline.verify.metadata.mods_rules import MODS
from pipeline.verify.metadata.paging import pages_of
from pipeline.verify.metadata.premis_reading import premis_entities
from pipeline.verify.metadata.premis_rules import PREMIS, PREMIS_CONTENTS, PREMIS_FILES
from pipeline.verify.metadata.stating import documents_of, stated
from pipeline.verify.metadata.structure_rules import METS
from pipeline.xmldoc import Schema

_NEED_FILES = (LOCATIONS, MIX_FILES, PREMIS_FILES, UNCLAIMED)
"""Families of rules that need the files around a document."""
_NEED_READINGS = (CONTENTS, IMAGES, PREMIS_CONTENTS)
"""Families of rules that need the files read."""

_OF_KIND: dict[Kind, tuple[Register[Any], ...]] = {
    Kind.METS: (METS, LOCATIONS, CONTENTS),
    Kind.MIX: (MIX_RECORDS, MIX_FILES, IMAGES),
    Kind.PREMIS: (PREMIS, PREMIS_FILES, PREMIS_CONTENTS),
    Kind.MODS: (MODS,),
    Kind.OTHER: (),
}
"""Families of rules that are skipped with a document that cannot be judged."""


def registers() -> tuple[Register[Any], ...]:
    """All families of rules over metadata, in the order of their codes."""
    return (
        DOCUMENT,
        METS,
        LOCATIONS,
        CONTENTS,
        UNCLAIMED,
        MIX_RECORDS,
        MIX_FILES,
        IMAGES,
        PREMIS,
        PREMIS_FILES,
        PREMIS_CONTENTS,
        MODS,
    )


def judge(bundle: Bundle, *, official_schemas: Path | None = None) -> Judged:
    """Judge all METS, MIX, PREMIS and MODS of a bundle, or one bare document.

    `official_schemas` is a folder with the publishers' schema files. Raises SettingsError if that cannot be
    used. Of a bare document what needs files is skipped, and without readings what needs their contents.
    """
    official = xmldoc.official_schema(official_schemas) if official_schemas is not None else None
    looked_at = {each.path: _look_at(each, official) for each in _documents(bundle)}
    documents = tuple(found for _, found in looked_at.values() if found is not None)
    reports = [report for report, _ in looked_at.values()]
    knowledge = Knowledge(documents, Finder(bundle))
    reports += (_judge_document(each, knowledge) for each in documents)
    if knowledge.mets:
        reports.append(_run(UNCLAIMED, knowledge, bundle, bundle.place))
    return Judged(
        report=Report.joined(reports),
        pages=tuple(_pages(knowledge)),
        documents=documents_of(knowledge),
        stated=stated(knowledge),
        judged=tuple(path for path, (report, found) in looked_at.items() if found or report.at(Level.ERROR)),
        lost=knowledge.lost,
    )


def _look_at(document: Document, official: Schema | None) -> tuple[Report, ReadDocument | None]:
    """Judge one document as XML and return what it says: its tree is let go before the next is parsed."""
    report = DOCUMENT.judge(DocumentFacts(document=document, official=official), place=document.path)
    if not document.is_sound:
        reason = "the document cannot be read"
        return report + _skipped(_OF_KIND[document.kind], document.path, reason), None
    return report, None if document.kind is Kind.OTHER else read(document)


def _documents(bundle: Bundle) -> Iterator[Document]:
    """Yield the documents that are judged. Others are looked at whole only if payload is read at all."""
    for path in candidates(bundle.container, bundle.by_suffix):
        kind = peek(bundle.container, path)
        if bundle.container.is_document and kind is None and not path.lower().endswith(SUFFIXES):
            continue  # perhaps JSON: another family's
        if kind is not Kind.OTHER or not bundle.is_quick:
            yield load(bundle.container, path, bundle.limits)


def read(document: Document) -> ReadDocument:
    """Return what a sound document says."""
    root, path = document.root, document.path
    assert root is not None
    is_mets = document.kind is Kind.METS
    return ReadDocument(
        path=path,
        kind=document.kind,
        folder=document.folder,
        mets=read_mets(path, root) if is_mets else None,
        mix=tuple(mix_records(path, root)) if document.kind is Kind.MIX else (),
        premis=tuple(premis_entities(path, root)) if document.kind is Kind.PREMIS else (),
        mods=tuple(mods_records(path, root)) if document.kind is Kind.MODS else (),
    )


# ---------------------------------------------------------------------------------------------- judging


def _judge_document(document: ReadDocument, knowledge: Knowledge) -> Report:
    bundle, path = knowledge.finder.bundle, document.path
    reports: list[Report] = []
    if facts := knowledge.mets.get(path):
        reports += (_run(each, facts, bundle, path) for each in (METS, LOCATIONS, CONTENTS))
    records = RecordFacts(document, knowledge)
    if document.all_mix or (facts and any(each.reference for each in facts.reading.sections)):
        reports += (_run(each, records, bundle, path) for each in (MIX_RECORDS, MIX_FILES, IMAGES))
    if document.all_premis:
        reports += (_run(each, records, bundle, path) for each in (PREMIS, PREMIS_FILES, PREMIS_CONTENTS))
    if document.all_mods:
        reports.append(_run(MODS, records, bundle, path))
    return Report.joined(reports)


def _run(register: Register[Any], facts: object, bundle: Bundle, place: str) -> Report:
    """Run a family of rules, or say why it cannot be run."""
    needs_readings = any(register is each for each in _NEED_READINGS)
    needs_files = needs_readings or any(register is each for each in _NEED_FILES)
    if bundle.container.is_document and needs_files:
        return register.skipped(place, "a bare document has no files around it")
    if needs_readings and not bundle.readings:
        reason = "only structure was judged, no payload was read" if bundle.is_quick else "no file was read"
        return register.skipped(place, reason)
    return register.judge(facts, place=place)


def _skipped(families: tuple[Register[Any], ...], place: str, reason: str) -> Report:
    return Report.joined(family.skipped(place, reason) for family in families)


def _pages(knowledge: Knowledge) -> Iterator[Pages]:
    for facts in knowledge.mets.values():
        if (found := pages_of(facts.reading, facts.addresses)) is not None:
            yield found


# --------------------------------------------------------------------------------- before files are read

_ALGORITHMS = re.compile(
    rb"CHECKSUMTYPE\s*=\s*[\"']([^\"'<>]{1,20})[\"']|<(?:[^\s:<>/]{1,40}:)?messageDigestAlgorithm[^<>]{0,400}>([^<>]{1,40})<"
)


def checksum_algorithms(container: Container, *, limit: int = 512 << 20) -> frozenset[str]:
    """Return the digests that documents of a container want to be compared, as bag manifests name them.

    A cheap look at their bytes, to be taken before files are read: then all digests come from one read. A
    document of more than `limit` bytes is passed over.
    """
    found: set[bytes] = set()
    for path in candidates(container, files_by_suffix(container)):
        if peek(container, path) in (Kind.METS, Kind.MIX, Kind.PREMIS):
            try:
                data = read_bytes(container, path, limit=limit)
            except InputError:
                continue
            found.update(one or other for one, other in set(_ALGORITHMS.findall(data)))
    names = {digest_name(each.decode("ascii", errors="replace")) for each in found}
    return frozenset(names & set(mets.DIGESTS.values()))
