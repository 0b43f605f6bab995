"""Sections are runs of views by their labels; they nest, and never cross."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.model import FrameKind, LanguageMap, Section
from pipeline.record.sections import DEEPEST, Labels, Named, Span, crossings, nest
from pipeline.tomldoc.source import TomlSource
from tests.record.make_record import ITEM, PAGES, record


def _section(label: str, first: str, last: str | None = None) -> str:
    to = f'to = "{last}"\n' if last else ""
    return f'\n[[section]]\nlabel = {{ en = "{label}" }}\nfrom = "{first}"\n{to}'


def _outline(sections: tuple[Section, ...]) -> list[object]:
    return [(each.identifier, len(each.views), _outline(each.subsections)) for each in sections]


def test_a_section_holds_the_views_from_its_first_to_its_last(tmp_path: Path) -> None:
    item = record(tmp_path / "item", more=_section("Calendar, ferial", "f. 1r", "f. 2r")).item
    assert item.sections == (
        Section(
            identifier="Calendar-ferial",
            label=LanguageMap.of("Calendar, ferial", "en"),
            views=("B14_0002", "B14_0003", "B14_0004"),
        ),
    )


def test_sections_nest_by_what_they_contain_in_whatever_order_they_are_written(tmp_path: Path) -> None:
    parts = [
        _section("January", "f. 1r"),
        _section("Herbal", "f. 2r", "f. 2v"),
        _section("All", "f. 1r", "f. 2v"),
        _section("Calendar", "f. 1r", "f. 1v"),
    ]
    expected: list[object] = [("All", 4, [("Calendar", 2, [("January", 1, [])]), ("Herbal", 2, [])])]
    for name, order in (("a", parts), ("b", parts[::-1])):
        assert _outline(record(tmp_path / name, more="".join(order)).item.sections) == expected


def test_of_two_sections_with_the_same_ends_the_first_written_holds_the_second(tmp_path: Path) -> None:
    more = _section("Outer", "f. 1r", "f. 2v") + _section("Inner", "f. 1r", "f. 2v")
    item = record(tmp_path / "item", more=more).item
    assert _outline(item.sections) == [("Outer", 4, [("Inner", 4, [])])]


def test_two_sections_may_meet_on_one_page(tmp_path: Path) -> None:
    """A text ends and the next begins on f. 1v."""
    more = _section("Herbal", "f. 1v", "f. 2v") + _section("Calendar", "f. 1r", "f. 1v")
    item = record(tmp_path / "item", more=more).item
    assert _outline(item.sections) == [("Calendar", 2, []), ("Herbal", 3, [])]


def test_sections_of_one_name_have_their_own_identifiers(tmp_path: Path) -> None:
    more = _section("Letter", "f. 1r") + _section("letter", "f. 1v") + _section("دعاء", "f. 2r")
    identifiers = [each.identifier for each in record(tmp_path / "item", more=more).item.sections]
    assert identifiers == ["Letter", "letter-2", "u62f-639-627-621"]


def test_three_hundred_letters_are_three_hundred_sections(tmp_path: Path) -> None:
    pages = "file,label\n" + "".join(f",letter {n} {side}\n" for n in range(1, 301) for side in "rv")
    more = "".join(_section(f"Letter {n}", f"letter {n} r", f"letter {n} v") for n in range(1, 301))
    item = record(tmp_path / "item", pages=pages, more=more).item
    assert [len(each.views) for each in item.sections] == [2] * 300


def test_sections_that_cross_are_told_with_both_their_ends(tmp_path: Path) -> None:
    more = _section("Calendar", "f. 1r", "f. 2r") + _section("Herbal", "f. 1v", "f. 2v")
    assert str(record(tmp_path / "item", more=more).problem) == (
        'item.toml, line 22, section 2: found "Herbal" from "f. 1v" to "f. 2v", which crosses section 1, '
        '"Calendar" '
        'from "f. 1r" to "f. 2r", expected sections that lie inside one another or apart; end it at "f. '
        '2r" or '
        'before, or begin it after "f. 2r"'
    )


def test_a_section_that_ends_before_it_begins_is_told(tmp_path: Path) -> None:
    assert str(record(tmp_path / "item", more=_section("Calendar", "f. 2r", "f. 1r")).problem) == (
        'item.toml, line 20, section 1, to: found "f. 1r", which pages.csv lists before "f. 2r", '
        "expected the last "
        "view of the section; exchange `from` and `to`, or correct the order of the rows of pages.csv"
    )


@pytest.mark.parametrize(
    ("label", "advice"),
    [
        ("f.1r", 'did you mean "f. 1r"?'),
        ("fol. 1 recto", 'did you mean "f. 1r"?'),
        ("1r", 'did you mean "f. 1r"?'),
        ("front cver", 'did you mean "front cover"?'),
        ("f. 11r", "correct it, or add the view to pages.csv"),
        ("Kalendarium", "correct it, or add the view to pages.csv"),
    ],
)
def test_a_label_that_is_not_there_is_told_with_the_nearest(label: str, advice: str, tmp_path: Path) -> None:
    problem = record(tmp_path / "item", more=_section("Calendar", label, "f. 2v")).problem
    assert problem.where == "item.toml, line 19, section 1, from"
    assert problem.found == f'"{label}", a label that pages.csv does not have'
    assert problem.advice == advice


def test_a_section_may_begin_at_a_view_that_was_not_captured(tmp_path: Path) -> None:
    pages = PAGES.replace("B14_0002.tif,f. 1r", ",f. 1r")
    item = record(tmp_path / "item", pages=pages, more=_section("Calendar", "f. 1r", "f. 1v")).item
    assert item.sections[0].views == ("f-1r", "B14_0003")


def test_details_of_a_page_at_the_end_of_the_list_do_not_stretch_its_section(tmp_path: Path) -> None:
    pages = PAGES + "B14_0006.tif,f. 1v,detail,,,\n"
    item = record(tmp_path / "item", pages=pages, more=_section("Calendar", "f. 1r", "f. 1v")).item
    assert item.sections[0].views == ("B14_0002", "B14_0003")


def test_a_detail_that_follows_its_page_belongs_to_its_section() -> None:
    labels = Labels([Named(label="f. 1r", kind=kind) for kind in (FrameKind.PAGE, FrameKind.DETAIL)])
    assert (labels.first("f. 1r"), labels.last("f. 1r")) == (0, 1)


def test_sections_nested_without_end_are_refused(tmp_path: Path) -> None:
    more = "".join(_section(f"S{n}", "f. 1r", "f. 2v") for n in range(DEEPEST + 200))
    problem = record(tmp_path / "item", more=more).problem
    assert problem.expected == f"sections nested {DEEPEST} deep at most"


VIEWS = [Named(label=f"p. {n}", kind=FrameKind.PAGE) for n in range(12)]
SOURCE = TomlSource(name="item.toml", document={}, lines={})
ends = st.tuples(st.integers(0, 11), st.integers(0, 11)).map(sorted)


@given(st.lists(ends, max_size=8))
def test_sections_either_cross_or_nest_with_every_view_they_name(spans: list[list[int]]) -> None:
    found = [
        Span(number=number, label=LanguageMap.of(f"s{number}"), first=first, last=last)
        for number, (first, last) in enumerate(spans)
    ]
    cross = any(a[0] < b[0] < a[1] < b[1] for a in spans for b in spans)
    assert bool(list(crossings(SOURCE, found, VIEWS))) is cross
    if cross:
        return
    views = [view.label for view in VIEWS]
    sections = list(_all(nest(found, views)))
    assert {each.identifier: each.views for each in sections} == {
        f"s{span.number}": tuple(views[span.first : span.last + 1]) for span in found
    }
    for section in sections:
        assert all(set(each.views) <= set(section.views) for each in section.subsections)


def _all(sections: tuple[Section, ...]) -> Iterator[Section]:
    for section in sections:
        yield section
        yield from _all(section.subsections)


def test_an_item_without_sections_has_none(tmp_path: Path) -> None:
    assert record(tmp_path / "item", item=ITEM).item.sections == ()
