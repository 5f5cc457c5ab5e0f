"""Choosing how to test a tank before anything is bought: which ways cover what must be measured, what they cost over time, and
which suit the place. Attributes are the owner's own; nothing is built in. Money in the business's currency."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import combinations

from servicedesk.core.inventory.reorder import NotCounted

WEEKS_A_MONTH = Decimal("4.348125")
"""365.2425 / 12 / 7: the mean month of the Gregorian calendar."""
MOST_TOGETHER = 3


@dataclass(frozen=True)
class Need:
    """A parameter that must be measured so many times a week, with a result good to `within` (canonical unit) or better."""

    parameter: str
    per_week: float
    within: float | None = None

    def __post_init__(self) -> None:
        if not 0 < self.per_week <= 10_000 or (self.within is not None and not 0 < self.within < math.inf):
            raise NotCounted("How often, and how well, lie above nought.")


@dataclass(frozen=True)
class Place:
    """Where the tank stands: what is there ("mains", "network", "drain", "shelf"), the loudest that is borne in dB(A), visits a
    month, and what a minute of work costs."""

    has: frozenset[str] = frozenset()
    quiet_db: float | None = None
    visits_per_month: float = 4.0
    minute_cost: Decimal = Decimal(1)


@dataclass(frozen=True)
class Way:
    """A way of testing as the owner wrote it down. `good_to` names what it measures, with its tolerance (canonical unit).
    Minutes: to set up once, a month for upkeep, by hand for each test. Costs: once, a month, a test."""

    name: str
    good_to: Mapping[str, float]
    unattended: bool = False
    setup_minutes: float = 0.0
    upkeep_minutes: float = 0.0
    test_minutes: float = 0.0
    price: Decimal = Decimal(0)
    month_cost: Decimal = Decimal(0)
    test_cost: Decimal = Decimal(0)
    most_per_day: float = 24.0
    noise_db: float | None = None
    needs: frozenset[str] = frozenset()
    cannot_tell: Sequence[str] = ()
    fails_by: Sequence[str] = ()


@dataclass(frozen=True)
class Suit:
    """Whether a way suits and why: `against` is what speaks against it (none: it suits), `mind` what must be known beside."""

    way: Way
    covers: tuple[str, ...]
    against: tuple[str, ...] = ()
    mind: tuple[str, ...] = ()

    @property
    def suits(self) -> bool:
        return bool(self.covers) and not self.against


@dataclass(frozen=True)
class Choice:
    """Ways that together cover everything, what they cost at once and a month, and over the horizon."""

    ways: tuple[Way, ...]
    at_once: Decimal
    a_month: Decimal
    over_horizon: Decimal


def _covered(way: Way, needs: Sequence[Need], place: Place) -> tuple[list[Need], list[str]]:
    """What a way measures well and often enough, and why it does not measure the rest."""
    fine, why = [], []
    for need in needs:
        good = way.good_to.get(need.parameter)
        if good is None:
            continue
        often = way.most_per_day * 7 if way.unattended else place.visits_per_month / float(WEEKS_A_MONTH)
        if need.within is not None and good > need.within:
            why.append(f"{need.parameter}: good to {good:g}, wanted {need.within:g} or better")
        elif need.per_week > often * (1 + 1e-9):
            why.append(
                f"{need.parameter}: {need.per_week:g} a week are wanted, {often:.2g} are possible this way"
            )
        else:
            fine.append(need)
    return fine, why


def suit(*, way: Way, needs: Sequence[Need], place: Place) -> Suit:
    """Whether one way suits this tank at this place, because of what."""
    fine, mind = _covered(way, needs, place)
    against = [f"it needs {what}, which is not there" for what in sorted(way.needs - place.has)]
    if way.noise_db is not None and place.quiet_db is not None and way.noise_db > place.quiet_db:
        against.append(
            f"it runs at {way.noise_db:g} dB where {place.quiet_db:g} dB is the most that is borne"
        )
    if not fine:
        against.append("it measures nothing of what is asked well and often enough")
    mind += [f"it cannot tell {what}" for what in way.cannot_tell]
    mind += [f"it fails by {how}" for how in way.fails_by]
    return Suit(way, tuple(need.parameter for need in fine), tuple(against), tuple(mind))


def at_once(*, way: Way, place: Place) -> Decimal:
    """What it costs before the first result."""
    return way.price + Decimal(str(way.setup_minutes)) * place.minute_cost


def a_month(*, way: Way, needs: Sequence[Need], place: Place) -> Decimal:
    """What a month costs with those tests: reagent, upkeep, the minutes of people."""
    tests = sum((Decimal(str(need.per_week)) * WEEKS_A_MONTH for need in needs), Decimal(0))
    by_hand = Decimal(0) if way.unattended else Decimal(str(way.test_minutes)) * place.minute_cost
    upkeep = Decimal(str(way.upkeep_minutes)) * place.minute_cost
    return way.month_cost + upkeep + tests * (way.test_cost + by_hand)


def _shared(ways: Sequence[Way], needs: Sequence[Need], place: Place) -> list[list[Need]] | None:
    """Who measures what, each need by the way whose test costs the least; None where one is left out."""
    shares: list[list[Need]] = [[] for _ in ways]
    fine = [{need.parameter for need in _covered(way, needs, place)[0]} for way in ways]
    for need in needs:
        able = [n for n, covers in enumerate(fine) if need.parameter in covers]
        if not able:
            return None
        cheapest = min(able, key=lambda n: (_test(ways[n], place), n))
        shares[cheapest].append(need)
    return shares


def _test(way: Way, place: Place) -> Decimal:
    by_hand = Decimal(0) if way.unattended else Decimal(str(way.test_minutes)) * place.minute_cost
    return way.test_cost + by_hand


def choices(
    *, ways: Sequence[Way], needs: Sequence[Need], place: Place, months: int, most: int = MOST_TOGETHER
) -> list[Choice]:
    """Combinations of up to three suitable ways that cover everything, the cheapest over the horizon first. A combination in
    which one way has nothing to do is left out. Raises NotCounted."""
    if months < 1 or not needs:
        raise NotCounted("A horizon of a month or more and something to measure are needed.")
    able = [way for way in ways if suit(way=way, needs=needs, place=place).suits]
    found = []
    for many in range(1, most + 1):
        for together in combinations(able, many):
            shares = _shared(together, needs, place)
            if shares is None or not all(shares):
                continue
            once = sum((at_once(way=way, place=place) for way in together), Decimal(0))
            month = sum(
                (
                    a_month(way=way, needs=share, place=place)
                    for way, share in zip(together, shares, strict=True)
                ),
                Decimal(0),
            )
            found.append(Choice(together, once, month, once + months * month))
    return sorted(found, key=lambda choice: (choice.over_horizon, len(choice.ways)))


def break_even_months(*, dearer_at_once: Choice, dearer_a_month: Choice) -> Decimal | None:
    """Months after which the one that costs more at once has paid for itself; None where it never does."""
    saved = dearer_a_month.a_month - dearer_at_once.a_month
    more = dearer_at_once.at_once - dearer_a_month.at_once
    if saved <= 0:
        return None
    return max(Decimal(0), more / saved)


def uncovered(*, ways: Sequence[Way], needs: Sequence[Need], place: Place) -> dict[str, tuple[str, ...]]:
    """What none of the suitable ways measures well and often enough, with the reasons of those that come near."""
    able = [way for way in ways if suit(way=way, needs=needs, place=place).suits]
    done = {p for way in able for p in suit(way=way, needs=needs, place=place).covers}
    return {
        need.parameter: tuple(f"{way.name}: {why}" for way in ways for why in _covered(way, [need], place)[1])
        for need in needs
        if need.parameter not in done
    }
