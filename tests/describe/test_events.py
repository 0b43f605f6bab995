"""Events and agents: what befell the item, with identifiers that repeat."""

from __future__ import annotations

import dataclasses
import datetime as dt
import uuid

from pipeline.describe import events
from pipeline.findings import Finding, Level, Report
from pipeline.model import CaptureFacts, Care, Event, Session
from tests.describe import make_items, make_records
from tests.describe.make_items import NOW, World
from tests.describe.test_mets import log_of

TERMS = {
    "capture",
    "message digest calculation",
    "metadata extraction",
    "creation",
    "validation",
    "information package creation",
}


def of_kind(log: events.EventLog, kind: str) -> list[Event]:
    return [event for event in log.events if event.kind == kind]


def with_register(world: World) -> World:
    session = Session(
        identifier="s1",
        date=dt.date(2026, 3, 9),
        operator="A. Operator",
        camera="camera-2",
        lens="lens-120",
        lights=("flash-1",),
        support="cradle-1",
    )
    settings = dataclasses.replace(
        world.settings, unit_name="Aldermoor imaging unit", equipment=make_records.SETTINGS.equipment
    )
    return dataclasses.replace(world.changed(sessions=(session,)), settings=settings)


def test_an_item_has_every_kind_of_event_and_each_object_its_own() -> None:
    world = make_items.codex()
    log = log_of(world)
    assert {event.kind for event in log.events} == TERMS
    by_object = log.by_object()
    for frame in world.item.frames_of():
        kinds = [event.kind for event in by_object[events.master_id(world.item, frame)]]
        assert kinds.count("capture") == 1
        assert kinds.count("message digest calculation") == 1
        assert kinds.count("validation") == 1
    for name in world.derivatives:
        assert [e.kind for e in by_object[events.access_id(world.item, name)]] == ["creation"]


def test_identifiers_repeat_and_are_unique() -> None:
    world = make_items.fragment()
    first, second = log_of(world), log_of(world)
    assert first == second
    names = [event.identifier for event in first.events]
    assert len(names) == len(set(names))
    assert all(uuid.UUID(name).version == 5 for name in names)


def test_the_time_in_the_file_is_the_time_of_capture_and_else_the_day_of_the_session() -> None:
    world = make_items.tablet()
    name = world.item.frames[0].identifier
    record = world.records[name]
    timed = dataclasses.replace(
        record,
        facts=dataclasses.replace(
            record.facts, capture=CaptureFacts(captured_at="2026-03-09T10:11:12+01:00")
        ),
    )
    log = log_of(dataclasses.replace(world, records={**world.records, name: timed}))
    assert sorted({event.when for event in of_kind(log, "capture")}) == [
        "2026-03-09",
        "2026-03-09T10:11:12+01:00",
    ]


def test_people_and_equipment_of_the_session_are_agents_of_the_capture() -> None:
    log = log_of(with_register(make_items.tablet()))
    named = {agent.identifier: agent for agent in log.agents}
    roles = dict(of_kind(log, "capture")[0].agents)
    assert roles["person/1-A-Operator"] == "implementer"
    assert {"equipment/camera-2", "equipment/lens-120", "equipment/flash-1", "equipment/cradle-1"} <= set(
        roles
    )
    assert set(roles) <= set(named)
    assert "KW-20417" in named["equipment/camera-2"].note
    assert named[events.SOFTWARE].version == "9.9"


def test_an_operator_who_is_the_unit_is_no_agent_beside_it() -> None:
    world = with_register(make_items.tablet())
    session = dataclasses.replace(world.item.sessions[0], operator="ALDERMOOR Imaging Unit")
    log = log_of(world.changed(sessions=(session,)))
    assert not [agent for agent in log.agents if agent.identifier.startswith("person/")]
    assert dict(of_kind(log, "capture")[0].agents)["organization/Aldermoor-imaging-unit"] == "implementer"


def test_only_agents_that_did_something_are_listed() -> None:
    log = log_of(make_items.tablet())
    acting = {name for event in log.events for name, _ in event.agents}
    assert {agent.identifier for agent in log.agents} == acting


def test_a_waiver_is_an_event_only_where_clearance_is_missing() -> None:
    world = make_items.tablet()
    assert of_kind(log_of(world, waiver="loan"), "policy assignment") == []
    uncleared = world.changed(care=Care(cleared=False))
    (event,) = of_kind(log_of(uncleared, waiver="loan tomorrow"), "policy assignment")
    assert "loan tomorrow" in event.detail
    assert event.outcome == "warning"


def test_an_assumed_profile_is_said_where_derivatives_were_made() -> None:
    world = make_items.tablet()
    name = world.item.frames[0].identifier
    assumed = dataclasses.replace(world.records[name], assumed_profile="Wide RGB")
    log = log_of(dataclasses.replace(world, records={**world.records, name: assumed}))
    plain, doubtful = sorted(of_kind(log, "creation"), key=lambda event: event.outcome)
    assert (plain.outcome, doubtful.outcome) == ("success", "warning")
    assert "Wide RGB" in doubtful.detail
    assert len(doubtful.objects) == 2


def test_frames_that_were_read_in_two_runs_have_an_event_for_each() -> None:
    world = make_items.tablet()
    name = world.item.frames[0].identifier
    later = dataclasses.replace(world.records[name], read_at=NOW + dt.timedelta(days=1))
    log = log_of(dataclasses.replace(world, records={**world.records, name: later}))
    assert len(of_kind(log, "message digest calculation")) == 2
    assert [event.when for event in log.events] == sorted(event.when for event in log.events)


def test_the_outcome_of_the_judgement_is_that_of_its_findings() -> None:
    world = make_items.tablet()
    finding = Finding(
        code="F001", level=Level.ERROR, title="t", place="p", value="v", limit="l", source="s", advice="a"
    )
    log = events.event_log(
        world.item,
        world.settings,
        world.records,
        world.derivatives,
        Report(findings=(finding,)),
        now=NOW,
        software_version="9.9",
    )
    (event,) = of_kind(log, "validation")
    assert event.outcome == "fail"
    assert event.outcome_note == "1 errors, 0 warnings, 0 notes"
