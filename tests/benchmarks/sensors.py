"""An hour of fifty sensors, each pushing a reading every ten seconds, against the real service.

`python -m tests.benchmarks.sensors` serves the small invented facility with an open chamber run in
this process and pushes from another, as fast as the service takes it: once with a request for
each reading, once with a request for each round of fifty. The service's clock is the simulated
one. What is printed is the table of `SENSORS.md`.
"""

import argparse
import http.client
import json
import logging
import multiprocessing
import os
import platform
import statistics
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from multiprocessing.sharedctypes import Synchronized
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import structlog

from service.facility.sensors import make_token
from service.installation import Installation
from service.settings import Settings
from tests.browser.serving import served
from tests.service.facility.house import LEAD, VASE, ZONES, allow, bring, furnish, open_run
from tests.service.facility.measured import bearer, place, read
from tests.writers import START

EVERY_S = 10
BEGINS = START + timedelta(hours=1)
PAGES = ("/facility/runs/run-1", "/facility/sensors")
MEASURES = {
    "gas": ("box", "ppm", {"gas": "ozone", "least_seen": "0.005"}),
    "oxygen": ("box", "%vol", {}),
    "humidity": ("dry", "%RH", {}),
    "temperature": ("airing", "degC", {}),
}
"""What the sensors measure in turn, where, and in which unit."""


@dataclass(frozen=True)
class Load:
    """How the readings are sent."""

    words: str
    senders: int
    together: bool


@dataclass(frozen=True)
class Measured:
    """What one load took."""

    seconds: float
    requests_ms: tuple[float, ...]
    stored: int
    grown_bytes: int
    pages_ms: dict[str, float]


LOADS = (
    Load("a request for each round of all sensors", 1, together=True),
    Load("a request for each reading, 4 at a time", 4, together=False),
)


def sensor_names(count: int) -> list[tuple[str, str]]:
    """Sensors by name, each with what it measures."""
    kinds = list(MEASURES)
    return [(f"s-{number}", kinds[number % len(kinds)]) for number in range(count)]


def rounds(sensors: int, ticks: int) -> Iterator[tuple[datetime, list[Any]]]:
    """Every tick of the hour with what each sensor says."""
    for tick in range(ticks):
        at = BEGINS + timedelta(seconds=EVERY_S * tick)
        yield (
            at,
            [
                read(
                    name,
                    f"{(number + tick) % 400 / 10 + 10:.1f}",
                    MEASURES[kind][1],
                    at.isoformat(),
                )
                for number, (name, kind) in enumerate(sensor_names(sensors))
            ],
        )


def send(
    address: str, secret: str, load: Load, sensors: int, ticks: int, clock: "Synchronized[float]"
) -> tuple[float, list[float], int]:
    """Push the hour; the seconds it took, each request's milliseconds, and what was stored."""
    head = bearer(secret) | {"content-type": "application/json"}

    def push(parts: list[Any]) -> list[tuple[float, int]]:
        found = []
        for part in parts:
            started = time.perf_counter()
            answer = json.loads(
                _answered(address, "POST", "/sensors/readings", json.dumps(part), head)
            )
            found.append(((time.perf_counter() - started) * 1000, int(answer["stored"])))
        return found

    answered: list[tuple[float, int]] = []
    begun = time.perf_counter()
    with ThreadPoolExecutor(load.senders) as pool:
        for at, told in rounds(sensors, ticks):
            clock.value = at.timestamp() + 1
            shares: list[list[Any]] = (
                [[told]]
                if load.together
                else [told[n :: load.senders] for n in range(load.senders)]
            )
            for found in pool.map(push, shares):
                answered += found
    seconds = time.perf_counter() - begun
    return seconds, [ms for ms, _ in answered], sum(stored for _, stored in answered)


