"""A process that searches parts of a master round for another one: tasks come in by its input, answers go out by its output, each as
its length and then its pickle. It ends with whoever started it, since its input then ends. It needs no Django and no database."""

import os
import pickle
import queue
import struct
import sys
import threading
from typing import Any, BinaryIO

from servicedesk.core.rounds.master.parts import Task, solve

HEAD = struct.Struct(">Q")
STOP = "stop"


def send(line: BinaryIO, thing: Any) -> None:
    """One thing, whole."""
    body = pickle.dumps(thing, pickle.HIGHEST_PROTOCOL)
    line.write(HEAD.pack(len(body)) + body)
    line.flush()


def receive(line: BinaryIO) -> Any:
    """The next thing; raises EOFError where there is none."""
    head = line.read(HEAD.size)
    body = line.read(HEAD.unpack(head)[0]) if len(head) == HEAD.size else b""
    if not body or len(body) < HEAD.unpack(head)[0]:
        raise EOFError
    return pickle.loads(body)  # noqa: S301  # only who started this process writes here


def main() -> None:
    """Tasks until the input ends."""
    tasks: queue.Queue[Task] = queue.Queue()
    stopped = threading.Event()

    def listen() -> None:
        while True:
            try:
                thing = receive(sys.stdin.buffer)
            except EOFError:
                os._exit(0)  # whoever asked is gone: nobody waits for what is searched
            if thing == STOP:
                stopped.set()
            else:
                stopped.clear()
                tasks.put(thing)

    threading.Thread(target=listen, daemon=True).start()
    while True:
        send(sys.stdout.buffer, solve(tasks.get(), stopped.is_set))


if __name__ == "__main__":
    main()
