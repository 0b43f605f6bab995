"""What goes into the PDF of an item, read from its manifest and its MODS record."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path, PurePosixPath
from types import MappingProxyType
from typing import Any
from urllib.parse import unquote

from pipeline import layout, xmldoc
from pipeline.errors import InputError
from pipeline.files import resolve_inside
from pipeline.pages import reading
from pipeline.pages.links import Links
from pipeline.pages.reading import Reading, View
from pipeline.pages.text import Texts, plain, shown
from pipeline.pdf import Book, Field, Page, Section, Wording
from pipeline.specs import mods
from pipeline.specs.rights import statement_of


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class _Words:
    """What the title page says beside the words of the item."""

    title_page: str
    holder: str
    rights: str
    address: str
    made: str
    made_of: str


_WORDS = MappingProxyType(
    {
        "en": _Words(
            title_page="title page",
            holder="Holder",
            rights="Rights",
            address="Address",
            made="Made by solander from the access images.",
            made_of="Made by solander, from images of {}.",
        ),
        "de": _Words(
            title_page="Titelblatt",
            holder="Besitz",
            rights="Rechte",
            address="Adresse",
            made="Von solander aus den Ansichtsbildern erzeugt.",
            made_of="Von solander erzeugt, aus Aufnahmen vom {}.",
        ),
    }
)


def book_of(manifest: Mapping[str, Any], files: Path, *, item: str, base_url: str, address: str) -> Book:
    """Return an item as a book: a page for each access image that its manifest offers.

    `files` is the folder that lies under `base_url`, the base URL of the manifest; `address` is that of the
    item's page. A view in several lights has a page for each. The book speaks the language that the
    manifest's title comes in first, if that is one of ours, or else English. Raises InputError for an item
    without access images, or one whose MODS record cannot be read.
    """
    found = reading.read(manifest, Links(base_url=base_url, depth=0))
    language = next((each.language for each in found.label if each.language in _WORDS), "en")
    speech = _Speech(language)
    pages = [tuple(_pages(view, item, files, speech)) for view in found.views]
    if not any(pages):
        raise InputError(f"{item}: has no access images to make a PDF of")
    captured = capture_dates(files / layout.public_metadata_path(item, "mods.xml"))
    words = _WORDS[language]
    return Book(
        title=speech.wording(found.label),
        language=language,
        fields=tuple(_fields(found, address, speech)),
        note=words.made_of.format(captured) if captured else words.made,
        title_page_label=words.title_page,
        holder=speech.wording(found.holder).text,
        rights=_rights(found),
        rights_url=found.rights,
        address=address,
        pages=tuple(itertools.chain.from_iterable(pages)),
        sections=tuple(_sections(found.sections, _firsts(pages), speech)),
        right_to_left=found.direction == "right-to-left",
    )


def capture_dates(record: Path) -> str:
    """Return when the images were made as a MODS record says it, the first and the last day; or nothing."""
    if not record.is_file():
        return ""
    dates = sorted(
        each.text.strip()
        for each in xmldoc.read(record).iter(f"{{{mods.NAMESPACE}}}dateCaptured")
        if each.text and each.text.strip()
    )
    return shown(" – ".join(dict.fromkeys((dates[0], dates[-1])))) if dates else ""


class _Speech:
    """Picks one language of several."""

    def __init__(self, language: str) -> None:
        self._language = language

    def wording(self, texts: Texts) -> Wording:
        """Return a text in the book's language, or in the first that it has."""
        if not texts:
            return Wording(text="")
        best = next((each for each in texts if each.language == self._language), texts[0])
        return Wording(text=shown(plain(best.value)), language=best.language)

    def own(self, text: str) -> Wording:
        """Return a word of ours."""
        return Wording(text=text, language=self._language)


# ------------------------------------------------------------------------------------------- title page


def _fields(found: Reading, address: str, speech: _Speech) -> Iterator[Field]:
    words = _WORDS[speech.own("").language]
    for pair in (*found.facts, *([found.credit] if found.credit else ())):
        yield Field(label=speech.wording(pair.label), value=speech.wording(pair.value))
    if found.holder:
        holder = speech.wording(found.holder)
        yield Field(label=speech.own(words.holder), value=holder, url=found.holder_href)
    if found.rights:
        rights = Wording(text=_rights(found), language="en")  # what the statements are called there
        yield Field(label=speech.own(words.rights), value=rights, url=found.rights)
        yield Field(label=Wording(text=""), value=Wording(text=found.rights), url=found.rights)
    yield Field(label=speech.own(words.address), value=Wording(text=address), url=address)


def _rights(found: Reading) -> str:
    statement = statement_of(found.rights)
    return statement.label if statement else found.rights


# ------------------------------------------------------------------------------------ pages and sections


def _pages(view: View, item: str, files: Path, speech: _Speech) -> Iterator[Page]:
    label = speech.wording(view.label)
    images = [image for file in view.files if (image := _access_image(file.href, item, files))]
    lights = [speech.wording(each.label).text for each in view.pictures]
    for number, image in enumerate(images):
        light = lights[number] if number and len(lights) == len(images) else ""
        text = f"{label.text}, {light}" if light else label.text
        yield Page(
            image=image,
            label=text,
            description=Wording(text=text, language=label.language),
            size_mm=_size_mm(view),
        )


def _access_image(href: str, item: str, files: Path) -> Path | None:
    path = PurePosixPath(unquote(href).removeprefix("./"))
    if path.parent != layout.access_path(item, "any").parent:
        return None
    return resolve_inside(files, path)


def _size_mm(view: View) -> tuple[float, float] | None:
    if not (view.mm_per_unit and view.width and view.height):
        return None
    return view.width * view.mm_per_unit, view.height * view.mm_per_unit


def _firsts(pages: Sequence[tuple[Page, ...]]) -> list[int]:
    """Return the page that each view begins at; for one without images, the next one's."""
    counts = itertools.accumulate(map(len, pages), initial=0)
    last = sum(map(len, pages)) - 1
    return [min(count, last) for count in counts]


def _sections(
    sections: Sequence[reading.Section], firsts: Sequence[int], speech: _Speech
) -> Iterator[Section]:
    for section in sections:
        yield Section(
            label=speech.wording(section.label).text,
            first=firsts[section.view],
            sections=tuple(_sections(section.sections, firsts, speech)),
        )
