"""When mould may start: a precautionary clock, and models that can only shorten it.

The models read the temperature and humidity of the *surface*, hour by hour. An hour nobody
measured is a gap: it neither grows nor dries the index, and it is reported. Freezing pauses
every clock here and resets none.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np

from shared.quantities import (
    FactBook,
    Mark,
    OutOfRange,
    Values,
    require_number,
    require_range,
    require_rh,
    require_temperature_c,
)

FACTS = FactBook()
_HUKKA = "Hukka & Viitanen (1999), Wood Sci. Technol. 33:475-485"
_OJANEN = "Ojanen et al. (2010), ASHRAE Buildings XI; Viitanen et al. (2011)"
_MRD = "Thelandersson & Isaksson (2013), Build. Environ. 65:18-25"

FREEZING_C = FACTS.note(
    "temperature at and below which every mould clock pauses",
    0.0,
    "°C",
    "ours: the models stop growth there, and we let nothing decline either",
    Mark.COMMON_PRACTICE,
)
# No wet surface of the trade is hotter; a room read in °F, such as 68, is caught here.
_SURFACE_C = (-40.0, 60.0)
_SLACK = 1e-9  # sums of hourly steps are inexact; a threshold is met rather early than late


# --- hourly series with gaps -----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Gap:
    """Hours without a reading, from the start of ``from_hour`` to the start of ``to_hour``."""

    from_hour: int
    to_hour: int


@dataclass(frozen=True, slots=True)
class SurfaceSeries:
    """Hourly means at a surface. Hours absent from ``hour`` were not measured.

    hour: whole hours since any fixed origin, strictly increasing, shape (n,).
    t_c: °C, -40 to 60, shape (n,). rh: fraction, shape (n,).
    Raises OutOfRange for an empty, unordered or non-finite series, or unequal lengths.
    """

    hour: Sequence[int]
    t_c: Sequence[float]
    rh: Sequence[float]

    def __post_init__(self) -> None:
        hours = require_range("hour of a surface reading", self.hour, -1e7, 1e7, "h")
        t = require_temperature_c(self.t_c, "surface temperature", *_SURFACE_C)
        rh = require_rh(self.rh, "surface relative humidity")
        if not hours.shape == t.shape == rh.shape == (hours.size,):
            lengths = f"{hours.size} hours, {t.size} temperatures, {rh.size} humidities"
            raise OutOfRange("surface series", lengths, "of equal lengths")
        if (hours % 1 != 0).any() or (np.diff(hours) <= 0).any():
            raise OutOfRange(
                "hour of a surface reading", "the series", "in whole, strictly increasing hours"
            )

    @classmethod
    def hourly(
        cls,
        t_c: Sequence[float | None],
        rh: Sequence[float | None],
        first_hour: int = 0,
    ) -> "SurfaceSeries":
        """Series from consecutive hours, where None in either column is an hour not measured.

        Raises OutOfRange, also when no hour is complete.
        """
        if len(t_c) != len(rh):
            lengths = f"{len(t_c)} temperatures, {len(rh)} humidities"
            raise OutOfRange("surface series", lengths, "of equal lengths")
        rows = [
            (first_hour + i, t, h)
            for i, (t, h) in enumerate(zip(t_c, rh, strict=True))
            if t is not None and h is not None
        ]
        return cls([r[0] for r in rows], [r[1] for r in rows], [r[2] for r in rows])


# --- VTT mould index -------------------------------------------------------------------------


class MouldSensitivity(StrEnum):
    """Sensitivity classes of the updated VTT model."""

    VERY_SENSITIVE = "very_sensitive"
    SENSITIVE = "sensitive"
    MEDIUM_RESISTANT = "medium_resistant"
    RESISTANT = "resistant"


@dataclass(frozen=True, slots=True)
class VttMaterial:
    """Parameters of the VTT model for one kind of surface.

    rh_min: least RH for growth, fraction. ceiling: A, B, C of the largest index.
    k1: growth factors below and above index 1, or None for the wood of the original model,
    whose factors follow from its own times. spruce, kiln_dried: W and SQ of the original model.
    decline: relative rate of decline Cmat, 0 (never declines) to 1 (pine). Raises OutOfRange.
    """

    rh_min: float
    ceiling: tuple[float, float, float]
    k1: tuple[float, float] | None
    spruce: bool = False
    kiln_dried: bool = False
    decline: float = 1.0

    def __post_init__(self) -> None:
        require_rh(self.rh_min, "least relative humidity for growth")
        require_number("relative decline Cmat", self.decline, 0, 1)


_CLASSES = FACTS.note(
    "VTT classes: least RH (fraction); A, B, C; k1 below and above index 1",
    {
        MouldSensitivity.VERY_SENSITIVE: (0.80, (1.0, 7.0, 2.0), (1.0, 2.0)),
        MouldSensitivity.SENSITIVE: (0.80, (0.3, 6.0, 1.0), (0.578, 0.386)),
        MouldSensitivity.MEDIUM_RESISTANT: (0.85, (0.0, 5.0, 1.5), (0.072, 0.097)),
        MouldSensitivity.RESISTANT: (0.85, (0.0, 3.0, 1.0), (0.033, 0.014)),
    },
    "fraction, -, -",
    _OJANEN,
    Mark.PUBLISHED,
)
_CRITICAL_RH = FACTS.note(
    "critical RH up to 20 °C, cubic in T",
    (-0.00267, 0.16, -3.13, 100.0),
    "% RH, °C",
    _HUKKA,
    Mark.PUBLISHED,
)
_TIME_TO_1 = FACTS.note(
    "ln weeks to index 1: ln T, ln RH, W, SQ, constant",
    (-0.68, -13.9, 0.14, -0.33, 66.02),
    "weeks, °C, % RH",
    _HUKKA,
    Mark.PUBLISHED,
)
_TIME_TO_3 = FACTS.note(
    "ln weeks to index 3: ln T, ln RH, W, constant",
    (-0.74, -12.72, 0.06, 61.50),
    "weeks, °C, % RH",
    _HUKKA,
    Mark.PUBLISHED,
)
_SATURATION_STEEPNESS = FACTS.note("k2 exponent", 2.3, "-", _HUKKA, Mark.PUBLISHED)
_GROWTH_LIMITS_C = FACTS.note(
    "no growth at or beyond", (0.0, 50.0), "°C", f"{_HUKKA}", Mark.PUBLISHED
)
_DECLINE = FACTS.note(
    "decline per day: first 6 h dry, 6 to 24 h, after 24 h",
    (-0.032, 0.0, -0.016),
    "index/day",
    _HUKKA,
    Mark.PUBLISHED,
)
DECLINE_RATES = FACTS.note(
    "relative decline Cmat: as pine, significant, relatively low, almost none",
    (1.0, 0.5, 0.25, 0.1),
    "-",
    _OJANEN,
    Mark.FROM_MEMORY,
)


def vtt_material(sensitivity: MouldSensitivity, decline: float = 1.0) -> VttMaterial:
    """Surface of a sensitivity class of the updated model. Raises OutOfRange."""
    rh_min, ceiling, k1 = _CLASSES[sensitivity]
    return VttMaterial(rh_min, ceiling, k1, decline=decline)


def vtt_wood(
    *, spruce: bool = False, kiln_dried: bool = False, decline: float = 1.0
) -> VttMaterial:
    """Pine or spruce of the original model, resawn or with an ordinary kiln-dried surface."""
    rh_min, ceiling, _ = _CLASSES[MouldSensitivity.VERY_SENSITIVE]
    return VttMaterial(rh_min, ceiling, None, spruce, kiln_dried, decline)


# The public functions below check their arguments; a series is checked once, when it is made,
# and then runs on the unchecked ones.


def _critical_rh(t: float, material: VttMaterial) -> float:
    coldest, hottest = _GROWTH_LIMITS_C
    if not coldest < t < hottest:
        return math.inf
    if t > 20:
        return material.rh_min
    cubic, square, linear, constant = _CRITICAL_RH
    percent = cubic * t**3 + square * t**2 + linear * t + constant
    return max(percent / 100, material.rh_min)


def _weeks_to_index_1(t: float, rh: float, material: VttMaterial) -> float:
    by_t, by_rh, by_species, by_surface, constant = _TIME_TO_1
    ln_weeks = by_t * math.log(t) + by_rh * math.log(100 * rh) + constant
    return math.exp(ln_weeks + by_species * material.spruce + by_surface * material.kiln_dried)


def _weeks_to_index_3(t: float, rh: float, material: VttMaterial) -> float:
    by_t, by_rh, by_species, constant = _TIME_TO_3
    ln_weeks = by_t * math.log(t) + by_rh * math.log(100 * rh) + constant
    return math.exp(ln_weeks + by_species * material.spruce)


def _maximum_index(rh: float, critical: float, material: VttMaterial) -> float:
    a, b, c = material.ceiling
    # Just above 0 °C only saturated air is critical: the fraction is 0/0, and its limit 1.
    x = (critical - rh) / (critical - 1) if critical < 1 else 1.0
    return max(a + b * x - c * x**2, 0.0)


def _saturation_factor(index: float, ceiling: float) -> float:
    return 1 - math.exp(min(_SATURATION_STEEPNESS * (index - ceiling), 0.0))


def _growth_per_day(
    index: float, t: float, rh: float, critical: float, material: VttMaterial
) -> float:
    weeks_1 = _weeks_to_index_1(t, rh, material)
    if material.k1 is not None:
        k1 = material.k1[0 if index < 1 else 1]
    else:
        k1 = 1.0 if index < 1 else 2 / (_weeks_to_index_3(t, rh, material) / weeks_1 - 1)
    return k1 * _saturation_factor(index, _maximum_index(rh, critical, material)) / (7 * weeks_1)


def _decline_per_day(dry_hours: float, material: VttMaterial) -> float:
    first, second, later = _DECLINE
    rate = first if dry_hours < 6 else second if dry_hours < 24 else later
    return rate * material.decline


def _index(value: float, quantity: str = "mould index") -> float:
    return require_number(quantity, value, 0, 6)


def _surface_t(t_c: float) -> float:
    return float(require_temperature_c(t_c, "surface temperature", *_SURFACE_C))


def _growing_t(t_c: float) -> float:
    coldest, hottest = _GROWTH_LIMITS_C
    return require_number("surface temperature", t_c, coldest, hottest, "°C", above_low=True)


def _growing_rh(rh: float) -> float:
    return require_number("surface relative humidity", rh, 0, 1, above_low=True)


def critical_rh(t_c: float, material: VttMaterial) -> float:
    """Least surface RH for growth, a fraction; infinite where it is too cold or too hot.

    t_c: °C, -40 to 60. Raises OutOfRange. Source: Hukka & Viitanen (1999).
    """
    return _critical_rh(_surface_t(t_c), material)


def weeks_to_index_1(t_c: float, rh: float, material: VttMaterial) -> float:
    """Weeks of steady growth to index 1 (first growth under a microscope).

    t_c: °C, above 0, to 50. rh: fraction. Raises OutOfRange.
    Source: Hukka & Viitanen (1999); W and SQ are 0 in the updated model.
    """
    return _weeks_to_index_1(_growing_t(t_c), _growing_rh(rh), material)


def weeks_to_index_3(t_c: float, rh: float, material: VttMaterial) -> float:
    """Weeks of steady growth to index 3 (visible growth). As ``weeks_to_index_1``."""
    return _weeks_to_index_3(_growing_t(t_c), _growing_rh(rh), material)


def maximum_index(t_c: float, rh: float, material: VttMaterial) -> float:
    """Largest index the conditions allow, 0 to 6; 0 below the critical RH.

    t_c: °C. rh: fraction. Raises OutOfRange. Source: Ojanen et al. (2010).
    """
    critical = critical_rh(t_c, material)
    humidity = float(require_rh(rh, "surface relative humidity"))
    return _maximum_index(humidity, critical, material) if humidity >= critical else 0.0


def saturation_factor(index: float, ceiling: float) -> float:
    """Factor k2 by which growth slows near the largest index, 0 to 1.

    index, ceiling: 0 to 6. Raises OutOfRange. Source: Hukka & Viitanen (1999).
    """
    return _saturation_factor(_index(index), _index(ceiling, "largest mould index"))


def growth_per_day(index: float, t_c: float, rh: float, material: VttMaterial) -> float:
    """Rise of the index per day; 0 below the critical RH. t_c: °C. rh: fraction.

    Raises OutOfRange. Source: Hukka & Viitanen (1999), factors of Ojanen et al. (2010).
    """
    start = _index(index)
    critical = critical_rh(t_c, material)
    humidity = float(require_rh(rh, "surface relative humidity"))
    return _growth_per_day(start, t_c, humidity, critical, material) if humidity >= critical else 0


def decline_per_day(dry_hours: float, material: VttMaterial) -> float:
    """Change of the index per day after ``dry_hours`` without growth; never positive.

    Raises OutOfRange. Source: Hukka & Viitanen (1999), Cmat of Ojanen et al. (2010).
    """
    hours = require_number("hours since growth stopped", dry_hours, 0, 1e7, "h")
    return _decline_per_day(hours, material)


@dataclass(frozen=True, slots=True)
class VttState:
    """Where a series ended, so that the next one goes on from there.

    index: 0 to 6. dry_hours: h without growth. Raises OutOfRange.
    """

    index: float = 0.0
    dry_hours: int = 0
    next_hour: int | None = None

    def __post_init__(self) -> None:
        _index(self.index)
        require_number("hours since growth stopped", self.dry_hours, 0, 1e7, "h")


@dataclass(frozen=True, slots=True)
class VttResult:
    """Index over a series.

    index: at the end of each measured hour, shape (n,). first_hour_at_1: end of the first hour
    with an index of 1 or more, or None. gaps: hours that counted for nothing. hours_frozen:
    hours that paused it.
    """

    index: Values
    first_hour_at_1: int | None
    gaps: tuple[Gap, ...]
    hours_frozen: int
    state: VttState


def _gaps(hours: Sequence[int], due: int | None) -> tuple[Gap, ...]:
    """Holes in a series, and before it if an earlier series ended at ``due``."""
    if due is not None and hours[0] < due:
        raise OutOfRange(
            "hour of a surface reading", hours[0], f"{due} or later, where the earlier series ended"
        )
    gaps = []
    for hour in hours:
        if due is not None and hour > due:
            gaps.append(Gap(due, hour))
        due = hour + 1
    return tuple(gaps)


def vtt_index(
    series: SurfaceSeries, material: VttMaterial, start: VttState | None = None
) -> VttResult:
    """Run the VTT model over a series, from ``start`` (an earlier result's state) if given.

    Frozen hours (0 °C or colder) pause growth, decline and the count of dry hours alike; the
    published model lets the index decline then, so the pause is ours and errs on the safe side.
    Raises OutOfRange if the series begins before ``start`` ended.
    """
    state = start or VttState()
    gaps = _gaps(series.hour, state.next_hour)
    index, dry_hours = state.index, state.dry_hours
    track, first_at_1, frozen = [], None, 0
    for hour, t, rh in zip(series.hour, series.t_c, series.rh, strict=True):
        critical = _critical_rh(t, material)
        if t <= FREEZING_C:
            frozen += 1
        elif rh >= critical:
            index += _growth_per_day(index, t, rh, critical, material) / 24
            dry_hours = 0
        else:
            index = max(index + _decline_per_day(dry_hours, material) / 24, 0.0)
            dry_hours += 1
        if first_at_1 is None and index >= 1 - _SLACK:
            first_at_1 = int(hour) + 1
        track.append(index)
    state = VttState(index, dry_hours, int(series.hour[-1]) + 1)
    return VttResult(np.array(track), first_at_1, gaps, frozen, state)


def forecast_onset_h(
    material: VttMaterial, t_c: float, rh: float, within_h: int, start: VttState | None = None
) -> float | None:
    """Hours from now until the index reaches 1 if the surface stays as it is, or None.

    t_c: °C. rh: fraction. within_h: how far to look, h. Raises OutOfRange.
    """
    horizon = int(require_number("hours to look ahead", within_h, 1, 50_000, "h"))
    state = start or VttState()
    if state.index >= 1:
        return 0.0
    now = state.next_hour or 0
    hours = range(now, now + horizon)
    result = vtt_index(SurfaceSeries(hours, [t_c] * horizon, [rh] * horizon), material, state)
    return None if result.first_hour_at_1 is None else float(result.first_hour_at_1 - now)


# --- MRD dose --------------------------------------------------------------------------------

_MRD_HUMID = FACTS.note(
    "daily dose above 75 % RH: exponent, reference RH", (15.53, 0.90), "-", _MRD, Mark.PUBLISHED
)
_MRD_MIDDLING = FACTS.note(
    "daily dose from 60 to 75 % RH: constant, slope per % RH",
    (-2.7, 1.1 / 30),
    "days",
    _MRD,
    Mark.PUBLISHED,
)
_MRD_DRY = FACTS.note(
    "daily dose below 60 % RH, and below 0.1 °C", -0.5, "days", _MRD, Mark.PUBLISHED
)
_MRD_WARMTH = FACTS.note(
    "temperature factor: exponent, reference °C, from °C, to °C",
    (0.74, 20.0, 0.1, 30.0),
    "-",
    _MRD,
    Mark.PUBLISHED,
)
MRD_CRITICAL_DOSE_DAYS = FACTS.note(
    "dose at onset on planed spruce", 17.0, "days", _MRD, Mark.FROM_MEMORY
)


def _mrd_humidity_dose(rh: float) -> float:
    if rh > 0.75:
        exponent, reference = _MRD_HUMID
        return math.pow(rh / reference, exponent)
    if rh > 0.60:
        constant, slope = _MRD_MIDDLING
        return constant + slope * 100 * rh
    return _MRD_DRY


def _mrd_temperature_factor(t: float) -> float:
    exponent, reference, _, hottest = _MRD_WARMTH
    return math.pow(min(t, hottest) / reference, exponent)


def _mrd_daily_dose(t: float, rh: float) -> float:
    if t < _MRD_WARMTH[2]:
        return _MRD_DRY
    return _mrd_humidity_dose(rh) * _mrd_temperature_factor(t)


def mrd_humidity_dose(rh: float) -> float:
    """Dose of a day at 20 °C by its mean surface RH, days. rh: fraction. Raises OutOfRange."""
    return _mrd_humidity_dose(float(require_rh(rh, "surface relative humidity")))


def mrd_temperature_factor(t_c: float) -> float:
    """Factor on the day's dose by its mean temperature, from 0.1 °C up.

    The paper stops at 30 °C; hotter days are counted as 30 °C (ours). Raises OutOfRange.
    """
    coldest, hottest = _MRD_WARMTH[2], _SURFACE_C[1]
    t = require_number("surface temperature", t_c, coldest, hottest, "°C")
    return _mrd_temperature_factor(t)


def mrd_daily_dose(t_c: float, rh: float) -> float:
    """Published dose of one day, days: below 0.1 °C it declines as on a dry day.

    t_c: mean of the day, °C. rh: mean of the day, fraction. Raises OutOfRange.
    """
    return _mrd_daily_dose(_surface_t(t_c), float(require_rh(rh, "surface relative humidity")))


@dataclass(frozen=True, slots=True)
class MrdState:
    """Where a dose stood at the end of a series. dose_days: 0 or more. Raises OutOfRange."""

    dose_days: float = 0.0
    next_hour: int | None = None

    def __post_init__(self) -> None:
        require_number("mould dose", self.dose_days, 0, 1e6, "days")


@dataclass(frozen=True, slots=True)
class MrdResult:
    """Dose over a series: at the end of each measured hour, in days at 20 °C and 90 % RH."""

    dose_days: Values
    first_hour_at_critical: int | None
    gaps: tuple[Gap, ...]
    hours_frozen: int
    state: MrdState


def mrd_dose(
    series: SurfaceSeries,
    critical_dose_days: float = MRD_CRITICAL_DOSE_DAYS,
    start: MrdState | None = None,
) -> MrdResult:
    """Sum the MRD dose over a series, never below zero.

    Each hour gives a 24th of the daily dose of its own conditions (the paper averages the day
    first), and freezing pauses the sum where the paper lets it decline: both are ours.
    Raises OutOfRange.
    """
    critical = require_number("critical dose", critical_dose_days, 0, 1000, "days", above_low=True)
    state = start or MrdState()
    gaps = _gaps(series.hour, state.next_hour)
    dose, track, first, frozen = state.dose_days, [], None, 0
    for hour, t, rh in zip(series.hour, series.t_c, series.rh, strict=True):
        if t <= FREEZING_C:
            frozen += 1
        else:
            dose = max(dose + _mrd_daily_dose(t, rh) / 24, 0.0)
        if first is None and dose >= critical - _SLACK:
            first = int(hour) + 1
        track.append(dose)
    return MrdResult(np.array(track), first, gaps, frozen, MrdState(dose, int(series.hour[-1]) + 1))


# --- two published opinions on the least RH ---------------------------------------------------

_MYCELIUM = FACTS.note(
    "mycelium growth 21 (rh - 0.244 exp(-0.12 T) - 0.775)",
    (21.0, 0.244, -0.12, 0.775),
    "mm/day, °C",
    "Passivhaus Institut, note on cellar rooms (after Sedlbauer)",
    Mark.PUBLISHED,
)
_ANNEX_14 = FACTS.note(
    "critical RH, quadratic in T",
    (0.033, -1.5, 96.0),
    "% RH, °C",
    "IEA Annex 14 (Hens 1991)",
    Mark.FROM_MEMORY,
)


def mycelium_growth_mm_day(t_c: float, rh: float) -> float:
    """Growth of the mycelium, mm/day, 0 below ``mycelium_limit_rh``. Raises OutOfRange."""
    humidity = float(require_rh(rh, "surface relative humidity"))
    return max(_MYCELIUM[0] * (humidity - mycelium_limit_rh(t_c)), 0.0)


def mycelium_limit_rh(t_c: float) -> float:
    """Surface RH, a fraction, at which mycelium stops growing. t_c: °C, 0 to 30."""
    _, amplitude, decay, base = _MYCELIUM
    t = float(require_temperature_c(t_c, "surface temperature", 0, 30))
    return amplitude * math.exp(decay * t) + base


def annex_14_critical_rh(t_c: float) -> float:
    """Critical surface RH, a fraction, of IEA Annex 14. t_c: °C, 0 to 22 (where it bottoms)."""
    t = float(require_temperature_c(t_c, "surface temperature", 0, 22))
    return float(np.polyval(_ANNEX_14, t)) / 100


# --- the precautionary clock -----------------------------------------------------------------

_ORDINARY_WINDOW_H = FACTS.note(
    "hours from wetting to be drying or frozen",
    48.0,
    "h",
    "EPA 402-K-01-001, Mold Remediation in Schools and Commercial Buildings (24-48 h);"
    " NEDCC Preservation Leaflet 3.7 (48 h)",
    Mark.PUBLISHED,
)
_WARM_WINDOW = FACTS.note(
    "shorter window, and above which temperature",
    (24.0, 25.0),
    "h, °C",
    "ours: lower end of EPA's 24-48 h",
    Mark.COMMON_PRACTICE,
)
_COOL_WINDOW = FACTS.note(
    "longer window, and below which temperature",
    (72.0, 10.0),
    "h, °C",
    "ours: cool holding slows mould",
    Mark.COMMON_PRACTICE,
)


def precautionary_window_h(t_c: float | None) -> float:
    """Hours a wet piece may wait at a steady temperature; 48 if nobody measured it.

    t_c: °C; infinite at 0 °C or colder, where the clock is paused. Raises OutOfRange.
    """
    if t_c is None:
        return _ORDINARY_WINDOW_H
    t = float(require_temperature_c(t_c, "temperature of the piece", -60))
    warm_h, warm_c = _WARM_WINDOW
    cool_h, cool_c = _COOL_WINDOW
    if t <= FREEZING_C:
        return math.inf
    return warm_h if t > warm_c else cool_h if t < cool_c else _ORDINARY_WINDOW_H


@dataclass(frozen=True, slots=True)
class ClockSpell:
    """Time a wet piece spent at one temperature. t_c: °C, or None if nobody measured it."""

    hours: float
    t_c: float | None = None

    def __post_init__(self) -> None:
        require_number("hours of a spell", self.hours, 0, 1e6, "h")
        precautionary_window_h(self.t_c)


@dataclass(frozen=True, slots=True)
class MouldClock:
    """How much of the precautionary window is used up.

    used: share of the window, 0 at wetting and 1 at the deadline. Each hour uses the share its
    own temperature allows. Unmeasured hours run at the ordinary pace: a clock nobody watches
    must not stand still.
    """

    used: float = 0.0
    hours_counted: float = 0.0
    hours_paused: float = 0.0
    hours_unmeasured: float = 0.0

    def after(self, spells: Iterable[ClockSpell]) -> "MouldClock":
        """The clock after more time has passed."""
        clock = self
        for spell in spells:
            window_h = precautionary_window_h(spell.t_c)
            paused = math.isinf(window_h)
            clock = replace(
                clock,
                used=clock.used + spell.hours / window_h,
                hours_counted=clock.hours_counted + (0 if paused else spell.hours),
                hours_paused=clock.hours_paused + (spell.hours if paused else 0),
                hours_unmeasured=clock.hours_unmeasured + (spell.hours if spell.t_c is None else 0),
            )
        return clock

    def hours_left(self, t_c: float | None) -> float:
        """Hours to the deadline at a steady temperature; negative once past, infinite if frozen.

        Past the deadline, the hours over are counted at the same pace. Raises OutOfRange.
        """
        window_h = precautionary_window_h(t_c)
        if math.isinf(window_h) and self.used >= 1:
            return 0.0
        return (1 - self.used) * window_h


@dataclass(frozen=True, slots=True)
class MouldDeadline:
    """Hours left before mould must be expected, and what set them."""

    hours_left: float
    set_by: str
    considered: Mapping[str, float | None] = field(default_factory=dict)


PRECAUTION = "precautionary window"


def mould_deadline(
    clock: MouldClock, t_c: float | None, onsets_h: Mapping[str, float | None]
) -> MouldDeadline:
    """The earliest of the precautionary clock and what each model expects.

    onsets_h: hours from now by model name, None where a model sees no onset. A model can only
    bring the deadline forward. Raises OutOfRange.
    """
    deadline = MouldDeadline(clock.hours_left(t_c), PRECAUTION, dict(onsets_h))
    for model, onset_h in onsets_h.items():
        if onset_h is None:
            continue
        onset = require_number(f"onset by {model}", onset_h, -1e6, 1e6, "h from now")
        if onset < deadline.hours_left:
            deadline = replace(deadline, hours_left=onset, set_by=model)
    return deadline
