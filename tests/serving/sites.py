"""A small site with everything that a server can get wrong, made from next to nothing."""

from __future__ import annotations

import json
from pathlib import Path

from tests import make

LONG = "Calendar and herbal of the Aldermoor garden. " * 60
"""More than any server takes for too small to be compressed."""

TILE = "iiif/adl-ms-7/ms7_0005/0,512,512,268/512,268/0/default.jpg"
LINKED_TILE = "iiif/adl-pap-3/pap3_0001/full/max/0/default.jpg"
STYLE = "assets/pages.0123456789abcdef.css"

TEXTS = {
    "index.html": f"<!doctype html><title>Aldermoor Library</title><p>{LONG}",
    "items/adl-ms-7/index.html": f"<!doctype html><title>MS 7 – herbal</title><p>{LONG}",
    "items/adl-gone-1/index.html": f"<!doctype html><title>Withdrawn: MS 9 – letters</title><p>{LONG}",
    "items/adl-gone-1/removed.txt": "2026-03-10\n",
    "iiif/adl-ms-7/manifest.json": json.dumps({"type": "Manifest", "summary": {"en": [LONG]}}),
    "iiif/adl-ms-7/ms7_0005/info.json": json.dumps({"type": "ImageService3", "sizes": [LONG]}),
    "iiif/adl-vols/collection.json": json.dumps({"type": "Collection", "summary": {"en": [LONG]}}),
    "collections/all.json": json.dumps({"type": "Collection", "summary": {"en": [LONG]}}),
    "changes/1.json": json.dumps({"type": "OrderedCollectionPage", "summary": LONG}),
    "metadata/adl-ms-7/mods.xml": f"<mods><note>{LONG}</note></mods>",
    "metadata/adl-ms-7/notes.json": json.dumps({"note": LONG}),
    "sitemap.xml": f"<urlset><!-- {LONG} --></urlset>",
    "robots.txt": "User-agent: *\n" + "Allow: /\n" * 200,
    STYLE: "body { margin: 0 }\n" * 100,
    "assets/viewer.fedcba9876543210.js": "'use strict';\n" * 100,
    "assets/plain.css": "body { margin: 0 }\n" * 100,
    ".solander/site.json": '{"secret": true}',
    "iiif/adl-ms-7/.hidden.json": '{"secret": true}',
    "metadata/plain-folder/a.txt": "a",
}


def write(folder: Path) -> Path:
    """Write the site, readable for whoever serves it; returns the folder."""
    for path, text in TEXTS.items():
        _place(folder, path).write_text(text, encoding="utf-8")
    make.jpeg(_place(folder, TILE))
    home = ".solander/items/adl-pap-3"
    linked = make.jpeg(_place(folder, f"{home}/1/{LINKED_TILE}"))
    (folder / home / "current").symlink_to("1")
    (folder / "iiif/adl-pap-3").symlink_to(f"../{home}/current/iiif/adl-pap-3")
    assert linked.read_bytes() == (folder / LINKED_TILE).read_bytes()
    _place(folder, "access/adl-ms-7/ms7_0005.jpg").write_bytes(bytes(range(256)) * 2048)
    _place(folder, "access/adl-ms-7/ms7_0005.webp").write_bytes(b"RIFF\0\0\0\0WEBP")
    _place(folder, "items/adl-ms-7/adl-ms-7.pdf").write_bytes(b"%PDF-1.7\n")
    return folder


def set_address(folder: Path, base_url: str) -> None:
    """Write the manifest as it is for a site that is public at `base_url`."""
    manifest = folder / "iiif/adl-ms-7/manifest.json"
    document = json.loads(manifest.read_text(encoding="utf-8"))
    address = {"id": f"{base_url}/iiif/adl-ms-7/manifest.json"}
    manifest.write_text(json.dumps(document | address), encoding="utf-8")


def _place(folder: Path, path: str) -> Path:
    place = folder / path
    place.parent.mkdir(parents=True, exist_ok=True)
    return place
