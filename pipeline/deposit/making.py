"""Where a bag is made that comes out of a store: beside its place, in a folder that tells whose it is.

A retrieval that was interrupted leaves that folder; the next one to the same place goes on in it. What no
retrieval left, or one that is at work, is never touched.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterator, Set
from dataclasses import asdict, dataclass
from pathlib import Path

from pipeline import files
from pipeline.errors import InputError, ToolError

_SUFFIX = ".retrieving"
_LOCK, _NOTE, _BAG = ".lock", "retrieval.json", "bag"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is retrieved; the same again may go on where it stopped."""

    store: str
    object_id: str
    version: str
    inventory: str
    """The digest of the object's inventory."""

    def __str__(self) -> str:
        """Return it as messages tell it."""
        return f"{self.version} of {files.visible(self.object_id)} from {files.visible(self.store)}"


@contextlib.contextmanager
def place_of(folder: Path, wanted: Wanted, bag: Set[str]) -> Iterator[Path]:
    """Give the folder that a bag with these files is made in; what is right in it already may stay.

    Nobody else has it meanwhile. It is there afterwards, for `give_up` or `finish`. Raises InputError for one
    that is not ours, ToolError if another retrieval is at work.
    """
    making = _beside(folder)
    if making.is_symlink() or (making.exists() and not _is_ours(making)):
        raise InputError(
            f"{making}: is in the way, and no retrieval left it; move it away, or give another place"
        )
    with files.locked(making, what="retrieval"):
        if _note_in(making) != wanted or not _is_part_of(making / _BAG, bag):
            files.remove_tree(making / _BAG)
            files.write_atomically(making / _NOTE, (json.dumps(asdict(wanted), indent=2) + "\n").encode())
        yield making / _BAG


def finish(folder: Path) -> None:
    """Give the bag that was made its place, and take away what it was made in. Raises ToolError."""
    making = _beside(folder)
    with files.writing(folder):
        with contextlib.suppress(FileNotFoundError):
            folder.rmdir()  # an empty one
        (making / _BAG).rename(folder)
        files.sync_folder(folder.parent)
    files.remove_tree(making)


def give_up(folder: Path) -> None:
    """Take away what was made. Raises ToolError."""
    files.remove_tree(_beside(folder))


def left_in(parent: Path, *, but: Path) -> Iterator[str]:
    """Say what interrupted retrievals left in a folder, but for the one to the place `but`."""
    for making in sorted(parent.glob(f".*{_SUFFIX}")):
        note = _note_in(making)
        if note is None or making == _beside(but):
            continue
        with contextlib.suppress(ToolError), files.locked(making, what="retrieval"):
            if (making / _BAG).is_dir():
                yield (
                    f"{making}: was left by an interrupted retrieval of {note}; retrieve that to "
                    f"{making.name[1 : -len(_SUFFIX)]} again to go on, or remove this folder"
                )
            else:  # it had ended, but for this
                files.remove_tree(making)


def _beside(folder: Path) -> Path:
    return folder.with_name(f".{folder.name}{_SUFFIX}")


def _is_ours(making: Path) -> bool:
    """True for what a retrieval left, at whatever instant it was killed."""
    names = {path.name for path in making.iterdir()} if making.is_dir() else {""}
    begun = {name for name in names if name.startswith(f".{_NOTE}.") and name.endswith(".part")}
    return _note_in(making) is not None or names - begun <= {_LOCK}


def _note_in(making: Path) -> Wanted | None:
    try:
        document = json.loads((making / _NOTE).read_bytes())
        return Wanted(**document) if isinstance(document, dict) else None
    except (OSError, ValueError, TypeError):
        return None


def _is_part_of(folder: Path, bag: Set[str]) -> bool:
    """True if all that lies in a folder are files of the bag."""
    return all(
        not path.is_symlink() and (path.is_dir() or str(path.relative_to(folder)) in bag)
        for path in folder.rglob("*")
    )
