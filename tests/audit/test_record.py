"""The record of audits: kept, refused, never lost by us."""

from __future__ import annotations

import datetime as dt
import sqlite3
from pathlib import Path

import pytest

from pipeline.audit.record import VERSION, opened
from pipeline.errors import InputError, SettingsError, ToolError
from pipeline.ocfl.walking import Found
from tests.audit.world import START, World


def damaged_in_the_middle(path: Path) -> None:
    """Write nonsense over the pages after the first."""
    data = bytearray(path.read_bytes())
    data[4096:] = b"\x5a" * (len(data) - 4096)
    path.write_bytes(data)


def test_a_record_that_is_damaged_is_told_and_left_as_it_is(world: World) -> None:
    world.run()
    damaged_in_the_middle(world.record_file)
    before = world.record_file.read_bytes()
    with pytest.raises(InputError, match=r"this record of audits is damaged.*was left as it is"):
        world.run()
    assert world.record_file.read_bytes() == before


def test_a_file_of_something_else_is_told_and_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "record.sqlite"
    path.write_bytes(b"these are notes, not a record" * 100)
    with pytest.raises(InputError, match="is damaged"), opened(path):
        pass
    assert path.read_bytes().startswith(b"these are notes")


def test_another_sqlite_file_is_not_written_into(tmp_path: Path) -> None:
    path = tmp_path / "catalogue.sqlite"
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE books (title TEXT)")
    connection.close()
    before = path.read_bytes()
    with pytest.raises(InputError, match="another SQLite file"), opened(path):
        pass
    assert path.read_bytes() == before


def test_a_record_of_a_later_version_is_not_touched(world: World) -> None:
    world.run()
    with sqlite3.connect(world.record_file) as connection:
        connection.execute(f"PRAGMA user_version = {VERSION + 1}")
    connection.close()
    before = world.record_file.read_bytes()
    with pytest.raises(InputError, match="written by a later version"):
        world.run()
    assert world.record_file.read_bytes() == before


def test_a_record_of_an_earlier_version_goes_on(world: World) -> None:
    world.run()
    before = world.known()
    with sqlite3.connect(world.record_file) as connection:
        connection.executescript("DROP TABLE owed; DROP TABLE begun_mends; PRAGMA user_version = 1;")
    connection.close()
    assert world.known() == before
    assert world.ask(lambda record: record.owed(1)) is None


def test_a_record_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(ToolError, match="cannot be"), opened(tmp_path / "file" / "record.sqlite"):
        pass


def test_a_record_of_another_store_is_refused(world: World, tmp_path: Path) -> None:
    world.run()
    before = world.known()
    world.store = World(tmp_path / "other", ids=("urn:example:a", "urn:example:b")).store
    with pytest.raises(SettingsError, match=r"is the record of .*give each store a record of its own"):
        world.run()
    assert world.known() == before


def test_a_store_that_moved_keeps_its_record(world: World) -> None:
    world.run()
    moved = world.folder / "moved"
    world.root.rename(moved)
    world.store = type(world.store)(moved)
    assert world.run().standing.never == 0
    assert all(each.proof > 4 for each in world.known().values())


def test_objects_that_come_and_go_are_told_apart(tmp_path: Path) -> None:
    with opened(tmp_path / "record.sqlite") as record:
        record.see([Found("a", 1, 10), Found("b", 2, 20)], START)
        record.see([Found("b", 3, 30), Found("c", 1, 5)], START + dt.timedelta(days=1))
        known = record.known()
    assert {place: each.is_there for place, each in known.items()} == {"a": False, "b": True, "c": True}
    assert known["b"].size_bytes == 30
    assert known["b"].first_seen == "2031-06-01T02:00:00Z"


def test_many_objects_are_kept(tmp_path: Path) -> None:
    objects = [Found(f"{number:09}", 5, number) for number in range(20_000)]
    with opened(tmp_path / "record.sqlite") as record:
        record.see(objects, START)
    with opened(tmp_path / "record.sqlite") as record:
        assert len(record.known()) == 20_000
