"""What the names of masters say of the frames: label, kind, light, and the order of reading. Pure.

Names are guessed from, never trusted: what comes out is a page list for a person to look through.
Read are, with any separators and after what all names have in common::

    _001r   _0012_r   f003v   fol12v   012bis_r   _001v-002r   fol_ii_v      foliation
    -p034   page_12   p034-035                                             pagination
    front_cover   spine   head   fore-edge   pastedown   flyleaf_i_r       the binding
    obverse   left_edge   recto   foldout   detail                         things of other shapes
    raking_left   uv365nm   ir940   transmitted                            light
    target   T001   chart   flat   white                                   targets and flats
"""

from __future__ import annotations

import itertools
import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePosixPath

from pipeline import foliation
from pipeline.files import natural_key
from pipeline.foliation import Place, Side, Zone
from pipeline.model import FrameKind, Light, LightKind

RAW_SUFFIXES = frozenset(
    {
        *(".3fr", ".arw", ".cr2", ".cr3", ".crw", ".dcr", ".dng", ".erf", ".fff", ".iiq", ".kdc", ".mef"),
        *(".mos", ".mrw", ".nef", ".nrw", ".orf", ".pef", ".raf", ".raw", ".rw2", ".rwl", ".srw", ".x3f"),
    }
)
"""Names of what cameras write: images, but no masters."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """What a master's name says: one row of a page list."""

    file: PurePosixPath
    label: str
    kind: FrameKind
    light: Light


def guess_pages(names: Sequence[PurePosixPath]) -> tuple[Guess, ...]:
    """Return the rows of a page list for masters of these names, in the order of reading.

    No two rows have label, kind and light in common. What no name tells is numbered.
    """
    ordered = sorted(names, key=lambda name: natural_key(str(name)))
    prefix = common_prefix(ordered)
    readings = _as_faces([_read(name, prefix) for name in ordered])
    if not _are_in_sequence(readings):
        by_folder = _doubles(_numbered(readings)) > 0
        readings.sort(key=lambda reading: reading.sort_key(by_folder=by_folder))
    return _without_doubles(_numbered(readings))


# ----------------------------------------------------------------------------------- what names share

_SEPARATORS = "_-. "
_LEADS = re.compile(r"(?:^|[\W_])(?:ff?|fo|fols?|folios?|leaf|pp?|pg|pag|pages?)[\W_]*$", re.I)


def common_prefix(names: Sequence[PurePosixPath]) -> str:
    """Return what the names begin with in common, up to a separator: shelfmark, project, nothing.

    Targets and the like are left out of account, and what says something of a leaf is not counted in.
    """
    stems = [name.stem for name in names]
    plain = [stem for stem in stems if not _says_more_than_a_number(stem)] or stems
    prefix = _to_separator("".join(letters[0] for letters in _shared(plain)))
    while prefix and (_says_something(prefix) or _cuts_leaf_in_two(prefix, plain)):
        prefix = _to_separator(prefix.rstrip(_SEPARATORS))
    return prefix


def _shared(stems: Sequence[str]) -> Iterator[tuple[str, ...]]:
    """Yield the letters at each place as long as they are the same in all stems."""
    return itertools.takewhile(lambda letters: len(set(letters)) == 1, zip(*stems, strict=False))


def _to_separator(text: str) -> str:
    return text[: max(text.rfind(mark) for mark in _SEPARATORS) + 1]


def _says_something(prefix: str) -> bool:
    words = _Words(prefix, "")
    is_lit, (kind, label) = words.light() != Light(), words.thing()
    return is_lit or kind is not FrameKind.PAGE or bool(label) or bool(_LEADS.search(prefix))


def _says_more_than_a_number(stem: str) -> bool:
    words = _Words(stem, "")
    is_lit, (kind, label) = words.light() != Light(), words.thing()
    return is_lit or kind is not FrameKind.PAGE or bool(label and not re.search(r"\d", label))


def _cuts_leaf_in_two(prefix: str, stems: Sequence[str]) -> bool:
    """True for ``x_0012_`` before ``r`` and ``v``."""
    return any(re.match(r"[rv]\b", _plain(stem.removeprefix(prefix))) for stem in stems)


# ----------------------------------------------------------------------------------- reading one name


