"""What the water is: toxic ammonia, the carbonate system, carbon dioxide, salinity and oxygen; and what binds chlorine."""

from collections.abc import Mapping
from typing import Any

from servicedesk.core.chemistry import ammonia, conversions, oxygen, salinity, side_effects, treatments
from servicedesk.core.chemistry.carbonate import ph_on
from servicedesk.core.chemistry.conversions import FRESH_BELOW, Context
from servicedesk.core.chemistry.formulas import molar_mass
from servicedesk.core.chemistry.salinity import OutOfRange
from servicedesk.core.chemistry.side_effects import Water
from servicedesk.core.worksheets import Ask, Result, Said, Worksheet, said

T = Ask("temperature", "Temperature", "°C", low=-2, high=50)
SALT = Ask("salinity", "Salinity", low=0, high=43, start="0", hint="0 for fresh water.")
SCALES = (("NBS scale", "NBS: a meter after buffers"), ("total scale", "total: a dye, or a laboratory"))
SCALE = Ask("scale", "Scale of the pH", kind="choice", choices=SCALES)
HARMFUL_MG_L_N = 0.02
"""mg/L of NH3 nitrogen from which animals suffer when it lasts (common practice, no source)."""
ATTACKED = 1.0


def _toxic(given: Mapping[str, Any]) -> Result:
    t, ph, s, total = given["temperature"], given["ph"], given["salinity"], given["total"]
    fresh = s < FRESH_BELOW
    share = conversions.toxic_fraction(Context(temperature_c=t, ph=ph, salinity=s, ph_scale=given["scale"]))
    toxic = total * share
    lines = [
        Said("Toxic part", said(toxic, 2), "mg/L N", f"{100 * share:.2g} % of all"),
        Said("As ammonia", said(toxic * molar_mass("NH3") / molar_mass("N"), 2), "mg/L NH3"),
    ]
    mind = [
        "In an old acid tank raising the pH turns harmless ammonium toxic: bind or dilute it first, then raise slowly."
    ]
    if fresh and 6.5 <= ph <= 9 and t <= 30:
        acute = ammonia.acute_criterion_mg_l_n(ph=ph, temperature_c=t)
        chronic = ammonia.chronic_criterion_mg_l_n(ph=ph, temperature_c=t)
        lines += [
            Said("Rivers may hold for an hour", said(acute), "mg/L N in all"),
            Said("over thirty days", said(chronic), "mg/L N in all"),
        ]
        mind.append("The criteria are those of rivers with trout, for comparison: never a tank's band.")
    bad = toxic >= HARMFUL_MG_L_N
    source = "Emerson 1975" if fresh else "Bower & Bidwell 1978 or Clegg & Whitfield 1995, by the scale"
    why = (f"Share {share:.4g} ({source}) × {total:g} mg/L N = {said(toxic, 3)} mg/L N.",)
    sentence = (
        "Act now: matched water, air, no food; test again within the hour."
        if bad
        else "The toxic part is small; look for what makes ammonia all the same."
    )
    return Result(
        "Act now" if bad else "Low",
        "over" if bad else "in",
        sentence,
        tuple(lines),
        why,
        tuple(mind),
        values={"toxic_mg_l_n": toxic, "share": share},
    )


AMMONIA = Worksheet(
    key="ammonia",
    title="Toxic ammonia",
    question="How much of the ammonia is the toxic form?",
    asks=(
        Ask("total", "Total ammonia", "mg/L N", low=0, high=500),
        Ask("ph", "pH", low=5, high=10),
        SCALE,
        T,
        SALT,
    ),
    work=_toxic,
    sources=(
        "Fresh: Emerson et al. 1975, J. Fish. Res. Board Can. 32, 2379",
        "Sea: Bower & Bidwell 1978 (NBS scale); Clegg & Whitfield 1995 (total scale)",
        "Criteria: US EPA 2013, EPA 822-R-13-001; the mark of 0.02 mg/L N: common practice, no source",
    ),
)


