"""Keeping level: uptake from two tests or many, the channel's setting, silent faults, and how often somebody must test."""

from collections.abc import Mapping
from typing import Any

from servicedesk.core.metrology.propagation import Known, combined
from servicedesk.core.tracking import level
from servicedesk.core.tracking.level import NoLevel
from servicedesk.core.tracking.uptake import Reading, uptake
from servicedesk.core.worksheets import Ask, Result, Said, Worksheet, said, with_u
from servicedesk.core.worksheets.raising import NET, NET_U

DAYS, PUMP, LIMITS = "Uptake", "The channel", "Limits"


def _uptake(given: Mapping[str, Any]) -> tuple[float, float, str]:
    """Uptake a day, its standard uncertainty, and how it was come by."""
    if given["uptake"] is not None:
        return (
            given["uptake"],
            given["uptake_u"],
            f"Uptake {given['uptake']:g} a day, from the tank's history.",
        )
    days, values = given["days"], given["values"]
    if len(days) != len(values) or len(days) < 2:
        raise NoLevel(
            "Give the uptake, or at least two tests, each with its day, while the dose ran unaltered."
        )
    dosed = (given["running"] or 0.0) * given["strength"] / given["net_l"]
    if len(days) == 2:
        if days[1] <= days[0]:
            raise NoLevel("The second test comes after the first.")
        parts = {"one": Known(values[0], given["value_u"]), "two": Known(values[1], given["value_u"])}
        span = days[1] - days[0]
        fall = combined(lambda one, two: (one - two) / span, parts)
        return (
            fall.value + dosed,
            fall.u,
            f"({values[0]:g} − {values[1]:g}) ÷ {span:g} days + {said(dosed)} dosed = {said(fall.value + dosed)} a day.",
        )
    found = uptake(
        readings=[Reading(d, v) for d, v in zip(days, values, strict=True)], repeatability=given["value_u"]
    )
    return (
        found.per_day + dosed,
        found.u,
        f"Fall by least squares of {found.readings} tests {said(found.per_day)} + {said(dosed)} dosed = {said(found.per_day + dosed)} a day.",
    )


def _work(given: Mapping[str, Any]) -> Result:
    per_day, u, how = _uptake(given)
    net, strength, step = given["net_l"], given["strength"], given["pump_step"]
    setting = level.setting_ml_per_day(uptake_per_day=per_day, net_l=net, per_ml=strength, pump_step_ml=step)
    relative = (u / per_day) ** 2 + (given["net_l_u"] / net) ** 2 if per_day else 0.0
    u_setting = setting * relative**0.5
    lines = [
        Said("Uptake", with_u(per_day, u), "a day"),
        Said(
            "Channel setting", said(setting), "mL a day", f"± {said(2 * u_setting, 2)}" if u_setting else ""
        ),
    ]
    why = [how, f"{said(per_day)} × {net:g} L ÷ {strength:g} = {said(per_day * net / strength)} mL a day."]
    mind = [
        "The tool never sets a pump: a person does, and writes it down. Test again within a week of a change."
    ]
    values: dict[str, float | None] = {"uptake_per_day": per_day, "setting_ml_per_day": setting}
    if setting > 0:
        _container(given, per_day, setting, lines, values)
    if given["now"] is not None:
        try:
            _silence(given, per_day, u, lines, mind, values)
        except NoLevel as wrong:  # the channel's setting stands all the same
            mind.insert(0, str(wrong))
    return Result(
        word="Keep level",
        glyph="in",
        sentence=f"Set the channel to {said(setting)} mL a day.",
        said=tuple(lines),
        why=tuple(why),
        mind=tuple(mind),
        values=values,
    )


