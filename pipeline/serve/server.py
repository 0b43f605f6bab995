"""Connections on the loopback address: one thread each, none of which may wait for ever.

Every client has a deadline for the head of a request and for taking what it asked for, and there are no
more than `MOST_CONNECTIONS` at once.
"""

from __future__ import annotations

import contextlib
import email.utils
import errno
import socket
import socketserver
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from http import HTTPStatus

from pipeline.errors import PipelineError, ToolError
from pipeline.serve import answers, requests
from pipeline.serve.answers import Answer
from pipeline.serve.requests import RefusedError, Request
from pipeline.serve.resources import Moved, Resource, Site

LOOPBACK = "127.0.0.1"
MOST_CONNECTIONS = 512
MOST_HEAD_BYTES = 16 << 10
_CHUNK_BYTES = 256 << 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Patience:
    """How long a client is waited for."""

    idle_s: float = 30
    """For the next request on a connection."""
    head_s: float = 10
    """For the whole head, once it has begun."""
    send_s: float = 30
    """For each piece of the answer to be taken."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """A server that answers."""

    port: int

    @property
    def url(self) -> str:
        """The address of the front page, without a slash at its end."""
        return f"http://{LOOPBACK}:{self.port}"


def _say_nothing(text: str) -> None:
    pass


@contextlib.contextmanager
def running(
    site: Site,
    *,
    port: int,
    clock: Callable[[], float],
    say: Callable[[str], None] = _say_nothing,
    patience: Patience | None = None,
) -> Iterator[Running]:
    """Serve a site on the loopback address while the context lasts; port 0 takes a free one.

    `clock` gives the time, in seconds since 1970, for the date of answers. `say` is told, from several
    threads, of what was asked for and not found. Raises ToolError if the port cannot be had.
    """
    try:
        server = _Server(port, site, clock, say, patience or Patience())
    except OSError as error:
        raise ToolError(_why_not(port, error)) from error
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.1}, daemon=True)
    thread.start()
    try:
        yield Running(port=server.server_address[1])
    finally:
        server.shutdown()
        server.close()
        thread.join()


def _why_not(port: int, error: OSError) -> str:
    if error.errno == errno.EADDRINUSE:
        return f"port {port} is taken by another program; give another one, or 0 for any that is free"
    if error.errno == errno.EACCES:
        return f"port {port} is not yours to take; give one above 1023, or 0 for any that is free"
    return (
        f"port {port} cannot be had ({error.strerror or error}); give another one, or 0 for any that is free"
    )


class _Server(socketserver.TCPServer):
    allow_reuse_address = sys.platform != "win32"  # there it would let two programs share a port
    request_queue_size = 256

    def __init__(
        self,
        port: int,
        site: Site,
        clock: Callable[[], float],
        say: Callable[[str], None],
        patience: Patience,
    ) -> None:
        self.site, self.clock, self.say, self.patience = site, clock, say, patience
        self._lock = threading.Lock()
        self._open: dict[socket.socket, threading.Thread] = {}
        super().__init__((LOOPBACK, port), socketserver.BaseRequestHandler)

    def process_request(self, request: socket.socket, client_address: object) -> None:  # type: ignore[override]
        with self._lock:
            is_full = len(self._open) >= MOST_CONNECTIONS
            if not is_full:
                thread = threading.Thread(target=self._serve, args=(request,), daemon=True)
                self._open[request] = thread
        if is_full:
            self.shutdown_request(request)
        else:
            thread.start()

    def _serve(self, connection: socket.socket) -> None:
        try:
            _Conversation(self, connection).hold()
        finally:
            with self._lock:
                self._open.pop(connection, None)
            self.shutdown_request(connection)

    def close(self) -> None:
        """End all connections, wait for their threads, give the port back."""
        with self._lock:
            still_open = dict(self._open)
        for connection in still_open:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
        for thread in still_open.values():
            thread.join(timeout=5)
        self.server_close()


class _Conversation:
    """One connection: request and answer in turn, until one of the two ends it."""

    def __init__(self, server: _Server, connection: socket.socket) -> None:
        self._server = server
        self._connection = connection
        self._received = bytearray()

    def hold(self) -> None:
        with contextlib.suppress(OSError):  # the client is gone, or too slow
            self._connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            try:
                while (head := self._next_head()) is not None:
                    if not self._answer(head):
                        break
            except RefusedError as error:
                self._send(answers.refusal(error.status, error.reason), is_last=True)
            self._let_go()

    def _next_head(self) -> bytes | None:
        """Return the next head, none if the client has no more. Raises RefusedError, OSError.

        Empty lines before it mean nothing (RFC 9112, section 2.2).
        """
        patience = self._server.patience
        deadline = time.monotonic() + (patience.head_s if self._received else patience.idle_s)
        while True:
            del self._received[: len(self._received) - len(self._received.lstrip(b"\r\n"))]
            head, end, rest = self._received.partition(b"\r\n\r\n")
            if len(head) > MOST_HEAD_BYTES:
                reason = f"the head of the request has more than {MOST_HEAD_BYTES:,} bytes"
                raise RefusedError(HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE, reason)
            if end:
                self._received = rest
                return bytes(head)
            had_begun = bool(self._received)
            if not (data := self._receive(deadline)):
                return None
            if not had_begun:
                deadline = min(deadline, time.monotonic() + patience.head_s)
            self._received += data

    def _receive(self, deadline: float) -> bytes:
        """Return what comes next before the deadline, nothing if the client has no more. Raises OSError."""
        left_s = deadline - time.monotonic()
        if left_s <= 0:
            raise TimeoutError
        self._connection.settimeout(left_s)
        return self._connection.recv(MOST_HEAD_BYTES)

    def _answer(self, head: bytes) -> bool:
        """Answer one request; true if another may follow. Raises RefusedError, OSError."""
        request = requests.parse(head, address=f"{LOOPBACK}:{self._server.server_address[1]}")
        if request.method == "OPTIONS":
            self._send(answers.options(), is_last=request.is_last)
            return not request.is_last
        found = self._found(request)
        if found is None:
            self._server.say(f"/{request.path}: not found")
        with found.file if isinstance(found, Resource) else contextlib.nullcontext():
            self._send(answers.to(request, found), is_last=request.is_last)
        return not request.is_last

    def _found(self, request: Request) -> Resource | Moved | None:
        try:
            return self._server.site.find(request.path, origin=request.origin)
        except PipelineError as error:
            reason = str(error)
        except OSError as error:
            reason = f"/{request.path}: cannot be read ({error.strerror or error})"
        except Exception as error:  # a crash of ours must not leave the client without an answer
            reason = f"/{request.path}: cannot be made, by a mistake of ours ({error!r})"
        self._server.say(reason)
        raise RefusedError(HTTPStatus.INTERNAL_SERVER_ERROR, reason)

    def _send(self, answer: Answer, *, is_last: bool) -> None:
        """Send an answer, its head together with the first piece of the body. Raises OSError."""
        self._connection.settimeout(self._server.patience.send_s)
        date = email.utils.formatdate(self._server.clock(), usegmt=True)
        waiting = answers.head(answer, date=date, is_last=is_last)
        for piece in answers.body(answer, chunk_bytes=_CHUNK_BYTES):
            self._connection.sendall(waiting + piece)
            waiting = b""
        if waiting:
            self._connection.sendall(waiting)

    def _let_go(self) -> None:
        """Say that nothing follows, and take what still comes: else the system throws our answer away."""
        self._connection.shutdown(socket.SHUT_WR)
        deadline = time.monotonic() + 1
        while self._receive(deadline):
            pass
