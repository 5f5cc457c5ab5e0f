"""What remains of a correction in parts: a task for the rest of a dose, and one for the end of a temporary rate."""

from datetime import date, datetime, timedelta
from uuid import UUID

from django.utils.translation import gettext as _

from clients.models import Tank
from servicedesk.core import units
from servicedesk.dosing.actions import MOST_ML
from servicedesk.dosing.models import Channel, Solution
from servicedesk.upkeep import actions as upkeep
from servicedesk.visits.actions.wire import Refused
from servicedesk.web.zones import day_of

MOST_DAYS = 60
WITHIN_DAYS = 7
"""The task may wait for a week (common practice): nobody goes there for it alone."""


def keys_of(cause: UUID) -> list[str]:
    """The keys of the tasks that an entry may have booked."""
    return [f"rest:{cause}", f"rate-end:{cause}"]


def end_of(days: float | None, at: datetime) -> datetime | None:
    """When a temporary rate ends; None for one that stays."""
    if days is None:
        return None
    if not 1 <= days <= MOST_DAYS:
        raise Refused(_("A temporary rate lasts 1 to %(days)s days.") % {"days": MOST_DAYS})
    return at + timedelta(days=days)


def book_rest(
    *, tank: Tank, solution: Solution, rest_ml: float, days: int, cause: UUID, at: datetime
) -> None:
    """What remains is a task: the value is tested again before it is given."""
    if not 0 < rest_ml <= MOST_ML or not 1 <= days <= MOST_DAYS:
        raise Refused(_("What remains is more than nothing, in 1 to %(days)s days.") % {"days": MOST_DAYS})
    name, tomorrow = units.parameter(solution.parameter).name, day_of(at) + timedelta(days=1)
    words = {"name": name, "ml": f"{rest_ml:g}", "days": days, "solution": solution.item.name}
    upkeep.raise_task(
        tank=tank,
        key=keys_of(cause)[0],
        title=(_("Test %(name)s again, then give the rest") % words)[:100],
        why=(_("%(ml)s mL of %(solution)s remain, in %(days)s days.") % words)[:200],
        earliest=tomorrow,
        due=tomorrow,
        latest=tomorrow + timedelta(days=WITHIN_DAYS),
        at=at,
        hazards=["acid"],
    )


def book_end(*, channel: Channel, before: float, day: date, cause: UUID, at: datetime) -> None:
    """A temporary rate ends on a day: somebody sees that the pump runs as before, and tests."""
    words = {"item": channel.solution.item.name, "ml": f"{before:g}"}
    upkeep.raise_task(
        tank=channel.tank,
        key=keys_of(cause)[1],
        title=(_("See that %(item)s runs at %(ml)s mL a day again") % words)[:100],
        why=_("The temporary rate of a correction ends. Test before anything more is given."),
        earliest=day,
        due=day,
        latest=day + timedelta(days=WITHIN_DAYS),
        at=at,
    )
