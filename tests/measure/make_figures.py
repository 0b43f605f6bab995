"""Writes how far measures are from the truth, and how they follow what is done to photographs: figures.json.

Run it after a change of a method; it takes some minutes. docs/measures.md is made from what it writes::

    REAL_PAGES=FOLDER python -m tests.measure.make_figures

REAL_PAGES names a folder of photographs of pages of one book; without it, what was found on them stays.
"""

from __future__ import annotations

import datetime as dt
import json
import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.measurements import METHOD_VERSION, Quantity
from tests.measure import truth
from tests.measure.truth import Followed, Trial, Way

FIGURES = Path(__file__).with_name("figures.json")
SHARES = frozenset({Quantity.SFR50, Quantity.SFR10, Quantity.TRUE_PPI, Quantity.BLUR})
"""Quantities of which the error is counted as a share of the truth, in per cent."""
WHOLE = "all"


def main() -> None:
    """Measure and write."""
    made: dict[str, Any] = json.loads(FIGURES.read_text()) if FIGURES.exists() else {}
    today, version = dt.datetime.now(dt.UTC).date().isoformat(), METHOD_VERSION
    made["drawn"] = {"date": today, "version": version, "quantities": counted(truth.trials())}
    if folder := os.environ.get("REAL_PAGES"):
        pages = sorted(Path(folder).glob("*.jpg"))
        followed = list(truth.degraded(pages))
        made["pages"] = {"date": today, "version": version, "pages": len(pages), **ranked(followed)}
    FIGURES.write_text(json.dumps(made, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def counted(trials: Iterable[Trial]) -> dict[str, list[dict[str, Any]]]:
    """Return for each quantity the errors of all trials, and of those that have one condition in common."""
    by_quantity: dict[Quantity, list[Trial]] = {}
    for each in trials:
        by_quantity.setdefault(each.quantity, []).append(each)
    return {quantity.value: list(_rows(of)) for quantity, of in by_quantity.items()}


def _rows(trials: Sequence[Trial]) -> Iterable[dict[str, Any]]:
    yield _row(WHOLE, "", trials)
    conditions = dict.fromkeys(pair for each in trials for pair in each.conditions.items())
    names = list(dict.fromkeys(name for name, _ in conditions))
    for name, value in sorted(conditions, key=lambda each: names.index(each[0])):
        yield _row(name, value, [each for each in trials if each.conditions.get(name) == value])


def _row(condition: str, value: str, trials: Sequence[Trial]) -> dict[str, Any]:
    errors = [error(each) for each in trials if each.found is not None]
    return {
        "condition": condition,
        "value": value,
        "trials": len(trials),
        "not_measured": len(trials) - len(errors),
        "median": _figures(float(np.median(errors))) if errors else None,
        "percentile_95": _figures(float(np.percentile(errors, 95))) if errors else None,
        "largest": _figures(max(errors)) if errors else None,
    }


def error(trial: Trial) -> float:
    """Return how far off a trial was, without sign: in its unit, or in per cent of the truth."""
    assert trial.found is not None
    off = abs(trial.found - trial.true)
    return 100 * off / trial.true if trial.quantity in SHARES else off


def ranked(followed: Sequence[Followed]) -> dict[str, Any]:
    """Return for each way how well its figure followed, and how many blurred pages stood out."""
    of_way = {
        way.quantity.value: [each for each in followed if each.way == way.quantity] for way in truth.WAYS
    }
    ways = {way.quantity.value: _ranks(of_way[way.quantity], way) for way in truth.WAYS}
    blurs = of_way[Quantity.BLUR.value]
    amounts = next(way.amounts for way in truth.WAYS if way.quantity is Quantity.BLUR)
    return {
        "ways": ways,
        "standing_out": {
            f"{amount:g}": truth.standing_out(blurs, at)
            for at, amount in enumerate(amounts[: len(blurs[0].found)])
        },
    }


def _ranks(found: Sequence[Followed], way: Way) -> dict[str, Any]:
    sign = -1 if way.is_falling else 1
    known = [sign * each.rank_correlation for each in found if each.rank_correlation is not None]
    values = [value for each in found for value in each.found]
    return {
        "least": _figures(min(known)) if known else None,
        "mean": _figures(float(np.mean(known))) if known else None,
        "frames": len(values),
        "not_measured": sum(value is None for value in values),
        "pages": {each.page: [None if v is None else _figures(v) for v in each.found] for each in found},
    }


def _figures(value: float) -> float:
    return float(f"{value:.3g}")


if __name__ == "__main__":
    main()
