"""What a PDF is made from. Texts of strangers have been through `pipeline.files.visible` before."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Wording:
    """A text and the language that it is in (BCP 47); none if that is not known."""

    text: str
    language: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One line of the title page: what it is, what it says, where that leads."""

    label: Wording
    value: Wording
    url: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One view."""

    image: Path
    """A JPEG, in grey or RGB."""
    label: str
    """What readers call it, and type in to get there: ``f. 3r``."""
    description: Wording
    """What is said to those who do not see it."""
    size_mm: tuple[float, float] | None = None
    """Width and height of what the image shows; None if nobody knows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A named run of views, an entry of the outline."""

    label: str
    first: int
    """Where it begins, as an index of the book's pages."""
    sections: tuple[Section, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Book:
    """One item."""

    title: Wording
    language: str
    """Of the words that are not the item's own (BCP 47)."""
    fields: tuple[Field, ...]
    """The title page, below the title."""
    note: str
    """The title page's last line: from what the PDF was made, and when."""
    title_page_label: str
    holder: str
    rights: str
    rights_url: str
    address: str
    """Where the item stands on the site, for as long as it stands there."""
    pages: tuple[Page, ...]
    sections: tuple[Section, ...] = ()
    right_to_left: bool = False
    """True if pages are turned from left to right."""
