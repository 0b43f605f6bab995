"""What is answered to a request: conditions, ranges, compression. Nothing here reads a socket or a clock.

Source: RFC 9110, sections 8.8 (validators), 12.5.3 (Accept-Encoding), 13 (conditions), 14 (ranges).
"""

from __future__ import annotations

import contextlib
import gzip
import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from email.utils import formatdate, mktime_tz, parsedate_tz
from html import escape
from http import HTTPStatus
from typing import BinaryIO
from urllib.parse import quote

from pipeline.files import visible
from pipeline.serve.requests import Request
from pipeline.serve.resources import Moved, Resource
from pipeline.specs import http

Fields = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """A status, what stands at the head, and the part of a file that follows."""

    status: HTTPStatus
    fields: Fields
    size_bytes: int | None
    """What ``Content-Length`` says; none for an answer that never has a body."""
    file: BinaryIO | None = None
    """None if no body is sent."""
    first_byte: int = 0


_EVERYWHERE: Fields = (*http.CORS_FIELDS, ("X-Content-Type-Options", "nosniff"))


def head(answer: Answer, *, date: str, is_last: bool) -> bytes:
    """Return an answer's head as bytes."""
    size = () if answer.size_bytes is None else (("Content-Length", str(answer.size_bytes)),)
    connection = (("Connection", "close"),) if is_last else ()
    fields = (("Server", "solander"), ("Date", date), *size, *answer.fields, *_EVERYWHERE, *connection)
    lines = [
        f"HTTP/1.1 {answer.status.value} {answer.status.phrase}",
        *(f"{name}: {value}" for name, value in fields),
    ]
    return ("\r\n".join(lines) + "\r\n\r\n").encode("latin-1")


# ---------------------------------------------------------------------------------------------- whole


def to(request: Request, found: Resource | Moved | None) -> Answer:
    """Return the answer to a request for what was found at its path."""
    match found:
        case None:
            return _page(request, HTTPStatus.NOT_FOUND, f"Nothing lies at /{request.path}")
        case Moved():
            answer = _page(request, HTTPStatus.MOVED_PERMANENTLY, f"It lies at /{found.path}")
            return replace(answer, fields=(("Location", "/" + quote(found.path, safe="/,")), *answer.fields))
    if request.method == "HEAD":
        return replace(_of_resource(request, found), file=None)
    return _of_resource(request, found)


def options() -> Answer:
    """Return the answer to OPTIONS: what clients may ask, also those on other sites."""
    fields = (("Allow", ", ".join(http.METHODS)), *http.PREFLIGHT_FIELDS)
    return Answer(status=HTTPStatus.NO_CONTENT, fields=fields, size_bytes=None)


def refusal(status: HTTPStatus, reason: str) -> Answer:
    """Return the answer to what could not be done."""
    allowed = (("Allow", ", ".join(http.METHODS)),) if status is HTTPStatus.METHOD_NOT_ALLOWED else ()
    answer = _page(None, status, reason)
    return replace(answer, fields=(*allowed, *answer.fields))


_STYLE = """
body { font: 1.1rem/1.5 system-ui, sans-serif; max-width: 40rem; margin: 4rem auto; padding: 0 1rem }
@media (prefers-color-scheme: dark) { body { background: #1b1b1b; color: #ddd } a { color: inherit } }
"""


def _page(request: Request | None, status: HTTPStatus, reason: str) -> Answer:
    title = f"{status.value} {status.phrase}"
    text = f"""<!doctype html>
<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{title}</title><style>{_STYLE}</style>
<h1>{title}</h1><p>{escape(visible(reason))}.</p><p><a href="/">To the front page</a></p></html>
"""
    data = text.encode("utf-8", "backslashreplace")
    is_head = request is not None and request.method == "HEAD"
    fields = (("Content-Type", http.MEDIA_TYPES[".html"]), ("Cache-Control", http.KEEP_NOTHING))
    return Answer(
        status=status, fields=fields, size_bytes=len(data), file=None if is_head else io.BytesIO(data)
    )


# ----------------------------------------------------------------------------------------- of resources


def _of_resource(request: Request, resource: Resource) -> Answer:
    fields = request.fields
    has_range = request.method == "GET" and "range" in fields and not resource.is_gone
    fields_before: Fields = ()
    if http.is_text(resource.media_type):
        fields_before = (("Vary", "Accept-Encoding"),)
        if not has_range and _is_worth_it(resource) and accepts_gzip(fields.get("accept-encoding", "")):
            resource = _compressed(resource)
            fields_before += (("Content-Encoding", "gzip"),)
    about = (*_validators(resource), ("Cache-Control", resource.caching), *fields_before)
    if resource.is_gone:  # conditions are for what is there (RFC 9110, section 13.2.1)
        about = (("Content-Type", resource.media_type), *about)
        return Answer(
            status=HTTPStatus.GONE, fields=about, size_bytes=resource.size_bytes, file=resource.file
        )
    if (status := failed_condition(fields, resource)) is not None:
        return Answer(
            status=status, fields=about, size_bytes=None if status is HTTPStatus.NOT_MODIFIED else 0
        )
    about = (("Content-Type", resource.media_type), ("Accept-Ranges", "bytes"), *about)
    if has_range and _range_still_holds(fields, resource):
        return _part(fields["range"], resource, about)
    return Answer(status=HTTPStatus.OK, fields=about, size_bytes=resource.size_bytes, file=resource.file)


def _validators(resource: Resource) -> Fields:
    tag = (("ETag", f'"{resource.tag}"'),)
    if resource.modified_s is None:
        return tag
    return (*tag, ("Last-Modified", formatdate(resource.modified_s, usegmt=True)))


