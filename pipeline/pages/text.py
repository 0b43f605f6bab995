"""Language maps of manifests as text for people: which language is shown first, what markup is kept.

Source: IIIF Presentation API 3.0, sections 4.4 (language of values) and 4.5 (HTML).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from html.parser import HTMLParser
from typing import Any, Final

from pipeline.pages.links import web_url
from pipeline.specs import bcp47

LANGUAGE: Final = "en"
"""The language of pages before a reader has chosen: that of the words in the templates."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """One text in one language; `language` is empty where none is known."""

    language: str
    value: str


Texts = tuple[Text, ...]
"""A text in every language that it has, the one that pages show first in front."""


def texts(language_map: object) -> Texts:
    """Return a language map's texts; several of one language are joined by semicolons.

    What is no language map gives nothing: a stranger's manifest may hold anything.
    """
    if not isinstance(language_map, dict):
        return ()
    found = (_text(tag, values) for tag, values in language_map.items())
    return tuple(sorted((text for text in found if text.value), key=lambda text: _rank(text.language)))


def _text(tag: Any, values: object) -> Text:
    several = values if isinstance(values, list) else [values]
    value = "; ".join(each.strip() for each in several if isinstance(each, str) and each.strip())
    known = isinstance(tag, str) and tag != bcp47.NONE and bcp47.has_form(tag)
    return Text(language=tag if known else "", value=value)


def _rank(language: str) -> int:
    primary = language.split("-")[0].lower()
    return (LANGUAGE, "").index(primary) if primary in (LANGUAGE, "") else 2


def first(found: Texts) -> str:
    """Return the text that is shown before a reader has chosen, or nothing."""
    return found[0].value if found else ""


def shown(text: str) -> str:
    """Return `text` with nothing in it that a page cannot hold: control characters, halves of characters.

    Marks of direction stay, since they are spelling in some scripts; each text is an element of its own,
    so none reaches beyond it (Unicode Bidirectional Algorithm, isolates).
    """
    return _UNHOLDABLE.sub(lambda match: "\ufffd" if match[0] >= "\ud800" else " ", text)


_UNHOLDABLE = re.compile(r"[\x00-\x1f\x7f-\x9f\ud800-\udfff]")


# ---------------------------------------------------------------------------------------------- markup


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A run of text, with where it leads if it is a link."""

    text: str
    href: str = ""
    breaks: bool = False
    """True if a new line begins after it."""


def pieces(value: str) -> tuple[Piece, ...]:
    """Return a value's text and links; of its markup nothing else is kept.

    Only what begins with ``<`` and ends with ``>`` is markup at all (Presentation API 3.0, section 4.5).
    """
    if not (value.startswith("<") and value.endswith(">")):
        return (Piece(text=value),)
    reader = _Reader()
    reader.feed(value)
    reader.close()
    return tuple(reader.found)


def plain(value: str) -> str:
    """Return a value without its markup, as one line."""
    text = "".join(piece.text + " " * piece.breaks for piece in pieces(value))
    return re.sub(r"\s+", " ", text).strip()


_BREAKS = frozenset({"br", "p"})
_UNREAD = frozenset({"script", "style", "template", "iframe", "object"})


class _Reader(HTMLParser):
    """Text and links of a value; scripts and their like are passed over with what they hold."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[Piece] = []
        self._href = ""
        self._unread = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._unread += tag in _UNREAD
        if tag == "a":
            self._href = web_url(dict(attrs).get("href"))
        if tag == "br":
            self._break()

    def handle_endtag(self, tag: str) -> None:
        self._unread = max(0, self._unread - (tag in _UNREAD))
        if tag == "a":
            self._href = ""
        if tag == "p":
            self._break()

    def handle_data(self, data: str) -> None:
        if not self._unread:
            self.found.append(Piece(text=data, href=self._href))

    def _break(self) -> None:
        if self.found:
            last = self.found.pop()
            self.found.append(Piece(text=last.text, href=last.href, breaks=True))


def languages(*several: Texts) -> Iterator[str]:
    """Yield every language of some texts once, in their order."""
    yield from dict.fromkeys(text.language for found in several for text in found if text.language)
