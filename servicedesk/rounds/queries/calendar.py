"""A technician's rounds as a calendar that other programs read (RFC 5545): a week back, four weeks ahead. No key, code, phone or way in."""

import importlib
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.translation import gettext as _

from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import Stop
from servicedesk.rounds.queries.isolation import caution_words, override_words
from servicedesk.rounds.queries.stops import stops_on
from servicedesk.staff.models import User
from servicedesk.staff.queries import business_zone

BACK, AHEAD = timedelta(days=7), timedelta(days=28)
SALT = "rounds.calendar"


def tag_of(user: User) -> str:
    """What opens a person's calendar without signing in: 160 bits from the installation's key, which a new password changes."""
    return salted_hmac(SALT, f"{user.pk} {user.password}").hexdigest()


def whose(key: Any, tag: str) -> User | None:
    """Whose calendar an address opens; None where it opens none."""
    user = User.objects.filter(pk=key, is_active=True).first()
    if user is None or not user.is_technician or not constant_time_compare(tag, tag_of(user)):
        return None
    return user


def calendar_of(user: User, *, at: datetime) -> bytes:
    """The rounds of a technician as iCalendar."""
    library: Any = importlib.import_module("icalendar")
    zone = business_zone()
    calendar = library.Calendar()
    calendar.add("prodid", "-//Tankround//rounds//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", _("Round of %(name)s") % {"name": user.name})
    today = at.astimezone(zone).date()
    for stop in stops_on(today - BACK, until=today + AHEAD, technician=user):
        if stop.state != StopState.CALLED_OFF:
            calendar.add_component(_event(library, stop, zone, at))
    written: bytes = calendar.to_ical()
    return written


def _event(library: Any, stop: Stop, zone: ZoneInfo, at: datetime) -> Any:
    site = stop.due_visit.site
    start = datetime.combine(stop.round.day, stop.planned_at, tzinfo=zone)
    if stop.arrived_at is not None:
        start = stop.arrived_at
    end = stop.left_at or start + timedelta(minutes=stop.minutes)
    event = library.Event()
    event.add("uid", f"{stop.due_visit_id}@tankround")
    event.add("dtstamp", at)
    event.add("dtstart", start.astimezone(ZoneInfo("UTC")))
    event.add("dtend", end.astimezone(ZoneInfo("UTC")))
    event.add("summary", site.name)
    event.add("location", ", ".join(part for part in (site.address, site.town) if part))
    words = [tank.name for tank in stop.tanks]
    if stop.due_visit.disinfects:
        words.append(f"{override_words()} {caution_words()}")
    elif stop.due_visit.isolated:
        words.append(_("Isolation: last on the round, with its own kit."))
    event.add("description", "\n".join(words))
    event.add("url", f"{settings.BASE_URL}/visits/{stop.due_visit_id}/")
    return event


def address_of(user: User) -> str:
    """Where a person's calendar is read."""
    return f"{settings.BASE_URL}/round/calendar/{user.pk}/{tag_of(user)}.ics"