# ----------------------------------------------------------------------------------------- compression

_SMALL_BYTES, _LARGE_BYTES = 1 << 10, 32 << 20
"""What fits in one packet is not made smaller; what is very large would be held in memory."""
_LEVEL = 5


def _is_worth_it(resource: Resource) -> bool:
    return _SMALL_BYTES <= resource.size_bytes <= _LARGE_BYTES


def _compressed(resource: Resource) -> Resource:
    """Return a text in gzip: other bytes, so another tag (RFC 9110, section 8.8.3.3)."""
    with resource.file as file:
        data = gzip.compress(_all_of(file), compresslevel=_LEVEL, mtime=0)
    return replace(resource, file=io.BytesIO(data), size_bytes=len(data), tag=f"{resource.tag}-gzip")


def _all_of(file: BinaryIO) -> bytes:
    return b"".join(
        iter(lambda: file.read(1 << 20), b"")
    )  # an archive's member may give less than it was asked for


_ZERO = re.compile(r"q=0(?:\.0{0,3})?")


def accepts_gzip(accepted: str) -> bool:
    """True if an ``Accept-Encoding`` names gzip, or anything at all, and not with the weight nought."""
    weights: dict[str, bool] = {}
    for each in accepted.lower().split(","):
        coding, _, weight = (part.strip() for part in each.partition(";"))
        weights[coding] = _ZERO.fullmatch(weight) is None
    return weights.get("gzip", weights.get("x-gzip", weights.get("*", False)))


# ------------------------------------------------------------------------------------------ conditions


def failed_condition(fields: Mapping[str, str], resource: Resource) -> HTTPStatus | None:
    """Return what is answered because a condition does not hold, none if all hold.

    Source: RFC 9110, section 13.2.2: the order in which they are looked at.
    """
    if "if-match" in fields:
        if not _names(fields["if-match"], resource.tag, weakly=False):
            return HTTPStatus.PRECONDITION_FAILED
    elif _is_newer(resource, fields.get("if-unmodified-since", "")):
        return HTTPStatus.PRECONDITION_FAILED
    if "if-none-match" in fields:
        return HTTPStatus.NOT_MODIFIED if _names(fields["if-none-match"], resource.tag, weakly=True) else None
    since = _seconds(fields.get("if-modified-since", ""))
    if since is not None and resource.modified_s is not None and resource.modified_s <= since:
        return HTTPStatus.NOT_MODIFIED
    return None


_TAGS = re.compile(r'(W/)?"([\x21\x23-\x7e\x80-\xff]*)"')


def _names(listed: str, tag: str, *, weakly: bool) -> bool:
    return listed.strip() == "*" or any(
        found == tag and (weakly or not weak) for weak, found in _TAGS.findall(listed)
    )


def _is_newer(resource: Resource, date: str) -> bool:
    since = _seconds(date)
    return since is not None and resource.modified_s is not None and resource.modified_s > since


def _seconds(date: str) -> int | None:
    """Return a date of HTTP as seconds since 1970, none if it is no date."""
    with contextlib.suppress(ValueError, OverflowError, TypeError):
        if parts := parsedate_tz(date):
            return int(mktime_tz(parts))
    return None


# ---------------------------------------------------------------------------------------------- ranges


def _range_still_holds(fields: Mapping[str, str], resource: Resource) -> bool:
    """True without ``If-Range``, or if it names exactly what there is (RFC 9110, section 13.1.5)."""
    wanted = fields.get("if-range", "").strip()
    if not wanted:
        return True
    if wanted.startswith(('"', "W/")):
        return wanted == f'"{resource.tag}"'
    return resource.modified_s is not None and _seconds(wanted) == resource.modified_s


_ONE_RANGE = re.compile(r"bytes[ \t]*=[ \t]*([0-9]{0,18})-([0-9]{0,18})[ \t]*", re.IGNORECASE)


def _part(wanted: str, resource: Resource, about: Fields) -> Answer:
    """Return the range that is wanted; all if there are several, or another unit: a server may ignore them.

    Source: RFC 9110, section 14.2.
    """
    match = _ONE_RANGE.fullmatch(wanted)
    if match is None or not any(match.groups()) or (all(match.groups()) and int(match[2]) < int(match[1])):
        return Answer(status=HTTPStatus.OK, fields=about, size_bytes=resource.size_bytes, file=resource.file)
    size = resource.size_bytes
    if match[1]:
        first, last = int(match[1]), min(int(match[2] or size - 1), size - 1)
    else:
        first, last = max(size - int(match[2]), 0), size - 1
    if first > last:
        about = (("Content-Range", f"bytes */{size}"), *about)
        return Answer(status=HTTPStatus.REQUESTED_RANGE_NOT_SATISFIABLE, fields=about, size_bytes=0)
    return Answer(
        status=HTTPStatus.PARTIAL_CONTENT,
        fields=(("Content-Range", f"bytes {first}-{last}/{size}"), *about),
        size_bytes=last - first + 1,
        file=resource.file,
        first_byte=first,
    )


def body(answer: Answer, *, chunk_bytes: int) -> Iterator[bytes]:
    """Yield the bytes of an answer's body. Raises OSError, also if there are fewer than were announced."""
    if answer.file is None:
        return
    answer.file.seek(answer.first_byte)
    left = answer.size_bytes or 0
    while left:
        data = answer.file.read(min(left, chunk_bytes))
        if not data:
            raise OSError("the file became shorter while it was sent")
        left -= len(data)
        yield data
