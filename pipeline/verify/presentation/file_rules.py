"""Rules over what a Presentation 3.0 document says of images and files, held against the bundle."""

from __future__ import annotations

import posixpath
from collections.abc import Iterator

from pipeline.findings import Level, Register, Remark
from pipeline.specs import iiif, presentation
from pipeline.verify.image_service.promise import promised
from pipeline.verify.presentation.addresses import image_request
from pipeline.verify.presentation.facts import PresentationFacts, is_image_service
from pipeline.verify.presentation.resources import extent, text_of
from pipeline.verify.remarks import short, together
from pipeline.verify.sources import IMAGE_API_3, PRESENTATION_3

HELD = Register[PresentationFacts]("what manifests say of files, held against the bundle")

DOCUMENTS = ("seeAlso", "rendering")
"""Properties that name files which belong to the item. A homepage is elsewhere."""


# ----------------------------------------------------------------------------------------- what is named


@HELD.rule(
    "P040",
    Level.ERROR,
    "An image service that is named is not in the bundle",
    source=PRESENTATION_3 + "section 3.3.1, service; " + IMAGE_API_3 + "section 5.1",
    advice="Deliver the service with its info.json, or correct the address.",
)
def services_are_there(facts: PresentationFacts) -> Iterator[Remark]:
    """Every static image service below the bundle's address has its info.json there."""
    yield from together(_missing_services(facts), what="services")


def _missing_services(facts: PresentationFacts) -> Iterator[Remark]:
    seen = set()
    for resource in facts.resources:
        said = resource.identifier.rstrip("/")
        if not said or said in seen or not is_image_service(resource):
            continue
        seen.add(said)
        if is_missing_service(facts, said) and not is_told_with_its_folder(facts, said):
            place = facts.at(resource.path)
            found = facts.info_at(said)
            value = (
                f"{short(said)}, where {found.path} says {short(found.identifier)}" if found else short(said)
            )
            yield Remark(place=place, value=value, limit="an info.json of that id in the bundle")


def is_told_with_its_folder(facts: PresentationFacts, identifier: str) -> bool:
    """True if the place of an info.json tells why it is not the one that is named.

    B020: it is listed and missing. T030: images lie there without it. T001, T006: it cannot be read, or has
    no id. T007: its id is not that of its folder.
    """
    address = f"{identifier}/{iiif.INFO}"
    path = facts.addresses.path_of(address)
    if facts.bundle.has(path):
        found = facts.info_at(identifier)
        return found is None or not found.is_named_as_its_folder
    return facts.is_told_missing(address) or path.rpartition("/")[0] in facts.bare_folders


def is_missing_service(facts: PresentationFacts, identifier: str) -> bool:
    """True if a service should be in the bundle and is not."""
    if facts.service_of(identifier) or facts.levels.get(identifier) in ("level1", "level2"):
        return False
    return facts.addresses.is_here(f"{identifier}/info.json")


@HELD.rule(
    "P041",
    Level.ERROR,
    "An image that is named is not in the bundle",
    source=PRESENTATION_3 + "sections 3.1, thumbnail, and 5.7",
    advice="Deliver the file, or name one that is there. Of a static image service only the sizes in "
    "info.json can be asked for.",
)
def images_are_there(facts: PresentationFacts) -> Iterator[Remark]:
    """Every image and thumbnail below the bundle's address is a file there, unless a server makes it."""
    yield from together(_missing_images(facts), what="places")


def _missing_images(facts: PresentationFacts) -> Iterator[Remark]:
    for image in facts.by_type.get("Image", ()):
        said = image.identifier
        if image.role in DOCUMENTS or facts.is_service(said):
            continue  # P042 and P008 tell
        if not facts.addresses.is_here(said) or facts.bundle.has(facts.addresses.path_of(said)):
            continue
        if facts.is_made_on_demand(said) or facts.is_told_missing(said) or _is_told_elsewhere(facts, said):
            continue
        yield Remark(place=facts.at(image.path), value=short(said), limit="a file of the bundle")


