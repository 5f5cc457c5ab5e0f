"""A small rule program as JSON, evaluated here and, word for word alike, in the browser (static/js/sheet/program.js).

    {"version": 1, "inputs": ["alkalinity", …], "steps": [["name", expression], …], "outputs": {"name": expression}}

An expression is a number, true, false, null, the name of an input or an earlier step, or [op, …]. Missing values
are null. Arithmetic with anything that is no number is null; an order between things that are not two numbers is
false; only two numbers, two words or two truths can be equal. What is not finite becomes null. `round` and `fixed`
(a number as text) name their digits and round half away from zero. Anything unknown is refused before it runs; a step
knows only what stands before it, so there is no cycle."""

from servicedesk.core.program.evaluate import ProgramWrong, check, evaluate

__all__ = ["ProgramWrong", "check", "evaluate"]
