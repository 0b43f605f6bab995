"""Page lists: tables of files and labels in reading order, as CSV files in a bundle."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import PurePosixPath

from pipeline.containers import read_bytes
from pipeline.errors import InputError
from pipeline.verify.evidence import Bundle, Page, Pages, PagesKind

MOST_BYTES = 64 << 20
_NO_PAGES = {"target", "flat"}
"""Kinds of frames that readers do not turn to."""


def page_lists(bundle: Bundle) -> tuple[Pages, ...]:
    """Return every page list of a bundle: CSV files whose first line names ``file`` and ``label``."""
    return tuple(_page_lists(bundle))


def sessions_of(bundle: Bundle) -> dict[str, str]:
    """Return the session of each frame, by the stem of its file's name, as page lists tell."""
    return {
        PurePosixPath(row.get("file") or "").stem.lower(): (row.get("session") or "").strip()
        for _, rows in _tables(bundle)
        for row in rows
    }


Row = dict[str | None, str | None]


def _page_lists(bundle: Bundle) -> Iterator[Pages]:
    for path, rows in _tables(bundle):
        yield Pages(document=path, kind=PagesKind.PAGE_LIST, pages=tuple(_pages(rows)))


def _tables(bundle: Bundle) -> Iterator[tuple[str, list[Row]]]:
    for path in bundle.container.entries:
        if path.lower().endswith(".csv") and bundle.has(path):
            try:
                text = read_bytes(bundle.container, path, limit=MOST_BYTES).decode("utf-8-sig")
                rows: list[Row] = list(csv.DictReader(text.splitlines()))  # type: ignore[arg-type]
            except (InputError, UnicodeDecodeError, csv.Error):
                continue  # it is a table of some other kind; its digest is judged as any file's
            if rows and {"file", "label"} <= rows[0].keys():
                yield path, rows


def _pages(rows: list[Row]) -> Iterator[Page]:
    """One page for each label, with all its files: of one page there may be several in different light."""
    files: dict[str, list[str]] = {}
    for row in rows:
        label, file = (row.get("label") or "").strip(), (row.get("file") or "").strip()
        if label and (row.get("kind") or "").strip().lower() not in _NO_PAGES:
            files.setdefault(label, []).extend([PurePosixPath(file).stem.lower()] if file else [])
    for label, stems in files.items():
        yield Page(label=label, files=tuple(stems))
