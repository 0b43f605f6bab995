"""Acceptance sampling by attributes: how many frames people look at, and how many may be bad.

Single sampling for nonconforming items, AQL 0.010 to 10 %. Sources: ISO 2859-1, tables 1, 2-A and 2-B; the
figures are those of MIL-STD-105E (1989), tables I, II-A and II-B, from which they come. Reduced inspection is
MIL-STD-105E, table II-C, with its gap between Ac and Re: the ISO edition of 1999 closes the gap with figures
of its own, which were not at hand.

How the figures were checked: table 1 for levels I to III and normal inspection for AQL 0.65 to 4.0 are from
published charts. The other AQLs follow from the structure of the master tables, which shift by one row for
each column (see `_DIAGONALS`); that was compared, cell by cell with sample sizes, with a transcription of
MIL-STD-105E for all three severities.

Pure: no file, no clock, no chance that is not given by a seed.
"""

from __future__ import annotations

import bisect
import enum
import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

AQLS = (0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0)
"""Acceptance quality limits in per cent nonconforming that the tables have columns for."""


class Level(enum.StrEnum):
    """How large a sample is against its lot: II is usual, S-1 to S-4 give small samples."""

    S_1 = "S-1"
    S_2 = "S-2"
    S_3 = "S-3"
    S_4 = "S-4"
    I = "I"  # noqa: E741, the standard's own name
    II = "II"
    III = "III"


class Severity(enum.StrEnum):
    """Severity of inspection: which of the master tables is used."""

    NORMAL = "normal"
    TIGHTENED = "tightened"
    REDUCED = "reduced"


@dataclass(frozen=True, slots=True, kw_only=True)
class SamplingPlan:
    """How many frames of a lot are inspected, and what decides."""

    code_letter: str
    """Of the lot size and the level (table 1)."""
    plan_letter: str
    """Of the row whose plan is used: another one where the table has an arrow."""
    sample_size: int
    """Frames to inspect; never more than the lot has."""
    accept: int
    """Ac: the lot is accepted with up to so many nonconforming frames in the sample."""
    reject: int
    """Re: the lot is rejected with so many or more."""
    is_whole_lot: bool = False
    """The plan wants as many frames as there are, or more: all are inspected."""


# ----------------------------------------------------------------------------------------- the tables

_LETTERS = "ABCDEFGHJKLMNPQRS"
"""Code letters, I and O left out. S is a row of tightened inspection only."""

_SAMPLE_SIZES = (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000, 3150)
"""Sample size by letter, normal and tightened inspection."""

_REDUCED_SIZES = (2, 2, 2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800)

_LOT_LIMITS = (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000)
"""The largest lot of each row of table 1 but the last, which has no end."""

_CODE_LETTERS = {
    Level.S_1: "AAAABBBBCCCCDDD",
    Level.S_2: "AAABBBCCCDDDEEE",
    Level.S_3: "AABBCCDDEEFFGGH",
    Level.S_4: "AABCCDEEFGGHJJK",
    Level.I: "AABCCDEFGHJKLMN",
    Level.II: "ABCDEFGHJKLMNPQ",
    Level.III: "BCDEFGHJKLMNPQR",
}
"""Table 1: for each level the letters of its rows, from the smallest lots to the largest."""

_DOWN, _UP = 1, -1

_DIAGONALS: dict[Severity, dict[int, tuple[int, int]]] = {
    Severity.NORMAL: {
        14: (0, 1), 17: (1, 2), 18: (2, 3), 19: (3, 4), 20: (5, 6), 21: (7, 8), 22: (10, 11), 23: (14, 15),
        24: (21, 22),
    },
    Severity.TIGHTENED: {
        15: (0, 1), 18: (1, 2), 19: (2, 3), 20: (3, 4), 21: (5, 6), 22: (8, 9), 23: (12, 13), 24: (18, 19),
    },
    Severity.REDUCED: {
        14: (0, 1), 17: (0, 2), 18: (1, 3), 19: (1, 4), 20: (2, 5), 21: (3, 6), 22: (5, 8), 23: (7, 10),
        24: (10, 13),
    },
}  # fmt: skip
"""Ac and Re by the diagonal of the master table: the letter's place in its row plus the AQL's in its column,
both from 0. J (8) with AQL 1.0 (10) lies on diagonal 18."""

_WITHOUT_PLAN = (0, 15)
"""The one exception, in tightened inspection: A with AQL 10 has an arrow down in place of 0/1."""


