"""What every store can do."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from enum import StrEnum
from pathlib import Path
from typing import BinaryIO, NamedTuple, Protocol

from pipeline.errors import StoreError
from pipeline.files import unsafe_path


class Kind(StrEnum):
    """What an entry of a store is."""

    FILE = "file"
    FOLDER = "folder"
    LINK = "link"
    """A symbolic link: told, never followed."""
    OTHER = "other"
    """A FIFO, a socket, a device."""


class Entry(NamedTuple):
    """One thing in a store. A plain tuple, for there may be millions."""

    path: str
    """Relative to the store, joined by ``/``."""
    kind: Kind = Kind.FILE
    size_bytes: int | None = None
    """Of a file; None for everything else."""
    links: int = 1
    """How many names a file has: more than one for a hard link."""

    @property
    def is_folder(self) -> bool:
        """True for a folder."""
        return self.kind is Kind.FOLDER

    @property
    def name(self) -> str:
        """The last part of the path."""
        return self.path.rpartition("/")[2]


Unlisted = Callable[[str, StoreError], None]
"""Told of a folder that cannot be listed, and why."""


class Store(Protocol):
    """Named files below one root. Paths are relative to it, joined by ``/``; the root itself is ``""``.

    Every method raises StoreError, whose message names the path, what was tried, what the store said and
    what to do. A file appears whole and flushed, or not at all. Safe to use from several threads.
    """

    url: str
    """As it is shown to people: never with credentials."""
    has_renames: bool
    """A folder can be put in its place by one rename; object storage has no such act."""

    def entries(self, folder: str = "") -> Iterator[Entry]:
        """Yield what lies directly in a folder, sorted by name. Raises NotInStore if there is none."""
        ...

    def walk(self, folder: str = "", *, unlisted: Unlisted | None = None) -> Iterator[Entry]:
        """Yield every file, link, special file and empty folder below a folder, as they are found.

        Those of one folder come together and sorted. Object storage is asked for one flat list, sorted by
        whole paths. A folder that is not there has nothing below it. With `unlisted`, a folder below that
        cannot be listed is told, and the walk goes on beside it; `folder` itself must be listed.
        """
        ...

    def open(self, path: str) -> BinaryIO:
        """Open a file to be read once from its beginning; close it. Raises NotInStore."""
        ...

    def read(self, path: str, *, limit_bytes: int) -> bytes:
        """Return a whole file. Raises NotInStore, StoreError if it has more than `limit_bytes`."""
        ...

    def size(self, path: str) -> int:
        """Return the size of a file in bytes. Raises NotInStore."""
        ...

    def exists(self, path: str) -> bool:
        """Return whether there is a file of that name, or a folder with something in it."""
        ...

    def put(self, path: str, data: bytes, *, if_absent: bool = False) -> None:
        """Write a small file whole, in place of one that is there.

        With `if_absent` it must not be there: of two that try at once one gets AlreadyThere.
        """
        ...

    def put_file(
        self, path: str, source: Path | BinaryIO, *, if_absent: bool = False, size_bytes: int = 0
    ) -> None:
        """Write a file from one on disk, or from a stream that is read to its end; else as `put`.

        How much a stream will give can be told; to object storage it must for more than 150 GiB. What a
        stream raises is raised, and nothing was written.
        Raises InputError for a source that cannot be read.
        """
        ...

    def rename(self, source: str, to: str) -> None:
        """Give a folder another name. Raises AlreadyThere if there is something of that name.

        Raises StoreError in a store without renames.
        """
        ...

    def delete(self, path: str) -> None:
        """Remove a file; an empty folder too. Raises NotInStore."""
        ...

    def beside(self, suffix: str) -> Store:
        """Return the store whose name is this one's with `suffix` at its end, next to it.

        What is not part of this one, but must be near, goes there: half-done things, locks, what was set
        aside. Raises StoreError for a store that can have nothing beside it.
        """
        ...


def checked_path(path: str, url: str) -> str:
    """Return a path of a file in the store at `url`. Raises StoreError for one that would leave it."""
    if why := unsafe_path(path):
        raise StoreError(f'{url}: "{path}" {why}; no such path can be used in a store')
    return path
