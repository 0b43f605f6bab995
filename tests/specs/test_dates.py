"""Dates by W3CDTF and EDTF: the examples of both publications, and what they do not allow."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.specs import dates

W3CDTF = (
    "1997 1997-07 1997-07-16 1997-07-16T19:20+01:00 1997-07-16T19:20:30+01:00 1997-07-16T19:20:30.45+01:00"
)
"""All examples of https://www.w3.org/TR/NOTE-datetime."""

EDTF = """
1985-04-12 1985-04 1985
1985-04-12T23:20:30 1985-04-12T23:20:30Z 1985-04-12T23:20:30-04 1985-04-12T23:20:30+04:30
1964/2008 2004-06/2006-08 2004-02-01/2005-02-08 2004-02-01/2005-02 2004-02-01/2005 2005/2006-02
Y170000002 Y-170000002 2001-21 1984? 2004-06~ 2004-06-11%
201X 20XX 2004-XX 1985-04-XX 1985-XX-XX
1985-04-12/.. 1985-04/.. 1985/.. ../1985-04-12 ../1985-04 ../1985 1985-04-12/ 1985/ /1985-04 /1985
-1985
Y-17E7 1950S2 Y171010000S3 Y3388E2S3 2001-34
[1667,1668,1670..1672] [..1760-12-03] [1760-12..] [1760-01,1760-02,1760-12..] [1667,1760-12] [..1984]
{1667,1668,1670..1672} {1960,1961-12} {..1984}
2004-06-11% 2004-06~-11 2004?-06-11 ?2004-06-~11 2004-%06-11
156X-12-25 15XX-12-25 XXXX-12-XX 1XXX-XX 1XXX-12 1984-1X 2004-06-~01/2004-06-~20 2004-06-XX/2004-07-03
"""
"""Examples of https://www.loc.gov/standards/datetime/, levels 0 to 2."""


@pytest.mark.parametrize("text", W3CDTF.split())
def test_the_examples_of_w3cdtf_are_dates(text: str) -> None:
    assert dates.is_w3cdtf(text)


@pytest.mark.parametrize("text", EDTF.split())
def test_the_examples_of_edtf_are_dates(text: str) -> None:
    assert dates.is_edtf(text)


@pytest.mark.parametrize(
    "text",
    [
        *(
            "",
            "97",
            "1997-13",
            "1997-02-30",
            "1997-7-16",
            "19970716",
            "1997-07-16T19:20",
            "1997-07-16T25:20Z",
        ),
        *("c. 1380", "1380?", "1997-07-16 19:20:30", " 1997", "１９９７", "9" * 5000),
    ],
)
def test_other_texts_are_no_w3cdtf(text: str) -> None:
    assert not dates.is_w3cdtf(text)


@pytest.mark.parametrize(
    "text",
    [
        *("", "198", "1985-13", "1985-00", "1985-02-30", "1900-02-29", "1985-4-12", "19850412", "1380-1390"),
        *("c. 1380", "2001-20", "2001-42", "1985/1986/1987", "/", "../..", "[1667", "{}", "[,]", "1985?~"),
        *("Y1985", "1985-04-12T24:00:00", "1985-XX-32", "1985-3X-32", "１９８５", "1" * 5000, "[" * 5000),
    ],
)
def test_other_texts_are_no_edtf(text: str) -> None:
    assert not dates.is_edtf(text)


@given(st.dates())
def test_every_day_of_the_calendar_is_a_date_in_both(day: dt.date) -> None:
    assert dates.is_w3cdtf(day.isoformat())
    assert dates.is_edtf(day.isoformat())
    assert dates.year_of(day.isoformat()) == day.year


@given(st.text("0123456789-X?~%/.TZ:+YES[]{},", max_size=40))
def test_no_text_stops_the_reading(text: str) -> None:
    assert dates.is_edtf(text) in (True, False)
    assert dates.is_w3cdtf(text) <= dates.is_edtf(text) or "T" in text
    assert dates.year_of(text) is None or "-" in text or text.strip("?~%Y").isdigit()
