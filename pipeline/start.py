"""Starts an item folder: item.toml and pages.csv from the masters' names and headers.

What is guessed is said to be guessed, and what only a person can know is left to be filled in. What is
written can be loaded as it stands, but not built: the conservator has not cleared the object yet.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import os
import statistics
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from pipeline import foliation
from pipeline.errors import InputError, Problem, SettingsError
from pipeline.files import is_safe_name, resolve_inside, slug, write_atomically
from pipeline.master_names import Guess, common_prefix, guess_pages
from pipeline.model import MM_PER_INCH, FrameKind, ItemKind, MasterFacts
from pipeline.record import ITEM_TOML, PAGES_CSV, image_files
from pipeline.record.item import AS_LISTED, FOLIATION
from pipeline.record.table import COLUMNS
from pipeline.specs import tiff


def new_item_folder(
    folder: Path, masters: Path, *, read_facts: Callable[[Path], MasterFacts | None], today: dt.date
) -> tuple[Path, Path]:
    """Write item.toml and pages.csv for the masters below a folder, and return their paths.

    `read_facts` gives the facts of a master, or None if it cannot be read. `today` dates a session whose
    frames do not say when they were made.

    Raises SettingsError if one of the two files is there already (nothing is ever overwritten),
    InputError if there are no masters or their names cannot be listed, and ToolError.
    """
    item_toml, pages_csv = folder / ITEM_TOML, folder / PAGES_CSV
    _refuse_to_overwrite(folder, item_toml, pages_csv)
    names = _listable(masters)
    guesses = guess_pages(names)
    facts = {name: read_facts(masters / name) for name in names}
    sessions = _sessions(guesses, facts, today)
    draft = _Draft(
        shelfmark=_shelfmark(names, folder),
        kind=_item_kind(guesses),
        masters=_way_to(masters, folder),
        size_mm=_size_mm(guesses, facts),
        order=_order(guesses),
        guesses=guesses,
        sessions=sessions,
    )
    texts = {pages_csv: _pages_csv(draft), item_toml: _item_toml(draft)}
    for path, text in texts.items():
        write_atomically(path, text.encode())
    return item_toml, pages_csv


def _refuse_to_overwrite(folder: Path, *paths: Path) -> None:
    problems = [
        Problem(
            where=path.name,
            found="a file of that name",
            expected="no such file: what you wrote is never overwritten",
            advice="go on with this file, or move it away, or start in another folder",
        )
        for path in paths
        if os.path.lexists(path)
    ]
    if problems:
        raise SettingsError(f"{folder}: the item is started already; nothing was written", problems=problems)


def _listable(masters: Path) -> tuple[PurePosixPath, ...]:
    """Return the images of a folder. Raises InputError if there are none or one cannot be listed."""
    if not masters.is_dir():
        raise InputError(f"{masters}: is not a folder; give the folder of the master images")
    names = image_files(masters)
    if not names:
        raise InputError(f"{masters}: holds no image; give the folder of the master images")
    problems = [
        Problem(
            where=json.dumps(str(name)),
            found="a name that a page list cannot hold",
            expected="names without backslashes, control characters and blanks at their ends",
            advice="rename the file or its folder",
        )
        for name in names
        if not _is_listable(masters, str(name))
    ]
    if problems:
        raise InputError(f"{masters}: some masters cannot be listed; nothing was written", problems=problems)
    return names


def _is_listable(masters: Path, name: str) -> bool:
    is_plain = not any(unicodedata.category(letter) in ("Cc", "Cs") for letter in name)
    return resolve_inside(masters, name) is not None and name == name.strip() and is_plain


# -------------------------------------------------------------------------------------- what is guessed


@dataclass(frozen=True, slots=True, kw_only=True)
class _SessionDraft:
    """The frames of one day."""

    identifier: str
    date: dt.date
    is_from_files: bool
    ppi: float | None
    files: frozenset[PurePosixPath]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Draft:
    """All that both files will say."""

    shelfmark: str
    kind: ItemKind
    masters: str
    size_mm: tuple[int, int] | None
    order: str
    guesses: tuple[Guess, ...]
    sessions: tuple[_SessionDraft, ...]


def _shelfmark(names: Sequence[PurePosixPath], folder: Path) -> str:
    """Return what the names have in common, with blanks between its words, or else the folder's name."""
    words = " ".join(common_prefix(names).replace("_", " ").replace("-", " ").split()).strip(" .")
    return words or folder.resolve().name.encode(errors="ignore").decode().strip() or "item"


