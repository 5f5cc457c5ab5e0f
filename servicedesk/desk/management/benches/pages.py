"""Server time of the main pages on the data at hand, against a constant page in the same run."""

import statistics
import time
from collections.abc import Callable
from typing import Any

from django.contrib.auth import get_user_model
from django.test import Client, RequestFactory
from django.test.utils import override_settings
from django.utils import timezone

from clients.models import Tank
from servicedesk.desk.management.benches import Options
from servicedesk.rounds.models import Stop
from servicedesk.rounds.queries import stops_on
from servicedesk.web.problems import problem_response

MOST_MS, MOST_TIMES, ROUNDS = 50.0, 4.0, 40


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
    stop = today[0] if today else Stop.objects.order_by("-round__day").first()
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


def run(options: Options) -> dict[str, Any]:
    """p95 in ms per page; `times` is its share of a constant page (the sign-in page through the same middleware)."""
    users, count = get_user_model().objects, options.repeat or ROUNDS
    metrics: dict[str, Any] = {}
    failed = []
    with override_settings(ALLOWED_HOSTS=["*"], SECURE_SSL_REDIRECT=False):
        visitor = Client()
        constant = _measured(lambda: visitor.get("/sign-in/"), count)
        bare = _measured(lambda: problem_response(404, str(RequestFactory().get("/"))), count)
        for who, addresses in _addresses().items():
            person = users.filter(role="owner").first() if who == "owner" else users.get(email=who)
            browser = Client()
            browser.force_login(person, backend="django.contrib.auth.backends.ModelBackend")  # type: ignore[arg-type]  # the owner is there
            for address in addresses:
                if browser.get(address).status_code != 200:
                    continue
                p95 = _measured(lambda browser=browser, address=address: browser.get(address), count)  # type: ignore[misc]  # mypy cannot infer lambdas with defaults
                name = "/".join(part if len(part) < 36 else "…" for part in address.split("/"))
                metrics[f"{name} ms"], metrics[f"{name} times"] = round(p95, 1), round(p95 / constant, 1)
                if p95 > MOST_MS or p95 > MOST_TIMES * constant:
                    failed.append(f"{name}: {p95:.0f} ms, {p95 / constant:.1f} times the constant page.")
    return {
        "baseline": {"constant_ms": round(constant, 1), "bare_ms": round(bare, 2)},
        "metrics": metrics,
        "failed": failed,
    }
