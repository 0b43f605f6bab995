"""The servers of the docs, each over the same small site."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.serving import servers, sites
from tests.serving.servers import Server


@pytest.fixture(scope="session", params=servers.ALL)
def server(request: pytest.FixtureRequest) -> Iterator[Server]:
    """One of the servers over the same small site, in a folder that its user may read."""
    folder = Path(tempfile.mkdtemp(prefix="solander-serving-"))
    folder.chmod(0o755)
    scratch = folder / "scratch"
    scratch.mkdir()
    try:
        with servers.started(request.param, sites.write(folder / "site"), scratch) as running:
            yield running
    finally:
        shutil.rmtree(folder)
