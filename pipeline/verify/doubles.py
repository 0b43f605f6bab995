"""A rule over all bundles of a delivery: none lists what another one lists."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pipeline.findings import Level, Register, Remark
from pipeline.verify.evidence import Bundle
from pipeline.verify.sources import COMMON_PRACTICE


@dataclass(frozen=True, slots=True, kw_only=True)
class PayloadFacts:
    """The bundles that have one payload."""

    paths: Sequence[str]
    """As they were given."""


def fingerprint(bundle: Bundle) -> bytes:
    """Return what two bundles have in common only if they list the same files, under whatever names.

    Of the first payload manifest: bundles with digests of different algorithms are not compared. Empty if no
    manifest lists a file.
    """
    for manifest in sorted(bundle.sound_manifests, key=lambda each: each.algorithm):
        if manifest.entries:
            return hashlib.sha256(b"".join(sorted(manifest.entries.values()))).digest()
    return b""


PAYLOADS = Register[PayloadFacts]("bundles of a delivery")


@PAYLOADS.rule(
    "X012",
    Level.WARNING,
    "Two bundles list the same files",
    source=COMMON_PRACTICE,
    advice="One of the two is there twice, perhaps in the place of another item: compare the delivery with "
    "the list of what was ordered.",
)
def bundles_differ(facts: PayloadFacts) -> Iterator[Remark]:
    """No bundle of a delivery lists the same files as another one, by their digests, not their names."""
    first, *others = facts.paths
    for path in others:
        yield Remark(place=path, value=f"lists the same files as {first}", limit="files of its own")
