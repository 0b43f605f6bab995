"""What is answered: conditions, ranges, compression."""

from __future__ import annotations

import gzip
import io
from dataclasses import replace
from http import HTTPStatus

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.serve import Moved, Resource, answers, made
from pipeline.serve.answers import Answer, accepts_gzip, failed_condition
from pipeline.serve.requests import Request

DATE, EARLIER, LATER = (f"Tue, 10 Mar 2026 0{hour}:00:00 GMT" for hour in (9, 8, 10))
NOW_S = 1773133200  # DATE


def asked(method: str = "GET", path: str = "a.jpg", **fields: str) -> Request:
    named = {name.replace("_", "-"): value for name, value in fields.items()}
    return Request(method=method, path=path, origin="http://localhost", fields=named, is_last=False)


def resource(data: bytes = b"0123456789", *, media_type: str = "image/jpeg") -> Resource:
    return Resource(
        media_type=media_type,
        caching="no-cache",
        file=io.BytesIO(data),
        size_bytes=len(data),
        tag="t1",
        modified_s=NOW_S,
    )


def sent(answer: Answer) -> bytes:
    return b"".join(answers.body(answer, chunk_bytes=3))


@pytest.mark.parametrize(
    "fields", [{}, {"If_None_Match": '"t1"'}, {"If_Match": '"t2"'}, {"Range": "bytes=0-3"}], ids=str
)
def test_what_is_gone_is_said_to_be_gone_whatever_the_conditions(fields: dict[str, str]) -> None:
    gone = replace(resource(media_type="text/html; charset=utf-8"), is_gone=True)
    answer = answers.to(asked(**{name.lower(): value for name, value in fields.items()}), gone)
    assert answer.status is HTTPStatus.GONE
    assert sent(answer) == b"0123456789"


# ------------------------------------------------------------------------------------------ conditions


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({}, None),
        ({"if-none-match": '"t1"'}, HTTPStatus.NOT_MODIFIED),
        ({"if-none-match": 'W/"t1"'}, HTTPStatus.NOT_MODIFIED),
        ({"if-none-match": '"a,b", W/"t1"'}, HTTPStatus.NOT_MODIFIED),
        ({"if-none-match": "*"}, HTTPStatus.NOT_MODIFIED),
        ({"if-none-match": '"t"'}, None),
        ({"if-none-match": "t1"}, None),
        ({"if-none-match": '"t2"', "if-modified-since": LATER}, None),
        ({"if-modified-since": DATE}, HTTPStatus.NOT_MODIFIED),
        ({"if-modified-since": LATER}, HTTPStatus.NOT_MODIFIED),
        ({"if-modified-since": EARLIER}, None),
        ({"if-modified-since": "yesterday"}, None),
        ({"if-modified-since": "Tue, 10 Mar 99999999999 09:00:00 GMT"}, None),
        ({"if-match": '"t1"'}, None),
        ({"if-match": "*"}, None),
        ({"if-match": 'W/"t1"'}, HTTPStatus.PRECONDITION_FAILED),
        ({"if-match": '"t2"'}, HTTPStatus.PRECONDITION_FAILED),
        ({"if-match": '"t1"', "if-unmodified-since": EARLIER}, None),
        ({"if-unmodified-since": EARLIER}, HTTPStatus.PRECONDITION_FAILED),
        ({"if-unmodified-since": DATE}, None),
    ],
)
def test_conditions_are_held_against_tag_and_date(
    fields: dict[str, str], expected: HTTPStatus | None
) -> None:
    assert failed_condition(fields, resource()) is expected


def test_what_was_made_at_once_has_no_date() -> None:
    assert failed_condition({"if-modified-since": LATER}, made(b"x", "index.html")) is None


def test_an_unchanged_answer_has_no_body_and_names_no_length() -> None:
    answer = answers.to(asked(if_none_match='"t1"'), resource())
    assert answer.status is HTTPStatus.NOT_MODIFIED
    assert answer.size_bytes is None
    assert sent(answer) == b""
    assert dict(answer.fields)["ETag"] == '"t1"'


# ---------------------------------------------------------------------------------------------- ranges


@given(
    size=st.integers(0, 40),
    first=st.none() | st.integers(0, 50),
    last=st.none() | st.integers(0, 50),
)
def test_any_range_gives_its_bytes_or_all_or_is_refused(
    size: int, first: int | None, last: int | None
) -> None:
    data = bytes(range(size))
    wanted = f"bytes={'' if first is None else first}-{'' if last is None else last}"
    answer = answers.to(asked(range=wanted), resource(data))
    if first is None:
        expected = data[max(size - last, 0) :] if last else b""
    else:
        expected = data[first : None if last is None else last + 1]
    means_nothing = (first is None and last is None) or (
        first is not None and last is not None and last < first
    )
    if means_nothing:
        assert (answer.status, sent(answer)) == (HTTPStatus.OK, data)
    elif expected:
        assert (answer.status, sent(answer)) == (HTTPStatus.PARTIAL_CONTENT, expected)
        at = data.index(expected)
        assert dict(answer.fields)["Content-Range"] == f"bytes {at}-{at + len(expected) - 1}/{size}"
    else:
        assert answer.status is HTTPStatus.REQUESTED_RANGE_NOT_SATISFIABLE
        assert dict(answer.fields)["Content-Range"] == f"bytes */{size}"
        assert sent(answer) == b""


