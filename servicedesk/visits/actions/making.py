"""From a journal entry to facts in the rooms below: one small function per kind.

Each gets a Making and calls the room that owns the fact, with the entry's id as its origin. What a payload may hold
is checked here; numbers are read as people type them."""

from collections.abc import Callable
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import TypeVar
from uuid import UUID

from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _

from clients.actions import record_livestock
from clients.choices import LivestockChange
from clients.models import Equipment, Livestock, Tank
from servicedesk.core import units
from servicedesk.core.chemistry.conversions import NOTHING, SCALES, Context
from servicedesk.dispatch.actions import withdraw
from servicedesk.dosing import actions as dosing
from servicedesk.dosing.models import Channel, Solution
from servicedesk.dosing.queries import Settings
from servicedesk.instruments import actions as instruments
from servicedesk.instruments.models import Measure
from servicedesk.stock import actions as stock
from servicedesk.stock.models import Item, Lot
from servicedesk.upkeep import actions as upkeep
from servicedesk.upkeep.models import Task
from servicedesk.visits.actions.back_on import tell_what_is_off
from servicedesk.visits.actions.payload import Making
from servicedesk.visits.actions.rest import book_end, book_rest, end_of, keys_of
from servicedesk.visits.actions.treating import book_back_on, keys_of_treatment, refuse_unsafe
from servicedesk.visits.actions.wire import Refused, key_of
from servicedesk.visits.choices import TAKEN_BACK, EntryKind
from servicedesk.visits.models import Entry, Photo, Visit
from servicedesk.water import actions as water
from servicedesk.water.choices import Flag
from servicedesk.water.models import Method, Reading
from servicedesk.water.queries import is_marine, latest_values
from servicedesk.web.zones import day_of

Row = TypeVar("Row")
LONGEST = 2000
STANDARD_HPA = 1013.25
MOST_PRICE = 1_000_000
FIELDS = ("summary", "changed", "staff_do", "staff_dont")


def _arrive(m: Making) -> None:
    if m.wire.at < m.visit.arrived_at:
        Visit.objects.filter(pk=m.visit.pk).update(arrived_at=m.wire.at)


def _context(m: Making, tank: Tank, parameter: str, method: Method) -> Context:
    """What a scale must know besides the number: the water's temperature, or the one to which the instrument brings its
    value; for oxygen the tank's last salinity, and the standard atmosphere (ISO 2533)."""
    if (parameter, m.text("unit", longest=20)) not in SCALES:
        return NOTHING
    temperature = method.reference_c if method.compensates else m.number_or_none("temperature_c")
    salt: float | None = None
    if parameter == "dissolved_oxygen":
        last = latest_values([tank]).get((tank.pk, "salinity"))
        salt = last.value if last else None if is_marine(tank) else 0.0
    return Context(
        temperature_c=temperature, salinity=salt, reference_c=method.reference_c, pressure_hpa=STANDARD_HPA
    )


def _reading(m: Making) -> None:
    tank, parameter = m.tank(), m.text("parameter", needed=True)
    method = Method.objects.filter(pk=m.key("method"), parameter=parameter).first()
    if method is None:
        raise Refused(_("This method does not test for that."))
    seq = m.wire.payload.get("seq", 0)
    if isinstance(seq, bool) or not isinstance(seq, int) or not 0 <= seq < 100:
        raise Refused(_("“seq” counts the replicates from nought."))
    water.record_reading(
        tank=tank,
        parameter=parameter,
        method=method,
        source=water.by_hand(),
        entered=m.text("value", needed=True, longest=20),
        unit=m.text("unit", needed=True, longest=20),
        seq=seq,
        context=_context(m, tank, parameter, method),
        flags=Flag.CLOCK_FIXED if abs(m.wire.clock_offset) > 60 else 0,
        **m.fact,
    )


def _task_done(m: Making) -> None:
    upkeep.finish_task(task=m.task(), **m.fact)


def _task_left(m: Making) -> None:
    upkeep.leave_task(task=m.task(), reason=m.text("reason", needed=True, longest=200), **m.fact)


def _water_change(m: Making) -> None:
    water.record_water_change(
        tank=m.tank(),
        litres=m.number("litres"),
        salinity=m.number_or_none("salinity"),
        temperature_c=m.number_or_none("temperature_c"),
        **m.fact,
    )


def _dose(m: Making) -> None:
    solution = m._found(Solution.objects.filter(pk=m.key("solution")).first(), "solution")
    tank, ml = m.tank(), m.number("ml")
    dosing.record_dose(tank=tank, solution=solution, ml=ml, **m.fact)
    _use(m, solution.item, ml)
    rest = m.number_or_none("rest_ml")
    if rest:
        days = int(m.number_or_none("rest_days") or 1)
        book_rest(tank=tank, solution=solution, rest_ml=rest, days=days, cause=m.wire.id, at=m.wire.at)


