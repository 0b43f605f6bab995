"""All documents of a bundle as they were read, and what one needs to know of the others."""

from __future__ import annotations

import functools
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pipeline.specs import premis
from pipeline.verify.metadata.documents import Kind
from pipeline.verify.metadata.locations import Finder, Location, Reach
from pipeline.verify.metadata.mets_reading import ListedFile, MetsReading, Pointer, Section, digest_name
from pipeline.verify.metadata.mix_reading import MixRecord
from pipeline.verify.metadata.mods_reading import ModsRecord
from pipeline.verify.metadata.premis_reading import Identifier, PremisEntity, PremisObject


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadDocument:
    """What one document says, its tree let go."""

    path: str
    kind: Kind
    folder: str
    mets: MetsReading | None = None
    mix: tuple[MixRecord, ...] = ()
    """Records of a document that is no METS; those in METS are with their sections."""
    premis: tuple[PremisEntity, ...] = ()
    mods: tuple[ModsRecord, ...] = ()

    @property
    def all_premis(self) -> tuple[PremisEntity, ...]:
        """Entities, those in sections of METS included."""
        return self.premis or tuple(each for section in self._sections for each in section.premis)

    @property
    def all_mods(self) -> tuple[ModsRecord, ...]:
        """Records, those in sections of METS included."""
        return self.mods or tuple(each for section in self._sections for each in section.mods)

    @property
    def all_mix(self) -> tuple[MixRecord, ...]:
        """Records, those in sections of METS included."""
        return self.mix or tuple(each for section in self._sections for each in section.mix)

    @property
    def _sections(self) -> tuple[Section, ...]:
        return self.mets.sections if self.mets else ()


class MetsFacts:
    """One METS document among the files around it."""

    def __init__(self, reading: MetsReading, folder: str, finder: Finder) -> None:
        self.reading = reading
        self.folder = folder
        self.finder = finder

    @functools.cached_property
    def sections(self) -> Mapping[str, Section]:
        """Metadata sections by ID."""
        return {each.identifier: each for each in self.reading.sections if each.identifier}

    def sections_of(self, file: ListedFile) -> Iterator[Section]:
        """Yield the sections that describe a file; an `amdSec` stands for all in it."""
        for identifier in file.sections:
            for each in self.reading.groups.get(identifier, (identifier,)):
                if (section := self.sections.get(each)) is not None:
                    yield section

    @functools.cached_property
    def owned(self) -> tuple[tuple[Section, str | None], ...]:
        """Every section with each file that names it.

        None stands for a file that is elsewhere, an empty path for a section that no file names.
        """
        owners: dict[str, list[str | None]] = defaultdict(list)
        for file in self.reading.files:
            path = self.path_of(file) or None
            for section in self.sections_of(file):
                owners[section.identifier].append(path)
        return tuple(
            (section, path)
            for section in self.reading.sections
            for path in dict.fromkeys(owners.get(section.identifier, [""]))
        )

    @functools.cached_property
    def listed(self) -> tuple[ListedFile, ...]:
        """All files, and all records that are kept in files of their own."""
        references = (each.reference for each in self.reading.sections)
        return (*self.reading.files, *(each for each in references if each is not None))

    @functools.cached_property
    def located(self) -> tuple[tuple[ListedFile, Pointer, Location], ...]:
        """Every pointer, and where it leads."""
        return tuple(
            (file, pointer, self.finder.locate(pointer.href, self.folder))
            for file in self.listed
            for pointer in file.pointers
        )

    @functools.cached_property
    def inside(self) -> Mapping[str, tuple[str, ...]]:
        """Paths in the bundle to which a file leads, by the place where it is listed."""
        found: dict[str, list[str]] = defaultdict(list)
        for file, _, location in self.located:
            if location.reach is Reach.INSIDE:
                found[file.place].append(location.path)
        return {place: tuple(dict.fromkeys(paths)) for place, paths in found.items()}

    def path_of(self, file: ListedFile) -> str:
        """The path in the bundle to which a file leads, or nothing."""
        return next(iter(self.inside.get(file.place, ())), "")

    @property
    def missing(self) -> Iterator[tuple[ListedFile, Pointer, Location]]:
        """Every pointer to a file that is not there, but for what manifests of the bag tell of."""
        for file, pointer, location in self.located:
            if location.reach is Reach.NOWHERE and not self.finder.is_missing_from_bag(location.path):
                yield file, pointer, location

    def other_digest(self, file: ListedFile, path: str) -> str:
        """Return the digest of a file in hexadecimal, if METS says another; else nothing."""
        reading = self.finder.reading_of(path)
        digest = reading.digests.get(digest_name(file.checksum_type)) if reading is not None else None
        is_other = digest is not None and bool(file.checksum) and file.checksum.lower() != digest.hex()
        return digest.hex() if digest is not None and is_other else ""

    @functools.cached_property
    def exchanged(self) -> frozenset[str]:
        """Paths of files that have another digest than METS says."""
        return frozenset(
            path
            for file in self.listed
            for path in self.inside.get(file.place, ())
            if self.other_digest(file, path)
        )

    @functools.cached_property
    def addresses(self) -> Mapping[str, str]:
        """Where each file is, by its ID: in the bundle if it is there, or as it is written."""
        found: dict[str, str] = {}
        for file in self.reading.files:
            written = next((each.href for each in file.pointers if each.href), "")
            found[file.identifier] = self.path_of(file) or written
        return found


