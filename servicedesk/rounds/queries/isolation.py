"""An emergency at a tank in isolation may be come to before others: what that overrides, and what is disinfected then. Common practice; a label, a
vet and local rules come first."""

from collections.abc import Iterable
from datetime import date

from django.utils.translation import gettext as _

from clients.choices import TankState
from clients.models import Tank
from clients.queries import states_of
from servicedesk.core.rounds.plan import Plan
from servicedesk.rounds.models import DueVisit

MORE_MINUTES = 15
"""Planned for disinfecting at the end of such a visit (common practice)."""
APART = (TankState.ISOLATION, TankState.TREATMENT)


def apart(tanks: Iterable[Tank], day: date) -> list[Tank]:
    """Those of these tanks after which nobody goes on to another: in isolation, or under treatment."""
    known = list(tanks)
    states = states_of(known, day)
    return [tank for tank in known if tank.pk in states and states[tank.pk].state in APART]


def override_words() -> str:
    """What is overridden."""
    return _("Isolated tanks come last: that is overridden here, for an emergency.")


def caution_words() -> str:
    """What is disinfected before anybody goes on."""
    return _(
        "Use the kit that is kept at that tank. Everything else that got wet (nets, hoses, buckets, probes, footwear) stays there or is disinfected "
        "before the next stop, by the disinfectant's label, with gloves and goggles, away from the animals, and rinsed. Wash and disinfect hands and "
        "arms. Carry neither water nor animals on. Where a disease is suspected that has to be reported, ring the vet or the authority first: what "
        "they say, and local rules, come before the round."
    )


def disinfected_after(plan: Plan) -> list[list[str]]:
    """Where a plan goes on from such a visit to a tank that is not apart: both visits."""
    return [
        [here.visit, after.visit]
        for row in plan.rounds
        for here, after in zip(row.stops, row.stops[1:], strict=False)
        if here.disinfected
    ]


def disinfect_words(pairs: list[list[str]], names: dict[str, str]) -> list[str]:
    """That, in sentences."""
    words = _("From %(a)s one goes on to %(b)s: in between everything that got wet is disinfected.")
    return [words % {"a": names[a], "b": names[b]} for a, b in pairs if a in names and b in names]


def caution_of(visit: DueVisit) -> dict[str, str] | None:
    """What whoever goes there is told, where isolated last is overridden."""
    return {"head": override_words(), "text": caution_words()} if visit.disinfects else None
