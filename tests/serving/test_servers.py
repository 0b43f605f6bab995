"""Every web server of the docs, and our preview, answer a small site alike where readers would notice."""

from __future__ import annotations

import gzip
import http.client

import pytest

from pipeline.specs import http as http_spec
from tests.serving import servers, sites
from tests.serving.servers import Server

IMAGE = 'application/ld+json;profile="http://iiif.io/api/image/3/context.json"'
PRESENTATION = 'application/ld+json;profile="http://iiif.io/api/presentation/3/context.json"'
DISCOVERY = 'application/ld+json;profile="http://iiif.io/api/discovery/1/context.json"'

PHOTOGRAPH = "/access/adl-ms-7/ms7_0005.jpg"
MANIFEST = "/iiif/adl-ms-7/manifest.json"


# ------------------------------------------------------------------------------------------ media types


@pytest.mark.parametrize(
    ("path", "media_type"),
    [
        ("/", "text/html; charset=utf-8"),
        ("/items/adl-ms-7/", "text/html; charset=utf-8"),
        ("/items/adl-ms-7/adl-ms-7.pdf", "application/pdf"),
        (MANIFEST, PRESENTATION),
        ("/iiif/adl-vols/collection.json", PRESENTATION),
        ("/collections/all.json", PRESENTATION),
        ("/changes/1.json", DISCOVERY),
        ("/iiif/adl-ms-7/ms7_0005/info.json", IMAGE),
        ("/metadata/adl-ms-7/notes.json", "application/json"),
        ("/metadata/adl-ms-7/mods.xml", "application/xml"),
        ("/sitemap.xml", "application/xml"),
        ("/robots.txt", "text/plain; charset=utf-8"),
        (f"/{sites.STYLE}", "text/css; charset=utf-8"),
        ("/assets/viewer.fedcba9876543210.js", "text/javascript; charset=utf-8"),
        (f"/{sites.TILE}", "image/jpeg"),
        ("/access/adl-ms-7/ms7_0005.webp", "image/webp"),
    ],
)
def test_media_types_are_those_of_the_standards(server: Server, path: str, media_type: str) -> None:
    answer = server.ask(path)
    assert answer.status == 200
    assert answer.fields["content-type"] == media_type
    assert answer.fields["x-content-type-options"] == "nosniff"
    file = server.folder / (f"{path[1:]}index.html" if path.endswith("/") else path[1:])
    assert answer.body == file.read_bytes()


# ------------------------------------------------------------------------------------- files and names


@pytest.mark.parametrize("path", [sites.TILE, sites.TILE.replace(",", "%2C"), sites.LINKED_TILE])
def test_tiles_are_found_by_names_with_commas_and_by_links_inside_the_site(server: Server, path: str) -> None:
    answer = server.ask(f"/{path}")
    assert answer.status == 200
    assert answer.body.startswith(b"\xff\xd8\xff")


@pytest.mark.parametrize(
    "path",
    [
        "/.solander/site.json",
        "/%2esolander/site.json",
        "/.solander/",
        "/.solander",
        "/iiif/adl-ms-7/.hidden.json",
        "/iiif/../.solander/site.json",
        "/iiif/%2e%2e/.solander/site.json",
        f"/.solander/items/adl-pap-3/1/{sites.LINKED_TILE}",
        "/iiif/adl-ms-7/../../../../../../etc/passwd",
        "/..%2f..%2f..%2fetc/passwd",
        "/%2e%2e/%2e%2e/etc/passwd",
        "/iiif//../../../etc/passwd",
        "/..%5c..%5cetc/passwd",
        "//etc/passwd",
    ],
)
def test_names_with_a_dot_in_front_and_ways_out_are_refused(server: Server, path: str) -> None:
    answer = server.ask(path)
    assert answer.status in (400, 403, 404)
    assert b"secret" not in answer.body
    assert b"root:" not in answer.body


