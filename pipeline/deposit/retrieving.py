"""Retrieve: a bag as it was deposited, proved while it is copied."""

from __future__ import annotations

import contextlib
import hashlib
import os
import shlex
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from pipeline import files
from pipeline.deposit import making, planning
from pipeline.deposit.making import Wanted
from pipeline.deposit.proving import digest_of
from pipeline.deposit.roots import StorageRoot
from pipeline.digests import CHUNK_BYTES
from pipeline.errors import (
    FixityError,
    InputError,
    Interrupted,
    NotInStore,
    Problem,
    SettingsError,
    StoreError,
)
from pipeline.ocfl import reading
from pipeline.ocfl.inventory import Inventory
from pipeline.progress import SILENT, Progress
from pipeline.specs import bagit
from pipeline.stores import FolderStore, Store

COPIERS = min(4, os.cpu_count() or 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Retrieved:
    """What came of a retrieval."""

    object_id: str
    version: str
    created: str
    """When the version was deposited."""
    files: int
    size_bytes: int


def retrieve(
    root: StorageRoot,
    object_id: str,
    folder: Path,
    *,
    version: str = "",
    progress: Progress = SILENT,
) -> Retrieved:
    """Make `folder` the bag of an object's version, the last if none is named.

    It is made beside its place and renamed when every byte was proved. Times of files are those of the copy.
    If the store gives up, or the person, what was copied is kept for the next retrieval to the same place.

    Raises InputError if there is no such object or version, or if something is at `folder`, FixityError for
    files that are damaged or gone, StoreError, ToolError, Interrupted.
    """
    folder = Path(os.path.abspath(folder))  # noqa: PTH100, Path.absolute leaves dots, and "." has no name
    _refuse_taken(folder, root.store)
    for each in making.left_in(folder.parent, but=folder):
        progress.say(each)
    place = root.layout.path(object_id)
    known, digest = _known(root.store, place, object_id)
    version = _version(known, version)
    bag = _bag(known, version)
    wanted = Wanted(store=root.store.url, object_id=object_id, version=version, inventory=digest)
    with making.place_of(folder, wanted, bag.keys()) as unfinished, _keeping(folder, unfinished):
        size_bytes = _copy(root.store, place, known, bag, unfinished, progress)
        with files.writing(folder):
            files.flush(unfinished, [unfinished / path for path in bag])
        making.finish(folder)
    return Retrieved(
        object_id=object_id,
        version=version,
        created=known.versions[version].created,
        files=len(bag),
        size_bytes=size_bytes,
    )


@contextlib.contextmanager
def _keeping(folder: Path, unfinished: Path) -> Iterator[None]:
    """Keep what was copied if it is worth going on with, and say so; else take it away."""
    kept = f"what was copied is kept beside {folder}, and the same command goes on"
    try:
        yield
    except (StoreError, KeyboardInterrupt) as error:
        if not any(path.is_file() for path in unfinished.rglob("*")):
            making.give_up(folder)
            raise
        if isinstance(error, StoreError):
            raise StoreError(f"{error.message}; {kept}") from error
        raise Interrupted(f"interrupted; {kept}") from error
    except BaseException:
        with contextlib.suppress(Exception):  # what was raised first matters more
            making.give_up(folder)
        raise


def stored_id(root: StorageRoot, names: Iterable[str]) -> str:
    """Return the first of several identifiers that an object has in the store. Raises InputError if none has.

    An object may be asked for by its whole identifier, or by what its item is called.
    """
    tried = tuple(dict.fromkeys(names))
    for each in tried:
        with contextlib.suppress(SettingsError):  # no place in this layout
            if root.store.exists(root.layout.path(each)):
                return each
    asked = " or ".join(f'"{files.visible(each)}"' for each in tried)
    raise InputError(f"{asked}: is not in {root.store.url}; give the identifier of an object in it")


def _refuse_taken(folder: Path, store: Store) -> None:
    if isinstance(store, FolderStore) and folder.resolve().is_relative_to(store.folder):
        raise InputError(f"{folder}: is inside the store, where only objects may be; give another place")
    is_empty = folder.is_dir() and folder != Path.cwd() and not any(folder.iterdir())
    if os.path.lexists(folder) and not is_empty:  # whoever stands in a folder would not see it replaced
        raise InputError(f"{folder}: is there already; give the name of a new folder, which will be the bag")


def _known(store: Store, place: str, object_id: str) -> tuple[Inventory, str]:
    """Return an object's inventory with its digest, if it can be believed; nothing else matters here."""
    facts = reading.look(store, place)
    if not facts.entries:
        raise InputError(
            f'"{object_id}": is not in {store.url}; give the whole identifier of an object in it'
        )
    known = reading.sound(facts)
    if known is None or known.id != object_id:
        raise FixityError(
            f"{store.url}/{place}: the object's inventory is damaged; see what is wrong with: "
            f"solander audit {shlex.quote(store.url)}"
        )
    return known, facts.inventories[""].digests[known.digest_algorithm]


def _version(known: Inventory, version: str) -> str:
    if not version:
        return known.head
    if version not in known.versions:
        there = f"v1 to {known.head}" if len(known.versions) > 1 else f"{known.head} alone"
        raise InputError(f'{known.id}: has no version "{version}", it has {there}')
    return version


def _bag(known: Inventory, version: str) -> dict[str, str]:
    """Return path in the bag → content path. Raises InputError for what is no bag, or unsafe."""
    content = known.content_of(version)
    start = f"{planning.BAG}/"
    bag = {path[len(start) :]: stored for path, stored in content.items() if path.startswith(start)}
    if bagit.DECLARATION_FILE in content:  # written by something else, which knows of nothing beside the bag
        bag = content
    if bagit.DECLARATION_FILE not in bag:
        raise InputError(
            f"{known.id}: holds no bag in {version}: there is no {start}{bagit.DECLARATION_FILE}"
        )
    for path in bag:
        if why := files.unsafe_path(path):
            raise InputError(f'{known.id}: has a path in {version} that {why}: "{files.visible(path)}"')
    return bag


def _copy(
    store: Store,
    place: str,
    known: Inventory,
    bag: Mapping[str, str],
    unfinished: Path,
    progress: Progress,
) -> int:
    """Copy all files and compare their digests; return their size. A FixityError names all that differ.

    A file that is there already stays, if it is right.
    """
    digests = known.digests

    def copy(path: str) -> tuple[int, str]:
        destination = unfinished / path
        if there := _digest_there(destination, known.digest_algorithm):
            if there[1] == digests[bag[path]].lower():
                return there[0], ""
            destination.unlink()
        try:
            with store.open(f"{place}/{bag[path]}") as source:
                size_bytes, found = _copied(source, destination, known.digest_algorithm)
        except NotInStore:
            return 0, "no file"
        except OSError as error:
            return 0, f"what cannot be read ({error.strerror or error})"
        is_right = found == digests[bag[path]].lower()
        return size_bytes, "" if is_right else f"{known.digest_algorithm} {found[:16]}…"

    if there := sum(1 for path in bag if (unfinished / path).exists()):
        progress.say(f"goes on where a retrieval was interrupted: {there:,} files are there, and are proved")
    with files.writing(unfinished):
        _make_folders(unfinished, bag)
    total, problems = 0, []
    progress.start("files copied", total=len(bag))
    try:
        for path, (size_bytes, found) in _each(copy, bag):
            progress.advance(size_bytes=size_bytes)
            total += size_bytes
            if found:
                problems.append(_problem(bag[path], found, digests[bag[path]], known.digest_algorithm))
    finally:
        progress.finish()
    if problems:
        raise FixityError(
            f"{known.id}: the store does not hold what was deposited; nothing was retrieved",
            problems=problems,
        )
    return total


def _problem(path: str, found: str, digest: str, algorithm: str) -> Problem:
    advice = "mend it from another copy of the store with: solander audit STORE --replica URL --repair"
    return Problem(where=path, found=found, expected=f"{algorithm} {digest[:16]}…", advice=advice)


def _make_folders(unfinished: Path, bag: Mapping[str, str]) -> None:
    above = {"", bagit.PAYLOAD, *(folder for path in bag for folder in files.folders_above(path))}
    for folder in sorted(above):
        (unfinished / folder).mkdir(exist_ok=True)


def _digest_there(path: Path, algorithm: str) -> tuple[int, str] | None:
    """Size and digest of a file that is there already; None if none is."""
    with files.writing(path), contextlib.suppress(FileNotFoundError), path.open("rb", buffering=0) as file:
        return digest_of(file, algorithm)
    return None


def _copied(source: BinaryIO, destination: Path, algorithm: str) -> tuple[int, str]:
    """Copy to a new file; return size and digest. Raises OSError for the source, ToolError for the copy."""
    digest, size_bytes = hashlib.new(algorithm), 0
    with files.writing(destination):
        file = destination.open("xb", buffering=0)
    with file:
        while data := source.read(CHUNK_BYTES):
            digest.update(data)
            size_bytes += len(data)
            with files.writing(destination):
                files.write_all(file, memoryview(data))
    return size_bytes, digest.hexdigest()


def _each(
    work: Callable[[str], tuple[int, str]], bag: Mapping[str, str]
) -> Iterator[tuple[str, tuple[int, str]]]:
    pool = ThreadPoolExecutor(COPIERS, thread_name_prefix="retrieving")
    try:
        yield from zip(bag, pool.map(work, bag), strict=True)
    finally:
        pool.shutdown(cancel_futures=True)
