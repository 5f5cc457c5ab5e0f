"""Standard uncertainties of methods, the reference value of replicates, and an instrument's deviation from it.

Sources: JCGM 100:2008 (GUM), 4.3.7 (rectangular distribution of a stated tolerance, a/sqrt 3), 5.1.2 (combination);
Birge 1932, Physical Review 40, 207 (ratio of external to internal consistency); ISO 5725-6:1994, table 1 (critical range
factors f(n), 95 %; typed from memory, each checked by simulation in the tests). Values and uncertainties are in the
parameter's canonical unit; relative tolerances are fractions."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from servicedesk.core.metrology.propagation import rectangular_u

COVERAGE = 2.0
RANGE_FACTORS = (2.8, 3.3, 3.6, 3.9, 4.0, 4.2, 4.3, 4.4, 4.5)
"""f(n) for n = 2 to 10: in 95 of 100 cases n results of one method lie within f(n) standard deviations."""


class NoReplicates(ValueError):
    """A reference value needs at least one result."""


@dataclass(frozen=True)
class MethodSpec:
    """A method with its stated tolerance: absolute, relative (0.05 is 5 %), resolution of the display or drop step,
    and repeatability as a standard deviation where known. Methods of one `lot` (of reagent, or of the standard they
    were set by) share its error."""

    name: str
    kind: str
    tolerance_abs: float = 0.0
    tolerance_rel: float = 0.0
    resolution: float = 0.0
    repeatability: float | None = None
    lot: str | None = None

    def __post_init__(self) -> None:
        for number in (self.tolerance_abs, self.tolerance_rel, self.resolution, self.repeatability or 0.0):
            if not math.isfinite(number) or number < 0:
                raise ValueError("A tolerance is nought or more.")


@dataclass(frozen=True)
class Replicate:
    """One result by one method."""

    value: float
    method: MethodSpec


@dataclass(frozen=True)
class Reference:
    """What is taken for the truth: value, standard uncertainty u, expanded = k u. `agree` is false when the methods
    differ by more than their tolerances explain (birge above 2), or one method's own results lie further apart than
    chance allows; from birge 1 on u is the difference seen. `independent` counts lots, one for each method that names
    none; `sole_lot` is the one lot that everything rests on."""

    value: float
    u: float
    expanded: float
    k: float
    methods: int
    replicates: int
    birge: float
    agree: bool
    independent: int = 1
    sole_lot: str | None = None


@dataclass(frozen=True)
class Deviation:
    """An instrument's value less the reference, its expanded uncertainty, what its tolerance allows, and a verdict
    with guard bands: "within", "outside" or "cannot be told"."""

    delta: float
    expanded: float
    allowed: float
    verdict: str


def tolerance(spec: MethodSpec, value: float) -> float:
    """The stated tolerance of a method at a value: the larger of its absolute and relative part."""
    return max(spec.tolerance_abs, spec.tolerance_rel * abs(value))


def shown_range(spec: MethodSpec, value: float) -> tuple[float, float]:
    """What a method within its tolerance may show in water of that value."""
    wide = tolerance(spec, value)
    return value - wide, value + wide


def bias_u(spec: MethodSpec, value: float) -> float:
    """Standard uncertainty that all replicates of a method share: its tolerance as a rectangle."""
    return rectangular_u(tolerance(spec, value))


def scatter_u(spec: MethodSpec) -> float:
    """Standard uncertainty of a single result that replicates do not share: resolution and repeatability."""
    return math.hypot(rectangular_u(spec.resolution / 2), spec.repeatability or 0.0)


def repeat_u(spec: MethodSpec, value: float) -> float:
    """Standard deviation that replicates of one method may show: what is known of it, else at most its tolerance."""
    return scatter_u(spec) if spec.repeatability else math.hypot(bias_u(spec, value), scatter_u(spec))


def too_far_apart(spec: MethodSpec, values: Sequence[float]) -> bool:
    """Whether results of one method differ by more than chance allows (critical range, 95 %). The first result is the
    level that a relative tolerance is taken of. A method that states nothing is not judged."""
    if len(values) < 2:
        return False
    factor = RANGE_FACTORS[min(len(values) - 2, len(RANGE_FACTORS) - 1)]
    sigma = repeat_u(spec, values[0])
    return sigma > 0 and max(values) - min(values) > factor * sigma


def standard_uncertainty(spec: MethodSpec, value: float) -> float:
    """Standard uncertainty of one result."""
    return math.hypot(bias_u(spec, value), scatter_u(spec))


def _by_method(replicates: Sequence[Replicate]) -> dict[MethodSpec, list[float]]:
    groups: dict[MethodSpec, list[float]] = {}
    for replicate in replicates:
        if not math.isfinite(replicate.value):
            raise NoReplicates("A result is not a number.")
        groups.setdefault(replicate.method, []).append(replicate.value)
    return groups


def _scatter(spec: MethodSpec, values: Sequence[float]) -> float:
    """Standard uncertainty of a method's mean from what its replicates do not share: stated, or seen where larger."""
    mean = sum(values) / len(values)
    known = scatter_u(spec) / math.sqrt(len(values))
    if len(values) < 2:
        return known
    seen = math.sqrt(sum((v - mean) ** 2 for v in values) / (len(values) - 1) / len(values))
    return max(known, seen)


