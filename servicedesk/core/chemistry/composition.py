"""What sea water holds, in proportion to its salinity.

Reference Composition, mass fractions of the dissolved salts: Millero, Feistel, Wright & McDougall 2008, Deep-Sea Research
I 55, 50, table 4; 35.16504 g/kg at practical salinity 35. Constant proportions are a fact of the ocean, not of a tank."""

from servicedesk.core.chemistry.formulas import molar_mass
from servicedesk.core.chemistry.salinity import OutOfRange, reference_salinity

FRACTIONS = {
    "Na": 0.3065958, "Mg": 0.0365055, "Ca": 0.0117186, "K": 0.0113495, "Sr": 0.0002260, "Cl": 0.5503396, "SO4": 0.0771319,
    "HCO3": 0.0029805, "Br": 0.0019134, "CO3": 0.0004078, "B(OH)4": 0.0002259, "F": 0.0000369, "OH": 0.0000038,
}  # fmt: skip
BASES = {"HCO3": 1, "CO3": 2, "B(OH)4": 1, "OH": 1}
"""Equivalents of alkalinity in a mole."""


def milligrams_per_kg(*, ion: str, salinity: float) -> float:
    """mg of an ion in a kg of sea water of that practical salinity. Raises OutOfRange for an unknown ion, or a salinity
    below nought."""
    if ion not in FRACTIONS or salinity < 0:
        raise OutOfRange(f"Known are {', '.join(FRACTIONS)}, for salinities from nought.")
    return FRACTIONS[ion] * reference_salinity(salinity=salinity) * 1000


def alkalinity_umol_kg(*, salinity: float) -> float:
    """Total alkalinity in µmol/kg that belongs to that practical salinity."""
    moles = sum(
        milligrams_per_kg(ion=ion, salinity=salinity) * count / molar_mass(ion)
        for ion, count in BASES.items()
    )
    return moles * 1000


def chloride_to_sulphate_mix(*, chloride_salt: str, sulphate_salt: str) -> float:
    """Grams of the one salt to a gram of the other that add chloride and sulphate as sea water holds them. Two moles of
    chloride leave a mole of the first, one of sulphate the second."""
    chloride = FRACTIONS["Cl"] / molar_mass("Cl") / 2
    sulphate = FRACTIONS["SO4"] / molar_mass("SO4")
    return chloride / sulphate * molar_mass(chloride_salt) / molar_mass(sulphate_salt)
