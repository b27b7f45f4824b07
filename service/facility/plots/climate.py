"""Temperature and humidity in a chamber against the signed window, and the times outside it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from service.facility.plots.chart import (
    COLOURS,
    DASHES,
    Chart,
    Plot,
    hours_between,
    zone_of,
)
from service.pages import moment
from shared.programmes import Programme
from shared.records import ClimateReading, FacilityBook, Run

WINDOW = COLOURS[4]


@dataclass(frozen=True)
class Quantity:
    """What is kept within a window: its name, unit, window and how it is read."""

    name: str
    unit: str
    low: float
    high: float
    field: Literal["temperature_c", "rh_percent"]

    @property
    def window(self) -> str:
        """The signed window in words."""
        return f"{self.low:g} to {self.high:g} {self.unit}"

    def of(self, readings: Iterable[ClimateReading]) -> list[tuple[datetime, float]]:
        """Times and values of the readings that say this quantity."""
        return [
            (one.taken_at, float(text))
            for one in readings
            if (text := getattr(one, self.field)) is not None
        ]

    def off(self, value: float) -> float:
        """How far a value is outside the window; 0 or less within it."""
        return max(self.low - value, value - self.high)


@dataclass(frozen=True)
class Excursion:
    """A time in which a zone was outside the window, as far as its readings tell.

    ``until`` is the first reading inside again; ``None`` while the newest is still outside.
    """

    zone: str
    quantity: Quantity
    since: datetime
    until: datetime | None
    worst: float


def quantities(programme: Programme) -> tuple[Quantity, Quantity]:
    """Temperature (°C) and relative humidity (%) with the programme's windows."""
    rh_low, rh_high = (100 * share for share in programme.rh)
    return (
        Quantity("Temperature", "°C", *programme.temperature_c, "temperature_c"),
        Quantity("Relative humidity", "%", rh_low, rh_high, "rh_percent"),
    )


def excursions(run: Run, programme: Programme) -> list[Excursion]:
    """Every time outside the signed window, by when it began.

    A time begins with the first reading outside and ends with the first one inside again: what
    was between two readings, nobody knows.
    """
    found = []
    for zone, readings in climate_by_zone(run).items():
        for quantity in quantities(programme):
            since: datetime | None = None
            worst = 0.0
            for at, value in quantity.of(readings):
                if quantity.off(value) > 0:
                    worst = value if since is None else max(worst, value, key=quantity.off)
                    since = since or at
                elif since is not None:
                    found.append(Excursion(zone, quantity, since, at, worst))
                    since = None
            if since is not None:
                found.append(Excursion(zone, quantity, since, None, worst))
    return sorted(found, key=lambda one: (one.since, one.zone, one.quantity.name))


def climate_by_zone(run: Run) -> dict[str, list[ClimateReading]]:
    """Temperature and humidity readings by zone, each in order of time."""
    zones: dict[str, list[ClimateReading]] = {}
    for reading in sorted(run.climate, key=lambda one: (one.zone, one.taken_at)):
        zones.setdefault(reading.zone, []).append(reading)
    return zones


def climate_plot(
    run: Run, programme: Programme, book: FacilityBook, outside: Sequence[Excursion]
) -> Plot | None:
    """Temperature and humidity by zone with the signed window; ``None`` before any reading.

    ``outside``: the run's :func:`excursions`.
    """
    zones = climate_by_zone(run)
    if not zones:
        return None
    start = min(readings[0].taken_at for readings in zones.values())
    end = max(readings[-1].taken_at for readings in zones.values())
    chart = Chart(
        (0, max(hours_between(start, end) * 1.04, 1.0)),
        f"Hours since {moment(start, zone_of(book))}",
    )
    for quantity in quantities(programme):
        drawn = {
            zone: [(hours_between(start, at), value) for at, value in quantity.of(readings)]
            for zone, readings in zones.items()
        }
        values = [value for points in drawn.values() for _, value in points]
        low, high = min([quantity.low, *values]), max([quantity.high, *values])
        margin = max((high - low) * 0.15, 1.0)
        panel = chart.panel(f"{quantity.name}, {quantity.unit}", low - margin, high + margin)
        panel.level(quantity.high, f"at most {quantity.high:g} {quantity.unit}", WINDOW)
        panel.level(quantity.low, f"at least {quantity.low:g} {quantity.unit}", WINDOW)
        for number, points in enumerate(drawn.values()):
            if points:
                colour, dash = _look(number)
                panel.curve(points, colour, dash)
                panel.dots(points, colour)
    for number, zone in enumerate(zones):
        chart.explain("line", f"Zone {zone}", *_look(number))
    chart.explain("line", "Signed window", WINDOW, "7 4")
    temperature, humidity = quantities(programme)
    caption = (
        f"{_times(outside)} outside the signed window of {temperature.window} and "
        f"{humidity.window} relative humidity. Time outside it counts nothing towards the dose."
    )
    rows = [row for quantity in quantities(programme) for row in _rows(quantity, zones)]
    return Plot(
        chart.draw(f"Temperature and humidity of run {run.run}. {caption}"),
        caption,
        ("Zone", "What", "Readings", "Newest", "Lowest", "Highest", "Window"),
        tuple(rows),
    )


def _look(number: int) -> tuple[str, str]:
    return COLOURS[number % 4], DASHES[number % len(DASHES)]


def _times(outside: Sequence[Excursion]) -> str:
    if not outside:
        return "At no reading"
    return "Once" if len(outside) == 1 else f"{len(outside)} times"


def _rows(quantity: Quantity, zones: dict[str, list[ClimateReading]]) -> Iterable[tuple[str, ...]]:
    for zone, readings in zones.items():
        values = [value for _, value in quantity.of(readings)]
        if not values:
            yield zone, quantity.name, "0", *["not measured"] * 3, quantity.window
            continue
        yield (
            zone,
            quantity.name,
            str(len(values)),
            *(f"{value:.1f} {quantity.unit}" for value in (values[-1], min(values), max(values))),
            quantity.window,
        )
