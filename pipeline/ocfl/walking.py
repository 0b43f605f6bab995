"""A storage root walked once: where its objects lie, and what lies there that belongs to none.

One listing is enough for a million files, and only what belongs to no object is kept of it, so memory is
taken by objects, not by files.

Source: OCFL 1.1, section 4.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from pipeline.errors import InputError, SettingsError
from pipeline.files import folders_above
from pipeline.ocfl import layouts
from pipeline.ocfl.layouts import Layout
from pipeline.ocfl.reading import MOST_DECLARATION_BYTES
from pipeline.specs import ocfl
from pipeline.stores import Entry, Kind, NotInStore, Store, StoreError

MOST_LAYOUT_BYTES = 1 << 20


class Found(NamedTuple):
    """One object of a storage root. A plain tuple, for there may be hundreds of thousands."""

    place: str
    files: int
    size_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Root:
    """What stands directly in a storage root."""

    declarations: Mapping[str, bytes]
    """Name → content of the files that declare the root, well or badly."""
    layout_document: bytes | None
    layout: Layout | None
    """The layout in use, if the root names one that is known here."""
    layout_fault: str = ""
    """Why there is no layout although the root names one, or why it could not be read."""
    odd_declarations: tuple[str, ...] = ()
    """Folders and links that are named like a declaration."""

    @property
    def spec_version(self) -> str:
        """The version of OCFL that the declaration names; empty for none or several."""
        names = [each[1] for name in self.declarations if (each := ocfl.ROOT_DECLARATION.fullmatch(name))]
        return names[0] if len(names) == 1 else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hierarchy:
    """A storage root, and all in it that is no part of an object."""

    root: Root
    objects: tuple[Found, ...]
    """Sorted by place."""
    strays: tuple[Entry, ...] = ()
    """Files, links, special files and empty folders outside of objects and extensions."""
    extensions: tuple[Entry, ...] = ()
    """What lies in the root's `extensions`."""
    nested: tuple[str, ...] = ()
    """Objects inside of objects."""
    same_ids: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Identifier → places of the objects that bear it, where they are several."""
    unlisted: Mapping[str, str] = field(default_factory=dict)
    """Folder that could not be listed → why: nobody knows what is in it."""

    def unknown(self, places: Iterable[str]) -> dict[str, str]:
        """Return of which places nobody can say whether an object is there, each with why."""
        below = {above: why for folder, why in self.unlisted.items() for above in folders_above(folder)}
        found: dict[str, str] = {}
        for place in places if self.unlisted else ():
            above = next((each for each in (place, *folders_above(place)) if each in self.unlisted), "")
            if why := self.unlisted.get(above) or below.get(place):
                found[place] = why
        return found


# ------------------------------------------------------------------------------------------ the root itself


def read_root(store: Store) -> Root:
    """Return what declares and lays out a storage root. Raises StoreError."""
    declarations: dict[str, bytes] = {}
    odd: list[str] = []
    layout_document: bytes | None = None
    for entry in store.entries():
        if declares_root(entry.path):
            if entry.kind is Kind.FILE:
                declarations[entry.path] = store.read(entry.path, limit_bytes=MOST_DECLARATION_BYTES)
            else:
                odd.append(entry.path)
        elif entry.path == ocfl.LAYOUT_FILE and entry.kind is Kind.FILE:
            layout_document = store.read(entry.path, limit_bytes=MOST_LAYOUT_BYTES)
    layout, fault = _layout(store, layout_document)
    return Root(
        declarations=declarations,
        layout_document=layout_document,
        layout=layout,
        layout_fault=fault,
        odd_declarations=tuple(odd),
    )


def declares_root(name: str) -> bool:
    """True for a name that declares a storage root, or was meant to."""
    tag, _, value = name.partition("=")
    return (tag.isdigit() and value.startswith("ocfl")) or name.startswith(ocfl.NAMASTE)


def _layout(store: Store, document: bytes | None) -> tuple[Layout | None, str]:
    if document is None:
        return None, ""
    try:
        name = layouts.named_in(document)
        return layouts.layout_of(name, layouts.parameters_in(_config(store, name), name)), ""
    except (InputError, SettingsError, StoreError) as error:
        return None, error.message


def _config(store: Store, name: str) -> bytes | None:
    try:
        place = f"{ocfl.EXTENSIONS}/{name}/{ocfl.CONFIG_FILE}"
        return store.read(place, limit_bytes=MOST_LAYOUT_BYTES)
    except NotInStore:
        return None


# --------------------------------------------------------------------------------------------- the walk


class _Claims:
    """Entries as they come, given to the objects that they turn out to lie in."""

    def __init__(self) -> None:
        self.objects: dict[str, list[int]] = {}
        """Place → number of files, bytes."""
        self.waiting: list[Entry] = []
        """Entries of no object so far."""
        self.nested: list[str] = []
        self._last = ""

    def take(self, entry: Entry) -> None:
        root = object_root_of(entry.path)
        if root is not None and self._holder(root) is None:
            self._found(root)
        holder = self._holder(entry.path)
        if holder is None:
            self.waiting.append(entry)
            return
        self._count(holder, entry)
        if root is not None and root != holder and _is_nested(root[len(holder) + 1 :]):
            self.nested.append(root)

    def _holder(self, path: str) -> str | None:
        """The object that a path lies in, or is the root of; entries of one object come together."""
        if self._last and (path == self._last or path.startswith(f"{self._last}/")):
            return self._last
        above = path
        while above:
            if above in self.objects:
                self._last = above
                return above
            above = above.rpartition("/")[0]
        return None

    def _found(self, root: str) -> None:
        self.objects[root] = [0, 0]
        self._last = root
        start = f"{root}/"
        while self.waiting and self.waiting[-1].path.startswith(
            start
        ):  # what is of one object comes together
            self._count(root, self.waiting.pop())

    def _count(self, root: str, entry: Entry) -> None:
        counted = self.objects[root]
        counted[0] += entry.kind is Kind.FILE
        counted[1] += entry.size_bytes or 0


def object_root_of(path: str) -> str | None:
    """Return the folder that a file shows to be an object's root; None for one that shows nothing.

    A declaration does, also a misspelt one, and an inventory: an object that lost its declaration is an
    object with a fault, not a heap of strange files.
    """
    folder, _, name = path.rpartition("/")
    if not folder:
        return None
    if name.startswith(f"{ocfl.NAMASTE}{ocfl.OBJECT_VALUE.rstrip('_')}"):
        return folder
    if name == ocfl.INVENTORY:
        above, _, version = folder.rpartition("/")
        return above if above and ocfl.version_number(version) else folder
    return None


def _is_nested(below: str) -> bool:
    """True for a folder in an object where no object may be: not in content, logs or extensions."""
    first = below.partition("/")[0]
    return not ocfl.version_number(first) and first not in (ocfl.LOGS, ocfl.EXTENSIONS)


def walk_root(store: Store) -> Hierarchy:
    """Return all objects of a storage root with their sizes, and what belongs to none.

    Raises StoreError if the root itself cannot be listed; of a folder below it that is only told.
    """
    claims = _Claims()
    extensions: list[Entry] = []
    unlisted: dict[str, str] = {}
    for entry in store.walk(unlisted=lambda folder, error: unlisted.update({folder: error.message})):
        first, slash, _ = entry.path.partition("/")
        if first == ocfl.EXTENSIONS and (slash or entry.is_folder):
            extensions.append(entry)
        elif declares_root(first):
            continue
        elif slash or entry.kind is not Kind.FILE:  # files directly in the root are ignored
            claims.take(entry)
    found = sorted(Found(place, files, size) for place, (files, size) in claims.objects.items())
    return Hierarchy(
        root=read_root(store),
        objects=tuple(found),
        strays=tuple(claims.waiting),
        extensions=tuple(extensions),
        nested=tuple(dict.fromkeys(claims.nested)),
        unlisted=unlisted,
    )


def expected_place(layout: Layout | None, object_id: str) -> str | None:
    """Return where a layout puts an object; None where that is not known."""
    if layout is None or not object_id:
        return None
    try:
        return layout.path(object_id)
    except SettingsError:
        return None
