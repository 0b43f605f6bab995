"""Rules over all files of a set together: doubles, names that sort, names that a bag can hold."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath

from pipeline import files, layout
from pipeline.check import places, sources
from pipeline.findings import Level, Register, Remark
from pipeline.measure.likeness import Pair, Signature, near_duplicates
from pipeline.measure.pixels import NotMeasured
from pipeline.model import Frame, FrameKind, FrameRecord, Light


@dataclass(frozen=True, slots=True, kw_only=True)
class FilesFacts:
    """The captured frames of a set, in order, and the records of those that could be read."""

    frames: tuple[Frame, ...]
    records: Mapping[str, FrameRecord]
    folder: str = ""
    """Where they will lie in a bundle, if that is known: what their paths begin with."""

    @property
    def names(self) -> tuple[str, ...]:
        """The files' names without their folders, in order."""
        return tuple(frame.file.name for frame in self.frames if frame.file is not None)

    def alike(self, key: Callable[[FrameRecord], str]) -> Iterator[tuple[Frame, ...]]:
        """Groups of two or more frames whose records have the same key."""
        groups: dict[str, list[Frame]] = defaultdict(list)
        for frame in self.frames:
            if record := self.records.get(frame.identifier):
                groups[key(record)].append(frame)
        return (tuple(group) for group in groups.values() if len(group) > 1)

    def views(self) -> Iterator[tuple[Frame, ...]]:
        """The pages, and the openings, in one light: what should be another view each."""
        groups: dict[tuple[FrameKind, Light], list[Frame]] = defaultdict(list)
        for frame in self.frames:
            if frame.identifier in self.records:
                groups[frame.kind, frame.light].append(frame)
        return map(tuple, groups.values())

    def pixels_of(self, frame: Frame) -> str:
        """The digest of a frame's picture."""
        return self.records[frame.identifier].pixel_digest


FILES = Register[FilesFacts]("the files of a set")


@FILES.rule(
    "S020",
    Level.ERROR,
    "Two files are the same, byte for byte",
    source=sources.COMMON_PRACTICE,
    advice="One of the two pages was not delivered, or is listed twice. Put the right file in its place, or "
    "remove the double and its row.",
)
def no_two_files_are_the_same(facts: FilesFacts) -> Iterator[Remark]:
    """No two files have the same digest. Two captures never have: the sensor's noise differs."""
    for first, *others in facts.alike(_file_digest):
        for frame in others:
            value = f"the same bytes as {_file_and_label(first)}"
            yield Remark(place=places.of_frame(frame), value=value, limit="a file of its own")


@FILES.rule(
    "S021",
    Level.ERROR,
    "Two files hold the same picture",
    source=sources.COMMON_PRACTICE,
    advice="One capture was saved under two names. Put the right picture in its place, or remove the double "
    "and its row.",
)
def no_two_files_hold_the_same_picture(facts: FilesFacts) -> Iterator[Remark]:
    """No two files that differ in their bytes decode to the same pixels."""
    for group in facts.alike(lambda record: record.pixel_digest):
        seen = {_file_digest(facts.records[group[0].identifier])}
        for frame in group[1:]:
            digest = _file_digest(facts.records[frame.identifier])
            if digest not in seen:  # else S020 has said it
                value = f"the same pixels as {_file_and_label(group[0])}"
                yield Remark(place=places.of_frame(frame), value=value, limit="a picture of its own")
            seen.add(digest)


def _file_digest(record: FrameRecord) -> str:
    return record.master.fixity[0].hex_digest


def _file_and_label(frame: Frame) -> str:
    name = str(frame.file)
    return f"{name} ({frame.label})" if frame.row else name


