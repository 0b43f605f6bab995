"""Rules over a manifest of the Presentation API 2: what clients need to show it, and no more."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any, NamedTuple

from pipeline.findings import Level, Register, Remark
from pipeline.specs import presentation
from pipeline.verify.presentation.facts import PresentationFacts
from pipeline.verify.presentation.file_rules import is_missing_service, is_told_with_its_folder
from pipeline.verify.presentation.resources import Path, extent, list_of, text_of, whole
from pipeline.verify.presentation.structure_rules import has_shape
from pipeline.verify.remarks import short, shown, together
from pipeline.verify.sources import PRESENTATION_2

OLDER = Register[PresentationFacts]("manifests of the Presentation API 2")
OLDER_HELD = Register[PresentationFacts]("what manifests of the Presentation API 2 say of files")


class Part(NamedTuple):
    """One object of the document, with its place."""

    path: Path
    value: dict[str, Any]

    @property
    def identifier(self) -> str:
        """Its `@id`."""
        return text_of(self.value.get("@id"))

    def parts(self, key: str) -> Iterator[Part]:
        """Yield the objects that a property holds."""
        value = self.value.get(key)
        if isinstance(value, dict):
            yield Part((*self.path, key), value)
        for number, each in enumerate(list_of(value)):
            if isinstance(each, dict):
                yield Part((*self.path, key, number), each)


def root(facts: PresentationFacts) -> Part:
    """The document."""
    return Part((), facts.value)


def canvases(facts: PresentationFacts) -> list[Part]:
    """The canvases of the first sequence, which is the one that is shown."""
    first = next(root(facts).parts("sequences"), None)
    return list(first.parts("canvases")) if first else []


def images(canvas: Part) -> Iterator[tuple[Part, Part]]:
    """Yield the annotations of a canvas with each image resource, those of a choice one by one."""
    for annotation in canvas.parts("images"):
        for resource in annotation.parts("resource"):
            if resource.value.get("@type") == "oa:Choice":
                for option in (*resource.parts("default"), *resource.parts("item")):
                    yield annotation, option
            else:
                yield annotation, resource


@OLDER.rule(
    "P101",
    Level.ERROR,
    "@context, @id or @type of a version 2 manifest is wrong",
    source=PRESENTATION_2 + "sections 3.2, 4.6 and 5",
    advice="Write the context of version 2 on the outermost object, and @id and @type on every resource.",
)
def keywords_are_right(facts: PresentationFacts) -> Iterator[Remark]:
    """The context is that of version 2, and manifest, sequences and canvases have @id and @type."""
    said = facts.value.get("@context")
    if presentation.PRESENTATION_2_CONTEXT not in (said if isinstance(said, list) else [said]):
        place = facts.at(("@context",))
        yield Remark(place=place, value=shown(said), limit=presentation.PRESENTATION_2_CONTEXT)
    if not root(facts).identifier.startswith(("http://", "https://")):
        place = facts.at(("@id",))
        yield Remark(place=place, value=shown(facts.value.get("@id")), limit="a web address")
    yield from together(_without_keywords(facts))


def _without_keywords(facts: PresentationFacts) -> Iterator[Remark]:
    for canvas in canvases(facts):
        if canvas.value.get("@type") != "sc:Canvas":
            place = facts.at((*canvas.path, "@type"))
            yield Remark(place=place, value=shown(canvas.value.get("@type")), limit="sc:Canvas")
        if not canvas.identifier.startswith(("http://", "https://")):
            place = facts.at((*canvas.path, "@id"))
            yield Remark(
                place=place, value=shown(canvas.value.get("@id")), limit="a web address of each canvas"
            )


@OLDER.rule(
    "P102",
    Level.ERROR,
    "A version 2 manifest lacks what it must have",
    source=PRESENTATION_2 + "sections 5.1 to 5.4",
    advice="Give it a label and a sequence with canvases; give each canvas a label, a height, a width and "
    "its images.",
)
def required_properties_are_there(facts: PresentationFacts) -> Iterator[Remark]:
    """There is a label, a sequence with canvases, and each canvas has a label, a size and an images array."""
    if not facts.is_manifest:
        if not facts.value.get("label"):
            yield Remark(place=facts.document.path, value="label is missing", limit="label")
        return
    for key in ("label", "sequences"):
        if not facts.value.get(key):
            yield Remark(place=facts.document.path, value=f"{key} is missing", limit=key)
    if facts.value.get("sequences") and not canvases(facts):
        place = facts.at(("sequences", 0))
        yield Remark(place=place, value="no canvases", limit="an array of at least one canvas")
    yield from together(_lacking(facts))


def _lacking(facts: PresentationFacts) -> Iterator[Remark]:
    for canvas in canvases(facts):
        place = facts.at(canvas.path)
        if not canvas.value.get("label"):
            yield Remark(place=place, value="no label", limit="a label")
        if extent(canvas.value) is None:
            value = f"{shown(canvas.value.get('width'))} × {shown(canvas.value.get('height'))}"
            yield Remark(place=place, value=value, limit="width and height above 0")
        for annotation in canvas.parts("images"):
            if not annotation.value.get("resource"):
                yield Remark(place=facts.at(annotation.path), value="no resource", limit="a resource")


@OLDER.rule(
    "P103",
    Level.ERROR,
    "Two canvases of a version 2 manifest have the same @id",
    source=PRESENTATION_2 + "section 3.2",
    advice="Give each an address of its own.",
)
def canvases_have_ids_of_their_own(facts: PresentationFacts) -> Iterator[Remark]:
    """No two canvases have the same @id."""
    counts = Counter(canvas.identifier for canvas in canvases(facts))
    for identifier, times in counts.items():
        if identifier and times > 1:
            value = f"{short(identifier)} {times} times"
            yield Remark(place=facts.document.path, value=value, limit="an @id of its own")


@OLDER.rule(
    "P104",
    Level.ERROR,
    "An image of a version 2 manifest is not painted on its canvas",
    source=PRESENTATION_2 + "section 5.4",
    advice="Write sc:painting as motivation and the @id of the canvas as on.",
)
def images_are_on_their_canvas(facts: PresentationFacts) -> Iterator[Remark]:
    """Annotations under `images` paint, and paint on the canvas that they stand in."""
    yield from together(_astray(facts))


def _astray(facts: PresentationFacts) -> Iterator[Remark]:
    for canvas in canvases(facts):
        for annotation in canvas.parts("images"):
            place = facts.at(annotation.path)
            if annotation.value.get("motivation") != "sc:painting":
                said = shown(annotation.value.get("motivation"))
                yield Remark(place=place, value=said, limit="the motivation sc:painting")
            on = annotation.value.get("on")
            said = text_of(on.get("full", on.get("@id"))) if isinstance(on, dict) else text_of(on)
            if whole(said) != canvas.identifier:
                yield Remark(place=place, value=f"on {short(said)}", limit="on its canvas")


@OLDER.rule(
    "P105",
    Level.ERROR,
    "An image of a version 2 manifest does not have the shape of its canvas",
    source=PRESENTATION_2 + "section 5.3",
    advice="Give the canvas the proportions of its image.",
)
def images_have_the_shape_of_their_canvas(facts: PresentationFacts) -> Iterator[Remark]:
    """An image that fills a canvas has its ratio of width to height, but for one unit of rounding."""
    yield from together(_misshapen(facts))


def _misshapen(facts: PresentationFacts) -> Iterator[Remark]:
    for canvas in canvases(facts):
        size = extent(canvas.value)
        for annotation, image in images(canvas):
            found = extent(image.value)
            is_part = "#" in text_of(annotation.value.get("on"))
            if size and found and not is_part and not has_shape(found, size):
                value = f"an image of {found[0]:g} × {found[1]:g} on a canvas of {size[0]:g} × {size[1]:g}"
                yield Remark(place=facts.at(image.path), value=value, limit="one shape")


# ------------------------------------------------------------------------------------------------ files


@OLDER_HELD.rule(
    "P106",
    Level.ERROR,
    "What a version 2 manifest names is not in the bundle",
    source=PRESENTATION_2 + "sections 5.4 and 5.10",
    advice="Deliver the service or the image, or correct the address.",
)
def images_are_there(facts: PresentationFacts) -> Iterator[Remark]:
    """Every image below the bundle's address is a file there, or has a service there."""
    yield from together(_missing(facts), what="images")


