"""One bundle: opened, read once, judged by each family of rules in turn."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pipeline import containers
from pipeline.containers import Container, Kind, Limits
from pipeline.findings import Register, Report, Skipped
from pipeline.specs import bagit
from pipeline.verdict import Verdict
from pipeline.verify.bag_reading import payload_algorithms, read_bag, tag_algorithms
from pipeline.verify.bag_rules import BAG, BagFacts
from pipeline.verify.container_rules import CONTAINER, ContainerFacts
from pipeline.verify.evidence import Bag, Bundle, FileReading
from pipeline.verify.file_reading import Wanted, read_files
from pipeline.verify.fixity_rules import FIXITY
from pipeline.verify.image_rules import IMAGES, ImageFacts

Told = Callable[[int, int], None]
"""Is told of bytes read so far, and of all bytes."""


def _nothing(done: int, total: int) -> None:
    pass


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """How bundles are verified."""

    is_quick: bool = False
    """Structure alone: no payload file is read."""
    official_schemas: Path | None = None
    limits: Limits = field(default_factory=Limits)
    threads: int = 0
    """0 for one to each processor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """A verdict, and what is kept to compare bundles with each other."""

    verdict: Verdict
    group: str
    """``Bag-Group-Identifier``: bundles of one item share it; empty if there is none."""


def verify(path: Path, options: Options, *, told: Told = _nothing) -> Verified:
    """Judge one bundle, or one document. Raises InputError if there is nothing to judge."""
    with containers.opened(path, limits=options.limits) as container:
        bag = None if container.is_document else read_bag(container, options.limits)
        readings = _read(container, bag, options, told)
        bundle = Bundle(
            container=container,
            limits=options.limits,
            bag=bag,
            readings=readings,
            is_quick=options.is_quick,
        )
        report = _judge(bundle, path, options)
        return Verified(verdict=_verdict(bundle, path, report), group=_group(bag))


def registers() -> tuple[Register[Any], ...]:
    """All rules of verification, in the order in which they run."""
    return (CONTAINER, BAG, FIXITY, IMAGES)


# ---------------------------------------------------------------------------------------------- reading


def _read(container: Container, bag: Bag | None, options: Options, told: Told) -> dict[str, FileReading]:
    if options.is_quick or bag is None:
        return {}
    wanted = _wanted(container, bag)
    total = sum(each.size_bytes for each in wanted)
    done = 0

    def count(reading: FileReading) -> None:
        nonlocal done
        done += reading.size_bytes
        told(done, total)

    threads = options.threads or os.cpu_count() or 1
    return read_files(container, wanted, options.limits, threads=threads, done=count)


def _wanted(container: Container, bag: Bag) -> list[Wanted]:
    payload, tags = payload_algorithms(bag), tag_algorithms(bag)
    return [
        Wanted(path=path, size_bytes=entry.size_bytes, algorithms=payload if _is_payload(path) else tags)
        for path, entry in container.entries.items()
        if entry.kind is Kind.FILE
    ]


def _is_payload(path: str) -> bool:
    return path.startswith(f"{bagit.PAYLOAD}/")


# ---------------------------------------------------------------------------------------------- judging


def _judge(bundle: Bundle, path: Path, options: Options) -> Report:
    container_facts = ContainerFacts(container=bundle.container, given=path.name)
    report = CONTAINER.judge(container_facts, place=bundle.place)
    if not bundle.container.is_document:
        report += BAG.judge(BagFacts(bundle=bundle), place=bundle.place)
        if bundle.bag is None:
            return report
        report += _judge_files(bundle)
    return report


def _judge_files(bundle: Bundle) -> Report:
    if bundle.is_quick:
        return skipped((FIXITY, IMAGES), bundle.place, "only structure was judged, no payload was read")
    return FIXITY.judge(BagFacts(bundle=bundle), place=bundle.place) + IMAGES.judge(
        ImageFacts(bundle=bundle), place=bundle.place
    )


def skipped(families: tuple[Register[Any], ...], place: str, reason: str) -> Report:
    """A report that no rule of these families was run, and why."""
    return Report(
        skipped=tuple(
            Skipped(code=rule.code, place=place, reason=reason, title=rule.title)
            for family in families
            for rule in family.rules.values()
        )
    )


# ---------------------------------------------------------------------------------------------- verdict

_KINDS = {
    "": "folder",
    "application/x-tar": "tar archive",
    "application/gzip": "compressed tar archive",
    "application/zip": "zip archive",
}


def _verdict(bundle: Bundle, path: Path, report: Report) -> Verdict:
    container = bundle.container
    found = [each for each in container.entries.values() if each.kind is Kind.FILE]
    return Verdict(
        name=container.name,
        path=str(path),
        kind="document" if container.is_document else _KINDS[container.media_type],
        report=report,
        files=len(found),
        size_bytes=sum(each.size_bytes for each in found),
        facts=tuple(_facts(bundle)),
        is_quick=bundle.is_quick,
    )


def _facts(bundle: Bundle) -> list[tuple[str, str]]:
    bag = bundle.bag
    if bag is None:
        return []
    major, minor = bag.declaration.version
    listed = [
        ("BagIt version", f"{major}.{minor}"),
        ("Payload", f"{len(bag.payload):,} files, {sum(bag.payload.values()):,} bytes"),
        ("Digests", ", ".join(each.algorithm for each in bag.manifests)),
    ]
    for label in (
        bagit.Label.SOURCE_ORGANIZATION,
        bagit.Label.EXTERNAL_IDENTIFIER,
        bagit.Label.BAG_GROUP_IDENTIFIER,
        bagit.Label.BAGGING_DATE,
        bagit.Label.PROFILE_IDENTIFIER,
    ):
        listed += [(str(label), value) for value in bag.values(label)]
    return [(label, value) for label, value in listed if value]


def _group(bag: Bag | None) -> str:
    values = bag.values(bagit.Label.BAG_GROUP_IDENTIFIER) if bag else ()
    return values[0] if values else ""
