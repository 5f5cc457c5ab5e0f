"""An instrument followed over time beside tests by hand: its newest verdict, how far the two differ as a rule, whether the
difference drifts, and when it would then leave what the instrument states.

Verdict with guard bands (metrology.uncertainty); Bland & Altman 1986 for the rule; Mann 1945 and Sen 1968 for the drift (told only
where both its limits lie on one side of nought). Canonical units, days."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

from servicedesk.core.metrology.agreement import Agreement, limits_of_agreement
from servicedesk.core.metrology.lines import NoLine
from servicedesk.core.metrology.trends import Trend, trend
from servicedesk.core.metrology.uncertainty import Deviation, MethodSpec, Reference, deviation, tolerance

FEWEST_AVERAGE, FEWEST_AGREE, FEWEST_DRIFT = 2, 3, 5


@dataclass(frozen=True)
class Pair:
    """On a day: the reference value by hand, and what the instrument showed then."""

    day: float
    reference: Reference
    shown: float

    @property
    def difference(self) -> float:
        """Shown less tested by hand."""
        return self.shown - self.reference.value


@dataclass(frozen=True)
class Followed:
    """The newest deviation with its verdict; the rule of the differences (three pairs or more); the drift a day (five or more,
    only where it is told), and the days until it leads out of the tolerance (0: it is out; None: it does not lead out)."""

    newest: Deviation
    agreement: Agreement | None
    drift: Trend | None
    leaves_in_days: float | None


def followed(*, pairs: Sequence[Pair], instrument: MethodSpec) -> Followed:
    """What the pairs say of an instrument, in the order of their days. Raises NoLine without any pair."""
    if not pairs:
        raise NoLine("No test by hand stands beside a value of the instrument yet.")
    ordered = sorted(pairs, key=lambda pair: pair.day)
    last = ordered[-1]
    newest = deviation(instrument_value=last.shown, instrument=instrument, reference=last.reference)
    rule = None
    if len(ordered) >= FEWEST_AGREE:
        rule = limits_of_agreement(
            first=[pair.shown for pair in ordered], second=[pair.reference.value for pair in ordered]
        )
    drift = _told(ordered)
    leaves = None if drift is None else _leaves(drift, last.day, newest.allowed)
    return Followed(newest, rule, drift, leaves)


def _told(pairs: Sequence[Pair]) -> Trend | None:
    by_day = {pair.day: pair for pair in pairs}  # of two at one moment the last
    if len(by_day) < FEWEST_DRIFT:
        return None
    found = trend(values=[pair.difference for pair in by_day.values()], times=list(by_day))
    return found if found.low > 0 or found.high < 0 else None


def _leaves(drift: Trend, day: float, allowed: float) -> float | None:
    """Days from `day` until the line of the drift passes the tolerance on the side to which it runs."""
    here = drift.intercept + drift.slope * day
    edge = allowed if drift.slope > 0 else -allowed
    room = (edge - here) / drift.slope
    return max(0.0, room) if allowed > 0 else None


LIKELY = 1.0
"""One standard uncertainty: the true mean is over the tolerance in 84 of 100 cases. Enough to look, not to condemn: it is to be checked."""


def off_on_average(*, pairs: Sequence[Pair], instrument: MethodSpec) -> Deviation | None:
    """The mean of several differences against what the instrument states; None for fewer than two pairs. What the tests by hand share (their
    stated tolerance) does not shrink with their number, what they scatter does; outside only where the mean is over the tolerance
    by more than its standard uncertainty."""
    if len(pairs) < FEWEST_AVERAGE:
        return None
    differences = [pair.difference for pair in pairs]
    shared = min(pair.reference.u for pair in pairs)
    scatter = stdev(differences) / math.sqrt(len(pairs))
    mean, u = fmean(differences), math.hypot(shared, scatter)
    allowed = tolerance(instrument, fmean(pair.reference.value for pair in pairs))
    expanded = LIKELY * u
    if abs(mean) - expanded > allowed:
        verdict = "outside"
    else:
        verdict = "within" if abs(mean) + expanded <= allowed else "cannot be told"
    return Deviation(delta=mean, expanded=expanded, allowed=allowed, verdict=verdict)
