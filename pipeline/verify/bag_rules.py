"""Rules over a bag's structure: what can be judged without reading the payload.

Source: RFC 8493 (BagIt 1.0); where a bag declares an older draft, what that draft asked for.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import PurePosixPath
from typing import Any, NamedTuple

from pipeline import bagprofile
from pipeline.containers import FaultKind, Kind, irregular
from pipeline.errors import Problem
from pipeline.files import folded, folders_above, unsafe_path
from pipeline.findings import Level, Register, Remark
from pipeline.specs import bagit, iiif
from pipeline.verify import sources
from pipeline.verify.bag_matching import Matching, clashes, is_payload, match
from pipeline.verify.bag_reading import is_text_encoding
from pipeline.verify.evidence import Bag, Bundle, LineFault, Manifest
from pipeline.verify.remarks import short
from pipeline.verify.sources import RFC_8493


class Altered(NamedTuple):
    """A file that is not what a manifest promises."""

    path: str
    """As the manifest spells it."""
    pairs: tuple[tuple[str, bytes, bytes], ...]
    """Algorithm, digest found, digest promised; for each manifest that it disagrees with."""


@dataclass(frozen=True, kw_only=True)
class BagFacts:
    """A bag, and how what it lists and what it holds fit together."""

    bundle: Bundle
    profiles: tuple[bagprofile.Profile, ...] = ()
    """Profiles that it is held against beside those that it names."""

    @functools.cached_property
    def bag(self) -> Bag:
        """The bag's tag files. Only for rules that require B001."""
        assert self.bundle.bag is not None
        return self.bundle.bag

    @functools.cached_property
    def proving(self) -> Bag:
        """The bag with those of its payload manifests alone that are what was sent: B071 tells of others."""
        sound = self.bundle.sound_manifests
        return self.bag if len(sound) == len(self.bag.manifests) else replace(self.bag, manifests=sound)

    @functools.cached_property
    def matching(self) -> Matching:
        """Which files the manifests mean."""
        return match(self.proving)

    @functools.cached_property
    def renamed(self) -> Mapping[str, str]:
        """Listed paths that are missing, each with the file that bears another name and is not listed.

        It is told by its digests; if no file was read, by its name, but for case.
        """
        strangers: dict[tuple[str, bytes] | str, str] = {}
        for path in self.matching.unlisted:
            reading = self.bundle.readings.get(path)
            strangers |= dict.fromkeys(reading.digests.items(), path) if reading else {folded(path): path}
        found = ((path, self._gone_to(path, strangers)) for path in self.matching.missing if strangers)
        return {path: other for path, other in found if other}

    def _gone_to(self, path: str, strangers: Mapping[tuple[str, bytes] | str, str]) -> str:
        if not self.bundle.readings:
            return strangers.get(folded(path), "")
        listing = [each for each in self.proving.manifests if path in each.entries]
        found = {strangers.get((each.algorithm, each.entries[path]), "") for each in listing}
        return found.pop() if len(found) == 1 else ""

    @functools.cached_property
    def lost_folders(self) -> Mapping[str, tuple[str, ...]]:
        """The highest folders of which every listed file is missing, ending in ``/``, each with these."""
        if not self.matching.missing:
            return {}
        held = {folder for path in self.bag.payload for folder in folders_above(path)}
        lost: dict[str, list[str]] = {}
        for path in self.matching.missing:
            gone = [each for each in folders_above(path) if each not in held and each != bagit.PAYLOAD]
            if gone:
                lost.setdefault(f"{min(gone, key=len)}/", []).append(path)
        return {folder: tuple(paths) for folder, paths in lost.items() if len(paths) > _FEW}

    @functools.cached_property
    def special(self) -> frozenset[str]:
        """Paths of links and devices: A008 tells of them."""
        return frozenset(each.path for each in irregular(self.bundle.container))

    @functools.cached_property
    def closed(self) -> tuple[str, ...]:
        """Folders that cannot be looked into, with ``/``: links (A008), and those without access (A001)."""
        unreadable = (
            each.place for each in self.bundle.container.faults if each.kind is FaultKind.UNREADABLE
        )
        return tuple(f"{path.rstrip('/')}/" for path in sorted({*self.special, *unreadable}))

    def is_out_of_reach(self, path: str) -> bool:
        """True for what A001 or A008 tell of: a link or device, or a file in a folder that is closed."""
        return path in self.special or path.startswith(self.closed)

    @functools.cached_property
    def altered(self) -> tuple[Altered, ...]:
        """Payload files whose digests differ from those of the payload manifests."""
        listed = (
            (manifest, path, expected)
            for manifest in self.proving.manifests
            for path, expected in manifest.entries.items()
            if is_payload(path)
        )
        return self._altered(listed)

    @functools.cached_property
    def altered_tags(self) -> tuple[Altered, ...]:
        """Tag files whose digests differ from those of the tag manifests."""
        own = {each.file for each in self.bag.tag_manifests}
        listed = (
            (manifest, path, expected)
            for manifest in self.bag.tag_manifests
            for path, expected in manifest.entries.items()
            if path not in own and not is_payload(path)
        )
        return self._altered(listed)

    def _altered(self, listed: Iterable[tuple[Manifest, str, bytes]]) -> tuple[Altered, ...]:
        found: dict[str, list[tuple[str, bytes, bytes]]] = {}
        if not self.bundle.readings:
            return ()
        matching, readings = self.matching, self.bundle.readings
        is_plain = not (matching.spelt or matching.encoded)
        for manifest, path, expected in listed:
            reading = readings.get(path if is_plain else matching.actual(path))
            if reading is None or reading.failure:
                continue  # it is missing, or told of by another rule
            digest = reading.digests.get(manifest.algorithm)
            if digest is not None and digest != expected:
                found.setdefault(path, []).append((manifest.algorithm, digest, expected))
        return tuple(Altered(path, tuple(pairs)) for path, pairs in found.items())

    @property
    def holes(self) -> frozenset[str]:
        """Paths that `fetch.txt` says are to be fetched."""
        return frozenset(each.path for each in self.bag.fetch)

    @property
    def all_manifests(self) -> tuple[Manifest, ...]:
        """Payload manifests that are what was sent, then tag manifests."""
        return (*self.proving.manifests, *self.bag.tag_manifests)


