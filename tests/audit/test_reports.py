"""What an audit leaves: a document of our schema, a page, and PREMIS that its schemas accept."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from pipeline import jsondoc, xmldoc
from pipeline.audit.document import document
from pipeline.audit.events import from_text, premis_document
from pipeline.audit.record import opened
from pipeline.audit.reports import Reports
from pipeline.audit.values import Audit
from pipeline.files import write_atomically
from pipeline.stores import FolderStore
from tests.audit.world import F1R, IDS, START, World, every_file
from tests.make_ocfl import flip


def harmed(world: World) -> Audit:
    """A run that mends one object, finds another faulty, and compares with a copy."""
    flip(world.at(0, F1R))
    world.at(1, "v1/content/data/<script>alert(1)</script>").parent.mkdir(parents=True, exist_ok=True)
    world.at(1, "v1/content/data/\u202eevil<b>.tif").write_text("x")
    return world.run(replica=FolderStore(world.copy_root), repairs=True)


def written(world: World, done: Audit, name: str = "reports") -> Path:
    folder = world.folder / name
    with opened(world.record_file) as record:
        reports = Reports(folder, record, done.store, started=START, version="0.1.0")
        for outcome in world.outcomes:
            reports.take(outcome)
        reports.close(done)
    return folder


def test_the_document_is_of_its_schema(world: World) -> None:
    folder = written(world, harmed(world))
    made = json.loads((folder / "audit.json").read_bytes())
    assert list(jsondoc.violations(made, "audit")) == []
    assert made["counts"]["mended"] == 1
    assert made["exit_status"] == 6


def test_an_intact_store_has_a_document_of_its_schema_too(world: World) -> None:
    made = json.loads(jsondoc.to_bytes(document(world.run(), made_by="solander 0.1.0")))
    assert list(jsondoc.violations(made, "audit")) == []


def test_the_page_shows_nothing_that_acts(world: World) -> None:
    page = (written(world, harmed(world)) / "audit.html").read_text(encoding="utf-8")
    assert "\u202e" not in page
    assert "<b>" not in page
    assert "<script" not in page
    assert "Damage was found, and mended" in page
    assert page.count("<article") >= 2


def test_the_same_run_gives_the_same_bytes(world: World) -> None:
    done = harmed(world)
    assert dict(every_file(written(world, done))) == dict(every_file(written(world, done, "again")))


def events_of(world: World) -> bytes:
    return next((written(world, harmed(world)) / "audit-events").iterdir()).read_bytes()


def test_events_are_valid_premis(world: World) -> None:
    assert list(xmldoc.schema_faults(xmldoc.parse(events_of(world)), xmldoc.our_schema())) == []


@pytest.mark.skipif("OFFICIAL_SCHEMAS" not in os.environ, reason="OFFICIAL_SCHEMAS names no folder")
def test_events_are_valid_by_the_official_schema(world: World) -> None:
    schema = xmldoc.official_schema(Path(os.environ["OFFICIAL_SCHEMAS"]))
    assert list(xmldoc.schema_faults(xmldoc.parse(events_of(world)), schema)) == []


def test_a_mended_object_was_checked_recovered_and_checked(world: World) -> None:
    root = xmldoc.parse(events_of(world))
    told = []
    for event in root.iterfind("{*}event"):
        name = event.findtext("{*}linkingObjectIdentifier/{*}linkingObjectIdentifierValue")
        outcome = event.findtext("{*}eventOutcomeInformation/{*}eventOutcome")
        told.append((name, event.findtext("{*}eventType"), outcome))
    assert [each[1:] for each in told if each[0] == IDS[0]] == [
        ("fixity check", "fail"),
        ("recovery", "success"),
        ("fixity check", "success"),
    ]
    assert (IDS[1], "fixity check", "warning") in told
    assert (IDS[2], "fixity check", "success") in told


def owed(world: World) -> Path:
    """Let a run owe its events, as one does that is killed before it writes them."""
    folder = world.folder / "reports"
    done = world.run()
    with opened(world.record_file) as record:
        reports = Reports(folder, record, done.store, started=START, version="0.1.0")
        for outcome in world.outcomes:
            reports.take(outcome)
        record.commit()
    return folder


def names_of(folder: Path) -> list[str]:
    return [
        name.text or ""
        for path in sorted((folder / "audit-events").glob("*.xml"))
        for name in xmldoc.parse(path.read_bytes()).iterfind("{*}event/{*}linkingObjectIdentifier/{*}*")
        if name.text in IDS
    ]


def test_events_that_a_run_owes_are_written_by_the_next_one_by_its_own_version(world: World) -> None:
    folder = owed(world)
    assert not folder.exists()
    with opened(world.record_file) as record:
        reports = Reports(folder, record, str(world.root), started=START, version="0.2.0")
        reports.flush()
        reports.flush()
    assert sorted(names_of(folder)) == sorted(IDS)
    (path,) = (folder / "audit-events").iterdir()
    assert b"0.1.0" in path.read_bytes()


@pytest.mark.parametrize("was_written", [True, False])
def test_a_file_of_events_that_was_promised_is_written_once(world: World, was_written: bool) -> None:
    folder = owed(world)
    path = folder / "audit-events" / "promised.xml"
    with opened(world.record_file) as record:
        events = record.owed(2)
        assert events is not None
        record.promise(events, str(path))
        if was_written:
            made = premis_document([*map(from_text, events.documents)], events.software)
            write_atomically(path, made)
        Reports(folder, record, str(world.root), started=START, version="0.1.0").flush()
    assert sorted(names_of(folder)) == sorted(IDS)
    assert path.exists() is was_written


def test_events_of_another_store_are_not_written_here(world: World) -> None:
    folder = owed(world)
    with opened(world.record_file) as record:
        Reports(folder, record, "/other", started=START, version="0.1.0").flush()
    assert not folder.exists()


def test_two_stores_that_are_audited_in_one_second_keep_their_events(world: World, tmp_path: Path) -> None:
    other = World(tmp_path / "other", ids=("urn:example:other",))
    for each in (world, other):
        each.run()
        with opened(each.record_file) as record:
            reports = Reports(tmp_path / "both", record, str(each.root), started=START, version="0.1.0")
            for outcome in each.outcomes:
                reports.take(outcome)
            reports.flush()
    assert len(names_of(tmp_path / "both")) == len(IDS)
    assert len(list((tmp_path / "both" / "audit-events").iterdir())) == 2


def test_what_could_not_be_read_is_no_fixity_check(world: World) -> None:
    from tests.audit.world import Failing

    world.store = Failing(world.root)
    world.store.errors[F1R] = 100
    done = world.run()
    assert not (written(world, done) / "audit-events").exists()
