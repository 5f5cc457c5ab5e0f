"""Several parameters at once: how much of each product, none below nought, when products move more than one of them."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from servicedesk.core.chemistry.dosing import NoDose

LEAST_SCALE = 1e-9
"""A rise smaller than this (canonical units) counts as none."""


@dataclass(frozen=True)
class Mixture:
    """mL of each product, and by how much every parameter then misses its rise (canonical units, negative: too little)."""

    ml: Mapping[str, float]
    missed: Mapping[str, float]

    @property
    def exact(self) -> bool:
        """Whether every rise is met to a thousandth of itself."""
        return all(abs(miss) < 1e-9 for miss in self.missed.values())


def amounts(
    *,
    rises: Mapping[str, float],
    products: Mapping[str, Mapping[str, float]],
    net_l: float,
    weights: Mapping[str, float] | None = None,
) -> Mixture:
    """The non-negative mL of each product that come nearest to the wanted rises (canonical units); `products` names what a mL
    brings of each parameter (units times litres). Misses are weighed by 1/`weights` (the safe step or the band's width, say),
    by the rise itself where none is given: least squares without negative amounts (Lawson & Hanson 1974). Raises NoDose."""
    if not 0 < net_l < math.inf or not rises or not products:
        raise NoDose("A volume above nought, one rise and one product are needed.")
    names: Sequence[str] = sorted(rises)
    moved = {p for brings in products.values() for p in brings}
    numbers = [*rises.values(), *(v for brings in products.values() for v in brings.values())]
    if not all(map(math.isfinite, numbers)):
        raise NoDose("A rise or a strength is not a number.")
    for name in sorted(moved - set(rises)):
        raise NoDose(f"A product also moves {name}: say by how much it may rise.")
    said = {p: abs((weights or {}).get(p) or rises[p]) for p in names}
    scale = {p: size if size > LEAST_SCALE else 1.0 for p, size in said.items()}
    from scipy.optimize import nnls  # noqa: PLC0415 (slow to load, seldom needed)

    matrix = [
        [products[product].get(p, 0.0) / net_l / scale[p] for product in sorted(products)] for p in names
    ]
    found, _miss = nnls(matrix, [rises[p] / scale[p] for p in names])
    ml = dict(zip(sorted(products), map(float, found), strict=True))
    missed = {
        p: sum(ml[product] * products[product].get(p, 0.0) for product in ml) / net_l - rises[p]
        for p in names
    }
    return Mixture(ml, missed)
