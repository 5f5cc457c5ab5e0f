"""Who is right, what a batch of reagent is good for, and what a standard says."""

import math
from collections.abc import Mapping
from dataclasses import replace
from statistics import fmean, stdev
from typing import Any

from servicedesk.core.metrology import vessels
from servicedesk.core.metrology.propagation import NotPropagated
from servicedesk.core.metrology.uncertainty import (
    COVERAGE,
    MethodSpec,
    NoReplicates,
    Reference,
    Replicate,
    deviation,
    reference_value,
    scatter_u,
    tolerance,
)
from servicedesk.core.metrology.weighing import NoVolume
from servicedesk.core.worksheets import Ask, Result, Said, Worksheet, said, with_u

MOST_METHODS = 3
INSTRUMENT, LOTS_PART = "The instrument", "What they share"


LOTS = (
    ("own", "each a lot of its own"),
    ("one", "one lot, all methods"),
    ("all", "one lot, the instrument too"),
)


def _spec(given: Mapping[str, Any], start: str, name: str) -> MethodSpec:
    shares = ("all",) if name == INSTRUMENT else ("one", "all")
    return MethodSpec(
        name=name,
        kind="",
        tolerance_abs=given[f"{start}_abs"] or 0.0,
        tolerance_rel=(given[f"{start}_rel"] or 0.0) / 100,
        resolution=given[f"{start}_step"] or 0.0,
        lot="the lot" if given["lots"] in shares else None,
    )


def _what_would_tell(given: Mapping[str, Any], reference: Reference, allowed: float) -> str:
    """What brings an undecided case to a verdict."""
    own = scatter_u(_spec(given, "i", INSTRUMENT))
    room = allowed - abs(given["instrument"] - reference.value)
    if allowed <= COVERAGE * own:
        return "Its stated tolerance is as fine as its own display: no reference can settle that."
    if given["lots"] == "all":
        return "The instrument and every test draw on one lot: what is wrong with it is in both. Another lot, or a check standard, would tell."
    if reference.independent < 2:
        return "One method, or one lot, alone carries its own bias: a second independent method, another lot or a check standard would tell."
    needed = math.sqrt(max(0.0, (abs(room) / COVERAGE) ** 2 - own**2))
    if needed == 0:
        return "It stands so near its tolerance that no test at hand would tell: use a standard of known value, or a laboratory."
    return f"A reference good to ± {said(COVERAGE * needed, 2)} would tell; this one is good to ± {said(reference.expanded, 2)}: a check standard, or a laboratory."


def _results(given: Mapping[str, Any]) -> tuple[list[Replicate], list[tuple[str, ...]]]:
    """All results with their methods, and a row for each method."""
    replicates: list[Replicate] = []
    rows: list[tuple[str, ...]] = []
    for n in range(1, MOST_METHODS + 1):
        results = given[f"m{n}"]
        if not results:
            continue
        spec = _spec(given, f"m{n}", f"Method {n}")
        replicates += [Replicate(value, spec) for value in results]
        mean = sum(results) / len(results)
        wide = tolerance(spec, mean)
        rows.append(
            (spec.name, str(len(results)), said(mean), f"± {said(wide, 2)}" if wide else "not stated")
        )
    if not replicates:
        raise NoReplicates("Nothing was tested: give the results of one method at least.")
    return replicates, rows


VERDICTS = {
    "within": ("Within", "in", "The instrument keeps what it states, the uncertainty counted."),
    "outside": (
        "Outside",
        "doubt",
        "The instrument is outside what it states, even with the uncertainty in its favour: calibrate it, then test again.",
    ),
    "cannot be told": (
        "Cannot be told",
        "again",
        "These tests cannot tell whether the instrument keeps what it states.",
    ),
}


