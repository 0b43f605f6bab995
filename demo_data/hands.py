"""The hands that write: a gothic book hand, a current hand for letters, Greek capitals of a papyrus, an
Arabic-like hand.

A letter is a few strokes (`alphabets.toml`) on a grid whose x-height is 1; it comes out a little
different each time that it is written.
"""

from __future__ import annotations

import functools
import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from demo_data import pen
from demo_data.pen import Points
from demo_data.textures import generator

JOINING = ("tooth", "tooth", "lam", "loop", "mim", "ayn", "ha", "teeth", "sad", "kaf", "low")
ENDING = ("alif", "ra", "dal", "waw", "nun", "ya", "ta", "he", "qaf", "jim")


@dataclass(frozen=True, slots=True)
class Stroke:
    """One movement of the pen."""

    track: Points
    is_curve: bool


@functools.cache
def _alphabets() -> dict[str, dict[str, tuple[Stroke, ...]]]:
    with Path(__file__).with_name("alphabets.toml").open("rb") as file:
        tables = tomllib.load(file)
    return {
        alphabet: {letter: tuple(map(_stroke, parts)) for letter, parts in letters.items()}
        for alphabet, letters in tables.items()
    }


def _stroke(written_as: str) -> Stroke:
    pairs = [[float(number) for number in pair.split(",")] for pair in written_as.lstrip("~").split()]
    return Stroke(np.array(pairs), written_as.startswith("~"))


def strokes(alphabet: str, letter: str) -> tuple[Stroke, ...]:
    """The strokes of a letter; none for a letter that the hand does not have."""
    return _alphabets()[alphabet].get(letter, ())


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """How a scribe writes with an alphabet."""

    alphabet: str
    x_height_mm: float
    nib: float
    """Width of the nib in x-heights."""
    angle_deg: float
    slant: float = 0.0
    """Lean to the right, as a share of the height."""
    width: float = 1.0
    space: float = 0.42
    gap: float = 0.14
    """Between letters, in x-heights."""
    unsteady: float = 0.012


VARIANTS = 6
"""How many shapes a scribe has of one letter."""


def written(
    hand: Hand, text: str, x_mm: float, y_mm: float, rng: np.random.Generator, *, stretch: float = 1.0
) -> tuple[str, float]:
    """Path data of `text` with its base line at `y_mm`, and where the pen then stands.

    `stretch` widens the gaps between words, so that a line fills its measure.
    """
    data, x, size = [], x_mm, hand.x_height_mm
    shapes = rng.integers(VARIANTS, size=len(text))
    shakes = rng.normal(0, hand.unsteady * size, (len(text), 2))
    for letter, shape, (dx, dy) in zip(text, shapes.tolist(), shakes.tolist(), strict=True):
        if letter != " ":
            data.append(f"M{x + dx:.3f} {y_mm + dy:.3f}{_outline(hand, letter, shape)}")
        x += advance(hand, letter) * (stretch if letter == " " else 1)
    return "".join(data), x


@functools.cache
def _outline(hand: Hand, letter: str, shape: int) -> str:
    """One of the shapes of a letter, as path data relative to the pen's place on the base line."""
    rng = generator("hand", repr(hand), letter, str(shape))
    outlines: list[Points] = []
    for stroke in strokes(hand.alphabet, letter):
        shaken = stroke.track + rng.normal(0, hand.unsteady, stroke.track.shape)
        track = pen.smooth(shaken, steps=5) if stroke.is_curve else shaken
        across = track[:, 0] * hand.width + track[:, 1] * hand.slant
        page = np.stack([across, -track[:, 1]], axis=1) * hand.x_height_mm
        outlines += pen.nib_outlines(page, hand.nib * hand.x_height_mm, hand.angle_deg)
    return pen.relative(outlines)


@functools.cache
def advance(hand: Hand, letter: str) -> float:
    """How far the pen moves for a letter, in millimetres."""
    if letter == " ":
        return hand.space * hand.x_height_mm
    reach = [float(stroke.track[:, 0].max()) for stroke in strokes(hand.alphabet, letter)]
    return (max(reach, default=0.0) * hand.width + hand.gap) * hand.x_height_mm


def width_of(hand: Hand, text: str, *, stretch: float = 1.0) -> float:
    """How far `written` would go, in millimetres."""
    return sum(advance(hand, letter) for letter in text) + text.count(" ") * hand.space * hand.x_height_mm * (
        stretch - 1
    )


def wrapped(hand: Hand, text: str, measures: list[float]) -> list[str]:
    """Break `text` into lines; the last of `measures` (mm) serves all further lines."""
    lines: list[str] = []
    line, reached, blank = "", 0.0, advance(hand, " ")
    for word in text.split():
        measure, own = measures[min(len(lines), len(measures) - 1)], width_of(hand, word)
        if line and reached + blank + own > measure:
            lines.append(line)
            line, reached = word, own
        else:
            reached += (blank if line else 0.0) + own
            line = f"{line} {word}".lstrip()
    return [*lines, line] if line else lines


