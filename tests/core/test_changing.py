"""Going over from one weekly pattern to another."""

from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from servicedesk.core.recurrence.changing import Change, Pattern, changeover, pieces

MONDAY = date(2026, 3, 2)


def day(number):
    return MONDAY + timedelta(days=number)


def test_a_pattern_has_its_days_and_its_usual_pause():
    twice = Pattern((0, 3), 1, MONDAY)

    assert twice.days(MONDAY, day(8)) == [day(0), day(3), day(7)]
    assert twice.usual_days == 3.5
    assert Pattern((4,), 4, MONDAY).days(day(-30), day(33)) == [day(4), day(32)]


def test_pieces_follow_the_changes_in_order():
    a, b, c = (Pattern((n,), 1, MONDAY) for n in range(3))

    assert pieces(a, [], MONDAY, day(9)) == [(a, MONDAY, day(9))]
    assert pieces(b, [Change(day(4), a)], MONDAY, day(9)) == [(a, day(0), day(3)), (b, day(4), day(9))]
    assert pieces(b, [Change(day(4), a)], day(6), day(9)) == [(b, day(6), day(9))]
    assert pieces(b, [Change(day(14), a)], MONDAY, day(9)) == [(a, day(0), day(9))]


def test_a_later_change_takes_an_earlier_ones_place_also_where_it_begins_before():
    a, b, c = (Pattern((n,), 1, MONDAY) for n in range(3))

    assert pieces(c, [Change(day(10), a), Change(day(4), b)], MONDAY, day(20)) == [
        (a, day(0), day(3)),
        (c, day(4), day(20)),
    ]
    assert pieces(c, [Change(day(-5), a), Change(day(0), b)], day(0), day(9)) == [(c, day(0), day(9))]
    assert pieces(a, [Change(day(4), a), Change(day(4), b)], MONDAY, day(9)) == [
        (a, day(0), day(3)),
        (a, day(4), day(9)),
    ]


@settings(deadline=None)
@given(
    st.sampled_from([1, 2, 4]),
    st.integers(0, 4),
    st.integers(0, 4),
    st.integers(0, 3),
    st.integers(0, 3),
    st.integers(0, 20),
)
def test_nobody_waits_longer_than_usual_for_going_over(every, old_day, new_day, old_week, new_week, late):
    old = Pattern((old_day,), every, day(-7 * 40 + 7 * (old_week % every)))
    new = Pattern((new_day,), every, day(7 * (new_week % every)))
    earliest = day(late)

    goes = changeover(old, new, earliest)

    last = old.days(day(-60), goes - timedelta(days=1))[-1]
    first = new.days(goes, day(200))[0]
    assert earliest <= goes < earliest + timedelta(days=7 * every)
    assert 0 < (first - last).days <= 7 * every


def test_where_nothing_was_before_it_holds_at_once():
    young = Pattern((0,), 1, day(70))

    assert changeover(young, Pattern((2,), 1, MONDAY), day(3)) == day(3)
    assert changeover(Pattern((0,), 1, day(-70)), Pattern((2,), 1, day(700)), day(3)) == day(3)
