"""Which files of a bag its manifests mean: by their spelling, else by Unicode form or a sloppy encoding.

Sets are compared as wholes, for a publication bundle has more than a hundred thousand tiles.
"""

from __future__ import annotations

import unicodedata
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field

from pipeline.files import folded
from pipeline.specs import bagit
from pipeline.verify.evidence import Bag


@dataclass(frozen=True, slots=True, kw_only=True)
class Matching:
    """How the names in a bag's manifests and the files in it fit together."""

    spelt: Mapping[str, str] = field(default_factory=dict)
    """Listed paths that are spelt otherwise on the disk, by Unicode form, each with that spelling."""
    encoded: Mapping[str, str] = field(default_factory=dict)
    """Listed paths whose file bears the encoded name itself; in the drafts, which encode nothing, those that
    are encoded in the manifest. Each with the file's name."""
    ambiguous: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Listed paths that several files could be meant by."""
    twins: Mapping[str, str] = field(default_factory=dict)
    """Listed paths that are missing, but differ only in case from one that is there and has the same
    digest: where case does not count, they are one file."""
    missing: tuple[str, ...] = ()
    """Listed payload paths without a file, sorted."""
    missing_tags: tuple[str, ...] = ()
    """Listed tag files without a file, sorted."""
    unlisted: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Payload files with the payload manifests that do not list them."""

    def actual(self, listed: str) -> str:
        """The path on the disk that a listed path means."""
        return self.spelt.get(listed) or self.encoded.get(listed) or listed


def match(bag: Bag) -> Matching:
    """Compare what is listed with what is there."""
    strangers = [
        *sorted(path for path in bag.astray if is_payload(path)),
        *sorted(path for path in _tags_astray(bag) if not is_payload(path)),
    ]
    spelt, encoded, ambiguous = _other_spellings(bag, strangers)
    found = {*spelt, *encoded, *ambiguous}
    twins = _twins(bag, [each for each in strangers if each not in found])
    missing = [each for each in strangers if each not in found and each not in twins]
    return Matching(
        spelt=spelt,
        encoded=encoded,
        ambiguous=ambiguous,
        twins=twins,
        missing=tuple(each for each in missing if is_payload(each)),
        missing_tags=tuple(each for each in missing if not is_payload(each)),
        unlisted=_unlisted(bag, {**spelt, **encoded}, ambiguous),
    )


def is_payload(path: str) -> bool:
    """True for paths of payload files; others are wrong in payload manifests, right in tag manifests."""
    return path.startswith(_PAYLOAD)


_PAYLOAD = f"{bagit.PAYLOAD}/"


def _tags_astray(bag: Bag) -> set[str]:
    return {path for each in bag.tag_manifests for path in each.entries if path not in bag.tags}


def _are_plainly_distinct(names: Collection[str]) -> bool:
    """True if names are ASCII and differ where case does not count; False if that needs a closer look."""
    joined = "\n".join(names)
    if not joined.isascii():
        return False
    folds = joined.lower().split("\n")
    return len(folds) == len(set(folds)) == len(names)


def _other_spellings(
    bag: Bag, strangers: list[str]
) -> tuple[dict[str, str], dict[str, str], dict[str, tuple[str, ...]]]:
    spelt: dict[str, str] = {}
    encoded: dict[str, str] = {}
    ambiguous: dict[str, tuple[str, ...]] = {}
    if not strangers:
        return spelt, encoded, ambiguous
    there = {**bag.payload, **bag.tags}
    by_form: dict[str, list[str]] = defaultdict(list)
    for path in there:
        if not path.isascii():
            by_form[unicodedata.normalize("NFC", path)].append(path)
    recode = bagit.encode_path if bag.declaration.is_final else bagit.decode_path
    for listed in strangers:
        candidates = by_form.get(unicodedata.normalize("NFC", listed), ()) if by_form else ()
        if len(candidates) > 1:
            ambiguous[listed] = tuple(sorted(candidates))
        elif candidates:
            spelt[listed] = candidates[0]
        elif (written := recode(listed)) != listed and written in there:
            encoded[listed] = written
    return spelt, encoded, ambiguous


def _twins(bag: Bag, missing: list[str]) -> dict[str, str]:
    if not missing:
        return {}
    by_fold: dict[str, list[str]] = defaultdict(list)
    for path in (*bag.payload, *bag.tags):
        by_fold[folded(path)].append(path)
    twins = {}
    for listed in missing:
        for other in by_fold.get(folded(listed), ()):
            if _agree(bag, listed, other):
                twins[listed] = other
    return twins


def _agree(bag: Bag, one: str, other: str) -> bool:
    listing = [each for each in (*bag.manifests, *bag.tag_manifests) if one in each.entries]
    return all(each.entries.get(other) == each.entries[one] for each in listing)


def _unlisted(
    bag: Bag, spelt: Mapping[str, str], ambiguous: Mapping[str, tuple[str, ...]]
) -> dict[str, tuple[str, ...]]:
    lacking: dict[str, list[str]] = defaultdict(list)
    possible = {path for candidates in ambiguous.values() for path in candidates}
    for manifest in bag.manifests:
        if not bag.astray and len(manifest.entries) == len(bag.payload):
            continue  # the same names
        others = {spelt[each] for each in spelt.keys() & manifest.entries.keys()} | possible
        for path in bag.payload.keys() - manifest.entries.keys() - others:
            lacking[path].append(manifest.file)
    return {path: tuple(lacking[path]) for path in sorted(lacking)}


def clashes(bag: Bag, matching: Matching) -> Iterator[tuple[str, str]]:
    """Yield names, listed or there, that differ only in case or Unicode form, in pairs.

    Names that `matching` takes for another spelling of a file that is there are no names of their own.
    """
    astray = {path for path in bag.astray | _tags_astray(bag) if not bag.holds(path)}
    names = [*bag.payload, *bag.tags, *(astray - matching.spelt.keys() - matching.ambiguous.keys())]
    if _are_plainly_distinct(names):
        return
    seen: dict[str, str] = {}
    for path in sorted(names):
        fold = folded(path)
        if fold in seen:
            yield path, seen[fold]
        seen.setdefault(fold, path)
