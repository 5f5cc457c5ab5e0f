"""What tests of rounds share."""

from collections import Counter

import pytest

from servicedesk.core.rounds.compiled import arrays as columns
from servicedesk.core.rounds.compiled import moves


@pytest.fixture
def every_move(monkeypatch):
    """Counts the moves made, and holds that each changed the whole plan's cost by what it said."""
    made = Counter()

    def watched(w):
        before, said = w.worth[:, :2].sum(), w.knob[columns.MOVE]
        made[int(w.knob[columns.MOVE + 1])] += 1
        do(w)
        assert w.worth[:, :2].sum() - before == pytest.approx(said, abs=1e-3)

    do = moves.do_best
    monkeypatch.setattr(moves, "do_best", watched)
    return made
