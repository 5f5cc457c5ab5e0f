"""How the web process reads: the loop gathers a request until it is there as a whole, and only then a thread is given to it. Who sends
slowly, or not at all, holds no thread; what is too slow is let go; of what is too big or of unknown length only the head is read, so that
it can be refused (`web.limits`). How long that may take is common practice.

Gunicorn's threaded worker with another way in: it leans on that worker's inner names, and the fault tests say so where an upgrade moves them."""

import errno
import selectors
import socket
import struct
import time
from concurrent.futures import Future
from contextlib import suppress
from functools import partial
from tempfile import SpooledTemporaryFile
from typing import Any

from django.conf import settings
from gunicorn.http import get_parser
from gunicorn.workers.gthread import TConn, ThreadWorker

MOST_HEAD = 64 * 1024
IN_MEMORY = 1024 * 1024
HEAD_WITHIN_S, BODY_WITHIN_S, LEAST_BYTES_A_S = 20.0, 30.0, 1024
"""A head comes within so many seconds; a body too, and a second more for each kilobyte that came."""
SEND_WITHIN_S, LEAVE_WITHIN_S, MOST_LEFT = 60, 2.0, 64 * 1024
GO_ON = b"HTTP/1.1 100 Continue\r\n\r\n"
TOO_SLOW = b"HTTP/1.1 408 Request Timeout\r\nConnection: close\r\nContent-Length: 0\r\n\r\n"
END = b"\r\n\r\n"


class Gathered:
    """What came of one request: its head, its body on a file that stays in memory while small, what came behind it. `closes`: only its head
    counts, and the line is closed after the answer."""

    def __init__(self) -> None:
        self.begun = time.monotonic()
        self.head, self.left = bytearray(), b""
        self.body: SpooledTemporaryFile[bytes] | None = None
        self.received, self.missing = 0, -1
        self.closes = self.asks = False

    @property
    def due(self) -> float:
        """Until when it must be whole."""
        if self.missing < 0:
            return self.begun + HEAD_WITHIN_S
        return self.begun + BODY_WITHIN_S + self.received / LEAST_BYTES_A_S

    def add(self, data: bytes) -> bool:
        """Take what came; whether it can be answered now. Raises OSError where it cannot be kept."""
        self.received += len(data)
        if self.missing >= 0:
            return self._to_body(data)
        seen = max(0, len(self.head) - len(END) + 1)
        self.head += data
        place = self.head.find(END, seen)
        if place < 0:
            self.closes = len(self.head) > MOST_HEAD
            return self.closes
        rest = bytes(self.head[place + len(END) :])
        del self.head[place + len(END) :]
        self.missing = self._length()
        return self.closes or self._to_body(rest)

    def _length(self) -> int:
        """How long the body is by the head. Where nobody can say, or it is too long, the head is all that is read."""
        lines = bytes(self.head[: -len(END)]).split(b"\r\n")
        named = [(line.partition(b":")[0].strip().lower(), line) for line in lines[1:]]
        lengths = {line.partition(b":")[2].strip() for name, line in named if name == b"content-length"}
        length = lengths.pop() if len(lengths) == 1 else b"0" if not lengths else b""
        packed = any(name == b"transfer-encoding" for name, _line in named)
        self.closes = packed or not length.isdigit() or int(length[:20]) > settings.BODY_LIMIT_BYTES
        dropped = set()
        if any(name == b"expect" and line.lower().endswith(b"100-continue") for name, line in named):
            dropped, self.asks = {b"expect"}, not self.closes
        if self.closes:
            dropped |= {b"connection"}
        if dropped:
            kept = [lines[0], *(line for name, line in named if name not in dropped)]
            self.head[:] = b"\r\n".join(kept + [b"Connection: close"] * self.closes) + END
        return 0 if self.closes else int(length)

    def _to_body(self, data: bytes) -> bool:
        mine, self.left = data[: self.missing], data[self.missing :]
        if mine:
            if self.body is None:
                self.body = SpooledTemporaryFile(IN_MEMORY)  # noqa: SIM115  closed when it was answered
            self.body.write(mine)
            self.missing -= len(mine)
        return not self.missing

    def recv(self, size: int) -> bytes:
        """The next bytes of head and body, as a line would give them; nothing behind them."""
        if self.head:
            part = bytes(self.head[:size])
            del self.head[:size]
            if not self.head and self.body is not None:
                self.body.seek(0)
            return part
        return self.body.read(size) if self.body is not None else b""

    def close(self) -> None:
        if self.body is not None:
            self.body.close()