def _arrow(severity: Severity, diagonal: int) -> int:
    """The direction in which a cell without a plan points.

    Up beyond the last plan of a column; up, too, just below its plan with Ac 0, but not in tightened
    inspection; down in all others.
    """
    if diagonal > 24:
        return _UP
    return _UP if diagonal == 15 and severity is not Severity.TIGHTENED else _DOWN


# ------------------------------------------------------------------------------------------ the plan


def code_letter(lot_size: int, level: Level | str = Level.II) -> str:
    """Return the code letter of a lot of so many frames (table 1); a lot of 1 counts as one of 2.

    Raises ValueError for a lot of none.
    """
    if lot_size < 1:
        raise ValueError(f"a lot has one frame at least, not {lot_size}")
    return _CODE_LETTERS[Level(level)][bisect.bisect_left(_LOT_LIMITS, lot_size)]


def plan(
    lot_size: int, level: Level | str, aql: float, severity: Severity | str = Severity.NORMAL
) -> SamplingPlan:
    """Return the single sampling plan for a lot of so many frames and an AQL in per cent.

    An arrow of the table leads to the next plan in its direction, with that plan's own sample size. Where
    the sample would be the lot or more, all frames are inspected; Ac and Re stay.
    Raises ValueError for a lot of none, and for an AQL, level or severity that is not in the tables.
    Source: ISO 2859-1, tables 1, 2-A and 2-B; MIL-STD-105E, table II-C.
    """
    if aql not in AQLS:
        raise ValueError(f"the tables have no AQL of {aql:g} %")
    letter, severity = code_letter(lot_size, level), Severity(severity)
    row = _follow(severity, _LETTERS.index(letter), AQLS.index(aql))
    accept, reject = _DIAGONALS[severity][row + AQLS.index(aql)]
    sample_size = (_REDUCED_SIZES if severity is Severity.REDUCED else _SAMPLE_SIZES)[row]
    return SamplingPlan(
        code_letter=letter,
        plan_letter=_LETTERS[row],
        sample_size=min(sample_size, lot_size),
        accept=accept,
        reject=reject,
        is_whole_lot=sample_size >= lot_size,
    )


def _follow(severity: Severity, row: int, column: int) -> int:
    """Return the row of the plan that a cell has or leads to.

    At the first and last rows an arrow that has nothing to lead to points the other way.
    """
    last = len(_LETTERS) - (1 if severity is Severity.TIGHTENED else 2)
    if _has_plan(severity, row, column):
        return row
    down, up = range(row + 1, last + 1), range(row - 1, -1, -1)
    ways = (up, down) if _arrow(severity, row + column) == _UP else (down, up)
    return next(each for way in ways for each in way if _has_plan(severity, each, column))


def _has_plan(severity: Severity, row: int, column: int) -> bool:
    is_exception = severity is Severity.TIGHTENED and (row, column) == _WITHOUT_PLAN
    return row + column in _DIAGONALS[severity] and not is_exception


# ------------------------------------------------------------------------------------------- the draw


def choose(
    names: Iterable[str], size: int, seed: str | int, *, session_of: Mapping[str, str] | None = None
) -> tuple[str, ...]:
    """Return `size` of the names, or all if there are no more, in the order in which they are drawn.

    Names are drawn in the order of the SHA-256 digest of the seed, a NUL byte and the name, all in UTF-8.
    So the choice is the same on every machine, does not depend on the order of the names, and a larger
    sample with the same seed begins with the smaller one. A name that is given twice counts once.

    With `session_of`, sessions are drawn from in proportion to the names that they have: the k-th of n
    names of a session has the place (k - ½) / n, and lower places are drawn first.
    """
    drawn = sorted(set(names), key=lambda name: (_digest(seed, name), name))
    if session_of is not None:
        drawn = _interleaved(drawn, session_of)
    return tuple(drawn[: max(size, 0)])


def _digest(seed: str | int, name: str) -> bytes:
    return hashlib.sha256(f"{seed}\0{name}".encode(errors="surrogatepass")).digest()


def _interleaved(drawn: Sequence[str], session_of: Mapping[str, str]) -> list[str]:
    sessions: dict[str, list[str]] = {}
    for name in drawn:
        sessions.setdefault(session_of.get(name, ""), []).append(name)
    places: dict[str, float] = {
        name: (2 * number + 1) / (2 * len(members))
        for members in sessions.values()
        for number, name in enumerate(members)
    }
    return sorted(drawn, key=places.__getitem__)  # ties keep the order of the digests
