"""Days until empty, whole tests left, the day by which to order, cost per test. mL, days, the business's currency."""

import math
from collections.abc import Iterable
from datetime import date, timedelta
from decimal import Decimal

LONGEST_DAYS = 3650.0


class NotCounted(ValueError):
    """An amount that cannot be; the sentence says why."""


def days_until_empty(*, left_ml: float, ml_per_day: float) -> float | None:
    """Days until nothing is left; None when nothing is used; nought when it is empty already."""
    if ml_per_day < 0:
        raise NotCounted("Use is nought or more.")
    if left_ml <= 0:
        return 0.0
    return None if ml_per_day == 0 else left_ml / ml_per_day


def empty_on(*, today: date, left_ml: float, ml_per_day: float) -> date | None:
    """The day on which it runs empty (within ten years)."""
    days = days_until_empty(left_ml=left_ml, ml_per_day=ml_per_day)
    return None if days is None else today + timedelta(days=math.floor(min(days, LONGEST_DAYS)))


def tests_left(*, left_ml: float, ml_per_test: float) -> int:
    """Whole tests that are left. A hair is forgiven, so that 14 mL make two tests of 7 mL."""
    if ml_per_test <= 0:
        raise NotCounted("A test takes more than nought.")
    return max(0, math.floor(left_ml / ml_per_test + 1e-9))


def cost_per_test(*, price: Decimal, pack_ml: float, ml_per_test: float, made_up_to: float = 1.0) -> Decimal:
    """What one test costs: the pack's price over its whole tests; `made_up_to` multiplies a concentrate's volume.
    Raises NotCounted when a pack holds no whole test."""
    tests = tests_left(left_ml=pack_ml * made_up_to, ml_per_test=ml_per_test)
    if tests == 0:
        raise NotCounted("A pack holds no whole test.")
    return (price / tests).quantize(Decimal("0.0001"))


def cost_per_visit(costs: Iterable[Decimal]) -> Decimal:
    """What the tests of a visit cost together."""
    return sum(costs, Decimal(0)).quantize(Decimal("0.01"))


def cost_per_month(*, each: Decimal, a_month: float) -> Decimal:
    """What so many a month cost, to the hundredth. Raises NotCounted for a number that cannot be."""
    if not 0 <= a_month < math.inf or each < 0:
        raise NotCounted("A number a month and its cost are nought or more.")
    return (each * Decimal(repr(a_month))).quantize(Decimal("0.01"))


def must_order_by(*, empty: date, lead_days: int) -> date:
    """The last day to order so that it comes on the day it runs empty."""
    return empty - timedelta(days=lead_days)


def order_needed(*, empty: date, today: date, lead_days: int, days_to_next_visit: int) -> bool:
    """Whether it must be ordered now: it runs empty before an order made today has come and somebody can bring it
    (lead time plus the time to the next visit)."""
    return empty < today + timedelta(days=lead_days + days_to_next_visit)
