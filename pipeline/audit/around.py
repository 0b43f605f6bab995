"""What lies around the objects of a store: folders that nobody could list, and what deposits have begun."""

from __future__ import annotations

import contextlib
import itertools
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from pipeline.audit.mending import ASIDE
from pipeline.files import folders_above
from pipeline.findings import Level, Register, Remark
from pipeline.ocfl import locking, reading
from pipeline.ocfl.inventory import timestamp
from pipeline.ocfl.locking import Note
from pipeline.ocfl.walking import Hierarchy
from pipeline.specs import ocfl
from pipeline.stores import Entry, FolderStore, Kind, ObjectStore, Store, StoreError, Upload


@dataclass(frozen=True, slots=True, kw_only=True)
class Begun:
    """A deposit, or a repair, that has not ended."""

    note: Note
    files: int = 0
    size_bytes: int = 0
    """What it has written that no inventory names: in the object, and beside the store."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """A store without its objects."""

    unlisted: Mapping[str, str]
    """Folder that could not be listed, and lies in no object that was found → why."""
    layout_fault: str = ""
    """Why nobody can say where objects must lie, although the store names a layout."""
    begun: tuple[Begun, ...] = ()
    written: frozenset[str] = frozenset()
    """Places of objects that somebody has written, or begun to, since the store was listed."""
    half_written: Mapping[str, int] = field(default_factory=dict)
    """Address of a file beside the store that was begun and that nobody writes any more → its bytes."""
    uploads: tuple[Upload, ...] = ()
    """On their way into object storage, for nobody who is known to write."""


AROUND = Register[Around]("what lies around the objects of a store")


# ---------------------------------------------------------------------------------------------- looking


def look(store: Store, hierarchy: Hierarchy, before: Iterable[Note] = ()) -> Around:
    """Look around a store's objects. `before` are notes of writers from before the hierarchy was walked."""
    notes = tuple(locking.unfinished(store))
    written = {note.place for note in (*before, *notes)} | set(_grown(store, hierarchy))
    return Around(
        unlisted=_outside_of_objects(hierarchy),
        layout_fault=hierarchy.root.layout_fault,
        begun=tuple(_begun(store, each) for each in notes),
        written=frozenset(written),
        half_written=_half_written(store) if isinstance(store, FolderStore) else {},
        uploads=_uploads(store, written) if isinstance(store, ObjectStore) else (),
    )


def of_nobody(strays: Sequence[Entry], written: Iterable[str]) -> tuple[Entry, ...]:
    """Return what lies in no object, and in no place that was `written` since the store was listed.

    Empty folders that lead to such a place are not empty any more, or are of whoever writes there.
    """
    if not strays:
        return ()
    places = frozenset(written)
    leading = {*places, *(above for place in places for above in folders_above(place))}
    return tuple(
        each
        for each in strays
        if not (each.is_folder and each.path in leading)
        and not any(above in places for above in folders_above(each.path))
    )


_MOST_GROWN = 100
"""Places that are looked at: a store that is heaps of strange files is told as that."""


def _grown(store: Store, hierarchy: Hierarchy) -> Iterator[str]:
    """Yield where there was the beginning of an object when the store was listed, and is an object now."""
    places = dict.fromkeys(found[1] for each in hierarchy.strays if (found := _BEGINNING.match(each.path)))
    for place in itertools.islice(places, _MOST_GROWN):
        with contextlib.suppress(StoreError):
            if store.exists(f"{place}/{ocfl.INVENTORY}"):
                yield place


_BEGINNING = re.compile(r"(.+?)/v0*1/")
"""A path in the first version of an object."""


def _outside_of_objects(hierarchy: Hierarchy) -> dict[str, str]:
    """The folders that are no part of an object that was found: what is wrong with those is told there."""
    starts = tuple(f"{each.place}/" for each in hierarchy.objects) if hierarchy.unlisted else ()
    return {folder: why for folder, why in hierarchy.unlisted.items() if not folder.startswith(starts)}


def _begun(store: Store, note: Note) -> Begun:
    """Count what a deposit has written so far. A repair leaves nothing half-done."""
    found: list[Entry] = []
    with contextlib.suppress(
        StoreError
    ):  # of an object that does not let itself be looked at, the note is told
        facts = reading.look(store, note.place)
        kept = reading.without_begun(facts, note.version).entries if facts.current else {}
        found += [] if note.is_mending else [each for path, each in facts.entries.items() if path not in kept]
        found += locking.half_done(store, note)
    files = [each for each in found if each.kind is Kind.FILE]
    return Begun(note=note, files=len(files), size_bytes=sum(each.size_bytes or 0 for each in files))