@FILES.rule(
    "S026",
    Level.WARNING,
    "One page seems to have been photographed twice",
    source=sources.COMMON_PRACTICE,
    advice="Look at both side by side. If they show the same page, the one that should be here is missing: "
    "deliver it, or photograph it as the conservator allows; then take the double and its row out.",
)
def no_page_is_photographed_twice(facts: FilesFacts) -> Iterator[Remark]:
    """No two pages, and no two openings, of one light show the same picture, however far apart they stand.

    Blank pages are left out. Of frames that are like several others, as ruled leaves without writing are,
    a note says that doubles among them cannot be told.
    """
    for frames in facts.views():
        doubles = near_duplicates([_signature(facts.records[frame.identifier]) for frame in frames])
        if doubles.crowd:
            yield _crowd([frames[place] for place in doubles.crowd])
        for pair in doubles.pairs:
            first, second = frames[pair.first], frames[pair.second]
            if facts.pixels_of(first) != facts.pixels_of(second):  # else S020 or S021 has said it
                yield Remark(
                    place=places.of_frame(second),
                    value=f"the same page as {_file_and_label(first)}, {_likeness(pair)}",
                    limit="a page of its own",
                )


def _crowd(frames: Sequence[Frame]) -> Remark:
    first, last = _file_and_label(frames[0]), _file_and_label(frames[-1])
    return Remark(
        place=places.of_frame(frames[0]),
        value=f"{len(frames)} frames, {first} to {last}, are each like several others: whether there is a "
        "double among them cannot be told",
        limit="a page of its own",
        level=Level.NOTE,
    )


def _signature(record: FrameRecord) -> Signature | NotMeasured:
    text = record.measures.signature if record.measures else ""
    return Signature.read(text) if text else NotMeasured(reason="the frame cannot be compared")


def _likeness(pair: Pair) -> str:
    found = pair.likeness
    moved = 100 * max(abs(found.across_share), abs(found.down_share))
    return f"moved by {moved:.1f} % of its length; likeness {found.correlation:.2f}"


@FILES.rule(
    "S022",
    Level.NOTE,
    "File names do not sort in their order",
    source=sources.FADGI_NAMES,
    advice="Write numbers with leading zeros, wide enough for the largest. pages.csv keeps the order here; "
    "a file listing will not.",
)
def names_sort_as_they_count(facts: FilesFacts) -> Iterator[Remark]:
    """Sorted letter by letter, without regard to case, names stand in the order of their numbers."""
    letter_by_letter = sorted(facts.names, key=lambda name: (name.casefold(), name))
    by_number = sorted(facts.names, key=files.natural_key)
    for found, expected in zip(letter_by_letter, by_number, strict=True):
        if found != expected:
            yield Remark(place=found, value=f"{found} sorts before {expected}", limit="leading zeros")
            return


@FILES.rule(
    "S023",
    Level.NOTE,
    "File names have capital letters",
    source=sources.FADGI_NAMES,
    advice="Use lower case in file names from now on: some systems take B and b for the same, some do not.",
)
def names_are_lower_case(facts: FilesFacts) -> Iterator[Remark]:
    """All names are in lower case."""
    capital = [name for name in facts.names if PurePosixPath(name).name != name.lower()]
    if capital:
        value = f"{len(capital)} of {len(facts.names)} names"
        yield Remark(place=capital[0], value=value, limit="lower case")


@FILES.rule(
    "S024",
    Level.ERROR,
    "A bag cannot hold the file's name",
    source=sources.BAG_NAMES,
    advice="Rename the file or its folder, and correct its row in pages.csv. No bag is made with such a "
    "name, because it could not be unpacked everywhere.",
)
def names_fit_into_a_bag(facts: FilesFacts) -> Iterator[Remark]:
    """Every file system can hold every name, and no two names differ only in case or Unicode form."""
    frames = {str(layout.master_path(frame)): frame for frame in facts.frames}
    for path, fault in files.path_faults(frames, above=facts.folder):
        yield Remark(
            place=places.of_frame(frames[path]), value=fault, limit="a name that every file system can hold"
        )


@FILES.rule(
    "S025",
    Level.WARNING,
    "File name has a per cent sign",
    source=sources.BAG_PATHS,
    advice="Rename the file and correct its row in pages.csv. A manifest writes the sign as %25; some "
    "readers of bags do not turn it back, and miss the file.",
)
def names_have_no_per_cent_sign(facts: FilesFacts) -> Iterator[Remark]:
    """No name has the one sign of common names that manifests of bags write in another way."""
    for frame in facts.frames:
        if "%" in str(frame.file):
            yield Remark(place=places.of_frame(frame), value=str(frame.file), limit="no %")
