"""The images of a frame in a manifest: its service, what is painted on a canvas, thumbnails, downloads.

Source: IIIF Presentation API 3.0, sections 3.1 (thumbnail), 3.3 (service, rendering) and 5.7 (content
resources); IIIF Image API 3.0, sections 4 and 5.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.describe import wording
from pipeline.describe.addresses import Addresses
from pipeline.describe.iiif_text import language_map
from pipeline.jsondoc import JsonValue
from pipeline.model import Derivatives, ImageDelivery, Light, SizePx
from pipeline.specs import iiif

THUMBNAIL_LONG_EDGE_PX = 200
"""A thumbnail is the smallest image that exists and is not smaller than this."""


def images_by_frame(addresses: Addresses, derivatives: Mapping[str, Derivatives]) -> dict[str, FrameImages]:
    """Return what the manifest says of each frame's images, by identifier of the frame."""
    static = addresses.settings.images is ImageDelivery.TILES
    return {
        frame: FrameImages(
            made=made,
            service_id=addresses.image_service(frame),
            access_url=addresses.of(made.access.path),
            is_static=static,
        )
        for frame, made in derivatives.items()
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameImages:
    """What readers can be given of one frame."""

    made: Derivatives
    service_id: str
    access_url: str
    is_static: bool
    """Only the files that were made can be asked for; an image server makes any size."""

    def service(self) -> dict[str, JsonValue]:
        """Return the image service, as a manifest names it."""
        return {
            "id": self.service_id,
            "type": iiif.IMAGE_SERVICE_TYPE,
            "profile": iiif.LEVEL_0 if self.is_static else iiif.LEVEL_2,
        }

    def whole(self) -> dict[str, JsonValue]:
        """Return the largest whole image with its service: the body of a painting annotation."""
        return self._image(self.made.max_size) | {"service": [self.service()]}

    def thumbnail(self) -> dict[str, JsonValue]:
        """Return an image that exists, small enough for an overview."""
        return self._image(self._thumbnail_size())

    def thumbnail_with_sizes(self) -> dict[str, JsonValue]:
        """Return a thumbnail with its service and the sizes that there are: no client has to guess."""
        service = self.service()
        if self.made.sizes:
            service["sizes"] = [{"width": s.width_px, "height": s.height_px} for s in self.made.sizes]
        return self.thumbnail() | {"service": [service]}

    def download(self, light: Light | None) -> dict[str, JsonValue]:
        """Return the access image; `light` tells it from others of its view."""
        size = self.made.access_size
        return {
            "id": self.access_url,
            "type": "Image",
            "label": language_map(wording.access_image(size.width_px, size.height_px, light)),
            "format": self.made.access.media_type,
        }

    def _thumbnail_size(self) -> SizePx:
        sizes = self.made.sizes if self.is_static or self.made.sizes else _halvings(self.made.size)
        large_enough = (size for size in sizes if _long_edge_px(size) >= THUMBNAIL_LONG_EDGE_PX)
        return next(large_enough, self.made.max_size)

    def _image(self, size: SizePx) -> dict[str, JsonValue]:
        wanted = iiif.MAX if size == self.made.max_size else f"{size.width_px},{size.height_px}"
        return {
            "id": f"{self.service_id}/{iiif.FULL}/{wanted}/{iiif.DEFAULT_IMAGE}",
            "type": "Image",
            "format": "image/jpeg",
            "width": size.width_px,
            "height": size.height_px,
        }


def _halvings(full: SizePx) -> list[SizePx]:
    factors = (2**power for power in range(20, 0, -1))
    return [SizePx(width_px=-(-full.width_px // f), height_px=-(-full.height_px // f)) for f in factors]


def _long_edge_px(size: SizePx) -> int:
    return max(size.width_px, size.height_px)
