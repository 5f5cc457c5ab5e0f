"""What really happened against what was planned: an average that begins at the plan and trusts what was seen the more often it was seen.

A shrinkage average (James & Stein 1961 in spirit; the weight of the plan is common practice): the plan counts as `weight` observations. What lies
beyond a third or three times of the plan is left out and named, since a lunch, a forgotten tap or a detour stands behind it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

WEIGHT, LEAST, MOST = 3.0, 1 / 3, 3.0


@dataclass(frozen=True)
class Learned:
    """What to plan with, from how many observations, and those left out with the reason: "short" or "long"."""

    value: float
    seen: int
    left_out: tuple[tuple[float, str], ...] = ()


def learned(planned: float, observed: Sequence[float], *, weight: float = WEIGHT) -> Learned:
    """The average of the plan and what was seen, in the plan's unit. Raises ValueError for a plan of nought or less, or what is no number."""
    if not planned > 0 or not math.isfinite(planned) or weight < 0:
        raise ValueError("What was planned is more than nought, its weight not less.")
    if not all(math.isfinite(value) for value in observed):
        raise ValueError("What was seen is a number.")
    kept, out = list[float](), list[tuple[float, str]]()
    for value in observed:
        if value < LEAST * planned:
            out.append((value, "short"))
        elif value > MOST * planned:
            out.append((value, "long"))
        else:
            kept.append(value)
    if not kept:
        return Learned(planned, 0, tuple(out))
    return Learned((weight * planned + sum(kept)) / (weight + len(kept)), len(kept), tuple(out))