def _use(m: Making, item: Item, ml: float, lot: Lot | None = None) -> None:
    """What went in left the van, where it is kept by the mL."""
    if item.unit == "mL":
        stock.use(item=item, amount=ml, lot=lot if lot and lot.item_id == item.pk else None, **m.fact)


def _rate(m: Making) -> None:
    channel = m.channel()
    until = end_of(m.number_or_none("days"), m.wire.at)
    before = Settings([channel], m.wire.at).rate(channel)
    rate = m.number("ml_per_day")
    dosing.set_rate(channel=channel, ml_per_day=rate, until=until, why=m.text("why", longest=200), **m.fact)
    if until is not None:
        book_end(channel=channel, before=before or 0.0, day=day_of(until), cause=m.wire.id, at=m.wire.at)


def _refill(m: Making) -> None:
    channel, lot = m.channel(), m.lot_or_none()
    now, before = m.number("ml_now"), m.number_or_none("ml_before")
    left = Settings([channel], m.wire.at).left_ml(channel) if before is None else before
    dosing.record_refill(channel=channel, ml_now=now, ml_before=before, lot=lot, **m.fact)
    _use(m, channel.solution.item, now - (left or 0.0), lot)


def _reagent_load(m: Making) -> None:
    measure, ml, lot = m.measure(), m.number("ml"), m.lot_or_none()
    instruments.record_load(measure=measure, ml=ml, lot=lot, **m.fact)
    if measure.reagent is not None:
        _use(m, measure.reagent, ml, lot)


def _calibration(m: Making) -> None:
    instruments.record_calibration(
        measure=m.measure(),
        reference=m.number("reference"),
        reference_u=m.number_or_none("reference_u"),
        before=m.number("before"),
        after=m.number_or_none("after"),
        **m.fact,
    )


def _pump_check(m: Making) -> None:
    dosing.record_pump_check(
        channel=m.channel(),
        asked_ml=m.number("asked_ml"),
        before_ml=m.number("before_ml"),
        after_ml=m.number_or_none("after_ml"),
        **m.fact,
    )


def _treatment(m: Making) -> None:
    tank = m.tank()
    refuse_unsafe(tank=tank, form=m.text("form", longest=16), given=m.flag("given"), at=m.wire.at)
    told = {name: m.text(name, longest=60 if name == "lot" else 100) for name in dosing.TOLD}
    until = _day(m, "until")
    dosing.record_treatment(tank=tank, told=told, until_on=until, **m.fact)
    off = [name for name in ("carbon", "uv") if m.flag(name)]
    book_back_on(tank=tank, off=off, until=until, cause=m.wire.id, at=m.wire.at)


def _livestock(m: Making) -> None:
    rows = Livestock.objects.filter(pk=m.key("livestock"), tank__site=m.visit.site)
    change = m.text("change", needed=True)
    if change not in LivestockChange.values:
        raise Refused(_("Animals are added, die or are moved out."))
    number = m.number("number")
    if number != int(number) or not 1 <= number <= 10_000:
        raise Refused(_("Say how many animals: one or more."))
    animals = m._found(rows.first(), "kind of animal")
    record_livestock(
        livestock=animals, change=change, number=int(number), cause=m.text("cause", longest=200), **m.fact
    )


def _photo(m: Making) -> None:
    m.tank_or_none()
    if not Photo.objects.filter(pk=m.key("photo"), visit=m.visit).exists():
        raise Refused(_("The photo itself has not come yet. Send the photo first."))
    m.text("caption", longest=200)


def _finding(m: Making) -> None:
    m.tank_or_none()
    m.text("text", needed=True)
    m.flag("alarm"), m.flag("dispute"), m.flag("internal")


def _recommendation(m: Making) -> None:
    m.tank_or_none()
    m.text("text", needed=True)
    price = m.text("price", longest=20)
    if price:
        try:
            sound = 0 <= Decimal(price.replace(",", ".")) <= MOST_PRICE
        except InvalidOperation:
            sound = False
        if not sound:
            raise Refused(_("“%(price)s” is not a price.") % {"price": price})


