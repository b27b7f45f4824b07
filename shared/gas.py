"""Gas in a chamber: charge, dose received, decay, airing, and how full the chamber may be.

Nothing here proposes a concentration, and nothing here says that a space is clear: it computes
with concentrations that a licensed person signed and readings that an instrument gave. Hours
count from any one origin; concentrations are ppm by volume.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np

from shared.quantities import (
    FactBook,
    Mark,
    OutOfRange,
    mg_m3_from_ppm,
    require_number,
    require_range,
    require_rh,
    require_temperature_c,
)

FACTS = FactBook()


# --- charging --------------------------------------------------------------------------------


def charge_mass_g(
    *,
    chamber_m3: float,
    solids_m3: float,
    signed_ppm: float,
    molar_mass_g_mol: float,
    t_c: float,
    p_pa: float,
) -> float:
    """Gas needed to bring the free air of a chamber to a concentration signed elsewhere, g.

    Sorption and leaks are not in it. solids_m3: volume of solid matter, not of envelopes.
    signed_ppm: the concentration of the signed programme. t_c: °C. p_pa: Pa. Raises OutOfRange.
    """
    volume = require_number("chamber volume", chamber_m3, 0, 1e5, "m3", above_low=True)
    solids = require_number("volume of solids", solids_m3, 0, volume, "m3")
    require_number("signed concentration", signed_ppm, 0, 1e6, "ppm", above_low=True)
    return float(mg_m3_from_ppm(signed_ppm, molar_mass_g_mol, t_c, p_pa)) * (volume - solids) / 1000


# --- dose ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class GasReading:
    """One reading of one sensor. hour: h. ppm: 0 or more. t_c: °C. rh: fraction.

    Temperature and humidity are None where the sensor does not measure them. Raises OutOfRange.
    """

    hour: float
    ppm: float
    t_c: float | None = None
    rh: float | None = None

    def __post_init__(self) -> None:
        require_number("hour of a reading", self.hour, -1e7, 1e7, "h")
        require_number("gas reading", self.ppm, 0, 1e6, "ppm")
        if self.t_c is not None:
            require_temperature_c(self.t_c, "chamber temperature", -40, 80)
        if self.rh is not None:
            require_rh(self.rh, "chamber relative humidity")


@dataclass(frozen=True, slots=True)
class DoseWindow:
    """Conditions under which exposure counts, as signed with the programme.

    None: the programme sets no such limit. ppm_min: least concentration, ppm. t_min_c, t_max_c:
    °C. rh_min, rh_max: fractions. longest_gap_h: longest time between two readings that still
    counts, h. Raises OutOfRange.
    """

    longest_gap_h: float
    ppm_min: float = 0.0
    t_min_c: float | None = None
    t_max_c: float | None = None
    rh_min: float | None = None
    rh_max: float | None = None

    def __post_init__(self) -> None:
        require_number("longest gap", self.longest_gap_h, 0, 48, "h", above_low=True)
        require_number("least concentration", self.ppm_min, 0, 1e6, "ppm")
        for name, limit in (("lowest", self.t_min_c), ("highest", self.t_max_c)):
            if limit is not None:
                require_temperature_c(limit, f"{name} temperature of the window", -40, 80)
        for name, limit in (("lowest", self.rh_min), ("highest", self.rh_max)):
            if limit is not None:
                require_rh(limit, f"{name} relative humidity of the window")
        for quantity, low, high in (
            ("temperature", self.t_min_c, self.t_max_c),
            ("relative humidity", self.rh_min, self.rh_max),
        ):
            if low is not None and high is not None and low > high:
                raise OutOfRange(f"{quantity} window", f"{low:g} to {high:g}", "lowest first")


class NotCounted(StrEnum):
    """Why the time between two readings adds nothing to a dose."""

    GAP = "no reading for too long"
    CONCENTRATION = "concentration below the least that counts"
    TEMPERATURE = "temperature outside the window"
    TEMPERATURE_UNKNOWN = "temperature not measured"
    HUMIDITY = "humidity outside the window"
    HUMIDITY_UNKNOWN = "humidity not measured"


@dataclass(frozen=True, slots=True)
class Uncounted:
    """Time between two readings that added nothing, and the first reason found."""

    from_hour: float
    to_hour: float
    reason: NotCounted


@dataclass(frozen=True, slots=True)
class SensorDose:
    """Dose at one sensor. dose_ppm_h: ppm h. hours_counted: h inside the window."""

    dose_ppm_h: float
    hours_counted: float
    uncounted: tuple[Uncounted, ...]


@dataclass(frozen=True, slots=True)
class RunDose:
    """Dose of a run: the lowest of its sensors, for that is the place least treated."""

    lowest_sensor: str
    lowest: SensorDose
    by_sensor: Mapping[str, SensorDose]


def exposure_ppm_h(ppm_start: float, ppm_end: float, hours: float) -> float:
    """Concentration times time between two readings, ppm h.

    The trapezoid while the gas rises; the logarithmic mean, which is exact for exponential
    decay and never above the trapezoid, while it falls. Raises OutOfRange.
    """
    start = require_number("gas reading", ppm_start, 0, 1e6, "ppm")
    end = require_number("gas reading", ppm_end, 0, 1e6, "ppm")
    elapsed = require_number("time between readings", hours, 0, 1e6, "h")
    if end >= start:
        return (start + end) / 2 * elapsed
    if end == 0:
        return 0.0  # the limit of the logarithmic mean
    # Near each other a difference of logarithms loses its digits; far apart the ratio overflows.
    near = end > start / 2
    logarithm = math.log1p((start - end) / end) if near else math.log(start) - math.log(end)
    return (start - end) / logarithm * elapsed


def _outside(reading: GasReading, window: DoseWindow) -> NotCounted | None:
    if reading.ppm < window.ppm_min:
        return NotCounted.CONCENTRATION
    if window.t_min_c is not None or window.t_max_c is not None:
        if reading.t_c is None:
            return NotCounted.TEMPERATURE_UNKNOWN
        if not _within(reading.t_c, window.t_min_c, window.t_max_c):
            return NotCounted.TEMPERATURE
    if window.rh_min is not None or window.rh_max is not None:
        if reading.rh is None:
            return NotCounted.HUMIDITY_UNKNOWN
        if not _within(reading.rh, window.rh_min, window.rh_max):
            return NotCounted.HUMIDITY
    return None


def _within(value: float, low: float | None, high: float | None) -> bool:
    return (low is None or value >= low) and (high is None or value <= high)


def sensor_dose(readings: Sequence[GasReading], window: DoseWindow) -> SensorDose:
    """Dose at one sensor from its readings in order of time.

    Time counts only between two readings that are both inside the window and no further apart
    than its longest gap; all other time is listed with its reason.
    Raises OutOfRange for an empty series or hours that do not increase.
    """
    _require_order(readings)
    dose = counted = 0.0
    uncounted = []
    for before, after in pairwise(readings):
        elapsed = after.hour - before.hour
        reason = (
            NotCounted.GAP
            if elapsed > window.longest_gap_h
            else _outside(before, window) or _outside(after, window)
        )
        if reason is None:
            dose += exposure_ppm_h(before.ppm, after.ppm, elapsed)
            counted += elapsed
        else:
            uncounted.append(Uncounted(before.hour, after.hour, reason))
    return SensorDose(dose, counted, tuple(uncounted))


def _require_order(readings: Sequence[GasReading]) -> None:
    hours = require_range("hour of a reading", [r.hour for r in readings], -1e7, 1e7, "h")
    if (np.diff(hours) <= 0).any():
        raise OutOfRange("hour of a reading", "the series", "in strictly increasing order")


def run_dose(readings: Mapping[str, Sequence[GasReading]], window: DoseWindow) -> RunDose:
    """Dose of a run from the readings of each of its sensors. Raises OutOfRange if none."""
    if not readings:
        raise OutOfRange("sensors of the run", "none", "at least one")
    by_sensor = {sensor: sensor_dose(series, window) for sensor, series in readings.items()}
    lowest = min(by_sensor, key=lambda sensor: by_sensor[sensor].dose_ppm_h)
    return RunDose(lowest, by_sensor[lowest], by_sensor)


@dataclass(frozen=True, slots=True)
class HighestReading:
    """The reading that speaks for a chamber at clearance.

    silent_sensors: those without a reading since the hour asked about, which nobody may assume
    to be low.
    """

    sensor: str
    reading: GasReading
    silent_sensors: tuple[str, ...]


def highest_since(
    readings: Mapping[str, Sequence[GasReading]], since_hour: float
) -> HighestReading | None:
    """The highest reading of any sensor at or after an hour, or None if all are silent."""
    since = require_number("hour of clearance", since_hour, -1e7, 1e7, "h")
    recent = {s: [r for r in series if r.hour >= since] for s, series in readings.items()}
    silent = tuple(sorted(sensor for sensor, series in recent.items() if not series))
    candidates = [(reading, sensor) for sensor, series in recent.items() for reading in series]
    if not candidates:
        return None
    reading, sensor = max(candidates, key=lambda pair: (pair[0].ppm, pair[0].hour))
    return HighestReading(sensor, reading, silent)


# --- decay -----------------------------------------------------------------------------------

# Student's t, 95th percentile, by degrees of freedom from 1; the last serves for all above.
_STUDENT_T_95 = FACTS.note(
    "Student's t, 0.95 quantile, 1 to 30 degrees of freedom",
    (
        *(6.314, 2.920, 2.353, 2.132, 2.015, 1.943, 1.895, 1.860, 1.833, 1.812),
        *(1.796, 1.782, 1.771, 1.761, 1.753, 1.746, 1.740, 1.734, 1.729, 1.725),
        *(1.721, 1.717, 1.714, 1.711, 1.708, 1.706, 1.703, 1.701, 1.699, 1.697),
    ),
    "-",
    "NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2",
    Mark.PUBLISHED,
)


def half_loss_time_h(rate_per_h: float) -> float:
    """Half-loss time of an exponential decay, ln 2 / rate, h. Raises OutOfRange."""
    return math.log(2) / require_number("loss rate", rate_per_h, 0, 1e4, "per h", above_low=True)


def concentration_after(start: float, half_loss_h: float, hours: float) -> float:
    """Concentration after exponential decay, in the unit of ``start``. Raises OutOfRange."""
    c0 = require_number("concentration", start, 0, 1e9)
    elapsed = require_number("time", hours, 0, 1e6, "h")
    return float(c0 * 0.5 ** (elapsed / _half_loss(half_loss_h)))


def exposure_of_decay(start: float, half_loss_h: float, hours: float) -> float:
    """Concentration times time of an exponential decay, unit of ``start`` times h.

    Raises OutOfRange.
    """
    lost = start - concentration_after(start, half_loss_h, hours)
    return lost * _half_loss(half_loss_h) / math.log(2)


def _half_loss(value: float) -> float:
    return require_number("half-loss time", value, 0, 1e6, "h", above_low=True)


@dataclass(frozen=True, slots=True)
class HalfLossFit:
    """Exponential decay fitted to readings.

    rate_per_h: loss rate with the ends of its 90 % interval, 1/h; negative where the gas rises.
    half_loss_h, and the ends, h: infinite where the rate may be nil. readings_left_out: at or
    below the detection limit, where a logarithm says nothing.
    """

    rate_per_h: float
    rate_low: float
    rate_high: float
    readings_used: int
    readings_left_out: int

    @property
    def half_loss_h(self) -> float:
        """Best half-loss time, h."""
        return self._half_loss(self.rate_per_h)

    @property
    def half_loss_low_h(self) -> float:
        """Shortest half-loss time the readings allow, h."""
        return self._half_loss(self.rate_high)

    @property
    def half_loss_high_h(self) -> float:
        """Longest half-loss time the readings allow, h."""
        return self._half_loss(self.rate_low)

    @staticmethod
    def _half_loss(rate: float) -> float:
        return math.log(2) / rate if rate > 0 else math.inf


def fit_half_loss(readings: Sequence[GasReading], detection_limit_ppm: float) -> HalfLossFit:
    """Fit an exponential decay by least squares on the logarithm of the readings.

    detection_limit_ppm: of the instrument; readings at or below it are left out and counted.
    Raises OutOfRange for hours that do not increase or fewer than three readings above it.
    """
    _require_order(readings)
    limit = require_number("detection limit", detection_limit_ppm, 0, 1e6, "ppm")
    used = [r for r in readings if r.ppm > limit]
    if len(used) < 3:
        raise OutOfRange("readings above the detection limit", len(used), "at least 3")
    hours = np.array([r.hour for r in used])
    ln_ppm = np.log([r.ppm for r in used])
    centred = hours - hours.mean()
    spread = float((centred**2).sum())
    slope = float((centred * ln_ppm).sum()) / spread
    residuals = ln_ppm - ln_ppm.mean() - slope * centred
    freedom = len(used) - 2
    error = math.sqrt(float((residuals**2).sum()) / freedom / spread)
    half_width = _STUDENT_T_95[min(freedom, len(_STUDENT_T_95)) - 1] * error
    return HalfLossFit(
        -slope, -slope - half_width, -slope + half_width, len(used), len(readings) - len(used)
    )


# --- airing ----------------------------------------------------------------------------------

MIXING_FACTORS = FACTS.note(
    "mixing factor K: perfect, typical, worst",
    (1.0, 3.0, 10.0),
    "-",
    "1 (perfect) to 10 (very poor) that multiplies the time: CDC, MMWR 43(RR-13) (1994), Table"
    " S3-1; the typical value from memory",
    Mark.FROM_MEMORY,
)


def airing_time_h(
    ppm_start: float,
    ppm_end: float,
    *,
    air_changes_per_h: float,
    mixing_factor: float,
    sink_half_life_h: float | None = None,
) -> float:
    """Calculated time for clean air to thin a gas from one concentration to another, h.

    K ln(C0/C1) / (ACH + ln 2 / sink half-life), without any source left in the room.
    mixing_factor: K, 1 (perfect) to 10. sink_half_life_h: of the gas's own decay, h. 0 h if it
    starts at or below the end. Raises OutOfRange.
    Source: CDC (1994), MMWR 43(RR-13), Table S3-1, and (2003), App. B, Table B.1, with K; the
    sink term is arithmetic.
    """
    start = require_number("concentration", ppm_start, 0, 1e6, "ppm")
    end = require_number("concentration to reach", ppm_end, 0, 1e6, "ppm", above_low=True)
    changes = _air_changes(air_changes_per_h)
    sink = 0.0 if sink_half_life_h is None else math.log(2) / _half_loss(sink_half_life_h)
    if start <= end:
        return 0.0
    return _mixing(mixing_factor) * math.log(start / end) / (changes + sink)


def removal_time_h(efficiency: float, *, air_changes_per_h: float, mixing_factor: float) -> float:
    """Calculated time to remove a share of a gas by air changes, h.

    efficiency: share removed, such as 0.99. Raises OutOfRange. Source: CDC (2003), Table B.1.
    """
    removed = require_number("removal efficiency", efficiency, 0, 0.999999)
    return airing_time_h(
        1, 1 - removed, air_changes_per_h=air_changes_per_h, mixing_factor=mixing_factor
    )


def _air_changes(value: float) -> float:
    return require_number("air changes", value, 0, 1000, "per h", above_low=True)


def _mixing(value: float) -> float:
    return require_number("mixing factor", value, 1, 10)


@dataclass(frozen=True, slots=True)
class Rebound:
    """Gas that materials have taken up and give back.

    ppm: what the whole of it would add to the chamber's air. half_life_h: of its release, h.
    Both come from an earlier closed hold or a cautious guess that a person answers for.
    Raises OutOfRange.
    """

    ppm: float
    half_life_h: float

    def __post_init__(self) -> None:
        require_number("rebound", self.ppm, 0, 1e6, "ppm")
        require_number("half-life of release", self.half_life_h, 0, 1e4, "h", above_low=True)

    @property
    def rate_per_h(self) -> float:
        """Release rate, 1/h."""
        return math.log(2) / self.half_life_h

    @classmethod
    def from_hold(
        cls, *, ppm_closed: float, ppm_later: float, hours: float, half_life_h: float
    ) -> "Rebound":
        """What was still in the materials when a chamber was closed, from the rise seen.

        Raises OutOfRange.
        """
        closed = require_number("concentration at closing", ppm_closed, 0, 1e6, "ppm")
        later = require_number("concentration after the hold", ppm_later, closed, 1e6, "ppm")
        held = require_number("time held closed", hours, 0, 1e4, "h", above_low=True)
        released = -math.expm1(-cls(0, half_life_h).rate_per_h * held)
        return cls((later - closed) / released, half_life_h)


def held_closed_ppm(ppm_closed: float, rebound: Rebound, hours: float) -> float:
    """Expected concentration in a tight chamber after a closed hold, ppm. Raises OutOfRange."""
    closed = require_number("concentration at closing", ppm_closed, 0, 1e6, "ppm")
    held = require_number("time held closed", hours, 0, 1e4, "h")
    return closed + rebound.ppm * -math.expm1(-rebound.rate_per_h * held)


def aired_ppm(
    ppm_start: float,
    rebound: Rebound,
    hours: float,
    *,
    air_changes_per_h: float,
    mixing_factor: float,
) -> float:
    """Expected concentration while airing, with gas still coming out of the materials, ppm.

    Raises OutOfRange. Mass balance of a well-mixed chamber at ACH / K with a decaying source.
    """
    start = require_number("concentration", ppm_start, 0, 1e6, "ppm")
    aired = require_number("time aired", hours, 0, 1e5, "h")
    return _aired(start, rebound, aired, _air_changes(air_changes_per_h) / _mixing(mixing_factor))


def _aired(start: float, rebound: Rebound, hours: float, k: float) -> float:
    r = rebound.rate_per_h
    # (exp(-rt) - exp(-kt)) / (k - r), written so that k near r does not divide nought by nought.
    apart = abs(k - r) * hours
    lag = hours if apart == 0 else hours * -math.expm1(-apart) / apart
    released = rebound.ppm * r * math.exp(-min(k, r) * hours) * lag
    return start * math.exp(-k * hours) + released


def earliest_check_h(
    ppm_start: float,
    limit_ppm: float,
    rebound: Rebound,
    *,
    air_changes_per_h: float,
    mixing_factor: float,
) -> float:
    """Hours of airing before it is worth bringing an instrument. It clears nothing.

    The first time at which the air, with all that the materials would still give back after
    closing, is calculated to be at the limit. Only readings clear a space.
    Raises OutOfRange.
    """
    start = require_number("concentration", ppm_start, 0, 1e6, "ppm")
    limit = require_number("limit", limit_ppm, 0, 1e6, "ppm", above_low=True)
    k = _air_changes(air_changes_per_h) / _mixing(mixing_factor)

    def over(hours: float) -> bool:
        still_held = rebound.ppm * math.exp(-rebound.rate_per_h * hours)
        return _aired(start, rebound, hours, k) + still_held > limit

    if not over(0.0):
        return 0.0
    low, high = 0.0, 1.0
    while over(high):
        low, high = high, high * 2
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if over(middle) else (low, middle)
    return high


# --- loading ---------------------------------------------------------------------------------

_PPQ = "USDA APHIS PPQ Treatment Manual, container fumigation"


@dataclass(frozen=True, slots=True)
class LoadingRule:
    """How a chamber may be filled.

    max_fill: largest share of its volume taken by envelopes. between_m, to_wall_m: clear
    spacing along the rail. headspace_m, underfloor_m: clear above and below the load, m.
    Raises OutOfRange.
    """

    max_fill: float
    between_m: float = 0.0
    to_wall_m: float = 0.0
    headspace_m: float = 0.0
    underfloor_m: float = 0.0

    def __post_init__(self) -> None:
        require_number("largest fill", self.max_fill, 0, 1, above_low=True)
        for name in ("between_m", "to_wall_m", "headspace_m", "underfloor_m"):
            require_number(f"loading rule, {name}", getattr(self, name), 0, 5, "m")


CONTAINER_LOADING = FACTS.note(
    "container fumigation: fill; 18 in above, 2 in below the load",
    LoadingRule(max_fill=0.80, headspace_m=0.4572, underfloor_m=0.0508),
    "-, m",
    _PPQ,
    Mark.PUBLISHED,
)
ARTWORK_LOADING = FACTS.note(
    "our default for art: fill, between works, to wall, with the container's headspace",
    LoadingRule(
        max_fill=0.50, between_m=0.05, to_wall_m=0.10, headspace_m=0.4572, underfloor_m=0.0508
    ),
    "-, m",
    "ours, as the rows of the spacings table: 50-60 % of volume is usual, the stricter stands",
    Mark.COMMON_PRACTICE,
)
FREEZER_CARTON_FILL = FACTS.note(
    "cartons for freezing filled to",
    0.90,
    "-",
    "Heritage Preservation / CERF+, emergency salvage guidance for artwork",
    Mark.PUBLISHED,
)


@dataclass(frozen=True, slots=True)
class Chamber:
    """Inside of a chamber. volume_m3: m3. rail_m: all its rails end to end, m. height_m: m."""

    volume_m3: float
    rail_m: float
    height_m: float

    def __post_init__(self) -> None:
        require_number("chamber volume", self.volume_m3, 0, 1e5, "m3", above_low=True)
        require_number("rail length", self.rail_m, 0, 1e4, "m", above_low=True)
        require_number("chamber height", self.height_m, 0, 100, "m", above_low=True)


@dataclass(frozen=True, slots=True)
class LoadPiece:
    """Envelope of a piece as it stands in the chamber, m: across, upwards, along the rail."""

    width_m: float
    height_m: float
    thickness_m: float

    def __post_init__(self) -> None:
        for name in ("width_m", "height_m", "thickness_m"):
            require_number(f"piece, {name}", getattr(self, name), 0, 50, "m", above_low=True)

    @property
    def envelope_m3(self) -> float:
        """Volume of the box around the piece, m3."""
        return self.width_m * self.height_m * self.thickness_m


@dataclass(frozen=True, slots=True)
class LoadCheck:
    """What a load takes up. problems: empty where it fits, else what is wrong and by how much."""

    fill: float
    rail_needed_m: float
    height_needed_m: float
    problems: tuple[str, ...]

    @property
    def fits(self) -> bool:
        """Whether the load keeps the rule."""
        return not self.problems


def fill_fraction(envelopes_m3: float, chamber_m3: float) -> float:
    """Share of a chamber's volume taken by envelopes; above 1 it cannot fit. Raises OutOfRange."""
    volume = require_number("chamber volume", chamber_m3, 0, 1e5, "m3", above_low=True)
    return require_number("volume of the load", envelopes_m3, 0, 1e6, "m3") / volume


