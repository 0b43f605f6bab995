"""What the images of a bundle are: masters, targets, or what readers are given; and which show one frame.

A delivery specification says what folders hold; without one, the names of folders and the kinds of files
tell.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath

from pipeline.delivery import Folders, Role
from pipeline.files import slug
from pipeline.model import MasterFormat
from pipeline.specs import bagit
from pipeline.verify.evidence import Bundle

_FOLDERS = {
    Role.MASTERS: {"masters", "master", "preservation", "archive", "archival", "tiff", "tif"},
    Role.TARGETS: {"targets", "target"},
    Role.ACCESS: {"access", "surrogates", "derivatives", "service", "jpeg", "jpg", "iiif"},
    Role.METADATA: {"metadata", "documentation", "thumbnails", "thumbs", "previews", "ocr"},
}
_ROLES = {name: role for role, names in _FOLDERS.items() for name in names}
_RANKS = {
    MasterFormat.TIFF: 3,
    MasterFormat.BIGTIFF: 3,
    MasterFormat.JP2: 2,
    MasterFormat.PNG: 2,
    MasterFormat.JPEG: 1,
}
"""Which of two files of one frame is likelier to be the master."""
_SUFFIX_FORMATS = {
    ".tif": MasterFormat.TIFF,
    ".tiff": MasterFormat.TIFF,
    ".jpg": MasterFormat.JPEG,
    ".jpeg": MasterFormat.JPEG,
    ".png": MasterFormat.PNG,
}
IMAGE_SUFFIXES = (".tif", ".tiff", ".jpg", ".jpeg", ".jp2", ".jpx", ".png")
_TILE = re.compile(r"/default\.[a-z0-9]+$")
_WHOLE = re.compile(r"/([^/]+)/full/max/0/default\.[a-z0-9]+$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One image that shows a whole frame: no tile, no smaller version."""

    bundle: str
    path: str
    stem: str
    """Its frame's name: the file's without its ending, in lower case; of an image service, its folder's."""
    role: Role
    signature: bytes = b""
    """Empty if it did not decode, or was not read."""

    @property
    def names(self) -> tuple[str, ...]:
        """The names that its frame may go by, the shortest first."""
        return frame_names(self.path)


# ------------------------------------------------------------------------------------------------ names


@functools.lru_cache(maxsize=1 << 16)
def frame_names(path: str) -> tuple[str, ...]:
    """Return the names by which the frame of a file may be called elsewhere, the shortest first.

    The file's own without its ending; then with the names of its folders before it, one more each time, as
    those do who gather files of several folders in one. Folders named for a role are left out. All in
    lower case, without what is unsafe in addresses: ``edges/B14 7.tif`` gives ``b14-7``, ``edges-b14-7``.
    """
    whole = _WHOLE.search(path)
    bare = path[: whole.end(1)] if whole else path
    parts = [each for each in bare.split("/") if each not in ("", ".", "..")]
    folders = [each for each in parts[:-1] if each != bagit.PAYLOAD and each.lower() not in _ROLES]
    kept = [*folders, *(each if whole else PurePosixPath(each).stem for each in parts[-1:])]
    return tuple(dict.fromkeys(frame_name("-".join(kept[at:])) for at in reversed(range(len(kept)))))


_LONGEST = 71
"""Longer names are told apart by what follows, which not everybody keeps."""


def frame_name(text: str) -> str:
    """Return the name of a frame as it is compared: ``B14 0007`` and ``b14-0007`` are one."""
    name = slug(text).lower()[:_LONGEST]
    return name.rstrip("-_") or name


def stem_of(path: str) -> str:
    """The name of the frame that an image shows."""
    whole = _WHOLE.search(path)
    return (whole[1] if whole else PurePosixPath(path).stem).lower()


# ------------------------------------------------------------------------------------------------ roles


def pictures(bundle: Bundle, folders: Folders) -> tuple[Picture, ...]:
    """Return the pictures of a bundle, in the order of their paths.

    If no payload was read, they are told by the names of their files.
    """
    found = dict(sorted(_images(bundle)))
    ranks: dict[str, int] = {}
    for path, rank in found.items():
        stem = stem_of(path)
        ranks[stem] = max(rank, ranks.get(stem, 0))
    keeps = any(rank > 1 for rank in ranks.values())
    is_public = bundle.bag is not None and bagit.PUBLICATION_PROFILE in bundle.bag.values(
        bagit.Label.PROFILE_IDENTIFIER
    )
    return tuple(
        Picture(
            bundle=bundle.place,
            path=path,
            stem=stem_of(path),
            role=folders.role_of(path)
            or (Role.ACCESS if is_public else None)
            or _of_folder(path)
            or _of_kind(rank, ranks[stem_of(path)], keeps=keeps),
            signature=_signature(bundle, path),
        )
        for path, rank in found.items()
    )


def is_tile(path: str) -> bool:
    """True for what an image service gives out, but for the whole image in full size."""
    return _TILE.search(path) is not None and "/full/max/" not in path


def _signature(bundle: Bundle, path: str) -> bytes:
    image = bundle.image_at(path)
    return image.signature if image is not None else b""


def _images(bundle: Bundle) -> Iterator[tuple[str, int]]:
    """Yield the paths of images, tiles left out, and how likely each is a master."""
    if not bundle.is_quick:
        for path, reading in bundle.readings.items():
            if reading.image is not None and not is_tile(path):
                facts = reading.image.facts
                yield path, _RANKS[facts.format] if facts else _rank(path)
        return
    for path in bundle.with_suffix(*IMAGE_SUFFIXES):
        if not is_tile(path):
            yield path, _rank(path)


def _rank(path: str) -> int:
    return _RANKS[_SUFFIX_FORMATS.get(PurePosixPath(path).suffix.lower(), MasterFormat.JP2)]


def _of_folder(path: str) -> Role | None:
    """What the nearest folder that is named for a role says."""
    names = (part.lower() for part in reversed(path.split("/")[:-1]))
    return next((_ROLES[name] for name in names if name in _ROLES), None)


def _of_kind(rank: int, highest: int, *, keeps: bool) -> Role:
    """A file is the master if none of its frame's is likelier, and, if it is a JPEG, none of any frame's."""
    return Role.MASTERS if rank == highest and (rank > 1 or not keeps) else Role.ACCESS


# ------------------------------------------------------------------------------------------------ pairs


def pair(
    masters: Iterable[Picture], surrogates: Iterable[Picture]
) -> tuple[dict[Picture, Picture], frozenset[Picture]]:
    """Return the master of each surrogate, and the pictures of which it cannot be told.

    Both show one frame if they share a name. Of several masters the one with the longest shared name is
    taken, one of the same bundle before others; if that leaves several, nobody can tell.
    """
    by_name: dict[str, list[Picture]] = {}
    for master in masters:
        for name in master.names:
            by_name.setdefault(name, []).append(master)
    found: dict[Picture, Picture] = {}
    unclear: set[Picture] = set()
    for surrogate in surrogates:
        best = _best(surrogate, by_name)
        if len(best) == 1:
            found[surrogate] = best[0]
        elif best:
            unclear |= {surrogate, *best}
    return found, frozenset(unclear)


def _best(surrogate: Picture, by_name: Mapping[str, list[Picture]]) -> list[Picture]:
    for name in reversed(surrogate.names):
        if found := by_name.get(name):
            near = [each for each in found if each.bundle == surrogate.bundle]
            return near or found
    return []
