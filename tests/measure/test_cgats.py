"""CGATS text as it comes: line ends, commas, quotes, counts, tables; and what cannot be understood."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import SettingsError
from pipeline.measure.cgats import MOST_BYTES, read, text_of

PLAIN = """CGATS.17
ORIGINATOR "the laboratory"
DESCRIPTOR "target no. 0417" # of ours
KEYWORD "SAMPLE_NAME"
KEYWORD "NOTE"
NUMBER_OF_FIELDS 4
BEGIN_DATA_FORMAT
SAMPLE_NAME LAB_L LAB_A LAB_B
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
A1 37.54 14.37 -14.92
# between
"A 2" 64.66 19.27 17.50
END_DATA
"""


def test_keywords_columns_and_rows_are_read() -> None:
    (table,) = read(PLAIN, name="t.txt")
    assert table.fields == ("SAMPLE_NAME", "LAB_L", "LAB_A", "LAB_B")
    assert table.values("DESCRIPTOR") == ("target no. 0417",)
    assert table.values("KEYWORD") == ("SAMPLE_NAME", "NOTE")
    assert table.rows[1] == ("A 2", "64.66", "19.27", "17.50")
    assert table.lines == (12, 14)
    assert table.remarks == ()
    assert table.numbers(0, ("LAB_L", "LAB_B"), name="t.txt") == (37.54, -14.92)


@pytest.mark.parametrize("end", ["\n", "\r", "\r\n"])
def test_any_line_end_is_taken(end: str) -> None:
    assert read(PLAIN.replace("\n", end), name="t.txt") == read(PLAIN, name="t.txt")


def test_decimal_commas_are_numbers() -> None:
    (table,) = read(PLAIN.replace("37.54", "37,54").replace("-14.92", "-,5"), name="t.txt")
    assert table.numbers(0, ("LAB_L", "LAB_B"), name="t.txt") == (37.54, -0.5)


def test_names_with_blanks_are_taken_between_tabs() -> None:
    (table,) = read(PLAIN.replace("A1 37.54 14.37 -14.92", "dark skin\t37.54\t14.37\t-14.92"), name="t.txt")
    assert table.rows[0] == ("dark skin", "37.54", "14.37", "-14.92")


def test_rows_may_run_over_lines() -> None:
    (table,) = read(PLAIN.replace("A1 37.54 14.37 -14.92", "A1 37.54\n14.37 -14.92"), name="t.txt")
    assert table.rows[0] == ("A1", "37.54", "14.37", "-14.92")


def test_marks_and_values_may_stand_on_one_line() -> None:
    text = "CGATS.17\nBEGIN_DATA_FORMAT LAB_L LAB_A LAB_B END_DATA_FORMAT\nBEGIN_DATA 1 2 3 END_DATA"
    (table,) = read(text, name="t.txt")
    assert table.rows == (("1", "2", "3"),)


def test_counts_that_lie_are_remarked_upon() -> None:
    (table,) = read(PLAIN.replace("SETS 2", "SETS 24"), name="t.txt")
    assert table.remarks == ("NUMBER_OF_SETS says 24, the table has 2",)


def test_several_tables_are_read_each_with_what_was_said_before() -> None:
    second = (
        'OBSERVER "2 degree"\nBEGIN_DATA_FORMAT\nXYZ_X XYZ_Y\nEND_DATA_FORMAT\nBEGIN_DATA\n1 2\nEND_DATA\n'
    )
    one, two = read(PLAIN + second, name="t.txt")
    assert one.values("OBSERVER") == ()
    assert two.values("OBSERVER") == ("2 degree",)
    assert two.values("ORIGINATOR") == ("the laboratory",)
    assert two.fields == ("XYZ_X", "XYZ_Y")


def test_a_missing_end_is_no_harm() -> None:
    (table,) = read(PLAIN.replace("END_DATA\n", "") + "\n", name="t.txt")
    assert len(table.rows) == 2


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no table of values"),
        ("CGATS.17\nORIGINATOR me\n", "no table of values"),
        ("CGATS.17\nBEGIN_DATA\n1 2\nEND_DATA\n", "line 2"),
        (PLAIN.replace("14.37 -14.92", "14.37 -14.92 7"), "line 12"),
        (PLAIN.replace("A1 37.54", "37.54"), "line 12"),
    ],
)
def test_what_cannot_be_understood_is_said_with_its_place(text: str, said: str) -> None:
    with pytest.raises(SettingsError, match=said):
        read(text, name="t.txt")


@pytest.mark.parametrize("value", ["n/a", "nan", "inf", "1e999", "3,4,5", "--2"])
def test_a_value_that_is_no_number_is_said_with_its_column(value: str) -> None:
    (table,) = read(PLAIN.replace("37.54", value), name="t.txt")
    with pytest.raises(SettingsError, match=r"line 12, LAB_L: found"):
        table.numbers(0, ("LAB_L",), name="t.txt")


@given(st.text(max_size=300))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        tables = read("CGATS.17\nBEGIN_DATA_FORMAT\nA B\nEND_DATA_FORMAT\nBEGIN_DATA\n" + text, name="t.txt")
    except SettingsError:
        return
    assert all(len(row) == 2 for table in tables for row in table.rows if len(table.fields) == 2)


def test_bytes_are_utf_8_or_latin_1() -> None:
    assert text_of("ä".encode(), name="t") == text_of("ä".encode("latin-1"), name="t") == "ä"
    assert text_of(b"\xef\xbb\xbfCGATS", name="t") == "CGATS"


@pytest.mark.parametrize("data", [b"II*\0\x08\0", b"x" * (MOST_BYTES + 1)])
def test_what_is_no_text_is_refused(data: bytes) -> None:
    with pytest.raises(SettingsError, match="no file of measurements"):
        text_of(data, name="t.tif")
