"""The summary of a delivery: each bundle once, the worst first, nothing that a spreadsheet runs."""

from __future__ import annotations

import csv as tables
import io
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.files import is_safe_name
from pipeline.findings import Finding, Level, Report
from pipeline.report import delivery, verification
from pipeline.verdict import Delivery, NotJudged, Verdict
from tests.report.verdicts import (
    HOSTILE,
    MADE_BY,
    NOW,
    SAMPLE,
    SHOWN,
    Outline,
    altered,
    finding,
    outline,
    report,
    verdict,
)

ANY_TEXT = st.text(st.characters(exclude_categories=[]))


def of(*verdicts: Verdict, between: Report | None = None) -> Delivery:
    return Delivery(verdicts=verdicts, between=between or Report())


def named(*names: str) -> tuple[str, ...]:
    return delivery.report_names([verdict(name=name) for name in names])


def rows(given: Delivery) -> list[dict[str, str]]:
    text = delivery.csv(given).decode("utf-8-sig")
    return list(tables.DictReader(io.StringIO(text, newline="")))


def page(given: Delivery, title: str = "") -> Outline:
    return outline(delivery.page(given, made_by=MADE_BY, now=NOW, title=title))


# ------------------------------------------------------------------------------------------------ names


def test_reports_have_the_names_of_their_bundles_where_these_are_safe() -> None:
    assert named("msb-014-preservation", "b14.v1", "Straße 3", "写本") == (
        "msb-014-preservation", "b14-v1", "Stra-e-3", "u5199-672c",
    )  # fmt: skip


def test_two_bundles_of_one_name_have_two_reports() -> None:
    assert named("b14", "B14", "b14-2", "b14", "b.14") == ("b14", "B14-2", "b14-2-2", "b14-3", "b-14")


def test_no_report_takes_the_place_of_the_summary() -> None:
    assert named("delivery", "Delivery") == ("delivery-2", "Delivery-3")


@given(st.lists(st.one_of(ANY_TEXT, st.sampled_from(["a", "A", "a-2", "", "..", "/etc", "con", "x" * 300]))))
def test_names_are_safe_and_no_two_are_alike_even_without_case(names: list[str]) -> None:
    made = named(*names)
    assert len({name.lower() for name in made}) == len(names)
    assert all(re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9_-]{0,90}", name) for name in made)
    assert all(is_safe_name(f"x{name}.contact-sheets.html") for name in made)


@given(st.lists(ANY_TEXT), st.lists(ANY_TEXT))
def test_a_name_does_not_depend_on_bundles_that_come_after(first: list[str], after: list[str]) -> None:
    assert named(*first, *after)[: len(first)] == named(*first)


# ------------------------------------------------------------------------------------------------ table


def test_the_table_has_a_line_for_each_bundle_in_the_order_given() -> None:
    lines = rows(
        of(verdict(name="b15"), verdict(finding(), altered(), finding(Level.NOTE, "M050"), name="b14"))
    )
    assert [line["bundle"] for line in lines] == ["b15", "b14"]
    assert lines[1] == {
        "bundle": "b14",
        "path": "disk-07/msb-014-preservation.tar",
        "kind": "tar archive",
        "outcome": "rejected",
        "errors": "2",
        "warnings": "0",
        "notes": "1",
        "files": "431",
        "bytes": "37200000000",
        "judged": "whole",
        "sample": "0",
        "first codes": "B070 I014 M050",
        "report": "b14.html",
        "why it was not judged": "",
    }


def test_what_could_not_be_opened_is_told_in_table_and_page_and_is_not_accepted() -> None:
    given = Delivery(
        verdicts=(verdict(name="b15"),), not_judged=(NotJudged("disk-07/b16.tar", "cannot be read <b>"),)
    )
    line = rows(given)[1]
    assert (line["bundle"], line["path"], line["outcome"]) == ("b16.tar", "disk-07/b16.tar", "not judged")
    assert line["why it was not judged"] == "cannot be read <b>"
    assert set(line.values()) == {"b16.tar", "disk-07/b16.tar", "not judged", "cannot be read <b>", ""}
    said = page(given).text
    assert "1 bundle accepted; 1 not judged" in said
    assert "disk-07/b16.tar" in said
    assert "cannot be read <b>" in said
    assert 'class="verdict fail"' in delivery.page(given, made_by=MADE_BY, now=NOW).decode()


