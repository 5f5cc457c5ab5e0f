"""Visits that are owed, and the rounds that put them on a day, a technician and a place in the order."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.functional import cached_property

from clients.models import ServicePlan, Site, Tank
from servicedesk.rounds.choices import (
    OfferKind,
    StopState,
    TroubleKind,
    TroubleState,
    VisitCause,
)
from servicedesk.rounds.models.master import MasterLine as MasterLine
from servicedesk.rounds.models.master import MasterRound as MasterRound
from servicedesk.rounds.models.roads import Roads as Roads
from servicedesk.rounds.models.roads import Router as Router
from servicedesk.rounds.models.roads import Way as Way
from servicedesk.rounds.models.searched import Searched
from servicedesk.stock.models import Place
from servicedesk.watch.models import Away
from servicedesk.web.facts import Fact


class DueVisit(models.Model):
    """A visit is owed: one site, its tanks, earliest, due and latest day, minutes. Isolated tanks get their own, and come last on a round, unless
    one `disinfects` there in an emergency. `key` is the plan and the slot, so one slot makes one visit."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    key = models.CharField(max_length=120, unique=True)
    cause = models.CharField(max_length=8, choices=VisitCause.choices)
    plan = models.ForeignKey(
        ServicePlan, on_delete=models.PROTECT, null=True, blank=True, related_name="due_visits"
    )
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="due_visits")
    tanks = models.ManyToManyField(Tank, related_name="due_visits")
    why = models.CharField(max_length=200, blank=True)
    earliest = models.DateField()
    due = models.DateField()
    latest = models.DateField()
    minutes = models.PositiveIntegerField(default=45)
    isolated = models.BooleanField(default=False)
    disinfects = models.BooleanField(default=False)
    called_off_at = models.DateTimeField(null=True, blank=True)
    made_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(earliest__lte=F("due"), due__lte=F("latest")), name="due_visit_window_in_order"
            )
        ]

    def __str__(self) -> str:
        return f"{self.site} {self.due}"


class Round(models.Model):
    """One technician's day. Times are local to the business."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    day = models.DateField()
    technician = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="rounds")
    van = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, blank=True, related_name="rounds")
    starts = models.TimeField(default="08:00")
    ends = models.TimeField(default="17:00")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["day", "technician"], name="round_once_a_day")]

    def __str__(self) -> str:
        return f"{self.technician} {self.day}"


class Stop(models.Model):
    """A due visit put on a round: what re-planning moves. Arrival and departure are written by visits."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    round = models.ForeignKey(Round, on_delete=models.PROTECT, related_name="stops")
    due_visit = models.OneToOneField(DueVisit, on_delete=models.PROTECT, related_name="stop")
    order = models.PositiveIntegerField()
    planned_at = models.TimeField()
    minutes = models.PositiveIntegerField(default=45)
    drive_minutes = models.PositiveIntegerField(default=10)
    state = models.CharField(max_length=10, choices=StopState.choices, default=StopState.PLANNED)
    arrived_at = models.DateTimeField(null=True, blank=True)
    left_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(left_at__isnull=True) | Q(arrived_at__isnull=False),
                name="stop_left_after_arrival",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.order} {self.due_visit}"

    @cached_property
    def tanks(self) -> list[Tank]:
        """The tanks of its visit in order; queries of many stops fill it for all at once."""
        return list(self.due_visit.tanks.order_by("order", "pk"))


class Pin(models.Model):
    """A person decided something about a visit that planning keeps: by whom it is made, on which day, at what time; each as far as it is said."""

    due_visit = models.OneToOneField(DueVisit, on_delete=models.CASCADE, primary_key=True, related_name="pin")
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    day = models.DateField(null=True, blank=True)
    at = models.TimeField(null=True, blank=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(technician__isnull=False) | Q(day__isnull=False), name="pin_says_something"
            ),
            models.CheckConstraint(
                condition=Q(at__isnull=True) | Q(day__isnull=False), name="pin_time_has_a_day"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.due_visit_id}"


