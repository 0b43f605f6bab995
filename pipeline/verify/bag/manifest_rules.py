"""Rules over manifests as they are written.

Source: RFC 8493, sections 2.1.3 and 2.4; where a bag declares an older draft, what that draft asked for.
"""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.findings import Level, Remark
from pipeline.specs import bagit
from pipeline.verify import sources
from pipeline.verify.bag.facts import BAG, FEW, IS_READABLE, BagFacts, from_faults, place_of
from pipeline.verify.bag.matching import is_payload
from pipeline.verify.evidence import LineFault
from pipeline.verify.sources import RFC_8493


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
        yield from from_faults(manifest.malformed, "digest, blanks, path")


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
        yield from from_faults(manifest.unsafe, "a path below the bag's folder")


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
        more = f"; so in {len(others):,} entries" if len(others) > FEW else ""
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
            yield Remark(
                place=place_of(each), value=f"{each.detail} again, with another digest", limit="once"
            )
        for each in manifest.repeated:
            value = f"{each.detail} again, with the same digest"
            yield Remark(place=place_of(each), value=value, limit="once", level=level)


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
