"""Our JSON Schemas for IIIF: documents that are good, that have one fault, and the publisher's judgement.

COOKBOOK_MANIFESTS names a folder with the JSON files of https://github.com/IIIF/cookbook-recipes whose
template variables are filled in: id.path with the address of the recipe's folder, id.url with that of the
file. The clauses are those of the Presentation API 3.0 and the Image API 3.0.
"""

from __future__ import annotations

import copy
import json
import os
from pathlib import Path
from typing import Any

import pytest

from pipeline import jsondoc
from pipeline.derive import info_document
from pipeline.describe.iiif import collection, manifest
from pipeline.model import SizePx
from tests.describe import make_items
from tests.schemas import iiif_documents as make

Json = Any
GONE = object()
"""In the place of a value: the key or item is taken away."""


def violations(document: Json, schema: str = "presentation") -> list[jsondoc.Violation]:
    return list(jsondoc.violations(document, schema))


def changed(document: Json, path: str, value: Json) -> Json:
    """A copy with one value changed, added or taken away; the path has its steps between slashes."""
    made = copy.deepcopy(document)
    steps: list[Any] = [int(step) if step.isdigit() else step for step in path.split("/")]
    *outer, last = steps
    inside = made
    for step in outer:
        inside = inside[step]
    if value is GONE:
        del inside[last]
    else:
        inside[last] = value
    return made


def said(document: Json, schema: str = "presentation") -> list[tuple[str, str]]:
    """Where a document breaks its schema, and which keyword."""
    return [("/".join(map(str, each.path)), each.rule) for each in violations(document, schema)]


# ------------------------------------------------------------------------------------ what is good


@pytest.mark.parametrize(
    "document",
    [make.manifest, make.everything, make.collection, make.annotation_page, make.annotation_collection],
)
def test_a_document_that_uses_every_part_is_good(document: Any) -> None:
    assert violations(document()) == []


@pytest.mark.parametrize("name", make_items.ALL)
def test_what_is_described_of_every_item_is_good(name: str) -> None:
    world = make_items.ALL[name]()
    made = [manifest(world.item, world.settings, world.derivatives, world.records)]
    made += [each for each in [collection(world.item, world.settings)] if each]
    assert [violations(json.loads(jsondoc.to_bytes(each))) for each in made] == [[]] * len(made)


@pytest.mark.parametrize("kind", [*make.BODIES, "reference to a canvas", "no id of a part", "bodyValue"])
def test_every_kind_of_body_can_be_painted(kind: str) -> None:
    part = {"type": "SpecificResource", "source": f"{make.BASE}/canvas/2", "selector": make.FRAGMENT}
    more = {"reference to a canvas": make.reference("Canvas", "canvas/2"), "no id of a part": part}
    made = make.annotation("a", {**make.BODIES, **more}.get(kind))
    if kind == "bodyValue":
        made = {**{key: value for key, value in made.items() if key != "body"}, "bodyValue": "Incipit"}
    assert violations(make.manifest(make.canvas("001r", make.page("1", made)))) == []


@pytest.mark.parametrize("kind", make.SERVICES)
def test_every_kind_of_service_is_good(kind: str) -> None:
    assert violations(make.manifest(service=[make.SERVICES[kind]])) == []


