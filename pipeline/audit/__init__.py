"""Long-term storage proved again and again: structure, fixity, history, and what another copy can mend."""

from __future__ import annotations

from typing import Any

from pipeline.audit.around import AROUND
from pipeline.audit.history import KEPT
from pipeline.findings import Register
from pipeline.ocfl import validating


def registers() -> tuple[Register[Any], ...]:
    """The registers of all rules of an audit."""
    return *validating.registers(), KEPT, AROUND
