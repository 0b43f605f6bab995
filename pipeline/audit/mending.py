"""Files that are damaged or lost, held against copies that are whole; and, when asked for, put right.

A file is mended only from bytes that have the digest which the object's own inventory, proved, says of it;
an inventory only from bytes that have the digest beside it. The damaged file is kept outside of the object
first.
Nothing is ever removed, and nothing is written that was not asked for.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import io
from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import BinaryIO

from pipeline.audit.values import Mend
from pipeline.errors import PipelineError
from pipeline.ocfl import inventory, locking
from pipeline.ocfl.digesting import Hashers
from pipeline.ocfl.reading import InventoryFile, ObjectFacts, in_folder
from pipeline.ocfl.validating.content_rules import damaged_content, missing_content
from pipeline.specs import ocfl
from pipeline.stores import FolderStore, NotInStore, Store, StoreError

ASIDE = ".set-aside"
"""At the end of a store's name: the store beside it where what is damaged is kept, as deposits keep it."""
COPY_BYTES = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Copy:
    """An object in a store: the one that is audited, or its replica."""

    store: Store
    facts: ObjectFacts

    def at(self, path: str) -> str:
        """The path in the store of a path in the object."""
        return in_folder(self.facts.place, path)

    def size_of(self, path: str) -> int:
        """How many bytes a file of the object has; 0 if that was not seen."""
        entry = self.facts.entries.get(path)
        return (entry.size_bytes or 0) if entry is not None else 0

    def address(self, path: str) -> str:
        """The same, with the store's address before it."""
        return f"{self.store.url}/{self.at(path)}"


def wanted(facts: ObjectFacts, other: ObjectFacts | None = None) -> Iterator[Mend]:
    """Yield what is damaged or lost in an object, with the digest that an intact copy must have.

    Inventories and their digest files come first: content is judged by them. `other` is the same object in
    the replica: an inventory that is the same there, and proved there, is whole; then its digest file is the
    damaged one.
    """
    yield from _wanted_inventories(facts, other)
    current = facts.current
    if current is None or not facts.is_current_proved:
        return
    for each in (*missing_content(facts), *damaged_content(facts)):
        if each.said_by == current.place:
            yield Mend(path=each.path, algorithm=each.algorithm, digest=each.expected.lower())


def _wanted_inventories(facts: ObjectFacts, other: ObjectFacts | None) -> Iterator[Mend]:
    for file in facts.inventories.values():
        if file.is_proved:
            continue
        if (sidecar := _proving_twin(file, facts, other)) is not None:
            path = in_folder(file.folder, ocfl.sidecar_name(file.algorithm))
            yield Mend(path=path, algorithm=ocfl.SHA512, digest=inventory.digest_of(sidecar))
        elif said := _said(file):
            yield Mend(path=file.place, algorithm=said[0], digest=said[1])
    lost = {} if "" in facts.inventories else {"": _of_last_version(facts, other)}
    for folder, sidecars in facts.lone_sidecars.items():
        lost[folder] = _said_by(sidecars, sidecars, ocfl.CONTENT_ALGORITHMS) or lost.get(folder)
    for folder, said in lost.items():
        if said:
            yield Mend(path=in_folder(folder, ocfl.INVENTORY), algorithm=said[0], digest=said[1])


def _of_last_version(facts: ObjectFacts, other: ObjectFacts | None) -> tuple[str, str] | None:
    """Algorithm and digest of the last version's inventory, which the object's own must be the same as."""
    file = facts.inventories.get(_last_version(facts, other))
    return (file.algorithm, file.digests[file.algorithm]) if file is not None and file.is_proved else None


def _last_version(facts: ObjectFacts, other: ObjectFacts | None) -> str:
    """The last version that either copy has: an object must not be mended into an earlier state of itself."""
    folders = [*facts.version_folders, *(other.version_folders if other is not None else ())]
    return max(folders, key=ocfl.version_number, default="")