SOFTER: dict[str, Json] = {
    "a canvas without items (3.4, items: should)": changed(make.manifest(), "items/0/items", GONE),
    "a page of a canvas that is to be fetched (5.5)": changed(make.manifest(), "items/0/items/0/items", GONE),
    "a placeholder that is only named (3.1)": make.manifest(
        placeholderCanvas=make.reference("Canvas", "canvas/2")
    ),
    "a property of an extension (3)": make.manifest(curator="somebody"),
    "metadata of an annotation page (5.5)": changed(
        make.manifest(), "items/0/items/0/metadata", make.DESCRIPTIVE["metadata"]
    ),
    "a hidden annotation page (3.2, behavior)": changed(
        make.manifest(), "items/0/items/0/behavior", ["hidden"]
    ),
    "a language with digits (4.4, BCP 47)": make.manifest(summary={"es-419": ["x"], "de-1996": ["x"]}),
    "a media type with capitals (3.2, format)": changed(
        make.manifest(), "items/0/items/0/items/0/body/format", "Image/JPEG"
    ),
    "languages of a body (3.2, language)": changed(
        make.manifest(), "items/0/items/0/items/0/body/language", ["la", "grc"]
    ),
    "an origin (registry of selectors, PointSelector)": changed(
        make.manifest(),
        "items/0/items/0/items/0/body",
        {**make.BODIES["part"], "selector": {"type": "PointSelector", "x": 0, "y": 0, "t": 0}},
    ),
    "a selector of films (registry of selectors)": changed(
        make.manifest(),
        "items/0/items/0/items/0/body",
        {**make.BODIES["part"], "selector": {"type": "VisualContentSelector"}},
    ),
    "bare physical dimensions (annex on services)": make.manifest(
        service=[{"profile": make.PHYSICAL_DIMENSIONS, "physicalScale": 0.04, "physicalUnits": "mm"}]
    ),
    "a service with the profiles of its info.json (3.3.1, service)": make.manifest(
        service=[
            {**make.SERVICES["image service 2"], "profile": ["http://iiif.io/api/image/2/level2.json", {}]}
        ]
    ),
    "a range that is to be fetched (5.4)": make.manifest(structures=[make.reference("Range", "range/1")]),
    "a range as a document (4.2)": {
        "@context": make.PRESENTATION,
        **make.reference("Range", "range/1", items=[make.reference("Canvas", "canvas/1")]),
    },
    "a canvas as a document (4.2)": {"@context": make.PRESENTATION, **make.canvas()},
    "a page that names its collection alone (5.8)": {
        **make.annotation_page(),
        "partOf": make.reference("AnnotationCollection", "layer"),
    },
    "a context written out (4.6)": {
        **make.manifest(),
        "@context": [{"x": "https://example.org/x"}, make.PRESENTATION],
    },
    "a place without geometry (RFC 7946, 3.2)": make.manifest(
        navPlace={
            "type": "FeatureCollection",
            "features": [{"type": "Feature", "properties": {}, "geometry": None}],
        }
    ),
    "a target of any type (3.5)": make.manifest(
        annotations=[
            make.page("1", make.annotation("a", make.BODIES["text"], motivation="tagging", target=make.LINK))
        ]
    ),
    "a duration beside a size (3.2)": make.manifest(make.canvas("001r", duration=12)),
    "an empty collection (5.1)": {**make.collection(), "items": []},
    "an unsent login (Authorization Flow API 2.0, external)": make.manifest(
        services=[{"type": "AuthAccessService2", "profile": "external", "service": [make.SERVICES["token"]]}]
    ),
}
"""What the specification allows though others refuse it."""


@pytest.mark.parametrize("name", SOFTER)
def test_what_the_specification_allows_is_good(name: str) -> None:
    assert said(SOFTER[name]) == []


@pytest.mark.skipif("COOKBOOK_MANIFESTS" not in os.environ, reason="needs the cookbook's manifests")
def test_the_cookbook_is_good() -> None:
    """All of it but the recipes' empty template, whose manifest has no canvas, and the version 2 manifest."""
    files = sorted(Path(os.environ["COOKBOOK_MANIFESTS"]).rglob("*.json"))
    documents = {path.name: jsondoc.read(path) for path in files if "0000_template" not in str(path)}
    judged = {name: each for name, each in documents.items() if make.PRESENTATION in each["@context"]}
    assert len(judged) > 100
    assert {name: said(each) for name, each in judged.items() if said(each)} == {}


# -------------------------------------------------------------------------------- one fault, one place

PAINT = "items/0/items/0/items/0"
"""The annotation of the small manifest."""
SERVICE = f"{PAINT}/body/service/0"
AGENT = {"id": "https://example.org/", "type": "Agent", "label": make.text("x")}
NOTE = make.annotation("note", make.BODIES["text"], motivation="commenting")
LEAF = make.reference("Range", "range/2", items=[make.reference("Canvas", "canvas/001r")])


def part(selector: Json) -> Json:
    """A body that is the part that a selector chooses."""
    return {"type": "SpecificResource", "source": make.image(), "selector": selector}


def place(kind: str, coordinates: Json) -> Json:
    """A place with one geometry."""
    geometry = {"type": kind, "coordinates": coordinates}
    feature = {"type": "Feature", "properties": {}, "geometry": geometry}
    return {"type": "FeatureCollection", "features": [feature]}


