"""Rules over the sequence of an item: foliation or pagination, sides, openings.

An opening of a volume read from left to right shows a verso on the left and the next recto on the right;
of one read from right to left it is the other way round (common practice).
"""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from pipeline import foliation
from pipeline.check import places, sources
from pipeline.findings import Level, Register, Remark
from pipeline.foliation import Place, Side
from pipeline.model import Frame, FrameKind, Item, ViewingDirection
from pipeline.record import ITEM_TOML, PAGES_CSV


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One label of the sequence, with the row that it comes from."""

    label: str
    frame: Frame


@dataclass(frozen=True, slots=True, kw_only=True)
class SequenceFacts:
    """The labels of an item in the order of pages.csv, each once, whatever its lights."""

    pages: tuple[Step, ...]
    openings: tuple[Step, ...]
    """Labels with the two halves in the order of the foliation, as if read from left to right."""
    covered: frozenset[Place]
    """Every side that some row stands for, captured or not."""
    reading: ViewingDirection
    extent: str = ""
    """As the record has it: ``ff. ii + 46 + ii``."""


def facts_of(item: Item) -> SequenceFacts:
    """Return what the sequence rules look at."""
    first = {frame.label: frame for frame in reversed(item.frames)}
    steps = [Step(label=label, frame=first[label]) for label in dict.fromkeys(f.label for f in item.frames)]
    pages = tuple(step for step in steps if step.frame.kind is FrameKind.PAGE)
    openings = tuple(
        replace(step, label=forward_opening(step.label) or step.label)
        for step in steps
        if step.frame.kind is FrameKind.OPENING
    )
    unfolded = [step for step in steps if step.frame.kind is FrameKind.FOLDOUT]
    covered = frozenset(p for step in (*pages, *openings, *unfolded) for p in _sides_of(step.label))
    return SequenceFacts(
        pages=pages, openings=openings, covered=covered, reading=item.reading, extent=item.extent
    )


def forward_opening(label: str) -> str | None:
    """Return an opening's label with the page that is read first in front, or None if it names no opening."""
    return next((each for each in (label, *_turned(label)) if foliation.parse_opening(each)), None)


def _turned(label: str) -> tuple[str, ...]:
    """The halves of a label the other way round: with ``ff.`` moved to the front, and as they are."""
    halves = _HALVES.fullmatch(label)
    if not halves:
        return ()
    lead, first, second = halves["lead"], halves["first"], halves["second"]
    return (f"{lead}{second}–{first}", f"{second}–{lead}{first}")


_HALVES = re.compile(
    r"\s*(?P<lead>(?:[A-Za-z]{1,6}\.\s*)?)(?P<first>[^-‐‑–—]+?)\s*[-‐‑–—]\s*(?P<second>[^-‐‑–—]+?)\s*"
)


def _sides_of(label: str) -> Iterator[Place]:
    """The sides that a label covers; a leaf without a side covers both."""
    place = foliation.parse(label)
    for each in foliation.parse_opening(label) or ((place,) if place else ()):
        if each.side is None and each.number:
            yield from (replace(each, side=side) for side in Side)
        else:
            yield each


SEQUENCE = Register[SequenceFacts]("the sequence of an item")


@SEQUENCE.rule(
    "S001",
    Level.ERROR,
    "Out of order",
    source=sources.COMMON_PRACTICE,
    advice="Move the row to its place in pages.csv, or correct its label. If the leaves really stand in "
    "another order than their numbers, write follows_foliation = false in item.toml.",
)
def labels_follow_the_foliation(facts: SequenceFacts) -> Iterator[Remark]:
    """Labels stand in the order of their folio or page numbers; pages and openings each among themselves."""
    for steps in (facts.pages, facts.openings):
        for late, early in foliation.out_of_order([step.label for step in steps]):
            yield Remark(
                place=places.of_frame(steps[late].frame),
                value=f"{steps[late].label} stands after {steps[early].label}",
                limit=f"{steps[late].label} before {steps[early].label}",
            )


@SEQUENCE.rule(
    "S002",
    Level.ERROR,
    "One side of a leaf is missing",
    source=sources.COMMON_PRACTICE,
    advice="If the side was photographed, add its row. If it was not captured, add a row with its label and "
    "without a file, so that rectos stay rectos.",
    requires={"S001"},
)
def both_sides_of_every_leaf_are_listed(facts: SequenceFacts) -> Iterator[Remark]:
    """Rectos and versos alternate: of every leaf both sides are listed, or neither."""
    for gap in _gaps(facts):
        if gap.halves:
            yield gap.remark(gap.halves)


@SEQUENCE.rule(
    "S003",
    Level.WARNING,
    "Whole leaves are missing from the numbering",
    source=sources.COMMON_PRACTICE,
    advice="Look at the volume: if the leaves are there, photograph them; if they are lost or the numbering "
    "jumps, say so in the extent or in a note.",
    requires={"S001"},
)
def no_leaves_are_left_out(facts: SequenceFacts) -> Iterator[Remark]:
    """The numbers of leaves or pages follow each other without a gap."""
    for gap in _gaps(facts):
        if gap.leaves:
            yield gap.remark(gap.leaves)


@SEQUENCE.rule(
    "S004",
    Level.ERROR,
    "Opening runs against the reading direction",
    source=sources.COMMON_PRACTICE,
    advice='Turn the label round, or write reading = "right-to-left" in item.toml if the volume is read so.',
)
def openings_run_with_the_reading(facts: SequenceFacts) -> Iterator[Remark]:
    """In a volume read from left to right an opening's label names the verso, then the recto.

    In one read from right to left either order will do: by the eye or by the foliation.
    """
    if facts.reading is ViewingDirection.RIGHT_TO_LEFT:
        return
    for step in facts.openings:
        if step.label != step.frame.label:
            yield Remark(place=places.of_frame(step.frame), value=step.frame.label, limit=step.label)


