"""Times are stored in UTC and shown in the business's zone."""

from collections.abc import Callable, Collection
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext as _


def day_of(moment: datetime) -> date:
    """The calendar day of a moment in the zone that is switched on: the business's, at every door and in every job."""
    return moment.astimezone(timezone.get_current_timezone()).date()


class BusinessZone:
    """Switches the shown zone to that of the signed-in person (kept on the user row, from the business)."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        name = getattr(user, "zone", "") if user.is_authenticated else ""
        with timezone.override(ZoneInfo(name or "UTC")):
            return self.get_response(request)


def days_in_words(weekdays: Collection[int]) -> str:
    """Days of the week (Monday is 0) in words."""
    names = [str(name) for number, name in WEEKDAYS.items() if number in weekdays]
    return _("every day") if len(names) == len(WEEKDAYS) else ", ".join(names) or _("on no day")
