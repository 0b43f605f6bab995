"""What readers get from one master: an access image, and a static IIIF image service or one pyramid.

Plan: `scale_factors`, `image_sizes`, `tile_regions`, `expected_files` are arithmetic alone. Perform:
`derive_frame` writes. Record: the `Derivatives` that it returns.

Source: IIIF Image API 3.0, sections 4 and 5; rounding up as its implementation notes recommend.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from pipeline import jsondoc, layout
from pipeline.digests import digest_file
from pipeline.files import walk_files
from pipeline.model import Algorithm, Derivatives, ImageDelivery, SizePx, StoredFile
from pipeline.specs import iiif

if TYPE_CHECKING:
    from pipeline.images import Picture

MAX_WHOLE_PX = 16_384
"""Longest side of ``full/max``: what browsers can still hold on a canvas (common practice, no source)."""


# ----------------------------------------------------------------------------------------------- plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """A rectangle of the full image, in its pixels."""

    x_px: int
    y_px: int
    width_px: int
    height_px: int

    def __str__(self) -> str:
        """Return it as the Image API writes a region."""
        return f"{self.x_px},{self.y_px},{self.width_px},{self.height_px}"


def ceiling_divide(dividend: int, divisor: int) -> int:
    """Return the quotient, rounded up."""
    return -(-dividend // divisor)


def scaled(size: SizePx, scale_factor: int) -> SizePx:
    """Return the size of the whole image at a scale factor, each side rounded up."""
    return SizePx(
        width_px=ceiling_divide(size.width_px, scale_factor),
        height_px=ceiling_divide(size.height_px, scale_factor),
    )


def scale_factors(size: SizePx, *, tile_px: int) -> tuple[int, ...]:
    """Return the powers of two from 1 to the first at which the image fits into one tile, without gaps."""
    factors = [1]
    while max(scaled(size, factors[-1]).width_px, scaled(size, factors[-1]).height_px) > tile_px:
        factors.append(factors[-1] * 2)
    return tuple(factors)


def image_sizes(size: SizePx, *, tile_px: int) -> tuple[SizePx, ...]:
    """Return the whole-image sizes that exist as files, ascending, without the full size.

    One for each scale factor above 1; for an image that fits into one tile there is none.
    """
    factors = scale_factors(size, tile_px=tile_px)
    return tuple(scaled(size, factor) for factor in reversed(factors[1:]))


def max_size(size: SizePx, *, tile_px: int) -> SizePx:
    """Return the size of ``full/max``: the full size, or the largest reduced one that is not too large."""
    for each in (size, *reversed(image_sizes(size, tile_px=tile_px))):
        if max(each.width_px, each.height_px) <= MAX_WHOLE_PX:
            return each
    return scaled(size, scale_factors(size, tile_px=tile_px)[-1])


def tile_regions(size: SizePx, *, tile_px: int, scale_factor: int) -> Iterator[Region]:
    """Yield the regions that one scale factor is cut into, in full-image pixels, row by row.

    Together they cover the image once; the last column and row are cropped, not padded.
    Source: IIIF Image API 3.0, section 5.4.
    """
    step = tile_px * scale_factor
    for y_px in range(0, size.height_px, step):
        for x_px in range(0, size.width_px, step):
            yield Region(
                x_px=x_px,
                y_px=y_px,
                width_px=min(step, size.width_px - x_px),
                height_px=min(step, size.height_px - y_px),
            )


def tile_name(size: SizePx, region: Region, *, scale_factor: int) -> str:
    """Return the canonical request of one tile below the service's id (Image API 3.0, section 4.7)."""
    part = scaled(SizePx(width_px=region.width_px, height_px=region.height_px), scale_factor)
    if (region.width_px, region.height_px) != (size.width_px, size.height_px):
        return f"{region}/{part.width_px},{part.height_px}/{iiif.DEFAULT_IMAGE}"
    return whole_name(size, part)


def whole_name(size: SizePx, wanted: SizePx) -> str:
    """Return the canonical request of the whole image at a size."""
    text = iiif.MAX if wanted == size else f"{wanted.width_px},{wanted.height_px}"
    return f"{iiif.FULL}/{text}/{iiif.DEFAULT_IMAGE}"


def whole_files(size: SizePx, *, tile_px: int) -> dict[str, SizePx]:
    """Return the whole images that exist as files, by their names below the service's id."""
    names = {f"{iiif.FULL}/{iiif.MAX}/{iiif.DEFAULT_IMAGE}": max_size(size, tile_px=tile_px)}
    return names | {whole_name(size, each): each for each in listed_sizes(size, tile_px=tile_px)}


def expected_files(size: SizePx, *, tile_px: int) -> frozenset[str]:
    """Return every path that a client may ask for below a service's id: info.json, tiles, whole images."""
    tiles = (
        tile_name(size, region, scale_factor=factor)
        for factor in scale_factors(size, tile_px=tile_px)
        for region in tile_regions(size, tile_px=tile_px, scale_factor=factor)
    )
    return frozenset((iiif.INFO, *whole_files(size, tile_px=tile_px), *tiles))


def listed_sizes(size: SizePx, *, tile_px: int) -> tuple[SizePx, ...]:
    """Return what info.json lists as `sizes`: whole-image sizes up to that of ``full/max``."""
    limit = max_size(size, tile_px=tile_px)
    return tuple(each for each in image_sizes(size, tile_px=tile_px) if each.width_px <= limit.width_px)


