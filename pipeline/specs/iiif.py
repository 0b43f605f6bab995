"""IIIF Image API 3.0 and Presentation API 3.0: contexts, types, profiles.

Source: IIIF Image API 3.0.0 and Presentation API 3.0.0 (June 2020); annex on physical dimensions.
"""

from __future__ import annotations

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
