"""Connections: kept, cut off, many at once, and what clients can do wrong. All on the loopback address."""

from __future__ import annotations

import http.client
import re
import socket
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest

from pipeline.errors import InputError, ToolError
from pipeline.serve import FolderSite, Moved, Resource, Running, Site, made, running
from pipeline.serve.server import MOST_CONNECTIONS, MOST_HEAD_BYTES, Patience

NOW_S = 1773133200.0
LARGE = bytes(range(256)) * 8192


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("site")
    (folder / "index.html").write_text("front")
    (folder / "tile.jpg").write_bytes(b"tile" * 500)
    (folder / "large.tif").write_bytes(LARGE)
    return folder


@contextmanager
def served(
    site: Site, *, say: Callable[[str], None] = lambda text: None, **patience: float
) -> Iterator[Running]:
    with running(site, port=0, clock=lambda: NOW_S, say=say, patience=Patience(**patience)) as server:
        yield server


@pytest.fixture(scope="module")
def server(folder: Path) -> Iterator[Running]:
    with served(FolderSite(folder)) as one:
        yield one


@pytest.fixture(scope="module")
def impatient(folder: Path) -> Iterator[Running]:
    """A server that waits for nobody longer than half a second."""
    with served(FolderSite(folder), idle_s=0.5, head_s=0.5, send_s=0.5) as one:
        yield one


def connected(server: Running) -> socket.socket:
    return socket.create_connection(("127.0.0.1", server.port), timeout=20)


def request(path: str = "/", *fields: str, version: str = "1.1") -> bytes:
    return "\r\n".join([f"GET {path} HTTP/{version}", "Host: localhost", *fields, "", ""]).encode()


def all_of(connection: socket.socket) -> bytes:
    return b"".join(iter(lambda: connection.recv(65536), b""))


def answer_to(server: Running, data: bytes) -> bytes:
    """Everything that comes back on one connection until the server ends it."""
    with connected(server) as connection:
        connection.sendall(data)
        return all_of(connection)


def fetched(server: Running, path: str) -> tuple[int, bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=20)
    try:
        connection.request("GET", path)
        answer = connection.getresponse()
        return answer.status, answer.read()
    finally:
        connection.close()


# --------------------------------------------------------------------------------------------- in turn


def test_an_answer_has_its_date_from_the_clock_that_was_given(server: Running) -> None:
    head = answer_to(server, request("/", "Connection: close")).partition(b"\r\n\r\n")[0].split(b"\r\n")
    assert head[0] == b"HTTP/1.1 200 OK"
    assert b"Date: Tue, 10 Mar 2026 09:00:00 GMT" in head
    assert b"Content-Length: 5" in head
    assert b"Connection: close" in head


def test_requests_that_come_together_are_answered_in_turn(server: Running) -> None:
    many = request("/") + b"\r\n" + request("/nothing") + request("/tile.jpg", "Connection: close")
    answers = answer_to(server, many)
    assert re.findall(rb"HTTP/1.1 ([0-9]+)", answers) == [b"200", b"404", b"200"]
    assert answers.endswith(b"tile" * 500)


def test_a_request_may_come_one_byte_at_a_time(server: Running) -> None:
    with connected(server) as connection:
        for byte in request("/", "Connection: close"):
            connection.sendall(bytes([byte]))
        assert all_of(connection).endswith(b"\r\n\r\nfront")


def test_a_client_of_the_old_version_gets_one_answer(server: Running) -> None:
    assert answer_to(server, b"GET / HTTP/1.0\r\n\r\n").endswith(b"\r\n\r\nfront")


def test_a_body_is_not_taken_for_the_next_request(server: Running) -> None:
    smuggled = request("/", "Content-Length: 40") + request("/tile.jpg")
    assert answer_to(server, smuggled).count(b"HTTP/1.1 ") == 1


