"""A round as it will really be driven, where the hour makes ways longer than they are as a rule: who would come later, in words."""

from __future__ import annotations

from django.utils.formats import time_format
from django.utils.translation import gettext as _

from servicedesk.core.rounds.plan import Round
from servicedesk.core.rounds.problem import DAY_S, Shift
from servicedesk.core.rounds.retiming import Late, retimed
from servicedesk.rounds.queries.ground import time_of
from servicedesk.rounds.queries.wanted import SECOND, Wanted

WORTH_S = 5 * 60
"""Who comes less late within the hours of access is not spoken of (common practice)."""


def late_words(week: Wanted, row: Round, shift: Shift) -> list[str]:
    """Stops of a round that would begin later than planned by what ways take at that hour, each in a sentence, broken rules first."""
    if week.hours is None or not week.hours.known:
        return []
    late = retimed(week.problem, shift, row, week.hours.leg)
    told = [one for one in late if one.beyond > 0 or one.late >= WORTH_S]
    return [
        _sentence(week, one) for one in sorted(told, key=lambda one: one.beyond <= 0) if _known(week, one)
    ]


def _known(week: Wanted, late: Late) -> bool:
    """Neither taking on water nor the second of two is a visit of its own."""
    return not late.visit or late.visit.removesuffix(SECOND) in week.visits


def _at(seconds: int) -> str:
    return time_format(time_of(min(seconds, DAY_S - 60)), "H:i")


def _sentence(week: Wanted, late: Late) -> str:
    told = {"at": _at(late.start), "planned": _at(late.planned), "m": -(-late.beyond // 60)}
    if not late.visit:
        words = _(
            "At that hour ways take longer: home at %(at)s instead of %(planned)s, %(m)s min after the longest shift."
        )
        return words % told
    told["name"] = week.visits[late.visit.removesuffix(SECOND)].site.name
    if late.beyond > 0:
        words = _(
            "At that hour ways take longer: %(name)s at %(at)s instead of %(planned)s, %(m)s min too late to be let in."
        )
    else:
        words = _(
            "At that hour ways take longer: %(name)s at %(at)s instead of %(planned)s, still in time to be let in."
        )
    return words % told
