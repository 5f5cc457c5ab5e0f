"""Drawing finished HTML as a PDF, in a child process that is shut in.

The child (`python -m reports.render`) loads the engine once and stays warm. It reads nothing but what stands in the
HTML itself (data: addresses), may take 512 MB and 30 seconds for a paper, and is replaced after 50 papers or when it
breaks. What is sent over its pipes is a length (4 bytes, big-endian) and that many bytes; an answer has one more byte
in front: K for a paper, R for a reason in words. A paper begins with the number of its pages (4 bytes).
"""

import contextlib
import os
import resource
import select
import signal
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Iterable
from pathlib import Path
from typing import BinaryIO

from servicedesk.web.faults import fault_point

LIMIT_S = 30.0
START_S = 60.0
LIMIT_MB = 512
PAPERS_PER_CHILD = 50
PAGE_LIMIT_S, PAGE_WAIT_S = 15.0, 15.0
"""For whoever waits at a page: so long may one layout take, and so long may others be drawn before."""
LENGTH = struct.Struct(">I")
PAPER, REASON = b"K", b"R"
NO_ENGINE = (
    "The PDF engine cannot start, because system libraries are missing ({error}). On Debian: "
    "apt-get update && apt-get install -y --no-install-recommends libpangoft2-1.0-0"
)
NO_MEMORY = f"The paper needed more than {LIMIT_MB} MB and was given up."


class RenderFailed(Exception):
    """The paper could not be drawn; the sentence says why."""


class _Vanished(Exception):
    """The child was killed from outside while it drew: trying once more is worth it."""