def _is_told_elsewhere(facts: PresentationFacts, address: str) -> bool:
    """True if the whole service is missing (P040), or its info.json promises the image (T020)."""
    request = image_request(address)
    if request is None:
        return False
    if is_missing_service(facts, request.service):
        return request.service in facts.levels
    service = facts.service_of(request.service)
    offer = service.offer if service else None
    if offer is None:
        return False
    name = address.removeprefix(f"{request.service}/")
    tiles = promised(type(offer)(version=offer.version, size=offer.size, max_size=offer.max_size))
    sizes = {f"full/{size.width_px},{size.height_px}" for size in offer.sizes}
    return name in tiles.files or f"{request.region}/{request.size}" in sizes


@HELD.rule(
    "P042",
    Level.ERROR,
    "A document or download that is named is not in the bundle",
    source=PRESENTATION_3 + "section 3.3.1, seeAlso and rendering",
    advice="Deliver the file, or take it out of the manifest.",
)
def documents_are_there(facts: PresentationFacts) -> Iterator[Remark]:
    """Everything under `seeAlso` and `rendering` below the bundle's address is a file there."""
    yield from together(_missing_documents(facts), what="places")


def _missing_documents(facts: PresentationFacts) -> Iterator[Remark]:
    for each in facts.resources:
        is_fetched = (
            each.type == "AnnotationPage" and not each.is_own and each.role in ("items", "annotations")
        )
        said = each.identifier
        if (each.role not in DOCUMENTS and not is_fetched) or facts.is_made_on_demand(said):
            continue
        if not facts.addresses.is_here(said) or facts.bundle.has(facts.addresses.path_of(said)):
            continue
        if not facts.is_told_missing(said):
            yield Remark(place=facts.at(each.path), value=short(said), limit="a file of the bundle")


@HELD.rule(
    "P043",
    Level.WARNING,
    "The id of a manifest or collection leads elsewhere than to its file",
    source=PRESENTATION_3 + "section 3.2, id",
    advice="Write the address under which this very file will be served.",
)
def ids_lead_to_their_document(facts: PresentationFacts) -> Iterator[Remark]:
    """The id of the document leads to the file that it stands in."""
    said = facts.resources[0].identifier
    path = facts.addresses.path_of(said)
    if said.startswith(("http://", "https://")) and path != facts.document.path:
        value = f"{short(said)}, which is {short(path)}" if path else short(said)
        yield Remark(place=facts.document.path, value=value, limit=f"an address of {facts.document.path}")


@HELD.rule(
    "P044",
    Level.ERROR,
    "format is not that of the file",
    source=PRESENTATION_3 + "section 3.2, format",
    advice="Write the media type of the file as it is: clients choose by it what they can open.",
)
def formats_are_right(facts: PresentationFacts) -> Iterator[Remark]:
    """The media type of an image or document agrees with its file, or with the ending of its name."""
    yield from together(_wrong_formats(facts))


def _wrong_formats(facts: PresentationFacts) -> Iterator[Remark]:
    for each in facts.resources:
        said = text_of(each.value.get("format")).partition(";")[0].strip().lower()
        path = facts.addresses.path_of(each.identifier) if "/" in said else ""
        if not path or not facts.bundle.has(path) or facts.is_service(each.identifier):
            continue
        types = media_types(facts, path)
        if types and said not in types and not said.endswith("+xml"):
            place = facts.at((*each.path, "format"))
            yield Remark(place=place, value=said, limit=" or ".join(types))


def media_types(facts: PresentationFacts, path: str) -> tuple[str, ...]:
    """Return what a file is: as it was read, else as its name says; nothing if neither tells."""
    image = facts.bundle.image_at(path)
    if image is not None and image.facts is not None:
        return (image.facts.media_type,)
    return presentation.MEDIA_TYPES.get(posixpath.splitext(path)[1].lower(), ())


@HELD.rule(
    "P030",
    Level.ERROR,
    "Width and height of an image are not those of its file",
    source=PRESENTATION_3 + "section 3.2, height and width",
    advice="Write the pixel size of the file at that address.",
)
def images_have_the_size_of_their_file(facts: PresentationFacts) -> Iterator[Remark]:
    """The size that an image declares is the pixel size of its file."""
    yield from together(_other_than_file(facts))


def _other_than_file(facts: PresentationFacts) -> Iterator[Remark]:
    for image in facts.by_type.get("Image", ()):
        said = extent(image.value)
        found = facts.size_in_file(image.identifier) if said else None
        if said and found and said != found and not image_request(image.identifier):
            place = facts.at(image.path)
            yield Remark(place=place, value=f"{said[0]:g} × {said[1]:g}", limit=str(found))
