"""The benches, one module each. A bench has `run(options: Options) -> dict[str, Any]`; see commands/bench.py."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Options:
    """What a bench is told: the seed of its choices, how often to measure (0: as it likes), where to say things, whether it may take an hour,
    what benches of their own ask beyond that (`add_arguments(parser)` in the module)."""

    seed: int
    repeat: int
    say: Callable[[str], object]
    long: bool = False
    more: Mapping[str, Any] = field(default_factory=dict)