@pytest.mark.parametrize(
    "wanted", ["bytes=0-1,4-5", "bytes=0-1, ", "lines=0-1", "bytes=a-b", "bytes=1", "0-1", ""]
)
def test_several_ranges_other_units_and_nonsense_give_the_whole(wanted: str) -> None:
    answer = answers.to(asked(range=wanted), resource())
    assert (answer.status, sent(answer)) == (HTTPStatus.OK, b"0123456789")


@pytest.mark.parametrize(
    ("validator", "expected"),
    [
        ('"t1"', HTTPStatus.PARTIAL_CONTENT),
        ('W/"t1"', HTTPStatus.OK),
        ('"t2"', HTTPStatus.OK),
        (DATE, HTTPStatus.PARTIAL_CONTENT),
        (LATER, HTTPStatus.OK),
        (EARLIER, HTTPStatus.OK),
        ("yesterday", HTTPStatus.OK),
    ],
)
def test_a_part_is_given_only_of_what_the_client_has(validator: str, expected: HTTPStatus) -> None:
    assert answers.to(asked(range="bytes=2-3", if_range=validator), resource()).status is expected


def test_head_means_the_whole_whatever_range_is_asked() -> None:
    answer = answers.to(asked("HEAD", range="bytes=2-3"), resource())
    assert (answer.status, answer.size_bytes, sent(answer)) == (HTTPStatus.OK, 10, b"")


def test_a_file_that_became_shorter_is_not_passed_off_as_whole() -> None:
    answer = Answer(status=HTTPStatus.OK, fields=(), size_bytes=10, file=io.BytesIO(b"012345"))
    with pytest.raises(OSError, match="shorter"):
        sent(answer)


# ----------------------------------------------------------------------------------------- compression


@pytest.mark.parametrize(
    ("accepted", "expected"),
    [
        ("", False),
        ("identity", False),
        ("gzip", True),
        ("br, GZIP;q=0.5", True),
        ("x-gzip", True),
        ("*", True),
        ("gzip;q=0", False),
        ("gzip; q=0.000", False),
        ("*, gzip;q=0", False),
        ("*;q=0", False),
        ("gzip;q=0.001", True),
        ("gzippy", False),
    ],
)
def test_gzip_is_sent_to_who_takes_it(accepted: str, expected: bool) -> None:
    assert accepts_gzip(accepted) is expected


TEXT = b"f. 1r " * 500


def test_compressed_and_plain_texts_have_different_tags_and_both_say_what_they_vary_by() -> None:
    plain = answers.to(asked(), resource(TEXT, media_type="application/json"))
    packed = answers.to(asked(accept_encoding="gzip"), resource(TEXT, media_type="application/json"))
    assert dict(plain.fields)["ETag"] != dict(packed.fields)["ETag"]
    assert dict(plain.fields)["Vary"] == dict(packed.fields)["Vary"] == "Accept-Encoding"
    assert gzip.decompress(sent(packed)) == sent(plain) == TEXT
    assert packed.size_bytes is not None
    assert packed.size_bytes < len(TEXT)


def test_a_range_of_a_text_is_one_of_its_plain_bytes() -> None:
    answer = answers.to(
        asked(range="bytes=0-4", accept_encoding="gzip"), resource(TEXT, media_type="text/css")
    )
    assert sent(answer) == TEXT[:5]
    assert "Content-Encoding" not in dict(answer.fields)


@pytest.mark.parametrize("data", [b"short", b""])
def test_what_fits_in_a_packet_is_not_compressed(data: bytes) -> None:
    answer = answers.to(asked(accept_encoding="gzip"), resource(data, media_type="text/css"))
    assert "Content-Encoding" not in dict(answer.fields)


# ----------------------------------------------------------------------------------------------- pages


def test_the_page_for_what_is_not_there_shows_the_path_and_runs_nothing_of_it() -> None:
    answer = answers.to(asked(path="<script>\u202eevil"), None)
    page = sent(answer).decode()
    assert answer.status is HTTPStatus.NOT_FOUND
    assert "/&lt;script&gt;\\u202eevil" in page
    assert "<script>" not in page


def test_a_head_has_no_line_that_a_path_could_add() -> None:
    answer = answers.to(asked(path="a\r\nSet-Cookie: x=1"), Moved("a\r\nSet-Cookie: x=1/"))
    lines = answers.head(answer, date="now", is_last=True).decode().split("\r\n")
    assert "Location: /a%0D%0ASet-Cookie%3A%20x%3D1/" in lines
    assert not any(line.startswith("Set-Cookie") for line in lines)
