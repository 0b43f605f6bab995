"""What a publication bundle holds for a site, read from what it comes in."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

from pipeline import containers, jsondoc, layout
from pipeline.containers import Container
from pipeline.errors import InputError
from pipeline.files import is_safe_name, visible
from pipeline.publish.rewriting import base_url_of
from pipeline.specs import bagit, presentation

MOST_BYTES = 256 << 20
"""Of a document that is read whole."""

_MANIFEST = re.compile(rf"{bagit.PAYLOAD}/iiif/([^/]+)/manifest\.json")
_COLLECTION = re.compile(rf"{bagit.PAYLOAD}/iiif/([^/]+)/collection\.json")
_DECLARATION = re.compile(rf"[^/]+/{re.escape(bagit.DECLARATION_FILE)}")
_FOLDERS = ("iiif", "access", "metadata", "images")
_SUFFIXES = presentation.MEDIA_TYPES.keys() - {".html", ".svg"}
"""Files that are published; what a browser would run on the site's own address is not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """One item as its bundle has it."""

    item: str
    base_url: str
    """That it was described for."""
    manifest: dict[str, Any]
    files: Mapping[PurePosixPath, str]
    """What is served, by its path below the base URL, with its path in the bundle; the manifest left out."""
    size_bytes: int
    """Of what is served."""
    left_out: tuple[str, ...]
    """Paths of the payload that a site has no place for."""
    checksums: bytes
    """The bag's payload manifest: equal for equal payloads."""
    volume_set: str
    collection: dict[str, Any] | None
    """The collection of the volumes that the item is one of, as the bundle has it."""

    @property
    def digest(self) -> str:
        """A digest of the payload."""
        return hashlib.sha256(self.checksums).hexdigest()


def glanced_at(container: Container) -> tuple[str, str]:
    """Return the item of a publication bundle and a digest of its payload. Raises InputError if it is none.

    Reads the bag's payload manifest alone.
    """
    return _item(container), hashlib.sha256(_checksums(container)).hexdigest()


def read(container: Container) -> Contents:
    """Return what a publication bundle holds for a site. Raises InputError if it is none."""
    item = _item(container)
    manifest = _document(container, f"{bagit.PAYLOAD}/{layout.manifest_path(item)}")
    volume_set, collection = _volume_set(container)
    served = dict(_served(container, item))
    documents = {layout.manifest_path(item), layout.collection_path(volume_set or item)}
    payload = [path for path in container.files if path.startswith(f"{bagit.PAYLOAD}/")]
    known = {*served.values(), *(f"{bagit.PAYLOAD}/{each}" for each in documents)}
    return Contents(
        item=item,
        base_url=_base_url(container, manifest, item),
        manifest=manifest,
        files={path: inside for path, inside in served.items() if path not in documents},
        size_bytes=sum(container.files[each] for each in served.values()),
        left_out=tuple(sorted(path for path in payload if path not in known)),
        checksums=_checksums(container),
        volume_set=volume_set,
        collection=collection,
    )


def _item(container: Container) -> str:
    found = [match[1] for path in container.files if (match := _MANIFEST.fullmatch(path))]
    if len(found) == 1 and is_safe_name(found[0]):
        return found[0]
    wanted = "expected a publication bundle, with data/iiif/<item>/manifest.json"
    if len(found) > 1:
        items = ", ".join(sorted(map(visible, found[:5])))
        raise InputError(f"{container.name}: holds the manifests of {len(found)} items ({items}); {wanted}")
    if found:
        raise InputError(f"{container.name}: {visible(found[0])} cannot be the name of a folder on a site")
    if any(path.startswith(f"{bagit.PAYLOAD}/masters/") for path in container.files):
        advice = f"{container.name.removesuffix('-preservation')}-publication"
        raise InputError(
            f"{container.name}: is a preservation bundle; its masters are not for the web. "
            f"Give the publication bundle instead, such as {advice}"
        )
    raise InputError(f"{container.name}: {_instead(container) or f'has no manifest; {wanted}'}")


def _instead(container: Container) -> str:
    """What was probably meant instead of a folder that is no bundle; empty if nothing is known."""
    if any(re.fullmatch(r"iiif/[^/]+/manifest\.json", each) for each in container.files):
        return "is the payload of a publication bundle; give the bundle, the folder around it"
    found = sorted(
        visible(each.partition("/")[0]) for each in container.files if _DECLARATION.fullmatch(each)
    )
    if not found:
        return ""
    which = f"{len(found)} bundles, {found[0]} …" if found[1:] else f"the bundle {found[0]}"
    return f"holds {which}; give each, as in {container.name}/*-publication"


def _base_url(container: Container, manifest: dict[str, Any], item: str) -> str:
    try:
        return base_url_of(manifest, item)
    except InputError as error:
        raise InputError(f"{container.name}: {error.message}") from error


def _document(container: Container, path: str) -> dict[str, Any]:
    name = f"{container.name}/{path}"
    document = jsondoc.parse(containers.read_bytes(container, path, limit=MOST_BYTES), name)
    if not isinstance(document, dict):
        raise InputError(f"{name}: is no JSON object")
    return document


def _volume_set(container: Container) -> tuple[str, dict[str, Any] | None]:
    found = [match for path in container.files if (match := _COLLECTION.fullmatch(path))]
    if not found:
        return "", None
    if len(found) > 1 or not is_safe_name(found[0][1]):
        raise InputError(f"{container.name}: has collections that a site has no place for; expected one")
    return found[0][1], _document(container, found[0][0])


def _served(container: Container, item: str) -> Iterator[tuple[PurePosixPath, str]]:
    """Yield what lies in the item's own folders and can be served: no hidden file, nothing that runs."""
    own = tuple(f"{bagit.PAYLOAD}/{folder}/{item}/" for folder in _FOLDERS)
    for path in container.files:
        if path.startswith(own) and "/." not in path:
            suffix = path[path.rfind(".") :].lower()
            if suffix in _SUFFIXES:
                yield PurePosixPath(path[len(bagit.PAYLOAD) + 1 :]), path


def _checksums(container: Container) -> bytes:
    names = sorted(
        path
        for path in container.files
        if re.fullmatch(r"manifest-[0-9a-z]+\.txt", path)  # in the order of names: always the same one
    )
    if not names:
        raise InputError(f"{container.name}: is no bag: it has no payload manifest")
    return containers.read_bytes(container, names[-1], limit=MOST_BYTES)