def _missing(facts: PresentationFacts) -> Iterator[Remark]:
    for canvas in canvases(facts):
        for _, image in images(canvas):
            services = [each.identifier.rstrip("/") for each in image.parts("service")]
            gone = [each for each in services if is_missing_service(facts, each)]
            gone = [each for each in gone if not is_told_with_its_folder(facts, each)]
            is_alone = not services and facts.addresses.is_here(image.identifier)
            is_there = facts.bundle.has(facts.addresses.path_of(image.identifier))
            if is_alone and not is_there and not facts.is_told_missing(image.identifier):
                gone.append(image.identifier)
            for each in gone:
                place = facts.at(image.path)
                yield Remark(place=place, value=short(each), limit="a file, or an info.json, of the bundle")


@OLDER_HELD.rule(
    "P107",
    Level.ERROR,
    "Width and height of an image in a version 2 manifest are not those of its file",
    source=PRESENTATION_2 + "section 3.3",
    advice="Write the pixel size of the file at that address.",
)
def images_have_the_size_of_their_file(facts: PresentationFacts) -> Iterator[Remark]:
    """The size that an image declares is the pixel size of its file, or of its service."""
    yield from together(_other_sizes(facts))


def _other_sizes(facts: PresentationFacts) -> Iterator[Remark]:
    for canvas in canvases(facts):
        for _, image in images(canvas):
            said = extent(image.value)
            found = facts.size_in_file(image.identifier)
            if said and found and said != found:
                place = facts.at(image.path)
                yield Remark(place=place, value=f"{said[0]:g} × {said[1]:g}", limit=str(found))
