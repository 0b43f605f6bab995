"""What the metadata of a bundle states, as far as a delivery specification can ask for it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import PurePosixPath

from pipeline.delivery import Document
from pipeline.specs import mets
from pipeline.verify.evidence import Stated, StatedDigest, StatedRecord
from pipeline.verify.metadata.knowledge import Knowledge, MetsFacts, ReadDocument
from pipeline.verify.metadata.mets_reading import ListedFile, digest_name
from pipeline.verify.metadata.paging import files_below, walk


def documents_of(knowledge: Knowledge) -> frozenset[Document]:
    """Return which documents there are; they may stand in METS."""
    found = knowledge.documents
    there = {
        Document.METS: bool(knowledge.mets),
        Document.MODS: any(each.all_mods for each in found),
        Document.PREMIS: any(each.all_premis for each in found),
        Document.MIX: any(True for each in found for _ in knowledge.mix_pairs(each)),
    }
    return frozenset(document for document, is_there in there.items() if is_there)


def stated(knowledge: Knowledge) -> Stated:
    """Return what all documents state."""
    found = knowledge.documents
    return Stated(
        mods=tuple(
            StatedRecord(each.place, each.present)
            for document in found
            for each in document.all_mods
            if each.is_main
        ),
        mix=tuple(
            StatedRecord(record.place, record.present, path or "")
            for document in found
            for record, path in knowledge.mix_pairs(document)
        ),
        digests=tuple(each for document in found for each in _digests(document, knowledge)),
        targets=tuple(each for facts in knowledge.mets.values() for each in _targets(facts)),
    )


# ------------------------------------------------------------------------------------------- checksums


def _digests(document: ReadDocument, knowledge: Knowledge) -> Iterator[StatedDigest]:
    if facts := knowledge.mets.get(document.path):
        for file in facts.reading.files:
            what = facts.path_of(file) or next((each.href for each in file.pointers if each.href), "")
            yield _stated(document, "METS", what or file.place, _of_file(facts, file))
    for entity, path in knowledge.object_pairs(document):
        if entity.fixity:
            name = path or entity.original_name or entity.place
            yield _stated(document, "PREMIS", name, (algorithm for algorithm, _ in entity.fixity))
    for record, path in knowledge.mix_pairs(document):
        if record.fixity:
            yield _stated(document, "MIX", path or record.place, (name for name, _ in record.fixity))


def _of_file(facts: MetsFacts, file: ListedFile) -> Iterator[str]:
    """Yield the algorithms of a file's checksums: its own, or those of PREMIS in the same document."""
    if file.checksum:
        yield file.checksum_type
        return
    for section in facts.sections_of(file):
        for entity in section.objects:
            yield from (algorithm for algorithm, digest in entity.fixity if digest)


def _stated(document: ReadDocument, standard: str, what: str, algorithms: Iterator[str]) -> StatedDigest:
    names = (digest_name(each) or each or "an unnamed algorithm" for each in algorithms)
    return StatedDigest(document.path, standard, what, tuple(dict.fromkeys(names)))


# --------------------------------------------------------------------------------------------- targets


def _targets(facts: MetsFacts) -> Iterator[tuple[str, tuple[str, ...]]]:
    physical = facts.reading.physical
    for division in walk(physical.root if physical else None):
        if division.type.strip().lower() in mets.PROOF_TYPES and division.files:
            paths = (facts.addresses.get(each, "") for each in files_below(division))
            stems = (PurePosixPath(path).stem.lower() for path in paths if path)
            text = " ".join((division.label, division.order_label, division.type))
            yield text, tuple(dict.fromkeys(stems))
