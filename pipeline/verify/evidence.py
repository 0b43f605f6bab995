"""What the rules of verification look at: a bundle's tag files, its files as they were read, its page lists.

Values alone. They are gathered by `bag.reading` and `file_reading`; each family of rules turns them into
facts of its own.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

from pipeline.containers import Container, Limits, files_by_suffix
from pipeline.delivery import Document
from pipeline.findings import Report
from pipeline.model import MasterFacts

# ------------------------------------------------------------------------------------------------ bag


class LineFault(NamedTuple):
    """One line of a tag file that is not as it must be."""

    file: str
    line: int
    """Counted from 1."""
    detail: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """A payload manifest or tag manifest, as it was written."""

    file: str
    algorithm: str
    """As in the file's name: ``sha512``."""
    is_known: bool
    """False for an algorithm that cannot be computed here."""
    entries: Mapping[str, bytes]
    """Digest by path, decoded as the bag's version wants; paths that are unsafe are left out."""
    malformed: tuple[LineFault, ...] = ()
    unsafe: tuple[LineFault, ...] = ()
    repeated: tuple[LineFault, ...] = ()
    """A path for the second time, with the same digest."""
    contradictory: tuple[LineFault, ...] = ()
    """A path for the second time, with another digest."""
    starred: tuple[LineFault, ...] = ()
    """A ``*`` before the path."""
    dotted: tuple[LineFault, ...] = ()
    """A ``./`` before the path."""
    uneven: tuple[str, ...] = ()
    """In what its lines are not written alike, though they mean what they should: ``line ends``."""


class FetchLine(NamedTuple):
    """One entry of `fetch.txt`."""

    line: int
    url: str
    length: str
    path: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Declaration:
    """`bagit.txt`."""

    version: tuple[int, int]
    encoding: str
    faults: tuple[str, ...] = ()
    """In what it is not exactly two lines of the right form."""

    @property
    def is_final(self) -> bool:
        """True from version 1.0 on: RFC 8493 holds, not a draft."""
        return self.version >= (1, 0)


@dataclass(frozen=True, kw_only=True)
class Bag:
    """A bag's tag files and the files that lie in it."""

    declaration: Declaration
    manifests: tuple[Manifest, ...]
    tag_manifests: tuple[Manifest, ...]
    info: tuple[tuple[str, str], ...]
    """Labels and values of `bag-info.txt`, unfolded, in order."""
    info_file: str
    """``bag-info.txt``, ``package-info.txt`` in the oldest drafts, empty if there is none."""
    info_faults: tuple[LineFault, ...]
    long_lines: tuple[LineFault, ...]
    fetch: tuple[FetchLine, ...]
    fetch_faults: tuple[LineFault, ...]
    has_fetch: bool
    undecodable: tuple[LineFault, ...]
    """Tag files that are not text in the declared encoding."""
    payload: Mapping[str, int]
    """Sizes in bytes by path, beginning with ``data/``."""
    tags: Mapping[str, int]
    """All other regular files."""

    def values(self, label: str) -> tuple[str, ...]:
        """Values of a label of `bag-info.txt`, without regard to case."""
        return tuple(value for each, value in self.info if each.lower() == label.lower())

    def holds(self, path: str) -> bool:
        """True if a regular file lies at `path`."""
        return path in self.payload or path in self.tags

    @functools.cached_property
    def astray(self) -> frozenset[str]:
        """What payload manifests list and is no payload file of that spelling. Nearly always empty."""
        return frozenset().union(*(each.entries.keys() - self.payload.keys() for each in self.manifests))


# ---------------------------------------------------------------------------------------------- files


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageReading:
    """What came out of decoding an image to its end."""

    facts: MasterFacts | None
    """From its header; None if it is refused or damaged there."""
    problem: str = ""
    """Why it cannot be decoded, or is of a kind that is refused; empty if it decoded to its end."""
    structure: tuple[str, ...] = ()
    """In what a TIFF's structure is wrong."""
    trailing_bytes: int = 0
    """Bytes after the image's end."""
    signature: bytes = b""
    """The picture as `SIGNATURE_SIDE`² grey values, 0 to 255, upright; empty for tiles and what did not
    decode."""


SIGNATURE_SIDE = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class FileReading:
    """One file, read once."""

    path: str
    size_bytes: int
    digests: Mapping[str, bytes]
    """By algorithm, as manifests name it."""
    failure: str = ""
    """Why it could not be read to its end, or that it changed meanwhile."""
    image: ImageReading | None = None
    """None if it is no image, or was not to be decoded."""


# -------------------------------------------------------------------------------------------- bundles