def _proving_twin(file: InventoryFile, facts: ObjectFacts, other: ObjectFacts | None) -> bytes | None:
    """The digest file of a proved inventory of the same bytes, here or in the replica.

    None for the inventory of another version or object than belongs in the folder: then it is not the digest
    file that is damaged.
    """
    version = file.folder or _last_version(facts, other)
    last = facts.inventories.get(version, file)
    if file.document.get("head") != version or (last.is_proved and last.digests != file.digests):
        return None
    for copy in (facts, other):
        for each in copy.inventories.values() if copy is not None else ():
            if each.is_proved and each.digests == file.digests:
                return each.sidecars[ocfl.sidecar_name(file.algorithm)]
    return None


def _said(file: InventoryFile) -> tuple[str, str] | None:
    """The algorithm and the digest that stand beside an inventory, if they are those of another one."""
    names = [ocfl.sidecar_name(file.algorithm)] if file.algorithm else list(file.sidecars)
    said = _said_by(file.sidecars, names, file.digests)
    return said if said and said[1] != file.digests[said[0]] else None


def _said_by(
    sidecars: Mapping[str, bytes], names: Iterable[str], algorithms: Container[str]
) -> tuple[str, str] | None:
    """The first algorithm, and the digest, that digest files of these names hold."""
    for name in names:
        algorithm = name.removeprefix(f"{ocfl.INVENTORY}.")
        said = inventory.sidecar_digest(sidecars.get(name, b""))
        if said is not None and algorithm in algorithms:
            return algorithm, said
    return None


# ------------------------------------------------------------------------------------------ finding copies


def with_source(mend: Mend, own: Copy, replica: Copy | None) -> Mend:
    """Return the mend with the first intact copy that there is: in the object itself, or in the replica."""
    try:
        for copy, path in _candidates(mend, own, replica):
            if has_digest(copy.store, copy.at(path), mend):
                return replace(mend, source=copy.address(path))
    except StoreError as error:
        return replace(mend, hindrance=error.message)
    hindrance = (
        "no intact copy was found" if replica else "no other copy was looked at, give one as --replica"
    )
    return replace(mend, hindrance=hindrance)


def _candidates(mend: Mend, own: Copy, replica: Copy | None) -> Iterator[tuple[Copy, str]]:
    """Copies that may be the same file, the nearest first."""
    name = mend.path.rpartition("/")[2]
    if name.startswith(f"{ocfl.INVENTORY}.") and mend.path.count("/") <= 1:
        for copy in (own, *([replica] if replica else [])):
            paths = [in_folder(folder, name) for folder in copy.facts.inventories]
            yield from ((copy, path) for path in paths if copy is not own or path != mend.path)
        return
    if name == ocfl.INVENTORY and mend.path.count("/") <= 1:
        folder = mend.path.rpartition("/")[0]
        version = folder or _last_version(own.facts, replica.facts if replica else None)
        for copy in (own, *([replica] if replica else [])):
            places = _inventories_of(version, mend, copy.facts)
            yield from ((copy, path) for path in places if copy is not own or path != mend.path)
        return
    for copy in (own, *([replica] if replica else [])):
        current = copy.facts.current
        beside = current.manifest.get(mend.digest, ()) if current else ()
        yield from ((copy, path) for path in beside if copy is not own or path != mend.path)
        if copy is not own and mend.path not in beside:
            yield copy, mend.path


def _inventories_of(version: str, mend: Mend, facts: ObjectFacts) -> list[str]:
    """Where there are inventories of that version with the right digest."""
    return [
        each.place
        for each in facts.inventories.values()
        if each.document.get("head") == version and each.digests.get(mend.algorithm) == mend.digest
    ]


def has_digest(store: Store, path: str, mend: Mend) -> bool:
    """Read a file, and return whether it is there and what is wanted. Raises StoreError."""
    hashers = Hashers([mend.algorithm])
    try:
        with store.open(path) as stream:
            while data := stream.read(COPY_BYTES):
                hashers.update(data)
    except NotInStore:
        return False
    except OSError as error:
        raise StoreError(f"{store.url}/{path}: cannot be read ({error.strerror or error})") from error
    return hashers.digests()[mend.algorithm] == mend.digest


# ------------------------------------------------------------------------------------------ putting right


