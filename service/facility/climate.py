"""The air of a room over time: set point, band, what went outside it, and how fast RH fell.

The band is what the tables want for the pieces that stand there. Where nothing stands, or no air
suits all of it, it is the set point and a little either way.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

import numpy as np

from service.facility.plots.chart import (
    COLOURS,
    DASHES,
    SOFT,
    Chart,
    Panel,
    Plot,
    Point,
    hours_between,
)
from service.facility.sensors_push import is_ahead, marks_of
from service.pages import moment
from shared import air
from shared.facility import Room
from shared.facts import Facts, RoomSetPointRow
from shared.quantities import TemperatureUnit, to_celsius
from shared.records import AirReading, Item

GAP = timedelta(hours=2)
"""Longer without a reading, and the curve is broken; ours."""
POINTS = 300
"""Places across the picture at which a curve keeps its highest and its lowest value."""
LINES = 24
BY_HAND = "by hand"


@dataclass(frozen=True)
class Band:
    """The air that is wanted: °C and % RH, and in words why."""

    t_c: tuple[float, float]
    rh: tuple[float, float]
    why: str


@dataclass(frozen=True)
class Cap:
    """How fast RH may fall for a group of materials that stands in the room."""

    row: RoomSetPointRow
    fell: float | None

    @property
    def words(self) -> str:
        """The cap as the table has it, and whether the air kept to it."""
        starts = self.row.rh_start_percent
        start = f"start at {starts:g} %, then " if starts else ""
        said = (
            f"{self.row.group.label}: {start}no more than {self.row.rh_step_percent:g} % RH down "
            f"in {self.row.rh_step_days:g} days"
        )
        return said if self.fell is None else f"{said}. It fell {self.fell:.0f} %"

    @property
    def broken(self) -> bool:
        """Whether the air fell faster."""
        return self.fell is not None and self.fell > (self.row.rh_step_percent or 0)


@dataclass(frozen=True)
class Excursion:
    """A stretch of time outside the band, with the farthest value in it."""

    what: str
    starts: datetime
    ends: datetime
    farthest: float
    unit: str
    lasts: bool


@dataclass(frozen=True)
class Line:
    """A reading as the log shows it."""

    reading: AirReading
    marks: Sequence[str]

    @property
    def source(self) -> str:
        """The sensor, or what a person read and who."""
        by = self.reading.instrument or BY_HAND
        return self.reading.sensor or f"{by}, {self.reading.actor}"


def marked(readings: Iterable[AirReading]) -> list[Line]:
    """Readings in the order in which they came in, each with what is odd about when it came."""
    newest: dict[str, datetime] = {}
    found = []
    for one in readings:
        source = one.sensor or BY_HAND
        marks = marks_of(one.taken_at, one.received_at, newest.get(source))
        found.append(Line(one, marks))
        if not is_ahead(one.taken_at, one.received_at):
            newest[source] = max(one.taken_at, newest.get(source, one.taken_at))
    return found


Series = dict[str, list[tuple[datetime, float]]]
"""Values by source, oldest first."""


def temperatures_c(readings: Iterable[AirReading]) -> Series:
    """Temperatures in °C."""
    units = {"degC": TemperatureUnit.CELSIUS, "degF": TemperatureUnit.FAHRENHEIT}
    return _series(
        (one, to_celsius(Decimal(one.value), units[one.unit]))
        for one in readings
        if one.unit in units
    )


def humidities(readings: Iterable[AirReading]) -> Series:
    """Relative humidities in per cent."""
    return _series((one, float(one.value)) for one in readings if one.unit == "%RH")


def _series(values: Iterable[tuple[AirReading, float]]) -> Series:
    found: Series = {}
    for one, value in values:
        if not is_ahead(one.taken_at, one.received_at):
            found.setdefault(one.sensor or BY_HAND, []).append((one.taken_at, value))
    return {source: sorted(points) for source, points in sorted(found.items())}


def band_of(room: Room, pieces: Sequence[Item], known: Facts) -> Band:
    """The air wanted in a room for what stands in it."""
    rows = [known.room_for(piece.materials) for piece in pieces if piece.materials]
    if rows:
        t_low, t_high = max(row.t_low_c for row in rows), min(row.t_high_c for row in rows)
        rh_low = max(row.rh_low_percent for row in rows)
        rh_high = min(max(row.rh_high_percent, row.rh_start_percent or 0) for row in rows)
        groups = ", ".join(sorted({row.group.label.lower() for row in rows}))
        if t_low <= t_high and rh_low <= rh_high:
            return Band((t_low, t_high), (rh_low, rh_high), f"for what stands here: {groups}")
        why = f"no air suits all that stands here ({groups}), so it is the set point, and a little"
    else:
        why = "nothing stands here, so it is the set point, and a little"
    t_c, rh = room.temperature_c, room.rh * 100
    return Band(
        (t_c - air.T_EITHER_WAY_C, t_c + air.T_EITHER_WAY_C),
        (max(rh - air.RH_EITHER_WAY_PERCENT, 0), min(rh + air.RH_EITHER_WAY_PERCENT, 100)),
        f"{why} either way",
    )


def caps_of(pieces: Sequence[Item], rh: Series, known: Facts) -> list[Cap]:
    """The caps on falling RH that the tables have for what stands in a room."""
    rows = {
        row.group: row
        for piece in pieces
        if piece.materials
        for row in [known.room_for(piece.materials)]
        if row.rh_step_percent is not None and row.rh_step_days is not None
    }
    return [Cap(row, _fallen(rh, timedelta(days=row.rh_step_days or 0))) for row in rows.values()]


def _fallen(rh: Series, within: timedelta) -> float | None:
    """The most by which a day's mean fell below that of a day at most ``within`` before it."""
    falls = []
    for points in rh.values():
        days: dict[int, list[float]] = {}
        first = points[0][0]
        for at, value in points:
            days.setdefault((at - first) // timedelta(days=1), []).append(value)
        means = {day: float(np.mean(values)) for day, values in days.items()}
        falls += [
            means[before] - means[after]
            for after in means
            for before in means
            if before < after and timedelta(days=after - before) <= within
        ]
    return max(0.0, *falls) if falls else None


def excursions(t_c: Series, rh: Series, band: Band, now: datetime) -> list[Excursion]:
    """Every stretch outside the band, the newest first. A gap in the readings ends a stretch."""
    found = []
    for what, series, wanted, unit in (
        ("Temperature", t_c, band.t_c, "°C"),
        ("Relative humidity", rh, band.rh, "%"),
    ):
        for source, points in series.items():
            for run in _outside(points, wanted):
                farthest = max(run, key=lambda one: abs(one[1] - sum(wanted) / 2))[1]
                lasts = run[-1] == points[-1] and now - run[-1][0] <= GAP
                name = f"{what}, {source}"
                found.append(Excursion(name, run[0][0], run[-1][0], farthest, unit, lasts))
    return sorted(found, key=lambda one: (one.ends, one.what), reverse=True)


def _outside(
    points: list[tuple[datetime, float]], wanted: tuple[float, float]
) -> list[list[tuple[datetime, float]]]:
    found: list[list[tuple[datetime, float]]] = []
    last: datetime | None = None
    for at, value in points:
        if wanted[0] <= value <= wanted[1]:
            last = None
            continue
        if last is None or at - last > GAP:
            found.append([])
        found[-1].append((at, value))
        last = at
    return found


def dew_point_c(t_c: Series, rh: Series) -> float | None:
    """Dew point of the newest temperature and humidity, °C; ``None`` without both, or frost."""
    newest_t = max((points[-1] for points in t_c.values()), default=None)
    newest_rh = max((points[-1] for points in rh.values()), default=None)
    if newest_t is None or newest_rh is None or newest_rh[1] <= 0:
        return None
    try:
        return float(air.dew_point(newest_t[1], newest_rh[1] / 100))
    except ValueError:
        return None


# --- the picture --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Window:
    """A stretch of time that is looked at, on the clocks of a zone."""

    starts: datetime
    ends: datetime
    zone: str

    @property
    def hours(self) -> float:
        """How long it is."""
        return hours_between(self.starts, self.ends)


def climate_plot(t_c: Series, rh: Series, band: Band | None, window: Window) -> Plot | None:
    """Temperature and humidity over the window; ``None`` where nothing was read."""
    if not t_c and not rh:
        return None
    chart = Chart((0, window.hours), f"Hours since {moment(window.starts, window.zone)}")
    sources = sorted({*t_c, *rh})
    looks = {
        name: (COLOURS[n % len(COLOURS)], DASHES[n % len(DASHES)]) for n, name in enumerate(sources)
    }
    for title, series, wanted in (
        ("Temperature, °C", t_c, band.t_c if band else None),
        ("Relative humidity, %", rh, band.rh if band else None),
    ):
        values = [value for points in series.values() for _, value in points]
        values += wanted or ()
        if not series:
            continue
        room_beside = max(0.1 * (max(values) - min(values)), 1)
        panel = chart.panel(title, min(values) - room_beside, max(values) + room_beside)
        if wanted:
            ends = (0.0, window.hours)
            low, high = ([(hour, edge) for hour in ends] for edge in wanted)
            panel.band(low, high, COLOURS[2])
            panel.level(wanted[0], f"lowest wanted {wanted[0]:g}", SOFT)
            panel.level(wanted[1], f"highest wanted {wanted[1]:g}", SOFT)
        for source, points in series.items():
            places = [(hours_between(window.starts, at), value) for at, value in points]
            _curves(panel, places, *looks[source])
    for source in sources:
        chart.explain("line", source, *looks[source])
    if band:
        chart.explain("band", "Wanted", COLOURS[2])
    caption = f"From {moment(window.starts, window.zone)} to {moment(window.ends, window.zone)}."
    if band:
        caption += (
            f" Wanted: {band.t_c[0]:g} to {band.t_c[1]:g} °C and {band.rh[0]:g} to "
            f"{band.rh[1]:g} % RH, {band.why}."
        )
    return Plot(chart.draw(f"Climate. {caption}"), caption, _HEADS, _rows(t_c, rh, window))


_HEADS = ("From", "Temperature, °C", "Relative humidity, %", "Readings")


def _curves(panel: Panel, points: Sequence[Point], colour: str, dash: str) -> None:
    """One line for each stretch without a gap; a dot where a stretch is a single reading."""
    gap_h = GAP / timedelta(hours=1)
    stretch: list[Point] = []
    for point in [*points, None]:
        if point is not None and (not stretch or point[0] - stretch[-1][0] <= gap_h):
            stretch.append(point)
            continue
        if len(stretch) > 1:
            panel.curve(thinned(stretch, POINTS), colour, dash)
        else:
            panel.dots(stretch, colour)
        stretch = [point] if point is not None else []


def thinned(points: Sequence[Point], places: int) -> list[Point]:
    """At most two points for each of ``places``: the lowest and the highest, in their order."""
    if len(points) <= 2 * places:
        return list(points)
    first, span = points[0][0], points[-1][0] - points[0][0]
    kept: dict[int, list[Point]] = {}
    for point in points:
        kept.setdefault(min(int((point[0] - first) / span * places), places - 1), []).append(point)
    found = []
    for some in kept.values():
        ends = {min(some, key=lambda one: one[1]), max(some, key=lambda one: one[1])}
        found += sorted(ends)
    return found


def _rows(t_c: Series, rh: Series, window: Window) -> tuple[tuple[str, ...], ...]:
    step = (window.ends - window.starts) / LINES
    rows = []
    for number in range(LINES):
        since = window.starts + number * step
        cells = []
        count = 0
        for series in (t_c, rh):
            values = [
                value
                for points in series.values()
                for at, value in points
                if since <= at < since + step
            ]
            count += len(values)
            low, high = (f"{min(values):.1f}", f"{max(values):.1f}") if values else ("", "")
            cells.append(low if low == high else f"{low} to {high}")
        if count:
            rows.append((moment(since, window.zone), *cells, str(count)))
    return tuple(rows)