def test_a_line_tells_what_was_not_judged_and_what_is_to_be_looked_at() -> None:
    (line,) = rows(of(verdict(is_quick=True, sample=SAMPLE)))
    assert (line["judged"], line["sample"]) == ("structure alone", "50")


def test_many_codes_are_cut_and_counted_the_gravest_first() -> None:
    found = (finding(Level.WARNING, f"B0{number}") for number in range(10, 20))
    (line,) = rows(of(verdict(*found, finding(code="X001"), finding(code="X001"))))
    assert line["first codes"] == "X001 B010 B011 B012 B013 B014 B015 B016 and 3 more"


def test_the_table_is_as_rfc_4180_has_it_and_says_that_it_is_utf_8() -> None:
    """RFC 4180, section 2, rules 1, 5 and 6; the mark before it: Unicode 15.0, section 23.8."""
    data = delivery.csv(of(verdict(name='Straße, "14"')))
    assert data.startswith(b"\xef\xbb\xbfbundle,path,")
    assert data.count(b"\r\n") == data.count(b"\n") == 2
    assert data.decode("utf-8-sig").splitlines()[1].startswith('"Straße, ""14""",')


@pytest.mark.parametrize(
    ("name", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("+1", "'+1"),
        ("-1", "'-1"),
        ("@a", "'@a"),
        (" =1", "' =1"),
        ("\"'=1", "'\"'=1"),
        ("＝1", "'＝1"),
        ("＋1", "'＋1"),
        ("－1", "'－1"),
        ("＠1", "'＠1"),
        ("\t=1", r"\u0009=1"),
        ("\r\n=1", r"\u000d\u000a=1"),
    ],
)
def test_no_cell_begins_a_formula(name: str, cell: str) -> None:
    (line,) = rows(of(verdict(name=name)))
    assert line["bundle"] == cell


def test_no_formula_begins_after_a_semicolon_which_ends_a_cell_for_some_spreadsheets() -> None:
    (line,) = rows(of(verdict(name='b14;=1+1;"@a', path="a;b;-")))
    assert (line["bundle"], line["path"]) == ("b14;'=1+1;'\"@a", "a;b;'-")


def test_names_that_begin_harmlessly_stay_as_they_are() -> None:
    (line,) = rows(of(verdict(name="b14-1 = a; b", path="/disk-07/a@b")))
    assert (line["bundle"], line["path"]) == ("b14-1 = a; b", "/disk-07/a@b")


@given(ANY_TEXT)
def test_any_name_is_one_cell_in_one_line_and_hides_nothing(name: str) -> None:
    data = delivery.csv(of(verdict(name=name, path=name), verdict(name="b15"))).decode("utf-8-sig")
    assert all(char.isprintable() or char in "\r\n\u200c\u200d" for char in data)
    assert len(data.splitlines()) == 3
    assert [len(line) for line in tables.reader(io.StringIO(data, newline=""))] == [len(delivery.COLUMNS)] * 3


# ------------------------------------------------------------------------------------------------- page


def test_the_worst_come_first_and_altered_files_are_worst() -> None:
    text = page(
        of(
            verdict(name="good"),
            verdict(finding(Level.WARNING), name="remark"),
            verdict(finding(), name="one-error"),
            verdict(finding(), finding(), name="two-errors"),
            verdict(altered(), name="altered"),
        )
    ).text
    text = text[text.index("Rejected: 3") :]
    places = [text.index(name) for name in ("altered", "two-errors", "one-error", "remark", "good")]
    assert places == sorted(places)


@pytest.mark.parametrize(
    ("given", "word"),
    [
        (of(verdict(), verdict(finding())), "1 of 2 bundles rejected"),
        (of(verdict(), verdict(finding(Level.WARNING))), "2 bundles accepted, 1 with remarks"),
        (of(verdict()), "1 bundle accepted"),
        (of(verdict(), between=report(finding(code="X050"))), "1 bundle accepted; some do not agree"),
        (of(), "0 bundles accepted"),
    ],
)
def test_the_verdict_comes_first_in_words(given: Delivery, word: str) -> None:
    text = page(given, "Delivery of May").text
    assert text.strip().startswith(f"{word}: Delivery of May")
    assert text.count(word) == 2


