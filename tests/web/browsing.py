"""A page in the browser, with all that it asked for and all that it complained of."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from playwright.sync_api import ConsoleMessage, Page, Request, Response

Pixels = NDArray[np.float64]

QUIET_MS = 150
STEP_MS = 25
PATIENCE_MS = 20_000
GONE = 410
"""The status of a tombstone."""


@dataclass(kw_only=True)
class Visit:
    """One page of the site, opened in a context of its own."""

    page: Page
    root: str
    """Where the site is served, without a slash at its end."""
    requests: list[Request] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    waited_for: set[Request] = field(default_factory=set)
    """What has not been answered yet."""

    def __post_init__(self) -> None:
        self.page.set_default_timeout(PATIENCE_MS)
        self.page.on("request", self._asked)
        self.page.on("response", self._answered)
        self.page.on("requestfinished", self._finished)
        self.page.on("requestfailed", self._failed)
        self.page.on("console", self._said)
        self.page.on("pageerror", lambda error: self.faults.append(f"uncaught: {error}"))

    def _asked(self, request: Request) -> None:
        self.requests.append(request)
        self.waited_for.add(request)

    def _finished(self, request: Request) -> None:
        self.waited_for.discard(request)

    def _answered(self, response: Response) -> None:
        if response.status >= 400 and response.status != GONE:
            self.faults.append(f"{response.status}: {response.url}")

    def _failed(self, request: Request) -> None:
        self._finished(request)
        # a tile that is not wanted any more is given up
        if request.failure != "net::ERR_ABORTED":
            self.faults.append(f"{request.failure}: {request.url}")

    def _said(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning") and f"status of {GONE}" not in message.text:
            self.faults.append(f"{message.type}: {message.text}")

    def open(self, path: str) -> None:
        """Go to a path of the site and wait until nothing is asked for any more."""
        self.page.goto(f"{self.root}/{path}")
        self.settle()

    def settle(self) -> None:
        """Wait until nothing has been asked for for a while."""
        self.page.wait_for_load_state()
        for _ in range(PATIENCE_MS // QUIET_MS):
            before = len(self.requests)
            self.page.wait_for_timeout(QUIET_MS)
            if before == len(self.requests) and not self.waited_for:
                return
        raise AssertionError(f"never quiet; waited for {[each.url for each in self.waited_for]}")

    @property
    def elsewhere(self) -> list[str]:
        """What was asked of other hosts."""
        own = (f"{self.root}/", "data:", "blob:")
        return [each.url for each in self.requests if not each.url.startswith(own)]

    def assert_clean(self) -> None:
        """Nothing was missing, nothing was complained of, nobody else was asked."""
        assert self.faults == []
        assert self.elsewhere == []

    def tiles(self) -> set[str]:
        """The images of services that were asked for, as paths below the site."""
        return {
            each.url.removeprefix(f"{self.root}/iiif/")
            for each in self.requests
            if each.url.startswith(f"{self.root}/iiif/") and each.url.endswith("/default.jpg")
        }

    def until(self, holds: Callable[[], object], what: str) -> None:
        """Wait until something holds; fail with `what` if it does not in time."""
        for _ in range(PATIENCE_MS // STEP_MS):
            if holds():
                return
            self.page.wait_for_timeout(STEP_MS)
        raise AssertionError(f"{what}: not within {PATIENCE_MS / 1000:g} s")

    # ---------------------------------------------------------------------------- the page of an item

    def awake(self) -> Visit:
        """Wait until the desk shows tiles."""
        self.page.wait_for_selector("#desk.awake.drawn", state="attached")
        self.settle()
        return self

    @property
    def place(self) -> dict[str, str]:
        """What the fragment of the address says."""
        fragment = self.page.url.partition("#")[2]
        return dict(pair.split("=", 1) for pair in fragment.split("&") if "=" in pair)

    @property
    def view(self) -> str:
        """The name of the view that lies open."""
        return self.place.get("view", "")

    def go(self, fragment: str) -> None:
        """Follow a link within the page."""
        self.page.evaluate("(to) => { location.hash = to; }", fragment)

    def press(self, *keys: str) -> None:
        """Press keys one after the other, wherever the focus is."""
        for key in keys:
            self.page.keyboard.press(key)

    def offered(self, label: str) -> str:
        """Return what a field has, once its dialog has come."""
        field = self.page.get_by_label(label)
        field.wait_for()
        return field.input_value()

    def shot(self, selector: str = "#stage") -> Pixels:
        """Return what is seen of an element, (rows, columns, RGB)."""
        png = self.page.locator(selector).screenshot(animations="disabled")
        return np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(np.float64)


def violations(page: Page, axe: str) -> list[str]:
    """Return what axe-core finds against WCAG 2.2 AA, one line for each kind of fault."""
    if not page.evaluate("typeof axe === 'object'"):
        page.evaluate(axe)
    found = page.evaluate(
        "async (tags) => (await axe.run(document, { runOnly: { type: 'tag', values: tags } })).violations",
        ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    )
    return [f"{each['id']} ({each['impact']}): {each['help']}: {_places(each['nodes'])}" for each in found]


def _places(nodes: list[dict[str, Any]]) -> str:
    return " | ".join(node["html"][:150] for node in nodes)
