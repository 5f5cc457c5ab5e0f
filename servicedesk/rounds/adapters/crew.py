"""Hands for a master round: processes of our own, one for each core, that search different technicians' parts at once.

They are plain children, started with our own interpreter and spoken with by pipes, since the processes of a worker may not fork
others by the usual library. Where one cannot be started, or ends, its part is searched here."""

import os
import selectors
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from types import TracebackType
from typing import Any, cast

from django.conf import settings

from servicedesk.core.rounds.master.parts import Answer, Task, solve
from servicedesk.rounds.adapters.hand import STOP, receive, send

MOST_HANDS = 2
LOOK_S = 0.5
"""So often it is looked whether to stop."""
MODULE = "servicedesk.rounds.adapters.hand"


def hands_here() -> int:
    """How many searches run at once on this machine."""
    return max(1, min(MOST_HANDS, os.cpu_count() or 1))


class Crew:
    """So many processes that do tasks; they end with the `with` block. Called as a crew of the core is."""

    def __init__(self, hands: int | None = None) -> None:
        self.wanted = hands_here() if hands is None else hands
        self.hands: list[subprocess.Popen[bytes]] = []

    def __enter__(self) -> "Crew":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for hand in self.hands:
            _end(hand)
        self.hands = []

    def __call__(self, tasks: Sequence[Task], cancelled: Callable[[], bool]) -> Iterator[Answer]:
        """The answers as they come in. Told to stop, whoever searches gives what there is, and nobody begins anew."""
        waiting = list(tasks)
        if min(self.wanted, len(waiting)) > 1:
            yield from self._together(waiting, cancelled)
        while waiting and not cancelled():
            yield solve(waiting.pop(0), cancelled)

    def _together(self, waiting: list[Task], cancelled: Callable[[], bool]) -> Iterator[Answer]:
        """Hands tasks out and takes answers in; what is left in `waiting` nobody did."""
        busy: dict[subprocess.Popen[bytes], Task] = {}
        told = False
        with selectors.DefaultSelector() as lines:
            for hand in self._ready():
                lines.register(cast(Any, hand.stdout), selectors.EVENT_READ, hand)
                self._give(hand, waiting, busy)
            while busy:
                for key, _mask in lines.select(LOOK_S):
                    hand = key.data
                    task = busy.pop(hand)
                    try:
                        yield receive(cast(Any, hand.stdout))
                    except (EOFError, OSError):
                        self._lost(hand, lines)
                        waiting.append(task)
                        continue
                    if not told:
                        self._give(hand, waiting, busy)
                if not told and cancelled():
                    told = True
                    for hand in busy:
                        with suppress(OSError):
                            send(cast(Any, hand.stdin), STOP)

    def _ready(self) -> list[subprocess.Popen[bytes]]:
        """As many hands as are wanted, those that ended replaced, as far as they can be started."""
        self.hands = [hand for hand in self.hands if hand.poll() is None]
        with suppress(OSError):
            while len(self.hands) < self.wanted:
                self.hands.append(
                    subprocess.Popen(
                        [sys.executable, "-m", MODULE],
                        stdin=subprocess.PIPE,
                        stdout=subprocess.PIPE,
                        cwd=settings.ROOT,
                    )
                )
        return list(self.hands)

    def _give(
        self, hand: subprocess.Popen[bytes], waiting: list[Task], busy: dict[subprocess.Popen[bytes], Task]
    ) -> None:
        if waiting:
            task = waiting.pop(0)
            busy[hand] = task
            with suppress(OSError):  # who ended shows it by an output that ends
                send(cast(Any, hand.stdin), task)

    def _lost(self, hand: subprocess.Popen[bytes], lines: selectors.BaseSelector) -> None:
        lines.unregister(cast(Any, hand.stdout))
        _end(hand)
        self.hands = [other for other in self.hands if other is not hand]


def _end(hand: subprocess.Popen[bytes]) -> None:
    """Ends a hand, whatever it does."""
    for line in (hand.stdin, hand.stdout):
        with suppress(OSError):
            cast(Any, line).close()
    hand.kill()
    hand.wait()
