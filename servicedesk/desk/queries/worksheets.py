"""A worksheet filled in with what is known of a tank. What is not known stays empty: nothing is made up."""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime, timedelta

from django.db.models import Q
from django.utils.translation import gettext as _

from clients.models import Tank
from servicedesk.core import units
from servicedesk.core.advice.sheet import BandSpec
from servicedesk.core.chemistry.carbonate import ph_on
from servicedesk.core.chemistry.salinity import OutOfRange
from servicedesk.core.drawing.levels import LevelRow
from servicedesk.core.metrology.uncertainty import standard_uncertainty
from servicedesk.core.worksheets import Worksheet, choosing
from servicedesk.core.worksheets.book import WORKSHEETS
from servicedesk.core.worksheets.choosing import KEY as CHOOSE
from servicedesk.core.worksheets.raising import CHANGED, MIXED, RAISED
from servicedesk.dosing.models import Channel
from servicedesk.dosing.queries import Settings, channels_of, uptake_of
from servicedesk.instruments.queries import measured_by, measures_of, ways_on_offer
from servicedesk.rounds.queries import next_visits_of
from servicedesk.visits.queries.sheet import REPLICATES_WITHIN, band_spec, products_of
from servicedesk.water.choices import SourceKind
from servicedesk.water.models import Method
from servicedesk.water.queries import (
    ReadingValue,
    bands_of,
    latest_values,
    readings_of,
    spec_of,
    tests_of,
    water_for,
)
from servicedesk.web.zones import day_of

Typed = dict[str, str]
RECENT = timedelta(days=28)
SIDES = {"low": "low", "under": "low", "high": "high", "over": "high"}


def text_of(value: float | None) -> str:
    """A number as it is typed, without an exponent; empty where there is none."""
    if value is None:
        return ""
    text = f"{value:.6g}"
    return text if "e" not in text else f"{value:.9f}".rstrip("0").rstrip(".")


class Known:
    """What a tank's worksheets are filled from, read when it is asked for."""

    def __init__(self, tank: Tank, at: datetime, parameter: str) -> None:
        self.tank, self.at, self.asked = tank, at, parameter
        self.bands = {key: band_spec(band) for key, band in bands_of(tank).items()}
        self.latest = {parameter: value for (_key, parameter), value in latest_values([tank]).items()}
        self.fresh = water_for(tank).holds

    def value(self, parameter: str) -> str:
        """The last value of a parameter, where it is no older than four weeks."""
        found = self.latest.get(parameter)
        return text_of(found.value) if found and found.at > self.at - RECENT else ""

    def chosen(self, among: tuple[str, ...]) -> str:
        """The parameter that the worksheet is about: the one asked for, else the first of these that the tank has a band for."""
        if self.asked in among:
            return self.asked
        return next((key for key in among if key in self.bands), among[0])

    def band(self, parameter: str) -> BandSpec:
        return self.bands.get(parameter) or BandSpec(parameter=parameter, unit="")

    def test_u(self, parameter: str) -> str:
        """The standard uncertainty of the method behind the last value."""
        found = self.latest.get(parameter)
        if found is None:
            return ""
        method = Method.objects.get(pk=found.method_id)
        return text_of(standard_uncertainty(spec_of(method), found.value))

    @property
    def ph_total(self) -> str:
        """The last pH (as a meter shows it) on the total scale, where salinity and temperature are known."""
        known = [self.value(name) for name in ("ph", "salinity", "temperature")]
        if "" in known:
            return ""
        ph, salt, warm = (float(text) for text in known)
        try:
            return text_of(round(ph_on(ph=ph, scale="NBS", to="total", salinity=salt, temperature_c=warm), 2))
        except OutOfRange:
            return ""

    def channel(self, parameter: str) -> Channel | None:
        """The channel that doses a parameter here."""
        return next((c for c in channels_of([self.tank]) if c.solution.parameter == parameter), None)


def _net(known: Known) -> Typed:
    return {"net_l": text_of(known.tank.net_l), "net_l_u": text_of(known.tank.net_l_u)}


