import json
import math

import pytest

from servicedesk.core.program import ProgramWrong, check, evaluate
from servicedesk.core.program.evaluate import ARITY
from servicedesk.core.tables import read_json
from tests.core import vectors


def program(expression, inputs=("a", "b"), steps=()):
    return {"version": 1, "inputs": list(inputs), "steps": list(steps), "outputs": {"x": expression}}


def run(expression, **inputs):
    return evaluate(program(expression), inputs)["x"]


@pytest.mark.parametrize(
    ("expression", "value"),
    [
        (["+", 1, 2, 3], 6.0),
        (["-", 5], -5.0),
        (["-", 5, 2], 3.0),
        (["*", 2, "a"], 6.0),
        (["/", "a", 0], None),
        (["/", "a", 2], 1.5),
        (["min", 4, "a"], 3.0),
        (["max", 4, "a"], 4.0),
        (["abs", -2], 2.0),
        (["ceil", 2.1], 3.0),
        (["clamp", 9, 1, 5], 5.0),
        (["round", 2.5, 0], 3.0),
        (["round", -2.5, 0], -3.0),
        (["round", -0.2, 0], 0.0),
        (["fixed", 7.25, 1], "7.3"),
        (["+", "a", "b"], None),
        (["<", "b", 1], False),
        ([">=", "a", 3], True),
        (["=", ["word", "x"], ["word", "x"]], True),
        (["and", True, ["<", "a", 5]], True),
        (["or", False, "b"], False),
        (["not", "b"], True),
        (["missing", "b"], True),
        (["if", ["<", "a", 5], 1, 2], 1),
        (["if", "b", 1, 2], 2),
        (["table", "a", [0, 10], [0, 100]], 30.0),
        (["table", 99, [0, 10], [0, 100]], 100.0),
        (["table", -1, [0, 10], [5, 100]], 5.0),
        (["table", "b", [0, 10], [0, 100]], None),
        (["list", 1, None, "b", 2], [1, 2]),
        (["*", 1e308, 10], None),
    ],
)
def test_evaluate_one_operation(expression, value):
    assert run(expression, a=3.0) == value


def test_a_saying_holds_its_parts_and_what_goes_with_it():
    said = run(["say", "raise", {"ml": ["fixed", "a", 0]}, {"ml": "a"}], a=3.0)

    assert said == {"say": "raise", "parts": {"ml": "3"}, "with": {"ml": 3.0}}


@pytest.mark.parametrize(
    "expression",
    [["boom", 1], ["+", 1], "unknown", [], [1], ["word", 3], ["say", 3, {}], ["say", "x", []], ["table", 1, [1], [1]], ["table", 1, [2, 1], [1, 1]], math.nan, {"a": 1}, ["round", 1], ["round", "a", 10], ["round", "a", "b"], ["fixed", "a", -1], ["fixed", "a", 1.5], ["fixed", "a", True], ["table", "a", [0, "x"], [0, 1]], ["table", "a", [0, 1], [0, math.inf]], 2**60, 10**400],
)  # fmt: skip
def test_a_program_that_is_not_understood_is_refused_before_it_runs(expression):
    with pytest.raises(ProgramWrong):
        evaluate(program(expression), {"a": 1.0})


def test_another_version_is_refused():
    with pytest.raises(ProgramWrong):
        check({**program(1), "version": 2})


@pytest.mark.parametrize(
    "part",
    [{"inputs": None}, {"inputs": [1]}, {"inputs": ["a", "a"]}, {"steps": None}, {"steps": [["c"]]}, {"steps": [[1, 1]]}, {"steps": [7]}, {"outputs": None}],
)  # fmt: skip
def test_a_program_of_another_form_is_refused(part):
    with pytest.raises(ProgramWrong):
        check({**program(1), **part})


def test_a_step_that_knows_itself_or_a_later_one_is_refused():
    for steps in ([["c", "c"]], [["c", "d"], ["d", "c"]]):
        with pytest.raises(ProgramWrong, match="used before it is known"):
            check(program(1, steps=steps))


def test_a_step_said_twice_is_refused():
    with pytest.raises(ProgramWrong):
        check(program(1, steps=[["c", 1], ["c", 2]]))


def test_an_endless_nesting_is_refused():
    deep = 1
    for _n in range(60):
        deep = ["-", deep]
    with pytest.raises(ProgramWrong):
        check(program(deep))


def test_an_input_that_is_not_finite_is_refused():
    for value in (math.inf, math.nan, "7", True):
        with pytest.raises(ProgramWrong):
            run("a", a=value)


def test_steps_build_on_one_another():
    assert evaluate(program("d", steps=[["c", ["+", "a", 1]], ["d", ["*", "c", 2]]]), {"a": 2.0})["x"] == 6.0


def test_the_shared_vectors_are_those_the_compiler_makes_today():
    """When this fails the compiler changed: make the vectors anew (python -m tests.core.vectors) and look at them."""
    kept = json.loads(vectors.FILE.read_text(encoding="utf-8"))

    assert json.loads(json.dumps(vectors.make())) == kept


def test_the_files_pool_unpacks_to_whole_cases():
    entry = vectors.unpacked(json.loads(vectors.FILE.read_text(encoding="utf-8")))[-1]

    for case, wanted in entry["cases"]:
        assert evaluate(entry["program"], case) == wanted


def test_there_are_thousands_of_vectors():
    kept = json.loads(vectors.FILE.read_text(encoding="utf-8"))

    assert sum(len(p["cases"]) for p in kept["programs"]) >= 5000


def test_the_vectors_use_every_operation():
    kept = json.loads(vectors.FILE.read_text(encoding="utf-8"))["programs"]
    used = set()

    def walk(expression):
        if isinstance(expression, dict):
            expression = list(expression.values())
        elif isinstance(expression, list) and expression and isinstance(expression[0], str):
            used.add(expression[0])
        for part in expression if isinstance(expression, list) else []:
            walk(part)

    walk([p["program"]["outputs"] for p in kept])

    assert set(ARITY) <= used


def test_the_vectors_say_every_sentence_that_a_program_can_say():
    kept = vectors.FILE.read_text(encoding="utf-8")
    unsaid = {name for name in read_json("sentences.json") if f'"say":"{name}"' not in kept}

    assert unsaid == set()
