"""Manifests and a schema of others, for those who have them: they are not part of the repository.

Point COOKBOOK_MANIFESTS at a folder with the manifests of the IIIF cookbook (iiif.io/api/cookbook), their
template variables filled in, and OFFICIAL_PRESENTATION_SCHEMA at the schema of the public validator of
Presentation 3 (github.com/IIIF/presentation-validator, schema/iiif_3_0.json).
"""

from __future__ import annotations

import json
import os
from pathlib import Path

import jsonschema
import pytest

from pipeline.findings import Level
from pipeline.verify import image_service, presentation
from tests.verify.iiif_bundles import MANIFEST, document, published
from tests.verify.presentation.test_manifests import DAMAGES

COOKBOOK = Path(os.environ.get("COOKBOOK_MANIFESTS", "nowhere"))
TEMPLATE = "0000"
"""A form to be filled in, without canvases: no manifest yet."""


def test_every_manifest_of_the_cookbook_is_accepted() -> None:
    if not COOKBOOK.is_dir():
        pytest.skip("the cookbook is not here; set COOKBOOK_MANIFESTS to the folder that holds it")
    paths = [each for each in sorted(COOKBOOK.rglob("*.json")) if TEMPLATE not in each.name]
    assert paths
    for path in paths:
        bundle = document(path.read_bytes(), path.name)
        report = presentation.judge(bundle).report + image_service.judge(bundle).report
        errors = [f"{each.code} {each.place}: {each.value}" for each in report.at(Level.ERROR)]
        assert errors == [], path.name


LET_THROUGH = (
    "no context",
    "context without the main one",
    "context in the wrong order",
    "a canvas with a fragment",
    "a canvas twice",
    "a range of no canvas",
    "a start that is not there",
    "start as an array",
    "an annotation without motivation",
    "an annotation without target",
    "a comment among what is painted",
    "another canvas",
    "an empty label",
    "a behavior of canvases",
    "two layouts",
    "a direction on a canvas",
    "an agent without label",
    "a homepage without label",
    "a date without zone",
    "script in a summary",
)
"""Damages that the public validator does not see."""


@pytest.mark.parametrize("name", LET_THROUGH)
def test_what_the_public_validator_lets_through_is_found(name: str) -> None:
    variable = os.environ.get("OFFICIAL_PRESENTATION_SCHEMA")
    if not variable:
        pytest.skip("the schema is not here; set OFFICIAL_PRESENTATION_SCHEMA to its path")
    schema = json.loads(Path(variable).read_bytes())
    code, damage = DAMAGES[name]
    bundle = published()
    damage(bundle)
    assert jsonschema.Draft7Validator(schema).is_valid(json.loads(bundle.files[MANIFEST]))
    found = presentation.judge(bundle.bundle()).report
    assert code in {each.code for each in found.at(Level.ERROR)}
