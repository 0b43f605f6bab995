"""From rows of pages.csv to frames and views, each with an identifier that is safe in URLs and file names."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import PurePosixPath

from pipeline.errors import Problem
from pipeline.files import slug
from pipeline.model import Frame, FrameKind, Light, LightKind, View
from pipeline.record.table import NAME, Row
from pipeline.tomldoc.problems import listed, near_miss, plain, quoted

RESERVED = frozenset({"canvas", "range", "manifest", "collection"})
"""Path segments that IIIF documents use beside the frames of an item."""

LONGEST = 80
"""Letters of an identifier: names of files are made from it, and file systems allow 255 bytes."""

Unsound = Mapping[int, set[str]]
"""Columns, by the number of their row, that say nothing we know."""


def row_problems(rows: Sequence[Row], sessions: Sequence[str], unsound: Unsound) -> Iterator[Problem]:
    """Yield what is wrong with rows: what they lack, sessions that are not there, repeated labels."""
    for row in rows:
        if "kind" not in unsound.get(row.number, ()):
            yield from _lacks(row)
        yield from _session_problems(row, sessions)
    yield from _no_session(rows, sessions)
    yield from _repeated_labels([row for row in rows if not unsound.get(row.number)])


def kind_of(row: Row) -> FrameKind:
    """What the frame of a row shows: a page if the row does not say."""
    return FrameKind(row.get("kind") or FrameKind.PAGE)


def _light(row: Row) -> Light:
    word, _, qualifier = row.get("light").partition(" ")
    return Light(kind=LightKind(word or LightKind.NORMAL), qualifier=" ".join(qualifier.split()))


def label_of(row: Row) -> str:
    """The label of a row, with single blanks and composed accents."""
    return plain(row.get("label"))


def _lacks(row: Row) -> Iterator[Problem]:
    shows_the_object = kind_of(row).is_reading_matter
    if not row.get("file") and not shows_the_object:
        yield Problem(
            where=row.where("file"),
            found="nothing",
            expected=f"the file of this {kind_of(row)}",
            advice="give the file, or remove the row",
        )
    elif not label_of(row) and shows_the_object:
        has_file = bool(row.get("file"))
        advice = "targets and flats need none: then write target or flat under kind"
        yield Problem(
            where=row.where("label"),
            found="nothing",
            expected="what the view is called, such as f. 1r" if has_file else "a label, a file, or both",
            advice=advice if has_file else "fill in the row or remove it",
        )


def _session_problems(row: Row, sessions: Sequence[str]) -> Iterator[Problem]:
    name = row.get("session")
    if name and name not in sessions:
        yield Problem(
            where=row.where("session"),
            found=quoted(name),
            expected=f"the id of a [[session]] of item.toml: {listed(sessions)}"
            if sessions
            else "the id of a [[session]], and item.toml has none",
            advice=near_miss(name, sessions) or "correct it, or add the [[session]] to item.toml",
        )


def _no_session(rows: Sequence[Row], sessions: Sequence[str]) -> Iterator[Problem]:
    """Yield one problem for all captured frames that do not say in which of several sessions."""
    silent = [row.number for row in rows if row.get("file") and not row.get("session")]
    if silent and len(sessions) > 1:
        yield Problem(
            where=f'{NAME}, {_numbers(silent)}, column "session"',
            found="nothing",
            expected=f"one of the sessions of item.toml: {listed(sessions)}",
            advice="say in which session each frame was made; only where there is one may it be left out",
        )


def _numbers(rows: Sequence[int]) -> str:
    """Return ``row 7``, ``rows 7, 8 and 12``, ``rows 2 to 300``."""
    if len(rows) == 1:
        return f"row {rows[0]}"
    if len(rows) > 2 and list(rows) == list(range(rows[0], rows[-1] + 1)):
        return f"rows {rows[0]} to {rows[-1]}"
    shown = list(map(str, rows[:8]))
    last = f"{len(rows) - 8} more" if len(rows) > 8 else shown.pop()
    return f"rows {', '.join(shown)} and {last}"


def _repeated_labels(rows: Sequence[Row]) -> Iterator[Problem]:
    """Yield rows of the same label and kind in the same light, and views both captured and not."""
    first: dict[tuple[str, FrameKind, object], Row] = {}
    captured: dict[tuple[str, FrameKind], Row] = {}
    for row in rows:
        label, kind = label_of(row), kind_of(row)
        if not label or not kind.is_reading_matter:
            continue
        same = first.setdefault((label, kind, _light(row)), row)
        other = captured.setdefault((label, kind), row)
        if bool(other.get("file")) is not bool(row.get("file")):
            yield _captured_and_not(row, other, label)
        elif same is not row:
            yield _same_light(row, same, label)


def _same_light(row: Row, earlier: Row, label: str) -> Problem:
    light = _light(row)
    again = f"{quoted(label)} in {light} light" if row.get("file") else f"{quoted(label)} without a file"
    return Problem(
        where=row.where("label"),
        found=f"{again} a second time, after row {earlier.number}",
        expected="each view once in each light",
        advice="correct the label, give the light, or remove the frame that is not wanted",
    )


def _captured_and_not(row: Row, earlier: Row, label: str) -> Problem:
    return Problem(
        where=row.where("label"),
        found=f"{quoted(label)} {'with' if row.get('file') else 'without'} a file, "
        f"and {'with' if earlier.get('file') else 'without'} one in row {earlier.number}",
        expected="a view to be either captured or not",
        advice="remove the row without a file, or correct its label",
    )


# --------------------------------------------------------------------------------------------- values


def make_frames(
    rows: Sequence[Row], files: Mapping[int, PurePosixPath], sessions: Sequence[str]
) -> tuple[Frame, ...]:
    """Return the frames of rows that have no problem; `files` has the masters by the row's number."""
    only = sessions[0] if len(sessions) == 1 else ""
    identifiers = _frame_identifiers(rows, files)
    return tuple(
        Frame(
            identifier=identifiers[row.number],
            file=files.get(row.number),
            label=label_of(row),
            kind=kind_of(row),
            session=row.get("session") or (only if row.number in files else ""),
            light=_light(row),
            note=row.get("note"),
            row=row.number,
        )
        for row in rows
    )


