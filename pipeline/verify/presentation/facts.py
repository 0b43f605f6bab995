"""What rules over Presentation documents look at: one document, and what of the bundle it speaks of."""

from __future__ import annotations

import functools
import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, NamedTuple

from pipeline import jsondoc
from pipeline.findings import Remark
from pipeline.jsondoc import Violation
from pipeline.specs import iiif
from pipeline.verify.evidence import Bundle
from pipeline.verify.iiif_documents import IiifDocument
from pipeline.verify.image_service.promise import Size
from pipeline.verify.image_service.services import Service, size_of
from pipeline.verify.presentation.addresses import Addresses, image_request
from pipeline.verify.presentation.resources import Path, Resource, list_of, named, text_of, walk
from pipeline.verify.remarks import short, shown
from pipeline.verify.roles import is_tile

SCHEMA = "presentation"


class Topic(StrEnum):
    """What a place that breaks the schema is about: rules of their own tell of most."""

    CONTEXT = "context"
    ID = "id"
    LABEL = "label"
    LANGUAGE = "language"
    RIGHTS = "rights"
    DATE = "date"
    DIRECTION = "direction"
    BEHAVIOR = "behavior"
    EXTENT = "extent"
    OTHER = "other"


class Text(NamedTuple):
    """One text of a language map."""

    path: Path
    """Of the property that holds the language map."""
    property: str
    """``label``, ``summary`` or ``value``."""
    language: str
    text: str


