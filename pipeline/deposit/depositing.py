"""One deposit: a bag becomes the next version of its object, is proved in the store, and then counts."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import shlex
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import BinaryIO

from pipeline.deposit import events, planning
from pipeline.deposit.bags import Bag
from pipeline.deposit.events import Depositor, Happened
from pipeline.deposit.later import MOST_BYTES, LaterEvents, identifiers_in
from pipeline.deposit.planning import BAG, Changes, Details, Plan
from pipeline.deposit.proving import digest_of, prove
from pipeline.deposit.recovering import recover
from pipeline.deposit.roots import StorageRoot
from pipeline.deposit.writing import FolderWriting, ObjectWriting, Writing
from pipeline.errors import FixityError, InputError, LostLock, StoreError
from pipeline.findings import Level
from pipeline.ocfl import inventory, locking, reading
from pipeline.ocfl.inventory import Inventory, User
from pipeline.ocfl.locking import Held, Note
from pipeline.ocfl.validating import validate_object
from pipeline.progress import SILENT, Progress
from pipeline.specs import bagit, ocfl
from pipeline.specs.bagit import Label
from pipeline.stores import FolderStore, ObjectStore, Store

_MOST_INFO_BYTES = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """Everything about a deposit but the bag and the store."""

    object_id: str
    is_id_given: bool = False
    """The person named the object: another kind of bag may then follow in it."""
    depositor: Depositor
    software_version: str
    verified: str = ""
    """What verification said of the bag."""
    message: str = ""
    """The person's own words, before what is said of the bag."""
    now: dt.datetime
    host: str
    pid: int
    take_over: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Deposited:
    """What came of a deposit."""

    object_id: str
    place: str
    """Of the object, in the store."""
    version: str
    is_new: bool
    """False if the object's last version holds the same bag: then nothing was done."""
    created: str
    """When the version was made."""
    inventory_digest: str
    """SHA-512 or SHA-256 of the object's inventory: stands for every byte of the version."""
    digest_algorithm: str
    files: int
    """Of the bag."""
    size_bytes: int
    written_files: int = 0
    """Whose bytes were new to the object."""
    written_bytes: int = 0
    changes: Changes
    events: int = 0
    """How many were added, if nothing else was."""
    remarks: tuple[str, ...] = ()


def deposit(bag: Bag, root: StorageRoot, request: Request, progress: Progress = SILENT) -> Deposited:
    """Deposit a verified bag.

    Raises InputError for a bag that cannot be stored or that changed, FixityError if the store, or what came
    into it, is not what it should be, StoreError if the store refuses, is full, does not answer, or somebody
    else deposits the same object. Whatever is raised, the object is as it was before, or whole and newer.
    """
    place = root.layout.path(request.object_id)
    with _in_hand(root.store, place, request) as (held, known, remarks):
        if known:
            _refuse_other_kind(bag, root.store, place, known.inventory, request)
        algorithm = known.inventory.digest_algorithm if known else ocfl.SHA512
        plan = planning.plan(
            _digests(bag, algorithm),
            known.inventory if known else None,
            request.object_id,
            _details(bag, request),
        )
        if plan is not None:
            _perform(plan, bag, root.store, place, held, known, progress)
            done = _done(bag, place, plan)
        else:
            assert known is not None
            done = _nothing(bag, root.store, place, known)
    return replace(done, remarks=remarks)


def add_events(
    events: LaterEvents, root: StorageRoot, request: Request, progress: Progress = SILENT
) -> Deposited:
    """Put an object's later events beside its bag, in a new version; those that it has already are left out.

    What is written is read back; the bag is looked for, and not read again. Raises as `deposit` does, and
    InputError if there is no such object.
    """
    place = root.layout.path(request.object_id)
    with _in_hand(root.store, place, request) as (held, known, remarks):
        if known is None:
            raise InputError(
                f'"{request.object_id}": is told of in the events, and is not in {root.store.url}; give the '
                "store that it is in"
            )
        files = _bag_of(root.store, place, known.inventory)
        added = events.of(request.object_id, known=_known_events(root.store, place, known.inventory))
        done = Deposited(
            object_id=request.object_id,
            place=place,
            version=known.inventory.head,
            is_new=False,
            created=known.inventory.versions[known.inventory.head].created,
            inventory_digest=known.digest,
            digest_algorithm=known.inventory.digest_algorithm,
            files=len(files),
            size_bytes=_size_of_bag(known),
            changes=Changes(kept=len(files)),
            remarks=remarks,
        )
        if not added:
            return done
        data = events.document(request.object_id, added)
        plan = planning.plan_beside(known.inventory, _details_of_events(data, len(added), request))
        _perform(plan, _NO_BAG, root.store, place, held, known, progress)
    return replace(
        done,
        version=plan.version,
        is_new=True,
        created=plan.inventory.versions[plan.version].created,
        inventory_digest=_inventory_digest(plan),
        written_files=len(plan.documents),
        written_bytes=sum(map(len, plan.documents.values())),
        events=len(added),
    )


