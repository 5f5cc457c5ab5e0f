"""Published series: a file of columns of numbers, each with what was published of them. A published number becomes a row of
its own, so that it is checked and listed like any other."""

import json
from collections.abc import Callable
from functools import lru_cache
from re import Match, compile
from typing import Any

from servicedesk.core.checks import BadRows, Row, Rule
from servicedesk.core.metrology import agreement, charts, lines, trends
from servicedesk.core.metrology.quantiles import coverage_factor

Found = dict[str, Any]


def _rows_of(series: dict[str, Any]) -> list[Row]:
    rows = []
    for name, wanted in series["expected"].items():
        for place, value in _places(wanted["value"]):
            rows.append(
                Row(
                    id=f"{series['id']}.{name}{place}",
                    topic=str(series["topic"]),
                    quantity=f"{name}{place}",
                    inputs=series["data"],
                    expected=float(value),
                    tolerance=float(wanted["tol"]),
                    relative=wanted["kind"] == "rel",
                    printed=json.dumps(value),
                    source=str(series.get("source", "")),
                    how=str(series.get("how", "")),
                )
            )
    return rows


def _places(value: Any) -> list[tuple[str, Any]]:
    """Each number with its place, counted from 1; an empty list stands as its length."""
    if not isinstance(value, list):
        return [("", value)]
    if not value:
        return [("[]", 0)]
    return [(f"[{n}]{place}", inner) for n, item in enumerate(value, 1) for place, inner in _places(item)]


def read_series(text: str) -> list[Row]:
    """The rows of a file of series. Raises BadRows where it is of another form."""
    try:
        return [row for series in json.loads(text)["series"] for row in _rows_of(series)]
    except (ValueError, KeyError, TypeError, AttributeError) as wrong:
        raise BadRows("It holds no series with data and what is expected of them.") from wrong


def _ewma(d: Found) -> Found:
    smoothed = charts.ewma(values=d["x"], target=d["target"], smoothing=d["lam"])
    reach = charts.ewma_reach(sigma=d["sigma"], smoothing=d["lam"], width=d["L"])
    out = [n for n, z in enumerate(smoothed, 1) if abs(z - d["target"]) > reach]
    return {
        "ewma": smoothed,
        "ucl_steady": d["target"] + reach,
        "lcl_steady": d["target"] - reach,
        "signals": out,
    }


def _cusum(d: Found) -> Found:
    sums = charts.cusum(values=d["x"], target=d["target"], slack=d["k"], limit=d["h"])
    return {
        "s_hi": sums.high,
        "s_lo": sums.low,
        "first_signal_1based": _first(sums.first),
        "cusum_last": sums.total,
    }


def _first(place: int | None) -> int:
    return 0 if place is None else place + 1


def _individuals(d: Found) -> Found:
    found = charts.individuals(values=d["x"])
    return {"mean": found.mean, "mr_bar": found.moving_range, "ucl": found.high, "lcl": found.low}


def _both(d: Found) -> Found:
    sigma = d["sigma"]
    sums = charts.cusum(values=d["x"], target=d["target"], slack=d["k"] * sigma, limit=d["h"] * sigma)
    smoothed = charts.ewma(values=d["x"], target=d["target"], smoothing=d["lam"])
    over = [
        place
        for place, z in enumerate(smoothed)
        if abs(z - d["target"])
        > charts.ewma_reach(sigma=sigma, smoothing=d["lam"], width=d["L"], place=place)
    ]
    return {
        "c_plus_29": sums.high[28],
        "cusum_first_signal": _first(sums.first),
        "cusum_last": sums.total,
        "ewma_first_signal": _first(over[0] if over else None),
        "ewma_28": smoothed[27],
    }


def _line(d: Found) -> Found:
    line = lines.least_squares(x=d["t"], y=d["b"], origin=d["t0"])
    return {
        "intercept": line.intercept,
        "u_intercept": line.u_intercept,
        "slope": line.slope,
        "u_slope": line.u_slope,
        "corr": line.correlation,
        "s": line.scatter,
        "b_30": line.at(30),
        "u_b_30": line.u_at(30),
    }


