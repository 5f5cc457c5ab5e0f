"""A week of 26 technicians with seven visits a day, proposed and broken, to be measured and taken back: nothing of it is anybody's."""

from datetime import date, datetime, time, timedelta

from clients.models import Client, Site, Tank
from servicedesk.rounds.choices import OfferKind, ProposalState, TroubleKind
from servicedesk.rounds.models import DueVisit, Proposal, Proposed, Round, Stop, Trouble
from servicedesk.staff.models import User
from servicedesk.staff.queries import day_of

PEOPLE, DAYS, STOPS = 26, 5, 7
NUMBERS = {"driving": 0, "overtime": 0, "visits": 0, "metres": 0}


def made(owner: User, now: datetime) -> list[str]:
    """Makes it in the database, and says the addresses of the pages that show it."""
    today = day_of(now)
    monday = today - timedelta(days=today.weekday())
    stops = _stops(monday, now)
    asked = {
        "asked_by": owner,
        "asked_at": now,
        "before": NUMBERS,
        "after": NUMBERS,
        "state": ProposalState.READY,
    }
    week = Proposal.objects.create(first=monday, last=monday + timedelta(days=6), **asked)
    _propose(week, stops)
    trouble = Trouble.objects.create(
        day=today, kind=TroubleKind.SICK, person=stops[0].round.technician, asked_by=owner, asked_at=now, searched_at=now
    )  # fmt: skip
    for kind in (OfferKind.SMALLEST, OfferKind.PRICED, OfferKind.FREE):
        offer = Proposal.objects.create(kind=kind, trouble=trouble, first=today, last=today, **asked)
        _propose(offer, [stop for stop in stops if stop.round.day == today])
    return ["/week/", f"/week/plan/{week.pk}/", "/week/today/", f"/week/today/{trouble.pk}/"]


def _people() -> list[User]:
    return User.objects.bulk_create(
        User(email=f"big{n}@bench.invalid", name=f"Driver {n:02}", role="technician", password="!")
        for n in range(PEOPLE)
    )


def _tanks() -> list[Tank]:
    client = Client.objects.create(name="A big week")
    places = Site.objects.bulk_create(
        Site(client=client, name=f"Site {n:03}", address="1 Road", lat=52 + n % 20 / 100, lon=n // 20 / 100)
        for n in range(PEOPLE * STOPS)
    )
    return Tank.objects.bulk_create(
        Tank(site=place, name="Reef", place="hall", water_type="reef_soft", gross_l=200, net_l=180, net_l_u=5)
        for place in places
    )


def _stops(monday: date, now: datetime) -> list[Stop]:
    tanks = _tanks()
    rounds = Round.objects.bulk_create(
        Round(day=monday + timedelta(days=day), technician=driver)
        for driver in _people()
        for day in range(DAYS)
    )
    put = [
        (round_, tanks[at // DAYS * STOPS + number], number)
        for at, round_ in enumerate(rounds)
        for number in range(STOPS)
    ]
    visits = DueVisit.objects.bulk_create(
        DueVisit(
            key=f"big:{n}", cause="plan", site=tank.site, earliest=r.day, due=r.day, latest=r.day, made_at=now
        )
        for n, (r, tank, _number) in enumerate(put)
    )
    through = DueVisit.tanks.through
    through.objects.bulk_create(
        through(duevisit_id=visit.pk, tank_id=tank.pk)
        for visit, (_r, tank, _n) in zip(visits, put, strict=True)
    )
    return Stop.objects.bulk_create(
        Stop(round=round_, due_visit=visit, order=number + 1, planned_at=time(8 + number))
        for visit, (round_, _tank, number) in zip(visits, put, strict=True)
    )


def _propose(proposal: Proposal, stops: list[Stop]) -> None:
    """Each visit as it stands, every third an hour later."""
    Proposed.objects.bulk_create(
        Proposed(
            proposal=proposal, due_visit=stop.due_visit, technician=stop.round.technician, day=stop.round.day, order=stop.order,
            planned_at=time(stop.planned_at.hour + (stop.order % 3 == 0)), minutes=45, drive_minutes=10,
        )
        for stop in stops
    )  # fmt: skip
