"""The title page: where each text goes, and its picture.

Texts are set as one picture, for no font that could be embedded holds every script: libvips sets them with
the fonts of the machine, right to left where it must. `pipeline.pdf.hidden_text` lays the characters
themselves over it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

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
    """One text on the title page, in points; `left` and `top` from the page's upper left corner."""

    wording: Wording
    picture: Lettering
    left: float
    top: float
    tone: float
    is_title: bool = False
    url: str = ""

    @property
    def width(self) -> float:
        """Of its ink."""
        return self.picture.width_px * 72 / _DPI

    @property
    def height(self) -> float:
        """Of its ink."""
        return self.picture.height_px * 72 / _DPI


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """The texts of the title page as they are seen, one byte for each pixel: 0 is black."""

    width_px: int
    height_px: int
    tones: bytes


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
    return height, tuple(itertools.chain.from_iterable(blocks for _, blocks in rows))


def drawn(height_pt: float, blocks: tuple[Block, ...]) -> Drawing:
    """Return the picture of a whole title page: so all its letters are sampled alike, at any zoom."""
    import numpy as np

    height_px, width_px = round(height_pt * _DPI / 72), round(WIDTH_PT * _DPI / 72)
    paper = np.full((height_px, width_px), 255, np.uint8)
    for block in blocks:
        picture = block.picture
        ink = np.frombuffer(picture.ink, np.uint8).reshape(picture.height_px, picture.width_px)
        top, left = round(block.top * _DPI / 72), round(block.left * _DPI / 72)
        place = paper[top : top + picture.height_px, left : left + picture.width_px]
        tones = (255 - ink * (1 - block.tone)).round().astype(np.uint8)
        np.minimum(place, tones[: place.shape[0], : place.shape[1]], out=place)
    return Drawing(width_px=width_px, height_px=height_px, tones=paper.tobytes())


def _rows(book: Book) -> Iterator[tuple[float, tuple[Block, ...]]]:
    """Yield each row's lower edge, from the top of the page, and its blocks."""
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
    return Block(
        wording=text.wording,
        picture=text.picture,
        left=left + text.picture.left_px * 72 / _DPI,
        top=top + text.picture.top_px * 72 / _DPI,
        tone=tone,
        is_title=is_title,
        url=url,
    )
