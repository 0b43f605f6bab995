"""Rules over what a Presentation 3.0 document says of images and services: sizes, levels, thumbnails."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pipeline.findings import Level, Remark
from pipeline.verify.image_service.promise import Size
from pipeline.verify.image_service.services import Service, size_of
from pipeline.verify.presentation.addresses import image_request
from pipeline.verify.presentation.facts import PresentationFacts, is_image_service, level_of
from pipeline.verify.presentation.property_rules import MANIFEST
from pipeline.verify.presentation.resources import Resource, extent, list_of
from pipeline.verify.presentation.structure_rules import has_shape
from pipeline.verify.remarks import short, shown, together
from pipeline.verify.sources import COMMON_PRACTICE, IMAGE_API_3, PRESENTATION_3

# ------------------------------------------------------------------------------------------------- sizes


@MANIFEST.rule(
    "P029",
    Level.ERROR,
    "Width and height of an image do not agree with its service",
    source=PRESENTATION_3 + "section 3.2, height and width; " + IMAGE_API_3 + "sections 4.2 and 5.2",
    advice="Take the size from the address of the image and from info.json: full/max has that of info.json, "
    "or of its limits.",
)
def images_have_the_size_of_their_service(facts: PresentationFacts) -> Iterator[Remark]:
    """The size that an image declares is the one that its address asks of its service."""
    yield from together(_other_than_service(facts))


def _other_than_service(facts: PresentationFacts) -> Iterator[Remark]:
    for image in facts.by_type.get("Image", ()):
        said, request = extent(image.value), image_request(image.identifier)
        if said is None or request is None:
            continue
        wanted = facts.asked_size(image)
        if wanted and not _is_close(said, wanted, exactly="," in request.size):
            place = facts.at(image.path)
            yield Remark(place=place, value=f"{said[0]:g} × {said[1]:g}", limit=str(wanted))


def _is_close(said: tuple[float, float], wanted: Size, *, exactly: bool) -> bool:
    spare = 0 if exactly else 1
    return abs(said[0] - wanted.width_px) <= spare and abs(said[1] - wanted.height_px) <= spare


@MANIFEST.rule(
    "P036",
    Level.ERROR,
    "A canvas does not have the shape of its image service",
    source=PRESENTATION_3 + "section 5.3",
    advice="Name the service of the image that is painted. If it is, width and height in its info.json or "
    "of the canvas are wrong.",
)
def canvases_have_the_shape_of_their_service(facts: PresentationFacts) -> Iterator[Remark]:
    """The service of a painted image that fills its canvas has an image of the shape of that image."""
    yield from together(_other_shape(facts))


def _other_shape(facts: PresentationFacts) -> Iterator[Remark]:
    for canvas, _, image in facts.images:
        request = image_request(image.identifier)
        if image.role == "source" or (request is not None and request.region != "full"):
            continue
        size = facts.asked_size(image) or extent(image.value) or extent(canvas.value)
        for each in image.children("service"):
            service = facts.service_of(each.identifier)
            if service and _is_other_than_its_image(facts, service):
                continue
            full = service.size if service else size_of(each.value)
            if full and size and not has_shape(size, full):
                value = f"a service of {full} for {size[0]:g} × {size[1]:g}"
                yield Remark(place=facts.at(each.path), value=value, limit="one shape")


def _is_other_than_its_image(facts: PresentationFacts, service: Service) -> bool:
    """True if info.json says another size than the whole image that lies beside it has: T023 tells."""
    found = facts.size_in_file(f"{service.identifier.rstrip('/')}/full/max/0/default.jpg")
    return found is not None and found != service.max_size


@MANIFEST.rule(
    "P039",
    Level.ERROR,
    "An image and its service do not belong together",
    source=PRESENTATION_3 + "section 5.7",
    advice="Name the service that the image is asked from: readers see the one at first, and the other as "
    "soon as they look closer.",
)
def images_are_asked_from_their_service(facts: PresentationFacts) -> Iterator[Remark]:
    """The address of an image begins with the id of the image service that stands with it."""
    yield from together(_exchanged(facts))


def _exchanged(facts: PresentationFacts) -> Iterator[Remark]:
    for image in facts.by_type.get("Image", ()):
        request = image_request(image.identifier)
        named = [each.identifier.rstrip("/") for each in image.children("service") if is_image_service(each)]
        if request and named and request.service not in named:
            are_known = request.service in facts.services and named[0] in facts.services
            yield Remark(
                place=facts.at(image.path),
                value=f"the service {short(named[0])}",
                limit=f"the service of {short(image.identifier)}",
                level=Level.ERROR if are_known else Level.WARNING,
            )


# ---------------------------------------------------------------------------------------------- services


@MANIFEST.rule(
    "P037",
    Level.ERROR,
    "What is said of an image service is not what its info.json says",
    source=PRESENTATION_3 + "section 3.3.1, service; " + IMAGE_API_3 + "section 5",
    advice="Take type, profile, sizes and size of the service from its info.json.",
)
def services_are_as_they_are_named(facts: PresentationFacts) -> Iterator[Remark]:
    """Version, level, size and sizes of a service agree with its info.json in the bundle."""
    yield from together(_contradicted(facts), what="places")


def _contradicted(facts: PresentationFacts) -> Iterator[Remark]:
    for resource in facts.resources:
        service = facts.service_of(resource.identifier) if is_image_service(resource) else None
        if service is not None:
            for key, said, wanted in _differences(resource, service):
                place = facts.at((*resource.path, key))
                yield Remark(place=place, value=shown(said), limit=f"{wanted}, as in {service.path}")


def _differences(resource: Resource, service: Service) -> Iterator[tuple[str, Any, str]]:
    """Yield what differs: the key, what the manifest says, and what info.json says."""
    value = resource.value
    if resource.type.startswith("ImageService") and resource.type != f"ImageService{service.version}":
        yield "type", resource.type, f"ImageService{service.version}"
    level = level_of(value)
    if level and service.level and level != service.level:
        yield "profile", level, service.level
    size = extent(value)
    if size is not None and service.size is not None and size != service.size:
        yield "width", f"{size[0]:g} × {size[1]:g}", str(service.size)
    offered = {*service.sizes, *([service.max_size] if service.max_size else [])}
    said = [found for each in list_of(value.get("sizes")) if (found := size_of(each)) is not None]
    wrong = [str(each) for each in said if each not in offered]
    if wrong:
        yield "sizes", ", ".join(wrong), "sizes that there are"


@MANIFEST.rule(
    "P038",
    Level.WARNING,
    "A thumbnail is too large for one",
    source=COMMON_PRACTICE,
    advice="Name a smaller image: an overview loads hundreds of them.",
)
def thumbnails_are_small(facts: PresentationFacts) -> Iterator[Remark]:
    """No thumbnail has more than about a megapixel."""
    large = (
        (each, size)
        for each in facts.by_type.get("Image", ())
        if each.role == "thumbnail" and (size := extent(each.value)) and size[0] * size[1] > _LARGE
    )
    yield from together(
        Remark(place=facts.at(each.path), value=f"{size[0]:g} × {size[1]:g}", limit="1,000,000 pixels")
        for each, size in large
    )


_LARGE = 1_000_000