@dataclass(frozen=True, kw_only=True)
class Bundle:
    """Everything that is known of one bundle when its rules run."""

    container: Container
    limits: Limits
    bag: Bag | None
    """None for a bare document, and for what is no bag."""
    readings: Mapping[str, FileReading]
    """By path. Empty if only structure was asked for (`is_quick`)."""
    is_quick: bool = False

    @property
    def place(self) -> str:
        """What findings about the whole are placed at."""
        return self.container.name

    @functools.cached_property
    def by_suffix(self) -> Mapping[str, Sequence[str]]:
        """Paths of regular files by suffix, in small letters: ``.json``."""
        return files_by_suffix(self.container)

    def with_suffix(self, *suffixes: str) -> list[str]:
        """Paths of regular files that end in one of these suffixes, in any case; sorted."""
        return sorted(path for suffix in suffixes for path in self.by_suffix.get(suffix, ()))

    @functools.cached_property
    def altered(self) -> frozenset[str]:
        """Paths of files that could not be read, or are not what a manifest says: told with the digests."""
        return frozenset(self._find_altered()) if self.readings else frozenset()

    def _find_altered(self) -> Iterator[str]:
        for path, reading in self.readings.items():
            if reading.failure:
                yield path
        for manifest in (*self.sound_manifests, *self.bag.tag_manifests) if self.bag else ():
            for path, digest in manifest.entries.items():
                read = self.readings.get(path)
                if read is not None and read.digests.get(manifest.algorithm, digest) != digest:
                    yield path

    @functools.cached_property
    def sound_manifests(self) -> tuple[Manifest, ...]:
        """Payload manifests but those that tag manifests find altered: what these list proves nothing."""
        manifests = self.bag.manifests if self.bag else ()
        return tuple(each for each in manifests if not self._is_other_than_sealed(each.file))

    def _is_other_than_sealed(self, tag_file: str) -> bool:
        read = self.readings.get(tag_file)
        if read is None or self.bag is None:
            return False
        said = ((each.algorithm, each.entries.get(tag_file)) for each in self.bag.tag_manifests)
        return any(digest and read.digests.get(algorithm, digest) != digest for algorithm, digest in said)

    def image_at(self, path: str) -> ImageReading | None:
        """What decoding a file gave; None if it is no image, was not decoded, or is not what was sent."""
        reading = self.readings.get(path)
        return None if reading is None or path in self.altered else reading.image

    def lacks(self, path: str) -> bool:
        """True for a payload file that is not there though a manifest lists it: B020 tells."""
        return self.bag is not None and path in self.bag.astray

    def has(self, path: str) -> bool:
        """True if a regular file lies at `path`."""
        return path in self.container.files


class PagesKind(StrEnum):
    """Which document an account of the pages comes from."""

    METS = "METS"
    MANIFEST = "manifest"
    PAGE_LIST = "page list"


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One page, or opening, as one document tells of it."""

    label: str
    files: tuple[str, ...]
    """Stems of the names of its images, lower case: ``b14_0001``; in order. An image may have several."""
    translations: tuple[str, ...] = ()
    """Its label in other languages."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pages:
    """One document's account of the pages, in its order."""

    document: str
    """Its path in the bundle."""
    kind: PagesKind
    pages: tuple[Page, ...]


class StatedRecord(NamedTuple):
    """A MODS or MIX record: what of it has a value."""

    place: str
    present: frozenset[str]
    """MODS: paths of elements with content, as ``titleInfo/title``. MIX: names of elements with a value."""
    file: str = ""
    """The file that a MIX record describes; empty if that cannot be told."""


class StatedDigest(NamedTuple):
    """The checksums that a document states of one file."""

    document: str
    standard: str
    """METS, MIX or PREMIS."""
    what: str
    """The file: its path if it is in the bundle, or how it is listed."""
    algorithms: tuple[str, ...]
    """As manifests of bags name them; of one that is not known the name as it is written."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """What metadata documents say that a delivery specification can ask for."""

    mods: tuple[StatedRecord, ...] = ()
    """Of the item; records of parts and of other things are left out."""
    mix: tuple[StatedRecord, ...] = ()
    digests: tuple[StatedDigest, ...] = ()
    """For METS one for each file that is listed, whether it has a checksum or not."""
    targets: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """What METS calls a target or flat frame, and the stems of its files."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What a family of rules found, and what it learnt that others need."""

    report: Report = field(default_factory=Report)
    pages: tuple[Pages, ...] = ()
    documents: frozenset[Document] = frozenset()
    """Which documents it found, of those that a delivery specification can ask for."""
    stated: Stated = field(default_factory=Stated)
    judged: tuple[str, ...] = ()
    """Paths of the documents that it judged, or would have if they could be read."""
    lost: tuple[str, ...] = ()
    """Paths of files of which it said that they are missing, and of those that bear another name now."""
