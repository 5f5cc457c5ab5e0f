"""What a technician's day says on paper: the order, the times, where one gets in, what is due, what to load, what to beware of. Keys and codes never
reach it, nor where somebody of ours lives, nor the phones of people who are not on the site."""

from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import prefetch_related_objects
from django.http import Http404
from django.utils.formats import date_format, time_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clients.choices import TankState
from clients.models import Site, Tank, TankStateRow
from clients.queries import states_of
from reports.queries import words
from reports.queries.secrets import Scrub, without_code
from servicedesk.core.drawing.map import RoundsMap
from servicedesk.core.tables import read_json
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import Round, SiteNote, Stop
from servicedesk.rounds.queries import carried, load_of, map_of, standing_notes, stops_on
from servicedesk.rounds.queries.ground import open_hours
from servicedesk.rounds.queries.isolation import caution_words, override_words
from servicedesk.staff.choices import Role
from servicedesk.staff.models import User
from servicedesk.staff.queries import business
from servicedesk.stock.queries import amount_words
from servicedesk.upkeep.models import Task
from servicedesk.upkeep.queries import open_tasks_of

WHOLE_DAY = 24 * 3600 - 1


@dataclass(frozen=True)
class SheetTank:
    """A tank of a stop: where it stands, its state where that is not the usual one, and what is owed there."""

    name: str
    place: str
    state: str
    late: list[str]
    due: list[str]


@dataclass(frozen=True)
class SheetStop:
    """A stop in words. Minutes are those at the wheel before it and those planned for the work."""

    number: int
    at: str
    drive: int
    minutes: int
    state: str
    isolated: bool
    name: str
    address: str
    way_in: str
    water: str
    hours: str
    phone: str
    tanks: list[SheetTank]
    carry: list[str]
    notes: list[str]
    cautions: list[str]
    override: str = ""


@dataclass(frozen=True)
class SheetLoad:
    """What goes into the van for the stops to come: by shelf the thing, how much, for which stops; mixed water; the sum."""

    shelves: list[tuple[str, list[tuple[str, str, str]]]] = field(default_factory=list)
    water: list[tuple[str, str]] = field(default_factory=list)
    sum: str = ""


@dataclass(frozen=True)
class RunSheet:
    """Everything the sheet says, as of `made`."""

    business: str
    emergency: str
    driver: str
    day: str
    made: str
    van: str
    lead: str
    stops: list[SheetStop]
    called_off: list[str]
    load: SheetLoad
    cautions: list[tuple[str, list[str]]]
    isolation: bool
    map: RoundsMap | None


def driver_for(user: User, key: UUID, *, day: date, today: date) -> User:
    """Whose sheet is printed: the office anybody's of any day, a technician the own one of today and of days to come. Else Http404."""
    if user.is_technician and user.pk == key and day >= today:
        return user
    found = User.objects.filter(pk=key, role=Role.TECHNICIAN).first() if user.is_office else None
    if found is None:
        raise Http404
    return found


def _name(site: Site) -> str:
    return without_code(site.key_code)(site.name)


def _address(site: Site) -> str:
    return ", ".join(part for part in (site.address, site.town) if part)


def _hours(site: Site, day: date) -> str:
    """From when to when one gets in; nothing where that is the whole day."""
    found = open_hours(site, day)
    if not found:
        return _("closed that day")
    if found == [(0, WHOLE_DAY)]:
        return ""
    return ", ".join(f"{_clock(first)}–{_clock(last)}" for first, last in found)