@dataclass(frozen=True, slots=True, kw_only=True)
class _Reading:
    """What one name says; `label` is empty if it only tells it from others, by `rest`."""

    file: PurePosixPath
    label: str
    kind: FrameKind
    light: Light
    rest: str
    """What was left of the name: equal for frames of one thing in several lights."""
    sequence: int | None
    """A number that stands first in the name."""

    def sort_key(self, *, by_folder: bool) -> tuple[object, ...]:
        """Front of the binding, text, back of the binding, spine and edges, targets and flats."""
        label = self.label.partition(", detail")[0]
        place = foliation.parse(label) or (foliation.parse_opening(label) or (None,))[0]
        leaf = place.sort_key[1:] if place else ()
        side = _SIDES_IN_ORDER.index(label) if label in _SIDES_IN_ORDER else 0
        folder = natural_key(str(self.file.parent)) if by_folder else ()
        is_other_light = self.light.kind is not LightKind.NORMAL
        name = (natural_key(self.rest), is_other_light, natural_key(str(self.file)))
        return (_rank(self.kind, place), folder, leaf, side, *name)


_SIDES_IN_ORDER = (
    *("", "obverse", "lower edge", "reverse", "upper edge", "left edge", "right edge"),
    *("front", "recto", "back", "verso", "dorse"),
)
_LAST = (FrameKind.SPINE, FrameKind.EDGE, FrameKind.TARGET, FrameKind.FLAT)


def _rank(kind: FrameKind, place: Place | None) -> int:
    zones = tuple(Zone)
    if kind in _LAST:
        return len(zones) + _LAST.index(kind)
    return zones.index(place.zone if place else Zone.TEXT)


def _read(name: PurePosixPath, prefix: str) -> _Reading:
    stem = name.stem.removeprefix(prefix) or name.stem
    words = _Words(stem, " ".join(name.parent.parts))
    first = re.match(r"\d{2,}", words.stem)
    light = words.light()
    kind, label = (FrameKind.TARGET, "") if words.take(r"^t\d{2,4}\b") else words.thing()
    return _Reading(
        file=name,
        label=label,
        kind=kind,
        light=light if kind.is_reading_matter else Light(),
        rest=words.rest,
        sequence=int(first[0]) if first else None,
    )


def _as_faces(readings: list[_Reading]) -> list[_Reading]:
    """Return readings in which the edges of a thing with obverse and reverse are faces, as on a tablet."""
    if not any(reading.kind is FrameKind.FACE for reading in readings):
        return readings
    is_edge = [reading.kind is FrameKind.EDGE for reading in readings]
    return [replace(r, kind=FrameKind.FACE) if edge else r for r, edge in zip(readings, is_edge, strict=True)]


def _are_in_sequence(readings: list[_Reading]) -> bool:
    """True if every name begins with a number of its own: then that is the order."""
    numbers = [reading.sequence for reading in readings]
    return None not in numbers and len(set(numbers)) == len(numbers)


_END = {
    **dict.fromkeys(("front", "upper"), "front"),
    **dict.fromkeys(("back", "rear", "lower"), "back"),
}
_ENDS = "front|upper|back|rear|lower"
_EDGES = {
    "head": "head edge",
    "tail": "tail edge",
    "fore": "fore-edge",
    **dict.fromkeys(("top", "upper"), "upper edge"),
    **dict.fromkeys(("bottom", "lower"), "lower edge"),
    "left": "left edge",
    "right": "right edge",
}
_SIDES = "recto|verso|r|v"
_ROMAN = "[ivxl]+?"


