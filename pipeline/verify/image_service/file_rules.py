"""Rules over the files of an image service: what is promised is there, and nothing else, and is right."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pipeline.findings import Level, Register, Remark
from pipeline.model import MasterFacts
from pipeline.verify.image_rules import what_is_wrong
from pipeline.verify.image_service.promise import Size
from pipeline.verify.image_service.promise import count as count_promised
from pipeline.verify.image_service.services import ServiceFacts
from pipeline.verify.remarks import listed, short
from pipeline.verify.sources import COMMON_PRACTICE, IMAGE_API_3

FILES = Register[ServiceFacts]("the files of an image service")
PIXELS = Register[ServiceFacts]("the images of an image service")
"""Rules that need the files to have been read."""


@FILES.rule(
    "T007",
    Level.ERROR,
    "The id of an image service leads elsewhere than to its folder",
    source=IMAGE_API_3 + "sections 2 and 5.2",
    advice="Write the address at which the folder will be public. It ends with the folder's own name.",
)
def id_ends_in_its_folder(facts: ServiceFacts) -> Iterator[Remark]:
    """The last part of the id is the name of the folder that info.json lies in."""
    service = facts.service
    if service.has_base_address and not service.is_named_as_its_folder:
        place = f"{service.path}: {'id' if service.version == 3 else '@id'}"
        name = service.folder.rpartition("/")[2]
        yield Remark(place=place, value=short(service.identifier), limit=f"an address that ends in /{name}")


@FILES.rule(
    "T020",
    Level.ERROR,
    "Images that info.json promises are missing",
    source=IMAGE_API_3 + "sections 5.3, 5.4 and 6 (level 0)",
    advice="Make the tiles and sizes again. Names are canonical: region as x,y,w,h in pixels of the full "
    "image, size as w,h rounded up, full for the whole image, full/max for its largest size.",
)
def promised_files_are_there(facts: ServiceFacts) -> Iterator[Remark]:
    """Every tile and size that info.json declares, and `full/max`, lies where a client asks for it."""
    if not facts.is_static:
        return
    service = facts.service
    if facts.is_beyond_listing and service.offer is not None:
        value = f"{len(facts.files):,} files are there"
        limit = f"the {count_promised(service.offer):,} that tiles and sizes promise"
        yield Remark(place=service.path, value=value, limit=limit)
    elif facts.missing and not facts.is_of_another_size:
        value = f"{len(facts.missing):,} of {len(facts.promise.files):,}: {listed(facts.missing)}"
        if facts.extra:
            value += f"; {len(facts.extra):,} that are not promised are there: {listed(facts.extra)}"
        yield Remark(place=_place(facts, facts.missing), value=value, limit="all that is promised")


@FILES.rule(
    "T021",
    Level.ERROR,
    "Files that info.json does not promise",
    source=IMAGE_API_3 + "sections 4.7, 5.3 and 5.4",
    advice="Take them out, or promise them in sizes, tiles, extraFormats or extraQualities. Often they are "
    "tiles under a name that no client asks for.",
    requires={"T020"},
)
def nothing_else_is_there(facts: ServiceFacts) -> Iterator[Remark]:
    """No file lies below the service's folder that no client would ask for.

    If others are missing, T020 tells of both.
    """
    if not facts.is_static or facts.is_beyond_listing or facts.is_of_another_size:
        return
    if facts.extra:
        value = f"{len(facts.extra):,}: {listed(facts.extra)}"
        yield Remark(place=_place(facts, facts.extra), value=value, limit="only what is promised")


def _place(facts: ServiceFacts, names: Sequence[str]) -> str:
    """The service's folder; of one file alone, the file."""
    return facts.at(names[0]) if len(names) == 1 else facts.service.folder or facts.service.path


# ---------------------------------------------------------------------------------------------- pixels


def _found(facts: ServiceFacts, faults: Sequence[tuple[str, str]], limit: str) -> Iterator[Remark]:
    """Yield one remark for all faulty files of a service: names, each with what is wrong."""
    if faults:
        names = [name for name, _ in faults]
        said = listed([f"{name} ({detail})" for name, detail in faults])
        value = said if len(faults) == 1 else f"{len(faults):,} images: {said}"
        yield Remark(place=_place(facts, names), value=value, limit=limit)


@PIXELS.rule(
    "T022",
    Level.ERROR,
    "Images of a service cannot be decoded",
    source=COMMON_PRACTICE,
    advice="Make the image service again from its master, or copy it again if only the copy is damaged.",
)
def images_decode(facts: ServiceFacts) -> Iterator[Remark]:
    """Every tile and whole image decodes to its end."""
    broken = [(name, short(what_is_wrong(image))) for name, image in facts.images if image.problem]
    yield from _found(facts, broken, "decoded to its end")


@PIXELS.rule(
    "T023",
    Level.ERROR,
    "Images of a service have the wrong pixel size",
    source=IMAGE_API_3 + "sections 4.2, 5.3 and 5.4",
    advice="Make the image service again: each image has the size that its name says, full/max that of "
    "info.json. If only the largest are off, width and height in info.json are wrong.",
)
def images_have_their_size(facts: ServiceFacts) -> Iterator[Remark]:
    """Each image has the pixel size that its name and info.json give it."""
    wrong = []
    promise = facts.promise
    for name, image in facts.images:
        if image.facts is None or image.problem:
            continue
        canonical = promise.instead.get(name, name)
        wanted, found = promise.files[canonical], Size(image.facts.width_px, image.facts.height_px)
        if found != wanted and not (canonical in promise.rounded and _is_close(found, wanted)):
            wrong.append((name, f"{found}, not {wanted}"))
    yield from _found(facts, wrong, "the size that the name says")


def _is_close(found: Size, wanted: Size) -> bool:
    return all(abs(one - other) <= 1 for one, other in zip(found, wanted, strict=True))


_TYPES = {"jpg": "image/jpeg", "png": "image/png", "tif": "image/tiff", "jp2": "image/jp2"}


@PIXELS.rule(
    "T024",
    Level.ERROR,
    "Images of a service are not of the format in their names",
    source=IMAGE_API_3 + "section 4.5",
    advice="Make them again in the format that the name says; servers tell browsers the type by the name.",
)
def images_have_their_format(facts: ServiceFacts) -> Iterator[Remark]:
    """What ends in .jpg is JPEG, and so for every format."""
    wrong = []
    for name, image in facts.images:
        suffix = name.rpartition(".")[2]
        if image.facts is not None and _TYPES.get(suffix, image.facts.media_type) != image.facts.media_type:
            wrong.append((name, image.facts.media_type))
    yield from _found(facts, wrong, "the format that the name says")


@PIXELS.rule(
    "T025",
    Level.WARNING,
    "Images of a service are not for the screen",
    source=COMMON_PRACTICE,
    advice="Make them again with 8 bits, grey or RGB, in sRGB: browsers show other kinds wrongly or not at "
    "all.",
)
def images_are_for_the_screen(facts: ServiceFacts) -> Iterator[Remark]:
    """Images have 8 bits for each sample, and one or three samples."""
    wrong = []
    for name, image in facts.images:
        if image.facts is not None and not _is_for_screens(image.facts):
            bits = ", ".join(map(str, image.facts.bits_per_sample))
            wrong.append((name, f"{image.facts.photometric}, {bits} bits"))
    yield from _found(facts, wrong, "8-bit grey or RGB")


def _is_for_screens(facts: MasterFacts) -> bool:
    return facts.bits_per_sample in ((8,), (8, 8, 8))