@dataclass(frozen=True, kw_only=True)
class PresentationFacts:
    """One document, the bundle that it lies in, the image services there, and where addresses lead."""

    bundle: Bundle
    document: IiifDocument
    services: Mapping[str, Service]
    """The image services of the bundle, by id."""
    addresses: Addresses
    lost: frozenset[str] = frozenset()
    """Paths of files of which other documents tell that they are missing."""

    @property
    def value(self) -> dict[str, Any]:
        """The document."""
        return self.document.value

    @property
    def is_manifest(self) -> bool:
        """True for a manifest, False for a collection."""
        return self.value.get("type", self.value.get("@type")) not in ("Collection", "sc:Collection")

    @property
    def knows_files(self) -> bool:
        """True if there are files beside the document, and some of its addresses lead to them."""
        return not self.bundle.container.is_document and bool(self.addresses.bases)

    # --------------------------------------------------------------------------------------- resources

    @functools.cached_property
    def resources(self) -> tuple[Resource, ...]:
        """The document and everything in it, in document order."""
        return tuple(walk(self.value))

    @functools.cached_property
    def by_type(self) -> Mapping[str, Sequence[Resource]]:
        """Resources by their type."""
        found: dict[str, list[Resource]] = defaultdict(list)
        for resource in self.resources:
            found[resource.type].append(resource)
        return found

    @functools.cached_property
    def canvases(self) -> tuple[Resource, ...]:
        """The canvases of the manifest, in order."""
        return tuple(each for each in self.resources[0].children("items") if each.type == "Canvas")

    @functools.cached_property
    def painted(self) -> tuple[tuple[Resource, Resource], ...]:
        """Every canvas with each annotation that is painted on it; of placeholders too, in order."""
        return tuple(
            (page.parent, annotation)
            for page in self.by_type.get("AnnotationPage", ())
            if page.role == "items" and page.parent is not None and page.parent.type == "Canvas"
            for annotation in page.children("items")
        )

    @functools.cached_property
    def images(self) -> tuple[tuple[Resource, Resource, Resource], ...]:
        """Every image that is painted, with its canvas and annotation: each of a choice, sources of parts."""
        return tuple(
            (canvas, annotation, image)
            for canvas, annotation in self.painted
            for image in images_of(annotation)
        )

    @functools.cached_property
    def texts(self) -> tuple[Text, ...]:
        """Every text in a language map, in document order."""
        return tuple(text for resource in self.resources for text in _texts(resource))

    # ------------------------------------------------------------------------------------------ schema

    @functools.cached_property
    def violations(self) -> Mapping[Topic, Sequence[Violation]]:
        """Where the document breaks the schema, by what it is about."""
        found: dict[Topic, list[Violation]] = defaultdict(list)
        for each in jsondoc.violations(self.value, SCHEMA):
            found[_topic(each)].append(each)
        return found

    def broken(self, topic: Topic) -> Iterator[Remark]:
        """Yield what the schema has to say about a topic."""
        for each in self.violations.get(topic, ()):
            expected = str(each.schema.get("description", short(each.message)))
            missing = missing_key(each)
            source = str(each.schema.get("$comment", ""))
            yield Remark(
                place=self.at(each.path),
                value=f"{missing} is missing" if missing else shown(each.found),
                limit=f"{missing} ({expected})" if missing else expected,
                source=f"IIIF {source}" if source.startswith(("Presentation", "Image")) else source,
            )

    # ------------------------------------------------------------------------------------------- files

    def at(self, path: Path) -> str:
        """Where in the document something is, with its label or id."""
        where = named(self.value, path)
        return f"{self.document.path}: {where}" if where else self.document.path

    def service_of(self, identifier: str) -> Service | None:
        """The image service of the bundle that has this id."""
        return self.services.get(identifier.rstrip("/"))

    def info_at(self, identifier: str) -> Service | None:
        """The image service that lies where this id leads, whatever its own id is."""
        return self._services_by_path.get(self.addresses.path_of(f"{identifier.rstrip('/')}/{iiif.INFO}"))

    def is_told_missing(self, address: str) -> bool:
        """True for the address of a file of which manifests of the bag, or METS, tell that it is missing."""
        path = self.addresses.path_of(address)
        return path in self.lost or self.bundle.lacks(path)

    @functools.cached_property
    def bare_folders(self) -> frozenset[str]:
        """Folders of images that are named as those of a service: without an info.json T030 tells of them."""
        files = self.bundle.with_suffix(".jpg", ".png", ".webp")
        return frozenset(path.rsplit("/", 4)[0] for path in files if is_tile(path))

    @functools.cached_property
    def _services_by_path(self) -> Mapping[str, Service]:
        return {each.path: each for each in self.services.values()}

    @functools.cached_property
    def levels(self) -> Mapping[str, str]:
        """What the document says of the levels of image services, by id; empty where it does not."""
        return {
            each.identifier.rstrip("/"): level_of(each.value)
            for each in self.resources
            if is_image_service(each)
        }

    def is_service(self, address: str) -> bool:
        """True for the address of an image service, or of its info.json."""
        said = address.removesuffix(f"/{iiif.INFO}").rstrip("/")
        return said in self.levels or said in self.services

    def is_made_on_demand(self, address: str) -> bool:
        """True for an image that a server makes: of a service above level 0, which has no files."""
        request = image_request(address)
        if request is None:
            return False
        service = self.service_of(request.service)
        level = service.level if service else self.levels.get(request.service, "")
        return level in ("level1", "level2")

    def asked_size(self, image: Resource) -> Size | None:
        """The pixel size that an image has by its address and its service, if that can be told."""
        request = image_request(image.identifier)
        if request is None:
            return None
        width, comma, height = request.size.lstrip("^").partition(",")
        if comma and _is_short_number(width) and _is_short_number(height):
            return Size(int(width), int(height))
        if request.region != "full" or request.size not in ("max", "full"):
            return None
        if found := self.size_in_file(image.identifier):
            return found  # whatever info.json says: T023 holds it against the file
        if service := self.service_of(request.service):
            return service.max_size
        inline = (size_of(each.value) for each in image.children("service") if "maxWidth" not in each.value)
        return next((found for found in inline if found is not None), None)

    def size_in_file(self, address: str) -> Size | None:
        """The pixel size of the file that an address means, as it is shown; None if it was not read."""
        image = self.bundle.image_at(self.addresses.path_of(address))
        if image is None or image.facts is None:
            return None
        size = Size(image.facts.width_px, image.facts.height_px)
        return Size(size.height_px, size.width_px) if image.facts.orientation >= _TURNED else size


