"""The benches, one module each. A bench has `run(options: Options) -> dict[str, Any]`; see commands/bench.py."""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Options:
    """What a bench is told: the seed of its choices, how often to measure (0: as it likes), where to say things, whether it may take an hour."""

    seed: int
    repeat: int
    say: Callable[[str], object]
    long: bool = False
