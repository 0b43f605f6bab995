"""Rules over PREMIS records: links lead somewhere, events can have been, objects are their files."""

from __future__ import annotations

import datetime as dt
import functools
import re
from collections import defaultdict
from collections.abc import Iterator
from typing import NamedTuple

from pipeline.findings import Level, Register, Remark
from pipeline.specs import dates, premis
from pipeline.verify.metadata import sources
from pipeline.verify.metadata.documents import place
from pipeline.verify.metadata.locations import Reach
from pipeline.verify.metadata.mix_rules import RecordFacts, best_fit, remarks
from pipeline.verify.metadata.premis_reading import LINKS, Identifier, PremisEvent

PREMIS = Register[RecordFacts]("PREMIS records")

_RELATED = "relatedObjectIdentifier"


def _events(facts: RecordFacts) -> Iterator[PremisEvent]:
    return (each for each in facts.document.all_premis if isinstance(each, PremisEvent))


# ------------------------------------------------------------------------------------------------- links


class _Broken(NamedTuple):
    """A link that leads nowhere."""

    element: str
    target: Identifier
    lines: list[int]
    other: str
    """The kind of the entity that has the identifier instead."""


def _broken_links(facts: RecordFacts) -> Iterator[_Broken]:
    """Yield every identifier that no entity of the kind has, once, with all lines that name it."""
    identified = facts.knowledge.identified
    found: dict[tuple[str, Identifier], _Broken] = {}
    for entity in facts.document.all_premis:
        for link in entity.links:
            kind = LINKS[link.element]
            if link.target in identified.get(kind, {}):
                continue
            key = (link.element, link.target)
            if key not in found:
                other = next((each for each, known in identified.items() if link.target in known), "")
                found[key] = _Broken(link.element, link.target, [], other)
            found[key].lines.append(link.line)
    yield from found.values()


def _link_remark(facts: RecordFacts, broken: _Broken) -> Remark:
    more = f" (also in {len(broken.lines) - 1:,} more places)" if len(broken.lines) > 1 else ""
    other = f", which is of an {broken.other}" if broken.other else ""
    kind = LINKS[broken.element]
    return Remark(
        place=place(facts.document.path, broken.lines[0], broken.element),
        value=f'"{broken.target}"{other}{more}',
        limit="a rights statement" if kind == "rights" else f"an {kind} of the bundle",
    )


@PREMIS.rule(
    "M060",
    Level.ERROR,
    "A PREMIS link leads nowhere",
    source=sources.PREMIS + "linkingObjectIdentifier, linkingEventIdentifier, linkingAgentIdentifier …",
    advice="Correct type and value of the identifier, or add the record that it names.",
)
def links_lead_somewhere(facts: RecordFacts) -> Iterator[Remark]:
    """Every linking identifier is that of an object, event, agent or rights statement of the bundle."""
    yield from (_link_remark(facts, each) for each in _broken_links(facts) if each.element != _RELATED)


@PREMIS.rule(
    "M061",
    Level.WARNING,
    "A PREMIS relationship names an object that is not described",
    source=sources.PREMIS + "relatedObjectIdentifier",
    advice="Describe the object, or correct the identifier. If the object lies elsewhere on purpose, "
    "nothing need be done.",
)
def relationships_lead_somewhere(facts: RecordFacts) -> Iterator[Remark]:
    """Every related object is described in the bundle."""
    yield from (_link_remark(facts, each) for each in _broken_links(facts) if each.element == _RELATED)


@PREMIS.rule(
    "M062",
    Level.ERROR,
    "Two PREMIS records have the same identifier",
    source=sources.PREMIS + "objectIdentifier, eventIdentifier, agentIdentifier, rightsStatementIdentifier",
    advice="Give each its own identifier: what is linked to one of them cannot be told.",
)
def identifiers_are_unique(facts: RecordFacts) -> Iterator[Remark]:
    """Within a document no two entities of one kind have the same identifier."""
    first: dict[tuple[str, Identifier], str] = {}
    for entity in facts.document.all_premis:
        for identifier in dict.fromkeys(entity.identifiers):
            before = first.setdefault((entity.kind, identifier), entity.place)
            if before != entity.place:
                yield Remark(place=entity.place, value=f'"{identifier}", as {before}', limit="one of its own")


# ------------------------------------------------------------------------------------------------ events


