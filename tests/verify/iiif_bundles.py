"""A publication bundle as it is built, held in memory so that one thing at a time can be damaged."""

from __future__ import annotations

import copy
import datetime as dt
import functools
import io
import json
import tempfile
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

from pipeline import run, specification
from pipeline.containers import Fault, Limits, Other
from pipeline.findings import Level
from pipeline.run import Options
from pipeline.verify.evidence import Bundle, FileReading, Judged
from pipeline.verify.file_reading import Wanted, read_files
from tests.make_item import NOW_EPOCH, tree, world

Json = Any

MANIFEST = "data/iiif/msb-014/manifest.json"
SERVICE = "data/iiif/msb-014/B14_0002"
INFO = f"{SERVICE}/info.json"
BASE = "https://images.example.org/iiif/msb-014"


class Memory:
    """A container that holds its files in memory."""

    media_type = ""
    faults: Sequence[Fault] = ()

    def __init__(self, files: Mapping[str, bytes], *, is_document: bool = False) -> None:
        self._data = files
        self.name = next(iter(files)) if is_document else "msb-014-publication"
        self.is_document = is_document
        self.files: Mapping[str, int] = {path: len(data) for path, data in files.items()}
        self.others: Mapping[str, Other] = {}

    def open(self, path: str) -> BinaryIO:
        return io.BytesIO(self._data[path])


@dataclass
class Published:
    """The files of a bundle, to be changed at will."""

    files: dict[str, bytes]
    is_quick: bool = False
    changed: set[str] = field(default_factory=set)

    def write(self, path: str, data: bytes) -> None:
        self.files[path] = data
        self.changed.add(path)

    def remove(self, *paths: str) -> None:
        for path in paths:
            del self.files[path]

    def move(self, old: str, new: str) -> None:
        """Rename a file, or a folder with all that is in it."""
        for path in [each for each in self.files if each == old or each.startswith(f"{old}/")]:
            moved = new + path[len(old) :]
            self.write(moved, self.files.pop(path))

    def edit(self, path: str, change: Callable[[Json], None]) -> None:
        document = json.loads(self.files[path])
        change(document)
        self.write(path, json.dumps(document).encode())

    def bundle(self) -> Bundle:
        container = Memory(self.files)
        readings: dict[str, FileReading] = {}
        if not self.is_quick:
            readings = {path: each for path, each in _readings().items() if path in self.files}
            readings |= _read(container, self.changed & self.files.keys())
        return Bundle(
            container=container, limits=Limits(), bag=None, readings=readings, is_quick=self.is_quick
        )


def published() -> Published:
    """A copy of the bundle that the small item of the tests gives."""
    return Published(files=dict(_built()))


def document(data: bytes | Json, name: str = "manifest.json") -> Bundle:
    """A document alone."""
    content = data if isinstance(data, bytes) else json.dumps(data).encode()
    container = Memory({name: content}, is_document=True)
    return Bundle(container=container, limits=Limits(), bag=None, readings={})


def manifest() -> Json:
    """The manifest of that bundle."""
    return copy.deepcopy(json.loads(_built()[MANIFEST]))


def info() -> Json:
    """The info.json of one of its services: 150 × 200 pixels, tiles of 128."""
    return copy.deepcopy(json.loads(_built()[INFO]))


@functools.cache
def _built() -> Mapping[str, bytes]:
    with tempfile.TemporaryDirectory() as folder:
        made = world(Path(folder))
        opened, settings = run.open_item(made.item)
        now = dt.datetime.fromtimestamp(NOW_EPOCH, dt.UTC)
        chosen = specification.load(None)
        options = Options(work=made.work, bundles=made.bundles, specification=chosen, now=now)
        with ThreadPoolExecutor(2) as executor:
            built = run.build_item(opened, settings, options, executor)
        assert built.publication
        return tree(built.publication)


@functools.cache
def _readings() -> Mapping[str, FileReading]:
    return _read(Memory(_built()), _built().keys())


def _read(container: Memory, paths: Any) -> dict[str, FileReading]:
    wanted = [
        Wanted(path=path, size_bytes=container.files[path], algorithms=frozenset()) for path in sorted(paths)
    ]
    return read_files(container, wanted, Limits(), threads=2)


# ------------------------------------------------------------------------------------------------ saying


def codes(judged: Judged) -> set[str]:
    """The codes of errors and warnings."""
    return {each.code for each in judged.report.findings if each.level is not Level.NOTE}


def said(judged: Judged, code: str) -> str:
    """All that was found under a code, one line for each finding."""
    found = (each for each in judged.report.findings if each.code == code)
    return "\n".join(f"{each.place} | {each.value} | {each.limit}" for each in found)
