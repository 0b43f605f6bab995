"""The quality page: whole in itself, escaped, reachable, readable."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import PurePosixPath
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import specification
from pipeline.measurements import GREY_SCALE, Curve, FrameMeasures
from pipeline.model import CaptureFacts, Frame, FrameKind, LanguageMap
from pipeline.report import TEMPLATES, grouping, page, pictures, targets
from tests.check.test_rules import FAILING, alike, cases, unreadable
from tests.check.world import World, frame, good_frames, item, record
from tests.report import sample, verdicts
from tests.report.test_quality import document


def outline(world: World) -> verdicts.Outline:
    """The page of a judgement, held against what every page keeps to."""
    found = verdicts.outline(page.quality_page(document(world)))
    assert found.links == []
    assert found.sources == []
    return found


@pytest.fixture(scope="module")
def sampled() -> tuple[dict[str, Any], dict[str, bytes], bytes]:
    """The sample's document, its pictures and its page."""
    made, pictures = dict(sample.document()), sample.thumbnails(sample.frames())
    return made, pictures, page.quality_page(made, pictures)


@pytest.mark.parametrize(("code", "change", "expected"), cases(FAILING))
def test_a_page_shows_every_finding_and_needs_nothing_from_outside(
    code: str, change: Any, expected: set[str]
) -> None:
    world = change(World())
    found = outline(world)
    for finding in world.judge().findings:
        assert finding.title in found.text
        assert finding.advice in found.text
        assert finding.source in found.text
        assert f"{finding.code}-{finding.level}" in found.ids


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
    assert text.count("Find out which colour space") == 2  # first of all, and with what was found
    assert text.count("If all untagged files of the unit are in one known space") == 1


def test_a_frame_that_seems_a_double_is_shown_with_the_one_to_hold_it_against() -> None:
    world = alike(3, 5)(World())
    html = page.quality_page(document(world), thumbnails=sample.thumbnails(world.frames)).decode()
    (figure,) = re.findall(r'<figure class="beside">.*?</figure>', html, re.DOTALL)
    assert 'src="data:image' in figure
    assert "f. 1r" in figure
    assert 'class="beside"' not in page.quality_page(document(World())).decode()


def test_the_frame_to_hold_another_against_is_the_one_named_though_another_name_is_in_it() -> None:
    world = alike(3, 5)(World())
    world.change_frame(3, file=PurePosixPath("new_b.tif"))
    world.change_frame(2, file=PurePosixPath("b.tif"), label="not this one")
    html = page.quality_page(document(world), thumbnails=sample.thumbnails(world.frames)).decode()
    (figure,) = re.findall(r'<figure class="beside">.*?</figure>', html, re.DOTALL)
    assert "f. 1r" in figure
    assert "not this one" not in figure


HOSTILE = "<script>alert(1)</script>\"'&\u202etxt.exe\x07\x1b[31m\n"


def test_names_and_labels_are_escaped_and_what_acts_unseen_is_written_out() -> None:
    world = World()
    world.change_frame(3, label=HOSTILE, file=PurePosixPath(HOSTILE), note=HOSTILE)
    world.change_capture(3, model=HOSTILE, lens_model=HOSTILE, software=HOSTILE)
    world.change_item(title=LanguageMap.of(HOSTILE), shelfmark=HOSTILE)
    html = page.quality_page(document(world)).decode()
    assert "<script" not in html
    assert "\x07" not in html
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


def rows(numbers: list[int]) -> list[dict[str, Any]]:
    return [
        {"place": f"pages.csv, row {n}: b{n}.tif", "row": n, "file": f"b{n}.tif", "label": ""}
        for n in numbers
    ]


def together(numbers: list[int], places: list[str]) -> Iterator[str]:
    return page.Rows(rows(numbers)).together(places)


@given(st.lists(st.integers(1, 40), unique=True).map(sorted))
def test_runs_of_rows_keep_every_place(numbers: list[int]) -> None:
    kept: list[int] = []
    for run in together(numbers, [each["place"] for each in rows(numbers)]):
        first, _, last = (
            run.removeprefix("pages.csv, rows ").removeprefix("pages.csv, row ").partition(" to ")
        )
        start = int(first.split(":")[0])
        kept += range(start, (int(last.split(":")[0]) if " rows " in run else start) + 1)
    assert kept == numbers


