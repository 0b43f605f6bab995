"""Which views of a bound volume are counted, and what is put between them."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.describe.arrangement import Arrangement, arrange
from pipeline.describe.paging import Placement
from pipeline.model import FrameKind
from pipeline.specs.iiif import Behavior
from tests.describe import make_items as make
from tests.describe.make_items import Row, leaves, pages, row, world

COVER, OPENING, FOLDOUT = FrameKind.COVER, FrameKind.OPENING, FrameKind.FOLDOUT
FRONT, BACK = row("front cover", COVER), row("back cover", COVER)


def arranged(rows: list[Row], **fields: Any) -> Arrangement:
    return arrange(world(rows, **fields).item)


def shown(arrangement: Arrangement) -> list[str]:
    """Each place in a word: ``f. 1r``, ``(f. 1r)`` if supplied, ``-spine`` if not counted, ``=ff. 1v–2r``."""
    return [_word(place) for place in arrangement.places]


def _word(place: Placement) -> str:
    label = place.label.best("en").removesuffix(" (not captured)")
    if not place.view:
        return f"({label})"
    marks = {Behavior.NON_PAGED: "-", Behavior.FACING_PAGES: "=", None: ""}
    return marks[place.behavior] + label


def test_covers_spine_edges_details_and_foldouts_are_not_counted() -> None:
    others = [
        row("spine", FrameKind.SPINE),
        row("fore edge", FrameKind.EDGE),
        row("f. 1r, initial", FrameKind.DETAIL),
        row("slip", FrameKind.FACE),
        row("f. 1v (unfolded)", FOLDOUT),
    ]
    arrangement = arranged([FRONT, *leaves(1, 1), *others, BACK])
    assert arrangement.behavior is Behavior.PAGED
    assert shown(arrangement) == [
        *("-front cover", "f. 1r", "f. 1v", "-spine", "-fore edge", "-f. 1r, initial", "-slip"),
        *("-f. 1v (unfolded)", "-back cover"),
    ]


def test_the_front_cover_is_counted_before_its_pastedown() -> None:
    rows = [FRONT, row("spine", FrameKind.SPINE), *pages("front pastedown", "f. 1r", "f. 1v"), BACK]
    assert shown(arranged(rows)) == [
        *("front cover", "-spine", "front pastedown", "f. 1r", "f. 1v", "-back cover"),
    ]


def test_a_pastedown_without_a_cover_gets_an_empty_one_before_it() -> None:
    arrangement = arranged(pages("front pastedown", "f. 1r", "f. 1v"))
    assert shown(arrangement) == ["(Front cover)", "front pastedown", "f. 1r", "f. 1v"]
    assert arrangement.places[0].label.best("de") == "Vorderdeckel (nicht aufgenommen)"


def test_a_half_leaf_without_a_row_is_supplied() -> None:
    arrangement = arranged(pages("f. 1r", "f. 1v", "f. 2v", "f. 3r", "f. 4r", "f. 4v"))
    assert shown(arrangement) == ["f. 1r", "f. 1v", "(f. 2r)", "f. 2v", "f. 3r", "(f. 3v)", "f. 4r", "f. 4v"]
    assert arrangement.places[2].identifier == "f-2r"  # as a row without a file would have it


def test_of_a_gap_only_the_other_halves_of_its_neighbours_are_supplied() -> None:
    assert shown(arranged(pages("f. 1r", "f. 9v"))) == ["f. 1r", "(f. 1v)", "(f. 9r)", "f. 9v"]
    assert shown(arranged(pages("f. 1v", "f. 9r"))) == ["(f. 1r)", "f. 1v", "f. 9r"]


def test_half_leaves_are_supplied_where_flyleaves_meet_the_text_and_before_the_back() -> None:
    rows = pages("f. i r", "f. 1r", "f. 1v", "f. 2r", "back pastedown")
    assert shown(arranged(rows)) == [
        *("f. i r", "(f. i v)", "f. 1r", "f. 1v", "f. 2r", "(f. 2v)", "back pastedown"),
    ]


def test_pages_are_supplied_as_leaves_are() -> None:
    assert shown(arranged(pages("p. 2", "p. 3", "p. 5"))) == ["(p. 1)", "p. 2", "p. 3", "(p. 4)", "p. 5"]


def test_no_page_is_supplied_twice() -> None:
    arrangement = arranged(pages("f. 1r", "f. 2r", "f. 1r (again)", "f. 2r (again)"))
    assert arrangement.behavior is Behavior.INDIVIDUALS
    assert "'f. 2r (again)' is a recto" in arrangement.doubt


def test_a_page_that_has_a_row_without_a_file_is_not_supplied_again() -> None:
    rows = [Row(label="f. 1r"), Row(label="f. 1v", captured=False), *leaves(2, 2)]
    arrangement = arranged(rows)
    assert shown(arrangement) == ["f. 1r", "f. 1v", "f. 2r", "f. 2v"]
    assert arrangement.places[1].label.best("en") == "f. 1v (not captured)"


def test_a_leaf_that_was_captured_unfolded_only_keeps_its_place_folded() -> None:
    rows = [*leaves(1, 1), row("f. 2r (unfolded)", FOLDOUT), Row(label="f. 2v"), *leaves(3, 3)]
    arrangement = arranged(rows)
    assert [place.label.best("en") for place in arrangement.places] == [
        *("f. 1r", "f. 1v", "f. 2r (unfolded)", "f. 2r (folded, not captured)", "f. 2v", "f. 3r", "f. 3v"),
    ]


def test_an_opening_stands_for_a_verso_and_a_recto() -> None:
    rows = [*pages("f. 1r"), row("ff. 1v–2r", OPENING), *pages("f. 2v", "f. 3r"), row("ff. 3v–4r", OPENING)]
    arrangement = arranged(rows)
    assert arrangement.behavior is Behavior.PAGED
    assert shown(arrangement) == ["f. 1r", "=ff. 1v–2r", "f. 2v", "f. 3r", "=ff. 3v–4r"]


def test_half_leaves_are_supplied_beside_openings() -> None:
    rows = [*pages("f. 1r"), row("ff. 1v–2r", OPENING), *pages("f. 3r", "f. 3v")]
    assert shown(arranged(rows)) == ["f. 1r", "=ff. 1v–2r", "(f. 2v)", "f. 3r", "f. 3v"]
    rows = [*pages("f. 1r", "f. 1v"), row("ff. 2v–3r", OPENING)]
    assert shown(arranged(rows)) == ["f. 1r", "f. 1v", "(f. 2r)", "=ff. 2v–3r"]


def test_a_codex_of_openings_alone_is_shown_one_by_one() -> None:
    assert arrange(make.oversize_codex().item).behavior is Behavior.INDIVIDUALS


def test_a_page_of_unknown_side_is_counted_if_that_suits_what_follows() -> None:
    assert shown(arranged(pages("title", "f. 1v", "f. 2r"))) == ["title", "f. 1v", "f. 2r"]


def test_a_page_of_unknown_side_is_not_counted_if_it_would_shift_what_follows() -> None:
    assert shown(arranged(pages("bookplate", "f. 1r", "f. 1v"))) == ["-bookplate", "f. 1r", "f. 1v"]
    assert shown(arranged(pages("f. 1r", "f. 1v", "slip", "f. 2r", "f. 2v"))) == [
        *("f. 1r", "f. 1v", "-slip", "f. 2r", "f. 2v"),
    ]


def test_pages_without_any_side_are_counted_as_they_come() -> None:
    assert shown(arranged(pages("a", "b", "c"))) == ["a", "b", "c"]


def test_a_misbound_volume_gets_nothing_supplied_and_is_shown_one_by_one_where_sides_clash() -> None:
    clashing = arranged(pages("f. 3r", "f. 5r", "f. 5v"), follows_foliation=False)
    assert clashing.behavior is Behavior.INDIVIDUALS
    assert shown(clashing) == ["f. 3r", "f. 5r", "f. 5v"]
    assert "'f. 5r' is a recto" in clashing.doubt
    assert "give that a row without a file" in clashing.doubt


def test_a_misbound_volume_of_whole_leaves_is_paged() -> None:
    arrangement = arranged([*leaves(5, 5), *leaves(1, 2)], follows_foliation=False)
    assert (arrangement.behavior, arrangement.doubt) == (Behavior.PAGED, "")


def test_two_rectos_in_a_row_whose_verso_stands_elsewhere_are_shown_one_by_one() -> None:
    arrangement = arranged(pages("f. 1r", "f. 2r", "f. 1v"))
    assert arrangement.behavior is Behavior.INDIVIDUALS
    assert arrangement.doubt


@pytest.mark.parametrize("taken", ["f. 2r.", "f/2r"])
def test_a_supplied_page_never_takes_the_identifier_of_a_view(taken: str) -> None:
    rows = [*pages("f. 1r", "f. 1v", "f. 2v"), row(taken, FrameKind.DETAIL)]
    arrangement = arranged(rows)
    identifiers = [place.identifier for place in arrangement.places]
    assert len(set(identifiers)) == len(identifiers)
    assert "(f. 2r)" in shown(arrangement)


@given(st.lists(st.booleans(), min_size=1, max_size=40), st.integers(1, 30))
def test_whatever_pages_are_lost_rectos_stand_on_odd_places(kept: list[bool], first: int) -> None:
    every = [f"f. {leaf}{side}" for leaf in range(first, first + 20) for side in "rv"]
    rows = pages(*(label for label, keep in zip(every, kept, strict=False) if keep))
    if not rows:
        return
    arrangement = arranged(rows)
    assert arrangement.behavior is Behavior.PAGED
    for place, spot in enumerate(arrangement.places, start=1):
        name = spot.label.best("en").removesuffix(" (not captured)")
        assert name.endswith("r" if place % 2 else "v")
    assert len(arrangement.places) <= 2 * len(rows)  # nothing but the halves of leaves that are there