BAG = Register[BagFacts]("bags")

IS_BAG = {"B001"}
IS_READABLE = {"B001", "B005"}


def _at(fault: LineFault) -> str:
    return f"{fault.file}, line {fault.line}" if fault.line else fault.file


_FEW = 3
"""Lines or files that are wrong in the same way are told one by one up to here: more have one cause."""


def _from_faults(faults: Iterable[LineFault], limit: str) -> Iterator[Remark]:
    """Yield a remark for each line; of many that are wrong in the same way the first, and their number."""
    alike: dict[tuple[str, str], list[LineFault]] = {}
    for each in faults:
        alike.setdefault((each.file, _QUOTED.sub("", each.detail)), []).append(each)
    for found in alike.values():
        more = f"; so in {len(found):,} lines" if len(found) > _FEW else ""
        for each in found[:1] if more else found:
            yield Remark(place=_at(each), value=each.detail + more, limit=limit)


_QUOTED = re.compile(r'^".*"(?= )')
"""What differs from line to line."""


# ------------------------------------------------------------------------------ structure, declaration


@BAG.rule(
    "B001",
    Level.ERROR,
    "It is no bag: bagit.txt is missing",
    source=RFC_8493 + "2.1.1",
    advice="Deliver the bag's own folder: the one that holds bagit.txt, a manifest and data.",
)
def it_is_a_bag(facts: BagFacts) -> Iterator[Remark]:
    """The base directory holds `bagit.txt`. Without it nothing else can be read."""
    if facts.bundle.bag is None:
        yield Remark(place=facts.bundle.place, value=f"no {bagit.DECLARATION_FILE}", limit="one")


@BAG.rule(
    "B002",
    Level.ERROR,
    "bagit.txt is not as it must be",
    source=RFC_8493 + "2.1.1",
    advice='Write exactly two lines, in UTF-8 without byte order mark: "BagIt-Version: 1.0" and '
    '"Tag-File-Character-Encoding: UTF-8"; then renew the tag manifests.',
    requires=IS_BAG,
)
def the_declaration_is_well_formed(facts: BagFacts) -> Iterator[Remark]:
    """Two lines, in this order, one blank after each colon, in UTF-8 without byte order mark."""
    if faults := facts.bag.declaration.faults:
        value = "; ".join(faults)
        yield Remark(place=bagit.DECLARATION_FILE, value=value, limit="the two lines of a declaration")


_VERSIONS = {(0, 93), (0, 94), (0, 95), (0, 96), (0, 97), (1, 0)}


@BAG.rule(
    "B003",
    Level.ERROR,
    "The version of BagIt is unknown",
    source=RFC_8493 + "2.1.1",
    advice="Make the bag as version 1.0.",
    requires=IS_BAG,
)
def the_version_is_known(facts: BagFacts) -> Iterator[Remark]:
    """1.0, or one of the drafts 0.93 to 0.97."""
    major, minor = facts.bag.declaration.version
    if (major, minor) not in _VERSIONS:
        yield Remark(place=bagit.DECLARATION_FILE, value=f"{major}.{minor}", limit="0.93 to 0.97, or 1.0")


@BAG.rule(
    "B004",
    Level.WARNING,
    "Tag files are not in UTF-8",
    source=RFC_8493 + "2.1.1",
    advice="Write tag files in UTF-8; a later version of BagIt may forbid others.",
    requires=IS_BAG,
)
def the_encoding_is_utf8(facts: BagFacts) -> Iterator[Remark]:
    """The declared encoding should be UTF-8; what cannot be decoded here is an error."""
    encoding = facts.bag.declaration.encoding
    if encoding.upper() != bagit.ENCODING:
        level = None if is_text_encoding(encoding) else Level.ERROR
        yield Remark(place=bagit.DECLARATION_FILE, value=short(encoding), limit=bagit.ENCODING, level=level)


@BAG.rule(
    "B005",
    Level.ERROR,
    "A tag file cannot be read as text",
    source=RFC_8493 + "2.1.1",
    advice="Write it again in the encoding that bagit.txt declares, without byte order mark in UTF-8; then "
    "renew the tag manifests.",
    requires=IS_BAG,
)
def tag_files_are_text(facts: BagFacts) -> Iterator[Remark]:
    """Manifests, bag-info.txt and fetch.txt are text in the declared encoding."""
    yield from _from_faults(facts.bag.undecodable, f"text in {facts.bag.declaration.encoding}")


@BAG.rule(
    "B006",
    Level.ERROR,
    "There is no payload manifest",
    source=RFC_8493 + "2.1.3",
    advice="Deliver the bag again with manifest-sha512.txt; without a manifest nothing proves what was sent.",
    requires=IS_BAG,
)
def there_is_a_manifest(facts: BagFacts) -> Iterator[Remark]:
    """A bag has one payload manifest at least."""
    if not facts.bag.manifests:
        yield Remark(place=facts.bundle.place, value="no payload manifest", limit="one at least")


