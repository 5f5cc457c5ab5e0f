"""Building the content of a report from one visit's journal and the facts, as of one moment."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clients.choices import LivestockChange, TankState
from clients.models import LivestockFact, Tank
from clients.queries import livestock_of, states_of
from reports.choices import HoldReason, Verdict
from reports.queries import asking, done, levels, unwatched, words
from reports.queries.answers import answered_lines
from reports.queries.back_on import back_on_of
from reports.queries.secrets import Scrub, without_code
from reports.queries.shape import NextVisit, Picture, ReportContent, TankBlock
from servicedesk.dispatch.queries import standing
from servicedesk.rounds.queries import next_visits_of
from servicedesk.staff.models import Business
from servicedesk.staff.queries import business
from servicedesk.visits.choices import EntryKind, VisitState
from servicedesk.visits.models import Entry, Photo, Visit
from servicedesk.visits.queries import entries_of, fields_of, standing_photos, tanks_of, today_of
from servicedesk.visits.queries.since import work_on


def scrubber(visit: Visit) -> Scrub:
    """Takes the site's key code out of whatever somebody typed: access details never reach a paper or a mail."""
    return without_code(visit.site.key_code)


def visit_before(visit: Visit, tanks: list[Tank]) -> Visit | None:
    """The last closed visit to any of these tanks before this one."""
    rows = Visit.objects.filter(
        due_visit__tanks__in=[t.pk for t in tanks], state=VisitState.CLOSED, arrived_at__lt=visit.arrived_at
    ).exclude(pk=visit.pk)
    return rows.order_by("-arrived_at", "pk").first()


class Told:
    """One visit as it is told. Everything is read once; `at` is the moment of the data."""

    def __init__(self, visit: Visit, *, at: datetime) -> None:
        self.visit, self.at = visit, at
        self.house: Business = business()
        self.zone = ZoneInfo(self.house.zone)
        self.scrub = scrubber(visit)
        self.entries: list[Entry] = entries_of(visit)
        self.journal = done.Journal(self.entries, self.scrub)
        self.tanks = tanks_of(visit)
        self.before = visit_before(visit, self.tanks)
        self.alone = len(self.tanks) == 1
        self.fields = {name: state.value for name, state in fields_of(self.entries).items()}
        self.states = states_of(self.tanks, visit.arrived_at.astimezone(self.zone).date())
        self.keys = {entry.pk for entry in self.entries}
        self.back_on = back_on_of(self.journal, visit, self.tanks)
        self.beyond = False

    def local(self, moment: datetime) -> datetime:
        return moment.astimezone(self.zone)

    def findings(self, tank: Tank | None, *, flag: str = "") -> list[str]:
        """Findings for the client: neither internal ones nor what is disputed. With a flag, those that carry it."""
        found = []
        for entry in self.journal.of(EntryKind.FINDING):
            payload = entry.payload
            key = self.journal.tank_key(payload)
            here = tank is None or key == tank.pk or (self.alone and key is None)
            shown = not payload.get("internal") and not payload.get("dispute")
            if here and shown and (not flag or payload.get(flag)):
                found.append(self.scrub(payload["text"].strip()))
        return found

    def flagged(self, flag: str, tank: Tank | None = None) -> bool:
        """Whether any finding carries this flag, internal ones too."""
        return any(
            entry.payload.get(flag)
            for entry in self.journal.of(EntryKind.FINDING)
            if tank is None or self.journal.tank_key(entry.payload) in (tank.pk, None)
        )

    def deaths(self, tank: Tank) -> list[LivestockFact]:
        """Deaths recorded in this visit, or since the visit before."""
        news = Q(origin__in=self.keys)
        if self.before is not None:
            news |= Q(at__gt=self.before.closed_at, at__lte=self.at)
        rows = standing(LivestockFact.objects.filter(news, livestock__tank=tank, change=LivestockChange.DIED))
        return list(rows.select_related("livestock").order_by("at", "pk"))


