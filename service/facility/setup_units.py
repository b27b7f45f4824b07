"""The units a set-up page is read and written in: chosen for the page, said beside every field.

What is kept is whole millimetres, litres and grams, degrees Celsius and shares from 0 to 1.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum
from typing import Protocol

from service.facility.programme_forms import FormReader
from shared.quantities import (
    LengthUnit,
    MassUnit,
    TemperatureUnit,
    VolumeUnit,
    from_celsius,
    to_celsius,
    to_cubic_metres,
    to_kilograms,
    to_metres,
)
from shared.recognise import SizeError, recognise_length

LONGEST_M = Decimal(101)
"""Longer than any rail or rack may be, so that one rounded up in feet is still read."""


class Lengths(StrEnum):
    """How lengths are written on a page."""

    MILLIMETRES = "mm"
    CENTIMETRES = "cm"
    METRES = "m"
    FEET = "ft-in"

    @property
    def words(self) -> str:
        """As people write it."""
        return "ft and in" if self is Lengths.FEET else self.value


@dataclass(frozen=True)
class Units:
    """The units of a page. With feet go cubic feet, and feet a minute."""

    length: Lengths = Lengths.MILLIMETRES
    water: MassUnit = MassUnit.KILOGRAM
    temperature: TemperatureUnit = TemperatureUnit.CELSIUS

    @property
    def chosen(self) -> dict[str, str]:
        """By field, for addresses and hidden fields."""
        return {
            "length": self.length.value,
            "water": self.water.value,
            "temperature": self.temperature.value,
        }


CHOICES: Mapping[str, tuple[str, tuple[tuple[str, str], ...]]] = {
    "length": ("Lengths", tuple((one.value, one.words) for one in Lengths)),
    "water": (
        "Water taken out",
        ((MassUnit.KILOGRAM.value, "kg an hour"), (MassUnit.POUND.value, "lb an hour")),
    ),
    "temperature": (
        "Temperatures",
        ((TemperatureUnit.CELSIUS.value, "°C"), (TemperatureUnit.FAHRENHEIT.value, "°F")),
    ),
}


def units_of(typed: Mapping[str, str]) -> Units:
    """The units that were chosen; what is not offered stays as it is by default."""
    offered = {
        name: value
        for name, (_, options) in CHOICES.items()
        if (value := typed.get(name)) in dict(options)
    }
    units = Units()
    if "length" in offered:
        units = replace(units, length=Lengths(offered["length"]))
    if "water" in offered:
        units = replace(units, water=MassUnit(offered["water"]))
    if "temperature" in offered:
        units = replace(units, temperature=TemperatureUnit(offered["temperature"]))
    return units


class Measure(Protocol):
    """One kind of quantity: what it is called, how it is shown and how it is read."""

    def unit(self, units: Units) -> str:
        """The unit as it is said beside the field."""

    def shown(self, kept: float, units: Units) -> str:
        """What is kept, as text in the page's unit."""

    def read(self, form: FormReader, name: str, words: str, units: Units) -> float | None:
        """What was typed, as it is kept; ``None`` with the fault noted when it can't be."""


def plain(value: Decimal, places: int | None = None) -> str:
    """A number without an exponent, rounded to ``places`` where its unit is not exact."""
    rounded = value if places is None else round(value, places)
    text = f"{rounded:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


class LengthMeasure:
    """A length, kept in whole millimetres."""

    _UNITS: Mapping[Lengths, LengthUnit] = {
        Lengths.MILLIMETRES: LengthUnit.MILLIMETRE,
        Lengths.CENTIMETRES: LengthUnit.CENTIMETRE,
        Lengths.METRES: LengthUnit.METRE,
    }

    def unit(self, units: Units) -> str:
        """The unit as it is said beside the field."""
        return units.length.words

    def shown(self, kept: float, units: Units) -> str:
        """Feet with inches to the hundredth, which is finer than the millimetre that is kept."""
        if units.length is Lengths.FEET:
            inches = round(Decimal(kept) / 1000 / _one(LengthUnit.INCH), 2)
            feet, rest = divmod(inches, 12)
            return f"{feet:f} ft {plain(rest)} in" if feet else f"{plain(rest)} in"
        return plain(Decimal(kept) / 1000 / _one(self._UNITS[units.length]))

    def read(self, form: FormReader, name: str, words: str, units: Units) -> float | None:
        """A number in the page's unit, or any length with its own unit written behind it."""
        text = form.text(name)
        if not text:
            form.wrong(name, f"{words}: fill this in, in {self.unit(units)}")
            return None
        try:
            length = recognise_length(text, self._UNITS.get(units.length), LONGEST_M)
        except SizeError as error:
            mend = "write it as 6 ft 2 in" if units.length is Lengths.FEET else error.mend
            form.wrong(name, f"{words}: “{text[:40]}”: {error.why}; {mend}")
            return None
        return round(length * 1000)