@PREMIS.rule(
    "M065",
    Level.ERROR,
    "The date of an event cannot be read",
    source=sources.PREMIS + "eventDateTime; Extended Date/Time Format",
    advice="Write date and time as 2026-03-09T10:11:12+01:00, or what is known of it by EDTF. The schema "
    "takes any text.",
)
def events_have_dates(facts: RecordFacts) -> Iterator[Remark]:
    """Every event has a date by ISO 8601 or EDTF that the calendar has."""
    for event in _events(facts):
        if not dates.is_edtf(_whole_seconds(event.when)) and not dates.is_w3cdtf(event.when):
            yield Remark(place=event.place, value=f'eventDateTime "{event.when}"', limit="a date or time")


def _whole_seconds(text: str) -> str:
    return re.sub(r"(T\d\d:\d\d:\d\d)[.,]\d+", r"\1", text, count=1)


@PREMIS.rule(
    "M066",
    Level.WARNING,
    "Something befell an object before it was made",
    source=sources.PREMIS + "eventDateTime",
    advice="Look which date is wrong. A camera whose clock was not set is the usual cause.",
)
def events_are_in_order(facts: RecordFacts) -> Iterator[Remark]:
    """No event of an object is earlier than the capture or creation of which the object is the outcome."""
    made = _making(facts)
    for event in _events(facts):
        span = _span(event.when)
        if span is None or event.event_type.lower() in premis.MAKING:
            continue
        later = [made[each] for each in _objects_of(event) if each in made and made[each][0][0] > span[1]]
        if later:
            (_, maker), *_ = later
            more = f" and {len(later) - 1:,} more objects" if len(later) > 1 else ""
            yield Remark(
                place=event.place,
                value=f"{event.event_type} {event.when}{more}",
                limit=f"after {maker.event_type} {maker.when}",
            )


Span = tuple[dt.datetime, dt.datetime]


def _making(facts: RecordFacts) -> dict[Identifier, tuple[Span, PremisEvent]]:
    """Return when each object was made: by an event of which it is the outcome, as far as roles are told."""
    made: dict[Identifier, tuple[Span, PremisEvent]] = {}
    for event in _events(facts):
        span = _span(event.when)
        if span is not None and event.event_type.lower() in premis.MAKING:
            for identifier in _objects_of(event, outcome=True):
                made.setdefault(identifier, (span, event))
    return made


def _objects_of(event: PremisEvent, *, outcome: bool = False) -> Iterator[Identifier]:
    for link in event.links:
        if LINKS[link.element] == "object" and not (outcome and link.role == "source"):
            yield link.target


_INSTANT = re.compile(r"(\d{4}-\d\d-\d\d)(T\d\d:\d\d(?::\d\d(?:\.\d{1,6})?)?)?(Z|[+-]\d\d:\d\d)?", re.ASCII)
_ANYWHERE = dt.timedelta(hours=14)
"""By so much a time without a zone can be off."""


def _span(text: str) -> Span | None:
    """Return the earliest and latest instant that a date can mean; None if it is no day or time."""
    match = _INSTANT.fullmatch(text)
    if match is None:
        return None
    try:
        start = dt.datetime.fromisoformat(match[0] if match[2] else match[1])
        start = start if start.tzinfo else start.replace(tzinfo=dt.UTC)
        slack = dt.timedelta() if match[2] and match[3] else _ANYWHERE
        length = dt.timedelta(seconds=1) if match[2] else dt.timedelta(days=1)
        return start - slack, start + slack + length
    except (ValueError, OverflowError):
        return None


@PREMIS.rule(
    "M067",
    Level.WARNING,
    "An event tells not what it befell, or not by whom",
    source=sources.PREMIS + "linkingObjectIdentifier, linkingAgentIdentifier",
    advice="Link the event to its objects and to the person, organization or software that carried it out.",
)
def events_have_objects_and_agents(facts: RecordFacts) -> Iterator[Remark]:
    """Every event is linked with an object and an agent, from one side or the other."""
    linked: dict[str, set[Identifier]] = defaultdict(set)
    for document in facts.knowledge.documents:
        for entity in document.all_premis:
            linked[entity.kind].update(each.target for each in entity.links if LINKS[each.element] == "event")
    for event in _events(facts):
        own = {LINKS[each.element] for each in event.links}
        wanting = [
            kind
            for kind in ("object", "agent")
            if kind not in own and not linked[kind].intersection(event.identifiers)
        ]
        if wanting:
            value = " and ".join(f"no {kind}" for kind in wanting)
            yield Remark(place=event.place, value=f"{event.event_type}: {value}", limit="one at least")


