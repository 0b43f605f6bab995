"""A site that was copied to object storage as the docs say, fetched over HTTP as readers would."""

from __future__ import annotations

import gzip
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from pipeline.specs import http as http_spec
from tests import object_storage
from tests.serving import sites
from tests.serving.servers import CONFIGURATIONS, Server

SCRIPT = CONFIGURATIONS / "to_object_storage.py"
BUCKET = "aldermoor-images"


def _copy(endpoint: str, site: Path, *options: str) -> str:
    command = [sys.executable, str(SCRIPT), str(site), BUCKET, *options]
    environment = os.environ | object_storage.environment(endpoint)
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def storage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Server, str]]:
    site = sites.write(tmp_path_factory.mktemp("site"))
    with object_storage.serving() as endpoint:
        object_storage.create_bucket(endpoint, BUCKET)
        policy = (CONFIGURATIONS / "public-read.json").read_bytes()
        assert f":{BUCKET}/*".encode() in policy
        object_storage.ask(endpoint, "PUT", f"/{BUCKET}?policy", policy)
        assert _copy(endpoint, site) == ""
        yield Server(name="object storage", port=urlsplit(endpoint).port or 0, folder=site), endpoint


def test_every_public_file_is_there_as_browsers_need_it(storage: tuple[Server, str]) -> None:
    server, _ = storage
    for path, kept, media_type in [
        ("index.html", http_spec.REVALIDATE, "text/html; charset=utf-8"),
        ("iiif/adl-ms-7/manifest.json", http_spec.REVALIDATE, http_spec.linked_data(_PRESENTATION)),
        ("metadata/adl-ms-7/mods.xml", http_spec.REVALIDATE, "application/xml"),
        (sites.STYLE, http_spec.IMMUTABLE, "text/css; charset=utf-8"),
        (sites.TILE, "public, max-age=3600", "image/jpeg"),
        (sites.LINKED_TILE, "public, max-age=3600", "image/jpeg"),
    ]:
        answer = server.ask(f"/{BUCKET}/{path}")
        assert answer.status == 200
        assert answer.fields["content-type"] == media_type
        assert answer.fields["cache-control"] == kept
        is_packed = answer.fields.get("content-encoding") == "gzip"
        assert is_packed == http_spec.is_text(media_type)
        data = gzip.decompress(answer.body) if is_packed else answer.body
        assert data == (server.folder / path).read_bytes()


_PRESENTATION = "http://iiif.io/api/presentation/3/context.json"


def test_the_sites_own_record_stays_at_home(storage: tuple[Server, str]) -> None:
    server, endpoint = storage
    assert server.ask(f"/{BUCKET}/.solander/site.json").status == 404
    listed = object_storage.ask(endpoint, "GET", f"/{BUCKET}?list-type=2").decode()
    assert sites.TILE in listed
    assert "/." not in listed
    assert "<Key>." not in listed


def test_ranges_of_large_files_can_be_had(storage: tuple[Server, str]) -> None:
    answer = storage[0].ask(f"/{BUCKET}/access/adl-ms-7/ms7_0005.jpg", Range="bytes=256-259")
    assert answer.status == 206
    assert answer.body == b"\0\1\2\3"


def test_what_the_site_has_no_longer_is_told_and_removed_on_request(storage: tuple[Server, str]) -> None:
    server, endpoint = storage
    object_storage.ask(endpoint, "PUT", f"/{BUCKET}/items/gone/index.html", b"old")
    assert _copy(endpoint, server.folder) == f"too much {BUCKET}/items/gone/index.html\n"
    assert _copy(endpoint, server.folder, "--remove") == f"removed {BUCKET}/items/gone/index.html\n"
    assert server.ask(f"/{BUCKET}/items/gone/index.html").status == 404
    assert server.ask(f"/{BUCKET}/index.html").status == 200


def test_the_documented_rule_for_other_sites_is_taken_and_says_what_the_other_servers_say(
    storage: tuple[Server, str],
) -> None:
    _, endpoint = storage
    rule = json.loads((CONFIGURATIONS / "cors.json").read_text(encoding="utf-8"))["CORSRules"][0]
    names = {"AllowedOrigins": "AllowedOrigin", "AllowedMethods": "AllowedMethod"}
    names |= {"AllowedHeaders": "AllowedHeader", "ExposeHeaders": "ExposeHeader"}
    parts = "".join(f"<{names[key]}>{each}</{names[key]}>" for key in names for each in rule[key])
    age = f"<MaxAgeSeconds>{rule['MaxAgeSeconds']}</MaxAgeSeconds>"
    document = f"<CORSConfiguration><CORSRule>{parts}{age}</CORSRule></CORSConfiguration>"
    object_storage.ask(endpoint, "PUT", f"/{BUCKET}?cors", document.encode())
    assert b"<AllowedOrigin>*</AllowedOrigin>" in object_storage.ask(endpoint, "GET", f"/{BUCKET}?cors")
    assert rule["ExposeHeaders"] == dict(http_spec.CORS_FIELDS)["Access-Control-Expose-Headers"].split(", ")
    assert str(rule["MaxAgeSeconds"]) == dict(http_spec.PREFLIGHT_FIELDS)["Access-Control-Max-Age"]