def _animals(told: Told, tank: Tank, deaths: list[LivestockFact]) -> list[str]:
    lines = []
    for fact in deaths:
        said = {"n": fact.number, "name": fact.livestock.name, "day": words.short_day(told.local(fact.at))}
        line = _("Died: %(n)s %(name)s, %(day)s") % said
        lines.append(told.scrub(f"{line}. {words.as_sentence(fact.cause)}") if fact.cause else line + ".")
    number = sum(max(row.number, 0) for row in livestock_of([tank]))  # type: ignore[attr-defined]  # an annotation
    said_number = ngettext("%(n)s animal in our list.", "%(n)s animals in our list.", number) % {"n": number}
    if deaths:
        return [*lines, said_number]
    last = (
        standing(LivestockFact.objects.filter(livestock__tank=tank, change=LivestockChange.DIED))
        .filter(at__lt=told.visit.arrived_at)
        .order_by("-at", "pk")
        .first()
    )
    if last is not None:
        day = words.short_day(told.local(last.at))
        return [words.joined(said_number, _("No death since %(day)s.") % {"day": day})]
    return [words.joined(said_number, _("No death in our records."))]


def _pictures(told: Told, tank: Tank) -> list[Picture]:
    """The last photo of this visit and the one before it from the same place (the same caption, if there is one)."""
    rows = standing_photos(Photo.objects.all())
    here = Q(tank=tank) | Q(tank=None, visit=told.visit) if told.alone else Q(tank=tank)
    rows = rows.filter(here)
    now = rows.filter(visit=told.visit).order_by("-taken_at", "pk").first()
    if now is None:
        return []
    earlier = rows.filter(taken_at__lt=told.visit.arrived_at).exclude(visit=told.visit).order_by("-taken_at")
    then = earlier.filter(caption=now.caption).first() or earlier.first()
    return [
        Picture(
            photo=str(photo.pk),
            when=date_format(told.local(photo.taken_at), "j F, H:i"),
            caption=told.scrub(photo.caption),
        )
        for photo in (then, now)
        if photo is not None
    ]


def _state_words(told: Told, tank: Tank) -> str:
    row = told.states.get(tank.pk)
    if row is None or row.state == TankState.NORMAL:
        return ""
    name = str(row.get_state_display())
    if row.until_on is None:
        return _("The tank is in its own regime: %(state)s.") % {"state": name}
    said = {"state": name, "day": words.short_day(row.until_on)}
    return _("The tank is in its own regime until %(day)s: %(state)s.") % said


def _beyond(rows: list[levels.Judged]) -> bool:
    return any(row.state in ("under", "over") for row in rows)


def _verdict(
    told: Told, tank: Tank, rows: list[levels.Judged], *, deaths: bool, uneasy: bool
) -> tuple[str, bool]:
    """The client's verdict, and whether animals are in danger. What works between the visits must work, too."""
    states = {row.state for row in rows}
    danger = _beyond(rows) or deaths or told.flagged("alarm", tank)
    outside = {row.level.parameter for row in rows if row.state in ("low", "high", "under", "over")}
    if danger or outside & told.journal.acted_on(tank):
        return Verdict.ACTING, danger
    stays_off = told.back_on[tank.pk].sentences
    untested = not any(row.level.kind != "not_tested" for row in rows)
    if untested or outside or "again" in states or stays_off or uneasy or _state_words(told, tank):
        return Verdict.WATCHING, False
    return Verdict.WELL, False


