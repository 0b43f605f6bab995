"""Our Presentation schema and the publisher's, on several hundred documents with one fault each.

OFFICIAL_PRESENTATION_SCHEMA names schema/iiif_3_0.json of https://github.com/IIIF/presentation-validator.
Where the two judge differently the specification decides, and every difference is of a class that is
named here with its clause. Sections without another name are those of the Presentation API 3.0.
"""

from __future__ import annotations

import copy
import functools
import json
import os
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeAlias

import pytest

from pipeline import jsondoc
from tests.schemas import iiif_documents as make
from tests.schemas.json_mutations import mutants
from tests.schemas.test_iiif import SOFTER

Json = Any
MUTANTS_EACH = 14
"""Of each of some fifty documents."""

pytestmark = pytest.mark.skipif(
    "OFFICIAL_PRESENTATION_SCHEMA" not in os.environ, reason="needs the official schema file"
)

OURS_ALONE: list[tuple[str, str, str]] = [
    (
        "section 4.6",
        "required not const contains",
        "@context: there, right, last of its array, outermost only",
    ),
    ("section 4.8", "pattern", "no key with @ but @context"),
    ("section 3 and appendix A", "not", "properties on classes that must not have them"),
    ("section 3 and 4.3", "type", "single texts in selectors, agents and services"),
    ("section 2 and 3.2, type", "enum const", "the whole of a type's name, and that of a start"),
    (
        "section 3.1 and 4.4",
        "minProperties type",
        "label and summary have an entry, on links and services too",
    ),
    (
        "section 3.1",
        "minItems type required pattern",
        "label and summary have a text; Agents a label; navDate is a date",
    ),
    (
        "section 3.2, behavior",
        "enum type minItems maxContains not",
        "behavior fits the class, and no two shut each other out",
    ),
    ("section 3.2, viewingDirection", "enum type", "viewingDirection of collections and ranges"),
    ("section 3.2, timeMode", "enum", "timeMode is one of three"),
    ("section 3.2, id", "pattern type", "an id has a host; other URIs have a scheme"),
    ("section 3.2, format", "pattern type", "the whole of a media type, on links too"),
    ("section 3.2, language", "pattern type", "a language tag is one, whatever has it"),
    ("section 3.2, profile", "type minLength", "profile is a text"),
    ("section 3.2, height and width", "type exclusiveMinimum", "sizes inside image services"),
    ("section 3.2, duration", "type exclusiveMinimum", "duration of what is no body"),
    (
        "section 3.3",
        "required type const minItems dependentRequired",
        "links, logos, services, start: objects, complete, at least one",
    ),
    ("section 3.4", "minItems type not", "items, structures, annotations: at least one; these do not paint"),
    ("section 4.4", "minProperties pattern type", "a map has an entry, and its keys are language tags"),
    (
        "section 5.1",
        "required not enum type",
        "a Collection has items; what it lists has a label and is not embedded",
    ),
    (
        "section 5.3",
        "required const contains type pattern",
        "a Canvas id has no #; annotations of items paint",
    ),
    (
        "section 5.4",
        "required not enum const type",
        "what a Range holds: complete; sequence stands at the top",
    ),
    ("section 5.5", "type required", "pages are objects"),
    (
        "section 5.6",
        "required not type minItems pattern",
        "an Annotation has a target, and a body if it paints",
    ),
    ("section 5.7", "required minItems", "a body has a type"),
    (
        "Web Annotation Data Model",
        "type required pattern enum minimum const not",
        "parts of annotations, complete",
    ),
    ("Registry of selectors", "type minimum", "selectors of the registry"),
    ("Text Granularity", "enum", "one of six words"),
    ("RFC 7946", "required type minItems enum const", "geometries, positions"),
    ("navPlace extension", "required const type", "a feature collection"),
    (
        "Image API 3.0",
        "required type enum const dependentRequired exclusiveMinimum pattern minItems",
        "image services",
    ),
    ("Authorization Flow API 2.0", "required type enum", "services of the Authorization Flow API"),
    ("Annex on services", "required type enum exclusiveMinimum", "physical dimensions"),
]
"""What the publisher's schema does not look at: clause, keywords of our violations, and what it is."""


