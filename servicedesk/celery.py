"""The queue. It is only a bell: every piece of work is a row in dispatch first."""

import os
from datetime import timedelta
from typing import Any

from celery import Celery
from celery.beat import PersistentScheduler
from kombu.transport import TRANSPORT_ALIASES

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings.prod")
TRANSPORT_ALIASES["filesystem"] = "servicedesk.web.folder_queue:Transport"
app = Celery("tankround")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(related_name="jobs")


class Steady(PersistentScheduler):  # type: ignore[misc]  # celery is not typed
    """A scheduler that a clock set back does not silence: a last beat that lies ahead is forgotten."""

    def tick(self, *given: Any, **named: Any) -> float:
        now = self.app.now()
        for entry in self.schedule.values():
            if entry.last_run_at is not None and entry.last_run_at > now + timedelta(seconds=1):
                entry.last_run_at = now - getattr(entry.schedule, "run_every", timedelta(0))
                self._heap = None
        wait: float = super().tick(*given, **named)
        return wait


app.conf.beat_scheduler = Steady
