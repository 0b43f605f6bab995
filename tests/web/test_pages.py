"""Every page as a reader opens it: whole, quick, of one host."""

from __future__ import annotations

import gzip
import json
import re
from pathlib import Path

import pytest

from pipeline.pages import ItemPage, item_page
from tests.web.browsing import Visit
from tests.web.conftest import Open
from tests.web.demo_site import BASE_URL, CODEX, GONE, ITEMS, LIGHTS

PAGES = ("", *(f"items/{item}/" for item in ITEMS), f"items/{GONE}/")
MOST_BYTES = 100_000
MOST_REQUESTS = 10


@pytest.mark.parametrize("path", PAGES)
def test_a_page_opens_without_a_complaint_small_and_with_a_picture_at_once(visit: Open, path: str) -> None:
    """Sizes are those that a server sends that compresses: docs/serving.md has each of them do so."""
    opened = visit(path)
    opened.assert_clean()
    assert opened.page.title()
    kinds = [each.resource_type for each in opened.requests]
    assert GONE in path or kinds.index("image") < MOST_REQUESTS
    sizes = {
        each.url: len(gzip.compress(answer.body(), 6))
        for each in opened.requests
        if each.resource_type in ("document", "stylesheet", "script") and (answer := each.response())
    }
    assert sum(sizes.values()) < MOST_BYTES, sizes


def test_the_front_page_leads_to_every_item_and_not_to_what_is_gone(visit: Open) -> None:
    opened = visit()
    links = opened.page.locator("main a").evaluate_all("all => all.map(a => a.getAttribute('href'))")
    for item in ITEMS:
        assert any(re.fullmatch(rf"\.?/?items/{item}/", link) for link in links), links
    assert not any(GONE in link for link in links)
    opened.page.locator(f"main a[href*='{CODEX}']").first.click()
    opened.page.wait_for_url(re.compile(rf"/items/{CODEX}/"))
    opened.awake().assert_clean()


def test_a_tombstone_says_what_was_there_and_when_it_went(visit: Open) -> None:
    opened = visit(f"items/{GONE}/")
    page, answer = opened.page, opened.requests[0].response()
    assert answer is not None
    assert answer.status == 410
    assert page.get_by_role("heading", level=1).inner_text() == f"Item {GONE}"
    assert page.locator("time").get_attribute("datetime") == "2026-03-16"


@pytest.mark.parametrize("path", ["", f"items/{CODEX}/", f"items/{LIGHTS}/", f"items/{GONE}/"])
def test_nothing_runs_out_of_a_page_at_any_width(visit: Open, path: str, tmp_path: Path) -> None:
    opened = visit(path, width=1440, height=900)
    if path.startswith("items/") and GONE not in path:
        opened.awake()
    for width in (1440, 820, 390):
        opened.page.set_viewport_size({"width": width, "height": 900})
        opened.page.screenshot(path=tmp_path / f"{path.strip('/').replace('/', '-') or 'front'}-{width}.png")
        assert opened.page.evaluate("document.documentElement.scrollWidth") <= width


def test_dialogs_are_fetched_when_one_is_opened(visit: Open) -> None:
    opened = visit(f"items/{CODEX}/").awake()
    assert not [each.url for each in opened.requests if "/dialogs" in each.url]
    opened.press("?")
    dialog = opened.page.get_by_role("dialog", name="Keys")
    dialog.get_by_text("measure").wait_for()
    opened.press("Escape", "?")
    assert len([each.url for each in opened.requests if "/dialogs" in each.url]) == 1
    opened.assert_clean()


def test_a_dialog_that_cannot_be_fetched_says_so(visit: Open) -> None:
    opened = visit(f"items/{CODEX}/", blocked="**/dialogs*.js").awake()
    with opened.page.expect_event("dialog") as alert:
        opened.press("c")
    assert alert.value.message == "This could not be fetched."
    alert.value.dismiss()


def test_an_item_of_one_view_offers_nothing_to_turn_to(visit: Open, demo: Path) -> None:
    manifest = json.loads((demo / f"site/iiif/{CODEX}/manifest.json").read_bytes())
    alone = manifest | {"items": manifest["items"][:1], "structures": []}
    page = item_page(ItemPage(manifest=alone, base_url=BASE_URL, site_title={"en": ["Aldermoor Library"]}))
    opened = visit("")
    opened.page.route(f"**/items/{CODEX}/", lambda route: route.fulfill(body=page, content_type="text/html"))
    opened.open(f"items/{CODEX}/")
    opened.awake().press("a", "o", "End")
    assert opened.page.locator("#stage").is_visible()
    assert opened.page.get_by_role("button", name="Measure").is_visible()
    for name in ("Overview", "Openings", "Back", "Onwards"):
        assert not opened.page.get_by_role("button", name=name).is_visible()
    assert not opened.page.get_by_role("navigation", name="All views").is_visible()
    opened.assert_clean()


def test_a_narrow_front_page_leaves_no_gap_above_a_picture(visit: Open) -> None:
    page = visit(width=360).page
    frame, picture = (page.locator(f".cards {name}").first.bounding_box() for name in (".frame", "img"))
    assert frame is not None
    assert picture is not None
    assert picture["y"] == pytest.approx(frame["y"], abs=1)


@pytest.mark.parametrize("path", ["", f"items/{GONE}/", f"items/{CODEX}/"])
def test_what_stands_at_the_left_of_a_page_has_one_edge(visit: Open, path: str) -> None:
    page = visit(path, width=1920, height=900).page
    for width in (1920, 360):
        page.set_viewport_size({"width": width, "height": 900})
        edges = {
            page.locator(name).first.evaluate(
                "node => node.getBoundingClientRect().left + parseFloat(getComputedStyle(node).paddingLeft)"
            )
            for name in ("main h1", ".masthead", "main p.small, main .over, #record")
        }
        assert len(edges) == 1


# ----------------------------------------------------------------------------------- without JavaScript


def unscripted(visit: Open, path: str) -> Visit:
    return visit(path, java_script_enabled=False)


@pytest.mark.parametrize("item", ITEMS)
def test_without_javascript_every_image_can_be_opened(visit: Open, item: str, demo: Path) -> None:
    opened = unscripted(visit, f"items/{item}/")
    links = opened.page.locator("main a[href$='.jpg']").evaluate_all("all => all.map(a => a.href)")
    found = {link.rsplit("/", 1)[-1] for link in links}
    assert found == {
        path.name for path in (demo / f"bundles/{item}-publication/data/access/{item}").iterdir()
    }
    for link in sorted(set(links)):
        assert opened.page.request.get(link).ok
    opened.assert_clean()


def test_without_javascript_a_view_shows_its_picture_and_its_label(visit: Open) -> None:
    page = unscripted(visit, f"items/{LIGHTS}/").page
    entry = page.get_by_role("listitem").filter(has_text="recto").first
    assert entry.locator("img").evaluate("image => image.naturalWidth") > 100
    assert page.get_by_text("every image can be opened from the list").is_visible()


def test_without_javascript_no_dead_control_is_shown(visit: Open) -> None:
    page = unscripted(visit, f"items/{CODEX}/").page
    for kind in ("button", "select", "input"):
        assert not any(each.is_visible() for each in page.locator(kind).all())


def test_without_javascript_sections_lead_to_their_views(visit: Open) -> None:
    page = unscripted(visit, f"items/{CODEX}/").page
    link = page.get_by_role("link", name="Herbal")
    target = (link.get_attribute("href") or "").removeprefix("#")
    assert page.locator(f"[id='{target}']").count() == 1
