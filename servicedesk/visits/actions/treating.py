"""A treatment by order of a veterinarian: what may not be given, and what must come back on when it ends."""

from datetime import date, datetime, timedelta
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as lazy

from clients.models import Tank
from servicedesk.core.chemistry.treatments import unsafe
from servicedesk.upkeep import actions as upkeep
from servicedesk.visits.actions.wire import Refused
from servicedesk.water.queries import latest_values
from servicedesk.web.zones import day_of

FRESH = timedelta(hours=12)
"""A test of today (common practice)."""
NAMES = {"carbon": lazy("carbon"), "uv": lazy("UV")}
WITHIN_DAYS = 3


def keys_of_treatment(cause: UUID) -> list[str]:
    """The keys of the tasks that an entry may have booked."""
    return [f"treatment-off:{cause}", f"treatment-on:{cause}"]


def refuse_unsafe(*, tank: Tank, form: str, given: bool, at: datetime) -> None:
    """Refuses, with the reasons, what may not be given to these animals in this water. What was given all the same is kept: a
    fact is not refused."""
    if given:
        return
    sensitive = {word for words in tank.livestock.values_list("sensitive_to", flat=True) for word in words}
    values = latest_values([tank], until=at)

    def fresh(parameter: str) -> float | None:
        row = values.get((tank.pk, parameter))
        return row.value if row is not None and at - row.at <= FRESH else None

    why = unsafe(
        form=form,
        sensitive=sensitive,
        temperature_c=fresh("temperature"),
        oxygen_mg_l=fresh("dissolved_oxygen"),
    )
    if why:
        raise Refused(
            _("%(why)s Do not give it; ask the veterinarian. If it was given already, say so.")
            % {"why": " ".join(why)}
        )


def book_back_on(*, tank: Tank, off: list[str], until: date, cause: UUID, at: datetime) -> None:
    """Carbon and UV take a medicine out: they are off while it works, and somebody brings them back on."""
    names, today = " + ".join(str(NAMES[name]) for name in off), day_of(at)
    if not off:
        upkeep.raise_task(
            tank=tank,
            key=keys_of_treatment(cause)[0],
            title=_("Carbon and UV off while the treatment lasts"),
            why=_("They take the medicine out. It was not said that they are off."),
            earliest=today,
            due=today,
            latest=max(today, until),
            at=at,
            hazards=["medicine"],
        )
    upkeep.raise_task(
        tank=tank,
        key=keys_of_treatment(cause)[1],
        title=(_("Treatment ends: %(names)s back on") % {"names": names or _("carbon and UV")})[:100],
        why=_("They were off while the medicine worked."),
        earliest=until,
        due=until,
        latest=until + timedelta(days=WITHIN_DAYS),
        at=at,
        hazards=["medicine"],
    )
