"""`bench rounds`: solutions in the published shape, the same run not made twice, better weeks kept."""

import json
from pathlib import Path

import pytest

from servicedesk.core.rounds import formats, weeks
from servicedesk.core.rounds.rules import judge
from servicedesk.desk.management.benches import Options, rounds
from tests.core.rounds import checker

PUBLISHED = Path(__file__).parents[2] / "fixtures" / "routing" / "published"


def asked(**more):
    plain = {
        "set_": "solomon",
        "instances": PUBLISHED,
        "only": "",
        "seconds": 0.4,
        "seeds": "1",
        "out": None,
        "threads": 1,
    }
    return {**plain, "no_plain": True, "keep": False, **more}


def bench(**more):
    said = []
    return rounds.run(Options(1, 0, said.append, more=asked(**more))), said


# slow: four searches of some tenths of a second
@pytest.mark.slow
def test_each_solution_is_written_once_and_can_be_checked_from_the_instance(tmp_path, monkeypatch):
    first, said = bench(only="RC101,C201", out=tmp_path, no_plain=False)
    monkeypatch.setattr(rounds, "plan_rounds", None)
    again, _said = bench(only="RC101,C201", out=tmp_path, no_plain=False)

    assert again["metrics"] == first["metrics"]
    assert first["metrics"]["Solomon, 100 customers, 10 s, %"].startswith("mean ")
    assert first["failed"] == []
    assert [line[:5] for line in said] == ["C201 ", "RC101"]
    days = json.loads((tmp_path / "RC101-1.json").read_text())["days"]
    run = json.loads((tmp_path / "runs" / "RC101-1.json").read_text())
    assert checker.solomon_cost((PUBLISHED / "RC101.txt").read_text(), days) == pytest.approx(run["end"])


# slow: two searches
@pytest.mark.slow
def test_a_better_week_takes_the_place_of_the_best_known_and_a_worse_one_does_not(tmp_path):
    problem = weeks.named_week("week-6-1")
    bench(set_="weeks", instances=tmp_path, only="week-6-1", keep=True)
    good = (tmp_path / "week-6-1.json").read_text()
    bench(set_="weeks", instances=tmp_path, only="week-6-1", keep=True)

    assert (tmp_path / "week-6-1.json").read_text() == good
    assert checker.wrong(problem, judge(problem, formats.read_week(good))[0]) == []


def test_a_bar_that_is_not_reached_is_said():
    case = rounds.Case("x", "week of 80 visits", None, 100.0, lambda orders: None, lambda orders: "")  # type: ignore[arg-type]
    slow = rounds.Run("x", "week of 80 visits", 1, 60, 101.0, 101.5, None, None, 0.1, 0.0)
    lost = rounds.Run("x", "week of 80 visits", 2, 60, None, 100.5, None, None, None, 0.0)

    metrics, failed = rounds._table([(case, slow), (case, lost)], 60)

    assert metrics["week of 80 visits, 60 s, %"] == "mean 1.00 worst 1.50"
    assert failed == ["week of 80 visits after 10 s: mean 1.00 worst 1.00, 1 without; the bar is 2 %."]
    assert rounds._set_of("pr01") == "pvrp"
    assert rounds._set_of("C1_10_1") == "homberger"
