"""Rules over the digests of a bag's files: what can be judged only after every file was read."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.findings import Level, Register, Remark
from pipeline.verify.bag.facts import Altered, BagFacts
from pipeline.verify.sources import COMMON_PRACTICE, RFC_8493

FIXITY = Register[BagFacts]("digests")


@FIXITY.rule(
    "B072",
    Level.ERROR,
    "A file cannot be read, or changed while it was read",
    source=COMMON_PRACTICE,
    advice="Copy it again from its source; look whether the disk fails, or somebody still writes to it.",
)
def files_can_be_read(facts: BagFacts) -> Iterator[Remark]:
    """Every file is read to its end and stays the same meanwhile."""
    for reading in facts.bundle.readings.values():
        if reading.failure:
            yield Remark(place=reading.path, value=reading.failure, limit="read to its end, unchanged")


@FIXITY.rule(
    "B070",
    Level.ERROR,
    "A payload file is not what was sent: its digest differs",
    source=RFC_8493 + "3",
    advice="Copy it again from its source. If it was changed on purpose, the maker of the bag renews the "
    "manifests; never correct the manifest to fit a file that nobody vouches for.",
)
def payload_digests_match(facts: BagFacts) -> Iterator[Remark]:
    """Every digest of every payload manifest is that of the file."""
    yield from _remarks(facts.altered)


@FIXITY.rule(
    "B071",
    Level.ERROR,
    "A tag file is not what was sent: its digest differs",
    source=RFC_8493 + "3",
    advice="Copy it again from its source. If it was changed on purpose, the maker of the bag renews the tag "
    "manifests.",
)
def tag_digests_match(facts: BagFacts) -> Iterator[Remark]:
    """Every digest of every tag manifest is that of the file."""
    yield from _remarks(facts.altered_tags)


def _remarks(altered: tuple[Altered, ...]) -> Iterator[Remark]:
    """One remark for each file, whatever the number of manifests that it disagrees with."""
    for path, pairs in altered:
        value = ", ".join(f"{algorithm} {digest.hex()}" for algorithm, digest, _ in pairs)
        limit = ", ".join(f"{algorithm} {expected.hex()}" for algorithm, _, expected in pairs)
        yield Remark(place=path, value=value, limit=limit)
