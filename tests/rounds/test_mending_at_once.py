"""Two people choose a way out at the same moment: one holds, the other is refused."""

import threading

import pytest
from django.db import connection, connections

from servicedesk.rounds import actions
from servicedesk.rounds.models import Move, Trouble
from tests.factories.days import Day

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="rows are locked on PostgreSQL only"),
]


def test_of_two_ways_out_chosen_at_the_same_moment_one_holds():
    day = Day()
    trouble, other = day.say("sick", person=day.ben), day.say("sick", person=day.ida)
    offers = [day.keep(trouble), day.keep(other)]
    gate, said = threading.Barrier(2), []

    def go(offer):
        gate.wait()
        try:
            said.append(len(day.choose(offer)))
        except actions.NotPlanned as wrong:
            said.append(str(wrong))
        finally:
            connections.close_all()

    threads = [threading.Thread(target=go, args=(offer,)) for offer in offers]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(isinstance(one, int) for one in said) == [False, True], said
    assert any("The day has moved" in str(one) for one in said)
    assert sorted(Trouble.objects.values_list("state", flat=True)) == ["open", "settled"]
    assert len({who for who, _at in day.where().values()}) == 1
    assert Move.objects.count() == next(one for one in said if isinstance(one, int))
