"""Manifests as an independent client library reads them: @iiif/parser, from the npm registry."""

from __future__ import annotations

import json
import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pipeline.preview import shown
from pipeline.serve import running
from tests.web.conftest import MODULES, NO_MODULES
from tests.web.demo_site import ITEMS

SCRIPT = Path(__file__).parent / "read_manifest.mjs"


@pytest.fixture(scope="module")
def node() -> str:
    program = shutil.which("node")
    if program is None:
        pytest.skip("there is no node on this machine: apt-get install nodejs npm")
    if not (MODULES / "@iiif/parser").is_dir():
        pytest.skip(NO_MODULES)
    return program


@pytest.fixture(scope="module")
def previewed(node: str, demo: Path) -> Iterator[str]:
    """The address of the bundles, whose documents are sent with the address that they are asked at."""
    with shown(demo / "bundles") as content, running(content.site, port=0, clock=time.time) as server:
        yield server.url


def read(node: str, *manifests: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [node, str(SCRIPT), *manifests], capture_output=True, text=True, check=False, timeout=60
    )


@pytest.fixture(scope="module")
def found(node: str, previewed: str) -> list[dict[str, Any]]:
    done = read(node, *(f"{previewed}/iiif/{item}/manifest.json" for item in ITEMS))
    assert done.returncode == 0, done.stderr
    document: list[dict[str, Any]] = json.loads(done.stdout)
    return document


def test_a_client_reads_every_manifest_without_a_warning(found: list[dict[str, Any]]) -> None:
    assert [each["id"].split("/")[-2] for each in found] == list(ITEMS)
    assert [each["warnings"] for each in found] == [[], [], []]


def test_a_client_lists_every_canvas(found: list[dict[str, Any]], demo: Path) -> None:
    for each, item in zip(found, ITEMS, strict=True):
        manifest = demo / f"bundles/{item}-publication/data/iiif/{item}/manifest.json"
        assert len(each["canvases"]) == len(json.loads(manifest.read_bytes())["items"])


def test_a_client_resolves_every_image_service_and_its_sizes(found: list[dict[str, Any]], demo: Path) -> None:
    for each, item in zip(found, ITEMS, strict=True):
        folder = demo / f"bundles/{item}-publication/data/iiif/{item}"
        assert len(each["services"]) == len(list(folder.glob("*/info.json")))
        for service in each["services"]:
            assert service["isLevel0"]
            assert service["isNamedAlike"]
            assert len(service["images"]) >= 2
            assert {image["status"] for image in service["images"]} == {200}, service
            assert {image["type"] for image in service["images"]} == {"image/jpeg"}
            assert all(image["bytes"] > 500 for image in service["images"])


def test_a_service_that_is_not_there_fails_the_client(node: str, previewed: str) -> None:
    done = read(node, f"{previewed}/iiif/nothing/manifest.json")
    assert done.returncode != 0
    assert "404" in done.stderr
