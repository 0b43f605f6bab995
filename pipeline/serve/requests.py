"""The head of a request, from bytes; what is malformed, or meant for another host, is refused.

Source: RFC 9112 (HTTP/1.1), sections 2 to 5 and 9; RFC 3986, section 2.1.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from http import HTTPStatus
from urllib.parse import unquote_to_bytes, urlsplit

from pipeline.specs import http


class RefusedError(Exception):
    """A request is answered with an error, and the connection ends."""

    def __init__(self, status: HTTPStatus, reason: str) -> None:
        super().__init__(reason)
        self.status = status
        self.reason = reason


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What is asked for."""

    method: str
    path: str
    """Below the root, decoded, without the slash at its beginning; ``*`` asks about the server itself."""
    origin: str
    """Scheme, host and port under which the client knows us: ``http://127.0.0.1:8000``."""
    fields: Mapping[str, str]
    """By names in lower case; values of one name are joined with commas."""
    is_last: bool
    """The connection ends after the answer."""


_LINE = re.compile(rb"([!#$%&'*+.^_`|~0-9A-Za-z-]+) ([\x21-\x7e]+) HTTP/(1\.[0-9])")
_FIELD = re.compile(rb"([!#$%&'*+.^_`|~0-9A-Za-z-]+):[ \t]*([^\0\r\n]*?)[ \t]*")
_HOST = re.compile(r"(?:localhost|[a-z0-9-]+\.localhost|127\.0\.0\.1|\[::1\])(?::[0-9]{1,5})?")


def parse(head: bytes, *, address: str) -> Request:
    """Return the request that a head is, without the empty line at its end.

    `address` is host and port for clients of HTTP/1.0, which need not name them. Raises RefusedError.
    """
    first, *lines = head.split(b"\r\n")
    match = _LINE.fullmatch(first)
    if match is None:
        raise RefusedError(HTTPStatus.BAD_REQUEST, "the first line is no request of HTTP/1.0 or 1.1")
    method, target, version = (part.decode("ascii") for part in match.groups())
    fields = _fields(lines)
    host, path = _host_and_path(target, fields.get("host", address if version == "1.0" else ""))
    if method not in http.METHODS:
        raise RefusedError(HTTPStatus.METHOD_NOT_ALLOWED, f"{method} is not done here: files are only read")
    return Request(
        method=method,
        path=path,
        origin=f"http://{host}",
        fields=fields,
        is_last=version == "1.0" or _ends_connection(fields),
    )


def _fields(lines: list[bytes]) -> dict[str, str]:
    fields: dict[str, str] = {}
    for line in lines:
        match = _FIELD.fullmatch(line)
        if match is None:
            raise RefusedError(HTTPStatus.BAD_REQUEST, "a line of the head is no header field")
        name, value = match[1].decode("ascii").lower(), match[2].decode("latin-1")
        if name in fields and name == "host":
            raise RefusedError(HTTPStatus.BAD_REQUEST, "more than one Host")
        fields[name] = f"{fields[name]}, {value}" if name in fields else value
    return fields


def _host_and_path(target: str, host: str) -> tuple[str, str]:
    """Return the host that is meant, ours alone, and the path, from each form that a target may have."""
    if target == "*":
        path = target
    elif target.startswith("/"):
        path = target.partition("?")[0]
    else:
        host, path = _absolute(target)
    if not _HOST.fullmatch(host.lower()):
        # a page of a stranger may let its own host name lead to this machine
        raise RefusedError(
            HTTPStatus.MISDIRECTED_REQUEST,
            "only localhost and 127.0.0.1 are served here, under their own names",
        )
    return host.lower(), _decoded(path)


def _absolute(target: str) -> tuple[str, str]:
    try:
        parts = urlsplit(target)
    except ValueError:
        parts = urlsplit("")
    if parts.scheme != "http":
        raise RefusedError(HTTPStatus.BAD_REQUEST, "the address asked for is no path")
    return parts.netloc, parts.path or "/"


def _decoded(path: str) -> str:
    try:
        return unquote_to_bytes(path).decode("utf-8").removeprefix("/")
    except UnicodeDecodeError as error:
        raise RefusedError(HTTPStatus.BAD_REQUEST, "the path is not UTF-8") from error


def _ends_connection(fields: Mapping[str, str]) -> bool:
    """True if the client says so, or sends a body, which nobody here reads."""
    wishes = {each.strip().lower() for each in fields.get("connection", "").split(",")}
    return "close" in wishes or "transfer-encoding" in fields or fields.get("content-length", "0") != "0"
