"""What pages need beside them: style, script, words, and the library for deep zoom.

Each file's name carries the digest of its bytes, so that a server may let it be kept for ever, and a new
version never meets an old page.
"""

from __future__ import annotations

import functools
import hashlib
import json
from dataclasses import dataclass
from pathlib import Path

from pipeline.pages.bundling import bundled, squeezed
from pipeline.pages.text import LANGUAGE

WEB = Path(__file__).parent / "web"
LIBRARY = Path(__file__).parent / "library"
"""OpenSeadragon, laid here when the package is built (`docs/decisions/0006-viewer-library.md`)."""

ZOOM = "openseadragon.min.js"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asset:
    """A file that pages share."""

    path: str
    """Below the base URL: ``assets/viewer.3f2a….js``."""
    media_type: str
    data: bytes


@functools.cache
def assets() -> tuple[Asset, ...]:
    """Return every file that pages of this version may ask for."""
    return tuple(by_name().values())


def lacks() -> str:
    """Return what is missing for deep zoom and how to get it; empty if it is all there."""
    if (LIBRARY / ZOOM).is_file():
        return ""
    return (
        "OpenSeadragon is missing in this installation: pages show every image, but not magnified. "
        "Install solander again where npm or the network is at hand, and publish again."
    )


@functools.cache
def by_name() -> dict[str, Asset]:
    """Return the files by the names that our sources give them: ``pages.css``."""
    files = {"pages.css": squeezed((WEB / "pages.css").read_text(encoding="utf-8")).encode()}
    own = _words(LANGUAGE)
    spoken = {
        "words.js": f"export const WORDS = {_json(own['viewer'])};\n",
        "dialog-words.js": f"export const DIALOG_WORDS = {_json(own['dialogs'])};\n",
    }
    for tag, said in words().items():
        files[f"words.{tag}.json"] = _json(said).encode()
    for name in ("page.js", "viewer.js", "dialogs.js"):
        files[name] = bundled(WEB / name, spoken).encode()
    for path in sorted(LIBRARY.glob("*")):
        if path.suffix in _MEDIA_TYPES:
            files[path.name] = path.read_bytes()
    return {name: _asset(name, data) for name, data in files.items()}


@functools.cache
def words() -> dict[str, dict[str, str]]:
    """Return the words of the pages by language, that of the templates first."""
    tags = sorted(
        (path.stem for path in (WEB / "words").glob("*.json")), key=lambda tag: (tag != LANGUAGE, tag)
    )
    return {tag: {key: word for part in _words(tag).values() for key, word in part.items()} for tag in tags}


def _words(tag: str) -> dict[str, dict[str, str]]:
    """Return the words of a language by who says them: ``page`` alone, ``viewer``, ``dialogs``."""
    parts: dict[str, dict[str, str]] = json.loads((WEB / f"words/{tag}.json").read_bytes())
    return parts


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


_MEDIA_TYPES = {
    ".css": "text/css",
    ".js": "text/javascript",
    ".json": "application/json",
    ".txt": "text/plain",
}


def _asset(name: str, data: bytes) -> Asset:
    stem, _, suffix = name.rpartition(".")
    digest = hashlib.sha256(data).hexdigest()[:16]
    return Asset(path=f"assets/{stem}.{digest}.{suffix}", media_type=_MEDIA_TYPES[f".{suffix}"], data=data)
