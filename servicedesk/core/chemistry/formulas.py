"""Molar masses from formulas such as "CaCl2.2H2O": what a gram of a salt carries of an ion.

Standard atomic weights, abridged: IUPAC/CIAAW 2021 (Prohaska et al. 2022, Pure Appl. Chem. 94, 573). Grams per mole."""

import re
from collections import Counter
from functools import cache

WEIGHTS = {
    "H": 1.0080, "B": 10.81, "C": 12.011, "N": 14.007, "O": 15.999, "F": 18.998, "Na": 22.990, "Mg": 24.305, "Si": 28.085,
    "P": 30.974, "S": 32.06, "Cl": 35.45, "K": 39.098, "Ca": 40.078, "Mn": 54.938, "Fe": 55.845, "Cu": 63.546, "Zn": 65.38,
    "Br": 79.904, "Sr": 87.62, "Mo": 95.95, "I": 126.90, "Ba": 137.33,
}  # fmt: skip
_PIECE = re.compile(r"([A-Z][a-z]?)|(\()|(\))|(\d+)")


class NoFormula(ValueError):
    """Not a formula that can be read; the sentence says why."""


def _group(formula: str) -> Counter[str]:
    """Atoms of one formula without a dot, brackets opened."""
    open_groups: list[Counter[str]] = [Counter()]
    last: Counter[str] | None = None
    at = 0
    for found in _PIECE.finditer(formula):
        if found.start() != at:
            break
        at = found.end()
        element, opens, closes, number = found.groups()
        if element:
            if element not in WEIGHTS:
                raise NoFormula(f"“{element}” is not among the elements of the table.")
            last = Counter({element: 1})
            open_groups[-1].update(last)
        elif opens:
            open_groups.append(Counter())
            last = None
        elif closes:
            if len(open_groups) == 1:
                raise NoFormula(f"“{formula}” closes a bracket that it never opened.")
            last = open_groups.pop()
            if not last:
                raise NoFormula(f"“{formula}” has a bracket with nothing in it.")
            open_groups[-1].update(last)
        else:
            if last is None:
                raise NoFormula(f"In “{formula}” a number stands where it counts nothing.")
            for name, count in last.items():
                open_groups[-1][name] += count * (int(number) - 1)
            last = None
    if at != len(formula) or len(open_groups) != 1 or not +open_groups[0]:
        raise NoFormula(f"“{formula}” is not a formula that can be read.")
    return open_groups[0]


@cache
def atoms(formula: str) -> Counter[str]:
    """How many atoms of each element: "CaCl2.2H2O" has 1 Ca, 2 Cl, 4 H and 2 O. A number before a part counts it.
    Shared: do not alter it. Raises NoFormula."""
    whole: Counter[str] = Counter()
    for part in formula.replace("·", ".").split("."):
        times, rest = re.fullmatch(r"(\d*)(.*)", part, re.DOTALL).groups()  # type: ignore[union-attr]  # both parts may be empty, so it fits anything
        for element, count in _group(rest).items():
            whole[element] += count * int(times or 1)
    return whole


def molar_mass(formula: str) -> float:
    """Grams per mole. Raises NoFormula."""
    return sum(WEIGHTS[element] * count for element, count in atoms(formula).items())


def share_of(part: str, formula: str) -> float:
    """Which share of a salt's mass is that ion or group ("Ca" in "CaCl2.2H2O", "NO3" in "NaNO3"): as many of it as the
    salt has atoms for, water of crystallisation left out. Raises NoFormula where the salt holds none of it."""
    dry = formula.replace("·", ".").split(".")[0]
    here, wanted = atoms(dry), atoms(part)
    times = min(here[element] // count for element, count in wanted.items())
    if times == 0:
        raise NoFormula(f"{formula} holds no {part}.")
    return times * molar_mass(part) / molar_mass(formula)
