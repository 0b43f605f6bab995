"""The head of a request: what is taken, what is refused."""

from __future__ import annotations

from http import HTTPStatus

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.serve.requests import RefusedError, Request, parse

ADDRESS = "127.0.0.1:8000"


def asked(line: str = "GET / HTTP/1.1", *fields: str, host: str = ADDRESS) -> Request:
    return parse("\r\n".join([line, f"Host: {host}", *fields]).encode("latin-1"), address=ADDRESS)


@pytest.mark.parametrize(
    ("target", "path"),
    [
        ("/", ""),
        ("/items/ms-7/", "items/ms-7/"),
        ("/iiif/0,0,5,5/max?x=/y", "iiif/0,0,5,5/max"),
        ("/a%2Cb%20c", "a,b c"),
        ("/%C3%A9", "é"),
        ("/%252e", "%2e"),
        ("/100%", "100%"),
        ("//etc", "/etc"),
        ("http://localhost:8000/a?b", "a"),
        ("http://localhost:8000", ""),
        ("*", "*"),
    ],
)
def test_the_path_is_decoded_once_and_the_question_is_not_part_of_it(target: str, path: str) -> None:
    assert asked(f"GET {target} HTTP/1.1").path == path


@pytest.mark.parametrize(
    "line",
    [
        "",
        "GET /",
        "GET  / HTTP/1.1",
        "GET / HTTP/2.0",
        "GET /\t HTTP/1.1",
        "GET /a b HTTP/1.1",
        "GET / http/1.1",
        "GET etc HTTP/1.1",
        "GET ftp://localhost/ HTTP/1.1",
        "GET http://[ HTTP/1.1",
        "GET /\xe9 HTTP/1.1",
        "GET /%ff HTTP/1.1",
        "\x16\x03\x01 / HTTP/1.1",
    ],
)
def test_what_is_no_request_is_refused(line: str) -> None:
    with pytest.raises(RefusedError) as refused:
        asked(line)
    assert refused.value.status is HTTPStatus.BAD_REQUEST


@pytest.mark.parametrize(
    "field", ["", "no colon", "Blank : x", " folded: x", "a: x\0y", "Host: other", "ä: x"]
)
def test_what_is_no_field_is_refused(field: str) -> None:
    with pytest.raises(RefusedError) as refused:
        asked("GET / HTTP/1.1", field)
    assert refused.value.status is HTTPStatus.BAD_REQUEST


def test_values_of_one_name_are_joined_and_names_have_no_case() -> None:
    request = asked("GET / HTTP/1.1", 'If-None-Match: "a"', 'IF-NONE-MATCH:\t"b" ')
    assert request.fields["if-none-match"] == '"a", "b"'


@pytest.mark.parametrize(
    "host", ["127.0.0.1:8000", "127.0.0.1", "localhost:9", "LocalHost", "[::1]:80", "a.localhost"]
)
def test_names_of_this_machine_are_answered_under_the_name_that_was_asked(host: str) -> None:
    assert asked(host=host).origin == f"http://{host.lower()}"


@pytest.mark.parametrize(
    "host",
    [
        "",
        "rebound.example",
        "rebound.example:8000",
        "127.0.0.1.rebound.example",
        "localhost.rebound.example",
        "localhost@rebound.example",
        "rebound.example@localhost",
        "127.0.0.1:8000:1",
        "localhost/",
        'localhost"><script>',
        "0.0.0.0:8000",
        "10.0.0.7",
    ],
)
def test_other_host_names_are_refused(host: str) -> None:
    with pytest.raises(RefusedError) as refused:
        asked(host=host)
    assert refused.value.status is HTTPStatus.MISDIRECTED_REQUEST


@pytest.mark.parametrize(
    "host", ["", "rebound.example", "localhost@rebound.example", "u@localhost", "localhost:x"]
)
def test_the_host_in_a_whole_address_is_what_counts(host: str) -> None:
    with pytest.raises(RefusedError):
        asked(f"GET http://{host}/ HTTP/1.1")


def test_only_clients_of_the_old_version_need_not_name_the_host() -> None:
    assert parse(b"GET / HTTP/1.0", address=ADDRESS).origin == f"http://{ADDRESS}"
    with pytest.raises(RefusedError):
        parse(b"GET / HTTP/1.1", address=ADDRESS)


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "TRACE", "CONNECT", "get"])
def test_other_methods_are_refused(method: str) -> None:
    with pytest.raises(RefusedError) as refused:
        asked(f"{method} / HTTP/1.1")
    assert refused.value.status is HTTPStatus.METHOD_NOT_ALLOWED


@pytest.mark.parametrize(
    ("line", "field", "expected"),
    [
        ("GET / HTTP/1.1", "Accept: */*", False),
        ("GET / HTTP/1.1", "Connection: keep-alive", False),
        ("GET / HTTP/1.1", "Connection: Keep-Alive, Close", True),
        ("GET / HTTP/1.1", "Content-Length: 0", False),
        ("GET / HTTP/1.1", "Content-Length: 5", True),
        ("GET / HTTP/1.1", "Transfer-Encoding: chunked", True),
        ("GET / HTTP/1.0", "Connection: keep-alive", True),
    ],
)
def test_a_connection_ends_when_the_client_says_so_or_sends_a_body(
    line: str, field: str, expected: bool
) -> None:
    assert asked(line, field).is_last is expected


@given(
    st.binary(max_size=200)
    | st.text(max_size=60).map(lambda text: f"GET /{text} HTTP/1.1\r\nHost: localhost".encode())
)
def test_any_bytes_are_a_request_or_refused(head: bytes) -> None:
    try:
        request = parse(head, address=ADDRESS)
    except RefusedError:
        return
    assert request.origin.startswith("http://")
    assert request.path.encode().decode() == request.path