def _item_id(shelfmark: str) -> str:
    proposal = slug(shelfmark).lower().strip("-_")[:60].strip("-_")
    return proposal if is_safe_name(proposal) else f"item-{proposal}".strip("-_")


def _item_kind(guesses: Sequence[Guess]) -> ItemKind:
    kinds = {guess.kind for guess in guesses}
    labels = {guess.label for guess in guesses if guess.kind is FrameKind.PAGE}
    if FrameKind.FACE in kinds:
        return ItemKind.TABLET
    is_single = labels and labels <= {"recto", "verso", "front", "back", "f. 1r", "f. 1v"}
    return ItemKind.SHEET if is_single and not kinds & {FrameKind.COVER, FrameKind.SPINE} else ItemKind.CODEX


def _order(guesses: Sequence[Guess]) -> str:
    pages = [guess.label for guess in guesses if guess.kind in (FrameKind.PAGE, FrameKind.OPENING)]
    return AS_LISTED if foliation.out_of_order(list(dict.fromkeys(pages))) else FOLIATION


def _sessions(
    guesses: Sequence[Guess], facts: Mapping[PurePosixPath, MasterFacts | None], today: dt.date
) -> tuple[_SessionDraft, ...]:
    """Return a session for each day on which frames were made; one if they do not say."""
    said = {guess.file: _day(facts[guess.file]) for guess in guesses}
    first = min((day for day in said.values() if day), default=today)
    days = {file: day or first for file, day in said.items()}
    drafts: list[_SessionDraft] = []
    for number, day in enumerate(sorted(set(days.values())), start=1):
        own = frozenset(file for file, its_day in days.items() if its_day == day)
        drafts.append(
            _SessionDraft(
                identifier=f"s{number}",
                date=day,
                is_from_files=any(said[file] for file in own),
                ppi=_ppi([facts[file] for file in own]),
                files=own,
            )
        )
    return tuple(drafts)


def _day(facts: MasterFacts | None) -> dt.date | None:
    """Return the day of capture that a file tells, if it is one."""
    try:
        return dt.date.fromisoformat(facts.capture.captured_at[:10]) if facts else None
    except ValueError:
        return None


def _ppi(facts: Sequence[MasterFacts | None]) -> float | None:
    """Return the resolution that most files give, unless it is a placeholder."""
    said = [round(each.ppi[0], 1) for each in facts if each and each.ppi]
    usual = max(sorted(set(said)), key=said.count) if said else 0.0
    return usual if usual and not tiff.is_placeholder(usual) else None


def _size_mm(
    guesses: Sequence[Guess], facts: Mapping[PurePosixPath, MasterFacts | None]
) -> tuple[int, int] | None:
    """Return height and width of what a usual frame of a page or face covers."""
    kinds = {FrameKind.PAGE, FrameKind.FACE}
    seen = [facts[guess.file] for guess in guesses if guess.kind in kinds]
    sizes = [size for each in seen if each and (size := _covered_mm(each))]
    if not sizes:
        return None
    height, width = (round(statistics.median_low([size[n] for size in sizes])) for n in (0, 1))
    return (height, width) if height and width else None


def _covered_mm(facts: MasterFacts) -> tuple[float, float] | None:
    if not facts.ppi or any(map(tiff.is_placeholder, facts.ppi)):
        return None
    width_px, height_px = facts.displayed_size_px
    return height_px / facts.ppi[1] * MM_PER_INCH, width_px / facts.ppi[0] * MM_PER_INCH


def _way_to(masters: Path, folder: Path) -> str:
    """Return the way from the item's folder to the masters, by ``/``. Raises InputError if it is no text."""
    try:
        way = Path(os.path.relpath(masters.resolve(), folder.resolve())).as_posix()
    except ValueError:  # another drive
        way = masters.resolve().as_posix()
    if any(unicodedata.category(letter) == "Cs" for letter in way):
        raise InputError(
            f"{masters}: its path is not text in UTF-8, which item.toml must be; rename the folder; "
            "nothing was written"
        )
    return way