MANIFEST_FAULTS: list[tuple[str, Json, str, str]] = [
    # path, value there; where the violation stands, and its keyword
    ("@context", GONE, "", "required"),
    ("@context", "https://iiif.io/api/presentation/3/context.json", "@context", "const"),
    ("@context", "http://iiif.io/api/presentation/2/context.json", "@context", "const"),
    ("@context", [make.PRESENTATION, "https://example.org/x.json"], "@context/1", "const"),
    ("@context", ["https://example.org/x.json"], "@context", "contains"),
    ("@context", [], "@context", "contains"),
    ("@context", {}, "@context", "type"),
    ("@graph", [], "@graph", "not"),
    ("@id", "https://example.org/", "@id", "not"),
    ("@label", "Herbal", "", "pattern"),
    ("id", GONE, "", "required"),
    ("id", "manifest.json", "id", "pattern"),
    ("id", "urn:x:1", "id", "pattern"),
    ("id", "https:///nowhere", "id", "pattern"),
    ("id", [make.BASE], "id", "type"),
    ("type", GONE, "", "required"),
    ("type", "manifest", "type", "enum"),
    ("type", ["Manifest"], "type", "enum"),
    ("label", GONE, "", "required"),
    ("label", "Herbal", "label", "type"),
    ("label", {}, "label", "minProperties"),
    ("label", {"en": "Herbal"}, "label/en", "type"),
    ("label", {"en": []}, "label/en", "minItems"),
    ("label", {"en": [1]}, "label/en/0", "type"),
    ("label", {"@none": ["x"]}, "label", "pattern"),
    ("label", {"en_GB": ["x"]}, "label", "pattern"),
    ("label", {"en-": ["x"]}, "label", "pattern"),
    ("summary", ["x"], "summary", "type"),
    ("summary", {}, "summary", "minProperties"),
    ("metadata", [], "metadata", "minItems"),
    ("metadata", {"label": make.text("x"), "value": make.text("y")}, "metadata", "type"),
    ("metadata", [{"label": make.text("x")}], "metadata/0", "required"),
    ("metadata", [{"label": make.text("x"), "value": "y"}], "metadata/0/value", "type"),
    ("requiredStatement", [make.DESCRIPTIVE["requiredStatement"]], "requiredStatement", "type"),
    ("requiredStatement", {"value": make.text("x")}, "requiredStatement", "required"),
    ("rights", "https://creativecommons.org/licenses/by/4.0/", "rights", "pattern"),
    ("rights", "http://creativecommons.org/licenses/by/4.0", "rights", "pattern"),
    ("rights", "http://creativecommons.org/licenses/by/4.0/deed.de", "rights", "pattern"),
    ("rights", "http://rightsstatements.org/page/InC/1.0/", "rights", "pattern"),
    ("rights", "All rights reserved", "rights", "pattern"),
    ("rights", ["http://rightsstatements.org/vocab/InC/1.0/"], "rights", "type"),
    ("provider", AGENT, "provider", "type"),
    ("provider", [{**AGENT, "type": "Person"}], "provider/0/type", "const"),
    ("provider", [changed(AGENT, "label", GONE)], "provider/0", "required"),
    ("provider", [{**AGENT, "logo": make.image()}], "provider/0/logo", "type"),
    ("provider", [{**AGENT, "logo": [{**make.image(), "type": "Text"}]}], "provider/0/logo/0/type", "const"),
    ("provider", [{**AGENT, "homepage": [make.LINK]}], "provider/0/homepage/0", "required"),
    ("thumbnail", make.image(), "thumbnail", "type"),
    ("thumbnail", ["https://example.org/t.jpg"], "thumbnail/0", "type"),
    ("thumbnail", [{"type": "Image"}], "thumbnail/0", "required"),
    ("navDate", "1475", "navDate", "pattern"),
    ("navDate", "1475-01-01T00:00:00", "navDate", "pattern"),
    ("navDate", "1475-13-01T00:00:00Z", "navDate", "pattern"),
    ("navDate", "475-01-01T00:00:00Z", "navDate", "pattern"),
    ("navDate", "1475-01-01T00:00:00Z\n", "navDate", "pattern"),
    ("navPlace", {"type": "FeatureCollection"}, "navPlace", "required"),
    ("navPlace", place("Point", [1]), "navPlace/features/0/geometry/coordinates", "minItems"),
    (
        "navPlace",
        place("Polygon", [[[0, 0], [1, 0], [0, 0]]]),
        "navPlace/features/0/geometry/coordinates/0",
        "minItems",
    ),
    ("navPlace", place("Circle", [0, 0]), "navPlace/features/0/geometry/type", "enum"),
    ("placeholderCanvas", [make.canvas()], "placeholderCanvas", "type"),
    ("placeholderCanvas", make.LINK, "placeholderCanvas/type", "const"),
    (
        "placeholderCanvas",
        make.canvas(accompanyingCanvas=make.canvas()),
        "placeholderCanvas/accompanyingCanvas",
        "not",
    ),
    ("viewingDirection", "rtl", "viewingDirection", "enum"),
    ("viewingDirection", ["left-to-right"], "viewingDirection", "enum"),
    ("behavior", "paged", "behavior", "type"),
    ("behavior", [], "behavior", "minItems"),
    ("behavior", ["Paged"], "behavior/0", "enum"),
    ("behavior", ["facing-pages"], "behavior/0", "enum"),
    ("behavior", ["multi-part"], "behavior/0", "enum"),
    ("behavior", ["hidden"], "behavior/0", "enum"),
    ("behavior", ["paged", "individuals"], "behavior", "maxContains"),
    ("behavior", ["auto-advance", "no-auto-advance"], "behavior", "maxContains"),
    ("behavior", ["repeat", "paged", "no-repeat"], "behavior", "maxContains"),
    ("seeAlso", make.LINK, "seeAlso", "type"),
    ("seeAlso", [], "seeAlso", "minItems"),
    ("seeAlso", ["https://example.org/mets.xml"], "seeAlso/0", "type"),
    ("seeAlso", [{**make.LINK, "format": "xml"}], "seeAlso/0/format", "pattern"),
    ("seeAlso", [{**make.LINK, "label": "METS"}], "seeAlso/0/label", "type"),
    ("seeAlso", [{**make.LINK, "profile": ["x"]}], "seeAlso/0/profile", "type"),
    ("partOf", [{"id": "urn:x:1", "type": "Collection"}], "partOf/0/id", "pattern"),
    ("service", [{**make.SERVICES["another"], "label": "x"}], "service/0/label", "type"),
    ("seeAlso", [{**make.LINK, "id": "mets.xml"}], "seeAlso/0/id", "pattern"),
    ("homepage", [make.LINK], "homepage/0", "required"),
    ("homepage", [{**make.LINK, "label": make.text("x"), "language": "en"}], "homepage/0/language", "type"),
    ("rendering", [make.LINK], "rendering/0", "required"),
    ("partOf", make.LINK, "partOf", "type"),
    ("partOf", [{"id": make.BASE}], "partOf/0", "required"),
    ("start", f"{make.BASE}/canvas/001r", "start", "type"),
    ("start", [make.reference("Canvas", "canvas/001r")], "start", "type"),
    ("start", make.reference("Range", "range/1"), "start/type", "enum"),
    ("start", make.reference("SpecificResource", "x"), "start", "required"),
    ("services", make.SERVICES["search"], "services", "type"),
    ("structures", [], "structures", "minItems"),
    ("structures", [make.reference("Range", "range/1", items=[])], "structures/0/items", "minItems"),
    ("structures", [{**LEAF, "type": "range"}], "structures/0/type", "const"),
    ("structures", [{**LEAF, "items": [f"{make.BASE}/canvas/001r"]}], "structures/0/items/0", "type"),
    ("structures", [{**LEAF, "items": [make.LINK]}], "structures/0/items/0/type", "enum"),
    ("structures", [{**LEAF, "items": [{"type": "Canvas"}]}], "structures/0/items/0", "required"),
    ("structures", [{**LEAF, "behavior": ["sequence", "no-nav"]}], "structures/0/behavior", "maxContains"),
    (
        "structures",
        [{**LEAF, "items": [{**LEAF, "behavior": ["sequence"]}]}],
        "structures/0/items/0/behavior",
        "not",
    ),
    ("structures", [{**LEAF, "supplementary": [make.LINK]}], "structures/0/supplementary", "type"),
    ("structures", [{**LEAF, "supplementary": make.LINK}], "structures/0/supplementary/type", "const"),
    ("structures", [{**LEAF, "structures": [LEAF]}], "structures/0/structures", "not"),
    (
        "structures",
        [{**LEAF, "items": [{**part([]), "source": make.LINK}]}],
        "structures/0/items/0/source/type",
        "const",
    ),
    ("annotations", [], "annotations", "minItems"),
    ("annotations", [f"{make.BASE}/page"], "annotations/0", "type"),
    (
        "annotations",
        [make.page("1", make.annotation("a", make.image()))],
        "annotations/0/items/0/motivation",
        "not",
    ),
    ("annotations", [make.page("1", changed(NOTE, "target", GONE))], "annotations/0/items/0", "required"),
    ("items", GONE, "", "required"),
    ("items", [], "items", "minItems"),
    ("items", {"0": make.canvas()}, "items", "type"),
    ("items/0", make.page("1"), "items/0/type", "const"),
    ("items/0/@context", make.PRESENTATION, "items/0/@context", "not"),
    ("items/0/id", f"{make.BASE}/canvas/1#xywh=0,0,1,1", "items/0/id", "pattern"),
    ("items/0/id", GONE, "items/0", "required"),
    ("items/0/type", GONE, "items/0", "required"),
    ("items/0/label", "f. 1r", "items/0/label", "type"),
    ("items/0/width", GONE, "items/0", "required"),
    ("items/0/width", 0, "items/0/width", "exclusiveMinimum"),
    ("items/0/width", 3000.5, "items/0/width", "type"),
    ("items/0/width", "3000", "items/0/width", "type"),
    ("items/0/height", True, "items/0/height", "type"),
    ("items/0/duration", 0, "items/0/duration", "exclusiveMinimum"),
    ("items/0/viewingDirection", "left-to-right", "items/0/viewingDirection", "not"),
    ("items/0/start", make.reference("Canvas", "canvas/001r"), "items/0/start", "not"),
    ("items/0/format", "image/jpeg", "items/0/format", "not"),
    ("items/0/services", [make.SERVICES["search"]], "items/0/services", "not"),
    ("items/0/structures", [LEAF], "items/0/structures", "not"),
    ("items/0/behavior", ["paged"], "items/0/behavior/0", "enum"),
    ("items/0/behavior", ["facing-pages", "non-paged"], "items/0/behavior", "maxContains"),
    ("items/0/behavior", ["repeat"], "items/0/behavior/0", "enum"),
    ("items/0/items", make.page("1"), "items/0/items", "type"),
    ("items/0/items/0", NOTE, "items/0/items/0/type", "const"),
    ("items/0/items/0/id", GONE, "items/0/items/0", "required"),
    ("items/0/items/0/navDate", "1475-01-01T00:00:00Z", "items/0/items/0/navDate", "not"),
    ("items/0/items/0/behavior", ["paged"], "items/0/items/0/behavior/0", "enum"),
    ("items/0/items/0/annotations", [make.page("2")], "items/0/items/0/annotations", "not"),
    ("items/0/items/0/next", {"id": make.BASE}, "items/0/items/0/next", "required"),
    (PAINT, NOTE, f"{PAINT}/motivation", "const"),
    (f"{PAINT}/id", GONE, PAINT, "required"),
    (f"{PAINT}/motivation", GONE, PAINT, "required"),
    (f"{PAINT}/motivation", ["tagging"], f"{PAINT}/motivation", "contains"),
    (f"{PAINT}/body", GONE, PAINT, "required"),
    (f"{PAINT}/body", f"{make.IMAGES}/x.jpg", f"{PAINT}/body", "type"),
    (f"{PAINT}/target", GONE, PAINT, "required"),
    (f"{PAINT}/target", "canvas/001r", f"{PAINT}/target", "pattern"),
    (f"{PAINT}/target", {"id": make.BASE}, f"{PAINT}/target", "required"),
    (f"{PAINT}/target", [], f"{PAINT}/target", "minItems"),
    (f"{PAINT}/timeMode", "stretch", f"{PAINT}/timeMode", "enum"),
    (f"{PAINT}/textGranularity", "verse", f"{PAINT}/textGranularity", "enum"),
    (f"{PAINT}/bodyValue", "x", f"{PAINT}/body", "not"),
    (f"{PAINT}/width", 1, f"{PAINT}/width", "not"),
    (f"{PAINT}/items", [], f"{PAINT}/items", "not"),
    (f"{PAINT}/stylesheet", {"value": ".a {}"}, f"{PAINT}/stylesheet", "required"),
    (f"{PAINT}/body/id", GONE, f"{PAINT}/body", "required"),
    (f"{PAINT}/body/type", GONE, f"{PAINT}/body", "required"),
    (f"{PAINT}/body/format", "jpeg", f"{PAINT}/body/format", "pattern"),
    (f"{PAINT}/body/width", -1, f"{PAINT}/body/width", "exclusiveMinimum"),
    (f"{PAINT}/body/navDate", "1475-01-01T00:00:00Z", f"{PAINT}/body/navDate", "not"),
    (f"{PAINT}/body/service", make.SERVICES["image service 3"], f"{PAINT}/body/service", "type"),
    (f"{SERVICE}/id", GONE, SERVICE, "required"),
    (f"{SERVICE}/@id", make.IMAGES, f"{SERVICE}/id", "not"),
    (f"{SERVICE}/profile", "level9", f"{SERVICE}/profile", "enum"),
    (f"{SERVICE}/profile", ["level0"], f"{SERVICE}/profile", "enum"),
    (f"{SERVICE}/sizes", [{"width": 1}], f"{SERVICE}/sizes/0", "required"),
    (f"{SERVICE}/tiles", [{"width": 512}], f"{SERVICE}/tiles/0", "required"),
    (SERVICE, {"type": "OtherService"}, SERVICE, "required"),
    (SERVICE, {"@type": "ImageService2"}, SERVICE, "required"),
    (SERVICE, {"@id": make.IMAGES}, SERVICE, "required"),
    (
        SERVICE,
        changed(make.SERVICES["probe"], "service/0/profile", "login"),
        f"{SERVICE}/service/0/profile",
        "enum",
    ),
    (SERVICE, changed(make.SERVICES["probe"], "service/0/label", "x"), f"{SERVICE}/service/0/label", "type"),
    (
        SERVICE,
        {**make.SERVICES["physical dimensions"], "physicalUnits": "px"},
        f"{SERVICE}/physicalUnits",
        "enum",
    ),
    (f"{PAINT}/body", {"type": "TextualBody"}, f"{PAINT}/body", "required"),
    (f"{PAINT}/body", {"type": "TextualBody", "value": make.text("x")}, f"{PAINT}/body/value", "type"),
    (f"{PAINT}/body", {**make.BODIES["text"], "textDirection": "up"}, f"{PAINT}/body/textDirection", "enum"),
    (f"{PAINT}/body", {"type": "Choice", "items": []}, f"{PAINT}/body/items", "minItems"),
    (f"{PAINT}/body", {"type": "Choice", "items": [{"type": "Image"}]}, f"{PAINT}/body/items/0", "required"),
    (f"{PAINT}/body", {"type": "SpecificResource"}, f"{PAINT}/body", "required"),
    (
        f"{PAINT}/body",
        {**part([]), "source": {**make.image(), "width": 0}},
        f"{PAINT}/body/source/width",
        "exclusiveMinimum",
    ),
    (f"{PAINT}/body", part({}), f"{PAINT}/body/selector", "required"),
    (f"{PAINT}/body", part("xywh=0,0,1,1"), f"{PAINT}/body/selector", "pattern"),
    (f"{PAINT}/body", part({"type": "FragmentSelector"}), f"{PAINT}/body/selector", "required"),
    (f"{PAINT}/body", part({"type": "PointSelector", "x": -1}), f"{PAINT}/body/selector/x", "minimum"),
    (f"{PAINT}/body", part([{"type": "SvgSelector"}]), f"{PAINT}/body/selector/0", "required"),
    (
        f"{PAINT}/body",
        part({"type": "ImageApiSelector", "rotation": 90}),
        f"{PAINT}/body/selector/rotation",
        "type",
    ),
    (f"{PAINT}/body", part({"type": "TextQuoteSelector"}), f"{PAINT}/body/selector", "required"),
    (
        f"{PAINT}/body",
        part({"type": "TextPositionSelector", "start": 1, "end": "2"}),
        f"{PAINT}/body/selector/end",
        "type",
    ),
    (
        f"{PAINT}/body",
        part({"type": "RangeSelector", "startSelector": make.FRAGMENT, "endSelector": {}}),
        f"{PAINT}/body/selector/endSelector",
        "required",
    ),
    (
        f"{PAINT}/body",
        part({**make.FRAGMENT, "refinedBy": {"value": "x"}}),
        f"{PAINT}/body/selector/refinedBy",
        "required",
    ),
]