class _Words:
    """The words of a name, taken out one by one as they are understood."""

    def __init__(self, stem: str, folders: str) -> None:
        self.stem = _plain(stem)
        self.folders = _plain(folders)

    @property
    def rest(self) -> str:
        """What has not been taken."""
        return f"{self.folders}/{self.stem}"

    def take(self, pattern: str) -> re.Match[str] | None:
        """Take a word out, of the name or else of its folders."""
        if match := re.search(pattern, self.stem):
            self.stem = " ".join((self.stem[: match.start()] + " " + self.stem[match.end() :]).split())
        elif match := re.search(pattern, self.folders):
            self.folders = " ".join(
                (self.folders[: match.start()] + " " + self.folders[match.end() :]).split()
            )
        return match

    # ------------------------------------------------------------------------------------------ light

    def light(self) -> Light:
        """Take out how the frame was lit."""
        if match := self.take(r"(?<=\d[rv] )rak(?:ing)? ([lr])\b"):
            return Light(kind=LightKind.RAKING, qualifier={"l": "left", "r": "right"}[match[1]])
        if match := self.take(
            r"\brak(?:ing)?(?: ?light)?(?: from)?(?: (left|right|top|bottom|above|below))?\b"
        ):
            return Light(kind=LightKind.RAKING, qualifier=match[1] or "")
        if match := self.take(r"\b(?:uv|ultraviolet)(?: ?(\d{3}) ?nm)?\b"):
            return Light(kind=LightKind.ULTRAVIOLET, qualifier=f"{match[1]} nm" if match[1] else "")
        if match := self.take(r"\b(?:n?ir|infrared)(?: ?(\d{3,4}) ?nm|(\d{3,4}))?\b"):
            length = match[1] or match[2]
            return Light(kind=LightKind.INFRARED, qualifier=f"{length} nm" if length else "")
        if self.take(r"\b(?:transmitted|transmission|trans|backlit|backlight)(?: ?light)?\b"):
            return Light(kind=LightKind.TRANSMITTED)
        self.take(r"\b(?:normal|visible|vis)(?: ?light)?\b")
        return Light()

    # ------------------------------------------------------------------------------------------ thing

    def thing(self) -> tuple[FrameKind, str]:
        """Take out what the frame shows, and return its kind and label."""
        if self.take(
            r"\b(?:colou?r ?)?(?:targets?|charts?)\d*\b|\bgr[ea]y ?scale\b|\bruler\b"
            r"|\b\d+ ?patch(?:es)?\b"
        ):
            return FrameKind.TARGET, ""
        if self.take(r"\b(?:flats?|white)(?: ?fields?)?\d*\b"):
            return FrameKind.FLAT, ""
        return self._binding() or self._shape() or self._leaf_or_page()

    def _binding(self) -> tuple[FrameKind, str] | None:
        if end := self._end(
            r"(?:paste ?down|(?:inside|inner) ?(?:cover|board)|(?:cover|board) ?(?:inside|inner))"
        ):
            return FrameKind.PAGE, f"{end} pastedown"
        if match := self.take(rf"\b(?:inside|inner) ?({_ENDS}) ?(?:cover|board)s?\b"):
            return FrameKind.PAGE, f"{_END[match[1]]} pastedown"
        if end := self._end("(?:cover|board|binding)"):
            return FrameKind.COVER, f"{end} cover"
        if self.take(r"\b(?:cover|binding)\b"):
            return FrameKind.COVER, "cover"
        if end := self._end("(?:fly ?leaf|end ?leaf|fly)"):
            return FrameKind.PAGE, f"{end} flyleaf{self._flyleaf_number()}"
        if self.take(r"\b(?:fly ?leaf|end ?leaf)"):
            return FrameKind.PAGE, f"flyleaf{self._flyleaf_number()}"
        return None

    def _end(self, noun: str) -> str:
        """Take out a part of the binding that has a front and a back one, and return which it is."""
        match = self.take(rf"\b(?P<a>{_ENDS}) ?{noun}|\b{noun} ?(?P<b>{_ENDS})\b")
        return _END[match["a"] or match["b"]] if match else ""

    def _flyleaf_number(self) -> str:
        match = self.take(rf"(?<![a-z0-9])(?:f|fol)? ?(?:0*(\d{{1,2}})|({_ROMAN})) ?({_SIDES})\b")
        if match:
            number = foliation.roman(int(match[1])) if match[1] else match[2]
            return f" {number} {match[3][0]}"
        if match := self.take(rf"\b({_SIDES})\b"):
            return f" i {match[1][0]}"
        match = self.take(r"\b0*([1-9]\d?)\b")
        return f" {foliation.roman(int(match[1]))}" if match else ""

    def _shape(self) -> tuple[FrameKind, str] | None:
        if self.take(r"\bspine\b"):
            return FrameKind.SPINE, "spine"
        if match := self.take(
            r"\b(head|tail|top|bottom|upper|lower|left|right|fore) ?edge\b"
            r"|\bedge ?(head|tail|top|bottom|upper|lower|left|right|fore)\b|\b(head|tail)\b"
        ):
            return FrameKind.EDGE, _EDGES[match[1] or match[2] or match[3]]
        if match := self.take(r"\b(obv|rev)(?:erse)?\b"):
            return FrameKind.FACE, "obverse" if match[1] == "obv" else "reverse"
        return None

    def _leaf_or_page(self) -> tuple[FrameKind, str]:
        detail = self.take(r"\b(?:details?|det)(?: ?0*(\d{1,2}))?\b")
        is_foldout = bool(self.take(r"\b(?:fold ?outs?|unfolded)\b"))
        is_folded = bool(self.take(r"\bfolded\b"))
        if opening := self.opening():
            kind, label = FrameKind.OPENING, opening
        else:
            place = self.page() or self.leaf()
            kind, label = FrameKind.PAGE, foliation.spell(place) if place else self._bare_side()
        if detail:
            return FrameKind.DETAIL, ", ".join(filter(None, [label, f"detail {detail[1] or ''}".strip()]))
        if is_foldout:
            return FrameKind.FOLDOUT, label
        return kind, f"{label} (folded)" if is_folded and label else label

    def _bare_side(self) -> str:
        match = self.take(r"\b(recto|verso|dorse|front|back)\b")
        return match[1] if match else ""

    # ----------------------------------------------------------------------------- foliation, pagination

    def opening(self) -> str:
        """Take out an opening, and return its label."""
        if match := self.take(r"(?<!\d)0*(\d{1,4}) ?v(?:erso)? ?(?:f|fol)? ?0*(\d{1,4}) ?r(?:ecto)?\b"):
            return f"ff. {match[1]}v–{match[2]}r"
        match = re.search(r"(?<![a-z])pp? ?0*(\d{1,4}) (?:p ?)?0*(\d{1,4})\b", self.stem)
        if match and int(match[2]) == int(match[1]) + 1:
            self.take(re.escape(match[0]))
            return f"pp. {match[1]}–{match[2]}"
        return ""

    def leaf(self) -> Place | None:
        """Take out a leaf with its side, or one that is called a folio."""
        suffix = r"(?: ?(bis|ter|quater)|([a-e])(?= ?[rv]))?"
        lead = r"(?:(?<![a-z])(?:folio|fols?|fo|ff?) ?|(?<![a-z0-9]))"
        if match := self.take(rf"{lead}0*([1-9]\d{{0,3}}){suffix} ?({_SIDES})\b"):
            return _leaf(int(match[1]), match[2] or match[3], match[4])
        if match := self.take(rf"(?<![a-z])(?:folio|fol?|f)? ?\b(?:f|fol)?({_ROMAN}) ?({_SIDES})\b"):
            number = foliation.parse(f"f. {match[1]} r")
            return replace(number, side=_side(match[2])) if number else None
        if match := self.take(rf"(?<![a-z])(?:folio|fols?|fo|ff?) ?0*([1-9]\d{{0,3}}){suffix}\b"):
            return _leaf(int(match[1]), match[2], "")
        return None

    def page(self) -> Place | None:
        """Take out what is called a page."""
        if match := self.take(r"(?<![a-z])(?:pages?|pag|pg|pp?) ?0*([1-9]\d{0,3})\b"):
            return foliation.parse(f"p. {match[1]}")
        if match := self.take(r"(?<![a-z])(?:pages?|pag|pg|pp?) ?([ivxl]+)\b"):
            return foliation.parse(f"p. {match[1]}")
        return None


