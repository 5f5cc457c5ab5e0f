"""How much of the ammonia is toxic, within the rule program: temperature, pH and salinity of today, the exponential tabulated.

Fresh and brackish water: pKa of Emerson et al. 1975; sea water: the line through Bower & Bidwell 1978 for a meter's pH on the NBS
scale (chemistry.ammonia). For brackish water, for which no table holds, the fresh constant is the one that errs to the safe
side. The mark of 0.02 mg/L N is common practice (no source)."""

from typing import Any

from servicedesk.core.advice.sheet import MARINE, TankSheet
from servicedesk.core.chemistry.ammonia import FRESH_PK, IONIC, SEA_PK

Expression = Any
TOXIC = "ammonia_total:toxic"
HARMFUL = 0.02
"""mg/L of NH3 nitrogen from which animals suffer when it lasts."""
STEPS_A_UNIT = 20
POINTS = [round(-6 + n / STEPS_A_UNIT, 3) for n in range(9 * STEPS_A_UNIT + 1)]
SHARES = [1 / (1 + 10**-x) for x in POINTS]
"""The toxic share by pH less pKa, from -6 to 3: between two points a straight line is off by less than a thousandth part."""


def toxic_steps(sheet: TankSheet) -> list[tuple[str, Expression]]:
    """The step that makes TOXIC (mg/L N, null where pH or temperature were not tested today); none for a tank that is not
    tested for ammonia, pH and temperature."""
    have = set(sheet.parameters())
    if not {"ammonia_total", "ph", "temperature"} <= have:
        return []
    pka: Expression = ["+", FRESH_PK[0], ["/", FRESH_PK[1], ["+", "temperature", 273.15]]]
    if sheet.water_type in MARINE:
        salt: Expression = 35.0
        if "salinity" in have:
            salt = ["if", ["missing", "salinity"], 35.0, "salinity"]
        strength = ["/", ["*", IONIC[0], salt], ["-", 1000, ["*", IONIC[1], salt]]]
        pka = ["+", SEA_PK[0], ["*", SEA_PK[1], strength], ["*", SEA_PK[2], ["-", 25, "temperature"]]]
    share = ["table", ["-", "ph", pka], POINTS, SHARES]
    return [(TOXIC, ["*", "ammonia_total", share])]
