"""What a site keeps of itself, in ``.solander``: read and written here alone.

Every item has a slot, a number that it keeps for ever. Entries lie by their slots in files of a fixed
size, so that one more item touches the same few files in a site of ten and of ten thousand.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import TypeAlias, TypeVar

from pipeline import files, jsondoc, receipts
from pipeline.errors import InputError
from pipeline.model import LanguageMap
from pipeline.specs.discovery import ActivityType

Value = TypeVar("Value")

FOLDER = ".solander"
FORMAT = 1
SLOTS_PER_FILE = 96
"""Also the members of a node of the collection; four pages of the front."""

SHOWN = ("iiif", "access", "metadata", "images", "items")
"""The folders below the base URL that have one folder for each item."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """The whole site in a few numbers."""

    format: int = FORMAT
    base_url: str
    """Without a slash at its end."""
    title: LanguageMap
    slots: int = 0
    """How many are given away; items that were removed keep theirs."""
    items: int = 0
    """How many are online."""
    activities: int = 0
    changed: dt.datetime | None = None
    """The latest change."""
    sitemaps: tuple[dt.datetime, ...] = ()
    """The latest change in each part of the sitemap."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One item of the site, online or removed."""

    item: str
    slot: int
    version: str
    """The folder of what is served of it."""
    content: str
    """A digest of all that IIIF clients are given: equal for equal content."""
    payload: str
    """A digest of the payload of its bundle."""
    label: LanguageMap
    summary: LanguageMap
    thumbnail: str = ""
    """Path below the base URL; empty if there is none."""
    width_px: int = 0
    height_px: int = 0
    views: int = 0
    date: str = ""
    volume_set: str = ""
    modified: dt.datetime
    is_removed: bool = False


Entries: TypeAlias = Callable[[int, int], Iterable[Entry]]
"""Gives the entries of the slots from one number to before another, in order."""


def slots_of(number: int, size: int) -> tuple[int, int]:
    """Return where the range of a number, from 0, begins, and where the next one begins."""
    return number * size, (number + 1) * size


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change that was begun, and will be finished whatever happens."""

    site: Site
    """As it will be."""
    entry: Entry
    activity: ActivityType | None
    """None if nothing changes for IIIF clients."""
    left_set: str = ""
    """The set of volumes that the item does not belong to any more."""
    has_switched: bool = False
    """The version is what is served, and the change has its time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Entries:
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Slot:
    item: str
    slot: int


@dataclass(frozen=True, slots=True)
class SiteFolder:
    """The folder of a site on disk."""

    path: Path

    # ------------------------------------------------------------------------------------ places

    @property
    def own(self) -> Path:
        """The site's own folder, which is never served."""
        return self.path / FOLDER

    @property
    def building(self) -> Path:
        """Where things are made before they get their places; whatever lies there can be thrown away."""
        return self.own / "building"

    def home(self, item: str) -> Path:
        """The folder of an item's versions."""
        return self.own / "items" / item

    def _bucket(self, number: int) -> Path:
        return self.own / "slots" / f"{number}.json"

    # ----------------------------------------------------------------------------------- reading

    def site(self) -> Site | None:
        """Return the record of the site, or None if there is none. Raises InputError if it is another's."""
        return _read(Site, self.own / "site.json")

    def begun(self) -> Change | None:
        """Return the change that an interrupted run left."""
        return _read(Change, self.own / "begun.json")

    def entry(self, item: str) -> Entry | None:
        """Return what is known of an item. Raises InputError if another's name differs in case alone."""
        slot = _read(_Slot, self.home(item) / "slot.json")
        if slot is None:
            return None
        if slot.item != item:
            raise InputError(f"{item}: the site has the item {slot.item}, whose name differs in case alone")
        return next(self.entries(slot.slot, slot.slot + 1), None)

    def entries(self, first: int, past: int) -> Iterator[Entry]:
        """Yield the entries of the slots from `first` to before `past`, in order."""
        for number in range(first // SLOTS_PER_FILE, -(-past // SLOTS_PER_FILE)):
            bucket = _read(_Entries, self._bucket(number))
            for entry in bucket.entries if bucket else ():
                if first <= entry.slot < past:
                    yield entry

    # ----------------------------------------------------------------------------------- writing

    def write(self, path: PurePosixPath | str, data: bytes) -> bool:
        """Give a file new bytes at once; returns whether they are new. Raises ToolError."""
        place = self.path / path
        with files.writing(place):
            if place.is_file() and place.read_bytes() == data:
                return False
            self.building.mkdir(parents=True, exist_ok=True)
        files.write_atomically(place, data, by=self.building)
        return True

    def keep_site(self, site: Site) -> None:
        """Write the record of the site."""
        self._keep(site, self.own / "site.json")

    def begin(self, change: Change) -> None:
        """Write down a change: from here on it will be finished."""
        self._keep(change, self.own / "begun.json")

    def finished(self) -> None:
        """Forget the change that was begun."""
        with files.writing(self.own):
            (self.own / "begun.json").unlink(missing_ok=True)
            files.sync_folder(self.own)

    def keep(self, entry: Entry) -> None:
        """Write an item's entry into its slot."""
        number = entry.slot // SLOTS_PER_FILE
        first = number * SLOTS_PER_FILE
        others = (each for each in self.entries(first, first + SLOTS_PER_FILE) if each.slot != entry.slot)
        entries = sorted([*others, entry], key=lambda each: each.slot)
        self._keep(_Entries(entries=tuple(entries)), self._bucket(number))
        self._keep(_Slot(item=entry.item, slot=entry.slot), self.home(entry.item) / "slot.json")

    def _keep(self, value: object, place: Path) -> None:
        data = jsondoc.to_bytes(receipts.to_json(value))
        self.write(place.relative_to(self.path).as_posix(), data)


def _read(kind: type[Value], path: Path) -> Value | None:
    if not path.exists():
        return None
    value = receipts.read(kind, path)
    if value is None:
        raise InputError(
            f"{path}: cannot be read as the record of a site; it was damaged, or written by another version "
            "of solander. Publish into a new folder, or bring the file back from a backup"
        )
    return value
