"""Rules over all image services of a bundle together."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from urllib.parse import unquote

from pipeline.findings import Level, Register, Remark
from pipeline.verify.image_service.services import Service
from pipeline.verify.remarks import listed
from pipeline.verify.sources import COMMON_PRACTICE, IMAGE_API_3


@dataclass(frozen=True, slots=True, kw_only=True)
class ServicesFacts:
    """The services of a bundle that could be read."""

    services: Sequence[Service]
    elsewhere: Sequence[str]
    """Paths of images that are named as the Image API names them, and lie in no folder of a service."""


SERVICES = Register[ServicesFacts]("the image services of a bundle")


@SERVICES.rule(
    "T030",
    Level.ERROR,
    "Tiles without an info.json",
    source=IMAGE_API_3 + "section 5.1",
    advice="Put the info.json into the folder that the images belong to, or take the images out.",
)
def tiles_have_an_info(facts: ServicesFacts) -> Iterator[Remark]:
    """Where images lie under names of the Image API, an info.json lies above them."""
    orphans: Counter[str] = Counter()
    for path in facts.elsewhere:
        if (folder := _service_of(path)) is not None:
            orphans[folder] += 1
    for folder, images in sorted(orphans.items()):
        yield Remark(place=folder, value=f"{images:,} images", limit="an info.json beside them")


_REQUEST = re.compile(
    r"(?:full|square|(?:pct:)?[\d.]+,[\d.]+,[\d.]+,[\d.]+)/(?:full|max|[\^!]?\d*,\d*)/!?\d+"
)


def _service_of(path: str) -> str | None:
    """Return the folder that a path with the form of an image request belongs to."""
    parts = path.rsplit("/", 4)
    if len(parts) != 5 or not _REQUEST.fullmatch("/".join(parts[1:4])):
        return None
    return parts[0]


@SERVICES.rule(
    "T031",
    Level.ERROR,
    "Two image services have the same id",
    source=IMAGE_API_3 + "section 2",
    advice="Give each the address of its own folder: readers would see the one picture in place of the "
    "other.",
)
def ids_are_unique(facts: ServicesFacts) -> Iterator[Remark]:
    """No two info.json have the same id."""
    by_id: dict[str, list[str]] = defaultdict(list)
    for service in facts.services:
        by_id[service.identifier].append(service.path)
    for identifier, paths in by_id.items():
        if identifier and len(paths) > 1:
            value = f"{identifier} is also the id of {listed(paths[:-1])}"
            yield Remark(place=paths[-1], value=value, limit="an id of its own")


@SERVICES.rule(
    "T032",
    Level.WARNING,
    "Image services of one bundle have different bases",
    source=COMMON_PRACTICE,
    advice="Write all ids below one address, as the folders lie in the bundle, unless they will be served "
    "from different hosts.",
)
def ids_have_one_base(facts: ServicesFacts) -> Iterator[Remark]:
    """Taking each service's folder from the end of its id leaves the same address for all."""
    bases: dict[str, list[str]] = defaultdict(list)
    for service in facts.services:
        if base := _base(service):
            bases[base].append(service.path)
    if len(bases) < 2:
        return
    usual = max(bases, key=lambda base: len(bases[base]))
    for base, paths in bases.items():
        if base != usual:
            value = f"{base} for {len(paths):,}: {listed(paths)}"
            yield Remark(place=paths[0], value=value, limit=f"{usual}, as for {len(bases[usual]):,} others")


def _base(service: Service) -> str:
    """What is left of the id without the parts that its folder has too; nothing if the last one differs."""
    if not service.has_base_address:
        return ""
    address, folder = unquote(service.identifier).split("/"), service.folder.split("/")
    shared = 0
    while shared < min(len(address) - 3, len(folder)) and address[-1 - shared] == folder[-1 - shared]:
        shared += 1
    return (
        f"{'/'.join(address[: len(address) - shared])}/ above {'/'.join(folder[:-shared])}" if shared else ""
    )