@BAG.rule(
    "B007",
    Level.ERROR,
    "There is no payload folder",
    source=RFC_8493 + "2.1.2",
    advice="Deliver the bag again with its folder data; archives drop empty folders, so keep a file in it.",
    requires=IS_BAG,
)
def there_is_a_payload_folder(facts: BagFacts) -> Iterator[Remark]:
    """A bag has a folder `data`, be it empty."""
    entries = facts.bundle.container.entries
    if not facts.bag.payload and bagit.PAYLOAD not in entries:
        yield Remark(place=facts.bundle.place, value=f"no folder {bagit.PAYLOAD}", limit="one")


# ------------------------------------------------------------------------------------------- manifests


@BAG.rule(
    "B010",
    Level.ERROR,
    "A manifest's line cannot be read",
    source=RFC_8493 + "2.1.3",
    advice="Each line is the digest in hexadecimal digits, blanks, and the path. Make the manifest again.",
    requires=IS_READABLE,
)
def lines_can_be_read(facts: BagFacts) -> Iterator[Remark]:
    """Digest of the algorithm's length, white space, path."""
    for manifest in facts.all_manifests:
        yield from _from_faults(manifest.malformed, "digest, blanks, path")


@BAG.rule(
    "B011",
    Level.WARNING,
    "A manifest's algorithm cannot be computed, or its name is not as it must be",
    source=RFC_8493 + "2.4",
    advice="Name the manifest by the algorithm in lower case without other characters, manifest-sha512.txt, "
    "and use sha512 or sha256.",
    requires=IS_READABLE,
)
def algorithms_are_known(facts: BagFacts) -> Iterator[Remark]:
    """Lower-case letters and digits; an algorithm that is known here. If none is, nothing can be proved."""
    kinds = ((facts.bag.manifests, bagit.manifest_name), (facts.bag.tag_manifests, bagit.tag_manifest_name))
    for manifests, name_of in kinds:
        none_known = not any(each.is_known for each in manifests)
        for manifest in manifests:
            if not manifest.is_known:
                level = Level.ERROR if none_known else None
                limit = "sha512, sha256 or another that is known"
                yield Remark(place=manifest.file, value=manifest.algorithm, limit=limit, level=level)
            elif manifest.file != name_of(manifest.algorithm):
                limit = name_of(manifest.algorithm)
                yield Remark(place=manifest.file, value=manifest.file, limit=limit, level=Level.ERROR)


_WEAK = frozenset({"md5", "sha1"})


@BAG.rule(
    "B012",
    Level.WARNING,
    "Only weak digests",
    source=RFC_8493 + "2.4",
    advice="Add a manifest with sha512 or sha256. MD5 and SHA-1 still show accidents, not forgeries.",
    requires={*IS_READABLE, "B006"},
)
def a_strong_algorithm_is_used(facts: BagFacts) -> Iterator[Remark]:
    """One payload manifest at least is stronger than MD5 and SHA-1. A note for the drafts."""
    algorithms = [each.algorithm for each in facts.bag.manifests]
    if algorithms and set(algorithms) <= _WEAK:
        level = None if facts.bag.declaration.is_final else Level.NOTE
        value = ", ".join(algorithms)
        yield Remark(place=facts.bundle.place, value=value, limit="sha512 or sha256", level=level)


@BAG.rule(
    "B013",
    Level.ERROR,
    "A path in a manifest must not be followed",
    source=RFC_8493 + "5.2",
    advice="Paths are relative to the bag, with / between folders; payload paths begin with data/.",
    requires=IS_READABLE,
)
def paths_are_safe(facts: BagFacts) -> Iterator[Remark]:
    """Not absolute, not upward, no backslash, no home folder, no drive letter."""
    for manifest in facts.all_manifests:
        yield from _from_faults(manifest.unsafe, "a path below the bag's folder")


@BAG.rule(
    "B014",
    Level.ERROR,
    "A payload manifest lists a file outside the payload",
    source=RFC_8493 + "2.1.3",
    advice="List payload files alone in payload manifests, tag files in tag manifests.",
    requires=IS_READABLE,
)
def payload_manifests_list_payload(facts: BagFacts) -> Iterator[Remark]:
    """Every path in a payload manifest begins with ``data/``."""
    for manifest in facts.proving.manifests:
        astray = sorted(facts.bag.astray & manifest.entries.keys())
        others = [path for path in astray if not is_payload(path)]
        more = f"; so in {len(others):,} entries" if len(others) > _FEW else ""
        for path in others[:1] if more else others:
            yield Remark(place=manifest.file, value=path + more, limit="paths that begin with data/")


@BAG.rule(
    "B015",
    Level.WARNING,
    "Entries are marked with an asterisk",
    source=RFC_8493 + "6.1.3",
    advice="Write the manifest without the mark of binary mode; strict readers take it for part of the name.",
    requires=IS_READABLE,
)
def no_entry_is_starred(facts: BagFacts) -> Iterator[Remark]:
    """Some checksum tools put ``*`` before the path."""
    yield from _counted_faults(facts, "starred", "with * before the path", "no mark before the path")


@BAG.rule(
    "B016",
    Level.WARNING,
    "Entries begin with ./",
    source=RFC_8493 + "2.1.3",
    advice="Write paths without ./ at the beginning.",
    requires=IS_READABLE,
)
def no_entry_is_dotted(facts: BagFacts) -> Iterator[Remark]:
    """Paths are relative to the bag without saying so."""
    yield from _counted_faults(facts, "dotted", "with ./ before the path", "no ./ before the path")


