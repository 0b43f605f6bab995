"""One run of an audit: list, choose, prove object by object, record, and say how the store stands.

Objects are looked at by one thread, their content is read by several; a window of files keeps those busy
over the borders of objects, and memory flat. What is done is in the record at once, or within a second: a run
that is killed goes on where it was.
"""

from __future__ import annotations

import contextlib
import datetime as dt
from collections import Counter, deque
from collections.abc import Callable, Iterator, Mapping, Set
from concurrent.futures import Future
from dataclasses import dataclass, field, replace

from pipeline.audit import around, mending, restoring, schedule
from pipeline.audit.around import AROUND, Around
from pipeline.audit.history import KEPT, History, version_inventories
from pipeline.audit.mending import Copy
from pipeline.audit.reading import Reader, Reading, Throttle
from pipeline.audit.record import Known, Record
from pipeline.audit.replicas import Replica, replica_of, storage_root
from pipeline.audit.restoring import Lost
from pipeline.audit.values import Audit, Clock, Condition, Mend, Options, Outcome
from pipeline.errors import Interrupted, PipelineError
from pipeline.findings import Level, Report
from pipeline.ocfl import locking, reading, validating, walking
from pipeline.ocfl.inventory import timestamp
from pipeline.ocfl.locking import Note
from pipeline.ocfl.reading import ObjectFacts, RootFacts
from pipeline.ocfl.walking import Found, Hierarchy, Root
from pipeline.progress import SILENT, Progress
from pipeline.specs import ocfl
from pipeline.stores import Kind, Store, StoreError

WINDOW = 4
"""Files that wait for each thread."""
COMMIT_EVERY_S = 1.0
PARTS_KEPT = dt.timedelta(days=30)
"""How long what was read of an unfinished object counts."""
MOST_WARNED = 1000
"""Intact objects with warnings that are told of one by one: often it is the same of every object."""
HISTORY_CODES = frozenset({"K001", "K002", "K003", "K007"})
"""Of ours, those that are damage or loss."""
MENDABLE_CODES = validating.FIXITY_CODES | {"K007"}


@dataclass(slots=True, kw_only=True)
class _InHand:
    """An object that is being proved."""

    found: Found
    facts: ObjectFacts | None = None
    digests: dict[str, Mapping[str, str]] = field(default_factory=dict)
    trouble: dict[str, str] = field(default_factory=dict)
    gone: list[str] = field(default_factory=list)
    is_unfinished: bool = False
    read_bytes: int = 0
    files: int = 0


_Item = tuple[_InHand, "Future[Reading] | None"]
"""A file that is being read, or the end of its object."""


def audit(
    store: Store,
    record: Record,
    options: Options,
    *,
    clock: Clock,
    replica: Store | None = None,
    progress: Progress = SILENT,
    on_outcome: Callable[[Outcome], None] | None = None,
) -> Audit:
    """Prove objects of a storage root, as many as the options say, and keep what came of it in the record.

    `on_outcome` is told of every object, the intact ones too, which the audit alone counts.

    Raises InputError for what is no storage root, StoreError if not even the root itself can be listed,
    ToolError for the record. What is wrong with single objects and folders is in the audit that is returned.
    """
    run = _Run(store, record, options, clock, progress)
    run.on_outcome = on_outcome or run.on_outcome
    return run.run(replica)