@SEQUENCE.rule(
    "S005",
    Level.NOTE,
    "Opening's label does not say which pages it shows",
    source=sources.COMMON_PRACTICE,
    advice='Write both pages, such as "ff. 1v–2r" or "pp. 2–3"; then gaps are found.',
)
def openings_say_their_pages(facts: SequenceFacts) -> Iterator[Remark]:
    """The label of an opening names the two pages that it shows."""
    for step in facts.openings:
        if not foliation.parse_opening(step.label):
            yield Remark(place=places.of_frame(step.frame), value=step.label, limit="two facing pages")


@SEQUENCE.rule(
    "S006",
    Level.WARNING,
    "Leaves listed are not as many as the extent says",
    source=sources.COMMON_PRACTICE,
    advice="Count the leaves of the volume. If some were not photographed, add their rows without a file; if "
    "the extent is wrong, correct it in item.toml. A leaf that is missing at an end leaves no other trace.",
    requires={"S001"},
)
def leaves_are_as_many_as_the_extent_says(facts: SequenceFacts) -> Iterator[Remark]:
    """As many leaves have a row as the extent counts, if it counts leaves and labels name them."""
    counted = leaves_of_extent(facts.extent)
    leaves = {place.leaf for place in facts.covered if place.number and not place.is_page}
    if counted is not None and leaves and len(leaves) != counted:
        yield Remark(
            place=f"{ITEM_TOML}, item, extent",
            value=f"{len(leaves)} leaves have rows in {PAGES_CSV}",
            limit=f"{counted} leaves: {facts.extent}",
        )


def leaves_of_extent(extent: str) -> int | None:
    """Return how many leaves an extent counts, such as ``ff. ii + 46 + ii``, or None if that is not clear.

    Ranges (``ff. 1r–6v``) and several counts in one extent are not clear.
    """
    counts = [match["before"] or match["after"] for match in _LEAVES.finditer(extent)]
    if len(counts) != 1:
        return None
    numbers = [foliation.numeral_value(each.strip()) for each in counts[0].split("+")]
    return sum(each for each in numbers if each) if all(numbers) else None


_COUNT = r"(?:\d+|[ivxl]+)(?:\s*\+\s*(?:\d+|[ivxl]+))*"
_LEAVES = re.compile(
    rf"(?<![\w+])(?:(?:ff|fols?|f)\.\s*(?P<before>{_COUNT})(?![\w+–-]|\s*[+–-])"
    rf"|(?P<after>{_COUNT})\s+(?:leaves|leaf|folios?|ff\.|fols?\.)(?!\s*[\divxl]))"
)


# --------------------------------------------------------------------------------------------- gaps


@dataclass(frozen=True, slots=True, kw_only=True)
class _Gap:
    """Labels that the numbering expects between two neighbours, or before the first or behind the last."""

    frame: Frame
    where: str
    halves: tuple[str, ...]
    """Labels whose leaf has its other side."""
    leaves: tuple[str, ...]
    """Labels of leaves of which both sides are missing."""

    def remark(self, labels: tuple[str, ...]) -> Remark:
        listed = labels[0] if len(labels) == 1 else f"{labels[0]} to {labels[-1]}, {len(labels)} pages"
        return Remark(
            place=places.of_frame(self.frame), value=f"missing {self.where}: {listed}", limit="no gap"
        )


def _gaps(facts: SequenceFacts) -> Iterator[_Gap]:
    for steps in (facts.pages, facts.openings):
        singles = [single for step in steps for single in _singles(step)]
        yield from _gaps_of(singles, facts.covered)


def _singles(step: Step) -> Iterator[Step]:
    """The step as single pages; covers and labels that name no place are left out."""
    opening, place = foliation.parse_opening(step.label), foliation.parse(step.label)
    if opening:
        yield from (replace(step, label=foliation.spell(each)) for each in opening)
    elif place and place.orderable:
        yield step


def _gaps_of(steps: Sequence[Step], covered: frozenset[Place]) -> Iterator[_Gap]:
    if not steps:
        return
    first, last = steps[0], steps[-1]
    if foliation.side(first.label) is Side.VERSO and (recto := foliation.other_side(first.label)):
        yield from _gap(first.frame, f"before {first.label}", (recto,), covered)
    for before, after in itertools.pairwise(steps):
        if missing := foliation.missing_between(before.label, after.label):
            where = f"between {before.label} and {after.label}"
            yield from _gap(after.frame, where, missing, covered)
    if foliation.side(last.label) is Side.RECTO and (verso := foliation.other_side(last.label)):
        yield from _gap(last.frame, f"after {last.label}", (verso,), covered)


def _gap(frame: Frame, where: str, labels: tuple[str, ...], covered: frozenset[Place]) -> Iterator[_Gap]:
    named = [(label, place) for label in labels for place in [_numbered(label)] if place not in covered]
    whole = Counter(_leaf(place) for _, place in named)
    halves = tuple(label for label, place in named if whole[_leaf(place)] == 1)
    leaves = tuple(label for label, place in named if whole[_leaf(place)] > 1)
    if named:
        yield _Gap(frame=frame, where=where, halves=halves, leaves=leaves)


def _numbered(label: str) -> Place:
    place = foliation.parse(label)
    if place is None:
        raise ValueError(f"{label!r} names no place")
    return place


def _leaf(place: Place) -> tuple[str, int, str]:
    """What both sides of a leaf share; of pages 1 and 2 are one leaf, 3 and 4 the next."""
    return (place.zone.value, (place.number + 1) // 2 if place.is_page else place.number, place.suffix)
