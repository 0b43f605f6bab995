"""A real bundle, built once, held in memory: its documents are changed and judged without touching a disk."""

from __future__ import annotations

import dataclasses
import datetime as dt
import io
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from pipeline import run, specification
from pipeline.containers import Fault, Limits, Other
from pipeline.findings import Level, Report
from pipeline.verify import metadata
from pipeline.verify.bag.reading import payload_algorithms, read_bag
from pipeline.verify.evidence import Bag, Bundle, FileReading, Judged
from pipeline.verify.file_reading import Wanted, read_files
from tests.make_item import NOW_EPOCH, world

METS_PATH = "data/metadata/mets.xml"
PUBLIC_METS_PATH = "data/metadata/msb-014/mets.xml"
PUBLIC_MODS_PATH = "data/metadata/msb-014/mods.xml"
NOW = dt.datetime.fromtimestamp(NOW_EPOCH, dt.UTC)


class Held:
    """A container whose files are in memory."""

    media_type = ""
    faults: Sequence[Fault] = ()

    def __init__(
        self, files: Mapping[str, bytes], *, name: str = "bundle", is_document: bool = False
    ) -> None:
        self.name = name
        self.is_document = is_document
        self._data = files
        self.files: Mapping[str, int] = {path: len(files[path]) for path in sorted(files)}
        self.others: Mapping[str, Other] = {}

    def open(self, path: str) -> BinaryIO:
        """Open a file."""
        return io.BytesIO(self._data[path])

    def changed_ns(self, path: str) -> int:
        """Nothing changes."""
        return 0


@dataclass(frozen=True, kw_only=True)
class Sealed:
    """A bundle as it was built: its files, its bag, and its files as they were read."""

    files: Mapping[str, bytes]
    bag: Bag
    readings: Mapping[str, FileReading]

    def text(self, path: str = METS_PATH) -> str:
        """A document's text."""
        return self.files[path].decode()

    def judged(
        self, *, is_quick: bool = False, official: Path | None = None, **changes: bytes | None
    ) -> Judged:
        """The verdict with other files; None for one that is gone."""
        return self.judged_with(changes, is_quick=is_quick, official=official)

    def judged_with(
        self, changes: Mapping[str, bytes | None], *, is_quick: bool = False, official: Path | None = None
    ) -> Judged:
        """The verdict on the bundle with some files changed, as if it had been sealed so."""
        files = {path: data for path, data in {**self.files, **changes}.items() if data is not None}
        bundle = Bundle(
            container=Held(files),
            limits=Limits(),
            bag=dataclasses.replace(self.bag, manifests=(), tag_manifests=()),
            readings={} if is_quick else {p: r for p, r in self.readings.items() if p in files},
            is_quick=is_quick,
        )
        return metadata.judge(bundle, official_schemas=official)

    def with_text(self, change: Callable[[str], str], path: str = METS_PATH) -> Judged:
        """The verdict with one document rewritten; the change must change something."""
        before = self.text(path)
        after = change(before)
        assert after != before, "the damage found nothing to damage"
        return self.judged_with({path: after.encode()})


def build(folder: Path) -> tuple[Sealed, Sealed]:
    """Build the small item below a folder and return its preservation and publication bundles."""
    made = world(folder)
    options = run.Options(
        work=made.work, bundles=made.bundles, specification=specification.load(None), now=NOW
    )
    with ThreadPoolExecutor(2) as executor:
        opened, settings = run.open_item(made.item)
        built = run.build_item(opened, settings, options, executor)
    assert built.preservation
    assert built.publication
    return sealed(built.preservation), sealed(built.publication)


def sealed(folder: Path) -> Sealed:
    """Return a bundle in a folder, its images read to the end."""
    files = {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
    container = Held(files)
    bag = read_bag(container, Limits())
    assert bag is not None
    algorithms = payload_algorithms(bag) | metadata.checksum_algorithms(container)
    wanted = [
        Wanted(path=path, size_bytes=size_bytes, algorithms=algorithms)
        for path, size_bytes in container.files.items()
        if "/iiif/" not in path
    ]
    readings = read_files(container, wanted, Limits(), threads=2)
    return Sealed(files=files, bag=bag, readings=readings)


def document(data: bytes, name: str = "mets.xml") -> Judged:
    """The verdict on a bare document."""
    container = Held({name: data}, name=name, is_document=True)
    return metadata.judge(Bundle(container=container, limits=Limits(), bag=None, readings={}))


def serious(report: Report) -> list[str]:
    """Errors and warnings, as one line each."""
    return [
        f"{each.code} {each.place}: {each.value} ({each.limit})"
        for each in report.findings
        if each.level is not Level.NOTE
    ]
