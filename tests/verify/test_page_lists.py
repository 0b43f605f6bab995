"""Page lists in bundles: what spreadsheets write, and what is no page list."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pipeline.containers import Limits
from pipeline.verify.evidence import Bundle, Page
from pipeline.verify.page_lists import Row, page_lists, rows_of, sessions_of
from tests.make_item import PAGES
from tests.verify.metadata.world import Held


def rows(text: str | bytes, path: str = "data/metadata/pages.csv") -> tuple[Row, ...]:
    data = text.encode() if isinstance(text, str) else text
    return rows_of(Bundle(container=Held({path: data}), limits=Limits(), bag=None, readings={}))


def pages(text: str) -> list[tuple[str, tuple[str, ...]]]:
    return [(each.label, each.files) for account in page_lists(rows(text)) for each in account.pages]


def test_rows_become_pages_lights_of_one_page_together_targets_left_out() -> None:
    assert pages(PAGES) == [
        ("front cover", ("b14_0001",)),
        ("f. 1r", ("b14_0002", "b14_0003")),
        ("f. 1v", ("b14_0004",)),
        ("f. 2r", ()),
        ("f. 2v", ("b14_0005",)),
    ]


@pytest.mark.parametrize(
    "text",
    [
        "\ufefffile,label\na.tif,f. 1r\n",
        "file;label\r\na.tif;f. 1r\r\n",
        "label\tfile\tmore\nf. 1r\ta.tif\tx\n",
        ' File , LABEL \n\n"a.tif" ,"f.  1r"\n,,\n',
        "\nfile,label\na.tif,f. 1r",
    ],
)
def test_what_spreadsheets_write_is_read(text: str) -> None:
    assert pages(text) == [("f. 1r", ("a",))]


@pytest.mark.parametrize(
    "text",
    ["", "\n\n", "file,name\na,b\n", b"file,label\n\xff,x\n", "no table", "file,label\n"],
)
def test_another_table_is_no_page_list(text: str | bytes) -> None:
    assert rows(text) == ()


def test_only_csv_files_are_looked_at() -> None:
    assert rows("file,label\na.tif,f. 1r\n", path="data/pages.txt") == ()


def test_a_row_knows_its_line_session_and_kind() -> None:
    (row,) = rows("file,label,kind,session,note\n\nsub\\a.tif,,Target,s 1,24-patch\n")
    assert (row.line, row.session, row.is_proof, row.note) == (3, "s 1", True, "24-patch")
    assert row.names == ("a", "sub-a")


def test_a_file_that_is_listed_again_is_a_page_again() -> None:
    assert pages("file,label\na.tif,f. 1r\na.tif,f. 1r\n") == [("f. 1r", ("a",))] * 2


def test_frames_without_a_label_are_pages_of_their_own() -> None:
    assert pages("file,label\na.tif,\nb.tif,\n") == [("", ("a",)), ("", ("b",))]


def test_sessions_are_told_by_the_frame() -> None:
    assert sessions_of(rows("file,label,session\nA.tif,f. 1r,s1\nb.tif,f. 1v,\n")) == {"a": "s1"}


@example("/,f. 1r\n.,x\n..,y\n")
@given(st.text(max_size=60))
def test_any_text_is_read_without_an_error(text: str) -> None:
    listed = page_lists(rows("file,label,kind\n" + text))
    assert all(isinstance(page, Page) for account in listed for page in account.pages)