@pytest.mark.parametrize(
    ("path", "value", "where", "rule"),
    MANIFEST_FAULTS,
    ids=[f"{path.replace('/', '.')}-{number}" for number, (path, *_) in enumerate(MANIFEST_FAULTS)],
)
def test_a_fault_of_a_manifest_is_found_where_it_is(path: str, value: Json, where: str, rule: str) -> None:
    assert said(changed(make.manifest(), path, value)) == [(where, rule)]


COLLECTION_FAULTS: list[tuple[str, Json, str, str]] = [
    ("items", GONE, "", "required"),
    ("label", GONE, "", "required"),
    ("items/0/label", GONE, "items/0", "required"),
    ("items/0/items", [make.canvas()], "items/0/items", "not"),
    ("items/0/type", "Canvas", "items/0/type", "enum"),
    ("items/0/@context", make.PRESENTATION, "items/0/@context", "not"),
    ("items/1/label", GONE, "items/1", "required"),
    ("items/2/services", [make.SERVICES["search"]], "items/2/services", "not"),
    ("items/2/items", [make.canvas()], "items/2/items/0/type", "enum"),
    ("behavior", ["multi-part", "together"], "behavior", "maxContains"),
    ("behavior", ["sequence"], "behavior/0", "enum"),
    ("viewingDirection", "up", "viewingDirection", "enum"),
    ("start", make.reference("Canvas", "canvas/1"), "start", "not"),
    ("structures", [LEAF], "structures", "not"),
    ("height", 1, "height", "not"),
]


