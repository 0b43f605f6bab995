"""A store of a hundred thousand objects: a minute and 300 MB to list and schedule it."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.benchmarks import bench_audit


@pytest.mark.large
def test_a_hundred_thousand_objects_are_listed_and_scheduled_in_a_minute(tmp_path: Path) -> None:
    took_s, memory_bytes = bench_audit.listed(bench_audit.make_small(tmp_path / "store", 100_000))
    assert took_s < 60
    assert memory_bytes < 300_000_000


def test_a_hundred_objects_take_the_same_way(tmp_path: Path) -> None:
    took_s, memory_bytes = bench_audit.listed(bench_audit.make_small(tmp_path / "store", 100))
    assert took_s < 60
    assert memory_bytes < 300_000_000