def is_named(violation: jsondoc.Violation) -> bool:
    """Whether a violation of our schema is of a class that the publisher's is known to let pass."""
    clause = violation.schema["$comment"]
    return any(
        clause.removeprefix("Presentation API 3.0, ").startswith(start) and violation.rule in rules.split()
        for start, rules, _ in OURS_ALONE
    )


# -------------------------------------------------- what the publisher's schema refuses, though it is allowed

Repair: TypeAlias = Callable[[Json], None]
REPAIRS: list[tuple[str, Repair]] = []
"""Changes of one object after which the publisher's schema accepts it, with what is allowed, and where."""


def allowed(what: str) -> Callable[[Repair], Repair]:
    """Register a repair."""

    def register(function: Repair) -> Repair:
        REPAIRS.append((what, function))
        return function

    return register


def is_a(value: Json, *types: str) -> bool:
    """Whether an object has one of some types."""
    return bool(value.get("type") in types)


MANIFEST_KEYS = set(make.everything()) | {"viewingDirection", "services", "start", "structures"}
PAGE_KEYS = {"@context", "id", "type", "label", "items", "rendering", "service", "thumbnail"}
PAGE_KEYS |= {"partOf", "next", "prev", "first", "last"}


@allowed("a property that the specification does not know (3: clients must ignore it)")
def _(value: Json) -> None:
    for key in set(value) - MANIFEST_KEYS if is_a(value, "Manifest") else ():
        del value[key]


@allowed("any property on an Annotation Page (5.5), and its collection as one object (5.8)")
def _(value: Json) -> None:
    if is_a(value, "AnnotationPage"):
        for key in (set(value) - PAGE_KEYS) | {"partOf"} & set(value):
            del value[key]


@allowed("a page that is linked to has no items (5.5), so none are to be added to it")
def _(value: Json) -> None:
    for key in {"next", "prev", "first", "last"} & set(value):
        if isinstance(value[key], dict):
            value[key] = value[key]["id"]


@allowed("a Canvas or Annotation Page without items (3.4, items: should have; 5.5: it is to be fetched)")
def _(value: Json) -> None:
    has_extent = bool({"width", "height", "duration"} & set(value))
    if is_a(value, "AnnotationPage") or (has_extent and is_a(value, "Canvas")):
        value.setdefault("items", [])


@allowed("a placeholder Canvas that is only named (3.1, placeholderCanvas and accompanyingCanvas)")
def _(value: Json) -> None:
    for key in {"placeholderCanvas", "accompanyingCanvas"} & set(value):
        if not {"width", "height", "duration"} & set(value[key]):
            value[key] |= {"width": 1, "height": 1, "items": []}


@allowed("a Range that is to be fetched (5.4)")
def _(value: Json) -> None:
    if is_a(value, "Range") and "items" not in value:
        value["items"] = []


@allowed("a service with id and @type, with the profiles of an older info.json, or one service in it (3.3.1)")
def _(value: Json) -> None:
    for service in _services(value):
        if "@id" in service or "@type" in service:
            service["@id"] = service.pop("id", service.get("@id", "http://example.org/"))
            service["@type"] = service.pop("type", service.get("@type"))
            service["@type"] = str(service["@type"])
            service["profile"] = "older"
            if isinstance(service.get("service"), dict):
                service["service"] = [service["service"]]


@allowed(
    "physical dimensions without id and type (annex), a login without id (Authorization Flow API 2.0, 3)"
)
def _(value: Json) -> None:
    for service in _services(value):
        if service.get("profile") in (make.PHYSICAL_DIMENSIONS, "external"):
            service.setdefault("id", "http://example.org/")
            service.setdefault("type", "Service")


def _services(value: Json) -> list[Json]:
    lists = [value.get(key, []) for key in ("service", "services")]
    return [each for services in lists if isinstance(services, list) for each in services]


@allowed("several languages of a body (3.2, language), several creators (Web Annotation Data Model, 3.3.1)")
def _(value: Json) -> None:
    if not is_a(value, "Text", "Dataset") or "value" in value:
        for key in {"language", "creator"} & set(value):
            if isinstance(value[key], list) and not is_a(value, "Annotation"):
                value[key] = "x"