def _counted_faults(facts: BagFacts, kind: str, what: str, limit: str) -> Iterator[Remark]:
    for manifest in facts.all_manifests:
        faults: tuple[LineFault, ...] = getattr(manifest, kind)
        if faults:
            yield Remark(place=manifest.file, value=f"{len(faults)} entries {what}", limit=limit)


@BAG.rule(
    "B017",
    Level.ERROR,
    "A file is listed twice in one manifest",
    source=RFC_8493 + "2.1.3",
    advice="List each file once. If the two digests differ, find out which is right before anything else.",
    requires=IS_READABLE,
)
def files_are_listed_once(facts: BagFacts) -> Iterator[Remark]:
    """Each path once, since version 1.0; in the drafts the same entry twice is a warning."""
    level = None if facts.bag.declaration.is_final else Level.WARNING
    for manifest in facts.all_manifests:
        for each in manifest.contradictory:
            yield Remark(place=_at(each), value=f"{each.detail} again, with another digest", limit="once")
        for each in manifest.repeated:
            value = f"{each.detail} again, with the same digest"
            yield Remark(place=_at(each), value=value, limit="once", level=level)


@BAG.rule(
    "B018",
    Level.WARNING,
    "A manifest that nothing protects is not written evenly",
    source=sources.COMMON_PRACTICE,
    advice="A program writes all lines alike: this one was changed since, though it still means the same. "
    "Find out by whom or what, and make it again.",
    requires={*IS_READABLE, "B010"},
)
def manifests_are_written_evenly(facts: BagFacts) -> Iterator[Remark]:
    """Tag manifests, which no other file has the digest of, show no sign of a change that means nothing."""
    listed = {path for each in facts.bag.tag_manifests for path in each.entries}
    for manifest in facts.all_manifests:
        if manifest.uneven and manifest.file not in listed:
            value = f"differences in {', '.join(manifest.uneven)}"
            yield Remark(place=manifest.file, value=value, limit="all lines alike")


@BAG.rule(
    "B020",
    Level.ERROR,
    "A listed file is missing",
    source=RFC_8493 + "3",
    advice="Deliver the file, or the whole bag again; give a file that was renamed its name back. If it was "
    "left out on purpose, renew the manifests.",
    requires={*IS_READABLE, "B007"},
)
def listed_files_are_there(facts: BagFacts) -> Iterator[Remark]:
    """Every file in a payload manifest lies in the bag; a folder that is gone is told of once."""
    told = set(facts.holes)
    for folder, paths in facts.lost_folders.items():
        if told.isdisjoint(paths) and not facts.is_out_of_reach(paths[0]):
            told.update(paths)
            yield Remark(
                place=folder, value=f"none of its {len(paths):,} files in the bag", limit="the files"
            )
    is_all_open = not facts.closed
    for path in facts.matching.missing:
        if path not in told and (is_all_open or not facts.is_out_of_reach(path)):
            other = facts.renamed.get(path)
            there = f'; "{other}" is this file, and listed nowhere' if other else ""
            yield Remark(place=path, value=f"not in the bag{there}", limit="the file")


@BAG.rule(
    "B021",
    Level.ERROR,
    "A file is still to be fetched",
    source=RFC_8493 + "2.2.3",
    advice="Deliver the bag complete. Addresses in fetch.txt are never followed here.",
    requires=IS_READABLE,
)
def nothing_is_left_to_fetch(facts: BagFacts) -> Iterator[Remark]:
    """Files that `fetch.txt` names are there already."""
    there = facts.bag.payload
    by_path = {each.path: each for each in reversed(facts.bag.fetch)}  # the first of several
    for each in reversed(by_path.values()):
        if each.path not in there and is_payload(each.path) and not unsafe_path(each.path):
            yield Remark(place=each.path, value=f"only the address {each.url}", limit="the file")


@BAG.rule(
    "B022",
    Level.ERROR,
    "A payload file is not listed",
    source=RFC_8493 + "2.1.3",
    advice="List it in every payload manifest, or take it out of data: nothing proves where it comes from.",
    requires={*IS_READABLE, "B006", "B010", "B013", "B014"},
)
def payload_files_are_listed(facts: BagFacts) -> Iterator[Remark]:
    """Every payload file is in every payload manifest; in the drafts, in one of them.

    Of a file that is listed under another name B020 tells.
    """
    every = len(facts.proving.manifests)
    renamed = set(facts.renamed.values())
    doubles = [path for path in facts.matching.unlisted if _is_double(path)]
    if doubles:
        value = f"{len(doubles)} files whose names begin with ._, beside the files that they belong to"
        yield Remark(place=doubles[0], value=value, limit="none that is not listed")
    for path, lacking in facts.matching.unlisted.items():
        if _is_double(path) or path in renamed:
            continue
        if facts.bag.declaration.is_final or len(lacking) == every:
            where = "any manifest" if len(lacking) == every else ", ".join(lacking)
            left = ", and left by the operating system" if _is_of_system(path) else ""
            yield Remark(place=path, value=f"not in {where}{left}", limit="in every payload manifest")


def _is_double(path: str) -> bool:
    """True for files that a file manager writes beside others, where or into what it cannot store more."""
    return path.rpartition("/")[2].startswith("._")


