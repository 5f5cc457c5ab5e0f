"""All tanks on one page: which want somebody, how each stands as far as anyone knows, how fresh that knowledge is, and
who is there next."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from clients.models import Tank, TankStateRow
from clients.queries import states_of
from servicedesk.desk.queries.ahead import Help, next_help
from servicedesk.desk.queries.today import GLYPH
from servicedesk.staff.models import User
from servicedesk.watch.models import Attention
from servicedesk.watch.queries import name_in_words, open_for
from servicedesk.water.queries import Fresh, fresh_of, usual_tests

# What was not measured for so many of its intervals is not called in band, whatever it was (common practice).
MISSED = 2


@dataclass
class Line:
    """One tank of the list; `glyph` and `word` are its worst news, or how far nothing is wrong."""

    tank: Tank
    state: TankStateRow | None
    glyph: str
    word: str
    told: list[str] = field(default_factory=list)
    tested: str = ""
    heard: str = ""
    visit: str = ""


def _standing(news: list[Attention], fresh: Fresh, tests: dict[str, int], now: datetime) -> tuple[str, str]:
    """Glyph and word of a tank: its first open attention, else whether all that is tested there was measured lately
    and found in band."""
    if news:
        return GLYPH.get(news[0].word, "late"), ""
    if not fresh.measured:
        return "none", _("Never tested")
    old = [
        parameter
        for parameter, days in tests.items()
        if parameter not in fresh.measured or now - fresh.measured[parameter] > MISSED * timedelta(days=days)
    ]
    if old:
        return "none", _("Not measured of late: %(names)s") % {"names": ", ".join(map(name_in_words, old))}
    return "in", _("In band")


def _visit(help_: Help | None, now: datetime, zone: ZoneInfo) -> str:
    if help_ is None:
        return ""
    if help_.there:
        return _("%(who)s is there now") % {"who": help_.who}
    local = help_.at.astimezone(zone)
    today = local.date() == now.astimezone(zone).date()
    return f"{date_format(local, 'H:i' if today else 'D j M, H:i')}, {help_.who}"


def _ago(at: datetime | None, now: datetime, zone: ZoneInfo) -> str:
    """How long ago an instrument was heard: in minutes and hours while that is short, then the date."""
    if at is None:
        return ""
    minutes = max(0, round((now - at) / timedelta(minutes=1)))
    if minutes < 60:
        return _("%(n)s min ago") % {"n": minutes}
    if minutes < 48 * 60:
        return _("%(n)s h ago") % {"n": round(minutes / 60)}
    return date_format(at.astimezone(zone), "j M")


def lines_of(tanks: list[Tank], user: User, *, now: datetime, zone: ZoneInfo) -> list[Line]:
    """The tanks, soonest harm first, then those of which too little is known, then the others by site."""
    day = now.astimezone(zone).date()
    news: dict[UUID, list[Attention]] = {}
    keys = {tank.pk for tank in tanks}
    for item in open_for(user):
        if item.tank_id in keys:
            news.setdefault(item.tank_id, []).append(item)
    states, fresh, tests = states_of(tanks, day), fresh_of(tanks), usual_tests(tanks)
    helps = next_help({tank.site_id for tank in tanks}, now=now, zone=zone)
    found = []
    for tank in tanks:
        known, mine = fresh[tank.pk], news.get(tank.pk, [])
        glyph, word = _standing(mine, known, tests.get(tank.pk, {}), now)
        found.append(
            Line(
                tank,
                states.get(tank.pk),
                glyph,
                word,
                told=[item.sentence for item in mine],
                tested=date_format(known.by_hand.astimezone(zone), "j M") if known.by_hand else "",
                heard=_ago(known.by_instrument, now, zone),
                visit=_visit(helps.get(tank.site_id), now, zone),
            )
        )
    rank = {item: place for place, item in enumerate(news)}
    return sorted(found, key=lambda line: (rank.get(line.tank.pk, len(rank)), line.glyph != "none"))