def _sentences(
    told: Told, tank: Tank, rows: list[levels.Judged], verdict: str, *, deaths: int, uneasy: list[str]
) -> tuple[str, str]:
    """What the verdict stands on, made from the facts; and what we do about it."""
    tested = [row for row in rows if row.level.kind != "not_tested"]
    parts = []
    if deaths:
        parts.append(ngettext("%(n)s animal died.", "%(n)s animals died.", deaths) % {"n": deaths})
    alarms = told.findings(tank, flag="alarm")
    parts += alarms[:1]
    parts += map(told.scrub, told.back_on[tank.pk].sentences)
    if uneasy and tested and all(row.state == "in" for row in tested):
        parts.append(_("What we tested is as it should be."))
    parts += uneasy
    parts += words.outside([(row.level.name, row.told_as) for row in tested])
    acted = [
        row.level.name
        for row in tested
        if row.state not in ("in", "again") and row.level.parameter in told.journal.acted_on(tank)
    ]
    then = ""
    if acted:
        then = _("We worked on this today and test again on the next visit.")
    elif not tested:
        then = _("We test the water on the next visit.")
    elif verdict != Verdict.WELL:
        then = _("We look at this again on the next visit.")
    if not tested:
        parts.append(_("No water was tested on this visit."))
    elif verdict == Verdict.WELL:
        parts.append(_("Everything we tested is as it should be."))
    return words.joined(_state_words(told, tank), *parts), then


def _changed(told: Told, tank: Tank, rows: list[levels.Judged], deaths: bool) -> list[str]:
    """What changed since the visit before: what was seen, then what moved; a death is never nothing."""
    moved = [*told.findings(tank), *levels.changed(rows)]
    if told.before is None:
        return [_("This was our first visit to this tank."), *moved]
    if moved:
        return moved
    said = {"day": words.short_day(told.local(told.before.arrived_at))}
    if not any(row.level.kind != "not_tested" for row in rows):
        return [_("Nothing was seen that had changed since %(day)s. The water was not tested.") % said]
    if deaths:
        return [_("Animals died. The levels are about where they were on %(day)s.") % said]
    if any(row.apart for row in rows):
        return [_("The other levels are about where they were on %(day)s.") % said]
    return [_("Nothing of note: the levels are about where they were on %(day)s.") % said]


def tank_block(told: Told, tank: Tank) -> TankBlock:
    """One tank of the visit."""
    today = today_of(told.visit, tank, at=told.at)
    rows = levels.judged(today, work_on(tank, told.entries))
    deaths = told.deaths(tank)
    uneasy = unwatched.uneasy(tank, at=told.at, zone=told.zone)
    verdict, danger = _verdict(told, tank, rows, deaths=bool(deaths), uneasy=bool(uneasy))
    told.beyond = told.beyond or any(row.beyond for row in rows)
    died = sum(fact.number for fact in deaths)
    what, then = _sentences(told, tank, rows, verdict, deaths=died, uneasy=uneasy)
    left = told.back_on[tank.pk]
    charts = levels.trends(today, rows, at=told.visit.closed_at or told.at)
    return TankBlock(
        tank=str(tank.pk),
        name=tank.name,
        place=tank.place,
        verdict=verdict,
        danger=danger,
        sentence=what,
        then=then,
        changed=_changed(told, tank, rows, bool(deaths)),
        levels=levels.told(rows, tanks=len(told.tanks)),
        trend=charts[0] if charts else None,
        more=charts[1:],
        pictures=_pictures(told, tank),
        did=[*done.did(told.journal, tank, alone=told.alone), *map(told.scrub, left.did)],
        did_not=[
            *done.left(told.journal, tank),
            *map(told.scrub, left.did_not),
            *levels.not_tested(rows, told.zone),
            *levels.settling(rows),
        ],
        animals=_animals(told, tank, deaths),
    )


def _next_visit(told: Told) -> NextVisit:
    """The next two days: what was agreed on the visit, and what is planned."""
    today = told.local(told.visit.arrived_at).date()
    agreed = [e.payload["date"] for e in told.journal.of(EntryKind.NEXT_VISIT)]
    days = {date.fromisoformat(agreed[-1])} if agreed else set()
    days |= set(next_visits_of(told.tanks, after=today).values())
    ahead = sorted(day for day in days if day > today)[:2]
    named = [date_format(day, "l j F") for day in ahead]
    return NextVisit(day=named[0] if named else "", then=named[1] if len(named) > 1 else "")


