"""What is searched for in the background and then stands beside what is in force."""

import uuid

from django.conf import settings
from django.db import models

from servicedesk.rounds.choices import ProposalState


class Searched(models.Model):
    """Asked for by somebody, worked out in so many seconds of search from a seed, kept or failed, ended by somebody. `before` and `after` are both
    sides in numbers, `said` what could not be taken as it is written down."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    state = models.CharField(max_length=8, choices=ProposalState.choices, default=ProposalState.ASKED)
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    seed = models.PositiveIntegerField(default=1)
    stop_asked_at = models.DateTimeField(null=True, blank=True)
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)
    said = models.JSONField(default=list)
    error = models.CharField(max_length=300, blank=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        abstract = True
