"""One canvas of a manifest, with all that is painted on it.

Source: IIIF Presentation API 3.0, sections 5.3 to 5.7; annex on physical dimensions.
"""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.describe import wording
from pipeline.describe.addresses import Addresses
from pipeline.describe.canvases import Canvas
from pipeline.describe.iiif_images import FrameImages
from pipeline.describe.iiif_text import language_map
from pipeline.jsondoc import JsonValue
from pipeline.model import Light, LightKind
from pipeline.specs import iiif


def canvas_document(
    canvas: Canvas, addresses: Addresses, images: Mapping[str, FrameImages]
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
    return document | _content(address, canvas, images)


def _content(address: str, canvas: Canvas, images: Mapping[str, FrameImages]) -> dict[str, JsonValue]:
    shown = [(images[frame.identifier], frame.light) for frame in canvas.frames]
    if not shown:
        return {"items": []}
    several = len(shown) > 1
    content: dict[str, JsonValue] = {
        "thumbnail": [shown[0][0].thumbnail()],
        "rendering": [each.download(light if several else None) for each, light in shown],
    }
    if canvas.mm_per_unit:
        content["service"] = [_physical_dimensions(address, canvas.mm_per_unit)]
    return content | {"items": [_painted(address, _choice(shown) if several else _only(*shown[0]))]}


def _painted(canvas: str, body: JsonValue) -> dict[str, JsonValue]:
    annotation: dict[str, JsonValue] = {
        "id": f"{canvas}/page/painting",
        "type": "Annotation",
        "motivation": iiif.MOTIVATION_PAINTING,
        "target": canvas,
        "body": body,
    }
    return {"id": f"{canvas}/page", "type": "AnnotationPage", "items": [annotation]}


def _choice(shown: list[tuple[FrameImages, Light]]) -> dict[str, JsonValue]:
    """Images to choose from, the first by default. A choice has no id: validators differ on it."""
    options = [_in_light(each, light) | {"thumbnail": [each.thumbnail()]} for each, light in shown]
    return {"type": "Choice", "items": options}


def _only(images: FrameImages, light: Light) -> dict[str, JsonValue]:
    return images.whole() if light.kind is LightKind.NORMAL else _in_light(images, light)


def _in_light(images: FrameImages, light: Light) -> dict[str, JsonValue]:
    return images.whole() | {"label": language_map(wording.light_name(light))}


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
