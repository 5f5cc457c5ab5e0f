"""Somebody cannot work: written down, so that the rota and planning know."""

from datetime import date

from servicedesk.staff.models import User
from servicedesk.watch.models import Away


def be_away(*, person: User, first: date, last: date, why: str = "") -> Away:
    """A person answers nothing and drives nothing from first to last day."""
    return Away.objects.create(person=person, from_on=first, until_on=last, why=why)


def be_back(*, away: Away, on: date) -> bool:
    """It was said by mistake, or is over; whether it held."""
    return bool(Away.objects.filter(pk=away.pk, retired_on=None).update(retired_on=on))
