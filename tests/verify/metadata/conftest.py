"""One small item, built once for all tests of metadata."""

from __future__ import annotations

import pytest

from tests.verify.metadata.world import Sealed, build


@pytest.fixture(scope="session")
def bundles(tmp_path_factory: pytest.TempPathFactory) -> tuple[Sealed, Sealed]:
    """The preservation and the publication bundle of the item."""
    return build(tmp_path_factory.mktemp("item"))


@pytest.fixture(scope="session")
def preservation(bundles: tuple[Sealed, Sealed]) -> Sealed:
    """The bundle with the masters."""
    return bundles[0]


@pytest.fixture(scope="session")
def publication(bundles: tuple[Sealed, Sealed]) -> Sealed:
    """The bundle with what readers see."""
    return bundles[1]
