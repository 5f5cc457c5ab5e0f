"""How fast livestock uses something up, from readings with everything that was added between them.

Mass balance on well-mixed water: between readings the value falls by the uptake, each dose lifts it by its strength over the
volume, each change moves it towards the fresh water. The uptake and the value at the start are fitted by least squares; its
interval is Student's t on the scatter about the fit, never less than the method's own repeatability explains. Days, canonical
units a day."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from servicedesk.core.metrology.lines import NoLine
from servicedesk.core.metrology.quantiles import coverage_factor


@dataclass(frozen=True)
class Reading:
    """A value (canonical unit) on a day counted from any fixed day."""

    day: float
    value: float


@dataclass(frozen=True)
class Dosed:
    """A rise (canonical units) given at once on a day, or evenly from `day` until `until`."""

    day: float
    rise: float
    until: float | None = None


@dataclass(frozen=True)
class Changed:
    """A share of the water replaced on a day by water of that value."""

    day: float
    share: float
    fresh: float


@dataclass(frozen=True)
class Uptake:
    """Fall a day with dosing accounted for, its standard uncertainty and 95 % interval, and how many readings it stands on."""

    per_day: float
    u: float
    low: float
    high: float
    readings: int
    scatter: float

    @property
    def told(self) -> bool:
        """Whether it is told from nought."""
        return self.low > 0 or self.high < 0


@dataclass
class _State:
    """A value as a · start − b · uptake + c."""

    a: float = 1.0
    b: float = 0.0
    c: float = 0.0


def _given_between(doses: Sequence[Dosed], start: float, end: float) -> float:
    """Rise given after `start` up to `end`."""
    total = 0.0
    for dose in doses:
        if dose.until is None or dose.until <= dose.day:
            total += dose.rise if start < dose.day <= end else 0.0
        else:
            overlap = min(end, dose.until) - max(start, dose.day)
            total += dose.rise * max(0.0, overlap) / (dose.until - dose.day)
    return total


def uptake(
    *,
    readings: Sequence[Reading],
    doses: Sequence[Dosed] = (),
    changes: Sequence[Changed] = (),
    repeatability: float = 0.0,
) -> Uptake:
    """The uptake from three readings or more. Raises NoLine where they are too few, or lie at one time."""
    numbers = [
        n for r in readings for n in (r.day, r.value)
    ] + [n for d in doses for n in (d.day, d.rise)] + [n for c in changes for n in (c.day, c.share, c.fresh)]  # fmt: skip
    if not all(map(math.isfinite, numbers)) or not 0 <= repeatability < math.inf:
        raise NoLine("A reading, a dose or a change is not a number.")
    if any(not 0 <= change.share <= 1 for change in changes):
        raise NoLine("A change replaces between nothing and all of the water.")
    ordered = sorted(readings, key=lambda r: r.day)
    if len(ordered) < 3 or ordered[0].day == ordered[-1].day:
        raise NoLine("It takes three readings at different times to tell an uptake.")
    rows = _rows(ordered, doses, sorted(changes, key=lambda c: c.day))
    return _fitted(rows, repeatability)


def _rows(
    readings: Sequence[Reading], doses: Sequence[Dosed], changes: Sequence[Changed]
) -> list[tuple[float, float, float]]:
    """Each reading as its a, b and its value less c."""
    state, at, rows = _State(), readings[0].day, []
    coming = [change for change in changes if change.day > at]
    for reading in readings:
        while coming and coming[0].day <= reading.day:
            change = coming.pop(0)
            _move(state, doses, at, change.day)
            at, kept = change.day, 1 - change.share
            state.a, state.b = state.a * kept, state.b * kept
            state.c = state.c * kept + change.fresh * change.share
        _move(state, doses, at, reading.day)
        at = reading.day
        rows.append((state.a, state.b, reading.value - state.c))
    return rows


def _move(state: _State, doses: Sequence[Dosed], start: float, end: float) -> None:
    state.b += end - start
    state.c += _given_between(doses, start, end)


def _fitted(rows: Sequence[tuple[float, float, float]], repeatability: float) -> Uptake:
    """Least squares of value = a start − b uptake."""
    aa = math.fsum(a * a for a, _b, _v in rows)
    ab = math.fsum(a * b for a, b, _v in rows)
    bb = math.fsum(b * b for _a, b, _v in rows)
    av = math.fsum(a * v for a, _b, v in rows)
    bv = math.fsum(b * v for _a, b, v in rows)
    determinant = aa * bb - ab * ab
    if determinant <= 1e-12 * aa * bb:
        raise NoLine("These readings do not tell the uptake from the start.")
    start = (bb * av - ab * bv) / determinant
    per_day = (ab * av - aa * bv) / determinant
    freedom = len(rows) - 2
    left = math.fsum((v - a * start + b * per_day) ** 2 for a, b, v in rows)
    scatter = math.sqrt(left / freedom)
    u = max(scatter, repeatability) * math.sqrt(aa / determinant)
    freedom_used = freedom if scatter >= repeatability else math.inf
    reach = coverage_factor(freedom=freedom_used) * u
    return Uptake(per_day, u, per_day - reach, per_day + reach, len(rows), scatter)
