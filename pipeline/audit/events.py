"""PREMIS of an audit: a fixity check of each object that was proved, a recovery of each file that was mended.

Objects are named by their identifiers, versions and content paths as they stand in the storage root.
Identifiers of events are made from their content: the same audit gives the same bytes.

Source: PREMIS data dictionary 3.0, entity event; terms in `pipeline.specs.premis`.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict

from pipeline import premisdoc
from pipeline.audit.values import Condition, Mend, Outcome
from pipeline.findings import Level
from pipeline.model import Agent, AgentKind, Event
from pipeline.specs import premis
from pipeline.xmldoc import Element

AGENT = "software/solander"
_NAMESPACE = uuid.UUID("0f6f1d0e-6f2a-5d2b-9b1b-3c1d3f0a7a55")
"""Our own, so that no other name-based UUID is ever equal."""

CHECKED = (Condition.INTACT, Condition.MENDED, Condition.DAMAGED, Condition.FAULTY, Condition.LOST)
"""What a fixity check can find. What could not be read, or was not finished, was not checked."""
_RECOVERY = "recovery"


def premis_document(events: Sequence[Event], version: str) -> bytes:
    """Return events as a PREMIS document with the objects that they befell; there must be one at least."""
    linked: dict[str, list[Event]] = {}
    for event in events:
        for name, _ in event.objects:
            linked.setdefault(name, []).append(event)
    agent = Agent(identifier=AGENT, kind=AgentKind.SOFTWARE, name="solander", version=version)
    objects = (_object(name, befell) for name, befell in linked.items())
    return premisdoc.document(objects, events, [agent])


def _object(name: str, events: Iterable[Event]) -> Element:
    return premisdoc.object_record(
        premis.INTELLECTUAL_ENTITY,
        premisdoc.identifier("objectIdentifier", premis.LOCAL, name),
        *map(premisdoc.event_link, events),
    )


def to_text(event: Event) -> str:
    """Return an event as the record keeps it."""
    return json.dumps(asdict(event), ensure_ascii=False, sort_keys=True)


def from_text(text: str) -> Event:
    """Return the event that the record kept."""
    kept = json.loads(text)
    pairs = {name: tuple(map(tuple, kept[name])) for name in ("agents", "objects")}
    return Event(**{**kept, **pairs, "outcome_details": tuple(kept["outcome_details"])})


def events_of(outcome: Outcome, store: str) -> Iterator[Event]:
    """Yield the events of one object; where files were mended, it was checked before and after."""
    if (earlier := outcome.earlier) is not None:
        yield _fixity_check(earlier, store)
    yield from (_recovery(outcome, each, store) for each in outcome.mends if each.is_mended)
    if outcome.condition in CHECKED:
        yield _fixity_check(outcome, store)


def _fixity_check(outcome: Outcome, store: str) -> Event:
    errors = outcome.report.at(Level.ERROR)
    codes = ", ".join(sorted({each.code for each in errors}))
    note = f"{outcome.condition}: {codes}" if codes else f"{outcome.condition}, {outcome.head}"
    if damaged := [each.place for each in errors[:_MOST_PLACES]]:
        note = f"{note}; {', '.join(place or 'the object' for place in damaged)}"
    return _event(
        outcome,
        kind=premis.FIXITY_CHECK,
        detail=f"structure, inventories and content proved in {store}, {outcome.place}",
        outcome_term=_OUTCOMES.get(outcome.condition, premis.FAILED),
        note=note,
    )


_MOST_PLACES = 20
_OUTCOMES = {Condition.INTACT: premis.PASSED, Condition.MENDED: premis.PASSED, Condition.FAULTY: "warning"}
"""Of an object that is faulty every byte is proved; its structure is not as it must be."""


def _recovery(outcome: Outcome, mend: Mend, store: str) -> Event:
    kept = f"; what was in its place is kept as {mend.kept_aside}" if mend.kept_aside else ""
    of = "" if mend.path else " of its inventory"
    what = mend.path or "the whole object"
    return _event(
        outcome,
        kind=_RECOVERY,
        detail=f"{what} in {store}, {outcome.place} brought back from {mend.source}",
        outcome_term=premis.PASSED,
        note=f"{mend.algorithm} {mend.digest}{of}{kept}",
    )


def _event(outcome: Outcome, *, kind: str, detail: str, outcome_term: str, note: str) -> Event:
    name, when = _name(outcome), outcome.when.isoformat(timespec="seconds")
    made_of = "\n".join((kind, when, name, detail, outcome_term, note))
    return Event(
        identifier=str(uuid.uuid5(_NAMESPACE, made_of)),
        kind=kind,
        when=when,
        detail=detail,
        outcome=outcome_term,
        outcome_note=note,
        agents=((AGENT, "executing program"),),
        objects=((name, "source"),),
    )


def _name(outcome: Outcome) -> str:
    return outcome.object_id or outcome.place
