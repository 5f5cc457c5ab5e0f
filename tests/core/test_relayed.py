"""Whose value it is that a relay sends, and when a relay is silent."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.tracking.relayed import SEPARATORS, one_of, relay_late_after, told_apart


@pytest.mark.parametrize(
    ("name", "known", "told"),
    [
        ("probe/alk", {"probe"}, ("probe", "alk")),
        ("probe", {"probe"}, ("probe", "")),
        ("urn:dev:ow:10e2073a01080063:alk", {"urn:dev:ow:10e2073a01080063"}, ("urn:dev:ow:10e2073a01080063", "alk")),
        ("urn:dev:ow:10e2073a01080063", {"urn:dev:ow:10e2073a01080063"}, ("urn:dev:ow:10e2073a01080063", "")),
        ("probe-2/alk", {"probe", "probe-2"}, ("probe-2", "alk")),
        ("probe-2/alk", {"probe"}, ("probe", "2/alk")),
        ("hall/box/alk", {"hall", "hall/box"}, ("hall/box", "alk")),
        ("probe/", {"probe"}, ("probe", "")),
        ("probe2/alk", {"probe"}, None),
        ("alk", {"probe"}, None),
        ("other/probe/alk", {"probe"}, None),
        ("", {"probe"}, None),
        ("/alk", {"probe"}, None),
        ("probe/alk", set(), None),
    ],
)  # fmt: skip
def test_the_longest_known_name_tells_whose_it_is(name, known, told):
    assert told_apart(name, known) == told


NAMES = st.text("ab1", min_size=1, max_size=4)


@given(
    st.sets(NAMES | st.builds("{}-{}".format, NAMES, NAMES), min_size=1, max_size=6),
    NAMES,
    st.sampled_from(sorted(SEPARATORS)),
)
def test_whatever_is_told_apart_is_put_together_again(known, rest, separator):
    for name in known:
        told = told_apart(f"{name}{separator}{rest}", known)
        assert told is not None
        whose, left = told
        assert whose in known and len(whose) >= len(name)
        assert f"{name}{separator}{rest}".startswith(whose) and f"{name}{separator}{rest}".endswith(left)


@pytest.mark.parametrize(
    ("name", "known", "meant"),
    [
        ("Probe", {"Probe", "probe"}, "Probe"),
        ("PROBE", {"Probe", "probe"}, None),
        ("PROBE", {"Probe", "other"}, "Probe"),
        ("x", {"Probe"}, None),
    ],
)
def test_small_letters_mean_the_only_one_that_is_alike(name, known, meant):
    assert one_of(name, known) == meant


@pytest.mark.parametrize(
    ("others", "late"),
    [
        ([], 420),
        ([(50, 40)], 420),
        ([(50, 40), (50, 45)], 45),
        ([(50, 40), (None, 40), (30, 40)], 420),
        ([(900, 600), (900, 500)], 420),
    ],
)
def test_a_relay_is_silent_when_several_that_hang_on_it_are(others, late):
    assert relay_late_after(late_min=420, others=others) == late