@contextlib.contextmanager
def _in_hand(
    store: Store, place: str, request: Request
) -> Iterator[tuple[Held, Current | None, tuple[str, ...]]]:
    """Lock an object, bring it to a whole state, and give it with what is to be said of that."""
    note = Note(
        object_id=request.object_id,
        place=place,
        host=request.host,
        pid=request.pid,
        started=inventory.timestamp(request.now),
    )
    with locking.held(store, note, take_over=request.take_over) as held:
        begun = held.leftover.version if held.leftover else ""
        remarks = [*_unguarded(held), *recover(store, place, begun=begun)]
        known = current(store, place, request.object_id)
        if known:
            remarks += _backwards(known.inventory, note.started)
        yield held, known, tuple(remarks)


def finish_abandoned(store: Store, *, host: str, now: dt.datetime) -> Iterator[str]:
    """Finish or take away what killed deposits left in a store, of any object; yield what was done.

    Storage that does not keep two writers apart is left to the next deposit of the same object.
    """
    for note in tuple(locking.abandoned(store, host=host)):
        with contextlib.suppress(StoreError):  # somebody is quicker; or the next deposit of it will tell
            mine = replace(
                note, host=host, pid=os.getpid(), started=inventory.timestamp(now), version="", is_left=False
            )
            with locking.held(store, mine) as held:
                begun = held.leftover.version if held.leftover else ""
                if held.is_guarded:
                    yield from recover(store, note.place, begun=begun)
                else:
                    held.announce(begun)
                    held.is_left = True
    if isinstance(store, FolderStore):
        store.tidy()


def _unguarded(held: Held) -> Iterator[str]:
    if not held.is_guarded:
        yield (
            "this store does not keep two writers apart (no conditional writes); let one machine at a time "
            "deposit in it"
        )


def _backwards(known: Inventory, started: str) -> Iterator[str]:
    before = known.versions[known.head].created
    if _moment(started) < _moment(before):
        yield (
            f"{known.head} was made at {before}, later than this machine's clock says now ({started}); set it"
        )


def _moment(created: str) -> dt.datetime:
    return dt.datetime.fromisoformat(created.upper())


# ---------------------------------------------------------------------------------------- what is there


@dataclass(frozen=True, slots=True, kw_only=True)
class Current:
    """An object as it is in the store."""

    inventory: Inventory
    digest: str
    """Of the inventory's bytes, by its own algorithm."""
    sizes: Mapping[str, int]
    """Size in bytes of every file, by path in the object."""


def current(store: Store, place: str, object_id: str) -> Current | None:
    """Return an object whose structure is whole; None if there is none at `place`.

    Raises FixityError for one that is damaged, so far as its structure shows, StoreError for another one.
    """
    facts = reading.look(store, place)
    if not facts.entries:
        return None
    errors = validate_object(facts).at(Level.ERROR)
    known = reading.sound(facts)
    if errors or known is None:
        first = f"{errors[0].code}, {errors[0].place}: {errors[0].title}" if errors else "its inventory"
        raise FixityError(
            f"{store.url}/{place}: the object is not whole ({first}); nothing is written to it: see what is "
            f"wrong with: solander audit {shlex.quote(store.url)}"
        )
    if known.id != object_id:
        raise StoreError(f'{store.url}/{place}: holds the object "{known.id}", expected "{object_id}"')
    return Current(
        inventory=known,
        digest=facts.inventories[""].digests[known.digest_algorithm],
        sizes={path: each.size_bytes or 0 for path, each in facts.entries.items()},
    )


def _refuse_other_kind(bag: Bag, store: Store, place: str, known: Inventory, request: Request) -> None:
    """Refuse what is no later state of the bag in the object, but another bag of the same item."""
    before = _bag_of(store, place, known)
    given = set(bag.values(Label.PROFILE_IDENTIFIER))
    told = _stored_profiles(store, place, known) if bagit.INFO_FILE in before else set()
    if given and told and not given & told and not request.is_id_given:
        raise InputError(
            f"{bag.name}: is a bag of another kind than {known.head} of {known.id}: found the profile "
            f"{', '.join(sorted(given))}, expected {', '.join(sorted(told))}; deposit it under an identifier "
            "of its own with --id, or name the object with --id if it is meant"
        )


