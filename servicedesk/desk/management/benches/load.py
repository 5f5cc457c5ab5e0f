"""A noisy device among others, lines that send a byte a second, many instruments at once, and a backlog, over real HTTP against the real process tree with its worker.

The house has a database and folder of its own, thrown away afterwards. How long one request took counts from when it was due, not from when a
sender was free. `--long` lets all instruments speak once a minute for an hour, with bursts, sends the whole backlog, and goes on until five
million rows are stored (`--repeat`: so many minutes instead); else a minute at the rate and a part of the backlog, and what follows for the whole is reckoned and said to be so."""

import contextlib
import socket
import threading
import time
from typing import Any

from django.db import connection

from servicedesk.desk.management.benches import Options
from servicedesk.desk.management.driving import (
    Driven,
    Found,
    delivery,
    drive,
    driven,
    pages_meanwhile,
    sign_in,
)

INSTRUMENTS = 500
RATE = {"postgresql": 100.0, "sqlite": 40.0}
BACKLOG, A_BATCH, A_PART = 1_440_000, 500, 100_000
BACKLOG_WITHIN_MIN = {"postgresql": 10.0, "sqlite": 15.0}
MOST_MS, MOST_PAGE_MS, MOST_SLOWER = 250.0, 500.0, 1.2
SLOW_LINES, SLOW_S = 40, 25
"""More lines than the web has threads, for less long than it takes until they are let go."""
NOISE_A_S, OTHERS_A_S, NOISE_S, SUSTAINED_S = 100.0, 10.0, 30, 60
HOUR_MIN, BURST_EVERY_MIN = 60, 10
"""For so long each instrument speaks once a minute; in every tenth of these all at once, as fast as the rate is that must be borne."""
ROWS, LOOKS = 5_000_000, 120


def _one(house: Driven, first: int, spread: int, begun: float, value: float) -> Any:
    """The nth delivery: one reading of now, from one instrument after the other; no two at the same moment."""
    return lambda n: delivery(
        house.passes[first + n % spread], [round(begun + n / 1000, 3)], value + (n % 50) / 1000
    )


def _noisy(house: Driven) -> dict[str, Any]:
    """Others alone, then the same beside one device that posts a hundred times a second."""
    number, began = int(OTHERS_A_S * NOISE_S), time.time() - 3000
    alone = drive(house.port, _one(house, 1, 100, began, 8.0), number=number, rate=OTHERS_A_S)
    noise: list[Found] = []

    def shout() -> None:
        noise.append(
            drive(house.port, _one(house, 0, 1, began, 7.5), number=int(NOISE_A_S * NOISE_S), rate=NOISE_A_S)
        )

    shouting = threading.Thread(target=shout)
    shouting.start()
    beside = drive(house.port, _one(house, 1, 100, began + 100, 8.0), number=number, rate=OTHERS_A_S)
    shouting.join()
    taken = alone.statuses[201] + beside.statuses[201] + noise[0].statuses[201]
    slow = _beside_slow(house)
    return {
        "alone": alone,
        "beside": beside,
        "noise": noise[0],
        "slow": slow,
        "taken": taken + slow.statuses[201],
    }


def _beside_slow(house: Driven) -> Found:
    """The same others beside lines on which a request comes a byte a second."""
    over, lines = (
        threading.Event(),
        [socket.create_connection(("127.0.0.1", house.port)) for _n in range(SLOW_LINES)],
    )
    for line in lines:
        line.sendall(b"POST /api/v1/deliveries/ HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 4000\r\n\r\n")

    def trickle() -> None:
        while not over.wait(1.0):
            for line in lines:
                with contextlib.suppress(OSError):
                    line.send(b"x")

    trickling = threading.Thread(target=trickle)
    trickling.start()
    number = int(OTHERS_A_S * SLOW_S)
    beside = drive(house.port, _one(house, 1, 100, time.time() - 2500, 8.0), number=number, rate=OTHERS_A_S)
    over.set()
    trickling.join()
    for line in lines:
        line.close()
    return beside