class Renderer:
    """One warm child. `draw` may be called from several threads: one paper is drawn after the other."""

    def __init__(self, *, limit_s: float = LIMIT_S, papers: int = PAPERS_PER_CHILD) -> None:
        self.limit_s = limit_s
        self.papers = papers
        self._lock = threading.Lock()
        self._child: subprocess.Popen[bytes] | None = None
        self._drawn = 0

    @property
    def pid(self) -> int | None:
        """The child's process id, when there is one."""
        return self._child.pid if self._child else None

    def draw(self, html: str) -> bytes:
        """The PDF of finished HTML. Raises RenderFailed."""
        return self.draw_counted(html)[1]

    def draw_counted(self, html: str) -> tuple[int, bytes]:
        """The number of pages and the PDF of finished HTML. Raises RenderFailed."""
        with self._lock:
            try:
                return self._draw(html)
            except _Vanished:
                pass
            try:
                return self._draw(html)
            except _Vanished as how:
                raise RenderFailed(f"The PDF engine broke twice on this paper ({how}).") from how

    def close(self) -> None:
        """End the child."""
        with self._lock:
            self._end()

    def _draw(self, html: str) -> tuple[int, bytes]:
        child = self._warm()
        sent = html.encode("utf-8", "replace")
        try:
            self._send(child, LENGTH.pack(len(sent)) + sent, time.monotonic() + self.limit_s)
            fault_point("in_render")
            kind, body = self._answer(child, time.monotonic() + self.limit_s)
        except _Vanished:
            self._end()
            raise
        except TimeoutError:
            self._end()
            raise RenderFailed(
                f"The paper could not be drawn in {self.limit_s:g} seconds and was given up."
            ) from None
        self._drawn += 1
        if kind == REASON:
            self._end()
            raise RenderFailed(body.decode("utf-8", "replace"))
        if self._drawn >= self.papers:
            self._end()
        return LENGTH.unpack(body[: LENGTH.size])[0], body[LENGTH.size :]

    def _warm(self) -> subprocess.Popen[bytes]:
        """The child, started when there is none; it says that it is ready with an empty paper."""
        if self._child is not None and self._child.poll() is None:
            return self._child
        self._end()
        root = Path(__file__).resolve().parent.parent
        child = subprocess.Popen(
            [sys.executable, "-m", "reports.render"],
            cwd=root,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            bufsize=0,
            env={**os.environ, "TANKROUND_DRAWS_FOR": str(os.getpid())},
        )
        self._child, self._drawn = child, 0
        try:
            kind, body = self._answer(child, time.monotonic() + START_S)
        except (_Vanished, TimeoutError) as how:
            self._end()
            raise RenderFailed(f"The PDF engine did not start ({how}).") from None
        if kind == REASON:
            self._end()
            raise RenderFailed(body.decode("utf-8", "replace"))
        return child

    def _send(self, child: subprocess.Popen[bytes], data: bytes, until: float) -> None:
        assert child.stdin is not None
        pipe, view = child.stdin.fileno(), memoryview(data)
        os.set_blocking(pipe, False)
        while view:
            _wait(until, write=pipe)
            try:
                view = view[os.write(pipe, view) :]
            except BlockingIOError:
                continue
            except BrokenPipeError:
                raise _Vanished(_how(child)) from None

    def _answer(self, child: subprocess.Popen[bytes], until: float) -> tuple[bytes, bytes]:
        head = self._receive(child, 1 + LENGTH.size, until)
        return head[:1], self._receive(child, LENGTH.unpack(head[1:])[0], until)

    def _receive(self, child: subprocess.Popen[bytes], size: int, until: float) -> bytes:
        assert child.stdout is not None
        pipe, parts = child.stdout.fileno(), bytearray()
        while len(parts) < size:
            _wait(until, read=pipe)
            part = os.read(pipe, min(size - len(parts), 1 << 20))
            if not part:
                raise _Vanished(_how(child))
            parts += part
        return bytes(parts)

    def _end(self) -> None:
        child, self._child = self._child, None
        if child is None:
            return
        child.kill()
        child.wait()
        for pipe in (child.stdin, child.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()


def _wait(until: float, *, read: int | None = None, write: int | None = None) -> None:
    left = until - time.monotonic()
    reads = [] if read is None else [read]
    writes = [] if write is None else [write]
    if left <= 0 or not any(select.select(reads, writes, [], left)):
        raise TimeoutError("it took too long")


def _how(child: subprocess.Popen[bytes]) -> str:
    try:
        code = child.wait(timeout=5)
    except subprocess.TimeoutExpired:
        return "it closed its pipe"
    return signal.Signals(-code).name if code < 0 else f"exit code {code}"


_AT_A_PAGE = threading.Lock()


class _Own:
    """The renderer of this process. A process that was forked off makes its own."""

    lock = threading.Lock()
    renderer: Renderer | None = None
    pid = 0


def _own() -> Renderer:
    with _Own.lock:
        if _Own.renderer is None or _Own.pid != os.getpid():
            _Own.renderer, _Own.pid = Renderer(), os.getpid()
        return _Own.renderer


def render_pdf(html: str) -> bytes:
    """The PDF (tagged, PDF/UA-1) of finished HTML that needs nothing from outside. Raises RenderFailed."""
    return render_to_fit([html], pages=1)


def render_to_fit(papers: Iterable[str], *, pages: int) -> bytes:
    """The PDF of the first of these papers that has no more pages; the last one when none fits. Raises RenderFailed."""
    fault_point("before_render")
    pdf, renderer = b"", _own()
    for html in papers:
        number, pdf = renderer.draw_counted(html)
        if number <= pages:
            break
    fault_point("after_render")
    return pdf


def render_now(papers: Iterable[str], *, pages: int) -> bytes:
    """A small paper for somebody who waits at a page: as `render_to_fit`, by a child that ends with it, so that the web keeps
    none warm. One is drawn at a time. Raises RenderFailed."""
    if not _AT_A_PAGE.acquire(timeout=PAGE_WAIT_S):
        raise RenderFailed("Other papers are being drawn just now. Ask again in a minute.")
    renderer, pdf = Renderer(limit_s=PAGE_LIMIT_S), b""
    try:
        for html in papers:
            number, pdf = renderer.draw_counted(html)
            if number <= pages:
                break
    finally:
        renderer.close()
        _AT_A_PAGE.release()
    return pdf


def _leave_with(parent: int) -> None:
    """End this process when the one it draws for is gone, also in the middle of a paper."""
    while os.getppid() == parent:
        time.sleep(0.5)
    os._exit(0)


def _say(out: BinaryIO, kind: bytes, body: bytes) -> None:
    out.write(kind + LENGTH.pack(len(body)) + body)
    out.flush()


def _serve(source: BinaryIO, out: BinaryIO) -> None:
    """The child's life: one paper after the other, until the pipe is closed."""
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_DATA, (LIMIT_MB << 20, LIMIT_MB << 20))
    try:
        from weasyprint import HTML  # noqa: PLC0415  slow, and only this process needs it
        from weasyprint.text.fonts import FontConfiguration  # noqa: PLC0415  with it
        from weasyprint.urls import URLFetcher  # noqa: PLC0415  with it
    except OSError as error:
        _say(out, REASON, NO_ENGINE.format(error=error).encode())
        return
    fonts = FontConfiguration()
    _say(out, PAPER, b"")
    while len(head := source.read(LENGTH.size)) == LENGTH.size:
        html = source.read(LENGTH.unpack(head)[0]).decode()
        fault_point("in_render_child")
        fetcher = URLFetcher(allowed_protocols={"data"}, allow_redirects=False)
        try:
            page = HTML(string=html, url_fetcher=fetcher)
            laid = page.render(font_config=fonts, pdf_variant="pdf/ua-1")
            pdf = LENGTH.pack(len(laid.pages)) + laid.write_pdf(pdf_variant="pdf/ua-1")
        except MemoryError:
            _say(out, REASON, NO_MEMORY.encode())
        except RecursionError:
            _say(out, REASON, b"The paper is nested too deeply to be drawn.")
        except Exception as error:  # noqa: BLE001  whatever the engine says is told to the asker
            _say(out, REASON, f"The paper could not be drawn ({type(error).__name__}: {error}).".encode())
        else:
            _say(out, PAPER, pdf)


def main() -> None:
    """Draw for the process that started this one. What libraries print goes to the error output, not the pipe."""
    parent = int(os.environ.get("TANKROUND_DRAWS_FOR", os.getppid()))
    threading.Thread(target=_leave_with, args=[parent], daemon=True).start()
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    _serve(sys.stdin.buffer, out)


if __name__ == "__main__":
    main()
