"""Rules over MIX records: they say enough, every image has one, and what they say is true of the image."""

from __future__ import annotations

import functools
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TypeVar

from pipeline.findings import Level, Register, Remark
from pipeline.verify.metadata import sources
from pipeline.verify.metadata.comparing import Difference, missing_values, mix_differences, object_differences
from pipeline.verify.metadata.knowledge import Knowledge, ReadDocument
from pipeline.verify.metadata.locations import IMAGE_SUFFIXES, Finder
from pipeline.verify.metadata.mets_reading import ListedFile
from pipeline.verify.metadata.mix_reading import MixRecord
from pipeline.verify.metadata.premis_reading import PremisObject

Paths = tuple[str | None, ...]
"""Files that a record may describe; None for one that is elsewhere, empty for none."""


class RecordFacts:
    """The records of one document, and the files that they describe."""

    def __init__(self, document: ReadDocument, knowledge: Knowledge) -> None:
        self.document = document
        self.knowledge = knowledge

    @property
    def finder(self) -> Finder:
        """What is known of the files around the document."""
        return self.knowledge.finder

    @functools.cached_property
    def mix_pairs(self) -> Mapping[str, tuple[MixRecord, Paths]]:
        """MIX records by their places, each with the files that it may describe."""
        return _by_place(self.knowledge.mix_pairs(self.document))

    @functools.cached_property
    def object_pairs(self) -> Mapping[str, tuple[PremisObject, Paths]]:
        """PREMIS file objects by their places, each with the files that it may describe."""
        return _by_place(self.knowledge.object_pairs(self.document))

    def mix_differences(self, record: MixRecord, path: str) -> list[Difference]:
        """In what a record is not an image; nothing if the image is damaged, or was not read."""
        reading, facts = self.finder.reading_of(path), self.finder.facts_of(path)
        if reading is None or facts is None:
            return []
        return self._untold(path, mix_differences(record, reading, facts))

    def object_differences(self, entity: PremisObject, path: str) -> list[Difference]:
        """In what an object is not a file; nothing if the file is damaged, or was not read."""
        reading = self.finder.reading_of(path)
        if reading is None:
            return []
        found = object_differences(entity, reading.size_bytes, reading, self.finder.facts_of(path))
        return self._untold(path, found)

    def _untold(self, path: str, found: list[Difference]) -> list[Difference]:
        """Leave out what M036 tells: that the file is another one than was described."""
        if path not in self.knowledge.exchanged:
            return found
        is_of_another = any(each.is_digest for each in found)
        return [] if is_of_another else [each for each in found if not each.is_size]


Record = TypeVar("Record", MixRecord, PremisObject)


def _by_place(pairs: Iterator[tuple[Record, str | None]]) -> dict[str, tuple[Record, Paths]]:
    records: dict[str, Record] = {}
    paths: dict[str, list[str | None]] = defaultdict(list)
    for record, path in pairs:
        records[record.place] = record
        paths[record.place].append(path)
    return {place: (record, tuple(dict.fromkeys(paths[place]))) for place, record in records.items()}


def best_fit(paths: Paths, differ: Callable[[str], list[Difference]]) -> tuple[str, list[Difference]]:
    """Return the file that a record fits best, and in what it differs.

    Several files may name a whole amdSec and mean one record in it each. What belongs to a file elsewhere
    perhaps is not held against the one that is here.
    """
    fits = [(path, differ(path)) for path in paths if path]
    path, differences = min(fits, key=lambda each: len(each[1]), default=("", []))
    return path, [] if None in paths else differences


Untrue = tuple[str, str, list[Difference]]
"""A record's place, its file, and in what the two differ."""
_SINGLE = 3
"""Records that differ from their files in the same way are told one by one up to here."""


def remarks(found: Iterator[Untrue]) -> Iterator[Remark]:
    """Yield one remark on each record whose values are not its file's; one on many that differ alike.

    What is wrong in the same way again and again was written so by a program.
    """
    alike: dict[tuple[Difference, ...], list[tuple[str, str]]] = defaultdict(list)
    for place, path, differences in found:
        if differences:
            alike[tuple(differences)].append((place, path))
    for same, records in alike.items():
        more = len(records) - 1 if len(records) > _SINGLE else 0
        for place, path in records[:1] if more else records:
            yield _remark(place, path, same, f"; so in {more:,} more records" if more else "")