def _raise(known: Known) -> Typed:
    parameter = known.chosen(RAISED)
    band = known.band(parameter)
    product = next((p for p in products_of(known.tank, at=known.at) if p.parameter == parameter), None)
    typed = {
        **_net(known),
        "parameter": parameter,
        "value": known.value(parameter),
        "value_u": known.test_u(parameter),
        "goal": text_of(band.goal),
        "step": text_of(band.max_rise_per_day),
        "salt": "labelled",
        "fresh": text_of(known.fresh.get(parameter)),
        "ph": known.ph_total,
        **{name: known.value(name) for name in ("salinity", "temperature", "calcium")},
    }
    if product is not None:
        typed |= {
            "strength": text_of(product.per_ml),
            "strength_u": text_of(100 * product.per_ml_u_rel),
        }
    channel = known.channel(parameter)
    if channel is not None:
        typed |= {
            "pump_step": text_of(channel.step_ml),
            "running": text_of(Settings([channel], known.at).rate(channel)),
            "most": text_of(channel.max_ml_per_day),
        }
    return typed


def _change(known: Known) -> Typed:
    high = next((k for k in CHANGED if (b := known.bands.get(k)) and _above(known, b)), "nitrate")
    parameter = known.asked if known.asked in CHANGED else high
    band = known.band(parameter)
    return {
        "net_l": text_of(known.tank.net_l),
        "parameter": parameter,
        "value": known.value(parameter),
        "goal": text_of(band.goal),
        "step": text_of(band.max_fall_per_day),
        "fresh": text_of(known.fresh.get(parameter)),
        "mix_salinity": text_of(known.fresh.get("salinity")),
    }


def _above(known: Known, band: BandSpec) -> bool:
    text = known.value(band.parameter)
    return band.high is not None and text != "" and float(text) > band.high


def _several(known: Known) -> Typed:
    typed = {"net_l": text_of(known.tank.net_l)}
    for parameter in MIXED:
        band, value = known.band(parameter), known.value(parameter)
        if band.goal is not None and value:
            typed[f"rise_{parameter}"] = text_of(max(0.0, band.goal - float(value)))
        typed[f"step_{parameter}"] = text_of(band.max_rise_per_day)
    products = [p for p in products_of(known.tank, at=known.at) if p.parameter in MIXED]
    for number, product in enumerate(products[:4], 1):
        typed[f"p{number}_{product.parameter}"] = text_of(product.per_ml)
    return typed


def _level(known: Known) -> Typed:
    dosed = tuple(c.solution.parameter for c in channels_of([known.tank]))
    parameter = known.asked if known.asked in RAISED else next(iter(dosed), known.chosen(RAISED))
    band, channel = known.band(parameter), known.channel(parameter)
    typed = {
        **_net(known),
        "now": known.value(parameter),
        "low": text_of(band.alarm_low if band.alarm_low is not None else band.low),
        "high": text_of(band.alarm_high if band.alarm_high is not None else band.high),
    }
    found = uptake_of(known.tank, parameter, at=known.at)
    if found is not None and found.per_day >= 0:
        typed |= {"uptake": text_of(found.per_day), "uptake_u": text_of(found.u)}
    if channel is not None:
        typed |= {
            "strength": text_of(channel.solution.per_ml),
            "running": text_of(Settings([channel], known.at).rate(channel)),
            "pump_step": text_of(channel.step_ml),
            "most": text_of(channel.max_ml_per_day),
            "container": text_of(channel.container_ml),
        }
    return typed | {"must_last": text_of(_after_next(known))}


def _after_next(known: Known) -> float | None:
    """Days until the visit after next, where two are planned: twice the time to the next one otherwise."""
    day = day_of(known.at)
    coming = next_visits_of([known.tank], after=day).get(known.tank.pk)
    return None if coming is None else 2.0 * max(1, (coming - day).days)


def _right(known: Known) -> Typed:
    parameter = known.asked or next(iter(known.bands), "alkalinity")
    rows = readings_of(known.tank, parameter=parameter, since=known.at - RECENT)
    typed: Typed = {}
    lots: list[str | None] = []
    by_hand = [row for row in rows if row.source_kind == SourceKind.HAND]
    if by_hand:
        last = [row for row in by_hand if by_hand[-1].at - row.at <= REPLICATES_WITHIN]
        for number, name in enumerate(dict.fromkeys(row.method_id for row in last), 1):
            mine = [row.value for row in last if row.method_id == name]
            typed[f"m{number}"] = " ".join(text_of(value) for value in mine)
            method = Method.objects.get(pk=name)
            typed |= _stated(f"m{number}", method)
            lots.append(spec_of(method).lot)
    sent = [row for row in rows if row.source_kind != SourceKind.HAND]
    if sent:
        typed["instrument"] = text_of(_nearest(sent, by_hand).value)
        typed |= _stated("i", Method.objects.get(pk=sent[-1].method_id))
    if len(set(lots)) == 1 and lots[0] is not None:
        own = [measured_by(row).lot for row in measures_of([known.tank]) if row.parameter == parameter]
        typed["lots"] = "all" if sent and lots[0] in own else "one"
    return typed


