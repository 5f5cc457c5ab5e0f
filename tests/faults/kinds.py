"""Work that only the fault tests know: quick, counted, and three kinds of poison."""

import os
from pathlib import Path
from typing import Any

from django.conf import settings

from reports.render import render_pdf
from servicedesk.dispatch.jobs import register
from servicedesk.dispatch.models import Job


@register("quick")
def quick(job: Job) -> dict[str, Any]:
    return {"done": job.key}


@register("counted")
def counted(job: Job) -> dict[str, Any]:
    """Leaves one line for each time it is done."""
    path = Path(settings.VAR) / "counted"
    file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    os.write(file, f"{job.key}\n".encode())
    os.close(file)
    return {}


@register("raises")
def raises(job: Job) -> None:
    raise RuntimeError("poison")


@register("exits")
def exits(job: Job) -> None:
    os._exit(3)


@register("eats")
def eats(job: Job) -> None:
    render_pdf('<html lang="en"><title>x</title><body>' + "x" * 150_000_000)
