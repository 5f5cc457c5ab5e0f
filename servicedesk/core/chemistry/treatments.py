"""Arithmetic of water conditioners and treatments: what a reaction takes, what it leaves. Stoichiometry on the weights of
`formulas`. Whether and what to treat is a veterinary surgeon's word; nothing here advises a medicine."""

from collections.abc import Collection

from servicedesk.core.chemistry.formulas import molar_mass, share_of

THIOSULPHATE = "Na2S2O3.5H2O"
CHLORINE_PER_THIOSULPHATE = {"tetrathionate": 0.5, "sulphur": 1.0, "sulphate": 4.0}
"""Moles of chlorine that a mole of thiosulphate takes, by what it turns to: 2 S2O3 + Cl2 -> S4O6 + 2 Cl; S2O3 + Cl2 + H2O
-> S + SO4 + 2 HCl; S2O3 + 4 Cl2 + 5 H2O -> 2 SO4 + 8 Cl + 10 H. Which one happens hangs on pH and excess: reckon with the
first, which takes the most."""
OXYGEN_PER_FORMALIN = 1 / 5
"""mg/L of oxygen that a mg/L of formalin takes (common practice, no source)."""


class NoTreatment(ValueError):
    """It cannot be reckoned; the sentence says why."""


def _from_nought(**amounts: float) -> None:
    for name, amount in amounts.items():
        if not 0 <= amount < float("inf"):
            raise NoTreatment(f"{name.capitalize()} lies at nought or above.")


def thiosulphate_mg(*, chlorine_mg: float, reaction: str) -> float:
    """mg of the pentahydrate that take that many mg of chlorine (Cl2), by what it turns to."""
    _from_nought(chlorine=chlorine_mg)
    if reaction not in CHLORINE_PER_THIOSULPHATE:
        raise NoTreatment(f"The reaction is one of {', '.join(CHLORINE_PER_THIOSULPHATE)}.")
    moles = chlorine_mg / molar_mass("Cl2") / CHLORINE_PER_THIOSULPHATE[reaction]
    return moles * molar_mass(THIOSULPHATE)


def ammonia_from_chloramine_mg_l_n(*, as_chlorine_mg_l: float) -> float:
    """mg/L of ammonia nitrogen set free when monochloramine, measured as Cl2, is reduced: a mole for each mole of Cl2."""
    _from_nought(chloramine=as_chlorine_mg_l)
    return as_chlorine_mg_l * molar_mass("N") / molar_mass("Cl2")


def copper_share(*, salt: str = "CuSO4.5H2O") -> float:
    """Which share of a copper salt's mass is copper. Raises NoFormula."""
    return share_of("Cu", salt)


def copper_salt_mg(*, copper_mg_l: float, net_l: float, salt: str = "CuSO4.5H2O") -> float:
    """mg of a copper salt that bring that many mg/L of copper into that many litres, as prescribed. Copper kills
    invertebrates, and binds to sand and rock, so that it is tested and not reckoned afterwards."""
    _from_nought(copper=copper_mg_l, volume=net_l)
    return copper_mg_l * net_l / copper_share(salt=salt)


def oxygen_taken_mg_l(*, formalin_mg_l: float) -> float:
    """mg/L of oxygen that formalin takes from the water."""
    _from_nought(formalin=formalin_mg_l)
    return formalin_mg_l * OXYGEN_PER_FORMALIN


def diluted_percent(*, stock_percent: float, stock_parts: float, water_parts: float) -> float:
    """Per cent of what was diluted: parts of stock in parts of water by volume."""
    _from_nought(stock=stock_parts, water=water_parts)
    if not 0 <= stock_percent <= 100 or stock_parts + water_parts == 0:
        raise NoTreatment("A strength lies between 0 and 100 %, and some parts are needed.")
    return stock_percent * stock_parts / (stock_parts + water_parts)


WARM_C, LEAST_OXYGEN_MG_L = 25.0, 6.0
"""Above this temperature, and under this much oxygen, no formalin (common practice, no source)."""
COPPERS = ("copper_free", "copper_complexed")


def unsafe(
    *,
    form: str,
    sensitive: Collection[str],
    temperature_c: float | None = None,
    oxygen_mg_l: float | None = None,
) -> list[str]:
    """Why a treatment of that form ("copper_free", "copper_complexed", "formalin", "other") may not be given in a tank whose animals
    cannot bear these, at that temperature and oxygen of today. Common practice (no source); the veterinarian decides."""
    found = []
    if form in COPPERS and "copper" in sensitive:
        found.append("Animals live here that copper kills: never with invertebrates.")
    if form == "formalin":
        if temperature_c is None or oxygen_mg_l is None:
            found.append("Formalin takes oxygen: test temperature and oxygen first.")
        elif temperature_c > WARM_C or oxygen_mg_l < LEAST_OXYGEN_MG_L:
            found.append(
                f"Formalin takes oxygen: not above {WARM_C:g} °C and not under {LEAST_OXYGEN_MG_L:g} mg/L of oxygen."
            )
    return found
