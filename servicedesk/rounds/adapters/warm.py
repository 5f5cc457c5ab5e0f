"""Compiles the search for rounds before anybody plans: in a process of its own, standing back behind everything else."""

import subprocess
import sys

from django.conf import settings

from servicedesk.core.rounds.compiled.compiling import wanting

CODE = "import os; os.nice(19); from servicedesk.core.rounds.compiled.compiling import ENGINE; ENGINE.wanted().wait()"


def warm() -> "subprocess.Popen[bytes] | None":
    """Begins to compile where that has not been kept; nothing where it has, or cannot be."""
    if not wanting():
        return None
    quiet = subprocess.DEVNULL
    return subprocess.Popen(
        [sys.executable, "-c", CODE], cwd=settings.ROOT, stdin=quiet, stdout=quiet, stderr=quiet
    )
