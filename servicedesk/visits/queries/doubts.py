"""Amounts that are asked back once before they are kept: true ones are never refused, mistyped ones are costly."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from clients.choices import LivestockChange
from clients.models import Tank
from clients.queries import livestock_of
from servicedesk.core import units
from servicedesk.core.chemistry.dosing import rise_of
from servicedesk.dosing.models import Solution
from servicedesk.visits.choices import EntryKind
from servicedesk.water.models import Band

MOST_DAYS_AT_ONCE = 3.0
"""A dose worth more than so many safe daily changes is asked back (common practice)."""


def doubt_of(kind: str, payload: dict[str, Any], tanks: list[Tank]) -> str:
    """What is odd about an amount, in a sentence; empty where nothing is, or where it cannot be read at all."""
    ask = ASK.get(kind)
    if ask is None:
        return ""
    try:
        return ask(payload, tanks)
    except (
        KeyError,
        ValueError,
        StopIteration,
    ):  # what cannot be read is refused by the action, with its reason
        return ""


def _tank(payload: dict[str, Any], tanks: list[Tank]) -> Tank:
    return next(t for t in tanks if str(t.pk) == payload["tank"])


def _change(payload: dict[str, Any], tanks: list[Tank]) -> str:
    tank, litres = _tank(payload, tanks), units.parse_typed(str(payload["litres"]))
    if litres <= tank.net_l:
        return ""
    return _("%(litres)s L is more than all the water of %(tank)s, %(net)s L.") % {
        "litres": f"{litres:g}",
        "tank": tank.name,
        "net": f"{tank.net_l:.0f}",
    }


def _dose(payload: dict[str, Any], tanks: list[Tank]) -> str:
    tank, ml = _tank(payload, tanks), units.parse_typed(str(payload["ml"]))
    solution = Solution.objects.filter(pk=UUID(payload["solution"])).first()
    if solution is None:
        return ""
    band = Band.objects.filter(tank=tank, parameter=solution.parameter).first()
    rise = rise_of(ml=ml, per_ml=solution.per_ml, net_l=tank.net_l)
    if band is None or not band.max_rise_per_day or rise <= MOST_DAYS_AT_ONCE * band.max_rise_per_day:
        return ""
    factor = abs(units.scale_of(parameter=band.parameter, unit=band.unit)[0])
    digits = units.decimals_in(parameter=band.parameter, unit=band.unit)
    return _("%(ml)s mL raises %(name)s by about %(rise)s %(unit)s; %(safe)s is safe in a day.") % {
        "ml": f"{ml:g}",
        "name": units.parameter(band.parameter).name.lower(),
        "rise": f"{rise / factor:.{digits}f}",
        "unit": units.unit_word(band.unit),
        "safe": f"{band.max_rise_per_day / factor:.{digits}f}",
    }


def _animals(payload: dict[str, Any], tanks: list[Tank]) -> str:
    animals = next(a for a in livestock_of(tanks) if str(a.pk) == payload["livestock"])
    number = units.parse_typed(str(payload["number"]))
    living: int = animals.number  # type: ignore[attr-defined]  # annotated by the query
    if payload["change"] == LivestockChange.ADDED or number <= living:
        return ""
    return _("Only %(living)s of %(name)s are on the list, not %(number)s.") % {
        "living": living,
        "name": animals.name,
        "number": f"{number:g}",
    }


ASK: dict[str, Callable[[dict[str, Any], list[Tank]], str]] = {
    EntryKind.WATER_CHANGE: _change,
    EntryKind.DOSE: _dose,
    EntryKind.LIVESTOCK: _animals,
}
