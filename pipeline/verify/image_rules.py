"""Rules over images: each one is what its name says, is whole, and is there once."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import PurePosixPath

from pipeline.delivery import Images
from pipeline.findings import Level, Register, Remark
from pipeline.model import MasterFormat
from pipeline.verify.evidence import Bundle, FileReading, ImageReading
from pipeline.verify.roles import is_tile
from pipeline.verify.sources import COMMON_PRACTICE, TIFF_6

_SUFFIXES = {
    MasterFormat.TIFF: {".tif", ".tiff"},
    MasterFormat.BIGTIFF: {".tif", ".tiff", ".btf", ".tf8"},
    MasterFormat.JPEG: {".jpg", ".jpeg"},
    MasterFormat.JP2: {".jp2", ".jpx", ".jpf"},
    MasterFormat.PNG: {".png"},
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageFacts:
    """The images of a bundle, as they were read."""

    bundle: Bundle
    images: Images = field(default_factory=Images)
    """What a delivery specification says of images."""

    def read(self) -> Iterator[tuple[FileReading, ImageReading]]:
        """Every image that was read, with its file, but the tiles of image services: T judges these.

        Images that are not what was sent are left out: their digests tell of them.
        """
        files = self.bundle.container.files
        for reading in self.bundle.readings.values():
            if (image := self.bundle.image_at(reading.path)) is not None:
                service = reading.path.rsplit("/", _TILE_LEVELS)[0]
                if not is_tile(reading.path) or f"{service}/info.json" not in files:
                    yield reading, image


_TILE_LEVELS = 4
"""Region, size, rotation, quality: what follows the service in a tile's path."""

IMAGES = Register[ImageFacts]("images")


@IMAGES.rule(
    "I001",
    Level.ERROR,
    "An image cannot be decoded to its end",
    source=COMMON_PRACTICE,
    advice="Copy it again from its source. If the source is damaged too, export it again from the raw "
    "capture; whether the page may be photographed again is the conservator's decision.",
)
def images_decode(facts: ImageFacts) -> Iterator[Remark]:
    """Every image is of a kind that is taken, and every pixel of it can be decoded."""
    for reading, image in facts.read():
        if image.problem:
            yield Remark(place=reading.path, value=what_is_wrong(image), limit="decoded to its end")


def what_is_wrong(image: ImageReading) -> str:
    """Return why an image cannot be decoded, without the advice for those who make masters of their own."""
    return _ADVICE.sub("", image.problem)


_ADVICE = re.compile(r"; (?:copy it again|export it as an uncompressed)\b.*", re.DOTALL)


@IMAGES.rule(
    "I002",
    Level.ERROR,
    "A file is not what its name's ending says",
    source=COMMON_PRACTICE,
    advice="Give it the ending of what it is, in manifests and documents too, or export it as what its name "
    "says.",
)
def endings_are_right(facts: ImageFacts) -> Iterator[Remark]:
    """The format found in the file agrees with the ending of its name."""
    for reading, image in facts.read():
        suffix = PurePosixPath(reading.path).suffix
        if image.facts and suffix.lower() not in _SUFFIXES[image.facts.format]:
            value = f"{image.facts.format} with the ending {suffix or 'none'}"
            yield Remark(
                place=reading.path, value=value, limit=" or ".join(sorted(_SUFFIXES[image.facts.format]))
            )


@IMAGES.rule(
    "I003",
    Level.ERROR,
    "The structure of an image file is wrong",
    source=TIFF_6 + "2 to 7",
    advice="Some readers open it, others will not. Export it again with all fields of a baseline TIFF.",
)
def structures_are_sound(facts: ImageFacts) -> Iterator[Remark]:
    """Required fields are there, strips and tiles lie in the file and are not empty."""
    for reading, image in facts.read():
        if image.structure and not image.problem:
            yield Remark(place=reading.path, value="; ".join(image.structure), limit="a sound structure")


@IMAGES.rule(
    "I004",
    Level.WARNING,
    "Bytes behind the image",
    source=COMMON_PRACTICE,
    advice="Something was added to the file that no reader sees. Export it again, and look at what added it.",
)
def nothing_trails(facts: ImageFacts) -> Iterator[Remark]:
    """The file ends where its image ends; an error if the delivery specification says so."""
    for reading, image in facts.read():
        most = facts.images.for_path(reading.path).max_trailing_bytes
        if image.trailing_bytes > (most or 0):
            value, limit = f"{image.trailing_bytes:,} bytes", f"{most or 0:,} at most"
            level = None if most is None else Level.ERROR
            yield Remark(place=reading.path, value=value, limit=limit, level=level)


@IMAGES.rule(
    "I005",
    Level.WARNING,
    "An image carries no colour profile",
    source=COMMON_PRACTICE,
    advice="Embed the ICC profile of the space that its values are in: without one, its colours are a guess.",
)
def profiles_are_embedded(facts: ImageFacts) -> Iterator[Remark]:
    """Every image but tiles names its colour space by an embedded profile."""
    for reading, image in facts.read():
        is_agreed = bool(facts.images.for_path(reading.path).profiles)  # then D020 tells
        if is_agreed or image.problem or is_tile(reading.path):
            continue
        if image.facts and image.facts.icc is None:
            said = image.facts.declared_space
            value = f"none, only a declaration of {said}" if said else "none"
            yield Remark(place=reading.path, value=value, limit="an embedded ICC profile")


@IMAGES.rule(
    "I006",
    Level.ERROR,
    "Two images are the same, byte for byte",
    source=COMMON_PRACTICE,
    advice="One of the two pages was not delivered, or is delivered twice. Put the right file in its place.",
)
def no_two_images_are_the_same(facts: ImageFacts) -> Iterator[Remark]:
    """No two images of one folder have the same bytes, tiles apart: blank ones are alike by nature."""
    seen: dict[tuple[str, bytes], list[str]] = defaultdict(list)
    for reading, image in facts.read():
        if reading.digests and not image.problem and not is_tile(reading.path):
            folder = reading.path.rpartition("/")[0]
            strongest = max(reading.digests.values(), key=len)
            seen[folder, strongest].append(reading.path)
    for first, *others in seen.values():
        for path in others:
            yield Remark(place=path, value=f"the same bytes as {first}", limit="a file of its own")