def _frame_identifiers(rows: Sequence[Row], files: Mapping[int, PurePosixPath]) -> dict[int, str]:
    """Name frames after their files, and those without a file after their label.

    Where two would have one name, the file that comes first by its path keeps it and the others get a
    number: the order of the rows has no say, so that moving a row changes no address.
    """
    taken = set(RESERVED)
    identifiers: dict[int, str] = {}
    captured = sorted((str(path), number) for number, path in files.items())
    for path, number in captured:
        identifiers[number] = unique(short_name(_stem(path)), taken)
    for row in rows:
        if row.number not in files:
            identifiers[row.number] = unique(short_name(label_of(row)), taken)
    return identifiers


def short_name(text: str) -> str:
    """Return a safe name made from `text`; a long one is cut, and told from its like by a digest."""
    name = slug(text)
    if len(name) <= LONGEST:
        return name
    digest = hashlib.sha256(text.encode()).hexdigest()[:8]
    return f"{name[: LONGEST - 9].rstrip('-_')}-{digest}"


def _stem(path: str) -> str:
    return str(PurePosixPath(path).with_suffix("")).replace("/", "-")


def unique(name: str, taken: set[str]) -> str:
    """Return `name`, with a number if it is taken already, and take it; letter case does not count."""
    free, number = name, 2
    while free.lower() in taken:
        free, number = f"{name}-{number}", number + 1
    taken.add(free.lower())
    return free


def make_views(frames: Iterable[Frame]) -> tuple[View, ...]:
    """Return what a reader turns to: frames of one label and kind, in different light, are one view.

    A view stands where its first frame is listed. Targets and flats are none.
    """
    groups: dict[tuple[str, FrameKind], list[Frame]] = {}
    for frame in frames:
        if frame.kind.is_reading_matter:
            groups.setdefault((frame.label, frame.kind), []).append(frame)
    return tuple(_view(group, order) for order, group in enumerate(groups.values(), start=1))


def _view(group: list[Frame], order: int) -> View:
    captured = [frame for frame in group if frame.file is not None]
    captured.sort(key=lambda frame: frame.light.kind is not LightKind.NORMAL)
    return View(
        identifier=(captured or group)[0].identifier,
        label=group[0].label,
        kind=group[0].kind,
        frames=tuple(captured),
        order=order,
    )