def _half_written(store: FolderStore) -> dict[str, int]:
    found: dict[str, int] = {}
    for each in (store, store.beside(ASIDE)):
        for path in each.half_written():
            with contextlib.suppress(OSError):
                found[str(path)] = path.stat().st_size
    return found


def _uploads(store: ObjectStore, notes: Iterable[str]) -> tuple[Upload, ...]:
    starts = tuple(f"{place}/" for place in notes)
    with contextlib.suppress(StoreError):  # not every storage tells, nor everybody
        return tuple(each for each in store.unfinished() if not each.path.startswith(starts))
    return ()


# ---------------------------------------------------------------------------------------------- judging


@AROUND.rule(
    "K008",
    Level.WARNING,
    "Somebody began to write an object, and has not ended",
    source="locks beside the store",
    advice="If it is at work now, let it end: readers see the object as it was before. A deposit that was "
    "killed is finished, or taken away, by the next deposit to the store from the machine that is named, of "
    "whichever bundle; from another machine, deposit the same bundle again with --take-over. A repair that "
    "was killed is ended by the next audit with --repair.",
)
def nobody_is_writing(around: Around) -> Iterator[Remark]:
    """No deposit and no repair has begun that has not ended."""
    for each in around.begun:
        note = each.note
        version = f" {note.version}" if note.version else ""
        wrote = counted(each.files, each.size_bytes)
        yield Remark(
            place=note.place, value=f"{note.object_id}{version}: being {note}; {wrote}", limit="nobody"
        )


def counted(files: int, size_bytes: int) -> str:
    """Return how much a deposit has written so far, in words."""
    if not files:
        return "nothing of it is there"
    noun = "file" if files == 1 else "files"
    return f"{files:,} {noun} ({size_bytes:,} bytes) that no inventory names"


@AROUND.rule(
    "K010",
    Level.ERROR,
    "A folder of the store could not be listed",
    source="OCFL 1.1, section 4: objects lie below it",
    advice="Find out why, from the reason and the system's log: the rights of whoever audits, the disk, the "
    "network. What the record knows below it counts as not read; objects that are new there are not even "
    "seen. Everything else was audited. Then audit again.",
)
def every_folder_is_listed(around: Around) -> Iterator[Remark]:
    """All folders that may lead to objects can be listed."""
    for folder, why in around.unlisted.items():
        yield Remark(place=f"{folder}/", value=why, limit="a list of what is in it")


@AROUND.rule(
    "K011",
    Level.WARNING,
    "Nobody can say where objects must lie",
    source="OCFL 1.1, section 4.1: ocfl_layout.json and the configuration of its extension",
    advice="Bring the file back from another copy of the store. Until then no object's place was compared "
    "with its identifier, and nothing can be deposited or retrieved.",
)
def the_layout_is_known(around: Around) -> Iterator[Remark]:
    """The layout that the store names can be used."""
    if around.layout_fault:
        yield Remark(place="", value=around.layout_fault, limit="a layout that is known here")


@AROUND.rule(
    "K012",
    Level.WARNING,
    "A half-written file lies beside the store",
    source="what deposits and repairs leave that are killed",
    advice="Nobody writes it any more, and nothing needs it. The next deposit to the store removes it; one "
    "that a repair was keeping aside, the next audit with --repair.",
)
def nothing_is_half_written(around: Around) -> Iterator[Remark]:
    """Beside the store lies no file that was begun and not ended."""
    for address, size_bytes in around.half_written.items():
        yield Remark(place=address, value=f"{size_bytes:,} bytes", limit="nothing")


@AROUND.rule(
    "K013",
    Level.WARNING,
    "An upload was begun and has not ended",
    source="Amazon S3 API reference, ListMultipartUploads",
    advice="No deposit is known that would end it. It is seen by nobody and paid for until it is aborted: do "
    "that with the storage's own tools, or let the bucket abort unfinished uploads after some days.",
)
def no_upload_is_unfinished(around: Around) -> Iterator[Remark]:
    """Object storage waits for the end of no large file."""
    for each in around.uploads:
        yield Remark(place=each.path, value=f"an upload of {timestamp(each.begun)}", limit="none")