def _shares(stated: Sequence[float]) -> list[float]:
    """The methods' shares in the mean, by 1/u² of what they state; one that states nothing counts like the widest of
    those that do; all alike where none does."""
    widest = max(stated)
    weights = [1 / (s or widest) ** 2 if widest > 0 else 1.0 for s in stated]
    return [w / sum(weights) for w in weights]


def _inner_u(
    groups: Mapping[MethodSpec, Sequence[float]], shares: Sequence[float], level: float
) -> tuple[float, float]:
    """Standard uncertainty of the mean from what the methods state: with what a lot shares, and as if each method
    stood alone. A method that states nothing shares the widest bias stated."""
    widest = max(bias_u(spec, level) for spec in groups)
    of_lot: dict[object, float] = {}
    scatter, alone = 0.0, 0.0
    for share, (spec, values) in zip(shares, groups.items(), strict=True):
        shared = share * (bias_u(spec, level) if standard_uncertainty(spec, level) > 0 else widest)
        of_lot[spec.lot or spec] = of_lot.get(spec.lot or spec, 0.0) + shared
        own = share * _scatter(spec, values)
        scatter, alone = math.hypot(scatter, own), math.hypot(alone, shared, own)
    return math.hypot(scatter, *of_lot.values()), alone


def reference_value(replicates: Sequence[Replicate]) -> Reference:
    """Several results by several methods, combined.

    Replicates of one method are averaged; what they share (the tolerance) does not shrink with their number.
    Methods are weighted by 1/u² of what they state, so that methods with alike tolerances give the plain average.
    Methods of one lot err together: their shared parts add up as they are, not as squares (GUM 5.2.2, correlation 1).
    When methods differ by more than they claim, the difference seen between them is the uncertainty (Birge ratio,
    external over internal consistency as if no lot were shared, above 1) and `agree` says so when it is above 2. Raises
    NoReplicates."""
    if not replicates:
        raise NoReplicates("Nothing was tested.")
    groups = _by_method(replicates)
    level = sum(r.value for r in replicates) / len(replicates)
    means = [sum(values) / len(values) for values in groups.values()]
    stated = [standard_uncertainty(spec, level) for spec in groups]
    shares = _shares(stated)
    value = sum(share * mean for share, mean in zip(shares, means, strict=True))
    together, apart = _inner_u(groups, shares, level)
    outer = 0.0
    if len(means) > 1:
        spread = sum(s * (m - value) ** 2 for s, m in zip(shares, means, strict=True))
        outer = math.sqrt(spread / (len(means) - 1))
    birge = outer / apart if apart > 0 else 0.0
    u = max(together, outer)
    lots = {spec.lot or spec for spec in groups}
    only = next(iter(lots)) if len(lots) == 1 else None
    return Reference(
        value=value,
        u=u,
        expanded=COVERAGE * u,
        k=COVERAGE,
        methods=len(means),
        replicates=len(replicates),
        birge=birge,
        agree=birge <= COVERAGE and not any(too_far_apart(spec, values) for spec, values in groups.items()),
        independent=len(lots),
        sole_lot=only if isinstance(only, str) else None,
    )


def deviation(*, instrument_value: float, instrument: MethodSpec, reference: Reference) -> Deviation:
    """How far an instrument is from the reference value, against its own stated tolerance.

    Guard bands (ISO 14253-1 in spirit): within only when |delta| + expanded <= allowed, outside only when
    |delta| - expanded > allowed, else it cannot be told. The expanded uncertainty is the reference's and the
    instrument's own scatter. A reference that rests on the instrument's own lot alone clears nobody: what is wrong with
    the lot is in both, so that within cannot be told."""
    delta = instrument_value - reference.value
    expanded = COVERAGE * math.hypot(reference.u, scatter_u(instrument))
    allowed = tolerance(instrument, reference.value)
    blind = instrument.lot is not None and instrument.lot == reference.sole_lot
    if abs(delta) + expanded <= allowed and not blind:
        verdict = "within"
    elif abs(delta) - expanded > allowed:
        verdict = "outside"
    else:
        verdict = "cannot be told"
    return Deviation(delta=delta, expanded=expanded, allowed=allowed, verdict=verdict)


def agrees(found: Deviation) -> bool:
    """Whether the two agree: they differ by no more than their expanded uncertainty (E_n of at most 1, ISO 13528), or what is stated."""
    return abs(found.delta) <= max(found.expanded, found.allowed)
