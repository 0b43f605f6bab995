"""Rules over what an info.json says, without a look at the files that it speaks of."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator

from pipeline.findings import Level, Register, Remark
from pipeline.jsondoc import Violation
from pipeline.specs import iiif, presentation
from pipeline.verify.image_service.promise import MOST_PX, Size, any_is_larger, has_shape, lowest_factor
from pipeline.verify.image_service.services import Service, ServiceFacts
from pipeline.verify.json_documents import pointer
from pipeline.verify.remarks import short, shown, together
from pipeline.verify.sources import COMMON_PRACTICE, IMAGE_API_2, IMAGE_API_3, RFC_8259

SERVICE = Register[ServiceFacts]("the info.json of an image service")

IS_READABLE = {"T001"}
IS_SIZED = {"T001", "T003"}
"""Width, height, sizes and tiles can be reckoned with."""


def _at(service: Service, *path: str | int) -> str:
    return f"{service.path}: {pointer(path)}" if path else service.path


# ---------------------------------------------------------------------------------------------- reading


@SERVICE.rule(
    "T001",
    Level.ERROR,
    "An info.json cannot be read",
    source=RFC_8259 + "2 and 8.1",
    advice="Write it again as JSON in UTF-8. Without it no client finds the image.",
)
def info_is_readable(facts: ServiceFacts) -> Iterator[Remark]:
    """The document is JSON, in UTF-8, of sensible size and depth."""
    reading = facts.service.document.reading
    if reading.failure:
        yield Remark(place=reading.path, value=short(reading.failure), limit="a JSON document in UTF-8")


@SERVICE.rule(
    "T002",
    Level.ERROR,
    "An info.json is not plain JSON",
    source=RFC_8259 + "4 and 8.1",
    advice="Write it again: without a byte order mark, and each key of an object once.",
    requires=IS_READABLE,
)
def info_is_plain(facts: ServiceFacts) -> Iterator[Remark]:
    """There is no byte order mark, and no object has a key twice: readers differ on what they make of it."""
    for flaw in facts.service.document.reading.flaws:
        yield Remark(place=facts.service.path, value=flaw, limit="JSON that all readers read alike")


# ----------------------------------------------------------------------------------------------- schema

_MEASURES = ("width", "height", "maxWidth", "maxHeight", "maxArea", "sizes", "tiles")
_LIMITS = ("maxWidth", "maxHeight", "maxArea")


def _topic(violation: Violation) -> str:
    """The property at the top of the document that a violation is about."""
    if violation.path:
        return str(violation.path[0])
    if violation.rule in ("required", "dependentRequired"):
        return _missing(violation)
    return ""


def _missing(violation: Violation) -> str:
    match = re.match(r"'([^']*)' is a", violation.message)
    return match[1] if match else ""


def _by_schema(service: Service, about: Callable[[str], bool]) -> Iterator[Remark]:
    for each in service.violations:
        if about(_topic(each)):
            yield of_violation(service.path, each, IMAGE_API_3)


def of_violation(path: str, violation: Violation, source: str) -> Remark:
    """Return what is said of a place where a document breaks its schema."""
    expected = str(violation.schema.get("description", short(violation.message)))
    value = shown(violation.found)
    if missing := _missing(violation):
        value, expected = f"{missing} is missing", f"{missing} ({expected})"
    where, clause = pointer(violation.path), str(violation.schema.get("$comment", ""))
    return Remark(
        place=f"{path}: {where}" if where else path,
        value=value,
        limit=expected,
        source=f"IIIF {clause}" if clause.startswith(("Image", "Presentation")) else clause or source,
    )


@SERVICE.rule(
    "T003",
    Level.ERROR,
    "Width, height, sizes or tiles of an image service are unusable",
    source=IMAGE_API_3 + "sections 5.2 to 5.4",
    advice="Write whole numbers of pixels above 0, sizes as objects with width and height, tiles as objects "
    "with width and scaleFactors.",
    requires=IS_READABLE,
)
def measures_are_usable(facts: ServiceFacts) -> Iterator[Remark]:
    """Everything that tile addresses are reckoned from is there, and is a number that an image can have."""
    service = facts.service
    yield from _by_schema(service, lambda topic: topic in _MEASURES)
    if service.version == 2:
        yield from _measures_2(service)
    elif service.size is None and not any(_topic(each) in _MEASURES for each in service.violations):
        yield Remark(
            place=service.path,
            value=f"{shown(service.info.get('width'))} × {shown(service.info.get('height'))}",
            limit=f"{MOST_PX:,} pixels at most",
        )


def _measures_2(service: Service) -> Iterator[Remark]:
    source = IMAGE_API_2 + "sections 5.2 and 5.3"
    if service.size is None:
        value = f"{shown(service.info.get('width'))} × {shown(service.info.get('height'))}"
        yield Remark(place=service.path, value=value, limit="whole numbers above 0", source=source)
    for key, usable in (("sizes", service.sizes), ("tiles", service.tiles)):
        said = service.info.get(key, [])
        if not isinstance(said, list) or len(said) != len(usable):
            limit = "an array of objects with whole numbers above 0"
            yield Remark(place=_at(service, key), value=shown(said), limit=limit, source=source)


@SERVICE.rule(
    "T004",
    Level.ERROR,
    "An info.json is not as the Image API wants it",
    source=IMAGE_API_3 + "section 5",
    advice="Put right what is named; the rest of the document may stay.",
    requires=IS_READABLE,
)
def info_is_valid(facts: ServiceFacts) -> Iterator[Remark]:
    """Required properties are there, and all have the types and values that the API allows."""
    service = facts.service
    own = (*_MEASURES, "@context", "rights")
    yield from _by_schema(service, lambda topic: topic not in own and topic != "id")
    yield from (
        of_violation(service.path, each, IMAGE_API_3)
        for each in service.violations
        if _topic(each) == "id" and each.rule != "pattern"
    )
    if service.version == 2:
        yield from _required_2(service)


def _required_2(service: Service) -> Iterator[Remark]:
    source = IMAGE_API_2 + "section 5.2 and 5.3"
    if not service.identifier:
        yield Remark(place=service.path, value="@id is missing", limit="@id", source=source)
    if service.info.get("protocol") != iiif.IMAGE_PROTOCOL:
        said = service.info.get("protocol")
        yield Remark(
            place=_at(service, "protocol"), value=shown(said), limit=iiif.IMAGE_PROTOCOL, source=source
        )
    profile = service.info.get("profile")
    first = profile[0] if isinstance(profile, list) and profile else profile
    if not isinstance(first, str) or not presentation.IMAGE_2_LEVEL.fullmatch(first):
        limit = "an array that begins with the address of a level of version 2"
        yield Remark(place=_at(service, "profile"), value=shown(profile), limit=limit, source=source)


@SERVICE.rule(
    "T005",
    Level.ERROR,
    "@context of an info.json is wrong",
    source=IMAGE_API_3 + "section 5.2",
    advice="Write the context of the Image API 3 with http, as the only one or as the last.",
    requires=IS_READABLE,
)
def context_is_right(facts: ServiceFacts) -> Iterator[Remark]:
    """The context says which version it is; clients choose their way of asking by it."""
    service = facts.service
    found = list(_by_schema(service, lambda topic: topic == "@context"))
    yield from found
    said = service.info.get("@context")
    if service.version == 2 and presentation.IMAGE_2_CONTEXT not in (
        said if isinstance(said, list) else [said]
    ):
        yield Remark(
            place=_at(service, "@context"),
            value=shown(said),
            limit=presentation.IMAGE_2_CONTEXT,
            source=IMAGE_API_2 + "section 5.2",
        )


# ---------------------------------------------------------------------------------------------- address


@SERVICE.rule(
    "T006",
    Level.ERROR,
    "The id of an image service is no base address",
    source=IMAGE_API_3 + "sections 2 and 5.2",
    advice="Write the address below which the images are, up to the identifier: without info.json, without a "
    "slash at the end, without query or fragment. Clients put their requests behind it.",
    requires=IS_READABLE,
)
def id_is_a_base_address(facts: ServiceFacts) -> Iterator[Remark]:
    """The id is an absolute address to which a slash and a request can be added."""
    said = facts.service.identifier
    if said and not facts.service.has_base_address:
        key = "@id" if facts.service.version == 2 else "id"
        limit = "http(s)://host/prefix/identifier"
        yield Remark(place=_at(facts.service, key), value=short(said), limit=limit)


# ------------------------------------------------------------------------------------- sizes and tiles


@SERVICE.rule(
    "T008",
    Level.ERROR,
    "Sizes or tiles are larger than the service's own limits",
    source=IMAGE_API_3 + "sections 5.2 to 5.4",
    advice="Take the larger sizes out of the list, or raise maxWidth and maxHeight. maxWidth alone limits "
    "the height too.",
    requires=IS_SIZED,
)
def limits_are_kept(facts: ServiceFacts) -> Iterator[Remark]:
    """What is offered is not larger than maxWidth, maxHeight and maxArea."""
    service = facts.service
    assert service.size is not None
    assert service.max_size is not None
    if service.max_size == service.size:
        return
    limit = Size(service.max_size.width_px + 1, service.max_size.height_px + 1)
    for number, size in enumerate(service.sizes):
        if any_is_larger([size], limit):
            place = _at(service, "sizes", number)
            yield Remark(place=place, value=str(size), limit=f"{service.max_size} at most")
    for number, tile in enumerate(service.tiles):
        cut = Size(min(tile.width_px, service.size.width_px), min(tile.height_px, service.size.height_px))
        if cut.width_px > service.max_size.width_px and cut.height_px > service.max_size.height_px:
            place = _at(service, "tiles", number)
            yield Remark(place=place, value=f"tiles of {cut}", limit=f"{service.max_size} at most")


@SERVICE.rule(
    "T009",
    Level.ERROR,
    "A listed size cannot be one of this image",
    source=IMAGE_API_3 + "section 5.3",
    advice="List each size once, none larger than the image, all of its shape: width and height divided by "
    "one number, rounded up.",
    requires=IS_SIZED,
)
def sizes_are_of_the_image(facts: ServiceFacts) -> Iterator[Remark]:
    """Each size stands there once, is not larger than the image, and has its shape but for rounding."""
    service = facts.service
    assert service.size is not None
    yield from together(_faulty_sizes(service, service.size))


def _faulty_sizes(service: Service, full: Size) -> Iterator[Remark]:
    seen: set[Size] = set()
    for number, size in enumerate(service.sizes):
        place = _at(service, "sizes", number)
        if size in seen:
            yield Remark(place=place, value=f"{size} for the second time", limit="each size once")
        elif any_is_larger([size], full):
            yield Remark(place=place, value=str(size), limit=f"{full} at most")
        elif not has_shape(size, full):
            yield Remark(place=place, value=str(size), limit=f"the shape of {full}")
        seen.add(size)


@SERVICE.rule(
    "T010",
    Level.ERROR,
    "Tiles are declared more than once",
    source=IMAGE_API_3 + "section 5.4",
    advice="Give each pair of width and height one entry, and each scale factor once.",
    requires=IS_SIZED,
)
def tiles_are_declared_once(facts: ServiceFacts) -> Iterator[Remark]:
    """No two entries of `tiles` have the same width and height, and no factor stands there twice."""
    service = facts.service
    seen: set[tuple[int, int]] = set()
    for number, tile in enumerate(service.tiles):
        pair = (tile.width_px, tile.height_px)
        if pair in seen:
            value = f"{pair[0]} × {pair[1]} for the second time"
            yield Remark(place=_at(service, "tiles", number), value=value, limit="each pair once")
        seen.add(pair)
    factors = Counter(factor for tile in service.tiles for factor in tile.scale_factors)
    repeated = [str(factor) for factor, times in factors.items() if times > 1]
    if repeated:
        value = f"{', '.join(repeated[:5])} more than once"
        yield Remark(place=_at(service, "tiles"), value=value, limit="each scale factor once")


@SERVICE.rule(
    "T011",
    Level.WARNING,
    "The levels of a tile pyramid have gaps",
    source="common practice: clients ask for every power of two up to the largest factor",
    advice="Make tiles for every power of two, from 1 to the first at which the image fits into one tile.",
    requires=IS_SIZED,
)
def levels_have_no_gaps(facts: ServiceFacts) -> Iterator[Remark]:
    """The scale factors are the powers of two, from 1 until the whole image fits into one tile."""
    service = facts.service
    if service.size is None or not service.tiles or not facts.is_static:
        return
    found = {factor for tile in service.tiles for factor in tile.scale_factors}
    lowest = min(lowest_factor(service.size, tile) for tile in service.tiles)
    wanted = {2**power for power in range(max(lowest, max(found)).bit_length())}
    wanted = {factor for factor in wanted if factor <= max(lowest, max(found))}
    if missing := sorted(wanted - found):
        value = f"without {', '.join(map(str, missing))}"
        place = _at(service, "tiles", 0, "scaleFactors")
        yield Remark(place=place, value=value, limit=", ".join(map(str, sorted(wanted))))


@SERVICE.rule(
    "T012",
    Level.WARNING,
    "A static image service lists neither sizes nor tiles",
    source=IMAGE_API_3 + "sections 5.3 and 5.4",
    advice="List the sizes and tiles that there are: many clients show nothing of a level 0 service without.",
    requires=IS_SIZED,
)
def something_is_listed(facts: ServiceFacts) -> Iterator[Remark]:
    """A level 0 service says which sizes or tiles it has."""
    service = facts.service
    if service.level == "level0" and not service.sizes and not service.tiles:
        yield Remark(place=service.path, value="neither", limit="sizes, tiles, or both")


# --------------------------------------------------------------------------------------------- promises


@SERVICE.rule(
    "T013",
    Level.ERROR,
    "A preferred format is not offered",
    source=IMAGE_API_3 + "section 5.5",
    advice="Take it out of preferredFormats, or make all images in that format and add it to extraFormats.",
    requires=IS_READABLE,
)
def preferred_formats_are_offered(facts: ServiceFacts) -> Iterator[Remark]:
    """Every format of `preferredFormats` is one of the profile, or of `extraFormats`."""
    service = facts.service
    if "extraFormats" not in service.info or service.version == 2:
        return  # without extraFormats the schema knows
    offered = {"jpg", *(["png"] if service.level == "level2" else []), *service.texts("extraFormats")}
    for each in service.texts("preferredFormats"):
        if each not in offered:
            limit = ", ".join(sorted(offered))
            yield Remark(place=_at(service, "preferredFormats"), value=short(each), limit=limit)


@SERVICE.rule(
    "T014",
    Level.ERROR,
    "A tree of files promises what only a server can do",
    source=IMAGE_API_3 + "sections 5.7 and 6",
    advice="Take the features out: clients would ask for images that are no files.",
    requires=IS_READABLE,
)
def files_promise_no_features(facts: ServiceFacts) -> Iterator[Remark]:
    """A level 0 service that is delivered as files names no feature that makes images on demand."""
    service = facts.service
    if facts.is_alone or service.level != "level0":
        return
    key = "extraFeatures" if service.version == 3 else "supports"
    promised = [each for each in service.texts(key) if each not in presentation.STATIC_FEATURES]
    if promised:
        limit = "none but " + ", ".join(sorted(presentation.STATIC_FEATURES))
        yield Remark(place=_at(service, key), value=short(", ".join(promised)), limit=limit)


@SERVICE.rule(
    "T015",
    Level.ERROR,
    "rights of an image service is no rights URI",
    source=IMAGE_API_3 + "section 5.6",
    advice="Write the URI as Creative Commons or RightsStatements.org publish it: http, a slash at the end, "
    "no deed and no page. Other terms belong into the manifest's requiredStatement.",
    requires=IS_READABLE,
)
def rights_is_a_rights_uri(facts: ServiceFacts) -> Iterator[Remark]:
    """The URI is of Creative Commons or RightsStatements.org, in its machine-readable form."""
    yield from _by_schema(facts.service, lambda topic: topic == "rights")


@SERVICE.rule(
    "T016",
    Level.WARNING,
    "A tree of files claims to be a server",
    source=IMAGE_API_3 + "section 6; " + COMMON_PRACTICE,
    advice="Write level0, if the files are to be served as they are. If an image server is to serve them, "
    "take the tiles out: it makes its own.",
    requires=IS_READABLE,
)
def files_claim_level_0(facts: ServiceFacts) -> Iterator[Remark]:
    """Where derivative images lie beside an info.json, its profile is level 0."""
    if facts.is_static:
        return
    images = sum(1 for name in facts.files if name.endswith(_IMAGE_ENDINGS))
    if images:
        value = f"{facts.service.level}, with {images:,} images beside it"
        yield Remark(place=_at(facts.service, "profile"), value=value, limit="level0")


_IMAGE_ENDINGS = ("/default.jpg", "/default.png", "/default.webp")