def _carbonate(given: Mapping[str, Any]) -> Result:
    s, t = given["salinity"], given["temperature"]
    scale = "NBS" if given["scale"] == "NBS scale" else "total"
    ph = ph_on(ph=given["ph"], scale=scale, to="total", salinity=s, temperature_c=t)
    here = Water(given["alkalinity"], ph, s, t, given["calcium"])
    found = here.carbonate()
    lines = (
        Said("pH on the total scale", f"{ph:.2f}"),
        Said("Dissolved carbon", f"{found.dic_umol_kg:.0f}", "µmol/kg"),
        Said(
            "Carbon dioxide",
            f"{found.pco2_uatm:.0f}",
            "µatm",
            "air holds about 420 (common practice)",
        ),
        Said("Aragonite", f"{found.aragonite:.2f}", "", "above 1 it grows, under 1 it dissolves"),
    )
    attacked = found.aragonite < ATTACKED
    mind = [
        "A meter after NBS buffers is right to 0.05 at best in sea water: aragonite is then known to about an eighth."
    ]
    if found.pco2_uatm > 1000:
        mind.append(
            "Much carbon dioxide in the water: look at the air in the room and at the skimmer's air, before any buffer."
        )
    return Result(
        "Skeletons dissolve" if attacked else "Skeletons can grow",
        "low" if attacked else "in",
        f"Aragonite is saturated {found.aragonite:.1f} times.",
        lines,
        (f"{given['alkalinity']:g} dKH = {here.umol_kg(given['alkalinity']):.0f} µmol/kg.",),
        tuple(mind),
        values={
            "aragonite": found.aragonite,
            "pco2_uatm": found.pco2_uatm,
            "dic_umol_kg": found.dic_umol_kg,
            "ph_total": ph,
        },
    )


CARBONATE = Worksheet(
    key="carbonate",
    title="Carbonate in sea water",
    question="Can skeletons grow, and how much carbon dioxide is in the water?",
    asks=(
        Ask("alkalinity", "Alkalinity", "dKH", low=0, high=40, above=True),
        Ask("ph", "pH", low=6.5, high=9.5),
        SCALE,
        Ask("temperature", "Temperature", "°C", low=2, high=35),
        Ask("salinity", "Salinity", low=19, high=43, start="35"),
        Ask("calcium", "Calcium", "mg/L", low=0, high=3000, optional=True),
    ),
    work=_carbonate,
    sources=(
        "Dickson, Sabine & Christian 2007, PICES Special Publication 3, chapter 5",
        "Mucci 1983, American Journal of Science 283, 780",
    ),
)


def _planted(given: Mapping[str, Any]) -> Result:
    value = side_effects.carbon_dioxide_mg_l(
        carbonate_hardness_dkh=given["hardness"], ph=given["ph"], temperature_c=given["temperature"]
    )
    high = value > given["most"]
    return Result(
        "Too much" if high else "Bearable",
        "high" if high else "in",
        f"About {said(value, 2)} mg/L, if nothing but carbonate buffers this water.",
        (Said("Carbon dioxide", said(value, 2), "mg/L", "an estimate, never a measurement"),),
        ("From the first constant of carbonic acid at that temperature.",),
        (
            "Wood, peat, phosphate and other acids make this far too high: a fall of one pH against water that stood in air is the better guide.",
            "Carbon dioxide collects low: mind cellars and cylinders.",
        ),
        ("co2",),
        values={"carbon_dioxide_mg_l": value},
    )


PLANTED = Worksheet(
    key="carbon-dioxide",
    title="Carbon dioxide for plants",
    question="How much carbon dioxide is in planted fresh water?",
    asks=(
        Ask("hardness", "Carbonate hardness", "dKH", low=0, high=40),
        Ask("ph", "pH", low=5, high=8.5),
        Ask("temperature", "Temperature", "°C", low=0, high=50),
        Ask(
            "most",
            "The most that the animals bear",
            "mg/L",
            low=0,
            high=200,
            start="30",
            hint="Yours to set.",
        ),
    ),
    work=_planted,
    sources=("Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46, 1011 (from memory)",),
    hazards=("co2",),
)


def _salinity_of(given: Mapping[str, Any]) -> float:
    """Practical salinity from what was read."""
    t, reading = given["temperature"], float(given["reading"])
    if given["kind"] == "conductivity":
        return salinity.practical_from_conductivity(conductivity_ms_cm=reading, temperature_c=t)
    if given["kind"] == "gravity":
        return salinity.practical_from_specific_gravity(
            gravity=reading, temperature_c=t, reference_c=given["reference"]
        )
    return reading


