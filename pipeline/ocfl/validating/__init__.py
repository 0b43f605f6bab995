"""Objects and storage roots judged by the specification's own codes: structure, inventories, content.

::

    facts = reading.look(store, "c02/074/08b/…")
    digests = …                                          # of what `reading.claims(facts)` asks for
    report = validate_object(reading.with_digests(facts, digests))

Places in a report are relative to the object. One broken thing gives one finding where that can be told.
Three codes of the specification say what others say (`specs.ocfl.TOLD_AS`), and eight speak of what software
does (`specs.ocfl.OF_ACTS`); the rest have a rule each.
"""

from __future__ import annotations

from typing import Any

from pipeline.findings import Register, Report
from pipeline.ocfl.reading import ObjectFacts
from pipeline.ocfl.validating import (
    content_rules,
    history_rules,
    inventory_rules,
    object_rules,
    root_rules,
)
from pipeline.ocfl.validating.register import OBJECT, ROOT, SHARED
from pipeline.ocfl.walking import Hierarchy

FAMILIES = (object_rules, inventory_rules, content_rules, history_rules, root_rules)
"""Importing them registers their rules."""

FIXITY_CODES = frozenset({"E016", "E058", "E060", "E061", "E063", "E092", "E093"})
"""Codes of bytes that are not what they were, or not there: damage and loss."""


def registers() -> tuple[Register[Any], ...]:
    """The registers of rules over objects and storage roots."""
    return OBJECT, ROOT


def validate_object(facts: ObjectFacts) -> Report:
    """Judge one object. Without digests in the facts, its content is not judged."""
    return OBJECT.judge(facts, place=facts.place)


def validate_root(facts: Hierarchy) -> Report:
    """Judge a storage root, and what lies in it outside of its objects."""
    return ROOT.judge(facts) + SHARED.judge(facts)
