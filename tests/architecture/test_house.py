"""The house keeps its shape: rooms ask one another in few words, the core is plain, files are small, facts are guarded.
Each check is shown a planted fault that it must catch."""

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import grimp
import pytest
from django.apps import apps
from django.db import connection

from servicedesk.core.rounds.compiled.compiling import SOURCES
from servicedesk.web.facts import Fact

ROOT = Path(__file__).resolve().parents[2]
ASKABLE = {"models", "choices", "queries", "actions"}
FREE = {"servicedesk.core", "servicedesk.web", "servicedesk.celery", "servicedesk.settings"}
DOORS = {"servicedesk.desk", "servicedesk.urls"}
JOBS = "servicedesk.dispatch.jobs"
LONGEST_FILE, LONGEST_FUNCTION, LONGEST_PAGE, LONGEST_COMPONENT, LONGEST_SCRIPT = 400, 40, 120, 40, 200


def room_of(module: str) -> str:
    parts = module.split(".")
    return ".".join(parts[:2]) if parts[0] == "servicedesk" and len(parts) > 1 else parts[0]


def floor_of(module: str) -> str:
    return module[len(room_of(module)) :].strip(".").split(".")[0]


def wrong_questions(imports: set[tuple[str, str]]) -> list[str]:
    """Imports by which one room asks another for more than models, choices, queries and actions. The registry of
    work (dispatch.jobs) may be asked by other rooms' jobs; the desk's screens may show what other rooms' doors draw."""
    found = []
    for asker, asked in sorted(imports):
        if (
            room_of(asker) == room_of(asked)
            or room_of(asked) in FREE | {"servicedesk"}
            or room_of(asker) in FREE
        ):
            continue
        if floor_of(asked) in ASKABLE or (asked == JOBS and floor_of(asker) == "jobs"):
            continue
        if room_of(asker) in DOORS and floor_of(asked) in {"urls", "views", "forms", "jobs", "render"}:
            continue
        found.append(f"{asker} asks {asked}")
    return found


def all_imports() -> set[tuple[str, str]]:
    graph = grimp.build_graph("servicedesk", "clients", "reports", cache_dir=None)
    return {
        (a, b)
        for a in graph.modules
        for b in graph.find_modules_directly_imported_by(a)
        if b.split(".")[0] in ("servicedesk", "clients", "reports")
    }


def test_rooms_ask_one_another_only_for_models_choices_queries_and_actions():
    assert wrong_questions(all_imports()) == []


def test_a_planted_question_for_a_form_is_caught():
    planted = {("servicedesk.visits.actions.journal", "servicedesk.staff.forms")}

    assert wrong_questions(planted) == ["servicedesk.visits.actions.journal asks servicedesk.staff.forms"]


def test_the_core_loads_neither_django_nor_celery():
    """What is compiled loads its compiler when a search first wants it (see core/rounds/compiled/compiling), not before."""
    compiled = {ROOT / "servicedesk/core/rounds/compiled" / f"{name}.py" for name in SOURCES}
    names = [
        ".".join(p.relative_to(ROOT).with_suffix("").parts)
        for p in (ROOT / "servicedesk/core").rglob("*.py")
        if p not in compiled
    ]
    code = f"import sys, importlib; [importlib.import_module(n) for n in {names!r}]; print([m for m in ('django', 'celery', 'numpy', 'numba') if m in sys.modules])"

    said = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout

    assert said.strip() == "[]"


def python_files() -> list[Path]:
    files = [
        p for name in ("servicedesk", "clients", "reports", "tests") for p in (ROOT / name).rglob("*.py")
    ]
    return [p for p in files if "migrations" not in p.parts]


def too_long(path: Path, text: str) -> list[str]:
    found = [f"{path.name}: {n} lines"] if (n := len(text.splitlines())) > LONGEST_FILE else []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            length = (node.end_lineno or 0) - node.lineno + 1
            if length > LONGEST_FUNCTION:
                found.append(f"{path.name}: {node.name} {length} lines")
    return found


def test_files_and_functions_are_short():
    house = [p for p in python_files() if "tests" not in p.parts]

    assert [line for path in house for line in too_long(path, path.read_text(encoding="utf-8"))] == []


def test_a_planted_long_function_is_caught():
    text = "def f():\n" + "    pass\n" * 41

    assert too_long(Path("x.py"), text) == ["x.py: f 42 lines"]


def test_templates_and_scripts_are_short():
    wrong = []
    for path in (ROOT / "templates").rglob("*.html"):
        most = LONGEST_COMPONENT if "components" in path.parts else LONGEST_PAGE
        if len(path.read_text(encoding="utf-8").splitlines()) > most:
            wrong.append(path.name)
    for path in (ROOT / "servicedesk/static/js").rglob("*.js"):
        if len(path.read_text(encoding="utf-8").splitlines()) > LONGEST_SCRIPT:
            wrong.append(path.name)

    assert wrong == []


INLINE = re.compile(r"<script(?![^>]*\bsrc=)|\sstyle=|\son[a-z]+=|<style")


def test_templates_hold_nothing_inline():
    """The security policy forbids it. Papers and mails are no pages of ours: they are drawn apart."""
    pages = [p for p in (ROOT / "templates").rglob("*.html") if not p.name.startswith(("paper_", "mail"))]

    assert [p.name for p in pages if INLINE.search(p.read_text(encoding="utf-8"))] == []
    assert INLINE.search('<p style="x">')
    assert INLINE.search("<script>1</script>")
    assert not INLINE.search('<script type="module" src="x"></script>')


def test_every_app_stands_in_the_contracts():
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]["contracts"]
    line = {name.strip() for row in contracts[0]["layers"] for name in row.split("|")}
    inside = set(contracts[2]["containers"])
    ours = {
        c.name
        for c in apps.get_app_configs()
        if c.name.split(".")[0] in ("servicedesk", "clients", "reports")
    }

    assert ours - line == set()
    assert ours - inside == set()


@pytest.mark.django_db
def test_every_table_of_facts_is_guarded_by_the_database():
    tables = {m._meta.db_table for m in apps.get_models() if issubclass(m, Fact)} | {"visits_entry"}
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(
                "SELECT tbl_name FROM sqlite_master WHERE type = 'trigger' GROUP BY tbl_name HAVING count(*) >= 2"
            )
        else:
            cursor.execute(
                "SELECT relname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid WHERE NOT tgisinternal"
            )
        guarded = {row[0] for row in cursor.fetchall()}

    assert tables - guarded == set()