def test_places_that_are_no_rows_stay_as_they_are() -> None:
    places = ["item.toml, care", "a.tif", "b.tif", "pages.csv, row 2: b2.tif", "pages.csv, row 4: b4.tif"]
    assert list(together([2, 4], places)) == places
    assert list(together([2, 3], ["item.toml, care", *places[3:4], "pages.csv, row 3: b3.tif"])) == [
        "item.toml, care",
        "pages.csv, rows 2 to 3: b2.tif to b3.tif",
    ]


def test_facts_that_all_frames_share_are_said_once() -> None:
    text = outline(World()).text
    assert text.count("eciRGB v2") == 3  # once for all frames, as limit and as found in the limits
    assert "The same in all 11 frames" in text


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (Fraction(1, 125), "1/125 s, f/8, ISO 100"),
        (Fraction(1, 2), "0.5 s, f/8, ISO 100"),
        (None, "f/8, ISO 100"),
    ],
)
def test_exposures_are_said_as_photographers_say_them(seconds: Fraction | None, said: str) -> None:
    capture = CaptureFacts(exposure_time_s=seconds, f_number=Fraction(8), iso_speed=100)
    assert said in outline(World().change_facts(3, capture=capture)).text


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
    frames = tuple(frame(n, f"f. {n // 2}{'rv'[n % 2]}") for n in range(2, 1502))
    world = World(item=item(frames), frames=frames, records={f.identifier: record(f) for f in frames})
    assert len(page.quality_page(document(world))) < 500 * len(frames)


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2, definition of that name."""
    digits = colour.lstrip("#")
    wide = digits if len(digits) == 6 else "".join(digit * 2 for digit in digits)
    parts = [int(wide[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_text_has_enough_contrast_on_screen_light_and_dark_and_on_paper() -> None:
    """4.5 to 1: WCAG 2.2, success criterion 1.4.3."""
    css = (TEMPLATES / "report.css").read_text(encoding="utf-8")
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


# ------------------------------------------------------------------------------------ what was measured


def test_a_page_with_pictures_and_plots_needs_nothing_from_outside(sampled: Any) -> None:
    _, _, made = sampled
    found = verdicts.outline(made)
    assert found.links == []
    assert {each[:23] for each in found.sources} == {"data:image/jpeg;base64,"}


def test_the_sheet_has_every_frame_once_in_reading_order(sampled: Any) -> None:
    document, pictures, made = sampled
    sheet = made.decode().split('<ol class="sheet')[1].split("</ol>")[0]
    names = re.findall(r'<bdi class="name"[^>]*>([^<]*)</bdi>', sheet)
    assert names == [frame["label"] for frame in document["frames"]]
    assert sheet.count("<img ") == len(pictures)
    assert sheet.count("not captured") == sheet.count("unreadable") == 1


def test_every_frame_with_a_fault_is_shown_with_what_to_do_and_is_led_to_from_the_top(sampled: Any) -> None:
    text = made_text(sampled)
    head = text[: text.index("Contact sheet", text.index("Facts of all frames"))]
    cards = text[text.rindex("Frames to look at") : text.rindex("Sessions and targets")]
    for label in (sample.SOFT, sample.SKEWED, sample.CLIPPED, sample.UNREADABLE, sample.BAD_TARGET):
        assert label in head
        assert label in cards
    assert "Lay the next pages straight" in cards
    assert "an edge blur of 2.10 px, its siblings' 0.86 px; allowed or expected: ≤ 3.5 robust SD" in head
    assert "Lay the next pages straight; masters are not turned afterwards." in head


def made_text(sampled: Any) -> str:
    return verdicts.outline(sampled[2]).text


def test_whoever_could_photograph_again_is_told_who_decides(sampled: Any) -> None:
    text = made_text(sampled)
    assert text.index("conservator’s decision") < text.index("In reading order")


def test_marks_are_drawn_beside_the_picture_with_their_words(sampled: Any) -> None:
    html = sampled[2].decode()
    assert 'aria-label="Drawn over the picture: page outline (1), line of text (3), soft region (1)"' in html
    assert "level, to compare" in html
    assert html.count('class="clipped"') == 3  # two regions and the legend


def test_a_frame_whose_focus_is_in_doubt_has_its_map_of_sharpness(sampled: Any) -> None:
    cards = sampled[2].decode().split('<article class="card"')[1:]
    assert [sample.SOFT in card for card in cards if "<b>Blur of the sharpest edges, σ</b>" in card] == [True]


def test_every_limit_has_its_verdict_in_words_and_its_source(sampled: Any) -> None:
    document, _, made = sampled
    table = made.decode().split('<table class="limits all">')[1].split("</table>")[0]
    limits = document["specification"]["limits"]
    assert re.findall(r'<tr id="limit-(\d+)">', table) == [str(at) for at in range(1, len(limits) + 1)]
    verdicts_ = re.findall(r'class="standing \w+ \w+">([^<]+)<', table)
    assert len(verdicts_) == len(document["specification"]["limits"])
    assert verdicts_.count("beyond") == 7
    assert "read in full" in made.decode()


def test_a_measure_leads_to_what_it_means(sampled: Any) -> None:
    html = sampled[2].decode()
    led = set(re.findall(r'<a class="term" href="#(limit-\d+)">([^<]+)</a>', html))
    assert len(led) > 10
    table = html.split('<table class="limits all">')[1].split("</table>")[0]
    rows = {each.split('"')[0]: each for each in table.split('<tr id="')[1:]}
    for anchor, label in led:
        assert f'<div><b>{label}</b><span class="meaning">' in rows[anchor]


def test_what_was_not_measured_is_said_with_its_reason_and_where(sampled: Any) -> None:
    text = made_text(sampled)
    assert "Not measured: there is no line of text or drawing on the page." in text
    assert "it takes an eye: moiré" in text


def test_a_limit_that_no_frame_could_be_held_against_is_not_passed_over() -> None:
    bare = World()
    frames = tuple(each for each in bare.frames if each.kind not in (FrameKind.TARGET, FrameKind.FLAT))
    text = outline(bare.with_frames(frames)).text
    assert text.count("there is no target frame") == 10
    assert text.count("there is no flat frame") == 2
    assert "nothing in them was measured" in text
    assert "nothing is known of its colour, tone, light and resolution" in text


def test_every_target_and_flat_frame_has_its_swatches_and_plots(sampled: Any) -> None:
    html = sampled[2].decode()
    assert html.count('<ol class="swatches">') == 3
    assert html.count("<b>Colours in the a*b* plane</b>") == 3
    assert html.count("<b>Response to slanted edges (SFR)</b>") == 3
    assert html.count("<b>Lightness minus its mean</b>") == 2


def test_a_grey_scale_in_invisible_light_is_drawn() -> None:
    tones = Curve(name=GREY_SCALE, x_label="step", y_label="L*", points=((1, 90.0), (2, 60.0), (3, 20.0)))
    world = World()
    world.change_record(0, measures=FrameMeasures(curves=(tones,)))
    html = page.quality_page(document(world)).decode()
    assert html.count("<b>Grey scale, without reference</b>") == 1


def test_frames_of_a_session_stand_beside_each_other_with_their_verdicts(sampled: Any) -> None:
    one, _, two, _ = re.findall(r'<table class="across">(.*?)</table>', sampled[2].decode(), re.S)
    for table, names in ((one, 1), (two, 2)):
        rows = table.split("<tr>")[2:]
        assert table.split("</thead>")[0].count("<th ") == 2 + names
        assert all(row.count("<td>") == 1 + names for row in rows)
        assert len(rows) == 10
    balance = next(row for row in two.split("<tr>") if "white balance" in row)
    assert re.findall(r'class="standing \w+ \w+">([^<]+)<', balance) == ["within", "beyond"]


def test_what_keeps_its_limits_is_folded_behind_the_first_and_what_does_not_is_open(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(targets, "PLOTTED_MOST", 0)
    made = [sample.target(shift=shift, seed=1) for shift in (1.6, 1.6, 9.0)]
    world = World()
    frames = [frame(n, f"target {n}", FrameKind.TARGET) for n in (1, 2, 3)]
    world = world.with_frames((*frames, *(each for each in world.frames if each.kind is FrameKind.PAGE)))
    world.specification = specification.load(sample.SPECIFICATION)
    for at, measures in enumerate(made):
        world.change_record(at, measures=measures)
    (group,) = targets.groups(dict(document(world)))["s1"]
    assert [group.is_open(view) for view in group.views] == [True, False, True]
    html = page.quality_page(document(world)).decode()
    assert html.count("<summary>Swatches, plots, every number</summary>") == 1


def test_notes_at_a_frame_to_look_at_are_named_and_its_faults_told_in_full() -> None:
    html = page.quality_page(document(World().change_facts(3, icc=None, orientation=6))).decode()
    (card,) = html.split('<article class="card"')[1:]
    full, also = card.split("Also found here:")
    assert '<li class="error">' in full
    assert '<li class="note">' not in full
    assert "(note F" in also.split("</p>")[0]


def test_where_a_frame_is_softest_is_drawn_only_if_its_focus_is_in_doubt(sampled: Any) -> None:
    picture = pictures.Small(uri="", width_px=100, height_px=100)
    measures = {"marks": [{"kind": "soft region", "points": [[0, 0], [1, 0], [1, 1]], "is_closed": True}]}
    measures["measurements"] = []
    assert [each.kind for each in pictures.shapes(measures, picture, is_soft=True)] == ["soft region"]
    assert list(pictures.shapes(measures, picture, is_soft=False)) == []


def test_with_many_targets_the_numbers_stay_when_the_plots_are_no_longer_drawn(
    sampled: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(targets, "PLOTTED_MOST", 1)
    monkeypatch.setattr(page, "MAPS_MOST", 0)
    html = page.quality_page(sampled[0]).decode()
    assert html.count("<b>Colours in the a*b* plane</b>") == 1
    assert html.count('<ol class="swatches">') == 3


def test_books_read_leftwards_are_laid_out_leftwards(sampled: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(targets, "PLOTTED_MOST", 0)
    document = sampled[0] | {"item": sampled[0]["item"] | {"reading": "right-to-left"}}
    assert '<ol class="sheet leftwards"' in page.quality_page(document).decode()


def test_what_is_found_at_all_frames_marks_none_and_is_said_above_the_sheet() -> None:
    made = document(World().change_all_facts(icc=None).change_facts(3, compression="LZW"))
    html = page.quality_page(made).decode()
    sheet = html.split('<ol class="sheet')[1].split("</ol>")[0]
    counts = Counter(each["code"] for each in made["findings"] if each["level"] != "note")
    assert counts["F005"] == made["verdict"]["frames"]
    assert "F005" not in sheet
    (apart,) = (code for code, count in counts.items() if count == 1)
    assert apart in sheet
    assert "Found at so many frames" in html


def test_pages_with_pictures_are_the_same_to_the_byte(sampled: Any) -> None:
    document, pictures, made = sampled
    assert page.quality_page(document, pictures) == made


def test_a_damaged_picture_is_an_empty_field(sampled: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(targets, "PLOTTED_MOST", 0)
    document, pictures, _ = sampled
    first = document["frames"][2]["id"]
    html = page.quality_page(document, {first: pictures[first][:80]}).decode()
    assert "<img" not in html
    assert html.count(">no picture<") > 90


def test_a_page_of_hundreds_of_pictures_stays_small(sampled: Any) -> None:
    _, pictures, _ = sampled
    frames = tuple(frame(n, f"f. {n // 2}{'rv'[n % 2]}") for n in range(2, 202))
    world = World(item=item(frames), frames=frames, records={f.identifier: record(f) for f in frames})
    one = pictures["b14_0005"]
    made = page.quality_page(document(world), {each.identifier: one for each in frames})
    assert made.count(b"<img ") == 200
    assert len(made) < 11_250 * len(frames)  # of 900: under 10 MB


def test_measured_texts_are_escaped_and_what_acts_unseen_is_written_out(sampled: Any) -> None:
    world = World()
    measures = sample.target(shift=2, seed=1)
    bad = replace(
        measures,
        measurements=tuple(replace(m, place=HOSTILE, method=HOSTILE) for m in measures.measurements),
        patches=tuple(replace(p, name=HOSTILE) for p in measures.patches),
        reference=HOSTILE,
        curves=tuple(replace(c, name=f"SFR, {HOSTILE}") for c in measures.curves),
        marks=tuple(replace(m, kind=HOSTILE) for m in measures.marks),
        remarks=(HOSTILE,),
    )
    world.change_record(0, measures=bad)
    html = page.quality_page(document(world), {"b14_0001": sampled[1]["b14_0001"]}).decode()
    verdicts.outline(html.encode())
    assert "<script" not in html
    assert "\x07" not in html
