"""What a sampling plan promises, from the binomial distribution: for the tables of the docs."""

from __future__ import annotations

import math

from pipeline.sampling import SamplingPlan


def limiting_quality(plan: SamplingPlan, probability: float = 0.10) -> float:
    """The fraction nonconforming, 0 to 1, at which so large a share of large lots is still accepted.

    What the plan does not promise: with 0.10 one lot in ten that is so bad is accepted. For a lot that is
    not one of a series this figure says more than the AQL (ISO 2859-2).
    """
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if accepted(plan, middle) > probability else (low, middle)
    return high


def accepted(plan: SamplingPlan, fraction: float) -> float:
    """How likely a large lot is accepted of which this fraction is nonconforming."""
    size = plan.sample_size
    found = range(min(plan.reject - 1, size) + 1)
    return math.fsum(math.comb(size, n) * fraction**n * (1 - fraction) ** (size - n) for n in found)
