"""Acceptance sampling: the published tables cell by cell, and what must hold for any lot and any choice."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pipeline import sampling
from pipeline.sampling import AQLS, Level, Severity
from tests.sampling_promises import accepted, limiting_quality

lots = st.integers(1, 2_000_000)
levels = st.sampled_from(Level)
severities = st.sampled_from(Severity)
aqls = st.sampled_from(AQLS)
names = st.sets(st.text(min_size=1, max_size=12), max_size=40)

# ISO 2859-1, table 1, which is MIL-STD-105E, table I: the largest lot of a row, letters of S-1 to III
TABLE_1 = """
8 A A A A A A B | 15 A A A A A B C | 25 A A B B B C D | 50 A B B C C D E | 90 B B C C C E F
150 B B C D D F G | 280 B C D E E G H | 500 B C D E F H J | 1200 C C E F G J K | 3200 C D E G H K L
10000 C D F G J L M | 35000 C D F H K M N | 150000 D E G J L N P | 500000 D E G J M P Q
9999999 D E H K N Q R
"""

# ISO 2859-1, table 2-A: letter, sample size, then AQL 0.65, 1.0, 1.5, 2.5 and 4.0: Ac/Re, v and ^ are arrows
TABLE_2_A = """
A 2 v v v v v
B 3 v v v v 0/1
C 5 v v v 0/1 ^
D 8 v v 0/1 ^ v
E 13 v 0/1 ^ v 1/2
F 20 0/1 ^ v 1/2 2/3
G 32 ^ v 1/2 2/3 3/4
H 50 v 1/2 2/3 3/4 5/6
J 80 1/2 2/3 3/4 5/6 7/8
K 125 2/3 3/4 5/6 7/8 10/11
L 200 3/4 5/6 7/8 10/11 14/15
M 315 5/6 7/8 10/11 14/15 21/22
N 500 7/8 10/11 14/15 21/22 ^
P 800 10/11 14/15 21/22 ^ ^
Q 1250 14/15 21/22 ^ ^ ^
R 2000 21/22 ^ ^ ^ ^
"""
NORMAL_AQLS = (0.65, 1.0, 1.5, 2.5, 4.0)

# MIL-STD-105E, tables II-A to II-C, cells with and without an arrow: sample size, Ac and
# Re of the plan that the cell has or leads to
CELLS = {
    Severity.NORMAL: {
        ("A", 0.010): (1250, 0, 1), ("R", 0.010): (1250, 0, 1), ("R", 0.015): (800, 0, 1),
        ("R", 0.025): (2000, 1, 2), ("A", 6.5): (2, 0, 1), ("A", 10): (5, 1, 2), ("B", 10): (5, 1, 2),
        ("J", 0.10): (125, 0, 1), ("K", 0.40): (125, 1, 2), ("L", 10): (125, 21, 22),
        ("R", 10): (125, 21, 22),
    },
    Severity.TIGHTENED: {
        ("A", 0.010): (2000, 0, 1), ("Q", 0.025): (3150, 1, 2), ("R", 0.025): (3150, 1, 2),
        ("R", 0.015): (1250, 0, 1), ("A", 10): (8, 1, 2), ("B", 10): (8, 1, 2), ("B", 6.5): (3, 0, 1),
        ("G", 1.0): (80, 1, 2), ("H", 1.0): (80, 1, 2), ("J", 1.0): (80, 1, 2), ("K", 1.0): (125, 2, 3),
        ("K", 2.5): (125, 5, 6), ("K", 4.0): (125, 8, 9), ("K", 6.5): (125, 12, 13), ("K", 10): (125, 18, 19),
        ("L", 10): (125, 18, 19),
    },
    Severity.REDUCED: {
        ("A", 0.010): (500, 0, 1), ("Q", 0.025): (800, 0, 2), ("R", 0.025): (800, 0, 2),
        ("A", 6.5): (2, 0, 1), ("B", 6.5): (2, 0, 1), ("C", 6.5): (3, 0, 2), ("K", 0.40): (50, 0, 2),
        ("K", 0.65): (50, 1, 3), ("K", 1.0): (50, 1, 4), ("K", 1.5): (50, 2, 5), ("K", 2.5): (50, 3, 6),
        ("K", 4.0): (50, 5, 8), ("K", 6.5): (50, 7, 10), ("K", 10): (50, 10, 13), ("R", 10): (50, 10, 13),
    },
}  # fmt: skip

LARGEST = (2_000_000, 500_000, 150_000, 35_000, 10_000, 3200, 1200, 500, 280, 150, 90, 50, 25, 15, 8)


def plan_of(letter: str, aql: float, severity: Severity = Severity.NORMAL) -> sampling.SamplingPlan:
    """The plan for a code letter, by the largest lot that has it at some level."""
    lot, level = next(
        pair for pair in itertools.product(LARGEST, Level) if sampling.code_letter(*pair) == letter
    )
    return sampling.plan(lot, level, aql, severity)


def test_code_letters_are_those_of_the_published_table() -> None:
    first = 2
    for row in TABLE_1.replace("\n", "|").split("|"):
        if row.strip():
            last, *letters = row.split()
            for lot in (first, int(last)):
                assert [sampling.code_letter(lot, level) for level in Level] == letters
            first = int(last) + 1


def test_normal_plans_are_those_of_the_published_table_and_arrows_lead_to_the_next_plan() -> None:
    rows = [line.split() for line in TABLE_2_A.split("\n") if line]
    for number, column in itertools.product(range(len(rows)), range(len(NORMAL_AQLS))):
        at = number
        while (cell := rows[at][2 + column]) in "v^":
            at += 1 if cell == "v" else -1
        plan = plan_of(rows[number][0], NORMAL_AQLS[column])
        assert plan.plan_letter == rows[at][0]
        assert f"{plan.accept}/{plan.reject}" == cell
        assert plan.is_whole_lot or plan.sample_size == int(rows[at][1])


@pytest.mark.parametrize("severity", Severity)
def test_cells_of_the_other_tables_are_the_published_ones(severity: Severity) -> None:
    for (letter, aql), (size, accept, reject) in CELLS[severity].items():
        plan = plan_of(letter, aql, severity)
        assert (plan.accept, plan.reject) == (accept, reject), (letter, aql)
        assert plan.is_whole_lot or plan.sample_size == size, (letter, aql)


# published points: AQL 0.65 with 80 frames is 1/2, with 20 frames 0/1, and G takes the plan of F with its 20
@pytest.mark.parametrize(("lot", "expected"), [(1000, (80, 1, 2)), (140, (20, 0, 1)), (200, (20, 0, 1))])
def test_known_points_for_aql_0_65(lot: int, expected: tuple[int, int, int]) -> None:
    plan = sampling.plan(lot, "II", 0.65, "normal")
    assert (plan.sample_size, plan.accept, plan.reject) == expected


def test_a_lot_that_is_no_larger_than_its_sample_is_inspected_whole() -> None:
    plan = sampling.plan(10, Level.II, 1.0)
    assert (plan.code_letter, plan.plan_letter) == ("B", "E")
    assert (plan.sample_size, plan.is_whole_lot) == (10, True)
    assert sampling.plan(1, Level.II, 1.0).sample_size == 1


@pytest.mark.parametrize("wrong", [(0, "II", 1.0), (10, "IV", 1.0), (10, "II", 0.5), (10, "II", 1.0, "lax")])
def test_what_is_in_no_table_is_refused(wrong: tuple[int, str, float, str]) -> None:
    with pytest.raises(ValueError, match=r"lot|IV|AQL|lax"):
        sampling.plan(*wrong)


@given(lots, lots, levels)
def test_a_larger_lot_never_has_an_earlier_code_letter(one: int, other: int, level: Level) -> None:
    low, high = sorted((one, other))
    assert sampling.code_letter(low, level) <= sampling.code_letter(high, level)


@given(lots, levels, aqls, severities)
def test_a_plan_never_inspects_more_than_the_lot_and_can_decide(
    lot: int, level: Level, aql: float, severity: Severity
) -> None:
    plan = sampling.plan(lot, level, aql, severity)
    assert 1 <= plan.sample_size <= lot
    assert plan.is_whole_lot is (plan.sample_size == lot)
    assert 0 <= plan.accept < plan.reject
    assert severity is Severity.REDUCED or plan.reject == plan.accept + 1


@given(lots, levels, aqls)
def test_tightened_inspection_never_promises_less_than_normal(lot: int, level: Level, aql: float) -> None:
    normal, tightened, reduced = (sampling.plan(lot, level, aql, each) for each in Severity)
    assert tightened.sample_size >= normal.sample_size >= reduced.sample_size
    if not tightened.is_whole_lot:
        assert limiting_quality(tightened) <= limiting_quality(normal)


# ------------------------------------------------------------------------------------- what it promises


def test_lots_of_acceptable_quality_are_accepted_nearly_always() -> None:
    """Computed from the published table: 87.8 to 99.4 % for lots just at the AQL."""
    chances = [
        accepted(plan_of(letter, aql), aql / 100)
        for letter, aql in itertools.product("ABCDEFGHJKLMNPQR", NORMAL_AQLS)
        if not plan_of(letter, aql).is_whole_lot
    ]
    assert (round(100 * min(chances), 1), round(100 * max(chances), 1)) == (87.8, 99.4)


# lots of this quality are accepted one time in ten: computed independently from the binomial distribution
@pytest.mark.parametrize(
    ("lot", "aql", "size", "per_cent"),
    [(1000, 1.0, 80, 6.5), (300, 1.0, 50, 7.6), (2000, 1.0, 125, 5.3), (5000, 1.0, 200, 4.6),
     (100, 0.65, 20, 10.9)],
)  # fmt: skip
def test_what_a_plan_does_not_promise_is_told(lot: int, aql: float, size: int, per_cent: float) -> None:
    plan = sampling.plan(lot, Level.II, aql)
    assert plan.sample_size == size
    assert 100 * limiting_quality(plan) == pytest.approx(per_cent, abs=0.05)


# ------------------------------------------------------------------------------------------- the draw


def test_the_choice_is_the_same_on_every_machine_and_for_good() -> None:
    """Computed with sha256sum: printf 'autumn\\0B14_0001.tif' | sha256sum, and so on, sorted."""
    files = [f"B14_{number:04}.tif" for number in range(1, 13)]
    assert sampling.choose(files, 4, "autumn") == CHOSEN


CHOSEN = ("B14_0002.tif", "B14_0001.tif", "B14_0004.tif", "B14_0009.tif")


@given(names, st.integers(0, 50), st.integers(0, 50), st.text(max_size=5), st.randoms())
def test_a_larger_sample_begins_with_the_smaller_whatever_the_order_of_the_names(
    given_names: set[str], one: int, other: int, seed: str, chance: object
) -> None:
    small, large = sorted((one, other))
    listed = sorted(given_names)
    sample = sampling.choose(listed, small, seed)
    assert sampling.choose(reversed(listed), large, seed)[: len(sample)] == sample
    assert len(sample) == min(small, len(listed)) == len(set(sample))
    assert set(sample) <= given_names


@given(names, st.text(max_size=5))
def test_another_seed_draws_in_another_order_but_from_the_same_names(given: set[str], seed: str) -> None:
    size = len(given)
    assert set(sampling.choose(given, size, seed)) == set(sampling.choose(given, size, f"{seed}!")) == given


@given(st.lists(st.integers(1, 40), min_size=1, max_size=6), st.integers(1, 100))
@example([3, 4, 3, 36, 36, 36], 13)
def test_sessions_are_drawn_from_in_proportion(sizes: list[int], size: int) -> None:
    session_of = {f"{s}-{n}": str(s) for s, count in enumerate(sizes) for n in range(count)}
    chosen = sampling.choose(session_of, size, 7, session_of=session_of)
    share = min(size, sum(sizes)) / sum(sizes)
    for session, count in enumerate(sizes):
        drawn = sum(session_of[name] == str(session) for name in chosen)
        # Drawn is what lies below one place: of each session half a name more or less than its part there,
        # and these halves together move the place.
        assert abs(drawn - share * count) <= 0.5 + len(sizes) * count / (2 * sum(sizes)) + 1e-9
    assert sampling.choose(session_of, size + 5, 7, session_of=session_of)[: len(chosen)] == chosen
