"""Moist air: the ASHRAE ideal-gas relations, -20 to 60 °C, 20 kPa to 1 MPa, vectorised.

Relative humidity follows ASHRAE: over liquid water above the triple point and over ice below
it. Arguments broadcast as numpy arrays do; per kilogram means per kilogram of dry air. Real air
holds up to 0.6 % more water than an ideal gas to 45 °C, and 0.75 % more at 60 °C.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from shared.quantities import (
    ZERO_CELSIUS_K,
    FactBook,
    Mark,
    Values,
    require_pressure_pa,
    require_range,
    require_rh,
    require_temperature_c,
)

Truths = NDArray[np.bool_]

FACTS = FactBook()
_ASHRAE = "ASHRAE Handbook - Fundamentals (2017), ch. 1"

STANDARD_PRESSURE_PA = FACTS.note(
    "standard sea-level pressure", 101_325.0, "Pa", f"{_ASHRAE}, eq. 3", Mark.PUBLISHED
)
TRIPLE_POINT_C = FACTS.note(
    "triple point of water", 0.01, "°C", "ITS-90 (Preston-Thomas 1990)", Mark.PUBLISHED
)
# Coefficients of ln p = a/T + b + cT + dT² + eT³ + fT⁴ + g ln T.
T_EITHER_WAY_C = FACTS.note(
    "band about a room's set point where no piece asks for one: temperature, either way",
    2.0,
    "°C",
    "ours",
    Mark.COMMON_PRACTICE,
)
RH_EITHER_WAY_PERCENT = FACTS.note(
    "band about a room's set point where no piece asks for one: relative humidity, either way",
    5.0,
    "%",
    "ours",
    Mark.COMMON_PRACTICE,
)
_OVER_WATER = FACTS.note(
    "saturation pressure over water, 0 to 200 °C",
    (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673),
    "Pa, K",
    f"Hyland & Wexler (1983), ASHRAE Trans. 89(2A); {_ASHRAE}, eq. 6",
    Mark.PUBLISHED,
)
_OVER_ICE = FACTS.note(
    "saturation pressure over ice, -100 to 0 °C",
    (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019),
    "Pa, K",
    f"Hyland & Wexler (1983), ASHRAE Trans. 89(2A); {_ASHRAE}, eq. 5",
    Mark.PUBLISHED,
)
_MASS_RATIO = FACTS.note(
    "molar mass of water over that of dry air", 0.621945, "-", f"{_ASHRAE}, eq. 20", Mark.PUBLISHED
)
_R_DRY_AIR = FACTS.note(
    "gas constant of dry air", 287.042, "J/(kg K)", f"{_ASHRAE}, eq. 1", Mark.PUBLISHED
)
_R_VAPOUR = FACTS.note(
    "gas constant of water vapour", 461.5, "J/(kg K)", f"{_ASHRAE}, eq. 2 (rounded)", Mark.PUBLISHED
)
_CP_AIR = FACTS.note("heat capacity of dry air", 1.006, "kJ/(kg K)", _ASHRAE, Mark.PUBLISHED)
_CP_VAPOUR = FACTS.note("heat capacity of vapour", 1.86, "kJ/(kg K)", _ASHRAE, Mark.PUBLISHED)
_HEAT_OF_VAPOUR = FACTS.note(
    "enthalpy of vapour at 0 °C", 2501.0, "kJ/kg", f"{_ASHRAE}, eq. 30", Mark.PUBLISHED
)
_WET_WICK = FACTS.note(
    "wet-bulb balance over water: latent heat, its slope, liquid enthalpy slope",
    (2501.0, 2.326, 4.186),
    "kJ/kg, kJ/(kg K)",
    f"{_ASHRAE}, eq. 33",
    Mark.PUBLISHED,
)
_ICED_WICK = FACTS.note(
    "wet-bulb balance over ice: latent heat, its slope, ice enthalpy slope",
    (2830.0, 0.24, 2.1),
    "kJ/kg, kJ/(kg K)",
    f"{_ASHRAE}, eq. 35",
    Mark.PUBLISHED,
)
_ATMOSPHERE = FACTS.note(
    "standard atmosphere: lapse and exponent",
    (2.25577e-5, 5.2559),
    "1/m, -",
    f"{_ASHRAE}, eq. 3",
    Mark.PUBLISHED,
)

_LOWEST_DEW_POINT_C = -100.0
_BISECTIONS = 50  # halves a 160 K bracket to below 1e-12 K


def _ln_saturation(t_c: Values, coefficients: tuple[float, ...]) -> Values:
    a, b, c, d, e, f, g = coefficients
    t = t_c + ZERO_CELSIUS_K
    return np.asarray(a / t + b + c * t + d * t**2 + e * t**3 + f * t**4 + g * np.log(t))


def _saturation(t_c: Values) -> Values:
    coldest = np.minimum(t_c, TRIPLE_POINT_C)
    warmest = np.maximum(t_c, TRIPLE_POINT_C)
    ln_p = np.where(
        t_c <= TRIPLE_POINT_C,
        _ln_saturation(coldest, _OVER_ICE),
        _ln_saturation(warmest, _OVER_WATER),
    )
    return np.asarray(np.exp(ln_p))


def _bisect(is_too_high: Callable[[Values], Truths], low: Values, high: Values) -> Values:
    """Bracketed root of a vectorised condition that turns true as its argument rises."""
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        too_high = is_too_high(middle)
        high = np.where(too_high, middle, high)
        low = np.where(too_high, low, middle)
    return np.asarray((low + high) / 2)


def _dew_point_of(p_v: Values, warmest_c: Values) -> Values:
    low = np.full_like(p_v, _LOWEST_DEW_POINT_C)
    return _bisect(lambda t: _saturation(t) > p_v, low, np.broadcast_to(warmest_c, p_v.shape))


def _ratio(p_v: Values, p_pa: Values) -> Values:
    return np.asarray(_MASS_RATIO * p_v / (p_pa - p_v))


def saturation_vapour_pressure(t_c: ArrayLike) -> Values:
    """Saturation vapour pressure, Pa, over ice up to 0.01 °C and over water above.

    t_c: °C, -20 to 60. Raises OutOfRange. Source: Hyland & Wexler (1983).
    """
    return _saturation(require_temperature_c(t_c))


def vapour_pressure(t_c: ArrayLike, rh: ArrayLike) -> Values:
    """Partial pressure of the water vapour, Pa. t_c: °C. rh: fraction. Raises OutOfRange."""
    return np.asarray(require_rh(rh) * saturation_vapour_pressure(t_c))


def humidity_ratio(t_c: ArrayLike, rh: ArrayLike, p_pa: ArrayLike = STANDARD_PRESSURE_PA) -> Values:
    """Water per dry air, kg/kg. t_c: °C. rh: fraction. p_pa: Pa. Raises OutOfRange."""
    return _ratio(vapour_pressure(t_c, rh), require_pressure_pa(p_pa))


def dew_point(t_c: ArrayLike, rh: ArrayLike) -> Values:
    """Temperature at which the air is saturated, °C; over ice when that is below 0.01 °C.

    t_c: °C. rh: fraction, at least 0.0001 (drier air has no dew point worth the name).
    Raises OutOfRange.
    """
    t = require_temperature_c(t_c)
    humidity = require_range(
        "relative humidity", rh, 1e-4, 1, hint="Give a fraction: 55 % is 0.55."
    )
    p_v = np.asarray(humidity * _saturation(t))
    return _dew_point_of(p_v, t)


def frost_point(t_c: ArrayLike, rh: ArrayLike) -> Values:
    """Temperature at which frost forms, °C; NaN where dew forms instead.

    t_c: °C. rh: fraction, at least 0.0001. Raises OutOfRange.
    """
    point = dew_point(t_c, rh)
    return np.asarray(np.where(point <= TRIPLE_POINT_C, point, np.nan))


def _ratio_at_wet_bulb(t: Values, t_wb: Values, p_pa: Values) -> Values:
    saturated = _ratio(_saturation(t_wb), p_pa)

    def balance(latent: float, slope: float, condensed: float) -> Values:
        gained = (latent - slope * t_wb) * saturated - _CP_AIR * (t - t_wb)
        return np.asarray(gained / (latent + _CP_VAPOUR * t - condensed * t_wb))

    return np.asarray(np.where(t_wb >= 0, balance(*_WET_WICK), balance(*_ICED_WICK)))


def wet_bulb(t_c: ArrayLike, rh: ArrayLike, p_pa: ArrayLike = STANDARD_PRESSURE_PA) -> Values:
    """Thermodynamic wet-bulb temperature, °C, of an iced wick when below 0 °C.

    t_c: °C. rh: fraction, at least 0.0001. p_pa: Pa. Raises OutOfRange.
    Source: ASHRAE Fundamentals (2017) ch. 1, eq. 33 and 35.
    """
    t, p = require_temperature_c(t_c), require_pressure_pa(p_pa)
    lowest = dew_point(t_c, rh)
    target = humidity_ratio(t_c, rh, p_pa)
    return _bisect(lambda t_wb: _ratio_at_wet_bulb(t, t_wb, p) > target, lowest, t)


def enthalpy_j_kg(t_c: ArrayLike, rh: ArrayLike, p_pa: ArrayLike = STANDARD_PRESSURE_PA) -> Values:
    """Enthalpy of moist air per kg of dry air, J/kg, zero for dry air at 0 °C.

    t_c: °C. rh: fraction. p_pa: Pa. Raises OutOfRange. Source: ASHRAE (2017) ch. 1, eq. 30.
    """
    t, w = require_temperature_c(t_c), humidity_ratio(t_c, rh, p_pa)
    return np.asarray(1000 * (_CP_AIR * t + w * (_HEAT_OF_VAPOUR + _CP_VAPOUR * t)))


def specific_volume(
    t_c: ArrayLike, rh: ArrayLike, p_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> Values:
    """Volume of moist air per kg of dry air, m3/kg.

    t_c: °C. rh: fraction. p_pa: Pa. Raises OutOfRange. Source: ASHRAE (2017) ch. 1, eq. 26.
    """
    t_k, w = require_temperature_c(t_c) + ZERO_CELSIUS_K, humidity_ratio(t_c, rh, p_pa)
    return np.asarray(_R_DRY_AIR * t_k * (1 + w / _MASS_RATIO) / require_pressure_pa(p_pa))


def vapour_density_kg_m3(t_c: ArrayLike, rh: ArrayLike) -> Values:
    """Water vapour per volume of air, kg/m3, as an ideal gas. Raises OutOfRange."""
    p_v = vapour_pressure(t_c, rh)
    return np.asarray(p_v / (_R_VAPOUR * (require_temperature_c(t_c) + ZERO_CELSIUS_K)))


def absolute_humidity_g_m3(t_c: ArrayLike, rh: ArrayLike) -> Values:
    """Water vapour per volume of air in g/m3, as humidity loggers show it. Raises OutOfRange."""
    return np.asarray(1000 * vapour_density_kg_m3(t_c, rh))


def standard_pressure(altitude_m: ArrayLike) -> Values:
    """Pressure of the standard atmosphere, Pa. altitude_m: -500 to 11000 m. Raises OutOfRange."""
    height = require_range("altitude", altitude_m, -500, 11_000, "m")
    lapse, exponent = _ATMOSPHERE
    return np.asarray(STANDARD_PRESSURE_PA * (1 - lapse * height) ** exponent)


def rh_from_wet_bulb(
    t_c: ArrayLike, t_wb_c: ArrayLike, p_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> Values:
    """Relative humidity, a fraction, from dry and wet bulb (thermodynamic, °C).

    Raises OutOfRange, also for a wet bulb warmer than the dry bulb or colder than bone-dry
    air would give.
    """
    t, p = require_temperature_c(t_c), require_pressure_pa(p_pa)
    t_wb = require_temperature_c(t_wb_c, "wet-bulb temperature")
    require_range("dry bulb less wet bulb", t - t_wb, 0, 80, "K")
    w = _ratio_at_wet_bulb(t, t_wb, p)
    require_range("humidity ratio from the wet bulb", w, 0, 1000, "kg/kg")
    # At saturation rounding can leave the ratio a hair above 1.
    return np.asarray(np.minimum(p * w / (_MASS_RATIO + w) / _saturation(t), 1.0))


def rh_from_dew_point(t_c: ArrayLike, t_dp_c: ArrayLike) -> Values:
    """Relative humidity, a fraction, from air temperature and dew (or frost) point, °C.

    Raises OutOfRange, also for a dew point above the air temperature.
    """
    t = require_temperature_c(t_c)
    t_dp = require_temperature_c(t_dp_c, "dew point", _LOWEST_DEW_POINT_C)
    require_range("air temperature less dew point", t - t_dp, 0, 160, "K")
    return np.asarray(_saturation(t_dp) / _saturation(t))


def surface_rh(t_c: ArrayLike, rh: ArrayLike, t_surface_c: ArrayLike) -> Values:
    """Relative humidity of the air at a surface of another temperature, a fraction.

    It is 1 where water condenses; ``condenses`` tells that apart from air just saturated.
    t_c, t_surface_c: °C. rh: fraction. Raises OutOfRange.
    """
    at_surface = saturation_vapour_pressure(require_temperature_c(t_surface_c, "surface"))
    return np.asarray(np.minimum(vapour_pressure(t_c, rh) / at_surface, 1.0))


def condenses(t_c: ArrayLike, rh: ArrayLike, t_surface_c: ArrayLike) -> Truths:
    """Whether room air condenses on a surface. Raises OutOfRange."""
    at_surface = saturation_vapour_pressure(require_temperature_c(t_surface_c, "surface"))
    return np.asarray(vapour_pressure(t_c, rh) > at_surface)


def _dry_air_kg_h(flow_m3_h: ArrayLike, volume_m3_kg: Values) -> Values:
    return np.asarray(require_range("air flow", flow_m3_h, 0, 1e6, "m3/h") / volume_m3_kg)


def moisture_removal_kg_h(
    flow_m3_h: ArrayLike,
    *,
    t_in_c: ArrayLike,
    rh_in: ArrayLike,
    t_out_c: ArrayLike,
    rh_out: ArrayLike,
    p_pa: ArrayLike = STANDARD_PRESSURE_PA,
) -> Values:
    """Water a dehumidifier takes out of the air, kg/h; negative if it adds some.

    flow_m3_h: measured at the inlet. in: room air. out: treated air. Raises OutOfRange.
    """
    flow = _dry_air_kg_h(flow_m3_h, specific_volume(t_in_c, rh_in, p_pa))
    gained = humidity_ratio(t_in_c, rh_in, p_pa) - humidity_ratio(t_out_c, rh_out, p_pa)
    return np.asarray(flow * gained)


def outside_air_moisture_kg_h(
    flow_m3_h: ArrayLike,
    *,
    t_outside_c: ArrayLike,
    rh_outside: ArrayLike,
    t_room_c: ArrayLike,
    rh_room: ArrayLike,
    p_pa: ArrayLike = STANDARD_PRESSURE_PA,
) -> Values:
    """Water that outside air brings into a room, kg/h; negative if it dries the room.

    flow_m3_h: measured outside. Raises OutOfRange.
    """
    return moisture_removal_kg_h(
        flow_m3_h,
        t_in_c=t_outside_c,
        rh_in=rh_outside,
        t_out_c=t_room_c,
        rh_out=rh_room,
        p_pa=p_pa,
    )


def outside_air_heat_w(
    flow_m3_h: ArrayLike,
    *,
    t_outside_c: ArrayLike,
    rh_outside: ArrayLike,
    t_room_c: ArrayLike,
    rh_room: ArrayLike,
    p_pa: ArrayLike = STANDARD_PRESSURE_PA,
) -> Values:
    """Sensible and latent heat that outside air brings into a room, W; negative if it cools.

    flow_m3_h: measured outside. Raises OutOfRange.
    """
    flow = _dry_air_kg_h(flow_m3_h, specific_volume(t_outside_c, rh_outside, p_pa))
    outside = enthalpy_j_kg(t_outside_c, rh_outside, p_pa)
    return np.asarray(flow * (outside - enthalpy_j_kg(t_room_c, rh_room, p_pa)) / 3600)
