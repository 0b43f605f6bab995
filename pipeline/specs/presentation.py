"""IIIF Presentation API 3.0 and 2.1, and what went before: what a stranger's document may hold.

Source: IIIF Presentation API 3.0.0, Presentation API 2.1.1, Image API 3.0.0 and 2.1.1. What we write
ourselves is in `pipeline.specs.iiif`.
"""

from __future__ import annotations

import re
from types import MappingProxyType

PRESENTATION_2_CONTEXT = "http://iiif.io/api/presentation/2/context.json"
IMAGE_2_CONTEXT = "http://iiif.io/api/image/2/context.json"
ANY_PRESENTATION = re.compile(r"https?://(?:www\.)?iiif\.io/api/presentation/([0-9.]+)/context\.json")
ANY_IMAGE = re.compile(r"https?://(?:www\.)?(?:iiif\.io/api/image|library\.stanford\.edu/iiif/image-api)/")
"""The contexts of every version, as they are and as they are mistyped."""

IMAGE_2_LEVEL = re.compile(r"http://iiif\.io/api/image/2/(level[012])\.json(?:#.*)?")
"""The first entry of `profile` (Image API 2.1, section 5.3; older deliveries add a fragment)."""
OLDER_LEVEL = re.compile(r"https?://\S*(level[012])(?:\.json)?(?:#.*)?")
"""How the level stands in a profile of any version."""

LEVELS = ("level0", "level1", "level2")

MINIMAL_HTML = MappingProxyType(
    {
        "a": frozenset({"href"}),
        "b": frozenset[str](),
        "br": frozenset[str](),
        "i": frozenset[str](),
        "img": frozenset({"src", "alt"}),
        "p": frozenset[str](),
        "small": frozenset[str](),
        "span": frozenset[str](),
        "sub": frozenset[str](),
        "sup": frozenset[str](),
    }
)
"""Elements that clients show, and their attributes (Presentation API 3.0, section 4.5)."""

DANGEROUS_HTML = frozenset({"script", "style", "object", "form", "input", "iframe", "embed", "svg", "link"})
"""What clients must take out, and what else runs code or loads things (section 4.5)."""

HTML_PROPERTIES = frozenset({"summary", "value"})
"""Where HTML is allowed: `summary`, and `value` in `metadata` and `requiredStatement` (section 4.5)."""

RECOMMENDED = MappingProxyType(
    {
        "Collection": ("metadata", "summary", "provider", "thumbnail"),
        "Manifest": ("metadata", "summary", "provider", "thumbnail"),
    }
)
"""Properties that should be there (section 3.1 and appendix A)."""

LAYOUTS = frozenset({"unordered", "individuals", "continuous", "paged"})
SIDES = frozenset({"facing-pages", "non-paged"})
TIMED = frozenset({"auto-advance", "no-auto-advance", "repeat", "no-repeat"})
"""Behaviors that mean something only where there is a duration (section 3.2, behavior)."""

STATIC_FEATURES = frozenset(
    {"baseUriRedirect", "canonicalLinkHeader", "cors", "jsonldMediaType", "profileLinkHeader"}
)
"""Features of the Image API that a tree of files can offer: none of them makes images (section 5.7)."""

MEDIA_TYPES = MappingProxyType(
    {
        ".jpg": ("image/jpeg",),
        ".jpeg": ("image/jpeg",),
        ".png": ("image/png",),
        ".webp": ("image/webp",),
        ".gif": ("image/gif",),
        ".tif": ("image/tiff",),
        ".tiff": ("image/tiff",),
        ".jp2": ("image/jp2", "image/jpx"),
        ".svg": ("image/svg+xml",),
        ".pdf": ("application/pdf",),
        ".epub": ("application/epub+zip",),
        ".html": ("text/html", "application/xhtml+xml"),
        ".txt": ("text/plain",),
        ".csv": ("text/csv",),
        ".json": ("application/json", "application/ld+json", "application/geo+json"),
        ".xml": ("application/xml", "text/xml"),
    }
)
"""What `format` may say of a file, by the ending of its name (section 3.2, format)."""