def _container(
    given: Mapping[str, Any],
    per_day: float,
    setting: float,
    lines: list[Said],
    values: dict[str, float | None],
) -> None:
    """How long a full container lasts, and what the channel's two silent faults do."""
    net, strength, container = given["net_l"], given["strength"], given["container"]
    if container is not None:
        values["lasts_days"] = container / setting
        lines.append(Said("A full container lasts", said(container / setting), "days"))
    days = given["must_last"]
    if container is not None and days is not None and container / setting < days * 1.1:
        needed = level.strength_to_last(uptake_per_day=per_day, net_l=net, container_ml=container, days=days)
        values["strength_needed"] = needed
        lines.append(
            Said("Strength to last past the visit after next", said(needed), "per mL", f"now {strength:g}")
        )
    if given["most"] is not None:
        held = min(given["most"], container) if container is not None else given["most"]
        found = level.faults(uptake_per_day=per_day, net_l=net, per_ml=strength, most_ml_per_day=held)
        values |= {"stuck_day": found.stuck_day, "stopped_week": found.stopped_week}
        lines += [
            Said("Stuck on for a day it rises by", said(found.stuck_day)),
            Said("Stopped for a week it falls by", said(found.stopped_week)),
        ]


def _silence(
    given: Mapping[str, Any],
    per_day: float,
    u: float,
    lines: list[Said],
    mind: list[str],
    values: dict[str, float | None],
) -> None:
    kept = level.longest_silence(
        value=given["now"],
        low=given["low"],
        high=given["high"],
        uptake_per_day=per_day,
        uptake_u=u,
        longest_days=int(given["longest"]),
    )
    lines.append(
        Said("Test by hand at least every", str(kept.test_every_days), "days", "the longest harmless silence")
    )
    values["test_every_days"] = float(kept.test_every_days)
    if kept.stopped_days is not None:
        mind.append(
            f"A pump that stops silently reaches the lower limit in {said(kept.stopped_days, 2)} days, the uptake taken two standard uncertainties high."
        )
    if kept.overdosed_days is not None:
        mind.append(
            f"One that gives half as much again reaches the upper limit in {said(kept.overdosed_days, 2)} days."
        )
    if kept.seldom:
        mind.insert(
            0,
            "A silent fault harms within a day: no interval of visits is short enough; it needs an instrument that alarms.",
        )


SHEET = Worksheet(
    key="level",
    title="Keep a value level",
    question="What must the channel give, how long does it last, and how often must somebody test?",
    asks=(
        NET,
        NET_U,
        Ask("strength", "Strength of the solution", "units × L per mL", low=0, high=1e6, above=True, part=PUMP),
        Ask("running", "The channel ran at", "mL a day", low=0, high=1e5, optional=True, part=PUMP),
        Ask("pump_step", "Step of the pump", "mL a day", low=0, high=1000, start="0.1", part=PUMP),
        Ask("most", "It gives at most", "mL a day", low=0, high=1e6, above=True, optional=True, part=PUMP),
        Ask("container", "A full container", "mL", low=0, high=1e6, above=True, optional=True, part=PUMP),
        Ask("must_last", "Days until the visit after next", low=1, high=365, optional=True, part=PUMP),
        Ask("uptake", "Uptake a day, where it is known", low=0, high=1e4, optional=True, part=DAYS),
        Ask("uptake_u", "Its standard uncertainty", low=0, high=1e4, start="0", part=DAYS),
        Ask("days", "Days of the tests", kind="numbers", low=0, high=3650, optional=True, hint="Counted from any day, as 0 3 7.", part=DAYS),
        Ask("values", "Their values", kind="numbers", low=0, high=1e5, optional=True, hint="In the same order.", part=DAYS),
        Ask("value_u", "Standard uncertainty of one test", low=0, high=1e4, start="0", part=DAYS),
        Ask("now", "Value now", low=0, high=1e5, optional=True, part=LIMITS),
        Ask("low", "Lower limit", low=0, high=1e5, optional=True, part=LIMITS),
        Ask("high", "Upper limit", low=0, high=1e5, optional=True, part=LIMITS),
        Ask("longest", "Longest interval you allow", "days", low=1, high=90, start="14", part=LIMITS),
    ),
    work=_work,
    sources=("Mass balance on well-mixed water", "Least squares with Student's t: JCGM 100:2008 (GUM), H.3", "How often to test: common practice, no source"),
)  # fmt: skip
