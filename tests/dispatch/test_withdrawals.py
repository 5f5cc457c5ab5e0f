"""What was said is taken back once, and the facts that stand are told from those that do not."""

import uuid

import pytest
from django.db import DatabaseError, transaction
from django.utils import timezone

from servicedesk.dispatch.actions import withdraw
from servicedesk.dispatch.models import Withdrawal
from servicedesk.dispatch.queries import standing

pytestmark = pytest.mark.django_db
NOW = timezone.now()


def take_back(key, why="mistyped"):
    return withdraw(withdrawn=key, why=why, at=NOW, origin=uuid.uuid4(), received_at=NOW)


def test_taking_back_twice_is_once_and_the_first_reason_stays():
    key = uuid.uuid4()

    assert [take_back(key), take_back(key, "twice")] == [True, False]
    assert Withdrawal.objects.get().why == "mistyped"


def test_a_fact_whose_news_was_taken_back_does_not_stand():
    key, other = uuid.uuid4(), uuid.uuid4()
    take_back(key), take_back(other)
    rows = Withdrawal.objects.all()
    take_back(Withdrawal.objects.get(withdrawn=key).origin)

    assert set(standing(rows).values_list("withdrawn", flat=True)) == set(
        rows.exclude(withdrawn=key).values_list("withdrawn", flat=True)
    )


def test_a_taking_back_is_never_altered():
    take_back(uuid.uuid4())
    with pytest.raises(DatabaseError), transaction.atomic():
        Withdrawal.objects.update(why="never mind")
