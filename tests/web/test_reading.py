"""An item in the hands of a reader: turning, magnifying, comparing, measuring, citing."""

from __future__ import annotations

import functools
from pathlib import Path

import numpy as np
import pytest

from demo_data import truth
from tests.web.browsing import Pixels, Visit
from tests.web.conftest import Open
from tests.web.demo_site import BASE_URL, CODEX, LIGHTS, RIGHT_TO_LEFT, TARGET

FOLDOUT = "ms7_0014_005r-unfolded"
NOT_CAPTURED = "f-5v"


def full_tiles(demo: Path, item: str, frame: str) -> dict[tuple[int, int], str]:
    """The tiles of the deepest level, as paths below ``iiif/``, by where they begin."""
    service = demo / f"bundles/{item}-publication/data/iiif/{item}/{frame}"
    found = {}
    for path in service.glob("*,*,*,*/*,*/0/default.jpg"):
        x, y, width, height = map(int, path.parts[-4].split(","))
        if path.parts[-3] == f"{width},{height}":
            found[x, y] = path.relative_to(service.parent.parent).as_posix()
    assert found
    return found


def corners(tiles: dict[tuple[int, int], str]) -> dict[tuple[int, int], str]:
    columns, rows = {x for x, _ in tiles}, {y for _, y in tiles}
    return {(x > 0, y > 0): tiles[x, y] for x in (min(columns), max(columns)) for y in (min(rows), max(rows))}


def asked(opened: Visit, tile: str) -> bool:
    return tile in opened.tiles()


def is_not_at(opened: Visit, view: str) -> bool:
    return opened.view != view


def size(demo: Path, item: str, frame: str) -> tuple[int, int]:
    last = full_tiles(demo, item, frame)[max(full_tiles(demo, item, frame))]
    x, y, width, height = map(int, last.split("/")[2].split(","))
    return x + width, y + height


# ------------------------------------------------------------------------------------------ magnifying


@pytest.mark.parametrize(
    ("item", "view"),
    [
        (CODEX, "ms7_0009_003r"),
        (CODEX, FOLDOUT),
        (RIGHT_TO_LEFT, "or3_0005_001v"),
        (LIGHTS, "pap3_0003_recto"),
    ],
)
def test_every_corner_has_its_deepest_tile(visit: Open, demo: Path, item: str, view: str) -> None:
    opened = visit(f"items/{item}/#view={view}").awake()
    width, height = size(demo, item, view)
    for (is_right, is_low), tile in corners(full_tiles(demo, item, view)).items():
        x, y = (width - 20 if is_right else 0), (height - 20 if is_low else 0)
        opened.go(f"view={view}&xywh={x},{y},20,20")
        opened.until(functools.partial(asked, opened, tile), f"the tile {tile}")
    opened.settle()
    opened.assert_clean()


def test_keys_magnify_to_the_deepest_level_and_back(visit: Open, demo: Path) -> None:
    opened = visit(f"items/{LIGHTS}/#view={TARGET}", width=500, height=500).awake()
    deepest = set(full_tiles(demo, LIGHTS, TARGET).values())
    opened.press(*["+"] * 12)
    opened.until(lambda: deepest & opened.tiles(), "a tile of the deepest level")
    opened.press(*["Shift+ArrowRight", "Shift+ArrowDown"] * 12)
    opened.until(
        lambda: corners(full_tiles(demo, LIGHTS, TARGET))[True, True] in opened.tiles(), "the last corner"
    )
    before = opened.shot("#plane")
    opened.press("0")
    opened.settle()
    assert np.abs(opened.shot("#plane") - before).mean() > 1
    opened.assert_clean()


# --------------------------------------------------------------------------------------------- turning


def turned(opened: Visit, *keys: str) -> list[str]:
    """The views that lie open after each key."""
    views = []
    for key in keys:
        before = opened.view
        opened.press(key)
        opened.until(functools.partial(is_not_at, opened, before), f"another view after {key}")
        views.append(opened.view)
    return views