def _many(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _right(given: Mapping[str, Any]) -> Result:
    replicates, rows = _results(given)
    found = reference_value(replicates)
    both = with_u(found.value, found.u)
    note = f"{_many(found.replicates, 'result')} by {_many(found.methods, 'method')}"
    mind = []
    if not found.agree:
        mind.append("The results do not agree among themselves: the difference seen is the uncertainty.")
    if found.independent == 1:
        mind.append("More results from one lot repeat one bias: they do not make it smaller.")
    result = Result(
        word="Reference value",
        glyph="in" if found.agree else "again",
        sentence=f"Taken for the truth: {both}.",
        said=(Said("Reference value", both, "", note),),
        why=(
            f"Methods weighed by 1/u² (tolerance ÷ √3): {said(found.value, 4)}, standard uncertainty {said(found.u, 2)}.",
        ),
        mind=tuple(mind),
        heads=("Method", "Results", "Mean", "Tolerance"),
        rows=tuple(rows),
        values={"reference": found.value, "u": found.u},
    )
    return result if given["instrument"] is None else _judged(given, found, result)


def _judged(given: Mapping[str, Any], found: Reference, result: Result) -> Result:
    """The same with the instrument's verdict."""
    spec = _spec(given, "i", INSTRUMENT)
    off = deviation(instrument_value=given["instrument"], instrument=spec, reference=found)
    word, glyph, sentence = VERDICTS[off.verdict]
    wide, allowed = said(off.expanded, 2), said(off.allowed, 2)
    sign = "+" if off.verdict == "within" else "−"
    untold = (_what_would_tell(given, found, off.allowed),) if off.verdict == "cannot be told" else ()
    return replace(
        result,
        word=word,
        glyph=glyph,
        sentence=sentence,
        said=(
            *result.said,
            Said("The instrument is off by", f"{off.delta:+.3g} ± {wide}"),
            Said("Its stated tolerance allows", f"± {allowed}"),
        ),
        why=(*result.why, f"|{off.delta:.3g}| {sign} {wide} against {allowed}: {off.verdict}."),
        mind=(*result.mind, *untold),
        values={**result.values, "delta": off.delta, "expanded": off.expanded, "allowed": off.allowed},
    )


def _stated(start: str, part: str) -> tuple[Ask, ...]:
    return (
        Ask(f"{start}_abs", "Stated tolerance, ±", low=0, high=1e5, optional=True, part=part),
        Ask(f"{start}_rel", "or ± per cent", "%", low=0, high=100, optional=True, part=part),
        Ask(f"{start}_step", "Step of its display, or of a drop", low=0, high=1e5, optional=True, part=part),
    )


RIGHT = Worksheet(
    key="right",
    title="Who is right?",
    question="Two numbers disagree: what is the truth, and is the instrument outside what it states?",
    asks=(
        *(
            ask
            for n in range(1, MOST_METHODS + 1)
            for ask in (
                Ask(f"m{n}", "Results", kind="numbers", low=-1500, high=1e5, optional=True, hint="With spaces between them.", part=f"Method {n}"),
                *_stated(f"m{n}", f"Method {n}"),
            )
        ),
        Ask("lots", "They draw on", kind="choice", choices=LOTS, part=LOTS_PART),
        Ask("instrument", "The instrument shows", low=-1500, high=1e5, optional=True, part=INSTRUMENT),
        *_stated("i", INSTRUMENT),
    ),
    work=_right,
    sources=(
        "JCGM 100:2008 (GUM), 4.3.7 and 5.1.2",
        "Birge 1932, Physical Review 40, 207; ISO 5725-6:1994 (factors from memory, checked by simulation)",
        "Guard bands in the manner of ISO 14253-1",
    ),
)  # fmt: skip

OWN = "own vessel"
VESSELS = (
    (OWN, "A vessel of your own"),
    *((v.name, v.name.capitalize()) for v in (*vessels.SCALES, *vessels.vessels())),
)
WEIGHED = frozenset(scale.name for scale in vessels.SCALES)
BATCH_PART, CONCENTRATE, WATER = "The batch", "Concentrate", "Made up with"


def _measured(given: Mapping[str, Any], start: str, amount: float) -> tuple[float, str]:
    """Relative standard uncertainty of an amount measured with a vessel, and how in words."""
    if given[f"{start}_vessel"] == OWN:
        size, wide = given[f"{start}_size"], given[f"{start}_tolerance"]
        if size is None or wide is None:
            raise NotPropagated("Say what your own vessel holds, and how well: its volume and its tolerance.")
        vessel = vessels.Vessel("your own vessel", size, wide, likelier_middle=False)
    else:
        vessel = vessels.vessel(given[f"{start}_vessel"])
    u = vessels.fillings_u(vessel=vessel, total=amount, own_each_time=given["reading_u"])
    times = math.ceil(amount / vessel.nominal - 1e-9)
    filled = "once" if times == 1 else f"{times} times"
    return (
        u / amount,
        f"{amount:g} mL with the {vessel.name}, filled {filled}: ± {100 * COVERAGE * u / amount:.2g} %",
    )


def _budget(
    given: Mapping[str, Any], concentrate: float
) -> tuple[list[vessels.Share], list[Said], list[str]]:
    """The shares of the error, what to measure out, and how in words."""
    total = given["batch"]
    one, how_one = _measured(given, "c", concentrate)
    label = vessels.Share("label", given["label_u"] / 100)
    if given["to_mark"] == "mark":
        two, how_two = _measured(given, "w", total)
        budget = [vessels.Share("concentrate", one), label, vessels.Share("total", two)]
        rest = Said("Make up to", said(total, 4), "mL")
    else:
        water = total - concentrate
        if water <= 0:
            raise NoVolume("A batch that is not diluted needs no mixing: it is the concentrate itself.")
        two, how_two = _measured(given, "w", water)
        share = water / total
        budget = [vessels.Share("concentrate", one * share), label, vessels.Share("water", two * share)]
        rest = Said("Water", said(water, 4), "mL")
    return budget, [Said("Concentrate", said(concentrate, 4), "mL"), rest], [f"{how_one}.", f"{how_two}."]


def _batch(given: Mapping[str, Any]) -> Result:
    total, parts = given["batch"], given["times"]
    concentrate = total / parts
    budget, lines, how = _budget(given, concentrate)
    u = vessels.strength_budget(budget)
    wide, wanted = 100 * COVERAGE * u, given["wanted"]
    lines.append(Said("Strength", f"± {said(wide, 2)}", "%", "every later result by the same share"))
    values: dict[str, float | None] = {"concentrate_ml": concentrate, "strength_u_rel": u}
    if given["per_test"]:
        tests = math.floor(total / given["per_test"] + 1e-9)
        lines.append(Said("Whole tests", str(tests)))
        values["tests"] = float(tests)
    mind = [
        "A reagent mixed too weak makes every result too high, one mixed too strong too low, all by one share, until the next batch.",
        "Write lot, date and factor on the bottle, and run a check standard before the first tank.",
    ]
    if any(given[f"{start}_vessel"] in WEIGHED for start in ("c", "w")):
        mind.append(
            "A scale weighs grams: 1 mL of water is 1 g, a concentrate is heavier. Weigh its mL times its density."
        )
    if wide > wanted:
        rough = f"± {said(wide, 2)} % is more than the ± {wanted:g} % wanted: use a flask, or correct by a check standard."
        mind.insert(0, rough)
    return Result(
        word="Good enough" if wide <= wanted else "Too rough",
        glyph="in" if wide <= wanted else "doubt",
        sentence=f"{said(concentrate, 4)} mL of concentrate in a batch of {said(total, 4)} mL; its strength is known to ± {said(wide, 2)} %.",
        said=tuple(lines),
        why=(f"{total:g} mL ÷ {parts:g} = {said(concentrate, 4)} mL of concentrate.", *how),
        mind=tuple(mind),
        hazards=("acid",),
        heads=("Step", "± per cent"),
        rows=tuple((share.what.capitalize(), said(100 * COVERAGE * share.relative_u, 2)) for share in budget),
        values=values,
    )


BATCH = Worksheet(
    key="batch",
    title="Mix the next batch",
    question="How much concentrate and water, and how well is its strength then known?",
    asks=(
        Ask("batch", "Batch", "mL", low=0, high=1e5, above=True, start="1000", part=BATCH_PART),
        Ask("times", "Dilution: parts in all to one of concentrate", low=1, high=1000, start="5", part=BATCH_PART),
        Ask("to_mark", "Made up", kind="choice", choices=(("mark", "to the mark"), ("water", "with a measured volume of water")), part=BATCH_PART),
        Ask("per_test", "A test takes", "mL", low=0, high=1000, above=True, optional=True, part=BATCH_PART),
        Ask("wanted", "Wanted: results not wrong by more than", "%", low=0, high=100, above=True, start="1", part=BATCH_PART),
        Ask("label_u", "Standard uncertainty of the concentrate", "%", low=0, high=50, start="0.5", part=BATCH_PART),
        Ask("reading_u", "Standard uncertainty of reading one filling", "mL", low=0, high=100, start="0", hint="What one filling differs from the next.", part=BATCH_PART),
        Ask("c_vessel", "Measured with", kind="choice", choices=VESSELS, start="graduated cylinder 250 mL, class B", part=CONCENTRATE),
        Ask("c_size", "Your own vessel holds", "mL", low=0, high=1e5, above=True, optional=True, part=CONCENTRATE),
        Ask("c_tolerance", "give or take", "mL", low=0, high=1e4, optional=True, part=CONCENTRATE),
        Ask("w_vessel", "Measured with", kind="choice", choices=VESSELS, start="one-mark volumetric flask 1000 mL, class A", part=WATER),
        Ask("w_size", "Your own vessel holds", "mL", low=0, high=1e5, above=True, optional=True, part=WATER),
        Ask("w_tolerance", "give or take", "mL", low=0, high=1e4, optional=True, part=WATER),
    ),
    work=_batch,
    sources=(
        "Tolerances: ASTM E1272 (read); ISO 1042, ISO 648, ISO 385, ISO 4788 (from memory); scales (common practice)",
        "Error budget: EURACHEM/CITAC QUAM:2012, example A1",
    ),
    hazards=("acid",),
)  # fmt: skip


def _scatter_of(results: tuple[float, ...], step: float) -> float:
    """Standard uncertainty of the mean of some results: what is seen, never less than the display's step."""
    n = len(results)
    seen = stdev(results) / math.sqrt(n) if n > 1 else 0.0
    return max(seen, step / math.sqrt(12 * n))


def _standard(given: Mapping[str, Any]) -> Result:
    results, assigned = given["results"], given["assigned"]
    mean = fmean(results)
    if mean <= 0:
        raise NoReplicates("A standard that reads nought gives no factor.")
    factor = assigned / mean
    relative = math.hypot(given["assigned_u"] / assigned, _scatter_of(results, given["step"] or 0.0) / mean)
    sure = abs(factor - 1) > COVERAGE * factor * relative
    lines = [
        Said("Factor", with_u(factor, factor * relative), "", "multiply every result by it"),
        Said("Results read", f"{100 * (1 / factor - 1):+.2g}", "%", "against the standard"),
    ]
    reading = given["reading"]
    if reading is not None:
        true = with_u(reading * factor, reading * factor * relative)
        lines.append(Said(f"A reading of {reading:g} means", true))
    agrees = "It agrees with the standard as well as these results can tell: no factor is needed."
    return Result(
        word="Correct by a factor" if sure else "Agrees",
        glyph="again" if sure else "in",
        sentence=f"Multiply by {said(factor, 4)} until the next batch." if sure else agrees,
        said=tuple(lines),
        why=(f"{assigned:g} ÷ {said(mean, 4)} = {said(factor, 4)}.",),
        mind=(
            "The factor is one share for all values: it cures a wrong strength, not a wrong nought point.",
            "A standard past its date, or left open, proves nothing.",
        ),
        values={"factor": factor, "factor_u": factor * relative},
    )


STANDARD = Worksheet(
    key="standard",
    title="A check standard",
    question="A standard was tested: does the reagent need a factor?",
    asks=(
        Ask("assigned", "Assigned value", low=0, high=1e5, above=True),
        Ask("assigned_u", "Its standard uncertainty", low=0, high=1e4, start="0"),
        Ask(
            "results",
            "Results on it",
            kind="numbers",
            low=0,
            high=1e5,
            hint="With spaces between them; three or more.",
        ),
        Ask("step", "Step of the display, or of a drop", low=0, high=1e4, optional=True),
        Ask("reading", "A tank's reading to correct", low=0, high=1e5, optional=True),
    ),
    work=_standard,
    sources=("JCGM 100:2008 (GUM), 4.2 and 5.1.2",),
)
