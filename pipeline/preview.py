"""What can be looked at before it is public: a site as it is, or bundles as they will look when published.

Nothing is written, and nothing is listed that need not be: files are looked up when they are asked for.
A bundle's documents name the base URL that they were described for; they are sent with the address that
the reader asked at.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline import containers, jsondoc, layout, pages, serve
from pipeline.containers import Container
from pipeline.errors import InputError
from pipeline.publish import collections, manifest, volumes
from pipeline.publish.rewriting import base_url_of, rewritten
from pipeline.specs import bagit

TITLE = {"en": ["Preview"], "de": ["Vorschau"]}
FOLDERS = ("iiif", "access", "metadata", "images")
"""The folders of a payload that a site serves, each with one folder for each item."""
_ARCHIVES = (".zip", ".tar", ".tar.gz", ".tgz")
_EXPECTED = (
    "expected a site made by 'solander publish', a publication bundle (a folder, .zip or .tar), "
    "or a folder of such bundles"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What a preview serves."""

    site: serve.Site
    items: tuple[str, ...] = ()
    """The items of bundles; none for a site, whose front page knows them."""
    left_out: tuple[str, ...] = ()
    """What lies there and is not shown, each with the reason."""


@contextlib.contextmanager
def shown(place: Path) -> Iterator[Shown]:
    """Give what is at `place` as something to serve, while the context lasts.

    Raises InputError if it is neither a site nor holds a publication bundle.
    """
    with contextlib.ExitStack() as stack:
        try:
            content = _found(place, stack)
        except OSError as error:
            raise InputError(f"{place}: cannot be read ({error.strerror or error})") from error
        yield content


def _found(place: Path, stack: contextlib.ExitStack) -> Shown:
    if not place.is_dir():
        return _bundles([_of_archive(place, stack)])
    if (place / bagit.DECLARATION_FILE).is_file():
        return _bundles([_of_folder(place)])
    if (place / serve.INDEX).is_file():
        return Shown(site=serve.FolderSite(place))
    if (place / "iiif").is_dir():
        return _bundles([_laid_out(place, place)])
    return _several(place, stack)


def _several(place: Path, stack: contextlib.ExitStack) -> Shown:
    """Return all publication bundles of a folder; preservation bundles beside them are as it should be."""
    found: list[_Payload] = []
    left_out: list[str] = []
    preserved = 0
    for each in sorted(place.iterdir()):
        try:
            if (each / bagit.DECLARATION_FILE).is_file():
                found.append(_of_folder(each))
            elif each.name.endswith(_ARCHIVES):
                found.append(_of_archive(each, stack))
        except _PreservationError:
            preserved += 1
        except InputError as error:
            left_out.append(error.message)
    if not found:
        what = f"{preserved} preservation bundles" if preserved > 1 else "a preservation bundle" * preserved
        message = f"{place}: found {what or 'no bundle'}, {_EXPECTED}"
        raise InputError("\n".join([message, *left_out]))
    return _bundles(found, left_out)


def _bundles(payloads: Sequence[_Payload], left_out: Iterable[str] = ()) -> Shown:
    site = _BundleSite(payloads)
    return Shown(site=site, items=site.items, left_out=tuple(left_out))


# ------------------------------------------------------------------------------------------- payloads


@dataclass(frozen=True, slots=True, kw_only=True)
class _Payload:
    """What a bundle has for readers."""

    place: Path
    files: serve.Site
    base_urls: Mapping[str, str]
    """What its documents were described for, by the folders below ``iiif/``: items, and sets of volumes."""
    items: tuple[str, ...]
    """Those of the folders that have a manifest."""


def _of_folder(bundle: Path) -> _Payload:
    with contextlib.suppress(FileNotFoundError):
        _refuse_preservation(bundle, (bundle / bagit.INFO_FILE).read_bytes())
    return _laid_out(bundle, bundle / bagit.PAYLOAD)


