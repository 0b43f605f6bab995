"""A version of an item: all that is served of it, in one folder that nothing is changed in afterwards.

Paths in it are those below the base URL: ``iiif/<item>/manifest.json``, ``items/<item>/index.html``.
Public folders are symbolic links that lead through one more, ``current``, to the version: when that one
link is replaced, the item's page, its manifest and its images are replaced in the same instant
(`docs/decisions/0005-one-link-per-item.md`).
"""

from __future__ import annotations

import os
import shutil
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from pipeline import files
from pipeline.containers import Container
from pipeline.errors import ToolError
from pipeline.publish.record import FOLDER, SHOWN, SiteFolder

CHECKSUMS = "checksums.txt"
"""The payload manifest of the bundle that a version was made from."""
_CURRENT = "current"


@dataclass(slots=True)
class Building:
    """A version that is being made."""

    folder: Path
    written: list[Path] = field(default_factory=list)
    placed: Counter[str] = field(default_factory=Counter)
    """How many files were placed by which way."""
    _folders: set[Path] = field(default_factory=set)
    _placer: files.Placer = field(default_factory=files.Placer)

    def place_of(self, path: PurePosixPath) -> Path:
        """Return where what is served at a path below the base URL lies; makes the folders above it."""
        place = self.folder / path
        if place.parent not in self._folders:  # tiles have three folders each
            self._folders.add(place.parent)
            with files.writing(place):
                place.parent.mkdir(parents=True, exist_ok=True)
        return place

    def write(self, path: PurePosixPath, data: bytes) -> None:
        """Write a document."""
        place = self.place_of(path)
        with files.writing(place):
            place.write_bytes(data)
        self.written.append(place)

    def take(self, served: Mapping[PurePosixPath, str], bundle: Path, container: Container) -> Iterator[None]:
        """Put files of a bundle in their places, and yield after each: linked from a folder, else copied."""
        for path, inside in served.items():
            place = self.place_of(path)
            if container.media_type:
                self._copy(container, inside, place)
                self.placed[files.COPY] += 1
            else:
                self.placed[self._placer.place(bundle / inside, place)] += 1
            self.written.append(place)
            yield

    def _copy(self, container: Container, inside: str, place: Path) -> None:
        with files.writing(place), container.open(inside) as source, place.open("wb") as target:
            shutil.copyfileobj(source, target, 1 << 20)


@contextmanager
def building(site: SiteFolder, item: str, version: str) -> Iterator[Building]:
    """Give a folder to make a version in; it gets its name when all is done and on the disk.

    Raises ToolError; then nothing is left of it.
    """
    made = Building(site.building / item)
    files.remove_tree(made.folder)
    try:
        with files.writing(made.folder):
            made.folder.mkdir(parents=True)
        yield made
        _name(made, site.home(item), version)
    except BaseException:
        shutil.rmtree(made.folder, ignore_errors=True)  # the disk may be full: room first, then the message
        raise


def _name(made: Building, home: Path, version: str) -> None:
    files.remove_tree(home / version)  # of a run that was killed before it was served
    with files.writing(home):
        files.flush(made.folder, made.written)
        home.mkdir(parents=True, exist_ok=True)
        made.folder.rename(home / version)
        files.sync_folder(home)


def switch(site: SiteFolder, item: str, version: str) -> None:
    """Let all that is served of an item be that of a version, in one instant. Raises ToolError."""
    home = site.home(item)
    public = {name: site.path / name / item for name in SHOWN}
    shown = {name for name in SHOWN if (home / version / name / item).is_dir()}
    for name in shown:  # they lead nowhere until the first version is current, then all do
        _link(site, public[name], f"../{FOLDER}/items/{item}/{_CURRENT}/{name}/{item}")
    _link(site, home / _CURRENT, version)
    for name in public.keys() - shown:
        with files.writing(public[name]):
            if public[name].is_symlink():
                public[name].unlink()


def sweep(site: SiteFolder, item: str, version: str) -> None:
    """Remove the versions of an item that are not served any more."""
    home = site.home(item)
    with files.writing(home):
        versions = [each for each in home.iterdir() if each.is_dir() and not each.is_symlink()]
    for each in versions:
        if each.name != version:
            files.remove_tree(each)


def check_links(site: SiteFolder) -> None:
    """Raise ToolError if the file system of the site has no symbolic links."""
    trial = site.building / "trial"
    with files.writing(site.building):
        site.building.mkdir(parents=True, exist_ok=True)
    try:
        trial.symlink_to("nowhere")
        trial.unlink()
    except OSError as error:
        raise ToolError(
            f"{site.path}: no symbolic link can be made there ({error.strerror or error}), and an item is "
            "replaced by one. Publish into a folder on a disk of this machine, and copy the site from there: "
            "see docs/publishing.md"
        ) from error


def _link(site: SiteFolder, place: Path, target: str) -> None:
    """Make a symbolic link, or let one lead elsewhere, by one rename."""
    beside = site.building / f"{place.name}.{os.getpid()}.link"
    with files.writing(place):
        if place.is_symlink() and place.readlink() == Path(target):
            return
        place.parent.mkdir(parents=True, exist_ok=True)
        site.building.mkdir(parents=True, exist_ok=True)
        beside.symlink_to(target)
        beside.replace(place)
        files.sync_folder(place.parent)
