"""One canvas of a manifest, with all that is painted on it.

Source: IIIF Presentation API 3.0, sections 5.3 to 5.7; annex on physical dimensions.
"""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.describe import iiif_images, wording
from pipeline.describe.addresses import Addresses
from pipeline.describe.canvases import Canvas
from pipeline.describe.iiif_text import language_map
from pipeline.jsondoc import JsonValue
from pipeline.model import Derivatives, Frame, LightKind
from pipeline.specs import iiif


def canvas_document(
    canvas: Canvas, addresses: Addresses, derivatives: Mapping[str, Derivatives]
) -> dict[str, JsonValue]:
    """Return one canvas: empty, with one image, or with a choice of images in different light."""
    address = addresses.canvas(canvas.identifier)
    document: dict[str, JsonValue] = {
        "id": address,
        "type": "Canvas",
        "label": language_map(canvas.label),
        "height": canvas.size.height_px,
        "width": canvas.size.width_px,
    }
    if canvas.behavior:
        document["behavior"] = [canvas.behavior.value]
    if not canvas.frames:
        return document | {"items": []}
    document["thumbnail"] = [iiif_images.thumbnail(addresses, derivatives[canvas.frames[0].identifier])]
    document["rendering"] = [_rendering(frame, canvas, addresses, derivatives) for frame in canvas.frames]
    if canvas.mm_per_unit:
        document["service"] = [_physical_dimensions(address, canvas.mm_per_unit)]
    return document | {"items": [_painted(address, _body(canvas, addresses, derivatives))]}


def _painted(canvas: str, body: JsonValue) -> dict[str, JsonValue]:
    annotation: dict[str, JsonValue] = {
        "id": f"{canvas}/page/painting",
        "type": "Annotation",
        "motivation": iiif.MOTIVATION_PAINTING,
        "target": canvas,
        "body": body,
    }
    return {"id": f"{canvas}/page", "type": "AnnotationPage", "items": [annotation]}


def _body(canvas: Canvas, addresses: Addresses, derivatives: Mapping[str, Derivatives]) -> JsonValue:
    """The image of the only frame, or a choice; a choice has no id of its own (validators differ on it)."""
    if len(canvas.frames) > 1:
        options = [_option(frame, addresses, derivatives[frame.identifier]) for frame in canvas.frames]
        return {"type": "Choice", "items": options}
    [frame] = canvas.frames
    image = iiif_images.whole_image(addresses, derivatives[frame.identifier])
    return image if frame.light.kind is LightKind.NORMAL else _labelled(image, frame)


def _option(frame: Frame, addresses: Addresses, images: Derivatives) -> dict[str, JsonValue]:
    return _labelled(
        iiif_images.whole_image(addresses, images)
        | {"thumbnail": [iiif_images.thumbnail(addresses, images)]},
        frame,
    )


def _labelled(image: dict[str, JsonValue], frame: Frame) -> dict[str, JsonValue]:
    head: dict[str, JsonValue] = {"id": image["id"], "type": image["type"]}
    return head | {"label": language_map(wording.light_name(frame.light))} | image


def _rendering(
    frame: Frame, canvas: Canvas, addresses: Addresses, derivatives: Mapping[str, Derivatives]
) -> dict[str, JsonValue]:
    """The access image of a frame, for people who want to keep it."""
    access, size = derivatives[frame.identifier].access, derivatives[frame.identifier].access_size
    light = frame.light if len(canvas.frames) > 1 else None
    return {
        "id": addresses.of(access.path),
        "type": "Image",
        "label": language_map(wording.access_image(size.width_px, size.height_px, light)),
        "format": access.media_type,
    }


def _physical_dimensions(canvas: str, mm_per_unit: float) -> dict[str, JsonValue]:
    """The scale of a canvas. Annex and API ask for different keys; all of them are given."""
    return {
        "@context": iiif.PHYSICAL_DIMENSIONS_CONTEXT,
        "id": f"{canvas}/physdim",
        "type": iiif.PHYSICAL_DIMENSIONS_TYPE,
        "profile": iiif.PHYSICAL_DIMENSIONS_PROFILE,
        "physicalScale": float(f"{mm_per_unit:.6g}"),
        "physicalUnits": "mm",
    }
