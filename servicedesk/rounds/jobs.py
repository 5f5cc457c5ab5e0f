"""Each night: owe the visits of the coming weeks and put them on rounds. On request: plan a week anew."""

import os
from collections.abc import Callable
from datetime import date, time, timedelta
from threading import get_ident
from time import monotonic
from typing import Any
from uuid import UUID

from celery.signals import worker_ready
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.core.rounds.keeping import Budget, Progress
from servicedesk.core.rounds.master.search import Reached, plan_master
from servicedesk.core.rounds.plan import Plan
from servicedesk.core.rounds.planner import plan_rounds
from servicedesk.core.rounds.problem import NotPlanned
from servicedesk.core.rounds.rules import judge
from servicedesk.dispatch import actions as dispatch
from servicedesk.dispatch.jobs import GiveUp, daily, register
from servicedesk.dispatch.models import Job
from servicedesk.rounds import actions
from servicedesk.rounds.adapters.crew import Crew
from servicedesk.rounds.adapters.warm import warm
from servicedesk.rounds.choices import ProposalState, TroubleState
from servicedesk.rounds.models import MasterRound, Proposal, Trouble
from servicedesk.rounds.queries.broken import broken
from servicedesk.rounds.queries.found import lines_of, numbers_of, reasons_of
from servicedesk.rounds.queries.master_found import lines_of as master_lines_of
from servicedesk.rounds.queries.master_found import numbers_of as master_numbers_of
from servicedesk.rounds.queries.mastered import master_round, refuse_empty
from servicedesk.rounds.queries.mending import KINDS, way_out
from servicedesk.rounds.queries.wanted import Wanted, wanted
from servicedesk.rounds.queries.ways import points_of, service
from servicedesk.staff.queries import day_of

PLANS = "plans"
"""The queue of work that plans, which takes long."""
SOON = timedelta(days=14)
ASK_S, ASK_AT_NIGHT_S = 60, 400
"""So many seconds the road router is asked before a week is planned, and each night."""


@register("owe_visits")
def owe_visits(job: Job) -> dict[str, Any]:
    now = timezone.now()
    today = day_of(now)
    made = actions.owe_visits(first=today, last=today + actions.AHEAD, at=now)
    placed = actions.place_new(first=today + timedelta(days=1), last=today + actions.AHEAD, now=now)
    simply = actions.plan_simply(first=today, last=today + actions.AHEAD)
    return {"owed": len(made), "placed": placed + simply, "by_due_day": simply}


daily("owe_visits", at=time(1, 0))


@register("ask_roads", queue=PLANS)
def ask_roads(job: Job) -> dict[str, Any]:
    """Ask the road router for ways that the coming two weeks may need, so that a day that breaks finds them known."""
    today = day_of(timezone.now())
    asked = _ask(today, today + SOON, lambda: False, most=ASK_AT_NIGHT_S)
    return {"kept": asked.kept, "left": asked.left, "error": asked.error}


daily("ask_roads", at=time(1, 30))


def _ask(first: date, last: date, stop: Callable[[], bool], *, most: float) -> actions.Asked:
    """Ask the road router for what these days may need, for so many seconds at the most; nothing where none is set."""
    known, until = service(), monotonic() + most
    if known is None:
        return actions.Asked()
    return actions.ask_ways(
        service=known,
        points=points_of(first, last),
        at=timezone.now(),
        stop=lambda: monotonic() > until or stop(),
    )


@register("plan_week", queue=PLANS)
def plan_week(job: Job) -> dict[str, Any] | None:
    """Search for the days of a proposal, and keep what was found beside the rounds in force."""
    proposal = Proposal.objects.filter(pk=UUID(job.args["proposal"])).first()
    if proposal is None or proposal.state != ProposalState.ASKED:
        raise GiveUp(_("This week is no longer waited for."))
    search = _Search(job, proposal)
    search.ask()
    week = wanted(first=proposal.first, last=proposal.last, now=timezone.now())
    try:
        plan = search.plan(week)
    except NotPlanned as wrong:
        actions.fail_search(row=proposal, error=str(wrong), at=timezone.now())
        return {"failed": str(wrong)}
    before, faults = judge(week.problem, week.orders)
    actions.keep_proposal(
        proposal=proposal,
        lines=lines_of(week, plan, reasons_of(week, plan)),
        before=numbers_of(week, before, faults),
        after=numbers_of(week, plan),
        said=week.said,
        stamp=week.stamp,
        at=timezone.now(),
    )
    return {"driving": plan.driving, "missing": len(plan.missing)}


@register("mend_day")
def mend_day(job: Job) -> dict[str, Any] | None:
    """Search for the ways out of a day that broke, and keep each as soon as it is there."""
    trouble = Trouble.objects.filter(pk=UUID(job.args["trouble"])).first()
    if trouble is None or trouble.state != TroubleState.OPEN:
        raise GiveUp(_("This is no longer waited for."))
    try:
        kept = [kind for kind in KINDS if keep_way_out(trouble, kind)]
    except NotPlanned as wrong:
        actions.end_search(trouble=trouble, error=str(wrong), at=timezone.now())
        return {"failed": str(wrong)}
    actions.end_search(trouble=trouble, at=timezone.now())
    return {"kept": kept}


