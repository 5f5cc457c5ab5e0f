"""What follows from a tank's last believed values together: toxic ammonia, aragonite, carbon dioxide, oxygen, gravity."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from clients.models import Tank
from servicedesk.core.chemistry.relations import Follows, Relation, follows, relations_in
from servicedesk.core.metrology.propagation import Known, rectangular_u
from servicedesk.core.metrology.uncertainty import standard_uncertainty
from servicedesk.instruments.choices import Trust
from servicedesk.instruments.queries import Standings, standing_of
from servicedesk.water.models import Method
from servicedesk.water.queries import ReadingValue, is_salt, spec_of

SLOW = timedelta(days=14)
TOGETHER = timedelta(hours=3)
"""What changes slowly still holds after two weeks; what swings by day belongs to one visit (common practice)."""
SWINGS = frozenset({"ph", "ammonia_total", "dissolved_oxygen"})
OTHER_HOUR_C = 1.0
"""A temperature of another hour is known to a degree either way (common practice)."""


@dataclass(frozen=True)
class Line:
    """One line of the page: what follows, in words, of which time, and what to mind."""

    name: str
    value: str
    at: datetime | None
    note: str
    source: str


def lines_of(tank: Tank, newest: Iterable[ReadingValue], standings: Standings) -> list[Line]:
    """What follows from the newest value of each series (oldest first), as far as anything of it was ever measured; values in doubt
    are left out."""
    believed = {
        value.parameter: value
        for value in newest
        if standing_of(standings, value.equipment_id, value.parameter).trust == Trust.BELIEVED
    }
    wanted = [r for r in relations_in(salt=is_salt(tank)) if r.needs[0] in believed]
    names = {name for r in wanted for name in (*r.needs, *r.helps)} & believed.keys()
    methods = Method.objects.in_bulk({believed[name].method_id for name in names})
    return [_line(relation, believed, methods) for relation in wanted]


def _line(relation: Relation, believed: dict[str, ReadingValue], methods: Mapping[UUID, Method]) -> Line:
    at = _moment(relation, believed)
    found = follows(relation, _together(relation, believed, methods, at))
    note = found.why_not or relation.caveat
    return Line(relation.name, _said(found), None if found.value is None else at, note, relation.source)


def _moment(relation: Relation, believed: dict[str, ReadingValue]) -> datetime:
    """The moment it is said of: the newest of what swings, else of the value it is mainly about."""
    swinging = [believed[name].at for name in relation.needs if name in SWINGS and name in believed]
    return max(swinging, default=believed[relation.needs[0]].at)


def _together(
    relation: Relation, believed: dict[str, ReadingValue], methods: Mapping[UUID, Method], at: datetime
) -> dict[str, Known]:
    """The values that belong to that moment, each with its standard uncertainty."""
    found = {}
    for name in (*relation.needs, *relation.helps):
        value = believed.get(name)
        if value is None or abs(value.at - at) > (TOGETHER if name in SWINGS else SLOW):
            continue
        u = standard_uncertainty(spec_of(methods[value.method_id]), value.value)
        if name == "temperature" and abs(value.at - at) > TOGETHER:
            u = max(u, rectangular_u(OTHER_HOUR_C))
        found[name] = Known(value.value, u)
    return found


def _said(found: Follows) -> str:
    if found.value is None:
        return ""
    digits = found.relation.decimals
    wide = f" ± {found.expanded:.{digits}f}" if round(found.expanded, digits) else ""
    return f"{found.value:.{digits}f}{wide} {found.relation.unit}".strip()
