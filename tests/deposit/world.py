"""Bags to deposit, and what must be true of a store whatever happened to it."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
from collections.abc import Mapping
from pathlib import Path

import ocfl

from pipeline import containers
from pipeline.deposit import Bag, Deposited, Depositor, Request, deposit, open_or_make
from pipeline.findings import Level
from pipeline.ocfl import reading
from pipeline.ocfl.validating import validate_object, validate_root
from pipeline.ocfl.walking import walk_root
from pipeline.progress import SILENT, Progress
from pipeline.specs import bagit
from pipeline.storage import bag_of
from pipeline.stores import FolderStore, Store
from pipeline.verify import Options

NOW = dt.datetime(2026, 3, 10, 12, tzinfo=dt.UTC)
OBJECT = "urn:example:msb-014"
PROFILE = "https://profiles.example.org/masters-1.0.json"
DEAD = 1 << 30
"""No process has such a number."""

FIRST = {"masters/B14_0001.raw": b"front cover", "masters/B14_0002.raw": b"f. 1r", "notes.txt": b"first"}
SECOND = {"masters/B14_0001.raw": b"front cover", "masters/B14_0002r.raw": b"f. 1r", "notes.txt": b"second"}
"""Of the first, one file is as it was, one has another name, one has changed."""


def make_bag(folder: Path, payload: Mapping[str, bytes] = FIRST, *, algorithm: str = "sha512") -> Path:
    """Write a bag, and return its folder."""
    tags: dict[str, bytes] = {
        bagit.DECLARATION_FILE: bagit.DECLARATION.encode(),
        bagit.INFO_FILE: f"External-Identifier: msb-014\nBagIt-Profile-Identifier: {PROFILE}\n".encode(),
    }
    listed = {f"{bagit.PAYLOAD}/{path}": data for path, data in payload.items()}
    tags[bagit.manifest_name(algorithm)] = _manifest(listed, algorithm)
    tags[bagit.tag_manifest_name(algorithm)] = _manifest(tags, algorithm)
    (folder / bagit.PAYLOAD).mkdir(parents=True)
    for path, data in {**listed, **tags}.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(data)
    return folder


def _manifest(listed: Mapping[str, bytes], algorithm: str) -> bytes:
    lines = (f"{hashlib.new(algorithm, data).hexdigest()}  {path}\n" for path, data in sorted(listed.items()))
    return "".join(lines).encode()


def contents(folder: Path) -> dict[str, bytes]:
    """Every file of a folder."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def request(*, now: dt.datetime = NOW, pid: int = 0, host: str = "here", **further: bool | str) -> Request:
    """A request as the command line makes it."""
    return Request(
        object_id=str(further.pop("object_id", OBJECT)),
        depositor=Depositor(name="Imaging unit", address="mailto:imaging@library.example.org"),
        software_version="0.1.0",
        verified="accepted",
        now=now,
        host=host,
        pid=pid or os.getpid(),
        **further,  # type: ignore[arg-type]
    )


def put(store: Store, folder: Path, asked: Request | None = None, progress: Progress = SILENT) -> Deposited:
    """Deposit the bag in a folder."""
    options = Options()
    with containers.opened(folder, limits=options.terms.limits) as container:
        bag: Bag = bag_of(container, options)
        return deposit(bag, open_or_make(store, None), asked or request(), progress)


def errors(store: Store) -> list[str]:
    """What is wrong with a store by our own validator, every byte of content read."""
    hierarchy = walk_root(store)
    found = [f"{each.code} {each.place}" for each in validate_root(hierarchy).at(Level.ERROR)]
    for each in hierarchy.objects:
        facts = reading.look(store, each.place)
        digests = {
            path: {
                name: hashlib.new(name, _read(store, f"{each.place}/{path}")).hexdigest() for name in names
            }
            for path, names in reading.claims(facts).items()
        }
        report = validate_object(reading.with_digests(facts, digests))
        found += [f"{one.code} {one.place}" for one in (*report.at(Level.ERROR), *report.at(Level.WARNING))]
    return found


def _read(store: Store, path: str) -> bytes:
    with store.open(path) as file:
        return file.read()


def outside_errors(store: FolderStore) -> list[str]:
    """What is wrong with the objects of a folder by the independent validator, ocfl-py."""
    wrong = []
    for declaration in store.folder.rglob("0=ocfl_object_*"):
        judged = ocfl.Object()
        is_valid, validator = judged.validate(str(declaration.parent))[:2]
        if not is_valid:
            wrong.append(f"{declaration.parent}: {validator}")
    return wrong


def nothing_is_left(store: Store) -> bool:
    """True if there is nothing beside a store."""
    return not list(store.beside(".staging").walk())