def test_a_missing_tile_is_not_found_and_clients_elsewhere_can_read_that(server: Server) -> None:
    answer = server.ask(
        "/iiif/adl-ms-7/ms7_0005/9999,0,1,1/1,1/0/default.jpg", Origin="https://other.example"
    )
    assert answer.status == 404
    assert answer.fields["access-control-allow-origin"] == "*"
    assert "immutable" not in answer.fields.get("cache-control", "")


def test_a_folder_without_a_page_is_not_listed(server: Server) -> None:
    answer = server.ask("/metadata/plain-folder/")
    assert answer.status in (403, 404)
    assert b"a.txt" not in answer.body


def test_the_page_of_a_removed_item_is_gone_and_can_be_read(server: Server) -> None:
    """410: RFC 9110, section 15.5.11. It may be kept unless that is forbidden, and the item may come back."""
    answer = server.ask("/items/adl-gone-1/")
    assert answer.status == 410
    assert answer.body == (server.folder / "items/adl-gone-1/index.html").read_bytes()
    assert answer.fields["content-type"] == "text/html; charset=utf-8"
    assert answer.fields["cache-control"] == http_spec.REVALIDATE
    assert answer.fields["access-control-allow-origin"] == "*"
    head = server.ask("/items/adl-gone-1/", "HEAD")
    assert (head.status, head.body) == (410, b"")


def test_a_folder_without_its_slash_leads_to_its_page(server: Server) -> None:
    answer = server.ask("/items/adl-ms-7")
    assert answer.status in (301, 302, 307, 308)
    assert answer.fields["location"].endswith("/items/adl-ms-7/")


# ------------------------------------------------------------------------------------- other web sites


@pytest.mark.parametrize("path", [MANIFEST, f"/{sites.TILE}", "/iiif/adl-ms-7/ms7_0005/info.json"])
def test_clients_on_other_sites_may_read_everything(server: Server, path: str) -> None:
    answer = server.ask(path, Origin="https://other.example")
    assert answer.fields["access-control-allow-origin"] == "*"
    assert "Content-Range" in answer.fields["access-control-expose-headers"]


def test_clients_on_other_sites_may_ask_for_ranges(server: Server) -> None:
    answer = server.ask(
        PHOTOGRAPH,
        "OPTIONS",
        Origin="https://other.example",
        Access_Control_Request_Method="GET",
        Access_Control_Request_Headers="range",
    )
    assert answer.status in (200, 204)
    assert answer.fields["access-control-allow-origin"] == "*"
    assert "GET" in answer.fields["access-control-allow-methods"]
    assert "Range" in answer.fields["access-control-allow-headers"].split(", ")


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "TRACE"])
def test_nothing_can_be_written(server: Server, method: str) -> None:
    assert server.ask(PHOTOGRAPH, method, Content_Length="0").status in (403, 405)
    assert (server.folder / PHOTOGRAPH[1:]).stat().st_size == 512 << 10


# ------------------------------------------------------------------------------------------- HTTP itself


@pytest.mark.parametrize("server", servers.PLAIN, indirect=True)
def test_many_requests_share_a_connection(server: Server) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=20)
    try:
        connection.connect()
        first = connection.sock
        for path in (MANIFEST, f"/{sites.TILE}", "/nothing-here", f"/{sites.TILE}"):
            servers.ask(connection, path)
            assert connection.sock is first
    finally:
        connection.close()


@pytest.mark.parametrize("path", ["/", MANIFEST, PHOTOGRAPH])
def test_head_gives_the_head_alone(server: Server, path: str) -> None:
    whole, head = server.ask(path), server.ask(path, "HEAD")
    assert head.status == 200
    assert head.body == b""
    for name in ("content-type", "content-length", "etag", "cache-control"):
        assert head.fields.get(name) == whole.fields.get(name)


