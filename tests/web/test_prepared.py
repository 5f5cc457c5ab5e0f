"""Questions whose SQL is kept: they find what the same question asked anew finds, and always ask the database."""

import threading
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection, connections
from django.db.models import Count, Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from servicedesk.dispatch.choices import JobState
from servicedesk.dispatch.models import Job
from servicedesk.staff.models import User
from servicedesk.web.prepared import KEY, KEYS, MOMENT, MOST_SHAPES, WORD, WORDS, Slot, prepared, stored
from tests.factories.people import make_owner, make_technician

pytestmark = pytest.mark.django_db
NOW = timezone.now().replace(microsecond=123456)


def _people(**asked):
    return User.objects.filter(**{k: v for k, v in asked.items() if v is not None}).order_by("email")


@prepared(keys=KEYS, email=WORD, roles=WORDS, since=MOMENT)
def people(
    keys: Slot | None = None, email: Slot | None = None, roles: Slot | None = None, since: Slot | None = None
) -> QuerySet[User]:
    """People of these keys."""
    return _people(pk__in=keys, email=email, role__in=roles, last_login__gte=since)


@pytest.fixture
def three():
    found = [make_owner(), make_technician(), make_technician()]
    for number, user in enumerate(found):
        user.last_login = NOW + timedelta(days=number)
        user.save()
    return sorted(found, key=lambda user: user.email)


def test_finds_what_the_same_question_asked_anew_finds(three):
    first, second, third = three
    assert people() == three
    assert people(keys=[third.pk, first.pk]) == [first, third]
    assert people(keys={second.pk}) == [second]
    assert people(email=second.email) == [second]
    assert people(keys=[first.pk], email=second.email) == []
    assert people(roles=["owner"]) == list(_people(role__in=["owner"])) != []
    for user in three:
        assert people(since=user.last_login) == list(_people(last_login__gte=user.last_login)) != []


def test_rows_are_whole_instances(three):
    found = people(email=three[0].email)[0]
    assert (found.pk, found.role, found.last_login) == (three[0].pk, three[0].role, three[0].last_login)
    assert not found._state.adding
    found.name = "Another name"
    found.save()
    assert people(email=three[0].email)[0].name == "Another name"


def test_nothing_found_is_kept(three):
    assert len(people()) == 3
    make_technician()
    assert len(people()) == 4


def test_an_empty_list_finds_nothing_and_none_is_not_given(three, django_assert_num_queries):
    with django_assert_num_queries(0):
        assert people(keys=[]) == []
    with django_assert_num_queries(1):
        assert people(keys=None, email=None) == three


def test_the_question_is_written_once_for_each_shape(three):
    calls = []

    @prepared(keys=KEYS, email=WORD)
    def counted(keys: Slot, email: Slot | None = None) -> QuerySet[User]:
        calls.append((keys.length, email))
        return _people(pk__in=keys, email=email)

    for user in three:
        assert counted(keys=[user.pk]) == [user]
    assert len(calls) == 1
    assert counted(keys=[u.pk for u in three]) == three
    counted(keys=[three[0].pk], email="a")
    assert [length for length, _email in calls] == [1, 3, 1]
    for length in range(MOST_SHAPES + 5):
        assert counted(keys=[three[0].pk, *(uuid4() for _ in range(length))]) == [three[0]]
    assert 0 < len(counted.plans) <= MOST_SHAPES


def test_values_names_flat_and_annotations(three):
    @prepared(keys=KEYS)
    def names(keys: Slot) -> QuerySet[User, tuple[str, str]]:
        return _people(pk__in=keys).values_list("email", "role")

    @prepared(keys=KEYS)
    def counts(keys: Slot) -> QuerySet[User, dict[str, object]]:
        return User.objects.filter(pk__in=keys).values("role").annotate(n=Count("pk")).order_by("role")

    @prepared(keys=KEYS)
    def emails(keys: Slot) -> QuerySet[User, str]:
        return _people(pk__in=keys).values_list("email", flat=True)

    @prepared(key=KEY)
    def same(key: Slot) -> QuerySet[User]:
        mine = User.objects.filter(pk=OuterRef("pk"), id=key)
        return _people().annotate(mine=Exists(mine)).filter(Q(mine=True) | Q(role="owner"))

    keys = [user.pk for user in three]
    assert names(keys=keys) == list(_people().values_list("email", "role"))
    assert emails(keys=keys) == [user.email for user in three]
    assert counts(keys=keys) == list(User.objects.values("role").annotate(n=Count("pk")).order_by("role"))
    technician = next(user for user in three if user.role == "technician")
    found = same(key=technician.pk)
    assert {user.pk: user.mine for user in found} == {
        user.pk: user == technician for user in three if user == technician or user.role == "owner"
    }


def test_raw_rows_are_compared_and_then_read(three):
    @prepared(keys=KEYS)
    def seen(keys: Slot) -> QuerySet[User, tuple[object, ...]]:
        return _people(pk__in=keys).values_list("pk", "email", stored("last_login"))

    keys = [user.pk for user in three]
    before = seen.raw(keys=keys)
    assert seen.read(before) == seen(keys=keys) == [(u.pk, u.email, u.last_login) for u in three]
    assert hash(before) == hash(seen.raw(keys=keys)) and before == seen.raw(keys=keys)
    User.objects.filter(pk=keys[0]).update(last_login=NOW + timedelta(microseconds=1))
    assert before != seen.raw(keys=keys) and seen.read(seen.raw(keys=keys)) == seen(keys=keys)
    assert seen.raw(keys=[]) == () and seen.read(()) == []


def test_first_is_the_first_row_or_none(three):
    assert people.first(keys=[u.pk for u in three]) == three[0]
    assert people.first(email="nobody@example.invalid") is None


def test_related_rows_come_along(three, django_assert_num_queries):
    job = Job.objects.create(key="a", kind="sweep", state=JobState.DONE, made_at=NOW, finished_at=NOW)

    @prepared(kind=WORD)
    def done(kind: Slot) -> QuerySet[Job]:
        return Job.objects.filter(kind=kind).only("key", "finished_at")

    [found] = done(kind="sweep")
    with django_assert_num_queries(0):
        assert (found.key, found.finished_at) == ("a", NOW)
    with django_assert_num_queries(1):
        assert found.kind == job.kind  # left out, so looked up


def test_a_question_that_prefetches_is_refused():
    @prepared()
    def fetched() -> QuerySet[User]:
        return User.objects.prefetch_related("rounds")

    with pytest.raises(ValueError, match="cannot prefetch"):
        fetched()


def test_a_value_it_does_not_know_is_an_error(three):
    with pytest.raises(KeyError, match="colour"):
        people(colour="red")


def test_a_question_that_can_find_nothing_asks_nothing(django_assert_num_queries):
    @prepared()
    def none() -> QuerySet[User]:
        return User.objects.none()

    with django_assert_num_queries(0):
        assert none() == []


@pytest.mark.django_db(transaction=True)
def test_each_thread_asks_on_its_own_connection():
    owner = make_owner()
    assert people(email=owner.email) == [owner]
    told, mine = [], connection.connection

    def look():
        try:
            found = people(email=owner.email)
            told.append((found, connections["default"].connection is not mine))
        finally:
            connections.close_all()

    threads = [threading.Thread(target=look) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert told == [([owner], True)] * 3
