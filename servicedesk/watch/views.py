"""Alarms: all that stand open, one with its card and steps, what a person does with it; the rota."""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django import forms
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
from servicedesk.watch.models import Attention
from servicedesk.watch.queries import alarms as ask
from servicedesk.watch.queries.charts import chart_beside

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
