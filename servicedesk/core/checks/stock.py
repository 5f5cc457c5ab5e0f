"""Stock keeping: orders, safety stock, rare demand."""

import re
from collections.abc import Callable
from re import Match
from typing import Any

from servicedesk.core.checks import Rule
from servicedesk.core.inventory import levels

Inputs = dict[str, Any]


def _order(i: Inputs) -> dict[str, float]:
    return {"order_cost": i["K"], "holding_cost": i["h"], "demand": i["demand_per_year"]}


def _lead(i: Inputs) -> dict[str, float]:
    return {
        "demand": i["d"],
        "demand_sd": i["sd_d"],
        "lead_time": i["L"],
        "lead_time_sd": i["sd_L"],
        "service": i["cycle_service"],
    }


def _share(i: Inputs) -> float:
    return levels.critical_share(over_cost=i["h"], under_cost=i["p"])


def _point(i: Inputs, _found: Match[str]) -> float:
    return levels.reorder_point(
        demand=i["mean"], demand_sd=i["sd"], lead_time=i["L_years"], lead_time_sd=0, service=_share(i)
    )


def _rare(i: Inputs, corrected: bool) -> float:
    return levels.forecast_of_rare(series=i["series"], smoothing=i["alpha"], corrected=corrected)


WORDS: list[tuple[str, str, Callable[[Inputs, Match[str]], float]]] = [
    ("inventory", r"economic order quantity", lambda i, _f: levels.order_quantity(**_order(i))),
    ("inventory", r"annual ordering \+ holding cost at the EOQ", lambda i, _f: levels.order_and_holding_cost(**_order(i))),
    ("inventory", r"newsvendor base stock, normal demand", lambda i, _f: levels.normal_stock(mean=i["mean"], sd=i["sd"], service=_share(i))),
    ("inventory", r"newsvendor base stock, Poisson demand", lambda i, _f: levels.poisson_stock(mean=i["mean"], service=_share(i))),
    ("inventory", r"\(r,Q\) by EOQ \+ safety stock: r", _point),
    ("inventory", r"safety stock", lambda i, _f: levels.safety_stock(**_lead(i))),
    ("inventory", r"reorder point", lambda i, _f: levels.reorder_point(**_lead(i))),
    ("inventory", r"smallest s with P\(Poisson.*", lambda i, _f: levels.poisson_stock(mean=i["lam"], service=i["service"])),
    ("inventory", r"Croston forecast per period", lambda i, _f: _rare(i, corrected=False)),
    ("inventory", r"Syntetos-Boylan corrected forecast", lambda i, _f: _rare(i, corrected=True)),
    ("inventory", r"standard normal loss function .*", lambda i, _f: levels.expected_short(z=i["z"])),
]  # fmt: skip
RULES: list[Rule] = [(topic, re.compile(words), how) for topic, words, how in WORDS]
