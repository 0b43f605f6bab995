"""What lies at a path: a file of a folder that no path leaves, or bytes that were made at once."""

from __future__ import annotations

import errno
import hashlib
import io
import os
import re
import stat
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO, Protocol

from pipeline import layout
from pipeline.files import resolve_inside
from pipeline.specs import discovery, http, iiif

INDEX = "index.html"


@dataclass(frozen=True, slots=True, kw_only=True)
class Resource:
    """One thing that can be sent. Who takes it closes `file`."""

    media_type: str
    caching: str
    """The value of ``Cache-Control``."""
    file: BinaryIO
    """Seekable."""
    size_bytes: int
    tag: str
    """Differs whenever the bytes do; without quotation marks."""
    modified_s: int | None = None
    """Since 1970; none for what was made at once."""
    is_gone: bool = False
    """It is what stands where something was."""


@dataclass(frozen=True, slots=True)
class Moved:
    """What was asked for lies at another path below the root."""

    path: str


class Site(Protocol):
    """What is served. Asked from several threads at once."""

    def find(self, path: str, *, origin: str) -> Resource | Moved | None:
        """Return what lies at a decoded path without a slash at its beginning, none if nothing does.

        `origin` is scheme, host and port under which it was asked for. Raises PipelineError, OSError.
        """
        ...


# -------------------------------------------------------------------------------------------- by name


def media_type(path: str) -> str:
    """Return the media type of what lies at a path of a site: that of IIIF for documents of IIIF."""
    folder, _, name = path.rpartition("/")
    top = folder.partition("/")[0]
    suffix = os.path.splitext(name)[1].lower()  # noqa: PTH122, a text and not a path
    if suffix == ".json":
        if name == iiif.INFO:
            return http.linked_data(iiif.IMAGE_CONTEXT)
        if top == "collections" or name in ("manifest.json", "collection.json"):
            return http.linked_data(iiif.PRESENTATION_CONTEXT)
        if top == "changes":
            return http.linked_data(discovery.CONTEXT)
    return http.MEDIA_TYPES.get(suffix, http.UNKNOWN_MEDIA_TYPE)


_WITH_DIGEST = re.compile(r"assets/(?:.*/)?[^/]+\.[0-9a-f]{8,}\.[^./]+")


def caching(path: str) -> str:
    """Return how long what lies at a path may be kept: for ever if its name has its digest in it."""
    return http.IMMUTABLE if _WITH_DIGEST.fullmatch(path) else http.REVALIDATE


def is_public(path: str) -> bool:
    """False for a path with a name that begins with a full stop: records, caches, and ways upwards."""
    return not path.startswith(".") and "/." not in path


# ------------------------------------------------------------------------------------------- resources


def made(data: bytes, path: str) -> Resource:
    """Return bytes as what lies at `path`."""
    return Resource(
        media_type=media_type(path),
        caching=caching(path),
        file=io.BytesIO(data),
        size_bytes=len(data),
        tag=hashlib.sha256(data).hexdigest()[:32],
    )


def opened(path: str, real: Path) -> Resource | None:
    """Return the regular file `real` as what lies at `path`; none if it is no such file. Raises OSError."""
    descriptor = os.open(real, _READ)
    status = os.fstat(descriptor)
    if not stat.S_ISREG(status.st_mode):
        os.close(descriptor)
        return None
    return Resource(
        media_type=media_type(path),
        caching=caching(path),
        file=io.FileIO(descriptor, "rb"),
        size_bytes=status.st_size,
        tag=f"{status.st_ino:x}-{status.st_mtime_ns:x}-{status.st_size:x}",
        modified_s=int(status.st_mtime),
    )


_READ = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
"""A pipe in the place of a file is not waited for."""


_NOT_THERE = frozenset(
    {errno.ENOENT, errno.ENOTDIR, errno.EISDIR, errno.ELOOP, errno.ENAMETOOLONG, errno.EINVAL, errno.ENXIO}
)
"""What the system says of paths at which no file can lie."""


class FolderSite:
    """The files of a folder as they are. Symbolic links are followed as long as they stay inside."""

    def __init__(self, folder: Path) -> None:
        self._folder = Path(os.path.realpath(folder))

    def find(self, path: str, *, origin: str) -> Resource | Moved | None:
        """Return the file at a path, the ``index.html`` of a folder, or the way to it. Raises OSError."""
        name = f"{path}{INDEX}" if not path or path.endswith("/") else path
        inside = resolve_inside(self._folder, name) if is_public(name) else None
        if inside is None:
            return None
        try:
            found = opened(name, inside)
            if found is None:
                return self._moved(path, inside)
            is_gone = inside.name == INDEX and inside.with_name(layout.REMOVED).is_file()
            return replace(found, is_gone=is_gone)
        except OSError as error:
            if error.errno in _NOT_THERE:
                return None
            raise

    def _moved(self, path: str, inside: Path) -> Moved | None:
        return Moved(f"{path}/") if (inside / INDEX).is_file() else None
