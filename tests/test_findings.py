from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.findings import Finding, Level, Register, Remark, Report, Skipped


@dataclass(frozen=True)
class Page:
    """Facts to judge: which codes are to be found."""

    wrong: frozenset[str] = frozenset()


def _register() -> Register[Page]:
    pages = Register[Page]("page")

    @pages.rule("P1", Level.ERROR, "readable", source="Handbook, 1", advice="scan it again")
    def page_is_readable(page: Page) -> Iterator[Remark]:
        """The page can be read."""
        if "P1" in page.wrong:
            yield Remark(place="a.tif", value="torn", limit="whole")

    @pages.rule("P2", Level.WARNING, "straight", source="Handbook, 2", advice="turn", requires={"P1"})
    def page_is_straight(page: Page) -> Iterator[Remark]:
        if "P2" in page.wrong:
            yield Remark(place="a.tif", value="3°", limit="1°")

    @pages.rule("P3", Level.NOTE, "clean", source="Handbook, 3", advice="dust", requires={"P2"})
    def page_is_clean(page: Page) -> Iterator[Remark]:
        if "P3" in page.wrong:
            yield Remark(place="a.tif", value="dust", limit="none", level=Level.ERROR, source="Contract, 7")
            yield Remark(place="a.tif", value="hair", limit="none")

    return pages


def test_a_finding_has_what_the_rule_and_the_remark_say() -> None:
    (finding,) = _register().judge(Page(wrong=frozenset({"P2"}))).findings
    assert finding == Finding(
        code="P2",
        level=Level.WARNING,
        title="straight",
        place="a.tif",
        value="3°",
        limit="1°",
        source="Handbook, 2",
        advice="turn",
    )


def test_a_specification_in_use_may_set_level_and_source() -> None:
    report = _register().judge(Page(wrong=frozenset({"P3"})))
    assert [(each.level, each.source) for each in report.findings] == [
        (Level.ERROR, "Contract, 7"),
        (Level.NOTE, "Handbook, 3"),
    ]


def test_one_broken_thing_gives_one_finding_and_the_rest_is_said_to_be_skipped() -> None:
    report = _register().judge(Page(wrong=frozenset({"P1", "P2", "P3"})), place="a.tif")
    assert report.codes == {"P1"}
    assert report.skipped == (
        Skipped(code="P2", place="a.tif", reason="not judged, because of P1", title="straight"),
        Skipped(code="P3", place="a.tif", reason="not judged, because of P1", title="clean"),
    )


def test_a_warning_takes_no_ground_away() -> None:
    report = _register().judge(Page(wrong=frozenset({"P2", "P3"})))
    assert report.codes == {"P2", "P3"}
    assert report.skipped == ()


@given(st.frozensets(st.sampled_from(["P1", "P2", "P3"])))
def test_every_rule_is_judged_or_skipped_and_the_order_is_that_of_the_rules(wrong: frozenset[str]) -> None:
    report = _register().judge(Page(wrong=wrong))
    codes = [each.code for each in report.findings]
    assert codes == sorted(codes)
    assert report.codes | {each.code for each in report.skipped} >= wrong


def test_a_code_is_given_once() -> None:
    pages = _register()
    with pytest.raises(ValueError, match="rule P1 is registered twice in 'page'"):
        pages.rule("P1", Level.NOTE, "again", source="", advice="")


def test_what_a_rule_requires_stands_before_it() -> None:
    with pytest.raises(ValueError, match=r"rule P4 requires \['P5'\], not registered before it"):
        _register().rule("P4", Level.NOTE, "", source="", advice="", requires={"P1", "P5"})


def test_a_rule_can_be_called_and_explains_itself() -> None:
    rule = _register().rules["P1"]
    assert rule.explanation == "The page can be read."
    assert [each.value for each in rule.run(Page(wrong=frozenset({"P1"})))] == ["torn"]
    assert _register().rules["P2"].explanation == ""


@pytest.mark.parametrize(
    ("wrong", "outcome"),
    [(set(), "success"), ({"P2"}, "warning"), ({"P2", "P3"}, "fail"), ({"P1"}, "fail")],
)
def test_the_outcome_is_that_of_the_heaviest_finding(wrong: set[str], outcome: str) -> None:
    assert _register().judge(Page(wrong=frozenset(wrong))).outcome == outcome


def test_reports_add_up() -> None:
    one = _register().judge(Page(wrong=frozenset({"P1"})))
    other = _register().judge(Page(wrong=frozenset({"P2"})))
    both = one + other
    assert both.findings == one.findings + other.findings
    assert both.skipped == one.skipped + other.skipped
    assert both.at(Level.WARNING) == other.findings
    assert Report().outcome == "success"


def test_a_family_that_is_not_judged_says_so_for_each_rule_and_reports_join_in_order() -> None:
    left_out = _register().skipped("a.tif", "no pixels")
    assert [(each.code, each.place, each.reason) for each in left_out.skipped] == [
        (code, "a.tif", "no pixels") for code in ("P1", "P2", "P3")
    ]
    judged = _register().judge(Page(wrong=frozenset({"P2"})))
    assert Report.joined([judged, left_out, judged]) == judged + left_out + judged
    assert Report.joined([]) == Report()
