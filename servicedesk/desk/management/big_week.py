"""A week of 26 technicians with seven visits a day, proposed and broken, to be measured and taken back: nothing of it is anybody's."""

from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID

from clients.models import Client, Site, Tank
from servicedesk.rounds.choices import OfferKind, ProposalState, TroubleKind
from servicedesk.rounds.models import DueVisit, Proposal, Proposed, Round, Stop, Trouble
from servicedesk.rounds.queries.stamps import stamp_now
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
    numbers = {**NUMBERS, "visits": len(stops), "rounds": _told(stops)}
    week = Proposal.objects.create(
        first=monday, last=monday + timedelta(days=6), **{**asked, "after": numbers}
    )
    _propose(week, stops)
    Proposal.objects.filter(pk=week.pk).update(stamp=stamp_now(week.pk))
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


def _told(stops: list[Stop]) -> list[dict[str, Any]]:
    """What a proposal says of each round; a rule is broken on every tenth."""
    rounds: dict[UUID, list[Stop]] = {}
    for stop in stops:
        rounds.setdefault(stop.round_id, []).append(stop)
    broken = {"code": "window", "words": "Somebody is not let in any more then."}
    return [
        {
            "technician": str(mine[0].round.technician_id),
            "day": mine[0].round.day.isoformat(),
            "leave": 27_000,
            "back": 58_000,
            "travel": 4_200,
            "overtime": 0,
            "begins": 28_800,
            "ends": 61_200,
            "metres": 60_000,
            "order": [str(stop.due_visit_id) for stop in mine],
            "starts": [stop.planned_at.hour * 3600 for stop in mine],
            "broken": [] if number % 10 else [broken],
            "hours": [],
        }
        for number, mine in enumerate(rounds.values())
    ]


def _propose(proposal: Proposal, stops: list[Stop]) -> None:
    """Each visit as it stands, every third an hour later."""
    Proposed.objects.bulk_create(
        Proposed(
            proposal=proposal, due_visit=stop.due_visit, technician=stop.round.technician, day=stop.round.day, order=stop.order,
            planned_at=time(stop.planned_at.hour + (stop.order % 3 == 0)), minutes=45, drive_minutes=10,
        )
        for stop in stops
    )  # fmt: skip
