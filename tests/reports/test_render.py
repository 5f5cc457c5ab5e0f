"""Drawing: nothing is fetched, nothing read, and what eats time or memory is given up while the house goes on."""

import base64
import http.server
import io
import os
import signal
import threading
import time
import zlib
from collections.abc import Iterator
from pathlib import Path

import pytest
from pypdf import PdfReader

from reports import render
from reports.render import Renderer, RenderFailed

pytestmark = [pytest.mark.slow, pytest.mark.paper]  # starts the engine and draws

PAGE = '<!doctype html><html lang="en"><head><title>Reef</title>{head}</head><body>{body}</body></html>'
SECRET = "a-line-only-the-local-file-holds"


def page(body: str = "", head: str = "") -> str:
    return PAGE.format(body=body, head=head)


@pytest.fixture(scope="module")
def renderer() -> Iterator[Renderer]:
    made = Renderer()
    yield made
    made.close()


class Listener(http.server.BaseHTTPRequestHandler):
    seen: list[str] = []

    def do_GET(self) -> None:
        Listener.seen.append(self.path)
        self.send_response(200)
        self.end_headers()
        self.wfile.write(b"p { color: red }")

    do_POST = do_HEAD = do_GET

    def log_message(self, *_args: object) -> None:
        pass


@pytest.fixture(scope="module")
def listener() -> Iterator[str]:
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Listener)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    Listener.seen.clear()
    yield f"127.0.0.1:{server.server_port}"
    server.shutdown()


def hostile(address: str) -> list[str]:
    """Fifty ways of asking for something from outside."""
    made = []
    svg = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="9" height="9">{}</svg>'
    for url in (
        address,
        address.replace("http://", "//"),
        address.replace("http", "HTTP"),
        "http:\n" + address[5:],
    ):
        inside = base64.b64encode(svg.format(f'<image xlink:href="{url}"/>').encode()).decode()
        sheet = base64.b64encode(f'@import url("{url}");'.encode()).decode()
        made += [
            page(f'<img src="{url}" alt="">'),
            page(f'<object data="{url}"></object>'),
            page(f'<embed src="{url}">'),
            page(svg.format(f'<image xlink:href="{url}" width="9" height="9"/>')),
            page(svg.format(f'<use href="{url}#a"/>')),
            page(f'<img alt="" src="data:image/svg+xml;base64,{inside}">'),
            page(head=f'<link rel="stylesheet" href="{url}">'),
            page(head=f'<link rel="stylesheet" href="data:text/css;base64,{sheet}">'),
            page(head=f'<link rel="attachment" href="{url}">'),
            page(f'<a rel="attachment" href="{url}">x</a>'),
            page(head=f'<base href="{url}"><link rel="stylesheet" href="a.css">'),
            page(head=f"<style>@import url('{url}');</style>", body="x"),
        ]
    made += [
        page(
            "<p>x</p>",
            f"<style>@font-face {{ font-family: a; src: url({address}) }} p {{ font-family: a }}</style>",
        ),
        page(f'<p style="list-style: url({address}); display: list-item; background: url({address})">x</p>'),
    ]
    return made


def test_fifty_hostile_papers_ask_for_nothing_outside(renderer: Renderer, listener: str) -> None:
    papers = hostile(f"http://{listener}/x")
    assert len(papers) == 50
    refused = []
    for paper in papers:
        try:
            assert renderer.draw(paper).startswith(b"%PDF")
        except RenderFailed as reason:
            refused.append(str(reason))
    assert Listener.seen == []
    assert len(refused) == 1, "only the sheet named without a protocol is refused as a whole"
    assert "Relative URI" in refused[0]