def test_the_right_arrow_turns_onwards_in_a_book_from_left_to_right(visit: Open) -> None:
    opened = visit(f"items/{CODEX}/#view=ms7_0005_001r", width=500, height=900).awake()
    assert turned(opened, "ArrowRight", "ArrowRight", "ArrowLeft") == [
        "ms7_0006_001v",
        "ms7_0007_002r",
        "ms7_0006_001v",
    ]
    opened.settle()
    opened.assert_clean()


def test_the_left_arrow_turns_onwards_in_a_book_from_right_to_left(visit: Open) -> None:
    opened = visit(f"items/{RIGHT_TO_LEFT}/#view=or3_0004_001r", width=500, height=900).awake()
    assert turned(opened, "ArrowLeft", "ArrowLeft", "ArrowRight") == [
        "or3_0005_001v",
        "or3_0006_002r",
        "or3_0005_001v",
    ]


@pytest.mark.parametrize("item", [CODEX, RIGHT_TO_LEFT])
def test_page_down_reads_onwards_in_either_direction(visit: Open, demo: Path, item: str) -> None:
    opened = visit(f"items/{item}/", width=500, height=900).awake()
    opened.press("Home")
    opened.until(lambda: opened.view.endswith("front-cover"), "the first view does not open")
    first = opened.view
    second, third = turned(opened, "PageDown", "PageDown")
    assert turned(opened, "PageUp", "Home") == [second, first]
    assert len({first, second, third}) == 3


@pytest.mark.parametrize(("item", "verso_is_left"), [(CODEX, True), (RIGHT_TO_LEFT, False)])
def test_an_opening_shows_both_pages_each_on_its_side(visit: Open, item: str, verso_is_left: bool) -> None:
    verso, recto = ("ms7_0006_001v", "ms7_0007_002r") if item == CODEX else ("or3_0005_001v", "or3_0006_002r")
    opened = visit(f"items/{item}/#view={verso}").awake()
    shown = {path.split("/")[1] for path in opened.tiles() if "/full/" not in path}
    assert {verso, recto} <= shown
    field = opened.page.get_by_role("textbox", name="Go to a view")
    assert field.input_value() == "f. 1v – f. 2r"
    stage = opened.page.locator("#plane").bounding_box()
    assert stage is not None
    opened.page.mouse.move(stage["x"] + stage["width"] * 0.3, stage["y"] + stage["height"] / 2)
    for _ in range(6):
        opened.page.mouse.wheel(0, -200)
        opened.page.wait_for_timeout(40)
    opened.press("c")
    seen = opened.offered("Link to what you see now")
    on_the_left = verso if verso_is_left else recto
    assert f"#view={on_the_left}&xywh=" in seen  # the link is to the page that is seen


def test_a_section_leads_to_its_first_view(visit: Open) -> None:
    opened = visit(f"items/{CODEX}/").awake()
    opened.page.get_by_role("link", name="Wheel of the year").click()
    opened.until(lambda: opened.view in ("ms7_0007_002r", "ms7_0006_001v"), "the section's view")
    assert "f. 2r" in opened.page.get_by_role("textbox", name="Go to a view").input_value()


@pytest.mark.parametrize("typed", ["f. 4r", "4r", "9"])
def test_a_typed_label_or_number_leads_to_its_view(visit: Open, typed: str) -> None:
    opened = visit(f"items/{CODEX}/", width=500, height=900).awake()
    field = opened.page.get_by_role("textbox", name="Go to a view")
    field.fill(typed)
    field.press("Enter")
    opened.until(lambda: opened.view == "ms7_0011_004r", "f. 4r")


