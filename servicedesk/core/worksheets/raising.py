"""A value is low (or high): the correction in parts with who gives which, water changes, and several at once."""

from collections.abc import Mapping
from typing import Any

from servicedesk.core import units
from servicedesk.core.chemistry import dosing, plans, salinity, several, side_effects, water
from servicedesk.core.chemistry.dosing import CAUSTIC, NoDose
from servicedesk.core.chemistry.salinity import OutOfRange
from servicedesk.core.chemistry.side_effects import Water
from servicedesk.core.metrology.propagation import Known
from servicedesk.core.tables import read_csv
from servicedesk.core.worksheets import Ask, Result, Said, Worksheet, said

RAISED = ("alkalinity", "carbonate_hardness", "calcium", "magnesium", "potassium", "nitrate")
CHANGED = (*RAISED, "phosphate", "salinity", "nitrite", "ammonia_total", "general_hardness", "copper")
LABELLED = "labelled"
ALKALINE = ("alkalinity", "carbonate_hardness")
TANK, TEST, LIQUID, AROUND = "The tank", "The test", "What is added", "What is around it"
NET = Ask("net_l", "Net volume", "L", low=0, high=1e6, above=True, part=TANK)
NET_U = Ask("net_l_u", "Standard uncertainty of the volume", "L", low=0, high=1e6, start="0", part=TANK)


