"""Rules over the care record. solander never clears an item: only the conservator does."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.check import places, sources
from pipeline.findings import Level, Register, Remark
from pipeline.model import Item, ItemKind
from pipeline.record import ITEM_TOML


@dataclass(frozen=True, slots=True, kw_only=True)
class CareFacts:
    """An item, and why the work goes on if it is not cleared."""

    item: Item
    waiver: str = ""


CARE = Register[CareFacts]("the care record")

_CARE = f"{ITEM_TOML}, care"


@CARE.rule(
    "C001",
    Level.ERROR,
    "Item is not cleared for imaging",
    source=sources.COMMON_PRACTICE,
    advice="Only the conservator clears an item: ask for the assessment and record it in item.toml. To go on "
    'without it, and have the reason recorded as an event, use --without-clearance "reason".',
)
def item_is_cleared(facts: CareFacts) -> Iterator[Remark]:
    """The conservator has cleared the item before capture; a warning if somebody gave a reason to go on."""
    if facts.item.care.cleared:
        return
    value, level = "cleared = false", Level.ERROR
    if facts.waiver:
        value, level = f"cleared = false; gone on without clearance: {facts.waiver}", Level.WARNING
    yield Remark(place=_CARE, value=value, limit="cleared = true", level=level)


@CARE.rule(
    "C002",
    Level.WARNING,
    "Session was before the conservator's assessment",
    source=sources.COMMON_PRACTICE,
    advice="Correct the date that is wrong. If the item was photographed before it was assessed, tell the "
    "conservator.",
)
def assessment_is_before_capture(facts: CareFacts) -> Iterator[Remark]:
    """No session is dated before the care record."""
    assessed = facts.item.care.assessed_on
    for session in facts.item.sessions:
        if assessed and session.date < assessed:
            limit = f"not before the assessment of {assessed.isoformat()}"
            yield Remark(place=places.of_session(session), value=session.date.isoformat(), limit=limit)


@CARE.rule(
    "C003",
    Level.NOTE,
    "Largest opening angle is not recorded",
    source=sources.COMMON_PRACTICE,
    advice="Ask the conservator how far the volume may be opened and record it as largest_opening_deg, for "
    "whoever handles it next.",
)
def opening_angle_is_known(facts: CareFacts) -> Iterator[Remark]:
    """The care record of a bound volume says how far it may be opened."""
    if facts.item.kind in _BOUND and facts.item.care.largest_opening_deg is None:
        yield Remark(place=_CARE, value="no largest_opening_deg", limit="an angle in degrees")


_BOUND = frozenset({ItemKind.CODEX, ItemKind.ALBUM})
