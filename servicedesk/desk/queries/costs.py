"""What tests and liquids cost: a test, a month, a tank, a client. For the owner's eyes; the pack's price alone, no time, no wear."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.utils.translation import gettext as _

from clients.models import Tank
from servicedesk.core.inventory.reorder import NotCounted, cost_per_month, cost_per_test
from servicedesk.core.units import parameter
from servicedesk.dosing.queries import Settings, channels_of
from servicedesk.instruments.queries import measures_of
from servicedesk.stock.models import Item
from servicedesk.water.choices import MethodKind
from servicedesk.water.models import Method, TankTest

DAYS_A_MONTH = 365.25 / 12


def _test_cost(reagent: Item | None, ml_per_test: float) -> Decimal | str:
    """What one test costs, or why that is not known."""
    if reagent is None:
        return _("cost not known: its reagent is not written down")
    if reagent.price_per_pack is None or not ml_per_test:
        return _("cost not known: the pack's price or the amount per test is missing")
    try:
        return cost_per_test(
            price=Decimal(reagent.price_per_pack), pack_ml=reagent.pack_size, ml_per_test=ml_per_test
        )
    except NotCounted:
        return _("cost not known: a pack holds no whole test")


def cost_words(method: Method, currency: str) -> str:
    """The price of one test from its reagent's pack, or why it is not known. Time and strips are not in it."""
    if method.reagent is None and method.kind == MethodKind.PROBE:
        return _("no reagent")
    cost = _test_cost(method.reagent, method.ml_per_test)
    if isinstance(cost, str):
        return cost
    return _("%(cost)s %(currency)s a test") % {"cost": f"{cost:.2f}", "currency": currency}


@dataclass(frozen=True)
class CostLine:
    """One thing that costs: how often a month or how much, each, and a month; `unknown` says why it is not known, and a
    probe that uses nothing up has neither."""

    what: str
    often: str
    each: Decimal | None = None
    month: Decimal | None = None
    unknown: str = ""


@dataclass
class TankCosts:
    """A tank's lines and minutes of testing by hand a month; `month` adds up what is known."""

    tank: Tank
    lines: list[CostLine] = field(default_factory=list)
    minutes: float = 0.0

    @property
    def month(self) -> Decimal:
        return sum((line.month for line in self.lines if line.month is not None), Decimal(0))

    @property
    def unknown(self) -> int:
        """How many lines are not in the sum."""
        return sum(1 for line in self.lines if line.unknown)


def _tests(
    what: str, a_month: float, reagent: Item | None, ml_per_test: float, *, uses_none: bool = False
) -> CostLine:
    often = _("%(n)s tests") % {"n": f"{a_month:.1f}"}
    if uses_none and reagent is None:
        return CostLine(what, often)
    each = _test_cost(reagent, ml_per_test)
    if isinstance(each, str):
        return CostLine(what, often, unknown=each)
    return CostLine(what, often, each, cost_per_month(each=each, a_month=a_month))


def costs_of(tanks: Iterable[Tank], *, at: datetime) -> list[TankCosts]:
    """What each tank costs a month: tests by hand by their interval, instruments and pumps by their settings."""
    found = {tank.pk: TankCosts(tank) for tank in tanks}
    tests = TankTest.objects.filter(tank__in=found).select_related("method", "method__reagent")
    for test in tests.order_by("order", "pk"):
        of, a_month = found[test.tank_id], DAYS_A_MONTH / max(1, test.every_days)
        name = f"{parameter(test.parameter).name}, {test.method.name}"
        probe = test.method.kind == MethodKind.PROBE
        of.lines.append(_tests(name, a_month, test.method.reagent, test.method.ml_per_test, uses_none=probe))
        of.minutes += a_month * test.method.minutes
    for measure in measures_of(one.tank for one in found.values()):
        name = f"{parameter(measure.parameter).name}, {measure.instrument.equipment.name}"
        a_month = DAYS_A_MONTH * measure.tests_per_day
        if measure.reagent_id:
            found[measure.instrument.tank_id].lines.append(
                _tests(name, a_month, measure.reagent, measure.ml_per_test)
            )
    _dosed(found, at)
    return list(found.values())


def _dosed(found: dict[UUID, TankCosts], at: datetime) -> None:
    channels = channels_of([one.tank for one in found.values()])
    settings = Settings(channels, at)
    items = Item.objects.in_bulk({channel.solution.item_id for channel in channels})
    for channel in channels:
        item, a_month = items[channel.solution.item_id], DAYS_A_MONTH * (settings.rate(channel) or 0.0)
        if not a_month:
            continue
        often, what = f"{a_month:.0f} mL", f"{item.name}, {channel}"
        line = CostLine(what, often, unknown=_("cost not known: the pack's price is missing"))
        if item.price_per_pack is not None:
            each = Decimal(item.price_per_pack) / Decimal(item.pack_size)
            line = CostLine(what, often, each, cost_per_month(each=each, a_month=a_month))
        found[channel.tank_id].lines.append(line)
