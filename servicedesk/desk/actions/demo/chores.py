"""The demo's tasks: every window of every rule in the history and the weeks ahead, done on the visit that fell into
it, sometimes left first, with its reason. One calibration is left twice and never done: it is overdue."""

from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

from clients.models import Tank
from servicedesk.core.recurrence.due import Window, occurrences
from servicedesk.desk.actions.demo.calls import AHEAD, Call
from servicedesk.desk.actions.demo.world import World
from servicedesk.instruments.models import Instrument
from servicedesk.upkeep.actions import rule_of
from servicedesk.upkeep.choices import LeftReason, TaskState
from servicedesk.upkeep.models import Task, TaskRule

LEFT = 0.05
"""Share of tasks that are left once before they are done (common practice)."""
CALIBRATE = "Calibrate the titrator's pumps"
REASONS = (LeftReason.NO_TIME, LeftReason.NO_PART, LeftReason.CLIENT_ASKED)


@dataclass(frozen=True)
class Chore:
    """What became of a task on one visit; no reason means that it was done."""

    task: Task
    reason: str = ""


def calibration_rule(w: World, device: Instrument, *, days_ahead: int, overdue: bool) -> None:
    """A titrator is calibrated every month, next in so many days (or last owed so many days ago)."""
    reach = timedelta(days=92 - days_ahead)
    rule = TaskRule.objects.create(
        id=w.key(), tank=device.tank, equipment=device.equipment, title=CALIBRATE, every=1, unit="months",
        starts_on=w.today - reach, before_days=3, after_days=3 if overdue else 10, minutes=20,
    )  # fmt: skip
    w.rules[device.tank.name].append(rule)


def make(w: World, tank: Tank, calls: list[Call], tasks: list[Task]) -> dict[UUID, list[Chore]]:
    """The tasks of a tank, added to `tasks`, and what became of them, by visit."""
    chores: dict[UUID, list[Chore]] = {}
    begun = [call for call in calls if call.visit is not None]
    for rule in w.rules[tank.name]:
        for window in occurrences(rule_of(rule), rule.starts_on, w.today + AHEAD):
            task = _task(w, rule, window)
            tasks.append(task)
            mine = [c for c in begun if c.day >= max(window.earliest, w.start.date())]
            for call, chore in _became(w, task, mine, begun):
                chores.setdefault(call.due.pk, []).append(chore)
    return chores


def _task(w: World, rule: TaskRule, window: Window) -> Task:
    return Task(
        id=w.key(), key=f"{rule.pk}:{window.due.isoformat()}", rule=rule, tank=rule.tank, title=rule.title,
        equipment_id=rule.equipment_id, earliest=window.earliest, due=window.due, latest=window.latest,
        minutes=rule.minutes, hazards=rule.hazards,
        made_at=min(w.now, max(w.start, w.start + (window.due - w.start.date()) - AHEAD)),
    )  # fmt: skip


def _became(w: World, task: Task, mine: list[Call], begun: list[Call]) -> list[tuple[Call, Chore]]:
    """On which visits the task was left, and on which it was done."""
    planted = w.planted[task.tank.name] == "overdue" and task.title == CALIBRATE
    if planted and task.latest < w.today and task.due + timedelta(days=31) > w.today:
        w.plant(
            "overdue",
            task.tank.name,
            task.latest,
            f"the titrator's calibration is overdue since {task.latest:%d %B}.",
        )
        done = [c for c in mine if c.done]
        return [
            (c, Chore(task, r)) for c, r in zip(done, (LeftReason.NO_PART, LeftReason.NO_TIME), strict=False)
        ]
    if not mine:
        return []
    doing, before = mine[0], []
    if w.rng.random() < LEFT and len(mine) > 1 and mine[1].done and mine[1].day < task.due + _interval(task):
        before, doing = [(doing, Chore(task, w.rng.choice(REASONS)))], mine[1]
    if not doing.done:
        return before
    task.state = TaskState.DONE
    return [*before, (doing, Chore(task))]


def _interval(task: Task) -> timedelta:
    assert task.rule is not None
    return timedelta(days=task.rule.every * (28 if task.rule.unit == "months" else 7) - task.rule.before_days)