def _plain(text: str) -> str:
    """Return the words of a name in lower case, with single blanks between them."""
    apart = re.sub(r"(?<=[a-z])(?=[A-Z][a-z])", " ", unicodedata.normalize("NFC", text))
    return " ".join(re.sub(r"[\W_]+", " ", apart).lower().split())


def _leaf(number: int, suffix: str | None, side: str) -> Place:
    return Place(zone=Zone.TEXT, number=number, suffix=suffix or "", side=_side(side))


def _side(text: str) -> Side | None:
    return (Side.RECTO if text[0] == "r" else Side.VERSO) if text else None


# ------------------------------------------------------------------------------------- the whole list


def _numbered(readings: Sequence[_Reading]) -> list[Guess]:
    """Give a running number to what its name does not call anything; other lights share it."""
    numbers: dict[str, int] = {}
    guesses: list[Guess] = []
    for reading in readings:
        label, kind = reading.label, reading.kind
        if not label and kind.is_reading_matter:
            label = str(numbers.setdefault(reading.rest, len(numbers) + 1))
        guesses.append(Guess(file=reading.file, label=label, kind=kind, light=reading.light))
    return guesses


def _without_doubles(guesses: Sequence[Guess]) -> tuple[Guess, ...]:
    """Tell frames apart that would have label, kind and light in common: by folder, else by a number."""
    by_folder = [_with_folder(guess) for guess in guesses] if _doubles(guesses) else list(guesses)
    if _doubles(by_folder) >= _doubles(guesses):
        by_folder = list(guesses)
    taken: set[tuple[str, FrameKind, Light]] = set()
    apart: list[Guess] = []
    for guess in by_folder:
        count, single = 1, guess
        while single.label and (single.label, single.kind, single.light) in taken:
            count += 1
            single = replace(guess, label=f"{guess.label} ({count})")
        taken.add((single.label, single.kind, single.light))
        apart.append(single)
    return tuple(apart)


def _with_folder(guess: Guess) -> Guess:
    folder = guess.file.parent.name
    return replace(guess, label=f"{folder}, {guess.label}") if folder and guess.label else guess


def _doubles(guesses: Sequence[Guess]) -> int:
    labelled = [(guess.label, guess.kind, guess.light) for guess in guesses if guess.label]
    return len(labelled) - len(set(labelled))