def _remark(place: str, path: str, differences: Sequence[Difference], more: str) -> Remark:
    return Remark(
        place=place,
        value=f"{path}: " + "; ".join(f"{each.name} {each.found}" for each in differences) + more,
        limit="; ".join(f"{each.name} {each.said}" for each in differences),
        level=None if any(each.is_certain for each in differences) else Level.NOTE,
    )


MIX_RECORDS = Register[RecordFacts]("MIX records")


@MIX_RECORDS.rule(
    "M051",
    Level.WARNING,
    "MIX records do not say enough",
    source=sources.MIX + "6.6.1, 7.1, 9.2 (all is optional in the schema)",
    advice="Add what is missing: size, bits, colour space and compression are the least that a later "
    "reader needs to rebuild the image.",
)
def records_say_enough(facts: RecordFacts) -> Iterator[Remark]:
    """Every record has width, height, colour space, samples, bits and compression."""
    lacking = [(each, missing) for each in facts.document.all_mix if (missing := missing_values(each))]
    if lacking:
        count = Counter(name for _, missing in lacking for name in missing)
        names = ", ".join(f"{name} in {times:,}" for name, times in sorted(count.items()))
        value = f"{len(lacking):,} of {len(facts.document.all_mix):,} records lack values: {names}"
        yield Remark(place=lacking[0][0].place, value=value, limit="none")


@MIX_RECORDS.rule(
    "M052",
    Level.WARNING,
    "An image has no MIX record, others of its group have one",
    source=sources.METS + "file, ADMID",
    advice="Add the record and name its section in ADMID, or correct the ADMID.",
)
def images_have_records(facts: RecordFacts) -> Iterator[Remark]:
    """If any image of a file group has a MIX record, all have."""
    mets = facts.knowledge.mets.get(facts.document.path)
    if mets is None:
        return
    described: dict[str, list[ListedFile]] = defaultdict(list)
    bare: dict[str, list[ListedFile]] = defaultdict(list)
    records = {each.path for each in facts.knowledge.documents if each.mix}
    for file in mets.reading.files:
        if _is_image(file):
            has_record = any(
                section.mix
                or any(each.mix for each in section.objects)
                or (section.reference is not None and mets.path_of(section.reference) in records)
                for section in mets.sections_of(file)
            )
            (described if has_record else bare)[file.use].append(file)
    for use, files in bare.items():
        for file in files if use in described else ():
            yield Remark(
                place=file.place,
                value="no MIX record in ADMID",
                limit=f"one, as others of {use or 'its group'}",
            )


def _is_image(file: ListedFile) -> bool:
    hrefs = (each.href or "" for each in file.pointers)
    return file.media_type.startswith("image/") or any(
        each.lower().endswith(IMAGE_SUFFIXES) for each in hrefs
    )


MIX_FILES = Register[RecordFacts]("MIX records and their files")


@MIX_FILES.rule(
    "M053",
    Level.NOTE,
    "A MIX record describes no file of the bundle",
    source=sources.COMMON_PRACTICE,
    advice="Name its section in the ADMID of the file, or write the file's name into objectIdentifierValue.",
)
def records_describe_files(facts: RecordFacts) -> Iterator[Remark]:
    """Every record belongs to a file, by METS or by name."""
    without = [record for record, paths in facts.mix_pairs.values() if paths == ("",)]
    if without:
        more = f", and {len(without) - 1:,} more" if len(without) > 1 else ""
        yield Remark(place=without[0].place, value=f"no file{more}", limit="a file of the bundle")


IMAGES = Register[RecordFacts]("MIX records and images")


@IMAGES.rule(
    "M050",
    Level.ERROR,
    "A MIX record is not true of its image",
    source=sources.MIX + "6, 7, 8.5, 9",
    advice="Look which is right. If the image is the one that was agreed on, make the record anew from "
    "it; records copied from one frame to the next are the usual cause.",
)
def records_are_true(facts: RecordFacts) -> Iterator[Remark]:
    """Every value of a record is that of the image: size, bits, colour, compression, resolution, digest."""
    yield from remarks(
        (record.place, *best_fit(paths, functools.partial(facts.mix_differences, record)))
        for record, paths in facts.mix_pairs.values()
    )
