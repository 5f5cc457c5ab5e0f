"""Places at which a test may kill the process: nothing happens unless TANKROUND_FAULT names the place.

TANKROUND_FAULT is "place" or "place:/path": with a path the process dies only while that file exists, and takes the
file away first, so that one killing is one death."""

import os
import signal


def fault_point(place: str) -> None:
    """Die here, at once and without any cleaning up, when the test asks for it."""
    wanted, _colon, flag = os.environ.get("TANKROUND_FAULT", "").partition(":")
    if wanted != place:
        return
    if flag:
        try:
            os.unlink(flag)
        except FileNotFoundError:
            return
    os.kill(os.getpid(), signal.SIGKILL)
