"""Objects held against what they were, and against another copy of them: what no object shows by itself.

An object whose versions were rewritten with new digests is valid; only who remembers can tell. The record
keeps each version's inventory digest from the first time that the object was found intact.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from pipeline.audit.record import Known
from pipeline.findings import Level, Register, Remark
from pipeline.ocfl.reading import ObjectFacts
from pipeline.specs import ocfl

_EARLIER = "the record of audits"
_REPLICA = "the copy that is compared"


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """One object now, before, and elsewhere."""

    known: Known | None
    """What the record has; None for an object that is new to it."""
    facts: ObjectFacts | None
    """The object; None for one that is not there."""
    versions: Mapping[str, str] = field(default_factory=dict)
    """Version → sha512 of its inventory, as it was."""
    replica: ObjectFacts | None = None
    """The same object in the replica; None if it has none."""
    has_replica: bool = False
    """A replica was given."""
    replica_trouble: str = ""
    """Why the replica did not give the object."""


KEPT = Register[History]("objects over time and between copies")


@KEPT.rule(
    "K001",
    Level.ERROR,
    "An object is not there any more",
    source=_EARLIER,
    advice="Look first whether a disk is not mounted, or a folder was moved. solander audit STORE "
    "--replica URL says whether another copy has it as it was proved here; --repair brings it back. If it "
    "was removed on purpose, take it out of the record: solander audit STORE --forget OBJECT.",
)
def objects_are_still_there(history: History) -> Iterator[Remark]:
    """What was once seen in the store is in it."""
    known = history.known
    if known is not None and history.facts is None:
        named = f"{known.object_id}, {known.head}" if known.object_id else "never proved"
        seen = known.proved_at or known.first_seen
        yield Remark(place="", value=f"not there ({named})", limit=f"there, as on {seen[:10]}")


@KEPT.rule(
    "K002",
    Level.ERROR,
    "An object lost its last versions",
    source=_EARLIER,
    advice="Bring the versions back from another copy, inventory last. Was an older backup put over it?",
)
def objects_do_not_go_back(history: History) -> Iterator[Remark]:
    """The last version is never lower than it was."""
    if history.known is None or history.facts is None or not history.facts.head:
        return
    before, now = map(ocfl.version_number, (history.known.head, history.facts.head))
    if before and now < before:
        yield Remark(place="", value=history.facts.head, limit=f"{history.known.head} or later")


@KEPT.rule(
    "K003",
    Level.ERROR,
    "A version was changed after it was made",
    source=_EARLIER,
    advice="Compare it with other copies and with the receipt of its deposit. Versions are never changed; if "
    "this was done on purpose, take the object out of the record: solander audit STORE --forget OBJECT.",
)
def versions_stay_as_they_were_made(history: History) -> Iterator[Remark]:
    """A version's inventory has the digest that it had when the object was first proved."""
    now = version_inventories(history.facts) if history.facts else {}
    for version, before in history.versions.items():
        is_above = history.facts is not None and _is_after(version, history.facts.head)
        if now and now.get(version) != before and not is_above:
            value = f"sha512 {now[version][:16]}…" if version in now else "not there"
            limit = f"{before[:16]}…, as when it was first proved"
            yield Remark(place=f"{version}/{ocfl.INVENTORY}", value=value, limit=limit)


@KEPT.rule(
    "K004",
    Level.WARNING,
    "The other copy lacks an object",
    source=_REPLICA,
    advice="Copy the object there: as long as there is one copy, nothing can mend it.",
)
def the_replica_has_the_object(history: History) -> Iterator[Remark]:
    """The replica has an object of this identifier."""
    is_known = history.has_replica and not history.replica_trouble
    if is_known and history.facts is not None and history.replica is None:
        yield Remark(place="", value="not in the replica", limit="a copy")


@KEPT.rule(
    "K005",
    Level.WARNING,
    "The other copy of an object is of another version, or differs",
    source=_REPLICA,
    advice="If the other copy is behind, bring it up to date. If the same version differs, find out which is "
    "right before anything else.",
)
def the_replica_has_the_same_object(history: History) -> Iterator[Remark]:
    """Both copies have the same versions, with the same inventories."""
    if history.facts is None or history.replica is None:
        return
    here, there = version_inventories(history.facts), version_inventories(history.replica)
    if history.facts.head != history.replica.head:
        yield Remark(place="", value=f"{history.replica.head or 'none'} there", limit=history.facts.head)
    for version in here:
        if version in there and here[version] != there[version]:
            place = f"{version}/{ocfl.INVENTORY}"
            yield Remark(place=place, value=f"sha512 {there[version][:16]}… there", limit=here[version][:16])
    for version in sorted(there.keys() - here.keys()):
        if not _is_after(version, history.facts.head):
            yield Remark(place=f"{version}/{ocfl.INVENTORY}", value="there alone", limit="in both")


@KEPT.rule(
    "K006",
    Level.WARNING,
    "The other copy has an object that is not here",
    source=_REPLICA,
    advice="Find out whether it was lost here, or never deposited here; then bring its whole folder over, or "
    "deposit it. --repair does not: the record of this store does not know it.",
)
def the_replica_has_no_other_objects(history: History) -> Iterator[Remark]:
    """Every object of the replica is here too, or its loss is told already."""
    if history.known is None and history.facts is None and history.replica is not None:
        yield Remark(place="", value=history.replica.object_id, limit="the same objects in both")


@KEPT.rule(
    "K007",
    Level.ERROR,
    "A version lost its inventory",
    source="OCFL 1.1, section 3.7: an inventory and its digest file are written together",
    advice="Bring it back from another copy, or from the object's own inventory if the digest is the same: "
    "--replica URL says where there is one. Was the file removed, or does the disk fail?",
)
def digest_files_have_their_inventory(history: History) -> Iterator[Remark]:
    """Where there is an inventory's digest file, the inventory is there too."""
    for folder, sidecars in (history.facts.lone_sidecars if history.facts else {}).items():
        if folder:  # the object's own is told by E063
            found = f"not there, {', '.join(sorted(sidecars))} is"
            yield Remark(place=f"{folder}/{ocfl.INVENTORY}", value=found, limit="both")


@KEPT.rule(
    "K009",
    Level.WARNING,
    "The other copy of an object could not be looked at",
    source=_REPLICA,
    advice="Audit the other copy by itself, and look at its disk and network.",
)
def the_replica_gives_the_object(history: History) -> Iterator[Remark]:
    """What the replica has of the object can be read."""
    if history.replica_trouble:
        yield Remark(place="", value=history.replica_trouble, limit="an answer")


def _is_after(version: str, head: str) -> bool:
    """True for a version that is told as lost."""
    return ocfl.version_number(version) > ocfl.version_number(head)


def version_inventories(facts: ObjectFacts) -> dict[str, str]:
    """Return the sha512 of each version's inventory; the object's own stands for a head that has none."""
    found = {folder: file.digests[ocfl.SHA512] for folder, file in facts.inventories.items() if folder}
    root = facts.inventories.get("")
    if root is not None and facts.head and facts.head not in found:
        found[facts.head] = root.digests[ocfl.SHA512]
    return found
