"""What is wrong with a problem before anything is planned, in sentences. What only keeps single visits out is said by `why`."""

from __future__ import annotations

from collections.abc import Iterator

from servicedesk.core.rounds.problem import DAY_S, NotPlanned, Problem, Shift, Visit


def odd(problem: Problem) -> list[str]:
    """Everything that cannot be, each in one sentence; empty where all is well. A week without visits is well."""
    return [*_shape(problem), *_twice(problem), *_ties(problem)] or [
        *(sentence for visit in problem.visits for sentence in _visit(problem, visit)),
        *(sentence for shift in problem.shifts for sentence in _shift(problem, shift)),
    ]


def refuse_odd(problem: Problem) -> None:
    """Raises NotPlanned with the first sentences of `odd`."""
    sentences = odd(problem)
    if sentences:
        more = f" And {len(sentences) - 3} more." if len(sentences) > 3 else ""
        raise NotPlanned(" ".join(sentences[:3]) + more)


def _shape(problem: Problem) -> Iterator[str]:
    rows, costs, many = problem.travel.rows, problem.travel.costs, len(problem.travel.rows)
    if any(len(row) != many for row in rows) or len(costs) != many or any(len(row) != many for row in costs):
        yield "Travel needs as many columns as rows, one of each for every place."
        return
    if any(rows[n][n] or costs[n][n] for n in range(many)):
        yield "The way from a place to itself takes nought seconds and costs nought."
    if any(value < 0 for square in (rows, costs) for row in square for value in row):
        yield "Travel is never less than nought."
    used = {visit.place for visit in problem.visits}
    used |= {
        place for s in problem.shifts for place in (s.start, s.end, *([s.refill.place] if s.refill else []))
    }
    if any(not 0 <= place < many for place in used):
        yield f"A place is named that travel does not know: it knows {many}."


def _twice(problem: Problem) -> Iterator[str]:
    if len(problem.visit) != len(problem.visits):
        yield "Two visits carry the same name."
    if len(problem.shift) != len(problem.shifts):
        yield "A technician has two shifts on one day."
    if any(visit.id.startswith("+") for visit in problem.visits):
        yield "The name of a visit does not begin with a plus sign."


def _ties(problem: Problem) -> Iterator[str]:
    named = [visit for tie in problem.ties for visit in tie.visits]
    if len(named) != len(set(named)) or not set(named) <= set(problem.visit):
        yield "Each visit stands in one tie at most, and a tie names visits that there are."
    for tie in problem.ties:
        if not tie.patterns or any(len(pattern) != len(tie.visits) for pattern in tie.patterns):
            yield f"The tie of {', '.join(tie.visits)} needs patterns of {len(tie.visits)} days each."
        if tie.prices and len(tie.prices) != len(tie.patterns):
            yield f"The tie of {', '.join(tie.visits)} needs one price for each pattern, or none."
    paired = [visit for pair in problem.pairs for visit in (pair.first, pair.second)]
    if len(paired) != len(set(paired)) or not set(paired) <= set(problem.visit):
        yield "Each visit stands in one pair at most, and a pair names two visits that there are."


def _visit(problem: Problem, visit: Visit) -> Iterator[str]:
    if visit.seconds < 0 or any(load < 0 for load in visit.loads):
        yield f"Visit {visit.id}: time and loads are nought or more."
    if visit.change_price < 0 or (visit.skip_price or 0) < 0 or any(w.price < 0 for w in visit.windows):
        yield f"Visit {visit.id}: prices are nought or more."
    if any(window.latest < window.earliest for window in visit.windows):
        yield f"Visit {visit.id}: a window closes before it opens, or is shorter than the work."
    if any(window.earliest < 0 or window.latest >= 2 * DAY_S for window in visit.windows):
        yield f"Visit {visit.id}: windows lie within their day."
    if problem.shifts and len(visit.loads) > len(problem.shifts[0].van):
        yield f"Visit {visit.id} names more kinds of load than the vans have."


def _shift(problem: Problem, shift: Shift) -> Iterator[str]:
    who = f"The shift of {shift.technician} on day {shift.day + 1}"
    if not 0 <= shift.earliest <= shift.latest < 2 * DAY_S or shift.day < 0:
        yield f"{who} ends before it begins."
    if any(room < 0 for room in shift.van) or len(shift.van) != len(problem.shifts[0].van):
        yield f"{who}: the van holds nought or more, in as many kinds of load as the others."
    if shift.overtime < 0 or shift.overtime_price < 0 or shift.fixed_price < 0 or (shift.paid or 0) < 0:
        yield f"{who}: hours and prices are nought or more."
    if shift.lunch and (shift.lunch.latest < shift.lunch.earliest or shift.lunch.seconds < 0):
        yield f"{who}: lunch ends before it may begin."
    if not problem.travel.joined(shift.start, shift.end):
        yield f"{who}: there is no way from where it starts to where it ends."
