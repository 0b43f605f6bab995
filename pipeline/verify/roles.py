"""What the images of a bundle are: masters, targets, or what readers are given.

A delivery specification says so; without one, the names of folders and the kinds of files tell.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath

from pipeline.delivery import Folders, Role
from pipeline.model import MasterFormat
from pipeline.verify.evidence import FileReading
from pipeline.verify.file_reading import is_tile

_FOLDERS = {
    Role.MASTERS: {"masters", "master", "preservation", "archive", "archival", "tiff", "tif"},
    Role.TARGETS: {"targets", "target"},
    Role.ACCESS: {"access", "surrogates", "derivatives", "service", "jpeg", "jpg", "iiif"},
}
_KEPT = {MasterFormat.TIFF, MasterFormat.BIGTIFF, MasterFormat.JP2, MasterFormat.PNG}
_WHOLE = re.compile(r"/([^/]+)/full/max/0/default\.[a-z0-9]+$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One image that shows a whole frame: no tile, no smaller version."""

    bundle: str
    path: str
    stem: str
    """Its frame's name: the file's without its ending, in lower case; of an image service, its folder's."""
    role: Role
    signature: bytes


def pictures(bundle: str, readings: Mapping[str, FileReading], folders: Folders) -> tuple[Picture, ...]:
    """Return the pictures of a bundle, in its order."""
    found = [each for each in readings.values() if each.image is not None and not is_tile(each.path)]
    keeps = any(each.image and each.image.facts and each.image.facts.format in _KEPT for each in found)
    return tuple(
        Picture(
            bundle=bundle,
            path=each.path,
            stem=stem_of(each.path),
            role=folders.role_of(each.path) or _guess(each, keeps=keeps),
            signature=each.image.signature if each.image else b"",
        )
        for each in found
    )


def stem_of(path: str) -> str:
    """The name of the frame that an image shows."""
    whole = _WHOLE.search(path)
    return (whole[1] if whole else PurePosixPath(path).stem).lower()


def _guess(reading: FileReading, *, keeps: bool) -> Role:
    for folder in _folders(reading.path):
        for role, names in _FOLDERS.items():
            if folder in names:
                return role
    facts = reading.image.facts if reading.image else None
    is_master = not keeps or facts is None or facts.format in _KEPT
    return Role.MASTERS if is_master else Role.ACCESS


def _folders(path: str) -> Iterable[str]:
    """Names of folders, the nearest first."""
    return (part.lower() for part in reversed(path.split("/")[:-1]))
