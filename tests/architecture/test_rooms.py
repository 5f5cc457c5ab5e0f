"""Which rooms and models there are, and proof that the watch over the core and over the rooms sees what it should."""

import subprocess
import sys
import tomllib
from collections.abc import Iterable
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.conf import settings

ROOT = Path(settings.ROOT)
ROOTS = ("servicedesk", "clients", "reports")
OURS = [name for name in settings.INSTALLED_APPS if name.split(".")[0] in ROOTS]
WITH_ROWS = [name for name in OURS if name != "servicedesk.desk"]
IMPORT_ALL = """
import importlib, pkgutil, sys
package = importlib.import_module(sys.argv[1])
for module in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
    importlib.import_module(module.name)
print(sorted({name.partition(".")[0] for name in sys.modules} & {"django", "celery", "rest_framework"}))
"""


def frameworks_loaded_by(package: str, folder: Path) -> str:
    """Which frameworks a fresh interpreter holds after importing all of a package."""
    ran = subprocess.run(
        [sys.executable, "-c", IMPORT_ALL, package], cwd=folder, capture_output=True, text=True, check=True
    )
    return ran.stdout.strip()


def apps_outside_the_contracts(names: Iterable[str]) -> list[str]:
    """Rooms that do not stand in the line of rooms, or whose inside no contract watches."""
    listed = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]["contracts"]
    contracts = {contract["name"]: contract for contract in listed}
    layers = contracts["Rooms stand in one line"]["layers"]
    line = {name.strip() for layer in layers for name in layer.split("|")}
    watched = contracts["Inside a room, calls run downstairs"]["containers"]
    return [f"{name} is not in the line of rooms" for name in names if name not in line] + [
        f"the inside of {name} is not watched" for name in names if name not in watched
    ]


def models_without_a_room(models: Iterable[type]) -> list[str]:
    """Models that do not stand in the models.py (or models/) of a room that holds rows."""
    homes = tuple(f"{app}.models" for app in WITH_ROWS)
    return [
        f"{model.__module__}.{model.__name__}"
        for model in models
        if not any(model.__module__ == home or model.__module__.startswith(home + ".") for home in homes)
    ]


# slow: a fresh interpreter
@pytest.mark.slow
def test_core_imported_whole_loads_no_framework() -> None:
    assert frameworks_loaded_by("servicedesk.core", ROOT) == "[]"


# slow: a fresh interpreter
@pytest.mark.slow
def test_a_core_that_loads_django_by_a_back_door_is_caught(tmp_path: Path) -> None:
    (tmp_path / "kernel" / "deep").mkdir(parents=True)
    (tmp_path / "kernel" / "__init__.py").touch()
    back_door = "import importlib; importlib.import_module('django')"
    (tmp_path / "kernel" / "deep" / "__init__.py").write_text(back_door)

    assert frameworks_loaded_by("kernel", tmp_path) == "['django']"


def test_every_app_stands_in_the_contracts() -> None:
    assert apps_outside_the_contracts(OURS) == []


def test_an_app_that_stands_in_no_contract_is_caught() -> None:
    assert apps_outside_the_contracts([*OURS, "servicedesk.nursery"]) == [
        "servicedesk.nursery is not in the line of rooms",
        "the inside of servicedesk.nursery is not watched",
    ]


def test_every_folder_of_the_house_is_an_app_or_holds_no_rows() -> None:
    folders = {f"servicedesk.{path.parent.name}" for path in (ROOT / "servicedesk").glob("*/__init__.py")}

    assert folders - set(OURS) == {"servicedesk.core", "servicedesk.settings", "servicedesk.web"}


def test_every_model_stands_in_the_models_of_a_room() -> None:
    ours = [model for model in apps.get_models() if model.__module__.split(".")[0] in ROOTS]

    assert len(ours) > 40
    assert models_without_a_room(ours) == []


def test_a_model_in_a_view_or_in_the_desk_is_caught() -> None:
    models = [
        SimpleNamespace(__module__="servicedesk.water.views", __name__="Stray"),
        SimpleNamespace(__module__="servicedesk.desk.models", __name__="Screen"),
        SimpleNamespace(__module__="servicedesk.water.models", __name__="Reading"),
    ]

    assert models_without_a_room(models) == [  # type: ignore[arg-type]
        "servicedesk.water.views.Stray",
        "servicedesk.desk.models.Screen",
    ]