@pytest.mark.parametrize(("path", "value", "where", "rule"), COLLECTION_FAULTS)
def test_a_fault_of_a_collection_is_found_where_it_is(path: str, value: Json, where: str, rule: str) -> None:
    assert said(changed(make.collection(), path, value)) == [(where, rule)]


LAYER_FAULTS: list[tuple[str, Json, str, str]] = [
    ("total", -1, "total", "minimum"),
    ("total", "12", "total", "type"),
    ("first", {"id": make.BASE}, "first", "required"),
    ("last", make.reference("Annotation", "x"), "last/type", "const"),
    ("items", [], "items", "not"),
    ("label", "Notes", "label", "type"),
    ("behavior", ["paged"], "behavior/0", "enum"),
]


@pytest.mark.parametrize(("path", "value", "where", "rule"), LAYER_FAULTS)
def test_a_fault_of_an_annotation_collection_is_found_where_it_is(
    path: str, value: Json, where: str, rule: str
) -> None:
    assert said(changed(make.annotation_collection(), path, value)) == [(where, rule)]


@pytest.mark.parametrize(
    ("document", "where", "rule"),
    [
        ({"@context": make.PRESENTATION, **make.reference("Range", "r")}, "", "required"),
        ({"@context": make.PRESENTATION, **make.reference("Canvas", "c")}, "", "required"),
        ({"@context": make.PRESENTATION, **make.canvas(), "height": GONE}, "", "required"),
        ([], "", "type"),
        (None, "", "type"),
    ],
    ids=["range without items", "canvas without size", "canvas without height", "array", "nothing"],
)
def test_a_fault_of_another_document_is_found_where_it_is(document: Json, where: str, rule: str) -> None:
    if isinstance(document, dict):
        document = {key: value for key, value in document.items() if value is not GONE}
    assert set(said(document)) == {(where, rule)}


