"""What the docs' tables are counted from: a few of each, held against what they state."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from pipeline.measurements import Quantity
from tests.measure import make_figures, truth
from tests.measure.sheets import Sheet

# what the docs promise, with room for noise: in the unit, or in per cent for shares
WITHIN = {
    Quantity.SFR50: 7.0, Quantity.SFR10: 14.0, Quantity.EFFICIENCY: 12.0, Quantity.RESPONSE_HALF: 0.1,
    Quantity.SHARPENING: 0.03, Quantity.MISREGISTRATION: 0.005, Quantity.COLOUR: 0.1,
    Quantity.WHITE_BALANCE: 0.7, Quantity.TONE: 0.2, Quantity.TRUE_PPI: 0.03, Quantity.EVENNESS: 0.3,
    Quantity.CAST: 0.65, Quantity.SKEW: 0.03, Quantity.TEXT_SKEW: 0.06, Quantity.KEYSTONE: 0.03,
    Quantity.PAGE_TONE: 0.5, Quantity.BLUR: 17.0,
}  # fmt: skip


@pytest.fixture(scope="module")
def some() -> list[truth.Trial]:
    return list(truth.trials(only_every=71))


def test_measures_of_drawn_frames_are_within_what_the_docs_state(some: list[truth.Trial]) -> None:
    assert {each.quantity for each in some} == set(WITHIN)
    for each in some:
        assert each.found is not None, each
        assert make_figures.error(each) < WITHIN[each.quantity], each


def test_errors_are_counted_whole_and_by_condition(some: list[truth.Trial]) -> None:
    counted = make_figures.counted(some)
    assert list(counted) == [each.value for each in dict.fromkeys(trial.quantity for trial in some)]
    whole, *parts = counted["sfr50"]
    assert whole["trials"] == sum(each.quantity is Quantity.SFR50 for each in some)
    of_bits = [each for each in parts if each["condition"] == "bits"]
    assert sum(each["trials"] for each in of_bits) == whole["trials"]
    assert max(each["largest"] for each in of_bits) == whole["largest"]


def test_what_was_not_measured_is_counted_and_has_no_error() -> None:
    trials = [truth.Trial(quantity=Quantity.SKEW, true=1.0, found=found) for found in (None, 1.25)]
    (row,) = make_figures.counted(trials)["skew"]
    assert (row["trials"], row["not_measured"], row["median"], row["largest"]) == (2, 1, 0.25, 0.25)


def test_the_maximum_of_an_unsharp_mask_is_the_closed_form() -> None:
    """1.170, 1.272 and 1.015: found by evaluating the response itself."""
    f = np.linspace(0, 0.5, 5001)
    for sigma, amount in ((0.6, 1.0), (0.5, 1.0), (0.6, 0.5), (0.8, 1.5)):
        alpha, beta = 2 * (math.pi * sigma) ** 2, 2 * math.pi**2
        response = np.exp(-alpha * f**2) * (1 + amount - amount * np.exp(-beta * f**2))
        assert truth._highest(sigma, amount) == pytest.approx(float(response.max()), abs=1e-4)


@given(st.permutations(range(9)))
def test_ranks_without_ties_correlate_by_the_sum_of_their_squared_differences(order: list[int]) -> None:
    squares = sum((one - other) ** 2 for one, other in enumerate(order))
    found = truth.spearman(range(9), [math.exp(each) for each in order])
    assert found == pytest.approx(1 - 6 * squares / (9 * (9**2 - 1)))


def test_ties_share_their_rank_and_what_does_not_vary_does_not_correlate() -> None:
    assert truth.spearman([1, 2, 3], [5, 5, 9]) == pytest.approx(math.sqrt(3) / 2)  # of 1, 2, 3 and 1½, 1½, 3
    assert truth.spearman([1, 2, 3], [4, 4, 4]) == 0


def test_figures_follow_what_is_done_to_a_photograph(tmp_path: Path) -> None:
    sheet = Sheet(width=560, height=720, sheet_width=380, sheet_height=520, centre=(280, 360), paper=0.92)
    Image.fromarray(sheet.codes()).resize((700, 900)).save(tmp_path / "page.png")
    ways = [replace(way, amounts=way.amounts[:: (len(way.amounts) - 1) // 2][:3]) for way in truth.WAYS]
    followed = list(truth.degraded([tmp_path / "page.png"], ways))
    assert {each.way for each in followed} == {way.quantity for way in truth.WAYS}
    found = make_figures.ranked(followed)
    for name, each in found["ways"].items():
        assert each["not_measured"] == 0, name
        assert each["least"] == 1, name
    assert set(found["standing_out"].values()) == {0}  # of one page nothing can stand out