def test_a_view_that_was_not_captured_is_told_of(visit: Open) -> None:
    opened = visit(f"items/{CODEX}/#view={NOT_CAPTURED}", width=500, height=900)
    opened.page.wait_for_selector("#desk.awake", state="attached")
    assert opened.page.get_by_text("Not captured").first.is_visible()
    opened.settle()
    opened.assert_clean()


# ---------------------------------------------------------------------------------------------- lights


def middle(pixels: Pixels) -> Pixels:
    rows, columns, _ = pixels.shape
    part: Pixels = pixels[rows // 3 : rows * 2 // 3, columns // 3 : columns * 2 // 3]
    return part


def moved_px(one: Pixels, other: Pixels) -> float:
    """How far one picture lies from the other: the highest point of their cross-correlation."""
    grey = [each.mean(axis=2) - each.mean() for each in (one, other)]
    edges = [np.fft.fft2(np.hypot(*np.gradient(each))) for each in grey]
    likeness = np.fft.ifft2(edges[0] * edges[1].conj()).real
    at = np.unravel_index(likeness.argmax(), likeness.shape)
    wrapped = [min(found, size - found) for found, size in zip(at, likeness.shape, strict=True)]
    return float(np.hypot(*wrapped))


def test_lights_are_chosen_by_name_and_by_key(visit: Open) -> None:
    opened = visit(f"items/{LIGHTS}/#view=pap3_0003_recto").awake()
    names = opened.page.get_by_role("combobox", name="Light")
    assert names.locator("option").all_inner_texts() == [
        "Normal light",
        "Raking light, left",
        "Infrared, 940 nm",
    ]
    plain = middle(opened.shot("#plane"))
    names.select_option("Infrared, 940 nm")
    opened.until(lambda: any("pap3_0011_recto-ir/" in each for each in opened.tiles()), "the infrared")
    opened.settle()
    infrared = middle(opened.shot("#plane"))
    assert np.ptp(infrared, axis=2).mean() < 2 < np.ptp(plain, axis=2).mean()
    opened.page.locator("#plane [role=img]").focus()
    opened.press("l")
    assert names.input_value() == "0"
    opened.assert_clean()


def test_a_fade_lies_between_its_two_lights(visit: Open) -> None:
    opened = visit(f"items/{LIGHTS}/#view=pap3_0003_recto").awake()
    opened.page.get_by_role("button", name="Fade").click()
    opened.page.get_by_label("with", exact=True).select_option("Infrared, 940 nm")
    slider = opened.page.get_by_role("slider")
    shots = {}
    for part in (0, 50, 100):
        slider.fill(str(part))
        opened.settle()
        shots[part] = middle(opened.shot("#plane"))
    assert np.abs(shots[0] - shots[100]).mean() > 10
    assert np.abs(shots[50] - (shots[0] + shots[100]) / 2).mean() < 3
    opened.assert_clean()


def test_two_lights_beside_each_other_show_the_same_place(visit: Open) -> None:
    opened = visit(f"items/{LIGHTS}/#view=pap3_0003_recto", width=600, height=700).awake()
    opened.page.get_by_role("button", name="Side by side").click()
    opened.page.wait_for_selector("#plane-2 canvas")
    opened.settle()
    one, other = (opened.page.locator(each).bounding_box() for each in ("#plane", "#plane-2"))
    assert one is not None
    assert other is not None
    assert abs(one["width"] - other["width"]) <= 2
    opened.page.mouse.move(other["x"] + other["width"] * 0.8, other["y"] + other["height"] * 0.6)
    for _ in range(8):
        opened.page.mouse.wheel(0, -200)
        opened.page.wait_for_timeout(40)
    opened.settle()
    assert any("pap3_0004_recto-raking/" in each for each in opened.tiles())
    normal, raking = (middle(opened.shot(each)) for each in ("#plane", "#plane-2"))
    assert np.abs(normal - raking).mean() > 1
    assert moved_px(normal, raking) <= 2
    opened.assert_clean()


# ----------------------------------------------------------------------------------- scale and measures


def centre_px(pixels: Pixels, colour: Pixels) -> tuple[float, float]:
    """The centre of the only patch of a colour."""
    rows, columns = np.nonzero(np.abs(pixels - colour).max(axis=2) < 14)
    assert len(rows) > 200
    return float(columns.mean()), float(rows.mean())


PAIRS = [("orange", "orange yellow"), ("blue", "yellow"), ("dark skin", "bluish green")]


def patch(name: str) -> int:
    return [each[0] for each in truth.PATCHES].index(name)


def target_px_per_mm(opened: Visit) -> float:
    """Measured on the screen, between patches whose distance on the target is known."""
    pixels = opened.shot("#plane")
    ratios = []
    for one, other in PAIRS:
        ends = [centre_px(pixels, screen_colour(each)) for each in (one, other)]
        (x, y), (x2, y2) = (truth.SMALL.centre_mm(patch(each)) for each in (one, other))
        ratios.append(
            float(np.hypot(ends[0][0] - ends[1][0], ends[0][1] - ends[1][1]) / np.hypot(x - x2, y - y2))
        )
    assert max(ratios) / min(ratios) < 1.01
    return float(np.mean(ratios))


def screen_colour(name: str) -> Pixels:
    """A patch in sRGB, from its L*a*b* for D50 (IEC 61966-2-1; Bradford adaptation)."""
    lightness, a, b = truth.PATCHES[patch(name)][1:]
    fy = (lightness + 16) / 116
    white = np.array([0.96422, 1.0, 0.82521])
    f = np.array([fy + a / 500, fy, fy - b / 200])
    xyz = white * np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29))
    linear = (
        np.array(
            [
                [3.1338561, -1.6168667, -0.4906146],
                [-0.9787684, 1.9161415, 0.0334540],
                [0.0719453, -0.2289914, 1.4052427],
            ]
        )
        @ xyz
    )
    linear = linear.clip(0, 1)
    code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    colour: Pixels = code * 255
    return colour