class _Run:
    def __init__(
        self, store: Store, record: Record, options: Options, clock: Clock, progress: Progress
    ) -> None:
        self._store, self._record, self._options = store, record, options
        self._clock, self._progress = clock, progress
        self._started, self._began_s = clock.now(), clock.seconds()
        self._committed_s = self._began_s
        self._throttle = Throttle(options.bytes_per_s, clock)
        self._known: dict[str, Known] = {}
        self._begun: dict[str, tuple[tuple[Mend, dt.datetime], ...]] = {}
        self._root = RootFacts()
        self._layout_root: Root | None = None
        self._replica: Replica | None = None
        self._counts: Counter[Condition] = Counter()
        self._told: list[Outcome] = []
        self._read_bytes = self._files = self._warned = self._not_told = self._brought_back = 0
        self._is_complete = True
        self._reader: Reader
        self.on_outcome: Callable[[Outcome], None] = lambda _: None

    def run(self, replica: Store | None) -> Audit:
        begun = tuple(locking.unfinished(self._store))
        hierarchy = storage_root(self._store)
        if replica is not None:
            self._replica = replica_of(replica)
        self._known, self._begun = self._record.known(), self._record.begun_mends()
        there = {each.place for each in hierarchy.objects}
        unknown = hierarchy.unknown(self._known.keys() - there)
        self._record.check_store(self._store.url, there | unknown.keys())
        self._record.see(hierarchy.objects, self._started, unknown=unknown)
        last_run = self._record.begin_run(self._started)
        if self._options.repairs:
            mending.clear(self._store, host=self._options.host, pid=self._options.pid)
        self._layout_root = hierarchy.root
        lost = self._lost(there, unknown.keys())
        plan = self._plan(hierarchy, last_run, {each.place for each in lost})
        for place, why in sorted(unknown.items()):
            self._tell_unknown(self._known[place], why)
        self._prove(plan, lost)
        return self._finish(hierarchy, plan, last_run, around.look(self._store, hierarchy, begun))

    def _plan(self, hierarchy: Hierarchy, last_run: str, lost: Set[str]) -> schedule.Plan:
        """Choose what is to be proved; first of all what was being mended when a run was killed."""
        chosen = self._chosen(hierarchy, last_run)
        first = tuple(each for each in hierarchy.objects if each.place in self._begun)
        rest = (each for each in chosen.objects if each.place not in self._begun)
        return replace(chosen, objects=tuple(each for each in (*first, *rest) if each.place not in lost))

    def _chosen(self, hierarchy: Hierarchy, last_run: str) -> schedule.Plan:
        return schedule.plan(
            hierarchy.objects,
            self._known,
            self._options,
            now=self._started,
            cursor=self._record.cursor,
            last_run=last_run,
            seed=schedule.sample_seed(self._store.url, self._started),
        )

    def _tell_unknown(self, known: Known, why: str) -> None:
        """Tell of an object that lies where nothing could be listed."""
        outcome = Outcome(
            place=known.place,
            object_id=known.object_id,
            head=known.head,
            condition=Condition.UNREAD,
            when=self._started,
            trouble={"": why},
        )
        self._tell(outcome)
        self._record.take(outcome)

    # ---------------------------------------------------------------------------------------- lost

    def _lost(self, there: Set[str], unknown: Set[str]) -> tuple[Known, ...]:
        """What is not there any more, and what a run was bringing back when it was killed."""
        half = {place for place, begun in self._begun.items() if any(not each.path for each, _ in begun)}
        taken_up = half if self._options.repairs and self._replica else set()
        lost = (self._known.keys() - there | taken_up) - unknown
        return tuple(known for place, known in self._known.items() if place in lost)

    def _take_lost(self, known: Known) -> None:
        """Tell of a lost object, and bring it back if that is asked for and another copy has it."""
        outcome = self._of_lost(known)
        if self._replica is not None:
            outcome = self._with_copy(outcome, known, self._replica)
        self._tell(outcome)
        if outcome.condition is not Condition.LOST:
            self._record.take(outcome)
            self._brought_back += 1
        self._commit_now_and_then()

    def _of_lost(self, known: Known) -> Outcome:
        return Outcome(
            place=known.place,
            object_id=known.object_id,
            head=known.head,
            condition=Condition.LOST,
            report=KEPT.judge(History(known=known, facts=None), place=known.place),
            when=self._started,
        )

    def _with_copy(self, outcome: Outcome, known: Known, replica: Replica) -> Outcome:
        """Say whether the other copy has what was lost; with --repair bring it back, and prove it."""
        lost = Lost(known=known, versions=self._record.versions_of(known.place))
        if self._is_over():
            return replace(outcome, mends=(lost.mend("the budget ran out before it was looked for"),))
        with Reader(replica.store, threads=self._options.threads, throttle=self._throttle) as reader:
            found = restoring.look_for(lost, replica, reader)
        if isinstance(found, Mend):
            return replace(outcome, mends=(found,))
        if not self._options.repairs:
            return replace(outcome, mends=(found.mend,))
        self._progress.say(f"bringing back {known.object_id} from {found.mend.source}")
        try:
            with self._alone(known.place, known.object_id):
                self._record.begin_mend(known.place, found.mend, self._started)
                aside = tuple(restoring.write(found, replica.store, self._store, known.place, self._started))
        except PipelineError as error:
            return replace(outcome, mends=(replace(found.mend, hindrance=error.message),))
        return self._proved_again(outcome, replace(found.mend, kept_aside=", ".join(aside)))

    def _proved_again(self, lost: Outcome, mend: Mend) -> Outcome:
        """Prove an object that was brought back, as any other."""
        anew = _InHand(found=Found(lost.place, 0, 0))
        self._read_at_once(anew)
        if anew.facts is None:
            return replace(lost, mends=(replace(mend, hindrance=anew.trouble[""]),))
        facts = reading.with_digests(anew.facts, anew.digests, unread=anew.trouble, gone=anew.gone)
        report, _ = self._judged(facts)
        condition = _condition(report, anew.trouble)
        if condition is Condition.INTACT:
            condition, mend = Condition.MENDED, replace(mend, is_mended=True)
        else:
            mend = replace(mend, hindrance="what was written could not be proved as it should be")
        files = sum(1 for each in facts.entries.values() if each.kind is Kind.FILE)
        self._record.see_again(Found(facts.place, files, facts.size_bytes))
        made = self._made(facts, report, anew, condition, (mend,))
        return replace(made, before=lost.report)

    # ------------------------------------------------------------------------------------- proving

    def _prove(self, plan: schedule.Plan, lost: tuple[Known, ...]) -> None:
        self._progress.start("objects proved", total=len(plan.objects))
        try:
            with Reader(self._store, threads=self._options.threads, throttle=self._throttle) as reader:
                self._reader = reader
                for each in lost:
                    self._take_lost(each)
                self._read_in_order(plan)
        except KeyboardInterrupt as error:
            done = sum(self._counts.values()) - self._counts[Condition.LOST]
            raise Interrupted(
                f"interrupted; what came of {done:,} objects is in the record, run again to go on"
            ) from error
        finally:
            self._record.commit()
            self._progress.finish()

    def _read_in_order(self, plan: schedule.Plan) -> None:
        window: deque[_Item] = deque()
        for item in self._items(plan.objects):
            window.append(item)
            while len(window) > WINDOW * self._reader.threads:
                self._take(*window.popleft(), goes_round=plan.goes_round)
        while window:
            self._take(*window.popleft(), goes_round=plan.goes_round)
        if plan.goes_round and self._is_complete:
            self._record.set_cursor("")

    def _items(self, objects: tuple[Found, ...]) -> Iterator[_Item]:
        for found in objects:
            if self._is_over():
                self._is_complete = False
                return
            in_hand = _InHand(found=found)
            yield from self._files_of(in_hand)
            yield in_hand, None

    def _files_of(self, in_hand: _InHand) -> Iterator[_Item]:
        try:
            facts = self._look(in_hand.found.place)
        except StoreError as error:
            in_hand.trouble[""] = error.message
            return
        in_hand.facts = facts
        in_hand.digests.update(self._part(facts))
        for path, said in reading.claims(facts).items():
            if said.keys() <= in_hand.digests.get(path, {}).keys():
                continue
            if self._is_over():
                in_hand.is_unfinished = True
                return
            yield in_hand, self._reader.submit(facts.place, path, said)

    def _read_at_once(self, in_hand: _InHand) -> None:
        """Look at an object, and read all its content before anything else."""
        begun = [future for _, future in self._files_of(in_hand) if future is not None]
        for future in begun:
            self._take_reading(in_hand, future.result())

    def _look(self, place: str) -> ObjectFacts:
        facts = reading.look(self._store, place)
        assert self._layout_root is not None
        expected = walking.expected_place(self._layout_root.layout, facts.object_id)
        root = RootFacts(spec_version=self._layout_root.spec_version, layout_path=expected)
        return replace(facts, root=root)

    def _part(self, facts: ObjectFacts) -> dict[str, dict[str, str]]:
        """What an earlier run read of the object before its budget ran out."""
        inventory = _inventory_digest(facts)
        return self._record.part_of(facts.place, inventory, self._started - PARTS_KEPT) if inventory else {}

    def _is_over(self) -> bool:
        budget_s = self._options.budget_s
        return budget_s is not None and self._clock.seconds() - self._began_s >= budget_s

    def _take(self, in_hand: _InHand, future: Future[Reading] | None, *, goes_round: bool) -> None:
        if future is not None:
            self._take_reading(in_hand, future.result())
            return
        try:
            outcome = self._with_begun(self._outcome(in_hand))
        except StoreError as error:  # it was looked at again, and the store did not answer any more
            in_hand.trouble[""] = error.message
            outcome = self._unknown(in_hand)
        self._tell(outcome)
        self._record.take(outcome)
        is_in_order = outcome.place not in self._begun
        if goes_round and is_in_order and outcome.condition is not Condition.UNFINISHED:
            self._record.set_cursor(outcome.place)
        if outcome.condition is Condition.UNFINISHED:
            self._is_complete = False
        self._progress.advance()
        self._commit_now_and_then()

    def _take_reading(self, in_hand: _InHand, read: Reading) -> None:
        in_hand.read_bytes += read.size_bytes
        in_hand.files += 1
        self._read_bytes += read.size_bytes
        self._files += 1
        self._progress.advance(0, size_bytes=read.size_bytes)
        if not read.was_begun:
            in_hand.is_unfinished = True
        elif read.trouble:
            in_hand.trouble[read.path] = read.trouble
        elif read.is_gone:
            in_hand.gone.append(read.path)
        else:
            in_hand.digests[read.path] = read.digests

    def _commit_now_and_then(self) -> None:
        if self._clock.seconds() - self._committed_s >= COMMIT_EVERY_S:
            self._record.commit()
            self._committed_s = self._clock.seconds()

    def _tell(self, outcome: Outcome) -> None:
        self._counts[outcome.condition] += 1
        self.on_outcome(outcome)
        said = outcome.report.at(Level.ERROR) or outcome.report.at(Level.WARNING)
        if outcome.condition is not Condition.INTACT or outcome.mends:
            self._told.append(outcome)
        elif said and self._warned < MOST_WARNED:
            self._told.append(outcome)
            self._warned += 1
        elif said:
            self._not_told += 1

    # ------------------------------------------------------------------------------------- judging

    def _outcome(self, in_hand: _InHand) -> Outcome:
        if in_hand.facts is None:
            return self._unknown(in_hand)
        facts = reading.with_digests(
            in_hand.facts, in_hand.digests, unread=in_hand.trouble, gone=in_hand.gone
        )
        if in_hand.is_unfinished:
            self._keep_part(facts, in_hand)
            return self._made(facts, Report(), in_hand, Condition.UNFINISHED)
        facts, report, other = self._judged_as_read(facts)
        if why := self._why_not_there_yet(facts, report):
            in_hand.trouble[""] = why
            return self._unknown(in_hand)
        if report.at(Level.ERROR) and self._has_changed(in_hand.facts):
            return self._again(in_hand)
        if not report.codes & MENDABLE_CODES:
            return self._made(facts, report, in_hand, _condition(report, in_hand.trouble))
        return self._with_mends(facts, report, other, in_hand)

    def _with_mends(
        self, facts: ObjectFacts, before: Report, other: ObjectFacts | None, in_hand: _InHand
    ) -> Outcome:
        assert in_hand.facts is not None
        facts, report, mends = self._mended(facts, before, other, in_hand.facts)
        condition = _condition(report, in_hand.trouble)
        done = [each for each in mends if each.is_mended]
        if done and condition is Condition.INTACT:
            condition = Condition.MENDED
        outcome = self._made(facts, report, in_hand, condition, mends)
        return replace(outcome, before=before) if done else outcome

    def _with_begun(self, outcome: Outcome) -> Outcome:
        """Add the mends that an earlier run had begun when it was killed, if they came to their end."""
        if outcome.condition in (Condition.UNREAD, Condition.UNFINISHED):
            return outcome
        tried = {each.path for each in outcome.mends}
        begun = [each for each in self._begun.get(outcome.place, ()) if each[0].path not in tried]
        ended = (self._ended(each, outcome, at) for each, at in begun)
        if not (done := tuple(each for each in ended if each.is_mended)):
            return outcome
        condition = Condition.MENDED if outcome.condition is Condition.INTACT else outcome.condition
        return replace(outcome, mends=(*outcome.mends, *done), condition=condition)

    def _ended(self, mend: Mend, outcome: Outcome, began: dt.datetime) -> Mend:
        """What became of a mend that an earlier run had begun. Raises StoreError."""
        if mend.path:
            return mending.ended(mend, self._store, outcome.place, began)
        is_whole = outcome.version_inventories.get(outcome.head) == mend.digest
        return replace(mend, is_mended=is_whole and outcome.condition is Condition.INTACT)

    def _judged_as_read(self, facts: ObjectFacts) -> tuple[ObjectFacts, Report, ObjectFacts | None]:
        """Judge an object; if somebody has begun to write a version of it, without that version."""
        report, other = self._judged(facts)
        if report.at(Level.ERROR) and (note := self._note_of(facts.place)):
            facts = reading.without_begun(facts, note.version)
            report, other = self._judged(facts)
        return facts, report, other

    def _note_of(self, place: str) -> Note | None:
        """Whoever deposits an object, or began to and was killed."""
        note = locking.note_of(self._store, place)
        return None if note is None or note.is_mending else note

    def _why_not_there_yet(self, facts: ObjectFacts, report: Report) -> str:
        """Why an object has no inventory, if its first deposit has not come to that."""
        known = self._known.get(facts.place)
        if "" in facts.inventories or not report.at(Level.ERROR) or (known and known.head):
            return ""
        note = self._note_of(facts.place)
        return f"is being {note}, and has no version yet; prove it in the next run" if note else ""

    def _judged(self, facts: ObjectFacts) -> tuple[Report, ObjectFacts | None]:
        other, trouble = self._other(facts)
        history = History(
            known=self._known.get(facts.place),
            facts=facts,
            versions=self._record.versions_of(facts.place),
            replica=other,
            has_replica=self._replica is not None,
            replica_trouble=trouble,
        )
        return validating.validate_object(facts) + KEPT.judge(history, place=facts.place), other

    def _other(self, facts: ObjectFacts) -> tuple[ObjectFacts | None, str]:
        """The same object in the replica, and why it did not give it."""
        try:
            return (self._replica.object_of(facts) if self._replica else None), ""
        except StoreError as error:
            return None, error.message

    def _has_changed(self, before: ObjectFacts) -> bool:
        """True if somebody wrote the object while it was read: what was found may be of neither state."""
        try:
            now = reading.look(self._store, before.place)
        except StoreError:
            return False
        return now.entries != before.entries or version_inventories(now) != version_inventories(before)

    def _again(self, in_hand: _InHand) -> Outcome:
        """Prove an object once more, alone, after it changed under our eyes."""
        anew = _InHand(found=in_hand.found)
        self._read_at_once(anew)
        if anew.facts is None or anew.is_unfinished:
            return self._unknown(anew)
        facts = reading.with_digests(anew.facts, anew.digests, unread=anew.trouble, gone=anew.gone)
        facts, report, _ = self._judged_as_read(facts)
        if report.at(Level.ERROR) and self._has_changed(anew.facts):
            anew.trouble[""] = "was changed again and again while it was read; prove it in the next run"
        return self._made(facts, report, anew, _condition(report, anew.trouble))

    def _unknown(self, in_hand: _InHand) -> Outcome:
        known = self._known.get(in_hand.found.place)
        return Outcome(
            place=in_hand.found.place,
            object_id=known.object_id if known else "",
            head=known.head if known else "",
            condition=Condition.UNFINISHED if in_hand.is_unfinished else Condition.UNREAD,
            when=self._clock.now(),
            trouble=in_hand.trouble,
        )

    def _made(
        self,
        facts: ObjectFacts,
        report: Report,
        in_hand: _InHand,
        condition: Condition,
        mends: tuple[Mend, ...] = (),
    ) -> Outcome:
        return Outcome(
            place=facts.place,
            object_id=facts.object_id,
            head=facts.head,
            condition=condition,
            report=report,
            when=self._clock.now(),
            files=in_hand.files,
            size_bytes=facts.size_bytes,
            read_bytes=in_hand.read_bytes,
            trouble=dict(in_hand.trouble),
            mends=mends,
            version_inventories=version_inventories(facts),
        )

    def _keep_part(self, facts: ObjectFacts, in_hand: _InHand) -> None:
        if inventory := _inventory_digest(facts):
            self._record.keep_part(facts.place, inventory, in_hand.digests, self._clock.now())

    # ------------------------------------------------------------------------------------- mending

    def _mended(
        self, facts: ObjectFacts, report: Report, other: ObjectFacts | None, seen: ObjectFacts
    ) -> tuple[ObjectFacts, Report, tuple[Mend, ...]]:
        """Look for intact copies; with --repair put them in place, if nobody else writes to the object."""
        own = Copy(store=self._store, facts=facts)
        there = Copy(store=self._replica.store, facts=other) if self._replica and other else None
        found = [mending.with_source(each, own, there) for each in mending.wanted(facts, other)]
        if not self._options.repairs or not any(each.source for each in found):
            return facts, report, tuple(found)
        with contextlib.ExitStack() as stack:
            try:
                stack.enter_context(self._alone(seen.place, seen.object_id))
                if self._has_changed(seen):
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
            report, _other = self._judged(facts)
            own = Copy(store=self._store, facts=facts)
            tried = {each.path for each in done}
            rest = [each for each in mending.wanted(facts, other) if each.path not in tried]
            found = [mending.with_source(each, own, there) for each in rest]
            if not found:
                break
        return facts, report, (*done, *found)

    def _read_again(self, facts: ObjectFacts, paths: set[str]) -> ObjectFacts:
        """Look at the object anew; of content, read what was written and what is newly claimed."""
        now = self._look(facts.place)
        digests = dict(facts.digests or {})
        for path, said in reading.claims(now).items():
            if path in paths or not said.keys() <= digests.get(path, {}).keys():
                if path in facts.unread and path not in paths:
                    continue
                digests[path] = self._reader.read(now.place, path, said).digests
        return reading.with_digests(now, digests, unread=facts.unread)

    # --------------------------------------------------------------------------------------- ending

    def _finish(self, hierarchy: Hierarchy, plan: schedule.Plan, last_run: str, beside: Around) -> Audit:
        took_s = self._clock.seconds() - self._began_s
        ended = max(self._clock.now(), self._started)  # a clock may be put back in the middle
        done = sum(self._counts[each] for each in Condition if each is not Condition.LOST)
        self._record.end_run(ended, read_bytes=self._read_bytes, objects=done)
        strays = around.of_nobody(hierarchy.strays, beside)
        root = validating.validate_root(replace(hierarchy, strays=strays, same_ids=self._record.same_ids()))
        return Audit(
            store=self._store.url,
            replica=self._replica.store.url if self._replica else "",
            started=self._started,
            ended=ended,
            took_s=took_s,
            planned=len(plan.objects) + self._brought_back,
            order=plan.order,
            outcomes=tuple(self._told),
            counts=dict(self._counts),
            read_bytes=self._read_bytes,
            files=self._files,
            root=root + self._only_in_replica(hierarchy) + AROUND.judge(beside),
            is_listed=not hierarchy.unlisted,
            standing=schedule.standing(
                self._record.known().values(),
                self._options,
                now=ended,
                read_bytes=self._read_bytes,
                took_s=took_s,
                last_run=last_run,
            ),
            not_told=self._not_told,
            is_complete=self._is_complete,
        )

    def _only_in_replica(self, hierarchy: Hierarchy) -> Report:
        """What is told of objects that the replica alone has."""
        report = Report()
        if self._replica is None:
            return report
        known = self._record.known().values()  # what was lost is told by itself
        ids = {each.object_id for each in known if each.object_id}
        if self._replica.root.layout != hierarchy.root.layout and len(ids) < len(known):
            return report  # where its objects lie says nothing, and not all identifiers are known yet
        for place in self._replica.places_of_others({each.place for each in known}, ids):
            with contextlib.suppress(StoreError):
                other = reading.look(self._replica.store, place)
                here = walking.expected_place(hierarchy.root.layout, other.object_id) or place
                if hierarchy.unknown([here]):
                    continue
                history = History(known=None, facts=None, replica=other, has_replica=True)
                found = KEPT.judge(history, place=place).findings
                report += Report(findings=tuple(replace(each, place=place) for each in found))
        return report


def _condition(report: Report, trouble: Mapping[str, str]) -> Condition:
    errors = {each.code for each in report.at(Level.ERROR)}
    if errors & (validating.FIXITY_CODES | HISTORY_CODES):
        return Condition.DAMAGED
    if trouble:
        return Condition.UNREAD
    return Condition.FAULTY if errors else Condition.INTACT


def _inventory_digest(facts: ObjectFacts) -> str:
    current = facts.current
    return current.digests[ocfl.SHA512] if current is not None and facts.is_current_proved else ""
