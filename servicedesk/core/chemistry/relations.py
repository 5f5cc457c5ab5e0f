"""What follows from several parameters together: which they are and by what source is data (tables/relations.csv).

Uncertainty by first-order propagation (JCGM 100:2008, 5.1.2) from the standard uncertainties of the values, taken as
independent. pH is the NBS scale of a meter, salinity practical (PSS-78), temperature in °C."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache

from servicedesk.core.chemistry.carbonate import ph_on
from servicedesk.core.chemistry.conversions import Context, toxic_fraction
from servicedesk.core.chemistry.oxygen import saturation_mg_l
from servicedesk.core.chemistry.salinity import OutOfRange, specific_gravity
from servicedesk.core.chemistry.side_effects import Water, carbon_dioxide_mg_l
from servicedesk.core.metrology.propagation import Known, combined
from servicedesk.core.tables import read_csv
from servicedesk.core.units import parameter

COVERAGE = 2.0


@dataclass(frozen=True)
class Relation:
    """A quantity that follows from parameters: those it needs (the first is what it is mainly about), those that make
    it better, the water it is for (salt, fresh), what to mind, and the source."""

    key: str
    name: str
    unit: str
    decimals: int
    water: str
    needs: tuple[str, ...]
    helps: tuple[str, ...]
    caveat: str
    source: str


@dataclass(frozen=True)
class Follows:
    """What follows: the value with its expanded uncertainty (k = 2), or why it cannot be said."""

    relation: Relation
    value: float | None = None
    expanded: float = 0.0
    why_not: str = ""


@cache
def relations() -> tuple[Relation, ...]:
    """All relations, in the order of the table."""
    return tuple(
        Relation(
            key=row["key"],
            name=row["name"],
            unit=row["unit"],
            decimals=int(row["decimals"]),
            water=row["water"],
            needs=tuple(row["needs"].split()),
            helps=tuple(row["helps"].split()),
            caveat=row["caveat"],
            source=row["source"],
        )
        for row in read_csv("relations.csv")
    )


def relations_in(*, salt: bool) -> list[Relation]:
    """Those of salt, or of fresh water."""
    return [relation for relation in relations() if relation.water == ("salt" if salt else "fresh")]


def _sea(given: Mapping[str, float]) -> Water:
    s, t = given["salinity"], given["temperature"]
    total = ph_on(ph=given["ph"], scale="NBS", to="total", salinity=s, temperature_c=t)
    return Water(given["alkalinity"], total, s, t, given.get("calcium"))


def _toxic(given: Mapping[str, float]) -> float:
    share = toxic_fraction(
        Context(
            temperature_c=given["temperature"],
            ph=given["ph"],
            salinity=given.get("salinity", 0.0),
            ph_scale="NBS scale",
        )
    )
    return given["ammonia_total"] * share


def _oxygen(given: Mapping[str, float]) -> float:
    full = saturation_mg_l(salinity=given.get("salinity", 0.0), temperature_c=given["temperature"])
    return 100 * given["dissolved_oxygen"] / full


def _planted(given: Mapping[str, float]) -> float:
    return carbon_dioxide_mg_l(
        carbonate_hardness_dkh=given["carbonate_hardness"],
        ph=given["ph"],
        temperature_c=given["temperature"],
    )


def _gravity(given: Mapping[str, float]) -> float:
    return specific_gravity(salinity=given["salinity"], temperature_c=25.0, reference_c=25.0)


MODELS: dict[str, Callable[[Mapping[str, float]], float]] = {
    "toxic_ammonia": _toxic,
    "aragonite": lambda given: _sea(given).carbonate().aragonite,
    "carbon_dioxide_pressure": lambda given: _sea(given).carbonate().pco2_uatm,
    "carbon_dioxide": _planted,
    "oxygen_share": _oxygen,
    "specific_gravity": _gravity,
}


def follows(relation: Relation, values: Mapping[str, Known]) -> Follows:
    """What follows from values in canonical units with their standard uncertainties; what is missing, or lies beyond the
    formulas, is said in words and nothing is guessed."""
    missing = [name for name in relation.needs if name not in values]
    if missing:
        return Follows(relation, why_not=f"It needs {_listed(missing)} of the same time.")
    used = [*relation.needs, *(name for name in relation.helps if name in values)]
    return _reckoned(relation, tuple((name, values[name]) for name in used))


@lru_cache(maxsize=4096)
def _reckoned(relation: Relation, inputs: tuple[tuple[str, Known], ...]) -> Follows:
    model = MODELS[relation.key]
    try:
        found = combined(lambda **given: model(given), dict(inputs))
    except OutOfRange as beyond:
        return Follows(relation, why_not=str(beyond))
    return Follows(relation, value=found.value, expanded=COVERAGE * found.u)


def _listed(names: list[str]) -> str:
    words = ["pH" if name == "ph" else parameter(name).name.lower() for name in names]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
