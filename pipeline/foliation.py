"""What a folio or page label says: zone, number, suffix and side.

Read are labels as photographers and cataloguers write them::

    f. 3r   3v   fol. 3 recto   f. 12bis r   f. 12a v   f. 12a (the recto, a and b for r and v)
    f. ii v   f. iiv   front flyleaf i r   back pastedown   inside front cover   front cover
    p. 34   p. iv   ff. 1v–2r   pp. 34-35   f. 12r (folded)

What stands in brackets at the end is a remark and says nothing of the place. A closed-up ``v`` after a
Roman numeral is the verso: ``f. iv`` is the back of leaf i; leaf iv is written ``f. iv r``.
Everything here is pure; a label that says nothing of a place gives None and is never an error.
"""

from __future__ import annotations

import bisect
import enum
import itertools
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace


class Side(enum.StrEnum):
    """The front or the back of a leaf."""

    RECTO = "recto"
    VERSO = "verso"

    @property
    def letter(self) -> str:
        """``r`` or ``v``."""
        return self.value[0]


class Zone(enum.StrEnum):
    """The parts of a bound volume, in the order in which they are turned to."""

    FRONT_COVER = "front cover"
    FRONT_PASTEDOWN = "front pastedown"
    FRONT_FLYLEAF = "front flyleaf"
    PRELIMINARY = "preliminary"
    """Numbered in Roman: before the text; behind it where no leaf of the text follows any more."""
    TEXT = "text"
    BACK_FLYLEAF = "back flyleaf"
    BACK_PASTEDOWN = "back pastedown"
    BACK_COVER = "back cover"


