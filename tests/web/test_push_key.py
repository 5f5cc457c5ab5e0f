"""The installation's own key for push services: made once, kept for its owner only, or given."""

import os
import subprocess
import sys

import pytest
from django.conf import settings

from servicedesk.web import pushing

SAY = "from servicedesk.settings import prod; print(prod.PUSH_KEY, prod.SECRET_KEY)"


def started(folder, **given):
    """What an installation that starts in that folder says of its keys."""
    env = {**os.environ, "TANKROUND_VAR": str(folder), **given}
    return subprocess.run(
        [sys.executable, "-c", SAY], cwd=settings.ROOT, env=env, capture_output=True, text=True
    )


# slow: fresh interpreters
@pytest.mark.slow
def test_the_key_is_made_once_and_kept_for_its_owner_only(tmp_path):
    first, second = started(tmp_path).stdout.split(), started(tmp_path).stdout.split()

    assert first == second and len(first) == 2
    assert len(pushing.public_of(pushing.key_of(first[0]))) == 65
    for name in ("push_key", "secret_key"):
        assert (tmp_path / name).stat().st_mode & 0o777 == 0o600
    assert started(tmp_path / "another").stdout.split()[0] != first[0]


# slow: fresh interpreters
@pytest.mark.slow
def test_a_key_that_is_given_is_taken_and_one_that_is_none_is_said(tmp_path):
    given = "b25seSBmb3IgdGVzdHMsIG5ldmVyIGZvciBhbGFybXM"
    assert started(tmp_path, TANKROUND_PUSH_KEY=given).stdout.split()[0] == given
    assert not (tmp_path / "push_key").exists()

    assert "TANKROUND_PUSH_KEY is 32 octets" in started(tmp_path, TANKROUND_PUSH_KEY="abc").stderr
    assert "TANKROUND_PUSH_CONTACT is whom" in started(tmp_path, TANKROUND_PUSH_CONTACT="ida").stderr
    assert started(tmp_path, TANKROUND_PUSH_CONTACT="https://lockgate.example/").returncode == 0
