"""Damage and loss put right from the other copy, when that is asked for; else what could be.

Every act is noted in the record before it is begun, and done while nobody else writes the object.
"""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Iterator
from dataclasses import replace

from pipeline.audit import mending, restoring
from pipeline.audit.judging import Judge
from pipeline.audit.mending import Copy
from pipeline.audit.reading import Reader
from pipeline.audit.record import Record
from pipeline.audit.restoring import Lost
from pipeline.audit.values import Condition, Mend, Options, Outcome
from pipeline.errors import PipelineError
from pipeline.findings import Report
from pipeline.ocfl import locking, reading
from pipeline.ocfl.inventory import timestamp
from pipeline.ocfl.locking import Note
from pipeline.ocfl.reading import ObjectFacts
from pipeline.stores import Store, StoreError


class Repairs:
    """What another copy can mend in the objects of one store. `reader` reads that store."""

    def __init__(
        self,
        store: Store,
        judge: Judge,
        record: Record,
        reader: Reader,
        options: Options,
        started: dt.datetime,
    ) -> None:
        self._store, self._judge, self._record, self._reader = store, judge, record, reader
        self._options, self._started = options, started

    def mended(
        self, facts: ObjectFacts, report: Report, other: ObjectFacts | None, seen: ObjectFacts
    ) -> tuple[ObjectFacts, Report, tuple[Mend, ...]]:
        """Look for intact copies; with --repair put them in place, if nobody else writes to the object."""
        own = Copy(store=self._store, facts=facts)
        replica = self._judge.replica
        there = Copy(store=replica.store, facts=other) if replica and other else None
        found = [mending.with_source(each, own, there) for each in mending.wanted(facts, other)]
        if not self._options.repairs or not any(each.source for each in found):
            return facts, report, tuple(found)
        with contextlib.ExitStack() as stack:
            try:
                stack.enter_context(self._alone(seen.place, seen.object_id))
                if self._judge.has_changed(seen):
                    address = f"{self._store.url}/{seen.place}"
                    raise StoreError(f"{address}: was written meanwhile; audit it again")
            except StoreError as error:
                return facts, report, tuple(replace(each, hindrance=error.message) for each in found)
            return self._put_right(facts, report, found, own, there)

    @contextlib.contextmanager
    def _alone(self, place: str, object_id: str) -> Iterator[None]:
        """Keep others from writing an object. Raises StoreError if somebody does, or began to."""
        note = Note(
            object_id=object_id,
            place=place,
            host=self._options.host,
            pid=self._options.pid,
            started=timestamp(self._started),
            is_mending=True,
        )
        if locking.note_of(self._store, place):
            raise StoreError(
                f"{self._store.url}/{place}: somebody began to write it, and has not ended; let "
                "the next deposit finish it, then mend it"
            )
        with locking.held(self._store, note):
            yield

    def _put_right(
        self, facts: ObjectFacts, report: Report, found: list[Mend], own: Copy, there: Copy | None
    ) -> tuple[ObjectFacts, Report, tuple[Mend, ...]]:
        """Put intact copies in their places, inventories first, and judge anew."""
        other = there.facts if there else None
        done: list[Mend] = []
        for _ in range(2):  # a mended inventory may show what else is damaged
            for each in found:
                if each.source:
                    self._record.begin_mend(facts.place, each, self._started)
                done.append(mending.mended(each, own, there, self._started))
            facts = self._read_again(facts, {each.path for each in done})
            report, _other = self._judge.judged(facts)
            own = Copy(store=self._store, facts=facts)
            tried = {each.path for each in done}
            rest = [each for each in mending.wanted(facts, other) if each.path not in tried]
            found = [mending.with_source(each, own, there) for each in rest]
            if not found:
                break
        return facts, report, (*done, *found)

    def _read_again(self, facts: ObjectFacts, paths: set[str]) -> ObjectFacts:
        """Look at the object anew; of content, read what was written and what is newly claimed."""
        now = self._judge.look(facts.place)
        digests = dict(facts.digests or {})
        for path, said in reading.claims(now).items():
            if path in paths or not said.keys() <= digests.get(path, {}).keys():
                if path in facts.unread and path not in paths:
                    continue
                digests[path] = self._reader.read(now.place, path, said).digests
        return reading.with_digests(now, digests, unread=facts.unread)

    def brought_back(self, lost: Lost, reader: Reader) -> Mend:
        """Say whether the other copy has what was lost; with --repair write it, still to be proved here.

        `reader` reads the other copy. A mend without a hindrance was written, if that was asked for.
        """
        replica = self._judge.replica
        assert replica is not None
        found = restoring.look_for(lost, replica, reader)
        if isinstance(found, Mend) or not self._options.repairs:
            return found if isinstance(found, Mend) else found.mend
        place = lost.known.place
        try:
            with self._alone(place, lost.known.object_id):
                self._record.begin_mend(place, found.mend, self._started)
                aside = tuple(restoring.write(found, replica.store, self._store, place, self._started))
        except PipelineError as error:
            return replace(found.mend, hindrance=error.message)
        return replace(found.mend, kept_aside=", ".join(aside))

    def ended(self, mend: Mend, outcome: Outcome, began: dt.datetime) -> Mend:
        """What became of a mend that an earlier run had begun. Raises StoreError."""
        if mend.path:
            return mending.ended(mend, self._store, outcome.place, began)
        is_whole = outcome.version_inventories.get(outcome.head) == mend.digest
        return replace(mend, is_mended=is_whole and outcome.condition is Condition.INTACT)
