"""Makes OCFL objects and storage roots from the specification alone, without the code that they test.

An object is a dict of files; damage changes that dict, and `write` puts it on a disk.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

Json = dict[str, Any]
WHO = {"name": "Adlersund library", "address": "mailto:imaging@adlersund.example.org"}


def digest(data: bytes, algorithm: str = "sha512") -> str:
    if algorithm.startswith("blake2b-"):
        return hashlib.blake2b(data, digest_size=int(algorithm[8:]) // 8).hexdigest()
    return hashlib.new(algorithm.replace("/", "_"), data, usedforsecurity=False).hexdigest()


def to_bytes(document: object) -> bytes:
    return (json.dumps(document, indent=2, ensure_ascii=False) + "\n").encode()


def sidecar(data: bytes, algorithm: str = "sha512") -> bytes:
    return f"{digest(data, algorithm)} inventory.json\n".encode()


@dataclass
class Object:
    """An object in the making: each version's inventory as a document, and all other files."""

    object_id: str = "urn:example:ms-17"
    spec: str = "1.1"
    inventories: dict[str, Json] = field(default_factory=dict)
    """By folder; ``""`` is the object's own."""
    files: dict[str, bytes] = field(default_factory=dict)
    """Everything else, and what is to stand in the place of something."""
    removed: set[str] = field(default_factory=set)

    def root(self, change: Callable[[Json], object]) -> Object:
        """Change the object's own inventory and that of the head's folder alike."""
        for folder in ("", self.inventories[""].get("head", "v1")):
            if isinstance(folder, str) and folder in self.inventories:
                self.inventories[folder] = json.loads(json.dumps(self.inventories[folder]))
                change(self.inventories[folder])
        return self

    def contents(self) -> dict[str, bytes]:
        """Every file by path, as it is to be written."""
        made = {f"0=ocfl_object_{self.spec}": f"ocfl_object_{self.spec}\n".encode()}
        for folder, document in self.inventories.items():
            data = to_bytes(document)
            algorithm = document.get("digestAlgorithm", "sha512")
            before = f"{folder}/" if folder else ""
            made[f"{before}inventory.json"] = data
            known = algorithm if algorithm in ("sha512", "sha256") else "sha512"
            made[f"{before}inventory.json.{known}"] = sidecar(data, known)
        made |= self.files
        return {path: data for path, data in made.items() if path not in self.removed}

    def write(self, folder: Path) -> Path:
        for path, data in self.contents().items():
            place = folder / path
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_bytes(data)
        return folder


def an_object(
    *versions: Mapping[str, bytes],
    object_id: str = "urn:example:ms-17",
    algorithm: str = "sha512",
    fixity: tuple[str, ...] = ("md5",),
    spec: str = "1.1",
) -> Object:
    """An object with these versions, each a dict of logical paths and bytes."""
    made = Object(object_id=object_id, spec=spec)
    manifest: dict[str, list[str]] = {}
    blocks: Json = {}
    further: dict[str, dict[str, list[str]]] = {name: {} for name in fixity}
    for number, state in enumerate(versions, start=1):
        listed: dict[str, list[str]] = {}
        for path, data in state.items():
            key = digest(data, algorithm)
            listed.setdefault(key, []).append(path)
            if key not in manifest:
                content = f"v{number}/content/{path}"
                manifest[key] = [content]
                made.files[content] = data
                for name, block in further.items():
                    block.setdefault(digest(data, name), []).append(content)
        blocks[f"v{number}"] = {
            "created": f"2031-05-0{number}T10:00:00Z",
            "message": f"deposit {number}",
            "state": listed,
            "user": WHO,
        }
        document = {
            "digestAlgorithm": algorithm,
            "fixity": further,
            "head": f"v{number}",
            "id": object_id,
            "manifest": manifest,
            "type": f"https://ocfl.io/{spec}/spec/#inventory",
            "versions": blocks,
        }
        if not fixity:
            del document["fixity"]
        made.inventories[f"v{number}"] = json.loads(json.dumps(document))
    made.inventories[""] = made.inventories[f"v{len(versions)}"]
    return made


FIRST = {
    "bagit.txt": b"BagIt-Version: 1.0\n",
    "data/f1r.tif": b"folio 1 recto",
    "data/f1v.tif": b"folio 1 verso",
}
SECOND = {**FIRST, "bagit.txt": b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"}


def two_versions(**options: Any) -> Object:
    """A small object with two versions: three files, then one of them changed."""
    return an_object(FIRST, SECOND, **options)


def place_of(object_id: str) -> str:
    """Where layout 0004 puts an object by default."""
    name = hashlib.sha256(object_id.encode()).hexdigest()
    return f"{name[:3]}/{name[3:6]}/{name[6:9]}/{name}"


LAYOUT = "0004-hashed-n-tuple-storage-layout"


def a_root(folder: Path, *objects: Object, spec: str = "1.1") -> Path:
    """A storage root of layout 0004 with these objects."""
    folder.mkdir(parents=True)
    (folder / f"0=ocfl_{spec}").write_text(f"ocfl_{spec}\n")
    (folder / "ocfl_layout.json").write_bytes(to_bytes({"extension": LAYOUT, "description": "hashed"}))
    (folder / "extensions" / LAYOUT).mkdir(parents=True)
    (folder / "extensions" / LAYOUT / "config.json").write_bytes(to_bytes({"extensionName": LAYOUT}))
    for each in objects:
        each.write(folder / place_of(each.object_id))
    return folder


def flip(path: Path, at: float = 0.5) -> None:
    """Change one bit."""
    data = bytearray(path.read_bytes())
    data[int(len(data) * at)] ^= 1
    path.write_bytes(data)
