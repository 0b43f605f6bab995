"""The image services of a bundle: what each info.json says, and which files lie below it."""

from __future__ import annotations

import functools
import posixpath
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from pipeline import jsondoc
from pipeline.jsondoc import Violation
from pipeline.specs import iiif, presentation
from pipeline.verify.evidence import Bundle, ImageReading
from pipeline.verify.iiif_documents import DocumentKind, IiifDocument
from pipeline.verify.image_service.promise import (
    MOST_PX,
    Offer,
    Promise,
    Size,
    TileSet,
    count,
    limited,
    promised,
)

SCHEMA = "image-info"
_SPARE_FILES = 10_000
"""How many files more than there are twice over are listed one by one, when they are missing."""


@dataclass(frozen=True, kw_only=True)
class Service:
    """One image service, as its info.json tells of it. What is not of the right type counts as absent."""

    document: IiifDocument

    @property
    def path(self) -> str:
        """Where its info.json lies."""
        return self.document.path

    @property
    def folder(self) -> str:
        """The folder of its info.json; empty at the top."""
        return posixpath.dirname(self.document.path)

    @property
    def version(self) -> int:
        """Of the Image API: 2 or 3."""
        return 2 if self.document.kind is DocumentKind.IMAGE_2 else 3

    @property
    def info(self) -> dict[str, Any]:
        """What info.json says."""
        return self.document.value

    @property
    def identifier(self) -> str:
        """Its id; empty if there is none."""
        return _text(self.info.get("@id" if self.version == 2 else "id"))

    @property
    def has_base_address(self) -> bool:
        """True if requests can be put behind its id: a web address with a path, and nothing after it."""
        said = self.identifier
        return _BASE.fullmatch(said) is not None and not said.endswith(f"/{iiif.INFO}")

    @property
    def is_named_as_its_folder(self) -> bool:
        """True if its id ends in the name of the folder that it lies in."""
        name = self.folder.rpartition("/")[2]
        return not name or self.identifier.rpartition("/")[2] in (name, quote(name))

    @functools.cached_property
    def level(self) -> str:
        """``level0`` to ``level2``; empty if it is not said."""
        profile = self.info.get("profile")
        first = profile[0] if isinstance(profile, list) and profile else profile
        if first in presentation.LEVELS:
            return str(first)
        match = presentation.OLDER_LEVEL.fullmatch(_text(first))
        return match[1] if match else ""

    @functools.cached_property
    def size(self) -> Size | None:
        """Of the full image; None if it is not said, or cannot be."""
        return size_of(self.info)

    @functools.cached_property
    def max_size(self) -> Size | None:
        """The largest image that can be asked for."""
        if self.size is None:
            return None
        limits = self.info if self.version == 3 else self._profile_2
        width_px, height_px, area_px = (_number(limits.get(key)) for key in _LIMITS)
        return limited(self.size, width_px=width_px, height_px=height_px, area_px=area_px)

    @property
    def sizes(self) -> tuple[Size, ...]:
        """What `sizes` lists, in order."""
        found = (size_of(each) for each in _list(self.info.get("sizes")))
        return tuple(size for size in found if size is not None)

    @property
    def tiles(self) -> tuple[TileSet, ...]:
        """What `tiles` lists, in order."""
        found = (_tile_set(each) for each in _list(self.info.get("tiles")))
        return tuple(tiles for tiles in found if tiles is not None)

    def texts(self, key: str) -> tuple[str, ...]:
        """The texts of an array, such as `extraFormats`."""
        value = self.info.get(key) if self.version == 3 else self._profile_2.get(key)
        return tuple(each for each in _list(value) if isinstance(each, str))

    @property
    def _profile_2(self) -> dict[str, Any]:
        """What a profile of version 2 says beyond its level."""
        profile = _list(self.info.get("profile"))
        said = [each for each in profile if isinstance(each, dict)]
        return {key: value for each in said for key, value in each.items()}

    @property
    def offer(self) -> Offer | None:
        """What decides which files there are; None if the size of the image is not known."""
        if self.size is None or self.max_size is None:
            return None
        formats = self.texts("extraFormats" if self.version == 3 else "formats")
        qualities = self.texts("extraQualities" if self.version == 3 else "qualities")
        return Offer(
            version=self.version,
            size=self.size,
            max_size=self.max_size,
            sizes=self.sizes,
            tiles=self.tiles,
            endings=tuple(
                f"0/{quality}.{suffix}"
                for quality in dict.fromkeys(("default", *qualities))
                for suffix in dict.fromkeys(("jpg", *formats))
            ),
        )

    @functools.cached_property
    def violations(self) -> tuple[Violation, ...]:
        """Where info.json breaks our schema; of version 2 there is none."""
        return tuple(jsondoc.violations(self.info, SCHEMA)) if self.version == 3 else ()


_BASE = re.compile(r"https?://[^\s/?#]+/[^\s?#]*[^\s?#/]")
_LIMITS = ("maxWidth", "maxHeight", "maxArea")


