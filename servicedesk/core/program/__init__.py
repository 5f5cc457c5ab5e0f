"""A small rule program as JSON, evaluated here and, word for word alike, in the browser (static/js/sheet/program.js).

    {"version": 1, "inputs": ["alkalinity", …], "steps": [["name", expression], …], "outputs": {"name": expression}}

An expression is a number, true, false, null, the name of an input or an earlier step, or [op, …]. Missing values
are null: arithmetic with null is null, a comparison with null is false. What is not finite becomes null. `round`
rounds half away from zero. Anything unknown is refused before it runs."""

from servicedesk.core.program.evaluate import ProgramWrong, check, evaluate

__all__ = ["ProgramWrong", "check", "evaluate"]