_ZONES = tuple(Zone)
_SUFFIXES = ("", "bis", "ter", "quater", "quinquies", "sexies")


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One side of a leaf, or one page."""

    zone: Zone
    number: int = 0
    """Of the leaf or page; 0 for boards."""
    suffix: str = ""
    """What tells it from others of its number: ``a``, ``bis``, ``*``."""
    side: Side | None = None
    """For pages by the number: odd recto, even verso."""
    is_page: bool = False
    """Counted by pages, not by leaves."""

    @property
    def orderable(self) -> bool:
        """False for the outside of the boards, which may be listed anywhere."""
        return self.zone not in (Zone.FRONT_COVER, Zone.BACK_COVER)

    @property
    def sort_key(self) -> tuple[int, int, int, str, int]:
        """Sorts places as a volume is turned through; a place without a side comes first on its leaf."""
        rank = _SUFFIXES.index(self.suffix) if self.suffix in _SUFFIXES else len(_SUFFIXES)
        side = 0 if self.side is None else 1 + (self.side is Side.VERSO)
        return (_ZONES.index(self.zone), self.number, rank, self.suffix, side)

    @property
    def leaf(self) -> tuple[Zone, int, str]:
        """What both sides of a leaf have in common."""
        return (self.zone, self.number, self.suffix)


# --------------------------------------------------------------------------------------------- reading


def parse(label: str) -> Place | None:
    """Return the place that a label names, or None if it names none or more than one."""
    reading = _read(label)
    return reading.place if reading else None


def parse_opening(label: str) -> tuple[Place, Place] | None:
    """Return the two places of an opening, a verso and a recto or two pages that follow, or None."""
    readings = _read_opening(label)
    return (readings[0].place, readings[1].place) if readings else None


def side(label: str) -> Side | None:
    """Return the side that a label names.

    The front cover and the back pastedown are rectos, the front pastedown and the back cover versos.
    """
    place = parse(label)
    return place.side if place else None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Reading:
    """A place, and the pieces of the label that named it, so that others can be spelled alike."""

    place: Place
    lead: str = ""
    number: str = ""
    suffix: str = ""
    gap: str = ""
    side: str = ""


_FRONT, _BACK = "(?:front|upper)", "(?:back|rear|lower)"
_NUMBER = r"(?P<number>\d{1,5}|[ivxlcdm]+?)"
_SUFFIX = r"(?P<suffix>\s?(?:bis|ter|quater|quinquies|sexies)|(?<=\d)[a-qs-uw-z]|['′*])?"
_SIDE = r"(?P<gap>[\s.,]*)(?P<side>recto|verso|[rv][°º]?|[ab])?"
_LEAF = re.compile(
    rf"(?P<lead>(?:(?:ff|f|fols|fol|folios|folio|leaf)(?![a-z])\.?\s*)?){_NUMBER}{_SUFFIX}{_SIDE}", re.I
)
_FLYLEAF = re.compile(
    rf"(?P<lead>(?:(?P<front>{_FRONT})|(?P<back>{_BACK}))?\s*(?:fly-?\s?leaf|end-?leaf)\b\s*)"
    rf"(?:{_NUMBER}{_SUFFIX})?{_SIDE}",
    re.I,
)
_PAGE = re.compile(
    r"(?P<lead>(?:pp|p|pages|page)(?![a-z])\.?\s*)(?P<number>\d{1,5}|[ivxlcdm]+)"
    r"(?P<suffix>\s?(?:bis|ter|quater|quinquies|sexies)|(?<=\d)[a-z])?",
    re.I,
)
_BOARDS = (
    (
        rf"{_FRONT} paste-?\s?down|inside {_FRONT} cover|{_FRONT} inside cover",
        Zone.FRONT_PASTEDOWN,
        Side.VERSO,
    ),
    (rf"{_BACK} paste-?\s?down|inside {_BACK} cover|{_BACK} inside cover", Zone.BACK_PASTEDOWN, Side.RECTO),
    (rf"{_FRONT} (?:cover|board)", Zone.FRONT_COVER, Side.RECTO),
    (rf"{_BACK} (?:cover|board)", Zone.BACK_COVER, Side.VERSO),
)
_ROMAN = re.compile(r"m{0,3}(?:cm|cd|d?c{0,4})(?:xc|xl|l?x{0,4})(?:ix|iv|v?i{0,4})", re.I)
_REMARK = re.compile(r"\s*[(\[][^()\[\]]*[)\]]$")
_DASH = re.compile(r"\s*[-‐‑–—]\s*")


def _plain(label: str) -> str:
    return _REMARK.sub("", " ".join(label.split()))


def _read(label: str) -> _Reading | None:
    text = _plain(label)
    return _read_page(text) or _read_leaf(text) or _read_flyleaf(text) or _read_board(text)


def _read_page(text: str) -> _Reading | None:
    match = _PAGE.fullmatch(text)
    if not match or (number := numeral_value(match["number"])) is None:
        return None
    suffix = _suffix(match["suffix"])
    zone = Zone.TEXT if match["number"].isdigit() else Zone.PRELIMINARY
    side = None if suffix else (Side.RECTO if number % 2 else Side.VERSO)
    place = Place(zone=zone, number=number, suffix=suffix, side=side, is_page=True)
    return _Reading(place=place, lead=match["lead"], number=match["number"], suffix=match["suffix"] or "")


def _read_leaf(text: str) -> _Reading | None:
    match = _LEAF.fullmatch(text)
    if not match:
        return None
    reading = _reading_of(match, Zone.TEXT if match["number"].isdigit() else Zone.PRELIMINARY)
    return reading if match["lead"] or (reading and _is_plain_enough(reading)) else None


def _is_plain_enough(reading: _Reading) -> bool:
    """True for what is a leaf without ``f.`` before it: ``3r``, ``ii v``; not ``12``, ``iv``, ``mix v``."""
    is_numeral = reading.number.isdigit() or (bool(reading.gap) and reading.place.number < 50)
    return reading.place.side is not None and is_numeral


def _read_flyleaf(text: str) -> _Reading | None:
    match = _FLYLEAF.fullmatch(text)
    if not match:
        return None
    zone = Zone.FRONT_FLYLEAF if match["front"] else Zone.BACK_FLYLEAF if match["back"] else Zone.PRELIMINARY
    return _reading_of(match, zone)


def _reading_of(match: re.Match[str], zone: Zone) -> _Reading | None:
    number = numeral_value(match["number"] or "i")
    if number is None:
        return None
    suffix, said = _suffix(match["suffix"]), match["side"] or ""
    if not said and suffix in ("a", "b"):
        suffix, said = "", suffix
    return _Reading(
        place=Place(zone=zone, number=number, suffix=suffix, side=_side(said)),
        lead=match["lead"],
        number=match["number"] or "",
        suffix=(match["suffix"] or "") if suffix else "",
        gap=match["gap"],
        side=said,
    )


def _read_board(text: str) -> _Reading | None:
    for pattern, zone, side in _BOARDS:
        if re.fullmatch(pattern, text, re.I):
            return _Reading(place=Place(zone=zone, side=side))
    return None


def _read_opening(label: str) -> tuple[_Reading, _Reading] | None:
    halves = _DASH.split(_plain(label))
    if len(halves) != 2 or not (left := _read(halves[0])):
        return None
    right = _read(left.lead + halves[1]) or _read(halves[1])
    return (left, right) if right and _face_each_other(left.place, right.place) else None


def _face_each_other(left: Place, right: Place) -> bool:
    if left.is_page or right.is_page:
        return left.is_page is right.is_page and left.zone is right.zone and right.number == left.number + 1
    return left.side is Side.VERSO and right.side is Side.RECTO and left.sort_key < right.sort_key


def numeral_value(text: str) -> int | None:
    """Return what digits or a Roman numeral count, or None if it is neither, or 0."""
    if text.isdigit():
        return int(text) or None
    if not _ROMAN.fullmatch(text):
        return None
    values = [_ROMAN_VALUES[letter] for letter in text.lower()]
    return sum(-v if v < after else v for v, after in zip(values, [*values[1:], 0], strict=True))


_ROMAN_VALUES = {"i": 1, "v": 5, "x": 10, "l": 50, "c": 100, "d": 500, "m": 1000}
_ROMAN_STEPS = (
    *((1000, "m"), (900, "cm"), (500, "d"), (400, "cd"), (100, "c"), (90, "xc"), (50, "l")),
    *((40, "xl"), (10, "x"), (9, "ix"), (5, "v"), (4, "iv"), (1, "i")),
)


def roman(number: int) -> str:
    """Return a number above 0 in lower-case Roman numerals."""
    text = ""
    for value, letters in _ROMAN_STEPS:
        count, number = divmod(number, value)
        text += letters * count
    return text


def _suffix(text: str | None) -> str:
    return (text or "").strip().lower().replace("′", "'")


def _side(text: str) -> Side | None:
    if not text:
        return None
    return Side.RECTO if text[0].lower() in "ra" else Side.VERSO


# -------------------------------------------------------------------------------------------- spelling


def spell(place: Place) -> str:
    """Return the label of a place as solander itself writes it: ``f. 3r``, ``f. ii v``, ``p. 34``."""
    if place.number == 0:
        return place.zone.value
    is_text = place.zone is Zone.TEXT
    number = (str(place.number) if is_text else roman(place.number)) + place.suffix
    if place.is_page:
        return f"p. {number}"
    lead = "f." if place.zone in (Zone.TEXT, Zone.PRELIMINARY) else place.zone.value
    letter = place.side.letter if place.side else ""
    gap = "" if is_text and not place.suffix else " "
    return f"{lead} {number}{gap if letter else ''}{letter}"


def order_label(label: str) -> str:
    """Return the bare folio or page number of a label: ``f. 1r`` gives ``1r``, ``p. 34`` gives ``34``.

    Serves as ORDERLABEL (METS 1.12.1, div). A label that names no numbered place is returned as it is.
    """
    if readings := _read_opening(label):
        return "–".join(_bare(each) for each in readings)
    reading = _read(label)
    return _bare(reading) if reading else _plain(label) or label


def _bare(reading: _Reading) -> str:
    place = reading.place
    if place.zone not in (Zone.TEXT, Zone.PRELIMINARY) or "leaf" in reading.lead.lower():
        return (
            f"{reading.lead}{reading.number}{reading.suffix}{reading.gap}{reading.side}" or place.zone.value
        )
    if place.is_page or place.side is None:
        return reading.number + reading.suffix
    gap = " " if reading.suffix or not reading.number.isdigit() else ""
    return f"{reading.number}{reading.suffix}{gap}{place.side.letter}"


# ------------------------------------------------------------------------------------------------ order


def out_of_order(labels: Sequence[str]) -> tuple[tuple[int, int], ...]:
    """Return pairs (i, j): label i stands after label j, although it precedes it in the foliation.

    One pair for each label that would have to move, as few labels as possible; no pair if all is in
    order. Leaves and pages are two series of their own; covers and labels that name no place are passed
    over. An opening stands at its first place, and a leaf without a side wherever its sides do.
    """
    places = _in_context([_first_place(label) for label in labels])
    pairs: set[tuple[int, int]] = set()
    for counts_pages in (False, True):
        series = [(i, p) for i, p in enumerate(places) if p and p.orderable and _belongs(p, counts_pages)]
        pairs.update(_inversions(series))
    return tuple(sorted(pairs))


def _belongs(place: Place, counts_pages: bool) -> bool:
    return place.is_page is counts_pages or place.zone not in (Zone.TEXT, Zone.PRELIMINARY)


def _first_place(label: str) -> Place | None:
    opening = parse_opening(label)
    return opening[0] if opening else parse(label)


def _in_context(places: list[Place | None]) -> list[Place | None]:
    """Move Roman leaves behind the text to the back, and give leaves without a side their place."""
    last_of_text = max((i for i, p in enumerate(places) if p and p.zone is Zone.TEXT), default=len(places))
    settled: list[Place | None] = []
    previous: Place | None = None
    for index, place in enumerate(places):
        if place and place.zone is Zone.PRELIMINARY and index > last_of_text:
            place = replace(place, zone=Zone.BACK_FLYLEAF)
        if place and place.side is None and previous and place.leaf == previous.leaf:
            place = replace(place, side=previous.side)
        settled.append(place)
        previous = place or previous
    return settled


def _inversions(series: list[tuple[int, Place]]) -> Iterator[tuple[int, int]]:
    kept = _longest_rise([place.sort_key for _, place in series])
    staying = [series[at] for at in kept]
    rows = [index for index, _ in staying]
    for at in sorted(set(range(len(series))) - set(kept)):
        index, place = series[at]
        follows = bisect.bisect(rows, index)
        before = staying[follows - 1] if follows else None
        is_late = before is not None and before[1].sort_key > place.sort_key
        yield (index, before[0]) if before and is_late else (staying[follows][0], index)


def _longest_rise(keys: Sequence[tuple[int, int, int, str, int]]) -> list[int]:
    """Return the positions of a longest run of keys that never falls."""
    tops: list[tuple[int, int, int, str, int]] = []
    ends: list[int] = []
    earlier: list[int] = []
    for at, key in enumerate(keys):
        length = bisect.bisect_right(tops, key)
        earlier.append(ends[length - 1] if length else -1)
        tops[length : length + 1] = [key]
        ends[length : length + 1] = [at]
    run: list[int] = []
    at = ends[-1] if ends else -1
    while at >= 0:
        run.append(at)
        at = earlier[at]
    return run[::-1]


# ----------------------------------------------------------------------------------------------- gaps


def missing_between(a: str, b: str) -> tuple[str, ...]:
    """Return the labels that recto and verso, or page numbers, expect between two neighbours.

    ``f. 1v`` and ``f. 2v`` give ``f. 2r``; spelled as the neighbours are. Between two openings openings
    are expected. Between parts of a volume (flyleaves and text) and around leaves with a suffix only the
    other halves of the two leaves are. Nothing, if `b` does not follow `a` or one of them names no place.
    """
    first, second = _read_opening(a), _read_opening(b)
    if first and second:
        return _openings_between(first, second)
    start = _alone(first[1]) if first else _read(a)
    end = _alone(second[0]) if second else _read(b)
    if not start or not end or start.place.sort_key >= end.place.sort_key:
        return ()
    return tuple(_spelled_like(start if p.leaf == start.place.leaf else end, p) for p in _between(start, end))


def other_side(label: str) -> str:
    """Return the label of the other side of a numbered leaf, spelled alike; nothing if it names none.

    Of pages, 1 and 2 are one leaf, 3 and 4 the next.
    """
    reading = _read(label)
    if reading is None or reading.place.side is None or not reading.place.number:
        return ""
    is_recto = reading.place.side is Side.RECTO
    other = replace(reading.place, side=Side.VERSO if is_recto else Side.RECTO)
    if other.is_page:
        other = replace(other, number=other.number + (1 if is_recto else -1))
    return _spelled_like(reading, other)


def _alone(reading: _Reading) -> _Reading:
    """Return half of an opening as it would be named by itself: ``f.`` for ``ff.``."""
    lead = re.sub(r"^ff|^pp", lambda match: match[0][0], reading.lead, flags=re.I)
    return replace(reading, lead=re.sub(r"(fol|folio|page)s", r"\1", lead, flags=re.I))


def _between(start: _Reading, end: _Reading) -> Iterator[Place]:
    a, b = start.place, end.place
    if a.is_page and b.is_page and a.zone is b.zone and not (a.suffix or b.suffix):
        for number in range(a.number + 1, b.number):
            yield replace(a, number=number, side=Side.RECTO if number % 2 else Side.VERSO)
    elif not (a.is_page or b.is_page) and a.side and b.side and a.leaf != b.leaf:
        yield from _leaves_between(a, b)


def _leaves_between(a: Place, b: Place) -> Iterator[Place]:
    if a.number and a.side is Side.RECTO:
        yield replace(a, side=Side.VERSO)
    if a.zone is b.zone and not (a.suffix or b.suffix):
        for number, side in itertools.product(range(a.number + 1, b.number), Side):
            yield replace(a, number=number, side=side)
    if b.number and b.side is Side.VERSO:
        yield replace(b, side=Side.RECTO)


def _openings_between(first: tuple[_Reading, _Reading], second: tuple[_Reading, _Reading]) -> tuple[str, ...]:
    left, right = first
    start, end = right.place, second[0].place
    if start.zone is not end.zone or start.suffix or end.suffix or start.is_page is not end.is_page:
        return ()
    firsts = range(start.number + 1, end.number, 2) if start.is_page else range(start.number, end.number)
    return tuple(
        f"{_spelled_like(left, replace(left.place, zone=start.zone, number=n))}–"
        f"{_digits_like(right, n + 1)}{right.gap}{right.side}"
        for n in firsts
    )


def _spelled_like(model: _Reading, place: Place) -> str:
    """Return the label of a place on a leaf near that of `model`, in its style."""
    number = model.number if place.number == model.place.number else _digits_like(model, place.number)
    suffix = model.suffix if place.suffix == model.place.suffix else place.suffix
    return f"{model.lead}{number}{suffix}{model.gap}{_side_like(model.side, place.side)}"


def _digits_like(model: _Reading, number: int) -> str:
    if model.number.isdigit():
        return str(number).zfill(len(model.number) if model.number.startswith("0") else 0)
    return roman(number).upper() if model.number.isupper() else roman(number)


def _side_like(said: str, wanted: Side | None) -> str:
    """Return recto or verso in the manner of `said`: r, R, recto, r°, a."""
    if not said or wanted is None:
        return ""
    if said[0].lower() in "ab":
        word = "a" if wanted is Side.RECTO else "b"
    else:
        word = wanted.value if len(said) > 2 else wanted.letter + said[1:]
    return word.upper() if said.isupper() else word
