"""Telling the right person once: by rota, grouped by site, not at night what can wait, the next one where nobody answers."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime, timedelta

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.dispatch.actions import post
from servicedesk.staff.models import User
from servicedesk.staff.queries import business_zone
from servicedesk.watch.actions.alarms import end_shelves, note_step
from servicedesk.watch.actions.browsers import Note, show_in_browsers
from servicedesk.watch.actions.rows import calm, local
from servicedesk.watch.choices import Severity, Step
from servicedesk.watch.models import Attention, Reach, Telling
from servicedesk.watch.queries.alarms import (
    Group,
    first_hands,
    grouped,
    how_sure,
    instruments_by_site,
    is_quiet,
    must_go,
    on_duty,
    open_alarms,
)

UNANSWERED = {Severity.NOW: timedelta(minutes=15), Severity.SOON: timedelta(hours=4)}
"""After how long without an answer the next one is told (common practice)."""
WINDOW, MOST_IN_WINDOW = timedelta(minutes=10), 10
GATHER = timedelta(minutes=2)
"""What opens at one site within two minutes is told together; what must be looked at now waits for nothing."""


def tell(*, at: datetime) -> int:
    """Tell whoever must be told now; how many messages were written."""
    end_shelves(at=at)
    calm(at=at)
    zone = business_zone()
    duty, quiet = on_duty(at=at, zone=zone), is_quiet(at, zone)
    rows = list(open_alarms(at=at).prefetch_related("tellings"))
    due: dict[User, list[tuple[Group, int]]] = defaultdict(list)
    for group in grouped(rows, instruments_by_site()):
        handed = _handed(group)
        if handed is not None:  # somebody of ours asked for them: at any hour
            due[handed].append((group, 0))
            continue
        if group.severity != Severity.NOW and (quiet or at - group.since < GATHER):
            continue
        person, place = _next(group, duty, at)
        if person is not None:
            due[person].append((group, place))
    return sum(_tell_one(person, groups, at) for person, groups in due.items())


def _handed(group: Group) -> User | None:
    """Who was handed it and does not know yet."""
    asked = {telling.person_id for row in group.rows for telling in row.tellings.all()}
    return next(
        (row.handed_to for row in group.rows if row.handed_to_id and row.handed_to_id not in asked), None
    )


def _next(group: Group, duty: Sequence[User], at: datetime) -> tuple[User | None, int]:
    """Who is to be told of a group now, and their place; nobody while it was seen, or who was told may still answer."""
    told = [telling for row in group.rows for telling in row.tellings.all()]
    asked = {telling.person_id for telling in told}
    new = [row for row in group.rows if not row.tellings.all()]
    if all(row.seen_at is not None for row in group.rows):
        return None, 0
    if not told:
        return (duty[0], 0) if duty else (None, 0)
    last = max(told, key=lambda telling: (telling.place, telling.at))
    wait = UNANSWERED.get(Severity(group.severity), timedelta(hours=4))
    if at - last.at < wait:
        if new:  # one more of the same cause: whoever knows of it is told no second time
            _also(new, last, at)
        return None, 0
    following = [person for person in duty if person.pk not in asked]
    return (following[0], last.place + 1) if following else (None, 0)


def _also(rows: Sequence[Attention], last: Telling, at: datetime) -> None:
    """More of a cause that somebody was told of: on record, not told again."""
    Telling.objects.bulk_create(
        [
            Telling(
                attention=row, person_id=last.person_id, place=last.place, message_key=last.message_key, at=at
            )
            for row in rows
        ],
        ignore_conflicts=True,
    )


@transaction.atomic
def _tell_one(person: User, groups: list[tuple[Group, int]], at: datetime) -> int:
    """One person: each group in a letter of its own, as long as that is not more than ten in ten minutes; the rest in one, and what comes after
    that one waits for the next. Whoever else tells this person meanwhile comes after us."""
    groups = _still_to_tell(person, groups)
    recent = Telling.objects.filter(person=person, at__gt=at - WINDOW)
    keys = recent.filter(digest=False).values_list("message_key", flat=True)
    room = max(0, MOST_IN_WINDOW - 1 - len(set(keys)))
    written = 0
    for group, place in groups[:room]:
        key = f"alarm:{group.lead.pk}:{person.pk}:{place}"
        _record(group, person, place, key, at, digest=False)
        _send(person, key, _subject(group), _letter(group, at), _note(group), group.severity, at)
        written += 1
    rest = groups[room:]
    if rest and not recent.filter(digest=True).exists():
        key = f"alarms:{int(at.timestamp())}:{person.pk}"
        for group, place in rest:
            _record(group, person, place, key, at, digest=True)
        words = ngettext("One more alarm", "%(n)s more alarms", len(rest)) % {"n": len(rest)}
        text = "\n".join(f"- {group.site.name}: {group.sentence}" for group, _place in rest)
        soonest = min(group.severity for group, _place in rest)
        note = Note(words, _("Open the list: it says where and what."), "/alarms/")
        _send(person, key, words, f"{text}\n\n{settings.BASE_URL}/alarms/\n", note, soonest, at)
        written += 1
    return written


def _still_to_tell(person: User, groups: list[tuple[Group, int]]) -> list[tuple[Group, int]]:
    """What this person was not told of meanwhile; the person is held until the transaction ends."""
    list(User.objects.select_for_update().filter(pk=person.pk).values_list("pk"))
    rows = [row.pk for group, _place in groups for row in group.rows]
    told = set(Telling.objects.filter(person=person, attention__in=rows).values_list("attention", flat=True))
    return [(group, place) for group, place in groups if any(row.pk not in told for row in group.rows)]


def _send(person: User, key: str, subject: str, text: str, note: Note, severity: int, at: datetime) -> None:
    """By mail, by each gateway that reaches this person for alarms of that severity, and in each of their browsers that shows them."""
    post(key=key, recipient=person.email, subject=subject, text=text, at=at)
    reaches = Reach.objects.filter(
        person=person, told_of__gte=severity, retired_on__isnull=True, gateway__retired_on__isnull=True
    )
    for reach in reaches.select_related("gateway").order_by("pk"):
        post(
            key=f"{key}:{reach.pk}",
            recipient=reach.reached_at,
            subject=subject,
            text=text,
            at=at,
            gateway=reach.gateway,
        )
    show_in_browsers(person=person, key=key, note=note, severity=severity, at=at)


def _record(group: Group, person: User, place: int, key: str, at: datetime, *, digest: bool) -> None:
    known = set(
        Telling.objects.filter(person=person, attention__in=group.rows).values_list("attention", flat=True)
    )
    for row in (row for row in group.rows if row.pk not in known):
        Telling.objects.create(
            attention=row, person=person, place=place, message_key=key, at=at, digest=digest
        )
        note_step(row, Step.TOLD, at=at, by=None, words=person.name)


def _head(group: Group) -> str:
    return _("Now") if group.severity == Severity.NOW else _("Soon")


def _note(group: Group) -> Note:
    """What a browser shows: the tank and what is the matter. Where several instruments fell silent together, no site is named."""
    row = group.lead
    title = f"{_head(group)}: {row.tank.name if row.tank else _('an alarm')}"
    line = group.sentence
    if len(group.rows) > 1:
        words = _("%(n)s instruments of one site are silent: power or line, look there first.")
        title, line = f"{_head(group)}: {_('an alarm')}", words % {"n": len(group.rows)}
    return Note(title, line, f"/alarms/{row.pk}/")


def _subject(group: Group) -> str:
    head = _head(group)
    return f"{head}: {group.site.name}: {group.sentence}"[:200].replace("\n", " ")


def _letter(group: Group, at: datetime) -> str:
    """What, since when, how sure, why, whether somebody must go, what can be done until then."""
    row = group.lead
    since = row.since if row.tank is None else local(row.tank, group.since)
    lines = [
        group.sentence,
        *([f"- {other.sentence}" for other in group.rows] if len(group.rows) > 1 else []),
        "",
        _("Since: %(when)s") % {"when": since},
        _("How sure: %(words)s") % {"words": how_sure(row)},
        *([_("Why: %(words)s") % {"words": row.why}] if row.why else []),
        must_go(row, at=at),
        "",
        _("For whoever is nearest:"),
        *(f"- {line}" for line in first_hands(row)),
        "",
        f"{settings.BASE_URL}/alarms/{row.pk}/",
    ]
    return "\n".join(str(line) for line in lines) + "\n"