def test_large_files_come_whole_and_in_parts(server: Running) -> None:
    assert fetched(server, "/large.tif") == (200, LARGE)
    part = answer_to(server, request("/large.tif", "Range: bytes=1000000-1999999", "Connection: close"))
    assert part.partition(b"\r\n\r\n")[2] == LARGE[1_000_000:2_000_000]


# --------------------------------------------------------------------------------------- ill-behaved


@pytest.mark.parametrize(
    ("data", "status"),
    [
        (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n", b"400"),
        (b"GET / HTTP/1.1\r\n\r\n", b"421"),
        (b"GET / HTTP/1.1\r\nHost: rebound.example\r\n\r\n", b"421"),
        (b"DELETE / HTTP/1.1\r\nHost: localhost\r\n\r\n", b"405"),
        (request("/%ff"), b"400"),
        (request("/" + "a" * MOST_HEAD_BYTES), b"431"),
        (request("/", *(f"X-{number}: {'y' * 100}" for number in range(10_000))), b"431"),
        (b"A" * 4_000_000, b"431"),
    ],
)
def test_what_is_malformed_or_too_large_is_answered_and_cut_off(
    server: Running, data: bytes, status: bytes
) -> None:
    with connected(server) as connection:
        try:
            connection.sendall(data)
        except OSError:  # cut off before all was sent
            return
        answer = all_of(connection)
    assert answer.split()[1] == status
    assert b"Connection: close" in answer


def test_an_endless_head_is_answered_before_its_end(server: Running) -> None:
    with connected(server) as connection:
        connection.sendall(b"GET / HTTP/1.1\r\n" + b"X: " + b"y" * MOST_HEAD_BYTES)
        assert connection.recv(65536).split()[1] == b"431"


def test_empty_lines_without_end_are_not_waited_for(impatient: Running) -> None:
    assert _seconds_until_cut_off(impatient, [b"\r\n" * 1000] * 2000, pause_s=0.005) < 5


def _seconds_until_cut_off(server: Running, pieces: Iterable[bytes], *, pause_s: float) -> float:
    """Send piece by piece until the server does not take any more."""
    started = time.monotonic()
    with connected(server) as connection:
        for piece in pieces:
            try:
                connection.sendall(piece)
            except OSError:
                return time.monotonic() - started
            time.sleep(pause_s)
    pytest.fail("the server took all of it")


def test_who_says_nothing_or_never_comes_to_an_end_is_let_go(impatient: Running) -> None:
    for beginning in (b"", b"GET / HT", request("/")):
        started = time.monotonic()
        with connected(impatient) as connection:
            connection.sendall(beginning)
            all_of(connection)
        assert 0.3 < time.monotonic() - started < 5


def test_who_drips_a_head_is_let_go_by_the_deadline_for_all_of_it(impatient: Running) -> None:
    drops = [bytes([byte]) for byte in b"GET / HTTP/1.1\r\nHost: localhost\r\nX: " + b"y" * 1000]
    assert _seconds_until_cut_off(impatient, drops, pause_s=0.05) < 5


def test_who_takes_nothing_is_let_go(tmp_path: Path) -> None:
    with (tmp_path / "large.tif").open("wb") as file:
        file.truncate(1 << 30)
    with served(FolderSite(tmp_path), send_s=0.3) as one, connected(one) as connection:
        connection.sendall(request("/large.tif"))
        time.sleep(0.8)
        connection.settimeout(10)
        size = len(all_of_or_reset(connection))
        assert size < 1 << 28


def all_of_or_reset(connection: socket.socket) -> bytes:
    data = b""
    try:
        while piece := connection.recv(1 << 20):
            data += piece
    except ConnectionResetError:
        pass
    return data


def test_slow_clients_do_not_keep_others_waiting(folder: Path) -> None:
    with served(FolderSite(folder)) as one:
        slow = [connected(one) for _ in range(100)]
        try:
            for connection in slow:
                connection.sendall(b"GET / HTTP/1.1\r\nHost: loc")
            started = time.monotonic()
            for _ in range(20):
                assert fetched(one, "/tile.jpg") == (200, b"tile" * 500)
            assert time.monotonic() - started < 5
        finally:
            for connection in slow:
                connection.close()


def test_two_hundred_clients_at_once_are_answered(folder: Path) -> None:
    together = threading.Barrier(200)

    def one_of_many(_: int) -> bytes:
        with connected(one) as connection:
            together.wait(timeout=30)
            connection.sendall(request("/tile.jpg", "Connection: close"))
            return all_of(connection).partition(b"\r\n\r\n")[2]

    with served(FolderSite(folder)) as one, ThreadPoolExecutor(200) as pool:
        assert set(pool.map(one_of_many, range(200))) == {b"tile" * 500}


def test_beyond_the_most_connections_new_ones_are_closed_and_later_ones_answered(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert MOST_CONNECTIONS >= 200
    monkeypatch.setattr("pipeline.serve.server.MOST_CONNECTIONS", 3)
    with served(FolderSite(folder)) as one:
        held = [connected(one) for _ in range(3)]
        for connection in held:
            connection.sendall(request("/"))
            assert connection.recv(65536).startswith(b"HTTP/1.1 200")
        with connected(one) as refused:
            assert all_of_or_reset(refused) == b""
        for connection in held:
            connection.close()
        deadline = time.monotonic() + 10
        while not answered(one):
            assert time.monotonic() < deadline


def answered(server: Running) -> bool:
    try:
        return fetched(server, "/") == (200, b"front")
    except (OSError, http.client.HTTPException):
        return False


# ------------------------------------------------------------------------------------- begin and end


def test_a_port_that_is_taken_or_forbidden_is_said_with_a_way_out(folder: Path) -> None:
    with (
        served(FolderSite(folder)) as one,
        pytest.raises(ToolError, match=rf"port {one.port} is taken .* or 0 for any that is free"),
        running(FolderSite(folder), port=one.port, clock=time.time),
    ):
        pass


def test_only_the_loopback_address_is_listened_at(server: Running) -> None:
    assert server.url == f"http://127.0.0.1:{server.port}"
    others = {each[4][0] for each in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
    for address in others - {"127.0.0.1"}:
        with pytest.raises(OSError):  # noqa: PT011, refused or not reachable
            socket.create_connection((str(address), server.port), timeout=1).close()


def test_the_end_closes_connections_that_clients_keep(folder: Path) -> None:
    with served(FolderSite(folder)) as one:
        connection = connected(one)
        connection.sendall(request("/"))
        assert connection.recv(65536).endswith(b"front")
        started = time.monotonic()
    assert time.monotonic() - started < 3
    with connection:
        assert all_of_or_reset(connection) == b""
    with pytest.raises(OSError):  # noqa: PT011, nobody is there
        connected(one)


# ------------------------------------------------------------------------------------------- the site


class Odd:
    """A site that fails in every way."""

    def find(self, path: str, *, origin: str) -> Resource | Moved | None:
        if path == "input":
            raise InputError("manifest.json: is not a JSON document")
        if path == "disk":
            raise OSError(5, "Input/output error")
        if path == "mistake":
            raise KeyError("label")
        return made(origin.encode(), path) if path == "origin" else None


def test_what_fails_is_told_to_the_reader_and_to_who_serves() -> None:
    told: list[str] = []
    with served(Odd(), say=told.append) as one:
        for path, reason in [
            ("input", b"is not a JSON document"),
            ("disk", b"Input/output"),
            ("mistake", b"KeyError"),
        ]:
            status, page = fetched(one, f"/{path}")
            assert status == 500
            assert reason in page
        assert fetched(one, "/nothing")[0] == 404
        assert fetched(one, "/origin") == (200, one.url.encode())
    assert told == [
        "manifest.json: is not a JSON document",
        "/disk: cannot be read (Input/output error)",
        "/mistake: cannot be made, by a mistake of ours (KeyError('label'))",
        "/nothing: not found",
    ]
