"""Alarms: all that stand open, one with its card and steps, what a person does with it; the browsers in which they are shown."""

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as lazy
from django.views.decorators.http import require_GET, require_POST

from servicedesk.staff.models import User
from servicedesk.staff.queries import business_zone, people
from servicedesk.watch import actions
from servicedesk.watch.choices import Told
from servicedesk.watch.models import Attention, OwnBrowser
from servicedesk.watch.queries import alarms as ask
from servicedesk.watch.queries import browsers as own
from servicedesk.watch.queries.charts import chart_beside
from servicedesk.web import pushing

SHELVES = (
    (1, lazy("an hour")),
    (4, lazy("four hours")),
    (12, lazy("twelve hours")),
    (24, lazy("a day")),
    (24 * 7, lazy("a week")),
)
MOST_CLEARED = 20


class WordsForm(forms.Form):
    words = forms.CharField(label=lazy("What you do about it"), max_length=200)


class HandForm(forms.Form):
    to = forms.ChoiceField(label=lazy("To whom"))
    words = forms.CharField(label=lazy("A word for them"), max_length=150, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        to: Any = self.fields["to"]
        to.choices = [
            (person.pk, person.name) for person in people() if person.is_office or person.is_technician
        ]


class ShelveForm(forms.Form):
    hours = forms.TypedChoiceField(label=lazy("For"), choices=SHELVES, coerce=int)
    why = forms.CharField(label=lazy("Why"), max_length=200)


def _person(request: HttpRequest) -> User:
    user = request.user
    if not isinstance(user, User) or not (user.is_office or user.is_technician):
        raise Http404
    return user


def _alarm(user: User, key: UUID) -> Attention:
    row = ask.alarms_for(user).filter(pk=key).first()
    if row is None:
        raise Http404
    return row


def _facts(row: Attention, at: datetime) -> dict[str, Any]:
    """What a line of an alarm says of it."""
    return {
        "row": row,
        "sure": ask.how_sure(row),
        "go": ask.must_go(row, at=at),
        "stale": ask.is_stale(row, at=at),
    }


@login_required
@require_GET
def alarms(request: HttpRequest) -> HttpResponse:
    user, now = _person(request), timezone.now()
    mine = ask.alarms_for(user)
    seen = {row.pk for row in mine.filter(cleared_at__isnull=True)}
    rows = [row for row in ask.open_alarms(at=now) if row.pk in seen]
    groups = ask.grouped(rows, ask.instruments_by_site())
    shelved = mine.filter(cleared_at__isnull=True, shelved_until__gt=now).order_by("shelved_until", "pk")
    context = {
        "groups": [{"group": group, "facts": _facts(group.lead, now)} for group in groups],
        "unseen": sum(1 for row in rows if row.seen_at is None),
        "shelved": shelved.select_related("shelved_by"),
        "cleared": mine.filter(cleared_at__isnull=False, severity__in=ask.ALARMS).order_by(
            "-cleared_at", "pk"
        )[:MOST_CLEARED],
        "duty": ask.on_duty(at=now, zone=business_zone()),
    }
    return render(request, "watch/alarms.html", context)


def _page(request: HttpRequest, row: Attention, **forms_: forms.Form) -> HttpResponse:
    now = timezone.now()
    context = {
        **_facts(row, now),
        "chart": chart_beside(row, now=now, zone=business_zone()),
        "card": ask.first_hands(row),
        "steps": row.steps.select_related("by").order_by("at", "pk"),
        "act_form": forms_.get("act") or WordsForm(),
        "hand_form": forms_.get("hand") or HandForm(),
        "shelve_form": forms_.get("shelve") or ShelveForm(),
        "open": row.cleared_at is None,
        "aside": row.shelved_until is not None and row.shelved_until > now,
    }
    return render(request, "watch/alarm.html", context)


@login_required
@require_GET
def alarm(request: HttpRequest, key: UUID) -> HttpResponse:
    return _page(request, _alarm(_person(request), key))


@login_required
@require_POST
def seen(request: HttpRequest, key: UUID) -> HttpResponse:
    user = _person(request)
    row = _alarm(user, key)
    return _done(
        request, row, lambda at: actions.see(row=row, by=user, at=at), _("Seen: nobody else is called.")
    )


@login_required
@require_POST
def acted(request: HttpRequest, key: UUID) -> HttpResponse:
    user, form = _person(request), WordsForm(request.POST)
    row = _alarm(user, key)
    if not form.is_valid():
        return _page(request, row, act=form)
    words = form.cleaned_data["words"]
    return _done(
        request,
        row,
        lambda at: actions.act(row=row, by=user, at=at, words=words),
        _("Written down. It stays open until its cause is gone."),
    )


@login_required
@require_POST
def handed(request: HttpRequest, key: UUID) -> HttpResponse:
    user, form = _person(request), HandForm(request.POST)
    row = _alarm(user, key)
    if not form.is_valid():
        return _page(request, row, hand=form)
    to = User.objects.get(pk=form.cleaned_data["to"])
    words = form.cleaned_data["words"]
    return _done(
        request,
        row,
        lambda at: actions.hand_on(row=row, by=user, to=to, at=at, words=words),
        _("%(name)s is told.") % {"name": to.name},
    )


@login_required
@require_POST
def shelved(request: HttpRequest, key: UUID) -> HttpResponse:
    user, form = _person(request), ShelveForm(request.POST)
    row = _alarm(user, key)
    if not form.is_valid():
        return _page(request, row, shelve=form)
    hours, why = form.cleaned_data["hours"], form.cleaned_data["why"]
    return _done(
        request,
        row,
        lambda at: actions.shelve(row=row, by=user, at=at, until=at + timedelta(hours=hours), why=why),
        _("Set aside. It speaks again by itself."),
    )


def _done(request: HttpRequest, row: Attention, what: Any, words: str) -> HttpResponse:
    try:
        what(timezone.now())
    except actions.NotDone as wrong:
        messages.error(request, str(wrong))
    else:
        messages.success(request, words)
    return redirect("watch:alarm", row.pk)


class BrowserForm(forms.Form):
    """What a browser says of itself, and what its owner chooses."""

    name = forms.CharField(
        label=lazy("What you call this browser"),
        max_length=60,
        required=False,
        help_text=lazy("Such as “telephone” or “office”."),
    )
    told_of = forms.TypedChoiceField(label=lazy("Told of"), choices=Told.choices, coerce=int)
    endpoint = forms.CharField(widget=forms.HiddenInput, max_length=2000)
    p256dh = forms.CharField(widget=forms.HiddenInput, max_length=200)
    auth = forms.CharField(widget=forms.HiddenInput, max_length=200)

    def clean(self) -> dict[str, Any]:
        if {"endpoint", "p256dh", "auth"} & set(self.errors):  # hidden: its own sentence would stand nowhere
            raise forms.ValidationError(
                lazy("This browser did not say how it is reached. Load the page again, then try once more.")
            )
        return self.cleaned_data


class ToldForm(forms.Form):
    told_of = forms.TypedChoiceField(choices=Told.choices, coerce=int)


def _browser(user: User, key: UUID) -> OwnBrowser:
    row = own.get_browser_for(user, key)
    if row is None:
        raise Http404
    return row


def _browsers_page(request: HttpRequest, user: User, form: forms.Form) -> HttpResponse:
    rows = list(own.browsers_for(user))
    others = {Told.NOW: Told.ALL, Told.ALL: Told.NOW}
    context = {
        "lines": [
            {
                "row": row,
                "mark": own.mark_of(row),
                "other": others[Told(row.told_of)],
                "why": own.last_refusal(row),
            }
            for row in rows
        ],
        "form": form,
        "key": pushing.text_of(pushing.public_of(pushing.key_of(settings.PUSH_KEY))),
    }
    return render(request, "watch/browsers.html", context)


@login_required
@require_GET
def browsers(request: HttpRequest) -> HttpResponse:
    return _browsers_page(request, _person(request), BrowserForm())


@login_required
@require_POST
def browser_on(request: HttpRequest) -> HttpResponse:
    user, form = _person(request), BrowserForm(request.POST)
    if form.is_valid():
        try:
            actions.turn_on(person=user, at=timezone.now(), **form.cleaned_data)
        except actions.NotTurnedOn as wrong:
            form.add_error(None, str(wrong))
        else:
            messages.success(request, _("Alarms are shown here from now on. Send a trial to see one."))
            return redirect("watch:browsers")
    return _browsers_page(request, user, form)


@login_required
@require_POST
def browser_off(request: HttpRequest, key: UUID) -> HttpResponse:
    row = _browser(_person(request), key)
    actions.turn_off(browser=row, at=timezone.now())
    messages.success(request, _("No alarm is shown in “%(name)s” any more.") % {"name": row.name})
    return redirect("watch:browsers")


@login_required
@require_POST
def browser_told(request: HttpRequest, key: UUID) -> HttpResponse:
    row, form = _browser(_person(request), key), ToldForm(request.POST)
    if form.is_valid():
        actions.tell_browser_of(browser=row, told_of=form.cleaned_data["told_of"])
        messages.success(request, _("Kept."))
    else:
        messages.error(request, _("Choose of how much is told there."))
    return redirect("watch:browsers")


@login_required
@require_POST
def browser_trial(request: HttpRequest, key: UUID) -> HttpResponse:
    row = _browser(_person(request), key)
    try:
        actions.try_browser(browser=row, at=timezone.now())
    except actions.NotTurnedOn as wrong:
        messages.error(request, str(wrong))
    else:
        messages.success(request, _("On its way. If it is refused, that is said here."))
    return redirect("watch:browsers")


@require_GET
def worker(request: HttpRequest) -> HttpResponse:
    """The script that shows alarms while no page is open. It stands below /alarms/, since a browser lets it look after no more than what is
    beside it; nothing in it is anybody's."""
    text = (Path(settings.ROOT) / "servicedesk/static/js/alarms/worker.js").read_bytes()
    return HttpResponse(
        text, content_type="text/javascript; charset=utf-8", headers={"Cache-Control": "no-cache"}
    )
