"""Which objects are proved in a run, in which order, and how a store stands against its period: pure plans.

Without a period or a number, a run goes round the store in the order of places, from where the last one
stopped. Oldest first means: what was never proved, then what was proved longest ago. With a period a run
takes the oldest, everything that is overdue and its share of the whole.
"""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from pipeline.audit.record import Known, moment
from pipeline.audit.values import Condition, Options, Standing
from pipeline.ocfl.walking import Found

DAY_S = 86_400
SHORTEST_INTERVAL_DAYS = 1.0
"""Runs that come more often do not make the share of one smaller."""
LEAST_READ_BYTES = 50_000_000
LEAST_READ_S = 0.5
"""A run that read less says nothing of how fast the store is read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The objects of a run, in their order."""

    objects: tuple[Found, ...]
    order: str
    """How they were chosen, in words."""
    goes_round: bool = False
    """The run goes on where the last one stopped."""


def plan(
    objects: Sequence[Found],
    known: Mapping[str, Known],
    options: Options,
    *,
    now: dt.datetime,
    cursor: str = "",
    last_run: str = "",
    seed: str = "",
) -> Plan:
    """Return what a run is to prove. `objects` are those that are there, sorted by place."""
    if options.sample is not None:
        return _sample(objects, options.sample, seed)
    if options.within is not None:
        return _due(objects, known, options.within, now, interval_days(last_run, now))
    if options.is_oldest_first:
        chosen = tuple(sorted(objects, key=lambda each: age_key(known.get(each.place), now)))
        return Plan(objects=chosen, order="all objects, the one first whose last proof is the oldest")
    ahead = [each for each in objects if each.place > cursor]
    behind = [each for each in objects if each.place <= cursor]
    order = "all objects, on from where the last run stopped" if cursor else "all objects"
    return Plan(objects=(*ahead, *behind), order=order, goes_round=True)


def _sample(objects: Sequence[Found], number: int, seed: str) -> Plan:
    drawn = random.Random(seed).sample(range(len(objects)), min(number, len(objects)))
    chosen = tuple(objects[at] for at in sorted(drawn))
    return Plan(objects=chosen, order=f"{len(chosen):,} of {len(objects):,} objects, drawn with seed {seed}")


def _due(
    objects: Sequence[Found],
    known: Mapping[str, Known],
    within: dt.timedelta,
    now: dt.datetime,
    every_days: float,
) -> Plan:
    """Everything that is overdue, and the oldest others until the share of one run is reached."""
    share = sum(each.size_bytes for each in objects) * every_days * DAY_S / within.total_seconds()
    number = len(objects) * every_days * DAY_S / within.total_seconds()
    chosen: list[Found] = []
    size_bytes = 0
    for each in sorted(objects, key=lambda each: age_key(known.get(each.place), now)):
        is_full = size_bytes >= share and len(chosen) >= number
        if is_full and not is_overdue(known.get(each.place), within, now):
            break
        chosen.append(each)
        size_bytes += each.size_bytes
    days = within.total_seconds() / DAY_S
    return Plan(
        objects=tuple(chosen),
        order=f"what was not proved in {days:g} days, and the oldest others up to this run's share",
    )


def age_key(known: Known | None, now: dt.datetime) -> tuple[int, str, int]:
    """Sort key: what could not be read last time, what was never proved, then the oldest proofs.

    A date that has not come yet proves nothing: the clock was wrong then, or is now.
    """
    if known is None or not known.proved_at or moment(known.proved_at) > now:
        is_retry = known is not None and known.condition == Condition.UNREAD
        return 0 if is_retry else 1, "", known.proof if known else 0
    return 2, known.proved_at, known.proof


def is_overdue(known: Known | None, within: dt.timedelta, now: dt.datetime) -> bool:
    """True for an object that was not proved within the period.

    One that was never proved has the period from when it was first seen. A date that has not come yet says
    nothing, so the object is overdue.
    """
    if known is None:
        return False
    since = moment(known.proved_at or known.first_seen)
    return since > now or now - since > within


def interval_days(last_run: str, now: dt.datetime) -> float:
    """Return how long the run before lies back, in days: one at least, and one if there was none."""
    if not last_run:
        return SHORTEST_INTERVAL_DAYS
    return max((now - moment(last_run)).total_seconds() / DAY_S, SHORTEST_INTERVAL_DAYS)


def sample_seed(url: str, now: dt.datetime) -> str:
    """Return the seed of a day's sample of a store: the same all day, so that a run can be taken up again."""
    return f"{now.astimezone(dt.UTC):%Y-%m-%d} {url}"


def standing(
    known: Iterable[Known],
    options: Options,
    *,
    now: dt.datetime,
    read_bytes: int,
    took_s: float,
    last_run: str,
) -> Standing:
    """Return how the store stands after a run that read so many bytes in so long."""
    there = [each for each in known if each.is_there]
    proved = [each for each in there if each.proved_at and moment(each.proved_at) <= now]
    size_bytes = sum(each.size_bytes for each in there)
    says_speed = read_bytes >= LEAST_READ_BYTES and took_s >= LEAST_READ_S
    bytes_per_s = read_bytes / took_s if says_speed else 0.0
    overdue = [each for each in there if options.within and is_overdue(each, options.within, now)]
    overdue_bytes = sum(each.size_bytes for each in overdue)
    every_days = interval_days(last_run, now)
    within_s = options.within.total_seconds() if options.within else None
    share = size_bytes * every_days * DAY_S / within_s if within_s else 0.0
    return Standing(
        objects=len(there),
        size_bytes=size_bytes,
        never=len(there) - len([each for each in there if each.proved_at]),
        oldest=min((each.proved_at for each in proved), default=""),
        within_days=within_s / DAY_S if within_s else None,
        overdue=len(overdue),
        overdue_bytes=overdue_bytes,
        bytes_per_s=bytes_per_s,
        every_days=every_days,
        needed_s=share / bytes_per_s if bytes_per_s and within_s else None,
        catch_up_s=overdue_bytes / bytes_per_s if bytes_per_s and overdue else None,
        allowed_s=options.budget_s,
        ahead=sum(1 for each in there if each.proved_at and moment(each.proved_at) > now),
    )
