"""The quality page: whole in itself, escaped, reachable, readable."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import PurePosixPath
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.model import Frame, FrameKind, LanguageMap
from pipeline.report import grouping, html, page
from tests.check.test_rules import FAILING, cases, unreadable
from tests.check.world import World, frame, good_frames, item, record
from tests.report.test_quality import document

VOID = {"meta", "link", "br", "img", "hr", "input"}


class Outline(HTMLParser):
    """Collects what a test asks for, and refuses elements that are not closed in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.targets: list[str] = []
        self.outside: list[str] = []
        self.headings: list[int] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = {name: value or "" for name, value in attrs}
        if tag not in VOID:
            self.open.append(tag)
        self.ids += [values["id"]] if "id" in values else []
        self.targets += [values[name] for name in ("aria-labelledby",) if name in values]
        if "href" in values:
            (self.targets if values["href"].startswith("#") else self.outside).append(
                values["href"].lstrip("#")
            )
        self.outside += [values[name] for name in ("src", "srcset", "action") if name in values]
        self.outside += [name for name in values if name.startswith("on")]
        if tag in ("script", "iframe", "object", "link", "form"):
            self.outside.append(tag)
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.text += data


def outline(world: World) -> Outline:
    found = Outline()
    found.feed(page.quality_page(document(world)).decode())
    assert found.open == []
    return found


@pytest.mark.parametrize(("code", "change", "expected"), cases(FAILING))
def test_a_page_shows_every_finding_and_needs_nothing_from_outside(
    code: str, change: Any, expected: set[str]
) -> None:
    world = change(World())
    found = outline(world)
    assert found.outside == []
    assert len(found.ids) == len(set(found.ids))
    assert set(found.targets) <= set(found.ids)
    for finding in world.judge().findings:
        assert finding.title in found.text
        assert finding.advice in found.text
        assert finding.source in found.text
        assert f"{finding.code}-{finding.level}" in found.ids


def test_headings_go_down_one_step_at_a_time() -> None:
    levels = outline(unreadable(World())).headings
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))


@pytest.mark.parametrize(
    ("change", "verdict"),
    [
        (lambda w: w, "Nothing found wanting"),
        (lambda w: w.change_facts(3, compression="LZW"), "Acceptable, with warnings"),
        (lambda w: w.change_facts(3, icc=None), "Found wanting"),
    ],
)
def test_the_verdict_comes_first_and_in_words(change: Any, verdict: str) -> None:
    text = outline(change(World())).text
    assert verdict in text
    assert text.index(verdict) < text.index("What was not judged")


def test_errors_stand_before_warnings_and_warnings_before_notes() -> None:
    world = World().change_facts(3, icc=None, orientation=6).change_facts(5, compression="LZW")
    text = outline(world).text
    places = [text.index(heading) for heading in grouping.HEADINGS.values()]
    assert places == sorted(places)


def test_many_frames_with_one_finding_are_one_entry_with_their_rows_run_together() -> None:
    labels = [f"f. {leaf}{side}" for leaf in range(1, 51) for side in "rv"]
    frames = (*good_frames()[:3], *(frame(n, label) for n, label in enumerate(labels, start=4)))
    world = World().with_frames(frames)
    for at in range(3, 103):
        world.change_facts(at, icc=None)
    text = outline(world).text
    assert "pages.csv, rows 5 to 104: b14_0004.tif to b14_0103.tif" in text
    assert text.count("Find out which colour space") == 1


HOSTILE = "<script>alert(1)</script>\"'&\u202etxt.exe\x07\x1b[31m\n"


def test_names_and_labels_are_escaped_and_what_acts_unseen_is_written_out() -> None:
    world = World()
    world.change_frame(3, label=HOSTILE, file=PurePosixPath(HOSTILE), note=HOSTILE)
    world.change_capture(3, model=HOSTILE, lens_model=HOSTILE, software=HOSTILE)
    world.change_item(title=LanguageMap.of(HOSTILE), shelfmark=HOSTILE)
    html = page.quality_page(document(world)).decode()
    assert "<script" not in html
    assert "\u202e" not in html
    assert "\x07" not in html
    assert "\x1b" not in html
    assert "⟨U+202E⟩txt.exe⟨U+0007⟩⟨U+001B⟩" in html
    outline(world)