@allowed("an agent that is only named, several names or features of accessibility (Web Annotation, 3.3)")
def _(value: Json) -> None:
    for key in {"email", "email_sha1", "name"} & set(value):
        value[key] = "http://example.org/"
    if isinstance(value.get("homepage"), list) and "nickname" in value:
        value["homepage"] = "http://example.org/"
    audience = value.get("audience")
    for each in audience if isinstance(audience, list) else [audience] if audience else []:
        each["type"] = "x"
    for key in {"renderedVia"} & set(value):
        agents = value[key] if isinstance(value[key], list) else [value[key]]
        value[key] = [each if isinstance(each, dict) else {} for each in agents]
    if "accessibility" in value:
        value["accessibility"] = "x"


@allowed(
    "a selector or state of another type, a point at 0, SVG in a file (registry; Web Annotation, 4.2, 4.3)"
)
def _(value: Json) -> None:
    for key in {"selector", "startSelector", "endSelector", "refinedBy"} & set(value):
        several = value[key] if isinstance(value[key], list) else [value[key]]
        for each in (each for each in several if isinstance(each, dict)):
            if each.get("type") not in KNOWN_SELECTORS:
                each.update(type="FragmentSelector", value="x", conformsTo="http://example.org/")
            each.update({name: 1 for name in ("x", "y", "t") if each.get(name) == 0})
            if is_a(each, "SvgSelector"):
                each.setdefault("value", "x")
    if isinstance(value.get("refinedBy"), list):
        value["refinedBy"] = make.FRAGMENT
    if "state" in value:
        value["state"] = {"type": "TimeState"}


KNOWN_SELECTORS = {selector["type"] for selector in make.SELECTORS.values()}


@allowed("a media type with capitals or digits (3.2, format), a language with digits (4.4)")
def _(value: Json) -> None:
    if "format" in value and "selector" not in value and not is_a(value, "ImageApiSelector"):
        value["format"] = "x/y"
    for key in {"label", "summary"} & set(value):
        if isinstance(value[key], dict):
            value[key] = {"x" * number: each for number, each in enumerate(value[key].values(), 1)}


@allowed("a resource elsewhere whose URI is not of http (3.2, id)")
def _(value: Json) -> None:
    if not is_a(value, "Manifest", "Canvas", "Range", "Collection", "Annotation", "AnnotationPage"):
        for key in {"id", "@id", "scope", "conformsTo"} & set(value):
            value[key] = "http://example.org/"


@allowed("a geometry or properties that are null (RFC 7946, 3.2), any id of a feature (3.2)")
def _(value: Json) -> None:
    if is_a(value, "Feature"):
        value["geometry"] = {"type": "Point", "coordinates": []}
        value["properties"] = {}


@allowed("a target of any type (3.5)")
def _(value: Json) -> None:
    if is_a(value, "Annotation"):
        targets = value["target"] if isinstance(value["target"], list) else [value["target"]]
        known = ("SpecificResource", "Canvas", "Manifest")
        value["target"] = [
            each if isinstance(each, str) or is_a(each, *known) else "http://x" for each in targets
        ]


@allowed("an empty Annotation Collection (Web Annotation Data Model, 5.1: total from 0)")
def _(value: Json) -> None:
    if value.get("total") == 0:
        value["total"] = 1


@allowed("a context written out (4.6)")
def _(value: Json) -> None:
    if isinstance(value.get("@context"), list):
        value["@context"] = [each for each in value["@context"] if isinstance(each, str)]


def repaired(document: Json) -> Json:
    """The document without all that is allowed and that the publisher's schema refuses.

    A Canvas or a Range, which the publisher does not take as a document (4.2), is put into a manifest.
    """
    made = copy.deepcopy(document)
    if is_a(made, "Canvas", "Range"):
        made.pop("@context")
        made = make.manifest(structures=[made]) if is_a(made, "Range") else make.manifest(made)
    for value in list(_objects(made)):
        for _, change in REPAIRS:
            change(value)
    return made


def _objects(value: Json) -> Iterator[Json]:
    if isinstance(value, dict):
        yield value
    for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        yield from _objects(inner)


# ----------------------------------------------------------------------------------------- the comparison


@functools.cache
def _official() -> Any:
    import jsonschema

    schema = json.loads(Path(os.environ["OFFICIAL_PRESENTATION_SCHEMA"]).read_bytes())
    return jsonschema.Draft7Validator(schema)


def is_officially_good(document: Json) -> bool:
    return bool(_official().is_valid(document))