@pytest.mark.parametrize("schema", ["presentation", "image-info", "presentation-2"])
def test_wherever_a_document_can_break_a_schema_it_says_what_is_expected_and_why(schema: str) -> None:
    bare = [
        path for path, part in _judging(jsondoc.schema(schema)) if {"description", "$comment"} - set(part)
    ]
    assert bare == []


JUDGES = {
    "type",
    "const",
    "enum",
    "pattern",
    "required",
    "contains",
    "not",
    "minItems",
    "minProperties",
    "minimum",
}


def _judging(part: Json, path: str = "") -> Any:
    """The parts of a schema whose keywords can be broken; conditions cannot."""
    if isinstance(part, dict):
        is_list_of_names = path.endswith(("/properties", "/$defs", "/dependentRequired"))
        if JUDGES & set(part) and not is_list_of_names:
            yield path, part
        for key, inner in part.items():
            if is_list_of_names or key not in ("if", "contains", "not", "const", "enum", "required"):
                yield from _judging(inner, f"{path}/{key}")
    elif isinstance(part, list):
        for place_, inner in enumerate(part):
            yield from _judging(inner, f"{path}/{place_}")


# --------------------------------------------------------------------------------------------- info.json


def info(**more: Json) -> Json:
    """A small info.json."""
    made = info_document(SizePx(width_px=3000, height_px=4200), service_id=f"{make.IMAGES}/001r", tile_px=512)
    return {**json.loads(jsondoc.to_bytes(made)), **more}