@given(st.text())
def test_what_is_made_visible_holds_no_character_that_acts_unseen(text: str) -> None:
    shown = page.visible(text)
    assert page.visible(shown) == shown
    assert "\u202e" not in shown
    assert "\n" not in shown


def test_joiners_stay_because_they_are_spelling() -> None:
    assert page.visible("می‌خواهم") == "می‌خواهم"


@given(st.lists(st.integers(1, 40), unique=True).map(sorted))
def test_runs_of_rows_keep_every_place(rows: list[int]) -> None:
    places = [f"pages.csv, row {row}: b{row}.tif" for row in rows]
    kept: list[int] = []
    for run in page.runs(places):
        first, _, last = (
            run.removeprefix("pages.csv, rows ").removeprefix("pages.csv, row ").partition(" to ")
        )
        start = int(first.split(":")[0])
        kept += range(start, (int(last.split(":")[0]) if " rows " in run else start) + 1)
    assert kept == rows


def test_places_that_are_no_rows_stay_as_they_are() -> None:
    places = ["item.toml, care", "a.tif", "b.tif", "pages.csv, row 2: a.tif", "pages.csv, row 4: b.tif"]
    assert list(page.runs(places)) == places


def test_facts_that_all_frames_share_are_said_once() -> None:
    text = outline(World()).text
    assert text.count("eciRGB v2") == 2  # once for all frames, once in the limits
    assert "The same in all 9 frames" in text


def test_what_was_not_judged_is_said_with_its_reason() -> None:
    text = outline(unreadable(World())).text
    assert "Not judged, because of F001" in text
    assert "focus" in text


def test_one_image_alone_is_shown_without_a_table_of_differences() -> None:
    only = Frame(
        identifier="a", file=PurePosixPath("a.tif"), label="", kind=FrameKind.PAGE, session="", row=0
    )
    text = outline(World(item=None, frames=(only,))).text
    assert "A folder of images" in text
    assert "a.tif" in text
    assert "Light" not in text  # nobody has said it


def test_the_page_is_the_same_to_the_byte() -> None:
    assert page.quality_page(document(World())) == page.quality_page(document(World()))


def test_a_page_of_thousands_of_frames_is_made_and_stays_small() -> None:
    frames = tuple(frame(n, f"f. {n // 2}{'rv'[n % 2]}") for n in range(2, 4002))
    world = World(item=item(frames), frames=frames, records={f.identifier: record(f) for f in frames})
    assert len(page.quality_page(document(world))) < 2_000_000


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2, definition of that name."""
    digits = colour.lstrip("#")
    wide = digits if len(digits) == 6 else "".join(digit * 2 for digit in digits)
    parts = [int(wide[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_text_has_enough_contrast_on_screen_light_and_dark_and_on_paper() -> None:
    """4.5 to 1: WCAG 2.2, success criterion 1.4.3."""
    css = (html.TEMPLATES / "report.css").read_text(encoding="utf-8")
    schemes = [
        dict(re.findall(r"--(\w+): (#\w+);", block)) for block in re.findall(r":root \{(.*?)\}", css, re.S)
    ]
    assert len(schemes) == 3
    for scheme in schemes:
        for ground in ("paper", "shade"):
            for name in ("ink", "soft", "error", "warning", "note", "link"):
                one, other = sorted((luminance(scheme[name]), luminance(scheme[ground])))
                assert (other + 0.05) / (one + 0.05) >= 4.5, (name, ground, scheme)


def test_levels_are_told_apart_by_words_not_by_colour_alone() -> None:
    world = World().change_facts(3, icc=None, orientation=6)
    html = page.quality_page(document(world)).decode()
    for level in ("error", "warning", "note"):
        assert f'<span class="level">{level}</span>' in html


def test_a_bare_folder_names_its_files() -> None:
    frames = tuple(replace(each, row=0, label="") for each in good_frames()[:8])
    bare = World(item=None, frames=frames).change_all_facts(icc=None)
    text = outline(bare).text
    assert all(str(each.file) in text for each in frames)
