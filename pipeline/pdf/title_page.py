"""The title page: where each text goes, and its picture.

Text is set as pictures, for no font that could be embedded holds every script: libvips sets it with the
fonts of the machine, right to left where it must. `pipeline.pdf.hidden_text` lays the characters
themselves over them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from pipeline.images import Lettering, lettering
from pipeline.pdf.book import Book, Wording

WIDTH_PT, LEAST_HEIGHT_PT = 595.28, 841.89
"""A4 (ISO 216)."""
MARGIN_PT = 64.0
_LABELS_PT = 128.0
_GAP_PT = 12.0
_VALUES_PT = WIDTH_PT - 2 * MARGIN_PT - _LABELS_PT - _GAP_PT
_TITLE_SIZE_PT, _TEXT_SIZE_PT, _SMALL_SIZE_PT = 21.0, 10.5, 8.5
_LINE = 1.17
"""Height of a line for a size of 1."""
_DPI = 220
_INK, _GREY = 0.1, 0.36
"""Tones, 0 black; the grey has a contrast of 7:1 to white (WCAG 2.2, success criterion 1.4.6)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One text on the title page; `left` and `bottom` from the page's lower left corner, in points."""

    wording: Wording
    picture: Lettering
    left: float
    bottom: float
    width: float
    height: float
    tone: float
    is_title: bool = False
    url: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Set:
    """A text that is set, its place from the upper left corner of its column."""

    wording: Wording
    picture: Lettering
    size_pt: float

    @property
    def height_pt(self) -> float:
        """Height of its lines."""
        reaches = (self.picture.top_px + self.picture.height_px) * 72 / _DPI
        return max(1, math.ceil(reaches / (_LINE * self.size_pt) - 0.05)) * _LINE * self.size_pt


def title_page(book: Book) -> tuple[float, tuple[Block, ...]]:
    """Return the height of the title page in points, and its texts in the order of reading.

    It is an A4 page, longer if the texts are.
    """
    rows = tuple(_rows(book))
    height = max(LEAST_HEIGHT_PT, rows[-1][0] + MARGIN_PT)
    return height, tuple(_moved(block, height) for _, blocks in rows for block in blocks)


def _rows(book: Book) -> Iterator[tuple[float, tuple[Block, ...]]]:
    """Yield each row's lower edge, from the top of the page, and its blocks, hung from there too."""
    full = WIDTH_PT - 2 * MARGIN_PT
    title = _text(book.title, _TITLE_SIZE_PT, full)
    yield MARGIN_PT + title.height_pt, (_hung(title, MARGIN_PT, MARGIN_PT, _INK, is_title=True),)
    top = MARGIN_PT + title.height_pt + 2 * _TEXT_SIZE_PT
    for field in book.fields:
        label = _text(field.label, _TEXT_SIZE_PT, _LABELS_PT)
        value = _text(field.value, _TEXT_SIZE_PT, _VALUES_PT)
        beside = MARGIN_PT + _LABELS_PT + _GAP_PT
        bottom = top + max(label.height_pt, value.height_pt)
        yield bottom, (_hung(label, MARGIN_PT, top, _GREY), _hung(value, beside, top, _INK, url=field.url))
        top = bottom + 0.5 * _TEXT_SIZE_PT
    note = _text(Wording(text=book.note, language=book.language), _SMALL_SIZE_PT, full)
    top = max(top + 2 * _TEXT_SIZE_PT, LEAST_HEIGHT_PT - MARGIN_PT - note.height_pt)
    yield top + note.height_pt, (_hung(note, MARGIN_PT, top, _GREY),)


def _text(wording: Wording, size_pt: float, width_pt: float) -> _Set:
    picture = lettering(wording.text, size_pt=size_pt, width_px=round(width_pt * _DPI / 72), dpi=_DPI)
    return _Set(wording=wording, picture=picture, size_pt=size_pt)


def _hung(
    text: _Set, left: float, top: float, tone: float, *, is_title: bool = False, url: str = ""
) -> Block:
    scale, picture = 72 / _DPI, text.picture
    return Block(
        wording=text.wording,
        picture=picture,
        left=left + picture.left_px * scale,
        bottom=top + (picture.top_px + picture.height_px) * scale,
        width=picture.width_px * scale,
        height=picture.height_px * scale,
        tone=tone,
        is_title=is_title,
        url=url,
    )


def _moved(block: Block, page_height: float) -> Block:
    """Return a block that hung from the page's top, standing on its lower edge."""
    return replace(block, bottom=page_height - block.bottom)
