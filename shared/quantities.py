"""Units at the edge, the ranges every formula insists on, and where each constant comes from.

Inside the packages quantities are SI (m, kg, m3, °C, Pa) and relative humidity is a fraction
``rh`` from 0 to 1. Inches, pounds, °F and percentages exist only at the edge, and pass through
the conversions of this module on their way in and out.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values = NDArray[np.float64]
"""Result of a vectorised formula. Scalars in give a 0-d result; ``float()`` makes it a number."""

Edge = float | Decimal
"""A number as a person typed or a scale showed it."""

T = TypeVar("T")


# --- where a constant comes from -------------------------------------------------------------


class Mark(StrEnum):
    """How far a figure can be trusted, shown beside it."""

    PUBLISHED = "published"
    COMPUTED = "computed from a published equation"
    COMMON_PRACTICE = "common practice, no source"
    FROM_MEMORY = "from memory"


@dataclass(frozen=True, slots=True)
class Fact:
    """One constant of a formula with its provenance."""

    name: str
    value: object
    unit: str
    source: str
    mark: Mark


class FactBook:
    """The constants of one module, in the order it defines them, for the page that lists them."""

    def __init__(self) -> None:
        self._facts: list[Fact] = []

    def __iter__(self) -> Iterator[Fact]:
        return iter(self._facts)

    def note(self, name: str, value: T, unit: str, source: str, mark: Mark) -> T:
        """Record where ``value`` comes from and hand it back, so that it is written only once."""
        if not source.strip():
            raise ValueError(f"{name}: a constant needs a source")
        self._facts.append(Fact(name, value, unit, source, mark))
        return value


FACTS = FactBook()


# --- ranges ----------------------------------------------------------------------------------


class OutOfRange(ValueError):  # noqa: N818 - reads as the sentence it reports
    """A quantity that is missing, not finite, or outside the range a formula holds for."""

    def __init__(self, quantity: str, value: object, allowed: str, hint: str = "") -> None:
        self.quantity = quantity
        self.value = value
        self.allowed = allowed
        self.hint = hint
        super().__init__(f"{quantity}: {value} is not {allowed}.{' ' if hint else ''}{hint}")

    def __reduce__(self) -> tuple[type["OutOfRange"], tuple[str, object, str, str]]:
        """Rebuild from the parts, so that the error survives the trip from a child process."""
        return (OutOfRange, (self.quantity, self.value, self.allowed, self.hint))


def require_range(
    quantity: str,
    value: ArrayLike,
    low: float,
    high: float,
    unit: str = "",
    *,
    hint: str = "",
    above_low: bool = False,
) -> Values:
    """Return ``value`` as an array of floats, every one finite and within [low, high].

    ``above_low`` excludes ``low`` itself. Raises OutOfRange naming the quantity, the first
    value that breaks the range, and the range.
    """
    suffix = f" {unit}" if unit else ""
    lower = f"above {low:g}" if above_low else f"from {low:g}"
    allowed = f"a number {lower} to {high:g}{suffix}"
    try:
        values = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise OutOfRange(quantity, repr(value), allowed, hint) from None
    if values.size == 0:
        raise OutOfRange(quantity, "an empty series", "at least one value")
    fits = np.isfinite(values) & (values > low if above_low else values >= low) & (values <= high)
    if not fits.all():
        worst = float(values[~fits].flat[0])
        raise OutOfRange(quantity, worst, allowed, hint)
    return values


def require_number(
    quantity: str,
    value: float,
    low: float,
    high: float,
    unit: str = "",
    *,
    hint: str = "",
    above_low: bool = False,
) -> float:
    """As ``require_range`` for a single number."""
    return float(require_range(quantity, value, low, high, unit, hint=hint, above_low=above_low))


def require_rh(value: ArrayLike, quantity: str = "relative humidity") -> Values:
    """Relative humidity as a fraction from 0 to 1. Raises OutOfRange."""
    return require_range(quantity, value, 0, 1, hint="Give a fraction: 55 % is 0.55.")


def require_temperature_c(
    value: ArrayLike, quantity: str = "air temperature", low: float = -20, high: float = 60
) -> Values:
    """Temperature in °C within [low, high]. Raises OutOfRange."""
    hint = "If it was read in °F, convert it first: 68 °F is 20 °C."
    return require_range(quantity, value, low, high, "°C", hint=hint)


def require_pressure_pa(value: ArrayLike, quantity: str = "air pressure") -> Values:
    """Absolute pressure, 20 kPa to 1 MPa. Raises OutOfRange.

    The floor stays above the saturation pressure at 60 °C, so that moist air is always possible,
    and catches hPa or kPa given as Pa.
    """
    hint = "Give pascals: 1013.25 hPa is 101325 Pa."
    return require_range(quantity, value, 20_000, 1_000_000, "Pa", hint=hint)


def rh_from_percent(percent: Edge) -> float:
    """Relative humidity as a fraction from a percentage of 0 to 100. Raises OutOfRange."""
    return require_number("relative humidity", float(percent), 0, 100, "%") / 100


def percent_from_rh(rh: float) -> float:
    """Relative humidity in percent from a fraction. Raises OutOfRange."""
    return float(require_rh(rh)) * 100


# --- lengths, masses, volumes, temperatures --------------------------------------------------


class LengthUnit(StrEnum):
    """Units in which a size may be given."""

    METRE = "m"
    CENTIMETRE = "cm"
    MILLIMETRE = "mm"
    INCH = "in"
    FOOT = "ft"


class MassUnit(StrEnum):
    """Units in which a weight may be given (ounces are avoirdupois)."""

    KILOGRAM = "kg"
    GRAM = "g"
    POUND = "lb"
    OUNCE = "oz"


class VolumeUnit(StrEnum):
    """Units in which a volume may be given."""

    CUBIC_METRE = "m3"
    LITRE = "L"
    CUBIC_FOOT = "ft3"
    CUBIC_INCH = "in3"


class TemperatureUnit(StrEnum):
    """Units in which a temperature may be given."""

    CELSIUS = "C"
    FAHRENHEIT = "F"


_SP_811 = "NIST Special Publication 811 (2008), Appendix B: exact by definition"

_METRES = FACTS.note(
    "length units",
    {
        LengthUnit.METRE: Decimal(1),
        LengthUnit.CENTIMETRE: Decimal("0.01"),
        LengthUnit.MILLIMETRE: Decimal("0.001"),
        LengthUnit.INCH: Decimal("0.0254"),
        LengthUnit.FOOT: Decimal("0.3048"),
    },
    "m",
    _SP_811,
    Mark.PUBLISHED,
)
_KILOGRAMS = FACTS.note(
    "mass units",
    {
        MassUnit.KILOGRAM: Decimal(1),
        MassUnit.GRAM: Decimal("0.001"),
        MassUnit.POUND: Decimal("0.45359237"),
        MassUnit.OUNCE: Decimal("0.028349523125"),
    },
    "kg",
    _SP_811,
    Mark.PUBLISHED,
)
_CUBIC_METRES = FACTS.note(
    "volume units",
    {
        VolumeUnit.CUBIC_METRE: Decimal(1),
        VolumeUnit.LITRE: Decimal("0.001"),
        VolumeUnit.CUBIC_FOOT: Decimal("0.028316846592"),
        VolumeUnit.CUBIC_INCH: Decimal("0.000016387064"),
    },
    "m3",
    _SP_811,
    Mark.PUBLISHED,
)


def _scaled(quantity: str, value: Edge, factor: Decimal, high_si: float, unit: str) -> float:
    # Decimal keeps 24 in at exactly 0.6096 m.
    require_number(quantity, float(value), 0, high_si / float(factor), unit)
    return float(Decimal(str(value)) * factor)


def _unscaled(quantity: str, value_si: float, factor: Decimal, high_si: float, unit: str) -> float:
    require_number(quantity, value_si, 0, high_si, unit)
    return float(Decimal(str(float(value_si))) / factor)


def to_metres(value: Edge, unit: LengthUnit, quantity: str = "length") -> float:
    """Length in m, from 0 to 1 km. Raises OutOfRange."""
    return _scaled(quantity, value, _METRES[unit], 1e3, unit)


def from_metres(length_m: float, unit: LengthUnit) -> float:
    """Length in ``unit`` from m. Raises OutOfRange."""
    return _unscaled("length", length_m, _METRES[unit], 1e3, "m")


def to_kilograms(value: Edge, unit: MassUnit, quantity: str = "mass") -> float:
    """Mass in kg, from 0 to 1000 t. Raises OutOfRange."""
    return _scaled(quantity, value, _KILOGRAMS[unit], 1e6, unit)


def from_kilograms(mass_kg: float, unit: MassUnit) -> float:
    """Mass in ``unit`` from kg. Raises OutOfRange."""
    return _unscaled("mass", mass_kg, _KILOGRAMS[unit], 1e6, "kg")


def to_cubic_metres(value: Edge, unit: VolumeUnit, quantity: str = "volume") -> float:
    """Volume in m3, from 0 to 1 million m3. Raises OutOfRange."""
    return _scaled(quantity, value, _CUBIC_METRES[unit], 1e6, unit)


def from_cubic_metres(volume_m3: float, unit: VolumeUnit) -> float:
    """Volume in ``unit`` from m3. Raises OutOfRange."""
    return _unscaled("volume", volume_m3, _CUBIC_METRES[unit], 1e6, "m3")


def to_celsius(value: Edge, unit: TemperatureUnit, quantity: str = "temperature") -> float:
    """Temperature in °C, from absolute zero to 1000 °C. Raises OutOfRange."""
    degrees = float(value)
    if unit is TemperatureUnit.FAHRENHEIT:
        require_number(quantity, degrees, -459.67, 1832, "°F")
        return (degrees - 32) * 5 / 9
    return require_number(quantity, degrees, -273.15, 1000, "°C")


def from_celsius(t_c: float, unit: TemperatureUnit) -> float:
    """Temperature in ``unit`` from °C. Raises OutOfRange."""
    require_number("temperature", t_c, -273.15, 1000, "°C")
    return t_c * 9 / 5 + 32 if unit is TemperatureUnit.FAHRENHEIT else t_c


# --- gas concentrations ----------------------------------------------------------------------

ZERO_CELSIUS_K = FACTS.note(
    "0 °C on the kelvin scale", 273.15, "K", "SI Brochure, 9th ed. (BIPM 2019)", Mark.PUBLISHED
)
MOLAR_GAS_CONSTANT = FACTS.note(
    "molar gas constant R", 8.314462618, "J/(mol K)", "CODATA 2018 (exact)", Mark.PUBLISHED
)


def molar_volume_l_mol(t_c: ArrayLike, p_pa: ArrayLike) -> Values:
    """Volume of a mole of ideal gas, L/mol: R T / p (24.45 holds only at 25 °C and 1 atm).

    t_c: °C, -40 to 100. p_pa: Pa. Raises OutOfRange.
    """
    t_k = require_temperature_c(t_c, "gas temperature", -40, 100) + ZERO_CELSIUS_K
    return np.asarray(MOLAR_GAS_CONSTANT * t_k / require_pressure_pa(p_pa) * 1000)


def mg_m3_from_ppm(
    ppm: ArrayLike, molar_mass_g_mol: float, t_c: ArrayLike, p_pa: ArrayLike
) -> Values:
    """Mass concentration in mg/m3 of ``ppm`` by volume at the stated temperature and pressure.

    ppm: 0 to 1e6. molar_mass_g_mol: g/mol. Raises OutOfRange.
    """
    parts = require_range("gas concentration", ppm, 0, 1e6, "ppm")
    return np.asarray(parts * _molar_mass(molar_mass_g_mol) / molar_volume_l_mol(t_c, p_pa))


def ppm_from_mg_m3(
    mg_m3: ArrayLike, molar_mass_g_mol: float, t_c: ArrayLike, p_pa: ArrayLike
) -> Values:
    """Concentration in ppm by volume of ``mg_m3`` at the stated temperature and pressure.

    mg_m3: 0 to 1e8. molar_mass_g_mol: g/mol. Raises OutOfRange, also when the result is more
    than pure gas.
    """
    mass = require_range("gas concentration", mg_m3, 0, 1e8, "mg/m3")
    ppm = mass * molar_volume_l_mol(t_c, p_pa) / _molar_mass(molar_mass_g_mol)
    return require_range("gas concentration", ppm, 0, 1e6, "ppm")


def _molar_mass(value: float) -> float:
    return require_number("molar mass", value, 1, 500, "g/mol")