def _clock(seconds: int) -> str:
    minutes = (seconds + 59) // 60
    return "24:00" if minutes >= 24 * 60 else time_format(time(minutes // 60, minutes % 60), "H:i")


def _state(row: TankStateRow | None) -> str:
    if row is None or row.state == TankState.NORMAL:
        return ""
    name = str(row.get_state_display())
    return (
        _("%(state)s until %(day)s") % {"state": name, "day": words.short_day(row.until_on)}
        if row.until_on
        else name
    )


class _Day:
    """What is known of all stops of the day, asked once."""

    def __init__(self, stops: list[Stop], *, day: date, zone: ZoneInfo) -> None:
        self.day, self.zone = day, zone
        tanks = [tank for stop in stops for tank in stop.tanks]
        self.tasks: dict[UUID, list[Task]] = {}
        for task in open_tasks_of(tanks, until=day):
            self.tasks.setdefault(task.tank_id, []).append(task)
        self.states = states_of(tanks, day)
        self.notes: dict[UUID, list[SiteNote]] = standing_notes(stop.due_visit.site_id for stop in stops)
        prefetch_related_objects([stop.due_visit.site for stop in stops], "hours", "closed_days")
        self.hazards = {row["id"]: row for row in read_json("hazards.json")["hazards"]}

    def hazards_of(self, stop: Stop) -> list[str]:
        """The work hazards of a stop: those of its site and of what is due there, each once."""
        work = [task for tank in stop.tanks for task in self.tasks.get(tank.pk, [])]
        named = [*stop.due_visit.site.cautions, *(hazard for task in work for hazard in task.hazards)]
        return [key for key in dict.fromkeys(named) if key in self.hazards]

    def alone(self, stop: Stop) -> bool:
        states = {self.states[tank.pk].state for tank in stop.tanks if tank.pk in self.states}
        return stop.due_visit.isolated or TankState.ISOLATION in states

    def tank(self, tank: Tank, scrub: Scrub) -> SheetTank:
        mine = self.tasks.get(tank.pk, [])
        late = list(dict.fromkeys(task.title for task in mine if task.latest < self.day))
        due = [title for title in dict.fromkeys(task.title for task in mine) if title not in late]
        return SheetTank(
            name=scrub(tank.name),
            place=scrub(tank.place),
            state=_state(self.states.get(tank.pk)),
            late=[scrub(title) for title in late],
            due=[scrub(title) for title in due],
        )

    def stop(self, stop: Stop) -> SheetStop:
        site = stop.due_visit.site
        scrub = without_code(site.key_code)
        at = stop.arrived_at.astimezone(self.zone).time() if stop.arrived_at else stop.planned_at
        work = [task for tank in stop.tanks for task in self.tasks.get(tank.pk, [])]
        return SheetStop(
            number=stop.order,
            at=time_format(at, "H:i"),
            drive=stop.drive_minutes,
            minutes=stop.minutes,
            state="" if stop.state == StopState.PLANNED else str(StopState(stop.state).label),
            isolated=self.alone(stop),
            name=_name(site),
            address=scrub(_address(site)),
            way_in=scrub(site.way_in),
            water=scrub(site.water_and_drain),
            hours=_hours(site, self.day),
            phone=scrub(site.on_site_phone),
            tanks=[self.tank(tank, scrub) for tank in stop.tanks],
            carry=[f"{item.name} {amount_words(n, item.unit)}" for item, n in carried(work).items()],
            notes=[scrub(note.text) for note in self.notes.get(site.pk, [])],
            cautions=[self.hazards[key]["title"] for key in self.hazards_of(stop)],
            override=f"{override_words()} {caution_words()}" if stop.due_visit.disinfects else "",
        )


def _load(stops: list[Stop], *, day: date, at: datetime) -> SheetLoad:
    load = load_of(stops, day=day, at=at)
    names = {(s.order, s.due_visit.site.name): _name(s.due_visit.site) for s in stops}
    shelves = [
        (
            _("Shelf %(name)s") % {"name": shelf.name} if shelf.name else _("On no shelf yet"),
            [
                (
                    line.item.name,
                    amount_words(line.amount, line.item.unit),
                    ", ".join(map(str, sorted(line.stops))),
                )
                for line in shelf.lines
            ],
        )
        for shelf in load.shelves
    ]
    water = [
        (
            f"{line.stop} {names[line.stop, line.site]}",
            _("%(litres)s L") % {"litres": f"{line.litres:g}"},
        )
        for line in load.water
    ]
    said = []
    if load.water:
        cans = ngettext(
            "%(litres)s L in one can of %(can)s L", "%(litres)s L in %(n)s cans of %(can)s L", load.cans
        )
        said.append(cans % {"litres": f"{load.litres:g}", "n": load.cans, "can": f"{load.can_litres:g}"})
    if load.kg >= 1:
        said.append(_("about %(kg)s kg in all") % {"kg": f"{load.kg:.0f}"})
    return SheetLoad(shelves=shelves, water=water, sum="; ".join(said))


def _span(minutes: int) -> str:
    hours, rest = divmod(minutes, 60)
    parts = [_("%(h)s h") % {"h": hours}] if hours else []
    return " ".join([*parts, _("%(m)s min") % {"m": rest}] if rest or not hours else parts)


def _lead(driver: str, stops: list[Stop], zone: ZoneInfo) -> str:
    """The day in one sentence."""
    last = max(stops, key=lambda stop: (stop.planned_at, stop.order))
    end = datetime.combine(last.round.day, last.planned_at, tzinfo=zone) + timedelta(minutes=last.minutes)
    said = ngettext(
        "%(name)s: one stop, from %(first)s to %(end)s, %(work)s of work and %(drive)s at the wheel.",
        "%(name)s: %(n)s stops, from %(first)s to %(end)s, %(work)s of work and %(drive)s at the wheel.",
        len(stops),
    )
    return said % {
        "name": driver,
        "n": len(stops),
        "first": time_format(min(stop.planned_at for stop in stops), "H:i"),
        "end": time_format(end.time(), "H:i"),
        "work": _span(sum(stop.minutes for stop in stops)),
        "drive": _span(sum(stop.drive_minutes for stop in stops)),
    }


def _mapped(stops: list[Stop], shown: list[SheetStop]) -> RoundsMap | None:
    """The map of one technician's day, named as on the sheet, without anybody's home."""
    found = map_of(stops, homes=False)
    if found is None:
        return None
    ways = [
        replace(
            way, stops=tuple(replace(s, name=said.name) for s, said in zip(way.stops, shown, strict=True))
        )
        for way in found.ways
    ]
    return replace(found, ways=tuple(ways), km=_("{} km"), store_word=_("store"), north_word=_("N"))


def sheet_of(round_row: Round, stops: list[Stop], *, at: datetime) -> RunSheet | None:
    """The sheet of a round as it stands at a moment; None where nothing of it is driven."""
    house, day = business(), round_row.day
    zone = ZoneInfo(house.zone)
    driven = sorted(
        (s for s in stops if s.state != StopState.CALLED_OFF), key=lambda s: (s.order, s.planned_at)
    )
    if not driven:
        return None
    known = _Day(driven, day=day, zone=zone)
    shown = [known.stop(stop) for stop in driven]
    hazards = list(dict.fromkeys(key for stop in driven for key in known.hazards_of(stop)))
    to_come = [s for s in driven if s.state != StopState.CLOSED]
    return RunSheet(
        business=house.name,
        emergency=house.emergency_phone or house.phone,
        driver=round_row.technician.name,
        day=words.day_text(day),
        made=date_format(at.astimezone(zone), "j F, H:i"),
        van=round_row.van.name if round_row.van else "",
        lead=_lead(round_row.technician.name, driven, zone),
        stops=shown,
        called_off=[_name(s.due_visit.site) for s in stops if s.state == StopState.CALLED_OFF],
        load=_load(to_come, day=day, at=at) if to_come else SheetLoad(),
        cautions=[(known.hazards[key]["title"], known.hazards[key]["lines"]) for key in hazards],
        isolation=any(stop.isolated for stop in shown),
        map=_mapped(driven, shown),
    )


def sheets_of(*, first: date, last: date, technician: User | None, at: datetime) -> list[RunSheet]:
    """The sheets of all rounds of these days, by day and technician; of one technician where one is named."""
    rounds: dict[UUID, tuple[Round, list[Stop]]] = {}
    for stop in stops_on(first, until=last, technician=technician):
        rounds.setdefault(stop.round_id, (stop.round, []))[1].append(stop)
    ordered = sorted(
        rounds.values(), key=lambda row: (row[0].day, row[0].technician.name, str(row[0].technician_id))
    )
    found = [sheet_of(round_row, stops, at=at) for round_row, stops in ordered]
    return [sheet for sheet in found if sheet is not None]
