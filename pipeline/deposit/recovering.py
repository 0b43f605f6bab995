"""What a killed deposit left is finished or taken away, by looking at the store alone.

=====================================================  =====================================================
found                                                  done
=====================================================  =====================================================
half-done things beside the store                      removed with the lock
empty folders where an object would have been          swept away
a version after the head, whole                        the root's inventory is brought up to it
a version after the head, not whole                    set aside (folder), or removed (object storage)
the root's digest file of one version, its inventory   both are copied from the later version, if that is
of the one before                                      whole
=====================================================  =====================================================

Anything else is damage, which is an audit's affair: it is left as it is, and nothing is deposited.

Source: OCFL 1.1, implementation notes; our own order of writing in `docs/decisions/0007-deposits.md`.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from pipeline.deposit.proving import prove
from pipeline.errors import FixityError
from pipeline.ocfl import reading
from pipeline.ocfl.reading import InventoryFile, ObjectFacts
from pipeline.specs import ocfl
from pipeline.stores import FolderStore, NotInStore, ObjectStore, Store, StoreError

ASIDE = ".set-aside"
"""At the end of a store's name: the place beside it for half-done versions that nobody may use."""
_MOST_BYTES = 1 << 26


def recover(store: Store, place: str, *, begun: str = "") -> tuple[str, ...]:
    """Bring the object at `place` to a whole state; return what was done, in words.

    `begun` is the version that the note of a killed deposit tells of: in object storage nothing else is
    removed. The object must be locked. Raises StoreError.
    """
    return _Recovery(store, place, begun).run()


@dataclass(slots=True)
class _Recovery:
    store: Store
    place: str
    begun: str

    def run(self) -> tuple[str, ...]:
        if isinstance(self.store, FolderStore):
            self.store.sweep(self.place)
        elif self.begun and isinstance(self.store, ObjectStore):
            self.store.drop_unfinished(self.place)
        facts = reading.look(self.store, self.place)
        if not facts.entries:
            return ()
        return tuple(self._done(facts))

    def _done(self, facts: ObjectFacts) -> Iterator[str]:
        root, latest = facts.inventories.get(""), _latest(facts)
        head = _head(root) if root else 0
        number = ocfl.version_number(latest)
        if root is None and not (latest and self.begun == latest and number == 1):
            return
        if root is not None and root.is_proved and number != head + 1:
            return
        if root is not None and not root.is_proved and not _is_between(facts, root, latest):
            return
        if self._is_whole(facts, latest):
            self._bring_up(facts, latest)
            yield f"{latest} of {self.place}, left by an interrupted deposit, is whole and was finished"
        elif root is None or root.is_proved:
            yield from self._take_away(facts, latest)

    def _is_whole(self, facts: ObjectFacts, version: str) -> bool:
        """True if a version's inventory is proved, and every file of the version is there and right."""
        file = facts.inventories.get(version)
        if file is None or not file.is_proved or file.fault or _head(file) != ocfl.version_number(version):
            return False
        start = f"{version}/"
        stored = {
            path: digest
            for digest, paths in file.manifest.items()
            for path in paths
            if path.startswith(start)
        }
        if stored.keys() != {path for path in facts.content_files() if path.startswith(start)}:
            return False
        with contextlib.suppress(FixityError):
            prove(stored, self._open, file.algorithm, what=version, advice="")
            return True
        return False

    def _open(self, path: str) -> BinaryIO:
        return self.store.open(f"{self.place}/{path}")

    def _bring_up(self, facts: ObjectFacts, version: str) -> None:
        """Copy a version's inventory to the object's root: its digest file first."""
        file = facts.inventories[version]
        if not facts.declarations:
            name, content = ocfl.object_declaration(file.spec_version)
            self.store.put(f"{self.place}/{name}", content)
        for name in (ocfl.sidecar_name(file.algorithm), ocfl.INVENTORY):
            data = self.store.read(f"{self.place}/{version}/{name}", limit_bytes=_MOST_BYTES)
            self.store.put(f"{self.place}/{name}", data)

    def _take_away(self, facts: ObjectFacts, version: str) -> Iterator[str]:
        if isinstance(self.store, FolderStore):
            yield self._set_aside(self.store, version)
        elif self.begun != version:
            raise StoreError(
                f"{self.store.url}/{self.place}/{version}: is not in the inventory, and no interrupted "
                "deposit is known that could have left it; look at it with: solander audit"
            )
        else:
            below = f"{version}/" if "" in facts.inventories else ""
            for path in sorted(facts.entries, reverse=True):
                if path.startswith(below):
                    with contextlib.suppress(NotInStore):
                        self.store.delete(f"{self.place}/{path}")
            yield f"{version} of {self.place} was left half-done by an interrupted deposit, and was removed"

    def _set_aside(self, store: FolderStore, version: str) -> str:
        """Move a half-done version out of the object, and leave a log entry, for its number was visible."""
        beside = store.beside(ASIDE)
        number = 1
        while beside.exists(aside := f"{self.place}/{version}.{number}"):
            number += 1
        left = f"{version} was left half-done by an interrupted deposit and was set aside"
        text = f"{left}: {beside.url}/{aside}\n"
        store.put(f"{self.place}/{ocfl.LOGS}/{version}-set-aside-{number}.txt", text.encode())
        beside.take_folder(store.folder / self.place / version, aside)
        return text.rstrip("\n")


def _latest(facts: ObjectFacts) -> str:
    return max(facts.version_folders, key=ocfl.version_number, default="")


def _head(file: InventoryFile) -> int:
    named = file.document.get("head")
    return ocfl.version_number(named) if isinstance(named, str) else 0


def _is_between(facts: ObjectFacts, root: InventoryFile, latest: str) -> bool:
    """True if the root's inventory and its digest file are those of the last two versions, one of each."""
    file = facts.inventories.get(latest)
    before = next(
        (
            each
            for name, each in facts.inventories.items()
            if name and ocfl.version_number(name) == ocfl.version_number(latest) - 1
        ),
        None,
    )
    if file is None or not file.algorithm:
        return False
    beside = root.sidecars.get(ocfl.sidecar_name(file.algorithm))
    of_latest = beside == file.sidecars.get(ocfl.sidecar_name(file.algorithm))
    if before is None or not before.algorithm:
        return False
    of_before = beside == before.sidecars.get(ocfl.sidecar_name(before.algorithm))
    return (of_latest and root.digests == before.digests) or (of_before and root.digests == file.digests)