@BAG.rule(
    "B023",
    Level.WARNING,
    "A name is spelt otherwise in the manifest than on the disk",
    source=RFC_8493 + "6.1.1.2",
    advice="Name files in the composed Unicode form (NFC), and make the manifests after copying.",
    requires=IS_READABLE,
)
def names_are_spelt_alike(facts: BagFacts) -> Iterator[Remark]:
    """Listed and found names agree in Unicode form; several that could be meant are an error."""
    for listed, actual in facts.matching.spelt.items():
        yield Remark(place=actual, value=f'listed as "{listed}", in another Unicode form', limit="one form")
    for listed, candidates in facts.matching.ambiguous.items():
        value = f"{len(candidates)} files could be meant"
        yield Remark(place=listed, value=value, limit="one", level=Level.ERROR)


@BAG.rule(
    "B024",
    Level.WARNING,
    "A name is percent-encoded where it must not be",
    source=RFC_8493 + "2.1.3",
    advice="In manifests of version 1.0 %25, %0A and %0D stand for the characters themselves: the file bears "
    "the decoded name. Rename it, or encode its per cent signs in the manifests. Older drafts have no such "
    "rule: declare version 1.0, and write the manifests by it.",
    requires=IS_READABLE,
)
def names_are_encoded_in_manifests_alone(facts: BagFacts) -> Iterator[Remark]:
    """The three encodings are for manifests of version 1.0 alone, and no part of a file's name."""
    for listed, actual in facts.matching.encoded.items():
        if facts.bag.declaration.is_final:
            yield Remark(place=actual, value=f'the manifest means "{listed}"', limit="the decoded name")
        else:
            limit = "the name itself: drafts encode nothing"
            yield Remark(place=actual, value=f'listed as "{listed}"', limit=limit)


@BAG.rule(
    "B025",
    Level.WARNING,
    "Names differ only in case or Unicode form",
    source=RFC_8493 + "6.1.1.2",
    advice="Rename one of the two: on many systems they are one file, and one overwrites the other.",
    requires=IS_READABLE,
)
def names_are_distinct_everywhere(facts: BagFacts) -> Iterator[Remark]:
    """No two names, listed or there, are the same where case and Unicode form do not count."""
    renamed = {(path, other) for pair in facts.renamed.items() for path, other in (pair, pair[::-1])}
    for path, other in clashes(facts.bag, facts.matching):
        if (path, other) in renamed:
            continue
        yield Remark(place=path, value=f'the same as "{other}" but for case or form', limit="distinct names")


@BAG.rule(
    "B026",
    Level.WARNING,
    "A payload file is empty",
    source=sources.COMMON_PRACTICE,
    advice="Look whether its content was lost on the way. A placeholder that keeps a folder is named .keep.",
    requires=IS_BAG,
)
def payload_files_are_not_empty(facts: BagFacts) -> Iterator[Remark]:
    """A file of 0 bytes is legal, and nearly always an accident.

    Silent if it is an image, or its digest is another: then it is told there.
    """
    readings, altered = facts.bundle.readings, facts.bundle.altered
    for path, size_bytes in facts.bag.payload.items():
        if not size_bytes and PurePosixPath(path).name not in (".keep", ".gitkeep", "__init__.py"):
            is_image = path in readings and readings[path].image is not None
            if not is_image and path not in altered:
                yield Remark(place=path, value="0 bytes", limit="content")


@BAG.rule(
    "B027",
    Level.WARNING,
    "A folder of the payload is empty",
    source=RFC_8493 + "2.1.3",
    advice="No manifest can list a folder, so it may be lost. Put a file .keep into it, or remove it.",
    requires=IS_BAG,
)
def payload_folders_are_not_empty(facts: BagFacts) -> Iterator[Remark]:
    """Every folder below `data` holds something. Of files that are missing in it other rules tell."""
    entries = facts.bundle.container.entries
    held = {path.rpartition("/")[0] for path in entries}
    lost = {above for path in facts.matching.missing for above in folders_above(path)}
    folder = Kind.FOLDER
    for path, _, kind, _ in entries.values():
        if kind is not folder or not path.startswith("data/") or path in held or path in lost:
            continue
        if not any(f"{above}/{iiif.INFO}" in entries for above in folders_above(path)):
            yield Remark(place=path, value="an empty folder", limit="a file in it")


_SYSTEM_FILES = frozenset(
    {".ds_store", "thumbs.db", "desktop.ini", ".spotlight-v100", ".trashes", "ehthumbs.db"}
)
_SYSTEM_SUFFIXES = frozenset(name[name.rindex(".") :] for name in _SYSTEM_FILES)


@BAG.rule(
    "B028",
    Level.WARNING,
    "A file of the operating system",
    source=sources.COMMON_PRACTICE,
    advice="Remove it before the manifests are made; it says nothing of the object.",
    requires=IS_BAG,
)
def there_are_no_system_files(facts: BagFacts) -> Iterator[Remark]:
    """No files that file managers leave behind. Of those that are not listed B022 tells."""
    for path in facts.bundle.with_suffix(*_SYSTEM_SUFFIXES):
        if _is_of_system(path) and path not in facts.matching.unlisted:
            yield Remark(place=path, value="left by the operating system", limit="no such file")


def _is_of_system(path: str) -> bool:
    return path.rpartition("/")[2].lower() in _SYSTEM_FILES


@BAG.rule(
    "B029",
    Level.NOTE,
    "A bag in the payload",
    source=RFC_8493 + "2.1.2",
    advice="The inner bag is payload like anything else and is not judged. Verify it by itself if needed.",
    requires=IS_BAG,
)
def the_payload_holds_no_bag(facts: BagFacts) -> Iterator[Remark]:
    """A bag within a bag is legal."""
    for path in facts.bag.payload:
        if path.endswith("/bagit.txt") and path != "data/bagit.txt":
            yield Remark(place=path, value="a bag of its own", limit="payload")