def _back_on(m: Making) -> None:
    m.tank_or_none()
    on, left = m.wire.payload.get("on", []), m.wire.payload.get("left", [])
    if not isinstance(on, list) or not isinstance(left, list) or len(on) + len(left) > 200:
        raise Refused(_("“on” and “left” are lists."))
    for entry in left:
        if (
            not isinstance(entry, dict)
            or not isinstance(entry.get("reason"), str)
            or not entry["reason"].strip()
        ):
            raise Refused(_("What stays off needs its reason."))
    keys = {key_of(k, "on") for k in on} | {key_of(entry.get("equipment"), "equipment") for entry in left}
    if Equipment.objects.filter(pk__in=keys, site=m.visit.site).count() != len(keys):
        raise Refused(_("Some equipment is not at this site."))
    tell_what_is_off(
        visit=m.visit,
        on=[key_of(k, "on") for k in on],
        left={key_of(entry["equipment"], "equipment"): entry["reason"].strip() for entry in left},
        at=m.wire.at,
    )


def _day(m: Making, name: str) -> date:
    try:
        day = parse_date(m.text(name, needed=True, longest=10))
    except ValueError:
        day = None
    if day is None:
        raise Refused(_("“%(name)s” is not a day. Write it like 2026-11-25.") % {"name": name})
    return day


def _next_visit(m: Making) -> None:
    if _day(m, "date") < day_of(m.wire.at):
        raise Refused(_("The next visit cannot lie in the past."))


def _field(m: Making) -> None:
    if m.text("name", needed=True) not in FIELDS:
        raise Refused(_("This field is not known."))
    m.text("value")


def _correction(m: Making) -> None:
    entry = Entry.objects.filter(pk=m.key("entry"), visit=m.visit).first()
    if entry is not None and entry.kind in TAKEN_BACK:
        take_back(entry, m)
        return
    reading = None
    if entry is not None and entry.kind == EntryKind.READING:
        reading = Reading.objects.select_related("series").filter(origin=entry.pk).first()
    if reading is None:
        raise Refused(_("There is no such entry in this visit that can be corrected."))
    why = m.text("why", needed=True, longest=200)
    new = None
    if not m.flag("withdraw"):
        unit = m.text("unit", longest=20) or reading.entered_unit
        new = units.to_canonical(parameter=reading.series.parameter, value=m.number("value"), unit=unit)
    water.correct_reading(reading=reading, new=new, why=why, **m.fact)


def take_back(entry: Entry, m: Making) -> None:
    """What an entry said did not happen: its facts stand no more, and what it moved goes back. Twice is once."""
    if not m.flag("withdraw"):
        raise Refused(_("This entry can be taken back. Then write down what is right."))
    why = m.text("why", needed=True, longest=200)
    if not withdraw(withdrawn=entry.pk, why=why, at=m.wire.at, origin=m.wire.id, received_at=m.received_at):
        return
    stock.put_back(used=entry.pk, at=m.wire.at, by=m.by, origin=m.wire.id, received_at=m.received_at)
    if entry.kind == EntryKind.TASK_DONE:
        upkeep.reopen_task(task=Task.objects.get(pk=entry.payload["task"]))
    upkeep.call_off(keys=[*keys_of(entry.pk), *keys_of_treatment(entry.pk)])
    for tank in Tank.objects.filter(pk__in=_tanks_of(entry)):
        water.touch(tank=tank, at=m.wire.at)


def _tanks_of(entry: Entry) -> list[UUID]:
    """The tanks whose water or animals an entry spoke of."""
    p = entry.payload
    if "channel" in p:
        return list(Channel.objects.filter(pk=p["channel"]).values_list("tank", flat=True))
    if "measure" in p:
        return list(Measure.objects.filter(pk=p["measure"]).values_list("instrument__tank", flat=True))
    return [UUID(p["tank"])] if p.get("tank") else []


def _nothing(m: Making) -> None:
    """Kept in the journal; the journal itself acts on it."""


MAKE: dict[str, Callable[[Making], None]] = {
    EntryKind.ARRIVE: _arrive,
    EntryKind.READING: _reading,
    EntryKind.TASK_DONE: _task_done,
    EntryKind.TASK_LEFT: _task_left,
    EntryKind.WATER_CHANGE: _water_change,
    EntryKind.DOSE: _dose,
    EntryKind.RATE: _rate,
    EntryKind.REFILL: _refill,
    EntryKind.REAGENT_LOAD: _reagent_load,
    EntryKind.CALIBRATION: _calibration,
    EntryKind.PUMP_CHECK: _pump_check,
    EntryKind.TREATMENT: _treatment,
    EntryKind.LIVESTOCK: _livestock,
    EntryKind.PHOTO: _photo,
    EntryKind.FINDING: _finding,
    EntryKind.RECOMMENDATION: _recommendation,
    EntryKind.BACK_ON: _back_on,
    EntryKind.NEXT_VISIT: _next_visit,
    EntryKind.FIELD: _field,
    EntryKind.CORRECTION: _correction,
    EntryKind.CLOSE: _nothing,
}
