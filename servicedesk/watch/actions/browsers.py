"""Alarms in a person's own browsers: turned on, tried, turned off; what is shown; being told when one was ended from outside."""

from dataclasses import dataclass
from datetime import datetime
from uuid import uuid4
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.dispatch.actions import NotSubscribed, end_subscription, post, subscribe
from servicedesk.dispatch.models import Message
from servicedesk.staff.models import User
from servicedesk.watch.choices import Severity, Told
from servicedesk.watch.models import OwnBrowser
from servicedesk.watch.queries.browsers import browsers_for, browsers_told_of

MOST_BROWSERS = 6
"""A person has alarms shown in so many at most (common practice)."""
PAGE = "/alarms/browsers/"


class NotTurnedOn(Exception):
    """Alarms cannot be shown there; the sentence says why."""


@dataclass(frozen=True)
class Note:
    """What a browser shows of an alarm: no client, no site, no address, since it stands on locked screens."""

    title: str
    line: str
    link: str


@transaction.atomic
def turn_on(
    *, person: User, endpoint: str, p256dh: str, auth: str, name: str, told_of: int, at: datetime
) -> OwnBrowser:
    """Show alarms in a browser. One that was this person's already is taken anew; somebody else's ends for them. Raises NotTurnedOn."""
    list(User.objects.select_for_update().filter(pk=person.pk))  # two at once are counted one after the other
    mine = browsers_for(person)
    for before in mine.filter(subscription__endpoint=endpoint):
        turn_off(browser=before, at=at)
    if mine.filter(subscription__gone_at__isnull=True).count() >= MOST_BROWSERS:
        words = _("Alarms are shown in %(n)s of your browsers, and more are not taken. Turn one off first.")
        raise NotTurnedOn(words % {"n": MOST_BROWSERS})
    try:
        subscription = subscribe(endpoint=endpoint, p256dh=p256dh, auth=auth, at=at)
    except NotSubscribed as wrong:
        raise NotTurnedOn(str(wrong)) from None
    day = date_format(at.astimezone(ZoneInfo(person.zone)), "j F")
    said = name.strip()[:60] or _("Browser of %(day)s") % {"day": day}
    return OwnBrowser.objects.create(
        person=person, subscription=subscription, name=said, told_of=Told(told_of)
    )


@transaction.atomic
def turn_off(*, browser: OwnBrowser, at: datetime) -> None:
    """No alarm is shown there any more; one that was ended from outside is taken from the list."""
    end_subscription(subscription_id=browser.subscription_id, at=at)
    OwnBrowser.objects.filter(pk=browser.pk, off_at__isnull=True).update(off_at=at)


@transaction.atomic
def tell_browser_of(*, browser: OwnBrowser, told_of: int) -> None:
    """Choose of how much is told there."""
    OwnBrowser.objects.filter(pk=browser.pk).update(told_of=Told(told_of))


def _show(browser: OwnBrowser, note: Note, key: str, *, urgent: bool, at: datetime) -> Message:
    return post(
        key=key,
        recipient=f"{browser.person.name}, {browser.name}",
        subject=note.title,
        text=note.line,
        link=note.link,
        at=at,
        subscription=browser.subscription,
        urgent=urgent,
    )


@transaction.atomic
def try_browser(*, browser: OwnBrowser, at: datetime) -> Message:
    """Show a trial there, as urgently as what cannot wait. Raises NotTurnedOn where it takes no more."""
    if browser.subscription.gone_at is not None:
        raise NotTurnedOn(_("This browser takes no more alarms: turn them on again in it."))
    note = Note(_("A trial"), _("This browser shows alarms. Nothing is wrong."), PAGE)
    return _show(browser, note, f"trial:{uuid4()}", urgent=True, at=at)


def show_in_browsers(*, person: User, key: str, note: Note, severity: int, at: datetime) -> None:
    """In each browser of theirs that shows alarms of that severity; `key` is the letter's."""
    for browser in browsers_told_of(person, severity).select_related("person"):
        _show(browser, note, f"{key}:{browser.pk}", urgent=severity == Severity.NOW, at=at)


@transaction.atomic
def tell_of_gone(*, at: datetime) -> int:
    """Whose browser was ended from outside is told by mail, once; how many letters were written."""
    rows = OwnBrowser.objects.select_for_update(of=("self",)).filter(
        off_at__isnull=True, gone_told_at__isnull=True, subscription__gone_at__isnull=False
    )
    found = list(rows.select_related("person", "subscription").order_by("pk"))
    for row in found:
        when = row.subscription.gone_at
        assert when is not None  # by the question
        words = {
            "name": row.name,
            "when": date_format(when.astimezone(ZoneInfo(row.person.zone)), "j F, H:i"),
        }
        lines = (
            _("“%(name)s” shows no more alarms since %(when)s: they were turned off there, or somebody else turned them on.") % words,
            _("Alarms still come by mail. To see them there again, open this page in that browser:"),
            f"{settings.BASE_URL}{PAGE}",
        )  # fmt: skip
        if row.person.is_active:
            post(
                key=f"browser gone:{row.pk}",
                recipient=row.person.email,
                subject=_("No more alarms in “%(name)s”") % words,
                text="\n\n".join(lines) + "\n",
                at=at,
            )
    OwnBrowser.objects.filter(pk__in=[row.pk for row in found]).update(gone_told_at=at)
    return len(found)
