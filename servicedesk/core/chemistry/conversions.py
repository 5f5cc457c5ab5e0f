"""Conversions that must know more than the number: density, temperature, salinity, the scale of a pH.

`Context` says what is known of the water and of the instrument; what a conversion needs and does not find is named in
NeedsContext. Everything else goes straight to core.units."""

from collections.abc import Callable
from dataclasses import dataclass

from servicedesk.core import units
from servicedesk.core.chemistry import ammonia, oxygen, salinity
from servicedesk.core.units import NeedsContext

MEQ_DKH = units.to_canonical(parameter="alkalinity", value=1.0, unit="meq/L")
WORDS = {
    "temperature_c": "the temperature of the water",
    "salinity": "the salinity of the water",
    "reference_c": "the temperature the instrument refers to",
    "ph": "the pH of the water",
    "ph_scale": "the scale of the pH",
    "pressure_hpa": "the air pressure",
    "tds_factor": "the factor the instrument uses",
}


@dataclass(frozen=True)
class Context:
    """What is known: °C, practical salinity (0 for fresh water), °C the hydrometer or refractometer refers to, pH with
    its scale, hPa, mg/L per µS/cm. None is not known."""

    temperature_c: float | None = None
    salinity: float | None = None
    reference_c: float | None = None
    ph: float | None = None
    ph_scale: str | None = None
    pressure_hpa: float | None = None
    tds_factor: float | None = None


NOTHING = Context()
FRESH_BELOW = 0.5


def _known(context: Context, what: str, *names: str) -> tuple[float, ...]:
    missing = tuple(WORDS[name] for name in names if getattr(context, name) is None)
    if missing:
        raise NeedsContext(f"{what} needs {' and '.join(missing)}.", missing)
    return tuple(getattr(context, name) for name in names)


def _gravity(context: Context) -> tuple[float, float]:
    temperature, reference = _known(context, "Specific gravity", "temperature_c", "reference_c")
    return temperature, reference


def _from_gravity(value: float, context: Context) -> float:
    temperature, reference = _gravity(context)
    return salinity.practical_from_specific_gravity(
        gravity=value, temperature_c=temperature, reference_c=reference
    )


def _to_gravity(value: float, context: Context) -> float:
    temperature, reference = _gravity(context)
    return salinity.specific_gravity(salinity=value, temperature_c=temperature, reference_c=reference)


def _from_conductivity(value: float, context: Context) -> float:
    (temperature,) = _known(context, "Salinity from conductivity", "temperature_c")
    return salinity.practical_from_conductivity(conductivity_ms_cm=value, temperature_c=temperature)


def _to_conductivity(value: float, context: Context) -> float:
    (temperature,) = _known(context, "Conductivity from salinity", "temperature_c")
    return salinity.conductivity(salinity=value, temperature_c=temperature)


def _kg_per_l(context: Context) -> float:
    s, t = _known(context, "An amount per kilogram", "salinity", "temperature_c")
    return salinity.density(salinity=s, temperature_c=t) / 1000


def _saturation(context: Context) -> float:
    s, t, p = _known(context, "Per cent of saturation", "salinity", "temperature_c", "pressure_hpa")
    return oxygen.saturation_mg_l(salinity=s, temperature_c=t, pressure_hpa=p) / 100


def toxic_fraction(context: Context) -> float:
    """The share of total ammonia that is un-ionised, by the water that the context tells. Raises NeedsContext, OutOfRange."""
    what = "Un-ionised ammonia"
    s, t, ph = _known(context, what, "salinity", "temperature_c", "ph")
    _known(context, what, "ph_scale")
    if s < FRESH_BELOW:
        return ammonia.toxic_fraction_fresh(temperature_c=t, ph=ph)
    return ammonia.toxic_fraction_sea(temperature_c=t, ph=ph, salinity=s, scale=str(context.ph_scale))


def _tds(context: Context) -> float:
    (factor,) = _known(context, "Total dissolved solids from conductivity", "tds_factor")
    return 1000 * factor


Turn = Callable[[float, Context], float]


def _by(factor: Callable[[Context], float]) -> tuple[Turn, Turn]:
    return (lambda v, c: v * factor(c), lambda v, c: v / factor(c))


TURNS: dict[tuple[str, str], tuple[Turn, Turn]] = {
    ("salinity", "SG"): (_from_gravity, _to_gravity),
    ("salinity", "mS/cm"): (_from_conductivity, _to_conductivity),
    ("salinity", "g/kg"): (lambda v, _c: v * 35 / 35.16504, lambda v, _c: v * 35.16504 / 35),
    ("alkalinity", "mmol/kg"): _by(lambda c: _kg_per_l(c) * MEQ_DKH),
    ("alkalinity", "µmol/kg"): _by(lambda c: _kg_per_l(c) * MEQ_DKH / 1000),
    ("calcium", "mg/kg"): _by(_kg_per_l),
    ("magnesium", "mg/kg"): _by(_kg_per_l),
    ("potassium", "mg/kg"): _by(_kg_per_l),
    ("ammonia_total", "mg/L N un-ionised"): _by(lambda c: 1 / toxic_fraction(c)),
    ("dissolved_oxygen", "% saturation"): _by(_saturation),
    ("tds", "mS/cm"): _by(_tds),
}


SCALES = {("salinity", "SG"), ("salinity", "mS/cm"), ("dissolved_oxygen", "% saturation")}
"""Scales of instruments for the bench that need the water's temperature, unless the instrument compensates."""


def to_canonical(*, parameter: str, value: float, unit: str, context: Context = NOTHING) -> float:
    """A value in `unit` in the parameter's canonical unit. Raises what core.units raises, NeedsContext naming what is
    missing, and OutOfRange where a formula does not hold."""
    turn = TURNS.get((parameter, unit))
    if turn is None:
        return units.to_canonical(parameter=parameter, value=value, unit=unit)
    return turn[0](units.finite(value), context)


def from_canonical(*, parameter: str, value: float, unit: str, context: Context = NOTHING) -> float:
    """A canonical value in `unit`; the same errors."""
    turn = TURNS.get((parameter, unit))
    if turn is None:
        return units.from_canonical(parameter=parameter, value=value, unit=unit)
    return turn[1](units.finite(value), context)