# ------------------------------------------------------------------------------------- what is written


def _pages_csv(draft: _Draft) -> str:
    """Return the page list; with a byte order mark where spreadsheets need one to see what it is."""
    table = io.StringIO()
    writer = csv.writer(table, lineterminator="\n")
    writer.writerow(COLUMNS)
    for guess in draft.guesses:
        session = next(each.identifier for each in draft.sessions if guess.file in each.files)
        light = "" if str(guess.light) == "normal" else str(guess.light)
        writer.writerow((guess.file, guess.label, guess.kind, session, light, ""))
    text = table.getvalue()
    return text if text.isascii() else f"\ufeff{text}"


def _item_toml(draft: _Draft) -> str:
    return "\n".join((_item_table(draft), _CARE, *map(_session_table, draft.sessions), _FURTHER))


def _quoted(text: str) -> str:
    """Return a text as a TOML basic string (TOML 1.0.0, String), which JSON's strings are but for DEL."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _line(setting: str, remark: str) -> str:
    return f"{setting:<36}# {remark}"


def _item_table(draft: _Draft) -> str:
    shelfmark = _quoted(draft.shelfmark)
    return "\n".join(
        (
            "# One item. Text after # is a remark; take the # away from the start of a line to use the line.",
            "# Check what was guessed from the masters, here and in pages.csv, and fill in the rest.",
            "",
            "[item]",
            _line(f"id = {_quoted(_item_id(draft.shelfmark))}", "name of the bundles, part of web addresses"),
            _line(f"shelfmark = {shelfmark}", "as the catalogue writes it"),
            _line(f"kind = {_quoted(draft.kind)}", ", ".join(ItemKind)),
            _line(f"title = {shelfmark}", 'fill in; or by language: { en = "Herbal", la = "Herbarium" }'),
            '# summary = "One or two sentences for readers"',
            '# date = "c. 1380"',
            _line("# date_range = [1370, 1395]", "the earliest and the latest year"),
            '# place = "Aldermoor"',
            _line('# languages = ["la"]', "tags of the text's languages: la, grc, ar, he, fr …"),
            '# material = "parchment"',
            '# extent = "ff. ii + 46 + ii"',
            _size_line(draft.size_mm),
            _line('reading = "left-to-right"', "or right-to-left, top-to-bottom, bottom-to-top"),
            _line(
                f"order = {_quoted(draft.order)}",
                f'"{AS_LISTED}" if the leaves need not follow their numbers',
            ),
            _line(f"masters = {_quoted(draft.masters)}", "the folder of the masters, seen from this file"),
            "",
        )
    )


def _size_line(size_mm: tuple[int, int] | None) -> str:
    if size_mm is None:
        return _line("# size_mm = [214, 152]", "height, width")
    height, width = size_mm
    return _line(
        f"# size_mm = [{height}, {width}]", "height, width that the frames cover: measure the object"
    )


_CARE = """\
[care]
# A conservator must clear the object first: nothing is built until this says true.
cleared = false
# assessed_by = "conservator"
# assessed_on = 2026-03-02
# largest_opening_deg = 100
# support = "cradle"
# handling = "turn leaves by the lower corner"
"""


def _session_table(session: _SessionDraft) -> str:
    when = "from the frames" if session.is_from_files else "today, for the frames do not say: correct it"
    ppi = f"ppi = {session.ppi:g}" if session.ppi else "# ppi = 600"
    whence = "from the frames" if session.ppi else "the frames do not say: pixels per inch at the object"
    return "\n".join(
        (
            "[[session]]",
            f"id = {_quoted(session.identifier)}",
            _line(f"date = {session.date.isoformat()}", when),
            '# operator = "imaging unit"',
            _line('# camera = "camera-1"', "this and what follows: ids in the register of solander.toml"),
            '# lens = "lens-1"',
            '# lights = ["flash-1", "flash-2"]',
            '# support = "cradle-1"',
            '# targets = ["chart-1"]',
            _line(ppi, whence),
            "",
        )
    )


_FURTHER = """\
# Sections: named runs of views, by their labels in pages.csv. One may lie within another.
# [[section]]
# label = { en = "Calendar" }
# from = "f. 1r"
# to = "f. 6v"
"""
