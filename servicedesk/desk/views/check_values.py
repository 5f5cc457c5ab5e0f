"""Published values recomputed by this installation, for owner and office."""

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from servicedesk.desk.queries.published import topics
from servicedesk.desk.views.office import staff_of


@login_required
@require_GET
def check_values(request: HttpRequest) -> HttpResponse:
    staff_of(request)
    found = topics()
    lines = [line for topic in found for line in topic.lines]
    context = {
        "topics": found,
        "all": len(lines),
        "met": sum(topic.met for topic in found),
        "remembered": sum(1 for line in lines if line.checked.row.from_memory),
    }
    return render(request, "desk/check_values.html", context)