def _one(unit: LengthUnit) -> Decimal:
    return Decimal(str(to_metres(1, unit)))


@dataclass(frozen=True)
class Scale:
    """One unit: how it is said, how much it is of what is kept, decimals shown if inexact."""

    word: str
    kept: Decimal = Decimal(1)
    places: int | None = None


@dataclass(frozen=True)
class Scaled:
    """A number kept in one unit and shown in the first of ``scales``, or with feet the second.

    ``whole``: kept as a whole number. ``by``: the choice of the page that picks the unit.
    """

    scales: tuple[Scale, ...]
    whole: bool = False
    by: str = "length"

    def _scale(self, units: Units) -> Scale:
        other = (
            units.water is MassUnit.POUND if self.by == "water" else units.length is Lengths.FEET
        )
        return self.scales[-1] if other else self.scales[0]

    def unit(self, units: Units) -> str:
        """The unit as it is said beside the field."""
        return self._scale(units).word

    def shown(self, kept: float, units: Units) -> str:
        """What is kept, as text in the page's unit."""
        scale = self._scale(units)
        return plain(Decimal(str(kept)) / scale.kept, scale.places)

    def read(self, form: FormReader, name: str, words: str, units: Units) -> float | None:
        """A plain number in the page's unit."""
        value = form.number(name, words)
        if value is None:
            return None
        kept = value * self._scale(units).kept
        return round(kept) if self.whole else float(kept)


class TemperatureMeasure:
    """A temperature, kept in °C."""

    def unit(self, units: Units) -> str:
        """The unit as it is said beside the field."""
        return f"°{units.temperature.value}"

    def shown(self, kept: float, units: Units) -> str:
        """What is kept, as text in the page's unit."""
        if units.temperature is TemperatureUnit.CELSIUS:
            return plain(Decimal(str(kept)))
        return plain(Decimal(str(from_celsius(kept, units.temperature))), 2)

    def read(self, form: FormReader, name: str, words: str, units: Units) -> float | None:
        """A plain number in the page's unit."""
        value = form.number(name, words)
        if value is None:
            return None
        try:
            return to_celsius(value, units.temperature, words)
        except ValueError as error:
            form.wrong(name, str(error))
            return None


LENGTH = LengthMeasure()
TEMPERATURE = TemperatureMeasure()
VOLUME = Scaled(
    (
        Scale("L"),
        Scale("ft³", Decimal(str(to_cubic_metres(1, VolumeUnit.CUBIC_FOOT))) * 1000, 3),
    ),
    whole=True,
)
WATER = Scaled(
    (
        Scale("kg an hour", Decimal(1000)),
        Scale("lb an hour", Decimal(str(to_kilograms(1, MassUnit.POUND))) * 1000, 4),
    ),
    whole=True,
    by="water",
)
AIR_SPEED = Scaled((Scale("m/s"), Scale("ft/min", _one(LengthUnit.FOOT) / 60, 1)))
ALTITUDE = Scaled((Scale("m"), Scale("ft", _one(LengthUnit.FOOT), 1)))
PERCENT = Scaled((Scale("%", Decimal("0.01")),))
AN_HOUR = Scaled((Scale("an hour"),))
HOURS = Scaled((Scale("hours"),))
MINUTES = Scaled((Scale("minutes"),), whole=True)
MONEY = Scaled((Scale("whole units of the currency"),), whole=True)
