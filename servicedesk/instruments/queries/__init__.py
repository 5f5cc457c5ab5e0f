"""What instruments are worth and how long their bottles last."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from clients.models import Tank
from servicedesk.core.inventory.ways import Way
from servicedesk.core.metrology.uncertainty import MethodSpec
from servicedesk.core.worksheets.choosing import THERE, read_measures
from servicedesk.dispatch.queries import standing, withdrawn
from servicedesk.instruments.choices import Reports, Trust
from servicedesk.instruments.models import Candidate, Instrument, Measure, ReagentLoad, TrustMove
from servicedesk.water.queries import spec_of
from servicedesk.web.prepared import KEYS, MOMENT, Slot, prepared


@prepared(tanks=KEYS)
def _measures(tanks: Slot) -> QuerySet[Measure]:
    rows = Measure.objects.filter(instrument__tank__in=tanks, instrument__equipment__retired_on__isnull=True)
    return rows.select_related(
        "instrument", "instrument__equipment", "instrument__tank__site", "method", "reagent"
    ).order_by("instrument__equipment__name", "parameter", "pk")


def measures_of(tanks: Iterable[Tank]) -> list[Measure]:
    """What instruments in use measure at these tanks."""
    return _measures(tanks=[t.pk for t in tanks])


@prepared()
def measures_with_reagent() -> QuerySet[Measure]:
    """What instruments in use at all tanks in use measure with a reagent, with what says whose they are and what is
    used up, and no more."""
    rows = Measure.objects.filter(
        reagent__isnull=False,
        instrument__tank__retired_on__isnull=True,
        instrument__equipment__retired_on__isnull=True,
    ).select_related("instrument__equipment", "instrument__tank__site", "reagent")
    own = ("parameter", "tests_per_day", "ml_per_test", "bottle_ml", "reagent__name", "reagent__unit")
    item = ("reagent__lead_days", "reagent__pack_size", "instrument__equipment__name")
    tank = ("instrument__tank__name", "instrument__tank__site__name")
    return rows.only(*own, *item, *tank).order_by("instrument__equipment__name", "parameter", "pk")


def _in_use() -> QuerySet[Instrument]:
    return Instrument.objects.filter(equipment__retired_on__isnull=True, tank__retired_on__isnull=True)


def instruments_in_use() -> list[Instrument]:
    """All instruments fitted now."""
    rows = _in_use().select_related("equipment", "tank", "tank__site", "through__equipment")
    return list(rows.prefetch_related("measures").order_by("equipment__name", "pk"))


HABIT = ("last_contact_at", "silent_after_minutes", "interval_minutes", "grace_minutes")


@prepared()
def _habits() -> QuerySet[Instrument, tuple[Any, ...]]:
    return _in_use().values_list("pk", "through", *HABIT)


def held_while_looked_at(*, at: datetime, also: Iterable[UUID]) -> list[Instrument]:
    """The instruments in use that are later than is usual for them, the relays through which such come, and those named in `also`: as they are
    now, each locked until the transaction ends, so that nobody else says something of it meanwhile."""
    wanted = set(also)
    for pk, through, last, learned, interval, grace in _habits():
        if last is not None and at - last > timedelta(minutes=learned or interval + grace):
            wanted |= {pk, through} - {None}
    if not wanted:
        return []
    rows = _in_use().filter(pk__in=wanted).select_related("equipment", "tank", "tank__site")
    return list(rows.select_for_update(of=("self",)).order_by("pk"))


def relays_for(instrument: Instrument) -> QuerySet[Instrument]:
    """The relays in use through which an instrument may come: those at its site."""
    rows = Instrument.objects.filter(
        relays=True, tank__site=instrument.tank.site_id, equipment__retired_on__isnull=True
    )
    return rows.exclude(pk=instrument.pk).select_related("equipment").order_by("equipment__name", "pk")


@dataclass(frozen=True)
class Hanging:
    """An instrument that comes through a relay, and whether it is silent beyond its habit."""

    instrument: Instrument
    silent: bool


def relayed_by(relay: Instrument, *, at: datetime) -> list[Hanging]:
    """What in use comes through a relay, by its name there."""
    if not relay.relays:
        return []
    rows = relay.relayed.filter(equipment__retired_on__isnull=True).select_related("equipment", "tank")
    return [Hanging(row, silent_since(row, at) is not None) for row in rows.order_by("relay_name", "pk")]


def measured_by(measure: Measure) -> MethodSpec:
    """A measure's method as the core computes with it, drawing on the instrument's own reagent."""
    spec = spec_of(measure.method)
    return replace(spec, lot=str(measure.reagent_id)) if measure.reagent_id else spec


def late_after(instrument: Instrument) -> int:
    """Minutes without a word after which it is silent: as learned from its habit, else its interval and grace."""
    return instrument.silent_after_minutes or instrument.interval_minutes + instrument.grace_minutes


def silent_since(instrument: Instrument, at: datetime) -> datetime | None:
    """When an instrument that is later than is usual for it was last heard; None while it speaks, never did, or is not to report."""
    if instrument.reports_by == Reports.MANUAL:
        return None
    last, late = instrument.last_contact_at, late_after(instrument)
    return last if last is not None and at - last > timedelta(minutes=late) else None


def trusts(measures: Iterable[Measure]) -> dict[UUID, TrustMove]:
    """The last move of trust per measure; one that never moved is believed."""
    rows = standing(TrustMove.objects.filter(measure__in=[m.pk for m in measures]))
    return {row.measure_id: row for row in rows.order_by("at", "pk")}


def trust_of(measure: Measure) -> str:
    """Where a measure stands (choices.Trust)."""
    row = trusts([measure]).get(measure.pk)
    return row.trust if row else Trust.BELIEVED


@dataclass(frozen=True)
class Standing:
    """Where one series of an instrument stands, since when and why (empty where it never moved), whether the
    instrument is still fitted, and for how many minutes after a dose its results are not of mixed water."""

    trust: Trust
    why: str = ""
    since: datetime | None = None
    fitted: bool = True
    mixes_minutes: int = 0


BY_HAND = Standing(Trust.BELIEVED)
Standings = dict[tuple[UUID, str], Standing]


@prepared(tanks=KEYS)
def _moves(tanks: Slot) -> QuerySet[Measure, tuple[Any, ...]]:
    rows = (
        Measure.objects.filter(instrument__tank__in=tanks)
        .annotate(gone=withdrawn("trust_moves__origin"))
        .values_list(
            "instrument__equipment",
            "parameter",
            "instrument__equipment__retired_on",
            "instrument__after_dose_minutes",
            "gone",
            "trust_moves__trust",
            "trust_moves__why",
            "trust_moves__at",
        )
    )
    return rows.order_by("trust_moves__at", "trust_moves")


def standings_of(tanks: Iterable[Tank]) -> Standings:
    """Trust per series of the instruments at these tanks, by equipment and parameter, in one query. Ask it through
    `standing_of`: what was tested by hand has no entry and is believed."""
    found: Standings = {}
    for equipment, parameter, retired, mixes, gone, trust, why, at in _moves(tanks=[t.pk for t in tanks]):
        key = (equipment, parameter)  # in order of time: the last move that stands counts
        if trust is None or gone:
            found.setdefault(key, Standing(Trust.BELIEVED, fitted=retired is None, mixes_minutes=mixes))
        else:
            found[key] = Standing(Trust(trust), why or "", at, retired is None, mixes)
    return found


def standing_of(standings: Standings, equipment_id: UUID | None, parameter: str) -> Standing:
    """Where the series of one value stands."""
    return BY_HAND if equipment_id is None else standings.get((equipment_id, parameter), BY_HAND)


def trust_by_parameter(standings: Standings) -> dict[str, str]:
    """Trust per parameter of the instruments that are fitted; the worst where two measure the same."""
    worst = [Trust.BELIEVED, Trust.TO_CHECK, Trust.NOT_TO_ACT_ON]
    out: dict[str, str] = {}
    for (_equipment, parameter), stands in standings.items():
        if stands.fitted:
            before = Trust(out.get(parameter, Trust.BELIEVED))
            out[parameter] = max(stands.trust, before, key=worst.index)
    return out


@prepared(measures=KEYS, at=MOMENT)
def _loads(measures: Slot, at: Slot) -> QuerySet[ReagentLoad]:
    return standing(ReagentLoad.objects.filter(measure__in=measures, at__lte=at)).order_by("at", "pk")


def loads_of(measures: Iterable[Measure], at: datetime) -> dict[UUID, ReagentLoad]:
    """The last reagent load per measure."""
    return {row.measure_id: row for row in _loads(measures=[m.pk for m in measures], at=at)}


def left_ml_of(measure: Measure, load: ReagentLoad, at: datetime) -> float:
    """mL left in a bottle by its schedule: load less tests a day times mL a test."""
    days = (at - load.at).total_seconds() / 86400
    return max(0.0, load.ml - days * measure.tests_per_day * measure.ml_per_test)


def bottles_left(measures: Iterable[Measure], at: datetime) -> list[tuple[Measure, float]]:
    """How many tests are left in each bottle by its schedule, where one was ever loaded."""
    rows = [measure for measure in measures if measure.ml_per_test > 0 and measure.tests_per_day > 0]
    loads = loads_of(rows, at) if rows else {}
    return [
        (measure, left_ml_of(measure, loads[measure.pk], at) / measure.ml_per_test)
        for measure in rows
        if measure.pk in loads
    ]


def empty_day(measure: Measure, load: ReagentLoad, at: datetime) -> date | None:
    """The day on which the bottle no longer holds one whole test, from its last load; `at` in the business\'s zone."""
    use = measure.tests_per_day * measure.ml_per_test
    if use <= 0:
        return None
    tests = left_ml_of(measure, load, at) // measure.ml_per_test
    return (at + timedelta(days=min(3650.0, tests / measure.tests_per_day))).date()


def ways_on_offer() -> list[Way]:
    """Ways of testing that come into question, as the core computes with them, in order of their names."""
    return [_way(row) for row in Candidate.objects.filter(retired_on__isnull=True).order_by("name", "pk")]


def _way(row: Candidate) -> Way:
    wants = [what for what in THERE if getattr(row, f"needs_{what}")]
    return Way(
        name=row.name,
        good_to=read_measures(row.measures),
        unattended=row.unattended,
        setup_minutes=row.setup_minutes,
        upkeep_minutes=row.upkeep_minutes,
        test_minutes=row.test_minutes,
        price=row.price,
        month_cost=row.month_cost,
        test_cost=row.test_cost,
        most_per_day=row.most_per_day,
        noise_db=row.noise_db,
        needs=frozenset(wants),
        cannot_tell=(row.cannot_tell,) if row.cannot_tell else (),
        fails_by=(row.fails_by,) if row.fails_by else (),
    )