def info_document(size: SizePx, *, service_id: str, tile_px: int, rights: str = "") -> dict[str, object]:
    """Return info.json of a level 0 service (Image API 3.0, section 5)."""
    sizes = listed_sizes(size, tile_px=tile_px)
    largest = max_size(size, tile_px=tile_px)
    document: dict[str, object] = {
        "@context": iiif.IMAGE_CONTEXT,
        "id": service_id,
        "type": iiif.IMAGE_SERVICE_TYPE,
        "protocol": iiif.IMAGE_PROTOCOL,
        "profile": iiif.LEVEL_0,
        "width": size.width_px,
        "height": size.height_px,
    }
    if largest != size:
        document |= {"maxWidth": largest.width_px, "maxHeight": largest.height_px}
    if sizes:
        document["sizes"] = [{"width": each.width_px, "height": each.height_px} for each in sizes]
    factors = list(scale_factors(size, tile_px=tile_px))
    document["tiles"] = [{"width": tile_px, "scaleFactors": factors}]
    if rights:
        document["rights"] = rights
    return document


def access_size(size: SizePx, *, long_edge_px: int) -> SizePx:
    """Return the size of the access image: its long edge `long_edge_px`, never larger than the image."""
    long_edge = max(size.width_px, size.height_px)
    if long_edge <= long_edge_px:
        return size
    return SizePx(
        width_px=max(1, round(size.width_px * long_edge_px / long_edge)),
        height_px=max(1, round(size.height_px * long_edge_px / long_edge)),
    )


# -------------------------------------------------------------------------------------------- perform


@dataclass(frozen=True, slots=True, kw_only=True)
class DerivePlan:
    """What is wanted of one frame."""

    item: str
    frame: str
    base_url: str
    delivery: ImageDelivery
    tile_px: int
    access_long_edge_px: int
    jpeg_quality: int
    rights: str
    checksums: tuple[Algorithm, ...]


def derive_frame(
    picture: Picture, plan: DerivePlan, payload: Path, *, now: dt.datetime
) -> tuple[Derivatives, tuple[StoredFile, ...]]:
    """Write everything that readers get of one frame below `payload`.

    Returns what there is, and every file of the image service: tiles, whole images and info.json, or
    the one pyramid. These are many, so they stay out of what crosses from worker to parent.
    `payload` is a folder of this frame alone, laid out as the publication bundle's payload.
    Raises ToolError.
    """
    size, tile_px = picture.size, plan.tile_px
    access = layout.access_path(plan.item, plan.frame)
    static = plan.delivery is ImageDelivery.TILES
    wholes = _write_images(picture, plan, payload) if static else _write_pyramid(picture, plan, payload)
    wanted = access_size(size, long_edge_px=plan.access_long_edge_px)
    _write_wholes(picture, {**wholes, payload / access: wanted}, plan)
    stored = {path: _stored(payload, path, plan.checksums) for path in walk_files(payload)}
    derivatives = Derivatives(
        frame=plan.frame,
        size=size,
        max_size=max_size(size, tile_px=tile_px) if static else size,
        sizes=listed_sizes(size, tile_px=tile_px) if static else (),
        tile_px=tile_px,
        scale_factors=scale_factors(size, tile_px=tile_px),
        access=stored.pop(access),
        access_size=wanted,
        made_at=now,
    )
    return derivatives, tuple(stored.values())


def _write_images(picture: Picture, plan: DerivePlan, payload: Path) -> dict[Path, SizePx]:
    """Write the tiles and info.json of a static service; return the whole images still to be written."""
    size, tile_px = picture.size, plan.tile_px
    address = layout.image_folder(plan.item, plan.frame)
    folder = payload / address
    if len(scale_factors(size, tile_px=tile_px)) > 1:  # else full/max is the one tile
        picture.write_tiles(folder, tile_px=tile_px, quality=plan.jpeg_quality)
    service_id = layout.url(plan.base_url, address)
    info = info_document(size, service_id=service_id, tile_px=tile_px, rights=plan.rights)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / iiif.INFO).write_bytes(jsondoc.to_bytes(info))
    return {folder / name: whole for name, whole in whole_files(size, tile_px=tile_px).items()}


def _write_pyramid(picture: Picture, plan: DerivePlan, payload: Path) -> dict[Path, SizePx]:
    path = payload / layout.pyramid_path(plan.item, plan.frame, layout.PYRAMID_SUFFIXES[plan.delivery])
    if plan.delivery is ImageDelivery.PYRAMID_TIFF:
        picture.write_pyramid_tiff(path, tile_px=plan.tile_px, quality=plan.jpeg_quality)
    else:
        picture.write_jp2(path, quality=plan.jpeg_quality)
    return {}


def _write_wholes(picture: Picture, wholes: dict[Path, SizePx], plan: DerivePlan) -> None:
    """Write whole images, each reduced from the one before it: the large picture is read once or twice."""
    for path, size in sorted(
        wholes.items(), key=lambda each: (-each[1].width_px, -each[1].height_px, each[0])
    ):
        smaller = picture.reduced(size)
        smaller.write_jpeg(path, quality=plan.jpeg_quality)
        # reducing a picture by less than half again would soften it
        picture = smaller if 2 * size.width_px <= picture.size.width_px + 1 else picture


_MEDIA_TYPES = {".jpg": "image/jpeg", ".json": "application/json", ".tif": "image/tiff", ".jp2": "image/jp2"}


def _stored(payload: Path, path: PurePosixPath, checksums: tuple[Algorithm, ...]) -> StoredFile:
    size_bytes, fixity = digest_file(payload / path, checksums)
    return StoredFile(path=path, size_bytes=size_bytes, fixity=fixity, media_type=_MEDIA_TYPES[path.suffix])
