"""Uncertainty of what is computed from uncertain things: the law of propagation, JCGM 100:2008 (GUM).

First order (5.1.2, with correlation 5.2.2), effective degrees of freedom by Welch and Satterthwaite (G.4.1), half-widths
turned to standard uncertainties (4.3). Slopes are taken across one standard uncertainty to either side, so that a model
that is all but flat at its middle is not taken for certain."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass


class NotPropagated(ValueError):
    """It cannot be reckoned; the sentence says why."""


def _half(width: float) -> float:
    if not 0 <= width < math.inf:
        raise NotPropagated("A half-width is nought or more.")
    return width


def rectangular_u(half_width: float) -> float:
    """Standard uncertainty of limits with nothing known between them: a/sqrt 3."""
    return _half(half_width) / math.sqrt(3)


def triangular_u(half_width: float) -> float:
    """Standard uncertainty of limits with the middle likelier: a/sqrt 6."""
    return _half(half_width) / math.sqrt(6)


def arcsine_u(half_width: float) -> float:
    """Standard uncertainty of what swings between two ends: a/sqrt 2."""
    return _half(half_width) / math.sqrt(2)


@dataclass(frozen=True)
class Known:
    """A value with its standard uncertainty and degrees of freedom (infinite: taken for exact)."""

    value: float
    u: float = 0.0
    freedom: float = math.inf

    def __post_init__(self) -> None:
        if not math.isfinite(self.value) or not 0 <= self.u < math.inf or not self.freedom > 0:
            raise NotPropagated(
                "A value is finite, its uncertainty nought or more, its freedom above nought."
            )


@dataclass(frozen=True)
class Combined:
    """The value, its combined standard uncertainty, effective degrees of freedom, and what each input adds to u."""

    value: float
    u: float
    freedom: float
    parts: dict[str, float]


def combined(
    model: Callable[..., float],
    inputs: Mapping[str, Known],
    correlations: Mapping[tuple[str, str], float] | None = None,
) -> Combined:
    """What a model of named values gives, with its uncertainty. `correlations` are between -1 and 1 by pairs of names;
    degrees of freedom are then only meant for inputs that are not correlated. Raises NotPropagated."""
    values = {name: known.value for name, known in inputs.items()}
    parts = {name: _slope(model, values, name, known.u) * known.u for name, known in inputs.items()}
    variance = sum(part**2 for part in parts.values())
    for (one, other), r in (correlations or {}).items():
        if one not in parts or other not in parts or not -1 <= r <= 1:
            raise NotPropagated("A correlation lies between -1 and 1 and names two of the inputs.")
        variance += 2 * r * parts[one] * parts[other]
    u = math.sqrt(max(0.0, variance))
    spread = sum(parts[name] ** 4 / known.freedom for name, known in inputs.items())
    freedom = math.inf if spread == 0 else u**4 / spread
    return Combined(model(**values), u, freedom, {name: abs(part) for name, part in parts.items()})


def _slope(model: Callable[..., float], values: dict[str, float], name: str, u: float) -> float:
    if u == 0:
        return 0.0
    up = model(**{**values, name: values[name] + u})
    down = model(**{**values, name: values[name] - u})
    return (up - down) / (2 * u)