def _bag_of(store: Store, place: str, known: Inventory) -> dict[str, str]:
    """Return the bag in the last version, path → digest. Raises InputError if there is none as ours are."""
    bag = planning.bag_in(known, known.head)
    if not bag:
        raise InputError(
            f"{store.url}/{place}: the object was written by something else: it has nothing below {BAG}/; "
            "deposit under another identifier with --id"
        )
    return bag


def _stored_profiles(store: Store, place: str, known: Inventory) -> set[str]:
    content = known.content_of(known.head)[f"{BAG}/{bagit.INFO_FILE}"]
    data = store.read(f"{place}/{content}", limit_bytes=_MOST_INFO_BYTES)
    elements = (line.partition(":") for line in data.decode("utf-8", errors="replace").splitlines())
    wanted = Label.PROFILE_IDENTIFIER.lower()
    return {value.strip() for label, _, value in elements if label.strip().lower() == wanted}


def _digests(bag: Bag, algorithm: str) -> dict[str, str]:
    """Return path → digest; what no manifest tells is read."""
    told = bag.digests.get(algorithm, {})
    return {path: told.get(path) or _read_digest(bag, path, algorithm) for path in bag.sizes}


def _read_digest(bag: Bag, path: str, algorithm: str) -> str:
    try:
        with bag.open(path) as file:
            return digest_of(file, algorithm)[1]
    except OSError as error:
        raise InputError(f"{bag.name}/{path}: cannot be read ({error.strerror or error})") from error


# ------------------------------------------------------------------------------------------- the version


def _details(bag: Bag, request: Request) -> Details:
    created = inventory.timestamp(request.now)

    def document(version: str, changes: Changes) -> bytes:
        return events.document(
            Happened(
                object_id=request.object_id,
                version=version,
                bag_name=bag.name,
                when=created,
                depositor=request.depositor,
                software_version=request.software_version,
                verified=request.verified,
                changes=str(changes),
            )
        )

    return Details(
        created=created,
        user=User(name=request.depositor.name, address=request.depositor.address),
        message=lambda changes: _message(bag, request, changes),
        events=document,
    )


_TOLD = (
    Label.EXTERNAL_IDENTIFIER,
    Label.BAG_GROUP_IDENTIFIER,
    Label.BAGGING_DATE,
    Label.PAYLOAD_OXUM,
    Label.PROFILE_IDENTIFIER,
)


def _message(bag: Bag, request: Request, changes: Changes) -> str:
    """What a version says of itself: the person's words, what changed, what the bag says of itself."""
    lines = [
        *([request.message] if request.message else []),
        f"Bag {bag.name}: {changes}",
        *(f"{label}: {value}" for label in _TOLD for value in bag.values(label)),
    ]
    return "\n".join(lines)


def _no_file(path: str) -> BinaryIO:
    raise FileNotFoundError(path)


_NO_BAG = Bag(name="", sizes={}, digests={}, info=(), open=_no_file)


def _details_of_events(data: bytes, number: int, request: Request) -> Details:
    counted = f"{number:,} events" if number != 1 else "1 event"
    said = f"{counted} of the object added, the bag as it was"
    return Details(
        created=inventory.timestamp(request.now),
        user=User(name=request.depositor.name, address=request.depositor.address),
        message=lambda _: "\n".join(filter(None, (request.message, said))),
        events=lambda *_: data,
    )


def _known_events(store: Store, place: str, known: Inventory) -> frozenset[str]:
    """The identifiers of the events that stand beside the bag already."""
    start = f"{planning.EVENTS}/"
    content = {
        path: stored for path, stored in known.content_of(known.head).items() if path.startswith(start)
    }
    found: frozenset[str] = frozenset()
    for path, stored in content.items():
        if path.endswith(".xml"):
            data = store.read(f"{place}/{stored}", limit_bytes=MOST_BYTES)
            found |= identifiers_in(data, f"{store.url}/{place}/{stored}")
    return found


def _size_of_bag(known: Current) -> int:
    content = known.inventory.content_of(known.inventory.head)
    start = f"{planning.BAG}/"
    return sum(known.sizes.get(stored, 0) for path, stored in content.items() if path.startswith(start))


