"""What lies in the masters' folder, held against what pages.csv lists."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from pipeline.errors import Problem, ToolError
from pipeline.files import folded, resolve_inside, walk_files
from pipeline.master_names import RAW_SUFFIXES
from pipeline.record.table import NAME, Row
from pipeline.tomldoc.problems import near_miss, quoted

IMAGE_SUFFIXES = frozenset(
    {
        *(".tif", ".tiff", ".btf", ".tf8", ".jp2", ".jpx", ".jpf", ".j2k", ".j2c", ".jpc", ".jph"),
        *(".jpg", ".jpeg", ".jpe", ".jfif", ".png"),
        *RAW_SUFFIXES,
        *(".avif", ".bmp", ".dpx", ".exr", ".gif", ".hdr", ".heic", ".heif", ".jxl", ".psb", ".psd"),
        *(".pcx", ".pgm", ".pnm", ".ppm", ".tga", ".webp", ".xcf"),
    }
)
"""File names that end so are taken for images, whether they can serve as masters or not."""
_MOST_TOLD = 20
"""Files that are told of one by one; of more only the number is told."""


def image_files(folder: Path) -> tuple[PurePosixPath, ...]:
    """Return the images below `folder`, relative to it, sorted; hidden files and folders are passed over.

    A folder that is not there has none. Raises ToolError if it cannot be read.
    """
    if not folder.is_dir():
        return ()
    try:
        return tuple(path for path in walk_files(folder) if _is_image(path))
    except OSError as error:
        raise ToolError(f"{folder}: cannot be read ({error.strerror or error})") from error


def _is_image(path: PurePosixPath) -> bool:
    return path.suffix.lower() in IMAGE_SUFFIXES and not any(part.startswith(".") for part in path.parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Matched:
    """The rows' files as they lie in the masters' folder, and what does not match."""

    files: Mapping[int, PurePosixPath]
    """By the row's number; only rows whose file is there."""
    problems: tuple[Problem, ...]
    missing: tuple[Problem, ...]
    """Files that are listed and not there."""


def match_masters(rows: tuple[Row, ...], masters: Path, *, are_all: bool, folder_key: str) -> Matched:
    """Hold the rows' files against the masters' folder.

    Files without a row are told of only if `are_all` rows could be read. `folder_key` is where a person
    finds the setting that names the folder. Raises ToolError.
    """
    naming = [row for row in rows if row.get("file")]
    safe = [row for row in naming if _is_inside(row.get("file"))]
    present = _Present(masters)
    found = {row.number: path for row in safe if (path := present.find(row.get("file")))}
    absent = [row for row in safe if row.number not in found]
    problems = [*_unsafe_names(naming, {row.number for row in safe}), *_repeated_names(naming)]
    if (len(absent) > 1 and not found) or (naming and not masters.is_dir()):
        missing = [_all_missing(absent, masters, folder_key)]
        return Matched(files=found, problems=tuple(problems), missing=tuple(missing))
    if are_all:
        meant = {present.meant(_slashed(row.get("file"))) for row in naming if row.number not in found}
        listed = meant | set(found.values())
        problems += _unlisted([path for path in present.paths if path not in listed], masters)
    missing = [_missing(row, present) for row in absent[:_MOST_TOLD]]
    missing += _more_missing(absent, masters)
    return Matched(files=found, problems=tuple(problems), missing=tuple(missing))


class _Present:
    """The images that lie in the masters' folder, found by name as written or as evidently meant."""

    def __init__(self, masters: Path) -> None:
        self.masters = masters
        self.paths = image_files(masters)
        self.by_name = {_form(str(path)): path for path in self.paths} | {
            str(path): path for path in self.paths
        }
        self.by_likeness: dict[tuple[str, str], list[PurePosixPath]] = {}
        for path in self.paths:
            for likeness in _likenesses(path):
                self.by_likeness.setdefault(likeness, []).append(path)

    def find(self, name: str) -> PurePosixPath | None:
        """Return the file of that name: spelled so, or in another normal form of Unicode."""
        if path := self.by_name.get(name) or self.by_name.get(_form(name)):
            return path
        resolved = resolve_inside(self.masters, name)
        return PurePosixPath(name) if resolved and _is_there(self.masters / name) else None

    def meant(self, name: str) -> PurePosixPath | None:
        """Return the file that was evidently meant: the same but for case, folder or suffix."""
        likely = (self.by_likeness.get(likeness, []) for likeness in _likenesses(PurePosixPath(name)))
        return next((paths[0] for paths in likely if len(paths) == 1), None)