GOOD_INFO: dict[str, Json] = {
    "everything": make.info(),
    "ours": info(),
    "ours, of a wide image": json.loads(
        jsondoc.to_bytes(
            info_document(SizePx(width_px=90000, height_px=900), service_id=make.IMAGES, tile_px=512)
        )
    ),
    "level 2 and its formats": info(profile="level2", preferredFormats=["png", "jpg"]),
    "sizes above the full one": info(extraFeatures=["sizeUpscaling"], maxArea=10**8),
    "a feature of an extension": info(extraFeatures=["regionByEar"]),
    "one number for both limits": info(maxWidth=4200),
    "no tiles": {key: value for key, value in info().items() if key not in ("tiles", "sizes")},
    "context in an array": info(**{"@context": [make.IMAGE]}),
}

INFO_FAULTS: list[tuple[str, Json, str, str]] = [
    ("@context", GONE, "", "required"),
    ("@context", "http://iiif.io/api/image/2/context.json", "@context", "const"),
    ("@context", [make.IMAGE, "https://example.org/x.json"], "@context/1", "const"),
    ("id", GONE, "", "required"),
    ("id", f"{make.IMAGES}/001r/", "id", "pattern"),
    ("id", "001r", "id", "pattern"),
    ("@id", f"{make.IMAGES}/001r", "@id", "not"),
    ("type", "ImageService2", "type", "const"),
    ("type", GONE, "", "required"),
    ("protocol", "https://iiif.io/api/image", "protocol", "const"),
    ("profile", "http://iiif.io/api/image/3/level0.json", "profile", "enum"),
    ("profile", ["level0"], "profile", "enum"),
    ("profile", "level3", "profile", "enum"),
    ("width", GONE, "", "required"),
    ("width", 0, "width", "exclusiveMinimum"),
    ("height", "4200", "height", "type"),
    ("height", 4200.5, "height", "type"),
    ("maxHeight", 100, "", "dependentRequired"),
    ("maxArea", 0, "maxArea", "exclusiveMinimum"),
    ("sizes", {"width": 1, "height": 1}, "sizes", "type"),
    ("sizes/0/height", GONE, "sizes/0", "required"),
    ("sizes/0/width", "188", "sizes/0/width", "type"),
    ("sizes/0/type", "size", "sizes/0/type", "const"),
    ("sizes/0", [188, 263], "sizes/0", "type"),
    ("tiles", {"width": 512, "scaleFactors": [1]}, "tiles", "type"),
    ("tiles/0/width", GONE, "tiles/0", "required"),
    ("tiles/0/scaleFactors", GONE, "tiles/0", "required"),
    ("tiles/0/scaleFactors", [], "tiles/0/scaleFactors", "minItems"),
    ("tiles/0/scaleFactors", [1, 1.5], "tiles/0/scaleFactors/1", "type"),
    ("tiles/0/scaleFactors", [0], "tiles/0/scaleFactors/0", "exclusiveMinimum"),
    ("preferredFormats", ["png"], "preferredFormats/0", "enum"),
    ("preferredFormats", "jpg", "preferredFormats", "type"),
    ("extraFormats", [".png"], "extraFormats/0", "pattern"),
    ("extraFormats", ["image/png"], "extraFormats/0", "pattern"),
    ("extraQualities", [1], "extraQualities/0", "type"),
    ("extraFeatures", "cors", "extraFeatures", "type"),
    ("extraFeatures", ["sizeUpscaling"], "", "required"),
    ("rights", ["http://rightsstatements.org/vocab/InC/1.0/"], "rights", "type"),
    ("rights", "https://rightsstatements.org/vocab/InC/1.0/", "rights", "pattern"),
    ("partOf", make.LINK, "partOf", "type"),
    ("seeAlso", ["https://example.org/x"], "seeAlso/0", "type"),
    ("service", [{"profile": "x"}], "service/0", "required"),
]


