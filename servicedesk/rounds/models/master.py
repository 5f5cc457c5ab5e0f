"""Master rounds: how all clients could be visited for good, beside how it is today."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from clients.models import PlanChange, ServicePlan
from servicedesk.rounds.choices import ChangeState
from servicedesk.rounds.models.searched import Searched


class MasterRound(Searched):
    """A round of `weeks` weeks from a Monday as it could be driven for good, beside today's plans; `reluctance` is how many times as dear as usual
    a change is. `before` and `after` are both in numbers (seconds, metres, by technician and week), `said` what could not be taken as it is."""

    first = models.DateField()
    weeks = models.PositiveSmallIntegerField(default=4)
    seconds = models.PositiveSmallIntegerField(default=60)
    reluctance = models.FloatField(default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(weeks__gte=1, weeks__lte=12), name="master_round_of_weeks"),
            models.CheckConstraint(condition=Q(reluctance__gte=0), name="master_round_changes_cost"),
        ]

    def __str__(self) -> str:
        return f"{self.first} {self.state}"


class MasterLine(models.Model):
    """One service plan in a master round: the habit it was worked out from (`stamp` names it), the proposed one, what it brings if it alone is
    adopted (seconds at the wheel and metres in the cycle), what became of it. No technician: it found no place."""

    master = models.ForeignKey(MasterRound, on_delete=models.CASCADE, related_name="lines")
    plan = models.ForeignKey(ServicePlan, on_delete=models.CASCADE, related_name="+")
    stamp = models.CharField(max_length=64)
    changes = models.BooleanField(default=False)
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    weekday = models.PositiveSmallIntegerField(default=0)
    second_weekday = models.PositiveSmallIntegerField(null=True, blank=True)
    starts_on = models.DateField()
    was = models.JSONField(default=dict)
    saved_s = models.IntegerField(null=True, blank=True)
    saved_m = models.IntegerField(null=True, blank=True)
    why = models.CharField(max_length=300, blank=True)
    state = models.CharField(max_length=8, choices=ChangeState.choices, default=ChangeState.OPEN)
    change = models.ForeignKey(PlanChange, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    decided_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["master", "plan"], name="master_line_once"),
            models.CheckConstraint(
                condition=~Q(state="adopted") | Q(change__isnull=False),
                name="master_line_adopted_by_a_change",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.plan_id} {self.state}"
