"""Which objects a run takes, in which order, and how a store stands: plans without a store."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.audit import schedule
from pipeline.audit.record import Known
from pipeline.audit.values import Options
from pipeline.ocfl.walking import Found
from tests.audit.world import START

DAY = dt.timedelta(days=1)


def text(moment: dt.datetime) -> str:
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def known(place: str, days_ago: float | None, *, size: int = 100, condition: str = "intact") -> Known:
    proved = text(START - days_ago * DAY) if days_ago is not None else ""
    first = text(START - 50 * DAY)
    return Known(place, f"urn:{place}", "v1", size, first, True, proved, 1 if proved else 0, condition)


def found(*places: str, size: int = 100) -> list[Found]:
    return [Found(place, 3, size) for place in places]


def places(plan: schedule.Plan) -> str:
    return "".join(each.place for each in plan.objects)


KNOWN = {each.place: each for each in (known("a", 5), known("b", 40), known("c", None), known("d", 12))}


def test_a_run_goes_round_from_where_the_last_one_stopped() -> None:
    objects = found("a", "b", "c", "d")
    assert places(schedule.plan(objects, KNOWN, Options(), now=START)) == "abcd"
    assert places(schedule.plan(objects, KNOWN, Options(), now=START, cursor="b")) == "cdab"
    assert places(schedule.plan(objects, KNOWN, Options(), now=START, cursor="zz")) == "abcd"


def test_oldest_first_begins_with_what_was_never_proved() -> None:
    made = schedule.plan(found("a", "b", "c", "d", "e"), KNOWN, Options(is_oldest_first=True), now=START)
    assert places(made) == "cebda"


def test_what_could_not_be_read_comes_before_all() -> None:
    records = {**KNOWN, "e": known("e", None, condition="could not be read")}
    made = schedule.plan(found("a", "b", "c", "d", "e"), records, Options(is_oldest_first=True), now=START)
    assert places(made)[0] == "e"


def test_a_date_that_has_not_come_yet_counts_as_no_proof() -> None:
    records = {**KNOWN, "a": known("a", -300)}
    made = schedule.plan(found("a", "b", "d"), records, Options(is_oldest_first=True), now=START)
    assert places(made) == "abd"


@pytest.mark.parametrize(
    ("within_days", "taken"),
    [(4, "cbda"), (10, "cbd"), (30, "cb"), (100, "c")],
)
def test_a_period_takes_what_is_overdue_and_a_share(within_days: int, taken: str) -> None:
    options = Options(within=within_days * DAY)
    assert places(schedule.plan(found("a", "b", "c", "d"), KNOWN, options, now=START)) == taken


def test_a_run_after_a_pause_takes_a_larger_share() -> None:
    records = {place: known(place, 1 + at) for at, place in enumerate("abcdefgh")}
    objects, options = found(*"abcdefgh"), Options(within=8 * DAY)
    each_day = schedule.plan(objects, records, options, now=START, last_run=text(START - DAY))
    after_four = schedule.plan(objects, records, options, now=START, last_run=text(START - 4 * DAY))
    assert (len(each_day.objects), len(after_four.objects)) == (1, 4)


@settings(max_examples=30)
@given(st.integers(1, 40), st.integers(1, 20), st.integers(0, 3))
def test_a_period_is_held_whatever_the_sizes(objects: int, within_days: int, seed: int) -> None:
    """Run every day: from the end of the first period on nothing is ever overdue."""
    sizes = [1 + (number * 7919 + seed * 31) % 1000 for number in range(objects)]
    there = [Found(f"{number:03}", 1, size) for number, size in enumerate(sizes)]
    records = {
        each.place: Known(each.place, "", "", each.size_bytes, text(START), True, "", 0, "") for each in there
    }
    options = Options(within=within_days * DAY)
    for day in range(2 * within_days + 2):
        now = START + day * DAY
        last_run = text(now - DAY) if day else ""
        plan = schedule.plan(there, records, options, now=now, last_run=last_run)
        for each in plan.objects:
            records[each.place] = records[each.place]._replace(proved_at=text(now))
        assert not [
            each for each in records.values() if schedule.is_overdue(each, options.within or DAY, now)
        ]


@given(st.integers(0, 50), st.integers(1, 60), st.text(max_size=5))
def test_a_sample_is_as_large_as_asked_and_has_no_object_twice(objects: int, number: int, seed: str) -> None:
    there = [Found(f"{at:03}", 1, 1) for at in range(objects)]
    taken = schedule.plan(there, {}, Options(sample=number), now=START, seed=seed).objects
    assert len(taken) == len(set(taken)) == min(number, objects)
    assert list(taken) == sorted(taken)


def test_a_budget_that_is_too_short_is_told_with_the_one_that_is_needed() -> None:
    standing = schedule.standing(
        [known("a", 5, size=10**11), known("b", 10, size=10**11)],
        Options(within=20 * DAY, budget_s=60.0),
        now=START,
        read_bytes=10**10,
        took_s=100.0,
        last_run=text(START - DAY),
    )
    assert standing.overdue == 0
    assert standing.bytes_per_s == 10**8
    assert standing.needed_s == pytest.approx(100.0)
    assert standing.is_behind


def test_what_is_overdue_is_told_with_the_time_that_it_takes() -> None:
    standing = schedule.standing(
        [known("a", 5, size=10**11), known("b", 40, size=10**11)],
        Options(within=20 * DAY),
        now=START,
        read_bytes=10**10,
        took_s=100.0,
        last_run=text(START - DAY),
    )
    assert (standing.overdue, standing.overdue_bytes) == (1, 10**11)
    assert standing.catch_up_s == pytest.approx(1000.0)
    assert standing.is_behind


def test_a_run_that_read_little_says_nothing_of_speed() -> None:
    standing = schedule.standing(
        [known("a", 5)], Options(within=DAY), now=START, read_bytes=1000, took_s=0.1, last_run=""
    )
    assert (standing.bytes_per_s, standing.needed_s) == (0.0, None)
