"""Storage roots: made where there is none, opened where there is one.

Source: OCFL 1.1, section 4.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.errors import InputError, StoreError
from pipeline.ocfl import layouts
from pipeline.ocfl.layouts import Layout
from pipeline.ocfl.walking import read_root
from pipeline.specs import ocfl
from pipeline.stores import AlreadyThere, Entry, FolderStore, NotInStore, Store


@dataclass(frozen=True, slots=True, kw_only=True)
class StorageRoot:
    """A storage root that objects are written to, or read from."""

    store: Store
    layout: Layout
    spec_version: str = ocfl.VERSION


def open_root(store: Store) -> StorageRoot:
    """Return the storage root in a store.

    Raises InputError if there is none, or one that is not laid out in a way that is known here, StoreError.
    """
    try:
        root = read_root(store)
    except NotInStore as error:
        raise InputError(f"{store.url}: is not there; give the address of a store") from error
    if root.spec_version not in ocfl.VERSIONS:
        raise InputError(
            f"{store.url}: is no OCFL storage root: it has no file {ocfl.root_declaration()[0]}; "
            "give the address of a store"
        )
    if root.layout is None:
        why = root.layout_fault or f"it has no {ocfl.LAYOUT_FILE}"
        raise InputError(f"{store.url}: nobody can say where its objects lie: {why}")
    return StorageRoot(store=store, layout=root.layout, spec_version=root.spec_version)


def open_or_make(store: Store, layout: Layout | None) -> StorageRoot:
    """Return the storage root in a store to write to; make it with `layout` if there is nothing yet.

    Without a layout, extension 0004 with its defaults. Raises InputError for what is no place for a storage
    root, or has another layout than was asked for, StoreError.
    """
    if root := root_to_write(store, layout):
        return root
    _make(store, layout or layouts.layout_of(ocfl.HASHED))
    return open_root(store)


def root_to_write(store: Store, layout: Layout | None) -> StorageRoot | None:
    """Do as `open_or_make`, but make nothing: None if there is nothing yet."""
    if isinstance(store, FolderStore):
        store.refuse_unwritable()
    there = tuple(_there(store))
    if not any(ocfl.ROOT_DECLARATION.fullmatch(each.name) for each in there):
        _refuse_others(store, there)
        return None
    root = open_root(store)
    if root.spec_version != ocfl.VERSION:
        raise InputError(
            f"{store.url}: is a storage root of OCFL {root.spec_version}, expected {ocfl.VERSION}"
        )
    if layout is not None and root.layout != layout:
        raise InputError(
            f"{store.url}: has the layout {root.layout.NAME}, which cannot be changed; leave --layout out"
        )
    return root


def _there(store: Store) -> Iterator[Entry]:
    with contextlib.suppress(NotInStore):
        yield from store.entries()


def _refuse_others(store: Store, there: tuple[Entry, ...]) -> None:
    """Refuse a folder with other things; what a making that was killed left is none."""
    others = [each.name for each in there if each.name not in (ocfl.EXTENSIONS, ocfl.LAYOUT_FILE)]
    if others:
        shown = ", ".join(sorted(others)[:3]) + (" and more" if len(others) > 3 else "")
        raise InputError(
            f"{store.url}: is no OCFL storage root and is not empty (there is {shown}); "
            "give an empty or a new folder"
        )


def _make(store: Store, layout: Layout) -> None:
    """Write what a storage root begins with, its declaration last: until then it is none."""
    declaration, declared = ocfl.root_declaration()
    written = {
        f"{ocfl.EXTENSIONS}/{layout.NAME}/{ocfl.CONFIG_FILE}": layouts.config_document(layout),
        ocfl.LAYOUT_FILE: layouts.layout_document(layout),
        declaration: declared,
    }
    for path, data in written.items():
        try:
            store.put(path, data, if_absent=True)
        except AlreadyThere:
            if store.read(path, limit_bytes=1 << 20) != data:
                raise StoreError(
                    f"{store.url}/{path}: was begun with another layout; give that one with --layout, or "
                    "remove what was begun"
                ) from None