def current(
    hand: Hand, text: str, x_mm: float, y_mm: float, rng: np.random.Generator, *, thick: float
) -> tuple[str, float]:
    """The same in the running hand: each word is one curve, `thick` x-heights wide where it runs down."""
    data, x, size = [], x_mm, hand.x_height_mm
    for word in text.split(" "):
        tracks, reach = _word(hand, word)
        for track in tracks:
            knots = track + rng.normal(0, hand.unsteady, track.shape)
            across = x + (knots[:, 0] + knots[:, 1] * hand.slant) * size
            page = np.stack([across, y_mm - knots[:, 1] * size], axis=1)
            data.append(pen.pointed(pen.smooth(page, steps=4), hand.nib * size, thick * size))
        x += (reach + hand.space * rng.uniform(0.85, 1.2)) * size
    return "".join(data), x


def reach(hand: Hand, text: str) -> float:
    """How far `current` would go, in millimetres, or a little less."""
    return sum(_word_reach(hand, word) + hand.space for word in text.split(" ")) * hand.x_height_mm


@functools.cache
def _word_reach(hand: Hand, word: str) -> float:
    return _word(hand, word)[1]


_DOT = ((0.34, 1.5), (0.4, 1.42))
_CROSSBAR = ((0.02, 1.06), (0.56, 1.12))


def _word(hand: Hand, word: str) -> tuple[list[Points], float]:
    """The tracks of a word, the joined one last, and its width in x-heights."""
    extras: list[Points] = []
    joined: list[Points] = []
    x = 0.0
    for letter in word:
        own = [stroke.track * (hand.width, 1) + (x, 0) for stroke in strokes("current", letter)]
        if not own:
            continue
        extras += own[1:]
        extras += [pen.moved(np.array(_DOT), x, 0)] if letter in "ij" else []
        extras += [pen.moved(np.array(_CROSSBAR), x, 0)] if letter == "t" else []
        if letter.islower():
            joined = [*(track[:-1] for track in joined[-1:]), own[0]] if joined else [own[0]]
            joined = [np.concatenate(joined)]
            x = float(own[0][-1, 0])
        else:
            extras += [*joined, own[0]]
            joined = []
            x = max(float(track[:, 0].max()) for track in own) + hand.gap
    return [*extras, *joined], x


# ------------------------------------------------------------------------------------- Arabic-like


def arabic(
    hand: Hand, x_mm: float, y_mm: float, rng: np.random.Generator, *, pieces: int
) -> tuple[str, float]:
    """A word of an Arabic-like hand that begins at the right at `x_mm`; returns where it ends."""
    size, x = hand.x_height_mm, 0.0
    data: list[str] = []
    names = (
        [str(name) for name in rng.choice(JOINING, pieces - 1)] + [str(rng.choice(ENDING))]
        if pieces > 1
        else ["alif"]
    )
    for name, shape in zip(names, rng.integers(VARIANTS, size=len(names)).tolist(), strict=True):
        dx, dy = rng.normal(0, hand.unsteady * size, 2).tolist()
        data.append(f"M{x_mm + x * size + dx:.3f} {y_mm + dy:.3f}{_outline(hand, name, shape)}")
        x += _end(name) * hand.width
        data.append(_dots(hand, name, x_mm + x * size, y_mm, rng))
    return "".join(data), x_mm + (x - hand.gap) * size


@functools.cache
def _end(name: str) -> float:
    """Where a piece leaves off, to the left of where it began."""
    return float(min(stroke.track[-1, 0] for stroke in strokes("arabic", name)))


_DOTTED = {"tooth": (0.22, (1, 2)), "nun": (0.6, (1,)), "qaf": (0.3, (2,)), "loop": (0.3, (1, 2))}


def _dots(hand: Hand, name: str, x: float, y: float, rng: np.random.Generator) -> str:
    """The points that tell letters apart, above or below the piece that ends at `x`."""
    if name not in _DOTTED or rng.random() < 0.25:
        return ""
    back, counts = _DOTTED[name]
    count = int(rng.choice(counts))
    height = 0.95 if name != "tooth" or rng.random() < 0.55 else -0.55
    size = hand.x_height_mm
    side = hand.nib * size * 0.95
    return "".join(
        pen.polygon(
            pen.moved(
                pen.turned(pen.rectangle(-side / 2, -side / 2, side / 2, side / 2), 45 + rng.normal(0, 6)),
                x + (back + 0.34 * k - 0.15) * size,
                y - height * size,
            )
        )
        for k in range(count)
    )