def _regression(d: Found) -> Found:
    line = lines.least_squares(x=d["x"], y=d["y"])
    return {
        "slope": line.slope,
        "intercept": line.intercept,
        "u_slope": line.u_slope,
        "u_intercept": line.u_intercept,
        "residual_sd": line.scatter,
        "r2": line.explained,
    }


def _comparison(d: Found) -> Found:
    found = agreement.limits_of_agreement(first=d["w1"], second=d["m1"], width=2.0)
    return {
        "bias": found.bias,
        "sd": found.deviation,
        "lower": found.low,
        "upper": found.high,
        "ci_bias_low": found.bias_low,
        "ci_bias_high": found.bias_high,
    }


def _weighted(d: Found) -> Found:
    stated = [expanded / k for expanded, k in zip(d["U"], d["k"], strict=True)]
    found = agreement.weighted_mean(values=d["value"], standard_uncertainties=stated)
    n = len(d["value"])
    mean = sum(d["value"]) / n
    u_mean = (sum((v - mean) ** 2 for v in d["value"]) / (n - 1) / n) ** 0.5
    return {
        "weighted_mean": found.value,
        "u_weighted": found.u,
        "birge": found.birge,
        "u_birge": found.u_widened,
        "mean": mean,
        "u_mean": u_mean,
        "U_mean": coverage_factor(freedom=n - 1) * u_mean,
    }


def _robust(d: Found) -> Found:
    mean, spread = agreement.robust_mean(values=d["x"])
    first = [agreement.robust_mean(values=d["x"], steps=n) for n in range(1, 6)]
    return {"x_star": mean, "s_star": spread, "iterates": first}


def _deming(d: Found) -> Found:
    intercept, slope = lines.deming(x=d["x"], y=d["y"], variance_ratio=d["variance_ratio"])
    return {"intercept": intercept, "slope": slope, "n": len(d["x"])}


def _trend(d: Found) -> Found:
    found = trends.trend(values=d["x"])
    return {
        "S": found.count,
        "var_S": found.variance,
        "z": found.z,
        "p": found.chance,
        "sen_slope": found.slope,
        "intercept": found.intercept,
        "ci95": (found.low, found.high),
    }


def _groups(d: Found) -> Found:
    found = agreement.scatter_of(groups=d["groups"])
    return {
        "F": found.ratio,
        "ms_between": found.between,
        "ms_within": found.within,
        "s_r": found.repeatability,
    }


OF_TOPIC: dict[str, Callable[[Found], Found]] = {
    "control_chart_ewma": _ewma,
    "control_chart_cusum": _cusum,
    "control_chart_individuals": _individuals,
    "control_chart_cusum_ewma": _both,
    "calibration_line": _line,
    "method_comparison": _comparison,
    "weighted_mean": _weighted,
    "robust_mean": _robust,
    "deming": _deming,
    "trend": _trend,
    "linear_regression": _regression,
    "anova_repeatability": _groups,
}


@lru_cache(maxsize=64)
def _found(topic: str, said: str) -> Found:
    return OF_TOPIC[topic](json.loads(said))


def _compute(topic: str) -> Callable[[dict[str, Any], Match[str]], float]:
    def one(inputs: dict[str, Any], found: Match[str]) -> float:
        value = _found(topic, json.dumps(inputs))[found["name"]]
        if found["places"] == "[]":
            return float(len(value))
        for place in filter(None, (found["places"] or "").strip("[]").split("][")):
            value = value[int(place) - 1]
        return float(value)

    return one


NAMED = compile(r"(?P<name>\w+?)(?P<places>(?:\[\d*\])*)")
RULES: list[Rule] = [(topic, NAMED, _compute(topic)) for topic in OF_TOPIC]
