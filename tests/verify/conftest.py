"""One small item, built once for all tests of whole bundles."""

from __future__ import annotations

import pytest

from tests.make_item import World
from tests.verify import deliver


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> World:
    """The item with its two bundles. They are not to be changed."""
    return deliver.build(tmp_path_factory.mktemp("built"))