class Trouble(models.Model):
    """What broke a running day, as the office said it; ways out are proposals of it. `person` is sick (and `away` on these days) or so many
    `minutes` late; `due_visit` is cancelled, or the call-out at which somebody must be `until` then (local to the business).
    `override_said`: what was said to whoever overrode that isolated tanks come last."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    day = models.DateField()
    kind = models.CharField(max_length=10, choices=TroubleKind.choices)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    due_visit = models.ForeignKey(
        DueVisit, on_delete=models.CASCADE, null=True, blank=True, related_name="troubles"
    )
    away = models.ForeignKey(Away, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    until = models.TimeField(null=True, blank=True)
    override_said = models.TextField(blank=True)
    state = models.CharField(max_length=8, choices=TroubleState.choices, default=TroubleState.OPEN)
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    searched_at = models.DateTimeField(null=True, blank=True)
    error = models.CharField(max_length=300, blank=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=("sick", "late"), person__isnull=False, due_visit__isnull=True)
                | Q(kind__in=("cancelled", "call_out"), person__isnull=True, due_visit__isnull=False),
                name="trouble_names_whom_or_what",
            ),
            models.CheckConstraint(
                condition=~Q(kind="late") | Q(minutes__gte=1, minutes__isnull=False),
                name="trouble_late_by_minutes",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.day} {self.kind}"


class Proposal(Searched):
    """A week as it could be driven, beside the week in force: worked out from `first` to `last` in so many seconds of search, from a seed. `stamp`
    names the rounds it was worked out from; `before` and `after` are both weeks in numbers (seconds, metres, counts, sentences), `said` what
    could not be taken as it is written down."""

    kind = models.CharField(max_length=8, choices=OfferKind.choices, default=OfferKind.WEEK)
    trouble = models.ForeignKey(
        Trouble, on_delete=models.CASCADE, null=True, blank=True, related_name="offers"
    )
    first = models.DateField()
    last = models.DateField()
    seconds = models.PositiveSmallIntegerField(default=20)
    stamp = models.CharField(max_length=64, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(first__lte=F("last")), name="proposal_days_in_order"),
            models.CheckConstraint(
                condition=Q(seconds__gte=1, seconds__lte=300), name="proposal_searches_a_while"
            ),
            models.CheckConstraint(
                condition=Q(kind="week", trouble__isnull=True) | (~Q(kind="week") & Q(trouble__isnull=False)),
                name="proposal_of_a_week_or_a_trouble",
            ),
            models.UniqueConstraint(fields=["trouble", "kind"], name="proposal_once_a_kind"),
        ]

    def __str__(self) -> str:
        return f"{self.first} {self.state}"


class Proposed(models.Model):
    """A visit as a proposal has it: on whose day, in which place of the order, at what time; or on none, and why, with the ways out.
    `moved_by` is who put it there by hand, where somebody did."""

    proposal = models.ForeignKey(Proposal, on_delete=models.CASCADE, related_name="visits")
    due_visit = models.ForeignKey(DueVisit, on_delete=models.CASCADE, related_name="+")
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    day = models.DateField(null=True, blank=True)
    order = models.PositiveSmallIntegerField(default=0)
    planned_at = models.TimeField(null=True, blank=True)
    minutes = models.PositiveSmallIntegerField(default=0)
    drive_minutes = models.PositiveSmallIntegerField(default=0)
    wait_minutes = models.PositiveSmallIntegerField(default=0)
    slack_minutes = models.PositiveSmallIntegerField(default=0)
    why = models.CharField(max_length=300, blank=True)
    ways = models.JSONField(default=list)
    moved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["proposal", "due_visit"], name="proposed_once"),
            models.CheckConstraint(
                condition=Q(technician__isnull=True, day__isnull=True, planned_at__isnull=True)
                | Q(technician__isnull=False, day__isnull=False, planned_at__isnull=False),
                name="proposed_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.due_visit_id} {self.day}"


class Move(models.Model):
    """The office put a visit on a technician's day, or moved it. It holds at once, or, where a round has already begun,
    when the technicians concerned have accepted. `from_…` is where it stood before, if it stood anywhere; `off` takes
    it off that day and puts it nowhere: it is still owed. Moves of one `proposal` are accepted together."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    due_visit = models.ForeignKey(DueVisit, on_delete=models.PROTECT, related_name="moves")
    technician = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    day = models.DateField()
    order = models.PositiveIntegerField()
    planned_at = models.TimeField()
    minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    drive_minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    proposal = models.ForeignKey(
        Proposal, on_delete=models.SET_NULL, null=True, blank=True, related_name="moves"
    )
    from_technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    from_day = models.DateField(null=True, blank=True)
    off = models.BooleanField(default=False)
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    applied_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(applied_at__isnull=True) | Q(withdrawn_at__isnull=True),
                name="move_applied_or_withdrawn",
            ),
            models.UniqueConstraint(
                fields=["due_visit"],
                condition=Q(applied_at__isnull=True, withdrawn_at__isnull=True),
                name="move_waits_once_a_visit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.due_visit_id} {self.day}"


class Tidings(models.Model):
    """A client is to be told that a visit moves: when it was to be (nothing where no time was said yet) and when it is now (nothing where it stands
    on no day). `called_by` rang them."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    proposal = models.ForeignKey(Proposal, on_delete=models.CASCADE, related_name="tidings")
    due_visit = models.ForeignKey(DueVisit, on_delete=models.CASCADE, related_name="tidings")
    was_day = models.DateField(null=True, blank=True)
    was_at = models.TimeField(null=True, blank=True)
    day = models.DateField(null=True, blank=True)
    at = models.TimeField(null=True, blank=True)
    made_at = models.DateTimeField()
    called_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    called_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["proposal", "due_visit"], name="tidings_once"),
            models.CheckConstraint(
                condition=Q(was_day__isnull=True, was_at__isnull=True)
                | Q(was_day__isnull=False, was_at__isnull=False),
                name="tidings_was_whole",
            ),
            models.CheckConstraint(
                condition=Q(day__isnull=True, at__isnull=True) | Q(day__isnull=False, at__isnull=False),
                name="tidings_now_whole",
            ),
            models.CheckConstraint(
                condition=Q(called_by__isnull=True, called_at__isnull=True)
                | Q(called_by__isnull=False, called_at__isnull=False),
                name="tidings_called_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.due_visit_id} {self.day}"


class Notice(models.Model):
    """A technician is told of a move, and accepts. `needed`: the move waits for this word."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    move = models.ForeignKey(Move, on_delete=models.CASCADE, related_name="notices")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="notices")
    needed = models.BooleanField(default=False)
    accepted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["move", "person"], name="notice_once_a_person")]

    def __str__(self) -> str:
        return f"{self.person_id} {self.move_id}"


class SiteNote(Fact):
    """A word for whoever comes next to a site, or for the office. Added, never altered."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="notes")
    text = models.CharField(max_length=500)
    for_office = models.BooleanField(default=False)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["origin", "part"], name="site_note_once")]
        indexes = [models.Index(fields=["site", "at"], name="site_note_by_time")]

    def __str__(self) -> str:
        return self.text
