"""The report on one bundle: whole, escaped, made to be worked through."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import jsondoc
from pipeline.findings import Level, Skipped
from pipeline.report import verification
from pipeline.report.verification import Beside
from pipeline.verdict import Verdict
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

SKIPPED = (
    Skipped(code="I001", place="data/a.tif", reason="not judged, because of B072", title="Image decodes"),
    Skipped(code="I014", place="data/a.tif", reason="not judged, because of B072", title="Bit depth"),
    Skipped(code="D020", place="", reason="no delivery specification was given", title="Targets"),
)


def document(given: Verdict) -> dict[str, Any]:
    made: dict[str, Any] = verification.document(given, made_by=MADE_BY, now=NOW)
    assert [each.message for each in jsondoc.violations(made, "verification")] == []
    return made


def page(given: Verdict, beside: Beside | None = None) -> Outline:
    return outline(verification.page(given, made_by=MADE_BY, now=NOW, beside=beside))


# ------------------------------------------------------------------------------------------ the document


def test_the_document_has_everything_that_the_verdict_has() -> None:
    made = document(verdict(report=report(finding(), altered(), skipped=SKIPPED), sample=SAMPLE))
    assert made["bundle"] == {
        "name": "msb-014-preservation",
        "path": "disk-07/msb-014-preservation.tar",
        "kind": "tar archive",
        "files": 431,
        "size_bytes": 37_200_000_000,
    }
    assert made["verdict"] == {
        "outcome": "rejected",
        "exit_status": 6,
        "errors": 2,
        "warnings": 0,
        "notes": 0,
        "is_quick": False,
        "terms": "Aldermoor delivery terms, version 2",
    }
    assert made["facts"][0] == {"label": "BagIt version", "value": "1.0"}
    assert [each["code"] for each in made["findings"]] == ["I014", "B070"]
    assert [(each["code"], each["places"]) for each in made["not_judged"]] == [
        ("I001", ["data/a.tif"]), ("I014", ["data/a.tif"]), ("D020", [""]),
    ]  # fmt: skip
    assert (made["sample"]["size"], made["sample"]["accept"], made["sample"]["reject"]) == (50, 2, 3)
    assert made["made_at"] == "2031-05-04T09:30:00+00:00"


@pytest.mark.parametrize(
    ("level", "outcome", "status"),
    [(Level.ERROR, "rejected", 3), (Level.WARNING, "accepted with remarks", 0), (Level.NOTE, "accepted", 0)],
)
def test_the_gravest_finding_decides(level: Level, outcome: str, status: int) -> None:
    made = document(verdict(finding(level)))["verdict"]
    assert (made["outcome"], made["exit_status"], made[f"{level}s"]) == (outcome, status, 1)


def test_the_same_verdict_gives_the_same_bytes() -> None:
    one, other = (verdict(finding(), sample=SAMPLE) for _ in range(2))
    assert jsondoc.to_bytes(document(one)) == jsondoc.to_bytes(document(other))
    assert verification.page(one, made_by=MADE_BY, now=NOW) == verification.page(
        other, made_by=MADE_BY, now=NOW
    )


@given(st.text(st.characters(exclude_categories=[])))
def test_json_reads_back_the_same_and_nothing_in_it_acts_unseen(name: str) -> None:
    made = document(verdict(name=name))
    data = verification.json_bytes(made)
    assert json.loads(data) == made
    assert all(char.isprintable() or char == "\n" for char in data.decode())


def test_bytes_of_a_file_name_that_are_no_text_are_written_out() -> None:
    assert document(verdict(finding(place="data/b14_\udcff.tif")))["findings"][0]["place"] == (
        r"data/b14_\udcff.tif"
    )


# ---------------------------------------------------------------------------------------------- the page


@pytest.mark.parametrize(
    ("given", "word", "said"),
    [
        (verdict(finding()), "Rejected", "not accepted as it is"),
        (verdict(altered()), "Rejected", "not the file that its checksum promises"),
        (verdict(finding(Level.WARNING)), "Accepted with remarks", "Nothing keeps the bundle out"),
        (verdict(finding(Level.NOTE)), "Accepted", "Nothing was found that has to be put right"),
        (verdict(is_quick=True), "Accepted, by its structure alone", "no payload file was read"),
        (verdict(sample=SAMPLE), "Accepted", "the bundle is accepted if the sample is"),
    ],
)
def test_the_verdict_comes_first_in_words_with_what_it_means(given: Verdict, word: str, said: str) -> None:
    found = page(given)
    assert found.text.split("msb-014-preservation")[2].strip().startswith(f"{word}\n")
    assert said in found.text


def test_a_checksum_that_does_not_match_is_never_to_be_made_anew() -> None:
    assert "would only seal the damage" in page(verdict(altered())).text
    assert "would only seal the damage" not in page(verdict(finding())).text


@pytest.mark.parametrize(
    ("level", "is_told"), [(Level.ERROR, True), (Level.WARNING, True), (Level.NOTE, False)]
)
def test_who_may_have_to_photograph_again_is_told_who_decides_it(level: Level, is_told: bool) -> None:
    assert ("the conservator’s decision" in page(verdict(finding(level))).text) is is_told


def test_a_finding_is_told_with_all_that_is_needed_to_mend_it() -> None:
    text = page(verdict(finding())).text
    for said in (
        "Bit depth is not the one agreed",
        "data/masters/b14_0007.tif",
        "3 × 8 bit",
        "3 × 16 bit",
        "Delivery terms of the Aldermoor Library, section 4.2",
        "Export the master again from the raw file.",
        "I014",
    ):
        assert said in text


def test_findings_of_one_rule_stand_together_the_gravest_first() -> None:
    found = page(
        verdict(finding(Level.NOTE, "M050", title="Label"), finding(place="a.tif"), altered(), finding())
    )
    assert [each for each in found.ids if each[0].isupper()] == ["B070-error", "I014-error", "M050-note"]
    assert found.text.count("Export the master again") == 3  # once for each rule


def test_one_rule_with_limits_from_two_sources_has_two_places_on_the_page() -> None:
    found = page(verdict(finding(), finding(source="Another"), finding(code="I015")))
    assert {"I014-error", "I014-error-2", "I015-error"} <= set(found.ids)


def test_many_places_are_folded_and_none_is_lost() -> None:
    many = [finding(place=f"data/{number}.tif", value=f"{number} bit") for number in range(100)]
    found = page(verdict(*many))
    assert all(f"data/{number}.tif" in found.text for number in range(100))
    assert "92 more" in found.text
    assert found.text.index("data/7.tif") < found.text.index("92 more") < found.text.index("data/8.tif")
    assert found.elements.count("details") == 1


def test_places_with_one_fault_are_one_row_and_are_folded_too() -> None:
    found = page(verdict(*(finding(place=f"data/{number}.tif") for number in range(20))))
    assert found.text.count("3 × 8 bit") == 2
    assert "12 more" in found.text


@pytest.mark.parametrize("is_one_row", [True, False])
def test_more_than_a_page_can_hold_is_counted_and_left_to_the_document(is_one_row: bool) -> None:
    values = ("same" if is_one_row else str(number) for number in range(20_000))
    many = verdict(*(finding(place=f"data/{number}.tif", value=value) for number, value in enumerate(values)))
    found = page(many, Beside(document="b14.json"))
    assert "And 19,500 more, too many for a page: all of them are in b14.json" in " ".join(found.text.split())
    assert "data/499.tif" in found.text
    assert "data/500.tif" not in found.text
    assert len(document(many)["findings"]) == 20_000


def test_what_was_not_judged_is_said_with_its_reason() -> None:
    text = " ".join(page(verdict(report=report(skipped=SKIPPED))).text.split())
    assert (
        "Not judged, because of B072: data/a.tif Not looked for: I001 Image decodes; I014 Bit depth." in text
    )
    assert "No delivery specification was given Not looked for: D020 Targets." in text


def test_the_facts_of_the_bundle_are_told() -> None:
    text = page(verdict()).text
    assert "BagIt version" in text
    assert "431 files, 37.2 GB" in text
    assert "Aldermoor delivery terms, version 2" in text


def test_the_sample_has_a_form_for_every_frame_and_its_numbers() -> None:
    found = page(verdict(sample=SAMPLE), Beside(contact_sheets="b14.contact-sheets.html"))
    text = " ".join(found.text.split())
    assert "50 of 404 frames (ISO 2859-1, level II, AQL 1.5, code letter H; seed msb-014)" in text
    assert "Accepted with 2 nonconforming frames at most; rejected from 3 on." in text
    assert all(frame in text for frame in SAMPLE.frames)
    assert found.elements.count("input") == 50 * 3 + 4
    assert "b14.contact-sheets.html" in found.links


def test_the_page_leads_to_what_lies_beside_it_and_nowhere_else() -> None:
    beside = Beside(document="b14.json", delivery="delivery.html")
    assert sorted(page(verdict(finding()), beside).links) == ["b14.json", "delivery.html"]
    found = page(verdict(finding(), sample=SAMPLE))
    assert found.links == []
    assert found.sources == []


def hostile() -> Verdict:
    skipped = Skipped(code="I001", place=HOSTILE, reason=HOSTILE, title=HOSTILE)
    return verdict(
        report=report(
            finding(
                title=HOSTILE, place=HOSTILE, value=HOSTILE, limit=HOSTILE, source=HOSTILE, advice=HOSTILE
            ),
            skipped=(skipped,),
        ),
        **dict.fromkeys(("name", "path", "terms"), HOSTILE),
        facts=((HOSTILE, HOSTILE),),
        sample=replace(SAMPLE, basis=HOSTILE, seed=HOSTILE, frames=(HOSTILE, "a")),
    )


def test_names_are_escaped_and_what_acts_unseen_is_written_out() -> None:
    found = page(hostile())
    assert found.text.count(f"<script>alert(1)</script>\"'&{SHOWN}") == 18
    document(hostile())


@settings(max_examples=40)
@given(st.text(st.characters(exclude_categories=[]), max_size=60))
def test_no_name_breaks_a_page(name: str) -> None:
    page(verdict(finding(place=name, value=name), name=name, path=name))


def test_an_endless_name_is_cut_on_the_page_and_whole_in_the_document() -> None:
    endless = "a" * 1_000_000
    found = page(verdict(finding(place=endless)))
    assert len(found.text) < 10_000
    assert "… (1,000,000 characters)" in found.text
    assert document(verdict(finding(place=endless)))["findings"][0]["place"] == endless


@pytest.mark.parametrize(
    ("size", "text"),
    [
        (0, "0 kB"),
        (1, "1 kB"),
        (999_400, "1000 kB"),
        (4_200_000, "4.2 MB"),
        (310_400_000, "310 MB"),
        (999_700_000, "1 GB"),
        (12_345 * 10**12, "12,345 TB"),
    ],
)
def test_sizes_are_told_in_decimal_units(size: int, text: str) -> None:
    assert verification.size_text(size) == text