@register("tell_clients")
def tell_clients(job: Job) -> dict[str, Any]:
    """Write the mails to those whose time moves and who agreed to have them, as far as the change holds."""
    proposal = Proposal.objects.filter(pk=UUID(job.args["proposal"]), state=ProposalState.IN_FORCE).first()
    if proposal is None:
        raise GiveUp(_("This change is not in force."))
    return {"mails": len(actions.post_letters(proposal=proposal, job=job, at=timezone.now()))}


def keep_way_out(trouble: Trouble, kind: str) -> bool:
    """Work out one way out from how the day is now, and keep it; whether it was still waited for. Raises the planner's NotPlanned."""
    if trouble.offers.filter(kind=kind).exists():
        return False
    day = broken(trouble, timezone.now())
    found = way_out(day, kind)
    return actions.keep_offer(
        trouble=trouble,
        kind=kind,
        lines=found.lines,
        before=found.before,
        after=found.after,
        said=[*day.week.said, *found.said],
        stamp=day.stamp,
        at=timezone.now(),
    )


class _Search:
    """One search: tells its row how far it is once a second, and hears there whether to stop. It is asked from several threads; only the
    first one speaks with the database."""

    def __init__(self, job: Job, proposal: Proposal) -> None:
        self.job, self.proposal = job, proposal
        self.began, self.looked, self.stopped, self.note = monotonic(), 0.0, False, ""
        self.thread = get_ident()

    def ask(self) -> None:
        """Has the road router asked for ways that are not known yet; the search's time begins afterwards."""
        self.note, self.began = _("asking the road router") if service() else "", monotonic() + ASK_S
        _ask(self.proposal.first, self.proposal.last, self._stopped, most=ASK_S)
        self.began, self.note = monotonic(), ""

    def plan(self, week: Wanted) -> Plan:
        threads = min(2, os.cpu_count() or 1)
        budget = Budget(seconds=self.proposal.seconds, seed=self.proposal.seed, threads=threads)
        return plan_rounds(
            week.problem, budget, start=week.orders, progress=self._better, cancelled=self._stopped
        ).plan

    def _better(self, found: Progress) -> None:
        words = _("%(h)s h in costs, %(n)s visits without a place")
        self.note = words % {"h": f"{found.cost / 3600:.1f}", "n": found.missing}

    def _stopped(self) -> bool:
        now = monotonic()
        if get_ident() == self.thread and now - self.looked >= 1:
            self.looked = now
            done = min(max(0, int(now - self.began)), self.proposal.seconds)
            mine = dispatch.progress(
                job=self.job, done=done, total=self.proposal.seconds, note=self.note, at=timezone.now()
            )
            waited = Proposal.objects.filter(
                pk=self.proposal.pk, state=ProposalState.ASKED, stop_asked_at__isnull=True
            )
            self.stopped = not mine or not waited.exists()
        return self.stopped


def crew_of(hands: int | None = None) -> Crew:
    """So many processes to search with; as many as this machine has hands for, where it is not said."""
    return Crew(hands)


@register("plan_master", queue=PLANS)
def plan_master_round(job: Job) -> dict[str, Any] | None:
    """Search for a master round, on every core, and keep what was found beside today's plans."""
    master = MasterRound.objects.filter(pk=UUID(job.args["master"])).first()
    if master is None or master.state != ProposalState.ASKED:
        raise GiveUp(_("This master round is no longer waited for."))
    wanted_round = master_round(
        first=master.first, weeks=master.weeks, reluctance=master.reluctance, now=timezone.now()
    )
    search = _MasterSearch(job, master)
    try:
        refuse_empty(wanted_round)
        with crew_of() as crew:
            budget = Budget(seconds=master.seconds, seed=master.seed, threads=crew.wanted)
            found = plan_master(
                wanted_round.master, budget, crew=crew, told=search.told, cancelled=search.cancelled
            )
    except NotPlanned as wrong:
        actions.fail_search(row=master, error=str(wrong), at=timezone.now())
        return {"failed": str(wrong)}
    actions.keep_master(
        master=master,
        lines=master_lines_of(found, wanted_round),
        before=master_numbers_of(found.before),
        after=master_numbers_of(found.after),
        said=wanted_round.said,
        at=timezone.now(),
    )
    return {"driving": found.after.driving, "changed": len(found.after.changed)}


class _MasterSearch:
    """One search for a master round: tells its row how far it is once a second, and hears there whether to stop. Only the thread that began it
    asks it."""

    def __init__(self, job: Job, master: MasterRound) -> None:
        self.job, self.master = job, master
        self.reached, self.note, self.looked, self.stopped = Reached(0, 1), "", 0.0, False
        self.thread = get_ident()

    def told(self, reached: Reached) -> None:
        self.reached = reached
        if reached.driving is not None:
            self.note = _("%(h)s h at the wheel") % {"h": f"{reached.driving / 3600:.1f}"}

    def cancelled(self) -> bool:
        now = monotonic()
        if get_ident() == self.thread and now - self.looked >= 1:
            self.looked = now
            mine = dispatch.progress(
                job=self.job, done=self.reached.done, total=self.reached.of, note=self.note, at=timezone.now()
            )
            waited = MasterRound.objects.filter(
                pk=self.master.pk, state=ProposalState.ASKED, stop_asked_at__isnull=True
            )
            self.stopped = not mine or not waited.exists()
        return self.stopped


def ready_to_plan(sender: Any = None, **_given: Any) -> None:
    """A worker for plans that comes up has the search compiled, so that the first plan is as good as the next."""
    if PLANS in {queue.name for queue in sender.task_consumer.queues}:
        warm()


worker_ready.connect(ready_to_plan)