def _laid_out(place: Path, folder: Path) -> _Payload:
    """Return a folder that is laid out as a payload. Raises InputError."""
    documents = folder / "iiif"
    names = [each.name for each in documents.iterdir()] if documents.is_dir() else []
    return _payload(place, serve.FolderSite(folder), names)


def _of_archive(path: Path, stack: contextlib.ExitStack) -> _Payload:
    """Return the payload of a bundle in an archive, which stays where it is. Raises InputError."""
    container = stack.enter_context(containers.opened(path))
    if container.is_document or bagit.DECLARATION_FILE not in container.files:
        raise InputError(f"{path}: is no bundle, for it has no {bagit.DECLARATION_FILE}; {_EXPECTED}")
    if bagit.INFO_FILE in container.files:
        _refuse_preservation(path, containers.read_bytes(container, bagit.INFO_FILE, limit=1 << 20))
    below = f"{bagit.PAYLOAD}/iiif/"
    names = {each[len(below) :].partition("/")[0] for each in container.files if each.startswith(below)}
    return _payload(path, _ArchivedFiles(path, container), names)


def _refuse_preservation(place: Path, info: bytes) -> None:
    if bagit.PRESERVATION_PROFILE.encode() in info:
        raise _PreservationError(
            f"{place}: is a preservation bundle, and masters are not for the web; {_EXPECTED}"
        )


class _PreservationError(InputError):
    """A bundle is not for readers."""


def _payload(place: Path, files: serve.Site, names: Iterable[str]) -> _Payload:
    found = {name: _document(place, files, str(layout.manifest_path(name))) for name in sorted(names)}
    try:
        base_urls = {name: base_url_of(each, name) for name, each in found.items() if each is not None}
    except InputError as error:
        raise InputError(f"{place}: {error.message}") from error
    if not base_urls:
        raise InputError(f"{place}: has no {layout.manifest_path('ITEM')} in its payload; {_EXPECTED}")
    first = next(iter(base_urls.values()))
    return _Payload(
        place=place,
        files=files,
        base_urls={name: base_urls.get(name, first) for name in found},
        items=tuple(base_urls),
    )


def _document(place: Path, files: serve.Site, path: str) -> dict[str, Any] | None:
    """Return a JSON document, none if there is no such file. Raises InputError, OSError."""
    found = files.find(path, origin="")
    if not isinstance(found, serve.Resource):
        return None
    with found.file as file:
        document = jsondoc.parse(b"".join(iter(lambda: file.read(1 << 20), b"")), f"{place}: {path}")
    if not isinstance(document, dict):
        raise InputError(f"{place}: {path}: is no JSON object")
    return document


class _ArchivedFiles:
    """The payload in an archive, read where it lies."""

    def __init__(self, path: Path, container: Container) -> None:
        status = path.stat()
        self._container = container
        self._edition = f"{status.st_ino}-{status.st_mtime_ns}-{status.st_size}"
        self._modified_s = int(status.st_mtime)

    def find(self, path: str, *, origin: str) -> serve.Resource | None:
        """Return a member as what lies at its path in the payload. Raises OSError if it is damaged."""
        member = f"{bagit.PAYLOAD}/{path}"
        size_bytes = self._container.files.get(member)
        if size_bytes is None or not serve.is_public(path):
            return None
        return serve.Resource(
            media_type=serve.media_type(path),
            caching=serve.caching(path),
            file=self._container.open(member),
            size_bytes=size_bytes,
            tag=hashlib.sha256(f"{self._edition} {path}".encode()).hexdigest()[:32],
            modified_s=self._modified_s,
        )


# ------------------------------------------------------------------------------------ bundles as a site


