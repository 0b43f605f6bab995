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

from pipeline.audit import around, mending, schedule
from pipeline.audit.around import AROUND, Around
from pipeline.audit.history import KEPT, History, version_inventories
from pipeline.audit.judging import MENDABLE_CODES, Judge, condition_of
from pipeline.audit.reading import Reader, Reading, Throttle
from pipeline.audit.record import Known, Record
from pipeline.audit.repairing import Repairs
from pipeline.audit.replicas import Replica, replica_of, storage_root
from pipeline.audit.restoring import Lost
from pipeline.audit.values import Audit, Clock, Condition, Mend, Options, Outcome
from pipeline.errors import Interrupted
from pipeline.findings import Level, Report
from pipeline.ocfl import locking, reading, validating, walking
from pipeline.ocfl.reading import ObjectFacts
from pipeline.ocfl.walking import Found, Hierarchy
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
        self._replica: Replica | None = None
        self._replica_url = self._replica_trouble = ""
        self._counts: Counter[Condition] = Counter()
        self._told: list[Outcome] = []
        self._read_bytes = self._files = self._warned = self._not_told = 0
        self._not_listed = 0
        """Objects that the record knows and that were not seen."""
        self._is_complete = True
        self._judge: Judge
        self._reader: Reader
        self._repairs: Repairs
        self.on_outcome: Callable[[Outcome], None] = lambda _: None

    def run(self, replica: Store | None) -> Audit:
        begun = tuple(locking.unfinished(self._store))
        hierarchy = storage_root(self._store)
        if replica is not None:
            self._take_replica(replica)
        self._known, self._begun = self._record.known(), self._record.begun_mends()
        there = {each.place for each in hierarchy.objects}
        unknown = hierarchy.unknown(self._known.keys() - there)
        self._record.check_store(self._store.url, there | unknown.keys())
        self._record.see(hierarchy.objects, self._started, unknown=unknown)
        last_run = self._record.begin_run(self._started)
        if self._options.repairs:
            mending.clear(self._store, host=self._options.host, pid=self._options.pid)
        self._judge = Judge(self._store, hierarchy.root, self._record, self._known, self._replica)
        lost = self._lost(there, unknown.keys())
        self._not_listed = len(lost) + len(unknown)
        plan = self._plan(hierarchy, last_run, {each.place for each in lost})
        for place, why in sorted(unknown.items()):
            self._tell_unknown(self._known[place], why)
        self._prove(plan, lost)
        return self._finish(hierarchy, plan, last_run, around.look(self._store, hierarchy, begun))

    def _take_replica(self, store: Store) -> None:
        """Look at the other copy; if it does not answer, the store is audited without it."""
        self._replica_url = store.url
        try:
            self._replica = replica_of(store)
        except StoreError as error:
            self._replica_trouble = error.message

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
        half = set(self._half_brought_back()) if self._options.repairs and self._replica else set()
        lost = (self._known.keys() - there | half) - unknown
        return tuple(known for place, known in self._known.items() if place in lost)

    def _half_brought_back(self) -> Iterator[str]:
        """Yield the places where an object's inventory, which comes last, is not there yet."""
        for place, begun in self._begun.items():
            if any(not mend.path for mend, _ in begun):
                with contextlib.suppress(StoreError):
                    if not self._store.exists(f"{place}/{ocfl.INVENTORY}"):
                        yield place

    def _take_lost(self, known: Known) -> None:
        """Tell of a lost object, and bring it back if that is asked for and another copy has it."""
        outcome = self._of_lost(known)
        if self._replica is not None:
            outcome = self._with_copy(outcome, known, self._replica)
        self._tell(outcome)
        if outcome.condition is not Condition.LOST:
            self._record.take(outcome)
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
        if self._options.repairs:
            self._progress.say(f"looking for {known.object_id or known.place} in {replica.store.url}")
        with Reader(replica.store, threads=self._options.threads, throttle=self._throttle) as reader:
            mend = self._repairs.brought_back(lost, reader)
        if mend.hindrance or not self._options.repairs:
            return replace(outcome, mends=(mend,))
        return self._proved_again(outcome, mend)

    def _proved_again(self, lost: Outcome, mend: Mend) -> Outcome:
        """Prove an object that was brought back, as any other."""
        anew = _InHand(found=Found(lost.place, 0, 0))
        self._read_at_once(anew, to_the_end=True)
        if anew.facts is None:
            return replace(lost, mends=(replace(mend, hindrance=anew.trouble[""]),))
        facts = reading.with_digests(anew.facts, anew.digests, unread=anew.trouble, gone=anew.gone)
        report, _ = self._judge.judged(facts)
        condition = condition_of(report, anew.trouble)
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
                self._repairs = Repairs(
                    self._store, self._judge, self._record, reader, self._options, self._started
                )
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

    def _files_of(self, in_hand: _InHand, *, to_the_end: bool = False) -> Iterator[_Item]:
        try:
            facts = self._judge.look(in_hand.found.place)
        except StoreError as error:
            in_hand.trouble[""] = error.message
            return
        in_hand.facts = facts
        in_hand.digests.update(self._part(facts))
        for path, said in reading.claims(facts).items():
            if said.keys() <= in_hand.digests.get(path, {}).keys():
                continue
            if self._is_over() and not to_the_end:
                in_hand.is_unfinished = True
                return
            yield in_hand, self._reader.submit(facts.place, path, said)

    def _read_at_once(self, in_hand: _InHand, *, to_the_end: bool = False) -> None:
        """Look at an object, and read all its content before anything else; `to_the_end` in any budget."""
        items = self._files_of(in_hand, to_the_end=to_the_end)
        begun = [future for _, future in items if future is not None]
        for future in begun:
            self._take_reading(in_hand, future.result())

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
        facts, report, other = self._judge.judged_as_read(facts)
        if why := self._judge.why_not_there_yet(facts, report):
            in_hand.trouble[""] = why
            return self._unknown(in_hand)
        if report.at(Level.ERROR) and self._judge.has_changed(in_hand.facts):
            return self._again(in_hand)
        if not report.codes & MENDABLE_CODES:
            return self._made(facts, report, in_hand, condition_of(report, in_hand.trouble))
        return self._with_mends(facts, report, other, in_hand)

    def _with_mends(
        self, facts: ObjectFacts, before: Report, other: ObjectFacts | None, in_hand: _InHand
    ) -> Outcome:
        assert in_hand.facts is not None
        facts, report, mends = self._repairs.mended(facts, before, other, in_hand.facts)
        condition = condition_of(report, in_hand.trouble)
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
        ended = (self._repairs.ended(each, outcome, at) for each, at in begun)
        if not (done := tuple(each for each in ended if each.is_mended)):
            return outcome
        condition = Condition.MENDED if outcome.condition is Condition.INTACT else outcome.condition
        return replace(outcome, mends=(*outcome.mends, *done), condition=condition)

    def _again(self, in_hand: _InHand) -> Outcome:
        """Prove an object once more, alone, after it changed under our eyes."""
        anew = _InHand(found=in_hand.found)
        self._read_at_once(anew)
        if anew.facts is None or anew.is_unfinished:
            return self._unknown(anew)
        facts = reading.with_digests(anew.facts, anew.digests, unread=anew.trouble, gone=anew.gone)
        facts, report, _ = self._judge.judged_as_read(facts)
        if report.at(Level.ERROR) and self._judge.has_changed(anew.facts):
            anew.trouble[""] = "was changed again and again while it was read; prove it in the next run"
        return self._made(facts, report, anew, condition_of(report, anew.trouble))

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

    # --------------------------------------------------------------------------------------- ending

    def _finish(self, hierarchy: Hierarchy, plan: schedule.Plan, last_run: str, beside: Around) -> Audit:
        took_s = self._clock.seconds() - self._began_s
        ended = max(self._clock.now(), self._started)  # a clock may be put back in the middle
        done = sum(self._counts[each] for each in Condition if each is not Condition.LOST)
        self._record.end_run(ended, read_bytes=self._read_bytes, objects=done)
        strays = around.of_nobody(hierarchy.strays, beside.written | self._record.there())
        root = validating.validate_root(replace(hierarchy, strays=strays, same_ids=self._record.same_ids()))
        return Audit(
            store=self._store.url,
            replica=self._replica_url,
            started=self._started,
            ended=ended,
            took_s=took_s,
            planned=len(plan.objects) + self._not_listed,
            order=plan.order,
            outcomes=tuple(self._told),
            counts=dict(self._counts),
            read_bytes=self._read_bytes,
            files=self._files,
            root=root + self._only_in_replica(hierarchy) + AROUND.judge(beside),
            is_listed=not hierarchy.unlisted and not self._replica_trouble,
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
        """What is told of objects that the replica alone has, or of a replica that does not answer."""
        report = Report()
        if self._replica is None:
            missing = History(known=None, facts=None, replica_trouble=self._replica_trouble)
            return KEPT.judge(missing)
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


def _inventory_digest(facts: ObjectFacts) -> str:
    current = facts.current
    return current.digests[ocfl.SHA512] if current is not None and facts.is_current_proved else ""
