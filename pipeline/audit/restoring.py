"""A whole object that was lost, brought back from another copy of the store.

Only what the record of audits proved in this store before is brought back, and only as it was proved last:
the other copy must have the same versions with the same inventories, and every byte of it is read and proved
before anything is written. Content goes first, the object's inventory last, so no reader sees half an object;
what is there already and right stays, and what is in the way is kept aside.

Why so: `docs/decisions/0007-deposits.md`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, replace

from pipeline.audit import mending
from pipeline.audit.history import version_inventories
from pipeline.audit.reading import Reader, Reading
from pipeline.audit.record import Known
from pipeline.audit.replicas import Replica
from pipeline.audit.values import Mend
from pipeline.errors import StoreError
from pipeline.findings import Level
from pipeline.ocfl import reading
from pipeline.ocfl.reading import ObjectFacts, declares, in_folder
from pipeline.ocfl.validating import validate_object
from pipeline.specs import ocfl
from pipeline.stores import Kind, Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Lost:
    """An object that is not there any more, as the record knows it."""

    known: Known
    versions: Mapping[str, str]
    """Version → sha512 of its inventory, as they were proved here."""

    def mend(self, hindrance: str = "") -> Mend:
        """Return what is wanted: the object as a whole, by the digest of its last inventory."""
        digest = self.versions.get(self.known.head, "")
        return Mend(path="", algorithm=ocfl.SHA512, digest=digest, hindrance=hindrance)


@dataclass(frozen=True, slots=True, kw_only=True)
class Whole:
    """The same object in the other copy, every byte of it proved."""

    mend: Mend
    place: str
    sizes: Mapping[str, int]
    """Path in the object → bytes, in the order of writing."""
    digests: Mapping[str, str]
    """Path in the object → sha512."""


def look_for(lost: Lost, replica: Replica, reader: Reader) -> Whole | Mend:
    """Look for a lost object in the other copy, and prove it there; a mend without a source says why not.

    `reader` reads the other copy.
    """
    if not lost.known.head or not lost.versions:
        return lost.mend("the record never proved it here, so nobody can say that it was ever whole here")
    try:
        facts = replica.find(lost.known.object_id, lost.known.place)
    except StoreError as error:
        return lost.mend(error.message)
    if facts is None:
        return lost.mend("the other copy does not have it")
    if why := _why_another(lost, facts):
        return lost.mend(why)
    return _proved(lost, facts, replica, reader)


def _why_another(lost: Lost, facts: ObjectFacts) -> str:
    """Why the object of the other copy is not the one that was lost."""
    known = lost.known
    if facts.object_id != known.object_id:
        return "the other copy has no inventory of it that can be read"
    if facts.head != known.head:
        return f"the other copy has it as {facts.head}, and here {known.head} was proved last"
    if version_inventories(facts) != dict(lost.versions):
        return (
            "the other copy has the same versions with other inventories, as after a deposit of its own; "
            "retrieve the bag from there, deposit it here again, then audit with --forget"
        )
    return ""


def _proved(lost: Lost, facts: ObjectFacts, replica: Replica, reader: Reader) -> Whole | Mend:
    claims = reading.claims(facts)
    read = [each.result() for each in _submitted(facts, claims, reader)]
    if trouble := next((each.trouble for each in read if each.trouble), ""):
        return lost.mend(trouble)
    digests = {each.path: each.digests for each in read if each.digests}
    gone = [each.path for each in read if each.is_gone]
    content = {path: each for path, each in digests.items() if path in claims}
    report = validate_object(reading.with_digests(facts, content, gone=gone))
    if codes := sorted({each.code for each in report.at(Level.ERROR)}):
        return lost.mend(f"the other copy of it is not whole either ({', '.join(codes)})")
    paths = sorted(digests, key=_order)
    return Whole(
        mend=replace(lost.mend(), source=f"{replica.store.url}/{facts.place}"),
        place=facts.place,
        sizes={path: facts.entries[path].size_bytes or 0 for path in paths},
        digests={path: digests[path][ocfl.SHA512] for path in paths},
    )


def _submitted(
    facts: ObjectFacts, claims: Mapping[str, Mapping[str, frozenset[str]]], reader: Reader
) -> list[Future[Reading]]:
    """Begin to read every file of an object, for the digests that are said of it and one that seals it."""
    none: frozenset[str] = frozenset()
    return [
        reader.submit(facts.place, path, {ocfl.SHA512: none, **claims.get(path, {})})
        for path, entry in facts.entries.items()
        if entry.kind is Kind.FILE
    ]


def _order(path: str) -> tuple[int, str]:
    """Sort key of writing: content, inventories of versions, what declares the object, its inventory."""
    folder, _, name = path.rpartition("/")
    is_inventory = name == ocfl.INVENTORY
    if not is_inventory and not name.startswith(f"{ocfl.INVENTORY}."):
        return (2 if not folder and declares(name) else 0), path
    if folder:
        return (1 if ocfl.version_number(folder) else 0), path
    return (4 if is_inventory else 3), path


def write(whole: Whole, source: Store, own: Store, place: str, now: dt.datetime) -> Iterator[str]:
    """Write the object into its place, and yield where things are kept that were in the way.

    It is still to be read back. Raises StoreError and other PipelineErrors: the next run goes on.
    """
    for path, digest in whole.digests.items():
        mend = Mend(path=path, algorithm=ocfl.SHA512, digest=digest)
        here, there = in_folder(place, path), in_folder(whole.place, path)
        if not mending.has_digest(own, here, mend):
            aside = mending.put_right(mend, (source, there), (own, here), now, size_bytes=whole.sizes[path])
            yield from filter(None, [aside])
