"""A day under way: two technicians at two ends of a road, sites along it."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from servicedesk.rounds import actions
from servicedesk.rounds.models import DueVisit, Move, Stop, Trouble
from servicedesk.rounds.queries.broken import broken
from servicedesk.rounds.queries.mending import way_out
from servicedesk.staff.models import Working
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.tanks import make_site, make_tank

ZONE = ZoneInfo("UTC")
TODAY = date(2026, 6, 10)  # a Wednesday


def clock(hour, minute=0):
    return datetime.combine(TODAY, time(hour, minute), tzinfo=ZONE)


NOW = clock(7)


class Day:
    """Ida from 50.0 north with the first half of the sites at 9, 10, 11…, Ben from 50.3 with the others."""

    def __init__(self, sites=6, apart=90):
        make_business(zone="UTC")
        self.owner = make_owner(zone="UTC")
        self.ida, self.ben = make_technician(name="Ida"), make_technician(name="Ben")
        for person, lat in ((self.ida, 50.0), (self.ben, 50.3)):
            Working.objects.create(person=person, home_lat=lat, home_lon=10.0)
        self.visits = [self.owe(f"Site {n}", 50.0 + 0.3 * n / max(1, sites - 1)) for n in range(sites)]
        half = (sites + 1) // 2
        for number, visit in enumerate(self.visits):
            person, order = (self.ida, number) if number < half else (self.ben, sites - 1 - number)
            at = (datetime.combine(TODAY, time(9)) + timedelta(minutes=apart * order)).time()
            self.put(visit, person, order + 1, at)

    def owe(self, name, lat=50.1, **given):
        tank = make_tank(make_site(name=name, lat=lat, lon=10.0, on_site_phone=f"0{name[-1]}00"))
        rest = {
            "earliest": TODAY,
            "due": TODAY,
            "latest": TODAY,
            "minutes": 40,
            "made_at": NOW,
            "cause": "plan",
        }
        visit = DueVisit.objects.create(key=name, site=tank.site, **{**rest, **given})
        visit.tanks.set([tank])
        return visit

    def put(self, visit, person, order, at):
        return actions.put_on_round(
            due_visit=visit, day=TODAY, technician=person, order=order, planned_at=at, drive_minutes=5
        )

    def begin(self, number, at, *, left=None):
        actions.arrive(due_visit_id=self.visits[number].pk, at=at)
        if left is not None:
            actions.leave(due_visit_id=self.visits[number].pk, at=left)

    def say(self, kind, at=NOW, **given):
        return actions.say_trouble(kind=kind, day=TODAY, by=self.owner, at=at, **given)

    def call(self, lat=50.05, until=None, at=NOW, **given):
        site = make_tank(make_site(name="Call 9", lat=lat, lon=10.0)).site
        rest = {"why": "a leak", "minutes": 30, "until": until, "day": TODAY, "by": self.owner, "at": at}
        return actions.say_call_out(site=site, **{**rest, **given})

    def keep(self, trouble, kind="smallest", at=NOW, budget=None):
        """Works out a way out and keeps it; the row."""
        day = broken(trouble, at)
        found = way_out(day, kind, budget)
        kept = actions.keep_offer(
            trouble=trouble, kind=kind, lines=found.lines, before=found.before, after=found.after, said=day.week.said,
            stamp=day.stamp, at=at,
        )  # fmt: skip
        return trouble.offers.get(kind=kind) if kept else None

    def choose(self, offer, at=NOW, today=TODAY):
        return actions.choose(offer=offer, by=self.owner, today=today, at=at)

    def lines(self, offer):
        rows = offer.visits.select_related("due_visit__site", "technician")
        return {
            row.due_visit.site.name: (row.technician.name, row.planned_at) if row.technician else None
            for row in rows
        }

    def where(self):
        rows = Stop.objects.exclude(state="called_off").select_related("due_visit__site", "round__technician")
        return {row.due_visit.site.name: (row.round.technician.name, row.planned_at) for row in rows}

    def waiting(self):
        return Move.objects.filter(applied_at=None, withdrawn_at=None).count()


__all__ = ["NOW", "TODAY", "ZONE", "Day", "Trouble", "clock"]