def test_each_line_tells_its_counts() -> None:
    text = page(of(verdict(finding(), finding(Level.WARNING), finding(Level.WARNING), name="b14"))).text
    assert re.search(r"b14\s*disk-07/msb-014-preservation\.tar\s*12–43137\.2 GBI014", text)


def test_what_a_verdict_leaves_open_is_said() -> None:
    text = page(of(verdict(altered()), verdict(is_quick=True), verdict(sample=SAMPLE))).text
    assert "1 bundle has files that are not those their checksums promise" in text
    assert "judged by their structure alone" in text
    assert "1 bundle has a sample of frames to be looked at by eye" in text
    assert "the conservator’s decision" in text
    assert "conservator" not in page(of(verdict())).text


def test_rules_are_counted_over_the_whole_delivery() -> None:
    many = [verdict(finding(), finding(), name=f"b{number}") for number in range(5)]
    found = page(of(*many, verdict(finding(code="I020"), *[finding()] * 9, name="worst")))
    text = " ".join(found.text.split())
    assert "Export the master again from the raw file. 6 19 worstb0b1 " in text
    assert text.index("I014 Bit") < text.index("I020 Bit")


def test_what_was_found_between_bundles_is_told_whole() -> None:
    many = [finding(code="X050", place=f"b{number}", title="Two of one item") for number in range(900)]
    found = page(of(verdict(), between=report(*many)))
    assert "X050-error" in found.ids
    assert "b899" in found.text


def test_links_lead_to_the_reports_beside_it_and_nowhere_else() -> None:
    found = page(of(verdict(finding(), name="a b"), verdict(name=HOSTILE), verdict(name="a b")))
    assert set(found.links) == {
        "a-b.html", "a-b-2.html", "delivery.csv",
        f"{delivery.report_names([verdict(name=HOSTILE)])[0]}.html",
    }  # fmt: skip
    assert found.sources == []


def test_names_are_escaped_and_what_acts_unseen_is_written_out() -> None:
    hostile: Finding = finding(title=HOSTILE, place=HOSTILE, advice=HOSTILE)
    found = page(of(verdict(hostile, name=HOSTILE, path=HOSTILE), between=report(hostile)), HOSTILE)
    assert found.text.count(f"<script>alert(1)</script>\"'&{SHOWN}") == 10


def test_a_page_of_thousands_of_bundles_is_made_and_stays_small() -> None:
    good = [verdict(name=f"msb-{number:04}-preservation") for number in range(4000)]
    data = delivery.page(of(verdict(finding()), *good), made_by=MADE_BY, now=NOW)
    assert len(data) < 2_000_000
    assert outline(data).text.count("msb-3999-preservation") == 1


# ------------------------------------------------------------------------------------------------ files


def test_everything_is_written_into_the_folder_of_reports_and_every_link_finds_its_file(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "reports"
    given = of(
        verdict(finding(), name="../../outside"),
        verdict(name="/etc/passwd", sample=SAMPLE),
        verdict(name=".."),
    )
    for name, each in zip(delivery.report_names(given.verdicts), given.verdicts, strict=True):
        sheets = b"<p>" if each.sample else b""
        verification.write(
            folder, name, each, made_by=MADE_BY, now=NOW, contact_sheets=sheets, summary=delivery.PAGE_NAME
        )
    delivery.write(folder, given, made_by=MADE_BY, now=NOW)
    assert [path.name for path in tmp_path.iterdir()] == ["reports"]
    written = {path.name for path in folder.iterdir()}
    assert written == {
        *("delivery.csv", "delivery.html", "outside.html", "outside.json", "u2e-2e.html", "u2e-2e.json"),
        *("etc-passwd.html", "etc-passwd.json", "etc-passwd.contact-sheets.html"),
    }
    for path in folder.glob("*[!s].html"):
        assert set(outline(path.read_bytes()).links) <= written


def test_the_same_delivery_gives_the_same_bytes() -> None:
    one, other = (of(verdict(finding()), verdict(altered())) for _ in range(2))
    assert delivery.csv(one) == delivery.csv(other)
    assert delivery.page(one, made_by=MADE_BY, now=NOW) == delivery.page(other, made_by=MADE_BY, now=NOW)
