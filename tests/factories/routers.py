"""A road router to try things with, over HTTP: it speaks as OSRM or as Valhalla, on an invented map on which no way is as long as its way back."""

import contextlib
import json
import math
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit

from servicedesk.core.rounds.router import key_of, straight_m


def truth(start, end):
    """Seconds and metres between (latitude, longitude) as the invented map has them: going north and going east cost more."""
    (lat, lon), (lat_b, lon_b) = start, end
    metres = 1.4 * straight_m(key_of(start), key_of(end))
    return round(metres / 12 + (90 if lat_b > lat else 0) + (45 if lon_b > lon else 0) + 30, 1), round(
        metres, 1
    )


class FakeRouter:
    """How it answers is set while it runs: `broken` a status, `slow` seconds to wait, `garbage` bytes instead of an answer, `most` pairs at once, `none` pairs
    without a way, `lost` places without a road near, `apart` places that no road joins to others, `swapped` taking latitude for longitude,
    `good` so many requests before it breaks. `asked` is what it was asked."""

    def __init__(self):
        self.broken = self.slow = self.most = 0
        self.garbage, self.swapped = b"", False
        self.none, self.lost, self.apart = set(), set(), set()
        self.good = None
        self.asked, self.heard = [], []

    def table(self, starts, ends):
        """The body of an answer, and its status, in OSRM's words."""
        turned = (lambda p: (p[1], p[0])) if self.swapped else (lambda p: p)
        starts, ends = [turned(p) for p in starts], [turned(p) for p in ends]
        if self.most and len(starts) * len(ends) > self.most:
            return 400, {"code": "TooBig", "message": "Too many table coordinates", "error_code": 150}
        if self.lost & {*starts, *ends}:
            return 400, {
                "code": "NoSegment",
                "message": "Could not find a matching segment",
                "error_code": 171,
            }
        if self.apart & {*starts, *ends} and {*starts, *ends} - self.apart:
            return 400, {"code": "?", "error_code": 170}
        square = [
            [None if (a, b) in self.none else (0, 0) if a == b else truth(a, b) for b in ends] for a in starts
        ]
        place = lambda p: {"location": [p[1] + 1e-5, p[0]], "name": "", "distance": 1.1}  # noqa: E731
        return 200, {
            "code": "Ok",
            "durations": [[pair and pair[0] for pair in row] for row in square],
            "distances": [[pair and pair[1] for pair in row] for row in square],
            "sources": [place(p) for p in starts],
            "destinations": [place(p) for p in ends],
        }

    def answer(self, starts, ends, *, cells):
        self.asked.append((starts, ends))
        if self.slow:
            time.sleep(self.slow)
        if self.good is not None and len(self.asked) > self.good:
            return 503, b"later"
        if self.broken:
            return self.broken, b"broken"
        if self.garbage:
            return 200, self.garbage
        status, said = self.table(starts, ends)
        if status == 200 and cells:
            pairs = [
                [
                    {
                        "from_index": i,
                        "to_index": j,
                        "time": s and math.floor(s),
                        "distance": m and round(m / 1000, 3),
                    }
                    for j, (s, m) in enumerate(zip(*two, strict=True))
                ]
                for i, two in enumerate(zip(said["durations"], said["distances"], strict=True))
            ]
            said = {"sources_to_targets": pairs, "units": "kilometers"}
        return status, json.dumps(said).encode()


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    router: FakeRouter

    def do_GET(self):  # noqa: N802  the library's name
        parts = urlsplit(self.path)
        self.router.heard.append(self.path)
        places = [tuple(map(float, reversed(p.split(",")))) for p in parts.path.rsplit("/", 1)[1].split(";")]
        given = parse_qs(parts.query, separator="&")
        starts, ends = (
            [places[int(n)] for n in given[name][0].split(";")] for name in ("sources", "destinations")
        )
        self.reply(*self.router.answer(starts, ends, cells=False))

    def do_POST(self):  # noqa: N802  the same
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.router.heard.append(body.decode())
        said = json.loads(body)
        starts, ends = ([(p["lat"], p["lon"]) for p in said[name]] for name in ("sources", "targets"))
        self.reply(*self.router.answer(starts, ends, cells=True))

    def reply(self, status, body):
        with contextlib.suppress(OSError):
            self.send_response(status)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

    def log_message(self, *given):
        pass


@contextlib.contextmanager
def running_router():
    """A router and the address at which it answers."""
    router = FakeRouter()
    handler = type("Handler", (_Handler,), {"router": router})
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield router, f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