def _hour(house: Driven, rate: float, minutes: int) -> Found:
    """Each instrument says once a minute what it measured just then; in every tenth minute all of them as soon as the rate lets them."""

    def due(n: int) -> float:
        minute, turn = divmod(n, INSTRUMENTS)
        burst = minute % BURST_EVERY_MIN == BURST_EVERY_MIN - 1
        return 60.0 * minute + turn / (rate if burst else INSTRUMENTS / 60.0)

    def now(n: int) -> Any:
        return delivery(house.passes[n % INSTRUMENTS], [round(time.time(), 3)], 8.1 + (n % 50) / 1000)

    return drive(house.port, now, number=INSTRUMENTS * minutes, rate=due)


def _backlog(house: Driven, begun: float, readings: int, sent: int = 0) -> Found:
    """Batches of five hundred, four at once, each instrument's in turn, one reading a minute from `begun` on; so many were `sent` before."""
    first = sent // A_BATCH

    def batch(n: int) -> Any:
        start = begun + 60.0 * A_BATCH * ((first + n) // INSTRUMENTS)
        return delivery(house.passes[(first + n) % INSTRUMENTS], [start + 60 * k for k in range(A_BATCH)])

    return drive(house.port, batch, number=readings // A_BATCH, senders=4)


def _full(house: Driven, begun: float, sent: int) -> tuple[Found, dict[str, Found]]:
    """The same door until five million rows are stored, and the pages then, with nothing else going on."""
    more = _backlog(house, begun, ROWS - sent, sent)

    def look(path: str) -> Found:
        return drive(house.port, lambda n: ("GET", path, b"", house.cookie), number=LOOKS, rate=2.0)

    return more, {"tank page": look(f"/tanks/{house.tank}/"), "office page": look("/today/")}


def run(options: Options) -> dict[str, Any]:
    kind = connection.vendor
    rate, seconds = RATE[kind], SUSTAINED_S if options.long else options.repeat or SUSTAINED_S
    readings, begun = BACKLOG if options.long else A_PART, time.time() - 60 * 24 * 3600
    rates, old, full = dict[str, Found](), list[Found](), dict[str, Found]()
    with driven(number=INSTRUMENTS) as house:
        options.say("A noisy device …")
        noisy = _noisy(house)
        options.say(f"{rate:g} requests a second for {seconds} s …")
        steady = _one(house, 1, INSTRUMENTS - 1, time.time() - 2000, 8.2)
        rates[f"steady at {rate:g}/s"] = drive(house.port, steady, number=int(rate * seconds), rate=rate)
        if options.long:
            options.say(f"{INSTRUMENTS} instruments once a minute …")
            rates["once a minute"] = _hour(house, rate, options.repeat or HOUR_MIN)
            house.cookie = sign_in(house.port)  # after an hour of nothing the owner is signed out
        options.say(f"{readings} old readings …")
        with pages_meanwhile(house) as pages:
            old.append(_backlog(house, begun, readings))
        if options.long:
            options.say(f"{ROWS} rows …")
            more, full = _full(house, begun, readings)
            old.append(more)
        stored = house.stored()
    taken = noisy["taken"] + sum(found.statuses[201] for found in rates.values())
    taken += A_BATCH * sum(found.statuses[201] for found in old)
    minutes = BACKLOG / max(1, A_BATCH * old[0].statuses[201]) * old[0].seconds / 60
    metrics = {
        **_of_neighbours(noisy),
        **_of_rates(rates),
        f"backlog: minutes for 1.44 million{'' if options.long else ' (reckoned)'}": round(minutes, 1),
        **{f"backlog: {name} p95 ms": round(page.p95_ms, 1) for name, page in pages.items()},
        **{f"full: {name} p95 ms": round(page.p95_ms, 1) for name, page in full.items()},
        "stored": stored["readings"],
        "acknowledged": taken,
    }
    looked = {f"meanwhile the {name}": page for name, page in pages.items()}
    looked |= {f"then the {name}": page for name, page in full.items()}
    failed = _too_near(noisy) + _failed(kind, rates, old, minutes, looked, stored, taken)
    return {"baseline": {"instruments": INSTRUMENTS, "database": kind}, "metrics": metrics, "failed": failed}


def _of_neighbours(noisy: dict[str, Any]) -> dict[str, Any]:
    return {
        "noisy: its 429": noisy["noise"].statuses[429],
        "noisy: its posts": sum(noisy["noise"].statuses.values()),
        "noisy: others' 429": noisy["beside"].statuses[429] + noisy["alone"].statuses[429],
        "noisy: others' p95 alone ms": round(noisy["alone"].p95_ms, 1),
        "noisy: others' p95 beside it ms": round(noisy["beside"].p95_ms, 1),
        "slow lines": SLOW_LINES,
        "slow lines: others' p95 beside them ms": round(noisy["slow"].p95_ms, 1),
    }


def _of_rates(some: dict[str, Found]) -> dict[str, Any]:
    return {
        f"{name}: {what}": value
        for name, found in some.items()
        for what, value in (
            ("requests/s", round(len(found.took) / found.seconds, 1)),
            ("seconds", round(found.seconds)),
            ("p95 ms", round(found.p95_ms, 1)),
            ("longest ms", round(1000 * max(found.took))),
            ("errors", found.errors),
        )
    }


def _too_near(noisy: dict[str, Any]) -> list[str]:
    """What others felt of a noisy device and of slow lines, where it is more than the bar."""
    alone, beside, noise = noisy["alone"], noisy["beside"], noisy["noise"]
    slower, slow = beside.p95_ms / alone.p95_ms, noisy["slow"].p95_ms / alone.p95_ms
    wrong = alone.errors + beside.errors + noisy["slow"].errors + noise.errors
    bars = {
        "The noisy device was not told that it asks too often.": noise.statuses[429] > 0,
        "Others were told that they ask too often.": not (alone.statuses[429] + beside.statuses[429]),
        f"Beside the noisy device others wait {slower:.2f} times as long at p95; the bar is {MOST_SLOWER:g}.": slower <= MOST_SLOWER,
        f"Beside slow lines others wait {slow:.2f} times as long at p95; the bar is {MOST_SLOWER:g}.": slow <= MOST_SLOWER,
        f"{wrong} requests of these were not answered as they should be.": wrong == 0,
    }  # fmt: skip
    return [sentence for sentence, held in bars.items() if not held]


def _failed(
    kind: str, rates: dict[str, Found], old: list[Found], minutes: float, pages: dict[str, Found], stored: dict[str, Any], taken: int
) -> list[str]:  # fmt: skip
    """The bars that were not reached, in sentences."""
    wrong = sum(found.errors for found in [*rates.values(), *old])
    slowest = max(found.p95_ms for found in rates.values())
    bars = {
        f"{wrong} requests were not answered as they should be.": wrong == 0,
        f"p95 at the rate that must be borne is {slowest:.0f} ms; the bar is {MOST_MS:g} ms.": slowest < MOST_MS,
        f"The backlog takes {minutes:.1f} minutes; the bar is {BACKLOG_WITHIN_MIN[kind]:g}.": 0 < minutes <= BACKLOG_WITHIN_MIN[kind],
        f"{stored['readings']} readings are stored ({stored['different']} different), {taken} were acknowledged.": stored["readings"] == stored["different"] == taken,
        **{
            f"{name} takes {page.p95_ms:.0f} ms at p95; the bar is {MOST_PAGE_MS:g} ms.".capitalize(): page.p95_ms < MOST_PAGE_MS and not page.errors
            for name, page in pages.items()
        },
    }  # fmt: skip
    return [sentence for sentence, held in bars.items() if not held]