@contextmanager
def _furnished(clock: "Synchronized[float]", sensors: int) -> Iterator[tuple[Installation, str]]:
    """The small facility with its sensors and an open run, in a folder of its own."""
    with tempfile.TemporaryDirectory(prefix="lagan-sensors-") as folder:
        here = Installation(
            Settings(folder=Path(folder)),
            now=lambda: START + timedelta(seconds=clock.value - START.timestamp()),
        )
        furnish(here)
        bring(here, VASE)
        allow(here, VASE)
        open_run(here, VASE)
        names = sensor_names(sensors)
        for number, (name, kind) in enumerate(names):
            station, _, facts = MEASURES[kind]
            zone = ZONES[number % len(ZONES)] if station == "box" else ""
            place(here, name, station, kind, zone=zone, **facts)
        yield (
            here,
            make_token(here, name="Gateway", sensors=[n for n, _ in names], actor=LEAD).secret,
        )


def _bytes_on_disk(here: Installation) -> int:
    with here.database.read() as session:
        session.connection().exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    return here.database.path.stat().st_size


def _answered(
    address: str,
    method: str,
    path: str,
    body: str | None = None,
    head: dict[str, str] | None = None,
) -> bytes:
    """What the service answers on a connection of its own, as a sensor that sleeps would ask."""
    place_of = urlsplit(address)
    connection = http.client.HTTPConnection(place_of.hostname or "", place_of.port)
    try:
        connection.request(method, path, body, head or {})
        answer = connection.getresponse()
        said = answer.read()
        if answer.status != 200:
            raise RuntimeError(f"{path} answers {answer.status}: {said[:300]!r}")
        return said
    finally:
        connection.close()


def _drawn_ms(address: str, path: str) -> float:
    started = time.perf_counter()
    _answered(address, "GET", path)
    return (time.perf_counter() - started) * 1000


def measure(load: Load, sensors: int, ticks: int) -> Measured:
    """One load, from an installation without a reading."""
    context = multiprocessing.get_context("spawn")
    clock: Synchronized[float] = context.Value("d", BEGINS.timestamp())
    with _furnished(clock, sensors) as (here, secret), served(here) as address:
        before = _bytes_on_disk(here)
        with context.Pool(1, _share, (clock,)) as pool:
            said = (address, secret, load, sensors, ticks)
            seconds, requests, stored = pool.apply(_send_shared, said)
        grown = _bytes_on_disk(here) - before
        pages = {path: min(_drawn_ms(address, path) for _ in range(3)) for path in PAGES}
    return Measured(seconds, tuple(requests), stored, grown, pages)


_shared: dict[str, Any] = {}


def _share(clock: "Synchronized[float]") -> None:
    _shared["clock"] = clock


def _send_shared(
    address: str, secret: str, load: Load, sensors: int, ticks: int
) -> tuple[float, list[float], int]:
    return send(address, secret, load, sensors, ticks, _shared["clock"])


def heads() -> str:
    """The heads of the table, as Markdown."""
    drawn = " | ".join(f"draw {path} ms" for path in PAGES)
    return (
        "| sent as | readings stored | readings/s | request p50 ms | p99 ms | bytes a reading | "
        f"{drawn} | load average |\n|---|" + "---:|" * (6 + len(PAGES))
    )


def row(load: Load, one: Measured) -> str:
    """What was measured of one load, as Markdown."""
    cuts = statistics.quantiles(one.requests_ms, n=100)
    drawn = " | ".join(f"{one.pages_ms[path]:.0f}" for path in PAGES)
    return (
        f"| {load.words} | {one.stored} | {one.stored / one.seconds:.0f} | {cuts[49]:.1f} | "
        f"{cuts[98]:.1f} | {one.grown_bytes / one.stored:.0f} | {drawn} | "
        f"{os.getloadavg()[0]:.1f} |"
    )


def main() -> None:
    """Measure every load and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sensors", type=int, default=50)
    parser.add_argument("--minutes", type=int, default=60)
    said = parser.parse_args()
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.ERROR))
    ticks = said.minutes * 60 // EVERY_S
    print(f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}")
    print(heads(), flush=True)
    for load in LOADS:
        print(row(load, measure(load, said.sensors, ticks)), flush=True)


if __name__ == "__main__":
    main()