class GatheringWorker(ThreadWorker):  # type: ignore[misc]  # gunicorn tells no types
    """Requests are gathered by the loop and answered by threads."""

    def __init__(self, *args: Any, **given: Any) -> None:
        super().__init__(*args, **given)
        self.gathering: dict[TConn, Gathered] = {}
        self.leaving: dict[TConn, tuple[float, int]] = {}
        self.looked_at = 0.0

    def accept(self, listener: Any) -> None:
        try:
            line, address = listener.accept()
        except OSError as error:
            if error.errno not in (errno.EAGAIN, errno.ECONNABORTED, errno.EWOULDBLOCK):
                raise
            return
        self.nr_conns += 1
        self._gather(TConn(self.cfg, line, address, listener.getsockname()))

    def on_client_socket_readable(self, conn: TConn, client: Any) -> None:
        """A kept line speaks again."""
        self.poller.unregister(client)
        self.keepalived_conns.remove(conn)
        self._gather(conn)

    def _gather(self, conn: TConn, begun: bytes = b"") -> None:
        conn.sock.setblocking(False)
        self.gathering[conn] = Gathered()
        self.poller.register(conn.sock, selectors.EVENT_READ, partial(self._on_bytes, conn))
        if begun:
            self._took(conn, begun)
        else:
            self._on_bytes(conn, conn.sock)

    def _on_bytes(self, conn: TConn, line: Any) -> None:
        try:
            data = line.recv(64 * 1024)
        except (BlockingIOError, InterruptedError):
            return
        except OSError:
            data = b""
        if data:
            self._took(conn, data)
        else:
            self._drop(conn)

    def _took(self, conn: TConn, data: bytes) -> None:
        gathered = self.gathering[conn]
        try:
            whole = gathered.add(data)
            if gathered.asks and not whole:
                gathered.asks = False
                conn.sock.send(GO_ON)
        except OSError as error:
            self.log.warning("A request was let go: %s", error)
            self._drop(conn)
            return
        if whole:
            self.poller.unregister(conn.sock)
            del self.gathering[conn]
            conn.gathered = gathered
            self.enqueue_req(conn)

    def _drop(self, conn: TConn, answer: bytes = b"") -> None:
        self.poller.unregister(conn.sock)
        self.gathering.pop(conn).close()
        with suppress(OSError):
            if answer:
                conn.sock.send(answer)
        self.nr_conns -= 1
        conn.close()

    def handle(self, conn: TConn) -> Any:
        """In a thread: what was gathered is parsed and answered."""
        gathered: Gathered = conn.gathered
        conn.initialized = conn.data_ready = True
        conn.parser = get_parser(self.cfg, gathered, conn.client)
        try:
            return super().handle(conn) and not gathered.closes
        finally:
            gathered.close()

    def handle_request(self, req: Any, conn: TConn) -> Any:
        """Who reads the answer too slowly does not hold the thread for ever either."""
        conn.sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, struct.pack("ll", SEND_WITHIN_S, 0))
        return super().handle_request(req, conn)

    def finish_request(self, conn: TConn, done: "Future[Any]") -> None:
        keeps = not done.cancelled() and done.exception() is None and done.result()
        if keeps and conn.gathered.left:
            self._gather(conn, conn.gathered.left)
        elif keeps:
            super().finish_request(conn, done)
        else:
            self._leave(conn)

    def _leave(self, conn: TConn) -> None:
        """Say that no more comes, and wait a little for the other side, so that it reads the answer before the line is gone (RFC 9112, 9.6)."""
        try:
            conn.sock.setblocking(False)
            conn.sock.shutdown(socket.SHUT_WR)
            self.poller.register(conn.sock, selectors.EVENT_READ, partial(self._on_leaving, conn))
        except (OSError, ValueError):
            self.nr_conns -= 1
            conn.close()
            return
        self.leaving[conn] = (time.monotonic() + LEAVE_WITHIN_S, 0)

    def _on_leaving(self, conn: TConn, line: Any) -> None:
        due, read = self.leaving[conn]
        try:
            data = line.recv(MOST_LEFT - read)
        except (BlockingIOError, InterruptedError):
            return
        except OSError:
            data = b""
        self.leaving[conn] = (due, read + len(data))
        if not data or read + len(data) >= MOST_LEFT:
            self._left(conn)

    def _left(self, conn: TConn) -> None:
        del self.leaving[conn]
        self.poller.unregister(conn.sock)
        self.nr_conns -= 1
        conn.close()

    def murder_pending(self) -> None:
        """Once a second: let go who was too slow, who does not leave, and at the end who has not begun."""
        now = time.monotonic()
        if now - self.looked_at < 1.0 and self.alive:
            return
        self.looked_at = now
        for conn, gathered in list(self.gathering.items()):
            if now > gathered.due or not (self.alive or gathered.received):
                self._drop(conn, TOO_SLOW if gathered.received else b"")
        for conn, (due, _read) in list(self.leaving.items()):
            if now > due:
                self._left(conn)
