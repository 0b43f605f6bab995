"""The small language of name patterns: ``{item}_{number:4}.tif``.

=================  ==========================================================================
``{item}``         a field: one or more characters, as many as fit
``{number}``       one or more digits; so is no other field without a form of its own
``{number:4}``     four digits; ``{number:4+}`` four or more; ``{number:1-4}`` one to four
``{item:word}``    letters A to Z and digits alone
``{side:r|v}``     one of these words; one of them may be empty: ``{light:|_uv|_ir}``
``*``              any characters, or none
``{{``, ``}}``     braces themselves
=================  ==========================================================================

Nothing but a slash of the pattern stands for a slash. A field that is there twice has the same text twice.

Strangers choose the names that are held against patterns, so none may take long: a segment has two fields
at most that can end in several places (`_MOST_FREE`), names have a greatest length, and a regular
expression may not repeat a group nor hold more than `_MOST_REPEATS` repeats.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

LONGEST_NAME = 255
"""Characters of a name that is looked at; file systems have no longer ones."""
LONGEST_PATH = 1000

_MOST_FREE = 2
_MOST_OPTIONAL = 3
_MOST_REPEATS = 3
_MOST_CHOICES = 6

NUMBER = "number"
"""The field that counts."""


class PatternError(ValueError):
    """A pattern is wrong: what was found in it, what was expected, and perhaps what to do."""

    def __init__(self, found: str, expected: str, advice: str = "") -> None:
        super().__init__(f"found {found}, expected {expected}")
        self.found, self.expected, self.advice = found, expected, advice


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """A pattern of names or of paths, ready to be held against them."""

    text: str
    """As it was written."""
    segments: tuple[re.Pattern[str], ...]
    """One for each name of a path; a regular expression is one for the whole."""
    fields: tuple[str, ...]
    """Names of its fields, in order."""
    is_regex: bool = False

    def match(self, path: str) -> dict[str, str] | None:
        """Return the text of each field, or None if `path` does not match."""
        if not _is_judged(path):
            return None
        parts = [path] if self.is_regex else path.split("/")
        return self._fields(parts) if len(parts) == len(self.segments) else None

    def match_start(self, path: str) -> tuple[dict[str, str], str] | None:
        """Return the fields of the first segments of a path, and the rest of it, or None."""
        parts = path.split("/")
        if not _is_judged(path) or len(parts) <= len(self.segments):
            return None
        found = self._fields(parts[: len(self.segments)])
        return None if found is None else (found, "/".join(parts[len(self.segments) :]))

    def _fields(self, parts: Sequence[str]) -> dict[str, str] | None:
        found: dict[str, str] = {}
        for segment, part in zip(self.segments, parts, strict=True):
            match = segment.fullmatch(part)
            if match is None or not _joined(found, match.groupdict(default="")):
                return None
        return found


def _is_judged(path: str) -> bool:
    return len(path) <= LONGEST_PATH and all(len(name) <= LONGEST_NAME for name in path.split("/"))


def _joined(fields: dict[str, str], others: dict[str, str]) -> bool:
    """Add fields to those there are; False if one of the same name has another text."""
    if any(fields.get(name, text) != text for name, text in others.items()):
        return False
    fields.update(others)
    return True


# ------------------------------------------------------------------------------------------ compiling


@dataclass(frozen=True, slots=True)
class _Piece:
    """A part of a segment: a literal, a field, or anything."""

    regex: str
    literal: str = ""
    field: str = ""
    ends_anywhere: str = ""
    """The characters, as a class, that it goes on over; empty for what has one length."""
    is_optional: bool = False


_FIELD = re.compile(r"\{([^{}]*)\}")
_NAME = re.compile(r"[a-z][a-z0-9_]*")
_WORD, _DIGITS, _ANY = "[A-Za-z0-9]", "[0-9]", "[^/]"
_FORMS = "{name}, {name:4}, {name:4+}, {name:1-4}, {name:word} or {name:one|other}"


def compile_pattern(text: str) -> Pattern:
    """Return the pattern that a text describes. Raises PatternError."""
    segments = [_segment(segment) for segment in text.split("/")]
    fields = dict.fromkeys(piece.field for pieces in segments for piece in pieces if piece.field)
    return Pattern(
        text=text,
        segments=tuple(re.compile(_regex(pieces), re.DOTALL) for pieces in segments),
        fields=tuple(fields),
    )


def _segment(text: str) -> list[_Piece]:
    if text in ("", ".", ".."):
        found = "nothing between two slashes, or before or behind one" if not text else f'the folder "{text}"'
        raise PatternError(found, "a name in each place between slashes")
    pieces = list(_pieces(text))
    _refuse_slow(text, pieces)
    return pieces


def _pieces(text: str) -> Iterator[_Piece]:
    at = 0
    while at < len(text):
        if text.startswith(("{{", "}}"), at):
            yield _literal(text[at])
            at += 2
        elif text[at] in "{}":
            match = _FIELD.match(text, at)
            if match is None:
                raise PatternError(
                    f"the brace {text[at]} in `{text}`", "a field in braces", "write {{ or }} for a brace"
                )
            yield _field(match[1])
            at = match.end()
        elif text[at] == "*":
            yield _Piece(f"{_ANY}*", ends_anywhere=_ANY)
            at += 1
        else:
            yield _literal(text[at])
            at += 1


def _literal(char: str) -> _Piece:
    if char == "\\" or ord(char) < 32:
        raise PatternError(f"the character {char!r}", "letters of names", "write / between folders")
    return _Piece(re.escape(char), literal=char)


def _field(text: str) -> _Piece:
    name, colon, form = text.partition(":")
    if not _NAME.fullmatch(name):
        advice = f"write {{{name.lower()}}}" if _NAME.fullmatch(name.lower()) else ""
        raise PatternError(f"the field {{{text}}}", "a field's name in small letters", advice)
    if not colon:
        form = "1+" if name == NUMBER else "text"
    regex, ends_anywhere, is_optional = _form(name, form)
    return _Piece(regex, field=name, ends_anywhere=ends_anywhere, is_optional=is_optional)


def _form(name: str, form: str) -> tuple[str, str, bool]:
    if form == "text":
        return f"{_ANY}+", _ANY, False
    if form == "word":
        return f"{_WORD}+", _WORD, False
    if match := re.fullmatch(r"([1-9]\d?)", form):
        return f"{_DIGITS}{{{match[1]}}}", "", False
    if match := re.fullmatch(r"([1-9]\d?)\+", form):
        return f"{_DIGITS}{{{match[1]},}}", _DIGITS, False
    if (match := re.fullmatch(r"([1-9]\d?)-([1-9]\d?)", form)) and int(match[1]) < int(match[2]):
        return f"{_DIGITS}{{{match[1]},{match[2]}}}", _DIGITS, False
    if "|" in form and not set(form) & set("/\\*"):
        words = form.split("|")
        starts = any(one != other and other.startswith(one) for one in words for other in words)
        return f"(?:{'|'.join(map(re.escape, words))})", "", starts
    raise PatternError(f"the field {{{name}:{form}}}", _FORMS)


def _refuse_slow(text: str, pieces: Sequence[_Piece]) -> None:
    """Refuse what could take long on a name that was made to take long."""
    free = sum(_is_free(piece, following) for piece, following in _followed(pieces))
    if free > _MOST_FREE:
        raise PatternError(
            f"{free} fields or * in `{text}` that can end in several places",
            f"{_MOST_FREE} at most between two slashes",
            "write {name:word} for letters and digits alone, with a separator behind it",
        )
    optional = sum(piece.is_optional for piece in pieces)
    if optional > _MOST_OPTIONAL:
        found = f"{optional} choices in `{text}` with an empty word or a word that begins another"
        raise PatternError(found, f"{_MOST_OPTIONAL} at most")


def _followed(pieces: Sequence[_Piece]) -> Iterator[tuple[_Piece, _Piece | None]]:
    return zip(pieces, [*pieces[1:], None], strict=True)


def _is_free(piece: _Piece, following: _Piece | None) -> bool:
    """True for what can end in several places: what follows it could also be a part of it."""
    if not piece.ends_anywhere:
        return False
    if piece.ends_anywhere == _ANY:
        return True
    return not _is_stopped(piece, following)


def _is_stopped(piece: _Piece, following: _Piece | None) -> bool:
    if following is None:
        return True
    return bool(following.literal) and not re.fullmatch(piece.ends_anywhere, following.literal)


def _regex(pieces: Sequence[_Piece]) -> str:
    parts: list[str] = []
    seen: set[str] = set()
    for piece, following in _followed(pieces):
        once_only = piece.ends_anywhere not in ("", _ANY) and _is_stopped(piece, following)
        regex = f"(?>{piece.regex})" if once_only else piece.regex
        if piece.field in seen:
            regex = f"(?P={piece.field})"
        elif piece.field:
            regex = f"(?P<{piece.field}>{regex})"
            seen.add(piece.field)
        parts.append(regex)
    return "".join(parts)


# --------------------------------------------------------------------------------- regular expressions


def compile_regex(text: str) -> Pattern:
    """Return a regular expression as a pattern; its named groups are the fields. Raises PatternError."""
    try:
        compiled = re.compile(text, re.DOTALL)
    except (re.error, OverflowError, RecursionError) as error:
        found = f"`{text}` ({error})"
        raise PatternError(
            found, "a regular expression", "put it in single quotes: 'B14_[0-9]{4}'"
        ) from error
    _refuse_slow_regex(text, compiled.flags)
    return Pattern(text=text, segments=(compiled,), fields=tuple(compiled.groupindex), is_regex=True)


_TOKEN = re.compile(
    r"""\\. | \[\^?\]?(?:\\.|[^\]\\])*\] | (?P<open>\()\?[aiLmsu-]+: | (?P<open2>\()\?(?:P?[<=!:>]|<[=!])?
    | (?P<open3>\() | \{(?P<least>\d*),?\d*\} | (?P<repeat>[*+]) | (?P<maybe>\?) | .""",
    re.DOTALL | re.VERBOSE,
)


def _refuse_slow_regex(text: str, flags: int) -> None:
    """Refuse repeated groups and many repeats: they are what can take for ever on a name made for it."""
    if flags & re.VERBOSE:
        raise PatternError("the flag x", "a regular expression in which blanks are blanks")
    before, repeats = "", 0
    for token in _TOKEN.finditer(text):
        is_repeat = bool(token["repeat"]) or token["least"] is not None
        if is_repeat and before == ")":
            raise PatternError(
                f"a repeated group in `{text}`",
                "repeats of single characters and classes alone",
                "write [ab]+ for (a|b)+",
            )
        if before in ("repeat", "maybe") and token[0] in ("?", "+"):
            before = ""
            continue
        repeats += is_repeat and not re.fullmatch(r"\{\d+\}", token[0])
        before = "repeat" if is_repeat else "maybe" if token["maybe"] else token[0]
    if repeats > _MOST_REPEATS:
        found = f"{repeats} repeats (*, +, {{m,n}}) in `{text}`"
        advice = "give fixed numbers of characters: [0-9]{4}"
        raise PatternError(found, f"{_MOST_REPEATS} at most", advice)
    if (choices := _choices(text)) > _MOST_CHOICES:
        found = f"{choices} question marks and groups with | in `{text}`"
        raise PatternError(found, f"{_MOST_CHOICES} at most")


def _choices(text: str) -> int:
    """Return how many places of an expression can go more than one way without a repeat."""
    groups, count, before = [False], 0, ""
    for token in _TOKEN.finditer(text):
        if token["open"] or token["open2"] or token["open3"]:
            groups.append(False)
        elif token[0] == "|":
            groups[-1] = True
        elif token[0] == ")":
            count += groups.pop()
        elif token["maybe"] and not (before in "*+}" and before):
            count += 1
        before = token[0][-1]
    return count + groups[0]
