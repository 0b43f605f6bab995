"""What a MODS record says that rules look at: titles, identifiers, codes of languages, dates."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from pipeline.specs import mods, xlink
from pipeline.verify.metadata.documents import local, place_of
from pipeline.xmldoc import Element

_PREFIX = f"{{{mods.NAMESPACE}}}"
MODS_ROOT = f"{_PREFIX}mods"

DATES = (
    "dateIssued",
    "dateCreated",
    "dateCaptured",
    "dateValid",
    "dateModified",
    "copyrightDate",
    "dateOther",
)
_DATE_TAGS = tuple(
    f"{_PREFIX}{name}" for name in (*DATES, "temporal", "date", "recordCreationDate", "recordChangeDate")
)
_TERM_TAGS = (f"{_PREFIX}languageTerm", f"{_PREFIX}scriptTerm")


class Term(NamedTuple):
    """A code of a language or script."""

    place: str
    code: str
    authority: str


class Date(NamedTuple):
    """A date that says by which rules it is written."""

    place: str
    name: str
    text: str
    encoding: str
    point: str
    parent: int
    """Tells the elements apart that the dates stand in."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ModsRecord:
    """One record."""

    place: str
    has_title: bool
    has_identifier: bool
    terms: tuple[Term, ...]
    dates: tuple[Date, ...]
    is_main: bool = True
    """False for the record of a part, or of the physical source, inside METS."""
    present: frozenset[str] = frozenset()
    """Paths of all elements that have content, in themselves or below: ``titleInfo``, ``titleInfo/title``."""


def mods_records(path: str, root: Element, within: str = "", *, is_main: bool = True) -> Iterator[ModsRecord]:
    """Yield every record at or below an element; related items are parts of their record."""
    for element in root.iter(MODS_ROOT):
        yield ModsRecord(
            place=place_of(path, element, within),
            has_title=any(map(_says, element.iterfind(f"{_PREFIX}titleInfo/{_PREFIX}title"))),
            has_identifier=any(map(_says, element.iterchildren(f"{_PREFIX}identifier"))),
            terms=tuple(_terms(path, element)),
            dates=tuple(_dates(path, element)),
            is_main=is_main,
            present=frozenset(_present(element)),
        )


def _present(record: Element) -> Iterator[str]:
    for element in record.iterdescendants(f"{_PREFIX}*"):
        if _says(element) or any(map(_HOLDING.__contains__, element.attrib)):
            names: list[str] = []
            above: Element | None = element
            while above is not None and above is not record:
                names.insert(0, local(above))
                above = above.getparent()
            yield from ("/".join(names[:length]) for length in range(1, len(names) + 1))


_HOLDING = frozenset({"valueURI", xlink.HREF})
"""Attributes that stand for content: a link in its place."""


def _says(element: Element) -> bool:
    return bool((element.text or "").strip())


def _terms(path: str, record: Element) -> Iterator[Term]:
    for each in record.iter(*_TERM_TAGS):
        if each.get("type") == "code":
            authority = each.get("authority") or ("" if local(each) == "languageTerm" else mods.ISO_15924)
            yield Term(place_of(path, each), (each.text or "").strip(), authority)
    for each in record.iter(f"{_PREFIX}*"):
        if code := each.get("lang"):
            yield Term(place_of(path, each), code.strip(), mods.ISO_639_2B)


def _dates(path: str, record: Element) -> Iterator[Date]:
    parents: dict[Element | None, int] = {}
    for each in record.iter(*_DATE_TAGS):
        if encoding := each.get("encoding"):
            yield Date(
                place_of(path, each),
                local(each),
                (each.text or "").strip(),
                encoding,
                each.get("point") or "",
                parents.setdefault(each.getparent(), len(parents)),
            )
