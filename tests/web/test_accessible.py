"""Pages for everybody: WCAG 2.2 AA by axe-core, the keyboard alone, a phone, other languages."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.web.browsing import Visit, violations
from tests.web.conftest import Open
from tests.web.demo_site import CODEX, GONE, LIGHTS, RIGHT_TO_LEFT


def as_it_is(opened: Visit) -> None:
    """Nothing is done."""


def pressed(*keys: str) -> Callable[[Visit], None]:
    return lambda opened: opened.press(*keys)


def in_german(opened: Visit) -> None:
    opened.page.get_by_role("button", name="DE").click()
    opened.page.get_by_role("heading", name="Inhalt").wait_for()


STATES: dict[str, tuple[str, Callable[[Visit], None]]] = {
    "openings": (f"items/{CODEX}/", as_it_is),
    "right to left": (f"items/{RIGHT_TO_LEFT}/", as_it_is),
    "a region": (f"items/{CODEX}/#view=ms7_0009_003r&xywh=100,120,200,160", as_it_is),
    "a view that was not captured": (f"items/{CODEX}/#view=f-5v", as_it_is),
    "overview": (f"items/{CODEX}/", pressed("a")),
    "citing": (f"items/{CODEX}/", pressed("c")),
    "downloads": (f"items/{CODEX}/", pressed("d")),
    "keys": (f"items/{CODEX}/", pressed("?")),
    "measuring": (f"items/{CODEX}/", pressed("m")),
    "fading": (f"items/{LIGHTS}/", pressed("b")),
    "beside each other": (f"items/{LIGHTS}/", pressed("n")),
    "German": (f"items/{CODEX}/", in_german),
}


@pytest.mark.parametrize("state", STATES)
def test_the_page_of_an_item_keeps_wcag(visit: Open, axe: str, state: str) -> None:
    path, act = STATES[state]
    opened = visit(path).awake()
    act(opened)
    opened.settle()
    assert violations(opened.page, axe) == []


@pytest.mark.parametrize("path", ["", f"items/{CODEX}/", f"items/{GONE}/"])
def test_a_page_keeps_wcag_in_the_dark_and_on_a_phone(visit: Open, axe: str, path: str) -> None:
    opened = visit(path, color_scheme="dark")
    if CODEX in path:
        opened.awake()
    opened.settle()  # what is judged is the page at rest, as in every other state
    assert violations(opened.page, axe) == []
    opened.page.emulate_media(color_scheme="light")
    opened.page.set_viewport_size({"width": 390, "height": 844})
    opened.settle()
    assert violations(opened.page, axe) == []


@pytest.mark.parametrize("path", ["", f"items/{LIGHTS}/", f"items/{GONE}/"])
def test_a_page_without_its_scripts_keeps_wcag(visit: Open, axe: str, path: str) -> None:
    assert violations(visit(path, blocked="**/*.js").page, axe) == []


def test_axe_finds_a_fault_that_is_there(visit: Open, axe: str) -> None:
    page = visit(f"items/{GONE}/").page
    page.evaluate("document.querySelector('main').insertAdjacentHTML('beforeend', '<img src=\"data:,\">')")
    assert any(fault.startswith("image-alt") for fault in violations(page, axe))


# ------------------------------------------------------------------------------------------- keyboard

FOCUS = """() => {
  const node = document.activeElement;
  const style = getComputedStyle(node);
  return {
    at: [...document.querySelectorAll("*")].indexOf(node),
    name: node.outerHTML.slice(0, 120),
    isBody: node === document.body,
    isMarked: style.outlineStyle !== "none" || style.boxShadow !== "none",
  };
}"""

CONTROLS = """() => [...document.querySelectorAll("a[href], button, input, select, textarea, summary")]
  .filter((node) => node.checkVisibility({ visibilityProperty: true }) && !node.disabled)
  .filter((node) => !node.closest("dialog"))
  .map((node) => ({
    at: [...document.querySelectorAll("*")].indexOf(node),
    name: node.outerHTML.slice(0, 120),
    isInRow: Boolean(node.closest("#strip")),
  }))"""


@pytest.mark.parametrize("item", [CODEX, LIGHTS])
def test_every_control_is_reached_by_tab_and_seen_when_it_is(visit: Open, item: str) -> None:
    """The row of views is one stop, in which arrows walk (ARIA authoring practices, roving focus)."""
    opened = visit(f"items/{item}/").awake()
    controls = opened.page.evaluate(CONTROLS)
    reached = []
    for _ in range(len(controls) + 5):
        opened.press("Tab")
        focus = opened.page.evaluate(FOCUS)
        if focus["isBody"]:
            break
        reached.append(focus)
    places = {each["at"] for each in reached}
    assert [each["name"] for each in controls if each["at"] not in places and not each["isInRow"]] == []
    assert sum(each["isInRow"] and each["at"] in places for each in controls) == 1
    assert [each["name"] for each in reached if not each["isMarked"]] == []


def test_arrows_walk_along_the_row_of_views_and_enter_opens_one(visit: Open) -> None:
    opened = visit(f"items/{CODEX}/#view=ms7_0005_001r", width=500, height=900).awake()
    opened.page.locator("#strip [aria-current=true]").first.focus()
    opened.press("ArrowRight", "ArrowRight", "Enter")
    opened.until(lambda: opened.view == "ms7_0007_002r", "the view after the next")


@pytest.mark.parametrize(("key", "name"), [("c", "Cite and link"), ("d", "Download"), ("?", "Keys")])
def test_a_dialog_takes_the_focus_and_gives_it_back(visit: Open, key: str, name: str) -> None:
    opened = visit(f"items/{CODEX}/").awake()
    opened.page.locator("#plane [role=img]").focus()
    opened.press(key)
    dialog = opened.page.get_by_role("dialog", name=name)
    dialog.wait_for()
    assert opened.page.evaluate("document.activeElement.closest('dialog') !== null")
    opened.press("Escape")
    dialog.wait_for(state="hidden")
    back = "document.activeElement.matches('#plane [role=img]')"
    opened.until(lambda: opened.page.evaluate(back), "the focus back on the object")


def test_letters_can_be_switched_off_as_keys(visit: Open) -> None:
    """WCAG 2.2, success criterion 2.1.4."""
    opened = visit(f"items/{CODEX}/").awake()
    opened.press("?")
    opened.page.get_by_role("checkbox").uncheck()
    opened.press("Escape")
    opened.until(lambda: opened.page.evaluate("document.activeElement === document.body"), "the dialog's end")
    opened.press("c")
    opened.settle()
    assert not opened.page.get_by_role("dialog", name="Cite and link").is_visible()
    before = opened.view
    opened.press("PageDown")
    opened.until(lambda: opened.view != before, "another view")


def test_what_is_shown_is_said_aloud(visit: Open) -> None:
    opened = visit(f"items/{CODEX}/#view=ms7_0005_001r", width=500, height=900).awake()
    status = opened.page.get_by_role("status").first
    assert "f. 1r" in status.inner_text()
    opened.press("PageDown")
    opened.until(lambda: "f. 1v" in status.inner_text(), "the next view's name")
    assert "f. 1v" in (opened.page.locator("#plane [role=img]").get_attribute("aria-label") or "")


# -------------------------------------------------------------------------------- phones and languages


def test_a_phone_shows_the_object_first(visit: Open) -> None:
    opened = visit(f"items/{CODEX}/", width=390, height=844, has_touch=True, is_mobile=True).awake()
    stage = opened.page.locator("#stage").bounding_box()
    assert stage is not None
    assert stage["width"] >= 380
    assert stage["height"] > 844 * 0.4
    assert stage["y"] < 844 / 4
    opened.page.get_by_role("button", name="Onwards").tap()
    opened.until(lambda: opened.view == "ms7_0010_003v", "the next view")
    opened.settle()
    opened.assert_clean()


@pytest.mark.parametrize(
    ("item", "width", "height", "locale"),
    [
        (LIGHTS, 667, 375, "en-GB"),
        (LIGHTS, 844, 390, "de"),
        (CODEX, 844, 390, "fr"),
        (RIGHT_TO_LEFT, 844, 390, "de"),
        (LIGHTS, 1280, 480, "fr"),
    ],
)
def test_a_phone_held_sideways_gives_the_image_its_room(
    visit: Open, item: str, width: int, height: int, locale: str
) -> None:
    phone: dict[str, Any] = {"width": width, "height": height, "locale": locale, "has_touch": True}
    opened = visit(f"items/{item}/", **phone).awake()
    assert opened.page.evaluate("scrollY") == 0
    assert opened.page.evaluate("document.documentElement.scrollWidth") <= width
    stage = opened.page.locator("#stage").bounding_box()
    assert stage is not None
    assert stage["y"] + stage["height"] == height
    assert stage["height"] > height * 0.85
    assert stage["width"] > stage["height"] * 1.2
    opened.press("b")  # as many tools as there can be
    for tool in opened.page.locator("#lights :visible, #tools button:visible").all():
        tool.scroll_into_view_if_needed()
        box = tool.bounding_box()
        assert box is not None
        assert box["x"] + box["width"] <= width
    assert not opened.page.locator("#strip").is_visible()
    opened.page.locator("#lay-out").tap()
    assert opened.page.locator("#strip a").first.is_visible()


PAIRS = """() => [...document.querySelectorAll("#strip .faces")].map((first) =>
  [first, first.nextElementSibling].map((page) => page.querySelector("img").getBoundingClientRect()))"""


@pytest.mark.parametrize("item", [CODEX, RIGHT_TO_LEFT])
def test_the_overview_never_parts_two_facing_pages(visit: Open, item: str) -> None:
    opened = visit(f"items/{item}/", width=1280, height=900).awake()
    opened.press("a")
    for width in (1500, 1280, 1000, 800, 360):
        opened.page.set_viewport_size({"width": width, "height": 900})
        pairs = opened.page.evaluate(PAIRS)
        assert len(pairs) >= 2
        for verso, recto in pairs:
            assert verso["bottom"] == pytest.approx(recto["bottom"], abs=1)
            left, right = (recto, verso) if item == RIGHT_TO_LEFT else (verso, recto)
            assert left["right"] == pytest.approx(right["left"], abs=1)


@pytest.mark.parametrize(
    ("locale", "language", "contents", "cover"),
    [("en-GB", "en", "Contents", "front cover"), ("de-AT", "de", "Inhalt", "Vorderdeckel")],
)
def test_a_page_speaks_the_language_that_the_reader_prefers(
    visit: Open, locale: str, language: str, contents: str, cover: str
) -> None:
    opened = visit(f"items/{CODEX}/", locale=locale).awake()
    opened.page.get_by_role("heading", name=contents).wait_for()
    assert opened.page.locator("html").get_attribute("lang") == language
    opened.press("Home")
    opened.until(
        lambda: cover in opened.page.get_by_role("textbox").first.input_value(), f"the label {cover!r}"
    )


def test_a_language_that_was_chosen_stays_chosen(visit: Open) -> None:
    opened = visit(f"items/{CODEX}/").awake()
    in_german(opened)
    opened.open(f"items/{LIGHTS}/")
    opened.until(lambda: opened.page.locator("html").get_attribute("lang") == "de", "German")


def test_a_reader_who_comes_back_to_the_first_language_finds_every_word(visit: Open) -> None:
    opened = visit(f"items/{CODEX}/").awake()
    words = "() => [...document.querySelectorAll('[data-word], [data-word-label]')].map((n) => n.outerHTML)"
    before = opened.page.evaluate(words)
    in_german(opened)
    assert opened.page.evaluate(words) != before
    opened.page.get_by_role("button", name="English").click()
    opened.until(lambda: opened.page.evaluate(words) == before, "the words that the page came with")