# ---------------------------------------------------------------------------------------- tag manifests


@BAG.rule(
    "B040",
    Level.WARNING,
    "There is no tag manifest",
    source=RFC_8493 + "2.2.1",
    advice="Add tagmanifest-sha512.txt: without it a changed manifest or bag-info.txt goes unnoticed.",
    requires=IS_BAG,
)
def there_is_a_tag_manifest(facts: BagFacts) -> Iterator[Remark]:
    """Tag manifests are optional; the manifests themselves are unprotected without."""
    if not facts.bag.tag_manifests:
        yield Remark(place=facts.bundle.place, value="no tag manifest", limit="one")


@BAG.rule(
    "B041",
    Level.ERROR,
    "A tag manifest does not list a payload manifest",
    source=RFC_8493 + "2.2.1",
    advice="Make the tag manifests again, last of all.",
    requires={*IS_READABLE, "B010"},
)
def tag_manifests_list_the_manifests(facts: BagFacts) -> Iterator[Remark]:
    """Each tag manifest lists every payload manifest; a warning in the drafts."""
    level = None if facts.bag.declaration.is_final else Level.WARNING
    for tag_manifest in facts.bag.tag_manifests:
        for manifest in facts.bag.manifests:
            if manifest.file not in tag_manifest.entries:
                value = f"{manifest.file} is not in it"
                yield Remark(
                    place=tag_manifest.file, value=value, limit="every payload manifest", level=level
                )


@BAG.rule(
    "B042",
    Level.ERROR,
    "A tag manifest lists what it must not",
    source=RFC_8493 + "2.2.1",
    advice="List neither payload files nor tag manifests in a tag manifest.",
    requires=IS_READABLE,
)
def tag_manifests_list_tag_files_alone(facts: BagFacts) -> Iterator[Remark]:
    """No tag manifest is listed, no payload file."""
    tag_manifests = {each.file for each in facts.bag.tag_manifests}
    for manifest in facts.bag.tag_manifests:
        for path in manifest.entries:
            if path in tag_manifests or is_payload(path):
                yield Remark(place=manifest.file, value=path, limit="tag files but tag manifests")


@BAG.rule(
    "B043",
    Level.WARNING,
    "A tag file is not listed",
    source=RFC_8493 + "2.2.1",
    advice="List every tag file but the tag manifests in every tag manifest; what is not listed can change "
    "unnoticed.",
    requires={*IS_READABLE, "B010", "B040"},
)
def tag_files_are_listed(facts: BagFacts) -> Iterator[Remark]:
    """Tag manifests should list all other tag files, and all the same."""
    if not facts.bag.tag_manifests:
        return
    tag_manifests = {each.file for each in facts.bag.tag_manifests}
    manifests = {each.file for each in facts.bag.manifests}  # B041 tells of these
    spelt = set(facts.matching.spelt.values())
    for path in sorted(facts.bag.tags.keys() - tag_manifests - manifests - spelt):
        lacking = [each.file for each in facts.bag.tag_manifests if path not in each.entries]
        if lacking:
            yield Remark(place=path, value=f"not in {', '.join(lacking)}", limit="in every tag manifest")


@BAG.rule(
    "B044",
    Level.ERROR,
    "A listed tag file is missing",
    source=RFC_8493 + "2.2.1",
    advice="Deliver the file, or the whole bag again. If it was left out on purpose, make the tag manifests "
    "again.",
    requires=IS_READABLE,
)
def listed_tag_files_are_there(facts: BagFacts) -> Iterator[Remark]:
    """Every file in a tag manifest lies in the bag. If it is the only payload manifest B006 tells."""
    for path in facts.matching.missing_tags:
        is_only_manifest = not facts.bag.manifests and path.startswith("manifest-")
        if not facts.is_out_of_reach(path) and not is_only_manifest:
            yield Remark(place=path, value="not in the bag", limit="the file")


@BAG.rule(
    "B045",
    Level.WARNING,
    "Tag manifests use other algorithms than payload manifests",
    source=RFC_8493 + "2.2.1",
    advice="Make a tag manifest for each payload manifest, with the same algorithm.",
    requires={*IS_READABLE, "B006", "B040"},
)
def tag_manifests_use_the_same_algorithms(facts: BagFacts) -> Iterator[Remark]:
    """The algorithms should be the same."""
    payload = {each.algorithm for each in facts.bag.manifests if each.is_known}
    tags = {each.algorithm for each in facts.bag.tag_manifests if each.is_known}
    if tags and payload and tags != payload:
        value, limit = ", ".join(sorted(tags)), ", ".join(sorted(payload))
        yield Remark(place=facts.bundle.place, value=value, limit=limit)


@BAG.rule(
    "B046",
    Level.WARNING,
    "A folder of tag files in an old draft",
    source=sources.BAGIT_DRAFT + "changes since 0.96",
    advice="Declare version 0.97 at least, better 1.0.",
    requires=IS_BAG,
)
def old_drafts_have_no_tag_folders(facts: BagFacts) -> Iterator[Remark]:
    """Before 0.97 `data` is the only folder."""
    if facts.bag.declaration.version < (0, 97):
        for folder in sorted({path.partition("/")[0] for path in facts.bag.tags if "/" in path}):
            yield Remark(place=folder, value="a folder beside data", limit="data alone before version 0.97")


# ----------------------------------------------------------------------------------------- bag-info.txt