@dataclass(frozen=True, kw_only=True)
class ServiceFacts:
    """One service with the files below its folder, and the bundle that it lies in."""

    bundle: Bundle
    service: Service
    files: frozenset[str]
    """Relative to the service's folder, info.json left out."""

    @property
    def is_alone(self) -> bool:
        """True for a bare info.json."""
        return self.bundle.container.is_document

    @property
    def is_static(self) -> bool:
        """True if only what is stored can be asked for."""
        return self.service.level in ("level0", "")

    @functools.cached_property
    def is_beyond_listing(self) -> bool:
        """True if so much is promised, beside what is there, that its names are not worth making."""
        offer = self.service.offer
        return offer is not None and count(offer) > 2 * len(self.files) + _SPARE_FILES

    @functools.cached_property
    def promise(self) -> Promise:
        """What is promised; nothing if that is not known, or beyond listing."""
        offer = self.service.offer
        if offer is None or self.is_beyond_listing or not self.is_static:
            return Promise()
        return promised(offer)

    @functools.cached_property
    def missing(self) -> tuple[str, ...]:
        """Promised names that are not there, and no other name in their place, in the order of levels.

        Of those that a manifest of the bag lists is told there.
        """
        present = {self.promise.instead.get(name, name) for name in self.files}
        absent = (name for name in self.promise.files if name not in present)
        return tuple(name for name in absent if not self.bundle.lacks(self.at(name)))

    @functools.cached_property
    def is_of_another_size(self) -> bool:
        """True if the whole image is not of the size that info.json says, nor are the tiles: T023 tells."""
        whole = (each for each in self.images if each[0].startswith("full/max/") and each[1].facts)
        sizes = {
            name: Size(image.facts.width_px, image.facts.height_px) for name, image in whole if image.facts
        }
        differs = any(self.promise.files.get(name, size) != size for name, size in sizes.items())
        return differs and bool(self.missing) and bool(self.extra)

    @functools.cached_property
    def extra(self) -> tuple[str, ...]:
        """Names that are there and not promised, sorted."""
        return tuple(sorted(self.files - self.promise.files.keys() - self.promise.instead.keys()))

    @functools.cached_property
    def images(self) -> tuple[tuple[str, ImageReading], ...]:
        """Promised files that were read as images and are what was sent, by name, in the order of levels."""
        if not self.bundle.readings:
            return ()
        found = []
        for name in (*self.promise.files, *self.promise.instead):
            if (image := self.bundle.image_at(self.at(name))) is not None:
                found.append((name, image))
        return tuple(found)

    def at(self, name: str) -> str:
        """Where in the bundle a file of the service lies."""
        return f"{self.service.folder}/{name}" if self.service.folder else name


def size_of(value: Any) -> Size | None:
    """Return the width and height that an object has, or None."""
    if not isinstance(value, dict):
        return None
    width_px, height_px = _number(value.get("width")), _number(value.get("height"))
    return Size(width_px, height_px) if width_px and height_px else None


def _tile_set(value: Any) -> TileSet | None:
    if not isinstance(value, dict):
        return None
    width_px, height_px = _number(value.get("width")), _number(value.get("height"))
    factors = tuple(factor for each in _list(value.get("scaleFactors")) if (factor := _number(each)))
    if not width_px or not factors:
        return None
    return TileSet(width_px, height_px or width_px, factors)


def _number(value: Any) -> int | None:
    """Return a whole number of pixels, or None for what is none."""
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    is_number = isinstance(value, int) and not isinstance(value, bool)
    return value if is_number and 0 < value <= MOST_PX else None


def _list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


def _text(value: Any) -> str:
    return value if isinstance(value, str) else ""


# ------------------------------------------------------------------------------------ files of services


@dataclass(frozen=True, slots=True, kw_only=True)
class Below:
    """Which files belong to which service."""

    by_folder: Mapping[str, frozenset[str]]
    """Relative to the folder; its info.json left out."""
    elsewhere: tuple[str, ...]
    """Paths of images that are named as the Image API names them, and lie in no folder of a service."""


_NOWHERE = "/"
"""No folder has this name."""
_IMAGES = ("/default.jpg", "/default.png", "/default.webp", "/native.jpg")
_IMAGE_SUFFIXES = (".jpg", ".png", ".webp")


def files_below(bundle: Bundle, folders: Iterable[str]) -> Below:
    """Tell which files lie below each folder; a file belongs to the innermost folder alone."""
    below: dict[str, list[str]] = {folder: [] for folder in folders}
    if not below:
        images = bundle.with_suffix(*_IMAGE_SUFFIXES)
        return Below(by_folder={}, elsewhere=tuple(path for path in images if path.endswith(_IMAGES)))
    elsewhere = []
    known: dict[str, str] = {}
    is_flat = not any(above in below for folder in below if folder for above in _above(folder))
    for path in bundle.container.files:
        # region, size, rotation and file stand below the folder of nearly every file
        folder = path.rsplit("/", 4)[0] if is_flat else ""
        if folder not in below or not is_flat:
            parent = path.rpartition("/")[0]
            if parent not in known:
                known[parent] = next((each for each in _above(path) if each in below), _NOWHERE)
            folder = known[parent]
        if folder != _NOWHERE:
            below[folder].append(path[len(folder) + 1 :] if folder else path)
        elif path.endswith(_IMAGES):
            elsewhere.append(path)
    return Below(
        by_folder={folder: frozenset(names) - {iiif.INFO} for folder, names in below.items()},
        elsewhere=tuple(elsewhere),
    )


def _above(path: str) -> Iterator[str]:
    """Yield the folders that a path lies in, from the inside out."""
    end = path.rfind("/")
    while end > 0:
        yield path[:end]
        end = path.rfind("/", 0, end)
    yield ""
