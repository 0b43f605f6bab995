"""What lies around the objects of a store: folders that nobody could list, and what deposits have begun."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pipeline.findings import Level, Register, Remark, Report
from pipeline.ocfl import locking
from pipeline.ocfl.locking import Note
from pipeline.ocfl.walking import Hierarchy
from pipeline.stores import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """A store without its objects."""

    unlisted: Mapping[str, str]
    """Folder that could not be listed, and lies in no object that was found → why."""
    layout_fault: str = ""
    """Why nobody can say where objects must lie, although the store names a layout."""
    notes: tuple[Note, ...] = ()
    """Of deposits that have not ended."""


AROUND = Register[Around]("what lies around the objects of a store")


def report_of(hierarchy: Hierarchy, store: Store) -> Report:
    """Look around a store's objects, and judge what is there."""
    return AROUND.judge(
        Around(
            unlisted=_outside_of_objects(hierarchy),
            layout_fault=hierarchy.root.layout_fault,
            notes=tuple(locking.unfinished(store)),
        )
    )


def _outside_of_objects(hierarchy: Hierarchy) -> dict[str, str]:
    """The folders that are no part of an object that was found: what is wrong with those is told there."""
    starts = tuple(f"{each.place}/" for each in hierarchy.objects) if hierarchy.unlisted else ()
    return {folder: why for folder, why in hierarchy.unlisted.items() if not folder.startswith(starts)}


@AROUND.rule(
    "K008",
    Level.WARNING,
    "Somebody began to write an object, and has not ended",
    source="locks beside the store",
    advice="If a deposit is at work now, let it end. If it was killed, the next deposit to the store "
    "finishes it, or takes away what is half-done.",
)
def nobody_is_writing(around: Around) -> Iterator[Remark]:
    """No deposit has begun that has not ended."""
    for note in around.notes:
        yield Remark(place=note.place, value=f"{note.object_id}: being {note}", limit="nobody")


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
