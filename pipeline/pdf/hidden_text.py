"""Characters over the pictures of text: not seen, but found, copied and read aloud.

They are of a font without outlines, whose codes say which characters they mean. Source: ISO 32000-1,
sections 9.3.6 (mode 3: neither filled nor stroked), 9.6.5 (Type 3 fonts), 9.10.3 (ToUnicode).
"""

from __future__ import annotations

import itertools
import unicodedata
from collections.abc import Iterator

_CODES = 256
UNIT = 1000
ADVANCE = 500
"""Of every character, in `UNIT`s of the font: half of its size."""


class Characters:
    """Gives every character of a document its font, numbered from 0, and its code in it."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}

    def place(self, character: str) -> tuple[int, int]:
        """Return the font's number and the code of a character."""
        return divmod(self._numbers.setdefault(character, len(self._numbers)), _CODES)

    def fonts(self) -> Iterator[tuple[str, ...]]:
        """Yield the characters of each font by their codes, when all have been placed."""
        characters = tuple(self._numbers)
        for start in range(0, len(characters), _CODES):
            yield characters[start : start + _CODES]


def shown(
    text: str, characters: Characters, *, left: float, bottom: float, width: float, height: float
) -> str:
    """Return the operators that lay `text` over a rectangle, in points, on one line.

    What is written from right to left is laid so, by mirrored text space: readers of the PDF put
    characters in order by where they are.
    """
    advance = width / max(1, len(text))
    operators = ["BT", "3 Tr"]
    at = left
    for run, leftwards in _in_order_of_place(text):
        start = at + advance * len(run) if leftwards else at
        wide = -2 * advance if leftwards else 2 * advance  # a character advances half of the font's size
        operators.append(f"{wide:.3f} 0 0 {height:.3f} {start:.3f} {bottom:.3f} Tm")
        operators.extend(_strings(run, characters))
        at += advance * len(run)
    return "\n".join([*operators, "ET"])


def _strings(run: str, characters: Characters) -> Iterator[str]:
    places = (characters.place(character) for character in run)
    for font, codes in itertools.groupby(places, key=lambda place: place[0]):
        text = "".join(f"{code:02x}" for _, code in codes)
        yield f"/Hidden{font} 1 Tf <{text}> Tj"


def _in_order_of_place(text: str) -> list[tuple[str, bool]]:
    """Return runs of words from left to right, and whether each is written leftwards."""
    words = text.split(" ")
    spaced = [*(f"{word} " for word in words[:-1]), words[-1]]
    runs = ["".join(run) for _, run in itertools.groupby(spaced, key=_goes_leftwards)]
    in_place = reversed(runs) if _begins_leftwards(text) else runs
    return [(run, _goes_leftwards(run)) for run in in_place if run]


def _goes_leftwards(text: str) -> bool:
    return any(unicodedata.bidirectional(character) in ("R", "AL") for character in text)


def _begins_leftwards(text: str) -> bool:
    """True if the first letter is of a script that goes to the left (UAX 9, rules P2 and P3)."""
    classes = (unicodedata.bidirectional(character) for character in text)
    return next((each for each in classes if each in ("L", "R", "AL")), "L") != "L"


def to_unicode(characters: tuple[str, ...]) -> bytes:
    """Return the CMap that says which character each code means."""
    lines = [
        "/CIDInit /ProcSet findresource begin 12 dict begin begincmap",
        "/CMapName /Hidden def /CMapType 2 def",
        "1 begincodespacerange <00> <ff> endcodespacerange",
    ]
    for start in range(0, len(characters), 100):  # no more in one block (Adobe technical note 5411)
        block = characters[start : start + 100]
        lines.append(f"{len(block)} beginbfchar")
        lines.extend(
            f"<{start + n:02x}> <{character.encode('utf-16-be').hex()}>" for n, character in enumerate(block)
        )
        lines.append("endbfchar")
    lines.append("endcmap CMapName currentdict /CMap defineresource pop end end")
    return "\n".join(lines).encode("ascii")