def mended(mend: Mend, own: Copy, replica: Copy | None, now: dt.datetime) -> Mend:
    """Put an intact copy in the place of a damaged or lost file; return what became of it.

    The damaged file is copied beside the store first; the intact one is proved while it is written, appears
    whole, and is read back and proved once more. What cannot be done is said, and nothing is half done.
    """
    if not mend.source:
        return mend
    found = next(
        (each for each in _candidates(mend, own, replica) if each[0].address(each[1]) == mend.source), None
    )
    if found is None:
        return replace(mend, hindrance="the intact copy was not found again")
    copy, path = found
    here = (own.store, own.at(mend.path))
    try:
        aside = put_right(mend, (copy.store, copy.at(path)), here, now, size_bytes=copy.size_of(path))
    except PipelineError as error:
        return replace(mend, hindrance=error.message)
    done = replace(mend, kept_aside=aside)
    try:
        is_whole = has_digest(*here, mend)
    except StoreError as error:
        return replace(done, hindrance=error.message)
    if not is_whole:
        return replace(done, hindrance="what was written could not be read back as it should be")
    return replace(done, is_mended=True)


Address = tuple[Store, str]
"""A store, and a path in it."""


def put_right(mend: Mend, source: Address, here: Address, now: dt.datetime, *, size_bytes: int = 0) -> str:
    """Put an intact file in its place; return where what was there is kept, empty if nothing was.

    The file is proved while it is written, and does not appear if it is not intact any more. Raises
    StoreError and other PipelineErrors; then what was there is there still.
    """
    aside = _kept_aside(*here, now)
    store, path = here
    with _opened(*source, mend) as intact:
        store.put_file(path, intact, size_bytes=size_bytes)
    return aside


@contextlib.contextmanager
def _opened(store: Store, path: str, mend: Mend) -> Iterator[BinaryIO]:
    with store.open(path) as stream:
        yield io.BufferedReader(_Proving(stream, mend, f"{store.url}/{path}"), COPY_BYTES)


class _Proving(io.RawIOBase):
    """A file that ends in an error instead if its bytes do not have the digest that they must have."""

    def __init__(self, stream: BinaryIO, mend: Mend, address: str) -> None:
        self._stream, self._mend, self._address = stream, mend, address
        self._hashers = Hashers([mend.algorithm])

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        try:
            data = self._stream.read(len(buffer))
        except OSError as error:
            raise StoreError(f"{self._address}: cannot be read ({error.strerror or error})") from error
        self._hashers.update(data)
        if not data and self._hashers.digests()[self._mend.algorithm] != self._mend.digest:
            raise StoreError(f"{self._address}: is not intact any more; nothing was changed")
        buffer[: len(data)] = data
        return len(data)


def _kept_aside(store: Store, path: str, now: dt.datetime) -> str:
    """Copy what is at a path beside the store; return its address there, empty if nothing is."""
    aside, name = store.beside(ASIDE), _name_aside(path, now)
    try:
        with store.open(path) as stream:
            aside.put_file(name, stream, if_absent=True)
    except NotInStore:
        return ""
    except OSError as error:
        raise StoreError(f"{store.url}/{path}: cannot be kept aside ({error.strerror or error})") from error
    return f"{aside.url}/{name}"


def _name_aside(path: str, began: dt.datetime) -> str:
    """Where the damaged file of a path is kept, by when the run began that mended it."""
    return f"{began.astimezone(dt.UTC):%Y%m%dT%H%M%SZ}/{path}"


def clear(store: Store, *, host: str, pid: int) -> None:
    """Take away what runs left that were killed while they mended; nothing that is in its place."""
    locking.let_go_of_mended(store, host=host, pid=pid)
    if isinstance(store, FolderStore):
        store.beside(ASIDE).tidy()


def ended(mend: Mend, store: Store, place: str, began: dt.datetime) -> Mend:
    """Return what became of a mend that a run had begun when it was killed. Raises StoreError."""
    path = in_folder(place, mend.path)
    if not has_digest(store, path, mend):
        return replace(mend, hindrance="the run that mended it was killed before it came to that")
    aside, name = store.beside(ASIDE), _name_aside(path, began)
    return replace(mend, is_mended=True, kept_aside=f"{aside.url}/{name}" if aside.exists(name) else "")
