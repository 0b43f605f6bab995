"""Audits of object storage over HTTP: the same judgement, and mending from a folder."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.audit.values import Condition
from pipeline.errors import ExitStatus
from pipeline.stores import FolderStore, Store
from tests import make_ocfl
from tests.audit.world import F1R, World, every_file
from tests.audit.world import IDS as ALL_IDS

IDS = ALL_IDS[:3]


@pytest.fixture
def world(tmp_path: Path) -> World:
    return World(tmp_path, ids=IDS)


@pytest.fixture
def stored(world: World, object_store: Callable[[], Store]) -> Store:
    """The world's store in object storage; its folder is emptied of meaning."""
    store = object_store()
    for path, data in every_file(world.root):
        store.put(path, data)
    world.store = store
    return store


def test_a_store_in_object_storage_is_proved(world: World, stored: Store) -> None:
    began = time.monotonic()
    done = world.run(threads=4)
    assert done.exit_status is ExitStatus.DONE
    assert set(world.conditions()) == set(IDS)
    assert done.root.codes == set()
    assert time.monotonic() - began < 60


def test_damage_in_object_storage_is_found_and_mended(world: World, stored: Store) -> None:
    path = f"{make_ocfl.place_of(IDS[0])}/{F1R}"
    stored.put(path, b"folio 1 RECTO")
    stored.delete(f"{make_ocfl.place_of(IDS[1])}/v2/content/bagit.txt")
    stored.put(f"{make_ocfl.place_of(IDS[2])}/notes.txt", b"x")
    assert world.run().exit_status is ExitStatus.FIXITY
    done = world.run(replica=FolderStore(world.copy_root), repairs=True)
    found = world.conditions()
    assert [found[each] for each in IDS] == [Condition.MENDED, Condition.MENDED, Condition.FAULTY]
    kept = next(each.kept_aside for outcome in done.outcomes for each in outcome.mends if each.kept_aside)
    aside = stored.beside(".set-aside")
    assert kept.startswith(f"{aside.url}/")
    assert aside.read(kept.removeprefix(f"{aside.url}/"), limit_bytes=100) == b"folio 1 RECTO"
    assert world.run().counts == {Condition.INTACT: 2, Condition.FAULTY: 1}
