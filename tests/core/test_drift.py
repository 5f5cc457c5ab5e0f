"""An instrument followed beside tests by hand: verdict, rule, drift, and when it leaves its tolerance."""

import random

import pytest

from servicedesk.core.metrology.drift import Pair, followed
from servicedesk.core.metrology.lines import NoLine
from servicedesk.core.metrology.uncertainty import MethodSpec, Replicate, reference_value

KIT = MethodSpec("kit", "kit", tolerance_abs=0.05, resolution=0.01)
DEVICE = MethodSpec("device", "titrator", tolerance_abs=0.5, resolution=0.01)


def pairs(differences, every=7.0):
    return [
        Pair(n * every, reference_value([Replicate(8.0, KIT)]), 8.0 + off)
        for n, off in enumerate(differences)
    ]


def test_one_pair_gives_a_verdict_and_nothing_more():
    found = followed(pairs=pairs([0.1]), instrument=DEVICE)

    assert (found.newest.verdict, found.agreement, found.drift, found.leaves_in_days) == (
        "within",
        None,
        None,
        None,
    )
    with pytest.raises(NoLine, match="yet"):
        followed(pairs=[], instrument=DEVICE)


def test_the_newest_pair_counts_in_whatever_order_they_come():
    found = followed(pairs=pairs([0.9, 0.0, 0.1])[::-1], instrument=DEVICE)

    assert found.newest.verdict == "within"
    assert found.agreement.bias == pytest.approx(1 / 3)


def test_a_steady_drift_is_told_with_the_day_it_leads_out():
    found = followed(pairs=pairs([0.0, 0.05, 0.1, 0.15, 0.2, 0.25]), instrument=DEVICE)

    assert found.drift.slope == pytest.approx(0.05 / 7)
    assert found.leaves_in_days == pytest.approx(35)
    down = followed(pairs=pairs([0.0, -0.1, -0.2, -0.3, -0.4, -0.5, -0.6]), instrument=DEVICE)
    assert down.leaves_in_days == 0
    unstated = followed(pairs=pairs([0.0, 0.1, 0.2, 0.3, 0.4]), instrument=MethodSpec("device", "titrator"))
    assert unstated.leaves_in_days is None


def test_scatter_alone_is_seldom_called_a_drift():
    seed, called = 5, 0
    drawn = random.Random(seed)
    for _ in range(400):
        found = followed(pairs=pairs([drawn.gauss(0, 0.1) for _ in range(9)]), instrument=DEVICE)
        called += found.drift is not None
    assert called / 400 <= 0.08, seed
