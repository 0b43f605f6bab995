"""HTTP as a server of files speaks it: methods, media types, how long answers may be kept.

Source: RFC 9110 (semantics), RFC 9111 (caching), RFC 8246 (immutable); the Fetch standard, section 3.2
(CORS); IIIF Presentation API 3.0, section 6.3, Image API 3.0, section 5.1, Change Discovery API 1.0, 3.2.
"""

from __future__ import annotations

from types import MappingProxyType

METHODS = ("GET", "HEAD", "OPTIONS")

CORS_FIELDS = (
    ("Access-Control-Allow-Origin", "*"),
    ("Access-Control-Expose-Headers", "Accept-Ranges, Content-Encoding, Content-Length, Content-Range, ETag"),
)
"""On every answer: clients on other sites may read it, and what stands at its head."""

PREFLIGHT_FIELDS = (
    ("Access-Control-Allow-Methods", ", ".join(METHODS)),
    ("Access-Control-Allow-Headers", "If-Match, If-Modified-Since, If-None-Match, If-Range, Range"),
    ("Access-Control-Max-Age", "86400"),
)
"""On the answer to OPTIONS: what a client on another site may ask, and for how many seconds that holds."""

REVALIDATE = "no-cache"
"""Kept, but asked about each time: what keeps its address when it is published anew."""
IMMUTABLE = "public, max-age=31536000, immutable"
"""What carries its digest in its name (RFC 8246, section 2)."""
KEEP_NOTHING = "no-store"


def linked_data(context: str) -> str:
    """The media type of a JSON-LD document with a IIIF context."""
    return f'application/ld+json;profile="{context}"'


UNKNOWN_MEDIA_TYPE = "application/octet-stream"
MEDIA_TYPES = MappingProxyType(
    {
        ".css": "text/css; charset=utf-8",
        ".csv": "text/csv; charset=utf-8",
        ".gif": "image/gif",
        ".html": "text/html; charset=utf-8",
        ".ico": "image/x-icon",
        ".jp2": "image/jp2",
        ".jpg": "image/jpeg",
        ".js": "text/javascript; charset=utf-8",
        ".json": "application/json",
        ".pdf": "application/pdf",
        ".png": "image/png",
        ".svg": "image/svg+xml",
        ".tif": "image/tiff",
        ".txt": "text/plain; charset=utf-8",
        ".webp": "image/webp",
        ".woff2": "font/woff2",
        ".xml": "application/xml",
    }
)
"""By the ending of a name. XML and JSON say their encoding themselves."""

_TEXTS = frozenset({"application/json", "application/ld+json", "application/xml", "image/svg+xml"})


def is_text(media_type: str) -> bool:
    """True for what becomes much smaller by gzip."""
    return media_type.startswith("text/") or media_type.partition(";")[0] in _TEXTS