def test_fifty_hostile_papers_hold_no_byte_of_a_local_file(renderer: Renderer, tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text(SECRET * 20)
    for paper in hostile(secret.as_uri()):
        assert SECRET not in everything_in(renderer.draw(paper))


def test_the_listener_and_the_search_see_an_engine_that_is_not_shut_in(listener: str, tmp_path: Path) -> None:
    from weasyprint import HTML  # noqa: PLC0415  slow, for this proof only

    secret = tmp_path / "secret.txt"
    secret.write_text(SECRET * 20)
    HTML(string=hostile(f"http://{listener}/open")[0]).write_pdf()
    assert Listener.seen == ["/open"]
    Listener.seen.clear()
    assert SECRET in everything_in(HTML(string=hostile(secret.as_uri())[8]).write_pdf())


def everything_in(pdf: bytes) -> str:
    """The file and all its streams, unpacked."""
    found = pdf.decode("latin-1")
    for part in pdf.split(b"stream")[1:]:
        try:
            found += zlib.decompressobj().decompress(part.lstrip(b"\r\n")).decode("latin-1")
        except zlib.error:
            continue
    return found


def test_a_paper_that_takes_too_long_is_given_up_and_the_next_is_drawn() -> None:
    renderer = Renderer(limit_s=2)
    renderer.draw(page("warm"))
    began = time.monotonic()
    with pytest.raises(RenderFailed, match="could not be drawn in 2 seconds"):
        renderer.draw(page("<table>" + "<tr><td>x<td>y" * 60_000 + "</table>"))
    assert time.monotonic() - began < 4
    assert renderer.draw(page("next")).startswith(b"%PDF")
    renderer.close()


def test_a_paper_that_eats_memory_is_given_up_and_the_next_is_drawn(renderer: Renderer) -> None:
    with pytest.raises(RenderFailed, match="512 MB|broke twice"):
        renderer.draw(page("x" * 150_000_000))
    assert renderer.draw(page("next")).startswith(b"%PDF")


def test_a_child_killed_in_the_middle_is_replaced_and_the_paper_drawn(
    renderer: Renderer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    flag = tmp_path / "die"
    flag.touch()
    monkeypatch.setenv("TANKROUND_FAULT", f"in_render_child:{flag}")
    renderer.close()
    assert renderer.draw(page("again")).startswith(b"%PDF")
    assert not flag.exists()


def test_a_child_that_breaks_each_time_is_a_reason_not_a_hanging(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TANKROUND_FAULT", "in_render_child")
    with pytest.raises(RenderFailed, match="broke twice on this paper .SIGKILL"):
        Renderer().draw(page("x"))


def test_an_idle_child_that_died_is_not_noticed(renderer: Renderer) -> None:
    renderer.draw(page("one"))
    assert renderer.pid
    os.kill(renderer.pid, signal.SIGKILL)
    assert renderer.draw(page("two")).startswith(b"%PDF")


def test_the_child_is_replaced_after_its_papers() -> None:
    renderer = Renderer(papers=2)
    seen = set()
    for n in range(4):
        renderer.draw(page(str(n)))
        seen.add(renderer.pid)
    assert len(seen - {None}) == 2
    renderer.close()


def test_one_child_draws_for_all_threads_and_gives_the_same_bytes(renderer: Renderer) -> None:
    drawn: list[bytes] = []
    threads = [
        threading.Thread(target=lambda: drawn.append(renderer.draw(page("<p>same</p>")))) for _n in range(6)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(drawn) == 6
    assert len(set(drawn)) == 1
    assert b"pdfuaid" in drawn[0] or "pdfuaid" in everything_in(drawn[0])


def test_missing_system_libraries_are_said_with_their_remedy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "weasyprint.py").write_text("raise OSError('cannot load library libpango-1.0-0')")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    with pytest.raises(RenderFailed, match="apt-get install .* libpangoft2-1.0-0"):
        Renderer().draw(page("x"))


def test_a_child_leaves_when_the_process_it_draws_for_is_gone(tmp_path: Path) -> None:
    reader, writer = os.pipe()
    asker = os.fork()
    if asker == 0:
        made = Renderer()
        made.draw(page("x"))
        os.write(writer, str(made.pid).encode())
        time.sleep(60)
        os._exit(0)
    child = int(os.read(reader, 20))
    os.kill(asker, signal.SIGKILL)
    os.waitpid(asker, 0)
    until = time.monotonic() + 5
    while Path(f"/proc/{child}").exists() and "Z" not in state_of(child) and time.monotonic() < until:
        time.sleep(0.1)
    assert not Path(f"/proc/{child}").exists() or "Z" in state_of(child)


def state_of(pid: int) -> str:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return "Z"


def test_the_limits_are_those_promised() -> None:
    assert (render.LIMIT_S, render.LIMIT_MB, render.PAPERS_PER_CHILD) == (30, 512, 50)


def test_a_paper_comes_with_the_number_of_its_pages(renderer: Renderer) -> None:
    pages = "".join(f'<p style="break-before: page">{n}</p>' for n in range(3))
    number, pdf = renderer.draw_counted(page(pages))
    assert number == len(PdfReader(io.BytesIO(pdf)).pages) == 3


def test_the_first_paper_that_fits_is_drawn_and_the_last_when_none_does() -> None:
    two, three = (page("".join(f'<p style="break-before: page">{n}</p>' for n in range(k))) for k in (2, 3))
    asked = []

    def papers() -> Iterator[str]:
        for paper in (three, two, page("x")):
            asked.append(paper)
            yield paper

    assert len(PdfReader(io.BytesIO(render.render_to_fit(papers(), pages=2))).pages) == 2
    assert asked == [three, two]
    assert len(PdfReader(io.BytesIO(render.render_to_fit([three, two], pages=1))).pages) == 2


def test_what_the_missing_engine_asks_for_is_what_the_first_start_installs() -> None:
    line = next(part for part in render.NO_ENGINE.split("On Debian: ")[1:])
    for place in ("manage.py", "README.md"):
        words = (Path(render.__file__).parent.parent / place).read_text("utf-8")
        assert line.rpartition(" ")[2] in words, place
