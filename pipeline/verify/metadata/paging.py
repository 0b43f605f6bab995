"""The pages that a structure map tells of, in its order."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import PurePosixPath

from pipeline.specs import mets
from pipeline.verify.evidence import Page, Pages, PagesKind
from pipeline.verify.metadata.mets_reading import Division, MetsReading


def walk(top: Division | None) -> Iterator[Division]:
    """Yield a division and all below it, in the order of the document."""
    waiting = [top] if top is not None else []
    while waiting:
        division = waiting.pop()
        yield division
        waiting += reversed(division.children)


def page_divisions(top: Division | None) -> Iterator[Division]:
    """Yield the divisions that are one thing to look at: a page, an opening, a cover.

    A division is one if its TYPE says so, if it has files of its own and no pages below it, or if it is
    empty. Frames that prove the image, such as colour targets, are none.
    """
    waiting = list(reversed(top.children)) if top is not None else []
    while waiting:
        division = waiting.pop()
        kind = division.type.strip().lower()
        if kind in mets.PROOF_TYPES:
            continue
        if kind in mets.PAGE_TYPES or not division.children or (division.files and not _has_pages(division)):
            yield division
        else:
            waiting += reversed(division.children)


def _has_pages(division: Division) -> bool:
    return any(each.type.strip().lower() in mets.PAGE_TYPES for each in division.children)


def files_below(division: Division) -> tuple[str, ...]:
    """Return the FILEIDs of a division and of all below it, each once."""
    return tuple(dict.fromkeys(identifier for each in walk(division) for identifier in each.files))


def is_not_captured(division: Division) -> bool:
    """True if the division says of itself that there is no image of it."""
    return mets.NOT_CAPTURED in division.label.lower()


def pages_of(reading: MetsReading, paths: Mapping[str, str]) -> Pages | None:
    """Return the account of the pages of a METS document; None if it has none.

    `paths` are the locations of its files by their IDs: in the bundle, or addresses.
    """
    physical = reading.physical
    pages = tuple(
        Page(label=each.label or each.order_label, files=_stems(each, paths))
        for each in page_divisions(physical.root if physical else None)
    )
    return Pages(document=reading.path, kind=PagesKind.METS, pages=pages) if pages else None


def _stems(division: Division, paths: Mapping[str, str]) -> tuple[str, ...]:
    found = (paths.get(identifier, "") for identifier in files_below(division))
    return tuple(dict.fromkeys(PurePosixPath(path).stem.lower() for path in found if path))
