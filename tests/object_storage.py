"""Object storage on the loopback address, and a proxy before it that fails as asked.

The storage is moto's server, over real HTTP; it judges no signature, so any credentials will do.
"""

from __future__ import annotations

import http.client
import os
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.message import Message
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import urlsplit

KEY, SECRET = "AKIAEXAMPLEKEY", "example/secret+key"


def environment(endpoint: str) -> dict[str, str]:
    """Return what the environment must hold to reach an endpoint, and that nothing else is asked."""
    return {
        "AWS_ENDPOINT_URL": endpoint,
        "AWS_ACCESS_KEY_ID": KEY,
        "AWS_SECRET_ACCESS_KEY": SECRET,
        "AWS_DEFAULT_REGION": "us-east-1",
        "AWS_EC2_METADATA_DISABLED": "true",
        "AWS_CONFIG_FILE": os.devnull,
        "AWS_SHARED_CREDENTIALS_FILE": os.devnull,
    }


@contextmanager
def serving() -> Iterator[str]:
    """Serve empty object storage, and give its address."""
    from moto.server import ThreadedMotoServer

    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    try:
        host, port = server.get_host_and_port()
        yield f"http://{host}:{port}"
    finally:
        server.stop()


def create_bucket(endpoint: str, name: str) -> None:
    """Make a bucket."""
    ask(endpoint, "PUT", f"/{name}")


def ask(endpoint: str, method: str, path: str, body: bytes = b"") -> bytes:
    """Send one request as it is, without a signature; return the answer's body."""
    connection = http.client.HTTPConnection(urlsplit(endpoint).netloc)
    try:
        connection.request(method, path, body=body, headers={"Authorization": _UNSIGNED})
        answer = connection.getresponse()
        data = answer.read()
        assert answer.status < 300, data
        return data
    finally:
        connection.close()


_UNSIGNED = (
    "AWS4-HMAC-SHA256 Credential=x/20260101/us-east-1/s3/aws4_request, SignedHeaders=host, Signature=x"
)


# ---------------------------------------------------------------------------------------------- faults


@dataclass(slots=True, kw_only=True)
class Fault:
    """What happens to the next requests that fit."""

    method: str
    part_of_path: str = ""
    header: str = ""
    """What a request must have to fit."""
    times: int = 1
    status: int = 0
    """Answered instead of the storage."""
    silence_s: float = 0
    """Before the answer."""
    keeps: float = 1
    """The share of the answer's body that comes, before the connection is cut."""
    flips: bool = False
    """A bit of what is sent is flipped on the way."""
    is_answer_lost: bool = False
    """The storage does what it is asked; who asked is not told."""
    then: Callable[[], object] = lambda: None
    """Done when it happens."""


@dataclass(slots=True)
class FaultyStorage:
    """A proxy; it counts what was asked."""

    endpoint: str
    faults: list[Fault] = field(default_factory=list)
    judge: Callable[[str, str], Fault | None] | None = None
    """Asked before `faults`."""
    asked: list[str] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def next_fault(self, method: str, path: str, headers: Message) -> Fault | None:
        with self.lock:
            self.asked.append(f"{method} {path}")
            if self.judge and (fault := self.judge(method, path)):
                return fault
            for fault in self.faults:
                is_meant = fault.method == method and fault.part_of_path in path
                if fault.times and is_meant and (not fault.header or fault.header in headers):
                    fault.times -= 1
                    return fault
            return None


@contextmanager
def failing(behind: str) -> Iterator[FaultyStorage]:
    """Serve a proxy before the storage at `behind`."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), _Handler)
    server.daemon_threads = True
    server.handle_error = lambda *_: None  # type: ignore[method-assign]  # who asked has gone, or the storage has
    storage = FaultyStorage(f"http://127.0.0.1:{server.server_address[1]}")
    server.behind, server.storage = urlsplit(behind).netloc, storage  # type: ignore[attr-defined]
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    try:
        yield storage
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def _handle(self) -> None:
        storage: FaultyStorage = self.server.storage  # type: ignore[attr-defined]
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        fault = storage.next_fault(self.command, self.path, self.headers) or Fault(method="")
        fault.then()
        time.sleep(fault.silence_s)
        if fault.status:
            self._answer(fault.status, {}, _error(fault.status))
            return
        if fault.flips:
            body = bytes([body[0] ^ 1]) + body[1:]
        status, headers, data = self._forward(body, is_damaged=fault.flips)
        if fault.is_answer_lost:
            self.close_connection = True
            return
        self._answer(status, headers, data, keeps=fault.keeps)

    do_GET = do_PUT = do_HEAD = do_POST = do_DELETE = _handle  # noqa: N815

    def _forward(self, body: bytes, *, is_damaged: bool = False) -> tuple[int, dict[str, str], bytes]:
        behind = http.client.HTTPConnection(self.server.behind)  # type: ignore[attr-defined]
        try:
            sent = dict(self.headers)
            if is_damaged:  # the storage would refuse it
                del sent["Content-MD5"]
            behind.request(self.command, self.path, body=body, headers=sent)
            answer = behind.getresponse()
            return answer.status, dict(answer.getheaders()), answer.read()
        finally:
            behind.close()

    def _answer(self, status: int, headers: dict[str, str], data: bytes, *, keeps: float = 1) -> None:
        self.send_response(status)
        for name, value in headers.items():
            if name.lower() not in ("content-length", "connection", "transfer-encoding", "server", "date"):
                self.send_header(name, value)
        size = headers.get("Content-Length", str(len(data))) if self.command == "HEAD" else str(len(data))
        self.send_header("Content-Length", size)
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(data[: int(len(data) * keeps)])
        if keeps < 1:
            self.close_connection = True

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing."""


def _error(status: int) -> bytes:
    code = {500: "InternalError", 503: "SlowDown", 403: "AccessDenied", 501: "NotImplemented"}[status]
    return f"<?xml version='1.0'?><Error><Code>{code}</Code><Message>as asked</Message></Error>".encode()
