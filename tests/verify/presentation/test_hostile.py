"""Documents that were made to hang, to exhaust or to break what reads them, and random faults."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace

import pytest

from pipeline.verify import image_service, presentation
from tests.schemas import iiif_documents, json_mutations
from tests.verify.iiif_bundles import INFO, MANIFEST, Json, codes, document, info, manifest, published

ODD_VALUES = [
    *("", "#", "https://[", "http://", "x" * 10_000, "\ud800", "xywh=1e9,0,1,1", "\x00", "../..", "%00")
]
ADDITIONS: dict[str, list[Json]] = {
    "id": [3, "", "https://[", None],
    "type": ["Range", "Canvas", ["Manifest"], None],
    "items": [None, 3, "", [None], [[]], {}],
    "target": [None, {}, {"source": {"source": {}}}, [[]], {"id": 3}],
    "body": [None, [], [None], {"type": "Choice", "items": "x"}],
    "service": [None, "https://x.example.org", {"@type": 3}, [{"profile": []}]],
    "width": [0, -1, 1e300, 10**400, True, "1"],
    "label": [None, "", [], {"": None}, {"en": "x"}, {"none": [None, 3]}],
    "language": [None, 3, ["en", 3], ""],
    "behavior": [None, "", ["", 3], [["paged"]]],
    "sizes": [None, [None], [{"width": 10**400, "height": 1}]],
    "tiles": [None, {}, [{"width": 1, "scaleFactors": [None, 0, -1, 1.5]}]],
    "profile": [None, [], [[]], {}],
}


@pytest.mark.parametrize(
    "made",
    [
        iiif_documents.everything,
        iiif_documents.collection,
        iiif_documents.info,
        iiif_documents.older_manifest,
        iiif_documents.older_collection,
        manifest,
        info,
    ],
)
def test_whatever_is_wrong_with_a_document_it_gets_a_verdict(made: Callable[[], Json]) -> None:
    mutants = json_mutations.mutants(made(), 25, seed=7, additions=ADDITIONS, texts=ODD_VALUES)
    for mutant in mutants:
        data = json.dumps(mutant.document).encode()
        for family in (presentation, image_service):
            judged = family.judge(document(data, "info.json" if made is info else "manifest.json"))
            assert all(len(each.value) < 2000 and each.place for each in judged.report.findings), (
                mutant.change
            )


@pytest.mark.parametrize("path", [MANIFEST, INFO])
def test_whatever_is_wrong_with_a_document_in_a_bundle_it_gets_a_verdict(path: str) -> None:
    whole = json.loads(published().files[path])
    for mutant in json_mutations.mutants(whole, 25, seed=11, additions=ADDITIONS, texts=ODD_VALUES):
        bundle = published()
        bundle.is_quick = True
        bundle.write(path, json.dumps(mutant.document).encode())
        presentation.judge(bundle.bundle())
        image_service.judge(bundle.bundle())


@pytest.mark.parametrize("nested", ["[", '{"items":', '[{"items":'])
@pytest.mark.parametrize("name", ["manifest.json", "info.json"])
def test_a_document_of_100_000_levels_is_one_finding(nested: str, name: str) -> None:
    family = image_service if name == "info.json" else presentation
    judged = family.judge(document(nested.encode() * 100_000, name))
    assert codes(judged) == ({"T001"} if family is image_service else {"P001"})


def nested_ranges(levels: int) -> Json:
    found: Json = {"id": manifest()["items"][2]["id"], "type": "Canvas"}
    for level in range(levels):
        address = f"{iiif_documents.BASE}/range/{level}"
        found = {"id": address, "type": "Range", "label": {"en": [str(level)]}, "items": [found]}
    return found


def test_ranges_as_deep_as_documents_may_be_are_judged() -> None:
    judged = presentation.judge(document({**manifest(), "structures": [nested_ranges(95)]}))
    assert codes(judged) <= {"P005"}  # if they are too deep for the schema


def test_a_ring_of_many_ranges_is_found_at_once() -> None:
    base = f"{iiif_documents.BASE}/range"
    ring = [
        {
            "id": f"{base}/{number}",
            "type": "Range",
            "label": {"en": ["x"]},
            "items": [{"id": f"{base}/{(number + 1) % 5000}", "type": "Range"}],
        }
        for number in range(5000)
    ]
    assert codes(presentation.judge(document({**manifest(), "structures": ring}))) == {"P032"}


def test_a_document_that_is_wrong_everywhere_says_that_not_all_is_told() -> None:
    pages = [{"id": number, "type": "Canvas"} for number in range(2000)]
    report = presentation.judge(document({**manifest(), "items": pages})).report
    assert "1,000 places or more break the schema" in [each.value for each in report.findings]
    assert len(report.findings) < 20


def test_a_document_larger_than_the_limit_is_not_read() -> None:
    bundle = published().bundle()
    small = replace(bundle, limits=replace(bundle.limits, max_document_bytes=1000))
    assert codes(presentation.judge(small)) == {"P001"}


def test_a_repeated_key_in_every_object_is_told_of_a_few_times() -> None:
    text = json.dumps(manifest()).replace('"type":', '"type": "x", "type":')
    report = presentation.judge(document(text.encode())).report
    assert len([each for each in report.findings if each.code == "P002"]) == 1