class _BundleSite:
    """Payloads with the pages that publishing would give them, made when they are asked for."""

    def __init__(self, payloads: Sequence[_Payload]) -> None:
        self._owners = {name: payload for payload in payloads for name in payload.base_urls}
        self.items = tuple(item for payload in payloads for item in payload.items)
        self._assets = {each.path: each.data for each in pages.assets()}

    def find(self, path: str, *, origin: str) -> serve.Resource | serve.Moved | None:
        """Return a page, a document under the reader's own address, or a file. Raises InputError, OSError."""
        if path in ("", serve.INDEX):
            return serve.made(self._front(origin), serve.INDEX)
        if path in self._assets:
            return serve.made(self._assets[path], path)
        folder, name, rest = [*path.split("/", 2), "", ""][:3]
        payload = self._owners.get(name)
        if payload is None:
            return None
        if folder == "items" and name in payload.items:
            return self._item(name, rest, origin) if path != f"items/{name}" else serve.Moved(f"{path}/")
        if folder == "volumes" and name not in payload.items:
            return self._volumes(name, path, origin)
        if folder not in FOLDERS:
            return None
        if folder == "iiif" and path.endswith(".json"):
            document = self._document(path, origin)
            return serve.made(jsondoc.to_bytes(document), path) if document is not None else None
        return payload.files.find(path, origin=origin)

    def _document(self, path: str, origin: str) -> dict[str, Any] | None:
        """Return a document of IIIF with its own addresses moved to where the reader asked."""
        name = path.split("/")[1]
        payload = self._owners[name]
        document = _document(payload.place, payload.files, path)
        return rewritten(document, base_url=payload.base_urls[name], to=origin) if document else None

    def _item(self, item: str, rest: str, origin: str) -> serve.Resource | None:
        document = self._manifest(item, origin)
        if rest not in ("", serve.INDEX) or document is None:
            return None
        page = pages.ItemPage(manifest=document, base_url=origin, site_title=TITLE)
        return serve.made(pages.item_page(page), f"items/{item}/{serve.INDEX}")

    def _volumes(self, name: str, path: str, origin: str) -> serve.Resource | serve.Moved | None:
        """Return the page of a set of volumes: those that are here."""
        page = layout.volumes_page(name)
        if path == str(page.parent):
            return serve.Moved(f"{path}/")
        collection = self._document(str(layout.collection_path(name)), origin)
        if path not in (str(page), f"{page.parent}/") or collection is None:
            return None
        listed = [volumes.item_of(each) for each in collection.get("items", [])]
        documents = [(item, self._manifest(item, origin)) for item in listed if item in self.items]
        return serve.made(
            pages.volumes_page(
                pages.VolumesPage(
                    path=f"{page.parent}/",
                    collection=str(layout.collection_path(name)),
                    label=collections.language_map(manifest.language_map(collection.get("label"))),
                    cards=tuple(_card(item, document, origin) for item, document in documents if document),
                    base_url=origin,
                    site_title=TITLE,
                )
            ),
            str(page),
        )

    def _manifest(self, item: str, origin: str) -> dict[str, Any] | None:
        return self._document(str(layout.manifest_path(item)), origin)

    def _front(self, origin: str) -> bytes:
        documents = ((item, self._manifest(item, origin)) for item in self.items)
        return pages.front_page(
            pages.FrontPage(
                site_title=TITLE,
                base_url=origin,
                cards=tuple(_card(item, document, origin) for item, document in documents if document),
                name=serve.INDEX,
                newer=None,
                older=None,
                items=len(self.items),
            )
        )


def _card(item: str, document: dict[str, Any], origin: str) -> pages.ItemCard:
    thumbnail, width_px, height_px = manifest.thumbnail(document, origin)
    label, summary = (
        collections.language_map(manifest.language_map(document.get(key))) for key in ("label", "summary")
    )
    return pages.ItemCard(
        item=item,
        label=label or {"none": [item]},
        summary=summary or None,
        thumbnail=thumbnail or None,
        width_px=width_px or None,
        height_px=height_px or None,
        views=len(document.get("items") or ()),
        date=manifest.date(document) or None,
    )