def _salt(given: Mapping[str, Any]) -> Result:
    t, reference, s = given["temperature"], given["reference"], _salinity_of(given)
    if not 0 <= s <= 42:
        raise OutOfRange("Sea water formulas hold for salinity 0 to 42.")
    dense = salinity.density(salinity=s, temperature_c=t)
    gravity = salinity.specific_gravity(salinity=s, temperature_c=t, reference_c=reference)
    lines = [
        Said("Salinity", f"{s:.2f}", "", "practical, PSS-78"),
        Said("Salts", f"{salinity.reference_salinity(salinity=s):.2f}", "g/kg"),
        Said("Density", f"{dense:.2f}", "kg/m³"),
        Said(f"Specific gravity {t:g}/{reference:g} °C", f"{gravity:.4f}"),
    ]
    if s > 0 and t <= 35:
        shown = salinity.conductivity(salinity=s, temperature_c=t)
        lines.append(Said("Conductivity", f"{shown:.2f}", "mS/cm"))
    if t >= 0:
        full = oxygen.saturation_mg_l(salinity=s, temperature_c=t, pressure_hpa=given["pressure"])
        lines.append(Said("Oxygen when saturated", f"{full:.2f}", "mg/L"))
    return Result(
        word=f"{s:.1f}",
        glyph="in",
        sentence=f"Salinity {s:.1f} at {t:g} °C.",
        said=tuple(lines),
        mind=(
            "A specific gravity means nothing without both temperatures: read on the instrument what it refers to.",
        ),
        values={"salinity": s, "density_kg_m3": dense},
    )


SALINITY = Worksheet(
    key="salinity",
    title="Salinity, density, oxygen",
    question="What does a hydrometer or conductivity meter mean?",
    asks=(
        Ask(
            "kind",
            "What was read",
            kind="choice",
            choices=(
                ("gravity", "specific gravity"),
                ("conductivity", "conductivity in mS/cm, uncompensated"),
                ("salinity", "practical salinity"),
            ),
        ),
        Ask("reading", "Reading", low=0, high=200),
        Ask("temperature", "Temperature of the water", "°C", low=-2, high=40),
        Ask("reference", "The instrument refers to", "°C", low=0, high=40, start="20", hint="Printed on it."),
        Ask("pressure", "Air pressure on the spot", "hPa", low=500, high=1100, start="1013.25"),
    ),
    work=_salt,
    sources=(
        "TEOS-10 (IOC, SCOR and IAPSO 2010); PSS-78",
        "Oxygen: Garcia & Gordon 1992, Limnol. Oceanogr. 37, 1307",
    ),
)


def _chlorine(given: Mapping[str, Any]) -> Result:
    litres, free, chloramine = given["litres"], given["free"], given["chloramine"]
    mg = (free + chloramine) * litres
    amounts = {
        r: treatments.thiosulphate_mg(chlorine_mg=mg, reaction=r) / 1000
        for r in treatments.CHLORINE_PER_THIOSULPHATE
    }
    most = max(amounts.values())
    rows = tuple((f"turning to {r}", f"{said(grams)} g") for r, grams in amounts.items())
    left = treatments.ammonia_from_chloramine_mg_l_n(as_chlorine_mg_l=chloramine)
    mind = [
        "Reckoned by the reaction that takes the most: which one happens hangs on pH and excess. Test for chlorine before the water is used.",
        "Some water conditioners set bound copper free: never in a tank under copper.",
    ]
    lines = [
        Said(
            "Sodium thiosulphate, pentahydrate",
            said(most),
            "g",
            "the most any reaction takes",
        )
    ]
    if chloramine > 0:
        lines.append(Said("Ammonia set free", said(left, 2), "mg/L N"))
        mind.insert(0, "Chloramine leaves ammonia behind: bind it or test it before animals meet this water.")
    return Result(
        "Bind it first",
        "again",
        f"{said(most)} g of thiosulphate for {litres:g} L.",
        tuple(lines),
        (f"{litres:g} L × {free + chloramine:g} mg/L = {said(mg)} mg of chlorine.",),
        tuple(mind),
        ("oxidiser",),
        ("Reaction", "Takes"),
        rows,
        {"thiosulphate_g": most, "ammonia_mg_l_n": left},
    )


CHLORINE = Worksheet(
    key="chlorine",
    title="Chlorine in tap water",
    question="How much thiosulphate binds the chlorine of a batch of water?",
    asks=(
        Ask("litres", "Water", "L", low=0, high=1e6, above=True),
        Ask("free", "Free chlorine", "mg/L", low=0, high=100, start="0"),
        Ask("chloramine", "Combined chlorine, as Cl2", "mg/L", low=0, high=100, start="0"),
    ),
    work=_chlorine,
    sources=("Stoichiometry on the weights of IUPAC 2021; three reactions of thiosulphate",),
    hazards=("oxidiser",),
)
