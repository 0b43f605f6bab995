"""An object judged: by itself, by what it was before, by the other copy, and as its readers see it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from pipeline.audit.history import KEPT, History, version_inventories
from pipeline.audit.record import Known, Record
from pipeline.audit.replicas import Replica
from pipeline.audit.values import Condition
from pipeline.findings import Level, Report
from pipeline.ocfl import locking, reading, validating, walking
from pipeline.ocfl.locking import Note
from pipeline.ocfl.reading import ObjectFacts, RootFacts
from pipeline.ocfl.walking import Root
from pipeline.stores import Store, StoreError

HISTORY_CODES = frozenset({"K001", "K002", "K003", "K007"})
"""Of ours, those that are damage or loss."""
MENDABLE_CODES = validating.FIXITY_CODES | {"K007"}


class Judge:
    """Looks at objects of one store, and says what is wrong with them."""

    def __init__(
        self, store: Store, root: Root, record: Record, known: Mapping[str, Known], replica: Replica | None
    ) -> None:
        self._store, self._root, self._record, self._known = store, root, record, known
        self.replica = replica

    def look(self, place: str) -> ObjectFacts:
        """Look at an object, with where it must lie. Raises StoreError."""
        facts = reading.look(self._store, place)
        expected = walking.expected_place(self._root.layout, facts.object_id)
        root = RootFacts(spec_version=self._root.spec_version, layout_path=expected)
        return replace(facts, root=root)

    def judged_as_read(self, facts: ObjectFacts) -> tuple[ObjectFacts, Report, ObjectFacts | None]:
        """Judge an object; if somebody has begun to write a version of it, without that version."""
        report, other = self.judged(facts)
        if report.at(Level.ERROR) and (note := self._note_of(facts.place)):
            facts = reading.without_begun(facts, note.version)
            report, other = self.judged(facts)
        return facts, report, other

    def _note_of(self, place: str) -> Note | None:
        """Whoever deposits an object, or began to and was killed."""
        note = locking.note_of(self._store, place)
        return None if note is None or note.is_mending else note

    def why_not_there_yet(self, facts: ObjectFacts, report: Report) -> str:
        """Why an object has no inventory, if its first deposit has not come to that."""
        known = self._known.get(facts.place)
        if "" in facts.inventories or not report.at(Level.ERROR) or (known and known.head):
            return ""
        note = self._note_of(facts.place)
        return f"is being {note}, and has no version yet; prove it in the next run" if note else ""

    def judged(self, facts: ObjectFacts) -> tuple[Report, ObjectFacts | None]:
        """Judge an object; return the same object of the other copy with what was found."""
        other, trouble = self._other(facts)
        history = History(
            known=self._known.get(facts.place),
            facts=facts,
            versions=self._record.versions_of(facts.place),
            replica=other,
            has_replica=self.replica is not None,
            replica_trouble=trouble,
        )
        return validating.validate_object(facts) + KEPT.judge(history, place=facts.place), other

    def _other(self, facts: ObjectFacts) -> tuple[ObjectFacts | None, str]:
        """The same object in the replica, and why it did not give it."""
        try:
            return (self.replica.object_of(facts) if self.replica else None), ""
        except StoreError as error:
            return None, error.message

    def has_changed(self, before: ObjectFacts) -> bool:
        """True if somebody wrote the object while it was read: what was found may be of neither state."""
        try:
            now = reading.look(self._store, before.place)
        except StoreError:
            return False
        return now.entries != before.entries or version_inventories(now) != version_inventories(before)


def condition_of(report: Report, trouble: Mapping[str, str]) -> Condition:
    """Return what is known of an object; `trouble` is what the store did not give."""
    errors = {each.code for each in report.at(Level.ERROR)}
    if errors & (validating.FIXITY_CODES | HISTORY_CODES):
        return Condition.DAMAGED
    if trouble:
        return Condition.UNREAD
    return Condition.FAULTY if errors else Condition.INTACT