def _documents() -> dict[str, Json]:
    """Documents that both schemas accept, each of which shows one thing."""

    def noted(body: Json, target: Json) -> Json:
        note = make.annotation("n", body, motivation=["tagging"], target=target)
        return {"@context": make.PRESENTATION, **make.page("n", note)}

    here = make.TARGETS["address"]
    part = make.BODIES["part"]
    everything = make.everything()
    leaf = everything["structures"][0]["items"][0]
    bare = {key: value for key, value in leaf.items() if key not in make.DESCRIPTIVE}
    painted = {
        f"body, {name}": make.manifest(make.canvas("001r", make.page("1", make.annotation("a", body))))
        for name, body in make.BODIES.items()
    }
    return {
        **painted,
        **{f"target, {name}": noted(make.BODIES["text"], each) for name, each in make.TARGETS.items()},
        **{
            f"selector, {name}": noted({**part, "selector": each}, here)
            for name, each in make.SELECTORS.items()
        },
        **{f"service, {name}": make.manifest(service=[each]) for name, each in make.SERVICES.items()},
        **{name: make.manifest(**{name: each}) for name, each in make.DESCRIPTIVE.items()},
        **{
            key: make.manifest(**{key: everything[key]}) for key in ("navPlace", "placeholderCanvas", "start")
        },
        "structures": make.manifest(structures=[{**make.reference("Range", "range/0"), "items": [bare]}]),
        "behavior": make.manifest(make.canvas(behavior=["facing-pages"], duration=3), behavior=["paged"]),
        "annotation": {"@context": make.PRESENTATION, **make.ABOUT},
        "annotations": make.manifest(make.canvas(annotations=[make.page("n", make.ABOUT)])),
        "collection": {
            key: each for key, each in make.collection().items() if key not in ("provider", "metadata")
        },
        "annotation collection": make.annotation_collection(),
    }


ADDITIONS: dict[str, list[Json]] = {
    **{key: [value] for key, value in make.everything().items()},
    **{key: [value] for key, value in make.everything()["items"][0].items()},
    "behavior": [[], ["hidden"], ["paged"], ["paged", "continuous"], ["no-nav"]],
    "bodyValue": ["x"],
    "duration": [3, 0],
    "format": ["image/png", "png"],
    "language": ["en", ["en"]],
    "logo": [[make.image()]],
    "metadata": [[], make.DESCRIPTIVE["metadata"]],
    "motivation": ["tagging", "painting"],
    "navDate": ["1475-01-01T00:00:00Z", "1475"],
    "selector": [make.FRAGMENT, {"type": "PointSelector", "x": 0}],
    "supplementary": [make.reference("AnnotationCollection", "layer")],
    "timeMode": ["loop", "x"],
    "unknown": ["x"],
    "value": ["x"],
    "viewingDirection": ["left-to-right", "up"],
}
TEXTS = [
    *("http://example.org/x", "https://example.org/x#y", "urn:x:y", "two words"),
    *("Image", "Canvas", "Range", "Manifest", "Collection", "AnnotationPage", "SpecificResource"),
    *("en", "de-1996", "paged", "painting", "commenting", "image/jpeg", "text/html; charset=utf-8", "level1"),
    *("http://creativecommons.org/licenses/by/4.0/", "https://creativecommons.org/licenses/by/4.0/"),
    "2026-03-10T12:00:00Z",
]


@pytest.mark.parametrize("name", _documents())
def test_ours_and_the_publishers_schema_judge_mutants_alike_or_differ_as_named(name: str) -> None:
    document = _documents()[name]
    assert is_officially_good(document)
    assert list(jsondoc.violations(document, "presentation")) == []
    unexplained = []
    seed = zlib.crc32(name.encode())
    for mutant in mutants(document, MUTANTS_EACH, seed=seed, additions=ADDITIONS, texts=TEXTS):
        ours = list(jsondoc.violations(mutant.document, "presentation"))
        is_good = is_officially_good(mutant.document)
        if is_good and not all(map(is_named, ours)):
            unexplained.append((mutant.change, "ours alone refuses it", ours))
        if not is_good and not ours and not is_officially_good(repaired(mutant.document)):
            unexplained.append((mutant.change, "ours alone accepts it", ours))
    assert unexplained == []


@pytest.mark.parametrize("name", SOFTER)
def test_what_the_publisher_refuses_though_allowed_is_of_a_named_class(name: str) -> None:
    assert is_officially_good(repaired(SOFTER[name]))
