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


def _page_lists(bundle: Bundle) -> Iterator[Pages]:
    for path in bundle.container.entries:
        if path.lower().endswith(".csv") and bundle.has(path):
            try:
                text = read_bytes(bundle.container, path, limit=MOST_BYTES).decode("utf-8-sig")
                rows = list(csv.DictReader(text.splitlines()))
            except (InputError, UnicodeDecodeError, csv.Error):
                continue  # it is a table of some other kind; its digest is judged as any file's
            if rows and {"file", "label"} <= rows[0].keys():
                yield Pages(document=path, kind=PagesKind.PAGE_LIST, pages=tuple(_pages(rows)))


def _pages(rows: list[dict[str | None, str | None]]) -> Iterator[Page]:
    """One page for each label, with all its files: of one page there may be several in different light."""
    files: dict[str, list[str]] = {}
    for row in rows:
        label, file = (row.get("label") or "").strip(), (row.get("file") or "").strip()
        if label and (row.get("kind") or "").strip().lower() not in _NO_PAGES:
            files.setdefault(label, []).extend([PurePosixPath(file).stem.lower()] if file else [])
    for label, stems in files.items():
        yield Page(label=label, files=tuple(stems))