def _likenesses(path: PurePosixPath) -> tuple[tuple[str, str], ...]:
    whole = folded(str(path))
    without_suffix = whole.removesuffix(path.suffix.lower()) if path.suffix else whole
    return ("path", whole), ("name", folded(path.name)), ("stem", without_suffix)


def _form(name: str) -> str:
    return unicodedata.normalize("NFC", name)


def _is_inside(name: str) -> bool:
    """True for a name that stays below the folder it is looked up in; most need no second look."""
    if re.fullmatch(r"\w[\w .-]*", name):
        return True
    path = PurePosixPath(name)
    return resolve_inside(Path("/masters"), name) is not None and str(path) == name


def _is_there(path: Path) -> bool:
    """True if there is a file of exactly that name: some file systems do not mind the case of letters."""
    try:
        return path.is_file() and any(entry.name == path.name for entry in path.parent.iterdir())
    except OSError:  # a name too long for the file system, a folder that may not be read
        return False


# --------------------------------------------------------------------------------------------- messages


def _slashed(name: str) -> str:
    """Return a name with the separators that we want between folders."""
    return name.replace("\\", "/").removeprefix("./")


def _unsafe_names(rows: list[Row], safe: set[int]) -> Iterator[Problem]:
    for row in rows:
        if row.number in safe:
            continue
        name, slashed = row.get("file"), _slashed(row.get("file"))
        yield Problem(
            where=row.where("file"),
            found=quoted(name),
            expected="the name of a file in the masters' folder, with / between folders, "
            "without a drive, ~ or .. in it",
            advice=f"write {quoted(slashed)}" if _is_inside(slashed) else "give the file's name alone",
        )


def _repeated_names(rows: list[Row]) -> Iterator[Problem]:
    """Yield files that are listed twice, and names that some file systems take for one."""
    first: dict[str, Row] = {}
    for row in rows:
        name = row.get("file")
        earlier = first.setdefault(folded(name), row)
        if earlier is row:
            continue
        if earlier.get("file") == name:
            yield Problem(
                where=row.where("file"),
                found=f"{quoted(name)}, which row {earlier.number} lists already",
                expected="each file once",
                advice="remove one of the rows, or correct the name",
            )
        else:
            yield _twin(row, earlier)


def _twin(row: Row, earlier: Row) -> Problem:
    one, other = earlier.get("file"), row.get("file")
    in_form = _form(one) == _form(other)
    how = "only in the way an accent is coded (Unicode normal form)" if in_form else "only by letter case"
    return Problem(
        where=row.where("file"),
        found=f"{quoted(other)}, which differs from {quoted(one)} in row {earlier.number} {how}",
        expected="names that every file system tells apart",
        advice="rename one of the two files, and its row",
    )


def _missing(row: Row, present: _Present) -> Problem:
    name = row.get("file")
    near = present.meant(name)
    if near is not None:
        advice = f"there is {quoted(str(near))}: write it so"
        if folded(str(near)) == folded(name):
            advice += ", letter case counts"
    else:
        advice = near_miss(name, [str(path) for path in present.paths]) or (
            "put the file there, or leave `file` empty if this view was not captured"
        )
    return Problem(
        where=row.where("file"),
        found=f"{quoted(name)}, which is not there",
        expected=f"a file in {present.masters}",
        advice=advice,
    )


def _more_missing(absent: list[Row], masters: Path) -> Iterator[Problem]:
    if len(absent) > _MOST_TOLD:
        yield Problem(
            where=NAME,
            found=f"{len(absent) - _MOST_TOLD} more files that are listed and not there",
            expected=f"files in {masters}",
            advice="see whether `masters` in item.toml names the right folder",
        )


def _all_missing(rows: list[Row], masters: Path, folder_key: str) -> Problem:
    what = "no such folder" if not masters.is_dir() else f"none of the {len(rows)} files that {NAME} lists"
    return Problem(
        where=folder_key,
        found=f"{what} in {masters}" if masters.is_dir() else f"{what}: {masters}",
        expected="the folder of the master images",
        advice="correct `masters` in item.toml; it is a path from where item.toml lies",
    )


def _unlisted(paths: list[PurePosixPath], masters: Path) -> Iterator[Problem]:
    advice = "add a row for it, or move it out of this folder"
    for path in paths[:_MOST_TOLD]:
        yield Problem(
            where=f"{NAME}, no row for {quoted(str(path))}",
            found=f"the image in {masters}",
            expected="every image there to be listed",
            advice=advice,
        )
    if len(paths) > _MOST_TOLD:
        yield Problem(
            where=NAME,
            found=f"{len(paths) - _MOST_TOLD} more images in {masters} that are not listed",
            expected="every image there to be listed",
            advice="add a row for each, or move them out of this folder",
        )
