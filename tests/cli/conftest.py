"""Commands run in the test's own process and folder, at a fixed time."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from pipeline import workers
from tests import make, make_item


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to stand in, with a fixed clock and threads for workers."""

    @contextlib.contextmanager
    def threads(count: int, *, cores: int) -> Iterator[Executor]:
        with ThreadPoolExecutor(count) as pool:
            yield pool

    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SOURCE_DATE_EPOCH", str(make_item.NOW_EPOCH))
    monkeypatch.setattr(workers, "local_workers", threads)
    return tmp_path


@pytest.fixture
def world(place: Path) -> make_item.World:
    """A small item that is accepted, in the folder that we stand in."""
    return make_item.world(place)


def images(folder: Path, *names: str, **options: Any) -> Path:
    """Write small masters, no two alike, into a new folder."""
    folder.mkdir(parents=True)
    for number, name in enumerate(names):
        make.tiff(folder / name, pixels=make.picture(20 + number, 30), **options)
    return folder