@pytest.mark.parametrize(
    ("wanted", "first", "last"),
    [
        ("bytes=0-99", 0, 99),
        ("bytes=1000-", 1000, (512 << 10) - 1),
        ("bytes=-7", (512 << 10) - 7, (512 << 10) - 1),
    ],
)
def test_ranges_give_the_part_that_is_wanted(server: Server, wanted: str, first: int, last: int) -> None:
    whole = (server.folder / PHOTOGRAPH[1:]).read_bytes()
    answer = server.ask(PHOTOGRAPH, Range=wanted)
    assert answer.status == 206
    assert answer.fields["content-range"] == f"bytes {first}-{last}/{len(whole)}"
    assert answer.body == whole[first : last + 1]


def test_a_range_beyond_the_end_is_refused_with_the_size(server: Server) -> None:
    answer = server.ask(PHOTOGRAPH, Range="bytes=524288-")
    assert answer.status == 416
    if server.name != "apache":  # it does not say what RFC 9110, section 14.4, only recommends
        assert answer.fields["content-range"] == "bytes */524288"


def test_a_part_of_something_else_is_not_given(server: Server) -> None:
    answer = server.ask(PHOTOGRAPH, Range="bytes=0-99", If_Range='"another"')
    assert answer.status == 200
    assert len(answer.body) == 512 << 10


@pytest.mark.parametrize(
    "path", ["/", MANIFEST, f"/{sites.TILE}", f"/{sites.LINKED_TILE}", f"/{sites.STYLE}"]
)
@pytest.mark.parametrize("coding", ["identity", "gzip"])
def test_what_a_reader_has_is_not_sent_again(server: Server, path: str, coding: str) -> None:
    first = server.ask(path, Accept_Encoding=coding)
    for fields in (
        {"If_None_Match": first.fields["etag"]},
        {"If_None_Match": f'"another", {first.fields["etag"]}'},
        {"If_Modified_Since": first.fields["last-modified"]},
    ):
        again = server.ask(path, Accept_Encoding=coding, **fields)
        assert again.status == 304
        assert again.body == b""
        assert again.fields["access-control-allow-origin"] == "*"
        assert again.fields["cache-control"] == first.fields["cache-control"]
    assert server.ask(path, Accept_Encoding=coding, If_None_Match='"another"').status == 200


@pytest.mark.parametrize(
    "path",
    [
        "/",
        MANIFEST,
        "/iiif/adl-ms-7/ms7_0005/info.json",
        "/changes/1.json",
        "/metadata/adl-ms-7/notes.json",
        "/sitemap.xml",
        f"/{sites.STYLE}",
        "/assets/viewer.fedcba9876543210.js",
    ],
)
def test_texts_are_sent_compressed_to_who_takes_that(server: Server, path: str) -> None:
    plain, packed = server.ask(path), server.ask(path, Accept_Encoding="gzip, deflate, br")
    assert "content-encoding" not in plain.fields
    assert packed.fields["content-encoding"] == "gzip"
    assert "Accept-Encoding" in packed.fields["vary"]
    assert packed.fields["content-type"] == plain.fields["content-type"]
    assert gzip.decompress(packed.body) == plain.body
    assert len(packed.body) < len(plain.body) / 2


@pytest.mark.parametrize("path", [f"/{sites.TILE}", PHOTOGRAPH])
def test_images_are_not_compressed_again(server: Server, path: str) -> None:
    answer = server.ask(path, Accept_Encoding="gzip")
    assert "content-encoding" not in answer.fields
    assert answer.fields["accept-ranges"] == "bytes"


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        (f"/{sites.STYLE}", http_spec.IMMUTABLE),
        ("/assets/plain.css", http_spec.REVALIDATE),
        ("/", http_spec.REVALIDATE),
        (MANIFEST, http_spec.REVALIDATE),
    ],
)
def test_only_what_has_its_digest_in_its_name_is_kept_for_ever(
    server: Server, path: str, expected: str
) -> None:
    assert server.ask(path).fields["cache-control"] == expected


def test_a_tile_may_be_kept_for_an_hour_but_not_in_a_preview(server: Server) -> None:
    expected = http_spec.REVALIDATE if server.name == "preview" else "public, max-age=3600"
    assert server.ask(f"/{sites.TILE}").fields["cache-control"] == expected