def bar(opened: Visit) -> tuple[float, float]:
    """The scale bar's length on the screen, and the millimetres that it says."""
    box = opened.page.locator(".scale-bar").bounding_box()
    text = opened.page.locator(".scale-length").inner_text()
    assert box is not None
    assert text.endswith("mm")
    return box["width"], float(text.removesuffix("mm").strip())


@pytest.mark.parametrize("keys", [(), ("+",), ("+", "+", "-")])
def test_the_scale_bar_agrees_with_the_target_on_the_screen(visit: Open, keys: tuple[str, ...]) -> None:
    opened = visit(f"items/{LIGHTS}/#view={TARGET}", height=1000).awake()
    opened.press(*keys)
    opened.settle()
    px, mm = bar(opened)
    assert px / mm == pytest.approx(target_px_per_mm(opened), rel=0.01)


def test_a_measured_line_agrees_with_the_target(visit: Open) -> None:
    opened = visit(f"items/{LIGHTS}/#view={TARGET}", height=1000).awake()
    pixels = opened.shot("#plane")
    opened.page.get_by_role("button", name="Measure").click()
    box = opened.page.locator("#plane").bounding_box()
    assert box is not None
    names = ("Start of the line", "End of the line")
    for name, colour in zip(names, ("orange", "orange yellow"), strict=True):
        handle = opened.page.get_by_role("button", name=name).bounding_box()
        assert handle is not None
        x, y = centre_px(pixels, screen_colour(colour))
        opened.page.mouse.move(handle["x"] + handle["width"] / 2, handle["y"] + handle["height"] / 2)
        opened.page.mouse.down()
        opened.page.mouse.move(box["x"] + x, box["y"] + y, steps=4)
        opened.page.mouse.up()
    text = opened.page.locator(".measured").inner_text()
    assert float(text.removesuffix("mm").strip()) == pytest.approx(5 * truth.SMALL.pitch_mm, rel=0.01)


