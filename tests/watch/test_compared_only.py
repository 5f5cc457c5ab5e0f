"""What was compared only and left as it was is no new beginning for the watch; what was set anew is."""

from datetime import UTC, datetime, timedelta

import pytest

from servicedesk.instruments.models import Calibration
from servicedesk.watch.actions.agreement import Known

NOON = datetime(2026, 6, 3, 12, 0, tzinfo=UTC)


def calibration(days, left_as_is):
    return Calibration(at=NOON + timedelta(days=days), reference=8.0, before=8.0, left_as_is=left_as_is)


@pytest.mark.parametrize(
    ("said", "begun"), [([], None), ([True], None), ([None], 0), ([False, True], 0), ([True, False], 1)]
)
def test_a_comparison_is_no_beginning(said, begun):
    rows = [calibration(day, left) for day, left in enumerate(said)]

    known = Known(measure=None, calibrations=rows)

    assert known.begun == (None if begun is None else NOON + timedelta(days=begun))
