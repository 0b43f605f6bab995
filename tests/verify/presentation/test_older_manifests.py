"""Manifests of the Presentation API 2: recognised, and judged by what clients need to show them."""

from __future__ import annotations

import copy
import io
import json
from collections.abc import Callable

import pytest
from PIL import Image

from pipeline.verify import presentation
from pipeline.verify.evidence import Page
from tests.verify.iiif_bundles import Json, Published, codes, document

BASE = "https://images.example.org/iiif/b14"


def canvas(number: int) -> Json:
    return {
        "@id": f"{BASE}/canvas/{number}",
        "@type": "sc:Canvas",
        "label": f"f. {number}r",
        "height": 200,
        "width": 150,
        "images": [
            {
                "@type": "oa:Annotation",
                "motivation": "sc:painting",
                "on": f"{BASE}/canvas/{number}",
                "resource": {
                    "@id": f"{BASE}/P{number}/full/full/0/default.jpg",
                    "@type": "dctypes:Image",
                    "format": "image/jpeg",
                    "height": 200,
                    "width": 150,
                    "service": {
                        "@context": "http://iiif.io/api/image/2/context.json",
                        "@id": f"{BASE}/P{number}",
                        "profile": "http://iiif.io/api/image/2/level0.json",
                    },
                },
            }
        ],
    }


MANIFEST: Json = {
    "@context": "http://iiif.io/api/presentation/2/context.json",
    "@id": f"{BASE}/manifest.json",
    "@type": "sc:Manifest",
    "label": "MS B 14",
    "sequences": [{"@type": "sc:Sequence", "canvases": [canvas(1), canvas(2)]}],
}


def bundle() -> Published:
    made = Published(files={})
    made.write("data/b14/manifest.json", json.dumps(MANIFEST).encode())
    stream = io.BytesIO()
    Image.new("RGB", (150, 200)).save(stream, "JPEG")
    for number in (1, 2):
        info = {
            "@context": "http://iiif.io/api/image/2/context.json",
            "@id": f"{BASE}/P{number}",
            "protocol": "http://iiif.io/api/image",
            "width": 150,
            "height": 200,
            "profile": ["http://iiif.io/api/image/2/level0.json"],
        }
        made.write(f"data/b14/P{number}/info.json", json.dumps(info).encode())
        made.write(f"data/b14/P{number}/full/full/0/default.jpg", stream.getvalue())
    return made


def test_a_label_in_several_languages_is_one_page_with_every_wording() -> None:
    other = json.loads(json.dumps(MANIFEST))
    canvas = other["sequences"][0]["canvases"][0]
    canvas["label"] = [{"@value": "Bl. 1r", "@language": "de"}, {"@value": "f. 1r", "@language": "en"}, "1"]
    page = presentation.judge(document(other)).pages[0].pages[0]
    assert (page.label, page.translations) == ("Bl. 1r", ("f. 1r", "1"))


def test_a_good_manifest_gives_no_finding_and_tells_of_its_pages() -> None:
    judged = presentation.judge(bundle().bundle())
    assert judged.report.findings == ()
    assert judged.pages[0].pages == (Page(label="f. 1r", files=("p1",)), Page(label="f. 2r", files=("p2",)))
    assert codes(presentation.judge(document(MANIFEST))) == set()


Change = Callable[[Json], object]


def resource(each: Json) -> Json:
    return each["sequences"][0]["canvases"][1]["images"][0]["resource"]


def page(each: Json) -> Json:
    return each["sequences"][0]["canvases"][1]


DAMAGES: dict[str, tuple[str, Change]] = {
    "another context": ("P101", lambda each: each.update({"@context": "http://iiif.io/api/presentation/2/"})),
    "no address": ("P101", lambda each: each.update({"@id": "b14"})),
    "a canvas without type": ("P101", lambda each: page(each).pop("@type")),
    "a canvas without address": ("P101", lambda each: page(each).update({"@id": "2", "images": []})),
    "no label": ("P102", lambda each: each.pop("label")),
    "no sequences": ("P102", lambda each: each.pop("sequences")),
    "no canvases": ("P102", lambda each: each["sequences"][0].update(canvases=[])),
    "a canvas without label": ("P102", lambda each: page(each).pop("label")),
    "a canvas without height": ("P102", lambda each: page(each).pop("height")),
    "an annotation without resource": ("P102", lambda each: page(each)["images"][0].pop("resource")),
    "a canvas twice": ("P103", lambda each: each["sequences"][0]["canvases"].append(canvas(1))),
    "a comment": ("P104", lambda each: page(each)["images"][0].update(motivation="oa:commenting")),
    "another canvas": ("P104", lambda each: page(each)["images"][0].update(on=f"{BASE}/canvas/1")),
    "an image on its side": ("P105", lambda each: resource(each).update(width=200, height=150)),
}


@pytest.mark.parametrize(("code", "change"), [pytest.param(*each, id=name) for name, each in DAMAGES.items()])
def test_one_damage_is_found_by_one_rule(code: str, change: Change) -> None:
    other = copy.deepcopy(MANIFEST)
    change(other)
    assert codes(presentation.judge(document(other))) == {code}


def test_what_is_named_must_be_there() -> None:
    made = bundle()
    made.remove(*(path for path in made.files if path.startswith("data/b14/P2/")))
    assert codes(presentation.judge(made.bundle())) == {"P106"}


def test_a_size_must_be_that_of_the_file() -> None:
    made = bundle()
    made.edit("data/b14/manifest.json", lambda each: resource(each).update(width=300, height=400))
    assert codes(presentation.judge(made.bundle())) == {"P107"}


def test_a_service_that_is_not_named_is_found() -> None:
    made = bundle()
    made.edit("data/b14/manifest.json", lambda each: each["sequences"][0]["canvases"].pop() and None)
    assert codes(presentation.judge(made.bundle())) == {"P050"}


@pytest.mark.parametrize(
    "damage",
    [
        {"sequences": 3},
        {"sequences": [None, "x"]},
        {"sequences": [{"canvases": {"images": [{"resource": [3]}]}}]},
        {"sequences": [{"canvases": [{"images": {"resource": {"service": "x"}, "on": []}}]}]},
    ],
)
def test_what_has_no_shape_at_all_is_told_of_without_an_end(damage: Json) -> None:
    assert codes(presentation.judge(document({**MANIFEST, **damage})))
