"""The site, its server and a browser, once for a whole run; without a browser these tests are skipped."""

from __future__ import annotations

import contextlib
import os
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.web.browsing import Visit

MODULES = Path(__file__).parent / "node_modules"
NO_MODULES = "axe-core and @iiif/parser are not installed: npm ci --prefix tests/web"
NO_BROWSER = "there is no Chromium on this machine: apt-get install chromium"
ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--force-color-profile=srgb",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with one of these tests: one worker makes the site, which takes a while, no other waits."""
    first = next((each for each in items if each.path.parent == MODULES.parent), None)
    if first is not None:
        items.remove(first)
        items.insert(0, first)


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder with bundles and site; made by the first worker that needs it, for all of them."""
    from tests.web import demo_site

    base = tmp_path_factory.getbasetemp()
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    with _alone(shared / "demo-site.lock"):
        if not (shared / "demo-site").exists():
            demo_site.build(tmp_path_factory.mktemp("demo-site"), shared / "demo-site")
    return shared / "demo-site"


@contextlib.contextmanager
def _alone(path: Path) -> Iterator[None]:
    """Wait for the other workers."""
    fcntl = pytest.importorskip("fcntl", reason="workers wait for each other by POSIX locks")
    with path.open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


@pytest.fixture(scope="session")
def root(demo: Path) -> Iterator[str]:
    """Where the published site is served."""
    from pipeline.serve import FolderSite, running

    with running(FolderSite(demo / "site"), port=0, clock=time.time) as server:
        yield server.url


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Debian's Chromium, or any other that is installed; never one that is fetched."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    program = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if program is None:
        pytest.skip(NO_BROWSER)
    with sync_api.sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=program, args=list(ARGUMENTS))
        yield chromium
        chromium.close()


Open = Callable[..., Visit]


@pytest.fixture
def visit(browser: Any, root: str) -> Iterator[Open]:
    """Opens a page of the site as somebody who was never there."""
    contexts = []

    def open_page(
        path: str = "", *, width: int = 1280, height: int = 800, blocked: str = "", **options: Any
    ) -> Visit:
        settings = {
            "viewport": {"width": width, "height": height},
            "reduced_motion": "reduce",
            "locale": "en-GB",
        }
        contexts.append(browser.new_context(**settings | options))
        visit = Visit(page=contexts[-1].new_page(), root=root)
        if blocked:
            visit.page.route(blocked, lambda route: route.abort())
        visit.open(path)
        return visit

    yield open_page
    for context in contexts:
        context.close()


@pytest.fixture(scope="session")
def axe() -> str:
    """The source of axe-core."""
    source = MODULES / "axe-core/axe.min.js"
    if not source.is_file():
        pytest.skip(NO_MODULES)
    return source.read_text(encoding="utf-8")