@PREMIS.rule(
    "M068",
    Level.ERROR,
    "A fixity check has no outcome",
    source=sources.PREMIS + "eventOutcome",
    advice="Write the outcome, success or fail: a check of which nobody knows how it ended proves nothing.",
)
def checks_have_outcomes(facts: RecordFacts) -> Iterator[Remark]:
    """Every event of the type fixity check has an eventOutcome."""
    for event in _events(facts):
        if event.event_type.lower() == premis.FIXITY_CHECK and not event.outcomes:
            yield Remark(place=event.place, value="no eventOutcome", limit="success or fail")


@PREMIS.rule(
    "M070",
    Level.NOTE,
    "An event failed",
    source=sources.PREMIS + "eventOutcome",
    advice="Read what its note says, and whether the failure was put right by a later event.",
)
def events_succeeded(facts: RecordFacts) -> Iterator[Remark]:
    """No event has the outcome fail; a failed fixity check is a warning."""
    for event in _events(facts):
        if premis.FAILED in (each.lower() for each in event.outcomes):
            level = Level.WARNING if event.event_type.lower() == premis.FIXITY_CHECK else None
            yield Remark(place=event.place, value=f"{event.event_type}: fail", limit="success", level=level)


@PREMIS.rule(
    "M069",
    Level.NOTE,
    "Types of events are not of the vocabulary",
    source=sources.VOCABULARIES + ", eventType",
    advice="Use the terms of the vocabulary, so that others understand them: capture, validation, fixity "
    "check …",
)
def event_types_are_known(facts: RecordFacts) -> Iterator[Remark]:
    """Every eventType is a term of the vocabulary of event types."""
    unknown: dict[str, list[PremisEvent]] = defaultdict(list)
    for event in _events(facts):
        if event.event_type.lower() not in premis.EVENT_TYPES.codes:
            unknown[event.event_type].append(event)
    for term, events in unknown.items():
        more = f" in {len(events):,} events" if len(events) > 1 else ""
        yield Remark(place=events[0].place, value=f'"{term}"{more}', limit="a term of the vocabulary")


# ------------------------------------------------------------------------------------------------- files

PREMIS_FILES = Register[RecordFacts]("PREMIS objects and their files")


@PREMIS_FILES.rule(
    "M064",
    Level.ERROR,
    "A PREMIS object says that its file lies where none is",
    source=sources.PREMIS + "contentLocation",
    advice="Correct contentLocationValue, or deliver the file. Locations are relative to the document; "
    "payload folder and base of the bundle were tried too.",
)
def locations_are_there(facts: RecordFacts) -> Iterator[Remark]:
    """Every contentLocation that can be a path in the bundle leads to a file."""
    for entity, _ in facts.object_pairs.values():
        for href in entity.locations:
            located = facts.finder.locate(href, facts.document.folder)
            is_told = facts.finder.is_missing_from_bag(located.path)
            if located.reach is Reach.UNSAFE:
                value = f'"{href}" {located.detail}'
                yield Remark(place=entity.place, value=value, limit="a path inside", level=Level.WARNING)
            elif located.reach is Reach.NOWHERE and _PATH.search(href) and not is_told:
                yield Remark(place=entity.place, value=f"no {located.path}", limit="a file")


_PATH = re.compile(r"/|\.\w{1,5}$")


@PREMIS_FILES.rule(
    "M071",
    Level.NOTE,
    "PREMIS objects describe no file of the bundle",
    source=sources.COMMON_PRACTICE,
    advice="Name the section in the ADMID of the file, or write contentLocation; by identifier and name "
    "no file could be found.",
)
def objects_have_files(facts: RecordFacts) -> Iterator[Remark]:
    """Every object of the kind file belongs to a file, by METS, by its location or by name."""
    without = [
        entity for entity, paths in facts.object_pairs.values() if paths == ("",) and not entity.locations
    ]
    if without:
        more = f", and {len(without) - 1:,} more" if len(without) > 1 else ""
        yield Remark(place=without[0].place, value=f"no file{more}", limit="a file of the bundle")


PREMIS_CONTENTS = Register[RecordFacts]("PREMIS objects and the contents of their files")


@PREMIS_CONTENTS.rule(
    "M063",
    Level.ERROR,
    "A PREMIS object is not its file",
    source=sources.PREMIS + "fixity, size, format",
    advice="Look which is right. If the file is the one that was agreed on, correct the record; if the "
    "digest was right once, the file was changed since.",
)
def objects_are_their_files(facts: RecordFacts) -> Iterator[Remark]:
    """Size, digests and format of an object are those of its file."""
    yield from remarks(
        (entity.place, *best_fit(paths, functools.partial(facts.object_differences, entity)))
        for entity, paths in facts.object_pairs.values()
    )