class Knowledge:
    """All documents of one bundle."""

    def __init__(self, documents: tuple[ReadDocument, ...], finder: Finder) -> None:
        self.documents = documents
        self.finder = finder
        self.mets = {
            each.path: MetsFacts(each.mets, each.folder, finder)
            for each in documents
            if each.mets is not None
        }

    @functools.cached_property
    def identified(self) -> Mapping[str, Mapping[Identifier, tuple[PremisEntity, ...]]]:
        """PREMIS entities by kind and identifier, those of all documents."""
        found: dict[str, dict[Identifier, list[PremisEntity]]] = defaultdict(lambda: defaultdict(list))
        for document in self.documents:
            for entity in document.all_premis:
                for identifier in entity.identifiers:
                    found[entity.kind][identifier].append(entity)
        return {kind: {key: tuple(value) for key, value in each.items()} for kind, each in found.items()}

    @functools.cached_property
    def claimed(self) -> frozenset[str]:
        """Paths of all files that METS documents point at."""
        return frozenset(
            location.path
            for facts in self.mets.values()
            for _, _, location in facts.located
            if location.reach is Reach.INSIDE
        )

    @functools.cached_property
    def described(self) -> Mapping[str, str]:
        """Files that METS says are described by a document of their own, by that document's path."""
        found: dict[str, str] = {}
        for facts in self.mets.values():
            for file in facts.reading.files:
                path = facts.path_of(file)
                for section in facts.sections_of(file) if path else ():
                    if section.reference is not None and (record := facts.path_of(section.reference)):
                        found[record] = path
        return found

    @functools.cached_property
    def exchanged(self) -> frozenset[str]:
        """Paths of files that have another digest than a METS document says: told there."""
        return frozenset[str]().union(*(each.exchanged for each in self.mets.values()))

    @functools.cached_property
    def lost(self) -> tuple[str, ...]:
        """Paths of files that METS documents miss, and of those that have their digests under other names."""
        missing = [each for facts in self.mets.values() if facts.inside for each in facts.missing]
        renamed = (
            self.finder.by_digest(digest_name(file.checksum_type), file.checksum) for file, _, _ in missing
        )
        return (*(location.path for _, _, location in missing), *filter(None, renamed))

    # ------------------------------------------------------------------------------- records and their files

    def mix_pairs(self, document: ReadDocument) -> Iterator[tuple[MixRecord, str | None]]:
        """Yield every MIX record of a document with each file that it may describe.

        None stands for a file that METS says is elsewhere, an empty path for no file at all.
        """
        facts = self.mets.get(document.path)
        if facts is not None:
            yield from ((record, path) for section, path in facts.owned for record in section.mix)
            return
        yield from ((each, self._file_of_mix(document, each)) for each in document.mix)
        for entity in document.premis:
            if isinstance(entity, PremisObject):
                yield from ((each, self.file_of_object(document, entity)) for each in entity.mix)

    def _file_of_mix(self, document: ReadDocument, record: MixRecord) -> str:
        if path := self.described.get(document.path):
            return path
        named = record.values.get("objectIdentifierValue", "")
        stem = document.path.rpartition("/")[2].rpartition(".")[0]
        return self.finder.by_name(named) or (self.finder.by_name(stem) if len(document.mix) == 1 else "")

    def object_pairs(self, document: ReadDocument) -> Iterator[tuple[PremisObject, str | None]]:
        """Yield every file object of a document with each file that it may describe, as `mix_pairs` does."""
        facts = self.mets.get(document.path)
        for section, path in facts.owned if facts is not None else ():
            for each in section.objects:
                if each.category == premis.FILE:
                    yield each, self.file_of_object(document, each) if path == "" else path
        for entity in document.premis:
            if isinstance(entity, PremisObject) and entity.category == premis.FILE:
                yield entity, self.file_of_object(document, entity)

    def file_of_object(self, document: ReadDocument, entity: PremisObject) -> str:
        """The file of an object that METS does not tell: by its location, its identifiers or its old name."""
        if path := self.described.get(document.path):
            return path
        for href in entity.locations:
            located = self.finder.locate(href, document.folder)
            if located.reach is Reach.INSIDE:
                return located.path
        names = (*(each.value for each in entity.identifiers), entity.original_name)
        return next(filter(None, map(self.finder.by_name, names)), "")
