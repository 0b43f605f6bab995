"""The small world that audits are tested in."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.audit.world import World


@pytest.fixture
def world(tmp_path: Path) -> World:
    return World(tmp_path)