def _reasons(told: Told) -> list[str]:
    """Why it waits for the owner's word; asked after the tanks were judged."""
    said = {
        HoldReason.DEATH: any(told.deaths(tank) for tank in told.tanks),
        HoldReason.ALARM: told.beyond or told.flagged("alarm"),
        HoldReason.OFF: any(left.off for left in told.back_on.values()),
        HoldReason.DISPUTE: told.flagged("dispute"),
        HoldReason.FIRST: told.before is None,
    }
    return [str(reason) for reason, holds in said.items() if holds]


WORST = (Verdict.WELL, Verdict.WATCHING, Verdict.ACTING)


def _overall(told: Told, blocks: list[TankBlock]) -> tuple[str, str]:
    """The verdict of the visit and its sentence; the technician's own words come first where there are any."""
    verdict = max((block.verdict for block in blocks), key=lambda v: WORST.index(Verdict(v)))
    own = told.scrub(told.fields.get("summary", "").strip())
    if own:
        return verdict, own
    if told.alone:
        return verdict, words.joined(blocks[0].sentence, blocks[0].then)
    if verdict == Verdict.WELL:
        return verdict, _("Both tanks are well.") if len(blocks) == 2 else _("All tanks are well.")
    uneasy = _of_tanks([block for block in blocks if block.verdict != Verdict.WELL])
    then = next(block.then for block in blocks if block.verdict == verdict)
    well = [block.name for block in blocks if block.verdict == Verdict.WELL]
    rest = [_("%(names)s: all is well.") % {"names": _tanks_said(well)}] if well else []
    return verdict, words.joined(*uneasy, then, *rest)


MOST_NAMED = 3


def _tanks_said(names: list[str]) -> str:
    """Tanks by name; many only by their number, since each stands below."""
    if len(names) <= MOST_NAMED:
        return words.listed(names)
    return ngettext("%(n)s tank", "%(n)s tanks", len(names)) % {"n": len(names)}


def _of_tanks(blocks: list[TankBlock]) -> list[str]:
    """What is told of these tanks, each sentence once with whose it is."""
    whose: dict[str, list[str]] = {}
    for block in sorted(blocks, key=lambda b: -WORST.index(Verdict(b.verdict))):
        whose.setdefault(block.sentence, []).append(block.name)
    return [f"{_tanks_said(names)}: {sentence}" for sentence, names in whose.items()]


def content_of(visit: Visit, *, at: datetime) -> ReportContent:
    """Everything the report of this visit says. Call it inside one transaction: it is one snapshot."""
    told = Told(visit, at=at)
    blocks = [tank_block(told, tank) for tank in told.tanks]
    verdict, sentence = _overall(told, blocks)
    site, arrived = visit.site, told.local(visit.arrived_at)
    return ReportContent(
        business=told.house.name,
        emergency=told.house.emergency_phone or told.house.phone,
        client=site.client.name,
        site=site.name,
        address=", ".join(part for part in (site.address, site.town) if part),
        day=words.day_text(arrived),
        day_iso=arrived.date().isoformat(),
        since=words.short_day(told.local(told.before.arrived_at)) if told.before else "",
        who=visit.technician.name,
        arrived=date_format(arrived, "H:i"),
        left=date_format(told.local(visit.closed_at), "H:i") if visit.closed_at else "",
        verdict=verdict,
        danger=any(block.danger for block in blocks),
        title=blocks[0].name
        if told.alone
        else _("%(site)s, %(n)s tanks") % {"site": site.name, "n": len(blocks)},
        sentence=sentence,
        tanks=blocks,
        please_do=asking.please_do(told.fields, told.scrub),
        please_not=asking.please_not(told.fields, told.scrub),
        questions=asking.questions(
            told.journal, tanks=told.tanks, alone=told.alone, currency=told.house.currency
        ),
        next_visit=_next_visit(told),
        data_at=at.isoformat(),
        reasons=_reasons(told),
        answered=answered_lines(visit, told.before, at=at),
    )