@BAG.rule(
    "B050",
    Level.ERROR,
    "A line of bag-info.txt cannot be read",
    source=RFC_8493 + "2.2.2",
    advice="Each line is a label, a colon, one blank and a value, or begins with a blank and continues the "
    "value above.",
    requires=IS_READABLE,
)
def information_can_be_read(facts: BagFacts) -> Iterator[Remark]:
    """Label, colon, one blank, value; any blanks about the colon in the drafts."""
    yield from _from_faults(facts.bag.info_faults, "label, colon, one blank, value")


_OXUM = re.compile(r"([0-9]+)\.([0-9]+)")


@BAG.rule(
    "B051",
    Level.ERROR,
    "Payload-Oxum is not as it must be",
    source=RFC_8493 + "2.2.2",
    advice="Write it once, as bytes, full stop, number of files: 279164409832.1198.",
    requires=IS_READABLE,
)
def the_oxum_is_well_formed(facts: BagFacts) -> Iterator[Remark]:
    """Once at most, two numbers with a full stop between."""
    values = facts.bag.values(bagit.Label.PAYLOAD_OXUM)
    if len(values) > 1:
        yield Remark(place=facts.bag.info_file, value=f"it {len(values)} times", limit="once at most")
    for value in values:
        if not _OXUM.fullmatch(value):
            yield Remark(place=facts.bag.info_file, value=f'"{value}"', limit="bytes, full stop, files")


@BAG.rule(
    "B052",
    Level.ERROR,
    "Number or bytes of the payload files do not agree with Payload-Oxum",
    source=RFC_8493 + "2.2.2",
    advice="Files are missing, cut off, or too many: compare with the manifest, and deliver the bag again. "
    "If the payload is right, correct the value and the tag manifests.",
    requires={*IS_READABLE, "B051", "B020", "B021", "B022"},
)
def the_oxum_agrees(facts: BagFacts) -> Iterator[Remark]:
    """Bytes and number of the payload files are what `bag-info.txt` says.

    Silent if single files are known to be altered or out of reach: then they are the cause.
    """
    if facts.altered or any(is_payload(each) for each in facts.closed):
        return
    for value in facts.bag.values(bagit.Label.PAYLOAD_OXUM)[:1]:
        if match := _OXUM.fullmatch(value):
            found = (sum(facts.bag.payload.values()), len(facts.bag.payload))
            if found != (int(match[1][:30]), int(match[2][:30])):
                said = f"{match[1]} bytes in {match[2]} files"
                yield Remark(
                    place=facts.bag.info_file, value=f"{found[0]} bytes in {found[1]} files", limit=said
                )


_SINGLE = (
    bagit.Label.BAGGING_DATE,
    bagit.Label.BAG_SIZE,
    bagit.Label.BAG_GROUP_IDENTIFIER,
    bagit.Label.BAG_COUNT,
)
_FORMS = {
    bagit.Label.BAGGING_DATE: (
        re.compile(r"[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])"),
        "YYYY-MM-DD",
    ),
    bagit.Label.BAG_COUNT: (re.compile(r"[0-9]+ of ([0-9]+|\?)"), "N of T"),
}


@BAG.rule(
    "B053",
    Level.WARNING,
    "An element of bag-info.txt is not as it should be",
    source=RFC_8493 + "2.2.2",
    advice="Write a date as 2026-03-09, a count as 1 of 4 with a Bag-Group-Identifier, each of these once.",
    requires={*IS_READABLE, "B050"},
)
def reserved_elements_are_well_formed(facts: BagFacts) -> Iterator[Remark]:
    """Bagging-Date, Bag-Size, Bag-Group-Identifier, Bag-Count: once, in their form."""
    place = facts.bag.info_file
    for label in _SINGLE:
        values = facts.bag.values(label)
        if len(values) > 1:
            yield Remark(place=f"{place}, {label}", value=f"it {len(values)} times", limit="once")
        pattern, form = _FORMS.get(label, (None, ""))
        for value in values:
            if pattern and not pattern.fullmatch(value):
                yield Remark(place=f"{place}, {label}", value=f'"{value}"', limit=form)
    if facts.bag.values(bagit.Label.BAG_COUNT) and not facts.bag.values(bagit.Label.BAG_GROUP_IDENTIFIER):
        label = bagit.Label.BAG_GROUP_IDENTIFIER
        yield Remark(place=f"{place}, {label}", value="none beside Bag-Count", limit="one")


@BAG.rule(
    "B054",
    Level.NOTE,
    "Lines of bag-info.txt are long",
    source=RFC_8493 + "2.2.2",
    advice="Fold long values: a line that begins with a blank continues the one above.",
    requires=IS_READABLE,
)
def information_is_folded(facts: BagFacts) -> Iterator[Remark]:
    """Lines should have 79 characters at most."""
    if long_lines := facts.bag.long_lines:
        limit = f"{bagit.LINE_CHARACTERS} characters"
        yield Remark(place=facts.bag.info_file, value=f"{len(long_lines)} lines that are longer", limit=limit)


# -------------------------------------------------------------------------------------------- fetch.txt


@BAG.rule(
    "B060",
    Level.ERROR,
    "A line of fetch.txt cannot be read",
    source=RFC_8493 + "2.2.3",
    advice="Each line is an address, a number of bytes or -, and a path, with blanks between.",
    requires=IS_READABLE,
)
def fetch_can_be_read(facts: BagFacts) -> Iterator[Remark]:
    """Address, length, path."""
    yield from _from_faults(facts.bag.fetch_faults, "address, length, path")


