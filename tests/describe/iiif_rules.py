"""What a good manifest is, said a second time and from the other side: by looking at the JSON alone.

Rules of the Presentation API 3.0 that no JSON schema states, and the promises that a manifest of ours makes
on top. Written without the code that makes manifests.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

Json = Any

CONTEXT = "http://iiif.io/api/presentation/3/context.json"
PHYSDIM = "http://iiif.io/api/annex/services/physdim"
CANVAS_BEHAVIORS = {"facing-pages", "non-paged"}
LAYOUTS = {"unordered", "individuals", "continuous", "paged"}
RIGHTS = re.compile(r"http://(creativecommons\.org/(licenses|publicdomain)|rightsstatements\.org/vocab)/\S+/")
RECTO = re.compile(r"(f\. \w+ ?r|p\. \d*[13579]|front cover|back pastedown)( \(.*\))?", re.IGNORECASE)
VERSO = re.compile(r"(f\. \w+ ?v|p\. \d*[02468]|back cover|front pastedown)( \(.*\))?", re.IGNORECASE)


def faults(manifest: Json, files: Mapping[str, tuple[int, int] | None]) -> Iterator[str]:
    """Yield what is wrong with a manifest.

    `files` are the URLs of everything that will be published, with the pixel size of each image.
    """
    yield from _document(manifest)
    yield from _identifiers(manifest)
    yield from _texts(manifest)
    yield from _behaviors(manifest)
    yield from _references(manifest)
    for canvas in manifest["items"]:
        yield from _canvas(canvas, files)
    yield from _links(manifest, files)
    if manifest["behavior"] == ["paged"]:
        yield from _sides(manifest)


def _document(manifest: Json) -> Iterator[str]:
    if next(iter(manifest)) != "@context" or manifest["@context"] != CONTEXT:
        yield "the context is not the first key"
    if "rights" in manifest and not RIGHTS.fullmatch(manifest["rights"]):
        yield f"rights {manifest['rights']}"
    for path, value in _walk(manifest):
        key = path[-1] if path else ""
        if key == "@context" and len(path) > 1 and "physdim" not in value:
            yield f"a second context at {path}"
        if isinstance(key, str) and key.startswith("@") and key != "@context":
            yield f"{key} at {path}"
        if value in ([], {}, "", None) and key != "items":
            yield f"nothing at {path}"
        if value == [] and key == "items" and _at(manifest, path[:-1])["type"] != "Canvas":
            yield f"no items at {path}"


def _identifiers(manifest: Json) -> Iterator[str]:
    own = ("Canvas", "Range", "AnnotationPage", "Annotation", "Manifest", "Service")
    ids = [value["id"] for _, value in _walk(manifest) if _is_whole(value) and value["type"] in own]
    yield from (f"{each} is there {count} times" for each, count in Counter(ids).items() if count > 1)
    for _, value in _walk(manifest):
        if isinstance(value, dict) and "id" in value and not value["id"].startswith(("http://", "https://")):
            yield f"id {value['id']}"
    for each in ids:
        if "#" in each or "?" in each or not re.fullmatch(r"[!-~]+", each):
            yield f"{each} is not a plain URI"


def _is_whole(value: Json) -> bool:
    """False for a reference to a canvas."""
    return isinstance(value, dict) and "id" in value and set(value) != {"id", "type"}


def _texts(manifest: Json) -> Iterator[str]:
    for path, value in _walk(manifest):
        if path and path[-1] in ("label", "summary") and not _is_language_map(value):
            yield f"no language map at {path}: {value}"
        if len(path) > 1 and path[-1] == "value" and not _is_language_map(value):
            yield f"no language map at {path}: {value}"


def _is_language_map(value: Json) -> bool:
    return bool(value) and all(
        re.fullmatch(r"[A-Za-z]+(-[A-Za-z0-9]+)*", tag) and texts and all(isinstance(t, str) for t in texts)
        for tag, texts in value.items()
    )


def _behaviors(manifest: Json) -> Iterator[str]:
    if len(set(manifest["behavior"]) & LAYOUTS) != 1 or len(manifest["behavior"]) != 1:
        yield f"manifest is {manifest['behavior']}"
    for canvas in manifest["items"]:
        behavior = canvas.get("behavior", [])
        if len(behavior) > 1 or not set(behavior) <= CANVAS_BEHAVIORS:
            yield f"canvas is {behavior}"
        if behavior and manifest["behavior"] != ["paged"]:
            yield f"{behavior} in a manifest that is not paged"
    for _, value in _walk(manifest.get("structures", [])):
        is_range = isinstance(value, dict) and value.get("type") == "Range"
        if is_range and not set(value.get("behavior", ())) <= {"continuous"}:
            yield f"range is {value['behavior']}"


def _references(manifest: Json) -> Iterator[str]:
    canvases = {canvas["id"] for canvas in manifest["items"]}
    for path, value in _walk(manifest.get("structures", [])):
        if isinstance(value, dict) and value.get("type") == "Canvas" and value["id"] not in canvases:
            yield f"range item {value['id']} at {path} is no canvas"
    if "start" in manifest and manifest["start"]["id"] not in canvases:
        yield f"start {manifest['start']} is no canvas"
    for canvas in manifest["items"]:
        for page in canvas["items"]:
            for annotation in page["items"]:
                if annotation["target"] != canvas["id"] or annotation["motivation"] != "painting":
                    yield f"{annotation['id']} is not painted on its canvas"


def _canvas(canvas: Json, files: Mapping[str, tuple[int, int] | None]) -> Iterator[str]:
    if not all(isinstance(canvas[side], int) and canvas[side] > 0 for side in ("width", "height")):
        yield f"{canvas['id']} has no size"
    for service in canvas.get("service", []):
        if service["profile"] != PHYSDIM or service["physicalUnits"] != "mm" or service["physicalScale"] <= 0:
            yield f"{service}"
    bodies = [each["body"] for page in canvas["items"] for each in page["items"]]
    options = [option for body in bodies for option in body.get("items", [body])]
    if not options and "thumbnail" in canvas:
        yield f"{canvas['id']} is empty and has a thumbnail"
    if len({str(option.get("label")) for option in options}) != len(options):
        yield f"{canvas['id']} offers a choice without telling what of"
    for image in [*options, *canvas.get("thumbnail", []), *_thumbnails(options)]:
        yield from _image(image, files)
    for image in options:
        off = abs(canvas["width"] * image["height"] - canvas["height"] * image["width"])
        slack = 0.011 * canvas["width"] * image["height"] + canvas["width"] + image["height"]
        if off > slack:
            yield f"{image['id']} is distorted on {canvas['id']}"


def _thumbnails(options: list[Json]) -> Iterator[Json]:
    for option in options:
        yield from option.get("thumbnail", [])


def _image(image: Json, files: Mapping[str, tuple[int, int] | None]) -> Iterator[str]:
    if image["id"] not in files:
        yield f"{image['id']} will not be there"
    elif files[image["id"]] != (image["width"], image["height"]):
        yield f"{image['id']} is {files[image['id']]}, not {image['width']} × {image['height']}"
    for service in image.get("service", []):
        if f"{service['id']}/info.json" not in files:
            yield f"{service['id']} will not be there"
        for size in service.get("sizes", []):
            if f"{service['id']}/full/{size['width']},{size['height']}/0/default.jpg" not in files:
                yield f"{service['id']} has no size {size}"


def _links(manifest: Json, files: Mapping[str, tuple[int, int] | None]) -> Iterator[str]:
    renderings = [each for canvas in manifest["items"] for each in canvas.get("rendering", [])]
    for linked in [*manifest["seeAlso"], *renderings]:
        if linked["id"] not in files:
            yield f"{linked['id']} will not be there"
        if not linked["label"] or not linked["format"]:
            yield f"{linked} is not labelled"
    for image in manifest.get("thumbnail", []):
        yield from _image(image, files)


def _sides(manifest: Json) -> Iterator[str]:
    """Rectos stand on odd places; an opening that was taken whole stands for two."""
    place = 1
    for canvas in manifest["items"]:
        label = next(iter(canvas["label"].values()))[0]
        if canvas.get("behavior") == ["non-paged"]:
            continue
        if canvas.get("behavior") == ["facing-pages"]:
            place = 2
            continue
        if (VERSO if place % 2 else RECTO).fullmatch(label):
            yield f"{label} stands on place {place}"
        place += 1


def _walk(value: Json, path: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], Json]]:
    waiting = [(path, value)]
    while waiting:
        path, value = waiting.pop()
        yield path, value
        if isinstance(value, dict):
            waiting += [((*path, key), each) for key, each in value.items()]
        elif isinstance(value, list):
            waiting += [((*path, index), each) for index, each in enumerate(value)]


def _at(value: Json, path: tuple[str | int, ...]) -> Json:
    for part in path:
        value = value[part]
    return value