def check_load(chamber: Chamber, pieces: Sequence[LoadPiece], rule: LoadingRule) -> LoadCheck:
    """Hold a load against the volume, the rail and the height of a chamber. Raises OutOfRange."""
    fill = fill_fraction(sum(piece.envelope_m3 for piece in pieces), chamber.volume_m3)
    gaps = max(len(pieces) - 1, 0) * rule.between_m + 2 * rule.to_wall_m
    rail = sum(piece.thickness_m for piece in pieces) + gaps
    tallest = max((piece.height_m for piece in pieces), default=0.0)
    height = tallest + rule.headspace_m + rule.underfloor_m
    problems = []
    # A millionth of slack: sums of metres are not exact, and no tape reads a micrometre.
    if fill > rule.max_fill * (1 + 1e-6):
        problems.append(f"fills {fill:.0%} of the chamber; at most {rule.max_fill:.0%} is allowed")
    if rail > chamber.rail_m * (1 + 1e-6):
        problems.append(
            f"needs {rail:.2f} m of rail with its spacing; there is {chamber.rail_m:g} m"
        )
    if height > chamber.height_m * (1 + 1e-6):
        problems.append(f"needs {height:.2f} m of height; there is {chamber.height_m:g} m")
    return LoadCheck(fill, rail, height, tuple(problems))
