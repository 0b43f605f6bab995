"""The registers of rules: codes, titles and sections are the specification's own, from its facts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TypeVar

from pipeline.findings import Level, Register, Remark
from pipeline.ocfl.reading import ObjectFacts
from pipeline.ocfl.walking import Hierarchy
from pipeline.specs import ocfl

Facts = TypeVar("Facts")
Rule = Callable[[Facts], Iterator[Remark]]

OBJECT = Register[ObjectFacts]("OCFL objects")
ROOT = Register[Hierarchy]("OCFL storage roots")
SHARED = Register[Hierarchy]("OCFL storage roots, by codes of objects")
"""Codes that speak of objects and of what lies around them: they are listed once, among those of objects."""


def object_rule(code: str, advice: str) -> Callable[[Rule[ObjectFacts]], Rule[ObjectFacts]]:
    """Register the decorated function under a code of the specification."""
    return _rule(OBJECT, code, advice)


def root_rule(code: str, advice: str) -> Callable[[Rule[Hierarchy]], Rule[Hierarchy]]:
    """Register the decorated function under a code of the specification."""
    return _rule(ROOT, code, advice)


def shared_rule(code: str, advice: str) -> Callable[[Rule[Hierarchy]], Rule[Hierarchy]]:
    """Register the decorated function under a code that a rule over objects has too."""
    return _rule(SHARED, code, advice)


def _rule(register: Register[Facts], code: str, advice: str) -> Callable[[Rule[Facts]], Rule[Facts]]:
    known = ocfl.CODES[code]
    level = Level.ERROR if code.startswith("E") else Level.WARNING
    return register.rule(code, level, known.title, source=known.source, advice=advice)
