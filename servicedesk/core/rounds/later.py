"""Libraries that are slow to load and seldom needed: they come when something of theirs is first used, so that a process
that plans no rounds never pays for them."""

import importlib
from types import ModuleType
from typing import Any


class Later:
    """A module by name, imported at the first question for one of its names."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._module: ModuleType | None = None

    def __getattr__(self, wanted: str) -> Any:
        if self._module is None:
            self._module = importlib.import_module(self._name)
        return getattr(self._module, wanted)


np: Any = Later("numpy")
vrp: Any = Later("pyvrp")
vrp_search: Any = Later("pyvrp.search")
vrp_exceptions: Any = Later("pyvrp.exceptions")
