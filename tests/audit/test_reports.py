"""What an audit leaves: a document of our schema, a page, and PREMIS that its schemas accept."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from pipeline import jsondoc, xmldoc
from pipeline.audit.document import document
from pipeline.audit.reports import Reports
from pipeline.audit.values import Audit
from pipeline.stores import FolderStore
from tests.audit.world import F1R, IDS, START, World
from tests.make_ocfl import flip


def harmed(world: World) -> Audit:
    """A run that mends one object, finds another faulty, and compares with a copy."""
    flip(world.at(0, F1R))
    world.at(1, "v1/content/data/<script>alert(1)</script>").parent.mkdir(parents=True, exist_ok=True)
    world.at(1, "v1/content/data/\u202eevil<b>.tif").write_text("x")
    return world.run(replica=FolderStore(world.copy_root), repairs=True)


def written(world: World, done: Audit) -> Path:
    folder = world.folder / "reports"
    reports = Reports(folder, done.store, started=START, version="0.1.0")
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
    first = {path.name: path.read_bytes() for path in written(world, done).rglob("*") if path.is_file()}
    again = {path.name: path.read_bytes() for path in written(world, done).rglob("*") if path.is_file()}
    assert first == again


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


def test_what_could_not_be_read_is_no_fixity_check(world: World) -> None:
    from tests.audit.world import Failing

    world.store = Failing(world.root)
    world.store.errors[F1R] = 100
    done = world.run()
    assert not (written(world, done) / "audit-events").exists()
