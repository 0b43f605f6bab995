"""Page lists: tables of files and labels in reading order, as CSV files in a bundle.

Read are UTF-8 with or without a byte order mark, commas, semicolons or tabs. Columns may stand in any
order; those that are not known are passed over. Source: docs/item-files.md, pages.csv.
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pipeline.containers import read_bytes
from pipeline.errors import InputError
from pipeline.model import FrameKind
from pipeline.verify.evidence import Bundle, Page, Pages, PagesKind
from pipeline.verify.roles import frame_names, stem_of

MOST_BYTES = 64 << 20
_PROOFS = {each.value for each in FrameKind if not each.is_reading_matter}
"""Kinds of frames that readers do not turn to."""
_NEEDED = {"file", "label"}
_SEPARATORS = ",;\t"
_NAME = "pages.csv"
_SHOWN = 80
"""Characters of a line that is shown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row: a frame, or a page that was not captured."""

    document: str
    """The page list's path in the bundle."""
    line: int
    """In the list, its first line being 1."""
    file: str
    """As it is written; empty for a page without an image."""
    label: str
    kind: str
    session: str
    note: str

    @property
    def stem(self) -> str:
        """The file's name without its ending, in lower case."""
        return stem_of(self.file)

    @property
    def names(self) -> tuple[str, ...]:
        """The names that the frame may go by."""
        return frame_names(self.file) if self.file else ()

    @property
    def is_proof(self) -> bool:
        """True for frames that prove the image and show nothing of the item: targets and flats."""
        return self.kind in _PROOFS


def rows_of(bundle: Bundle) -> tuple[Row, ...]:
    """Return the rows of all page lists of a bundle: CSV files whose first line names ``file``, ``label``."""
    return tuple(row for path in bundle.with_suffix(".csv") for row in _rows(bundle, path))


def unread_lists(bundle: Bundle) -> tuple[tuple[str, str], ...]:
    """Return files named as page lists that cannot be read as such, each with the reason."""
    named = (path for path in bundle.with_suffix(".csv") if path.rpartition("/")[2].lower() == _NAME)
    found = ((path, _fault(bundle, path)) for path in named)
    return tuple((path, fault) for path, fault in found if fault)


def _fault(bundle: Bundle, path: str) -> str:
    try:
        data = read_bytes(bundle.container, path, limit=MOST_BYTES)
        lines = csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""), delimiter="\t")
        if list(_parsed(path, data.decode("utf-8-sig"))):
            return ""
        first = next((" ".join(cells) for cells in lines if any(map(str.strip, cells))), "")
        return f'no page under a first line with file and label, but "{first[:_SHOWN]}"'
    except InputError as error:
        return error.message.removeprefix(f"{path}: ")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        return f"line {line} is not in UTF-8"
    except csv.Error as error:
        return f"it is no table of separated values ({error})"


def page_lists(rows: tuple[Row, ...]) -> tuple[Pages, ...]:
    """Return every page list's account of the pages."""
    by_document: dict[str, list[Row]] = {}
    for row in rows:
        by_document.setdefault(row.document, []).append(row)
    return tuple(
        Pages(document=document, kind=PagesKind.PAGE_LIST, pages=tuple(_pages(listed)))
        for document, listed in by_document.items()
    )


def sessions_of(rows: tuple[Row, ...]) -> Mapping[str, str]:
    """Return the session of each frame, by the stem of its file's name."""
    return {row.stem: row.session for row in rows if row.file and row.session}


# ----------------------------------------------------------------------------------------------- reading


def _rows(bundle: Bundle, path: str) -> Iterator[Row]:
    try:
        text = read_bytes(bundle.container, path, limit=MOST_BYTES).decode("utf-8-sig")
        yield from list(_parsed(path, text))
    except (InputError, UnicodeDecodeError, csv.Error):
        return  # it is a table of some other kind; its digest is judged as any file's


def _parsed(path: str, text: str) -> Iterator[Row]:
    header = next((line for line in text.splitlines() if line.strip()), "")
    separator = max(_SEPARATORS, key=header.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    columns: list[str] = []
    for cells in reader:
        if not any(cell.strip() for cell in cells):
            continue
        if not columns:
            columns = [" ".join(cell.casefold().split()) for cell in cells]
            if not set(columns) >= _NEEDED:
                return
            continue
        yield _row(path, reader.line_num, dict(zip(columns, map(str.strip, cells), strict=False)))


def _row(path: str, line: int, cells: Mapping[str, str]) -> Row:
    return Row(
        document=path,
        line=line,
        file=cells.get("file", "").replace("\\", "/"),
        label=" ".join(cells.get("label", "").split()),
        kind=cells.get("kind", "").lower(),
        session=" ".join(cells.get("session", "").split()),
        note=cells.get("note", ""),
    )


def _pages(rows: list[Row]) -> Iterator[Page]:
    """One page for each label and kind, with all its frames: there may be several in different light.

    Frames without a label are pages of their own, and so is a frame that is listed again.
    """
    names: dict[tuple[str, str, int], list[str]] = {}
    times: Counter[tuple[str, str, str]] = Counter()
    for row in rows:
        if not row.is_proof and (row.label or row.file):
            label, kind = (row.label, row.kind) if row.label else ("", row.file)
            names.setdefault((label, kind, times[label, kind, row.file]), []).extend(row.names)
            times[label, kind, row.file] += 1
    for (label, _, _), found in names.items():
        yield Page(label=label, files=tuple(dict.fromkeys(found)))