@BAG.rule(
    "B061",
    Level.ERROR,
    "fetch.txt names what must not be fetched",
    source=RFC_8493 + "5.2",
    advice="Paths lie in data/, relative and with /; addresses begin with https.",
    requires=IS_READABLE,
)
def fetch_is_safe(facts: BagFacts) -> Iterator[Remark]:
    """Paths stay in the payload; addresses are of the web."""
    for each in facts.bag.fetch:
        place = f"{bagit.FETCH_FILE}, line {each.line}"
        why = unsafe_path(each.path)
        if why or not each.path.startswith("data/"):
            value = f'"{each.path}" {why or "is no payload file"}'
            yield Remark(place=place, value=value, limit="a path in data/")
        if not re.match(r"(?i)https?://[^/]", each.url):
            yield Remark(place=place, value=each.url, limit="an address that begins with https")


@BAG.rule(
    "B062",
    Level.ERROR,
    "A file to be fetched is not listed",
    source=RFC_8493 + "2.2.3",
    advice="List every path of fetch.txt in every payload manifest: else it could not be proved.",
    requires={*IS_READABLE, "B006", "B010", "B061"},
)
def fetched_files_are_listed(facts: BagFacts) -> Iterator[Remark]:
    """Every path of `fetch.txt` is in every payload manifest; in the drafts, in one."""
    manifests = facts.proving.manifests
    for each in facts.bag.fetch if manifests else ():
        lacking = [manifest.file for manifest in manifests if each.path not in manifest.entries]
        if len(lacking) == len(manifests) or (lacking and facts.bag.declaration.is_final):
            yield Remark(place=each.path, value=f"not in {', '.join(lacking)}", limit="in every manifest")


# --------------------------------------------------------------------------------------------- profiles


@BAG.rule(
    "B080",
    Level.ERROR,
    "The bag does not conform to its profile",
    source=sources.BAGIT_PROFILES + "Implementation details",
    advice="Make the bag as its profile wants it; the key of the profile is named with each place.",
    requires=IS_READABLE,
)
def profiles_are_kept(facts: BagFacts) -> Iterator[Remark]:
    """Profiles that the bag names and we know, and those that the delivery asks for.

    What is missing counts as there, and what is not listed is not told of again: other rules do.
    """
    for profile in _profiles(facts):
        about: Mapping[str, Any] = profile["BagIt-Profile-Info"]
        source = f"{about.get('External-Description', '')} ({about[bagit.Label.PROFILE_IDENTIFIER]})"
        alike: dict[tuple[str, str], list[str]] = {}
        for problem in bagprofile.profile_problems(_profile_facts(facts), profile):
            if not _is_told_already(facts, problem):
                alike.setdefault((problem.where, problem.expected), []).append(problem.found)
        for (where, expected), found in alike.items():
            more = f"; and {len(found) - 1:,} more" if len(found) > _FEW else ""
            for value in found[:1] if more else found:
                place = f"{facts.bundle.place}, {where}"
                yield Remark(place=place, value=value + more, limit=expected, source=source)


def _is_told_already(facts: BagFacts, problem: Problem) -> bool:
    """True if B003, B021 or B022 tells of it."""
    match problem.where:
        case "Accept-BagIt-Version":
            return any(the_version_is_known(facts))
        case "Allow-Fetch.txt":
            return any(nothing_is_left_to_fetch(facts))
        case "Payload-Files-Allowed":
            return problem.found in facts.matching.unlisted
    return False


def _profiles(facts: BagFacts) -> list[bagprofile.Profile]:
    named = facts.bag.values(bagit.Label.PROFILE_IDENTIFIER)
    ours = [profile for each in named if (profile := bagprofile.our_profile(each))]
    return [*ours, *(each for each in facts.profiles if each not in ours)]


def _profile_facts(facts: BagFacts) -> bagprofile.BagFacts:
    bag = facts.bag
    own = {
        bagit.DECLARATION_FILE,
        bagit.FETCH_FILE,
        bag.info_file,
        *(each.file for each in (*bag.manifests, *bag.tag_manifests)),
    }
    payload = {**dict.fromkeys(facts.matching.missing, 1), **bag.payload}
    major, minor = bag.declaration.version
    return bagprofile.BagFacts(
        version=f"{major}.{minor}",
        info=bag.info,
        manifests=tuple(each.algorithm for each in bag.manifests),
        tag_manifests=tuple(each.algorithm for each in bag.tag_manifests),
        tag_files=tuple(sorted(bag.tags.keys() - own)),
        payload=tuple(payload.items()),
        has_fetch=bag.has_fetch,
        serialization=facts.bundle.container.media_type,
    )


@BAG.rule(
    "B081",
    Level.WARNING,
    "The bag names a profile that is not known here",
    source=sources.BAGIT_PROFILES + "Bag-Info",
    advice="Get the profile from its publisher and name its file in the delivery specification. It is not "
    "fetched from the address that the bag gives.",
    requires=IS_READABLE,
)
def profiles_are_known(facts: BagFacts) -> Iterator[Remark]:
    """Profiles are known by their identifiers, and never fetched."""
    given = {each["BagIt-Profile-Info"][bagit.Label.PROFILE_IDENTIFIER] for each in facts.profiles}
    for identifier in facts.bag.values(bagit.Label.PROFILE_IDENTIFIER):
        if identifier not in given and bagprofile.our_profile(identifier) is None:
            place = f"{facts.bag.info_file}, {bagit.Label.PROFILE_IDENTIFIER}"
            yield Remark(place=place, value=identifier, limit="a profile that is known here")
