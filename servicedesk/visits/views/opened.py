"""What every page of a visit begins with: may this person open it, which tanks, which step."""

from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as later
from django.utils.translation import ngettext

from clients.models import Tank
from servicedesk.rounds.models import Stop
from servicedesk.rounds.queries import stop_for
from servicedesk.staff.models import User
from servicedesk.visits import actions, queries
from servicedesk.visits.choices import BackReason, Receipt, VisitState
from servicedesk.visits.forms import Fresh, entry_from
from servicedesk.visits.models import Visit
from servicedesk.web.zones import day_of

MOST_TAKEN = 50
STEPS = (
    ("visit", later("Look")),
    ("test", later("Test")),
    ("work", later("Work")),
    ("advise", later("Advise")),
    ("leave", later("Leave")),
)


@dataclass
class Opened:
    """A visit that is being looked at. `visit` is a stand-in (not stored) until somebody arrived."""

    request: HttpRequest
    user: User
    stop: Stop
    visit: Visit
    begun: bool
    tanks: list[Tank]
    tank: Tank
    at: datetime
    extra: dict[str, Any] = field(default_factory=dict)

    @property
    def day(self) -> date:
        """Today, where the business is."""
        return day_of(self.at)

    @property
    def closed(self) -> bool:
        return self.visit.state == VisitState.CLOSED

    def address(self, step: str, **query: str) -> str:
        base = reverse(f"visits:{step}", args=[self.visit.pk])
        pairs = {"tank": str(self.tank.pk), **query} if len(self.tanks) > 1 else query
        return base + ("?" + "&".join(f"{k}={v}" for k, v in pairs.items()) if pairs else "")

    @cached_property
    def typed(self) -> dict[str, Any]:
        """What was typed into a form that was refused, by kind of entry; said once."""
        kept: dict[str, Any] = self.request.session.pop(f"typed:{self.visit.pk}", {})
        return kept

    def context(self, here: str, **more: Any) -> dict[str, Any]:
        """What the templates of all steps need."""
        minutes = int((self.at - self.visit.arrived_at).total_seconds() // 60)
        aside = ""
        if self.begun and not self.closed:
            aside = _("%(done)s of %(all)s min") % {"done": minutes, "all": self.stop.minutes}
        steps = [
            {"label": str(label), "url": self.address(step), "here": step == here} for step, label in STEPS
        ]
        choices = [
            {"tank": t, "url": f"{self.request.path}?tank={t.pk}", "here": t.pk == self.tank.pk}
            for t in self.tanks
        ]
        return {
            "o": self,
            "visit": self.visit,
            "stop": self.stop,
            "site": self.visit.site,
            "tank": self.tank,
            "tanks": self.tanks,
            "tank_choices": choices if len(self.tanks) > 1 else [],
            "begun": self.begun,
            "steps": steps,
            "aside": aside,
            "fresh": Fresh(),
            "back_reasons": BackReason.choices,
            "typed": self.typed,
            "taken": self.request.session.pop("taken", []),
            "add_url": reverse("visits:add", args=[self.visit.pk]),
            **more,
        }

    def take(self, entries: list[dict[str, Any]]) -> bool:
        """Hand entries to the journal; what is refused is said, and what was typed is kept for the next page."""
        receipts = actions.take_entries(entries=entries, by=self.user, at=timezone.now())
        refused = [r for r in receipts if r["receipt"] == Receipt.REFUSED]
        for receipt in refused:
            messages.error(self.request, receipt["reason"])
        self._receipts_kept(receipts)
        if refused:
            kept = {entry["kind"]: entry["payload"] for entry in entries}
            self.request.session[f"typed:{self.visit.pk}"] = kept
        return not refused

    def _receipts_kept(self, receipts: list[dict[str, str]]) -> None:
        """The next page tells the device which entries have their receipt, so that it may drop its drafts."""
        taken = [r["id"] for r in receipts if r["receipt"] != Receipt.REFUSED]
        if taken:
            self.request.session["taken"] = [*self.request.session.get("taken", []), *taken][-MOST_TAKEN:]

    def take_posted(self) -> bool:
        """Take what was posted; an odd amount is asked back once, and kept as it is when the person is sure."""
        entry = entry_from(self.request.POST, visit=self.visit.pk, at=timezone.now(), zone=self.user.zone)
        doubt = queries.doubt_of(entry["kind"], entry["payload"], self.tanks)
        if doubt and self.request.POST.get("sure") != "on":
            again = _("If it is right, tick “It is right” and send it again.")
            messages.warning(self.request, f"{doubt} {again}")
            kept = {entry["kind"]: {**entry["payload"], "doubt": True}}
            self.request.session[f"typed:{self.visit.pk}"] = kept
            return False
        return self.take([entry])


def _chosen(tanks: list[Tank], wanted: str) -> Tank:
    return next((t for t in tanks if str(t.pk) == wanted), tanks[0])


def opened(request: HttpRequest, key: UUID) -> Opened:
    """Open a visit for the person who asks; Http404 when it is not theirs."""
    user = request.user
    assert isinstance(user, User)
    stop = stop_for(user, key)
    at = timezone.now()
    visit = queries.visit_of(key)
    begun = visit is not None
    if visit is None:
        minute = at.replace(second=0, microsecond=0)  # the same sheet for a minute: it is compiled once
        visit = Visit(
            pk=key, due_visit=stop.due_visit, site=stop.due_visit.site, technician=user, arrived_at=minute
        )
    visit.site = stop.due_visit.site
    tanks = stop.tanks
    wanted = request.GET.get("tank", "") or request.POST.get("p_tank", "")
    return Opened(request, user, stop, visit, begun, tanks, _chosen(tanks, wanted), at)


def tests_words(done: int, total: int) -> str:
    """How far the round of tests is."""
    if done >= total:
        return _("all %(n)s tests in") % {"n": total}
    to_go = total - done
    return ngettext("%(done)s tests in, %(n)s to go", "%(done)s tests in, %(n)s to go", to_go) % {
        "done": done,
        "n": to_go,
    }