@pytest.mark.parametrize("name", GOOD_INFO)
def test_an_info_json_is_good(name: str) -> None:
    assert said(GOOD_INFO[name], "image-info") == []


@pytest.mark.parametrize(("path", "value", "where", "rule"), INFO_FAULTS)
def test_a_fault_of_an_info_json_is_found_where_it_is(path: str, value: Json, where: str, rule: str) -> None:
    assert set(said(changed(info(), path, value), "image-info")) == {(where, rule)}


# ------------------------------------------------------------------------------------------- version 2


@pytest.mark.parametrize("document", [make.older_manifest, make.older_collection])
def test_a_document_of_version_2_is_good(document: Any) -> None:
    assert said(document(), "presentation-2") == []


@pytest.mark.skipif("COOKBOOK_MANIFESTS" not in os.environ, reason="needs the cookbook's manifests")
def test_the_cookbooks_manifest_of_version_2_is_good() -> None:
    files = [jsondoc.read(path) for path in sorted(Path(os.environ["COOKBOOK_MANIFESTS"]).rglob("*.json"))]
    older = [each for each in files if "sequences" in each]
    assert [said(each, "presentation-2") for each in older] == [[]]


CANVAS_2 = "sequences/0/canvases/0"
OLDER_FAULTS: list[tuple[str, Json, str, str]] = [
    ("@context", make.PRESENTATION, "@context", "const"),
    ("@id", GONE, "", "required"),
    ("@id", "manifest.json", "@id", "pattern"),
    ("@type", "Manifest", "@type", "enum"),
    ("label", GONE, "", "required"),
    ("label", {"en": ["Herbal"]}, "label", "required"),
    ("metadata", [{"label": "Date"}], "metadata/0", "required"),
    ("viewingDirection", "rtl", "viewingDirection", "enum"),
    ("viewingHint", "folded", "viewingHint", "pattern"),
    ("navDate", "1475", "navDate", "pattern"),
    ("license", "All rights reserved", "license", "pattern"),
    ("logo", {"id": make.BASE}, "logo", "required"),
    ("startCanvas", make.BASE, "startCanvas", "not"),
    ("sequences", GONE, "", "required"),
    ("sequences", [], "sequences", "minItems"),
    ("sequences/0/canvases", GONE, "sequences/0", "required"),
    ("sequences/0/canvases", [], "sequences/0/canvases", "minItems"),
    ("sequences/0/@type", "sc:Manifest", "sequences/0/@type", "const"),
    (f"{CANVAS_2}/@id", GONE, CANVAS_2, "required"),
    (f"{CANVAS_2}/label", GONE, CANVAS_2, "required"),
    (f"{CANVAS_2}/height", GONE, CANVAS_2, "required"),
    (f"{CANVAS_2}/width", "3000", f"{CANVAS_2}/width", "type"),
    (f"{CANVAS_2}/viewingHint", "paged", f"{CANVAS_2}/viewingHint", "pattern"),
    (f"{CANVAS_2}/images/0/on", GONE, f"{CANVAS_2}/images/0", "required"),
    (f"{CANVAS_2}/images/0/motivation", "painting", f"{CANVAS_2}/images/0/motivation", "const"),
    (f"{CANVAS_2}/images/0/resource/@id", GONE, f"{CANVAS_2}/images/0/resource", "required"),
    (f"{CANVAS_2}/images/0/resource/width", 0, f"{CANVAS_2}/images/0/resource/width", "exclusiveMinimum"),
    (f"{CANVAS_2}/otherContent/0/resources", [], f"{CANVAS_2}/otherContent/0/resources", "not"),
    ("structures/0/label", GONE, "structures/0", "required"),
    ("structures/0/canvases/0", {}, "structures/0/canvases/0", "type"),
    ("structures/0/members/0/label", GONE, "structures/0/members/0", "required"),
]


@pytest.mark.parametrize(("path", "value", "where", "rule"), OLDER_FAULTS)
def test_a_fault_of_a_manifest_of_version_2_is_found_where_it_is(
    path: str, value: Json, where: str, rule: str
) -> None:
    assert said(changed(make.older_manifest(), path, value), "presentation-2") == [(where, rule)]