def _nearest(sent: list[ReadingValue], by_hand: list[ReadingValue]) -> ReadingValue:
    """The instrument's value nearest in time to the last test by hand; the newest where there is none."""
    if not by_hand:
        return sent[-1]
    return min(sent, key=lambda row: abs(row.at - by_hand[-1].at))


def _stated(start: str, method: Method) -> Typed:
    return {
        f"{start}_abs": text_of(method.tolerance_abs or None),
        f"{start}_rel": text_of(100 * method.tolerance_rel or None),
        f"{start}_step": text_of(method.resolution or None),
    }


def _same(**names: str) -> Callable[[Known], Typed]:
    """The last values of parameters under the names by which a worksheet asks them."""
    return lambda known: {ask: known.value(parameter) for ask, parameter in names.items()}


def sheets_for(tank: Tank | None) -> dict[str, Worksheet]:
    """All worksheets, and for a tank the one that chooses how to test it."""
    if tank is None:
        return WORKSHEETS
    tested = [test.parameter for test in tests_of(tank)]
    return {**WORKSHEETS, CHOOSE: choosing.sheet(ways_on_offer(), tested)}


def _choose(known: Known) -> Typed:
    """How often each test of the tank is made, how good it must be to tell its band, and how often somebody comes."""
    typed: Typed = {}
    for test in tests_of(known.tank):
        typed[f"week_{test.parameter}"] = text_of(round(7 / test.every_days, 3))
        band = known.band(test.parameter)
        if band.low is not None and band.high is not None:
            typed[f"within_{test.parameter}"] = text_of((band.high - band.low) / 2)
    plan = known.tank.plans.filter(Q(ends_on__isnull=True) | Q(ends_on__gte=day_of(known.at))).first()
    if plan is not None:
        typed["visits"] = text_of(round(30.436875 / 7 / plan.every_weeks, 2))
    return typed


FILLED: dict[str, Callable[[Known], Typed]] = {
    "raise": _raise,
    "change": _change,
    "several": _several,
    "level": _level,
    "right": _right,
    "volume": lambda known: {"believed": text_of(known.tank.net_l)},
    "ammonia": _same(total="ammonia_total", ph="ph", temperature="temperature", salinity="salinity"),
    "carbonate": _same(
        alkalinity="alkalinity", ph="ph", temperature="temperature", salinity="salinity", calcium="calcium"
    ),
    "carbon-dioxide": _same(hardness="carbonate_hardness", ph="ph", temperature="temperature"),
    "salinity": _same(temperature="temperature"),
    CHOOSE: _choose,
}


def filled(sheet: Worksheet, tank: Tank | None, *, parameter: str, at: datetime) -> Typed:
    """What stands in a worksheet at first: its own starts, and what is known of the tank."""
    typed = {ask.key: ask.start or (ask.choices[0][0] if ask.choices else "") for ask in sheet.asks}
    fill = FILLED.get(sheet.key)
    if tank is None or fill is None:
        return typed
    known = fill(Known(tank, at, parameter))
    return typed | {key: text for key, text in known.items() if text != ""}


def problems(levels: Iterable[LevelRow], bands: Mapping[str, object]) -> list[tuple[str, str, str]]:
    """What a tank's page offers to work out: title, worksheet, parameter; what is low or high first, then what is always asked."""
    named = {units.parameter(key).name: key for key in bands}
    found = []
    for row in levels:
        parameter, side = named.get(row.label, ""), SIDES.get(row.state, "")
        if side == "low" and parameter in RAISED:
            found.append((_("%(name)s is low") % {"name": row.label}, "raise", parameter))
        if side == "high" and parameter in CHANGED:
            found.append((_("%(name)s is high") % {"name": row.label}, "change", parameter))
        if parameter == "ammonia_total" and side == "high":
            found.insert(0, (_("How much of the ammonia is toxic?"), "ammonia", ""))
    found.append((_("Who is right?"), "right", ""))
    found.append((_("Keep a value level"), "level", ""))
    return found