def named(keys: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    """Parameters as choices, with the unit in which their values are read here."""
    return tuple(
        (key, f"{units.parameter(key).name} ({units.unit_word(units.parameter(key).unit) or 'PSS-78'})")
        for key in keys
    )


def _strength(given: Mapping[str, Any]) -> Known:
    """Canonical units times litres a mL, from the label or from grams of a salt to a litre."""
    relative = given["strength_u"] / 100
    if given["salt"] == LABELLED:
        if given["strength"] is None:
            raise NoDose(
                "Say how strong the solution is: by its label, or by the salt and its grams a litre."
            )
        return Known(given["strength"], given["strength"] * relative)
    if given["grams_per_l"] is None:
        raise NoDose("Say how many grams of the salt are in a litre.")
    row = next(row for row in read_csv("salts.csv") if row["salt"] == given["salt"])
    wanted = "alkalinity" if given["parameter"] in ALKALINE else given["parameter"]
    if row["parameter"] != wanted:
        raise NoDose(f"{given['salt']} raises {row['parameter']}, not {wanted.replace('_', ' ')}.")
    strength = dosing.per_ml_of(
        salt=given["salt"], grams_per_litre=given["grams_per_l"], purity=given["purity"] / 100
    )
    return Known(strength, strength * relative)


def _around(given: Mapping[str, Any], first_rise: float) -> list[str]:
    """What else the first part does, as far as the water is known."""
    salt, found = given["salt"], []
    known = [given[name] for name in ("ph", "salinity", "temperature")]
    if given["parameter"] == "alkalinity" and salt in side_effects.CARBON_PER_EQUIVALENT:
        if None in known:
            found.append("pH, salinity and temperature would tell how far the pH moves.")
        else:
            here = Water(given["value"], known[0], known[1], known[2], given["calcium"])
            try:
                after = side_effects.after_alkalinity(water=here, rise_dkh=first_rise, salt=salt)
            except OutOfRange as why:
                found.append(f"How far the pH moves cannot be said: {why}")
            else:
                word = "rises" if after.rise > 0 else "falls"
                found.append(
                    f"pH {word} by about {abs(after.rise):.2f} for hours, to {after.ph_total:.2f} (total scale); aragonite is then saturated {after.aragonite:.1f} times."
                )
                if after.precipitates:
                    found.append(
                        "So much at once falls out as lime on pumps and heaters: smaller parts, into strong flow."
                    )
    if salt in CAUSTIC:
        found.append(
            "Caustic: never in the hands of the client's people; drop by drop into strong flow, gloves and eyes."
        )
    if given["parameter"] in ("alkalinity", "calcium"):
        found.append("Alkalinity and calcium never together: other time, other place, other container.")
        left = side_effects.salt_left_mg_l(alkalinity_dkh=1.0)
        found.append(
            f"What livestock lays down of it leaves about {left:.0f} mg/L of common salt for each dKH: salinity creeps up, and the balance of ions with it; water changes bring both back."
        )
    if given["parameter"] == "nitrate":
        found.append("As nitrate is used up again, alkalinity rises: 1 dKH for each 22 mg/L.")
    return found


def _by_pump(given: Mapping[str, Any], plan: plans.Plan) -> Said:
    running, most = given["running"] or 0.0, given["most"] or float("inf")
    try:
        rate = plans.pump_setting(
            running_ml_per_day=running,
            extra_ml_per_day=plan.ml_per_day,
            pump_step_ml=given["pump_step"],
            most_ml_per_day=most,
        )
    except NoDose as why:
        return Said("By the pump", "no", "", str(why))
    return Said(
        "By the pump", said(rate), "mL a day", f"for {plan.days} days, then back to {running:g} mL a day"
    )


def _by_change(given: Mapping[str, Any]) -> Said:
    known = {"now": given["value"], "goal": given["goal"], "fresh": given["fresh"]}
    try:
        made = plans.by_changes(**known, net_l=given["net_l"], max_step=given["step"])
    except NoDose as why:
        return Said("By changing water", "no", "", str(why))
    note = f"{made.times} times, with water of {given['fresh']:g}"
    return Said("By changing water", said(made.litres), "L each time", note)


def _ways(given: Mapping[str, Any], plan: plans.Plan) -> list[Said]:
    """Who gives which part, for somebody who is not there tomorrow."""
    rows = []
    if plan.days > 1 and given["salt"] not in CAUSTIC:
        rows.append(_by_pump(given, plan))
    if given["fresh"] is not None:
        rows.append(_by_change(given))
    note = f"reaches about {said(plan.parts[0].reaches)}; the rest on the next visit"
    rows.append(Said("By hand today alone", said(plan.first_ml), "mL", note))
    return rows


def _arithmetic(given: Mapping[str, Any], plan: plans.Plan, net: Known, strength: Known) -> tuple[str, ...]:
    effect, wide = strength.value / net.value, plans.WIDTH * plan.u_end
    total = (given["goal"] - given["value"]) / effect
    return (
        f"1 mL raises it by {strength.value:.4g} ÷ {net.value:g} L = {effect:.4g}.",
        f"({given['goal']:g} − {given['value']:g}) ÷ {effect:.4g} = {said(total)} mL in all.",
        f"The safe {given['step']:g} a day, with the volume two standard uncertainties less and the strength two more: never faster than {plan.fastest:.3g} in truth.",
        f"End: test {given['value_u']:g}, volume {100 * net.u / net.value:.1f} %, strength {100 * strength.u / strength.value:.1f} %, drift {given['drift_u']:g} a day, together ± {said(wide, 2)}.",
    )


def _correct(given: Mapping[str, Any]) -> Result:
    net, strength = Known(given["net_l"], given["net_l_u"]), _strength(given)
    plan = plans.raise_in_parts(
        value=Known(given["value"], given["value_u"]),
        goal=given["goal"],
        net_l=net,
        per_ml=strength,
        max_rise_per_day=given["step"],
        left_over_per_day=Known(given["drift"], given["drift_u"]),
        pump_step_ml=given["pump_step"],
    )
    wide, known = plans.WIDTH * plan.u_end, units.parameter(given["parameter"])
    unit = units.unit_word(known.unit)
    lines = (
        Said("Today, the safe lower amount", said(plan.first_ml), "mL"),
        Said("Every later day", said(plan.ml_per_day), "mL", f"{plan.days} days in all"),
        Said("In all", said(plan.total_ml), "mL"),
        Said("It ends at", f"{said(plan.end)} ± {said(wide, 2)}", unit, "95 of 100"),
        *_ways(given, plan),
    )
    many = plan.days > 1
    again = f"on day {plan.test_again_day} before the rest" if many else "before anything more"
    mind = (
        f"Test again {again} is given.",
        "The running daily dose goes on meanwhile: this comes on top of it.",
        *_around(given, plan.first_ml * strength.value / net.value),
    )
    rest = f", then {said(plan.ml_per_day)} mL a day for {plan.days - 1} more." if many else "."
    return Result(
        word=f"{plan.days} days" if many else "One dose",
        glyph="in",
        sentence=f"{known.name}: {said(plan.first_ml)} mL today{rest}",
        said=lines,
        why=_arithmetic(given, plan, net, strength),
        mind=mind,
        hazards=("acid",) if given["salt"] in CAUSTIC else (),
        heads=("Day", "mL", f"Reaches about, {unit}"),
        rows=tuple((str(p.day + 1), said(p.ml), said(p.reaches)) for p in plan.parts),
        values=_bare(plan),
    )


def _bare(plan: plans.Plan) -> dict[str, float | None]:
    names = ("first_ml", "ml_per_day", "total_ml", "end", "low", "high")
    return {name: getattr(plan, name) for name in names} | {"days": float(plan.days)}


SALTS = tuple((row["salt"], f"{row['salt']} ({row['parameter']})") for row in read_csv("salts.csv"))
CORRECT = Worksheet(
    key="raise",
    title="Raise a value",
    question="A value is low: how much, in how many parts, and who gives them?",
    asks=(
        Ask("parameter", "Parameter", kind="choice", choices=named(RAISED), part=TEST),
        Ask("value", "Tested today", low=0, high=1e5, part=TEST),
        Ask("value_u", "Standard uncertainty of the test", low=0, high=1e4, start="0", part=TEST),
        Ask("goal", "Goal", low=0, high=1e5, part=TEST),
        Ask("step", "Safe rise a day", low=0, high=1e4, above=True, part=TEST),
        NET,
        NET_U,
        Ask("drift", "How it moves by itself a day", low=-1e4, high=1e4, start="0", hint="Running dose less uptake; falling is negative.", part=TANK),
        Ask("drift_u", "Standard uncertainty of that", low=0, high=1e4, start="0", part=TANK),
        Ask("salt", "Strength is known by", kind="choice", choices=((LABELLED, "its label"), *SALTS), part=LIQUID),
        Ask("strength", "Strength by the label", "units × L per mL", low=0, high=1e6, above=True, optional=True, hint="What 1 mL raises in 1 L.", part=LIQUID),
        Ask("grams_per_l", "Salt in a litre", "g", low=0, high=1500, above=True, optional=True, part=LIQUID),
        Ask("purity", "Purity", "%", low=0, high=100, above=True, start="100", part=LIQUID),
        Ask("strength_u", "Standard uncertainty of the strength", "%", low=0, high=40, start="2", part=LIQUID),
        Ask("pump_step", "Step of pump or syringe", "mL", low=0, high=1000, start="0.1", part=LIQUID),
        Ask("running", "The channel runs at", "mL a day", low=0, high=1e5, optional=True, part=LIQUID),
        Ask("most", "The channel gives at most", "mL a day", low=0, high=1e6, above=True, optional=True, part=LIQUID),
        Ask("fresh", "The same in the water for changes", low=0, high=1e5, optional=True, part=AROUND),
        Ask("ph", "pH, total scale", low=6.5, high=9, optional=True, hint="A meter after NBS buffers reads about 0.13 more.", part=AROUND),
        Ask("salinity", "Salinity", low=0, high=43, optional=True, part=AROUND),
        Ask("temperature", "Temperature", "°C", low=0, high=40, optional=True, part=AROUND),
        Ask("calcium", "Calcium", "mg/L", low=0, high=3000, optional=True, part=AROUND),
    ),
    work=_correct,
    sources=(
        "Mass balance on well-mixed water; weights IUPAC 2021 (Prohaska et al. 2022, Pure Appl. Chem. 94, 573)",
        "Uncertainty: JCGM 100:2008 (GUM), 5.1.2",
        "pH and aragonite: Dickson, Sabine & Christian 2007, PICES Special Publication 3; Mucci 1983",
        "Safe daily change, order of work: common practice, no source",
    ),
    hazards=("acid",),
)  # fmt: skip


def _change(given: Mapping[str, Any]) -> Result:
    now, goal, fresh, net = given["value"], given["goal"], given["fresh"], given["net_l"]
    made = plans.by_changes(now=now, goal=goal, fresh=fresh, net_l=net, max_step=given["step"], most_share=given["most_share"] / 100)  # fmt: skip
    one = water.litres_needed(now=now, fresh=fresh, goal=goal, net_l=net)
    flow = plans.continuous_l(now=now, goal=goal, fresh=fresh, net_l=net)
    lines = [
        Said(
            "In equal changes",
            said(made.litres),
            "L each time",
            f"{made.times} times, {said(made.times * made.litres)} L in all",
        ),
        Said("In one change", said(one), "L", f"{100 * one / net:.0f} % of the water"),
        Said("By continuous exchange", said(flow), "L"),
    ]
    mind = ["Temperature and salinity of the fresh water match the tank's before it goes in."]
    if given["mix_salinity"] is not None:
        lines.append(_salt_to_weigh(given, made.litres))
        mind.append("Stir until it is clear, test its salinity, only then use it. Lift cans of 20 L by two.")
    why = (
        f"One change: ({now:g} − {goal:g}) ÷ ({now:g} − {fresh:g}) = {one / net:.3f} of {net:g} L.",
        f"{made.times} times {made.litres / net:.3f}: {now:g} → {said(made.end)}.",
        f"Continuous: −{net:g} L × ln(({goal:g} − {fresh:g}) ÷ ({now:g} − {fresh:g})) = {said(flow)} L.",
    )
    after = [
        water.after_changes(now=now, fresh=fresh, fraction=made.litres / net, times=n)
        for n in range(1, made.times + 1)
    ]
    return Result(
        word=f"{made.times} changes" if made.times != 1 else "One change",
        glyph="in",
        sentence=f"{said(made.litres)} L, {made.times} times, bring {now:g} to {said(made.end)}.",
        said=tuple(lines),
        why=why,
        mind=tuple(mind),
        hazards=("lifting",),
        heads=("Change", "Value after it"),
        rows=tuple((str(n), said(value)) for n, value in enumerate(after, 1)),
        values={"litres": made.litres, "times": float(made.times), "one_l": one, "continuous_l": flow},
    )


def _salt_to_weigh(given: Mapping[str, Any], litres: float) -> Said:
    grams = salinity.salts_g(
        litres=litres, salinity=given["mix_salinity"], temperature_c=given["mix_temperature"]
    )
    return Said("Salt to weigh for each change", said(grams / (given["mix_yield"] / 100) / 1000), "kg")


CHANGE = Worksheet(
    key="change",
    title="Change water",
    question="How much water must be changed, once, in parts or continuously?",
    asks=(
        Ask("parameter", "Parameter", kind="choice", choices=named(CHANGED), part=TEST),
        Ask("value", "Tested today", low=0, high=1e5, part=TEST),
        Ask("goal", "Goal", low=0, high=1e5, part=TEST),
        Ask("step", "Safe change a day", low=0, high=1e4, above=True, optional=True, part=TEST),
        NET,
        Ask("fresh", "The same in the fresh water", low=0, high=1e5, start="0", part=LIQUID),
        Ask("most_share", "At most at once", "%", low=0, high=100, above=True, start="30", part=LIQUID),
        Ask("mix_salinity", "Salinity to mix", low=0, high=42, above=True, optional=True, part="Salt to weigh"),
        Ask("mix_temperature", "Temperature of the mix", "°C", low=0, high=40, start="25", part="Salt to weigh"),
        Ask("mix_yield", "Dissolved salt in a gram of dry mix", "%", low=0, high=100, above=True, start="90", hint="By its label; the rest is water of crystallisation and moisture.", part="Salt to weigh"),
    ),
    work=_change,
    sources=("Mass balance on well-mixed water, exact", "Density: TEOS-10 (IOC, SCOR and IAPSO 2010)"),
    hazards=("lifting",),
)  # fmt: skip


MOST_PRODUCTS = 4
MIXED = ("alkalinity", "calcium", "magnesium", "potassium")


def _several(given: Mapping[str, Any]) -> Result:
    rises = {p: given[f"rise_{p}"] for p in MIXED}
    products = {
        str(n): {p: given[f"p{n}_{p}"] for p in MIXED if given[f"p{n}_{p}"]}
        for n in range(1, MOST_PRODUCTS + 1)
    }
    products = {name: brings for name, brings in products.items() if brings}
    steps = {p: given[f"step_{p}"] for p in MIXED if given[f"step_{p}"]}
    found = several.amounts(rises=rises, products=products, net_l=given["net_l"], weights=steps)
    lines = [Said(f"Product {name}", said(ml), "mL") for name, ml in found.ml.items()]
    rows, days = [], 1.0
    for p in MIXED:
        got = rises[p] + found.missed[p]
        rows.append((units.parameter(p).name, said(rises[p]), said(got), said(found.missed[p])))
        if p in steps:
            days = max(days, got / steps[p])
    whole = int(-(-days // 1))
    lines.append(Said("Days, so that no step is passed", str(whole), "", "equal parts"))
    mind = ["Alkalinity and calcium never together: other time, other place, other container."]
    if not found.exact:
        mind.insert(
            0, "Not every rise can be met with these products without giving less than nothing of one."
        )
    return Result(
        "All met" if found.exact else "Nearly",
        "in" if found.exact else "again",
        "; ".join(f"product {name}: {said(ml)} mL" for name, ml in found.ml.items()) + ".",
        tuple(lines),
        ("Least squares with no amount below nought; each miss counted in its safe step.",),
        tuple(mind),
        (),
        ("Parameter", "Wanted rise", "Comes to", "Missed by"),
        tuple(rows),
        {f"ml_{name}": ml for name, ml in found.ml.items()} | {"days": float(whole)},
    )


SEVERAL = Worksheet(
    key="several",
    title="Several at once",
    question="Products move more than one value: how much of each?",
    asks=(
        NET,
        *(
            ask
            for p in MIXED
            for ask in (
                Ask(f"rise_{p}", f"{units.parameter(p).name}: wanted rise", units.unit_word(units.parameter(p).unit), low=0, high=1e4, start="0", part="Wanted"),
                Ask(f"step_{p}", f"{units.parameter(p).name}: safe rise a day", units.unit_word(units.parameter(p).unit), low=0, high=1e4, above=True, optional=True, part="Wanted"),
            )
        ),
        *(
            Ask(f"p{n}_{p}", f"{units.parameter(p).name} by 1 mL in 1 L", units.unit_word(units.parameter(p).unit), low=0, high=1e6, start="0", part=f"Product {n}")
            for n in range(1, MOST_PRODUCTS + 1)
            for p in MIXED
        ),
    ),
    work=_several,
    sources=("Non-negative least squares: Lawson & Hanson 1974, Solving Least Squares Problems",),
)  # fmt: skip
