"""Images in a manifest: services, what is painted on a canvas, thumbnails.

Source: IIIF Presentation API 3.0, sections 3.1 (thumbnail), 3.3 (service) and 5.7 (content resources);
IIIF Image API 3.0, sections 4 and 5.
"""

from __future__ import annotations

from pipeline.describe.addresses import Addresses
from pipeline.jsondoc import JsonValue
from pipeline.model import Derivatives, ImageDelivery, SizePx
from pipeline.specs import iiif

THUMBNAIL_LONG_EDGE_PX = 200
"""A thumbnail is the smallest image that exists and is not smaller than this."""


def service(addresses: Addresses, images: Derivatives) -> dict[str, JsonValue]:
    """Return the image service of a frame, as a manifest names it."""
    static = addresses.settings.images is ImageDelivery.TILES
    return {
        "id": addresses.image_service(images.frame),
        "type": iiif.IMAGE_SERVICE_TYPE,
        "profile": iiif.LEVEL_0 if static else iiif.LEVEL_2,
    }


def whole_image(addresses: Addresses, images: Derivatives) -> dict[str, JsonValue]:
    """Return the largest whole image of a frame with its service: the body of a painting annotation."""
    return _image(addresses, images, images.max_size) | {"service": [service(addresses, images)]}


def thumbnail(addresses: Addresses, images: Derivatives) -> dict[str, JsonValue]:
    """Return an image that exists, small enough for an overview."""
    return _image(addresses, images, thumbnail_size(addresses, images))


def thumbnail_with_sizes(addresses: Addresses, images: Derivatives) -> dict[str, JsonValue]:
    """Return a thumbnail with its service and the sizes that there are, so that no client has to guess."""
    served = service(addresses, images)
    if images.sizes:
        served["sizes"] = [{"width": size.width_px, "height": size.height_px} for size in images.sizes]
    return thumbnail(addresses, images) | {"service": [served]}


def thumbnail_size(addresses: Addresses, images: Derivatives) -> SizePx:
    """Return the smallest size with a long edge of at least `THUMBNAIL_LONG_EDGE_PX`, or the largest.

    A static tree has only the sizes that were made; an image server makes any, so it is asked for halvings.
    """
    static = addresses.settings.images is ImageDelivery.TILES
    made = images.sizes if static or images.sizes else _halvings(images.size)
    return next((size for size in made if _long_edge_px(size) >= THUMBNAIL_LONG_EDGE_PX), images.max_size)


def _image(addresses: Addresses, images: Derivatives, size: SizePx) -> dict[str, JsonValue]:
    wanted = iiif.MAX if size == images.max_size else f"{size.width_px},{size.height_px}"
    return {
        "id": f"{addresses.image_service(images.frame)}/{iiif.FULL}/{wanted}/{iiif.DEFAULT_IMAGE}",
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