def _perform(
    plan: Plan,
    bag: Bag,
    store: Store,
    place: str,
    held: Held,
    known: Current | None,
    progress: Progress,
) -> None:
    _refuse_unreadable(plan)
    writing = _writing(store, place, held)
    held.announce(plan.version)
    try:
        writing.write(plan, bag, progress)
        _prove(plan, writing, place, progress)
        _refuse_change(store, place, known)
        held.check()
    except LostLock:
        raise
    except BaseException:
        held.is_left = True
        writing.undo(plan)
        held.is_left = False
        raise
    held.is_left = True
    writing.commit(plan)
    held.is_left = False
    _confirm(store, place, plan)


def _writing(store: Store, place: str, held: Held) -> Writing:
    if isinstance(store, FolderStore):
        assert held.work is not None
        return FolderWriting(store, place, held.work)
    assert isinstance(store, ObjectStore)
    return ObjectWriting(store, place)


def _refuse_unreadable(plan: Plan) -> None:
    """Refuse a version whose inventory nobody here could read again: it would end the object."""
    try:
        inventory.parse(inventory.to_bytes(plan.inventory))
    except InputError as error:
        raise InputError(
            f"{plan.inventory.id}: has no room for {plan.version}, for every version lists all its files "
            f"anew ({error.message}); deposit the bag as a new object with --id"
        ) from error


def _prove(plan: Plan, writing: Writing, place: str, progress: Progress) -> None:
    """Read all files of the version back: those that are new, and those that it has from earlier ones.

    If the bag is as it was, and only events are new, these alone: the bag does not rest on anything new.
    """
    state = plan.inventory.versions[plan.version].state
    expected = {plan.inventory.manifest[digest][0]: digest for digest in state}
    if plan.is_bag_kept:
        expected = {path: digest for path, digest in expected.items() if path in plan.documents}
    prove(
        expected,
        writing.open,
        plan.inventory.digest_algorithm,
        what=f"{plan.inventory.id}, {plan.version}",
        advice="the bag changed after it was verified, or the store fails: look at both, and audit the store",
        progress=progress,
    )


def _refuse_change(store: Store, place: str, known: Current | None) -> None:
    """Refuse to go on if somebody without our lock wrote to the object meanwhile."""
    if known is None:
        is_same = not store.exists(f"{place}/{ocfl.INVENTORY}")
    else:
        data = store.read(f"{place}/{ocfl.INVENTORY}", limit_bytes=inventory.MOST_BYTES)
        is_same = inventory.digest_of(data, known.inventory.digest_algorithm) == known.digest
    if not is_same:
        raise StoreError(
            f"{store.url}/{place}: somebody else wrote to the object meanwhile; nothing was added: try again"
        )


def _confirm(store: Store, place: str, plan: Plan) -> None:
    """Read the object as anyone would: it is whole, and its inventory is the one that was written."""
    found = current(store, place, plan.inventory.id)
    if found is None or found.digest != _inventory_digest(plan):
        raise FixityError(
            f"{store.url}/{place}: the inventory is not the one that was written; see what is wrong with: "
            f"solander audit {shlex.quote(store.url)}"
        )


# -------------------------------------------------------------------------------------------- the result


def _inventory_digest(plan: Plan) -> str:
    return inventory.digest_of(inventory.to_bytes(plan.inventory), plan.inventory.digest_algorithm)


def _done(bag: Bag, place: str, plan: Plan) -> Deposited:
    written = {path: bag.sizes[path] for path in plan.copied.values()}
    return Deposited(
        object_id=plan.inventory.id,
        place=place,
        version=plan.version,
        is_new=True,
        created=plan.inventory.versions[plan.version].created,
        inventory_digest=_inventory_digest(plan),
        digest_algorithm=plan.inventory.digest_algorithm,
        files=len(bag.sizes),
        size_bytes=bag.size_bytes,
        written_files=len(written),
        written_bytes=sum(written.values()),
        changes=plan.changes,
    )


def _nothing(bag: Bag, store: Store, place: str, known: Current) -> Deposited:
    """Say that the bag is there already; its files are looked for, and not read again. Raises FixityError."""
    head = known.inventory.head
    content = known.inventory.content_of(head)
    for path, size_bytes in bag.sizes.items():
        stored = content[f"{BAG}/{path}"]
        if known.sizes.get(stored) != size_bytes:
            raise FixityError(
                f"{store.url}/{place}/{stored}: is not there as it was deposited; see what is wrong with: "
                f"solander audit {shlex.quote(store.url)}"
            )
    return Deposited(
        object_id=known.inventory.id,
        place=place,
        version=head,
        is_new=False,
        created=known.inventory.versions[head].created,
        inventory_digest=known.digest,
        digest_algorithm=known.inventory.digest_algorithm,
        files=len(bag.sizes),
        size_bytes=bag.size_bytes,
        changes=Changes(kept=len(bag.sizes)),
    )
