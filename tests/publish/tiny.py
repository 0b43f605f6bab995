"""Publication bundles of tiny items, and what a reader sees of a site."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from pipeline import containers
from pipeline.model import LanguageMap
from pipeline.publish import Done, Publisher, opened

BUNDLE_URL = "http://localhost:8000"
BASE_URL = "https://books.example.org/library"
TITLE = LanguageMap.of("Aldermoor Library", "en")
NOW = dt.datetime(2026, 3, 10, 9, tzinfo=dt.UTC)


def clock() -> dt.datetime:
    return NOW


def bundle(
    folder: Path,
    item: str = "ms-1",
    *,
    views: int = 1,
    picture: bytes = b"picture",
    base_url: str = BUNDLE_URL,
    volumes: tuple[str, ...] = (),
) -> Path:
    """Write the publication bundle of an item; its pictures are not images, for nobody decodes them."""
    made = folder / f"{item}-publication"
    payload: dict[str, bytes] = {}
    for number in range(1, views + 1):
        frame = f"f{number:03}"
        service = f"iiif/{item}/{frame}"
        payload[f"{service}/info.json"] = _json(
            {"id": f"{base_url}/{service}", "type": "ImageService3", "width": 64, "height": 48}
        )
        payload[f"{service}/full/max/0/default.jpg"] = picture
        payload[f"{service}/full/32,24/0/default.jpg"] = picture
        payload[f"access/{item}/{frame}.jpg"] = picture
    manifest = _manifest(item, views, base_url, picture)
    if volumes:
        collection = _collection(base_url, volumes)
        manifest["partOf"] = [{key: collection[key] for key in ("id", "type", "label")}]
        payload["iiif/volumes/collection.json"] = _json(collection)
    payload[f"iiif/{item}/manifest.json"] = _json(manifest)
    payload[f"metadata/{item}/mods.xml"] = (
        f'<mods xmlns="http://www.loc.gov/mods/v3"><url>{base_url}/iiif/{item}/manifest.json</url></mods>\n'
    ).encode()
    for path, data in payload.items():
        place = made / "data" / path
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(data)
    lines = [f"{hashlib.sha256(data).hexdigest()}  data/{path}\n" for path, data in sorted(payload.items())]
    (made / "manifest-sha256.txt").write_text("".join(lines))
    (made / "bagit.txt").write_text("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    return made


def _json(document: object) -> bytes:
    return json.dumps(document).encode()


def _manifest(item: str, views: int, base_url: str, picture: bytes) -> dict[str, Any]:
    folder = f"{base_url}/iiif/{item}"
    return {
        "@context": "http://iiif.io/api/presentation/3/context.json",
        "id": f"{folder}/manifest.json",
        "type": "Manifest",
        "label": {"en": [f"Item {item}"]},
        "summary": {"en": [f"A tiny item. {picture.decode()}"]},
        "metadata": [{"label": {"en": ["Date"]}, "value": {"none": ["c. 1380"]}}],
        "thumbnail": [
            {"id": f"{folder}/f001/full/32,24/0/default.jpg", "type": "Image", "width": 32, "height": 24}
        ],
        "items": [_canvas(folder, f"f{number:03}") for number in range(1, views + 1)],
    }


def _canvas(folder: str, frame: str) -> dict[str, Any]:
    canvas = f"{folder}/canvas/{frame}"
    body = {
        "id": f"{folder}/{frame}/full/max/0/default.jpg",
        "type": "Image",
        "format": "image/jpeg",
        "width": 64,
        "height": 48,
        "service": [{"id": f"{folder}/{frame}", "type": "ImageService3", "profile": "level0"}],
    }
    painting = {
        "id": f"{canvas}/page/painting",
        "type": "Annotation",
        "motivation": "painting",
        "target": canvas,
        "body": body,
    }
    page = {"id": f"{canvas}/page", "type": "AnnotationPage", "items": [painting]}
    label = {"none": [frame]}
    return {"id": canvas, "type": "Canvas", "label": label, "height": 48, "width": 64, "items": [page]}


def _collection(base_url: str, volumes: tuple[str, ...]) -> dict[str, Any]:
    return {
        "@context": "http://iiif.io/api/presentation/3/context.json",
        "id": f"{base_url}/iiif/volumes/collection.json",
        "type": "Collection",
        "label": {"en": ["All volumes"]},
        "behavior": ["multi-part"],
        "items": [
            {
                "id": f"{base_url}/iiif/{each}/manifest.json",
                "type": "Manifest",
                "label": {"en": [f"Volume {each}"]},
            }
            for each in volumes
        ],
    }


# ---------------------------------------------------------------------------------------- publishing


@contextmanager
def site(folder: Path, base_url: str = BASE_URL) -> Iterator[Publisher]:
    with opened(folder, base_url, TITLE, clock) as publisher:
        yield publisher


def put(publisher: Publisher, made: Path) -> Done:
    """Publish a bundle without verifying it."""
    with containers.opened(made) as container:
        return publisher.publish(made, container, publisher.plan(container))


def publish(folder: Path, *bundles: Path) -> list[Done]:
    with site(folder) as publisher:
        return [put(publisher, each) for each in bundles]


# ------------------------------------------------------------------------------------------- reading


def served(folder: Path) -> dict[str, bytes]:
    """Every file that a web server gives out, by the path of its URL."""
    found = {}
    for path in _walk(folder):
        found[path.relative_to(folder).as_posix()] = path.read_bytes()
    return found


def _walk(folder: Path) -> Iterator[Path]:
    for path in sorted(folder.iterdir()):
        if path.name.startswith("."):
            continue
        if path.is_dir():
            yield from _walk(path)
        else:
            yield path


def kept(folder: Path) -> dict[str, bytes | str]:
    """Every byte of a site's folder, what is not served and where links lead as well; its lock left out."""
    found: dict[str, bytes | str] = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_symlink():
            found[name] = str(path.readlink())
        elif path.is_file() and path.name != ".lock":
            found[name] = path.read_bytes()
        elif path.is_dir():
            found[name] = "folder"
    return found


def document(folder: Path, path: str) -> Any:
    return json.loads((folder / path).read_bytes())