def _is_short_number(text: str) -> bool:
    return len(text) < 10 and text.isascii() and text.isdecimal() and int(text) > 0


_TURNED = 5
"""From this value of the TIFF orientation on, width and height are exchanged."""


def images_of(annotation: Resource) -> Iterator[Resource]:
    """Yield the images that an annotation paints: its body, those of a choice, sources of parts."""
    waiting = list(annotation.children("body"))[::-1]
    while waiting:
        body = waiting.pop()
        match body.type:
            case "Image":
                yield body
            case "Choice" | "List" | "Composite":
                waiting += list(body.children("items"))[::-1]
            case "SpecificResource":
                waiting += list(body.children("source"))[::-1]


def is_image_service(resource: Resource) -> bool:
    """True for an image service of any version."""
    if resource.role not in ("service", "services"):
        return False
    profile = resource.value.get("profile")
    first = profile[0] if isinstance(profile, list) and profile else profile
    return resource.type.startswith("ImageService") or "/image" in text_of(first)


def level_of(service: Mapping[str, Any]) -> str:
    """The level that a service's profile names: ``level0`` …; empty if it names none."""
    profile = service.get("profile")
    first = profile[0] if isinstance(profile, list) and profile else profile
    match = re.search(r"level[012]", text_of(first))
    return match[0] if match else ""


# ------------------------------------------------------------------------------------------------ texts


def _texts(resource: Resource) -> Iterator[Text]:
    value, path = resource.value, resource.path
    for key in ("label", "summary"):
        if key in value:
            yield from _of_map((*path, key), key, value[key])
    if "requiredStatement" in value:
        yield from _of_pair((*path, "requiredStatement"), value["requiredStatement"])
    for number, pair in enumerate(list_of(value.get("metadata"))):
        yield from _of_pair((*path, "metadata", number), pair)


def _of_pair(path: Path, pair: Any) -> Iterator[Text]:
    if isinstance(pair, dict):
        yield from _of_map((*path, "label"), "label", pair.get("label"))
        yield from _of_map((*path, "value"), "value", pair.get("value"))


def _of_map(path: Path, key: str, languages: Any) -> Iterator[Text]:
    if isinstance(languages, dict):
        for language, texts in languages.items():
            for text in list_of(texts):
                if isinstance(text, str):
                    yield Text(path, key, language, text)


# ------------------------------------------------------------------------------------------- violations


def missing_key(violation: Violation) -> str:
    """The key that is missing, if that is what is wrong."""
    if violation.rule not in ("required", "dependentRequired"):
        return ""
    match = re.match(r"'([^']*)' is a", violation.message)
    return match[1] if match else ""


_BY_KEY = {
    "@context": Topic.CONTEXT,
    "@graph": Topic.CONTEXT,
    "id": Topic.ID,
    "@id": Topic.ID,
    "label": Topic.LABEL,
    "rights": Topic.RIGHTS,
    "navDate": Topic.DATE,
    "viewingDirection": Topic.DIRECTION,
    "behavior": Topic.BEHAVIOR,
    "height": Topic.EXTENT,
    "width": Topic.EXTENT,
    "duration": Topic.EXTENT,
}
_TEXTS = ("label", "summary", "value")


def _topic(violation: Violation) -> Topic:
    if missing := missing_key(violation):
        return _BY_KEY.get(missing, Topic.OTHER)
    if violation.rule == "pattern" and violation.limit in _language_patterns():
        return Topic.LANGUAGE
    keys = [step for step in violation.path if isinstance(step, str)]
    if violation.rule in ("minProperties", "minItems") and {*keys[-2:]} & {*_TEXTS}:
        return Topic.LABEL
    last = "@context" if "@context" in keys else keys[-1] if keys else ""
    return _BY_KEY.get(last, Topic.OTHER)


@functools.cache
def _language_patterns() -> frozenset[str]:
    parts = jsondoc.schema(SCHEMA)["$defs"]
    return frozenset(parts[name]["pattern"] for name in ("languageKey", "languageTag", "languages"))
