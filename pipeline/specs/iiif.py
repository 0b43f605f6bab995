"""IIIF Image API 3.0 and Presentation API 3.0: contexts, types, profiles.

Source: IIIF Image API 3.0.0 and Presentation API 3.0.0 (June 2020); annex on physical dimensions.
"""

from __future__ import annotations

import enum
import re

IMAGE_CONTEXT = "http://iiif.io/api/image/3/context.json"
IMAGE_PROTOCOL = "http://iiif.io/api/image"
IMAGE_SERVICE_TYPE = "ImageService3"
LEVEL_0 = "level0"
LEVEL_2 = "level2"
PRESENTATION_CONTEXT = "http://iiif.io/api/presentation/3/context.json"
PHYSICAL_DIMENSIONS_PROFILE = "http://iiif.io/api/annex/services/physdim"
PHYSICAL_DIMENSIONS_CONTEXT = "http://iiif.io/api/annex/services/physdim/1/context.json"

INFO = "info.json"
FULL = "full"
MAX = "max"
DEFAULT_IMAGE = "0/default.jpg"
"""Rotation, quality and format: all that a level 0 tree has (Image API 3.0, section 4)."""


class Behavior(enum.StrEnum):
    """Values of `behavior` that are used (Presentation API 3.0, section 3.4).

    The first four are for manifests and ranges and shut each other out; the next two are for canvases
    of a paged manifest and shut each other out; the last is for collections.
    """

    UNORDERED = "unordered"
    INDIVIDUALS = "individuals"
    CONTINUOUS = "continuous"
    PAGED = "paged"
    FACING_PAGES = "facing-pages"
    NON_PAGED = "non-paged"
    MULTI_PART = "multi-part"


MOTIVATION_PAINTING = "painting"
"""The content is the view, not something said of it (Presentation API 3.0, section 5.6)."""

PHYSICAL_DIMENSIONS_TYPE = "Service"
"""The annex knows no type; Presentation 3.0 wants one on every service (section 4.7)."""

_RIGHTS = re.compile(
    r"https?://(?:www\.)?(creativecommons\.org/(?:licenses|publicdomain)|rightsstatements\.org/(?:vocab|page))"
    r"/([A-Za-z-]+/[0-9.]+)(/[a-z]{2,3})?(?:/(?:deed|legalcode)[A-Za-z._-]*)?/?"
)


def rights_uri(text: str) -> str:
    """Return the URI that `rights` may hold, or nothing if `text` is not of a kind that it may hold.

    Only Creative Commons and RightsStatements.org are allowed. Their machine-readable URIs begin with
    http and end with a slash, however people copy them from a browser (Presentation API 3.0, section 3.2).
    """
    match = _RIGHTS.fullmatch(text)
    if match is None:
        return ""
    family, term, jurisdiction = match.groups(default="")
    return f"http://{family.replace('/page', '/vocab')}/{term}{jurisdiction}/"
