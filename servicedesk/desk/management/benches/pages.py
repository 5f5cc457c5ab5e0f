"""Server time of the main pages on the data at hand, against a constant page in the same run.

The constant page is what a main page would be if everything it says were known beforehand: the same frame, a signed-in
person, one list of eight levels and one of twelve rows, drawn from fixed values through the same middleware. So its
multiple says what finding and judging costs beside drawing. The multiple of the sign-in page, which is hardly more than
the middleware, is shown beside it and has no bar."""

import statistics
import time
from collections.abc import Callable
from functools import cache
from typing import Any

from django.contrib.auth import get_user_model
from django.contrib.auth.decorators import login_required
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.template import engines
from django.test import Client, RequestFactory
from django.test.utils import override_settings
from django.urls import include, path
from django.utils import timezone

from clients.models import Tank
from servicedesk.core.drawing.levels import LevelRow
from servicedesk.desk.management import big_week
from servicedesk.desk.management.benches import Options
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import Stop
from servicedesk.rounds.queries import stops_on
from servicedesk.web.problems import problem_response

BACKEND = "django.contrib.auth.backends.ModelBackend"
MOST_MS, MOST_TIMES, ROUNDS = 50.0, 4.0, 40
NAMES = ("Temperature", "Salinity", "pH", "Alkalinity", "Calcium", "Magnesium", "Nitrate", "Phosphate")
LEVELS = [
    LevelRow(label=name, method="photometer, 3 March", value_text="8.0", unit="dKH", value=8.0, low=7.2, high=9.0, alarm_low=6.3, alarm_high=11.0, last=7.8, state="in")
    for name in NAMES
]  # fmt: skip
CONSTANT = """{% extends "base.html" %}{% load look %}{% block lead %}A constant page.{% endblock %}{% block content %}
{% levels levels "Levels" %}<ul class="rows">{% for row in rows %}<li class="row row--plain"><div class="row__words">
<p class="row__subject">{{ row }}</p><p class="note">{{ row }}, said once more</p></div>
<p class="row__end">{% state_word "late" row %}</p></li>{% endfor %}</ul>{% endblock %}"""


@cache
def _constant() -> Any:
    """Read once, as the templates of the other pages are."""
    return engines["django"].from_string(CONSTANT)


@login_required
def constant_page(request: HttpRequest) -> HttpResponse:
    return HttpResponse(
        _constant().render({"levels": LEVELS, "rows": [f"Row {n}" for n in range(12)]}, request)
    )


urlpatterns = [path("constant/", constant_page), path("", include("servicedesk.urls"))]


def _p95(times: list[float]) -> float:
    return 1000 * statistics.quantiles(times, n=20)[-1]


def _measured(ask: Callable[[], Any], count: int) -> float:
    """p95 in ms of `count` askings, after two to warm up."""
    ask(), ask()
    times = []
    for _number in range(count):
        began = time.perf_counter()
        ask()
        times.append(time.perf_counter() - began)
    return _p95(times)


def _addresses() -> dict[str, list[str]]:
    tank = Tank.objects.order_by("site__name", "order").first()
    today = stops_on(timezone.now().date())
    still_open = [stop for stop in today if stop.state in (StopState.PLANNED, StopState.UNDER_WAY)]
    stop = next(iter(still_open or today), None) or Stop.objects.order_by("-round__day").first()
    if tank is None or stop is None:
        raise SystemExit(
            "There is nothing to measure: load the demo first (python3 manage.py demo --no-serve)."
        )
    visit = f"/visits/{stop.due_visit_id}"
    office = [
        "/today/",
        "/tanks/",
        f"/tanks/{tank.pk}/",
        "/week/",
        "/upkeep/",
        "/stores/",
        "/clients/",
        "/reports/",
    ]
    driver = [
        "/round/",
        "/load/",
        f"{visit}/",
        f"{visit}/test/",
        f"{visit}/work/",
        f"{visit}/advise/",
        f"{visit}/leave/",
    ]
    return {"owner": office, str(stop.round.technician.email): driver}


class _Bars:
    """What is measured, against the constant page of the same run."""

    def __init__(self, constant: float, sign_in: float, count: int) -> None:
        self.constant, self.sign_in, self.count = constant, sign_in, count
        self.metrics: dict[str, Any] = {}
        self.failed: list[str] = []

    def page(self, browser: Client, address: str, before: str = "") -> None:
        """One page, if it answers."""
        if browser.get(address).status_code != 200:
            return
        p95 = _measured(lambda: browser.get(address), self.count)
        name = before + "/".join(part if len(part) < 36 else "…" for part in address.split("/"))
        self.metrics[f"{name} ms"], self.metrics[f"{name} times"] = (
            round(p95, 1),
            round(p95 / self.constant, 1),
        )
        self.metrics[f"{name} times sign-in"] = round(p95 / self.sign_in, 1)
        if p95 > MOST_MS or p95 > MOST_TIMES * self.constant:
            self.failed.append(f"{name}: {p95:.0f} ms, {p95 / self.constant:.1f} times the constant page.")


def run(options: Options) -> dict[str, Any]:
    """p95 in ms per page; `times` is its multiple of the constant page. The week of 26 technicians, a proposal of it and the day that broke in it
    are made for the run and taken back."""
    users, count = get_user_model().objects, options.repeat or ROUNDS
    with override_settings(ALLOWED_HOSTS=["*"], SECURE_SSL_REDIRECT=False, ROOT_URLCONF=__name__):
        visitor, owner, owner_row = Client(), Client(), users.filter(role="owner").first()
        owner.force_login(owner_row, backend=BACKEND)  # type: ignore[arg-type]  # the owner is there
        if owner.get("/constant/").status_code != 200:
            raise SystemExit("The constant page does not answer.")
        sign_in = _measured(lambda: visitor.get("/sign-in/"), count)
        constant = _measured(lambda: owner.get("/constant/"), count)
        bare = _measured(lambda: problem_response(404, str(RequestFactory().get("/"))), count)
        bars = _Bars(constant, sign_in, count)
        for who, addresses in _addresses().items():
            person = users.filter(role="owner").first() if who == "owner" else users.get(email=who)
            browser = Client()
            browser.force_login(person, backend=BACKEND)  # type: ignore[arg-type]  # the owner is there
            for address in addresses:
                bars.page(browser, address)
        with transaction.atomic():
            for address in big_week.made(owner_row, timezone.now()):  # type: ignore[arg-type]  # the owner is there
                bars.page(owner, address, "26 technicians ")
            transaction.set_rollback(True)
    return {
        "baseline": {
            "constant_ms": round(constant, 1),
            "sign_in_ms": round(sign_in, 1),
            "bare_ms": round(bare, 2),
        },
        "metrics": bars.metrics,
        "failed": bars.failed,
    }
