"""The other copy of a store: where its objects lie, and which of them are only there."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass

from pipeline.errors import InputError
from pipeline.ocfl import reading, walking
from pipeline.ocfl.reading import ObjectFacts
from pipeline.ocfl.walking import Hierarchy, Root
from pipeline.specs import ocfl
from pipeline.stores import NotInStore, Store, StoreError


@dataclass(frozen=True, slots=True, kw_only=True)
class Replica:
    """A storage root that holds the same objects, perhaps in another layout."""

    store: Store
    hierarchy: Hierarchy
    places: frozenset[str]
    """Of its objects."""

    @property
    def root(self) -> Root:
        """What stands directly in it."""
        return self.hierarchy.root

    def object_of(self, facts: ObjectFacts) -> ObjectFacts | None:
        """Do as `find`, for an object that is there.

        An identifier that does not belong where the object lies is not believed: its place counts then.
        """
        is_believed = facts.root.layout_path in (None, facts.place)
        return self.find(facts.object_id if is_believed else "", facts.place)

    def find(self, object_id: str, place: str) -> ObjectFacts | None:
        """Return an object here by its identifier, or by its place elsewhere; content is not read.

        Raises StoreError, also if it lies where nothing could be listed.
        """
        places = [walking.expected_place(self.root.layout, object_id), place]
        wanted = tuple(dict.fromkeys(each for each in places if each is not None))
        for place in wanted:
            if place in self.places:
                found = reading.look(self.store, place)
                if not object_id or found.object_id in ("", object_id):
                    return found
        for why in self.hierarchy.unknown(wanted).values():
            raise StoreError(why)
        return None

    def places_of_others(self, places: Set[str], ids: Set[str]) -> list[str]:
        """Return where objects lie that are not at these places and do not bear these identifiers."""
        mapped = {walking.expected_place(self.root.layout, each) for each in ids}
        return sorted(self.places - places - mapped)


def replica_of(store: Store) -> Replica:
    """Return a store as a replica. Raises StoreError, InputError if it is no storage root."""
    hierarchy = storage_root(store)
    places = frozenset(each.place for each in hierarchy.objects)
    return Replica(store=store, hierarchy=hierarchy, places=places)


def storage_root(store: Store) -> Hierarchy:
    """Walk a storage root. Raises StoreError if not even the root itself can be listed.

    Raises InputError for what is clearly none, a wrong address or a disk that is not mounted: nothing is
    concluded from what is missing there.
    """
    try:
        hierarchy = walking.walk_root(store)
    except NotInStore as error:
        raise InputError(f"{store.url}: is not there; {_LOOK}") from error
    declarations = hierarchy.root.declarations
    if any(ocfl.OBJECT_DECLARATION.fullmatch(name) for name in declarations):
        raise InputError(f"{store.url}: is one object; give the storage root that it lies in")
    if not hierarchy.objects and not declarations and not hierarchy.root.odd_declarations:
        name = ocfl.root_declaration()[0]
        raise InputError(f"{store.url}: is no storage root: it has no file {name} and no objects; {_LOOK}")
    return hierarchy


_LOOK = "is the address right, and the disk mounted?"
