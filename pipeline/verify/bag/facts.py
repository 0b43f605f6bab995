"""What rules look at: a bag, and how what it lists and what it holds fit together."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from pipeline import bagprofile
from pipeline.containers import FaultKind, irregular
from pipeline.files import folded, folders_above
from pipeline.findings import Register, Remark
from pipeline.specs import bagit
from pipeline.verify.bag.matching import Matching, is_payload, match
from pipeline.verify.evidence import Bag, Bundle, LineFault, Manifest


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
        return {folder: tuple(paths) for folder, paths in lost.items() if len(paths) > FEW}

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


def place_of(fault: LineFault) -> str:
    """What a finding about a line of a tag file is placed at."""
    return f"{fault.file}, line {fault.line}" if fault.line else fault.file


FEW = 3
"""Lines or files that are wrong in the same way are told one by one up to here: more have one cause."""


def from_faults(faults: Iterable[LineFault], limit: str) -> Iterator[Remark]:
    """Yield a remark for each line; of many that are wrong in the same way the first, and their number."""
    alike: dict[tuple[str, str], list[LineFault]] = {}
    for each in faults:
        alike.setdefault((each.file, _QUOTED.sub("", each.detail)), []).append(each)
    for found in alike.values():
        more = f"; so in {len(found):,} lines" if len(found) > FEW else ""
        for each in found[:1] if more else found:
            yield Remark(place=place_of(each), value=each.detail + more, limit=limit)


_QUOTED = re.compile(r'^".*"(?= )')
"""What differs from line to line."""
