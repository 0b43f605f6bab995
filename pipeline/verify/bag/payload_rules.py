"""Rules over the payload against its manifests, and over its names; no payload file is read.

Source: RFC 8493, sections 2.1.3 and 3.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import PurePosixPath

from pipeline.containers import Kind, paths_in
from pipeline.files import folders_above, unsafe_path
from pipeline.findings import Level, Remark
from pipeline.specs import iiif
from pipeline.verify import sources
from pipeline.verify.bag.facts import BAG, IS_BAG, IS_READABLE, BagFacts
from pipeline.verify.bag.matching import clashes, is_payload
from pipeline.verify.sources import RFC_8493


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
    container = facts.bundle.container
    held = {path.rpartition("/")[0] for path in paths_in(container)}
    lost = {above for path in facts.matching.missing for above in folders_above(path)}
    for path, each in container.others.items():
        if each.kind is not Kind.FOLDER or not path.startswith("data/") or path in held or path in lost:
            continue
        if not any(f"{above}/{iiif.INFO}" in container.files for above in folders_above(path)):
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
