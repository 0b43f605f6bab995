"""Where in a bundle a pointer leads, and what is known of the files there. Unsafe paths are not followed."""

from __future__ import annotations

import functools
import posixpath
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from urllib.parse import unquote_to_bytes

from pipeline.containers import paths_in
from pipeline.files import folded, unsafe_path
from pipeline.model import MasterFacts
from pipeline.specs import bagit
from pipeline.verify.evidence import Bundle, FileReading


class Reach(StrEnum):
    """Where a pointer leads."""

    INSIDE = "inside"
    OUTSIDE = "outside"
    """To the web, or to an identifier that somebody resolves."""
    UNSAFE = "unsafe"
    """Out of the bundle, or to a place on one machine."""
    NOWHERE = "nowhere"
    """It could be inside, but no file is there."""
    UNSAID = "unsaid"
    """There is no location."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Location:
    """What became of a pointer."""

    reach: Reach
    path: str = ""
    """In the bundle; for `NOWHERE` the first place that was tried."""
    detail: str = ""
    """For `UNSAFE`, why; for `NOWHERE`, what is there instead."""


_SCHEME = re.compile(r"([A-Za-z][A-Za-z0-9+.-]+):")
_REFERENCE = re.compile(r"(?:[A-Za-z0-9._~!$&'()*+,;=:@/?#\[\]-]|%[0-9A-Fa-f]{2})*")
_LONGEST = 4096


def is_uri_reference(text: str) -> bool:
    """True if all characters are such as a URI reference may have (RFC 3986, section 4.1)."""
    return _REFERENCE.fullmatch(text) is not None


class Finder:
    """Finds the files of one bundle that documents point at, and tells what is known of them."""

    def __init__(self, bundle: Bundle) -> None:
        self.bundle = bundle

    def locate(self, href: str | None, folder: str) -> Location:
        """Return where a pointer of a document in `folder` leads.

        It is taken as relative to that folder, and, if nothing is there, to the bag's payload and to the
        bag's base, as many write it.
        """
        text = (href or "").strip()
        if not text:
            return Location(reach=Reach.UNSAID)
        if len(text) > _LONGEST:
            return Location(reach=Reach.NOWHERE, path=f"{text[:100]}…", detail="is too long for a path")
        scheme = _SCHEME.match(text)
        if scheme is None:
            return self._inside(text, folder)
        if scheme[1].lower() != "file":
            return Location(reach=Reach.OUTSIDE)
        return self._of_file_url(text[5:], folder)

    def _of_file_url(self, rest: str, folder: str) -> Location:
        """``file:///masters/a.tif`` and ``file://masters/a.tif`` are seen for paths in the bundle."""
        located = self._inside(rest.lstrip("/"), folder)
        if located.reach is Reach.NOWHERE and rest.startswith("/"):
            return Location(reach=Reach.UNSAFE, path=rest, detail="names a place on one machine")
        return located

    def _inside(self, text: str, folder: str) -> Location:
        """Try every reading of a reference; the first, relative to the document, says why if none fits."""
        tried: list[str] = []
        faults: list[str] = []
        for spelling in _spellings(text):
            for base in dict.fromkeys((folder, bagit.PAYLOAD, "")):
                path = posixpath.normpath(posixpath.join(base, spelling))
                fault = _rooted(spelling) or unsafe_path(path)
                faults.append(fault)
                if not fault and self.bundle.has(path):
                    return Location(reach=Reach.INSIDE, path=path)
                tried += [] if fault else [path]
        if faults[0] or not tried:
            return Location(reach=Reach.UNSAFE, path=text, detail=next(filter(None, faults)))
        return Location(reach=Reach.NOWHERE, path=tried[0], detail=self._near(tried))

    def _near(self, tried: list[str]) -> str:
        """Return what is there instead: a name that differs in case or Unicode form, a folder, a link."""
        for path in tried:
            if (found := self.bundle.container.others.get(path)) is not None:
                return f"there is a {found.kind}"
            if (other := self._by_fold.get(folded(path))) is not None:
                return f'there is "{other}", which is spelt otherwise'
        return ""

    @functools.cached_property
    def _by_fold(self) -> dict[str, str]:
        return {folded(path): path for path in paths_in(self.bundle.container)}

    # ------------------------------------------------------------------------------ what is known of files

    def size_of(self, path: str) -> int:
        """The size of a file in bytes."""
        reading = self.bundle.readings.get(path)
        return reading.size_bytes if reading else self.bundle.container.files[path]

    def reading_of(self, path: str) -> FileReading | None:
        """The file as it was read; None if it was not, or is told of as a file.

        It is not what the bag's manifests say, or an image that does not decode.
        """
        reading = self.bundle.readings.get(path)
        is_broken = reading is not None and reading.image is not None and bool(reading.image.problem)
        return None if is_broken or path in self.bundle.altered else reading

    def facts_of(self, path: str) -> MasterFacts | None:
        """What the header of an image says; None if it is no image, or is damaged."""
        image = self.bundle.image_at(path)
        return image.facts if image is not None else None

    def is_missing_from_bag(self, path: str) -> bool:
        """True if the bag's manifests list a file that is not there: told there."""
        return path in self._listed and not self.bundle.has(path)

    def is_stranger_to_bag(self, path: str) -> bool:
        """True if the bag has manifests and none lists the file: told there."""
        return bool(self._listed) and path not in self._listed

    @functools.cached_property
    def _listed(self) -> frozenset[str]:
        bag = self.bundle.bag
        return frozenset(path for each in bag.manifests for path in each.entries) if bag else frozenset()

    def by_digest(self, algorithm: str, digest: str) -> str:
        """Return a file that has this digest, or nothing: where one that is missing may have gone.

        What image services give out is left out: the whole image may be a copy of an access image.
        """
        return self._by_digest.get((algorithm, digest.strip().lower()), "")

    @functools.cached_property
    def _by_digest(self) -> dict[tuple[str, str], str]:
        return {
            (algorithm, digest.hex()): path
            for path, reading in self.bundle.readings.items()
            if "/default." not in path
            for algorithm, digest in reading.digests.items()
        }

    # --------------------------------------------------------------------------------------- files by name

    def by_name(self, name: str) -> str:
        """Return the one file that a record means by a name, or nothing.

        The name may be a path in the bundle, the end of one, or a file's name with or without its ending.
        """
        text = name.strip().replace("\\", "/").removeprefix("./")
        if not text or len(text) > _LONGEST:
            return ""
        if self.bundle.has(text):
            return text
        last = text.rpartition("/")[2].lower()
        found = self._by_last_name.get(last) or self._by_stem.get(last, ())
        if len(found) > 1:
            ending = f"/{text.lower()}"
            found = tuple(each for each in found if f"/{each.lower()}".endswith(ending))
        return found[0] if len(found) == 1 else ""

    @functools.cached_property
    def _by_last_name(self) -> Mapping[str, tuple[str, ...]]:
        return self._grouped(lambda name: name)

    @functools.cached_property
    def _by_stem(self) -> Mapping[str, tuple[str, ...]]:
        return self._grouped(lambda name: name.rpartition(".")[0])

    def _grouped(self, key: Callable[[str], str]) -> Mapping[str, tuple[str, ...]]:
        groups: dict[str, list[str]] = {}
        for path in self.bundle.container.files:
            if path.lower().endswith(IMAGE_SUFFIXES):
                groups.setdefault(key(path.rpartition("/")[2].lower()), []).append(path)
        return {name: tuple(paths) for name, paths in groups.items()}


IMAGE_SUFFIXES = (".tif", ".tiff", ".btf", ".jpg", ".jpeg", ".jp2", ".jpx", ".jpf", ".png")


def _spellings(text: str) -> Iterator[str]:
    """Yield what a reference may mean as a path: decoded, without a query or fragment, and as it stands."""
    bare = re.split(r"[?#]", text, maxsplit=1)[0]
    seen = dict.fromkeys((_decoded(bare), _decoded(text), text))
    yield from (each for each in seen if each)


def _decoded(text: str) -> str:
    return unquote_to_bytes(text).decode("utf-8", errors="surrogateescape")


_UPWARDS = re.compile(r"(?:\.{1,2}/)+|\.{1,2}$")


def _rooted(path: str) -> str:
    """Return why a reference is not to be followed, whatever it is relative to: absolute, a drive …"""
    below = _UPWARDS.sub("", path, count=1) if path.startswith(".") else path
    return unsafe_path(posixpath.normpath(below)) if below else ""
