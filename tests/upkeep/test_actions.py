import uuid
from datetime import date, timedelta

import pytest
from django.utils import timezone

from servicedesk.upkeep import actions
from servicedesk.upkeep.models import Task, TaskRule
from servicedesk.upkeep.queries import overdue
from tests.factories.people import make_client_user, make_owner
from tests.factories.tanks import make_tank

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 1)


def make_rule(**given):
    rest = {
        "title": "Change carbon",
        "every": 2,
        "unit": "weeks",
        "starts_on": TODAY,
        "before_days": 2,
        "after_days": 3,
        **given,
    }
    return TaskRule.objects.create(tank=rest.pop("tank", None) or make_tank(), **rest)


def test_leaving_a_task_without_a_reason_is_refused():
    task = actions.raise_task(
        tank=make_tank(),
        key="k",
        title="x",
        why="",
        earliest=TODAY,
        due=TODAY,
        latest=TODAY,
        at=timezone.now(),
    )

    with pytest.raises(actions.NotLeft):
        actions.leave_task(
            task=task, reason=" ", at=timezone.now(), by=None, origin=uuid.uuid4(), received_at=timezone.now()
        )


def test_a_rule_makes_its_tasks_with_their_windows():
    make_rule()

    actions.make_tasks(on=TODAY, at=timezone.now(), ahead_days=20)

    rows = Task.objects.order_by("due").values_list("earliest", "due", "latest")
    assert list(rows) == [
        (TODAY - timedelta(days=2), TODAY, TODAY + timedelta(days=3)),
        (TODAY + timedelta(days=12), TODAY + timedelta(days=14), TODAY + timedelta(days=17)),
    ]


def test_making_tasks_again_and_again_makes_none_twice():
    make_rule()

    made = [
        actions.make_tasks(on=TODAY + timedelta(days=n), at=timezone.now(), ahead_days=28)
        for n in (0, 0, 1, 1)
    ]

    assert made == [3, 0, 0, 0]
    assert Task.objects.count() == 3


def test_a_retired_rule_makes_nothing():
    make_rule(retired_on=TODAY)

    assert actions.make_tasks(on=TODAY, at=timezone.now()) == 0


def test_finishing_a_task_calls_off_older_ones_of_its_rule():
    make_rule()
    actions.make_tasks(on=TODAY, at=timezone.now(), ahead_days=28)
    first, second, third = Task.objects.order_by("due")

    actions.finish_task(
        task=second, at=timezone.now(), by=None, origin=uuid.uuid4(), received_at=timezone.now()
    )

    states = list(Task.objects.order_by("due").values_list("state", flat=True))
    assert states == ["called_off", "done", "open"]


def test_overdue_is_what_is_past_its_window_oldest_first():
    make_rule(title="late")
    actions.make_tasks(on=TODAY, at=timezone.now(), ahead_days=14)

    assert [t.due for t in overdue(make_owner(), on=TODAY + timedelta(days=3))] == []
    assert [t.due for t in overdue(make_owner(), on=TODAY + timedelta(days=4))] == [TODAY]
    assert overdue(make_client_user(), on=TODAY + timedelta(days=99)) == []


def test_a_task_finished_twice_by_the_same_entry_is_finished_once_and_calls_off_nothing_more():
    tank, now = make_tank(), timezone.now()
    make_rule(tank=tank)
    actions.make_tasks(on=TODAY, at=now)
    first, second = Task.objects.order_by("due")[:2]
    said = {"at": now, "by": None, "origin": uuid.uuid4(), "received_at": now}
    fact = actions.finish_task(task=second, **said)
    Task.objects.filter(pk=first.pk).update(state="open")

    assert actions.finish_task(task=second, **said) == fact
    first.refresh_from_db()
    assert first.state == "open"


def test_a_task_without_a_rule_is_finished_alone():
    now, other = timezone.now(), make_rule()
    actions.make_tasks(on=TODAY, at=now)
    days = {"earliest": TODAY, "due": TODAY + timedelta(days=99), "latest": TODAY + timedelta(days=99)}
    task = actions.raise_task(tank=other.tank, key="k", title="x", why="", at=now, **days)
    waiting = Task.objects.filter(rule=other, state="open").count()

    actions.finish_task(task=task, at=now, by=None, origin=uuid.uuid4(), received_at=now)
    task.refresh_from_db()
    assert (task.state, Task.objects.filter(rule=other, state="open").count()) == ("done", waiting)


def test_a_task_that_is_left_stays_open_with_its_reason_kept_once():
    now = timezone.now()
    task = actions.raise_task(
        tank=make_tank(), key="k", title="x", why="", earliest=TODAY, due=TODAY, latest=TODAY, at=now
    )
    said = {"task": task, "reason": "No carbon left", "at": now, "by": None, "origin": uuid.uuid4()}
    fact = actions.leave_task(**said, received_at=now)

    assert actions.leave_task(**said, received_at=now) == fact
    task.refresh_from_db()
    assert (task.state, fact.reason) == ("open", "No carbon left")