# ------------------------------------------------------------------------------------- links and citing


def test_a_link_to_a_region_shows_that_region(visit: Open) -> None:
    link = "view=ms7_0009_003r&xywh=100,120,200,160"
    opened = visit(f"items/{CODEX}/#{link}").awake()
    assert opened.place == {"view": "ms7_0009_003r", "xywh": "100,120,200,160"}
    outline = opened.page.locator(".region").bounding_box()
    stage = opened.page.locator("#plane").bounding_box()
    assert outline is not None
    assert stage is not None
    assert outline["width"] / outline["height"] == pytest.approx(200 / 160, rel=0.03)
    fills = max(outline["width"] / stage["width"], outline["height"] / stage["height"])
    assert fills == pytest.approx(1, abs=0.03)
    opened.assert_clean()


def test_the_link_that_is_offered_leads_back_to_what_was_seen(visit: Open) -> None:
    opened = visit(f"items/{RIGHT_TO_LEFT}/#view=or3_0004_001r", width=900, height=900).awake()
    opened.press("+", "+", "+", "+", "Shift+ArrowRight", "Shift+ArrowUp")
    opened.settle()
    seen = opened.shot("#plane")
    opened.press("c")
    link = opened.offered("Link to what you see now")
    assert link.startswith(f"{BASE_URL}/items/{RIGHT_TO_LEFT}/#view=or3_0004_001r&xywh=")
    again = visit(link.removeprefix(f"{BASE_URL}/"), width=900, height=900).awake()
    again.press("Escape")
    again.settle()
    px_per_unit = 900 / int(link.split(",")[-2])
    assert moved_px(middle(again.shot("#plane")), middle(seen)) <= px_per_unit  # links are in whole units


def test_a_citation_names_holder_item_view_and_address(visit: Open) -> None:
    opened = visit(f"items/{CODEX}/#view=ms7_0009_003r", width=500, height=900).awake()
    opened.page.get_by_role("button", name="Cite").click()
    text = opened.offered("Citation")
    for part in ("Aldermoor Library", "MS 7", "f. 3r", f"{BASE_URL}/items/{CODEX}/#view=ms7_0009_003r"):
        assert part in text


def test_downloads_say_their_rights_and_are_there(visit: Open) -> None:
    opened = visit(f"items/{CODEX}/#view=ms7_0009_003r", width=500, height=900).awake()
    opened.page.get_by_role("button", name="Download").click()
    dialog = opened.page.get_by_role("dialog")
    dialog.get_by_role("link", name="largest").wait_for()
    assert dialog.get_by_text("Public Domain Mark 1.0").is_visible()
    links = dialog.get_by_role("link").evaluate_all("all => all.map(a => a.href)")
    own = [link for link in links if link.startswith(opened.root)]
    assert len(own) >= 4
    assert any(link.endswith(".pdf") for link in own)
    for link in own:
        assert opened.page.request.get(link).ok, link


@pytest.mark.parametrize(("width", "height"), [(320, 256), (500, 400), (768, 1024), (1280, 800)])
def test_a_link_to_a_view_leads_to_the_desk_and_not_to_its_row(visit: Open, width: int, height: int) -> None:
    opened = visit(f"items/{CODEX}/#view=ms7_0009_003r", width=width, height=height).awake()
    assert opened.page.evaluate("scrollY") == 0


def test_a_turn_is_kept_in_the_link(visit: Open) -> None:
    opened = visit(f"items/{CODEX}/#view=ms7_0009_003r&turn=90", width=900, height=700).awake()
    turned_pixels = opened.shot("#plane")
    opened.press("Shift+R")
    opened.settle()
    assert np.abs(opened.shot("#plane") - turned_pixels).mean() > 5
    opened.press("r")
    opened.settle()
    assert np.abs(opened.shot("#plane") - turned_pixels).mean() < 3
