"""The queue. It is only a bell: every piece of work is a row in dispatch first."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings.prod")
app = Celery("tankround")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(related_name="jobs")
